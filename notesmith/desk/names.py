"""Before publication: the names and the potencies a person has to settle, one at a time, by key."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.annotations import Extraction, PersonMention, Prescription
from notesmith.desk.context import desk_of, field, last_verdict_id, lecture_of, number, rule, see_other, told
from notesmith.desk.home import is_applying
from notesmith.desk.queue import Place, place_at, word_rulings
from notesmith.errors import ConflictError, InputError
from notesmith.extract.privacy import hidden, person_rulings
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.transcript import TimeSpan, Transcript, WordRange, sounding
from notesmith.verdicts import PersonRuling, PersonVerdict, VerdictEntry, WordVerdict

LONGEST_REPLACEMENT = 80
SAME_PLACE_MS = 1500
PERSON_RULINGS: dict[str, PersonRuling] = {"hide": "hide", "show": "show", "replace": "replace"}


class NameItem(msgspec.Struct, frozen=True):
    """One name as said, over all lectures. ``printed`` is what stands in its place now, None where it is shown."""

    said: str
    role: str
    replacement: str
    printed: str | None
    open: bool
    lecture_id: str
    title: str
    words: tuple[WordRange, ...]
    has_sound: bool


class PotencyItem(msgspec.Struct, frozen=True):
    """A prescription the tool is unsure of. ``heard`` are the words of its potency; ``at_ms`` their middle."""

    lecture_id: str
    title: str
    said: str
    potency: str
    remedy_id: str | None
    heard: str
    at_ms: int
    place: Place
    has_sound: bool


def finished(store: Store) -> list[tuple[Lecture, Extraction]]:
    """The lectures that have been worked through. Transcripts are long; ``transcript_of`` reads one where needed."""
    return [
        (lecture, extraction)
        for lecture in store.lectures()
        if (extraction := store.result(lecture.id, "extraction", Extraction)) is not None
    ]


def transcript_of(store: Store, lecture: Lecture, extraction: Extraction) -> Transcript:
    """The transcript that the notes were made from. Raises ConflictError where it was replaced meanwhile."""
    for stored in store.transcripts(lecture.recording_sha256):
        if stored.transcript.digest == extraction.transcript_digest:
            return stored.transcript
    raise ConflictError(f"{lecture.title} was heard again and is being worked through; come back when it is done")


def names(store: Store, verdicts: Sequence[VerdictEntry]) -> tuple[NameItem, ...]:
    """All names of the course, those still open first, then in order of the course."""
    grouped: dict[str, list[tuple[Lecture, PersonMention]]] = {}
    for lecture, extraction in finished(store):
        for person in extraction.persons:
            grouped.setdefault(sounding(person.said), []).append((lecture, person))
    items = []
    for key, mentions in grouped.items():
        rulings = person_rulings(verdicts)
        is_open = any(
            person.doubtful and key not in {sounding(r.said) for r in rulings if r.lecture_id in (None, lecture.id)}
            for lecture, person in mentions
        )
        # The doubtful mention is the one to look at.
        lecture, person = next((m for m in mentions if m[1].doubtful), mentions[0])
        items.append(
            NameItem(
                person.said,
                person.role,
                person.replacement,
                hidden(person, rulings),
                is_open,
                lecture.id,
                lecture.title,
                tuple(one.words for own, one in mentions if own.id == lecture.id),
                lecture.media is not None,
            )
        )
    return tuple(sorted(items, key=lambda item: not item.open))


def open_potencies(store: Store, verdicts: Sequence[VerdictEntry]) -> tuple[PotencyItem, ...]:
    """The doubtful prescriptions no person has ruled on."""
    rulings = word_rulings(verdicts)
    items = []
    for lecture, extraction in finished(store):
        waiting = [p for p in extraction.prescriptions if p.doubtful and not _settled(p, lecture.id, rulings)]
        if waiting:
            transcript = transcript_of(store, lecture, extraction)
            for given in waiting:
                words = potency_words(transcript, given)
                span = transcript.time(words)
                items.append(
                    PotencyItem(
                        lecture.id,
                        lecture.title,
                        given.potency_said or "",
                        given.potency or "",
                        given.remedy_id,
                        transcript.text(words),
                        (span.start_ms + span.end_ms) // 2,
                        place_at(transcript, words),
                        lecture.media is not None,
                    )
                )
    return tuple(items)


def potency_words(transcript: Transcript, given: Prescription) -> WordRange:
    """The heard words of the potency inside a prescription; all its words where they cannot be told."""
    wanted = sounding(given.potency_said or "")
    if wanted:
        for start in range(given.words.start, given.words.end):
            for end in range(start + 1, min(given.words.end, start + 6) + 1):
                if sounding(transcript.text(WordRange(start, end))) == wanted:
                    return WordRange(start, end)
    return given.words


def _settled(given: Prescription, lecture_id: str, rulings: Sequence[WordVerdict]) -> bool:
    near = TimeSpan(max(0, given.time.start_ms - SAME_PLACE_MS), given.time.end_ms + SAME_PLACE_MS)
    return any(
        one.lecture_id == lecture_id and one.start_ms is not None and near.start_ms <= one.start_ms <= near.end_ms
        for one in rulings
    )


def page(request: Request) -> Response:
    """GET /names?at=N: open names, then doubtful potencies."""
    desk = desk_of(request)
    at = number(request.query_params.get("at", "0") or "0", "the place")
    with desk.store() as store:
        entries = store.verdicts(with_undone=True)
        current = [e for e in entries if not e.undone]
        every = names(store, current)
        potencies = open_potencies(store, current)
        seen = last_verdict_id(store)
        pending = is_applying(store)
        waiting: list[NameItem | PotencyItem] = [*(n for n in every if n.open), *potencies]
        at = min(at, max(0, len(waiting) - 1))
        item = waiting[at] if waiting else None
        places = _name_places(store, item) if isinstance(item, NameItem) else ()
    latest = next(
        (
            e
            for e in reversed(current)
            if isinstance(e.verdict, PersonVerdict)
            or (isinstance(e.verdict, WordVerdict) and e.verdict.start_ms is not None)
        ),
        None,
    )
    return desk.page(
        "names.html",
        here="names",
        item=item,
        places=places,
        is_name=isinstance(item, NameItem),
        at=at,
        total=len(waiting),
        seen=seen,
        decided=[n for n in every if not n.open],
        latest=latest,
        applying=pending,
        asked=False,
        latest_told=told(latest.verdict) if latest else "",
        remedy=desk.vocabulary.label(item.remedy_id) if isinstance(item, PotencyItem) and item.remedy_id else "",
    )


def _name_places(store: Store, item: NameItem) -> tuple[Place, ...]:
    for lecture, extraction in finished(store):
        if lecture.id == item.lecture_id:
            transcript = transcript_of(store, lecture, extraction)
            return tuple(place_at(transcript, words) for words in item.words)
    return ()


def decide(request: Request) -> Response:
    """POST /names: hide, show or replace a name in the whole course."""
    desk = desk_of(request)
    ruling = PERSON_RULINGS.get(field(request, "ruling"))
    said, replacement = field(request, "said"), " ".join(field(request, "replacement", "").split())
    if ruling is None or not sounding(said):
        raise InputError("that is no decision the desk knows")
    if ruling == "replace" and not replacement:
        raise InputError("say what is to be printed in place of the name")
    if len(said) > 200 or len(replacement) > LONGEST_REPLACEMENT:
        raise InputError(f"what is printed in place of a name has at most {LONGEST_REPLACEMENT} characters")
    verdict = PersonVerdict(ruling, said, None, replacement if ruling == "replace" else None)
    with desk.store() as store:
        rule(store, verdict, who=desk.who, seen=number(field(request, "seen"), "the page's state"))
    return see_other(f"/names?at={number(field(request, 'at', '0'), 'the place')}")


def decide_potency(request: Request) -> Response:
    """POST /names/potency: the potency at one place is as said, or another one."""
    desk = desk_of(request)
    heard, at_ms = sounding(field(request, "heard")), number(field(request, "at_ms"), "the time")
    given = field(request, "potency", "")
    with desk.store() as store:
        lecture = lecture_of(store, field(request, "lecture"))
        if not heard or len(heard) > 400:
            raise InputError("no words were named")
        if not given:
            verdict = WordVerdict("reject", heard, None, None, lecture.id, at_ms)
        else:
            found = desk.vocabulary.find(given, "potency")
            if not found:
                raise InputError(
                    f"“{given[:40]}” is no potency of the vocabulary; write it like 30C, 200C, 1M, 6X or LM1"
                )
            verdict = WordVerdict("accept", heard, found[0].id, found[0].pref_label, lecture.id, at_ms)
        rule(store, verdict, who=desk.who, seen=number(field(request, "seen"), "the page's state"))
    return see_other(f"/names?at={number(field(request, 'at', '0'), 'the place')}")
