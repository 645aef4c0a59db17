"""How alike a garble and a label are. The Jaro-Winkler value is Winkler's own example (1990): MARTHA and MARHTA, 0.961."""

import pytest

from notesmith.correct.alike import ALIKE, _letters, alike_rows
from notesmith.correct.candidates import Candidate, heard_words
from notesmith.correct.forms import FormTable, form_table
from notesmith.sounds import load_costs
from notesmith.transcript import WordRange
from notesmith.vocabulary import load_vocabulary

from .talk import transcript


@pytest.fixture(scope="module")
def table() -> FormTable:
    return form_table(load_vocabulary(), load_costs())


def row(table: FormTable, heard: str, label: str) -> dict[str, float]:
    words = heard_words(transcript(heard))
    number = next(n for n, form in enumerate(table.forms) if form.label == label)
    phones = "".join(word.phones for word in words)

    one = Candidate(0, WordRange(0, len(words)), False, phones, number, 0.0, 0)
    return dict(zip(ALIKE, alike_rows(words, table, [one])[0].tolist(), strict=True))


def test_letters_are_compared_as_winkler_does() -> None:
    assert _letters("martha", "marhta")[0] == pytest.approx(0.961, abs=0.001)


def test_the_same_word_is_alike_in_every_way(table: FormTable) -> None:
    told = row(table, "Lycopodium", "Lycopodium")
    for name in ("letters near", "letters edited", "folded letters near", "endings alike", "skeletons alike"):
        assert told[name] == 1.0, name
    assert told["letters inside"] == 100.0
    assert told["syllables more"] == 0


@pytest.mark.parametrize(
    ("heard", "label", "other"),
    [
        ("Colley by Chromacum", "Kali bichromicum", "Kali carbonicum"),
        ("Rouge Toxicodendron", "Rhus toxicodendron", "Rhus venenata"),
        ("a nation Amara", "Ignatia amara", "Quassia amara"),
    ],
)
def test_a_garble_is_more_like_its_own_label(table: FormTable, heard: str, label: str, other: str) -> None:
    own, others = row(table, heard, label), row(table, heard, other)
    for name in ("letters edited", "folded letters near"):
        assert own[name] > others[name], name
    assert own["skeletons alike"] >= others["skeletons alike"]


def test_nothing_heard_makes_no_rows(table: FormTable) -> None:
    assert alike_rows((), table, []).shape == (0, len(ALIKE))
