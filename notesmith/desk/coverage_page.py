"""What the course has taught so far: each remedy by aspect, and what of the course's own text was not read yet."""

from __future__ import annotations

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.annotations import Corrections
from notesmith.coverage import RemedyCoverage, coverage, unread_lines
from notesmith.curate import curate
from notesmith.desk.context import Desk, desk_of, titled
from notesmith.desk.names import finished
from notesmith.errors import CourseError
from notesmith.store import Store

UNREAD_SHOWN = 300


class TextbookState(msgspec.Struct, frozen=True):
    """How much of the course's own text was read aloud: ``lines`` it has, ``unread`` ones in their order."""

    lines: int
    unread: tuple[str, ...]
    problem: str = ""


def textbook_state(desk: Desk, store: Store) -> TextbookState | None:
    """None where the course has no text of its own. A text that cannot be read is told in ``problem``."""
    if not desk.course.settings.textbooks:
        return None
    try:
        lines = desk.course.textbook_lines()
    except CourseError as error:
        return TextbookState(0, (), str(error).replace(f"{desk.course.folder}/", ""))
    readings = [
        reading
        for lecture, _ in finished(store)
        if (found := store.result(lecture.id, "corrections", Corrections)) is not None
        for reading in found.readings
    ]
    return TextbookState(len(lines), tuple(line for _, line in unread_lines(lines, readings)))


def page(request: Request) -> Response:
    """GET /coverage"""
    desk = desk_of(request)
    with desk.store() as store:
        verdicts = store.verdicts()
        done = finished(store)
        taught = coverage({lecture.id: curate(extraction, lecture.id, verdicts) for lecture, extraction in done})
        textbook = textbook_state(desk, store)
    own = {one for lecture, extraction in done for one in (*lecture.remedy_ids, *extraction.remedy_ids[:1])}
    titles = {lecture.id: titled(lecture) for lecture, _ in done}

    def named(found: RemedyCoverage) -> tuple[str, RemedyCoverage]:
        return desk.vocabulary.label(found.remedy_id), found

    return desk.page(
        "coverage.html",
        here="notes",
        main=[named(one) for one in taught if one.remedy_id in own],
        beside=[named(one) for one in taught if one.remedy_id not in own],
        titles=titles,
        textbook=textbook,
        shown=UNREAD_SHOWN,
    )
