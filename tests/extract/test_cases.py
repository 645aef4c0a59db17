"""Whose story a sentence takes up again, and which of the states told is how it came out. The sessions are invented."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from notesmith.annotations import Extraction, Finding, FindingLabel
from notesmith.extract.case_fields import _by_order
from notesmith.extract.cases import _alike
from notesmith.reading import Reading
from notesmith.transcript import TimeSpan, WordRange


@pytest.mark.parametrize(
    ("one", "other", "alike"),
    [("bakery", "baker", True), ("fiddler", "fiddle", True), ("tailor's", "tailor", True), ("tailor", "taught", False), ("boy", "boy", True), ("nun", "nurse", False)],
)  # fmt: skip
def test_words_that_name_the_same_person(one: str, other: str, alike: bool) -> None:
    assert _alike(one, other) is alike


def test_the_last_state_told_is_the_outcome() -> None:
    def told(label: FindingLabel, at: int) -> Finding:
        return Finding(label, "better", WordRange(at, at + 2), TimeSpan(0, 1))

    found = _by_order([told("outcome", 10), told("finding", 2), told("follow-up change", 20)])
    assert [f.label for f in found] == ["follow-up change", "finding", "outcome"]
    assert _by_order([told("finding", 2)]) == [told("finding", 2)]


def test_a_story_goes_on_in_the_middle_of_another(found: Callable[..., tuple[Reading, Extraction]]) -> None:
    first = "I had a patient, a tailor, forty two years old, who came to me with a burning in the stomach. He was weak and very thirsty. I gave him Pulsatilla 200, one dose. After two weeks the burning was less. "
    second = "Another case, a nun of fifty years, came to me with a cough at night. She was chilly and she wept. I gave her Pulsatilla 30, twice a day. After one week she slept well. "
    reading, result = found(first + second + "Now the tailor again. After three months he came back and the burning had returned. I repeated Pulsatilla 1M. After one month he was well.")  # fmt: skip
    assert len(result.vignettes) == 2
    tailor, nun = result.vignettes
    assert [reading.text_of(words).startswith("Now the tailor again.") for words in tailor.follow_ups] == [True]
    assert not nun.follow_ups
