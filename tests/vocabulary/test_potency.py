"""Potencies against the published scales.

Sources: 2C = 4X = 1:10 000 (Malaysia BPFK Drug Registration Guidance, January 2013, p. 305; Directive 2001/83/EC
Art. 14); 30C = 10^-60, 12C = 10^-24 (arithmetic); 1M = 1000C, 10M, 50M, CM = 100 000C, X = D, LM1 = Q1 = 0/1
(teaching material, secondary; shared/reference/potency_scales.tsv). LM arithmetic: 6 + n log10(50 000),
common practice.
"""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith.vocabulary import load_vocabulary
from notesmith.vocabulary.potency import Potency, find_potencies, number_of, parse_potency

SAID = [
    ("30C", "30C thirty_C 30_C 30CH C30 30c thirty_see thirtieth_potency thirty_potency 30_centesimal 30th_potency"),
    ("200C", "200C two_hundred_C 200_CH two_hundredth_potency two_hundred_see C200"),
    ("1M", "1M one_M 1_M one_em 1000C 1,000_C one_thousand_C"),
    ("10M", "10M ten_M ten_em 10,000C ten_thousandth_potency"),
    ("50M", "50M fifty_M fifty_em"),
    ("CM", "1CM 100M 100000C one_lakh_potency"),
    ("6X", "6X 6D D6 six_X six_ex 6DH six_decimal 6_x"),
    ("12X", "12X D12 twelve_D"),
    ("200CK", "200K 200CK K200 two_hundred_K two_hundred_Korsakovian"),
    ("LM1", "LM1 LM_1 L.M._1 LM_one Q1 0/1 LM_0/1 zero_by_one oh_slash_one el_em_one 1/0"),
    ("LM12", "LM12 0/12 Q12 LM_twelve"),
    ("Q", "mother_tincture MT θ"),
]


ROWS = [(name, said.replace("_", " ")) for name, row in SAID for said in row.split()]


@pytest.mark.parametrize(("name", "said"), ROWS)
def test_said_and_written_forms_have_one_name(name: str, said: str) -> None:
    parsed = parse_potency(said)
    assert parsed is not None
    assert parsed.senses[0].name == name
    assert parsed.doubt == ""


@pytest.mark.parametrize(
    ("said", "names"),
    [
        ("M", ["1M"]), ("CM", ["CM"]), ("Q", ["Q", "LM"]), ("LM", ["LM", "50M"]), ("30", ["30C"]), ("thirty", ["30C"]),
        ("two hundred", ["200C"]), ("MM", ["MM"]), ("1000", ["1M"]), ("ten thousand", ["10M"]),
    ],
)  # fmt: skip
def test_collisions_are_marked(said: str, names: list[str]) -> None:
    parsed = parse_potency(said)
    assert parsed is not None
    assert [sense.name for sense in parsed.senses] == names
    assert parsed.doubt


@pytest.mark.parametrize("said", ["", "42", "seven", "10 AM", "1 a.m.", "six o'clock", "0C", "C", "30 days", "Sepia 30",
                                  "first", "30 200", "LM 500"])  # fmt: skip
def test_other_sayings_are_no_potency(said: str) -> None:
    assert parse_potency(said) is None


@pytest.mark.parametrize(
    ("first", "second"), [("2C", "4X"), ("30C", "60X"), ("1M", "1000C"), ("CM", "100000C"), ("D6", "6X"), ("0/1", "Q1")]
)
def test_equal_dilutions(first: str, second: str) -> None:
    one, other = parse_potency(first), parse_potency(second)
    assert one is not None
    assert other is not None
    assert one.senses[0].dilution_log10 == other.senses[0].dilution_log10


def test_arithmetic() -> None:
    assert Potency("centesimal", 30).dilution_log10 == 60
    assert Potency("centesimal", 12).dilution_log10 == 24
    assert 10.0 ** -Potency("centesimal", 2).dilution_log10 == pytest.approx(1 / 10_000)  # type: ignore[operator]
    assert Potency("fifty-millesimal", 1).dilution_log10 == pytest.approx(6 + math.log10(50_000), abs=5e-4)
    assert Potency("mother tincture").dilution_log10 is None


def test_vocabulary_and_arithmetic_agree() -> None:
    checked = 0
    for concept in load_vocabulary().in_scheme("potency"):
        parsed = parse_potency(concept.pref_label)
        figure = concept.fact("dilution_log10")
        if parsed is not None and figure:
            assert parsed.senses[0].dilution_log10 == pytest.approx(float(figure[0]), abs=2e-3), concept.id
            checked += 1
    assert checked > 80


@pytest.mark.parametrize(
    ("text", "remedy_ends", "names"),
    [
        ("I gave Sulphur thirty, one dose", {3}, ["30C"]),
        ("worse at three in the afternoon", set(), []),
        ("worse at 3 am", set(), []),
        ("Sepia thirty years ago", {1}, []),
        ("he is thirty years old", set(), []),
        ("repeat it in the two hundredth potency", set(), ["200C"]),
        ("then ten M and later CM potency", set(), ["10M", "CM"]),
        ("Lycopodium 200 twice daily", {1}, ["200C"]),
        ("she slept from one till four", set(), []),
        ("two hundred people in the room", set(), []),
        ("Nux vomica in thirty, three doses", {2}, ["30C"]),
        ("the pain comes at six, Natrum at ten", set(), []),
        ("LM one every second day", set(), ["LM1"]),
    ],
)
def test_context_tells_potencies_from_times_and_counts(text: str, remedy_ends: set[int], names: list[str]) -> None:
    assert [mention.potency.name for mention in find_potencies(text.split(), frozenset(remedy_ends))] == names


@given(st.integers(1, 999_999))
def test_every_number_is_read_back(number: int) -> None:
    from notesmith.sounds.phones import number_words

    assert number_of(str(number)) == number
    assert number_of(f"{number:,}") == number
    assert number_of(" ".join(number_words(number))) == number


@given(st.sampled_from(["decimal", "centesimal", "Korsakovian", "fifty-millesimal"]), st.integers(1, 120))
def test_names_read_back(scale: str, step: int) -> None:
    potency = Potency(scale, step)  # type: ignore[arg-type]
    parsed = parse_potency(potency.name)
    assert parsed is not None
    assert parsed.senses[0] == potency


@given(st.text(max_size=40))
def test_anything_can_be_asked(text: str) -> None:
    parse_potency(text)
    find_potencies(text.split())


@pytest.mark.parametrize(
    ("said", "name"), [("two zero zero", "200C"), ("three oh", "30C"), ("thirties", "30C"), ("2 0 0", "200C")]
)
def test_a_potency_may_be_said_by_its_figures(said: str, name: str) -> None:
    parsed = parse_potency(said)
    assert parsed is not None and parsed.senses[0].name == name
