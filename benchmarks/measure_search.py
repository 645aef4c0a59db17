"""Measure search: judged queries on both engines beside plainer ones, and how it holds at 1,000 and 10,000 sessions."""

from __future__ import annotations

import argparse
import csv
import functools
import gzip
import http.server
import json
import os
import random
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.parse
from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import ir_measures
import measure_notes
from ir_measures import RR, Qrel, ScoredDoc, nDCG

from notesmith.annotations import Corrections
from notesmith.extract import extract, load_nlp
from notesmith.lecture import CourseSettings, Lecture, LectureContent
from notesmith.library import MemoryLibrary
from notesmith.reading import read
from notesmith.search import Record, Redaction, index_lecture, records_of, search
from notesmith.site import build
from notesmith.site.preview import RangeHandler
from notesmith.store import Store
from notesmith.vocabulary import Vocabulary, load_vocabulary

NAME = "search"
DESCRIPTION = (
    "judged queries on both engines and two plain ones; --only SET; --pool FILE to be judged blind; --scale N sessions"
)
HERE = Path(__file__).resolve().parent
QUERIES = HERE / "data" / "search"
# The queries of each set are asked of the sessions that were read for places that answer.
SETS = {
    "open": ("dev", "dev2"),
    "open2": ("dev", "dev2"),
    "held": ("dev3", "dev4"),
    "open3": ("dev", "dev2", "dev3", "dev4"),
    "open4": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "open5": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "held2": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "open6": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "open7": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "open8": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "open9": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "open10": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "sealed10": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
    "open11": ("dev", "dev2", "dev3", "dev4", "dev5", "dev6"),
}
NEAR_MS = 5000
DEPTH = 10


class Place:
    """Where a query is answered: the sentences that answer, each (session, first word ms, sentence start ms)."""

    def __init__(self, starts: list[tuple[str, int, int]]) -> None:
        self.starts = starts

    def which(self, session: str, start_ms: int, end_ms: int) -> int | None:
        for number, (where, word_ms, sentence_ms) in enumerate(self.starts):
            if where != session:
                continue
            if start_ms <= word_ms < end_ms or abs(start_ms - sentence_ms) <= NEAR_MS:
                return number
        return None


@functools.lru_cache
def gold_sessions(vocabulary: Vocabulary, folder: str) -> list[LectureContent]:
    """The gold sessions of one folder as extracted now."""
    nlp = load_nlp()
    contents = []
    for path in sorted((measure_notes.GOLD / folder).glob("*.txt")):
        gold = measure_notes.parse_gold(path.stem, path.read_text("utf-8"))
        transcript = gold.reading.transcript
        corrections = Corrections(transcript.digest)
        found = extract(read(transcript, corrections), vocabulary, nlp=nlp)
        lecture = Lecture(path.stem, path.stem, transcript.recording_sha256)
        contents.append(LectureContent(lecture, transcript, corrections, found))
    return contents


def load_queries(name: str, contents: Sequence[LectureContent]) -> list[tuple[str, str, Place]]:
    by_id = {c.lecture.id: c for c in contents}
    loaded = []
    for number, line in enumerate((QUERIES / name).read_text("utf-8").splitlines(), start=1):
        kind, query, session, phrases = line.split(";")
        starts = []
        for given in phrases.split("|"):
            match = re.match(r"([a-z]\d+):", given)  # a colon may stand in a phrase too
            where, phrase = (match[1], given[match.end() :]) if match else (session, given)
            words = by_id[where].transcript.words
            plain = [w.text.lower().strip(".,?!;:'\"") for w in words]
            wanted = [w.strip(".,?!;:'\"") for w in phrase.lower().split()]
            at = next((i for i in range(len(plain)) if plain[i : i + len(wanted)] == wanted), None)
            if at is None:
                print(f"{name}:{number}: phrase {phrase!r} does not stand in {where}", file=sys.stderr)
                continue
            transcript = by_id[where].transcript
            line = transcript.segment_range(transcript.segment_of(at)).start  # one line of the gold text, a sentence
            first = at
            while first > line and not words[first - 1].text.endswith((".", "?", "!")):
                first -= 1
            starts.append((where, words[at].time.start_ms, words[first].time.start_ms))
        loaded.append((kind, query, Place(starts)))
    return loaded


def near_place(place: Place, hit: tuple[str, int, int]) -> bool:
    """Whether a hit begins within five seconds of the sentence that answers."""
    return any(where == hit[0] and abs(hit[1] - sentence) <= NEAR_MS for where, _, sentence in place.starts)


Answer = list[tuple[str, int, int]]  # session, start, end of each hit, best first


def judge(queries: Sequence[tuple[str, str, Place]], answers: Sequence[Answer]) -> dict[str, float]:
    """nDCG@10, MRR and the share whose first hit is right, by ir-measures; one place counts once."""
    qrels, run = [], []
    first = near = 0
    for number, ((_, _, place), answer) in enumerate(zip(queries, answers, strict=True)):
        name = str(number)
        qrels += [Qrel(name, f"place{n}", 1) for n in range(len(place.starts))] or [Qrel(name, "none", 1)]
        seen: set[int] = set()
        for rank, hit in enumerate(answer[:DEPTH]):
            which = place.which(*hit)
            first += rank == 0 and which is not None
            near += rank == 0 and near_place(place, hit)
            doc = f"place{which}" if which is not None and which not in seen else f"other{rank}"
            if which is not None:
                seen.add(which)
            run.append(ScoredDoc(name, doc, float(DEPTH - rank)))
        if not answer:
            run.append(ScoredDoc(name, "nothing", 0.0))
    found = ir_measures.calc_aggregate([nDCG @ DEPTH, RR @ DEPTH], qrels, run)
    return {
        "ndcg_at_10": round(found[nDCG @ DEPTH], 3),
        "mrr": round(found[RR @ DEPTH], 3),
        "first_hit_right": round(first / len(queries), 3),
        "first_hit_within_5_s": round(near / len(queries), 3),
    }


# ---------------------------------------------------------------- pooled judgements

# An author judges the places found by reading; others that answer as well are then counted as wrong (Buckley and Voorhees
# 2004). So the best answers of all engines are put together, as in TREC, and judged by somebody who is not told whose they are.
POOL_COLUMNS = ("query", "session", "start_ms", "at", "sentence", "before", "after", "grade")
JUDGED_COLUMNS = ("query", "session", "start_ms", "grade")
ANSWERS, PARTLY = 2, 1  # grades; 0 is no answer
BESIDE_WORDS = 40  # of the transcript before and after that a judge is shown
SENTENCE_WORDS = 70
POOL_SEED = 11

Pooled = dict[tuple[str, str, int], int]  # query, session, start: grade


def pool(
    path: Path,
    queries: Sequence[tuple[str, str, Place]],
    engines: Sequence[Sequence[Answer]],
    contents: Sequence[LectureContent],
) -> int:
    """Write what all engines answered and the author's places, shuffled, to be judged blind; how many rows.

    Rows that a file of this name holds already (of an earlier program) are kept, so several programs can be pooled.
    """
    by_id = {c.lecture.id: c for c in contents}
    held: dict[str, dict[tuple[str, int], tuple[str, ...]]] = {text: {} for _, text, _ in queries}
    if path.exists():
        with path.open(encoding="utf-8", newline="") as file:
            for row in csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE):
                if row["query"] in held:
                    held[row["query"]][row["session"], int(row["start_ms"])] = tuple(row[c] or "" for c in POOL_COLUMNS)
    for number, (_, text, place) in enumerate(queries):
        given = [hit for answers in engines for hit in answers[number][:DEPTH]]
        given += [(session, sentence_ms, sentence_ms) for session, _, sentence_ms in place.starts]
        for session, start_ms, end_ms in given:
            if (session, start_ms) not in held[text]:
                told = _told(by_id[session], start_ms, end_ms)
                clock = f"{start_ms // 60000}:{start_ms // 1000 % 60:02d}"
                held[text][session, start_ms] = (text, session, str(start_ms), clock, *told, "")
    rng = random.Random(POOL_SEED)
    rows = []
    for _, text, _ in queries:
        own = [held[text][key] for key in sorted(held[text])]
        rng.shuffle(own)
        rows += own
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, delimiter="\t", quoting=csv.QUOTE_NONE, quotechar=None, lineterminator="\n")
        writer.writerows([POOL_COLUMNS, *rows])
    return len(rows)


def _told(content: LectureContent, start_ms: int, end_ms: int) -> tuple[str, str, str]:
    """What is said at a place, to the end of its sentence at least, and before and after."""
    words = content.transcript.words
    first = next((i for i, w in enumerate(words) if w.time.end_ms > start_ms), len(words) - 1)
    last = first + 1
    while last < len(words) and last - first < SENTENCE_WORDS:
        if words[last].time.start_ms >= end_ms and words[last - 1].text.endswith((".", "?", "!")):
            break
        last += 1

    def joined(low: int, high: int) -> str:
        return " ".join(" ".join(w.text for w in words[max(0, low) : high]).split())

    return joined(first, last), joined(first - BESIDE_WORDS, first), joined(last, last + BESIDE_WORDS)


def read_judged(path: Path) -> Pooled:
    """Grades by query and record; {} where nobody has judged. A pool that was filled in is read as well."""
    if not path.exists():
        return {}
    with path.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE))
    return {(r["query"], r["session"], int(r["start_ms"])): int(r["grade"]) for r in rows if (r["grade"] or "").strip()}


def with_pool(queries: Sequence[tuple[str, str, Place]], judged: Pooled, least: int) -> list[tuple[str, str, Place]]:
    """The queries with the records that were judged to answer added to the author's places, each place once."""
    found = []
    for kind, text, place in queries:
        wider = Place(list(place.starts))
        for (query, session, start_ms), grade in sorted(judged.items()):
            if query == text and grade >= least and wider.which(session, start_ms, start_ms) is None:
                wider.starts.append((session, start_ms, start_ms))
        found.append((kind, text, wider))
    return found


def agreement(queries: Sequence[tuple[str, str, Place]], judged: Pooled) -> dict[str, Any]:
    """Of the records that were judged: how many the author has as answers, and what the judge thought of those and the others."""
    places = {text: place for _, text, place in queries}
    counts = Counter(
        (places[query].which(session, start_ms, start_ms) is not None, grade)
        for (query, session, start_ms), grade in judged.items() if query in places
    )  # fmt: skip
    return {
        "records judged": sum(counts.values()),
        "author's, by grade 0 1 2": [counts[True, grade] for grade in range(3)],
        "others, by grade 0 1 2": [counts[False, grade] for grade in range(3)],
    }


def judged_share(queries: Sequence[tuple[str, str, Place]], answers: Sequence[Answer], judged: Pooled) -> float:
    """The share of the first ten answers that somebody judged: what comes later than the pool counts as wrong."""
    given = [(text, hit) for (_, text, _), answer in zip(queries, answers, strict=True) for hit in answer[:DEPTH]]
    return round(sum((text, hit[0], hit[1]) in judged for text, hit in given) / max(1, len(given)), 3)


# ---------------------------------------------------------------- engines


def plain_fts(records: Sequence[tuple[str, Record]]) -> Callable[[str], Answer]:
    """SQLite FTS5 as it comes, Porter stems, every word of the query optional."""
    import re
    import sqlite3

    connection = sqlite3.connect(":memory:")
    connection.execute("CREATE VIRTUAL TABLE plain USING fts5 (text, tokenize = 'porter unicode61')")
    connection.executemany(
        "INSERT INTO plain (rowid, text) VALUES (?, ?)", [(n, r.text) for n, (_, r) in enumerate(records)]
    )

    def ask(query: str) -> Answer:
        expression = " OR ".join(f'"{word}"' for word in re.findall(r"\w+", query))
        rows = connection.execute("SELECT rowid FROM plain WHERE plain MATCH ? ORDER BY rank LIMIT 10", (expression,))
        return [(records[n][0], records[n][1].start_ms, records[n][1].end_ms) for (n,) in rows]

    return ask


def plain_bm25(records: Sequence[tuple[str, Record]]) -> Callable[[str], Answer] | None:
    """The library bm25s from PyPI with its defaults, where it is installed."""
    try:
        import bm25s
    except ImportError:
        return None
    index = bm25s.BM25()
    index.index(bm25s.tokenize([r.text for _, r in records], stopwords="en", show_progress=False), show_progress=False)

    def ask(query: str) -> Answer:
        tokens = bm25s.tokenize([query], stopwords="en", show_progress=False)
        numbers, scores = index.retrieve(tokens, k=DEPTH, show_progress=False)
        return [
            (records[n][0], records[n][1].start_ms, records[n][1].end_ms)
            for n, score in zip(numbers[0].tolist(), scores[0].tolist(), strict=True) if score > 0
        ]  # fmt: skip

    return ask


def ask_site(folder: Path, queries: Sequence[str]) -> list[dict[str, Any]]:
    """The site's own search, run by Node over the built files."""
    node = shutil.which("node")
    if node is None:
        raise SystemExit("node is needed for the site's search")
    done = subprocess.run(
        [node, str(HERE / "lab" / "ask_site.js"), str(folder)], input=json.dumps(list(queries)), capture_output=True,
        text=True, check=True,
    )  # fmt: skip
    answers: list[dict[str, Any]] = json.loads(done.stdout)
    return answers


def quality(vocabulary: Vocabulary, sets: Sequence[str], *, tell: bool, pool_to: Path | None = None) -> dict[str, Any]:
    """Figures of each set of queries, by engine."""
    result: dict[str, Any] = {}
    for folders in dict.fromkeys(SETS[half] for half in sets):
        contents = [content for folder in folders for content in gold_sessions(vocabulary, folder)]
        result |= _asked(
            vocabulary, contents, [half for half in sets if SETS[half] == folders], tell=tell, pool_to=pool_to
        )
    return result


def _asked(
    vocabulary: Vocabulary, contents: list[LectureContent], sets: Sequence[str], *, tell: bool, pool_to: Path | None
) -> dict[str, Any]:
    records = [(c.lecture.id, r) for c in contents for r in records_of(c, Redaction(c))]
    ends = {(session, r.anchor): r.end_ms for session, r in records}
    result: dict[str, Any] = {}
    with tempfile.TemporaryDirectory() as name, Store(Path(name) / "course.db") as store:
        for content in contents:
            store.add_lecture(content.lecture)
            index_lecture(store, content, vocabulary)
        build(MemoryLibrary(CourseSettings(title="Gold"), vocabulary, contents), Path(name) / "site")
        fts, bm25 = plain_fts(records), plain_bm25(records)
        for half in sets:
            queries = load_queries(f"queries-{half}.txt", contents)
            texts = [query for _, query, _ in queries]
            site = ask_site(Path(name) / "site", texts)
            engines: dict[str, list[Answer]] = {
                "course store": [
                    [(h.lecture_id, h.start_ms, h.end_ms) for h in search(store, vocabulary, text)] for text in texts
                ],
                "site": [
                    [(h["lecture"], h["start_ms"], ends[h["lecture"], h["record"]]) for h in a["hits"]] for a in site
                ],
                "plain FTS5": [fts(text) for text in texts],
            }
            if bm25 is not None:
                engines["bm25s"] = [bm25(text) for text in texts]
            figures: dict[str, Any] = {engine: judge(queries, answers) for engine, answers in engines.items()}
            if pool_to is not None:
                print(
                    f"{half}: {pool(pool_to, queries, list(engines.values()), contents)} records to be judged in {pool_to}"
                )
            if judged := read_judged(QUERIES / f"judged-{half}.tsv"):
                figures["pooled"] = agreement(queries, judged)
                for name_of, least in (("pooled", ANSWERS), ("pooled, partly too", PARTLY)):
                    wider = with_pool(queries, judged, least)
                    for engine, answers in engines.items():
                        share = judged_share(queries, answers, judged)
                        figures[f"{engine}, {name_of}"] = judge(wider, answers) | {"judged_at_10": share}
            kinds = sorted({kind for kind, _, _ in queries})
            for engine in ("course store", "site"):
                figures[f"by kind, {engine}"] = {
                    kind: judge(
                        [q for q in queries if q[0] == kind],
                        [a for q, a in zip(queries, engines[engine], strict=True) if q[0] == kind],
                    )["mrr"]
                    for kind in kinds
                }
            figures |= {"queries": len(queries), "sessions": len(contents), "records": len(records)}
            figures["kinds"] = dict(Counter(kind for kind, _, _ in queries))
            result[half] = figures
            if tell and half.startswith("open"):
                for (kind, text, place), answer in zip(queries, engines["course store"], strict=True):
                    if not answer or place.which(*answer[0]) is None:
                        print(f"  missed first: {kind}: {text}")
    return result


# ---------------------------------------------------------------- scale


def pagefind(site: Path, queries: Sequence[str]) -> dict[str, Any]:
    """The same pages indexed by Pagefind, a general-purpose library: its time, its size, bytes of a first search.

    Its command is looked for on the path, or named by NOTESMITH_PAGEFIND; the bytes are counted in Chromium, each query
    in a browser without a cache, the texts of ten results fetched as a result list needs them.
    """
    tool = os.environ.get("NOTESMITH_PAGEFIND") or shutil.which("pagefind")
    if not tool:
        return {}
    started = time.perf_counter()
    subprocess.run(
        [tool, "--site", str(site), "--glob", "sessions/*.html", "--output-path", str(site / "pagefind")],
        check=True, capture_output=True,
    )  # fmt: skip
    figures: dict[str, Any] = {"pagefind_index_s": round(time.perf_counter() - started, 1)}
    made = [p for p in (site / "pagefind").rglob("*") if p.is_file()]
    figures["pagefind_index_mb"] = round(sum(p.stat().st_size for p in made) / 1e6, 1)
    from playwright.sync_api import Response, sync_playwright

    handler = functools.partial(RangeHandler, directory=str(site))
    sizes, packed, times = [], [], []
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server, sync_playwright() as playwright:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        (site / "pagefind-ask.html").write_text("<!doctype html><title>ask</title>", "utf-8")
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args="--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking".split(),
        )
        for query in queries:
            page = browser.new_context().new_page()
            page.goto(f"http://127.0.0.1:{server.server_port}/pagefind-ask.html")
            held: list[Response] = []
            page.on("response", lambda r, held=held: held.append(r))
            ask = """async (q) => { const p = await import('/pagefind/pagefind.js'); const t = performance.now();
                const s = await p.search(q); await Promise.all(s.results.slice(0, 10).map((r) => r.data()));
                return performance.now() - t; }"""
            times.append(page.evaluate(ask, query))
            bodies = [r.body() for r in held if r.ok]
            sizes.append(sum(map(len, bodies)))
            packed.append(sum(min(len(body), len(gzip.compress(body))) for body in bodies))
            page.context.close()
        browser.close()
        server.shutdown()
    figures["pagefind_first_search_kb_median"] = round(statistics.median(sizes) / 1000)
    figures["pagefind_first_search_kb_most"] = round(max(sizes) / 1000)
    figures["pagefind_first_search_ms_median"] = round(statistics.median(times), 1)
    return figures


def folder_mb(folder: Path) -> float:
    return round(sum(p.stat().st_size for p in folder.rglob("*") if p.is_file()) / 1e6, 1)


def in_browser(site: Path, queries: Sequence[str]) -> dict[str, Any]:
    """Bytes and time of a first search in Chromium: the page, its scripts, what the search reads, filters included.

    As they lie in the folder, and as a host sends them that compresses (gzip, RFC 1952), which most do.
    """
    from playwright.sync_api import Response, sync_playwright

    handler = functools.partial(RangeHandler, directory=str(site))
    sizes, packed, times = [], [], []
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server, sync_playwright() as playwright:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        browser = playwright.chromium.launch(
            executable_path="/usr/bin/chromium",
            args="--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking".split(),
        )
        for query in queries:
            page = browser.new_context().new_page()
            held: list[Response] = []
            page.on("response", lambda r, held=held: held.append(r))
            started = time.perf_counter()
            page.goto(f"http://127.0.0.1:{server.server_port}/search.html?q={urllib.parse.quote(query)}")
            page.wait_for_selector("#hits li", timeout=60000)
            times.append((time.perf_counter() - started) * 1000)
            page.wait_for_load_state("networkidle")
            bodies = [r.body() for r in held if r.ok]
            sizes.append(sum(map(len, bodies)))
            packed.append(sum(min(len(body), len(gzip.compress(body))) for body in bodies))
            page.context.close()
        browser.close()
        server.shutdown()
    return {
        "browser_first_search_kb_median": round(statistics.median(sizes) / 1000),
        "browser_first_search_kb_most": round(max(sizes) / 1000),
        "browser_first_search_gzip_kb_median": round(statistics.median(packed) / 1000),
        "browser_first_search_gzip_kb_most": round(max(packed) / 1000),
        "browser_first_search_ms_median": round(statistics.median(times), 1),
    }


def scale(vocabulary: Vocabulary, sessions: int, folder: Path, spoken: int) -> dict[str, Any]:
    sys.path.insert(0, str(HERE.parent))
    from tests.site.library_fixture import GeneratedLibrary

    library = GeneratedLibrary(vocabulary, sessions, points=40, spoken=spoken)
    words = len(library.content("session-00000").transcript.words)
    started = time.perf_counter()
    report = build(library, folder / "site")
    figures: dict[str, Any] = {"sessions": sessions, "words_a_session": words, "records": report.records,
                               "pages": report.pages}  # fmt: skip
    figures["build_s"] = round(time.perf_counter() - started, 1)
    library.edited.add(sessions // 2)
    started, used = time.perf_counter(), time.process_time()
    again = build(library, folder / "site")
    figures["rebuild_after_one_correction_s"] = round(time.perf_counter() - started, 2)
    figures["rebuild_cpu_s"] = round(time.process_time() - used, 2)
    figures["files_rewritten"] = again.files_written
    figures["search_index_mb"] = folder_mb(folder / "site/search")
    figures["site_mb"] = folder_mb(folder / "site")
    queries = []
    for number in range(0, sessions, max(1, sessions // 60)):
        content = library.content(f"session-{number:05d}")
        point = content.extraction.points[number % len(content.extraction.points)]
        words = point.text.rstrip(".").split()
        queries += [f"{vocabulary.label(point.remedy_id or '')} {words[2]}", " ".join(words[:3])]
    answers = ask_site(folder / "site", queries)
    fixed = sum(
        (folder / "site" / name).stat().st_size
        for name in ("search.html", "static/site.css", "static/engine.js", "static/search.js", "static/mark.svg")
    )
    # The names of filters cost one more look-up, measured in the browser tests; here the search itself.
    figures["first_search_kb_median"] = round((statistics.median(a["bytes"] for a in answers) + fixed) / 1000)
    figures["first_search_kb_most"] = round((max(a["bytes"] for a in answers) + fixed) / 1000)
    figures["first_search_ms_median"] = round(statistics.median(a["ms"] for a in answers), 1)
    figures |= in_browser(folder / "site", queries[:12])
    figures |= pagefind(folder / "site", queries[:12])
    with Store(folder / "course.db") as store:
        started = time.perf_counter()
        for entry in library.entries():
            with store.transaction():
                store.add_lecture(entry.lecture)
                index_lecture(store, library.content(entry.lecture.id), vocabulary)
        figures["fts5_index_s"] = round(time.perf_counter() - started, 1)
        search(store, vocabulary, queries[0])
        # The judged queries too: everyday words that the generated sentences share with real ones.
        asked = [line.split(";")[1] for line in (QUERIES / "queries-open.txt").read_text("utf-8").splitlines()]
        times, cpu = [], []
        for query in (*queries, *asked):
            started, used = time.perf_counter(), time.process_time()
            search(store, vocabulary, query)
            times.append((time.perf_counter() - started) * 1000)
            cpu.append((time.process_time() - used) * 1000)
    figures["fts5_p50_ms"] = round(statistics.median(times), 1)
    figures["fts5_p95_ms"] = round(sorted(times)[int(len(times) * 0.95)], 1)
    figures["fts5_p95_cpu_ms"] = round(sorted(cpu)[int(len(cpu) * 0.95)], 1)
    figures["load"] = round(os.getloadavg()[0], 1)
    return figures


def run(arguments: Sequence[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog=NAME)
    parser.add_argument("--scale", type=int, action="append", default=[], help="also a generated course of N sessions")
    parser.add_argument("--no-quality", action="store_true")
    parser.add_argument("--only", action="append", choices=sorted(SETS), help="only this set of queries")
    parser.add_argument(
        "--pool", type=Path, help="with --only SET: write what all engines answer, to be judged blind, to this file"
    )
    parser.add_argument("--sealed", action="store_true", help="also the sealed queries, to be run once")
    parser.add_argument("--tell", action="store_true", help="name the open queries whose first hit is wrong")
    parser.add_argument("--spoken", type=int, default=250, help="sentences of 14 words a generated session has")
    given = parser.parse_args(list(arguments))
    vocabulary = load_vocabulary()
    result: dict[str, Any] = {}
    if not given.no_quality:
        if given.pool and len(given.only or ()) != 1:
            parser.error("--pool needs one --only SET")
        sets = given.only or [half for half in SETS if given.sealed or not half.startswith("sealed")]
        result["quality"] = quality(vocabulary, sets, tell=given.tell, pool_to=given.pool)
        print(f"{'':8}{'engine':16}{'nDCG@10':>9}{'MRR':>8}{'first right':>13}{'within 5 s':>12}")
        for half in sets:
            for engine in ("course store", "site", "plain FTS5", "bm25s"):
                if figures := result["quality"][half].get(engine):
                    print(
                        f"{half:8}{engine:16}{figures['ndcg_at_10']:9.3f}{figures['mrr']:8.3f}{figures['first_hit_right']:13.3f}"
                        f"{figures['first_hit_within_5_s']:12.3f}"
                    )
            if told := result["quality"][half].get("pooled"):
                print(f"{half:8}judged blind: {told}")
                for name in (n for n in result["quality"][half] if ", pooled" in n):
                    figures = result["quality"][half][name]
                    print(
                        f"{half:8}{name:34}nDCG@10 {figures['ndcg_at_10']:.3f} MRR {figures['mrr']:.3f} first right "
                        f"{figures['first_hit_right']:.3f} within 5 s {figures['first_hit_within_5_s']:.3f} judged {figures['judged_at_10']:.2f}"
                    )
            for engine in ("course store", "site"):
                print(f"{half:8}MRR by kind, {engine}: {result['quality'][half][f'by kind, {engine}']}")
    for sessions in given.scale:
        with tempfile.TemporaryDirectory() as name:
            figures = scale(vocabulary, sessions, Path(name), given.spoken)
        result[f"scale {sessions}"] = figures
        for key, value in figures.items():
            print(f"  {key:34}{value:>12}")
    return result
