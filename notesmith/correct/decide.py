"""One decision for each stretch: applied, proposed, or left alone.

Stretches that overlap compete; the set with the most evidence wins. The same odd garble is one term throughout a
session: its occurrences are decided together, by the strongest evidence among them.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence

import msgspec
import numpy as np

from notesmith.correct.candidates import HeardWord, Match, Span
from notesmith.correct.context import Surroundings
from notesmith.correct.forms import FormTable
from notesmith.correct.weigh import Weights, features
from notesmith.vocabulary import Vocabulary

APPLY = 0.55
PROPOSE = 0.15
ABSORBS = 0.25
ABSORBED_PHONES = 1.0
# What a repetition of the same garble adds at most, in log-odds, above its own evidence.
SHARED_GAIN = 2.0
NEAR_ENOUGH = 0.55  # relative distance up to which a stretch speaks for its nearest term in the session


class Weighed(msgspec.Struct, frozen=True):
    """A stretch with its best term, log-odds that it is that term, and the rivals' log-odds."""

    span: Span
    match: Match
    log_odds: float
    rivals: tuple[tuple[Match, float], ...]
    support: float
    times_heard: int = 1
    ways_heard: int = 1

    @property
    def accounted(self) -> float:
        """How many phones of the stretch the term accounts for."""
        return max(0.0, len(self.span.phones) - self.match.distance)

    @property
    def probability(self) -> float:
        return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, self.log_odds))))


def session_support(
    right: Mapping[int, tuple[int, str]], found: Sequence[Span], hints: Sequence[str]
) -> tuple[Counter[str], dict[int, tuple[str, float]]]:
    """How often each concept seems to be spoken of, and at which words by which near stretch."""
    support: Counter[str] = Counter()
    for _, concept_id in right.values():
        support[concept_id] += 1
    for concept_id in hints:
        support[concept_id] += 3
    scored = []
    for span in found:
        best = span.matches[0]
        relative = best.distance / max(1, len(span.phones))
        if relative < NEAR_ENOUGH and len(span.phones) >= 4:
            scored.append((relative - 0.004 * len(span.phones), span.words.start, span, best))
    taken: dict[int, tuple[str, float]] = {}
    for relative, _, span, best in sorted(scored, key=lambda item: item[:2]):
        if any(index in taken for index in range(span.words.start, span.words.end)):
            continue
        weight = max(0.0, 1.0 - max(0.0, relative) / NEAR_ENOUGH)
        support[best.concept_id] += weight  # type: ignore[assignment]
        for index in range(span.words.start, span.words.end):
            taken[index] = (best.concept_id, weight)
    return support, taken


def without_itself(
    support: Mapping[str, float], taken: Mapping[int, tuple[str, float]], span: Span, concept_id: str
) -> dict[str, float]:
    """The session's support for a concept, not counting what this very stretch gave to it."""
    own = {taken[i] for i in range(span.words.start, span.words.end) if i in taken and taken[i][0] == concept_id}
    return {concept_id: max(0.0, support.get(concept_id, 0.0) - sum(weight for _, weight in own))}


def weigh(
    found: Sequence[Span],
    words: Sequence[HeardWord],
    right: Mapping[int, tuple[int, str]],
    table: FormTable,
    vocabulary: Vocabulary,
    weights: Weights,
    hints: Sequence[str] = (),
) -> list[Weighed]:
    """The evidence for the best term of every stretch."""
    around = Surroundings(words)
    support, taken = session_support(right, found, hints)
    vector = weights.vector()
    weighed = []
    for span in found:
        options = []
        for number, match in enumerate(span.matches[:4]):
            rival = next((other for other in span.matches if other.concept_id != match.concept_id), None)
            values = features(
                span, match, rival, words, around, table, vocabulary,
                without_itself(support, taken, span, match.concept_id),
            )  # fmt: skip
            options.append((float(values @ vector), -number, match))
        options.sort(key=lambda item: item[:2], reverse=True)
        best = options[0]
        weighed.append(
            Weighed(span, best[2], best[0], tuple((m, s) for s, _, m in options[1:3]),
                    support.get(best[2].concept_id, 0.0))
        )  # fmt: skip
    return weighed


def share_evidence(weighed: Sequence[Weighed], words: Sequence[HeardWord]) -> list[Weighed]:
    """Let the occurrences of one odd garble strengthen each other towards their best-supported term."""
    clusters: dict[str, list[Weighed]] = defaultdict(list)
    ways: dict[str, set[str]] = defaultdict(set)
    for one in weighed:
        if any(word.odd for word in words[one.span.words.start : one.span.words.end]):
            clusters[one.span.plain].append(one)
        if one.log_odds > 0:
            ways[one.match.concept_id].add(one.span.plain)
    decided: dict[str, tuple[str, float]] = {}
    for plain, members in clusters.items():
        if len(members) > 1:
            totals: dict[str, float] = defaultdict(float)
            for member in members:
                totals[member.match.concept_id] += max(0.05, member.probability)
            winner = max(totals, key=lambda concept_id: (totals[concept_id], concept_id))
            decided[plain] = (winner, max(m.log_odds for m in members if m.match.concept_id == winner))
    shared = []
    for one in weighed:
        ways_heard = max(1, len(ways[one.match.concept_id]))
        cluster = clusters.get(one.span.plain, ())
        if one.span.plain in decided and one in cluster:
            winner, strongest = decided[one.span.plain]
            match, own = one.match, one.log_odds
            if match.concept_id != winner:
                found = next(((m, s) for m, s in one.rivals if m.concept_id == winner), None)
                if found is None:
                    shared.append(one)
                    continue
                match, own = found
            gained = min(max(own, strongest - 0.3), own + SHARED_GAIN)
            one = msgspec.structs.replace(one, match=match, log_odds=gained, times_heard=len(cluster))
        shared.append(msgspec.structs.replace(one, ways_heard=ways_heard))
    return shared


def trim(weighed: Sequence[Weighed]) -> list[Weighed]:
    """Of overlapping stretches for one concept, the one whose term accounts for most of the sound.

    A small word beside a term adds more distance than sound, and a term's first half less sound than the whole.
    """
    by_concept: dict[str, list[Weighed]] = defaultdict(list)
    for one in weighed:
        by_concept[one.match.concept_id].append(one)
    kept = []
    for group in by_concept.values():
        taken: set[int] = set()
        for one in sorted(group, key=lambda w: (-w.accounted, w.span.words.start, w.span.words.end)):
            inside = range(one.span.words.start, one.span.words.end)
            if not any(index in taken for index in inside):
                taken.update(inside)
                kept.append(one)
    return sorted(kept, key=lambda one: (one.span.words.start, one.span.words.end))


def absorb(weighed: Sequence[Weighed]) -> list[Weighed]:
    """Drop stretches that are a part of a longer one which accounts for more of the sound."""
    strong = [one for one in weighed if one.probability >= ABSORBS]
    kept = []
    for one in weighed:
        inside = one.span.words
        if not any(
            other.span.words.start <= inside.start
            and inside.end <= other.span.words.end
            and len(other.span.words) > len(inside)
            and other.accounted > one.accounted + ABSORBED_PHONES
            for other in strong
        ):
            kept.append(one)
    return kept


def select(weighed: Sequence[Weighed], at_least: float) -> list[Weighed]:
    """The stretches that do not overlap and have the most evidence together (weighted interval scheduling).

    A longer stretch has to beat what its parts say on their own.
    """
    floor = math.log(at_least / (1 - at_least))
    worthy = sorted(
        (one for one in weighed if one.log_odds >= floor), key=lambda one: (one.span.words.end, one.span.words.start)
    )
    ends = [one.span.words.end for one in worthy]
    best: list[float] = [0.0]
    choice: list[tuple[bool, int]] = []
    for number, one in enumerate(worthy):
        before = bisect_right(ends, one.span.words.start, 0, number)
        gain = best[before] + one.log_odds - floor + 0.01
        take = gain > best[number]
        choice.append((take, before))
        best.append(max(gain, best[number]))
    chosen, number = [], len(worthy)
    while number:
        take, before = choice[number - 1]
        if take:
            chosen.append(worthy[number - 1])
            number = before
        else:
            number -= 1
    return chosen[::-1]


def log_odds(probability: float) -> float:
    return float(np.log(probability / (1 - probability)))
