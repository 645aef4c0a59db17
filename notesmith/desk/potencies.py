"""Doubtful potencies before publication, one at a time and by ear: a potency is never settled unheard."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.annotations import Prescription
from notesmith.desk.context import (
    desk_of,
    field,
    is_applying,
    is_empty,
    last_verdict_id,
    latest_own,
    lecture_of,
    number,
    rule,
    see_other,
    told_all,
    undo_back,
)
from notesmith.desk.names import finished, transcript_of
from notesmith.desk.queue import Place, place_at, word_rulings
from notesmith.errors import InputError
from notesmith.store import Store
from notesmith.transcript import TimeSpan, Transcript, WordRange, sounding
from notesmith.verdicts import VerdictEntry, WordVerdict

SAME_PLACE_MS = 1500


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


def open_potencies(store: Store, verdicts: Sequence[VerdictEntry]) -> tuple[PotencyItem, ...]:
    """The doubtful prescriptions no person has ruled on, be it here or among the words."""
    rulings = [one for one in word_rulings(verdicts) if _is_about_potency(one)]
    items = []
    for lecture, extraction in finished(store):
        waiting = [p for p in extraction.prescriptions if p.doubtful and not _settled(p, lecture.id, rulings)]
        if waiting:
            transcript = transcript_of(store, lecture, extraction)
            accepted = {
                sounding(one.heard)
                for one in rulings
                if one.ruling in ("accept", "always") and one.start_ms is None and one.lecture_id in (None, lecture.id)
            }
            for given in waiting:
                said = f" {sounding(transcript.text(given.words))} "
                if any(f" {form} " in said for form in accepted):
                    continue  # heard and settled among the words; not yet applied
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


def _is_about_potency(ruling: WordVerdict) -> bool:
    """A remedy settled at the same place says nothing of the potency beside it. "As said" names no term."""
    return ruling.concept_id is None or ruling.concept_id.startswith("potency/")


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
    """GET /potencies?at=N: the doubtful potency at place N."""
    desk = desk_of(request)
    at = number(request.query_params.get("at", "0") or "0", "the place")
    with desk.store() as store:
        current = store.verdicts()
        waiting = open_potencies(store, current)
        seen = last_verdict_id(store)
        pending, empty = is_applying(store), is_empty(store)
    at = min(at, max(0, len(waiting) - 1))
    item = waiting[at] if waiting else None
    latest = latest_own(request, current, desk.who)
    return desk.page(
        "potencies.html",
        here="potencies",
        item=item,
        at=at,
        total=len(waiting),
        seen=seen,
        latest=latest,
        latest_told=told_all(latest),
        latest_back="/potencies" if undo_back(latest) == "/next" else undo_back(latest),
        applying=pending,
        empty=empty,
        asked=False,
        remedy=desk.vocabulary.label(item.remedy_id) if item is not None and item.remedy_id else "",
    )


def decide(request: Request) -> Response:
    """POST /potencies: the potency at one place is as said, or another one."""
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
        verdicts = store.verdicts()
        more = open_potencies(store, verdicts)
    at = number(field(request, "at", "0"), "the place")
    return see_other(f"/potencies?at={at}" if more else f"/next?did={verdicts[-1].id}")
