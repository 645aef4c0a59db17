"""What the language model takes the words of a transcript for: terms misheard or not, and which.

It reads the words in context (``notesmith.language``), before anything is restored: a word that does not belong where it
stands is suspect even if it is a good English one, and what the sentence tells of a remedy speaks for that remedy however
it was misheard. ``data/reader.npz`` is made by ``benchmarks/learn_terms.py``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from notesmith.correct.candidates import (
    NEGATIONS,
    Candidate,
    HeardWord,
    number_like,
    only_edges,
    sentence_ends,
    words_of,
)
from notesmith.correct.evidence import Session
from notesmith.correct.forms import FormTable
from notesmith.correct.index import reduced
from notesmith.language import Encoder, load_pieces, told_by, unpacked, windows_of
from notesmith.sounds.distance import MAX_PHONES, encode_all
from notesmith.transcript import Transcript, WordRange

READ = (
    "read inside", "read inside least", "read begins", "read ends", "read concept", "read concept first",
    "read concept lead", "read concept below", "read scheme", "read beside", "by reading",
)  # fmt: skip
MOST_PIECES, LAP = 190, 24
SUSPECT = 0.02  # probability of a word to belong to a misheard term, below which it is not asked for which
UNLIKELY = -12.0  # nats
RUN_FROM = (0.2, 0.5)  # probabilities by which suspected words are taken together
LONGEST = 5  # words
CONSIDERED, KEPT = 60, 5  # concepts of a run: by reading, and of those by reading and sound
SOUND_WORTH = 7.0  # nats of a relative distance of one
Floats = NDArray[np.float32]


class Reading(NamedTuple):
    """``inside``, ``begins`` and ``goes_on`` (words,) are log-odds; ``concepts`` (suspect words, concepts) log-probabilities,
    ``rows`` (words,) their rows or -1."""

    inside: Floats
    begins: Floats
    goes_on: Floats
    concepts: Floats
    rows: NDArray[np.int64]
    column: Mapping[str, int]
    schemes: Mapping[str, NDArray[np.int64]]

    def of(self, r: WordRange) -> Floats:
        """(words, concepts) log-probabilities; ``UNLIKELY`` for words that are not suspect."""
        made = np.full((len(r), self.concepts.shape[1]), UNLIKELY, np.float32)
        rows = self.rows[r.start : r.end]
        made[rows >= 0] = self.concepts[rows[rows >= 0]]
        return made


class Reader:
    def __init__(self, weights: Mapping[str, Floats], names: Sequence[str]) -> None:
        self._tag = weights["tag.weight"], weights["tag.bias"]
        self._ask = weights["ask.weight"], weights["ask.bias"]
        self._keys = weights["keys.weight"], weights["keys.bias"]
        self._encoder = Encoder(load_pieces(), {k: v for k, v in weights.items() if k.split(".")[0] in _LAYERS})
        self.column = {name: number for number, name in enumerate(names)}
        by_scheme: dict[str, list[int]] = defaultdict(list)
        for name, number in self.column.items():
            by_scheme[name.split("/")[0]].append(number)
        self.schemes = {scheme: np.array(numbers) for scheme, numbers in by_scheme.items()}

    def read(self, texts: Sequence[str]) -> Reading:
        pieces = self._encoder.pieces.of(texts)
        windows = windows_of(pieces, MOST_PIECES, LAP)
        states = np.zeros((len(texts), self._tag[0].shape[0]), np.float32)
        for (start, end), (first, last), own in zip(
            windows, told_by(windows), self._encoder.read([pieces[start:end] for start, end in windows]), strict=True
        ):
            ends = np.cumsum([0, *map(len, pieces[start:end])])[first - start : last - start + 1]
            states[first:last] = np.hstack([own[ends[:-1]], own[ends[1:] - 1]])
        tags = _log_shares(states @ self._tag[0] + self._tag[1])
        inside = -np.expm1(tags[:, 0])
        suspect = np.flatnonzero(inside >= SUSPECT)
        rows = np.full(len(texts), -1)
        rows[suspect] = np.arange(len(suspect))
        asked = _bent(states[suspect] @ self._ask[0] + self._ask[1])
        concepts = np.maximum(UNLIKELY, _log_shares(asked @ self._keys[0] + self._keys[1]))
        return Reading(
            _odds(inside),
            _odds(np.exp(tags[:, 1])),
            _odds(np.exp(tags[:, 2])),
            concepts,
            rows,
            self.column,
            self.schemes,
        )


_LAYERS = ("layers", "pos", "typ", "n")


def _log_shares(scores: Floats) -> Floats:
    scores = scores - scores.max(axis=1, keepdims=True, initial=-np.inf) if len(scores) else scores
    return np.asarray(scores - np.log(np.exp(scores).sum(axis=1, keepdims=True)), np.float32)


def _odds(shares: Floats) -> Floats:
    kept = np.clip(shares, 1e-5, 1 - 1e-5)
    return np.asarray(np.log(kept / (1 - kept)), np.float32)


def _bent(x: Floats) -> Floats:
    """Gaussian error linear units (Hendrycks and Gimpel, 2016)."""
    return np.asarray(
        0.5 * x * (1 + np.tanh(np.float32(0.7978846) * (x + np.float32(0.044715) * x * x * x))), np.float32
    )


@lru_cache(maxsize=2)
def load_reader(place: Path | None = None) -> Reader:
    """The model that ships, or another for measuring."""
    packaged = resources.files("notesmith.correct").joinpath("data", "reader.npz")
    with (place or packaged).open("rb") as file, np.load(file) as kept:
        names = bytes(kept["names"]).decode().split("\n")
        weights = unpacked({name: kept[name] for name in kept if name != "names"})
    return Reader(weights, names)


@lru_cache(maxsize=8)
def reading_of(texts: tuple[str, ...]) -> Reading:
    """Kept for some transcripts: one is corrected again after each verdict on it."""
    return load_reader().read(texts)


@lru_cache(maxsize=2)
def _forms_of_terms(table: FormTable, names: tuple[str, ...]) -> tuple[NDArray[np.int64], ...]:
    """For each term the model knows the numbers of its forms."""
    return tuple(
        np.array([f for f in table.forms_of(name) if len(table.forms[f].phones) > 1], np.int64) for name in names
    )


def read_candidates(reading: Reading, session: Session, table: FormTable, frozen: frozenset[int]) -> list[Candidate]:
    """For each run of words the model suspects the terms it may be by reading and sound together, other than those found."""
    transcript, words, index = session.transcript, session.words, table.index
    known = {(one.words, table.forms[one.form].concept_id) for one in session.candidates}
    barred = frozen | words_of(session.right)
    forms_of_terms = _forms_of_terms(table, tuple(reading.column))
    found: list[Candidate] = []
    for segment_id, r in _suspected(reading, transcript, words, barred):
        said = "".join(word.phones for word in words[r.start : r.end])
        if not 1 < len(said) <= MAX_PHONES:
            continue
        told = reading.of(r).mean(axis=0)
        considered = np.argpartition(-told, CONSIDERED)[:CONSIDERED]
        own = [forms_of_terms[n] for n in considered]
        forms = np.concatenate(own)
        if not len(forms):
            continue
        theirs = [index.reduced[f] for f in forms.tolist()]
        apart = process.cdist([reduced(said)], theirs, scorer=Levenshtein.normalized_distance, dtype=np.float32)[0]
        scores = np.repeat(told[considered], list(map(len, own))) - SOUND_WORTH * (apart + 0.1 * index.penalties[forms])
        best: dict[str, int] = {}
        for form in forms[np.argsort(-scores, kind="stable")].tolist():
            best.setdefault(table.forms[form].concept_id, form)
            if len(best) == KEPT:
                break
        wanted = [form for concept_id, form in best.items() if (r, concept_id) not in known]
        if not wanted:
            continue
        codes = encode_all([said])
        distances = index.costs.many(np.repeat(codes, len(wanted), 0), index.codes[wanted]) + index.penalties[wanted]
        everyday = not any(word.odd for word in words[r.start : r.end])
        found += [
            Candidate(segment_id, r, everyday, said, form, float(distance), 0, by_reading=True)
            for form, distance in zip(wanted, distances, strict=True)
        ]
    return found


def _suspected(
    reading: Reading, transcript: Transcript, words: Sequence[HeardWord], barred: frozenset[int]
) -> Iterator[tuple[int, WordRange]]:
    seen: set[tuple[int, int]] = set()
    for segment in transcript.segments:
        whole = transcript.segment_range(segment.id)
        for least in RUN_FROM:
            floor = np.log(least / (1 - least))
            start = None
            for i in range(whole.start, whole.end + 1):
                on = i < whole.end and reading.inside[i] >= floor and i not in barred and _may_be(words[i])
                breaks = (
                    on
                    and start is not None
                    and (
                        reading.begins[i] > reading.goes_on[i]
                        or sentence_ends(words[i - 1].text)
                        or i - start >= LONGEST
                    )
                )
                if start is not None and (not on or breaks):
                    if (start, i) not in seen and not only_edges(tuple(words[start:i])):
                        seen.add((start, i))
                        yield segment.id, WordRange(start, i)
                    start = None
                if on and start is None:
                    start = i


def _may_be(word: HeardWord) -> bool:
    return bool(word.phones) and not number_like(word.plain) and word.plain not in NEGATIONS - {"cant"}


def read_rows(reading: Reading, table: FormTable, hypotheses: Sequence[Candidate]) -> NDArray[np.float64]:
    """(hypotheses, READ); rivals are the others over the same words."""
    places = [(one.words, table.forms[one.form].concept_id) for one in hypotheses]
    count = len(reading.inside)
    schemes = {
        scheme: np.log(np.exp(reading.concepts[:, columns]).sum(axis=1) + np.float32(1e-6)) for scheme, columns in reading.schemes.items()
    }  # fmt: skip
    best = reading.concepts.max(axis=1, initial=UNLIKELY)

    def at(values: Floats, words: NDArray[np.int64]) -> Floats:
        rows = reading.rows[words]
        return np.where(rows >= 0, values[rows], UNLIKELY) if len(values) else np.full(len(rows), UNLIKELY, np.float32)

    told: list[Floats] = []
    at_word: dict[int, list[int]] = defaultdict(list)
    for number, (r, concept_id) in enumerate(places):
        column = reading.column.get(concept_id)
        inside = np.arange(r.start, r.end)
        told.append(
            np.full(len(r), UNLIKELY, np.float32) if column is None else at(reading.concepts[:, column], inside)
        )
        for i in inside.tolist():
            at_word[i].append(number)
    means = [float(one.mean()) for one in told]
    made = np.zeros((len(places), len(READ)))
    for number, (r, concept_id) in enumerate(places):
        inside = np.arange(r.start, r.end)
        rivals = [means[n] for i in inside.tolist() for n in at_word[i] if places[n][1] != concept_id]
        scheme = schemes.get(concept_id.split("/")[0])
        beside = (reading.inside[i] if 0 <= i < count else -9.0 for i in (r.start - 1, r.end))
        made[number] = (
            reading.inside[inside].mean(), reading.inside[inside].min(), reading.begins[r.start],
            -(reading.goes_on[r.end] if r.end < count else -9.0), means[number], told[number][0],
            means[number] - max(rivals, default=UNLIKELY), means[number] - at(best, inside).mean(),
            UNLIKELY if scheme is None else at(scheme, inside).mean(), max(beside),
            float(hypotheses[number].by_reading),
        )  # fmt: skip
    return made
