"""A linear chain over words (a conditional random field without the sums: only its best labelling is wanted here)."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property

import msgspec
import numpy as np

OUTSIDE = "O"


class Chain(msgspec.Struct, frozen=True, dict=True):
    """``weights`` has for each feature pairs of a label's place in ``labels`` and a weight; ``steps[a][b]`` is the
    weight of label ``b`` after ``a``. ``reluctance`` is taken from ``OUTSIDE``, since what is left out is missed
    more often than what is put in is wrong. Labels are ``B-`` or ``I-`` and a field, or ``OUTSIDE``."""

    labels: tuple[str, ...]
    steps: tuple[tuple[float, ...], ...]
    weights: dict[str, tuple[tuple[int, float], ...]]
    reluctance: float = 0.0

    @cached_property
    def table(self) -> tuple[dict[str, int], np.ndarray]:
        """The row of each feature, and the weights: features by labels."""
        weights = np.zeros((len(self.weights), len(self.labels)))
        for row, pairs in zip(weights, self.weights.values(), strict=True):
            for label, weight in pairs:
                row[label] += weight
        return {name: place for place, name in enumerate(self.weights)}, weights

    def scores(self, rows: Sequence[Sequence[str]], reluctance: float | None = None) -> np.ndarray:
        """How each label fits each word: words by labels. ``reluctance`` instead of the chain's own."""
        places, weights = self.table
        at = places.get
        found = np.empty((len(rows), len(self.labels)))
        for row, into in zip(rows, found, strict=True):
            weights[[place for name in row if (place := at(name)) is not None]].sum(axis=0, out=into)
        found[:, self.labels.index(OUTSIDE)] -= self.reluctance if reluctance is None else reluctance
        return found

    def fields(self, rows: Sequence[Sequence[str]], reluctance: float | None = None) -> list[tuple[str, int, int]]:
        """The fields of the best labelling: name and half-open places. ``rows`` are the features of each word."""
        return self.fields_of(self.scores(rows, reluctance)) if rows else []

    def fields_of(self, scores: np.ndarray, steps: np.ndarray | None = None) -> list[tuple[str, int, int]]:
        """The fields of the best labelling by the scores of each word. ``steps`` instead of the chain's own."""
        steps = np.array(self.steps) if steps is None else steps
        value, back = scores[0], np.zeros(scores.shape, dtype=int)
        for place in range(1, len(scores)):
            ways = value[:, None] + steps
            back[place] = ways.argmax(axis=0)
            value = ways.max(axis=0) + scores[place]
        at = int(value.argmax())
        path = [at]
        for place in range(len(scores) - 1, 0, -1):
            at = int(back[place][at])
            path.append(at)
        return _spans([self.labels[k] for k in reversed(path)])


def _spans(labels: Sequence[str]) -> list[tuple[str, int, int]]:
    found: list[tuple[str, int, int]] = []
    for place, label in enumerate(labels):
        if label == OUTSIDE:
            continue
        name = label[2:]
        if label.startswith("I-") and found and found[-1][0] == name and found[-1][2] == place:
            found[-1] = (name, found[-1][1], place + 1)
        else:
            found.append((name, place, place + 1))
    return found
