"""Grow a course by generated sessions of 30 minutes (imported text): time of the next one, store, site, memory.

    python benchmarks/run.py scale --sessions 1000 --folder KEPT       goes on where an earlier run stopped
    python benchmarks/run.py scale --sessions 10000 --of 300 --folder KEPT

A course grows by import, correction and extraction of one session after the other; a copy of its store is kept a few
sessions before each mark. Then, mark by mark and with the program as it is now, the copy is published as a whole, as
by a school that brings ten years, and each session up to the mark goes the whole way alone: import, correction,
extraction (``work``), then notes, search and site (``publish``). The middle of these sessions, which are the same at
every mark, is the time of the next single session; its growth is beside the mark of 10. On the same copy one word is
then ruled on in the middle session, which goes the whole way again, and queries are asked of the store and, with
``--browser``, of the published site in Chromium. What is measured so far stands in the folder (``marks.json``), since a
large course may take longer than one has.

With ``--of N`` only the first N sessions go the whole way; each later one is dealt from two of them, drawn by lot: the
beginning of one and the end of the other, with their corrections and what was found (``lab/deal_sessions.py``). Its text
is less various than that of as many sessions that were made each by itself, and every sentence comes back about
sessions / N times. That flatters what depends on the number of different words, mishearings and pairs (the list of
words, the pages, the number of terms); it worsens nothing that we know of but the length of the lists of rare terms,
since a word that stands in one of the N stands in a like share of all, and what a session touches, since one that is
dealt has the remedies of two. It says nothing of the time of import, correction and extraction, which is told of N only.

The talk is made by a seeded lottery, at the rates of a taught session: two remedies at its centre out of a curriculum
of 250, thirty symptoms of which common ones come back often, three cases, and plain English words at the frequencies
of the language (wordfreq). It measures time and size, never quality.
"""

from __future__ import annotations

import argparse
import contextlib
import itertools
import json
import os
import random
import resource
import shutil
import statistics
import tempfile
import time
from collections.abc import Callable, Sequence
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import wordfreq
from lab.deal_sessions import deal

from notesmith import pipeline, search
from notesmith.correct.forms import form_table
from notesmith.course import Course, create_course, open_course
from notesmith.lecture import CourseSettings, Lecture
from notesmith.site import SiteReport
from notesmith.sounds import load_costs
from notesmith.store import Store
from notesmith.transcript import sounding
from notesmith.verdicts import WordVerdict
from notesmith.vocabulary import Vocabulary

DESCRIPTION = "growth over generated sessions of 30 minutes: time of the next session, store, site, memory"
WORDS_A_MINUTE = 130
FIRST_DAY, DAYS_APART = date(2012, 1, 1), 2
MARKS = (10, 100, 1000)
AHEAD = 5  # sessions before a mark at which the copy is kept
TURNS = 7  # sessions that are then taken in one by one
NEXT = 100_000  # numbers of those sessions; the same at every mark
QUERIES = 90
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
        frequencies = (wordfreq.word_frequency(word, "en") for word in self.words)
        self.word_weights = list(itertools.accumulate(frequencies))
        self.ids = {vocabulary[one].pref_label: one for one in vocabulary.concepts if one.startswith("remedy/")}


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
                " ".join(
                    chance.choices(stock.words, cum_weights=stock.word_weights, k=chance.randint(6, 16))
                ).capitalize()
                + "."
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
    parser.add_argument("--of", type=int, help="take in only so many the whole way, and deal the others from them")
    parser.add_argument("--minutes", type=int, default=30, help="length of a session")
    parser.add_argument("--marks", type=int, nargs="*", default=MARKS, help="sizes of the course to measure at")
    parser.add_argument("--folder", type=Path, help="keep the course and the figures here, and go on from them")
    parser.add_argument("--browser", action="store_true", help="also a first search in Chromium, bytes and time")
    parser.add_argument("--stop-after", type=float, default=1e9, help="seconds after which to stop, to be gone on with")
    given = parser.parse_args(arguments)
    whole = given.of or given.sessions
    marks = sorted({*(mark for mark in given.marks if mark <= given.sessions), given.sessions})
    with tempfile.TemporaryDirectory() as scratch:
        place = given.folder or Path(scratch) / "kept"
        place.mkdir(parents=True, exist_ok=True)
        rows = _grow(place, given.sessions, whole, given.minutes, marks, given.stop_after)
        if len(rows) < given.sessions:
            return {"sessions": rows, "marks": []}
        kept = [mark for mark in marks if (place / f"at-{mark}").is_dir()]  # a mark named later has no copy
        found = _measure(place, Path(scratch), kept, given.minutes, given.browser)
    return {"sessions": rows, "marks": _table(rows[:whole], found)}


def _grow(
    place: Path, sessions: int, whole: int, minutes: int, marks: Sequence[int], stop_after: float
) -> list[dict[str, Any]]:
    """Bring the kept course to so many sessions, leaving a copy a few sessions before each mark.

    Those after the first ``whole`` are dealt from them.
    """
    folder, kept = place / "course", place / "rows.jsonl"
    if (folder / "course.toml").is_file():
        course = open_course(folder)
    else:
        course = create_course(folder, CourseSettings(title="Scale", profile="testing"))
    rows = [json.loads(line) for line in kept.read_text().splitlines()] if kept.is_file() else []
    tools = pipeline.Tools(course)
    stock = Stock(tools.vocabulary)
    _ = tools.nlp
    begun = time.monotonic()
    sources: Sequence[Lecture] = ()
    with course.open_store() as store, tempfile.TemporaryDirectory() as scratch:
        for lecture in store.lectures()[len(rows) :]:  # a killed run was at it
            store.remove_lecture(lecture.id)
        for number in range(len(store.lectures()) + 1, sessions + 1):
            if time.monotonic() - begun > stop_after:
                break
            for mark in marks:
                if number == max(1, mark - AHEAD + 1):
                    _copy(course, place / f"at-{mark}")
            row: dict[str, Any] = {"session": number}
            if number > whole and not sources:
                sources = store.lectures()[:whole]
            row["cpu_s"], row["wall_s"] = _timed(
                lambda n=number, sources=sources: (  # type: ignore[misc]
                    deal(tools, store, sources, n, _date(n))
                    if n > whole
                    else _take_in(tools, store, Path(scratch), n, n, stock, minutes)
                )
            )
            row["store_mb"] = _store_mb(course)
            row["memory_mb"] = _memory_mb()
            rows.append(row)
            with kept.open("a", encoding="utf-8") as file:
                file.write(json.dumps(row) + "\n")
    return rows


def _copy(course: Course, target: Path) -> None:
    """The course's settings and a consistent copy of its store; the imported text is in the store."""
    shutil.rmtree(target, ignore_errors=True)
    target.mkdir()
    shutil.copy(course.settings_path, target)
    (target / "recordings").mkdir()
    with course.open_store() as store:
        store.copy_to(target / course.store_path.name)


def _take_in(
    tools: pipeline.Tools, store: Store, scratch: Path, day: int, number: int, stock: Stock, minutes: int
) -> None:
    path = scratch / f"{_date(day)} Session {number:04}.vtt"
    path.write_text(talk(number, stock, minutes), encoding="utf-8")
    lecture, _ = pipeline.add_file(tools.course, store, path, tools.vocabulary)
    pipeline.process(tools, store, lecture)


def _date(day: int) -> str:
    return (FIRST_DAY + timedelta(days=DAYS_APART * day)).isoformat()


def _measure(place: Path, scratch: Path, marks: Sequence[int], minutes: int, browser: bool) -> list[dict[str, Any]]:
    """Publish the kept courses, where just this program has not, then take in the next sessions of copies, in turns."""
    tools = pipeline.Tools(open_course(place / f"at-{marks[0]}"))
    stock, index = Stock(tools.vocabulary), form_table(tools.vocabulary, load_costs()).index
    _ = tools.nlp
    rows: list[dict[str, Any]] = []
    courses: list[Course] = []
    for mark in marks:
        course = open_course(place / f"at-{mark}")
        with course.open_store() as store:
            cpu_s, wall_s = _timed(lambda: pipeline.publish(course, store, tools.vocabulary))  # noqa: B023
        rows.append(
            {"sessions": mark, "publish_all_cpu_s": cpu_s, "publish_all_wall_s": wall_s, "memory_mb": _memory_mb()}
        )
        _keep(place, rows)
        copied = shutil.copytree(course.folder, scratch / course.folder.name, copy_function=_link_or_copy)
        courses.append(open_course(Path(copied)))
    works: dict[int, list[float]] = {mark: [] for mark in marks}
    publishes: dict[int, list[float]] = {mark: [] for mark in marks}
    touched: dict[int, list[int]] = {mark: [] for mark in marks}
    for turn in range(TURNS):
        # In turns, since a machine is not equally busy all the time, and another mark first each time.
        for at in (*range(turn % len(marks), len(marks)), *range(turn % len(marks))):
            mark, tools.course = marks[at], courses[at]
            index._known.clear()  # what was looked up for the same talk at another mark
            with tools.course.open_store() as store:
                day = len(store.lectures()) + 1
                work = _timed(lambda: _take_in(tools, store, scratch, day, NEXT + turn, stock, minutes))  # noqa: B023
                reports: list[SiteReport] = []
                publish = _timed(lambda: reports.append(pipeline.publish(tools.course, store, tools.vocabulary)))  # noqa: B023
            if turn:  # a session is warmed up by the one before, so the first is not counted
                works[mark].append(work[0])
                publishes[mark].append(publish[0])
                touched[mark].append(reports[0].files_written)
    for mark, row, tools.course in zip(marks, rows, courses, strict=True):
        course = tools.course
        pairs = zip(works[mark], publishes[mark], strict=True)
        row |= {
            "work_cpu_s": round(statistics.median(works[mark]), 3),
            "publish_cpu_s": round(statistics.median(publishes[mark]), 3),
            "next_cpu_s": round(statistics.median(w + p for w, p in pairs), 3),
            "files_written": statistics.median(touched[mark]), "store_mb": _store_mb(course),
            "site_mb": round(sum(p.stat().st_size for p in course.site.rglob("*") if p.is_file()) / 1e6, 1),
            "load": round(os.getloadavg()[0], 1),
        }  # fmt: skip
        _keep(place, rows)
        with course.open_store() as store:
            row["ruled_work_cpu_s"], _ = _timed(lambda: _rule(tools, store, stock))
            row["ruled_publish_cpu_s"], row["ruled_publish_wall_s"] = _timed(
                lambda: pipeline.publish(tools.course, store, tools.vocabulary)
            )
            queries = _queries(stock)
            asked = sorted(_timed(lambda q=query: search.search(store, tools.vocabulary, q))[0] for query in queries)  # type: ignore[misc]
        row["query_p95_cpu_ms"] = round(1000 * asked[int(0.95 * len(asked))], 1)
        _keep(place, rows)
        if browser:
            from measure_search import in_browser

            row |= in_browser(course.site, queries[:8])
        _keep(place, rows)
        shutil.rmtree(course.folder)
    return rows


def _keep(place: Path, rows: Sequence[dict[str, Any]]) -> None:
    """What is measured so far, for a run that is stopped."""
    (place / "marks.json").write_text(json.dumps(rows, indent=1), encoding="utf-8")


def _link_or_copy(source: str, target: str) -> str:
    """The same file under another name where it is only ever replaced whole; a course of 10,000 has half a million."""
    if ".db" not in Path(source).name:
        with contextlib.suppress(OSError):
            os.link(source, target)
            return target
    return shutil.copy2(source, target)


def _rule(tools: pipeline.Tools, store: Store, stock: Stock) -> None:
    """Rule on one word of the middle session, and bring that session up to date."""
    lectures = store.lectures()
    lecture = lectures[len(lectures) // 2]
    heard = next(word for word in store.transcripts(lecture.recording_sha256)[0].transcript.words if len(word.text) > 6)
    remedy = stock.remedies[0]
    ruling = WordVerdict("accept", sounding(heard.text), stock.ids[remedy], remedy, lecture.id)
    store.add_verdict(ruling, who="scale")
    pipeline.process(tools, store, lecture)


def _queries(stock: Stock) -> list[str]:
    """A remedy with a symptom, a symptom, and two plain words, in turn."""
    chance = random.Random(1)
    found = []
    for _ in range(QUERIES // 3):
        idea, plain = chance.choice(stock.ideas), chance.sample(stock.words[200:], 2)
        found += [f"{chance.choice(stock.remedies)} {idea}", idea, " ".join(plain)]
    return found


def _timed(do: Callable[[], object]) -> tuple[float, float]:
    """CPU and wall time, in seconds."""
    cpu_s, wall_s = time.process_time(), time.monotonic()
    do()
    return round(time.process_time() - cpu_s, 3), round(time.monotonic() - wall_s, 3)


def _store_mb(course: Course) -> float:
    return round(sum(p.stat().st_size for p in course.folder.glob("course.db*")) / 1e6, 2)


def _memory_mb() -> int:
    """The most this process has held so far."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


def _table(rows: Sequence[dict[str, Any]], found: list[dict[str, Any]]) -> list[dict[str, Any]]:
    tenth = next((row["next_cpu_s"] for row in found if row["sessions"] == 10), None)
    for row in found:
        row["growth_since_10th"] = round(row["next_cpu_s"] / tenth - 1, 3) if tenth else None
    for name in found[0]:
        print(f"{name:>20}" + "".join(f"{row[name]!s:>12}" for row in found))
    cpu_s, wall_s = (sum(row[name] for row in rows) for name in ("cpu_s", "wall_s"))
    print(f"import to extraction of {len(rows)} sessions: {cpu_s:.0f} s of CPU, {wall_s:.0f} s by the clock")
    return found
