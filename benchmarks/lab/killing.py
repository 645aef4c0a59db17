"""Kill a process with SIGKILL at a moment drawn by lot within a chosen stage of its work.

The process tells over a pipe where a stage begins and ends; one is aimed at, and the blow falls after a share of the
time the stage takes undisturbed. Moments chosen by the clock alone fall where the most time goes; chosen so, every
stage gets its kills, however short it is. A stage of milliseconds is over before another process notices that it has
begun, so the process that enters it sets the kernel's own timer, whose signal ends it as SIGKILL does: no handler runs.
"""

from __future__ import annotations

import contextlib
import functools
import mmap
import os
import random
import signal
import sys
import threading
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

LATELY = 4
SHORT_S = 0.5
LONGER = 1.1  # moments may fall a little after a stage's usual end, where its result is being stored


class Aim(msgspec.Struct, frozen=True):
    """The ``occurrence``-th time (from 1) ``stage`` is entered from now on, and then ``delay_s``."""

    stage: str
    occurrence: int
    delay_s: float
    number: int = 0  # tells one aim from the one before


class Stages:
    """What a watched process is at. ``process`` is its id; one at a time is watched.

    Made in the process that watches; the watched ones are forked from it.
    """

    def __init__(self) -> None:
        self._read, self._write = os.pipe()
        self._watcher = os.getpid()
        self._shared = mmap.mmap(-1, 256)  # the aim, seen by the forked ones; its length in the first byte
        self._aims = 0
        self._entered: Counter[int] = Counter()  # how often this process entered the stage of an aim, by its number
        self.process = 0
        self.seen: list[str] = []
        self.durations: dict[str, list[float]] = {}
        self._open: list[tuple[str, float]] = []
        self._struck_at_s: float | None = None
        self._caught_up = threading.Event()
        self._lock = threading.RLock()
        self._timer: threading.Timer | None = None
        self.on_enter: Callable[[str], None] = lambda _name: None  # called where this process enters a stage
        threading.Thread(target=self._listen, daemon=True).start()

    # ------------------------------------------------------------ in the process that works

    @contextlib.contextmanager
    def at(self, name: str) -> Iterator[None]:
        self._tell("+", name)
        if os.getpid() == self._watcher:
            self._catch_up()
            self.on_enter(name)
        self._strike_if_aimed_at(name)
        try:
            yield
        finally:
            self._tell("-", name)

    def _tell(self, what: str, name: str, at_s: float | None = None) -> None:
        os.write(self._write, f"{what}{time.monotonic() if at_s is None else at_s} {name}\n".encode())

    def _strike_if_aimed_at(self, name: str) -> None:
        aim = self._aim
        if aim is None or aim.stage != name:
            return
        self._entered[aim.number] += 1
        if self._entered[aim.number] != aim.occurrence:
            return
        if os.getpid() == self._watcher:
            self._arm(aim.delay_s)
        else:
            self._tell("!", name, time.monotonic() + aim.delay_s)
            signal.setitimer(signal.ITIMER_REAL, max(aim.delay_s, 1e-6))  # SIGALRM, left at its default: death

    def watch(self, owner: Any, attribute: str, name: str) -> None:
        """Have a function or method tell that it begins and ends. Only in a forked child: it is not taken back."""
        function = getattr(owner, attribute)

        @functools.wraps(function)
        def told(*args: Any, **kwargs: Any) -> Any:
            with self.at(name):
                return function(*args, **kwargs)

        setattr(owner, attribute, told)

    @property
    def _aim(self) -> Aim | None:
        if not self._shared[0]:
            return None
        return msgspec.json.decode(self._shared[1 : 1 + self._shared[0]], type=Aim)

    @_aim.setter
    def _aim(self, aim: Aim | None) -> None:
        self._aims += 1
        text = b"" if aim is None else msgspec.json.encode(msgspec.structs.replace(aim, number=self._aims))
        self._shared[0] = 0
        self._shared[1 : 1 + len(text)] = text
        self._shared[0] = len(text)

    # ------------------------------------------------------------ in the process that watches

    def _listen(self) -> None:
        pending = b""
        while data := os.read(self._read, 1 << 16):
            *lines, pending = (pending + data).split(b"\n")
            for line in lines:
                if line == b"?":
                    self._caught_up.set()
                else:
                    at_s, _, name = line[1:].decode().partition(" ")
                    self._told(line[:1], float(at_s), name)

    def _told(self, what: bytes, at_s: float, name: str) -> None:
        with self._lock:
            if what == b"!":
                self._struck_at_s = at_s
                return
            if what == b"-":
                at = next((n for n in reversed(range(len(self._open))) if self._open[n][0] == name), None)
                if at is not None:
                    self.durations.setdefault(name, []).append(at_s - self._open.pop(at)[1])
                return
            self._open.append((name, at_s))
            if name not in self.seen:
                self.seen.append(name)

    def _catch_up(self) -> None:
        """Read to the end what the watched process told."""
        self._caught_up.clear()
        os.write(self._write, b"?\n")
        self._caught_up.wait()

    @property
    def killed_at(self) -> str | None:
        """The innermost stage the watched process had entered when it was struck; None where it was not struck."""
        self._catch_up()
        with self._lock:
            if self._struck_at_s is None or time.monotonic() < self._struck_at_s:
                return None
            return self._open[-1][0] if self._open else "between stages"

    def _arm(self, delay_s: float) -> None:
        with self._lock:
            self._aim = None
            if self._timer is None and self.process:
                self._timer = threading.Timer(delay_s, self._strike, (self.process,))
                self._timer.start()

    def aim_anew(self, aim: Aim) -> None:
        """Aim at something else while the watched process runs, unless a strike is due.

        A stage of this process that it is in already is struck after the delay from now on.
        """
        with self._lock:
            if self._timer is not None or self._struck_at_s is not None or not self.process:
                return
            self._aim = aim
            if any(name == aim.stage for name, _ in self._open):
                self._arm(aim.delay_s)

    def _strike(self, process: int) -> None:
        with self._lock:
            if process == self.process:
                self._struck_at_s = time.monotonic()
                os.kill(process, signal.SIGKILL)

    def before_run(self, aim: Aim | None, keep: Sequence[str] = ()) -> None:
        """Call before a process is forked, whose id is then told as ``process``.

        ``keep`` names stages of this process that go on over the other's start.
        """
        self.over()
        with self._lock:
            self._aim, self._struck_at_s = aim, None
            self._open = [one for one in self._open if one[0] in keep]

    def over(self) -> None:
        """The watched process has ended and is not to be struck at any more."""
        self._catch_up()
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            self._aim = None
            self.process, self._timer = 0, None

    def aim_at(self, stage: str, chance: random.Random, occurrences: int) -> Aim:
        """A moment in a stage by lot; mostly the first time the stage is entered, which a resumed run does reach.

        The stage's time is one of the last it took, since a machine is not equally busy all the time; of a short one the
        shortest, so that it is not over before.
        """
        with self._lock:
            lately = self.durations.get(stage, [0.0])[-LATELY:]
        occurrence = 1 if chance.random() < 0.75 else chance.randint(1, max(1, occurrences))
        usual_s = min(lately) if min(lately) < SHORT_S else chance.choice(lately)
        return Aim(stage, occurrence, chance.uniform(0, usual_s * LONGER))


def watch_pipeline(stages: Stages) -> None:
    """Have every stage of the pipeline tell; in a forked child, before it works."""
    from notesmith import pipeline, transcribe

    building = sys.modules["notesmith.site.build"]
    for owner, attribute, name in (
        (pipeline, "add_file", "taking files in"),
        (pipeline.transcribe, "transcribe", "transcribing"),
        (pipeline.correct, "correct", "corrections"),
        (transcribe.AudioWitness, "score", "corrections: the sound asked again"),
        (pipeline.extract, "extract", "extraction"),
        (pipeline.search, "index_prepared", "search index"),
        (pipeline, "_write_notes", "notes"),
        (pipeline.site, "build", "site"),
        (building._Build, "_audio", "site: web sound"),
        (building._Build, "_take_in", "site: what a lecture gives"),
        (building._Build, "_pages", "site: pages"),
        (building._Build, "_search_files", "site: search files"),
    ):  # fmt: skip
        stages.watch(owner, attribute, name)


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


def plan(order: Sequence[str], tally: Mapping[str, int]) -> list[str]:
    """The stages of one round in the order of the work; those with the fewest kills so far come twice."""
    middle = sorted(tally.get(stage, 0) for stage in order)[len(order) // 2]
    return [stage for stage in order for _ in range(2 if tally.get(stage, 0) < middle else 1)]


class WindowLog:
    """Which windows were decoded in each run of a round, from the file that the models write."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.path.touch()
        self._read = 0
        self._begun: set[str] = set()
        self._ended: set[str] = set()
        self.most_again = 0
        self.ended_again = 0
        self.decoded = 0

    def run_over(self) -> int:
        """Call after each run; returns how many windows it began that an earlier run of the round had begun."""
        lines = self.path.read_text(encoding="utf-8").splitlines()[self._read :]
        self._read += len(lines)
        begun = {line for line in lines if line.startswith("begun")}
        ended = [line for line in lines if line.startswith("ended")]
        again = len(begun & self._begun)
        self.ended_again += len(ended) - len(set(ended) - self._ended)
        self.decoded += len(ended)
        self._begun |= begun
        self._ended |= set(ended)
        self.most_again = max(self.most_again, again)
        return again
