"""Tidying is reversible and adds no word."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith.extract.tidy import tidy, untidy


@pytest.mark.parametrize(
    ("spoken", "printed"),
    [
        ("So um the the patient is, you know, chilly.", "The patient is chilly."),
        ("Okay, so it is, it is the left side", "It is the left side."),
        ("She is very very weak.", "She is very very weak."),
        ("As you know it is a cold remedy.", "As you know it is a cold remedy."),
        ("It is worse at night, isn't it", "It is worse at night."),
        ("But she is not thirsty.", "But she is not thirsty."),
        ("I gave 200 200 twice.", "I gave 200 200 twice."),
    ],
)
def test_fillers_and_repetitions_go(spoken: str, printed: str) -> None:
    assert tidy(tuple(spoken.split())).text == printed


WORDS = st.lists(
    st.sampled_from("so um the the, not she is, you know worse — again. no never 200 very uh I mean".split()),
    min_size=1,
    max_size=25,
)


@given(WORDS)
def test_tidying_loses_no_word_and_no_negation(words: list[str]) -> None:
    spoken = tuple(words)
    tidied = tidy(spoken)
    assert sorted((*tidied.kept, *tidied.removed)) == list(range(len(spoken)))
    assert untidy(tidied, spoken) == " ".join(spoken)
    said = {w.strip(",.—").lower() for w in spoken}
    assert all(w.strip(",.;—").lower() in said for w in tidied.text.split() if w.strip(",.;—"))
    if "not" in words or "never" in words:
        kept = {spoken[i] for i in tidied.kept}
        assert ("not" not in words or "not" in kept) and ("never" not in words or "never" in kept)


def test_untidy_wants_the_same_words() -> None:
    with pytest.raises(ValueError, match="not the words"):
        untidy(tidy(("She", "is", "cold.")), ("She",))
