"""The first page: what is in the course, what is being worked on, what to do next."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.annotations import Extraction
from notesmith.desk import recorder
from notesmith.desk.context import Desk, desk_of, is_applying
from notesmith.desk.names import open_persons
from notesmith.desk.potencies import open_potencies
from notesmith.desk.queue import word_queue
from notesmith.desk.removal import removed
from notesmith.desk.uploads import is_live, open_jobs, part_path
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.store.jobs import Job
from notesmith.transcript import sounding

STAGES = {
    "": "waiting",
    "looking": "looking at the file and getting ready",
    "transcribe": "listening",
    "correct": "restoring terms",
    "extract": "finding points",
    "site": "building the pages",
    "decisions": "applying decisions",
}


class LectureLine(msgspec.Struct, frozen=True):
    """A lecture on the first page: what is still to settle; ``ready`` once it has been worked through."""

    lecture: Lecture
    ready: bool
    words: int
    names: int
    potencies: int


def lecture_lines(desk: Desk, store: Store) -> tuple[tuple[LectureLine, ...], int]:
    """The lectures of the course, and how many names wait in all: one in two lectures is asked once."""
    verdicts = store.verdicts()
    waiting = Counter(item.lecture_id for item in word_queue(desk.vocabulary, store, verdicts))
    potencies = Counter(item.lecture_id for item in open_potencies(store, verdicts))
    lines = []
    every: set[str] = set()
    for lecture in store.lectures():
        extraction = store.result(lecture.id, "extraction", Extraction)
        persons = open_persons(store, lecture, extraction, verdicts) if extraction else ()
        said = {sounding(one.said) for one in persons}
        every |= said
        lines.append(
            LectureLine(lecture, extraction is not None, waiting[lecture.id], len(said), potencies[lecture.id])
        )
    return tuple(lines), len(every)


def home(request: Request) -> Response:
    """GET /"""
    desk = desk_of(request)
    with desk.store() as store:
        lines, open_names = lecture_lines(desk, store)
        current = open_jobs(store)
    return desk.page(
        "home.html",
        here="home",
        lines=lines,
        removed=removed(desk),
        jobs=job_lines(desk, current),
        busy=_busy(current),
        words=sum(line.words for line in lines),
        names=open_names,
        potencies=sum(line.potencies for line in lines),
    )


def job_list(request: Request) -> Response:
    """GET /jobs: the list of jobs alone, asked for again and again while something is under way."""
    desk = desk_of(request)
    with desk.store() as store:
        current = open_jobs(store)
    return desk.page("jobs.html", jobs=job_lines(desk, current), busy=_busy(current))


def _busy(current: tuple[Job, ...]) -> bool:
    return any(one.state in ("receiving", "waiting", "working") for one in current)


class JobLine(msgspec.Struct, frozen=True):
    id: int
    name: str
    state: str
    says: str
    percent: int | None
    left: str
    lecture_id: str | None
    is_live: bool = False


def job_lines(desk: Desk, found: Sequence[Job]) -> list[JobLine]:
    return [job_line(one, recorder.told(part_path(desk, one)) if is_live(one) else "") for one in found]


def job_line(one: Job, live: str = "") -> JobLine:
    """A job in words: what is happening, how far, how long. ``live`` tells how a recording under way stands."""
    percent: int | None = round(100 * one.fraction)
    match one.state:
        case "receiving" if live:
            return JobLine(one.id, one.body.name, one.state, live, None, "", None, is_live=True)
        case "receiving":
            says = "being sent; choose the same file again if it stopped"
        case "waiting":
            says, percent = "waiting for its turn", None
        case "working":
            says = STAGES.get(one.body.stage, one.body.stage)
            percent = percent if one.body.total > 1 else None
        case "finished":
            says, percent = one.body.message or "done", None
        case _:
            says, percent = one.body.message or one.state, None
    name = {"publish": "Publishing", "preview": "Preview", "refresh": "Applying decisions"}.get(
        one.body.kind, one.body.name
    )
    return JobLine(one.id, name, one.state, says, percent, _left(one.seconds_left()), one.body.lecture_id)


def _left(seconds: float | None) -> str:
    if seconds is None:
        return ""
    minutes = round(seconds / 60)
    return "less than a minute left" if minutes < 1 else f"about {minutes} min left"


def applying(request: Request) -> Response:
    """GET /applying: one line that says whether decisions are still being applied."""
    desk = desk_of(request)
    with desk.store() as store:
        return desk.page("applying.html", applying=is_applying(store), asked=True, back="")
