"""Kill the pipeline with SIGKILL at random moments, and lose a worker of a Dask cluster; compare with a calm run.

The speech model is a stand-in that says a fixed word for each half second, so that hundreds of runs are affordable;
``--real`` uses the real model. Everything else is the real thing: decoding, voice detection, store, correction,
extraction, notes and site. Children are forked after vocabulary and language model are loaded, to save their start.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import random
import signal
import sqlite3
import tempfile
import time
from collections import Counter
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import av
import numpy as np

from notesmith import backlog, pipeline
from notesmith.annotations import Corrections, Extraction
from notesmith.course import Course, create_course
from notesmith.lecture import CourseSettings
from notesmith.parcel import WorkerTools
from notesmith.recording import RATE_HZ, clip
from notesmith.transcribe.whisper import HeardWindow, HeardWord
from notesmith.transcript import TimeSpan

NAME = "reliability"
DESCRIPTION = "random kills of the whole pipeline, and a cluster that loses a worker, beside an undisturbed run"
SAMPLES = Path(__file__).resolve().parents[1] / "sample_audio"
SPOKEN = "Thuja has warts that are soft and moist. Silica is chilly and yields to nobody, she is mild.".split()
LOG, PAUSE = "NOTESMITH_BENCH_LOG", "NOTESMITH_BENCH_PAUSE_S"


class SteadySpeech:
    """Two seconds a window; notes the beginning and end of each window in the file that LOG names."""

    name = "steady"

    def windows(
        self, speech: np.ndarray, *, language: str, beam_size: int, first_frame: int, last_word_end_s: float
    ) -> Iterable[HeardWindow]:
        frames = len(speech) * 100 // RATE_HZ
        for number, begin in enumerate(range(first_frame, frames, 200)):
            _note(f"begun {len(speech)} {begin}")
            time.sleep(float(os.environ.get(PAUSE, "0.05")))
            end = min(begin + 200, frames)
            words = tuple(
                HeardWord(at / 100, (at + 40) / 100, " " + SPOKEN[at // 50 % len(SPOKEN)], 0.9)
                for at in range(begin, end - 40, 50)
            )
            _note(f"ended {len(speech)} {begin}")
            yield HeardWindow(number, (words,) if words else (), end, end / 100)


def _note(line: str) -> None:
    if path := os.environ.get(LOG):
        with open(path, "a", encoding="utf-8") as file:
            file.write(line + "\n")


def steady_speech() -> SteadySpeech:
    return SteadySpeech()


def write_wav(path: Path, samples: np.ndarray) -> None:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("pcm_s16le", rate=RATE_HZ, layout="mono")
        frame = av.AudioFrame.from_ndarray(
            (samples * 32767).astype(np.int16).reshape(1, -1), format="s16", layout="mono"
        )
        frame.sample_rate = RATE_HZ
        container.mux(stream.encode(frame))
        container.mux(stream.encode(None))


def new_course(folder: Path, files: Iterable[Path]) -> Course:
    course = create_course(folder, CourseSettings(title="Reliability", profile="testing"))
    with course.open_store() as store:
        for path in files:
            pipeline.add_file(course, store, path)
    return course


def contents(course: Course) -> dict[str, str]:
    """All that a course holds, by name, as digests; the times of day are left out."""
    found: dict[str, object] = {}
    with course.open_store() as store:
        assert store.check() == ()
        for lecture in store.lectures():
            found[f"{lecture.id} lecture"] = lecture
            kept = store.transcripts(lecture.recording_sha256)
            found[f"{lecture.id} transcripts"] = [(one.settings, one.transcript) for one in kept]
            for stage, kind in (("corrections", Corrections), ("extraction", Extraction), ("notes", str)):
                found[f"{lecture.id} {stage}"] = (
                    store.result_key(lecture.id, stage), store.result(lecture.id, stage, kind)
                )  # fmt: skip
        found["moments"] = sorted(map(repr, store.query("SELECT * FROM moment")))
        found["windows"] = store.query("SELECT count(*) FROM decoded_window")
    for folder in (course.notes, course.site, course.recordings):
        for path in sorted(folder.rglob("*")):
            if path.is_file():
                name = path.relative_to(course.folder).as_posix()
                found[name] = path.read_bytes()
    return {name: hashlib.sha256(repr(value).encode()).hexdigest() for name, value in found.items()}


def differences(wanted: dict[str, str], found: dict[str, str]) -> list[str]:
    """The names under which two courses hold something else, with what is the matter."""
    missing = [f"{name} is missing" for name in sorted(wanted.keys() - found.keys())]
    surplus = [f"{name} is left over" for name in sorted(found.keys() - wanted.keys())]
    return missing + surplus + [name for name in sorted(wanted.keys() & found.keys()) if wanted[name] != found[name]]


def whole(tools: pipeline.Tools, course: Course) -> None:
    tools.course = course
    with course.open_store() as store:
        for lecture in store.lectures():
            pipeline.process(tools, store, lecture)
        pipeline.publish(course, store, tools.vocabulary)


def warm_up(tools: pipeline.Tools, scratch: Path) -> None:
    """Build every index a run needs, so that the forked children do not each build them again."""
    captions = scratch / "warm.vtt"
    captions.write_text(
        "WEBVTT\n\n00:00.000 --> 00:09.000\nThuja has warts. Sepia is chilly and mild.\n", encoding="utf-8"
    )
    whole(tools, new_course(scratch / "warm", [captions]))


def child(tools: pipeline.Tools, course: Course) -> int:
    """Fork a process that does the whole course; returns its id."""
    if (pid := os.fork()) == 0:
        code = 1
        try:
            whole(tools, course)
            code = 0
        finally:
            os._exit(code)
    return pid


def kill_test(
    kills: int, sound: Path, scratch: Path, tools: pipeline.Tools, seed: int, minutes: float
) -> dict[str, Any]:
    """Rounds of: a fresh course, killed at random moments until a run comes through; until there were enough kills."""
    chance = random.Random(seed)
    calm = new_course(scratch / "calm", [sound])
    os.environ[LOG] = str(scratch / "calm.log")
    begun = time.monotonic()
    _, status = os.waitpid(child(tools, calm), 0)
    calm_s = time.monotonic() - begun
    if status:
        raise SystemExit("the undisturbed run failed")
    wanted = contents(calm)
    windows = len(set(Path(os.environ[LOG]).read_text().splitlines())) // 2
    done = rounds = different = damaged = ended_again = 0
    stages: Counter[str] = Counter()
    most_ended = most_begun = excess = 0
    last = time.monotonic() + minutes * 60
    while done < kills and time.monotonic() < last:
        course = new_course(scratch / f"round{rounds}", [sound])
        log = scratch / f"round{rounds}.log"
        log.touch()
        os.environ[LOG] = str(log)
        killed_here = 0
        while True:
            pid = child(tools, course)
            # Now and then let it run to its end, else a round would never be over.
            wait = chance.uniform(0, calm_s * 1.3)
            until = time.monotonic() + wait
            finished = (0, 0)
            while time.monotonic() < until and (finished := os.waitpid(pid, os.WNOHANG))[0] == 0:
                time.sleep(0.005)
            if finished[0] == 0:
                os.kill(pid, signal.SIGKILL)
                os.waitpid(pid, 0)
                done += 1
                killed_here += 1
                stages[stage_of(course)] += 1
                damaged += not sound_store(course)
                continue
            if finished[1]:
                raise SystemExit("a resumed run failed")
            break
        if unlike := differences(wanted, contents(course)):
            different += 1
            print(f"  round {rounds} ({killed_here} kills) differs: {', '.join(unlike[:8])}", flush=True)
        lines = Counter(log.read_text().splitlines())
        ended = [count for line, count in lines.items() if line.startswith("ended")]
        started = [count for line, count in lines.items() if line.startswith("begun")]
        most_ended, most_begun = max(most_ended, *ended), max(most_begun, *started)
        ended_again += sum(count - 1 for count in ended)
        excess += sum(started) - windows > killed_here
        rounds += 1
    return {
        "kills": done, "rounds": rounds, "seed": seed, "calm_run_s": round(calm_s, 2), "windows": windows,
        "killed_while": dict(stages), "stores_damaged": damaged, "results_different": different,
        "rounds_with_more_windows_begun_than_windows_and_kills": excess,
        "finished_windows_decoded_again": ended_again, "most_times_one_window_was_finished": most_ended,
        "most_times_one_window_was_begun": most_begun,
    }  # fmt: skip


def stage_of(course: Course) -> str:
    """What the killed run was at, told by what it had stored."""
    with course.open_store() as store:
        for lecture in store.lectures():
            if not store.transcripts(lecture.recording_sha256):
                some = store.window_settings(lecture.recording_sha256)
                return "transcribing" if some else "before the first window"
            for stage in ("corrections", "extraction", "notes"):
                if store.result_key(lecture.id, stage) is None:
                    return f"making {stage}"
    return "building the site"


def sound_store(course: Course) -> bool:
    with sqlite3.connect(course.store_path) as connection:
        return connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def cluster_test(
    sounds: list[Path], scratch: Path, workers: int, lose_one: bool, tools: pipeline.Tools
) -> dict[str, Any]:
    """A backlog on a Dask cluster of worker processes on loopback, one of them killed while it works."""
    from distributed import LocalCluster

    course = create_course(scratch / f"cluster{workers}{lose_one}", CourseSettings(title="x", profile="testing"))
    log = scratch / f"cluster{workers}{lose_one}.log"
    log.touch()
    os.environ |= {LOG: str(log), PAUSE: "0.15", "PYTHONPATH": os.pathsep.join(
        [str(Path(__file__).parent), str(Path(__file__).parents[1]), os.environ.get("PYTHONPATH", "")])}  # fmt: skip
    lost: list[int] = []
    # With a nanny each worker is a process of its own that is started again when it dies, as on a real cluster.
    with LocalCluster(n_workers=workers, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        pids = [worker.pid for worker in cluster.workers.values()]

        def watch(standing: backlog.Standing) -> None:
            if lose_one and not lost and len(log.read_text().splitlines()) >= 12:
                lost.append(pids[0])
                os.kill(pids[0], signal.SIGKILL)

        with course.open_store() as store:
            plan = backlog.make_plan(course, store, sounds)
            begun = time.monotonic()
            report = backlog.run(
                course, store, plan, address=cluster.scheduler_address, make_model=steady_speech, watch=watch
            )
            seconds = time.monotonic() - begun
            stored = [len(store.transcripts(one.recording_sha256)) for one in store.lectures()]
            results = Counter(row[0] for row in store.query("SELECT lecture_id FROM result WHERE stage = 'extraction'"))
            found = {(o.recording_sha256, repr(store.result(o.id, "extraction", Extraction))) for o in store.lectures()}
    calm = new_course(scratch / f"judge{workers}{lose_one}", sounds)
    os.environ |= {LOG: "", PAUSE: "0"}
    tools.course = calm
    with calm.open_store() as store:
        for lecture in store.lectures():
            pipeline.process(tools, store, lecture)
        wanted = {(o.recording_sha256, repr(store.result(o.id, "extraction", Extraction))) for o in store.lectures()}
    ended = Counter(line for line in log.read_text().splitlines() if line.startswith("ended"))
    return {
        "workers": workers, "workers_killed": len(lost), "sessions": len(sounds), "finished": len(report.finished),
        "set_aside": [str(outcome.failure) for outcome in report.set_aside],
        "each_stored_once": stored == [1] * len(sounds) and set(results.values()) == {1},
        "equals_undisturbed_run": found == wanted, "seconds": round(seconds, 1), "cores": os.cpu_count(),
        "finished_windows_decoded_again": sum(count - 1 for count in ended.values()),
    }  # fmt: skip


def run(arguments: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog=NAME)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--real", type=int, default=0, help="kills with the real speech model")
    parser.add_argument("--minutes", type=float, default=60, help="stop the kills after this time, report how many")
    parser.add_argument("--seed", type=int, default=8)
    parser.add_argument("--seconds", type=int, default=30, help="length of the recording")
    parser.add_argument("--no-cluster", action="store_true")
    given = parser.parse_args(arguments)
    figures: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder)
        recording = sorted(SAMPLES.glob("*.opus"))[0]
        sound = scratch / "2026-03-02 Thuja.wav"
        write_wav(sound, clip(recording, TimeSpan(0, given.seconds * 1000)))
        tools = WorkerTools(create_course(scratch / "tools", CourseSettings(title="x", profile="testing")))
        tools.make_model = steady_speech
        warm_up(tools, scratch)
        if given.kills:
            figures["kills"] = kill_test(given.kills, sound, scratch, tools, given.seed, given.minutes)
            show("kills, stand-in model", figures["kills"])
        if given.real:
            (scratch / "real").mkdir()
            real = WorkerTools(tools.course)
            real.__dict__ |= {"vocabulary": tools.vocabulary, "nlp": tools.nlp}
            figures["kills_real_model"] = kill_test(
                given.real, sound, scratch / "real", real, given.seed, given.minutes
            )
            show("kills, real model", figures["kills_real_model"])
        if not given.no_cluster:
            sounds = []
            for number in range(6):
                sounds.append(scratch / f"2026-04-0{number + 1} Silica.wav")
                write_wav(sounds[-1], clip(recording, TimeSpan(number * 30_000, number * 30_000 + 28_000)))
            for workers, lose in ((1, False), (2, False), (2, True)):
                name = f"cluster_{workers}{'_one_killed' if lose else ''}"
                figures[name] = cluster_test(sounds, scratch, workers, lose, tools)
                show(name, figures[name])
    return figures


def show(title: str, figures: dict[str, Any]) -> None:
    print(f"\n{title}")
    for name, value in figures.items():
        print(f"  {name.replace('_', ' '):58} {value}")


if __name__ == "__main__":
    import sys

    run(sys.argv[1:])
