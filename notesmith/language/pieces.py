"""The pieces of words the language model knows, and a vector for each.

The pieces and vectors are those of MiniLM (Wang and others, 2020; all-MiniLM-L6-v2, Apache-2.0), the vectors rounded to
eight bits; ``data/pieces.npz`` is made by ``benchmarks/learn_reader.py``.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from importlib import resources

import numpy as np
from numpy.typing import NDArray
from tokenizers import BertWordPieceTokenizer

BEGIN, END, UNKNOWN, HIDDEN, FIRST_SPARE = 101, 102, 100, 103, 1
LONGEST = 12  # pieces of one word
Floats = NDArray[np.float32]


class Pieces:
    """``rounded`` is pieces by dimensions; times ``scale``, of each piece, it is their vectors."""

    def __init__(self, names: Sequence[str], rounded: NDArray[np.int8], scale: Floats) -> None:
        self._cut = BertWordPieceTokenizer({name: number for number, name in enumerate(names)}, lowercase=True)
        self.rounded, self.scale = rounded, scale

    def __len__(self) -> int:
        return len(self.rounded)

    def of(self, words: Sequence[str]) -> list[list[int]]:
        """The numbers of the pieces of each word, in lower case; at least one and at most ``LONGEST`` of each."""
        cut = self._cut.encode_batch(list(words), add_special_tokens=False)
        return [one.ids[:LONGEST] or [UNKNOWN] for one in cut]


@lru_cache(maxsize=1)
def load_pieces() -> Pieces:
    with resources.files("notesmith.language").joinpath("data/pieces.npz").open("rb") as file, np.load(file) as kept:
        return Pieces(bytes(kept["names"]).decode().split("\n"), kept["vectors"], kept["scale"])
