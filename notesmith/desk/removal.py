"""Taking a lecture out of the course, bringing it back, and deleting it for good.

A lecture taken out lies in a folder of its own inside the course, with its recording and what was heard; its decisions
stay in the log. Bringing it back puts all of that in place again.
"""

from __future__ import annotations

import shutil
from pathlib import Path

import msgspec
from starlette.requests import Request
from starlette.responses import Response

from notesmith.desk.context import Desk, NotThereError, desk_of, field, lecture_of, number, see_other
from notesmith.errors import ConflictError, InputError
from notesmith.files import output_errors, write_atomic
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.store.jobs import enqueue_once, jobs
from notesmith.transcript import Transcript

REMOVED_FOLDER = ".removed"
RECORD_NAME = "lecture.json"


class Removed(msgspec.Struct, frozen=True):
    """A lecture as it was taken out. ``heard`` are its transcripts with the settings they were made under."""

    lecture: Lecture
    heard: tuple[tuple[str, Transcript], ...]
    who: str


def removed_folder(desk: Desk) -> Path:
    return desk.course.folder / REMOVED_FOLDER


def removed(desk: Desk) -> tuple[Lecture, ...]:
    """The lectures that were taken out and can be brought back, by their id."""
    found = []
    for path in sorted(removed_folder(desk).glob(f"*/{RECORD_NAME}")):
        try:
            found.append(_record(path.parent).lecture)
        except InputError:  # told when it is to be brought back
            found.append(Lecture(path.parent.name, path.parent.name, ""))
    return tuple(found)


def _record(folder: Path) -> Removed:
    try:
        return msgspec.json.decode((folder / RECORD_NAME).read_bytes(), type=Removed)
    except OSError:
        raise NotThereError("this lecture was not taken out, or was brought back meanwhile") from None
    except msgspec.MsgspecError as error:
        raise InputError(f"what was kept of {folder.name} is damaged ({error}); restore a backup") from error


def _folder_of(desk: Desk, lecture_id: str) -> Path:
    """Where a lecture taken out lies. Raises NotThereError where it does not; no path leads out of that folder."""
    for path in removed_folder(desk).glob(f"*/{RECORD_NAME}"):
        if path.parent.name == lecture_id:
            return path.parent
    raise NotThereError("this lecture was not taken out, or was brought back meanwhile")


def page(request: Request) -> Response:
    """GET /lectures/{lecture}/remove: what taking it out means, and the key that does it."""
    desk = desk_of(request)
    with desk.store() as store:
        lecture = lecture_of(store, request.path_params["lecture"])
        _, revision = store.lecture(lecture.id)
    return desk.page("remove.html", here="notes", lecture=lecture, revision=revision)


def remove(request: Request) -> Response:
    """POST /lectures/{lecture}/remove. Refused while the lecture is being worked on or was changed meanwhile."""
    desk = desk_of(request)
    revision = number(field(request, "revision"), "the page's state")
    with desk.store() as store:
        lecture = lecture_of(store, request.path_params["lecture"])
        take_out(desk, store, lecture, revision=revision)
    return see_other("/?removed=yes")


def take_out(desk: Desk, store: Store, lecture: Lecture, *, revision: int) -> None:
    """Keep everything first, then take it out of the store, then move the sound: a kill in between loses nothing."""
    if jobs(store, "working"):
        raise ConflictError("something is being worked on just now; take the lecture out when it is done")
    if store.lecture(lecture.id)[1] != revision:
        raise ConflictError("this lecture was changed while your page was open; look at it again")
    folder = removed_folder(desk) / lecture.id
    heard = tuple((one.settings, one.transcript) for one in store.transcripts(lecture.recording_sha256))
    write_atomic(folder / RECORD_NAME, msgspec.json.encode(Removed(lecture, heard, desk.who)))
    store.remove_lecture(lecture.id)
    if lecture.media is not None:
        source = desk.course.media_path(lecture.media)
        with output_errors(source):
            if source.is_file():
                source.replace(folder / source.name)
    notes = desk.course.notes / f"{lecture.id}.md"
    with output_errors(notes):
        if notes.is_file():
            notes.replace(folder / notes.name)


def bring_back(request: Request) -> Response:
    """POST /removed/{lecture}/back: the lecture as it was; its notes are made again from what was heard."""
    desk = desk_of(request)
    folder = _folder_of(desk, request.path_params["lecture"])
    kept = _record(folder)
    lecture = kept.lecture
    with desk.store() as store:
        if (other := store.lecture_of_recording(lecture.recording_sha256)) is not None:
            raise ConflictError(f"the same recording is in the course already, as {other.title}")
        if lecture.media is not None and (folder / lecture.media).is_file():
            target = desk.course.media_path(lecture.media)
            with output_errors(target):
                target.parent.mkdir(parents=True, exist_ok=True)
                (folder / lecture.media).replace(target)
        with store.transaction():
            store.add_lecture(lecture)
            for settings, transcript in kept.heard:
                store.put_transcript(settings, transcript)
            enqueue_once(store, "refresh", f"{lecture.title} was brought back")
    notes = folder / f"{lecture.id}.md"
    with output_errors(folder):
        if notes.is_file() and not (desk.course.notes / notes.name).exists():
            desk.course.notes.mkdir(exist_ok=True)
            notes.replace(desk.course.notes / notes.name)
        shutil.rmtree(folder)
    return see_other("/")


def delete(request: Request) -> Response:
    """POST /removed/{lecture}/delete: for good. Raises InputError without the word that says so."""
    desk = desk_of(request)
    folder = _folder_of(desk, request.path_params["lecture"])
    if field(request, "sure", "") != "delete":
        raise InputError("a lecture is deleted for good only from its own line")
    with output_errors(folder):
        shutil.rmtree(folder)
    return see_other("/")
