"""The background thread that does the jobs: takes recordings in, works on them, follows up on decisions."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from notesmith.desk import recorder
from notesmith.desk.context import Desk
from notesmith.desk.publication import checklist
from notesmith.errors import Cancelled, ConflictError, InputError, NotesmithError
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.store.jobs import Job, JobBody, change_job, claim, job, recover

if TYPE_CHECKING:
    from notesmith import pipeline

PROBE_SECONDS = 60
PACKAGE_PARENT = Path(__file__).resolve().parents[2]
REPORT_EVERY_S = 0.5
POLL_S = 0.5
QUIET_S = 3.0  # a person deciding word after word should not wait for the work that each decision causes


def probe_apart(path: Path) -> None:
    """Look at an uploaded file in a process of its own, which may neither write files nor use much memory or time.

    Raises InputError in plain words where it cannot be used, also where the decoder crashed on it.
    """
    try:
        done = subprocess.run(
            [sys.executable, "-s", "-m", "notesmith.desk.look", str(path)],
            capture_output=True,
            timeout=PROBE_SECONDS,
            check=False,
            stdin=subprocess.DEVNULL,
            env={**os.environ, "PYTHONPATH": str(PACKAGE_PARENT)},
        )
    except subprocess.TimeoutExpired:
        raise InputError("this file took too long to open; export it again as mp3 or m4a") from None
    if done.returncode == 0:
        return
    said = done.stdout.decode("utf-8", "replace").strip()
    raise InputError(said if done.returncode == 2 and said else "this file cannot be opened; export it again as mp3")


class Worker:
    """One thread; ``stop`` waits for the present step to end. A job killed in the middle waits again."""

    def __init__(self, desk: Desk, *, quiet_s: float = QUIET_S) -> None:
        self.desk = desk
        self.quiet_s = quiet_s
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="desk-worker", daemon=True)
        self._last_report = 0.0
        self._stage = ""
        self._began = 0.0

    def start(self) -> None:
        with self.desk.store() as store:
            recover(store)
        self._thread.start()

    def stop(self) -> None:
        self._stop.set()
        self._thread.join(timeout=10)

    def _run(self) -> None:
        while not self._stop.is_set():
            try:
                with self.desk.store() as store:
                    busy = self.step(store)
            except NotesmithError:
                busy = False  # the store is held by another program; try again
            if not busy:
                self._stop.wait(POLL_S)

    def step(self, store: Store) -> bool:
        """Do one job; whether there was one."""
        found = claim(store, "add", "preview", "publish")
        if found is None and self._is_quiet(store):
            found = claim(store, "refresh")
        if found is None:
            return False
        self._stage, self._began = "", 0.0
        try:
            body = self._do(store, found)
        except Cancelled:
            if not self._stop.is_set():
                self._finish(store, found, "cancelled", "stopped; what was heard so far is kept")
        except NotesmithError as error:
            self._finish(store, found, "failed", _without_path(str(error), self.desk))
        except MemoryError:
            self._finish(store, found, "failed", "the computer ran out of memory; close other programs, then retry")
        except Exception as error:
            noted = self.desk.note_defect(error)
            name = type(error).__name__
            self._finish(
                store,
                found,
                "failed",
                f"a defect of the program ({name}), noted in {noted}; nothing was lost, try again",
            )
        else:
            self._finish(store, found, "finished", body.message, lecture_id=body.lecture_id)
        return True

    def _is_quiet(self, store: Store) -> bool:
        entries = store.verdicts(with_undone=True)
        if not entries or not self.quiet_s:
            return True
        latest = msgspec.convert(entries[-1].when, type=str)
        return time.time() - _epoch(latest) >= self.quiet_s

    def _do(self, store: Store, found: Job) -> JobBody:
        from notesmith import pipeline  # costly to load; the page should be there before

        tools = pipeline.Tools(self.desk.course)
        tools.__dict__["vocabulary"] = self.desk.vocabulary  # loaded already
        match found.body.kind:
            case "add":
                lecture = self._take_in(store, found)
                changed = msgspec.structs.replace(job(store, found.id).body, lecture_id=lecture.id)
                change_job(store, found.id, "working", changed, only_from=("working",))
                pipeline.process(
                    tools, store, lecture, lambda p: self._report(store, found.id, p.stage, p.done, p.total)
                )
                return changed
            case "refresh":
                self._apply_decisions(store, found.id, tools)
                return found.body
            case "preview":
                from notesmith import site

                self._apply_decisions(store, found.id, tools)
                site.build(
                    pipeline.StoreLibrary(self.desk.course, store, self.desk.vocabulary),
                    self.desk.preview,
                    lambda done, total: self._report(store, found.id, "site", done, total),
                )
                return found.body
            case "publish":
                self._apply_decisions(store, found.id, tools)
                # The decisions may have brought up a name or a potency that nobody has seen.
                blocking = [c.text for c in checklist(self.desk, store, store.verdicts()) if c.kind == "blocks"]
                if blocking:
                    raise InputError(f"not published: {' '.join(blocking)}")
                built = pipeline.publish(
                    self.desk.course,
                    store,
                    self.desk.vocabulary,
                    lambda p: self._report(store, found.id, p.stage, p.done, p.total),
                )
                return msgspec.structs.replace(found.body, message=" ".join(built.remarks))

    def _apply_decisions(self, store: Store, job_id: int, tools: pipeline.Tools) -> None:
        """Bring every lecture up to date with what people decided; nothing is done where nothing changed."""
        from notesmith import pipeline

        lectures = store.lectures()
        for at, lecture in enumerate(lectures):
            if store.transcripts(lecture.recording_sha256):
                pipeline.process(tools, store, lecture)
            self._report(store, job_id, "decisions", at + 1, len(lectures))

    def _take_in(self, store: Store, found: Job) -> Lecture:
        from notesmith import pipeline

        path = self.desk.incoming / str(found.id) / found.body.name
        if found.body.lecture_id is not None:
            shutil.rmtree(path.parent, ignore_errors=True)  # there where a kill came between taking it in and this
            return store.lecture(found.body.lecture_id)[0]
        self._report(store, found.id, "looking", 0, 1)
        probe_apart(path)
        if recorder.is_recorded(found):
            recorder.put_in_order(path)
        lecture, new = pipeline.add_file(self.desk.course, store, path, self.desk.vocabulary)
        body = msgspec.structs.replace(
            job(store, found.id).body,
            lecture_id=lecture.id,
            message="" if new else "this recording was in the course already",
        )
        change_job(store, found.id, "working", body, only_from=("working",))
        shutil.rmtree(path.parent, ignore_errors=True)
        return lecture

    def _report(self, store: Store, job_id: int, stage: str, done: int, total: int) -> None:
        now = time.time()
        if self._stop.is_set():
            raise Cancelled("the desk was closed")
        if stage != self._stage:
            self._stage, self._began = stage, now
        elif now - self._last_report < REPORT_EVERY_S and done < total:
            return
        self._last_report = now
        body = msgspec.structs.replace(
            job(store, job_id).body, stage=stage, done=done, total=total, stage_began=self._began
        )
        try:
            change_job(store, job_id, "working", body, only_from=("working",))
        except ConflictError:
            raise Cancelled("cancelled by a person") from None

    def _finish(self, store: Store, found: Job, state: str, message: str, *, lecture_id: str | None = None) -> None:
        latest = job(store, found.id)
        if latest.state != "working":
            return  # cancelled from the page meanwhile
        body = msgspec.structs.replace(
            latest.body, message=message or latest.body.message, lecture_id=lecture_id or latest.body.lecture_id
        )
        change_job(store, found.id, msgspec.convert(state, type(latest.state)), body, only_from=("working",))


def _epoch(at: str) -> float:
    from datetime import datetime

    return datetime.fromisoformat(at.replace("Z", "+00:00")).timestamp()


def _without_path(message: str, desk: Desk) -> str:
    """An error without the folders of this machine in front of the file's name."""
    for folder in (str(desk.incoming), str(desk.course.folder)):
        if folder in message:
            head, _, tail = message.partition(folder)
            where, colon, rest = tail.partition(": ")
            message = f"{head}{Path(where).name}{colon}{rest}"
    return message
