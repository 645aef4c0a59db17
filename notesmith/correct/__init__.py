"""Restore misheard terms: by sound, by what the session is about, and by the sound itself where there is a recording.

``correct`` is a plain function: the same transcript, vocabulary and verdicts give the same corrections. It never edits
the transcript, and leaves alone whatever it is not sure of.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.annotations import Correction, Corrections, Evidence, Rival, TextbookReading
from notesmith.correct.candidates import NEGATIONS, Candidate, HeardWord, canonical, of_a_person_or_street
from notesmith.correct.decide import APPLY, PROPOSE, Weighed, from_log_odds, weigh_all
from notesmith.correct.ear import (
    EAR_COLUMNS,
    PhonesHeard,
    ear_candidates,
    ear_rows,
    listen_for_phones,
    subjects,
)
from notesmith.correct.evidence import Evidences
from notesmith.correct.forms import FormTable, form_table
from notesmith.correct.gather import by_whole_vocabulary, gather
from notesmith.correct.judge import Verdicts, load_judge
from notesmith.correct.listening import Heard, Witness, ask
from notesmith.correct.potencies import potency_proposals
from notesmith.correct.rulings import Rulings, covered_words, ruled_corrections, rulings_of
from notesmith.correct.textbook import read_along
from notesmith.correct.weigh import Weights, load_weights
from notesmith.sounds import load_costs
from notesmith.sounds.hearing import PhoneHearing
from notesmith.transcript import Transcript, WordRange, sounding
from notesmith.verdicts import VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary

__all__ = ["HEARING_VERSION", "VERSION", "SessionHints", "Witness", "correct", "look_ahead"]

VERSION = "18"
HEARING_VERSION = "3"
ASKED, LEAD, EAR_DISTANCE = (EAR_COLUMNS.index(name) for name in ("ear asked", "ear lead", "ear distance"))
FITS_THERE = math.log(0.2)  # of the language model's share for the term, from which that is told as a reason
PLURALS = frozenset({"idea", "medical", "family"})
REVIEW_ITEMS_PER_HALF_HOUR = 15
HALF_HOUR_MS = 30 * 60 * 1000


class SessionHints(msgspec.Struct, frozen=True):
    """What is known of a session before it is read: its title and the remedies it is about."""

    title: str = ""
    remedy_ids: tuple[str, ...] = ()


class Sound(msgspec.Struct, frozen=True):
    """A recording that can be asked, and the phones heard in it."""

    witness: Witness
    heard: PhonesHeard


def correct(
    transcript: Transcript,
    vocabulary: Vocabulary,
    *,
    verdicts: Sequence[VerdictEntry] = (),
    session: SessionHints | None = None,
    textbook: Sequence[str] = (),
    witness: Witness | None = None,
    phones: PhoneHearing | None = None,
    keep_phones: Callable[[PhoneHearing], None] = lambda hearing: None,
    weights: Weights | None = None,
    judge: Verdicts | None = None,
) -> Corrections:
    """The corrections of a transcript, in reading order, not overlapping, each inside its segment.

    ``textbook`` holds the lines of the course's own text; passages read aloud from it are marked and restored by it.
    With a ``witness`` the sound itself is asked: ``phones`` are those an earlier run heard in it, all or some, and
    ``keep_phones`` gets what was heard so far, to be given again.
    ``weights`` and ``judge`` are those that ship with the package unless given (for measuring).
    """
    learnt = (weights or load_weights(), judge or load_judge())
    rulings = rulings_of(verdicts)
    ruled = ruled_corrections(transcript, rulings, vocabulary)
    if not len(vocabulary):
        return Corrections(transcript.digest, tuple(ruled))
    heard, sound = None, None
    if witness is not None:
        heard = PhonesHeard(transcript, listen_for_phones(transcript, witness, phones, keep_phones))
        sound = Sound(witness, heard)
    readings, quoted = read_along(transcript, textbook, vocabulary)
    done = [*ruled, *_untouched(transcript, [q for q in quoted if not _refused(rulings, q)], ruled)]
    found = _by_sound(transcript, vocabulary, rulings, session, sound, learnt, done)
    items = [*done, *found]
    items += _untouched(transcript, potency_proposals(transcript, vocabulary, items, heard), items)
    kept = _limit_review(
        [item for item in items if not _refused(rulings, item) or item in ruled],
        transcript,
        _answered(transcript, verdicts),
    )
    return _corrections(transcript, kept, readings)


def look_ahead(part: Transcript, vocabulary: Vocabulary) -> None:
    """Look up what a finished part of a session may hold, so that ``correct`` finds the answers known; they do not change."""
    table = form_table(vocabulary, load_costs())
    Evidences(by_whole_vocabulary(part, table), table)


def _corrections(
    transcript: Transcript, items: Sequence[Correction], readings: Sequence[TextbookReading]
) -> Corrections:
    ordered = sorted(items, key=lambda item: (item.segment_id, item.word_start))
    return Corrections(transcript.digest, tuple(ordered), tuple(readings))


def _refused(rulings: Rulings, item: Correction) -> bool:
    return rulings.refuses_within(sounding(item.heard).split(), item.concept_id)


def _untouched(transcript: Transcript, new: Sequence[Correction], old: Sequence[Correction]) -> list[Correction]:
    """The new corrections that touch no word of the old ones."""
    covered = covered_words(transcript, old)
    return [item for item in new if not covered_words(transcript, [item]) & covered]


def _by_sound(
    transcript: Transcript,
    vocabulary: Vocabulary,
    rulings: Rulings,
    hints: SessionHints | None,
    sound: Sound | None,
    learnt: tuple[Weights, Verdicts],
    done: Sequence[Correction],
) -> list[Correction]:
    table = form_table(vocabulary, load_costs())
    plain = [sounding(word.text) for word in transcript.words]
    frozen = frozenset(covered_words(transcript, done))

    texts = [word.text for word in transcript.words]

    def allowed(r: WordRange, concept_id: str) -> bool:
        return not rulings.refuses_within(plain[r.start : r.end], concept_id) and not of_a_person_or_street(
            texts, r, concept_id
        )

    known = gather(
        transcript,
        table,
        frozen=frozen,
        weights=learnt[0],
        hints=hints.remedy_ids if hints is not None else (),
        allowed=allowed,
    )
    weights, judge = learnt
    weighed = weigh_all(known, table, weights, judge)
    if sound is not None:
        weighed = weigh_heard(weighed, table, learnt, sound.heard, frozen, allowed)
    decisions = weighed.decisions(table)
    heard = [Heard(one) for one in decisions]
    if sound is not None:
        wordings = [restored_text(transcript, one.candidate, table, vocabulary) for one in decisions]
        rivals = [[table.forms[c.form].label for c, _ in one.rivals] for one in decisions]
        heard = ask(transcript, decisions, wordings, rivals, sound.witness, judge.by_sound)
    made = (_correction(transcript, one, known.words, table, vocabulary) for one in heard)
    return [item for item in made if item is not None]


def weigh_heard(
    weighed: Weighed, table: FormTable, learnt: tuple[Weights, Verdicts], heard: PhonesHeard,
    frozen: frozenset[int], allowed: Callable[[WordRange, str], bool],
) -> Weighed:  # fmt: skip
    """Judge all hypotheses anew by the phones heard, with those that only the phones bring up."""
    weights, judge = learnt
    again, columns = rows_heard(weighed, table, weights, judge, heard, frozen, allowed)
    asked = columns[:, ASKED] > 0
    judged = np.where(asked, judge.by_ear.log_odds(columns), again.log_odds)
    fits = np.where(asked, columns[:, EAR_DISTANCE], again.fits)
    return msgspec.structs.replace(again, rows=columns, log_odds=judged, fits=fits)


def rows_heard(
    weighed: Weighed, table: FormTable, weights: Weights, judge: Verdicts, heard: PhonesHeard,
    frozen: frozenset[int] = frozenset(), allowed: Callable[[WordRange, str], bool] = lambda r, concept_id: True,
) -> tuple[Weighed, NDArray[np.float64]]:  # fmt: skip
    """The session with the candidates the phones bring up, judged by the text, and the rows (EAR_COLUMNS) to judge it again."""
    session = weighed.session
    likely = [from_log_odds(z) for z in weighed.log_odds.tolist()]
    more = ear_candidates(session, heard, table, subjects(session, table, weighed.chosen, likely), frozen, allowed)
    wider = msgspec.structs.replace(session, candidates=(*session.candidates, *more))
    brought = frozenset(range(len(session.candidates), len(wider.candidates)))
    again = weigh_all(wider, table, weights, judge, brought)
    return again, np.hstack([again.rows, again.log_odds[:, None], ear_rows(wider, heard, table, again.chosen)])


def restored_text(transcript: Transcript, one: Candidate, table: FormTable, vocabulary: Vocabulary) -> str:
    """The published spelling of the form, with the possessive or plural that was heard."""
    form = table.forms[one.form]
    concept = vocabulary[form.concept_id]
    label = canonical(concept.pref_label, form.label) if concept.scheme == "remedy" else form.label
    bare = transcript.text(one.words).rstrip(".,;:?!\"')]")
    if bare.endswith(("'s", "’s")) and not label.endswith("s"):
        return f"{label}'s"
    plural = one.phones[-1:] in "sz" and form.phones[-1:] not in "sz" and concept.scheme in PLURALS
    return f"{label}s" if plural and bare.endswith("s") and not label.endswith("s") else label


def _correction(
    transcript: Transcript, one: Heard, words: Sequence[HeardWord], table: FormTable, vocabulary: Vocabulary
) -> Correction | None:
    decision = one.decision
    candidate, form = decision.candidate, table.forms[decision.candidate.form]
    heard = transcript.text(candidate.words)
    restored = restored_text(transcript, candidate, table, vocabulary)
    if sounding(restored) == sounding(heard) or decision.probability < PROPOSE:
        return None  # spelt as the vocabulary has it already, or the sound spoke against it
    negation = any(words[i].plain in NEGATIONS for i in range(candidate.words.start, candidate.words.end))
    start = transcript.segment_starts[candidate.segment_id]
    return Correction(
        segment_id=candidate.segment_id,
        word_start=candidate.words.start - start,
        word_end=candidate.words.end - start,
        heard=heard,
        concept_id=form.concept_id,
        restored=restored,
        score=round(decision.probability, 4),
        evidence=_reasons(one, form.label),
        state="applied" if decision.probability >= APPLY and not negation else "proposed",
        rivals=tuple(
            Rival(table.forms[c.form].concept_id, table.forms[c.form].label, round(share, 4))
            for c, share in decision.rivals
        ),
    )


def _reasons(one: Heard, label: str) -> tuple[Evidence, ...]:
    decision = one.decision
    reasons = [Evidence("sound", f"sounds like {label}", round(-decision.candidate.distance, 2))]
    if decision.ways > 1:
        reasons.append(
            Evidence("session", f"heard {decision.ways} ways in this session", round(math.log1p(decision.support), 2))
        )
    elif decision.support >= 1:
        reasons.append(
            Evidence("session", "the session speaks of it elsewhere", round(math.log1p(decision.support), 2))
        )
    if len(decision.evidence) == len(EAR_COLUMNS) and decision.evidence[ASKED]:
        lead = decision.evidence[LEAD]
        nearer = "it than like what was written" if lead > 0 else "what was written than like it"
        alike = "the recording fits it and what was written alike"
        reason = f"the recording sounds more like {nearer}" if abs(lead) >= 1 else alike
        reasons.append(Evidence("audio", reason, round(lead, 2)))
    if one.margin is not None:
        word = "fits it better" if one.margin > 0 else "fits what was written better"
        reasons.append(Evidence("audio", f"listened to again, the recording {word}", round(one.margin, 2)))
    if decision.told >= FITS_THERE:
        reasons.append(Evidence("context", f"{label} fits what is said there", round(decision.told, 2)))
    return tuple(reasons)


def _answered(transcript: Transcript, verdicts: Sequence[VerdictEntry]) -> int:
    """How many proposals of this transcript people have ruled on already, each form counted once."""
    forms = {
        sounding(entry.verdict.heard)
        for entry in verdicts
        if isinstance(entry.verdict, WordVerdict) and entry.verdict.answers and not entry.undone
    }
    if not forms:
        return 0
    said = f" {' '.join(filter(None, (sounding(word.text) for word in transcript.words)))} "
    return sum(f" {form} " in said for form in forms)


def _limit_review(items: list[Correction], transcript: Transcript, answered: int) -> list[Correction]:
    """Keep only the proposals most worth a person's time, who can settle a few a session, not dozens, nor a few again and again.

    A heard form is settled once for all its places (the desk shows it so), so a form is worth what its places are together.
    """
    length_ms = max(
        HALF_HOUR_MS // 6, transcript.duration_ms or transcript.words[-1].time.end_ms if transcript.words else 0
    )
    allowed = max(0, max(1, REVIEW_ITEMS_PER_HALF_HOUR * length_ms // HALF_HOUR_MS) - answered)
    worth: dict[str, float] = {}
    for item in items:
        if item.state == "proposed":
            form = sounding(item.heard)
            worth[form] = worth.get(form, 0.0) + item.score
    kept = set(sorted(worth, key=lambda form: -worth[form])[:allowed])
    return [item for item in items if item.state != "proposed" or sounding(item.heard) in kept]
