"""From evidence to one decision a place: applied, proposed, or left alone.

The hypotheses of a segment compete (field.py). The session is read several times: what one pass finds likely supports
the same terms elsewhere in the next, so that a remedy named often is expected, and one garble gets one answer.
"""

from __future__ import annotations

import math
from collections import defaultdict

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.correct.candidates import EDGE_WORDS, Candidate
from notesmith.correct.evidence import Evidences, Session, Support, first_support, support_of
from notesmith.correct.field import marginals
from notesmith.correct.forms import FormTable
from notesmith.correct.weigh import Weights

APPLY = 0.75
PROPOSE = 0.25
PASSES = 3
WORTH_A_LOOK = 0.03


class Decision(msgspec.Struct, frozen=True):
    """A place, the term it most likely stands for, the probability of that, and the rivals' with theirs.

    ``support`` tells how often the session speaks of the term elsewhere, ``ways`` how differently it was heard.
    """

    candidate: Candidate
    probability: float
    rivals: tuple[tuple[Candidate, float], ...]
    support: float
    ways: int = 1


def probabilities(session: Session, table: FormTable, weights: Weights) -> tuple[list[float], Support]:
    """The probability of each candidate after all passes, and the support they had in the last."""
    evidences = Evidences(session, table)
    support = first_support(session, table)
    vector = weights.vector()
    by_segment: dict[int, list[int]] = defaultdict(list)
    for number, one in enumerate(session.candidates):
        by_segment[one.segment_id].append(number)
    shares: list[float] = []
    for turn in range(PASSES):
        if turn:
            support = support_of(session, table, shares)
        shares = _shares(session, by_segment, evidences.matrix(support) @ vector)
    return shares, support


def _shares(session: Session, by_segment: dict[int, list[int]], scores: NDArray[np.float64]) -> list[float]:
    shares = [0.0] * len(session.candidates)
    for segment_id, numbers in by_segment.items():
        whole = session.transcript.segment_range(segment_id)
        places = [(session.candidates[n].words.start - whole.start, session.candidates[n].words.end - whole.start)
                  for n in numbers]  # fmt: skip
        for number, share in zip(numbers, marginals(len(whole), places, scores[numbers].tolist())[1], strict=True):
            shares[number] = share
    return shares


def decide(session: Session, table: FormTable, weights: Weights) -> list[Decision]:
    """The likeliest term at each place, likeliest places first, never overlapping; unlikely ones are left out."""
    shares, support = probabilities(session, table, weights)
    order = sorted(range(len(shares)), key=lambda n: (-shares[n], session.candidates[n].words))
    touching: dict[int, list[int]] = defaultdict(list)
    for number in order:
        if shares[number] < 1e-4:
            break
        for i in range(session.candidates[number].words.start, session.candidates[number].words.end):
            touching[i].append(number)
    taken: set[int] = set()
    ways: dict[str, set[str]] = defaultdict(set)
    decisions: list[Decision] = []
    for number in order:
        one = session.candidates[number]
        if shares[number] < WORTH_A_LOOK:
            break
        inside = range(one.words.start, one.words.end)
        if any(i in taken for i in inside):
            continue
        concept_id = table.forms[one.form].concept_id
        by_concept: dict[str, tuple[float, int]] = {}
        for other in sorted({n for i in inside for n in touching[i]}, key=lambda n: -shares[n]):
            rival_id = table.forms[session.candidates[other].form].concept_id
            total, first = by_concept.get(rival_id, (0.0, other))
            by_concept[rival_id] = (total + shares[other], first)
        probability = min(1.0, by_concept[concept_id][0])
        if probability < PROPOSE:
            continue
        same = [session.candidates[n] for n in {n for i in inside for n in touching[i]}]
        one = _trimmed(one, [c for c in same if table.forms[c.form].concept_id == concept_id], session)
        taken.update(inside)
        rivals = sorted(((s, n) for c, (s, n) in by_concept.items() if c != concept_id), key=lambda r: (-r[0], r[1]))
        ways[concept_id].add(one.phones)
        decisions.append(
            Decision(
                one, probability, tuple((session.candidates[n], s) for s, n in rivals[:2]),
                support.elsewhere(concept_id, one.words.start, one.words.end),
            )
        )  # fmt: skip
    return [msgspec.structs.replace(d, ways=len(ways[table.forms[d.candidate.form].concept_id])) for d in decisions]


def _trimmed(one: Candidate, same: list[Candidate], session: Session) -> Candidate:
    """The stretch without small words at its ends that the sound does not need."""
    shorter = [
        c
        for c in same
        if one.words.start <= c.words.start
        and c.words.end <= one.words.end
        and c.distance <= one.distance
        and all(
            session.words[i].plain in EDGE_WORDS
            for i in (*range(one.words.start, c.words.start), *range(c.words.end, one.words.end))
        )
    ]
    return min(shorter, key=lambda c: (c.distance, len(c.words), c.form), default=one)


def log_odds(probability: float) -> float:
    kept = min(1 - 1e-6, max(1e-6, probability))
    return math.log(kept / (1 - kept))


def from_log_odds(score: float) -> float:
    return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, score))))
