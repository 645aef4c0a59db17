"""Kill a process with SIGKILL at a moment drawn by lot within a chosen stage of its work.

The process tells over a pipe where a stage begins and ends; the killer aims at a stage, waits for it to begin, and
strikes after a share of the time the stage takes undisturbed. Moments chosen by the clock alone fall where the most
time goes; chosen so, every stage gets its kills, however short it is.
"""

from __future__ import annotations

import contextlib
import functools
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
LONGER = 1.1  # moments may fall a little after a stage's usual end, where its result is being stored


class Aim(msgspec.Struct, frozen=True):
    """The ``occurrence``-th time (from 1) a run enters ``stage``, and then ``delay_s``."""

    stage: str
    occurrence: int
    delay_s: float


class Stages:
    """What a watched process is at. ``process`` is its id; one at a time is watched."""

    def __init__(self) -> None:
        self._read, self._write = os.pipe()
        self.process = 0
        self.killed_at: str | None = None
        self.seen: list[str] = []
        self.durations: dict[str, list[float]] = {}
        self._open: list[tuple[str, float]] = []
        self._counts: Counter[str] = Counter()
        self._aim: Aim | None = None
        self._lock = threading.RLock()
        self._timer: threading.Timer | None = None
        self.on_enter: Callable[[str], None] = lambda _name: None
        threading.Thread(target=self._listen, daemon=True).start()

    # ------------------------------------------------------------ in the process that works

    @contextlib.contextmanager
    def at(self, name: str) -> Iterator[None]:
        os.write(self._write, f"+{name}\n".encode())
        try:
            yield
        finally:
            os.write(self._write, f"-{name}\n".encode())

    def watch(self, owner: Any, attribute: str, name: str) -> None:
        """Have a function or method tell that it begins and ends. Only in a forked child: it is not taken back."""
        function = getattr(owner, attribute)

        @functools.wraps(function)
        def told(*args: Any, **kwargs: Any) -> Any:
            with self.at(name):
                return function(*args, **kwargs)

        setattr(owner, attribute, told)

    # ------------------------------------------------------------ in the process that watches

    def _listen(self) -> None:
        pending = b""
        while data := os.read(self._read, 1 << 16):
            *lines, pending = (pending + data).split(b"\n")
            for line in lines:
                self._told(line[:1] == b"+", line[1:].decode())

    def _told(self, begins: bool, name: str) -> None:
        now = time.monotonic()
        with self._lock:
            if not begins:
                at = next((n for n in reversed(range(len(self._open))) if self._open[n][0] == name), None)
                if at is not None:
                    self.durations.setdefault(name, []).append(now - self._open.pop(at)[1])
                return
            self._open.append((name, now))
            if name not in self.seen:
                self.seen.append(name)
            self._counts[name] += 1
            if self._aim is not None and (name, self._counts[name]) == (self._aim.stage, self._aim.occurrence):
                self._arm(self._aim.delay_s)
        self.on_enter(name)

    def _arm(self, delay_s: float) -> None:
        self._aim = None
        self._timer = threading.Timer(delay_s, self._strike, (self.process,))
        self._timer.start()

    def aim_anew(self, aim: Aim) -> None:
        """Aim at the next time a stage is entered, or at once where it is under way, unless a strike is due."""
        with self._lock:
            if self._timer is not None or not self.process:
                return
            self._aim = Aim(aim.stage, self._counts[aim.stage] + 1, aim.delay_s)
            if any(name == aim.stage for name, _ in self._open):
                self._arm(aim.delay_s)

    def _strike(self, process: int) -> None:
        with self._lock:
            if process == self.process:
                self.killed_at = self._open[-1][0] if self._open else "between stages"
                os.kill(process, signal.SIGKILL)

    def new_run(self, process: int, aim: Aim | None, keep: Sequence[str] = ()) -> None:
        """Watch a process from now on. ``keep`` names stages of somebody else that go on over its start."""
        with self._lock:
            self.over()
            self.process, self._aim, self.killed_at = process, aim, None
            self._counts.clear()
            self._open = [one for one in self._open if one[0] in keep]

    def over(self) -> None:
        """The watched process has ended and is not to be struck at any more."""
        with self._lock:
            if self._timer is not None:
                self._timer.cancel()
            self.process, self._aim, self._timer = 0, None, None

    def aim_at(self, stage: str, chance: random.Random, occurrences: int) -> Aim:
        """A moment in a stage by lot; mostly the first time the stage is entered, which a resumed run does reach.

        The stage's time is one of the last it took, since a machine is not equally busy all the time.
        """
        with self._lock:
            lately = self.durations.get(stage, [0.0])[-LATELY:]
        occurrence = 1 if chance.random() < 0.75 else chance.randint(1, max(1, occurrences))
        return Aim(stage, occurrence, chance.uniform(0, chance.choice(lately) * LONGER))


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
        (pipeline.search, "index_lecture", "search index"),
        (pipeline, "_write_notes", "notes"),
        (pipeline.site, "build", "site"),
        (building._Build, "_audio", "site: web sound"),
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
