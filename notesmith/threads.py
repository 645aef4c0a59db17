"""In how many threads is reckoned."""

from __future__ import annotations

import os
from functools import lru_cache

from threadpoolctl import ThreadpoolController


@lru_cache(maxsize=1)
def one_for_products() -> None:
    """Reckon in one thread, for good: our products are small, several threads wait for each other longer than they reckon,
    and others reckon at the same time."""
    ThreadpoolController().limit(limits=1, user_api="blas")


def cores() -> int:
    """The cores this process may use; more threads than that only slow CTranslate2 down."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1
