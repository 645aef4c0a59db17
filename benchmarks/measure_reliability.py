"""Kill the pipeline and the desk with SIGKILL at random moments, lose a worker of a Dask cluster, compare with a calm run.

    python benchmarks/run.py reliability --kills 200                  pipeline, stand-in model
    python benchmarks/run.py reliability --kills 0 --real 100         pipeline, packaged Whisper base
    python benchmarks/run.py reliability --kills 0 --desk 100         the desk's server: uploads, rulings, publication

Long measurements are done in pieces with ``--minutes``, another ``--seed`` each and ``--keep FILE``: every piece is
written there as one line of JSON, and the sums over all pieces are printed.

The stand-in says a fixed word for each half second, so that hundreds of runs are affordable. Everything else is the
real thing. Children are forked after vocabulary and language model are loaded, to save their start.

What this and the fuzzing of tests/fuzz found, all mended: see CHANGELOG.md, "Found by killing and by fuzzing".
"""

from __future__ import annotations

import argparse
import hashlib
import json
import os
import random
import signal
import sqlite3
import tempfile
import threading
import time
import zlib
from collections import Counter
from collections.abc import Callable, Iterable
from functools import cached_property
from pathlib import Path
from typing import Any

import av
import numpy as np
from lab.desk_client import KEYS, DeskClient

from notesmith import backlog, extract, pipeline, transcribe
from notesmith.annotations import Corrections, Extraction
from notesmith.course import Course, create_course
from notesmith.lecture import CourseSettings
from notesmith.parcel import WorkerTools
from notesmith.profiles import profile_named
from notesmith.recording import RATE_HZ, clip
from notesmith.store.jobs import jobs
from notesmith.transcribe.whisper import HeardWindow, HeardWord
from notesmith.transcript import TimeSpan

NAME = "reliability"
DESCRIPTION = "random kills of the pipeline and the desk, and a cluster that loses a worker, beside undisturbed runs"
SAMPLES = Path(__file__).resolve().parents[1] / "sample_audio"
SPOKEN = "Thuja has warts that are soft and moist. Silica is chilly and yields to nobody, she is mild.".split()
LOG, PAUSE = "NOTESMITH_BENCH_LOG", "NOTESMITH_BENCH_PAUSE_S"
TALK = """WEBVTT

00:00.000 --> 00:05.000
Now let us come to Colley by Chromacum and its thick ropy discharges.

00:05.000 --> 00:10.000
In Colley by Chromacum the pain sits in small spots, and sulfer is warm.

00:10.000 --> 00:16.000
A patient named Rohan Varma came to me in Lausanne with warts and I gave Thuja thirty see once.

00:16.000 --> 00:22.000
Sepia is indifferent to her family. Silica is chilly. Next week we take Lycopodium.
"""


class SteadySpeech:
    """Two seconds a window; notes the beginning and end of each window in the file that LOG names."""

    name = "steady"

    def windows(
        self, speech: np.ndarray, *, language: str, beam_size: int, first_frame: int, last_word_end_s: float
    ) -> Iterable[HeardWindow]:
        frames = len(speech) * 100 // RATE_HZ
        for number, begin in enumerate(range(first_frame, frames, 200)):
            _note(f"begun {_name(speech)} {begin}")
            time.sleep(float(os.environ.get(PAUSE, "0.05")))
            end = min(begin + 200, frames)
            words = tuple(
                HeardWord(at / 100, (at + 40) / 100, " " + SPOKEN[at // 50 % len(SPOKEN)], 0.9)
                for at in range(begin, end - 40, 50)
            )
            _note(f"ended {_name(speech)} {begin}")
            yield HeardWindow(number, (words,) if words else (), end, end / 100)


class WatchedWhisper(transcribe.WhisperSpeech):
    """The real model, noting the beginning and end of each window."""

    def windows(
        self, speech: np.ndarray, *, language: str, beam_size: int, first_frame: int, last_word_end_s: float
    ) -> Iterable[HeardWindow]:
        frame = first_frame
        _note(f"begun {_name(speech)} {frame}")
        for window in super().windows(
            speech, language=language, beam_size=beam_size, first_frame=first_frame, last_word_end_s=last_word_end_s
        ):
            _note(f"ended {_name(speech)} {frame}")
            frame = window.next_frame
            yield window
            if frame * RATE_HZ // 100 < len(speech):
                _note(f"begun {_name(speech)} {frame}")


class RealTools(WorkerTools):
    """Tools with the packaged model, watched; each forked child loads it for itself."""

    @cached_property
    def model(self) -> transcribe.SpeechModel:
        return WatchedWhisper(transcribe.find_model(self.course.settings.model))


def _name(speech: np.ndarray) -> str:
    return f"{zlib.crc32(speech.tobytes()):08x}"


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


def new_course(folder: Path, files: Iterable[Path] = (), profile: str = "testing") -> Course:
    course = create_course(folder, CourseSettings(title="Reliability", profile=profile))
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
        entries = store.verdicts(with_undone=True)
        found["verdicts"] = [(one.id, one.verdict, one.who, one.undone) for one in entries]
        found["jobs"] = [
            (one.state, one.body.kind, one.body.name, one.body.lecture_id)
            for one in jobs(store) if one.body.kind != "refresh" or one.state != "finished"
        ]  # fmt: skip
    for folder in (course.notes, course.site, course.recordings, course.folder / ".incoming"):
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


def whole(tools: pipeline.Tools, course: Course, files: Iterable[Path]) -> None:
    """From the files to the site; what is done already is left alone."""
    tools.course = course
    with course.open_store() as store:
        for path in files:
            pipeline.add_file(course, store, path, tools.vocabulary)
        for lecture in store.lectures():
            pipeline.process(tools, store, lecture)
        pipeline.publish(course, store, tools.vocabulary)


def warm_up(tools: pipeline.Tools, scratch: Path) -> None:
    """Build every index a run needs, so that the forked children do not each build them again."""
    captions = scratch / "warm.vtt"
    captions.write_text(
        "WEBVTT\n\n00:00.000 --> 00:09.000\nThuja has warts. Sepia is chilly and mild.\n", encoding="utf-8"
    )
    whole(tools, new_course(scratch / "warm"), [captions])


def child(task: Callable[[], None]) -> int:
    """Fork a process that does the task; returns its id."""
    if (pid := os.fork()) == 0:
        code = 1
        try:
            task()
            code = 0
        finally:
            os._exit(code)
    return pid


class Windows:
    """How often windows were decoded, over many rounds, from the files that the models write."""

    def __init__(self) -> None:
        self.most_ended = self.most_begun = self.ended_again = 0

    def count(self, log: Path) -> None:
        lines = Counter(log.read_text().splitlines())
        ended = [count for line, count in lines.items() if line.startswith("ended")]
        begun = [count for line, count in lines.items() if line.startswith("begun")]
        self.most_ended, self.most_begun = max([self.most_ended, *ended]), max([self.most_begun, *begun])
        self.ended_again += sum(count - 1 for count in ended)

    def figures(self) -> dict[str, int]:
        return {
            "finished_windows_decoded_again": self.ended_again,
            "most_times_one_window_was_finished": self.most_ended,
            "most_times_one_window_was_begun": self.most_begun,
        }


def new_log(path: Path) -> Path:
    path.touch()
    os.environ[LOG] = str(path)
    return path


def kill_test(
    kills: int, files: list[Path], scratch: Path, tools: pipeline.Tools, seed: int, minutes: float
) -> dict[str, Any]:
    """Rounds of: a fresh course, killed at random moments until a run comes through; until there were enough kills."""
    chance = random.Random(seed)
    profile = tools.profile.name
    scratch.mkdir(exist_ok=True)
    calm = new_course(scratch / "calm", profile=profile)
    log = new_log(scratch / "calm.log")
    begun = time.monotonic()
    pid = child(lambda: whole(tools, calm, files))
    spent: Counter[str] = Counter()
    while (over := os.waitpid(pid, os.WNOHANG))[0] == 0:
        spent[stage_of(calm, len(files))] += 1
        time.sleep(0.01)
    calm_s = time.monotonic() - begun
    if over[1]:
        raise SystemExit("the undisturbed run failed")
    share = calm_s / spent.total()
    wanted = contents(calm)
    windows = len(set(log.read_text().splitlines())) // 2
    done = rounds = different = damaged = 0
    stages: Counter[str] = Counter()
    decoded = Windows()
    last = time.monotonic() + minutes * 60
    while done < kills and time.monotonic() < last:
        course = new_course(scratch / f"round{rounds}", profile=profile)
        log = new_log(scratch / f"round{rounds}.log")
        killed_here = 0
        while True:
            pid = child(lambda course=course: whole(tools, course, files))  # type: ignore[misc]
            # A stage by lot and a moment in it by lot, so that short stages are hit too; some runs get through.
            stage = chance.choice(STAGES)
            finished = (0, 0)
            while STAGES.index(stage_of(course, len(files))) < STAGES.index(stage):
                if (finished := os.waitpid(pid, os.WNOHANG))[0]:
                    break
                time.sleep(0.005)
            until = time.monotonic() + chance.uniform(0, max(0.1, spent[stage] * share) * 1.3)
            if finished[0]:
                until = 0.0
            while time.monotonic() < until and (finished := os.waitpid(pid, os.WNOHANG))[0] == 0:
                time.sleep(0.005)
            if finished[0] == 0:
                os.kill(pid, signal.SIGKILL)
                os.waitpid(pid, 0)
                done += 1
                killed_here += 1
                stages[stage_of(course, len(files))] += 1
                damaged += not sound_store(course)
                continue
            if finished[1]:
                raise SystemExit("a resumed run failed")
            break
        if unlike := differences(wanted, contents(course)):
            different += 1
            print(f"  round {rounds} ({killed_here} kills) differs: {', '.join(unlike[:8])}", flush=True)
        decoded.count(log)
        rounds += 1
    return {
        "kills": done, "rounds": rounds, "seed": seed, "profile": profile, "calm_run_s": round(calm_s, 2),
        "windows": windows, "killed_while": dict(stages), "stores_damaged": damaged, "results_different": different,
        **decoded.figures(),
    }  # fmt: skip


STAGES = ("adding files", "the first window", "transcribing", "corrections", "extraction", "notes", "the site")


def stage_of(course: Course, files: int) -> str:
    """What a run is at, told by what it has stored."""
    with course.open_store() as store:
        lectures = store.lectures()
        if len(lectures) < files:
            return "adding files"
        for lecture in lectures:
            if not store.transcripts(lecture.recording_sha256):
                return "transcribing" if store.window_settings(lecture.recording_sha256) else "the first window"
        for stage in ("corrections", "extraction", "notes"):
            if any(store.result_key(lecture.id, stage) is None for lecture in lectures):
                return stage
    return "the site"


def sound_store(course: Course) -> bool:
    with sqlite3.connect(course.store_path) as connection:
        return connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


class DeskServer:
    """The desk's server in a forked process, killed at random moments and started again when it is needed."""

    def __init__(self, course: Course, tools: pipeline.Tools, chance: random.Random | None, longest_s: float) -> None:
        from notesmith.cli.desk import _listen

        with _listen(0) as listener:
            self.port = int(listener.getsockname()[1])
        self.course, self.tools, self.chance, self.longest_s = course, tools, chance, longest_s
        self.pid = 0
        self.kills = 0
        self._killer: threading.Timer | None = None

    def alive(self) -> None:
        if self.pid and os.waitpid(self.pid, os.WNOHANG)[0] == 0:
            return
        self.pid = child(self._serve)
        if self.chance is not None:
            self._killer = threading.Timer(self.chance.uniform(0, self.longest_s), self._kill, (self.pid,))
            self._killer.start()
        import socket

        for _ in range(2000):
            try:
                socket.create_connection(("127.0.0.1", self.port), 5).close()
                return
            except OSError:
                time.sleep(0.005)

    def _kill(self, pid: int) -> None:
        os.kill(pid, signal.SIGKILL)
        self.kills += 1

    def stop(self) -> None:
        if self._killer is not None:
            self._killer.cancel()
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)

    def _serve(self) -> None:
        import uvicorn

        from notesmith.cli.desk import _listen
        from notesmith.desk.app import make_app
        from notesmith.desk.worker import Worker

        # Loaded before the fork; each start of the program would load them again.
        Course.load_vocabulary = lambda _course: self.tools.vocabulary  # type: ignore[method-assign]
        extract.load_nlp = lambda: self.tools.nlp
        transcribe.load_model = lambda wanted="packaged": WatchedWhisper(transcribe.find_model(wanted))
        # A person waits for what a decision causes before the next one, so that the order is the same every time.
        assert Worker.__init__.__kwdefaults__
        Worker.__init__.__kwdefaults__["quiet_s"] = 0
        application = make_app(self.course, port=self.port, keys=KEYS, who="Asha")
        uvicorn.Server(uvicorn.Config(application, log_level="error", access_log=False, ws="none")).run(
            sockets=[_listen(self.port)]
        )


def desk_test(kills: int, files: list[Path], scratch: Path, tools: pipeline.Tools, seed: int, minutes: float,
              longest_s: float) -> dict[str, Any]:  # fmt: skip
    """The desk's server killed while files are sent, words and names are settled and the site is published."""
    scratch.mkdir(exist_ok=True)
    calm = new_course(scratch / "calm")
    log = new_log(scratch / "calm.log")
    server = DeskServer(calm, tools, None, 0)
    begun = time.monotonic()
    DeskClient(calm, server.port, server.alive).everything(files)
    calm_s = time.monotonic() - begun
    server.stop()
    wanted = contents(calm)
    windows = len(set(log.read_text().splitlines())) // 2
    with calm.open_store() as store:
        assert [one.state for one in jobs(store) if one.body.kind != "refresh"] == ["finished"] * (len(files) + 1)
        rulings = len(store.verdicts())
        assert rulings
    done = rounds = different = damaged = 0
    decoded = Windows()
    chance = random.Random(seed)
    last = time.monotonic() + minutes * 60
    while done < kills and time.monotonic() < last:
        course = new_course(scratch / f"round{rounds}")
        log = new_log(scratch / f"round{rounds}.log")
        server = DeskServer(course, tools, chance, longest_s)
        DeskClient(course, server.port, server.alive).everything(files)
        server.stop()
        done += server.kills
        damaged += not sound_store(course)
        if unlike := differences(wanted, contents(course)):
            different += 1
            print(f"  round {rounds} ({server.kills} kills) differs: {', '.join(unlike[:8])}", flush=True)
        decoded.count(log)
        rounds += 1
    return {
        "kills": done, "rounds": rounds, "seed": seed, "calm_run_s": round(calm_s, 2), "windows": windows,
        "files_sent": len(files), "rulings": rulings, "stores_damaged": damaged, "results_different": different,
        **decoded.figures(),
    }  # fmt: skip


def cluster_test(
    sounds: list[Path], scratch: Path, workers: int, lose_one: bool, tools: pipeline.Tools, pause_s: float = 0.15
) -> dict[str, Any]:
    """A backlog on a Dask cluster of worker processes on loopback, one of them killed while it works."""
    from distributed import LocalCluster

    course = create_course(scratch / f"cluster{workers}{lose_one}", CourseSettings(title="x", profile="testing"))
    log = scratch / f"cluster{workers}{lose_one}.log"
    log.touch()
    os.environ |= {LOG: str(log), PAUSE: str(pause_s), "PYTHONPATH": os.pathsep.join(
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
    parser.add_argument("--kills", type=int, default=200, help="kills of the pipeline with the stand-in model")
    parser.add_argument("--real", type=int, default=0, help="kills of the pipeline with the real speech model")
    parser.add_argument("--desk", type=int, default=0, help="kills of the desk's server, with the real model")
    parser.add_argument("--profile", default="testing", help="how carefully the real model listens")
    parser.add_argument("--minutes", type=float, default=60, help="stop the kills after this time, report how many")
    parser.add_argument("--seed", type=int, default=8)
    parser.add_argument("--seconds", type=int, default=30, help="length of the recording")
    parser.add_argument(
        "--longest",
        type=float,
        default=6.0,
        help="the longest life of the desk's server in seconds; it must suffice for a window",
    )
    parser.add_argument("--keep", type=Path, help="add the figures to this file, and print its sums")
    parser.add_argument("--pause", type=float, default=0.15, help="seconds the stand-in sleeps for each window")
    parser.add_argument("--no-cluster", action="store_true")
    given = parser.parse_args(arguments)
    figures: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as folder:
        scratch = Path(folder)
        recording = sorted(SAMPLES.glob("*.opus"))[0]
        files = [scratch / "2026-03-02 Thuja.wav", scratch / "2026-03-03 A talk.vtt"]
        write_wav(files[0], clip(recording, TimeSpan(0, given.seconds * 1000)))
        files[1].write_text(TALK, encoding="utf-8")
        tools = WorkerTools(create_course(scratch / "tools", CourseSettings(title="x", profile="testing")))
        tools.make_model = steady_speech
        warm_up(tools, scratch)
        real = RealTools(tools.course, profile_named(given.profile))
        real.__dict__ |= {"vocabulary": tools.vocabulary, "nlp": tools.nlp}
        if given.kills:
            figures["kills"] = kill_test(given.kills, files, scratch / "kills", tools, given.seed, given.minutes)
            show("kills, stand-in model", figures["kills"])
        if given.real:
            figures["kills_real_model"] = kill_test(
                given.real, files, scratch / "real", real, given.seed, given.minutes
            )
            show("kills, real model", figures["kills_real_model"])
        if given.desk:
            figures["kills_desk"] = desk_test(
                given.desk, files, scratch / "desk", real, given.seed, given.minutes, given.longest
            )
            show("kills, desk", figures["kills_desk"])
        if not given.no_cluster:
            sounds = []
            for number in range(6):
                sounds.append(scratch / f"2026-04-0{number + 1} Silica.wav")
                write_wav(sounds[-1], clip(recording, TimeSpan(number * 30_000, number * 30_000 + 28_000)))
            for workers, lose in ((1, False), (2, False), (2, True)):
                name = f"cluster_{workers}{'_one_killed' if lose else ''}"
                figures[name] = cluster_test(sounds, scratch, workers, lose, tools, given.pause)
                show(name, figures[name])
    if given.keep is not None:
        figures["all_pieces"] = sums_of(given.keep, figures)
    return figures


SUMMED = ("kills", "rounds", "stores_damaged", "results_different", "finished_windows_decoded_again")


def sums_of(kept: Path, figures: dict[str, Any]) -> dict[str, Any]:
    """Add this piece of a long measurement to the file; the sums of all pieces in it, by kind."""
    with kept.open("a", encoding="utf-8") as file:
        file.write(json.dumps({name: value for name, value in figures.items() if name.startswith("kills")}) + "\n")
    sums: dict[str, Any] = {}
    for line in kept.read_text(encoding="utf-8").splitlines():
        for kind, found in json.loads(line).items():
            held = sums.setdefault(kind, {"pieces": 0, **dict.fromkeys(SUMMED, 0), "killed_while": {}})
            held["pieces"] += 1
            for name in SUMMED:
                held[name] += found[name]
            for name in ("most_times_one_window_was_finished", "most_times_one_window_was_begun"):
                held[name] = max(held.get(name, 0), found[name])
            held["killed_while"] = dict(Counter(held["killed_while"]) + Counter(found.get("killed_while", {})))
    for kind, held in sums.items():
        show(f"all pieces, {kind}", held)
    return sums


def show(title: str, figures: dict[str, Any]) -> None:
    print(f"\n{title}")
    for name, value in figures.items():
        print(f"  {name.replace('_', ' '):58} {value}")


if __name__ == "__main__":
    import sys

    run(sys.argv[1:])
