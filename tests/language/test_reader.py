"""The language model: that windows, padding and rounding change nothing that matters, and that it reads in context.

The pieces are checked against BERT's published way of cutting words (Devlin and others, 2019, WordPiece over the uncased
vocabulary): the example "unaffable" is the one in its published source.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith.extract.opinions import HEADS, STATES, opinions_of
from notesmith.language import Encoder, load_layers, load_pieces, told_by, windows_of
from notesmith.language.encoder import packed, unpacked


@pytest.fixture(scope="module")
def encoder() -> Encoder:
    weights = load_layers("notesmith.extract", "reader.npz")
    return Encoder(load_pieces(), {name: value for name, value in weights.items() if not name.startswith("heads")})


def test_words_are_cut_as_published() -> None:
    names = load_pieces()
    (word,) = names.of(["UNaffable"])
    assert word == names.of(["una"])[0] + word[1:]
    assert len(word) == 3
    assert names.of(["crème"]) == names.of(["creme"])


@given(st.lists(st.integers(1, 12), min_size=1, max_size=200), st.integers(12, 60), st.integers(0, 8))
def test_every_word_is_told_of_once(sizes: list[int], most: int, lap: int) -> None:
    pieces = [[7] * size for size in sizes]
    windows = windows_of(pieces, most, lap)
    assert all(sum(sizes[start:end]) <= most or end == start + 1 for start, end in windows)
    told = [at for first, last in told_by(windows) for at in range(first, last)]
    assert told == list(range(len(sizes)))


def test_a_window_is_read_alike_alone_and_beside_a_longer_one(encoder: Encoder) -> None:
    short = encoder.pieces.of("She was given Sepia two hundred .".split())
    long = encoder.pieces.of(("The remedy is worse from cold wind and better in wet weather . " * 4).split())
    (alone,) = encoder.read([short])
    beside, _ = encoder.read([short, long])
    assert np.allclose(alone, beside, atol=2e-4)


def test_a_word_is_read_in_its_context(encoder: Encoder) -> None:
    one, other = (encoder.read([encoder.pieces.of(text.split())])[0] for text in ("ten pm cold", "ten drops cold"))
    assert np.abs(one[0] - other[0]).max() > 0.05


@given(st.integers(0, 2**32 - 1))
def test_rounding_keeps_each_weight_within_half_a_step(seed: int) -> None:
    weights = {"m": np.random.default_rng(seed).normal(size=(9, 5)).astype(np.float32)}
    again = unpacked(packed(weights))["m"]
    assert (np.abs(again - weights["m"]) <= np.abs(weights["m"]).max(axis=0) / 127 * 0.501).all()


def test_opinions_are_probabilities_of_each_word() -> None:
    said = "Good evening everybody . Can you hear me ? Today we take Sepia . A lady of forty came to me with prolapse ."
    words = tuple(said.split())
    told = opinions_of(words)
    for head, count in HEADS.items():
        assert told.tables[head].shape == (len(words), count)
        assert np.allclose(np.exp(told.tables[head]).sum(axis=1), 1, atol=1e-4)
    again = opinions_of(words)
    assert all(np.array_equal(told.tables[head], again.tables[head]) for head in HEADS)
    assert STATES[int(told.mean("state", 0, 9).argmax())] == "housekeeping"
    assert told.odds("name", 0, 4) < 0


def test_nothing_is_said_of_no_words() -> None:
    assert opinions_of(()).tables["state"].shape == (0, len(STATES))
