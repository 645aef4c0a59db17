"""What the language model takes each word of a session for, beside the rules and the models of ``learned``.

A word is read with what stands before and after it (``notesmith.language``), which rules and sums over a sentence's words
cannot do. ``data/reader.npz`` is made by ``benchmarks/learn_reader.py``.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from notesmith.language import Encoder, load_layers, load_pieces, windows_of
from notesmith.language.pieces import FIRST_SPARE

#: What a sentence is for: the states of ``learned``.
STATES = (
    "commentary", "comparison", "questions", "recap", "reading", "housekeeping", "close", "case begins", "case again", "case goes on",
)  # fmt: skip
#: The kinds of points, in the order of ``PointKind``.
KINDS = 14
FIELDS = (
    "age", "sex", "setting", "presenting complaint", "finding", "history", "prior treatment", "concurrent treatment", "investigation", "remedy",
    "potency", "repetition", "duration", "follow-up time", "follow-up change", "outcome", "reason for prescription",
)  # fmt: skip
FIELD_LABELS = ("O", *(f"{begin}-{name}" for name in FIELDS for begin in "BI"))
ROLES = (
    "student", "patient", "relative", "colleague", "place", "date", "phone", "address", "record number", "age over 89", "other identifier",
)  # fmt: skip
#: Labels that are there or not: question, claim of cure, urgent, against care, promised, referred back, prescription.
SPANS = ("q", "c", "u", "d", "co+", "co-", "rx")
#: The heads of the model and how many classes each has; all but ``state`` and ``kind`` begin with "nothing".
HEADS: Mapping[str, int] = {
    "state": len(STATES), "point": 3, "kind": KINDS, "field": len(FIELD_LABELS), "name": 1 + 2 * len(ROLES), **dict.fromkeys(SPANS, 3),
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


class _Reader:
    def __init__(self) -> None:
        weights = load_layers("notesmith.extract", "reader.npz")
        self.heads = weights.pop("heads.weight"), weights.pop("heads.bias")
        self.encoder = Encoder(load_pieces(), weights)

    def read(self, texts: Sequence[str]) -> Opinions:
        pieces = self.encoder.pieces.of(texts)
        windows = windows_of(pieces, MOST_PIECES, LAP)
        cut = [pieces[start:end] for start, end in windows.ranges]
        openings = [[FIRST_SPARE + min(9, 10 * start // len(texts))] for start, _ in windows.ranges]
        states = np.zeros((len(texts), self.heads[0].shape[0]), np.float32)
        read = self.encoder.read(cut, openings)
        for number, first, last in windows.nearest():
            start = windows.ranges[number][0]
            states[first:last] = read[number][0][first - start : last - start]
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


def opinions_of(texts: Sequence[str]) -> Opinions:
    """The model's reading of a session, given as its words with their stops."""
    return _read(tuple(texts))


@lru_cache(maxsize=8)
def _read(texts: tuple[str, ...]) -> Opinions:
    """Kept for some sessions: one is extracted again after each verdict on it, mostly with the same words."""
    return _reader().read(texts)


def forget() -> None:
    """Forget the readings kept, to measure what one costs."""
    _read.cache_clear()
