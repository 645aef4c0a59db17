"""Grow a course by generated sessions of 30 minutes (imported text): time of the next one, store, site, memory.

    python benchmarks/run.py scale --sessions 1000 --folder KEPT       goes on where an earlier run stopped

Each session goes the whole way: import, correction, extraction, notes, search and site. As a school that brings ten
years would, the site is published once for what came in, and then again after each of the three sessions up to a mark;
the middle one of the three is the time of the next single session. Growth is that of the mark beside the 10th session.

The talk is made by a seeded lottery, at the rates of a taught session: two remedies at its centre out of a curriculum
of 250, thirty symptoms of which common ones come back often, three cases, and plain English words at the frequencies
of the language (wordfreq). It measures time and size, never quality.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import resource
import statistics
import tempfile
import time
from collections.abc import Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import wordfreq

from notesmith import pipeline
from notesmith.course import create_course, open_course
from notesmith.lecture import CourseSettings
from notesmith.vocabulary import Vocabulary

DESCRIPTION = "growth over generated sessions of 30 minutes: time of the next session, store, site, memory"
WORDS_A_MINUTE = 130
FIRST_DAY = date(2012, 1, 1)
MARKS = (1, 10, 100, 1000)
MEASURED = 3  # sessions up to a mark that are published one by one
CURRICULUM, SYMPTOMS, CASES, PLAIN_SHARE, COMMON_WORDS = 250, 30, 3, 0.75, 12_000
TAUGHT = (
    "{remedy} is chilly and has {idea} in the morning.", "In {remedy} you find {idea}, worse from cold air.",
    "Compare {remedy} with {other} here, which has {idea} too.", "What did we say about {idea} in {remedy} last time?",
    "The keynote of {remedy} is {idea}.", "{remedy} is better from warmth, and {idea} is marked.",
)  # fmt: skip
CASE = (
    "A woman of forty came to me with {idea} for three years.", "She was worse at night and better in the open air.",
    "I gave {remedy} 200, one dose.", "After four weeks the {idea} was gone.",
)  # fmt: skip


class Stock:
    """What talks are drawn from; the same for every run of one vocabulary."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        labels: dict[str, list[str]] = {}
        for concept in sorted(vocabulary.concepts.values(), key=lambda one: one.id):
            labels.setdefault(concept.scheme, []).append(concept.pref_label)
        chance = random.Random(0)
        self.remedies = chance.sample(labels["remedy"], CURRICULUM)
        self.ideas = chance.sample(labels["idea"], len(labels["idea"]))
        self.idea_weights = [1 / rank for rank in range(1, len(self.ideas) + 1)]  # Zipf's law
        self.words = [word for word in wordfreq.top_n_list("en", COMMON_WORDS) if word.isalpha()]
        self.word_weights = [wordfreq.word_frequency(word, "en") for word in self.words]


def talk(number: int, stock: Stock, minutes: int) -> str:
    """A session as WebVTT, a sentence a cue."""
    chance = random.Random(number)
    remedies = chance.sample(stock.remedies, 2)
    ideas = chance.choices(stock.ideas, stock.idea_weights, k=SYMPTOMS)
    sentences: list[str] = []
    words = 0
    case_at = sorted(chance.uniform(0.1, 0.95) for _ in range(CASES))
    while words < minutes * WORDS_A_MINUTE:
        if case_at and words >= case_at[0] * minutes * WORDS_A_MINUTE:
            case_at.pop(0)
            named = {"remedy": chance.choice(remedies), "idea": chance.choice(ideas)}
            fresh = [line.format(**named) for line in CASE]
        elif chance.random() < PLAIN_SHARE:
            fresh = [
                " ".join(chance.choices(stock.words, stock.word_weights, k=chance.randint(6, 16))).capitalize() + "."
            ]
        else:
            fresh = [chance.choice(TAUGHT).format(
                remedy=chance.choice(remedies), other=chance.choice(stock.remedies), idea=chance.choice(ideas)
            )]  # fmt: skip
        sentences += fresh
        words += sum(len(line.split()) for line in fresh)
    lines, at_s = ["WEBVTT", ""], 0.0
    for sentence in sentences:
        end_s = at_s + len(sentence.split()) * 60 / WORDS_A_MINUTE
        lines += [f"{_stamp(at_s)} --> {_stamp(end_s)}", sentence, ""]
        at_s = end_s
    return "\n".join(lines)


def _stamp(seconds: float) -> str:
    ms = round(seconds * 1000)
    return f"{ms // 3_600_000:02}:{ms // 60_000 % 60:02}:{ms // 1000 % 60:02}.{ms % 1000:03}"


def run(arguments: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="scale")
    parser.add_argument("--sessions", type=int, default=10)
    parser.add_argument("--minutes", type=int, default=30, help="length of a session")
    parser.add_argument("--folder", type=Path, help="keep the course and the figures here, and go on from them")
    parser.add_argument("--stop-after", type=float, default=1e9, help="seconds after which to stop, to be gone on with")
    given = parser.parse_args(arguments)
    with tempfile.TemporaryDirectory() as scratch:
        place = given.folder or Path(scratch)
        place.mkdir(parents=True, exist_ok=True)
        rows = _grow(place, Path(scratch), given.sessions, given.minutes, given.stop_after)
    return {"sessions": rows, "marks": _table(rows, given.sessions)}


def _grow(place: Path, scratch: Path, sessions: int, minutes: int, stop_after: float) -> list[dict[str, Any]]:
    folder, kept = place / "course", place / "rows.jsonl"
    if (folder / "course.toml").is_file():
        course = open_course(folder)
    else:
        course = create_course(folder, CourseSettings(title="Scale", profile="testing"))
    rows = [json.loads(line) for line in kept.read_text().splitlines()] if kept.is_file() else []
    tools = pipeline.Tools(course)
    stock = Stock(tools.vocabulary)
    _ = tools.nlp
    published = {n for mark in (*MARKS, sessions) for n in range(mark - MEASURED + 1, mark + 1)}
    begun = time.monotonic()
    with course.open_store() as store:
        for number in range(len(store.lectures()) + 1, sessions + 1):
            if time.monotonic() - begun > stop_after:
                break
            row: dict[str, Any] = {"session": number}
            if number in published and number - 1 not in published and number > 1:
                row["catching_up_cpu_s"] = round(_cpu_s(lambda: pipeline.publish(course, store, tools.vocabulary)), 2)
            path = scratch / f"{FIRST_DAY + timedelta(days=4 * number)} Session {number:04}.vtt"
            path.write_text(talk(number, stock, minutes), encoding="utf-8")
            start = time.process_time()
            lecture, _ = pipeline.add_file(course, store, path, tools.vocabulary)
            pipeline.process(tools, store, lecture)
            row["work_cpu_s"] = round(time.process_time() - start, 3)
            if number in published:
                row["publish_cpu_s"] = round(_cpu_s(lambda: pipeline.publish(course, store, tools.vocabulary)), 3)
            row["store_mb"] = round(sum(p.stat().st_size for p in folder.glob("course.db*")) / 1e6, 2)
            if number in MARKS or number == sessions:
                row["site_mb"] = round(sum(p.stat().st_size for p in course.site.rglob("*") if p.is_file()) / 1e6, 1)
            row["memory_mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024
            row["load"] = round(os.getloadavg()[0], 1)
            rows.append(row)
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
    return rows


def _cpu_s(do: Any) -> float:
    start = time.process_time()
    do()
    return time.process_time() - start


def _table(rows: Sequence[dict[str, Any]], sessions: int) -> list[dict[str, Any]]:
    """The middle of the sessions published one by one up to each mark, and their growth since the 10th."""
    held = {row["session"]: row for row in rows}
    found: list[dict[str, Any]] = []
    for mark in sorted({*MARKS, sessions}):
        near = [held[n] for n in range(mark - MEASURED + 1, mark + 1) if n in held and "publish_cpu_s" in held[n]]
        if mark not in held or not near:
            continue
        work, publish = (statistics.median(row[name] for row in near) for name in ("work_cpu_s", "publish_cpu_s"))
        found.append({
            "sessions": mark, "work_cpu_s": work, "publish_cpu_s": publish, "next_session_cpu_s": round(work + publish, 2),
            "store_mb": held[mark]["store_mb"], "site_mb": held[mark]["site_mb"], "memory_mb": held[mark]["memory_mb"],
            "load": held[mark]["load"],
        })  # fmt: skip
    tenth = next((row["next_session_cpu_s"] for row in found if row["sessions"] == 10), None)
    for row in found:
        row["growth_since_10th"] = round(row["next_session_cpu_s"] / tenth - 1, 3) if tenth else None
    if found:
        print(" ".join(f"{name:>18}" for name in found[0]))
        for row in found:
            print(" ".join(f"{value!s:>18}" for value in row.values()), flush=True)
    total = sum(sum(row.get(name, 0) for name in ("work_cpu_s", "publish_cpu_s", "catching_up_cpu_s")) for row in rows)
    print(f"{len(rows)} sessions, {total:.0f} s of CPU in all")
    return found
