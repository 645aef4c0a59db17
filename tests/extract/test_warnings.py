"""Sentences that must be flagged (+) and that must not (-): advice against care, and urgent conditions.

Written for these tests. The conditions are those of ordinary first-aid and emergency teaching (common practice); what
must not be discouraged follows NHMRC, Information Paper CAM02A, 2015.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from notesmith.extract.discouraging import discouraging_place, keeps_others_away
from notesmith.extract.urgent import URGENT
from notesmith.extract.warning_signs import signs_in

DATA = Path(__file__).parent / "data"


def sentences(name: str, sign: str) -> list[str]:
    lines = (DATA / name).read_text(encoding="utf-8").splitlines()
    return [line[2:].lower() for line in lines if line.startswith(sign)]


@pytest.mark.parametrize("sentence", sentences("discouraging.txt", "+"))
def test_advice_against_care_is_flagged(sentence: str) -> None:
    assert discouraging_place(sentence) is not None


@pytest.mark.parametrize("sentence", sentences("discouraging.txt", "-"))
def test_other_talk_is_not_taken_for_advice_against_care(sentence: str) -> None:
    assert discouraging_place(sentence) is None


@pytest.mark.parametrize("sentence", sentences("urgent.txt", "+"))
def test_urgent_conditions_are_flagged(sentence: str) -> None:
    assert any(urgent.pattern.search(sentence) for urgent in URGENT)


@pytest.mark.parametrize("sentence", sentences("urgent.txt", "-"))
def test_ordinary_symptoms_are_not_flagged(sentence: str) -> None:
    assert not any(urgent.pattern.search(sentence) for urgent in URGENT)


@pytest.mark.parametrize(
    "sentence",
    [
        "an ache in the arms each time he climbs to the third floor, and it goes into the jaw.",
        "the grandmother said she is so drowsy that she will not swallow her soup.",
        "he was forty in the sun and does not know his own name.",
        "the pain was at the navel and has now moved down on the right, and he vomits.",
        "on the third day of the climb a headache, and he walks like he's drunk.",
        "she brings up pink froth and cannot breathe lying.",
        "with the temperature the red edge had crept over the ankle by noon.",
    ],
)
def test_signs_told_in_many_words_are_flagged(sentence: str) -> None:
    assert signs_in(sentence)


@pytest.mark.parametrize(
    "sentence",
    ["the knee aches on the stairs and is better at rest.", "she is sleepy after dinner and wants to lie down.", "the pain is at the navel and better from bending.", "she walks a lot and has no headache then.", "the red colour suits her."],
)  # fmt: skip
def test_plain_complaints_are_no_warning_signs(sentence: str) -> None:
    assert not signs_in(sentence)


@pytest.mark.parametrize(
    ("words", "away"),
    [
        ("she says, do not touch me, i will break", True),
        ("don't look at me, cries the cina child", True),
        ("do not send me to the surgeon, she begged", False),
        ("never give me that insulin again", False),
        ("do not vaccinate him", False),
    ],
)
def test_a_patient_who_keeps_others_away_advises_nothing(words, away):
    assert keeps_others_away(words) is away
