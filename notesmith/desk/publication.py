"""The checklist before publication, the preview, and the publishing itself."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby
from urllib.parse import quote

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.coverage import coverage
from notesmith.curate import curate
from notesmith.desk.context import Desk, desk_of, is_applying, latest_own, see_other, titled, told_all, undo_back
from notesmith.desk.coverage_page import textbook_state
from notesmith.desk.home import job_line
from notesmith.desk.names import finished, names
from notesmith.desk.potencies import open_potencies
from notesmith.desk.queue import QueueItem, word_queue
from notesmith.errors import ConflictError
from notesmith.store import Store
from notesmith.store.jobs import OPEN_STATES, enqueue_once, jobs
from notesmith.transcript import sounding
from notesmith.verdicts import VerdictEntry
from notesmith.vocabulary import Vocabulary

UNTITLED = "Untitled lecture"


class Check(msgspec.Struct, frozen=True):
    """One line of the checklist: ``blocks`` publication, ``informs``, or is ``good``; where it can be mended.

    ``about`` is the lecture it belongs to, empty for the course.
    """

    kind: str
    text: str
    address: str = ""
    about: str = ""


def checklist(desk: Desk, store: Store, verdicts: Sequence[VerdictEntry]) -> tuple[Check, ...]:
    """What blocks publication first, then what a lecturer may want to know."""
    done = finished(store)
    checks = [_lectures(store, len(done))]
    if not done:
        return tuple(checks)
    queue = word_queue(desk.vocabulary, store, verdicts)
    open_names, potencies = _open(store, verdicts, queue)
    checks += _counted(open_names, "name", "undecided", "No name is undecided.", "/names")
    address = "/words" if any(item.is_potency for item in queue) else "/potencies"
    checks += _counted(potencies, "potency", "undecided", "No potency is undecided.", address)
    checks += [
        Check("blocks", f"{lecture.id} has no title.", f"/notes/{lecture.id}")
        for lecture, _ in done
        if not lecture.title.strip() or lecture.title == UNTITLED
    ]
    words = sum(1 for item in queue if not item.is_potency)
    if words:
        checks.append(Check("informs", f"{_many(words, 'word')} not settled; printed as heard.", "/words"))
    else:
        checks.append(Check("good", "Every doubtful word is settled."))
    checks.append(Check("informs", "The notes can be looked through and changed before they are published.", "/notes"))
    curated = {lecture.id: curate(extraction, lecture.id, verdicts) for lecture, extraction in done}
    titles = {lecture.id: titled(lecture) for lecture, _ in done}

    def at(lecture_id: str, key: str) -> str:
        return f"/notes/{lecture_id}#n-{quote(key)}"

    for lecture_id, extraction in curated.items():
        for case in extraction.vignettes:
            if case.not_stated:
                checks.append(
                    Check(
                        "informs",
                        f"{case.title}. Not stated: {', '.join(case.not_stated)}.",
                        at(lecture_id, case.key),
                        titles[lecture_id],
                    )
                )
        checks += [
            Check("informs", f"A question stayed open: {one.text}", at(lecture_id, one.key), titles[lecture_id])
            for one in extraction.questions
            if one.answer is None
        ]
        checks += [
            Check("informs", f"Promised for later: {one.text}", at(lecture_id, one.key), titles[lecture_id])
            for one in extraction.carry_overs
            if one.direction == "promised"
        ]
    own = {one for lecture, extraction in done for one in (*lecture.remedy_ids, *extraction.remedy_ids[:1])}
    for taught in coverage(curated):
        if taught.missing and taught.remedy_id in own:
            checks.append(
                Check(
                    "informs",
                    f"{desk.vocabulary.label(taught.remedy_id)}: not taught yet: {', '.join(taught.missing)}.",
                    "/coverage",
                )
            )
    textbook = textbook_state(desk, store)
    if textbook is not None and (textbook.problem or textbook.unread):
        unread = f"{len(textbook.unread)} of {textbook.lines} lines of the course's own text were not read aloud yet."
        checks.append(Check("informs", textbook.problem or unread, "/coverage"))
    order = {"blocks": 0, "good": 1, "informs": 2}
    return tuple(sorted(checks, key=lambda check: order[check.kind]))


def undecided(vocabulary: Vocabulary, store: Store) -> tuple[str, ...]:
    """What keeps the finished lectures from publication: ``2 names undecided``; empty where all is settled."""
    verdicts = store.verdicts()
    counts = zip(("name", "potency"), _open(store, verdicts, word_queue(vocabulary, store, verdicts)), strict=True)
    return tuple(f"{_many(count, what)} undecided" for what, count in counts if count)


def _open(store: Store, verdicts: Sequence[VerdictEntry], queue: Sequence[QueueItem]) -> tuple[int, int]:
    """How many names and how many potencies wait for a person."""
    open_names = sum(1 for one in names(store, verdicts) if one.open)
    asked = {(item.lecture_id, item.form) for item in queue if item.is_potency}
    others = (one for one in open_potencies(store, verdicts) if (one.lecture_id, sounding(one.heard)) not in asked)
    return open_names, len(asked) + sum(1 for _ in others)


def _lectures(store: Store, done: int) -> Check:
    total = len(store.lectures())
    if not done:
        return Check("blocks", "No lecture has been worked through yet.", "/")
    if done < total:
        return Check("informs", f"{total - done} of {total} lectures are not worked through and stay out.", "/")
    return Check("good", f"All {total} lectures are worked through." if total > 1 else "The lecture is worked through.")


def _counted(count: int, what: str, state: str, good: str, address: str) -> list[Check]:
    if not count:
        return [Check("good", good)]
    return [Check("blocks", f"{_many(count, what)} {state}.", address)]


def _many(count: int, what: str) -> str:
    plural = f"{what[:-1]}ies" if what.endswith("y") else f"{what}s"
    return f"{count} {what} is" if count == 1 else f"{count} {plural} are"


def page(request: Request) -> Response:
    """GET /publish"""
    desk = desk_of(request)
    with desk.store() as store:
        verdicts = store.verdicts()
        checks = checklist(desk, store, verdicts)
        pending = is_applying(store)
        under_way = [job_line(one) for one in jobs(store, *OPEN_STATES) if one.body.kind in ("publish", "preview")]
        failed = [job_line(one) for one in jobs(store, "failed") if one.body.kind in ("publish", "preview")]
        published = [one.made_at for one in jobs(store, "finished") if one.body.kind == "publish"]
    latest = latest_own(request, verdicts, desk.who) if "did" in request.query_params else []
    return desk.page(
        "publish.html",
        latest=latest,
        latest_told=told_all(latest),
        latest_back=undo_back(latest),
        here="publish",
        checks=[check for check in checks if not check.about],
        lectures=[(title, list(lines)) for title, lines in groupby((c for c in checks if c.about), lambda c: c.about)],
        applying=pending,
        asked=False,
        blocked=any(c.kind == "blocks" for c in checks),
        jobs=under_way,
        failed=failed[-1:],
        preview=(desk.preview / "index.html").is_file(),
        folder=str(desk.course.site),
        published=(desk.course.site / "index.html").is_file(),
        published_at=published[-1] if published else "",
    )


def state(request: Request) -> Response:
    """GET /publish/state: the jobs under way alone."""
    desk = desk_of(request)
    with desk.store() as store:
        under_way = [job_line(one) for one in jobs(store, *OPEN_STATES) if one.body.kind in ("publish", "preview")]
    return desk.page("publish_state.html", jobs=under_way)


def publish(request: Request) -> Response:
    """POST /publish: refused while anything blocks."""
    desk = desk_of(request)
    with desk.store() as store:
        blocking = [c.text for c in checklist(desk, store, store.verdicts()) if c.kind == "blocks"]
        if blocking:
            raise ConflictError(f"Not published: {' '.join(blocking)}")
        enqueue_once(store, "publish", "site")
    return see_other("/publish")


def preview(request: Request) -> Response:
    """POST /preview: build the site as it would be published, into a folder of its own."""
    desk = desk_of(request)
    with desk.store() as store:
        enqueue_once(store, "preview", "preview")
    return see_other("/publish")
