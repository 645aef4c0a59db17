"""Kill the pipeline and the desk with SIGKILL in every stage of their work, and compare with a calm run byte for byte.

    python benchmarks/run.py reliability --kills 60                    pipeline, stand-in model
    python benchmarks/run.py reliability --kills 0 --real 60           pipeline, packaged Whisper base
    python benchmarks/run.py reliability --kills 0 --desk 60           the desk's server: uploads, rulings, publication
    python benchmarks/run.py reliability --kills 0 --desk-stand-in 60  the same, stand-in model

The stage is chosen so that all get their share, the moment in it by lot (lab/killing.py). Long measurements are done
in pieces with ``--minutes``, another ``--seed`` each and ``--keep FILE``: every piece is written there as one line of
JSON, the next piece aims where the fewest kills fell, and the sums over all pieces are printed.

The stand-in says a fixed word for each half second, so that hundreds of runs are affordable. Everything else is the
real thing. Children are forked after vocabulary and language model are loaded, to save their start. After every kill
the next run may begin one window anew that was begun before, the one in flight; more stops the measurement.

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
import time
import zlib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property
from pathlib import Path
from typing import Any

import av
import numpy as np
from lab.desk_client import DOING, KEYS, DeskClient
from lab.killing import Aim, Stages, WindowLog, child, plan, watch_pipeline

from notesmith import extract, pipeline, transcribe
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
DESCRIPTION = "kills in every stage of the pipeline and the desk, beside undisturbed runs"
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

    stages: Stages | None = None

    @cached_property
    def model(self) -> transcribe.SpeechModel:
        assert self.stages is not None
        with self.stages.at("loading the model"):
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
    """From the files to the site, published after each lecture; what is done already is left alone."""
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


def kill_test(
    kills: int, files: list[Path], scratch: Path, tools: WorkerTools, seed: int, minutes: float, tally: Counter[str]
) -> dict[str, Any]:
    """Rounds of: a fresh course, killed once or twice in each stage, then brought to its end and compared."""
    chance = random.Random(seed)
    profile = tools.profile.name
    scratch.mkdir(exist_ok=True)
    stages = Stages()
    if isinstance(tools, RealTools):
        tools.stages = stages

    def work(course: Course) -> None:
        watch_pipeline(stages)
        whole(tools, course, files)

    def start(course: Course) -> int:
        return child(lambda: work(course))

    calm = new_course(scratch / "calm", profile=profile)
    log = WindowLog(new_log(scratch / "calm.log"))
    begun = time.monotonic()
    if os.waitpid(start(calm), 0)[1]:
        raise SystemExit("the undisturbed run failed")
    calm_s = time.monotonic() - begun
    log.run_over()
    time.sleep(0.1)  # the last words of the run are still in the pipe
    usual, order = {name: len(times) for name, times in stages.durations.items()}, list(stages.seen)
    wanted = contents(calm)
    figures = Tally(log.decoded)
    last = time.monotonic() + minutes * 60
    while figures.kills < kills and time.monotonic() < last:
        course = new_course(scratch / f"round{figures.rounds}", profile=profile)
        log = WindowLog(new_log(scratch / f"round{figures.rounds}.log"))
        aims: list[str | None] = [*plan(order, tally), None]
        before = figures.kills
        for aim in aims:
            stages.before_run(None if aim is None else stages.aim_at(aim, chance, usual.get(aim, 1)))
            stages.process = start(course)
            status = os.waitpid(stages.process, 0)[1]
            stages.over()
            figures.window_check(log)
            if not os.WIFSIGNALED(status):
                if status:
                    raise SystemExit("a resumed run failed")
                break
            figures.kill(stages.killed_at, tally)
            figures.stores_damaged += not sound_store(course)
        figures.compare(wanted, course, figures.kills - before)
        figures.windows_over(log)
    return {**figures.figures(), "seed": seed, "profile": profile, "calm_run_s": round(calm_s, 2)}


def new_log(path: Path) -> Path:
    """Have the models write into this file from now on."""
    os.environ[LOG] = str(path)
    return path


class Tally:
    """What was found over the rounds of one measurement. ``windows`` is how many an undisturbed run decodes."""

    def __init__(self, windows: int) -> None:
        self.windows = windows
        self.kills = self.rounds = self.stores_damaged = self.different = 0
        self.ended_again = self.most_again = 0
        self.killed_while: Counter[str] = Counter()

    def kill(self, stage: str | None, tally: Counter[str]) -> None:
        self.kills += 1
        self.killed_while[stage or "between stages"] += 1
        tally[stage or "between stages"] += 1

    def window_check(self, log: WindowLog) -> None:
        """Nothing but the window in flight may be decoded again after a kill."""
        if (again := log.run_over()) > 1:
            raise SystemExit(f"{again} windows were decoded again after one kill, see {log.path}")

    def compare(self, wanted: dict[str, str], course: Course, kills: int) -> None:
        if unlike := differences(wanted, contents(course)):
            self.different += 1
            print(f"  round {self.rounds} ({kills} kills) differs: {', '.join(unlike[:8])}", flush=True)
        self.rounds += 1

    def windows_over(self, log: WindowLog) -> None:
        self.most_again = max(self.most_again, log.most_again)
        self.ended_again += log.ended_again

    def figures(self) -> dict[str, Any]:
        return {
            "kills": self.kills, "rounds": self.rounds, "windows": self.windows,
            "killed_while": dict(sorted(self.killed_while.items(), key=lambda item: -item[1])),
            "stores_damaged": self.stores_damaged, "results_different": self.different,
            "finished_windows_decoded_again": self.ended_again, "most_windows_decoded_again_after_a_kill": self.most_again,
        }  # fmt: skip


def sound_store(course: Course) -> bool:
    with sqlite3.connect(course.store_path) as connection:
        return connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


class DeskServer:
    """The desk's server in a forked process, killed where it is aimed at and started again when it is needed."""

    def __init__(
        self, course: Course, tools: pipeline.Tools, stages: Stages, chance: random.Random | None,
        aims: dict[str, list[str]], usual: dict[str, int], killed: Callable[[], None],
    ) -> None:  # fmt: skip
        from notesmith.cli.desk import _listen

        with _listen(0) as listener:
            self.port = int(listener.getsockname()[1])
        self.course, self.tools, self.stages, self.chance = course, tools, stages, chance
        self.aims, self.usual, self.killed = aims, usual, killed
        self.real = isinstance(tools, RealTools)
        self.pid = 0
        self.due: list[str] = []
        stages.on_enter = self._entered

    def _entered(self, name: str) -> None:
        """The person has come to something: what was to be hit before it will not come again."""
        self.due = list(self.aims.get(name, ()))
        if self.pid and (aim := self._next_aim()) is not None:
            self.stages.aim_anew(aim)

    def _next_aim(self) -> Aim | None:
        if self.chance is None or not self.due:
            return None
        name = self.due.pop(0)
        return self.stages.aim_at(name, self.chance, self.usual.get(name, 1))

    def alive(self) -> None:
        if self.pid:
            gone, status = os.waitpid(self.pid, os.WNOHANG)
            if not gone:
                return
            if not os.WIFSIGNALED(status) or self.stages.killed_at is None:
                raise SystemExit(f"the desk ended by itself (status {status})")
            self.stages.over()
            self.killed()
        aim = self._next_aim()
        self.stages.before_run(aim, DOING)
        self.stages.process = self.pid = child(self._serve)
        if aim is not None and aim.stage in DOING:
            self.stages.aim_anew(aim)
        import socket

        for _ in range(2000):
            try:
                socket.create_connection(("127.0.0.1", self.port), 5).close()
                return
            except OSError:
                time.sleep(0.005)

    def stop(self) -> None:
        self.stages.over()
        if self.stages.killed_at is not None:
            self.killed()
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)

    def _serve(self) -> None:
        import uvicorn

        from notesmith.cli.desk import _listen
        from notesmith.desk.app import make_app
        from notesmith.desk.worker import Worker

        watch_pipeline(self.stages)
        # Loaded before the fork; each start of the program would load them again.
        Course.load_vocabulary = lambda _course: self.tools.vocabulary  # type: ignore[method-assign]
        extract.load_nlp = lambda: self.tools.nlp

        def load_model(wanted: str = "packaged") -> transcribe.SpeechModel:
            with self.stages.at("loading the model"):
                return WatchedWhisper(transcribe.find_model(wanted)) if self.real else steady_speech()

        transcribe.load_model = load_model
        # A person waits for what a decision causes before the next one, so that the order is the same every time.
        assert Worker.__init__.__kwdefaults__
        Worker.__init__.__kwdefaults__["quiet_s"] = 0
        application = make_app(self.course, port=self.port, keys=KEYS, who="Asha")
        uvicorn.Server(uvicorn.Config(application, log_level="error", access_log=False, ws="none")).run(
            sockets=[_listen(self.port)]
        )


def desk_plan(order: Sequence[str], tally: Mapping[str, int]) -> dict[str, list[str]]:
    """What to hit while the person is about something, the stage with the fewest kills first.

    A killed publication goes through its stages again, but leaves out what is done: were it hit anywhere first, the
    notes would be written, and never be under way again.
    """
    found: dict[str, list[str]] = {}
    doing = ""
    for stage in order:
        doing = stage if stage in DOING else doing
        found.setdefault(doing, []).append(stage)
    return {
        doing: sorted(plan(stages, tally), key=lambda stage: (tally.get(stage, 0), stage == doing))
        for doing, stages in found.items()
    }


def desk_test(
    kills: int, files: list[Path], scratch: Path, tools: pipeline.Tools, seed: int, minutes: float, tally: Counter[str]
) -> dict[str, Any]:
    """The desk's server killed while files are sent, words and names are settled and the site is published."""
    scratch.mkdir(exist_ok=True)
    stages = Stages()
    profile = tools.profile.name
    calm = new_course(scratch / "calm", profile=profile)
    log = WindowLog(new_log(scratch / "calm.log"))
    server = DeskServer(calm, tools, stages, None, {}, {}, lambda: None)
    begun = time.monotonic()
    DeskClient(calm, server.port, server.alive).everything(files, stages.at)
    calm_s = time.monotonic() - begun
    server.stop()
    log.run_over()
    time.sleep(0.1)
    usual, order = {name: len(times) for name, times in stages.durations.items()}, list(stages.seen)
    wanted = contents(calm)
    with calm.open_store() as store:
        assert [one.state for one in jobs(store) if one.body.kind != "refresh"] == ["finished"] * (len(files) + 1)
        rulings = len(store.verdicts())
        assert rulings
    figures = Tally(log.decoded)
    chance = random.Random(seed)
    last = time.monotonic() + minutes * 60
    while figures.kills < kills and time.monotonic() < last:
        course = new_course(scratch / f"round{figures.rounds}", profile=profile)
        log = WindowLog(new_log(scratch / f"round{figures.rounds}.log"))
        before = figures.kills

        def killed(log: WindowLog = log) -> None:
            figures.kill(stages.killed_at, tally)
            figures.window_check(log)

        server = DeskServer(course, tools, stages, chance, desk_plan(order, tally), usual, killed)
        DeskClient(course, server.port, server.alive).everything(files, stages.at)
        server.stop()
        figures.window_check(log)
        figures.stores_damaged += not sound_store(course)
        figures.compare(wanted, course, figures.kills - before)
        figures.windows_over(log)
    return {
        **figures.figures(), "seed": seed, "profile": profile, "calm_run_s": round(calm_s, 2),
        "files_sent": len(files), "rulings": rulings,
    }  # fmt: skip


def run(arguments: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog=NAME)
    parser.add_argument("--kills", type=int, default=60, help="kills of the pipeline with the stand-in model")
    parser.add_argument("--real", type=int, default=0, help="kills of the pipeline with the real speech model")
    parser.add_argument("--desk", type=int, default=0, help="kills of the desk's server, with the real model")
    parser.add_argument("--desk-stand-in", type=int, default=0, help="the same with the stand-in model")
    parser.add_argument("--profile", default="accurate", help="how carefully the real model listens")
    parser.add_argument("--minutes", type=float, default=60, help="stop the kills after this time, report how many")
    parser.add_argument("--seed", type=int, default=8)
    parser.add_argument("--seconds", type=int, default=70, help="length of the recording; half a minute is a window")
    parser.add_argument("--keep", type=Path, help="add the figures to this file, and print its sums")
    given = parser.parse_args(arguments)
    figures: dict[str, Any] = {}
    before = sums_of(given.keep)
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
        for name, count, test, hands in (
            ("kills", given.kills, kill_test, tools), ("kills_real_model", given.real, kill_test, real),
            ("kills_desk", given.desk, desk_test, real), ("kills_desk_stand_in", given.desk_stand_in, desk_test, tools),
        ):  # fmt: skip
            if count:
                tally = Counter(before.get(name, {}).get("killed_while", {}))
                figures[name] = test(count, files, scratch / name, hands, given.seed, given.minutes, tally)
                show(name.replace("_", " "), figures[name])
    if given.keep is not None:
        given.keep.parent.mkdir(parents=True, exist_ok=True)
        with given.keep.open("a", encoding="utf-8") as file:
            file.write(json.dumps(figures) + "\n")
        figures["all_pieces"] = sums_of(given.keep)
        for name, held in figures["all_pieces"].items():
            show(f"all pieces, {name.replace('_', ' ')}", held)
    return figures


SUMMED = ("kills", "rounds", "stores_damaged", "results_different", "finished_windows_decoded_again")
MOST = "most_windows_decoded_again_after_a_kill"


def sums_of(kept: Path | None) -> dict[str, Any]:
    """The sums over all pieces of a measurement, by kind."""
    sums: dict[str, Any] = {}
    if kept is None or not kept.is_file():
        return sums
    for line in kept.read_text(encoding="utf-8").splitlines():
        for kind, found in json.loads(line).items():
            held = sums.setdefault(kind, {"pieces": 0, **dict.fromkeys(SUMMED, 0), MOST: 0, "killed_while": {}})
            held["pieces"] += 1
            for name in SUMMED:
                held[name] += found[name]
            held[MOST] = max(held[MOST], found[MOST])
            held["killed_while"] = dict((Counter(held["killed_while"]) + Counter(found["killed_while"])).most_common())
    for held in sums.values():
        held["fewest_kills_in_a_stage"] = min(held["killed_while"].values(), default=0)
    return sums


def show(title: str, figures: dict[str, Any]) -> None:
    print(f"\n{title}")
    for name, value in figures.items():
        if isinstance(value, dict):
            print(f"  {name.replace('_', ' ')}")
            for stage, count in value.items():
                print(f"    {stage:56} {count}")
        else:
            print(f"  {name.replace('_', ' '):58} {value}")


if __name__ == "__main__":
    import sys

    run(sys.argv[1:])
