"""Potencies heard as times or words are proposed, and true clock times are left alone."""

from __future__ import annotations

import pytest

from notesmith.correct import correct
from notesmith.vocabulary import load_vocabulary

from .talk import transcript

VOCABULARY = load_vocabulary()


@pytest.mark.parametrize(
    ("line", "potency"),
    [
        ("I gave Sulphur 10 a.m. and waited.", "10M"), ("Then Sepia one am, a single dose.", "1M"),
        ("I gave her Thuja 200, one dose, and six weeks later 1 a.m. and no more.", "1M"),
        ("He got Bryonia thirty sea for three days.", "30C"), ("They sell Calcarea carbonica six sex here.", "6X"),
        ("He had Causticum Thurdy, one dose in the evening.", "30C"),
    ],
)  # fmt: skip
def test_a_potency_after_a_remedy_is_proposed(line: str, potency: str) -> None:
    found = [item for item in correct(transcript(line), VOCABULARY).items if item.restored == potency]
    assert [item.state for item in found] == ["proposed"]


@pytest.mark.parametrize(
    "line",
    [
        "Sulphur is dirty and proud of it.", "The old face of Sulphur, dirty round the nose.", "Sulphur dirty round the nose.", "Sepia thirdly is sad in the evening.", "Natrum muriaticum is worse at 10 a.m. and at the sea.", "She woke at 1 a.m. and drank.",
        "I gave Thuja 200. Then 1 a.m. came and she slept.", "Thuja is better later, and later 1 a.m. is worst.",
        "We meet at 10 a.m. on Sunday.", "Sulphur 200 was repeated twice.", "He gave Sepia 1M in spring.",
    ],
)  # fmt: skip
def test_clock_times_and_plain_potencies_stay(line: str) -> None:
    assert not [i for i in correct(transcript(line), VOCABULARY).items if i.concept_id.startswith("potency/")]
