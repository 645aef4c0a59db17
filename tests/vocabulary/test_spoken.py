"""How terms are said. What is checked: readings common among teachers (common practice) are among those derived."""

from __future__ import annotations

import pytest

from notesmith.sounds import PHONES, pronounce, pronounce_text
from notesmith.vocabulary import load_vocabulary
from notesmith.vocabulary.spoken import MAX_READINGS, readings_of_label, spoken_forms

VOCABULARY = load_vocabulary()


@pytest.mark.parametrize(
    ("label", "said"),
    [
        ("psora", "sɔɹə"), ("Thuja", "θuʤə"), ("Silicea", "sIlɪsiə"), ("Causticum", "kɔstɪkəm"),
        ("Rhus toxicodendron", "ɹʌstɑksɪkOdɛndɹɑn"),
    ],
)  # fmt: skip
def test_a_common_reading_is_near_one_derived(label: str, said: str) -> None:
    from rapidfuzz.distance import Levenshtein

    nearest = min(Levenshtein.distance(said, reading) for reading in readings_of_label(label))
    assert nearest <= len(said) // 4


def test_numbers_and_single_letters_are_said() -> None:
    assert pronounce("30") == pronounce("thirty")
    assert pronounce_text("200C") == pronounce_text("two hundred") + pronounce_text("see")
    assert pronounce("1m").endswith("ɛm")


def test_every_form_is_made_of_known_phones_and_belongs_to_a_concept() -> None:
    count = 0
    for form in spoken_forms(VOCABULARY):
        assert form.concept_id in VOCABULARY
        assert set(form.phones) <= set(PHONES)
        count += 1
    assert count > 10_000


def test_overrides_are_listened_for_under_their_label() -> None:
    forms = [form for form in spoken_forms(VOCABULARY) if form.concept_id == "idea/sycotic"]
    assert any(form.phones == pronounce_text("sigh cottick") and form.label == "sycotic" for form in forms)


def test_readings_are_few() -> None:
    for concept in list(VOCABULARY.in_scheme("remedy"))[:300]:
        assert len(readings_of_label(concept.pref_label)) <= MAX_READINGS
