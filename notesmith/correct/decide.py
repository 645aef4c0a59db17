"""From evidence to one decision a place: applied, proposed, or left alone.

The hypotheses of a segment compete (field.py). The session is read several times: what one pass finds likely supports
the same terms elsewhere in the next, so that a remedy named often is expected, and one garble gets one answer.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.correct.candidates import EDGE_WORDS, Candidate
from notesmith.correct.evidence import Evidences, Session, Support, first_support, support_of
from notesmith.correct.field import marginals
from notesmith.correct.forms import Form, FormTable
from notesmith.correct.judge import COLUMNS, Verdicts, rows_of, worth_judging
from notesmith.correct.reader import READ, UNLIKELY, read_rows, reading_of
from notesmith.correct.weigh import Weights
from notesmith.sounds.phones import VOWELS

APPLY = 0.92  # on the hands left out 97 of 100 right, with the sound and without (benchmarks/learn_judge.py); at 0.90 more harm for little more
PROPOSE = 0.25
PASSES = 3
WORTH_A_LOOK = 0.03
AS_LIKELY = 0.7  # log-odds by which two bounds of one term may differ and the better fitting ones are taken
TOLD = READ.index("read concept")
RELATIVE, LEFT_OVER = COLUMNS.index("relative distance"), COLUMNS.index("odd word left over")


class Decision(msgspec.Struct, frozen=True):
    """A place, the term it most likely stands for, the probability of that, and the rivals' with theirs.

    ``support`` tells how often the session speaks of the term elsewhere, ``ways`` how differently it was heard;
    ``evidence`` is the judge's row (judge.COLUMNS), ``told`` the log-probability of the term as the language model reads it.
    """

    candidate: Candidate
    probability: float
    rivals: tuple[tuple[Candidate, float], ...]
    support: float
    ways: int = 1
    evidence: tuple[float, ...] = ()
    told: float = UNLIKELY


def field_of(session: Session, table: FormTable, weights: Weights) -> tuple[list[float], Support, NDArray[np.float64]]:
    """The share of each candidate after all passes, the support they had in the last, and their evidence then."""
    evidences = Evidences(session, table)
    support = first_support(session, table)
    vector = weights.vector()
    shares: list[float] = []
    for turn in range(PASSES):
        if turn:
            support = support_of(session, table, shares)
        features = evidences.matrix(support)
        shares = shares_of(session, features @ vector)
    return shares, support, features


def probabilities(session: Session, table: FormTable, weights: Weights) -> tuple[list[float], Support]:
    """The share of each candidate after all passes, and the support they had in the last."""
    shares, support, _ = field_of(session, table, weights)
    return shares, support


def shares_of(session: Session, scores: NDArray[np.float64]) -> list[float]:
    """The share of each candidate among the readings of its segment; ``scores`` in the order of the candidates."""
    by_segment: dict[int, list[int]] = defaultdict(list)
    for number, one in enumerate(session.candidates):
        by_segment[one.segment_id].append(number)
    shares = [0.0] * len(session.candidates)
    for segment_id, numbers in by_segment.items():
        whole = session.transcript.segment_range(segment_id)
        places = [(session.candidates[n].words.start - whole.start, session.candidates[n].words.end - whole.start)
                  for n in numbers]  # fmt: skip
        for number, share in zip(numbers, marginals(len(whole), places, scores[numbers].tolist())[1], strict=True):
            shares[number] = share
    return shares


class Weighed(msgspec.Struct, frozen=True):
    """The hypotheses worth judging (numbers of candidates), their rows (judge.COLUMNS) and log-odds, and the support."""

    session: Session
    chosen: tuple[int, ...]
    rows: NDArray[np.float64]
    log_odds: NDArray[np.float64]
    support: Support
    fits: NDArray[np.float64]  # distance a phone, of what was written or, where the sound was heard, of its phones
    reads: NDArray[np.float64]  # (chosen, READ)

    def decisions(self, table: FormTable) -> list[Decision]:
        """The likeliest term at each place, likeliest places first, never overlapping; unlikely ones are left out."""
        made = decisions_of(self.session, table, self.chosen, self.log_odds, self.rows, self.support, self.fits)
        told = dict(zip(self.chosen, self.reads[:, TOLD].tolist(), strict=True))
        return [msgspec.structs.replace(one, told=told[number]) for number, one in made.items()]


def weigh_all(
    session: Session, table: FormTable, weights: Weights, judge: Verdicts, always: frozenset[int] = frozenset()
) -> Weighed:
    """Judge a session's hypotheses by the text; the candidates numbered in ``always`` however unlikely they look."""
    shares, support, features = field_of(session, table, weights)
    chosen = chosen_of(session, shares, always)
    rows = rows_of(session, table, shares, features, chosen)
    reads = reads_of(session, table, chosen)
    log_odds = judge.by_text.log_odds(np.hstack([rows, reads]))
    return Weighed(session, tuple(chosen), rows, log_odds, support, rows[:, RELATIVE], reads)


def chosen_of(session: Session, shares: Sequence[float], always: frozenset[int] = frozenset()) -> list[int]:
    """The candidates worth judging: what the field or the language model thinks likely, and those in ``always``."""
    read = (number for number, one in enumerate(session.candidates) if one.by_reading)
    return sorted({*worth_judging(shares), *always, *read})


def reads_of(session: Session, table: FormTable, chosen: Sequence[int]) -> NDArray[np.float64]:
    """(chosen, READ): what the language model says of each hypothesis."""
    reading = reading_of(tuple(word.text for word in session.words))
    return read_rows(reading, table, [session.candidates[number] for number in chosen])


def decisions_of(
    session: Session,
    table: FormTable,
    chosen: Sequence[int],
    judged_log_odds: NDArray[np.float64],
    rows: NDArray[np.float64],
    support: Support,
    fits: NDArray[np.float64],
) -> dict[int, Decision]:
    """The decisions among judged candidates, by the number of the candidate."""
    odds = dict(zip(chosen, judged_log_odds.tolist(), strict=True))
    fit = dict(zip(chosen, zip(rows[:, LEFT_OVER].tolist(), fits.tolist(), strict=True), strict=True))
    judged = {n: from_log_odds(z) for n, z in odds.items()}
    rows_by_number = dict(zip(chosen, rows, strict=True))
    concepts = {n: table.forms[session.candidates[n].form].concept_id for n in chosen}
    touching: dict[int, list[int]] = defaultdict(list)
    for number in chosen:
        for i in range(session.candidates[number].words.start, session.candidates[number].words.end):
            touching[i].append(number)
    taken: set[int] = set()
    ways: dict[str, set[str]] = defaultdict(set)
    decisions: dict[int, Decision] = {}
    for number in sorted(chosen, key=lambda n: (-judged[n], session.candidates[n].words, n)):
        one, concept_id = session.candidates[number], concepts[number]
        inside = _inside(one)
        if judged[number] < WORTH_A_LOOK:
            break
        if taken & inside:
            continue
        here = sorted({n for i in inside for n in touching[i]}, key=lambda n: (-judged[n], n))
        rivals: dict[str, int] = {}
        for other in here:
            if concepts[other] != concept_id:
                rivals.setdefault(concepts[other], other)
        same = [n for n in here if concepts[n] == concept_id and not taken & _inside(session.candidates[n])]
        best = min((n for n in same if odds[n] >= odds[number] - AS_LIKELY), key=lambda n: (*fit[n], -odds[n], n))
        fitting = [session.candidates[n] for n in same if fit[n][1] <= fit[best][1]]
        kept = _trimmed(session.candidates[best], fitting, session, table)
        taken |= _inside(kept) | inside
        ways[concept_id].add(one.phones)
        decisions[number] = Decision(
            kept,
            judged[number],
            tuple((session.candidates[n], judged[n]) for n in list(rivals.values())[:2]),
            support.elsewhere(concept_id, one.words.start, one.words.end),
            evidence=tuple(rows_by_number[number].tolist()),
        )
    strongest: dict[tuple[str, str], float] = defaultdict(float)
    for number, made in decisions.items():
        key = made.candidate.phones, concepts[number]
        strongest[key] = max(strongest[key], made.probability)
    return {
        number: msgspec.structs.replace(
            made,
            ways=len(ways[concepts[number]]),
            probability=strongest[made.candidate.phones, concepts[number]]
            if _one_word_throughout(made, session)
            else made.probability,
        )
        for number, made in decisions.items()
    }


def _inside(one: Candidate) -> set[int]:
    return set(range(one.words.start, one.words.end))


def _one_word_throughout(one: Decision, session: Session) -> bool:
    """Whether a garble means one thing in all the session: it is no ordinary word, or is written as a name."""
    inside = session.words[one.candidate.words.start : one.candidate.words.end]
    return one.probability >= PROPOSE and (not one.candidate.everyday or all(word.capital for word in inside))


def _trimmed(one: Candidate, same: list[Candidate], session: Session, table: FormTable) -> Candidate:
    """The stretch without small words at its ends that the sound does not need; an article that would not be said before
    the term ("a Ignatia") is no word of its own but a piece of it."""
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
        and not (
            c.words.start > one.words.start and _unsaid(session.words[c.words.start - 1].plain, table.forms[c.form])
        )
    ]
    return min(shorter, key=lambda c: (c.distance, len(c.words), c.form), default=one)


def _unsaid(article: str, form: Form) -> bool:
    """Whether English does not put this article before the term."""
    return article in ("a", "an") and (article == "an") != (form.phones[:1] in VOWELS)


def log_odds(probability: float) -> float:
    kept = min(1 - 1e-6, max(1e-6, probability))
    return math.log(kept / (1 - kept))


def from_log_odds(score: float) -> float:
    return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, score))))
