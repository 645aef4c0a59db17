"""Labelling the words of a case, and telling a case taken up again from a new one."""

from __future__ import annotations

import itertools
import random
from typing import Any

import pytest

from notesmith.extract.case_words import Chain, told_model
from notesmith.extract.learned import cases_in
from notesmith.extract.mentions import find_hits
from notesmith.extract.sentences import look_at
from notesmith.extract.session import Session
from notesmith.vocabulary import Vocabulary
from tests.extract.conftest import reading_of

LABELS = ("B-finding", "I-finding", "B-presenting complaint", "I-presenting complaint", "O")


def chain_of(chance: random.Random, words: int) -> tuple[Chain, list[list[str]]]:
    weight = lambda: round(chance.uniform(-2, 2), 2)  # noqa: E731
    steps = tuple(tuple(weight() for _ in LABELS) for _ in LABELS)
    weights = {f"w{k}": tuple((place, weight()) for place in range(len(LABELS))) for k in range(words)}
    return Chain(LABELS, steps, weights), [[f"w{k}", "unseen"] for k in range(words)]


@pytest.mark.parametrize("seed", range(8))
def test_the_best_labelling_is_the_best_of_all(seed: int) -> None:
    # held against the definition: every labelling of four words, tried one by one
    chain, rows = chain_of(random.Random(seed), 4)
    scores = chain.scores(rows)

    def worth(path: tuple[int, ...]) -> float:
        return float(
            sum(scores[place, label] for place, label in enumerate(path))
            + sum(chain.steps[a][b] for a, b in itertools.pairwise(path))
        )

    best = max(itertools.product(range(len(LABELS)), repeat=4), key=worth)
    spans: list[tuple[str, int, int]] = []
    for place, label in enumerate(LABELS[k] for k in best):
        if label.startswith("I-") and spans and spans[-1][0] == label[2:] and spans[-1][2] == place:
            spans[-1] = (spans[-1][0], spans[-1][1], place + 1)
        elif label != "O":
            spans.append((label[2:], place, place + 1))
    assert chain.fields(rows) == spans


def test_nothing_told_states_nothing() -> None:
    assert Chain(LABELS, tuple((0.0,) * len(LABELS) for _ in LABELS), {}).fields([]) == []


CASE = """
I will tell you one case. A postman, forty six years, came to my clinic with burning pain in the soles for two years.
He was putting the feet out of the bed at night. He was very hungry at eleven in the morning.
I gave him Sepia 200, one dose.
After two weeks he was sleeping better.
Now the mind of Sepia. Sepia is indifferent to her own family.
Sepia is worse in the evening. Sepia is better from exercise.
"""


def follow_ups(text: str, vocabulary: Vocabulary, nlp: Any) -> list[int]:
    """How many later stretches each case has, where the stretches told are known (the first six sentences, and what
    comes after the teaching) but not whose they are."""
    session = Session(reading_of(CASE + text), vocabulary, nlp)
    looks = look_at(session, find_hits(session))
    path = ["case begins", *["case goes on"] * 5, *["commentary"] * 4, "case begins"]
    path += ["case goes on"] * (len(looks) - len(path))
    return [len(case.follow_ups) for case in cases_in(looks, path, told_model().again)]


def test_somebody_named_as_known_is_a_follow_up(vocabulary: Vocabulary, nlp: Any) -> None:
    assert follow_ups("Our postman again. After three months the burning was gone.", vocabulary, nlp) == [1]
    new = "Another case, a girl of nine years, was brought with a cough since two weeks. She was restless at night."
    assert follow_ups(new, vocabulary, nlp) == [0, 0]
