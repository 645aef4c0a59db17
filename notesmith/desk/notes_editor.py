"""Editing the notes: every change is a ruling in the store over what was found; the spoken words stay beside it."""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import quote

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.annotations import CarryOver, Extraction, Question, TeachingPoint
from notesmith.curate import FINDING_LABELS, POINT_KINDS, curate, finding_key
from notesmith.desk.context import (
    NOTE_RULINGS,
    Desk,
    NotThereError,
    desk_of,
    field,
    last_verdict_id,
    number,
    rule,
    see_other,
    titled,
    told,
)
from notesmith.desk.names import finished, transcript_of
from notesmith.errors import InputError
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.transcript import Transcript, WordRange
from notesmith.verdicts import NoteRuling, NoteVerdict, VerdictEntry

LONGEST_TEXT = 4000
AROUND_WORDS = 30


class NoteLine(msgspec.Struct, frozen=True):
    """One thing a person can rule on. ``kinds`` is empty where its kind cannot be changed; times in ms."""

    key: str
    what: str
    kind: str
    text: str
    spoken: str
    start_ms: int
    end_ms: int
    words: WordRange
    kinds: tuple[str, ...] = ()
    can_move: bool = False
    can_reword: bool = True
    entry: VerdictEntry | None = None


def overview(request: Request) -> Response:
    """GET /notes: the lectures whose notes can be edited."""
    desk = desk_of(request)
    with desk.store() as store:
        lectures = [
            (lecture, len(extraction.points), len(extraction.vignettes)) for lecture, extraction in finished(store)
        ]
    return desk.page("notes.html", here="notes", lectures=lectures)


def page(request: Request) -> Response:
    """GET /notes/{lecture}: all notes of a lecture in the order they are printed."""
    desk = desk_of(request)
    with desk.store() as store:
        lecture, transcript, extraction = _finished_lecture(store, request.path_params["lecture"])
        verdicts = store.verdicts()
        seen = last_verdict_id(store)
        _, revision = store.lecture(lecture.id)
    rulings = {
        entry.verdict.key: entry
        for entry in verdicts
        if isinstance(entry.verdict, NoteVerdict) and entry.verdict.lecture_id == lecture.id
    }
    curated = curate(extraction, lecture.id, verdicts)
    groups = note_groups(desk, transcript, curated, rulings)
    shown = {line.key for _, lines in groups for line in lines}
    gone = [entry for key, entry in rulings.items() if key not in shown and entry.verdict.ruling in ("hide", "merge")]
    return desk.page(
        "lecture_notes.html",
        here="notes",
        lecture=lecture,
        revision=revision,
        groups=groups,
        seen=seen,
        gone=[(entry, _text_of(extraction, entry.verdict)) for entry in gone],
        rulings=NOTE_RULINGS,
        has_sound=lecture.media is not None,
    )


def note_groups(
    desk: Desk, transcript: Transcript, extraction: Extraction, rulings: dict[str, VerdictEntry]
) -> list[tuple[str, list[NoteLine]]]:
    """Headings and the lines below them."""
    points = [_point_line(desk, point, rulings) for point in extraction.points]
    groups = [("Teaching points", points)]
    for case in extraction.vignettes:
        lines = [
            NoteLine(
                case.key,
                "case",
                "title",
                case.title,
                transcript.text(case.words)[:600],
                case.time.start_ms,
                case.time.end_ms,
                case.words,
                entry=rulings.get(case.key),
            )
        ]
        for finding in case.findings:
            key = finding_key(case, finding)
            lines.append(
                NoteLine(
                    key,
                    "field",
                    finding.label,
                    finding.text,
                    transcript.text(finding.words),
                    finding.time.start_ms,
                    finding.time.end_ms,
                    finding.words,
                    FINDING_LABELS,
                    can_move=True,
                    entry=rulings.get(key),
                )
            )
        groups.append((f"Case: {case.title}", lines))

    def line(one: Question | CarryOver, what: str, kind: str) -> NoteLine:
        spoken = transcript.text(one.words)
        times = (one.time.start_ms, one.time.end_ms)
        return NoteLine(one.key, what, kind, one.text, spoken, *times, one.words, entry=rulings.get(one.key))

    asked = [line(one, "question", "question") for one in extraction.questions]
    carried = [line(one, "carry-over", one.direction) for one in extraction.carry_overs]
    compared = [
        NoteLine(
            one.key,
            "comparison",
            "comparison",
            f"{desk.vocabulary.label(one.left_id)} and {desk.vocabulary.label(one.right_id)}: "
            + "; ".join(f"{desk.vocabulary.label(fact.remedy_id)} {fact.text}" for fact in one.facts),
            transcript.text(one.words)[:600],
            one.time.start_ms,
            one.time.end_ms,
            one.words,
            can_reword=False,
            entry=rulings.get(one.key),
        )
        for one in extraction.comparisons
    ]
    groups += [("Comparisons", compared), ("Questions", asked), ("Carry-overs", carried)]
    return [(title, lines) for title, lines in groups if lines]


def _point_line(desk: Desk, point: TeachingPoint, rulings: dict[str, VerdictEntry]) -> NoteLine:
    what = desk.vocabulary.label(point.remedy_id) if point.remedy_id else "of no single remedy"
    return NoteLine(
        point.key,
        what,
        point.kind,
        point.text,
        point.spoken,
        point.time.start_ms,
        point.time.end_ms,
        point.words,
        POINT_KINDS,
        can_move=True,
        entry=rulings.get(point.key),
    )


def _finished_lecture(store: Store, lecture_id: str) -> tuple[Lecture, Transcript, Extraction]:
    for lecture in store.lectures():
        if lecture.id == lecture_id and (found := store.result(lecture.id, "extraction", Extraction)) is not None:
            return lecture, transcript_of(store, lecture, found), found
    raise NotThereError(f"lecture {lecture_id[:80]!r} has no notes yet")


def _text_of(extraction: Extraction, verdict: object) -> str:
    """What a hidden thing said, for the list of hidden things."""
    assert isinstance(verdict, NoteVerdict)
    for point in extraction.points:
        if point.key == verdict.key:
            return point.text
    for case in extraction.vignettes:
        if case.key == verdict.key:
            return case.title
        for finding in case.findings:
            if finding_key(case, finding) == verdict.key:
                return f"{finding.label}: {finding.text}"
    texts = {one.key: one.text for one in extraction.questions} | {one.key: one.text for one in extraction.carry_overs}
    if verdict.key in texts:
        return texts[verdict.key]
    return "a comparison" if any(one.key == verdict.key for one in extraction.comparisons) else "no longer found"


def decide(request: Request) -> Response:
    """POST /notes/{lecture}: one ruling on one thing of the notes."""
    desk = desk_of(request)
    key, text = field(request, "key"), " ".join(field(request, "text", "").split())
    wanted = field(request, "ruling")
    if len(text) > LONGEST_TEXT:
        raise InputError(f"a note has at most {LONGEST_TEXT} characters")
    with desk.store() as store:
        lecture, _, extraction = _finished_lecture(store, request.path_params["lecture"])
        curated = curate(extraction, lecture.id, store.verdicts())
        if key not in _keys(curated):
            raise InputError("that note is not there any more; load the page again")
        ruling, value = _ruling(wanted, key, text, field(request, "kind", ""), _beside(curated, key))
        verdict = NoteVerdict(ruling, lecture.id, key, value)
        rule(store, verdict, who=desk.who, seen=number(field(request, "seen"), "the page's state"))
    anchor = f"#n-{quote(key)}" if ruling not in ("hide", "merge") else ""
    return see_other(f"/notes/{quote(lecture.id)}{anchor}")


def _keys(extraction: Extraction) -> set[str]:
    keys = {one.key for one in extraction.points} | {one.key for one in extraction.comparisons}
    keys |= {one.key for one in extraction.questions} | {one.key for one in extraction.carry_overs}
    keys |= {one.key for one in extraction.vignettes}
    return keys | {finding_key(case, finding) for case in extraction.vignettes for finding in case.findings}


def _beside(extraction: Extraction, key: str) -> tuple[str, ...]:
    """The keys among which a note can be moved and joined, in their order; empty where it cannot."""
    points = tuple(one.key for one in extraction.points)
    if key in points:
        return points
    for case in extraction.vignettes:
        keys = tuple(finding_key(case, finding) for finding in case.findings)
        if key in keys:
            return keys
    return ()


def _label_in(key: str) -> str:
    """The label of a case's field by its key; fields of two labels are not joined, since one would go unstated."""
    return key.rsplit("/", 2)[1]


def _ruling(wanted: str, key: str, text: str, kind: str, beside: Sequence[str]) -> tuple[NoteRuling, str | None]:
    """The ruling and its value. Raises InputError where the thing cannot be ruled on so."""
    at = beside.index(key) if key in beside else None
    kinds = () if at is None else FINDING_LABELS if "/" in key else POINT_KINDS
    match wanted:
        case "keep":
            return "keep", None
        case "hide":
            return "hide", None
        case "reword" if text:
            return "reword", text
        case "retype" if kind in kinds:
            return "retype", kind
        case "up" if at:
            return "move", beside[at - 2] if at > 1 else ""
        case "down" if at is not None and at + 1 < len(beside):
            return "move", beside[at + 1]
        case "merge" if at and (kinds is POINT_KINDS or _label_in(key) == _label_in(beside[at - 1])):
            return "merge", beside[at - 1]
    raise InputError("that cannot be done with this note")


def around(request: Request) -> Response:
    """GET /notes/{lecture}/around?start=&end=: the heard words around a note, by word number."""
    desk = desk_of(request)
    start = number(request.query_params.get("start", ""), "start")
    end = number(request.query_params.get("end", ""), "end")
    with desk.store() as store:
        _, transcript, _ = _finished_lecture(store, request.path_params["lecture"])
    size = len(transcript.words)
    start, end = min(start, size), min(max(start, end), size)
    return desk.page(
        "around.html",
        before=transcript.text(WordRange(max(0, start - AROUND_WORDS), start)),
        inside=transcript.text(WordRange(start, end)),
        after=transcript.text(WordRange(end, min(size, end + AROUND_WORDS))),
    )


HISTORY_SHOWN = 500


def history(request: Request) -> Response:
    """GET /history: every decision, latest first, also those taken back."""
    desk = desk_of(request)
    with desk.store() as store:
        entries = store.verdicts(with_undone=True)[::-1]
        found = {lecture.id: (lecture, extraction) for lecture, extraction in finished(store)}
        titles = {lecture.id: titled(lecture) for lecture in store.lectures()}
    lines = []
    for entry in entries[:HISTORY_SHOWN]:
        verdict, note = entry.verdict, ""
        if isinstance(verdict, NoteVerdict) and verdict.lecture_id in found:
            note = _text_of(found[verdict.lecture_id][1], verdict)
        where = titles.get(verdict.lecture_id, "a lecture taken out") if verdict.lecture_id else "whole course"
        lines.append((entry, told(verdict, note), where))
    return desk.page("history.html", here="", entries=lines, more=len(entries) - len(lines))
