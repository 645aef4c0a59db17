"""One lecture's work as a parcel: all a worker needs, in this process, in another one, or on another machine.

``work`` is a plain function of a parcel. It runs the same pipeline on a small course of its own, unpacked in a scratch
folder, and hands back the rows to be stored; only the one who sent the parcel writes to the course's store. A scratch
folder that outlives a killed worker lets the next one go on after the last finished window.
"""

from __future__ import annotations

import shutil
import tempfile
import time
from collections.abc import Callable
from functools import cached_property, lru_cache
from pathlib import Path

import msgspec

from notesmith import pipeline, transcribe
from notesmith.annotations import Corrections, Extraction
from notesmith.course import Course
from notesmith.errors import InputError
from notesmith.files import write_atomic
from notesmith.lecture import CourseSettings, Lecture
from notesmith.profiles import Profile
from notesmith.sounds.hearing import PhoneHearing
from notesmith.store import Store
from notesmith.transcript import Transcript
from notesmith.verdicts import VerdictEntry

PROGRESS_NAME = "progress.json"
PROGRESS_EVERY_S = 1.0

ModelMaker = Callable[[], transcribe.SpeechModel]


class Parcel(msgspec.Struct, frozen=True):
    """A lecture to work on.

    ``folder`` is the course folder where the worker sees it, else None: then ``sound`` holds the recording's bytes.
    ``scratch`` is where work in progress is kept, else None: then in a temporary folder of the worker's machine.
    ``layer`` and ``textbooks`` are files by their path inside the course. ``threads`` 0 means all cores.
    ``make_model`` replaces the settings' speech model (tests).
    """

    lecture: Lecture
    settings: CourseSettings
    profile: Profile
    verdicts: tuple[VerdictEntry, ...]
    files: tuple[tuple[str, bytes], ...]
    transcript: tuple[str, Transcript] | None
    windows: tuple[tuple[int, transcribe.StoredWindow], ...] = ()
    hearing: tuple[str, PhoneHearing] | None = None
    folder: str | None = None
    scratch: str | None = None
    sound: bytes = b""
    threads: int = 0
    make_model: ModelMaker | None = None


class Delivery(msgspec.Struct, frozen=True):
    """What came of a parcel: the rows for the store, or ``failure``, one line."""

    lecture: Lecture
    transcript: tuple[str, Transcript] | None = None
    corrections: tuple[str, Corrections] | None = None
    extraction: tuple[str, Extraction] | None = None
    hearing: tuple[str, PhoneHearing] | None = None
    failure: str | None = None
    listening_s: float = 0.0
    seconds: float = 0.0


class WorkerTools(pipeline.Tools):
    """Tools whose model uses the parcel's number of threads, or is the parcel's own."""

    threads = 0
    make_model: ModelMaker | None = None

    @cached_property
    def model(self) -> transcribe.SpeechModel:
        if self.make_model is not None:
            return self.make_model()
        return transcribe.WhisperSpeech(transcribe.find_model(self.course.settings.model), threads=self.threads)

    @cached_property
    def model_name(self) -> str:
        return (
            self.model.name if self.make_model is not None else transcribe.find_model(self.course.settings.model).name
        )


@lru_cache(maxsize=1)
def _loaded_tools(
    settings: CourseSettings, profile: Profile, files: tuple[tuple[str, bytes], ...], threads: int,
    make_model: ModelMaker | None,
) -> WorkerTools:  # fmt: skip
    """Load model and vocabulary once for all parcels of a course that reach this process."""
    with tempfile.TemporaryDirectory(prefix="notesmith-") as folder:
        course = Course(Path(folder).resolve(), settings)
        for name, body in files:
            write_atomic(course.inside(name), body)
        tools = WorkerTools(course, profile)
        tools.threads, tools.make_model = threads, make_model
        _ = tools.vocabulary, tools.textbook
    return tools


def work(parcel: Parcel) -> Delivery:
    """Bring the parcel's lecture up to date. A fault of the lecture comes back as ``failure``, never as an error."""
    begun = time.monotonic()
    scratch = Path(parcel.scratch) if parcel.scratch else Path(tempfile.mkdtemp(prefix="notesmith-"))
    try:
        return _work(parcel, scratch, begun)
    except Exception as error:
        line = " ".join(str(error).split()) or type(error).__name__
        if not isinstance(error, InputError):
            line = f"{type(error).__name__}: {line}"
        return Delivery(parcel.lecture, failure=line, seconds=time.monotonic() - begun)
    finally:
        if parcel.scratch is None:
            shutil.rmtree(scratch, ignore_errors=True)


def _work(parcel: Parcel, scratch: Path, begun: float) -> Delivery:
    tools = _loaded_tools(parcel.settings, parcel.profile, parcel.files, parcel.threads, parcel.make_model)
    tools.course = course = _unpack(parcel, scratch)
    written = [0.0]

    def report(step: pipeline.Progress) -> None:
        now = time.monotonic()
        if now - written[0] >= PROGRESS_EVERY_S:
            written[0] = now
            write_atomic(scratch / PROGRESS_NAME, msgspec.json.encode(step))

    with Store(course.store_path) as store:
        _adopt(store, parcel)
        if parcel.transcript is not None:
            store.put_transcript(*parcel.transcript)
            if parcel.hearing is not None:
                store.put_result(parcel.lecture.id, pipeline.HEARING, *parcel.hearing)
        else:
            settings = pipeline.transcript_settings(tools)
            for number, window in parcel.windows:
                store.put_decoded_window(parcel.lecture.recording_sha256, settings, number, window)
        before = time.monotonic()
        transcript = pipeline.ensure_transcript(tools, store, parcel.lecture, report)
        listening = time.monotonic() - before
        content = pipeline.process(tools, store, parcel.lecture, report)
        found = {one.transcript.digest: one.settings for one in store.transcripts(parcel.lecture.recording_sha256)}
        corrections_key = store.result_key(parcel.lecture.id, "corrections")
        extraction_key = store.result_key(parcel.lecture.id, "extraction")
        extraction = store.result(parcel.lecture.id, "extraction", Extraction)
        hearing = heard_in(store, parcel.lecture.id)
    assert corrections_key is not None
    assert extraction_key is not None
    assert extraction is not None
    return Delivery(
        content.lecture, (found[transcript.digest], transcript), (corrections_key, content.corrections),
        (extraction_key, extraction), hearing, None, listening, time.monotonic() - begun,
    )  # fmt: skip


def heard_in(store: Store, lecture_id: str) -> tuple[str, PhoneHearing] | None:
    """The phones kept of a lecture's recording, with their key: a later verdict need not listen again."""
    key = store.result_key(lecture_id, pipeline.HEARING)
    hearing = store.result(lecture_id, pipeline.HEARING, PhoneHearing)
    return None if key is None or hearing is None else (key, hearing)


def _adopt(store: Store, parcel: Parcel) -> None:
    """Make the scratch store hold the parcel's lecture and rulings, whatever an earlier run left there."""
    if any(known.id == parcel.lecture.id for known in store.lectures()):
        _, revision = store.lecture(parcel.lecture.id)
        store.update_lecture(parcel.lecture, revision=revision)
    else:
        store.add_lecture(parcel.lecture)
    kept = store.verdicts()
    if [entry.verdict for entry in kept] != [entry.verdict for entry in parcel.verdicts]:
        for entry in kept:
            store.undo_verdict(entry.id)
        for entry in parcel.verdicts:
            store.add_verdict(entry.verdict, who=entry.who)


def _unpack(parcel: Parcel, scratch: Path) -> Course:
    """A course of one lecture in the scratch folder. Its recording is a link, or the bytes that were sent."""
    scratch.mkdir(parents=True, exist_ok=True)
    course = Course(scratch.resolve(), parcel.settings)
    media = parcel.lecture.media
    if media is None or (course.recordings / media).exists():
        return course
    if parcel.folder is not None:
        return _SharedSound(course.folder, course.settings, Path(parcel.folder) / "recordings")
    write_atomic(course.recordings / media, parcel.sound)
    return course


class _SharedSound(Course, frozen=True):
    """A scratch course that listens to the recordings where they are."""

    sound_folder: Path

    @property
    def recordings(self) -> Path:
        return self.sound_folder


def last_progress(scratch: Path) -> pipeline.Progress | None:
    """The last that a worker told of a lecture; None where it told nothing yet."""
    try:
        return msgspec.json.decode((scratch / PROGRESS_NAME).read_bytes(), type=pipeline.Progress)
    except (OSError, msgspec.MsgspecError):
        return None
