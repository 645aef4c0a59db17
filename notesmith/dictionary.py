"""Which of the rarer words of English a dictionary writes small: what was written so may be no name and no garble."""

from __future__ import annotations

import gzip
from functools import lru_cache
from importlib.resources import files


@lru_cache(maxsize=1)
def _english_words() -> frozenset[str]:
    """Rare and middling words of English that are no name of the lists (made by ``benchmarks/lab/make_lists.py``)."""
    packed = files("notesmith").joinpath("extract", "data", "english.txt.gz").read_bytes()
    return frozenset(gzip.decompress(packed).decode("utf-8").splitlines()[1:])


def in_dictionary(low: str) -> bool:
    """Whether a rarer word in lower case, or what it is the plural of, is one that English writes small.

    >>> in_dictionary("briny"), in_dictionary("lyacopus")
    (True, False)
    """
    words = _english_words()
    return low in words or (low.endswith("s") and (low[:-1] in words or low.endswith("es") and low[:-2] in words))
