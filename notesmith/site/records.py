"""What can be found: small records for the search index, and the words that lead to them.

Each point, case, question and stretch of transcript is one record with the sentence, its kind, session and time. The
words a student may type instead (lay words, abbreviations, old spellings, misspellings, mishearings) are put beside
the record from the vocabulary when the site is built, so that the browser needs no vocabulary.
"""

from __future__ import annotations

import html
import json
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

from notesmith.files import write_if_changed
from notesmith.site.views import LectureView
from notesmith.vocabulary import Vocabulary, label_key

INDEX_SECONDS = 600
MOMENT_WORDS = 45


def also_called(vocabulary: Vocabulary, concept_ids: Sequence[str]) -> str:
    """Every other way to ask for the given concepts."""
    words: list[str] = []
    for concept_id in concept_ids:
        concept = vocabulary.get(concept_id)
        if concept is not None:
            words += [concept.pref_label, *concept.alt_labels, *concept.ambiguous_labels, *concept.hidden_labels,
                      *concept.fact("abbreviation"), *concept.fact("common")]  # fmt: skip
    return " ".join(dict.fromkeys(words))


def records(view: LectureView, vocabulary: Vocabulary) -> Iterator[dict[str, Any]]:
    """The records of one lecture: kind, text, also, start_ms, anchor, remedy."""
    for p in view.points:
        ids = [i for i in (p["remedy_id"], *p["rubric_ids"], *p["concept_ids"]) if i]
        yield {"kind": "point", "text": p["text"], "also": also_called(vocabulary, ids), "start_ms": p["start_ms"],
               "anchor": p["anchor"], "remedy": p["remedy"]["label"] if p["remedy"] else ""}  # fmt: skip
    for c in view.cases:
        text = c["title"] + ". " + "; ".join(f["text"] for f in c["findings"])
        yield {"kind": "case", "text": text, "also": also_called(vocabulary, c["remedy_ids"]),
               "start_ms": c["start_ms"], "anchor": c["anchor"],
               "remedy": vocabulary.label(c["remedy_ids"][0]) if c["remedy_ids"] else ""}  # fmt: skip
    for q in view.questions:
        yield {"kind": "question", "text": f"{q['text']} {q['answer'] or ''}".strip(), "also": "",
               "start_ms": q["start_ms"], "anchor": q["anchor"], "remedy": ""}  # fmt: skip
    by_time = sorted(view.content.extraction.mentions, key=lambda mention: mention.time.start_ms)
    line: list[str] = []
    start_ms = end_ms = 0
    for entry in [*view.transcript(), None]:
        if entry is not None and entry["tokens"]:
            if not line:
                start_ms = entry["start_ms"]
            line += [token["text"] for token in entry["tokens"]]
            end_ms = entry["end_ms"]
        if line and (entry is None or len(line) >= MOMENT_WORDS):
            ids = [m.concept_id for m in by_time if start_ms <= m.time.start_ms < end_ms]
            yield {"kind": "moment", "text": " ".join(line), "also": also_called(vocabulary, list(dict.fromkeys(ids))),
                   "start_ms": start_ms, "anchor": "", "remedy": ""}  # fmt: skip
            line = []


def write_search(
    folder: Path, put: Callable[[str, str | bytes], None], views: Sequence[LectureView], vocabulary: Vocabulary
) -> list[str]:
    """Build the search index with Pagefind from staged records; returns remarks for the user."""
    used = {m.concept_id for view in views for m in view.content.extraction.mentions}
    put("static/words.json", json.dumps(_leading_words(vocabulary, used), ensure_ascii=False, sort_keys=True) + "\n")
    with tempfile.TemporaryDirectory() as name:
        stage = Path(name) / "stage"
        for view in views:
            for number, record in enumerate(records(view, vocabulary)):
                target = stage / view.session["stem"] / f"{number}.html"
                target.parent.mkdir(parents=True, exist_ok=True)
                target.write_text(_record_page(view, record), encoding="utf-8")
        if not stage.exists():
            shutil.rmtree(folder / "pagefind", ignore_errors=True)
            return []
        out = Path(name) / "index"
        command = [sys.executable, "-m", "pagefind", "--site", str(stage), "--output-path", str(out), "--quiet"]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=INDEX_SECONDS, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            return [f"the search index could not be built ({type(error).__name__}); the indexes by letter work"]
        if done.returncode:
            return ["the search index could not be built (is the package 'pagefind' installed?); the indexes work"]
        _mirror(out, folder / "pagefind")
    return []


def _mirror(fresh: Path, target: Path) -> None:
    """Put the new index in place file by file; browsers get only the parts they need."""
    wanted = {path.relative_to(fresh).as_posix() for path in fresh.rglob("*") if path.is_file()}
    # Pagefind's own widgets are not ours to show.
    wanted = {name for name in wanted if "-ui." not in name and "component" not in name and "highlight" not in name}
    for name in sorted(wanted):
        write_if_changed(target / name, (fresh / name).read_bytes())
    for path in sorted(target.rglob("*"), reverse=True):
        if path.is_file() and path.relative_to(target).as_posix() not in wanted:
            path.unlink()


def _record_page(view: LectureView, record: dict[str, Any]) -> str:
    seconds = record["start_ms"] // 1000
    to = f"{view.session['href']}#t={seconds}"
    time = f"{seconds // 60}:{seconds % 60:02d}"
    e = html.escape
    said = record["text"][:400]
    remedy = f'<span data-pagefind-filter="remedy">{e(record["remedy"])}</span>' if record["remedy"] else ""
    return (
        f'<!DOCTYPE html><html lang="en"><body data-pagefind-body>'
        f'<p data-pagefind-weight="2">{e(record["text"])}</p><p data-pagefind-weight="0.6">{e(record["also"])}</p>'
        f'<div data-pagefind-ignore="all"><span data-pagefind-meta="to" >{e(to)}</span>'
        f'<span data-pagefind-meta="said">{e(said)}</span><span data-pagefind-meta="time">{time}</span>'
        f'<span data-pagefind-meta="session" data-pagefind-filter="session">{e(view.session["title"])}</span>'
        f'<span data-pagefind-meta="kind" data-pagefind-filter="kind">{record["kind"]}</span>{remedy}</div>'
        f"</body></html>"
    )


def _leading_words(vocabulary: Vocabulary, used: set[str]) -> dict[str, str]:
    """What a student may type, by ``label_key``, and the words of the notes it leads to; used concepts only."""
    leads: dict[str, str] = {}
    for concept_id in sorted(used):
        concept = vocabulary.get(concept_id)
        if concept is None:
            continue
        for label in (
            *concept.fact("abbreviation"),
            *concept.ambiguous_labels,
            *concept.alt_labels,
            *concept.hidden_labels,
        ):
            key = label_key(label)
            if key and key != label_key(concept.pref_label):
                leads.setdefault(key, label_key(concept.pref_label))
    return leads
