"""Taking files in: named first, then sent in pieces that go on where they stopped, then left to the worker."""

from __future__ import annotations

import os
import shutil
import unicodedata
from pathlib import Path

import msgspec
from starlette.concurrency import run_in_threadpool
from starlette.requests import ClientDisconnect, Request
from starlette.responses import JSONResponse, Response

from notesmith.desk.context import Desk, desk_of, field, job_of, number, see_other
from notesmith.desk.guard import CHUNK_LIMIT_BYTES
from notesmith.errors import ConflictError, InputError
from notesmith.files import output_errors
from notesmith.samples import sample_recordings
from notesmith.store import Store
from notesmith.store.jobs import OPEN_STATES, Job, JobBody, add_job, change_job, jobs, received_bytes, remove_job

UPLOAD_LIMIT_BYTES = 8 * 1024**3
SPARE_BYTES = 200 * 1024**2
LIVE_STAMP = "recorded here"
KNOWN_ENDINGS = frozenset(
    ".mp3 .m4a .m4b .aac .wav .ogg .oga .opus .flac .wma .amr .aiff .aif .caf .mp4 .m4v .mov .webm .mkv .avi .3gp "
    ".vtt .srt .json .txt".split()
)


def safe_name(given: str) -> str:
    """A file name from a browser, made harmless: the last part only, no control or path characters, not hidden.

    Raises InputError where nothing is left or the ending is of no kind the program reads.
    """
    last = unicodedata.normalize("NFC", given).replace("\\", "/").rpartition("/")[2]
    kept = "".join(c if c.isalnum() or c in " ._-()[]+,&'" else "_" for c in last).strip(" .")
    path = Path(kept or "_")
    if not kept or path.suffix.lower() not in KNOWN_ENDINGS:
        raise InputError(
            f"“{last[:80]}” is neither a recording nor a transcript. Recordings: mp3, m4a, wav, ogg, opus, flac, mp4, "
            "webm, mkv and others; transcripts: vtt, srt, json, txt."
        )
    return path.stem.encode()[:150].decode("utf-8", "ignore") + path.suffix.lower()


def part_path(desk: Desk, one: Job) -> Path:
    """Where the bytes of an upload are; inside a folder of its own so that the file keeps its name."""
    return desk.incoming / str(one.id) / one.body.name


def is_live(one: Job) -> bool:
    """Whether an upload grows while it is recorded: how long it will be is not known before it is ended."""
    return one.body.size == 0 and one.body.kind == "add"


def make_upload(desk: Desk, store: Store, name: str, *, size: int, stamp: str) -> Job:
    """A new upload of which nothing is here yet. Raises InputError where the disk has no room for it."""
    if shutil.disk_usage(desk.course.folder).free < size + SPARE_BYTES:
        raise InputError(f"there is not enough space on the disk for “{name}”")
    made = add_job(store, JobBody("add", name, size=size, stamp=stamp), "receiving")
    path = part_path(desk, made)
    with output_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        path.touch()
    return made


def begin(request: Request) -> Response:
    """POST /uploads: name, size, stamp → the upload's number and how much of it is here already."""
    desk = desk_of(request)
    name = safe_name(field(request, "name"))
    size = number(field(request, "size"), "the size")
    stamp = field(request, "stamp", "")[:300]
    if size == 0:
        raise InputError(f"“{name}” is empty; copy the recording again")
    if size > UPLOAD_LIMIT_BYTES:
        raise InputError(f"“{name}” is larger than 8 GB; export its sound alone")
    with desk.store() as store:
        for one in jobs(store, "receiving"):
            if (one.body.name, one.body.size, one.body.stamp) == (name, size, stamp):
                here = received_bytes(part_path(desk, one))
                if here == size:  # its last piece was written, but the program was killed before it said so
                    body = msgspec.structs.replace(one.body, received=here)
                    change_job(store, one.id, "waiting", body, only_from=("receiving",))
                return JSONResponse({"id": one.id, "offset": here})
        made = make_upload(desk, store, name, size=size, stamp=stamp)
    return JSONResponse({"id": made.id, "offset": 0})


def state(request: Request) -> Response:
    """GET /uploads/{id}: how much is here."""
    desk = desk_of(request)
    with desk.store() as store:
        one = job_of(store, request.path_params["id"])
        return JSONResponse({"id": one.id, "offset": received_bytes(part_path(desk, one)), "state": one.state})


async def put(request: Request) -> Response:
    """PUT /uploads/{id}?offset=N: a piece of at most 8 MB that begins where the last one ended."""
    desk = desk_of(request)
    job_id = request.path_params["id"]
    offset = number(request.query_params.get("offset", ""), "the offset")
    piece = bytearray()
    try:
        async for data in request.stream():
            piece += data
            if len(piece) > CHUNK_LIMIT_BYTES:
                raise InputError("that piece is too long")
    except ClientDisconnect:
        pass  # keep what came; the page asks where to go on
    return await run_in_threadpool(_append, desk, job_id, offset, bytes(piece))


def _append(desk: Desk, job_id: str, offset: int, piece: bytes) -> Response:
    with desk.store() as store, store.transaction():  # the lock keeps two tabs from writing the same upload
        one = job_of(store, job_id)
        path = part_path(desk, one)
        here = received_bytes(path)
        if one.state != "receiving":
            raise ConflictError("this upload is over or was cancelled")
        if offset != here:
            return JSONResponse({"id": one.id, "offset": here}, 409)
        if is_live(one):
            if here + len(piece) > UPLOAD_LIMIT_BYTES or shutil.disk_usage(path.parent).free < SPARE_BYTES:
                raise InputError("there is no space left on the disk; end the recording here")
        elif here + len(piece) > one.body.size:
            raise InputError("the file grew while it was sent; choose it again")
        with output_errors(path), path.open("ab") as file:
            file.write(piece)
            file.flush()
            os.fsync(file.fileno())  # what is told to have arrived is there after a power cut
        here += len(piece)
        body = msgspec.structs.replace(one.body, received=here)
        whole = here == body.size and not is_live(one)
        change_job(store, one.id, "waiting" if whole else "receiving", body, only_from=("receiving",))
    return JSONResponse({"id": one.id, "offset": here})


def cancel(request: Request) -> Response:
    """POST /jobs/{id}/cancel."""
    desk = desk_of(request)
    with desk.store() as store:
        one = job_of(store, request.path_params["id"])
        body = msgspec.structs.replace(one.body, message="cancelled")
        change_job(store, one.id, "cancelled", body, only_from=("receiving", "waiting", "working"))
        if one.state == "receiving":
            discard(desk, one)
    return see_other("/")


def retry(request: Request) -> Response:
    """POST /jobs/{id}/retry."""
    desk = desk_of(request)
    with desk.store() as store:
        one = job_of(store, request.path_params["id"])
        if (
            one.body.kind == "add"
            and one.body.lecture_id is None
            and (is_live(one) or received_bytes(part_path(desk, one)) < one.body.size)
        ):
            raise InputError(f"“{one.body.name}” did not arrive whole; choose the file again")
        body = msgspec.structs.replace(one.body, message="", stage="", done=0, total=0, stage_began=0.0)
        change_job(store, one.id, "waiting", body, only_from=("failed", "cancelled"))
    return see_other("/")


def forget(request: Request) -> Response:
    """POST /jobs/{id}/forget: take a job that is over off the list."""
    desk = desk_of(request)
    with desk.store() as store:
        one = job_of(store, request.path_params["id"])
        remove_job(store, one.id)
        discard(desk, one)
    return see_other("/")


def discard(desk: Desk, one: Job) -> None:
    """Delete what was sent of an upload that is not wanted."""
    path = part_path(desk, one)
    path.unlink(missing_ok=True)
    if path.parent.is_dir():
        path.parent.rmdir()


def add_samples(request: Request) -> Response:
    """POST /sample: the packaged sample lectures into an empty course, to try everything with; needs no network."""
    desk = desk_of(request)
    recordings = sample_recordings()
    with desk.store() as store:
        with store.transaction():
            if store.lectures() or jobs(store, *OPEN_STATES):
                raise ConflictError("the sample lectures go into an empty course only; begin another course for them")
            made = [
                add_job(store, JobBody("add", path.name, size=path.stat().st_size, stamp="sample"), "receiving")
                for path in recordings
            ]
        for path, one in zip(recordings, made, strict=True):
            target = part_path(desk, one)
            with output_errors(target):
                target.parent.mkdir(parents=True, exist_ok=True)
                shutil.copyfile(path, target)
            body = msgspec.structs.replace(one.body, received=one.body.size)
            change_job(store, one.id, "waiting", body, only_from=("receiving",))
    return see_other("/")


def open_jobs(store: Store) -> tuple[Job, ...]:
    """What the list on the first page shows: all jobs a person started, latest first."""
    return tuple(one for one in reversed(jobs(store)) if one.body.kind != "refresh" or one.state == "failed")
