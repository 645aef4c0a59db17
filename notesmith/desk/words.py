"""Settling the words: one doubtful form at a time, decided with single keys."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.annotations import Extraction
from notesmith.desk.context import (
    Desk,
    desk_of,
    field,
    is_applying,
    is_empty,
    kind_of_term,
    last_verdict_id,
    latest_own,
    lecture_of,
    number,
    numbers,
    rule,
    see_other,
    told_all,
    undo_back,
)
from notesmith.desk.names import subjects
from notesmith.desk.queue import QueueItem, is_proposed, places, word_queue
from notesmith.desk.suggest import likely, suggest
from notesmith.errors import InputError
from notesmith.store import Store
from notesmith.store.jobs import enqueue_once
from notesmith.transcript import sounding
from notesmith.verdicts import VerdictEntry, WordRuling, WordVerdict
from notesmith.vocabulary.concept import Concept, Scheme
from notesmith.vocabulary.importing import FILE_OF_SCHEME, MAX_TERM_CHARACTERS, write_concepts
from notesmith.vocabulary.load import SCHEME_OF_PREFIX
from notesmith.vocabulary.vocabulary import label_key

RULINGS: dict[str, WordRuling] = {"accept": "accept", "reject": "reject", "always": "always", "never": "never"}
RIVALS_SHOWN = 4
NEW_TERM_SCHEMES: tuple[Scheme, ...] = ("remedy", "idea", "medical", "canon", "family", "prescription")


def words(request: Request) -> Response:
    """GET /words?at=N&show=restored: the item at place N of the queue."""
    desk = desk_of(request)
    restored = request.query_params.get("show") == "restored"
    at = number(request.query_params.get("at", "0") or "0", "the place")
    with desk.store() as store:
        entries = store.verdicts(with_undone=True)
        queue = word_queue(desk.vocabulary, store, [e for e in entries if not e.undone], restored=restored)
        seen = last_verdict_id(store)
        pending, empty = is_applying(store), is_empty(store)
        item = queue[min(at, len(queue) - 1)] if queue else None
        shown, times = places(store, item) if item is not None else ((), 0)
        rivals = _rivals(item, desk, store)
        several = len(store.lecture_ids()) > 1
    latest = latest_own(request, entries, desk.who)
    return desk.page(
        "words.html",
        here="words",
        item=item,
        places=shown,
        times=times,
        at=min(at, max(0, len(queue) - 1)),
        total=len(queue),
        seen=seen,
        restored=restored,
        latest=latest,
        latest_told=told_all(latest),
        latest_back=undo_back(latest) + (f"?at={at}{'&show=restored' if restored else ''}" if _is_word(latest) else ""),
        rivals=rivals,
        several=several,
        term=desk.vocabulary.label(item.proposed.concept_id) if item else "",
        schemes=NEW_TERM_SCHEMES,
        applying=pending,
        empty=empty,
        asked=False,
    )


class Rival(msgspec.Struct, frozen=True):
    """Another term that the words may have meant; ``detail`` tells it apart."""

    concept_id: str
    label: str
    detail: str


def _rivals(item: QueueItem | None, desk: Desk, store: Store) -> list[Rival]:
    """The terms that lost against the proposed one, then others that sound like what was heard, the lecture's first."""
    if item is None:
        return []
    found: list[Rival] = []
    for rival in item.proposed.rivals[:RIVALS_SHOWN]:
        concept = desk.vocabulary.get(rival.concept_id)
        detail = f"{'unknown' if concept is None else kind_of_term(concept.scheme)}, {round(100 * rival.score)} %"
        if concept is not None and concept.pref_label != rival.restored:
            detail = f"{concept.pref_label}, {detail}"
        found.append(Rival(rival.concept_id, rival.restored, detail))
    offered = {item.proposed.concept_id, *(one.concept_id for one in found)}
    extraction = store.result(item.lecture_id, "extraction", Extraction)
    spoken_of = subjects(store.lecture(item.lecture_id)[0], extraction) if extraction is not None else frozenset()
    for concept_id, label in likely(desk.vocabulary, item.proposed.heard, spoken_of):
        concept = desk.vocabulary[concept_id]
        fits = not item.is_potency or concept.scheme == "potency"
        if fits and concept_id not in offered and len(found) < RIVALS_SHOWN:
            known_as = "" if concept.pref_label == label else f" as “{label}”"
            found.append(
                Rival(concept_id, concept.pref_label, f"{kind_of_term(concept.scheme)}, sounds like it{known_as}")
            )
    return found


def _is_word(latest: Sequence[VerdictEntry]) -> bool:
    return bool(latest) and isinstance(latest[0].verdict, WordVerdict)


def decide(request: Request) -> Response:
    """POST /words: one ruling on a heard form."""
    desk = desk_of(request)
    ruling = RULINGS.get(field(request, "ruling"))
    if ruling is None:
        raise InputError("that is no decision the desk knows")
    with desk.store() as store:
        _write(desk, store, request, ruling)
        return _next(desk, store, request)


def _write(desk: Desk, store: Store, request: Request, ruling: WordRuling, put: tuple[str, str] | None = None) -> None:
    form = sounding(field(request, "form"))
    lecture = lecture_of(store, field(request, "lecture"))
    if not form:
        raise InputError("no word was named")
    concept_id, restored = put or (field(request, "concept_id", ""), field(request, "restored", ""))
    if ruling in ("accept", "always") and not restored:
        raise InputError("there is no term to put in place")
    if len(restored) > MAX_TERM_CHARACTERS or len(form) > 400:
        raise InputError("that is longer than a term")
    here = lecture.id if ruling in ("accept", "reject") else None
    # Only a term put in place can hold for one place; what is kept as heard is kept wherever it was heard so.
    place = field(request, "at_ms", "") if ruling == "accept" else ""
    at_ms = number(place, "the time") if place else None
    answers = is_proposed(store, lecture.id, form)
    verdict = WordVerdict(ruling, form, concept_id or None, restored or None, here, at_ms, answers)
    rule(store, verdict, who=desk.who, seen=number(field(request, "seen"), "the page's state"))


def _next(desk: Desk, store: Store, request: Request) -> Response:
    """The next word; after the last one, whatever waits next."""
    verdicts = store.verdicts()
    if field(request, "back", "") == "/terms":
        return see_other(f"/terms?did={verdicts[-1].id}")
    at = number(field(request, "at", "0"), "the place")
    if field(request, "show", "") == "restored":
        return see_other(f"/words?at={at}&show=restored")
    if word_queue(desk.vocabulary, store, verdicts):
        return see_other(f"/words?at={at}")
    return see_other(f"/next?did={verdicts[-1].id}")


def other(request: Request) -> Response:
    """POST /words/other: another term of the vocabulary, here or everywhere."""
    desk = desk_of(request)
    concept = desk.vocabulary.get(field(request, "concept_id"))
    if concept is None:
        raise InputError("choose a term from the list, or make a new one")
    wanted = field(request, "restored", "")
    put = wanted if concept in desk.vocabulary.find(wanted) else concept.pref_label
    ruling: WordRuling = "always" if field(request, "everywhere", "") else "accept"
    with desk.store() as store:
        _write(desk, store, request, ruling, (concept.id, put))
        return _next(desk, store, request)


def new_term(request: Request) -> Response:
    """POST /words/new: a term the vocabulary lacks; written to the course's layer and put in place everywhere."""
    desk = desk_of(request)
    concept = make_concept(desk, field(request, "label"), field(request, "scheme"))
    with desk.store() as store:
        # The verdict first: a conflict must leave the vocabulary as it was.
        _write(desk, store, request, "always", (concept.id, concept.pref_label))
        write_concepts(desk.course.vocabulary_dir, [concept])
        return _next(desk, store, request)


def make_concept(desk: Desk, label: str, scheme_name: str) -> Concept:
    """A new concept with a free id. Raises InputError where the label is no term or is known already."""
    scheme = next((s for s in FILE_OF_SCHEME if s == scheme_name), None)
    label = " ".join(label.split())
    if scheme is None or scheme not in NEW_TERM_SCHEMES:
        raise InputError("say what kind of term it is")
    if not label_key(label) or len(label) > MAX_TERM_CHARACTERS or "\t" in label or "|" in label:
        raise InputError(f"a term has 1 to {MAX_TERM_CHARACTERS} characters with a letter among them")
    if known := desk.vocabulary.find(label, scheme):
        raise InputError(f"“{label}” is in the vocabulary already, as {known[0].pref_label}; choose it as other term")
    prefix = next(p for p, s in SCHEME_OF_PREFIX.items() if s == scheme)
    slug = "-".join("".join(c if c.isascii() and c.isalnum() else " " for c in label_key(label)).split()) or "term"
    candidate, n = f"{prefix}/{slug}", 2
    while candidate in desk.vocabulary:
        candidate, n = f"{prefix}/{slug}-{n}", n + 1
    return Concept(candidate, scheme, label, source=(f"course: {desk.who}",))


def suggestions(request: Request) -> Response:
    """GET /words/suggest?q=: terms for what is being typed."""
    desk = desk_of(request)
    return desk.page("suggest.html", choices=suggest(desk.vocabulary, request.query_params.get("q", "")[:80]))


def undo(request: Request) -> Response:
    """POST /undo: take decisions back, all of those named or none; they stay in the log, marked undone."""
    desk = desk_of(request)
    taken_back = numbers(field(request, "verdict"), "the decision's number")
    if not taken_back:
        raise InputError("no decision was named; load the page again")
    with desk.store() as store, store.transaction():
        for one in taken_back:
            store.undo_verdict(one)
        enqueue_once(store, "refresh", "a decision taken back")
    back = field(request, "back", "/words")
    return see_other(back if back.startswith("/") and not back.startswith(("//", "/\\")) else "/")
