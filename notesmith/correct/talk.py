"""What the talk is of: which remedies are known for what is said around a place.

A misheard name stands among words that were heard rightly, and these often tell which remedy is spoken of: bearing down
and crossed legs, stringy discharges and small spots. The table (``data/known_for.tsv``) lists what a lecturer says of each
of the commoner remedies, in words of our own from the public-domain materia medica. It is evidence beside the sound and never
enough alone: nothing is restored that does not sound like what was heard.
"""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from wordfreq import zipf_frequency

from notesmith.correct.candidates import HeardWord
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary.expand import stems_of

Floats = NDArray[np.float32]
NEAR, WIDE = 10.0, 45.0  # words after which what a word tells has faded to a third
AGAIN = 40  # words within which the same word tells nothing new
COMMON_ZIPF, RARE_ZIPF = 6.0, 4.0  # of words that tell nothing by themselves, and of those that tell all they can


class KnownFor(NamedTuple):
    """``tokens`` has for each stem, or pair of neighbouring stems, the remedies (places in ``remedies``) it speaks for, and how much."""

    remedies: Mapping[str, int]
    tokens: Mapping[str, tuple[NDArray[np.int64], float]]


@lru_cache(maxsize=1)
def load_known_for() -> KnownFor:
    text = resources.files("notesmith.correct").joinpath("data/known_for.tsv").read_text(encoding="utf-8")
    lines = [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]
    remedies = {remedy: place for place, (remedy, _) in enumerate(lines)}
    speaks_for: dict[str, set[int]] = defaultdict(set)
    for remedy, entries in lines:
        for entry in entries.split(";"):
            stems = stems_of(entry.replace("-", " "))
            for token in (*stems, *(f"{a} {b}" for a, b in itertools.pairwise(stems))):
                speaks_for[token].add(remedies[remedy])
    told = {
        token: (np.array(sorted(ones)), _weight(token, len(ones), len(remedies))) for token, ones in speaks_for.items()
    }
    return KnownFor(remedies, {token: (places, weight) for token, (places, weight) in told.items() if weight > 0})


def _weight(token: str, remedies: int, of: int) -> float:
    """Nats, by how few remedies it speaks for, less for words of everyday speech."""
    telling = math.log((of + 1) / (remedies + 0.5))
    if " " in token:
        return telling
    plain = (COMMON_ZIPF - zipf_frequency(token, "en")) / (COMMON_ZIPF - RARE_ZIPF)
    return telling * min(1.0, max(0.0, plain))


@lru_cache(maxsize=4)
def relatives(vocabulary: Vocabulary) -> Mapping[str, frozenset[str]]:
    """The remedies a book names beside each: complementary, following, antidote, to be compared."""
    found: dict[str, set[str]] = defaultdict(set)
    for one in vocabulary.relations:
        if one.other in vocabulary:
            found[one.remedy].add(one.other)
            found[one.other].add(one.remedy)
    return {remedy: frozenset(others) for remedy, others in found.items()}


class Talk:
    """What the words of a session say for each remedy of the table, at every place: the nearer a word, the more."""

    def __init__(self, words: Sequence[HeardWord]) -> None:
        self._known = load_known_for()
        told = np.zeros((len(words), len(self._known.remedies)), np.float32)
        last: dict[str, int] = {}
        before = ""
        for place, word in enumerate(words):
            for one in stems_of(word.plain):
                for token in (one, f"{before} {one}"):
                    if token in self._known.tokens:
                        if place - last.get(token, -AGAIN) >= AGAIN:
                            remedies, weight = self._known.tokens[token]
                            told[place, remedies] += weight
                        last[token] = place
                before = one
        self._near, self._wide = _Faded(told, NEAR), _Faded(told, WIDE)

    def wide(self, concept_id: str, start: int, end: int) -> float:
        """What speaks for a remedy, near by and farther off, without the words of the stretch."""
        column = self._known.remedies.get(concept_id)
        return 0.0 if column is None else float(self._wide.around(start, end, column))

    def of(self, concept_id: str, start: int, end: int) -> tuple[float, float, float]:
        """What speaks for a remedy near by, what near by and farther off, and the share of remedies for which more does."""
        column = self._known.remedies.get(concept_id)
        if column is None:
            return 0.0, 0.0, 0.5
        wide = self._wide.around(start, end)
        return float(self._near.around(start, end, column)), float(wide[column]), float(np.mean(wide > wide[column]))


class _Faded:
    """(words + 1, remedies): what the words before each place and from it on say, fading with their distance."""

    def __init__(self, told: Floats, reach: float) -> None:
        kept = np.float32(math.exp(-1 / reach))
        self._before = np.zeros((len(told) + 1, told.shape[1]), np.float32)
        self._after = np.zeros_like(self._before)
        for place, row in enumerate(told):
            self._before[place + 1] = kept * self._before[place] + row
        for place in range(len(told) - 1, -1, -1):
            self._after[place] = kept * self._after[place + 1] + told[place]

    def around(self, start: int, end: int, remedies: int | slice = slice(None)) -> Floats:
        """(remedies,), or of one: what is said before and after a stretch."""
        return np.asarray(self._before[start, remedies] + self._after[end, remedies])
