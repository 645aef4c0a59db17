"""What the language model takes each word of a session for, beside the rules and the models of ``learned``.

A word is read with what stands before and after it (``notesmith.language``), which rules and sums over a sentence's words
cannot do. ``data/reader.npz`` is made by ``benchmarks/learn_reader.py``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from typing import get_args

import numpy as np
from numpy.typing import NDArray

from notesmith.annotations import FindingLabel, PersonRole, PointKind
from notesmith.language import Encoder, load_layers, load_pieces, told_by, windows_of
from notesmith.language.pieces import FIRST_SPARE

#: What a sentence is for: the states of ``learned``.
STATES = (
    "commentary", "comparison", "questions", "recap", "reading", "housekeeping", "close", "case begins", "case again", "case goes on",
)  # fmt: skip
FIELDS: tuple[str, ...] = get_args(FindingLabel)
FIELD_LABELS = ("O", *(f"{begin}-{name}" for name in FIELDS for begin in "BI"))
ROLES: tuple[str, ...] = tuple(role for role in get_args(PersonRole) if role not in ("author", "lecturer"))
#: Labels that are there or not: question, claim of cure, urgent, against care, promised, referred back, prescription.
SPANS = ("q", "c", "u", "d", "co+", "co-", "rx")
#: The heads of the model and how many classes each has, in the order of the names of the types; all but ``state`` and ``kind`` begin with "nothing".
HEADS: Mapping[str, int] = {
    "state": len(STATES), "point": 3, "kind": len(get_args(PointKind)), "field": len(FIELD_LABELS), "name": 1 + 2 * len(ROLES), **dict.fromkeys(SPANS, 3),
}  # fmt: skip
MOST_PIECES, LAP = 253, 24
LEAST = 1e-4
Floats = NDArray[np.float32]


class Opinions:
    """``tables`` holds for each of ``HEADS`` the log-probabilities: units by classes."""

    def __init__(self, tables: Mapping[str, Floats]) -> None:
        self.tables = tables

    def mean(self, head: str, start: int, end: int) -> Floats:
        """The mean log-probabilities of the classes over units ``start`` to ``end``."""
        return np.asarray(self.tables[head][start:end].mean(axis=0))

    def odds(self, head: str, start: int, end: int) -> float:
        """The mean log-odds of a stretch to be inside a label of this kind."""
        out = self.tables[head][start:end, 0]
        return float((np.log(np.maximum(LEAST, -np.expm1(out))) - np.maximum(out, np.log(LEAST))).mean())

    def inside(self, head: str) -> Floats:
        """The probability of each unit to be inside a label of this kind."""
        return np.asarray(-np.expm1(self.tables[head][:, 0]))

    def spans(self, head: str, least: float) -> Iterator[tuple[int, int]]:
        """Half-open runs of units that are inside a label with at least this probability."""
        yield from _stretches(self.inside(head) >= least)

    def stated(self, field: str, least: float) -> Iterator[tuple[int, int]]:
        """Half-open runs of units that state a field of a case with at least this probability."""
        begins = FIELD_LABELS.index(f"B-{field}")
        yield from _stretches(np.exp(self.tables["field"][:, begins : begins + 2]).sum(axis=1) >= least)

    def role(self, start: int, end: int) -> str:
        """Whose or what name a stretch likeliest is."""
        shares = np.exp(self.tables["name"][start:end, 1:]).sum(axis=0)
        return ROLES[int((shares[0::2] + shares[1::2]).argmax())]


def _stretches(there: NDArray[np.bool_]) -> Iterator[tuple[int, int]]:
    padded = np.concatenate([[False], there, [False]])
    edges = np.flatnonzero(padded[1:] != padded[:-1])
    yield from zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True)


def place(start: int, count: int) -> list[int]:
    """What is put before a window's words to tell where in the session it begins: a spare piece for each tenth."""
    return [FIRST_SPARE + min(9, 10 * start // count)]


class _Reader:
    def __init__(self) -> None:
        weights = load_layers("notesmith.extract", "reader.npz")
        self.heads = weights.pop("heads.weight"), weights.pop("heads.bias")
        self.encoder = Encoder(load_pieces(), weights)

    def read(self, texts: Sequence[str]) -> Opinions:
        pieces = self.encoder.pieces.of(texts)
        windows = windows_of(pieces, MOST_PIECES, LAP)
        read = self.encoder.read([[place(start, len(texts)), *pieces[start:end]] for start, end in windows])
        states = np.zeros((len(texts), self.heads[0].shape[0]), np.float32)
        for (start, end), (first, last), own in zip(windows, told_by(windows), read, strict=True):
            sizes = np.cumsum([len(place(0, 1)), *map(len, pieces[start:end])])
            states[first:last] = own[sizes[first - start : last - start]]
        scores = states @ self.heads[0] + self.heads[1]
        tables, at = {}, 0
        for head, count in HEADS.items():
            own = scores[:, at : at + count]
            tables[head] = np.asarray(own - np.logaddexp.reduce(own, axis=1, keepdims=True), np.float32)
            at += count
        return Opinions(tables)


@lru_cache(maxsize=1)
def _reader() -> _Reader:
    return _Reader()


@lru_cache(maxsize=8)
def opinions_of(texts: tuple[str, ...]) -> Opinions:
    """The model's reading of a session, given as its words with their stops. Kept for some sessions: one is extracted
    again after each verdict on it, mostly with the same words."""
    return _reader().read(texts)
