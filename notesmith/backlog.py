"""Years of recordings at once: a plan first, then the work on every core or a cluster, then a report.

    plan = make_plan(course, store, paths)       what is new, what is done, how long it will take
    report = run(course, store, plan)            add what is new, work on all that has no results yet

The work of a lecture goes out as a parcel through the ``concurrent.futures`` interface; local processes and a Dask
cluster differ in one line, ``_executor``. Only this process writes to the course's store, so each result is stored
once however often a worker was lost. What cannot be used is set aside with the reason; the rest goes on.
"""

from __future__ import annotations

import concurrent.futures
import contextlib
import importlib
import multiprocessing
import os
import shutil
import signal
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, Executor, Future
from functools import cached_property
from pathlib import Path
from typing import Literal

import msgspec

from notesmith import pipeline, transcribe
from notesmith.annotations import Extraction
from notesmith.course import Course
from notesmith.errors import InputError, NotesmithError, OutputError
from notesmith.files import output_errors
from notesmith.lecture import Lecture
from notesmith.likeness import ALIKE, SoundMark, likeness, loudness_of, may_be_alike
from notesmith.pace import Expected, expected, keep_run, last_run, trial
from notesmith.parcel import Delivery, ModelMaker, Parcel, WorkerTools, heard_in, last_progress, work
from notesmith.profiles import Profile, profile_named
from notesmith.recording import probe
from notesmith.store import Store
from notesmith.threads import cores

SOUND_ENDINGS = frozenset(".mp3 .m4a .wav .ogg .opus .oga .flac .aac .wma .mp4 .m4v .mov .webm .mkv .avi".split())
SCRATCH_NAME = ".work"  # inside the course folder: work in progress, safe to delete when nothing runs
MARK_STAGE = "sound"  # the stage under which a recording's SoundMark is kept
ATTEMPTS = 3  # a lecture whose worker died this often is set aside
POLL_S = 0.5

ItemState = Literal["new", "unfinished", "done", "duplicate", "unusable"]


class PlanItem(msgspec.Struct, frozen=True):
    """One file, or one lecture of the course that has no results yet; ``reason`` says why it is not taken."""

    name: str
    state: ItemState
    duration_ms: int = 0
    lecture_id: str | None = None
    reason: str = ""


class Plan(msgspec.Struct, frozen=True):
    """What a run would do; ``sound_ms`` is the sound not yet listened to, ``finished`` the lectures with results."""

    items: tuple[PlanItem, ...]
    sound_ms: int
    finished: int

    def count(self, *states: ItemState) -> int:
        return sum(item.state in states for item in self.items)


class Standing(msgspec.Struct, frozen=True):
    """How far a run is: lectures over, in all and set aside, sound listened to, and the time left if it can be told."""

    finished: int
    total: int
    set_aside: int
    sound_done_ms: int
    sound_ms: int
    seconds_left: float | None
    working: tuple[pipeline.Progress, ...]


class Outcome(msgspec.Struct, frozen=True):
    """What became of one lecture or file; ``failure`` is the reason it was set aside."""

    name: str
    sound_ms: int
    seconds: float
    attempts: int
    failure: str | None = None


class BacklogReport(msgspec.Struct, frozen=True):
    finished: tuple[Outcome, ...]
    set_aside: tuple[Outcome, ...]
    duplicates: tuple[PlanItem, ...]
    sound_ms: int
    seconds: float


Watch = Callable[[Standing], None]


# ---------------------------------------------------------------- the plan


def find_files(paths: Iterable[Path]) -> Iterator[Path]:
    """Recordings and transcripts in folders (all levels, by name) and the files named themselves.

    Links that lead out of their folder are left out. Raises InputError for what is not there.
    """
    for path in paths:
        try:
            is_folder, is_file = path.is_dir(), path.is_file()
        except OSError as error:
            raise InputError(f"{str(path)[:200]}: cannot be looked at ({error.strerror})") from error
        if is_folder:
            root = path.resolve()
            for folder, inner, names in os.walk(root):
                inner[:] = sorted(name for name in inner if not name.startswith("."))
                for name in sorted(names):
                    found = Path(folder) / name
                    wanted = found.suffix.lower() in SOUND_ENDINGS | pipeline.CAPTION_ENDINGS
                    if wanted and not name.startswith(".") and found.resolve().is_relative_to(root):
                        yield found
        elif is_file:
            yield path
        else:
            raise InputError(f"{str(path)[:200]}: there is no such file or folder")


def read_list(path: Path) -> tuple[Path, ...]:
    """The paths of a list, one a line, relative to the list's folder; blank lines and ``#`` lines are passed over."""
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as a UTF-8 list of paths ({error})") from error
    return tuple(path.parent / line for raw in text.splitlines() if (line := raw.strip()) and not line.startswith("#"))


def make_plan(
    course: Course, store: Store, paths: Iterable[Path], *, profile: Profile | None = None,
    seen: Callable[[str], None] = lambda _name: None,
) -> Plan:  # fmt: skip
    """Look at every file without changing the course. ``seen`` is called with each name as it is looked at.

    Duplicates are files of the same bytes, and recordings of the same sound under another codec or volume.
    """
    profile = profile or profile_named(course.settings.profile)
    items = [_standing_item(course, store, lecture, profile) for lecture in store.lectures()]
    by_sha = {lecture.recording_sha256: lecture for lecture in store.lectures()}
    finished = {item.lecture_id for item in items if item.state == "done"}
    sounds = _Sounds(course, store)
    here: dict[str, str] = {}
    items = [item for item in items if item.state == "unfinished"]
    for path in find_files(paths):
        seen(path.name)
        items.append(_file_item(path, by_sha, finished, here, sounds))
    sound_ms = sum(item.duration_ms for item in items if item.state in ("new", "unfinished"))
    return Plan(tuple(items), sound_ms, len(finished))


def expected_time(
    course: Course, plan: Plan, *, profile: Profile | None = None, address: str | None = None, workers: int = 0
) -> Expected | None:
    """How long the plan's sound will take, by the last run or, on this machine, by a trial of some seconds.

    None where neither can be had: a cluster that was not used before, or a model that is not here yet.
    """
    profile = profile or profile_named(course.settings.profile)
    if (pace := last_run(course.folder / SCRATCH_NAME, course, profile, address)) is None and address is None:
        pace = trial(course, profile, workers or best_workers(plan.count("new", "unfinished")))
    return None if pace is None else expected(plan.sound_ms, pace)


def _standing_item(course: Course, store: Store, lecture: Lecture, profile: Profile) -> PlanItem:
    done = store.result_key(lecture.id, "extraction") is not None
    duration = 0
    if not done and lecture.media is not None and not store.transcripts(lecture.recording_sha256):
        try:
            duration = _duration_ms(course, store, lecture)
            if store.window_settings(lecture.recording_sha256):
                settings = pipeline.transcript_settings(pipeline.Tools(course, profile))
                duration = max(0, duration - _heard_ms(store, lecture, settings))
        except InputError as error:
            return PlanItem(lecture.id, "unusable", 0, lecture.id, str(error))
    return PlanItem(lecture.id, "done" if done else "unfinished", duration, lecture.id)


def _heard_ms(store: Store, lecture: Lecture, settings: str) -> int:
    """How far a stopped run listened to a recording; ``settings`` is the key of its windows."""
    windows = store.decoded_windows(lecture.recording_sha256, settings, transcribe.StoredWindow)
    return max((w.segments[-1].time.end_ms for w in windows.values() if w.segments), default=0)


def _duration_ms(course: Course, store: Store, lecture: Lecture) -> int:
    """The length of a lecture's recording. Raises InputError where it cannot be told."""
    if lecture.media is None:
        return 0
    mark = store.result(lecture.id, MARK_STAGE, SoundMark)
    return mark.duration_ms if mark else probe(course.media_path(lecture.media)).duration_ms


def _file_item(
    path: Path, by_sha: dict[str, Lecture], finished: set[str | None], here: dict[str, str], sounds: _Sounds
) -> PlanItem:
    name = str(path)
    try:
        if path.suffix.lower() in pipeline.CAPTION_ENDINGS:
            sha256, duration = transcribe.load_captions(path).recording_sha256, 0
        else:
            info = probe(path)
            sha256, duration = info.sha256, info.duration_ms
    except InputError as error:
        return PlanItem(name, "unusable", reason=str(error))
    except OSError as error:
        return PlanItem(name, "unusable", reason=f"{path}: cannot be read ({error.strerror})")
    if (lecture := by_sha.get(sha256)) is not None:
        state: ItemState = "done" if lecture.id in finished else "duplicate"
        return PlanItem(name, state, 0, lecture.id, f"is lecture {lecture.id} already")
    if sha256 in here:
        return PlanItem(name, "duplicate", 0, None, f"the same bytes as {here[sha256]}")
    here[sha256] = name
    if path.suffix.lower() in SOUND_ENDINGS and (twin := sounds.twin(path, duration)) is not None:
        return PlanItem(name, "duplicate", 0, None, f"the same sound as {twin}")
    return PlanItem(name, "new", duration)


class _Sounds:
    """The recordings seen so far; a fingerprint is made only where another recording has the same duration."""

    def __init__(self, course: Course, store: Store) -> None:
        self._known: list[tuple[str, Path, SoundMark]] = []
        for lecture in store.lectures():
            if lecture.media is None:
                continue
            path = course.media_path(lecture.media)
            mark = store.result(lecture.id, MARK_STAGE, SoundMark)
            if mark is None and path.is_file():
                try:
                    mark = SoundMark(probe(path).duration_ms)
                except InputError:
                    continue
            if mark is not None:
                self._known.append((lecture.id, path, mark))

    def twin(self, path: Path, duration_ms: int) -> str | None:
        """The name of a recording with the same sound; where there is none, this one is remembered."""
        mine = SoundMark(duration_ms)
        for number, (name, other_path, other) in enumerate(self._known):
            if not may_be_alike(mine, other):
                continue
            mine, other = _listened(mine, path), _listened(other, other_path)
            self._known[number] = (name, other_path, other)
            if likeness(mine.loudness, other.loudness) >= ALIKE:
                return name
        self._known.append((str(path), path, mine))
        return None


def _listened(mark: SoundMark, path: Path) -> SoundMark:
    if mark.loudness:
        return mark
    try:
        return SoundMark(mark.duration_ms, loudness_of(path))
    except (InputError, OSError):
        return mark  # it is found out, and told, when its turn comes


# ---------------------------------------------------------------- the run


def _executor(address: str | None, workers: int) -> Executor:
    """Where the parcels are worked on: processes of this machine, or the workers of a Dask scheduler."""
    if address is None:
        spawned = multiprocessing.get_context("spawn")
        return concurrent.futures.ProcessPoolExecutor(workers, spawned, initializer=_worker_begins)
    return _cluster(address)


def _worker_begins() -> None:
    """In a worker process: leave Ctrl-C to the parent, and take no system-wide lock, which a stopped worker leaves."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with contextlib.suppress(ImportError):
        importlib.import_module("tqdm.std").TqdmDefaultWriteLock.mp_lock = None


def _cluster(address: str) -> Executor:
    try:
        from distributed import Client
    except ImportError as error:
        raise InputError("a cluster needs Dask; run: pip install 'notesmith[cluster]'") from error
    try:
        client = Client(address, timeout="10s", set_as_default=False)  # type: ignore[no-untyped-call]
    except (OSError, ValueError, TimeoutError) as error:
        raise InputError(f"{address}: no Dask scheduler answers there ({error}); start one: dask scheduler") from error
    executor: Executor = client.get_executor(pure=False, retries=ATTEMPTS - 1)  # type: ignore[no-untyped-call]
    return executor


def run(
    course: Course, store: Store, plan: Plan, *, address: str | None = None, shared: bool = True, workers: int = 0,
    profile: Profile | None = None, watch: Watch = lambda _: None, make_model: ModelMaker | None = None,
) -> BacklogReport:  # fmt: skip
    """Do what the plan says. Stop it at any point; the next run goes on after the last finished window.

    ``address`` is a Dask scheduler's. ``shared`` says that its workers see the course folder under the same path; else
    recordings are sent to them. ``workers`` 0 means as many processes as serve this machine best.
    """
    begun = time.monotonic()
    profile = profile or profile_named(course.settings.profile)
    set_aside = [Outcome(i.name, 0, 0.0, 0, i.reason) for i in plan.items if i.state == "unusable"]
    scratch = course.folder / SCRATCH_NAME
    with output_errors(scratch):
        scratch.mkdir(exist_ok=True)
    set_aside += _add_all(course, store, plan)
    waiting = {lecture.id: lecture for lecture in store.lectures() if _is_open(store, lecture, set_aside)}
    sending = _Sending(course, store, profile, address is None or shared, make_model)
    workers = workers or best_workers(len(waiting))
    finished = _Run(sending, waiting, set_aside, watch).through(address, workers)
    seconds = time.monotonic() - begun
    sound_ms = sum(outcome.sound_ms for outcome in finished)
    if sound_ms and make_model is None:
        keep_run(scratch, course, profile, address, seconds / (sound_ms / 1000))
    duplicates = tuple(item for item in plan.items if item.state == "duplicate")
    return BacklogReport(tuple(finished), tuple(set_aside), duplicates, sound_ms, seconds)


def best_workers(lectures: int) -> int:
    """Processes for this machine: one for every four cores, since CTranslate2 uses about four threads well.

    With no more than that many lectures, one process each. The threads are shared out among the processes.
    """
    return max(1, min(lectures, cores() // 4 or 1))


def _add_all(course: Course, store: Store, plan: Plan) -> list[Outcome]:
    failed = []
    vocabulary = course.load_vocabulary()
    for item in plan.items:
        if item.state != "new":
            continue
        try:
            lecture, fresh = pipeline.add_file(course, store, Path(item.name), vocabulary)
            if fresh and lecture.media is not None:
                store.put_result(lecture.id, MARK_STAGE, lecture.recording_sha256, SoundMark(item.duration_ms))
        except OutputError:
            raise  # a full disk concerns all that follow
        except NotesmithError as error:
            failed.append(Outcome(item.name, 0, 0.0, 0, str(error)))
    return failed


def _is_open(store: Store, lecture: Lecture, set_aside: Sequence[Outcome]) -> bool:
    return store.result_key(lecture.id, "extraction") is None and all(o.name != lecture.id for o in set_aside)


class _Sending:
    """Makes parcels and stores deliveries for one course; all writing to the store is here."""

    def __init__(
        self, course: Course, store: Store, profile: Profile, shared: bool, make_model: ModelMaker | None
    ) -> None:
        self.course, self.store, self.profile, self.shared = course, store, profile, shared
        self.make_model = make_model
        self.files = tuple(_course_files(course))
        self.threads = 0
        self.verdicts = store.verdicts()

    def scratch(self, lecture: Lecture) -> Path:
        return self.course.folder / SCRATCH_NAME / lecture.id

    def parcel(self, lecture: Lecture) -> Parcel:
        known = self.store.transcripts(lecture.recording_sha256)
        transcript = (known[0].settings, known[0].transcript) if known else None
        sound = b""
        if not self.shared and lecture.media is not None:
            path = self.course.media_path(lecture.media)
            if not path.is_file():
                raise InputError(f"{path}: the recording of lecture {lecture.id!r} is gone; put it back and run again")
            sound = path.read_bytes()
        windows = {}
        if transcript is None:
            windows = self.store.decoded_windows(lecture.recording_sha256, self.settings, transcribe.StoredWindow)
        return Parcel(
            lecture, self.course.settings, self.profile, self.verdicts, self.files, transcript,
            tuple(windows.items()), heard_in(self.store, lecture.id),
            folder=str(self.course.folder) if self.shared else None,
            scratch=str(self.scratch(lecture)) if self.shared else None,
            sound=sound, threads=self.threads, make_model=self.make_model,
        )  # fmt: skip

    @cached_property
    def settings(self) -> str:
        """The key under which windows and transcripts of this run's model and profile are kept."""
        tools = WorkerTools(self.course, self.profile)
        tools.make_model = self.make_model
        return pipeline.transcript_settings(tools)

    def collect(self, lecture: Lecture) -> None:
        """Take what a stopped worker heard into the store, so that any later run goes on from there."""
        path = self.scratch(lecture) / "course.db"
        if not self.shared or not path.is_file() or self.store.transcripts(lecture.recording_sha256):
            return
        with Store(path) as scratch:
            transcript = scratch.transcript(lecture.recording_sha256, self.settings)
            found = scratch.decoded_windows(lecture.recording_sha256, self.settings, transcribe.StoredWindow)
            hearing = heard_in(scratch, lecture.id)
        if transcript is not None:
            with self.store.transaction():
                if hearing is not None:
                    self.store.put_result(lecture.id, pipeline.HEARING, *hearing)
                self.store.put_transcript(self.settings, transcript)
        for number, window in found.items():
            self.store.put_decoded_window(lecture.recording_sha256, self.settings, number, window)

    def keep(self, delivery: Delivery) -> None:
        """Store what a worker delivered, all or nothing; a second delivery of the same lecture changes nothing."""
        lecture = delivery.lecture
        assert delivery.transcript is not None
        assert delivery.corrections is not None
        assert delivery.extraction is not None
        with self.store.transaction():
            present, revision = self.store.lecture(lecture.id)
            if self.store.result(lecture.id, "extraction", Extraction, input_key=delivery.extraction[0]) is not None:
                return
            if present != lecture and revision == 1:
                self.store.update_lecture(lecture, revision=revision)
            self.store.put_transcript(*delivery.transcript)
            if delivery.hearing is not None:
                self.store.put_result(lecture.id, pipeline.HEARING, *delivery.hearing)
            self.store.put_result(lecture.id, "corrections", *delivery.corrections)
            self.store.put_result(lecture.id, "extraction", *delivery.extraction)
        shutil.rmtree(self.scratch(lecture), ignore_errors=True)


def _course_files(course: Course) -> Iterator[tuple[str, bytes]]:
    """The course's own vocabulary layer and textbooks, by their path inside the course."""
    layer = course.vocabulary_dir
    paths = sorted(layer.rglob("*.tsv")) if layer.is_dir() else []
    for path in (*paths, *(course.inside(name) for name in course.settings.textbooks)):
        try:
            yield path.resolve().relative_to(course.folder).as_posix(), path.read_bytes()
        except ValueError:
            raise InputError(f"{path}: leads out of the course folder; put the file itself there") from None
        except OSError as error:
            raise InputError(f"{path}: cannot be read ({error.strerror})") from error


class _Run:
    """One run's book-keeping: what waits, what is out, what is over."""

    def __init__(self, sending: _Sending, waiting: dict[str, Lecture], set_aside: list[Outcome], watch: Watch) -> None:
        self.sending, self.set_aside, self.watch = sending, set_aside, watch
        self.lengths = {lecture.id: self._to_hear_ms(lecture) for lecture in waiting.values()}
        self.sound_ms = sum(self.lengths.values())
        # The longest first, so that no worker is left alone with a long one at the end.
        self.waiting = sorted(waiting.values(), key=lambda lecture: -self.lengths[lecture.id])
        self.total = len(waiting)
        self.attempts = dict.fromkeys(waiting, 0)
        self.finished: list[Outcome] = []
        self.suspects: set[str] = set()
        self.out: dict[Future[Delivery], Lecture] = {}
        self.begun = time.monotonic()

    def _to_hear_ms(self, lecture: Lecture) -> int:
        """The sound of a lecture that is not listened to yet; 0 where that cannot be told."""
        sending = self.sending
        if sending.store.transcript(lecture.recording_sha256, sending.settings) is not None:
            return 0
        try:
            length = _duration_ms(sending.course, sending.store, lecture)
        except InputError:
            return 0
        return max(0, length - _heard_ms(sending.store, lecture, sending.settings))

    def through(self, address: str | None, workers: int) -> list[Outcome]:
        """Work until nothing waits. A pool whose process died is replaced; what it worked on waits again."""
        if address is None:
            self.sending.threads = max(1, cores() // workers)
        while self.waiting:
            executor = _executor(address, workers)
            try:
                # A few more than there are workers, so that none idles and none holds years of parcels in memory.
                self._serve(executor, workers + 1 if address is None else _cluster_size(executor) + 2)
            except BrokenExecutor:
                self._take_back()
            finally:
                _close(executor)
                for lecture in self.out.values():  # stopped: what they heard goes into the store
                    self.sending.collect(lecture)
        return self.finished

    def _serve(self, executor: Executor, at_once: int) -> None:
        while self.waiting or self.out:
            while self.waiting and len(self.out) < at_once and self._may_send(self.waiting[0]):
                lecture = self.waiting.pop(0)
                self.attempts[lecture.id] += 1
                try:
                    parcel = self.sending.parcel(lecture)
                except InputError as error:
                    self._aside(lecture, str(error))
                    continue
                try:
                    self.out[executor.submit(work, parcel)] = lecture
                except BrokenExecutor:
                    self.waiting.insert(0, lecture)
                    self.attempts[lecture.id] -= 1
                    raise
            done, _ = concurrent.futures.wait(self.out, POLL_S, concurrent.futures.FIRST_COMPLETED)
            for future in done:
                self._receive(future)
            self.watch(self._standing())

    def _may_send(self, lecture: Lecture) -> bool:
        """A lecture that was out when a worker process died is worked on alone, so that the guilty one is known."""
        return not self.out or not (
            lecture.id in self.suspects or any(o.id in self.suspects for o in self.out.values())
        )

    def _receive(self, future: Future[Delivery]) -> None:
        lecture = self.out[future]
        try:
            delivery = future.result()
        except BrokenExecutor:
            raise
        except Exception as error:  # a Dask worker that was lost too often
            del self.out[future]
            self._aside(lecture, f"its worker was lost ({type(error).__name__})")
            return
        del self.out[future]
        if delivery.failure is not None:
            self._aside(lecture, delivery.failure)
            return
        self.sending.keep(delivery)
        self.finished.append(Outcome(lecture.id, self.lengths[lecture.id], delivery.seconds, self.attempts[lecture.id]))

    def _take_back(self) -> None:
        for future in [future for future in self.out if future.done() and future.exception() is None]:
            self._receive(future)
        for lecture in self.out.values():
            if self.attempts[lecture.id] >= ATTEMPTS:
                self._aside(lecture, f"its worker process died {ATTEMPTS} times; the recording may be damaged")
            else:
                self.suspects.add(lecture.id)
                self.waiting.append(lecture)
        self.out.clear()

    def _aside(self, lecture: Lecture, reason: str) -> None:
        self.set_aside.append(Outcome(lecture.id, 0, 0.0, self.attempts[lecture.id], reason))

    def _standing(self) -> Standing:
        told = [last_progress(self.sending.scratch(lecture)) for lecture in self.out.values()]
        working = tuple(step for step in told if step is not None)
        heard = sum(outcome.sound_ms for outcome in self.finished)
        for step in working:  # what an earlier run heard of a lecture counts in its step, hence the bound
            length = self.lengths.get(step.lecture_id, 0)
            heard += min(step.done, length) if step.stage == "transcribe" else length
        spent = time.monotonic() - self.begun
        left = spent / heard * (self.sound_ms - heard) if heard > 0.01 * self.sound_ms > 0 else None
        over = self.total - len(self.waiting) - len(self.out)
        return Standing(over, self.total, len(self.set_aside), heard, self.sound_ms, left, working)


def _cluster_size(executor: Executor) -> int:
    return len(executor._client.scheduler_info()["workers"])  # type: ignore[attr-defined]


def _close(executor: Executor) -> None:
    """End this run's own worker processes, or leave the cluster, which others may use."""
    if isinstance(executor, concurrent.futures.ProcessPoolExecutor):
        processes = list((executor._processes or {}).values())
        executor.shutdown(wait=False, cancel_futures=True)
        for process in processes:
            process.terminate()
        for process in processes:
            process.join(10)
    else:
        executor.shutdown(wait=False)
        executor._client.close()  # type: ignore[attr-defined]
