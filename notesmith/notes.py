"""Study notes: compose them from a lecture's results, print them as Markdown, keep a person's edits.

The Markdown is meant to be read as it is. The same content gives the same bytes. Times are links with Media
Fragments (W3C, temporal dimension in normal play time): ``audio.mp3#t=95``. The front matter uses Dublin Core terms.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from difflib import SequenceMatcher
from typing import get_args

import msgspec

from notesmith.annotations import (
    CaseVignette,
    Caution,
    Comparison,
    Extraction,
    FindingLabel,
    PointKind,
    SessionPart,
    TeachingPoint,
)
from notesmith.extract import STANDING_LINE
from notesmith.extract.completeness import missing_items
from notesmith.extract.privacy import person_rulings, redact
from notesmith.lecture import CourseSettings, LectureContent
from notesmith.transcript import TimeSpan, WordRange
from notesmith.verdicts import PersonVerdict, VerdictEntry
from notesmith.vocabulary import Vocabulary

POINT_KINDS: tuple[PointKind, ...] = get_args(PointKind)
FINDING_LABELS: tuple[FindingLabel, ...] = get_args(FindingLabel)
KIND_TITLES: dict[PointKind, str] = {
    "essence": "Essence and constitution",
    "mind": "Mind",
    "generals": "Generals",
    "modalities": "Modalities",
    "particulars": "Particulars",
    "miasm": "Miasm",
    "sphere of action": "Sphere of action",
    "concomitants": "Concomitants",
    "clinical use": "Clinical use",
    "potency and repetition": "Potency and repetition",
    "relations": "Relations",
    "differential": "Differential",
    "case-taking": "Eliciting it in case-taking",
    "study advice": "Study advice",
}
PART_TITLES = {
    "recap": "Recap",
    "reading": "Reading from the text",
    "commentary": "Teaching",
    "case": "Case",
    "comparison": "Comparison",
    "questions": "Questions and answers",
    "close": "Close",
}
EMPHASIS_FROM = 2.0
MOMENTS_SHOWN = 8


class Section(msgspec.Struct, frozen=True):
    """A section of a note. ``anchor`` is unique in the note; ``time`` is None where it spans the session."""

    anchor: str
    title: str
    markdown: str
    time: TimeSpan | None = None


class Note(msgspec.Struct, frozen=True):
    """A lecture's notes. ``terms`` are Dublin Core terms in order, each with one or several values."""

    title: str
    terms: tuple[tuple[str, tuple[str, ...]], ...]
    caution: str
    sections: tuple[Section, ...]


class Conflict(msgspec.Struct, frozen=True):
    """An edit and a rebuild changed the same lines; both texts stay as they were.

    ``places`` hold the first line number in the edited text (from 1) and the lines of the three versions.
    """

    places: tuple[ConflictPlace, ...]


class ConflictPlace(msgspec.Struct, frozen=True):
    line: int
    base: tuple[str, ...]
    edited: tuple[str, ...]
    rebuilt: tuple[str, ...]


# ---------------------------------------------------------------- compose


def compose(
    content: LectureContent,
    vocabulary: Vocabulary,
    settings: CourseSettings,
    *,
    verdicts: Sequence[VerdictEntry] = (),
    media: str | None = None,
) -> Note:
    """The notes of one lecture. Names are replaced by roles; housekeeping is left out.

    ``media`` is the address times link to; by default the recording's file name.
    """
    writer = _Writer(content, vocabulary, person_rulings(verdicts, content.lecture.id), media)
    return Note(
        writer.clean(content.lecture.title),
        _terms(content, vocabulary, settings, writer),
        STANDING_LINE,
        tuple(section for section in writer.sections() if section.markdown),
    )


def _terms(
    content: LectureContent, vocabulary: Vocabulary, settings: CourseSettings, writer: _Writer
) -> tuple[tuple[str, tuple[str, ...]], ...]:
    lecture = content.lecture
    subjects = (settings.subject, *(vocabulary.label(remedy) for remedy in content.extraction.remedy_ids))
    last = max((word.time.end_ms for word in content.transcript.words), default=0)
    duration = max(content.transcript.duration_ms, last)
    terms: list[tuple[str, tuple[str, ...]]] = [
        ("title", (writer.clean(lecture.title),)),
        ("creator", (settings.lecturer,)),
        ("subject", subjects),
        ("description", ("Study notes made from a recorded session; a record of what was taught.",)),
        ("type", ("Text",)),
        ("format", ("text/markdown",)),
        ("language", (content.transcript.language or settings.language,)),
        ("identifier", (lecture.id,)),
        ("isPartOf", (settings.title,)),
        ("extent", (iso_duration(duration),)),
        ("source", (f"sha256:{lecture.recording_sha256}",)),
    ]
    if lecture.date:
        terms.insert(2, ("date", (lecture.date,)))
    if settings.rights:
        terms.append(("rights", (settings.rights,)))
    return tuple(terms)


class _Writer:
    def __init__(
        self, content: LectureContent, vocabulary: Vocabulary, rulings: Sequence[PersonVerdict], media: str | None
    ) -> None:
        self.content = content
        self.found: Extraction = content.extraction
        self.vocabulary = vocabulary
        self.rulings = rulings
        self.media = content.lecture.media or "" if media is None else media
        self.reading = content.reading

    # -- small pieces

    def clean(self, text: str, words: WordRange | None = None) -> str:
        return redact(text, self.found.persons, self.rulings, words=words)

    def say(self, text: str, words: WordRange | None = None) -> str:
        return escape(self.clean(text, words))

    def at(self, time: TimeSpan) -> str:
        return f"[{clock(time.start_ms)}]({fragment(self.media, time)})"

    def label(self, concept_id: str | None) -> str:
        return "not stated" if concept_id is None else escape(self.vocabulary.label(concept_id))

    def flags(self, words: WordRange, *, besides: tuple[str, ...] = ()) -> str:
        kinds = dict.fromkeys(c.kind for c in self.found.cautions if c.words.overlaps(words) and c.kind not in besides)
        return "".join(f" [⚠ {kind}](#cautions)" for kind in kinds)

    # -- sections, in print order

    def sections(self) -> Iterable[Section]:
        yield self.outline()
        yield from self.points()
        yield from self.cases()
        yield from self.comparisons()
        yield self.prescriptions()
        yield from self.questions()
        yield from self.carry_overs()
        yield self.cautions()
        yield self.index()
        yield self.for_the_lecturer()

    def outline(self) -> Section:
        rows = []
        for part in self.found.parts:
            if part.kind == "housekeeping":
                continue
            remedy = f": {self.label(part.remedy_id)}" if part.remedy_id else ""
            rows.append(f"- {self.at(part.time)} {PART_TITLES[part.kind]}{remedy} ({minutes(part.time.duration_ms)})")
        return Section("session", "The session", "\n".join(rows))

    def points(self) -> Iterable[Section]:
        own = list(self.found.remedy_ids)
        others = [p.remedy_id for p in self.found.points if p.remedy_id and p.remedy_id not in own]
        for remedy in (*own, *dict.fromkeys(others)):
            points = [
                p for p in self.found.points if p.remedy_id == remedy and p.kind not in ("case-taking", "study advice")
            ]
            if points:
                name = self.vocabulary.label(remedy)
                yield Section(f"points-{slug(name)}", name, self._by_kind(points), points[0].time)
        method = [p for p in self.found.points if p.remedy_id is None or p.kind in ("case-taking", "study advice")]
        if method:
            yield Section("method", "Case-taking, study and philosophy", self._by_kind(method), method[0].time)

    def _by_kind(self, points: Sequence[TeachingPoint]) -> str:
        blocks = []
        for kind in POINT_KINDS:
            chosen = [point for point in points if point.kind == kind]
            if not chosen:
                continue
            lines = [f"### {KIND_TITLES[kind]}", ""]
            for point in chosen:
                text = self.say(point.text, point.words)
                if point.weight >= EMPHASIS_FROM:
                    text = f"**{text}**"
                source = " (read from the text)" if point.from_reading else ""
                lines.append(f"- {text}{source} {self.at(point.time)}{self.flags(point.words)}")
            blocks.append("\n".join(lines))
        return "\n\n".join(blocks)

    def cases(self) -> Iterable[Section]:
        for number, case in enumerate(self.found.vignettes, start=1):
            yield Section(f"case-{number}", self.clean(case.title, case.words), self._case(case), case.time)

    def _case(self, case: CaseVignette) -> str:
        lines = [f"Told {self.at(case.time)} to {clock(case.time.end_ms)}."]
        for words in case.follow_ups:
            lines[0] += f" Taken up again {self.at(self.content.transcript.time(words))}."
        lines += ["", "| Field | As stated | At |", "| --- | --- | --- |"]
        for label in FINDING_LABELS:
            findings = [f for f in case.findings if f.label == label]
            for finding in findings:
                text = cell(self.say(finding.text, finding.words))
                lines.append(f"| {label} | {text}{self.flags(finding.words)} | {self.at(finding.time)} |")
            if not findings:
                lines.append(f"| {label} | not stated | |")
        visits = self._visits(case)
        if visits:
            lines += ["", "Course as told:", "", *visits]
        return "\n".join(lines)

    def _visits(self, case: CaseVignette) -> list[str]:
        """The case in order of telling: what was given and what changed, under the time that was said."""
        rows: list[str] = []
        current: list[str] = []
        when = "First seen"

        def close() -> None:
            if current:
                rows.append(f"1. {when}: {'; '.join(current)}")

        for finding in case.findings:
            text = self.say(finding.text, finding.words)
            if finding.label == "follow-up time":
                close()
                current = []
                when = text[:1].upper() + text[1:]
            elif finding.label == "remedy":
                current.append(f"given {text}")
            elif finding.label in ("potency", "repetition", "duration"):
                current.append(text)
            elif finding.label in ("follow-up change", "outcome"):
                current.append(text[:1].lower() + text[1:] if not text.startswith("I ") else text)
        close()
        return rows if len(rows) > 1 or current else []

    def comparisons(self) -> Iterable[Section]:
        if not self.found.comparisons:
            return
        blocks = []
        for comparison in self.found.comparisons:
            blocks.append(self._comparison(comparison))
        yield Section("comparisons", "Comparisons", "\n\n".join(blocks), self.found.comparisons[0].time)

    def _comparison(self, comparison: Comparison) -> str:
        left, right = self.label(comparison.left_id), self.label(comparison.right_id)
        lines = [f"### {left} and {right}", "", f"| Feature | {left} | {right} |", "| --- | --- | --- |"]
        features = dict.fromkeys(fact.feature for fact in comparison.facts)
        for feature in features:
            sides = []
            for remedy in (comparison.left_id, comparison.right_id):
                facts = [f for f in comparison.facts if f.feature == feature and f.remedy_id == remedy]
                sides.append(
                    " ".join(f"{cell(self.say(f.text, f.words))} {self.at(f.time)}{self.flags(f.words)}" for f in facts)
                )
            lines.append(f"| {feature} | {sides[0]} | {sides[1]} |")
        return "\n".join(lines)

    def prescriptions(self) -> Section:
        if not self.found.prescriptions:
            return Section("prescriptions", "Prescriptions as stated", "")
        titles = {case.key: f"case {number}" for number, case in enumerate(self.found.vignettes, start=1)}
        lines = [
            "| At | Remedy | Potency | As said | Repetition | Duration | For | Context |",
            "| --- | --- | --- | --- | --- | --- | --- | --- |",
        ]
        for rx in self.found.prescriptions:
            said = [
                cell(self.say(value, rx.words)) if value else "not stated"
                for value in (rx.potency, rx.potency_said, rx.repetition, rx.duration, rx.stated_for)
            ]
            context = titles.get(rx.case_key or "", "teaching") + (" (doubtful)" if rx.doubtful else "")
            remedy = self.label(rx.remedy_id)
            if rx.remedy_said:
                remedy = f"not recognised (heard: {self.say(rx.remedy_said, rx.words)})"
            lines.append(
                f"| {self.at(rx.time)} | {cell(remedy)} | {' | '.join(said)} | {context}{self.flags(rx.words)} |"
            )
        return Section("prescriptions", "Prescriptions as stated", "\n".join(lines))

    def questions(self) -> Iterable[Section]:
        answered = [q for q in self.found.questions if q.answer is not None]
        open_ones = [q for q in self.found.questions if q.answer is None]
        if answered:
            blocks = []
            for q in answered:
                answer = self.say(q.answer or "", q.answer_words)
                flags = (
                    self.flags(q.words)
                    if q.answer_words is None
                    else self.flags(WordRange(q.words.start, q.answer_words.end))
                )
                topic = f" *({', '.join(self.label(t) for t in q.topic_ids[:3])})*" if q.topic_ids else ""
                blocks.append(f"**{self.say(q.text, q.words)}** {self.at(q.time)}{topic}\n\n{answer}{flags}")
            yield Section("questions", "Questions and answers", "\n\n".join(blocks), answered[0].time)
        if open_ones:
            lines = [f"- {self.say(q.text, q.words)} {self.at(q.time)}" for q in open_ones]
            yield Section("open-questions", "Questions left open", "\n".join(lines), open_ones[0].time)

    def carry_overs(self) -> Iterable[Section]:
        for direction, anchor, title in (
            ("promised", "promised", "Promised for later"),
            ("referred back", "referred-back", "Referred to from earlier sessions"),
        ):
            items = [c for c in self.found.carry_overs if c.direction == direction]
            if items:
                lines = [f"- {self.say(c.text, c.words)} {self.at(c.time)}" for c in items]
                yield Section(anchor, title, "\n".join(lines), items[0].time)

    def cautions(self) -> Section:
        lines = []
        for group in _grouped(self.found.cautions):
            first = group[0]
            places = ", ".join(f"{self.at(c.time)} “{self.say(self.reading.text_of(c.words), c.words)}”" for c in group)
            lines.append(
                f"- ⚠ **{first.kind}**: {escape(first.reason)} {escape(first.advice)} "
                f"({escape(first.source)}) At {places}."
            )
        return Section("cautions", "Cautions", "\n".join(lines))

    def index(self) -> Section:
        by_concept: dict[str, list[tuple[TimeSpan, bool]]] = {}
        for mention in self.found.mentions:
            if mention.concept_id.startswith(("remedy/", "rubric/", "idea/")):
                by_concept.setdefault(mention.concept_id, []).append((mention.time, mention.taught))
        blocks = []
        for prefix, title in (("remedy/", "Remedies"), ("rubric/", "Rubrics and symptoms"), ("idea/", "Ideas")):
            entries = sorted(
                ((self.index_label(c), moments) for c, moments in by_concept.items() if c.startswith(prefix)),
                key=lambda entry: entry[0].casefold(),
            )
            if not entries:
                continue
            lines = [f"### {title}", ""]
            for name, moments in entries:
                taught = [t for t, is_taught in moments if is_taught]
                passing = [t for t, is_taught in moments if not is_taught]
                pieces = []
                if taught:
                    pieces.append("taught " + self._moments(taught))
                if passing:
                    pieces.append("in passing " + self._moments(passing))
                lines.append(f"- {name}: {'; '.join(pieces)}")
            blocks.append("\n".join(lines))
        return Section("index", "Index", "\n\n".join(blocks))

    def index_label(self, concept_id: str) -> str:
        label = self.label(concept_id)
        if concept_id.startswith("rubric/"):
            chapter = self.vocabulary.label(f"chapter/{concept_id.split('/')[1]}")
            return f"{escape(chapter)}: {label}" if not chapter.startswith("chapter/") else label
        return label

    def _moments(self, times: Sequence[TimeSpan]) -> str:
        shown = [self.at(time) for time in times[:MOMENTS_SHOWN]]
        more = f" and {len(times) - MOMENTS_SHOWN} more" if len(times) > MOMENTS_SHOWN else ""
        return ", ".join(shown) + more

    def for_the_lecturer(self) -> Section:
        lines = []
        for number, case in enumerate(self.found.vignettes, start=1):
            names = [
                f"{m.item.guideline} item {m.item.number}, {m.item.name}"
                + (f" (not stated: {', '.join(m.absent)})" if m.absent else "")
                for m in missing_items(case)
                if m.item.labels
            ]
            if names:
                lines.append(f"- Case {number} as told leaves open: {'; '.join(names)}.")
        return Section("for-the-lecturer", "For the lecturer: what may be added", "\n".join(lines))


def _grouped(cautions: Sequence[Caution]) -> list[list[Caution]]:
    groups: dict[tuple[str, str, str], list[Caution]] = {}
    for caution in cautions:
        groups.setdefault((caution.kind, caution.reason, caution.advice), []).append(caution)
    return list(groups.values())


# ---------------------------------------------------------------- print


def to_markdown(note: Note) -> str:
    """The note as Markdown with YAML front matter (Dublin Core terms)."""
    lines = ["---"]
    for name, values in note.terms:
        if len(values) == 1:
            lines.append(f"dcterms:{name}: {_yaml(values[0])}")
        else:
            lines.append(f"dcterms:{name}:")
            lines += [f"  - {_yaml(value)}" for value in values]
    lines += ["---", "", f"# {escape(note.title)}", "", f"> {note.caution}", ""]
    for section in note.sections:
        lines += [f"## {escape(section.title)} {{#{section.anchor}}}", "", section.markdown, ""]
    return "\n".join(lines).rstrip("\n") + "\n"


_SPECIAL = re.compile(r"([\\`*_\[\]<>|#~])")


def escape(text: str) -> str:
    """Text that Markdown prints as it is, on one line; nothing in it can become markup.

    >>> escape("worse <night> & *cold*")
    'worse \\\\<night\\\\> &amp; \\\\*cold\\\\*'
    """
    line = " ".join(text.split())
    line = _SPECIAL.sub(r"\\\1", line.replace("&", "&amp;"))
    return re.sub(r"^(\d+)([.)])(?=\s)", r"\1\\\2", re.sub(r"^([-+=])(?=\s|$|-|=)", r"\\\1", line))


def cell(text: str) -> str:
    """Text for a table cell (bars are escaped by ``escape`` already)."""
    return text.replace("\n", " ")


def clock(ms: int) -> str:
    """Minutes and seconds, with hours from one hour on.

    >>> clock(95_000), clock(3_725_000)
    ('1:35', '1:02:05')
    """
    seconds = ms // 1000
    hours, rest = divmod(seconds, 3600)
    return f"{hours}:{rest // 60:02d}:{rest % 60:02d}" if hours else f"{rest // 60}:{rest % 60:02d}"


def minutes(ms: int) -> str:
    return f"{max(1, round(ms / 60_000))} min" if ms >= 30_000 else f"{max(1, ms // 1000)} s"


def fragment(media: str, time: TimeSpan) -> str:
    """A Media Fragments link to the start of a stretch, in seconds."""
    tenths = time.start_ms // 100
    seconds = f"{tenths // 10}.{tenths % 10}" if tenths % 10 else str(tenths // 10)
    return f"{media.replace(' ', '%20').replace('(', '%28').replace(')', '%29')}#t={seconds}"


def iso_duration(ms: int) -> str:
    """ISO 8601 duration.

    >>> iso_duration(1_895_000)
    'PT31M35S'
    """
    seconds = ms // 1000
    hours, rest = divmod(seconds, 3600)
    return "PT" + (f"{hours}H" if hours else "") + (f"{rest // 60}M" if rest >= 60 else "") + f"{rest % 60}S"


def slug(name: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", name.casefold()).strip("-")


def _yaml(value: str) -> str:
    """A YAML double-quoted scalar (YAML 1.2, 7.3.1)."""
    return '"' + " ".join(value.split()).replace("\\", "\\\\").replace('"', '\\"') + '"'


# ---------------------------------------------------------------- keep a person's edits


def merge_edited(base: str, edited: str, rebuilt: str) -> str | Conflict:
    """Three-way merge by lines: ``base`` as the tool wrote it, ``edited`` by a person, ``rebuilt`` anew.

    Where only one side changed, that side stands. Where both changed the same lines differently, a ``Conflict``
    is returned and nothing is merged. The standing caution and the cautions section always come from ``rebuilt``
    where an edit took them away; words added beside them stay.
    """
    if edited == base:
        return rebuilt
    if rebuilt in (base, edited):
        return _keep_cautions(edited, rebuilt)
    a, b, c = base.splitlines(), edited.splitlines(), rebuilt.splitlines()
    to_b, to_c = _matches(a, b), _matches(a, c)
    merged: list[str] = []
    places: list[ConflictPlace] = []
    ia = ib = ic = 0
    anchors: list[int | None] = [i for i in range(len(a)) if i in to_b and i in to_c]
    for anchor in (*anchors, None):
        end_a = len(a) if anchor is None else anchor
        end_b = len(b) if anchor is None else to_b[anchor]
        end_c = len(c) if anchor is None else to_c[anchor]
        old, mine, theirs = a[ia:end_a], b[ib:end_b], c[ic:end_c]
        if mine == old:
            merged += theirs
        elif theirs in (old, mine):
            merged += mine
        else:
            places.append(ConflictPlace(ib + 1, tuple(old), tuple(mine), tuple(theirs)))
        if anchor is not None:
            merged.append(a[anchor])
            ia, ib, ic = anchor + 1, end_b + 1, end_c + 1
    if places:
        return Conflict(tuple(places))
    return _keep_cautions("\n".join(merged) + "\n", rebuilt)


def _matches(a: list[str], b: list[str]) -> dict[int, int]:
    matcher = SequenceMatcher(None, a, b, autojunk=False)
    return {block.a + k: block.b + k for block in matcher.get_matching_blocks() for k in range(block.size)}


def _keep_cautions(text: str, rebuilt: str) -> str:
    """Put back the standing line and any caution that an edit took away."""
    lines = text.splitlines()
    wanted = [line for line in rebuilt.splitlines() if line.startswith("> " + STANDING_LINE[:40])][:1]
    if wanted and wanted[0] not in lines:
        heading = next((i for i, line in enumerate(lines) if line.startswith("# ")), -1)
        lines[heading + 1 : heading + 1] = ["", wanted[0]]
    own = [line for line in rebuilt.splitlines() if line.startswith("- ⚠ **")]
    gone = [line for line in own if not any(kept.startswith(line) for kept in lines)]
    if gone:
        place = next((i for i, line in enumerate(lines) if line.startswith("## Cautions")), None)
        if place is None:
            lines += ["", "## Cautions {#cautions}", "", *gone]
        else:
            lines[place + 1 : place + 1] = ["", *gone]
    result = "\n".join(lines) + "\n"
    return result if result != text + "\n" else text


__all__ = [
    "Conflict", "ConflictPlace", "Note", "Section", "SessionPart", "compose", "escape", "fragment", "merge_edited",
    "to_markdown",
]  # fmt: skip
