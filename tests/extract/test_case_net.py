"""The network over the words of a case: held against its definition, and against what labels allow."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np

from notesmith.extract.case_net import _NEVER, _allowed, _convolved, told_net
from notesmith.extract.case_words import told_model
from notesmith.extract.word_vectors import SIZES, word_vectors


def test_a_convolution_is_what_it_says() -> None:
    chance = np.random.default_rng(3)
    inner = chance.normal(size=(7, 4)).astype(np.float32)
    weights = chance.normal(size=(5, 4, 3)).astype(np.float32)
    for apart in (1, 2, 4):
        wanted = np.zeros((7, 5))
        for word, out, tap in itertools.product(range(7), range(5), range(3)):
            near = word + (tap - 1) * apart
            if 0 <= near < 7:
                wanted[word, out] += inner[near] @ weights[out, :, tap]
        assert np.allclose(_convolved(inner, weights, apart), wanted, atol=1e-5)


def test_the_network_and_the_chain_know_the_same_labels() -> None:
    assert set(told_net().labels) == set(told_model().words.labels)


def test_a_field_is_not_gone_on_with_before_it_begins() -> None:
    labels = ("B-age", "B-sex", "I-age", "I-sex", "O")
    allowed = _allowed(labels)
    for (i, a), (j, b) in itertools.product(enumerate(labels), repeat=2):
        assert (allowed[i, j] == _NEVER) == (b[0] == "I" and a[2:] != b[2:])


def test_like_words_are_in_like_classes() -> None:
    known = word_vectors()
    assert len(known.classes_of("husband")) == len(SIZES)
    assert known.classes_of("husband")[1] == known.classes_of("wife")[1]
    assert known.classes_of("no such word") == ()
    assert not known.of(["no such word"]).any()


def test_told_in_other_words_the_same_is_stated(found: Any) -> None:
    _, told = found(
        "Let me tell you a case of mine. A plumber, fifty one, came with a throbbing headache for six weeks. "
        "He had swallowed ibuprofen by the handful. I gave him Sepia 200, one dose. After ten days the headache was gone."
    )
    stated = {finding.label for finding in told.vignettes[0].findings}
    assert {"age", "presenting complaint", "prior treatment", "remedy", "potency", "follow-up time"} <= stated
