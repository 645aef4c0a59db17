"""Comparisons: each fact is told of its own remedy, with the whole vocabulary."""

from __future__ import annotations

from typing import Any

from notesmith.extract import extract
from notesmith.vocabulary import Vocabulary

from .conftest import reading_of

NATRUM, SEPIA = "remedy/natrum-muriaticum", "remedy/sepia-officinalis"


def test_what_is_asked_is_told_of_the_remedy_that_answers(nlp: Any, full: Vocabulary) -> None:
    """Also of a remedy that is named by its first word alone; what announces the comparison is no fact."""
    text = (
        "Today we take Sepia. Sepia is indifferent. She is chilly and her skin is yellow. Now the comparison. Let us "
        "compare Sepia and Natrum muriaticum, two sisters, side by side. Natrum muriaticum is worse in the sun. Sepia is "
        "worse in the cold. Who shuts the gate because somebody hurt her? Natrum. Who shuts it because she is worn out? "
        "Sepia. Natrum craves salt. Sepia craves sour things."
    )
    found = extract(reading_of(text), full, nlp=nlp)
    assert [(f.remedy_id, f.text.rstrip(".")) for c in found.comparisons for f in c.facts] == [
        (NATRUM, "Natrum muriaticum is worse in the sun"),
        (SEPIA, "Sepia is worse in the cold"),
        (NATRUM, "Who shuts the gate because somebody hurt her? Natrum"),
        (SEPIA, "Who shuts it because she is worn out? Sepia"),
        (NATRUM, "Natrum craves salt"),
        (SEPIA, "Sepia craves sour things"),
    ]


def test_a_remedy_given_by_its_first_word_alone_is_doubtful(nlp: Any, full: Vocabulary) -> None:
    text = (
        "Today we take Natrum muriaticum. It is worse in the sun and she weeps alone. Let me tell you a case of mine. A woman of "
        "forty came with headache for two years, worse in the sun. I gave Natrum, two hundred, one dose. After a month the headache was less."
    )
    (given,) = extract(reading_of(text), full, nlp=nlp).prescriptions
    assert (given.remedy_id, given.potency, given.doubtful) == (NATRUM, "200C", True)
