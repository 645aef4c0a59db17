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
from functools import lru_cache
from importlib import resources

import msgspec
import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Prefix

from notesmith.correct.alike import ALIKE, alike_rows
from notesmith.correct.evidence import FEATURES, NEAR_TERMS, Session
from notesmith.correct.forms import FormTable
from notesmith.correct.talk import Talk, relatives

Floats = NDArray[np.float64]
HINTED = 3.0  # support of a remedy the lecture's title names
LIKELY = 0.5  # share from which a term counts as spoken of
LEAST_SHARE = 0.01  # of the field; less likely hypotheses are not looked at again
OWN = (
    "share", "rival share", "same term share", "best here", "sentence share", "heard letters", "label letters",
    "rarest word", "commonest word", "probability known", "same garble share", "support of term", "phones",
    "times heard", "capitals in session", "remedy scheme", "letters alike", "talk near", "talk wide", "talk behind",
    "talk lead", "related near", *ALIKE,
)  # fmt: skip
COLUMNS = (*FEATURES, *OWN)


class Trees(msgspec.Struct, frozen=True):
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

    def log_odds(self, rows: Floats) -> Floats:
        """(n, columns) to (n,) calibrated log-odds."""
        total = np.zeros(len(rows))
        every = np.arange(len(rows))
        for features, thresholds, left, right, leaves in zip(
            self.features, self.thresholds, self.left, self.right, self.leaves, strict=True
        ):
            if not features:
                total += leaves[0]
                continue
            f, t, down, up = np.array(features), np.array(thresholds), np.array(left), np.array(right)
            node = np.zeros(len(rows), np.int64)
            while (inner := node >= 0).any():
                at = node[inner]
                goes_left = rows[every[inner], f[at]] <= t[at]
                node[inner] = np.where(goes_left, down[at], up[at])
            total += np.array(leaves)[-node - 1]
        return self.scale * total + self.offset


class Verdicts(msgspec.Struct, frozen=True):
    """The judge of the text, of the text and the phones heard, and of all that with the wordings compared."""

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
    likenesses = alike_rows(session.words, table, [session.candidates[number] for number in chosen])
    made = []
    for number, likeness in zip(chosen, likenesses, strict=True):
        one, concept = session.candidates[number], concepts[number]
        form, inside = table.forms[one.form], session.words[one.words.start : one.words.end]
        here = {n for i in range(one.words.start, one.words.end) for n in at_word[i]}
        others = [shares[n] for n in here if concepts[n] != concept]
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
            ]
        )  # fmt: skip
    return np.array(made, np.float64).reshape(-1, len(COLUMNS))


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
