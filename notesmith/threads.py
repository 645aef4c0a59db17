"""How many threads products of matrices are reckoned in."""

from __future__ import annotations

from functools import lru_cache

from threadpoolctl import ThreadpoolController


@lru_cache(maxsize=1)
def one_for_products() -> None:
    """Reckon in one thread, for good: our products are small, several threads wait for each other longer than they reckon,
    and others reckon at the same time."""
    ThreadpoolController().limit(limits=1, user_api="blas")
