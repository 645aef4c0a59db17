"""Which words of English are used alike: a vector of each of the commoner ones, and classes of like words, coarse to fine.

``data/word_vectors.npz`` is made by ``benchmarks/learn_vectors.py``. Rare words share the vector of a like one.
"""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

#: How many classes there are, coarse to fine; also their names in ``classes_of``.
SIZES = (50, 200, 700)


class Vectors:
    """``place`` of a word is its row in ``table``, the first of which is for words not known."""

    def __init__(
        self, words: str, places: NDArray[np.uint16], table: NDArray[np.int8], classes: NDArray[np.uint16]
    ) -> None:
        self.place = dict(zip(words.split(), places.tolist(), strict=True))
        self.table = (table.astype(np.float32) / 127.0 * SPREAD).astype(np.float32)
        self._classes = [tuple(row) for row in classes.tolist()]

    def classes_of(self, low: str) -> tuple[int, ...]:
        """The number of the word's class at each of ``SIZES``; nothing where the word is not known."""
        place = self.place.get(low)
        return self._classes[place] if place is not None else ()

    def of(self, lows: list[str]) -> NDArray[np.float32]:
        """Words by dimensions; zeros for a word not known."""
        return self.table[[self.place.get(low, 0) for low in lows]]


#: The largest value kept, in standard deviations.
SPREAD = 6.0


@lru_cache(maxsize=1)
def word_vectors() -> Vectors:
    with files("notesmith.extract").joinpath("data", "word_vectors.npz").open("rb") as file, np.load(file) as kept:
        return Vectors(bytes(kept["words"]).decode(), kept["places"], kept["table"], kept["classes"])
