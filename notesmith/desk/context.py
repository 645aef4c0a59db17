"""What every page of the desk needs: the course, its vocabulary, the keys of this run, and the templates."""

from __future__ import annotations

import contextlib
import threading
import traceback
from collections.abc import Callable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any, TypeVar, cast
from urllib.parse import urlsplit

import jinja2
import msgspec
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from notesmith.course import Course
from notesmith.desk.guard import Keys
from notesmith.errors import BusyError, ConflictError, InputError, NotesmithError
from notesmith.lecture import Lecture
from notesmith.notes import clock
from notesmith.store import Store
from notesmith.store.jobs import Job, enqueue_once, jobs
from notesmith.verdicts import NoteRuling, NoteVerdict, PersonVerdict, Verdict, VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary.concept import Scheme
from notesmith.vocabulary.load import vocabulary_files

T = TypeVar("T")
MONTHS = "January February March April May June July August September October November December".split()
DEFECTS_NAME = "defects.log"
MOST_DEFECT_BYTES = 1 << 20
HERE = Path(__file__).resolve().parent
TEMPLATES = jinja2.Environment(
    loader=jinja2.FileSystemLoader(HERE / "templates"),
    autoescape=True,
    undefined=jinja2.StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)
TEMPLATES.filters["clock"] = clock


def titled(lecture: Lecture) -> str:
    """A lecture's title with its part, where the title does not say it."""
    if lecture.part is None or f"part {lecture.part}" in lecture.title.casefold():
        return lecture.title
    return f"{lecture.title}, part {lecture.part}" + (f" of {lecture.parts}" if lecture.parts else "")


TEMPLATES.filters["titled"] = titled


KINDS_OF_TERM: dict[Scheme, str] = {
    "remedy": "remedy",
    "family": "family of remedies",
    "rubric": "rubric",
    "chapter": "chapter of the repertory",
    "canon": "author or book",
    "idea": "term of homeopathy",
    "medical": "medical term",
    "potency": "potency",
    "prescription": "word of prescribing",
}


def kind_of_term(scheme: Scheme) -> str:
    """What a scheme of the vocabulary is called on the pages."""
    return KINDS_OF_TERM[scheme]


TEMPLATES.filters["kind_of_term"] = kind_of_term


def local_time(when: str) -> str:
    """A time of the store (ISO 8601, UTC) as the clock of this machine shows it."""
    at = datetime.fromisoformat(when.replace("Z", "+00:00")).astimezone()
    return f"{at.day} {MONTHS[at.month - 1]} {at.year}, {at:%H:%M}"


TEMPLATES.filters["local_time"] = local_time


class Desk:
    """One run of the desk over one course. Each request opens its own store; the vocabulary is loaded once."""

    def __init__(self, course: Course, keys: Keys, who: str) -> None:
        self.course = course
        self.keys = keys
        self.who = who
        self._lock = threading.Lock()
        self._vocabulary: tuple[object, Vocabulary] | None = None
        self._kept: dict[str, tuple[object, object]] = {}

    def store(self) -> Store:
        return Store(self.course.store_path, must_exist=True)

    @property
    def vocabulary(self) -> Vocabulary:
        """The vocabulary as it stands; loaded again when a file of the course's own layer changed."""
        folder = self.course.vocabulary_dir
        state = [(str(p), p.stat().st_mtime_ns, p.stat().st_size) for p in vocabulary_files(folder)]
        with self._lock:
            if self._vocabulary is None or self._vocabulary[0] != state:
                self._vocabulary = (state, self.course.load_vocabulary())
            return self._vocabulary[1]

    def kept(self, name: str, key: object, make: Callable[[], T]) -> T:
        """What takes seconds to find out, made once for each ``key`` (all it depends on) and then kept."""
        with self._lock:
            found = self._kept.get(name)
        if found is not None and found[0] == key:
            return cast(T, found[1])
        made = make()
        with self._lock:
            self._kept[name] = (key, made)
        return made

    @property
    def incoming(self) -> Path:
        """Where uploads grow until they are whole."""
        return self.course.folder / ".incoming"

    @property
    def preview(self) -> Path:
        """The site as it would be published, for the lecturer's eyes."""
        return self.course.folder / ".preview"

    def note_defect(self, error: BaseException) -> str:
        """Note a fault of the program in the course's folder, for whoever mends it; returns where."""
        path = self.course.folder / DEFECTS_NAME
        with contextlib.suppress(OSError):
            if path.exists() and path.stat().st_size > MOST_DEFECT_BYTES:
                path.unlink()
            with path.open("a", encoding="utf-8") as file:
                file.write(
                    f"{datetime.now().astimezone():%Y-%m-%d %H:%M:%S}\n{''.join(traceback.format_exception(error))}\n"
                )
        return DEFECTS_NAME

    def page(self, name: str, *, status: int = 200, **values: Any) -> Response:
        """A whole page or a fragment from a template."""
        text = TEMPLATES.get_template(name).render(
            course=self.course.settings, token=self.keys.form, who=self.who, **values
        )
        return HTMLResponse(text, status)

    def refuse(self, status: int, message: str, back: str = "/") -> Response:
        """A page that says in plain words why something was not done; ``back`` leads to where it can be done."""
        return self.page("refused.html", status=status, message=message, here="", back=back)


def desk_of(request: Request) -> Desk:
    desk = request.app.state.desk
    assert isinstance(desk, Desk)
    return desk


def field(request: Request, name: str, default: str | None = None) -> str:
    """A field of the posted form, blanks around it off. Raises InputError where it is missing."""
    value = request.scope.get("form", {}).get(name, default)
    if value is None:
        raise InputError(f"the form lacks {name!r}; load the page again")
    return str(value).strip()


def number(value: str, name: str) -> int:
    """A whole number from a form or an address. Raises InputError for anything else."""
    if not (value.isascii() and value.isdigit() and len(value) < 16):
        raise InputError(f"{name} must be a whole number")
    return int(value)


def came_from(request: Request) -> str:
    """The page of the desk on which something was asked for, from the browser's word; else the first page."""
    try:
        parts = urlsplit(request.headers.get("referer", ""))
    except ValueError:
        return "/"
    if parts.netloc != request.headers.get("host") or not parts.path.startswith("/") or parts.path.startswith("//"):
        return "/"
    return parts.path + (f"?{parts.query}" if parts.query else "")


def see_other(address: str) -> Response:
    return RedirectResponse(address, 303)


# ---------------------------------------------------------------- verdicts and their conflicts


def last_verdict_id(store: Store) -> int:
    """The number of the latest verdict; a page carries it so that a ruling made meanwhile is noticed."""
    return max((entry.id for entry in store.verdicts(with_undone=True)), default=0)


def target_of(verdict: Verdict) -> tuple[str, ...]:
    """What a verdict is about; two verdicts on one target made at the same time are a conflict."""
    match verdict:
        case WordVerdict():
            place = () if verdict.start_ms is None else (verdict.lecture_id or "", str(verdict.start_ms))
            return ("word", verdict.heard, *place)
        case NoteVerdict():
            return ("note", verdict.lecture_id, verdict.key)
        case PersonVerdict():
            return ("person", verdict.said.casefold())


def rule(store: Store, verdict: Verdict, *, who: str, seen: int) -> VerdictEntry:
    """Write a verdict unless somebody ruled on the same target after verdict ``seen``.

    Raises ConflictError naming who and when; nothing is written then.
    """
    with store.transaction():
        target = target_of(verdict)
        for entry in store.verdicts(with_undone=True):
            if entry.id > seen and not entry.undone and target_of(entry.verdict) == target:
                raise ConflictError(
                    f"{entry.who} decided on this on {local_time(entry.when)} while your page was open ({told(entry.verdict)}). "
                    "Your decision was not written; look at it again."
                )
        entry = store.add_verdict(verdict, who=who)
        enqueue_once(store, "refresh", "new decisions")
    return entry


def told(verdict: Verdict, note: str = "") -> str:
    """A verdict in a few plain words. ``note`` is what the note it is about says, where it is known."""
    match verdict:
        case WordVerdict(ruling="reject"):
            return f"“{verdict.heard}” kept as heard"
        case WordVerdict(ruling="never"):
            return f"“{verdict.heard}” kept as heard, everywhere"
        case WordVerdict():
            where = ", everywhere" if verdict.ruling == "always" else ", at one place" if verdict.start_ms else ""
            return f"“{verdict.heard}” is “{verdict.restored}”{where}"
        case PersonVerdict(ruling="hide"):
            return f"the name “{verdict.said}” hidden"
        case PersonVerdict(ruling="show"):
            return f"“{verdict.said}” printed; no person to hide"
        case PersonVerdict():
            return f"“{verdict.said}” printed as “{verdict.replacement}”"
        case NoteVerdict():
            done = NOTE_RULINGS[verdict.ruling]
            put = f": “{verdict.value}”" if verdict.ruling in ("reword", "retype") and verdict.value else ""
            return f"a note {done}{put}" + (f" (“{note[:120]}”)" if note else "")


NOTE_RULINGS: dict[NoteRuling, str] = {
    "keep": "kept as it is",
    "hide": "hidden",
    "reword": "given other words",
    "retype": "made of another kind",
    "move": "moved",
    "merge": "joined to another",
}


def numbers(text: str, name: str) -> tuple[int, ...]:
    """Whole numbers with commas between them; empty for an empty text. Raises InputError for anything else."""
    return tuple(number(one, name) for one in text.split(",") if one)


def latest_own(request: Request, entries: Sequence[VerdictEntry], who: str) -> list[VerdictEntry]:
    """What the undo key takes back: the decisions that the address names (``?did=1,2``), else a person's last one."""
    did = frozenset(numbers(request.query_params.get("did", ""), "a decision"))
    own = [entry for entry in entries if entry.who == who and not entry.undone]
    return [entry for entry in own if entry.id in did] or own[-1:]


def told_all(entries: Sequence[VerdictEntry]) -> str:
    return told(entries[0].verdict) if len(entries) == 1 else f"{len(entries)} decisions"


def undo_back(entries: Sequence[VerdictEntry]) -> str:
    """The page on which decisions were made, and where what they decided waits again once they are taken back."""
    match entries[0].verdict if entries else None:
        case WordVerdict(start_ms=None):
            return "/words"
        case WordVerdict():
            return "/next"
        case NoteVerdict(lecture_id=lecture_id):
            return f"/notes/{lecture_id}"
    return "/names"


def is_applying(store: Store) -> bool:
    """Whether decisions wait to be applied, so that what a page shows may still change."""
    return any(one.body.kind == "refresh" for one in jobs(store, "waiting", "working"))


def is_empty(store: Store) -> bool:
    """Whether no lecture has been worked through, so that nothing can be settled yet."""
    return not store.result_keys("extraction")


class NotThereError(InputError):
    """What an address names does not exist."""


def lecture_of(store: Store, lecture_id: str) -> Lecture:
    """Raises NotThereError where the course has no such lecture."""
    for lecture in store.lectures():
        if lecture.id == lecture_id:
            return lecture
    raise NotThereError(f"there is no lecture {lecture_id[:80]!r} in this course")


def job_of(store: Store, job_id: str) -> Job:
    """Raises NotThereError where there is no such job, InputError where the number is none."""
    wanted = number(job_id, "the number")
    for one in jobs(store):
        if one.id == wanted:
            return one
    raise NotThereError("this is not on the list any more; load the page again")


def error_status(error: NotesmithError) -> int:
    """The HTTP status that goes with an error."""
    match error:
        case NotThereError():
            return 404
        case ConflictError():
            return 409
        case InputError():
            return 400
        case BusyError():
            return 503
    return 500


class Choice(msgspec.Struct, frozen=True):
    """One term offered to a person: its id, the text that would be put, and how it is told apart."""

    concept_id: str
    label: str
    detail: str
