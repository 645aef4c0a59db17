"""Everything the tool says about a transcript, as annotations over its words.

All values are frozen. A ``WordRange`` counts the words of the whole transcript as heard, so each annotation
has a time and can be traced to the sound. Nothing here changes the transcript.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from notesmith.transcript import TimeSpan, WordRange

# ---------------------------------------------------------------- corrections

CorrectionState = Literal["applied", "proposed", "rejected"]
EvidenceKind = Literal["sound", "spelling", "label", "context", "session", "audio", "textbook", "verdict", "shape"]


class Evidence(msgspec.Struct, frozen=True):
    """One reason for a correction, in words a person can read, with the score it added (nats)."""

    kind: EvidenceKind
    reason: str
    weight: float = 0.0


class Correction(msgspec.Struct, frozen=True):
    """A heard span and the term it stands for.

    ``word_start``/``word_end`` are half-open inside the segment. ``heard`` is the span's words joined by
    blanks, exactly as heard; ``restored`` replaces it with the punctuation around it kept. ``score`` is the
    calibrated probability that the restoration is right. ``rivals`` are the next best terms.
    """

    segment_id: int
    word_start: int
    word_end: int
    heard: str
    concept_id: str
    restored: str
    score: float
    evidence: tuple[Evidence, ...]
    state: CorrectionState
    rivals: tuple[Rival, ...] = ()


class Rival(msgspec.Struct, frozen=True):
    concept_id: str
    restored: str
    score: float


class Corrections(msgspec.Struct, frozen=True):
    """All corrections of one transcript, in reading order, not overlapping."""

    transcript_digest: str
    items: tuple[Correction, ...] = ()
    # Spans read aloud from the course's own textbook.
    readings: tuple[TextbookReading, ...] = ()


class TextbookReading(msgspec.Struct, frozen=True):
    """Words that were read aloud from the course's textbook, and the line they follow."""

    words: WordRange
    line_number: int
    line: str


# ---------------------------------------------------------------- structure of a session

PartKind = Literal["recap", "reading", "commentary", "case", "comparison", "questions", "housekeeping", "close"]


class SessionPart(msgspec.Struct, frozen=True):
    """A stretch of the session; parts follow each other without gap or overlap."""

    kind: PartKind
    words: WordRange
    time: TimeSpan
    remedy_id: str | None = None  # the remedy in focus


PointKind = Literal[
    "essence", "mind", "generals", "modalities", "particulars", "miasm", "sphere of action",
    "concomitants", "clinical use", "potency and repetition", "relations", "differential",
    "case-taking", "study advice",
]  # fmt: skip


class TeachingPoint(msgspec.Struct, frozen=True):
    """One idea as taught. ``text`` is lightly tidied; ``spoken`` is what was said, restored.

    ``remedy_id`` is the remedy the fact belongs to. ``weight`` is 1 plus emphasis (said outright or repeated).
    ``chapters`` are chapter ids, ``rubric_ids`` the rubrics the wording maps to.
    """

    key: str
    kind: PointKind
    text: str
    spoken: str
    words: WordRange
    time: TimeSpan
    remedy_id: str | None = None
    weight: float = 1.0
    negated: bool = False
    chapters: tuple[str, ...] = ()
    rubric_ids: tuple[str, ...] = ()
    concept_ids: tuple[str, ...] = ()
    from_reading: bool = False


FindingLabel = Literal[
    "age", "sex", "setting", "presenting complaint", "finding", "history", "prior treatment",
    "concurrent treatment", "investigation", "remedy", "potency", "repetition", "duration",
    "follow-up time", "follow-up change", "outcome", "reason for prescription",
]  # fmt: skip


class Finding(msgspec.Struct, frozen=True):
    """A field of a case as stated: what kind, the words, the place. Never filled in."""

    label: FindingLabel
    text: str
    words: WordRange
    time: TimeSpan
    concept_id: str | None = None


class CaseVignette(msgspec.Struct, frozen=True):
    """A case told in the session. ``follow_ups`` are later stretches that go on with it."""

    key: str
    title: str
    words: WordRange
    time: TimeSpan
    findings: tuple[Finding, ...]
    follow_ups: tuple[WordRange, ...] = ()
    remedy_ids: tuple[str, ...] = ()
    not_stated: tuple[FindingLabel, ...] = ()


class ComparedFact(msgspec.Struct, frozen=True):
    remedy_id: str
    feature: str
    text: str
    words: WordRange
    time: TimeSpan
    negated: bool = False


class Comparison(msgspec.Struct, frozen=True):
    """Two remedies set side by side, each fact on its own side."""

    key: str
    left_id: str
    right_id: str
    facts: tuple[ComparedFact, ...]
    words: WordRange
    time: TimeSpan


class Prescription(msgspec.Struct, frozen=True):
    """A prescription as stated; ``None`` where a thing was not said.

    ``potency`` is normalised (``30C``, ``1M``, ``LM1``), ``potency_said`` is as said. ``doubtful`` when the
    number may be misheard or could be something else. ``remedy_said`` are the words said in the place of the remedy
    where they name none that is known: then ``remedy_id`` is None, since another remedy may be meant than the last.
    """

    remedy_id: str | None
    potency: str | None
    potency_said: str | None
    repetition: str | None
    duration: str | None
    stated_for: str | None
    words: WordRange
    time: TimeSpan
    case_key: str | None = None
    doubtful: bool = False
    remedy_said: str | None = None


class Question(msgspec.Struct, frozen=True):
    """A question put in the session; ``answer`` is None where it stayed open."""

    key: str
    text: str
    words: WordRange
    time: TimeSpan
    answer: str | None = None
    answer_words: WordRange | None = None
    topic_ids: tuple[str, ...] = ()


class CarryOver(msgspec.Struct, frozen=True):
    """Something promised for a later session, or referred to from an earlier one."""

    key: str
    direction: Literal["promised", "referred back"]
    text: str
    words: WordRange
    time: TimeSpan
    topic_ids: tuple[str, ...] = ()


CautionKind = Literal["potency or dose", "discourages care", "urgent condition", "claim of cure"]


class Caution(msgspec.Struct, frozen=True):
    """A place that needs a caution, why, and the usual advice with its source and year."""

    kind: CautionKind
    reason: str
    advice: str
    source: str
    words: WordRange
    time: TimeSpan


PersonRole = Literal[
    "student", "patient", "relative", "colleague", "author", "lecturer", "place", "date", "phone",
    "address", "record number", "age over 89", "other identifier",
]  # fmt: skip


class PersonMention(msgspec.Struct, frozen=True):
    """A name or another identifier in the speech.

    ``hide`` says what publication does without a verdict; ``doubtful`` ones block publication until a person
    rules. ``replacement`` is what is printed in place (``a student``, ``the patient``).
    """

    key: str
    role: PersonRole
    said: str
    words: WordRange
    time: TimeSpan
    replacement: str
    hide: bool = True
    doubtful: bool = False


class Mention(msgspec.Struct, frozen=True):
    """An index entry: a concept spoken of at a place. ``taught`` tells teaching from passing mention."""

    concept_id: str
    words: WordRange
    time: TimeSpan
    said: str
    taught: bool = False


class Extraction(msgspec.Struct, frozen=True):
    """All that was found in one session, each tuple in order of time."""

    transcript_digest: str
    remedy_ids: tuple[str, ...] = ()  # the session's own remedies, most taught first
    parts: tuple[SessionPart, ...] = ()
    points: tuple[TeachingPoint, ...] = ()
    vignettes: tuple[CaseVignette, ...] = ()
    comparisons: tuple[Comparison, ...] = ()
    prescriptions: tuple[Prescription, ...] = ()
    questions: tuple[Question, ...] = ()
    carry_overs: tuple[CarryOver, ...] = ()
    cautions: tuple[Caution, ...] = ()
    persons: tuple[PersonMention, ...] = ()
    mentions: tuple[Mention, ...] = ()
