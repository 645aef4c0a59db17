"""What the talk is of: which remedies are known for what is said around a place.

A misheard name stands among words that were heard rightly, and these often tell which remedy is spoken of: bearing down
and crossed legs, stringy discharges and small spots. The table (``data/known_for.tsv``) lists what a lecturer says of each
of the commoner remedies, in words of our own from the public-domain materia medica. It is evidence beside the sound and never
enough alone: nothing is restored that does not sound like what was heard.
"""

from __future__ import annotations

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
from notesmith.vocabulary.expand import STOP_WORDS, stem

Floats = NDArray[np.float32]
NEAR, WIDE = 14, 45  # words to either side
AGAIN = 40  # words within which the same word tells nothing new
PAIR = 1.3  # a pair tells more than its words
COMMON_ZIPF, RARE_ZIPF = 6.0, 4.0  # of words that tell nothing by themselves, and of those that tell all they can


class KnownFor(NamedTuple):
    """``tokens`` has for each stem, or pair of stems, the remedies (places in ``remedies``) and what it says for each."""

    remedies: Mapping[str, int]
    tokens: Mapping[str, tuple[NDArray[np.int64], Floats]]


@lru_cache(maxsize=1)
def load_known_for() -> KnownFor:
    text = resources.files("notesmith.correct").joinpath("data/known_for.tsv").read_text(encoding="utf-8")
    lines = [line.split("\t") for line in text.splitlines() if line and not line.startswith("#")]
    remedies = {remedy: place for place, (remedy, _) in enumerate(lines)}
    speaks_for: dict[str, set[int]] = defaultdict(set)
    for remedy, entries in lines:
        for entry in entries.split(";"):
            for token in _tokens(entry.replace("-", " ").split()):
                speaks_for[token].add(remedies[remedy])
    told = {token: _weight(token, len(ones), len(remedies)) for token, ones in speaks_for.items()}
    mass = np.zeros(len(remedies))
    for token, ones in speaks_for.items():
        mass[list(ones)] += told[token]
    even = np.sqrt(np.mean(mass) / np.maximum(mass, 1.0))  # a remedy of which much is told is met by chance more often
    tokens = {}
    for token, ones in speaks_for.items():
        if told[token] > 0:
            places = np.array(sorted(ones))
            tokens[token] = places, (told[token] * even[places]).astype(np.float32)
    return KnownFor(remedies, tokens)


def _tokens(words: Sequence[str]) -> list[str]:
    """The stems of words, and the pairs of stems that stand side by side but for stop words."""
    stems = [stem(word) for word in words if word not in STOP_WORDS]
    return [*stems, *(f"{a} {b}" for a, b in zip(stems, stems[1:], strict=False))]


def _weight(token: str, remedies: int, of: int) -> float:
    """Nats, by how few remedies it speaks for, less for words of everyday speech."""
    telling = math.log((of + 1) / (remedies + 0.5))
    if " " in token:
        return PAIR * telling
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
    """What the words of a session say for each remedy of the table, at every place."""

    def __init__(self, words: Sequence[HeardWord]) -> None:
        self._known = load_known_for()
        told = np.zeros((len(words) + 1, len(self._known.remedies)), np.float32)
        last: dict[str, int] = {}
        before = ""
        for place, word in enumerate(words):
            for one in (stem(part) for part in word.plain.split() if part not in STOP_WORDS):
                for token in (one, f"{before} {one}"):
                    if token in self._known.tokens:
                        if place - last.get(token, -AGAIN) >= AGAIN:
                            remedies, weights = self._known.tokens[token]
                            told[place + 1, remedies] += weights
                        last[token] = place
                before = one
        self._sums = np.cumsum(told, 0)

    def scores(self, start: int, end: int, reach: int, remedies: int | slice = slice(None)) -> Floats:
        """(remedies,): what the words within ``reach`` of a stretch, without its own, say for each, or for one."""
        sums, last = self._sums[:, remedies], len(self._sums) - 1
        around = sums[min(last, end + reach)] - sums[end] + sums[start] - sums[max(0, start - reach)]
        return np.asarray(around, np.float32)

    def wide(self, concept_id: str, start: int, end: int) -> float:
        """What speaks for a remedy, near by and farther off."""
        column = self._known.remedies.get(concept_id)
        return 0.0 if column is None else float(self.scores(start, end, WIDE, column))

    def of(self, concept_id: str, start: int, end: int) -> tuple[float, float, float]:
        """What speaks for a remedy near by, what near by and farther off, and the share of remedies for which more does."""
        column = self._known.remedies.get(concept_id)
        if column is None:
            return 0.0, 0.0, 0.5
        wide = self.scores(start, end, WIDE)
        return (
            float(self.scores(start, end, NEAR, column)), float(wide[column]), float(np.mean(wide > wide[column]))
        )  # fmt: skip
