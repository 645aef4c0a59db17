"""Restore misheard terms: by sound, by what the session is about, and by the sound itself where there is a recording.

``correct`` is a plain function: the same transcript, vocabulary and verdicts give the same corrections. It never edits
the transcript, and leaves alone whatever it is not sure of.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import msgspec

from notesmith.annotations import Correction, Corrections, Evidence, Rival
from notesmith.correct.candidates import HeardWord, canonical, find, heard_words, right_already
from notesmith.correct.decide import APPLY, PROPOSE, Weighed, absorb, select, share_evidence, trim, weigh
from notesmith.correct.forms import FormTable, form_table
from notesmith.correct.rulings import covered_words, ruled_corrections, rulings_of
from notesmith.correct.weigh import Weights, load_weights
from notesmith.sounds import load_costs
from notesmith.transcript import TimeSpan, Transcript, sounding
from notesmith.verdicts import VerdictEntry
from notesmith.vocabulary import Vocabulary

__all__ = ["VERSION", "SessionHints", "Witness", "correct"]

VERSION = "1"
PLURALS = frozenset({"idea", "medical", "family"})
REVIEW_ITEMS_PER_HALF_HOUR = 15
HALF_HOUR_MS = 30 * 60 * 1000


class SessionHints(msgspec.Struct, frozen=True):
    """What is known of a session before it is read: its title and the remedies it is about."""

    title: str = ""
    remedy_ids: tuple[str, ...] = ()


class Witness(Protocol):
    """The sound, asked how well it fits each of some wordings of one stretch of speech."""

    def score(self, time: TimeSpan, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        """Summed log-probabilities, one for each wording inside the same sentence; higher fits better."""


def correct(
    transcript: Transcript,
    vocabulary: Vocabulary,
    *,
    verdicts: Sequence[VerdictEntry] = (),
    session: SessionHints | None = None,
    textbook: Sequence[str] = (),
    witness: Witness | None = None,
    weights: Weights | None = None,
) -> Corrections:
    """The corrections of a transcript, in reading order, not overlapping, each inside its segment."""
    rulings = rulings_of(verdicts)
    ruled = ruled_corrections(transcript, rulings, vocabulary)
    if not len(vocabulary):
        return Corrections(transcript.digest, tuple(ruled))
    table = form_table(vocabulary, load_costs())
    words = heard_words(transcript)
    right = right_already(vocabulary, words, transcript)
    taken = covered_words(transcript, ruled)
    found = [
        msgspec.structs.replace(span, matches=kept)
        for span in find(table, transcript, words, right)
        if not any(index in taken for index in range(span.words.start, span.words.end))
        and (kept := tuple(m for m in span.matches if not rulings.refuses(span.plain, m.concept_id)))
    ]
    hints = session.remedy_ids if session is not None else ()
    weighed = share_evidence(
        weigh(found, words, right, table, vocabulary, weights or load_weights(), hints), words
    )  # fmt: skip
    chosen = select(absorb(trim(weighed)), PROPOSE)
    made = (_correction(transcript, one, words, table, vocabulary) for one in chosen)
    items = _limit_review([*ruled, *(item for item in made if item is not None)], transcript)
    return Corrections(transcript.digest, tuple(sorted(items, key=lambda i: (i.segment_id, i.word_start))))


def _correction(
    transcript: Transcript, one: Weighed, words: Sequence[HeardWord], table: FormTable, vocabulary: Vocabulary
) -> Correction | None:
    span, match = one.span, one.match
    concept = vocabulary[match.concept_id]
    plural = span.phones[-1:] in "sz" and table.forms[match.form].phones[-1:] not in "sz" and concept.scheme in PLURALS
    label = canonical(concept.pref_label, match.label) if concept.scheme == "remedy" else match.label
    restored = _inflected(span.heard, label, plural=plural)
    if sounding(restored) == span.plain:
        return None  # spelt as the vocabulary has it already
    probability = one.probability
    evidence = [
        Evidence("sound", f"sounds like {match.label}", round(-match.distance, 2)),
    ]
    if one.times_heard > 1 or one.ways_heard > 1:
        evidence.append(
            Evidence("session", f"heard {one.times_heard} times so, {one.ways_heard} ways in this session",
                     round(math.log1p(one.support), 2))
        )  # fmt: skip
    elif one.support >= 1:
        evidence.append(Evidence("session", "the session speaks of it elsewhere", round(math.log1p(one.support), 2)))
    start = transcript.segment_starts[span.segment_id]
    return Correction(
        segment_id=span.segment_id,
        word_start=span.words.start - start,
        word_end=span.words.end - start,
        heard=span.heard,
        concept_id=match.concept_id,
        restored=restored,
        score=round(probability, 4),
        evidence=tuple(evidence),
        state="applied" if probability >= APPLY else "proposed",
        rivals=tuple(
            Rival(m.concept_id, m.label, round(1 / (1 + math.exp(-max(-30.0, min(30.0, s)))), 4)) for m, s in one.rivals
        ),
    )


def _inflected(heard: str, label: str, *, plural: bool) -> str:
    """The label with the ending that was heard: a possessive or a plural stays one."""
    bare = heard.rstrip(".,;:?!\"')]")
    if bare.endswith(("'s", "’s")) and not label.endswith("s"):
        return f"{label}'s"
    if plural and not label.endswith("s"):
        return f"{label[:-1]}ies" if label.endswith("y") else f"{label}s"
    return label


def _limit_review(items: list[Correction], transcript: Transcript) -> list[Correction]:
    """Keep only the likeliest proposals: a person can settle a few a session, not dozens."""
    length_ms = max(
        HALF_HOUR_MS // 6, transcript.duration_ms or transcript.words[-1].time.end_ms if transcript.words else 0
    )
    allowed = max(3, REVIEW_ITEMS_PER_HALF_HOUR * length_ms // HALF_HOUR_MS)
    proposed = sorted((item for item in items if item.state == "proposed"), key=lambda item: -item.score)
    dropped = {id(item) for item in proposed[allowed:]}
    return [item for item in items if id(item) not in dropped]
