"""Counts, coverage of the reference lists, loading time, and the document check on planted errors and plain English."""

from __future__ import annotations

import argparse
import bisect
import importlib
import itertools
import json
import os
import random
import shutil
import statistics
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path
from typing import Any

from rapidfuzz import fuzz, process
from rapidfuzz.distance import DamerauLevenshtein

from notesmith.documents import DocumentLine
from notesmith.spelling import SpellingChecker
from notesmith.vocabulary import Vocabulary, label_key, load_vocabulary
from notesmith.vocabulary.validate import validate
from notesmith.vocabulary.variants import resolve_remedy, skeleton

NAME = "vocabulary"
DESCRIPTION = "counts, coverage, loading time; spelling check on planted errors and on plain English"
HERE = Path(__file__).resolve().parent
REFERENCE = HERE.parents[1] / "shared" / "reference"
HANDOUTS = 24
LETTERS = "abcdefghijklmnopqrstuvwxyz"


def slip(word: str, rng: random.Random) -> str:
    """One typing slip inside a word: a letter dropped, doubled, changed or swapped with the next (common practice)."""
    at = rng.randrange(1, len(word) - 1)
    match rng.randrange(4):
        case 0:
            return word[:at] + word[at + 1 :]
        case 1:
            return word[:at] + word[at] + word[at:]
        case 2:
            return word[:at] + rng.choice(LETTERS) + word[at + 1 :]
        case _:
            return word[:at] + word[at + 1] + word[at] + word[at + 2 :]


def handouts(seed: int) -> list[tuple[str, dict[str, str]]]:
    """Invented handouts: sentences about remedies, about every third name with a slip; text and planted errors."""
    rng = random.Random(seed)
    vocabulary = load_vocabulary()
    names = [c.pref_label for c in vocabulary.in_scheme("remedy") if "Allen Keynotes" in " ".join(c.source)]
    frames = ("In {} the patient is chilly and wants to be alone.", "Compare {} for the cough of old people.",
              "The child who needs {} sleeps badly after midnight.", "{} follows well when the fever has gone down.",
              "We gave {} and waited four weeks before the next visit.")  # fmt: skip
    made = []
    for _ in range(HANDOUTS):
        lines, planted = [], {}
        for _ in range(12):
            name = rng.choice(names)
            if rng.random() < 0.35:
                words = name.split()
                at = max(range(len(words)), key=lambda i: len(words[i]))
                wrong = " ".join([*words[:at], slip(words[at], rng), *words[at + 1 :]])
                if wrong != name:
                    planted[wrong] = name
                    name = wrong
            lines.append(rng.choice(frames).format(name))
        made.append(("\n".join(lines), planted))
    return made


def english() -> str:
    """Plain English prose from packages of this machine: licences and manuals, not written for this test."""
    texts = []
    for path in sorted(Path("/usr/share/common-licenses").glob("*")):
        if path.is_file():
            texts.append(path.read_text(errors="ignore"))
    for name in ("email", "statistics", "unittest", "argparse", "decimal", "datetime", "random", "textwrap", "shutil"):
        module = importlib.import_module(name)
        texts.append(module.__doc__ or "")
        texts += [value.__doc__ or "" for value in vars(module).values() if callable(value)]
    return "\n".join(texts)


LOADING = """
import json, time
def clock(): return time.perf_counter(), time.process_time()
from notesmith.vocabulary import Vocabulary, label_key, load_vocabulary
marks = [clock()]
vocabulary = load_vocabulary()
marks.append(clock())
assert vocabulary.find("Kali bi")[0].id == "remedy/kali-bichromicum"
marks.append(clock())
print(json.dumps([[round(1000 * (b[i] - a[i]), 1) for i in (0, 1)] for a, b in zip(marks, marks[1:])]))
"""


def loading(runs: int) -> dict[str, Any]:
    """Loading everything and the first look-up by label, in processes of their own, without and with the cache."""
    result: dict[str, Any] = {"runs": runs, "load_average": round(os.getloadavg()[0], 2)}
    for state in ("cold", "warm"):
        rows = []
        with tempfile.TemporaryDirectory() as cache:
            for number in range(runs + (state == "warm")):
                if state == "cold":
                    shutil.rmtree(Path(cache) / "notesmith", ignore_errors=True)
                done = subprocess.run([sys.executable, "-c", LOADING], capture_output=True, text=True, check=True,
                                      env={**os.environ, "XDG_CACHE_HOME": cache})  # fmt: skip
                if state == "cold" or number:
                    rows.append(json.loads(done.stdout))
        for at, step in enumerate(("load", "first look-up")):
            wall, cpu = (statistics.median(row[at][i] for row in rows) for i in (0, 1))
            result[f"{state} {step} ms"], result[f"{state} {step} CPU ms"] = wall, cpu
            print(f"{state}: {step} {wall:.0f} ms wall, {cpu:.0f} ms CPU (median of {runs}; "
                  f"load average {result['load_average']})")  # fmt: skip
    return result


# The files of Debian's package fortunes whose findings were read while the rules were made, and those that were not.
PROSE_DEV = "literature medicine science food wisdom love people education definitions law".split()
PROSE_SEALED = (
    "politics work sports men-women miscellaneous riddles pets platitudes humorists cookie drugs news kids".split()
)


def quotations(folder: Path, names: list[str]) -> str:
    """Prose of many hands: what Debian's package fortunes quotes of literature, medicine, politics, work and more.

    Empty where the package is not there: ``apt-get install fortunes``, or unpack it and name the folder.
    """
    texts = [
        (folder / name).read_text(encoding="utf-8", errors="ignore") for name in names if (folder / name).is_file()
    ]
    return "\n".join(texts)


def alarms_in(checker: SpellingChecker, text: str) -> tuple[int, int, list[str]]:
    """Words, findings, and what was found."""
    found = [str(one) for line in text.split("\n") for one in checker.check_line(DocumentLine(1, line))]
    return len(text.split()), len(found), found


def run(arguments: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser()
    parser.add_argument("--seed", type=int, default=7)
    parser.add_argument("--prose", type=Path, default=Path("/usr/share/games/fortunes"), help="Debian's quotations")
    parser.add_argument("--runs", type=int, default=9, help="how often loading is timed, each in a process of its own")
    given = parser.parse_args(arguments)
    vocabulary = load_vocabulary()
    counts = Counter(c.scheme for c in vocabulary.concepts.values())
    figures: dict[str, Any] = {"counts": dict(counts), "relations": len(vocabulary.relations)}
    problems = Counter(p.severity for p in validate())
    figures["validation"] = dict(problems)
    print(f"concepts: {dict(counts)}; relations: {len(vocabulary.relations)}")
    print(f"validation: {problems['error']} errors, {problems['warning']} warnings")
    figures["loading"] = loading(given.runs)
    for name in ("boericke.tsv", "allen_keynotes.tsv", "kent_abbrev.tsv"):
        if (REFERENCE / name).is_file():
            names = [line.split("\t")[0] for line in (REFERENCE / name).read_text().splitlines() if line]
            share = sum(bool(vocabulary.find(one, "remedy")) for one in names) / len(names)
            resolved = sum(bool(resolve_remedy(vocabulary, one).concepts) for one in names) / len(names)
            figures[f"coverage {name}"] = {"by label": round(share, 4), "resolved": round(resolved, 4)}
            print(f"coverage of {name}: {share:.3f} by label, {resolved:.3f} with spellings resolved, of {len(names)}")
    if (REFERENCE / "kent_rubrics.txt").is_file():
        rows = [line.split("\t")[:2] for line in (REFERENCE / "kent_rubrics.txt").read_text().splitlines() if line]
        share = sum(bool(vocabulary.find(rubric, "rubric")) for _, rubric in rows) / len(rows)
        figures["coverage kent_rubrics.txt"] = round(share, 4)
        print(f"coverage of kent_rubrics.txt: {share:.3f} of {len(rows)}")
    figures["variants"] = variants(vocabulary)
    figures["spelling"] = spelling(vocabulary, given.seed, given.prose)
    return figures


def variants(vocabulary: Vocabulary) -> dict[str, Any]:
    """Spelling variants of remedies' names, each taken out of the vocabulary and looked up: rules beside the nearest
    label by letters. A variant is a label at least 0.8 like another of its remedy's and not the same but for case."""
    owners: dict[str, dict[str, set[str]]] = {}
    labels: list[tuple[str, str]] = []
    for concept in vocabulary.in_scheme("remedy"):
        for label in (concept.pref_label, *concept.alt_labels):
            owners.setdefault(skeleton(label), {}).setdefault(concept.id, set()).add(label_key(label))
            labels.append((label_key(label), concept.id))
    keys = [key for key, _ in labels]
    tried, right, ambiguous, wrong, near_right, near_wrong = 0, 0, 0, 0, 0, 0
    for concept in vocabulary.in_scheme("remedy"):
        for label in concept.alt_labels:
            key = label_key(label)
            others = {k for k, owner in labels_of(labels, concept.id) if k != key}
            alike = any(DamerauLevenshtein.normalized_similarity(key, other) >= 0.8 for other in others)
            if len(key) < 6 or not alike:
                continue
            tried += 1
            found = {owner for owner, had in owners[skeleton(label)].items() if had - {key}}
            right += found == {concept.id}
            ambiguous += len(found) > 1 and concept.id in found
            wrong += bool(found) and concept.id not in found
            best = process.extract(
                key, keys, scorer=DamerauLevenshtein.normalized_similarity, limit=4, score_cutoff=0.8
            )
            nearest = next((labels[at][1] for k, _, at in best if k != key), None)
            near_right += nearest == concept.id
            near_wrong += nearest is not None and nearest != concept.id
    result = {"variants": tried, "rules right": round(right / tried, 3), "rules ambiguous": round(ambiguous / tried, 3),
              "rules wrong": round(wrong / tried, 3), "nearest right": round(near_right / tried, 3),
              "nearest wrong": round(near_wrong / tried, 3)}  # fmt: skip
    for name, value in result.items():
        print(f"spelling variants left out, {name}: {value}")
    return result


def labels_of(labels: list[tuple[str, str]], owner: str) -> list[tuple[str, str]]:
    at = bisect.bisect_left(labels, owner, key=lambda one: one[1])
    return list(itertools.takewhile(lambda one: one[1] == owner, itertools.islice(labels, at, None)))


def spelling(vocabulary: Any, seed: int, prose: Path) -> dict[str, Any]:
    checker = SpellingChecker(vocabulary)
    labels = [c.pref_label for c in vocabulary.in_scheme("remedy")]
    planted = found = right = reported = naive_right = naive_reported = 0
    for text, errors in handouts(seed):
        planted += len(errors)
        for number, line in enumerate(text.split("\n"), start=1):
            findings = list(checker.check_line(DocumentLine(number, line)))
            reported += len(findings)
            found += sum(f.written in errors for f in findings)
            right += sum(errors.get(f.written) == f.preferred for f in findings)
            for word in line.split():  # naive: every word against the list by ratio, as a spreadsheet would
                near = process.extractOne(word, labels, scorer=fuzz.ratio, score_cutoff=80)
                if near and near[0] != word:
                    naive_reported += 1
                    naive_right += any(near[0] == true and word in wrong for wrong, true in errors.items())
    result: dict[str, Any] = {
        "handouts": HANDOUTS, "planted": planted, "recall": round(found / planted, 3),
        "mended right": round(right / planted, 3), "precision": round(found / max(1, reported), 3),
        "naive recall": round(naive_right / planted, 3),
        "naive precision": round(naive_right / max(1, naive_reported), 3),
    }  # fmt: skip
    for name, text in (
        ("manuals and licences", english()),
        ("quotations read", quotations(prose, PROSE_DEV)),
        ("quotations never read", quotations(prose, PROSE_SEALED)),
    ):
        words, alarms, _ = alarms_in(checker, text)
        if words:
            result[f"{name}, words"] = words
            result[f"{name}, false alarms per 10,000 words"] = round(10_000 * alarms / words, 2)
    for name, value in result.items():
        print(f"spelling, {name}: {value}")
    return result
