"""The last word on each hypothesis: boosted trees over the evidence, the field's shares and, if asked, the sound.

The field (field.py) is linear in the evidence; what a word's commonness or a cue is worth depends on the rest, and the
trees learn that. They are learnt by benchmarks/learn_judge.py with the field's shares reckoned on lectures it was not
fitted to, and kept as plain arrays, so that no learning library is needed to run.
"""

from __future__ import annotations

import gzip
import math
from collections import defaultdict
from collections.abc import Sequence
from functools import cached_property, lru_cache
from importlib import resources
from itertools import chain
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Prefix

from notesmith.correct.alike import ALIKE, alike_rows
from notesmith.correct.candidates import HeardWord
from notesmith.correct.evidence import FEATURES, NEAR_TERMS, Session
from notesmith.correct.forms import FormTable
from notesmith.correct.garble import GARBLE, garble_rows, load_garbles
from notesmith.correct.reader import READ
from notesmith.correct.talk import Talk, relatives
from notesmith.dictionary import in_dictionary
from notesmith.vocabulary import label_key

Floats = NDArray[np.float64]
HINTED = 3.0  # support of a remedy the lecture's title names
LIKELY = 0.5  # share from which a term counts as spoken of
COMMON_ZIPF = 4.0  # words that need no dictionary
AT_ONCE = 512  # rows judged together
LEAST_SHARE = 0.01  # of the field; less likely hypotheses are not looked at again
OWN = (
    "share", "rival share", "same term share", "best here", "sentence share", "heard letters", "label letters",
    "rarest word", "commonest word", "probability known", "same garble share", "support of term", "phones",
    "times heard", "capitals in session", "remedy scheme", "letters alike", "talk near", "talk wide", "talk behind",
    "talk lead", "related near", *ALIKE, "stops inside", "capitals", "words of English", "odd words of English",
    "begins a clause", "longer rival", *GARBLE,
)  # fmt: skip
COLUMNS = (*FEATURES, *OWN)
TEXT_COLUMNS = (*COLUMNS, *READ)


class _Flat(NamedTuple):
    """All trees in one row: a node's feature, threshold and children as places in the row; leaves are negative."""

    roots: NDArray[np.int64]
    features: NDArray[np.int64]
    thresholds: Floats
    left: NDArray[np.int64]
    right: NDArray[np.int64]
    leaves: Floats


class Trees(msgspec.Struct, frozen=True, dict=True):
    """Boosted trees: for each the feature, threshold and children of its inner nodes, and its leaves' values (log-odds).

    A row goes left where its value is at most the threshold; a negative child is leaf ``-child - 1``.
    """

    columns: tuple[str, ...]
    features: tuple[tuple[int, ...], ...]
    thresholds: tuple[tuple[float, ...], ...]
    left: tuple[tuple[int, ...], ...]
    right: tuple[tuple[int, ...], ...]
    leaves: tuple[tuple[float, ...], ...]
    scale: float = 1.0
    offset: float = 0.0

    @cached_property
    def _flat(self) -> _Flat:
        inner = np.cumsum([0, *map(len, self.features)])
        ends = np.cumsum([0, *map(len, self.leaves)])

        def moved(children: tuple[tuple[int, ...], ...]) -> NDArray[np.int64]:
            return np.array(
                [
                    child + inner[tree] if child >= 0 else child - ends[tree]
                    for tree, own in enumerate(children)
                    for child in own
                ],
                np.int64,
            )

        roots = [inner[tree] if own else -1 - ends[tree] for tree, own in enumerate(self.features)]
        features, thresholds, leaves = (
            list(chain.from_iterable(own)) for own in (self.features, self.thresholds, self.leaves)
        )
        return _Flat(
            np.array(roots, np.int64), np.array(features, np.int64), np.array(thresholds, np.float64),
            moved(self.left), moved(self.right), np.array(leaves, np.float64),
        )  # fmt: skip

    def log_odds(self, rows: Floats) -> Floats:
        """(n, columns) to (n,) calibrated log-odds."""
        parts = [self._summed(rows[start : start + AT_ONCE]) for start in range(0, len(rows), AT_ONCE)]
        return self.scale * np.concatenate([np.zeros(0), *parts]) + self.offset

    def _summed(self, rows: Floats) -> Floats:
        flat = self._flat
        nodes = np.tile(flat.roots, len(rows))
        row_of = np.repeat(np.arange(len(rows)), len(flat.roots))
        going = np.flatnonzero(nodes >= 0)
        while len(going):
            at = nodes[going]
            goes_left = rows[row_of[going], flat.features[at]] <= flat.thresholds[at]
            nodes[going] = moved = np.where(goes_left, flat.left[at], flat.right[at])
            going = going[moved >= 0]
        return np.asarray(flat.leaves[-1 - nodes].reshape(len(rows), -1).sum(axis=1))


class Verdicts(msgspec.Struct, frozen=True):
    """The judge of the text (TEXT_COLUMNS), of the text and the phones heard, and of all that with the wordings compared."""

    by_text: Trees
    by_sound: Trees
    by_ear: Trees
    learnt_from: str = ""


@lru_cache(maxsize=1)
def load_judge() -> Verdicts:
    place = resources.files("notesmith.correct").joinpath("data/judge.json.gz")
    return msgspec.json.decode(gzip.decompress(place.read_bytes()), type=Verdicts)


def worth_judging(shares: Sequence[float]) -> list[int]:
    return [number for number, share in enumerate(shares) if share >= LEAST_SHARE]


def rows_of(
    session: Session, table: FormTable, shares: Sequence[float], features: Floats, chosen: Sequence[int]
) -> Floats:
    """(chosen, columns): the evidence of each hypothesis and how it stands among the others of its place and session."""
    concepts = [table.forms[one.form].concept_id for one in session.candidates]
    at_word: dict[int, list[int]] = defaultdict(list)
    for number, one in enumerate(session.candidates):
        if shares[number] >= 1e-3:
            for i in range(one.words.start, one.words.end):
                at_word[i].append(number)
    garbles: dict[tuple[str, str], list[float]] = defaultdict(list)
    support: dict[str, float] = defaultdict(float)
    by_segment: dict[int, float] = defaultdict(float)
    for number, one in enumerate(session.candidates):
        garbles[one.phones, concepts[number]].append(shares[number])
        support[concepts[number]] += shares[number]
        by_segment[one.segment_id] += shares[number]
    for _, concept_id in session.right.values():
        support[concept_id] += 1
    for concept_id in session.hints:
        support[concept_id] += HINTED
    talk, related, spoken_of = Talk(session.words), relatives(table.vocabulary), _spoken_of(session, concepts, shares)
    capitals = sum(word.capital for word in session.words) / max(1, len(session.words))
    said: dict[str, int] = defaultdict(int)
    for word in session.words:
        said[word.plain] += 1
    hypotheses = [session.candidates[number] for number in chosen]
    likenesses = alike_rows(session.words, table, hypotheses)
    garbles_told = garble_rows(session.words, table, hypotheses, load_garbles())
    labels = {n: label_key(table.forms[session.candidates[n].form].label) for n in {*chosen, *chain(*at_word.values())}}
    made = []
    for number, likeness, garbled in zip(chosen, likenesses, garbles_told, strict=True):
        one, concept = session.candidates[number], concepts[number]
        form, inside = table.forms[one.form], session.words[one.words.start : one.words.end]
        here = {n for i in range(one.words.start, one.words.end) for n in at_word[i]}
        others = [shares[n] for n in here if concepts[n] != concept]
        longer = [
            shares[n] for n in here
            if session.candidates[n].words.end > one.words.end and labels[n].startswith(f"{labels[number]} ")
        ]  # fmt: skip
        same = sum(shares[n] for n in here if concepts[n] == concept)
        alike = garbles[one.phones, concept]
        heard = "".join(word.plain for word in inside)
        start, end = one.words.start, one.words.end
        near, wide, behind = talk.of(concept, start, end)
        rivals = {concepts[n] for n in here if concepts[n] != concept}
        lead = wide - max((talk.wide(other, start, end) for other in rivals), default=0.0)
        close = {*spoken_of[max(0, start - NEAR_TERMS) : start], *spoken_of[end : end + NEAR_TERMS]}
        made.append(
            [
                *features[number], _odds(shares[number]), _odds(max(others, default=0.0)), _odds(min(same, 1.0)),
                float(shares[number] >= max((shares[n] for n in here), default=0.0)),
                by_segment[one.segment_id] - shares[number], len(heard), len(form.label),
                min(word.zipf for word in inside), max(word.zipf for word in inside),
                float(inside[0].probability is not None),
                _odds((sum(alike) - shares[number]) / (len(alike) - 1)) if len(alike) > 1 else _odds(0.0),
                math.log1p(max(0.0, support[concept] - same)), len(one.phones),
                float(max(said[word.plain] for word in inside if word.zipf == min(w.zipf for w in inside))),
                capitals * 50, float(form.scheme == "remedy"), _letters_alike(heard, form.label),
                near, wide, behind, lead, float(len(close & related.get(concept, frozenset()))), *likeness,
                *_as_written(session.words, start, end), max(longer, default=0.0), *garbled,
            ]
        )  # fmt: skip
    return np.array(made, np.float64).reshape(-1, len(COLUMNS))


def _as_written(words: Sequence[HeardWord], start: int, end: int) -> tuple[float, ...]:
    """What the recogniser made of a stretch: stops inside it, capitals, words that are English, where it begins."""
    inside = words[start:end]
    known = [in_dictionary(word.plain) for word in inside]
    odd = [english for english, word in zip(known, inside, strict=True) if word.odd]
    first = words[start].starts_sentence or not start or words[start - 1].ends_clause
    return (
        float(sum(word.ends_clause for word in inside[:-1])),
        sum(word.text[:1].isupper() for word in inside) / len(inside),
        sum(english or word.zipf >= COMMON_ZIPF for english, word in zip(known, inside, strict=True)) / len(inside),
        sum(odd) / len(odd) if odd else 1.0,
        float(first),
    )


def _spoken_of(session: Session, concepts: Sequence[str], shares: Sequence[float]) -> list[str | None]:
    """At each word the term that is there, or likelier there than not."""
    spoken_of: list[str | None] = [None] * len(session.words)
    for start, (end, concept_id) in session.right.items():
        spoken_of[start:end] = [concept_id] * (end - start)
    for number, one in enumerate(session.candidates):
        if shares[number] >= LIKELY:
            for i in range(one.words.start, one.words.end):
                spoken_of[i] = concepts[number]
    return spoken_of


def _letters_alike(heard: str, label: str) -> float:
    """Share of first letters in common, from the start: garbles keep the beginning of a word most often."""
    plain = "".join(c for c in label.casefold() if c.isalpha())
    return Prefix.similarity(heard.casefold(), plain) / max(1, len(plain))


def _odds(share: float) -> float:
    kept = min(1 - 1e-4, max(1e-4, share))
    return math.log(kept / (1 - kept))
