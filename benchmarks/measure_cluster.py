"""A backlog on a Dask cluster of one and of two worker processes on loopback, then of two of which one is killed.

    python benchmarks/run.py cluster

Real sound (stretches of the sample recordings) and the packaged model, one thread for each worker, so that two workers
have twice the cores of one. Loading programs and model is part of every run. Beside it the machine's own limit: the
same sound through the same stages in one plain process and in two at once, without Dask and without a store in common.

On a busy machine a worker waits for a core that others use. The kernel counts how long each thread was ready to run
and did not (/proc/PID/task/TID/schedstat, Documentation/scheduler/sched-stats.rst); the "without waiting" times are the
wall times less the waiting of the busiest thread of the worker that waited most. On a very busy machine (load above
ten) they still hold the waits between processes; then the CPU time of the busiest worker is what can be compared.
"""

from __future__ import annotations

import argparse
import os
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from pathlib import Path
from typing import Any

from notesmith import backlog, pipeline, transcribe
from notesmith.annotations import Extraction
from notesmith.course import Course, create_course
from notesmith.lecture import CourseSettings
from notesmith.parcel import WorkerTools
from notesmith.recording import clip
from notesmith.samples import sample_recordings
from notesmith.store import Store
from notesmith.transcript import TimeSpan

NAME = "cluster"
DESCRIPTION = "a backlog on a Dask cluster of 1 and 2 workers, one of them killed, with the packaged model"
HERE = Path(__file__).resolve().parent
PROFILE = "fast"


def one_thread_model() -> transcribe.SpeechModel:
    return transcribe.WhisperSpeech(transcribe.find_model(), threads=1)


def stretches(folder: Path, sessions: int, seconds: int) -> list[Path]:
    """Sessions cut from the sample recordings, one after the other."""
    from measure_reliability import write_wav

    recordings = sample_recordings()
    paths = []
    for number in range(sessions):
        begin_ms = number // len(recordings) * seconds * 1000
        path = folder / f"2026-04-{number + 1:02} Session {number + 1}.wav"
        write_wav(path, clip(recordings[number % len(recordings)], TimeSpan(begin_ms, begin_ms + seconds * 1000)))
        paths.append(path)
    return paths


class Waits:
    """Reads how long the threads of some processes ran and waited, in seconds, while they live."""

    def __init__(self, pids: list[int]) -> None:
        self.ran: dict[int, float] = {}
        self.waited: dict[int, float] = {}
        self._pids = pids
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._read, daemon=True)
        self._thread.start()

    def _read(self) -> None:
        while not self._over.wait(0.25):
            for pid in self._pids:
                self._read_process(pid)

    def _read_process(self, pid: int) -> None:
        rows = []
        try:
            for task in Path(f"/proc/{pid}/task").iterdir():
                ran, waited, _ = (int(value) for value in (task / "schedstat").read_text().split())
                rows.append((ran / 1e9, waited / 1e9))
        except (OSError, ValueError):
            return
        if rows:
            self.ran[pid] = sum(ran for ran, _ in rows)
            self.waited[pid] = max(rows)[1]

    def close(self) -> None:
        self._over.set()
        self._thread.join()


def on_cluster(sounds: list[Path], scratch: Path, workers: int, lose_one: bool) -> tuple[dict[str, Any], Any]:
    """One backlog on a fresh cluster; the figures, and what it stored."""
    from distributed import LocalCluster

    course = create_course(scratch / f"cluster{workers}{lose_one}", CourseSettings(title="Cluster", profile=PROFILE))
    lost: list[float] = []
    # With a nanny each worker is a process of its own that is started again when it dies, as on a real cluster.
    with LocalCluster(n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        pids = [worker.pid for worker in cluster.workers.values()]
        begun = time.monotonic()

        def watch(standing: backlog.Standing) -> None:
            if lose_one and not lost and standing.finished >= 1:
                lost.append(time.monotonic() - begun)
                os.kill(pids[0], signal.SIGKILL)

        waits = Waits(pids)
        with course.open_store() as store:
            plan = backlog.make_plan(course, store, sounds)
            begun = time.monotonic()
            report = backlog.run(
                course, store, plan, address=cluster.scheduler_address, make_model=one_thread_model, watch=watch
            )
            seconds = time.monotonic() - begun
            stored = results(store)
            kept = [len(store.transcripts(one.recording_sha256)) for one in store.lectures()]
            rows = Counter(row[0] for row in store.query("SELECT lecture_id FROM result WHERE stage = 'extraction'"))
        waits.close()
    waited = max(waits.waited.values(), default=0.0)
    return {
        "workers": workers, "workers_killed": len(lost), "sessions": len(sounds), "finished": len(report.finished),
        "set_aside": [str(outcome.failure) for outcome in report.set_aside],
        "each_stored_once": kept == [1] * len(sounds) and set(rows.values()) == {1},
        "seconds": round(seconds, 1), "without_waiting_s": round(seconds - waited, 1),
        "cpu_s_of_each_worker": [round(value, 1) for value in waits.ran.values()],
        "load": round(os.getloadavg()[0], 1),
    }, stored  # fmt: skip


def results(store: Store) -> set[tuple[str, str]]:
    return {(one.recording_sha256, repr(store.result(one.id, "extraction", Extraction))) for one in store.lectures()}


def one_plain(folder: Path) -> None:
    """Every session in a folder through the pipeline, in this process: no cluster, no other process."""
    tools = WorkerTools(create_course(folder / "course", CourseSettings(title="Cluster", profile=PROFILE)))
    tools.make_model = one_thread_model
    with tools.course.open_store() as store:
        for path in sorted(folder.glob("*.wav")):
            pipeline.add_file(tools.course, store, path, tools.vocabulary)
        for lecture in store.lectures():
            pipeline.process(tools, store, lecture)


def plain(sounds: list[Path], scratch: Path, processes: int) -> tuple[dict[str, Any], Any]:
    """The same work in plain processes side by side, shared out evenly."""
    folders = []
    for number in range(processes):
        folder = scratch / f"plain{processes}.{number}"
        folder.mkdir()
        for path in sounds[number::processes]:
            os.link(path, folder / path.name)
        folders.append(folder)
    begun = time.monotonic()
    running = [subprocess.Popen([sys.executable, __file__, "--plain", str(folder)]) for folder in folders]
    waits = Waits([process.pid for process in running])
    codes = [process.wait() for process in running]
    seconds = time.monotonic() - begun
    waits.close()
    if any(codes):
        raise SystemExit("a plain process failed")
    stored = set()
    for folder in folders:
        with Course(folder / "course", CourseSettings(title="Cluster")).open_store() as store:
            stored |= results(store)
    waited = max(waits.waited.values(), default=0.0)
    return {"processes": processes, "seconds": round(seconds, 1), "without_waiting_s": round(seconds - waited, 1),
            "load": round(os.getloadavg()[0], 1)}, stored  # fmt: skip


def run(arguments: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog=NAME)
    parser.add_argument("--sessions", type=int, default=8)
    parser.add_argument("--seconds", type=int, default=50, help="length of a session")
    given = parser.parse_args(arguments)
    os.environ |= {"OMP_NUM_THREADS": "1", "PYTHONPATH": os.pathsep.join(
        [str(HERE), str(HERE.parent), os.environ.get("PYTHONPATH", "")])}  # fmt: skip
    figures: dict[str, Any] = {"cores": os.cpu_count()}
    stored = {}
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder)
        sounds = stretches(scratch, given.sessions, given.seconds)
        for name, task in (
            ("plain_1", lambda: plain(sounds, scratch, 1)), ("plain_2", lambda: plain(sounds, scratch, 2)),
            ("workers_1", lambda: on_cluster(sounds, scratch, 1, False)),
            ("workers_2", lambda: on_cluster(sounds, scratch, 2, False)),
            ("workers_2_one_killed", lambda: on_cluster(sounds, scratch, 2, True)),
        ):  # fmt: skip
            figures[name], stored[name] = task()
            if name.startswith("workers"):
                figures[name]["equals_undisturbed_run"] = stored[name] == stored["plain_1"]
            print(f"{name:22} {figures[name]}", flush=True)
    for name, one, two in (
        ("plain processes", "plain_1", "plain_2"), ("Dask workers", "workers_1", "workers_2"),
        ("Dask workers, one killed", "workers_1", "workers_2_one_killed"),
    ):  # fmt: skip
        for kind in ("seconds", "without_waiting_s"):
            ratio = figures[two][kind] / figures[one][kind]
            figures[f"ratio, {name}, {kind}"] = round(ratio, 3)
            label = "wall time" if kind == "seconds" else "without waiting for a core"
            print(f"2 to 1, {name:26} {label:28} {ratio:.3f}")
    # Neither other programs nor a lack of cores change how much CPU time the busiest worker needs.
    one, two = (max(figures[name]["cpu_s_of_each_worker"]) for name in ("workers_1", "workers_2"))
    figures["ratio, Dask workers, CPU of the busiest"] = round(two / one, 3)
    print(f"2 to 1, {'Dask workers':26} {'CPU time of the busiest':28} {two / one:.3f}")
    return figures


if __name__ == "__main__" and sys.argv[1:2] == ["--plain"]:
    sys.path.insert(0, str(HERE))
    # Under the same module name as in the workers, so that results cannot differ by it.
    from measure_cluster import one_plain as _one_plain

    _one_plain(Path(sys.argv[2]))
