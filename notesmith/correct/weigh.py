"""From evidence to a calibrated probability that a stretch is a term: a logistic model with readable weights.

The weights stand in ``weights.json`` with what they were learnt from (benchmarks/learn_weights.py).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources

import msgspec
import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import DamerauLevenshtein

from notesmith.correct.candidates import HeardWord, Match, Span
from notesmith.correct.context import Surroundings, doubt, surprise
from notesmith.correct.forms import FormTable
from notesmith.vocabulary import Vocabulary, label_key

FEATURES = (
    "bias", "nearness", "nearness squared", "matched phones", "odd words", "ordinary surprise", "all ordinary",
    "ordinary nearness", "ordinary matched", "prior", "session", "session nearness", "session ordinary", "cues",
    "cues ordinary", "margin", "margin nearness", "capital", "capital ordinary", "doubt", "doubt ordinary",
    "trade talk", "words", "cues nearness", "spelling",
)  # fmt: skip
FARTHEST = 1.0  # sound distance a phone at which nothing of a term is left


class Weights(msgspec.Struct, frozen=True):
    """``values`` by feature name; ``learnt_from`` says how."""

    values: Mapping[str, float]
    learnt_from: str = ""

    def vector(self) -> NDArray[np.float64]:
        return np.array([self.values.get(name, 0.0) for name in FEATURES])


@lru_cache(maxsize=1)
def load_weights() -> Weights:
    place = resources.files("notesmith.correct").joinpath("weights.json")
    return msgspec.json.decode(place.read_bytes(), type=Weights)


def features(
    span: Span,
    match: Match,
    rival: Match | None,
    words: Sequence[HeardWord],
    around: Surroundings,
    table: FormTable,
    vocabulary: Vocabulary,
    session: Mapping[str, float],
) -> NDArray[np.float64]:
    """The evidence for one term at one place, in the order of ``FEATURES``.

    ``session`` tells how strongly the session speaks of each concept elsewhere, in about the number of mentions.
    """
    inside = words[span.words.start : span.words.end]
    concept = vocabulary[match.concept_id]
    ordinary, odd = surprise(inside)
    plain = float(odd == 0)
    size = max(len(span.phones), len(table.forms[match.form].phones))
    near = max(0.0, 1.0 - match.distance / size / FARTHEST)
    matched = near * min(size, 16) / 4
    margin = 5.0 if rival is None else max(-5.0, min(5.0, rival.distance - match.distance))
    support = math.log1p(session.get(match.concept_id, 0.0))
    cues = around.cues(span, concept.scheme, match.concept_id)
    capital = float(any(word.capital for word in inside))
    unsure = doubt(inside)
    alike = DamerauLevenshtein.normalized_similarity(
        span.plain.replace(" ", ""), label_key(match.label).replace(" ", "")
    )
    return np.array(
        [
            1.0, near, near * near, matched, odd, ordinary / 4, plain, plain * near, plain * matched,
            float(table.priors[match.form]) + 4, support, support * near, plain * support, cues, plain * cues, margin,
            margin * near, capital, plain * capital, unsure, plain * unsure,
            around.trade_share, len(inside),
            cues * near, alike,
        ]
    )  # fmt: skip


def probability(values: NDArray[np.float64], weights: NDArray[np.float64]) -> float:
    score = float(values @ weights)
    return 1.0 / (1.0 + math.exp(-max(-30.0, min(30.0, score))))
