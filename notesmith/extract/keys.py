"""Stable keys: a short digest of what was said and what it was taken for, so that verdicts survive a rebuild."""

from __future__ import annotations

import hashlib


def key_of(*parts: object) -> str:
    """Twelve hexadecimal digits of the SHA-256 of the parts.

    >>> len(key_of("point", "worse at night"))
    12
    """
    return hashlib.sha256("\x1f".join(str(part) for part in parts).encode()).hexdigest()[:12]


def unique_keys(keys: list[str]) -> list[str]:
    """The same keys with a running number at the second and later ones of the same value."""
    seen: dict[str, int] = {}
    result = []
    for key in keys:
        count = seen.get(key, 0)
        seen[key] = count + 1
        result.append(key if not count else f"{key}-{count + 1}")
    return result
