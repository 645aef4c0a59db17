"""Age, sex and edges of a told case: nothing in its head that was not said of the patient. Invented sentences."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from notesmith.annotations import CaseVignette, Extraction
from notesmith.extract import extract
from notesmith.extract.case_fields import whole_phrase, with_its_not
from notesmith.extract.case_person import person_of
from notesmith.extract.session import Session
from notesmith.reading import Reading
from notesmith.vocabulary import Vocabulary, load_vocabulary

from .conftest import reading_of

Found = Callable[..., tuple[Reading, Extraction]]


def said(text: str, vocabulary: Vocabulary, nlp: Any) -> dict[str, str]:
    session = Session(reading_of(text), vocabulary, nlp)
    whole = (0, len(session.units))
    return {label: session.text(*units).strip(" .,") for label, units in person_of(session, [whole]).items()}


@pytest.mark.parametrize(
    ("text", "age"),
    [
        ("A girl of 19 years, a student, came with eleven warts on the left hand.", "19 years"),
        ("A boy of 5 came with a cough.", "5"),
        ("A 40-year-old farmer. He had a cough.", "40-year-old"),
        ("A nurse aged thirty two had a cough since a week.", "thirty two"),
        ("A postman, thirty six, with hay fever.", "thirty six"),
        ("She was forty four, a cook. She had a cough.", "forty four"),
        ("One two and half year old boy had a cough.", "two and half year old"),
    ],
)
def test_an_age_is_stated(text: str, age: str, vocabulary: Vocabulary, nlp: Any) -> None:
    assert said(text, vocabulary, nlp).get("age") == age


@pytest.mark.parametrize(
    "text",
    [
        "A student came with eleven warts on the left hand since two years.",
        "A student came with, eleven\nwarts on the left hand.",  # a line broken after the number
        "A lady, 11 warts on the left hand.",
        "A lady came with headache for 20 years.",
        "A clerk had asthma since the age of 12.",
        "A clerk came with his son. His son is 14 years old and well.",
        "A teacher told me the pain came 30 times.",
        "A teacher with a 20 years old complaint.",
        "A boy with the eye. Staphysagria it was, I tell you from the start. Twelve, each evening, ten days.",
    ],
)
def test_a_count_a_span_and_a_relatives_age_are_no_age(text: str, vocabulary: Vocabulary, nlp: Any) -> None:
    assert "age" not in said(text, vocabulary, nlp)


@pytest.mark.parametrize(
    ("text", "sex"),
    [
        ("A teacher of forty. She had a cough. She was worse at night.", "She"),
        ("A gentleman's wife, fifty. She had a cough. Her sleep was bad. She was hot. She wept.", "wife"),
        (
            "Little fella, ten months. His mother came. She was tired. He cried and he arched. He drank. They gave him water.",
            "fella",
        ),
        ("A patient of forty. She said that he said that she and he had fever.", None),
    ],
)
def test_sex_is_that_of_the_person_told_of(text: str, sex: str | None, vocabulary: Vocabulary, nlp: Any) -> None:
    assert said(text, vocabulary, nlp).get("sex") == sex


def only_case(result: Extraction) -> CaseVignette:
    assert len(result.vignettes) == 1
    return result.vignettes[0]


@pytest.mark.parametrize("warts", ["eleven warts", "11 wards"])
def test_a_case_begins_where_its_person_is_introduced(found: Found, warts: str) -> None:
    reading, result = found(
        "Today we take Thuja. Thuja is the leading remedy of sycosis.\n"
        "Sweat only on the uncovered parts, and he stops sweating when he wakes. It smells sweet, like honey.\n"
        "The nails are deformed, brittle and soft. The skin is oily, and the hair is dry and it splits.\n"
        f"Now the case, a girl of 19 years, a student came with {warts} on the left hand since two years. They had been burned twice.\n"
        "She was a very closed person. She never told her mother anything. I gave Thuja two hundred, a single dose.\n"
        "After four weeks there was a yellow discharge. By the third month nine of eleven had gone.\n"
        "Sepia is indifferent to her family. Sepia is worse before the menses."
    )
    case = only_case(result)
    assert reading.text_of(case.words).startswith("Now the case, a girl of 19 years")
    assert reading.text_of(case.words).endswith("had gone.")
    fields = {(f.label, f.text) for f in case.findings}
    assert {("age", "19 years"), ("sex", "girl")} <= fields
    assert case.title.startswith("Case: 19 years, girl")


def test_what_goes_on_beside_keeps_its_not(found: Found) -> None:
    _, result = found(
        "Pulsatilla is a mild remedy. Let me tell you one case. A man of 42 years, a teacher, came to my clinic with a blocked nose for two years.\n"
        "He had no thirst. I gave him Pulsatilla 200, single dose. He did not stop the metformin. After two weeks the discharge was half."
    )
    beside = [f.text for f in only_case(result).findings if "metformin" in f.text]
    assert beside
    assert all("not stop" in text for text in beside)


@pytest.mark.parametrize(
    ("text", "first_word", "kept"),
    [
        ("He did not stop the nasal spray.", 3, "did not stop"),
        ("She never took tablets.", 2, "never took"),
        ("It was not there, stop now.", 4, "stop"),  # a comma parts what was denied
    ],
)
def test_a_field_begins_with_the_word_that_denies_it(
    text: str, first_word: int, kept: str, vocabulary: Vocabulary, nlp: Any
) -> None:
    session = Session(reading_of(text), vocabulary, nlp)
    assert session.low(with_its_not(session, first_word), first_word + 1) == kept


HEARD = """
The old books say never well since vaccination, but in a statement on the 19th century, I do not ask you to stop it on any child.
The sweat on the future is peculiar, sweat only on the uncovered parts, and he stops sweating when he wakes. It smells sweet, like honey.
The nail mod formed, brittle and soft, the skin is oily, and the hair is dry and it splits.
Now the case, a girl on 19 years, a student, came with 11 watts on the left hand since two
years, may have been burned twice and may came again.
She was a very closed person, she never told her mother anything, she dreamed of falling,
and she was worse in the rainy season.
I gave you 200, a single dose, and nothing for 4 weeks. After 4 weeks, their 1st yellow
discharge for 10 days. I did not touch it. In the 8th week, the warts were turning dark,
and I the third month I the 11 had gone. Then the case stood still, so I gave you
at one m two months later the hand was clean.
Doctor, is it not that warts can go by themselves?
Yes, exactly, Jonas. Warts do go by themselves.
"""


def test_the_sample_as_the_recogniser_heard_it(nlp: Any) -> None:
    """The sample lecture's case, misheard: what was not said is not stated, and 4 weeks of waiting are no potency."""
    reading = reading_of(HEARD)
    case = only_case(extract(reading, load_vocabulary(), nlp=nlp))
    assert reading.text_of(case.words).startswith("Now the case, a girl")
    assert case.title.startswith("Case: 19 years, girl, 11 watts on the left hand")
    assert {f.text for f in case.findings if f.label == "potency"} == {"200", "one m"}
    assert not {"remedy", "duration"} & {f.label for f in case.findings}


def test_a_complaint_is_not_cut_at_a_preposition(vocabulary: Vocabulary, nlp: Any) -> None:
    session = Session(reading_of("She came with eleven warts on the left hand since two years."), vocabulary, nlp)
    start = whole_phrase(session, 6, 0)
    assert session.low(start, 9) == "eleven warts on the left hand"
