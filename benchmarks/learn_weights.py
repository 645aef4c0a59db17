"""Learn how to weigh the evidence for a term: writes notesmith/correct/weights.json.

    python benchmarks/learn_weights.py

Two kinds of labelled lectures, none of them sealed: the dev lectures as the real model heard them, and lecture texts
in which each term was replaced by what the model heard for it, or for another term of its kind, in the experiment
(training terms and voices only). Every stretch the tool would consider becomes an example: right if it is exactly a
term's stretch and the term's concept. Logistic regression with a ridge, by Newton's method. Prints a reliability table
on the lectures held back from the fit.
"""

from __future__ import annotations

import gzip
import random
import re
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import msgspec
import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE / "lab"))

from learn_sounds import DATA, read_pairs, train_rows  # noqa: E402
from truth import occurrences, parse_line, read_times  # noqa: E402

import notesmith.correct as correct_room  # noqa: E402
from notesmith.correct.candidates import find, heard_words, right_already  # noqa: E402
from notesmith.correct.context import Surroundings  # noqa: E402
from notesmith.correct.decide import session_support, without_itself  # noqa: E402
from notesmith.correct.forms import form_table  # noqa: E402
from notesmith.correct.weigh import FEATURES, Weights, features  # noqa: E402
from notesmith.sounds import load_costs  # noqa: E402
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange, sounding  # noqa: E402
from notesmith.vocabulary import Vocabulary, label_key, load_vocabulary  # noqa: E402

TARGET = Path(correct_room.__file__).parent / "weights.json"
RIDGE = 1.0
HOPELESS = 1.1  # sound distance a phone
SEGMENT_WORDS = 14
GARBLED = ("remedy/", "author/", "idea/")
LISTENED = ("remedy/", "family/", "author/", "book/", "idea/", "medical/")


class Labelled(NamedTuple):
    name: str
    transcript: Transcript
    terms: dict[tuple[int, int], str]  # word range of a term that was misheard -> concept
    unsure: tuple[WordRange, ...]  # stretches no example may touch: bounds or words in doubt


def decoded_lectures(part: str, vocabulary: Vocabulary) -> Iterator[Labelled]:
    for path in sorted((DATA / part).glob("*.plain.json.gz")):
        transcript = msgspec.json.decode(gzip.decompress(path.read_bytes()), type=Transcript)
        name = path.name.removesuffix(".plain.json.gz")
        script = path.with_name(name.rsplit(".", 1)[0] + ".txt")
        terms, unsure = {}, []
        for one in occurrences(read_times(script, path.with_name(f"{name}.times.tsv")), transcript):
            identifier = one.said.concept_id
            if one.said.decoy or identifier is None or not len(one.words):
                continue
            if not identifier.startswith(LISTENED):
                continue
            if not one.clean or identifier not in vocabulary:
                unsure.append(one.words)
            elif sounding(one.heard) != sounding(one.said.text):
                terms[one.words.start, one.words.end] = identifier
        yield Labelled(name, transcript, terms, tuple(unsure))


def plain_texts() -> Iterator[tuple[str, list[str]]]:
    """Lecture texts as written, with the dev scripts' terms still marked."""
    for path in sorted((DATA / "dev").glob("*.txt")):
        spoken = (line for line in path.read_text().splitlines() if re.match(r"[LQP]: ", line))
        yield path.stem, [line.split(": ", 1)[1] for line in spoken]
    for path in sorted((HERE.parent / "sample_audio" / "scripts").glob("*.txt")):
        lines = [line for line in path.read_text().splitlines() if line and not line.startswith("#")]
        yield path.stem, [re.sub(r"^\w: (\[\w+\] )?", "", line) for line in lines]
    for path in sorted((DATA / "gold" / "dev").glob("*.txt")):
        text = path.read_text()
        for _ in range(6):
            text = re.sub(r"\{[^{}|]*\|([^{}]*)\}", r"\1", text)
        yield f"gold-{path.stem}", [line for line in text.splitlines() if line.strip() and line[0] not in "@#"]


def garbled(name: str, lines: list[str], vocabulary: Vocabulary, seed: int) -> Labelled:
    """A text with most of its terms replaced by real mishearings, of the same term or of another of its kind."""
    rng = random.Random(f"{name}/{seed}")
    by_concept, by_kind = PAIRS
    swap: dict[str, tuple[str, str]] = {}
    words: list[str] = []
    terms: dict[tuple[int, int], str] = {}
    for line in lines:
        for said in parse_line(f"L: {line}").said:
            pieces = said.text.split()
            if said.concept_id is None:
                at = 0
                while at < len(pieces):
                    for length in range(min(4, len(pieces) - at), 0, -1):
                        label = " ".join(pieces[at : at + length])
                        ids = [i for i in vocabulary.by_label.get(label_key(label), ()) if i.startswith(GARBLED)]
                        if len(ids) == 1 and (label[:1].isupper() or ids[0].startswith("idea/")):
                            _place(words, terms, label, ids[0], rng, swap, by_concept, by_kind)
                            at += length
                            break
                    else:
                        words.append(pieces[at])
                        at += 1
            else:
                _place(words, terms, said.text, said.concept_id, rng, swap, by_concept, by_kind)
    segments, at = [], 0
    timed = [Word(TimeSpan(i * 400, i * 400 + 350), text) for i, text in enumerate(words)]
    edges = {end for _, end in terms} | set(range(len(words) + 1)) - {i for s, e in terms for i in range(s + 1, e)}
    while at < len(words):
        end = min(len(words), at + SEGMENT_WORDS)
        while end not in edges:
            end += 1
        segments.append(Segment(len(segments), tuple(timed[at:end])))
        at = end
    return Labelled(f"{name}/{seed}", Transcript("0" * 64, "en", "garbled", tuple(segments)), terms, ())


def _place(words, terms, label, concept_id, rng, swap, by_concept, by_kind):  # type: ignore[no-untyped-def]
    """Add a term as it was heard: mostly misheard, each remedy of the text always standing for one and the same."""
    tail = re.search(r"[.,;:?!]*$", label)
    end = tail[0] if tail else ""
    kind = concept_id.split("/")[0]
    if rng.random() < 0.2 or not by_kind.get(kind):
        words.extend(label.split())
        return
    if concept_id not in swap:
        own = concept_id in by_concept and rng.random() < 0.85
        swap[concept_id] = (concept_id if own else rng.choice(by_kind[kind]), "")
    target = swap[concept_id][0]
    heard = rng.choice(by_concept[target]).split()
    terms[len(words), len(words) + len(heard)] = target
    words.extend([*heard[:-1], heard[-1] + end])


def examples(lecture: Labelled, vocabulary: Vocabulary) -> tuple[np.ndarray, np.ndarray]:
    table = form_table(vocabulary, load_costs())
    words = heard_words(lecture.transcript)
    right = right_already(vocabulary, words, lecture.transcript)
    found = find(table, lecture.transcript, words, right)
    around = Surroundings(words)
    support, taken = session_support(right, found, ())
    rows, labels = [], []
    ranges = [WordRange(*r) for r in lecture.terms]
    for span in found:
        if any(span.words.overlaps(r) for r in lecture.unsure):
            continue
        truth = lecture.terms.get((span.words.start, span.words.end))
        touching = [r for r in ranges if r.overlaps(span.words)]
        for match in span.matches[:3]:
            rival = next((m for m in span.matches if m.concept_id != match.concept_id), None)
            alone = without_itself(support, taken, span, match.concept_id)
            right_here = truth == match.concept_id
            if right_here and match.distance > HOPELESS * len(span.phones):
                continue  # nothing of the term was heard; it cannot teach what a garble is like
            if truth is None and touching:
                continue  # a part of a term, or a term and more: which of them is taken is decided later
            rows.append(features(span, match, rival, words, around, table, vocabulary, alone))
            labels.append(right_here)
    return np.array(rows), np.array(labels, float)


def fit(x: np.ndarray, y: np.ndarray) -> np.ndarray:
    weights = np.zeros(x.shape[1])
    penalty = np.full(x.shape[1], RIDGE)
    penalty[0] = 1e-6
    for _ in range(30):
        p = 1 / (1 + np.exp(-np.clip(x @ weights, -30, 30)))
        gradient = x.T @ (y - p) - penalty * weights
        hessian = (x * (p * (1 - p))[:, None]).T @ x + np.diag(penalty)
        step = np.linalg.solve(hessian, gradient)
        weights += step
        if np.abs(step).max() < 1e-6:
            break
    return weights


def reliability(p: np.ndarray, y: np.ndarray) -> str:
    lines = ["  said        examples   right"]
    for low, high in ((0, 0.05), (0.05, 0.2), (0.2, 0.4), (0.4, 0.6), (0.6, 0.8), (0.8, 0.95), (0.95, 1.01)):
        inside = (p >= low) & (p < high)
        if inside.any():
            lines.append(f"  {low:.2f}-{min(high, 1):.2f}  {inside.sum():9d}   {y[inside].mean():.3f}")
    return "\n".join(lines)


def main() -> None:
    vocabulary = load_vocabulary()
    global PAIRS
    by_concept: dict[str, list[str]] = defaultdict(list)
    for row in train_rows(read_pairs(sorted(DATA.glob("pairs*.tsv")))):
        kept = sum(len(part) for part in row["heard"].split())
        if row["id"] in vocabulary and 0.5 < kept / len(row["label"].replace(" ", "")) < 1.9:
            by_concept[row["id"]].append(row["heard"].replace(" -", "-").strip("-"))
    by_kind: dict[str, list[str]] = defaultdict(list)
    for identifier in by_concept:
        by_kind[identifier.split("/")[0]].append(identifier)
    PAIRS = (dict(by_concept), dict(by_kind))
    lectures = [*decoded_lectures("dev", vocabulary)]
    lectures += [garbled(name, lines, vocabulary, seed) for seed in (1, 2, 3) for name, lines in plain_texts()]
    made = [(lecture.name, *examples(lecture, vocabulary)) for lecture in lectures]
    held = [name for name, _, _ in made if name.endswith("/2") and hash_of(name) % 3 == 0]
    x = np.concatenate([rows for name, rows, _ in made if name not in held])
    y = np.concatenate([labels for name, _, labels in made if name not in held])
    weights = fit(x, y)
    note = f"{len(y)} examples, {int(y.sum())} right, {len(made) - len(held)} lectures"
    values = {name: round(float(value), 4) for name, value in zip(FEATURES, weights, strict=True)}
    TARGET.write_bytes(msgspec.json.format(msgspec.json.encode(Weights(values, note)), indent=1) + b"\n")
    print(note)
    for name, value in values.items():
        print(f"  {name:22} {value:8.3f}")
    if held:
        hx = np.concatenate([rows for name, rows, _ in made if name in held])
        hy = np.concatenate([labels for name, _, labels in made if name in held])
        p = 1 / (1 + np.exp(-np.clip(hx @ weights, -30, 30)))
        print("reliability on lectures held back from the fit:")
        print(reliability(p, hy))


def hash_of(name: str) -> int:
    return sum(name.encode())


PAIRS: tuple[dict[str, list[str]], dict[str, list[str]]] = ({}, {})

if __name__ == "__main__":
    main()
