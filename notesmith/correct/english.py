"""How ordinary a pair of neighbouring English words is: the everyday side of the question whether a word was misheard.

Counts of word pairs come from Google's Web 1T (Brants and Franz, 2006) as cut to the commonest 286,000 by Norvig (Natural
Language Corpus Data, 2009) and packed by benchmarks/learn_english.py; how common each word is comes from wordfreq.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray
from wordfreq import zipf_frequency

WORDS_COUNTED = 1_024_908_267_229  # of the corpus (Norvig 2009)
LEAST_COUNT = 100_000  # of a pair in the table; a pair that is not there is rarer
STEP = 0.0625  # of log10(count / LEAST_COUNT), as packed
LEAST_ZIPF = 2.5  # of rarer words nothing is known
MOST = 5.0
START = "<s>"
_APART = {"cant": "cannot", "wont": "will", "dont": "not", "doesnt": "not", "didnt": "not", "isnt": "not",
          "wasnt": "not", "im": "am", "ive": "have", "its": "its"}  # fmt: skip


@lru_cache(maxsize=1)
def _table() -> tuple[NDArray[np.uint32], NDArray[np.uint8]]:
    with resources.files("notesmith.correct").joinpath("data/pairs.npz").open("rb") as file, np.load(file) as packed:
        return packed["hashes"], packed["counts"]


def pair_hash(first: str, second: str) -> int:
    return zlib.crc32(f"{first} {second}".encode())


@lru_cache(maxsize=50_000)
def _probability(word: str) -> float | None:
    """Share of running words; None where too little is known of the word."""
    if word == START:
        return 0.06
    zipf = zipf_frequency(word, "en")
    return None if zipf < LEAST_ZIPF or not word.isalpha() else float(10 ** (zipf - 9))


@lru_cache(maxsize=200_000)
def fit(first: str, second: str) -> float:
    """How much likelier the pair is than its words side by side by chance, in nats, about -5 to 5; 0 where unknown.

    >>> fit("he", "says") > 0 > fit("can", "has")
    True
    """
    first, second = _APART.get(first, first), _APART.get(second, second)
    a, b = _probability(first), _probability(second)
    if a is None or b is None:
        return 0.0
    hashes, counts = _table()
    code = pair_hash(first, second)
    at = int(np.searchsorted(hashes, code))
    if at < len(hashes) and hashes[at] == code:
        count = LEAST_COUNT * 10 ** (float(counts[at]) * STEP)
        return max(-MOST, min(MOST, math.log(count / WORDS_COUNTED / (a * b))))
    return max(-MOST, min(0.0, math.log(LEAST_COUNT / WORDS_COUNTED / (a * b))))


def inside_fit(words: Sequence[str]) -> float:
    """The mean fit of the pairs of a run of words; 0 for one word."""
    pairs = [fit(a, b) for a, b in zip(words, words[1:], strict=False)]
    return sum(pairs) / len(pairs) if pairs else 0.0
