"""Grow a course by generated sessions of 30 minutes (imported text): time of the next one, store, site, memory.

    python benchmarks/run.py scale --sessions 1000 --folder KEPT       goes on where an earlier run stopped

Each session goes the whole way: import, correction, extraction, notes, search and site. The talk is made up from the
vocabulary's own terms by a seeded lottery; it measures time and size, never quality.
"""

from __future__ import annotations

import argparse
import random
import resource
import tempfile
import time
from pathlib import Path
from typing import Any

from notesmith import pipeline
from notesmith.course import create_course, open_course
from notesmith.lecture import CourseSettings
from notesmith.vocabulary import Vocabulary

DESCRIPTION = "growth over generated sessions of 30 minutes: time of the next session, store, site, memory"
WORDS_A_MINUTE = 130
MARKS = (1, 10, 100, 1000)
FRAMES = (
    "{remedy} is chilly and worse from cold air.", "In {remedy} the {idea} comes in the morning.",
    "A patient had warts and I gave {remedy} once, and the {idea} went.", "Compare {remedy} with {other} here.",
    "So let us look at that again, slowly.", "What did we say about {remedy} last time?",
)  # fmt: skip


def talk(number: int, vocabulary: Vocabulary, minutes: int) -> str:
    """A session as WebVTT, about ten words a cue."""
    chance = random.Random(number)
    labels: dict[str, list[str]] = {}
    for concept in vocabulary.concepts.values():
        labels.setdefault(concept.scheme, []).append(concept.pref_label)
    remedies = chance.sample(sorted(labels["remedy"]), 6)
    ideas = chance.sample(sorted(labels["idea"]), 30)
    lines, at_s, words = ["WEBVTT", ""], 0.0, 0
    while words < minutes * WORDS_A_MINUTE:
        line = chance.choice(FRAMES).format(
            remedy=chance.choice(remedies), other=chance.choice(remedies), idea=chance.choice(ideas)
        )
        count = len(line.split())
        end_s = at_s + count * 60 / WORDS_A_MINUTE
        lines += [f"{_stamp(at_s)} --> {_stamp(end_s)}", line, ""]
        at_s, words = end_s, words + count
    return "\n".join(lines)


def _stamp(seconds: float) -> str:
    ms = round(seconds * 1000)
    return f"{ms // 3_600_000:02}:{ms // 60_000 % 60:02}:{ms // 1000 % 60:02}.{ms % 1000:03}"


def run(arguments: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="scale")
    parser.add_argument("--sessions", type=int, default=10)
    parser.add_argument("--minutes", type=int, default=30, help="length of a session")
    parser.add_argument("--folder", type=Path, help="keep the course here, and go on from it")
    parser.add_argument("--stop-after", type=float, default=1e9, help="seconds after which to stop, to be gone on with")
    given = parser.parse_args(arguments)
    rows = []
    with tempfile.TemporaryDirectory() as scratch:
        folder = (given.folder or Path(scratch)) / "course"
        if (folder / "course.toml").is_file():
            course = open_course(folder)
        else:
            course = create_course(folder, CourseSettings(title="Scale", profile="testing"))
        tools = pipeline.Tools(course)
        _ = tools.vocabulary, tools.nlp
        begun = time.monotonic()
        print(
            f"{'session':>8} {'work CPU s':>11} {'publish CPU s':>14} {'store MB':>9} {'site MB':>8} {'memory MB':>10}"
        )
        with course.open_store() as store:
            for number in range(len(store.lectures()) + 1, given.sessions + 1):
                if time.monotonic() - begun > given.stop_after:
                    break
                path = Path(scratch) / f"2020-01-01 Session {number:04}.vtt"
                path.write_text(talk(number, tools.vocabulary, given.minutes), encoding="utf-8")
                start = time.process_time()
                lecture, _ = pipeline.add_file(course, store, path, tools.vocabulary)
                pipeline.process(tools, store, lecture)
                worked = time.process_time()
                pipeline.publish(course, store, tools.vocabulary)
                row = {
                    "session": number, "work_cpu_s": round(worked - start, 2),
                    "publish_cpu_s": round(time.process_time() - worked, 2),
                    "store_mb": round(sum(p.stat().st_size for p in folder.glob("course.db*")) / 1e6, 2),
                    "site_mb": round(sum(p.stat().st_size for p in course.site.rglob("*") if p.is_file()) / 1e6, 2)
                    if number in MARKS else None,
                    "memory_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
                }  # fmt: skip
                rows.append(row)
                if number in MARKS or number == given.sessions:
                    print(" ".join(f"{value!s:>9}" for value in row.values()), flush=True)
    return {"sessions": rows}
