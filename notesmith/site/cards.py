"""What the site keeps of each lecture: everything its own page and the course-wide pages print, names replaced."""

from __future__ import annotations

import msgspec

from notesmith.annotations import FindingLabel, PartKind, PointKind
from notesmith.lecture import LectureContent
from notesmith.search import Redaction, said, spoken_sentences, tokens_of
from notesmith.transcript import WordRange
from notesmith.vocabulary import Vocabulary


class Head(msgspec.Struct, frozen=True):
    """What other pages say of a lecture."""

    id: str
    title: str
    date: str | None
    series: str | None
    part: int | None
    parts: int | None
    duration_ms: int
    remedy_ids: tuple[str, ...]


class PointCard(msgspec.Struct, frozen=True):
    anchor: str
    kind: PointKind
    text: str
    start_ms: int
    remedy_id: str | None
    strong: bool
    from_reading: bool
    rubric_ids: tuple[str, ...]
    flags: tuple[str, ...]


class FieldCard(msgspec.Struct, frozen=True):
    label: FindingLabel
    text: str
    start_ms: int
    flags: tuple[str, ...] = ()


class CaseCard(msgspec.Struct, frozen=True):
    anchor: str
    title: str
    start_ms: int
    end_ms: int
    fields: tuple[FieldCard, ...]
    again_ms: tuple[int, ...]
    remedy_ids: tuple[str, ...]
    not_stated: tuple[str, ...]
    rubric_ids: tuple[str, ...] = ()


class QuestionCard(msgspec.Struct, frozen=True):
    anchor: str
    text: str
    answer: str | None
    start_ms: int
    topic_ids: tuple[str, ...]
    flags: tuple[str, ...]


class FactCard(msgspec.Struct, frozen=True):
    remedy_id: str
    feature: str
    text: str
    start_ms: int


class ComparisonCard(msgspec.Struct, frozen=True):
    anchor: str
    left_id: str
    right_id: str
    start_ms: int
    facts: tuple[FactCard, ...]


class PrescriptionCard(msgspec.Struct, frozen=True):
    remedy_id: str | None
    potency: str | None
    potency_said: str | None
    repetition: str | None
    duration: str | None
    stated_for: str | None
    start_ms: int
    doubtful: bool
    flags: tuple[str, ...]
    remedy_said: str | None = None


class CarryCard(msgspec.Struct, frozen=True):
    direction: str
    text: str
    start_ms: int


class CautionCard(msgspec.Struct, frozen=True):
    kind: str
    reason: str
    advice: str
    source: str
    places: tuple[tuple[int, str], ...]


class PartCard(msgspec.Struct, frozen=True):
    kind: PartKind
    start_ms: int
    end_ms: int
    remedy_id: str | None


class MentionCard(msgspec.Struct, frozen=True):
    concept_id: str
    taught_ms: tuple[int, ...]
    passing_ms: tuple[int, ...]


class TokenCard(msgspec.Struct, frozen=True):
    """A run of words of the transcript; ``heard`` is set where a term was restored."""

    text: str
    heard: str | None = None


class SentenceCard(msgspec.Struct, frozen=True):
    anchor: str
    start_ms: int
    end_ms: int
    speaker: str | None
    tokens: tuple[TokenCard, ...]
    concept_ids: tuple[str | None, ...] = ()  # of the restored tokens, None for the others


class Card(msgspec.Struct, frozen=True):
    head: Head
    language: str
    interpolated: bool
    waiting: int
    parts: tuple[PartCard, ...]
    points: tuple[PointCard, ...]
    cases: tuple[CaseCard, ...]
    questions: tuple[QuestionCard, ...]
    comparisons: tuple[ComparisonCard, ...]
    prescriptions: tuple[PrescriptionCard, ...]
    carry_overs: tuple[CarryCard, ...]
    cautions: tuple[CautionCard, ...]
    mentions: tuple[MentionCard, ...]


def duration_of(content: LectureContent) -> int:
    last = max((word.time.end_ms for word in content.transcript.words), default=0)
    return max(content.transcript.duration_ms, last)


def card_of(content: LectureContent, redaction: Redaction, vocabulary: Vocabulary) -> Card:
    """A lecture as the site prints it, without its transcript."""
    found, lecture, clean = content.extraction, content.lecture, redaction.text

    def flags(*ranges: WordRange | None) -> tuple[str, ...]:
        kinds = [c.kind for c in found.cautions if any(r is not None and c.words.overlaps(r) for r in ranges)]
        return tuple(dict.fromkeys(kinds))

    def rubrics(words: WordRange) -> tuple[str, ...]:
        """The symptoms named in a stretch."""
        inside = (m.concept_id for m in found.mentions if words.start <= m.words.start < words.end)
        return tuple(dict.fromkeys(one for one in inside if one.startswith("rubric/")))

    cautions: dict[tuple[str, str, str, str], list[tuple[int, str]]] = {}
    for caution in found.cautions:
        place = (caution.time.start_ms, said(redaction, caution.words))
        cautions.setdefault((caution.kind, caution.reason, caution.advice, caution.source), []).append(place)
    mentions: dict[str, tuple[list[int], list[int]]] = {}
    for mention in found.mentions:
        taught, passing = mentions.setdefault(mention.concept_id, ([], []))
        (taught if mention.taught else passing).append(mention.time.start_ms)

    def optional(text: str | None, words: WordRange | None) -> str | None:
        return None if text is None else clean(text, words)

    return Card(
        head=Head(
            lecture.id, clean(lecture.title), lecture.date, lecture.series, lecture.part, lecture.parts,
            duration_of(content), tuple(dict.fromkeys((*lecture.remedy_ids, *found.remedy_ids))),
        ),
        language=content.transcript.language,
        interpolated=content.transcript.word_times == "interpolated",
        waiting=len(redaction.waiting),
        parts=tuple(PartCard(p.kind, p.time.start_ms, p.time.end_ms, p.remedy_id) for p in found.parts),
        points=tuple(
            PointCard(
                f"p-{p.key}", p.kind, clean(p.text, p.words), p.time.start_ms, p.remedy_id, p.weight >= 2.0,
                p.from_reading, tuple(dict.fromkeys((*p.rubric_ids, *p.chapters))), flags(p.words),
            )
            for p in found.points
        ),
        cases=tuple(
            CaseCard(
                f"case-{c.key}", clean(c.title, c.words), c.time.start_ms, c.time.end_ms,
                tuple(FieldCard(f.label, clean(f.text, f.words), f.time.start_ms, flags(f.words)) for f in c.findings),
                tuple(content.transcript.time(words).start_ms for words in c.follow_ups if len(words)),
                c.remedy_ids, c.not_stated, rubrics(c.words),
            )
            for c in found.vignettes
        ),
        questions=tuple(
            QuestionCard(
                f"q-{q.key}", clean(q.text, q.words), optional(q.answer, q.answer_words), q.time.start_ms,
                q.topic_ids, flags(q.words, q.answer_words),
            )
            for q in found.questions
        ),
        comparisons=tuple(
            ComparisonCard(
                f"c-{c.key}", c.left_id, c.right_id, c.time.start_ms,
                tuple(FactCard(f.remedy_id, f.feature, clean(f.text, f.words), f.time.start_ms) for f in c.facts),
            )
            for c in found.comparisons
        ),
        prescriptions=tuple(
            PrescriptionCard(
                rx.remedy_id, rx.potency, rx.potency_said, rx.repetition, optional(rx.duration, rx.words),
                optional(rx.stated_for, rx.words), rx.time.start_ms, rx.doubtful, flags(rx.words),
                optional(rx.remedy_said, rx.words),
            )
            for rx in found.prescriptions
        ),
        carry_overs=tuple(CarryCard(c.direction, clean(c.text, c.words), c.time.start_ms) for c in found.carry_overs),
        cautions=tuple(CautionCard(*key, tuple(places)) for key, places in cautions.items()),
        mentions=tuple(
            MentionCard(c, tuple(taught), tuple(passing))
            for c, (taught, passing) in sorted(mentions.items())
            if c in vocabulary
        ),
    )  # fmt: skip


def sentences_of(content: LectureContent, redaction: Redaction) -> tuple[SentenceCard, ...]:
    """The transcript in sentences; restored terms carry what was heard unless a name stands in it."""
    sentences = []
    speakers = {segment.id: segment.speaker for segment in content.transcript.segments}
    before: str | None = None
    for words in spoken_sentences(redaction.reading):
        tokens: list[TokenCard] = []
        plain: list[str] = []
        concepts: list[str | None] = []

        def close(
            plain: list[str] = plain, tokens: list[TokenCard] = tokens, concepts: list[str | None] = concepts
        ) -> None:
            if plain:
                tokens.append(TokenCard(redaction.text(" ".join(plain))))
                concepts.append(None)
                plain.clear()

        for token in tokens_of(redaction.reading, words):
            inside = range(token.words.start, token.words.end)
            if any(w in redaction.hidden for w in inside):
                plain += [value for w in inside if (value := redaction.hidden.get(w, ""))]
            elif token.heard is not None:
                close()
                tokens.append(TokenCard(redaction.text(token.text), redaction.text(token.heard)))
                concepts.append(token.concept_id)
            else:
                plain.append(token.text)
        close()
        time = content.transcript.time(words)
        speaker = speakers.get(content.transcript.segment_of(words.start))
        # A speaker label of an imported file may be a person's name: only that it changes is printed.
        shown = "Another voice" if speaker != before and before is not None else None
        before = speaker
        sentences.append(
            SentenceCard(f"s-{words.start}", time.start_ms, time.end_ms, shown, tuple(tokens), tuple(concepts))
        )
    return tuple(sentences)


# ---------------------------------------------------------------- shares: what a lecture gives to a course-wide page


class Share(msgspec.Struct, frozen=True):
    """A lecture's part in a course-wide page."""

    head: Head
    points: tuple[PointCard, ...] = ()
    cases: tuple[CaseCard, ...] = ()
    questions: tuple[QuestionCard, ...] = ()
    comparisons: tuple[ComparisonCard, ...] = ()
    prescriptions: tuple[PrescriptionCard, ...] = ()
    taught_ms: tuple[int, ...] = ()
    passing_ms: tuple[int, ...] = ()

    @property
    def tells(self) -> bool:
        """Whether more is said there than the name."""
        return bool(self.points or self.cases or self.questions or self.comparisons or self.prescriptions)


def pair_key(left: str, right: str) -> str:
    first, second = sorted((left, right))
    return f"pair/{first.partition('/')[2]}+{second.partition('/')[2]}"


PAGED_SCHEMES = frozenset({"remedy", "rubric", "chapter", "idea", "canon"})


def shares_of(card: Card, vocabulary: Vocabulary) -> dict[str, Share]:
    """By page key: concept ids, ``pair/…``, ``cases`` and ``questions``."""
    head = card.head
    keys: dict[str, None] = {}

    def paged(concept_id: str | None) -> bool:
        concept = vocabulary.get(concept_id) if concept_id else None
        return concept is not None and concept.scheme in PAGED_SCHEMES

    points: dict[str, list[PointCard]] = {}
    for point in card.points:
        for key in dict.fromkeys((point.remedy_id, *point.rubric_ids)):
            if key and paged(key):
                points.setdefault(key, []).append(point)
    cases: dict[str, list[CaseCard]] = {}
    for case in card.cases:
        for key in dict.fromkeys((*case.remedy_ids, *case.rubric_ids)):
            if paged(key):
                cases.setdefault(key, []).append(case)
    questions: dict[str, list[QuestionCard]] = {}
    for question in card.questions:
        for key in question.topic_ids:
            if paged(key):
                questions.setdefault(key, []).append(question)
    comparisons: dict[str, list[ComparisonCard]] = {}
    pairs: dict[str, list[ComparisonCard]] = {}
    for comparison in card.comparisons:
        if paged(comparison.left_id) and paged(comparison.right_id):
            pairs.setdefault(pair_key(comparison.left_id, comparison.right_id), []).append(comparison)
            for key in (comparison.left_id, comparison.right_id):
                comparisons.setdefault(key, []).append(comparison)
    prescriptions: dict[str, list[PrescriptionCard]] = {}
    for rx in card.prescriptions:
        if rx.remedy_id and paged(rx.remedy_id):
            prescriptions.setdefault(rx.remedy_id, []).append(rx)
    mentions = {m.concept_id: m for m in card.mentions if paged(m.concept_id)}
    part_remedies = [p.remedy_id for p in card.parts if p.remedy_id and paged(p.remedy_id)]
    for group in (head.remedy_ids, part_remedies, points, cases, questions, comparisons, prescriptions, mentions):
        keys.update(dict.fromkeys(key for key in group if paged(key)))
    shares = {}
    for key in keys:
        mention = mentions.get(key)
        shares[key] = Share(
            head, tuple(points.get(key, ())), tuple(cases.get(key, ())), tuple(questions.get(key, ())),
            tuple(comparisons.get(key, ())), tuple(prescriptions.get(key, ())),
            mention.taught_ms if mention else (), mention.passing_ms if mention else (),
        )  # fmt: skip
    for key, items in pairs.items():
        shares[key] = Share(head, comparisons=tuple(items))
    if card.cases:
        shares["cases"] = Share(head, cases=card.cases)
    if card.questions:
        shares["questions"] = Share(head, questions=card.questions)
    return shares
