"""The label of a lecture: its title, date, series and part, as a person sets them."""

from __future__ import annotations

from datetime import date

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.desk.context import desk_of, field, lecture_of, number, see_other
from notesmith.errors import InputError

LONGEST_TITLE = 200
HIGHEST_PART = 999


def label(request: Request) -> Response:
    """POST /notes/{lecture}/label: what is given is set for good; a blank date, series or part is taken away.

    A label changed meanwhile is not overwritten.
    """
    desk = desk_of(request)
    title = " ".join(field(request, "title").split())
    day, series = field(request, "date", ""), " ".join(field(request, "series", "").split())
    if not title or len(title) > LONGEST_TITLE or len(series) > LONGEST_TITLE:
        raise InputError(f"a title has 1 to {LONGEST_TITLE} characters")
    if day:
        try:
            date.fromisoformat(day)
        except ValueError:
            raise InputError(f"“{day[:20]}” is not a date; write it as 2026-03-02") from None
    part, parts = _part(field(request, "part", "")), _part(field(request, "parts", ""))
    if part and parts and part > parts:
        raise InputError(f"part {part} of {parts} cannot be")
    values = {"title": title, "date": day or None, "series": series or None, "part": part, "parts": parts}
    with desk.store() as store:
        lecture = lecture_of(store, request.path_params["lecture"])
        given = {name: value for name, value in values.items() if getattr(lecture, name) != value}
        if given:
            by_person = tuple(dict.fromkeys((*lecture.set_by_person, *given)))
            changed = msgspec.convert(
                msgspec.structs.asdict(lecture) | given | {"set_by_person": by_person}, type(lecture)
            )
            store.update_lecture(changed, revision=number(field(request, "revision"), "the page's state"))
    return see_other(f"/notes/{lecture.id}")


def _part(text: str) -> int | None:
    if not text:
        return None
    part = number(text, "the part")
    if not 1 <= part <= HIGHEST_PART:
        raise InputError(f"a part is a number from 1 to {HIGHEST_PART}")
    return part
