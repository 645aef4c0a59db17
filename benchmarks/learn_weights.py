"""Learn how to weigh the evidence for a term: writes notesmith/correct/weights.json.

    python benchmarks/learn_weights.py [--leave-out SCRIPT]

Three kinds of labelled lectures, neither dev nor sealed: the train lectures as the real model heard them; lecture texts in
which terms were replaced by what the model heard for them, or for other common terms, in the experiment (training terms
and voices only); and the texts of benchmarks/data/tuning, written by hand, with real words in the wrong place and
ordinary English. The weights are those under which the readings that hold exactly the true terms are likeliest
(conditional likelihood of a semi-Markov field, small words at a term's edge left open), with a ridge, by L-BFGS; the
session's support is reckoned again between rounds. ``--leave-out t02`` learns without one script and prints how
often what is said with a probability is right on it.
"""

from __future__ import annotations

import argparse
import gzip
import math
import random
import re
import sys
from collections import defaultdict
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from wordfreq import zipf_frequency

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE / "lab"))

from learn_sounds import DATA, read_pairs, train_rows  # noqa: E402
from truth import occurrences, parse_line, read_times  # noqa: E402

import notesmith.correct.weigh as weigh_module  # noqa: E402
from notesmith.correct.candidates import EDGE_WORDS, letter_phones  # noqa: E402
from notesmith.correct.decide import probabilities, shares_of  # noqa: E402
from notesmith.correct.evidence import FEATURES, Evidences, Session, first_support, support_of  # noqa: E402
from notesmith.correct.field import marginals  # noqa: E402
from notesmith.correct.forms import FormTable, form_table  # noqa: E402
from notesmith.correct.gather import gather  # noqa: E402
from notesmith.correct.weigh import Weights  # noqa: E402
from notesmith.sounds import load_costs, pronounce_text  # noqa: E402
from notesmith.sounds.distance import encode_all  # noqa: E402
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange, sounding  # noqa: E402
from notesmith.vocabulary import Vocabulary, label_key, load_vocabulary  # noqa: E402
from notesmith.vocabulary.spoken import readings_of_label  # noqa: E402

TARGET = Path(weigh_module.__file__).parent / "weights.json"
RIDGE, ROUNDS, ITERATIONS = 1.5, 2, 60
SEGMENT_WORDS = 14
LISTENED = ("remedy/", "family/", "author/", "book/", "journal/", "idea/", "medical/")
FARTHEST = 0.95  # sound distance a phone above which a pair teaches nothing
Floats = NDArray[np.float64]


class Labelled(NamedTuple):
    name: str
    transcript: Transcript
    terms: dict[tuple[int, int], str]  # word range of a term that was misheard -> concept
    unsure: tuple[tuple[WordRange, str | None], ...] = ()  # bounds in doubt, with the concept if it has one
    lines: tuple[tuple[int, str], ...] = ()  # what was said, with the millisecond each line begins


class Problem(NamedTuple):
    """One segment: its hypotheses, and for each true term those that count as it."""

    length: int
    places: list[tuple[int, int]]
    rows: list[int]  # of the lecture's feature matrix
    true: list[list[int]]  # hypothesis numbers


def as_segments(words: Sequence[str], terms: dict[tuple[int, int], str], name: str) -> Transcript:
    inside = {i for start, end in terms for i in range(start + 1, end)}
    timed = [Word(TimeSpan(i * 400, i * 400 + 350), text) for i, text in enumerate(words)]
    segments: list[Segment] = []
    at = 0
    while at < len(timed):
        end = min(len(timed), at + SEGMENT_WORDS)
        while end in inside:
            end += 1
        segments.append(Segment(len(segments), tuple(timed[at:end])))
        at = end
    return Transcript("0" * 64, "en", name, tuple(segments))


def decoded_lectures(part: str, vocabulary: Vocabulary, heard: str = "plain") -> Iterator[Labelled]:
    """The lectures as Whisper base heard them (``plain``) or the packaged model, whose decoder is taught (``adapted``)."""
    for path in sorted((DATA / part).glob(f"*.{heard}.json.gz")):
        transcript = msgspec.json.decode(gzip.decompress(path.read_bytes()), type=Transcript)
        name = path.name.removesuffix(f".{heard}.json.gz")
        script = path.with_name(name.rsplit(".", 1)[0] + ".txt")
        terms, unsure = {}, []
        spoken = read_times(script, path.with_name(f"{name}.times.tsv"))
        for one in occurrences(spoken, transcript):
            identifier = one.said.concept_id
            if one.said.decoy or identifier is None or not len(one.words) or not identifier.startswith(LISTENED):
                continue
            if not one.clean or identifier not in vocabulary:
                unsure.append((one.words, identifier if identifier in vocabulary else None))
            elif sounding(one.heard) != sounding(one.said.text):
                terms[one.words.start, one.words.end] = identifier
        lines = tuple((start, f" {label_key(line.text)} ") for start, _, line in spoken)
        yield Labelled(name, transcript, terms, tuple(unsure), lines)


def put_back(lecture: Labelled, session: Session, table: FormTable, number: int) -> bool:
    """Whether a hypothesis outside the marked terms puts back words that were said there and not heard."""
    one = session.candidates[number]
    start_ms = lecture.transcript.words[one.words.start].time.start_ms
    ends = (*(start for start, _ in lecture.lines[1:]), math.inf)
    near = " ".join(
        text for (start, text), end in zip(lecture.lines, ends, strict=False) if start - 400 <= start_ms <= end + 400
    )
    if not near or f" {label_key(lecture.transcript.text(one.words))} " in near:
        return False
    concept = table.vocabulary[table.forms[one.form].concept_id]
    labels = {label_key(label) for label in (concept.pref_label, *concept.alt_labels, table.forms[one.form].label)}
    return any(f" {label} " in near or f" {label}s " in near for label in labels if len(label) > 3)


def tuning_texts() -> Iterator[Labelled]:
    for path in sorted((DATA / "tuning").glob("*.txt")):
        words: list[str] = []
        terms: dict[tuple[int, int], str] = {}
        for part in re.split(r"(<[^>]*>)", path.read_text(encoding="utf-8")):
            if match := re.fullmatch(r"<([^|]*)\|([^>]*)>", part):
                heard = match[1].split()
                terms[len(words), len(words) + len(heard)] = match[2]
                words += heard
                continue
            plain = part.split()
            if plain and words and re.fullmatch(r"[.,;:?!]+|['’]s[.,]?", plain[0]):
                words[-1] += plain.pop(0)
            words += plain
        yield Labelled(f"tuning-{path.stem}", as_segments(words, terms, "tuning"), terms)


def plain_texts() -> Iterator[tuple[str, list[str]]]:
    """Lecture texts as written, with the training scripts' terms still marked."""
    for path in sorted((DATA / "train").glob("t*.txt")):
        yield (
            path.stem,
            [line.split(": ", 1)[1] for line in path.read_text().splitlines() if re.match(r"[LQP]: ", line)],
        )
    for path in sorted((HERE.parent / "sample_audio" / "scripts").glob("*.txt")):
        lines = [line for line in path.read_text().splitlines() if line and not line.startswith("#")]
        yield path.stem, [re.sub(r"^\w: (\[\w+\] )?", "", line) for line in lines]
    for path in sorted((DATA / "gold" / "dev").glob("*.txt")):
        text = path.read_text()
        for _ in range(6):
            text = re.sub(r"\{[^{}|]*\|([^{}]*)\}", r"\1", text)
        yield f"gold-{path.stem}", [line for line in text.splitlines() if line.strip() and line[0] not in "@#"]


def heard_pairs(vocabulary: Vocabulary) -> dict[str, list[tuple[str, str]]]:
    """Mishearings by concept, with the label that was said; those too far off to be told by sound are left out."""
    found: dict[str, list[tuple[str, str]]] = defaultdict(list)
    for row in train_rows(read_pairs(sorted(DATA.glob("pairs*.tsv")))):
        readings = [reading[:40] for reading in readings_of_label(row["label"])]
        kept = sum(len(part) for part in row["heard"].split()) / len(row["label"].replace(" ", ""))
        phones, letters = pronounce_text(row["heard"])[:40], letter_phones(sounding(row["heard"]))[:40]
        if row["id"] in vocabulary and readings and len(phones) > 1 and 0.5 < kept < 1.9:
            said = encode_all(readings)
            nearest = min(float(load_costs().distances(p, said).min()) for p in (phones, letters or phones))
            if nearest < FARTHEST * len(readings[0]):
                found[row["id"]].append((row["heard"], row["label"]))
    return dict(found)


class Garbler:
    """Replaces the terms of a text by mishearings: the term's own, or those of another common term of its kind."""

    def __init__(self, vocabulary: Vocabulary, table: FormTable) -> None:
        self.vocabulary = vocabulary
        self.pairs = heard_pairs(vocabulary)
        priors = {form.concept_id: form.prior for form in table.forms}
        self.kinds: dict[str, list[str]] = defaultdict(list)
        for identifier in self.pairs:
            self.kinds[identifier.split("/")[0]].append(identifier)
        self.weights = {k: [10 ** (0.7 * priors.get(i, -6.0)) for i in ids] for k, ids in self.kinds.items()}

    def garbled(self, name: str, lines: list[str], seed: int) -> Labelled:
        rng = random.Random(f"{name}/{seed}")
        swap: dict[str, str] = {}
        words: list[str] = []
        terms: dict[tuple[int, int], str] = {}
        for said in (said for line in lines for said in parse_line(f"L: {line}").said):
            pieces = said.text.split()
            if said.concept_id is not None and said.concept_id.startswith("potency"):
                words += pieces
            elif said.concept_id is not None:
                self._place(said.text, said.concept_id, rng, swap, words, terms)
            else:
                self._plain(pieces, rng, swap, words, terms)
        return Labelled(f"{name}/{seed}", as_segments(words, terms, "garbled"), terms)

    def _plain(self, pieces, rng, swap, words, terms) -> None:  # type: ignore[no-untyped-def]
        at = 0
        while at < len(pieces):
            for length in range(min(4, len(pieces) - at), 0, -1):
                label = " ".join(pieces[at : at + length])
                ids = [i for i in self.vocabulary.by_label.get(label_key(label), ()) if i.startswith("remedy/")]
                if len(ids) == 1 and label[:1].isupper():
                    self._place(label, ids[0], rng, swap, words, terms)
                    at += length
                    break
            else:
                self._medical(pieces[at], rng, words, terms)
                at += 1

    def _medical(self, piece, rng, words, terms) -> None:  # type: ignore[no-untyped-def]
        """Half of the rarer medical words get a slip of spelling, as the recogniser makes them."""
        bare = piece.strip(".,;:?!").lower()
        ids = [i for i in self.vocabulary.by_label.get(label_key(bare), ()) if i.startswith("medical/")]
        if ids and len(bare) >= 6 and zipf_frequency(bare, "en") < 4.0 and rng.random() < 0.5:
            slip = misspelt(bare, rng)
            if slip != bare and zipf_frequency(slip, "en") < 2.5:
                terms[len(words), len(words) + 1] = ids[0]
                piece = slip + piece[len(piece.rstrip(".,;:?!")) :]
        words.append(piece)

    def _place(self, label, identifier, rng, swap, words, terms) -> None:  # type: ignore[no-untyped-def]
        kind = identifier.split("/")[0]
        if rng.random() < 0.2 or not self.kinds.get(kind):
            words += label.split()
            return
        if identifier not in swap:
            own = identifier in self.pairs and rng.random() < 0.6
            swap[identifier] = identifier if own else rng.choices(self.kinds[kind], self.weights[kind])[0]
        heard, spoken = rng.choice(self.pairs[swap[identifier]])
        if sounding(heard) == sounding(spoken):
            words += spoken.split()
            return
        pieces = heard.split()
        terms[len(words), len(words) + len(pieces)] = swap[identifier]
        words += [*pieces[:-1], pieces[-1].rstrip(".,") + label[len(label.rstrip(".,;:?!")) :]]


def misspelt(word: str, rng: random.Random) -> str:
    for _ in range(rng.choice((1, 1, 2))):
        slips = [word[: m.start()] + word[m.start() + 1 :] for m in re.finditer(r"([a-z])\1", word)]
        vowels = [i for i, c in enumerate(word) if c in "aeiou" and i]
        if vowels:
            at = rng.choice(vowels)
            slips.append(word[:at] + rng.choice("aeiou") + word[at + 1 :])
        for old, new in (("ph", "f"), ("ae", "e"), ("oe", "e"), ("y", "i"), ("c", "k"), ("rrh", "r"), ("th", "t")):
            if old in word[1:]:
                slips.append(word[0] + word[1:].replace(old, new, 1))
        word = rng.choice(slips) if slips else word
    return word


def problems_of(lecture: Labelled, session: Session, table: FormTable) -> list[Problem]:
    by_segment: dict[int, list[int]] = defaultdict(list)
    for number, one in enumerate(session.candidates):
        unsure = any(one.words.overlaps(r) for r, _ in lecture.unsure)
        marked = any(counts_as(session, table, number, WordRange(*r), i) for r, i in lecture.terms.items())
        if not unsure and (marked or not put_back(lecture, session, table, number)):
            by_segment[one.segment_id].append(number)
    found = []
    for segment_id, numbers in by_segment.items():
        whole = lecture.transcript.segment_range(segment_id)
        true: list[list[int]] = []
        for (start, end), identifier in lecture.terms.items():
            r = WordRange(start, end)
            if not whole.overlaps(r):
                continue
            counts = [n for n in numbers if counts_as(session, table, n, r, identifier)]
            if counts:
                true.append(counts)
            else:  # not to be found by its sound; it teaches nothing
                numbers = [n for n in numbers if not session.candidates[n].words.overlaps(r)]
                true = [[n for n in one if n in numbers] for one in true]
        if numbers:
            at = {n: i for i, n in enumerate(numbers)}
            places = [(session.candidates[n].words.start - whole.start, session.candidates[n].words.end - whole.start)
                      for n in numbers]  # fmt: skip
            found.append(Problem(len(whole), places, numbers, [[at[n] for n in one] for one in true if one]))
    return found


def counts_as(session: Session, table: FormTable, number: int, r: WordRange, identifier: str) -> bool:
    one = session.candidates[number]
    if table.forms[one.form].concept_id != identifier or not one.words.overlaps(r):
        return False
    rest = set(range(one.words.start, one.words.end)) ^ set(range(r.start, r.end))
    return all(session.words[i].plain in EDGE_WORDS for i in rest)


def loss(weights: Floats, problems: Sequence[tuple[Problem, Floats]]) -> tuple[float, Floats]:
    """Negative log-likelihood of the true readings with its gradient."""
    value, gradient = 0.0, np.zeros_like(weights)
    for problem, x in problems:
        scores = x @ weights
        whole, shares = marginals(problem.length, problem.places, scores.tolist())
        value += whole
        gradient += np.asarray(shares) @ x
        for counts in problem.true:
            own = scores[counts]
            top = float(own.max())
            parts = np.exp(own - top)
            value -= top + float(np.log(parts.sum()))
            gradient -= (parts / parts.sum()) @ x[counts]
    ridge = np.full(len(weights), RIDGE)
    ridge[0] = 1e-3
    return value + 0.5 * float((ridge * weights * weights).sum()), gradient + ridge * weights


class Prepared(NamedTuple):
    """A lecture with its candidates, their evidence and the questions they pose."""

    lecture: Labelled
    session: Session
    evidences: Evidences
    problems: list[Problem]


def prepare(lecture: Labelled, table: FormTable) -> Prepared:
    session = gather(lecture.transcript, table)
    return Prepared(lecture, session, Evidences(session, table), problems_of(lecture, session, table))


def learn(prepared: Sequence[Prepared], table: FormTable) -> tuple[Floats, int]:
    supports = [first_support(one.session, table) for one in prepared]
    weights = np.zeros(len(FEATURES))
    for turn in range(ROUNDS):
        rows = [one.evidences.matrix(support) for one, support in zip(prepared, supports, strict=True)]
        flat = [(p, x[p.rows]) for one, x in zip(prepared, rows, strict=True) for p in one.problems]
        weights = minimize(loss, weights, args=(flat,), jac=True, method="L-BFGS-B", options={"maxiter": ITERATIONS}).x
        if turn + 1 < ROUNDS:
            supports = [
                support_of(one.session, table, shares_of(one.session, x @ weights))
                for one, x in zip(prepared, rows, strict=True)
            ]
    return weights, sum(len(p.true) for one in prepared for p in one.problems)


def reliability(lectures: Sequence[Labelled], weights: Weights, vocabulary: Vocabulary, table: FormTable) -> str:
    said: list[tuple[float, bool]] = []
    for lecture in lectures:
        session = gather(lecture.transcript, table)
        shares, _ = probabilities(session, table, weights)
        for number, share in enumerate(shares):
            if not any(session.candidates[number].words.overlaps(r) for r, _ in lecture.unsure):
                right = any(counts_as(session, table, number, WordRange(*r), i) for r, i in lecture.terms.items())
                said.append((share, right))
    lines = ["  said        examples   right"]
    for low, high in ((0.02, 0.1), (0.1, 0.3), (0.3, 0.5), (0.5, 0.7), (0.7, 0.9), (0.9, 1.01)):
        inside = [right for share, right in said if low <= share < high]
        if inside:
            lines.append(f"  {low:.2f}-{min(high, 1):.2f}  {len(inside):9d}   {sum(inside) / len(inside):.3f}")
    return "\n".join(lines)


def training_lectures(vocabulary: Vocabulary, table: FormTable) -> list[Labelled]:
    """All labelled lectures: heard by the real model, written for tuning, and garbled from texts."""
    garbler = Garbler(vocabulary, table)
    lectures = [*decoded_lectures("train", vocabulary), *tuning_texts()]
    return lectures + [garbler.garbled(name, lines, 1) for name, lines in plain_texts()]


def as_weights(learnt: Floats, note: str) -> Weights:
    return Weights({name: round(float(v), 4) for name, v in zip(FEATURES, learnt, strict=True)}, note)


def save(weights: Weights, target: Path = TARGET) -> None:
    target.write_bytes(msgspec.json.format(msgspec.json.encode(weights), indent=1) + b"\n")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--leave-out", default="", help="a script (t02) to learn without and to try the weights on")
    parser.add_argument("--to", type=Path, default=TARGET)
    given = parser.parse_args()
    vocabulary = load_vocabulary()
    table = form_table(vocabulary, load_costs())
    lectures = training_lectures(vocabulary, table)
    out = [one for one in lectures if given.leave_out and one.name.startswith(given.leave_out)]
    kept = [one for one in lectures if one not in out]
    learnt, true = learn([prepare(one, table) for one in kept], table)
    note = f"{true} misheard terms in {len(kept)} lectures; python benchmarks/learn_weights.py"
    weights = as_weights(learnt, note)
    save(weights, given.to)
    print(note)
    tried = [one for one in out if "/" not in one.name]
    if tried:
        print(f"reliability on {', '.join(one.name for one in tried)}, left out of the fit:")
        print(reliability(tried, weights, vocabulary, table))


if __name__ == "__main__":
    main()
