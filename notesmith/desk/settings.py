"""The course's settings in the browser. They stay a file a person can read; its comments and order are kept."""

from __future__ import annotations

import hashlib
from typing import Literal
from urllib.parse import urlsplit

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.course import Course, open_course, save_settings
from notesmith.desk.context import Desk, desk_of, field, see_other
from notesmith.errors import ConflictError, InputError
from notesmith.files import write_atomic
from notesmith.lecture import CourseSettings, Publication
from notesmith.store.jobs import enqueue_once, jobs

LONGEST_LINE = 200
MOST_ALIASES = 20
TEXTBOOK_FOLDER = "textbook"
TEXT_ENDINGS = frozenset({".txt", ".md"})
Profile = Literal["fast", "accurate", "testing"]
PROFILES: dict[str, Profile] = {"accurate": "accurate", "fast": "fast", "testing": "testing"}
# What a change of makes every lecture's terms or notes anew.
ACTED_ON = ("lecturer", "aliases", "textbooks")


def page(request: Request) -> Response:
    """GET /settings: the settings as the file has them now."""
    desk = desk_of(request)
    course = open_course(desk.course.folder)
    return desk.page(
        "settings.html",
        here="settings",
        settings=course.settings,
        revision=revision_of(course),
        texts=text_files(course),
        profiles=[one for one in PROFILES if one != "testing" or course.settings.profile == "testing"],
        saved=request.query_params.get("saved", ""),
    )


def revision_of(course: Course) -> str:
    """Changes whenever the file does, also by another program's hand."""
    return hashlib.sha256(course.settings_path.read_bytes()).hexdigest()[:16]


def text_files(course: Course) -> list[str]:
    """Texts that can be chosen: those named already, then what lies in the course's folder for them."""
    folder = course.folder / TEXTBOOK_FOLDER
    found = [
        f"{TEXTBOOK_FOLDER}/{path.name}"
        for path in sorted(folder.iterdir() if folder.is_dir() else ())
        if path.is_file() and path.suffix.lower() in TEXT_ENDINGS and not path.name.startswith(".")
    ]
    return list(dict.fromkeys((*course.settings.textbooks, *found)))


def save(request: Request) -> Response:
    """POST /settings: who and what is printed, the course's texts, what is published.

    Raises InputError naming the field that cannot be so, ConflictError where the file was changed meanwhile.
    """
    desk = desk_of(request)
    form = request.scope.get("form", {})
    texts = text_files(desk.course)
    chosen = tuple(name for n, name in enumerate(texts) if form.get(f"text_{n}") == name)
    given = {
        "title": _line(request, "title", "the course's title"),
        "lecturer": _line(request, "lecturer", "the lecturer's name"),
        "aliases": _aliases(field(request, "aliases", "")),
        "rights": _line(request, "rights", "the line at the foot", empty=True),
        "textbooks": chosen,
        "publish": Publication(
            bool(field(request, "audio", "")),
            bool(field(request, "transcript", "")),
            _address(field(request, "address", "")),
        ),
    }
    _change(desk, request, given)
    return see_other("/settings?saved=yes")


def save_profile(request: Request) -> Response:
    """POST /settings/profile: how carefully recordings are listened to; what was heard before is heard anew."""
    desk = desk_of(request)
    profile = PROFILES.get(field(request, "profile"))
    if profile is None:
        raise InputError("choose how carefully the desk listens")
    _change(desk, request, {"profile": profile})
    return see_other("/settings?saved=yes")


def add_text(request: Request) -> Response:
    """POST /settings/text: a text of the course's own, pasted; written to a file of the course and used from now on."""
    desk = desk_of(request)
    name = " ".join("".join(c if c.isalnum() or c in " -" else " " for c in field(request, "name")).split())[:80]
    lines = [line.rstrip() for line in field(request, "text").splitlines()]
    if not name or not any(lines):
        raise InputError("give the text and a name for it")
    path = desk.course.inside(f"{TEXTBOOK_FOLDER}/{name}.txt")
    if path.exists():
        raise InputError(f"the course has a text named “{name}” already; choose another name")
    write_atomic(path, "\n".join(lines) + "\n")
    try:
        _change(desk, request, {"textbooks": (*desk.course.settings.textbooks, f"{TEXTBOOK_FOLDER}/{name}.txt")})
    except ConflictError:
        path.unlink(missing_ok=True)
        raise
    return see_other("/settings?saved=yes")


def _change(desk: Desk, request: Request, given: dict[str, object]) -> None:
    with desk.store() as store, store.transaction():  # the lock keeps two pages from writing at once
        course = open_course(desk.course.folder)
        if field(request, "revision") != revision_of(course):
            raise ConflictError("the settings were changed while your page was open; look at them again")
        before = course.settings
        after = msgspec.convert(msgspec.to_builtins(before) | msgspec.to_builtins(given), CourseSettings)
        if after == before:
            return
        if after.profile != before.profile and jobs(store, "working"):
            raise ConflictError("something is being worked on just now; change this when it is done")
        Course(course.folder, after).textbook_lines()  # raises CourseError where a text cannot be read
        desk.course = save_settings(course, after)
        if any(getattr(before, name) != getattr(after, name) for name in ACTED_ON) or after.profile != before.profile:
            enqueue_once(store, "refresh", "the settings changed")


def _line(request: Request, name: str, what: str, *, empty: bool = False) -> str:
    text = " ".join(field(request, name).split())
    if not (text or empty) or len(text) > LONGEST_LINE:
        raise InputError(f"{what} has {0 if empty else 1} to {LONGEST_LINE} characters")
    return text


def _aliases(text: str) -> tuple[str, ...]:
    names = tuple(
        dict.fromkeys(name for part in text.replace("\n", ",").split(",") if (name := " ".join(part.split())))
    )
    if len(names) > MOST_ALIASES or any(len(name) > LONGEST_LINE for name in names):
        raise InputError(f"name at most {MOST_ALIASES} other names of the lecturer, with commas between them")
    return names


def _address(text: str) -> str | None:
    """The address the site will have. Raises InputError for one that is none."""
    if not text:
        return None
    try:
        parts = urlsplit(text)
        good = parts.scheme in ("http", "https") and bool(parts.hostname) and text.isprintable() and " " not in text
    except ValueError:
        good = False
    if not good or len(text) > LONGEST_LINE:
        raise InputError(f"“{text[:60]}” is no address of a site; write it like https://example.org/course")
    return text
