"""Learn as what labels are heard, piece by piece: writes notesmith/correct/data/garbles.npz.

    python benchmarks/learn_garbles.py

From the misheard terms of the train lectures, as Whisper base and the packaged model heard them, and the mishearings
found by experiment without the held-out terms and voices (as learn_sounds.py). Pieces are counted by expectation
maximisation over all cuts of both strings, on letters and on phones; ordinary trigrams come from the words of the same
lectures. Where the judge is learnt (learn_judge.py), the pairs that the left-out fold knows are taken out of the counts again.
"""

from __future__ import annotations

import gzip
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Levenshtein

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE / "lab")]

from learn_sounds import DATA, nearest, read_pairs, train_rows  # noqa: E402
from learn_weights import LISTENED  # noqa: E402
from truth import occurrences, read_times  # noqa: E402

import notesmith.correct.garble as garble  # noqa: E402
from notesmith.correct.garble import (  # noqa: E402
    LEAST,
    LETTERS,
    LONGEST,
    SIZES,
    Garbles,
    channel,
    codes,
    compared_letters,
    first_guess,
    pieces_of,
    summed,
)
from notesmith.sounds import load_costs, pronounce_text  # noqa: E402
from notesmith.sounds.distance import encode_all  # noqa: E402
from notesmith.sounds.phones import PHONES  # noqa: E402
from notesmith.transcript import Transcript, sounding  # noqa: E402
from notesmith.vocabulary.spoken import readings_of_label  # noqa: E402

TARGET = Path(garble.__file__).parent / "data" / "garbles.npz"
ROUNDS = 5
BATCH = 600
LEAST_ALIKE, LENGTHS, FARTHEST = 0.2, (0.5, 1.9), 0.95  # pairs beyond teach nothing
LEAST_KEPT = 0.2  # uses of a pair of pieces
MOST_OFTEN = 20  # times a word counts for the trigrams
Table = NDArray[np.float32]


class Counted(NamedTuple):
    """Of one alphabet: counts of pieces from all pairs, those each fold's pairs gave, and counts of trigrams."""

    alphabet: str
    every: Table
    by_fold: dict[int, Table]
    trigrams: Table


def transcripts() -> Iterator[tuple[str, Path, Transcript]]:
    for heard in ("plain", "adapted"):
        for path in sorted((DATA / "train").glob(f"*.{heard}.json.gz")):
            transcript = msgspec.json.decode(gzip.decompress(path.read_bytes()), type=Transcript)
            yield path.name.removesuffix(f".{heard}.json.gz"), path, transcript


def mishearings() -> Iterator[tuple[str, str, str]]:
    """Lecture (or nothing), the label said, the words heard."""
    for name, path, transcript in transcripts():
        spoken = read_times(path.with_name(name.rsplit(".", 1)[0] + ".txt"), path.with_name(f"{name}.times.tsv"))
        for one in occurrences(spoken, transcript):
            identifier = one.said.concept_id
            if identifier is not None and identifier.startswith(LISTENED) and len(one.words) and one.clean:
                yield name, one.said.text, one.heard
    for row in train_rows(read_pairs(sorted(DATA.glob("pairs*.tsv")))):
        yield "", row["label"], row["heard"]


def learn(fold_of: Callable[[str], int]) -> tuple[Counted, Counted]:
    """Letters and phones; ``fold_of`` tells the fold of a lecture by its name."""
    letters: dict[tuple[str, str], set[int]] = defaultdict(set)
    phones: dict[tuple[str, str], set[int]] = defaultdict(set)
    for name, said, heard in mishearings():
        pair = compared_letters(sounding(said)), compared_letters(sounding(heard))
        if sounding(said) == sounding(heard) or not all(pair):
            continue
        if not LENGTHS[0] < len(pair[1]) / len(pair[0]) < LENGTHS[1]:
            continue
        if Levenshtein.normalized_similarity(*pair) < LEAST_ALIKE:
            continue
        own = {fold_of(name)} if name else set()
        letters[pair] |= own
        spoken, readings = pronounce_text(heard)[:LONGEST], tuple(r[:LONGEST] for r in readings_of_label(said))
        if readings and len(spoken) > 1:
            reading = nearest(load_costs(), spoken, readings)
            if load_costs().distances(spoken, encode_all([reading]))[0] < FARTHEST * len(reading):
                phones[reading, spoken] |= own
    said: Counter[tuple[str, str]] = Counter()
    for _, path, transcript in transcripts():
        if ".plain." in path.name:
            said.update((compared_letters(sounding(w.text)), pronounce_text(w.text)) for w in transcript.words)
    return (
        counted(LETTERS, letters, {word: count for (word, _), count in said.items()}),
        counted(PHONES, phones, {spoken: count for (_, spoken), count in said.items()}),
    )


def counted(alphabet: str, pairs: dict[tuple[str, str], set[int]], ordinary: dict[str, int]) -> Counted:
    size = len(alphabet) + 1
    every = list(pairs)
    pieces = first_guess(size)
    for turn in range(ROUNDS):
        counts, score = expected(every, pieces, alphabet)
        pieces = pieces_of(counts, size)
        print(f"{len(alphabet)} signs, {len(every)} pairs, round {turn + 1}: {score / len(every):.3f} nats a pair")
    by_fold = {
        fold: expected([pair for pair in every if fold in pairs[pair]], pieces, alphabet)[0]
        for fold in sorted({fold for folds in pairs.values() for fold in folds})
    }
    trigrams = np.zeros((size, size, size), np.float32)
    for word, count in ordinary.items():
        coded = [0, 0, *(codes(alphabet, [word])[0] if word else ())]
        for three in zip(coded, coded[1:], coded[2:], strict=False):
            trigrams[three] += min(count, MOST_OFTEN)
    return Counted(alphabet, counts, by_fold, trigrams)


def expected(pairs: Sequence[tuple[str, str]], pieces: Table, alphabet: str) -> tuple[Table, float]:
    """How often each pair of pieces is used, all cuts by their probability, and the summed log-probability."""
    size, uses, score = len(alphabet) + 1, np.zeros_like(pieces), 0.0
    ordered = sorted(pairs, key=lambda pair: (len(pair[0]), len(pair[1])))
    for start in range(0, len(ordered), BATCH):
        batch = ordered[start : start + BATCH]
        labels, heard = (codes(alphabet, [pair[side] for pair in batch]) for side in (0, 1))
        before, ours, theirs = summed(labels, heard, pieces, size)
        ends = [np.array([len(pair[side]) for pair in batch]) for side in (0, 1)]
        own = np.arange(len(batch))
        whole = np.maximum(before[ends[0], ends[1], own], LEAST)
        score += float(np.log(whole).sum())
        after = np.zeros_like(before)
        after[ends[0], ends[1], own] = 1
        for i in range(labels.shape[1], -1, -1):
            for j in range(heard.shape[1], -1, -1):
                for a, b in SIZES:
                    if i >= a and j >= b and after[i, j].any():
                        chance = pieces[ours[i, a], theirs[j, b]] * after[i, j]
                        after[i - a, j - b] += chance
                        np.add.at(uses, (ours[i, a], theirs[j, b]), before[i - a, j - b] * chance / whole)
    return uses, score


def without(parts: tuple[Counted, Counted], fold: int) -> Garbles:
    """The model as learnt without the pairs a fold knows."""
    return Garbles(
        *(
            channel(
                one.alphabet,
                np.maximum(0, one.every - one.by_fold[fold] if fold in one.by_fold else one.every),
                one.trigrams,
            )
            for one in parts
        )
    )


def save(parts: tuple[Counted, Counted]) -> None:
    packed = {}
    for name, one in zip(("letters", "phones"), parts, strict=True):
        for what, table in (("pieces", one.every), ("trigrams", one.trigrams)):
            kept = np.flatnonzero(table.ravel() >= LEAST_KEPT)
            packed[f"{name} {what} shape"] = np.array(table.shape)
            packed[f"{name} {what} at"] = kept.astype(np.uint32)
            packed[f"{name} {what} counts"] = table.ravel()[kept]
    np.savez_compressed(TARGET, **packed)
    print(f"{TARGET.stat().st_size} bytes")


if __name__ == "__main__":
    from learn_judge import fold_of as fold_of_lecture

    save(learn(fold_of_lecture))
