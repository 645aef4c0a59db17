"""The joint model of label and garble, by hand where it can be."""

import numpy as np
import pytest

from notesmith.correct.candidates import Candidate, heard_words
from notesmith.correct.forms import FormTable, form_table
from notesmith.correct.garble import (
    GARBLE,
    LETTERS,
    Channel,
    channel,
    codes,
    compared_letters,
    garble_rows,
    load_garbles,
    piece,
)
from notesmith.correct.index import Floats
from notesmith.sounds import load_costs
from notesmith.transcript import WordRange
from notesmith.vocabulary import load_vocabulary

from .talk import transcript


@pytest.fixture(scope="module")
def table() -> FormTable:
    return form_table(load_vocabulary(), load_costs())


def rows(table: FormTable, heard: str, *labels: str) -> Floats:
    words = heard_words(transcript(heard))
    phones = "".join(word.phones for word in words)
    numbers = [next(n for n, form in enumerate(table.forms) if form.label == label) for label in labels]
    ones = [Candidate(0, WordRange(0, len(words)), False, phones, number, 0.0, 0) for number in numbers]
    return garble_rows(words, table, ones, load_garbles())


def test_all_cuts_are_summed() -> None:
    """'ab' heard as 'ab': letter by letter .5 x .25, as one pair .1, one by one with a letter lost and one put in .02 x .03 twice over."""
    size = 3  # no letter, a, b
    pieces = np.zeros((1 + size + size * size,) * 2, np.float32)
    single = {letter: int(piece(codes("ab", [letter]), 1, 1, size)[0]) for letter in "ab"}
    pair = int(piece(codes("ab", ["ab"]), 2, 2, size)[0])
    pieces[single["a"], single["a"]], pieces[single["b"], single["b"]] = 0.5, 0.25
    pieces[pair, pair] = 0.1
    model = Channel("ab", pieces, np.zeros((size,) * 3, np.float32))
    assert np.exp(model.heard_as([("ab", "ab")])) == pytest.approx([0.5 * 0.25 + 0.1])
    pieces[single["a"], 0], pieces[0, single["a"]] = 0.02, 0.03
    assert np.exp(model.heard_as([("ab", "ab"), ("ab", "b")])) == pytest.approx(
        [0.5 * 0.25 + 0.1 + 2 * 0.02 * 0.03 * 0.25, 0.02 * 0.25]
    )


def test_what_was_counted_is_likelier_than_what_was_not() -> None:
    size = len(LETTERS) + 1
    counts = np.zeros((1 + size + size * size,) * 2, np.float32)
    ph, f = (int(piece(codes(LETTERS, [x]), len(x), len(x), size)[0]) for x in ("ph", "f"))
    counts[ph, f] = 50
    model = channel(LETTERS, counts, np.zeros((size,) * 3, np.float32))
    assert model.heard_as([("phos", "fos")])[0] > model.heard_as([("phos", "gos")])[0] + 2


def test_an_answer_does_not_depend_on_what_is_asked_with_it(table: FormTable) -> None:
    model = load_garbles().letters
    pairs = [("sepia", "seabird"), ("lycopodium", "likeapodium"), ("kali", "colley")]
    assert model.heard_as(pairs).tolist() == [model.heard_as([pair])[0] for pair in pairs]


@pytest.mark.parametrize(
    ("heard", "label", "other"),
    [
        ("Colley by Chromacum", "Kali bichromicum", "Kali carbonicum"),
        ("Rouge Toxicodendron", "Rhus toxicodendron", "Rhus venenata"),
        ("a nation Amara", "Ignatia amara", "Quassia amara"),
    ],
)
def test_a_garble_is_likelier_of_its_own_label(table: FormTable, heard: str, label: str, other: str) -> None:
    own, others = rows(table, heard, label, other)
    told, theirs = dict(zip(GARBLE, own, strict=True)), dict(zip(GARBLE, others, strict=True))
    assert told["garbled"] > theirs["garbled"]
    assert told["garbled lead"] == pytest.approx(-theirs["garbled lead"])
    assert told["garbled share"] > theirs["garbled share"]


def test_nothing_heard_makes_no_rows(table: FormTable) -> None:
    assert garble_rows((), table, [], load_garbles()).shape == (0, len(GARBLE))


def test_letters_are_compared_without_spaces_and_signs() -> None:
    assert compared_letters("Natrum m., 30C") == "natrummc"
