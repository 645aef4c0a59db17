"""Align what was said with what was heard, where only ordinary words are known to sound like themselves."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from rapidfuzz.distance import Levenshtein

from notesmith.transcript import sounding

LONGEST = 9  # words that may be heard for one term


class Piece(NamedTuple):
    """An ordinary word, or a term that may have been heard as anything of any length.

    ``key`` is handed back; ``fixed`` marks an ordinary word that has a key.
    """

    text: str
    key: Any = None
    fixed: bool = False

    @property
    def is_term(self) -> bool:
        return self.key is not None and not self.fixed


class Place(NamedTuple):
    """Half-open range of heard words; a side is sure where the neighbour on it was heard rightly."""

    start: int
    end: int
    left_sure: bool
    right_sure: bool


def place_pieces(pieces: Sequence[Piece], heard: Sequence[str]) -> list[Place]:
    """Where each piece was heard, by dynamic programming.

    Ordinary words pay their edit distance; a term takes up any run of words, at a price for a length unlike its own
    and, weakly, for letters unlike its own.
    """
    said = [sounding(piece.text) for piece in pieces]
    got = [sounding(word) for word in heard]
    n, m = len(pieces), len(got)
    far = float("inf")
    cost = [[far] * (m + 1) for _ in range(n + 1)]
    step = [[0] * (m + 1) for _ in range(n + 1)]
    for j in range(m + 1):
        cost[0][j], step[0][j] = 0.7 * j, -1
    for i in range(1, n + 1):
        length = max(1, len(said[i - 1]))
        for j in range(m + 1):
            best, how = cost[i - 1][j] + (1.2 if pieces[i - 1].is_term else 0.8), 0  # not heard at all
            if pieces[i - 1].is_term:
                for k in range(1, min(LONGEST, j) + 1):
                    joined = " ".join(got[j - k : j])
                    unlike = Levenshtein.normalized_distance(said[i - 1].replace(" ", ""), joined.replace(" ", ""))
                    price = cost[i - 1][j - k] + 0.1 + 0.6 * abs(len(joined) - length) / length + 0.6 * unlike
                    if price < best:
                        best, how = price, k
            elif j:
                same = said[i - 1] == got[j - 1]
                unlike = 0.0 if same else 0.35 + 0.9 * Levenshtein.normalized_distance(said[i - 1], got[j - 1])
                if cost[i - 1][j - 1] + unlike < best:
                    best, how = cost[i - 1][j - 1] + unlike, 1
            if j and cost[i][j - 1] + 0.7 < best:
                best, how = cost[i][j - 1] + 0.7, -1  # heard, never said
            cost[i][j], step[i][j] = best, how
    spans = [(0, 0)] * n
    i, j = n, m
    while i:
        how = step[i][j]
        if how == -1:
            j -= 1
        else:
            spans[i - 1] = (j - how, j)
            i, j = i - 1, j - how

    def right(index: int) -> bool:
        start, end = spans[index]
        return end - start == 1 and said[index] == got[start]

    return [
        Place(
            start,
            end,
            start == 0 if k == 0 else right(k - 1) and spans[k - 1][1] == start,
            end == m if k == n - 1 else right(k + 1) and spans[k + 1][0] == end,
        )
        for k, (start, end) in enumerate(spans)
    ]
