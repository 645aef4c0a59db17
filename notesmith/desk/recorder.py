"""Recording from the microphone: what the page records arrives piece by piece while it is spoken.

A live recording is an upload whose size is not known before it is ended (``size`` is 0 until then); its pieces come by
the same address as those of a file. A closed page or a killed program loses no more than the piece under way.
"""

from __future__ import annotations

import contextlib
import time
from datetime import datetime
from pathlib import Path

import av
import msgspec
from starlette.requests import Request
from starlette.responses import JSONResponse, Response

from notesmith.desk.context import desk_of, field, job_of, see_other
from notesmith.desk.uploads import LIVE_STAMP, is_live, make_upload, part_path, safe_name
from notesmith.errors import InputError
from notesmith.files import unfinished
from notesmith.store.jobs import Job, change_job, received_bytes

ENDINGS = {"webm": ".webm", "ogg": ".ogg", "mp4": ".m4a"}
LONGEST_TITLE = 100
QUIET_S = 15.0  # a page that records sends a piece every two seconds


def page(request: Request) -> Response:
    """GET /record"""
    return desk_of(request).page("record.html", here="home")


def begin(request: Request) -> Response:
    """POST /record: a title (or none) and the kind of container → the number of a new live recording."""
    desk = desk_of(request)
    ending = ENDINGS.get(field(request, "container"))
    if ending is None:
        raise InputError("this browser records in a kind of file the desk does not know")
    title = " ".join(field(request, "title", "").split())[:LONGEST_TITLE]
    now = datetime.now().astimezone()
    name = safe_name(f"{now:%Y-%m-%d} {title or f'Recorded at {now:%H.%M}'}{ending}")
    with desk.store() as store:
        made = make_upload(desk, store, name, size=0, stamp=LIVE_STAMP)
    return JSONResponse({"id": made.id, "offset": 0})


def finish(request: Request) -> Response:
    """POST /record/{id}/finish: the recording is as long as what has arrived; it now waits for the worker."""
    desk = desk_of(request)
    with desk.store() as store, store.transaction():
        one = job_of(store, request.path_params["id"])
        here = received_bytes(part_path(desk, one))
        if not is_live(one):
            raise InputError("this is no recording that is still open; load the page again")
        if not here:
            raise InputError("nothing of this recording has arrived; cancel it and begin anew")
        body = msgspec.structs.replace(one.body, size=here, received=here)
        change_job(store, one.id, "waiting", body, only_from=("receiving",))
    return see_other("/")


def told(path: Path, now: float | None = None) -> str:
    """A live recording in words: how much there is, and whether its page still sends."""
    try:
        found = path.stat()
    except OSError:
        return "a recording that has not begun"
    size = f"{found.st_size / 1024**2:.1f} MB so far"
    if (time.time() if now is None else now) - found.st_mtime < QUIET_S:
        return f"being recorded, {size}"
    return f"a recording that was not ended: it is paused, or its page was closed; {size}"


def is_recorded(one: Job) -> bool:
    return one.body.stamp == LIVE_STAMP


def put_in_order(path: Path) -> None:
    """Write a recorded file anew with its length and an index, which a browser leaves out; the sound is not touched.

    The packets are copied up to the first that cannot be read. A file that cannot be written anew stays as it is.
    """
    # AttributeError: PyAV before 14 cannot copy a stream.
    with contextlib.suppress(av.FFmpegError, OSError, ValueError, AttributeError), unfinished(path) as temporary:
        kind = {".webm": "webm", ".ogg": "ogg", ".m4a": "mp4"}[path.suffix]
        with av.open(str(path), "r") as source, av.open(str(temporary), "w", format=kind) as target:
            stream = source.streams.audio[0]
            copy = target.add_stream_from_template(stream)
            packets = source.demux(stream)
            while True:
                try:
                    packet = next(packets)
                except (StopIteration, av.FFmpegError):
                    break
                if packet.dts is not None:
                    packet.stream = copy
                    target.mux(packet)
