"""Competing hypotheses in one segment: a semi-Markov random field (Sarawagi and Cohen, NIPS 2004).

A segment is read as a row of ordinary words, which score nothing, and of hypotheses, each with a score. The share of
all readings that hold a hypothesis is the probability that it is right, its rivals and overlapping ones accounted for.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

HIGHEST = 30.0


def marginals(length: int, places: Sequence[tuple[int, int]], scores: Sequence[float]) -> tuple[float, list[float]]:
    """The logarithm of the sum over all readings, and the probability of each hypothesis.

    ``places`` are half-open word ranges inside a segment of ``length`` words.
    """
    weights = [math.exp(max(-HIGHEST, min(HIGHEST, score))) for score in scores]
    ending: list[list[int]] = [[] for _ in range(length + 1)]
    starting: list[list[int]] = [[] for _ in range(length + 1)]
    for number, (start, end) in enumerate(places):
        ending[end].append(number)
        starting[start].append(number)
    before = [1.0] + [0.0] * length
    for at in range(1, length + 1):
        before[at] = before[at - 1] + sum(before[places[k][0]] * weights[k] for k in ending[at])
    after = [0.0] * length + [1.0]
    for at in range(length - 1, -1, -1):
        after[at] = after[at + 1] + sum(after[places[k][1]] * weights[k] for k in starting[at])
    whole = before[length]
    shares = [before[start] * weights[k] * after[end] / whole for k, (start, end) in enumerate(places)]
    return math.log(whole), shares
