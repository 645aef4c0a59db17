import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith.labels import Proposal, apply_proposal, lecture_id, propose
from notesmith.lecture import Lecture
from notesmith.vocabulary import Concept, Vocabulary, load_vocabulary

VOCABULARY = Vocabulary(
    {
        c.id: c
        for c in (
            Concept("remedy/thuja", "remedy", "Thuja occidentalis", ("Thuja",)),
            Concept("remedy/kali-bi", "remedy", "Kali bichromicum", ("Kali bich",)),
        )
    },
    (),
    "0",
)


@pytest.mark.parametrize(
    ("stem", "date", "part", "parts", "remedies"),
    [
        ("2026-03-02-kali-bichromicum-part-1-of-2", "2026-03-02", 1, 2, ("remedy/kali-bi",)),
        ("Thuja session 3 20260309", "2026-03-09", 3, None, ("remedy/thuja",)),
        ("09.03.2026 Thuja", "2026-03-09", None, None, ("remedy/thuja",)),
        ("GMT20261399_recording", None, None, None, ()),
        ("Kali bich Part Two of Three", None, 2, 3, ("remedy/kali-bi",)),
    ],
)
def test_a_file_name_tells_date_part_and_remedy(stem, date, part, parts, remedies):
    found = propose(stem, vocabulary=VOCABULARY)
    assert (found.date, found.part, found.parts, found.remedy_ids) == (date, part, parts, remedies)


def test_metadata_and_opening_words_fill_what_the_name_leaves_open():
    found = propose("audio_1", metadata={"date": "2026-05-04T10:00:00Z"}, vocabulary=VOCABULARY,
                    opening="Good evening, today we take Thuja, part two of three, so open your books")  # fmt: skip
    assert (found.date, found.part, found.parts) == ("2026-05-04", 2, 3)
    assert found.title == "Thuja occidentalis, part 2 of 3"


@pytest.mark.parametrize(
    ("opening", "remedies"),
    [
        ("Hello everyone, am I audible, yes, okay", ()),
        ("Good evening. Yesterday we left Thuja in the middle. Today we come to Kali bichromicum.", ("remedy/kali-bichromicum",)),
        ("Yesterday we left Thuja in the middle, let us finish it", ("remedy/thuja-occidentalis",)),
    ],
)  # fmt: skip
def test_the_opening_is_speech_and_tells_what_today_is_about(opening, remedies):
    assert propose("talk", opening=opening, vocabulary=load_vocabulary()).remedy_ids == remedies


def test_what_a_person_set_is_never_proposed_over():
    lecture = Lecture("x", "My title", "0", part=9, set_by_person=("title", "part"))
    labelled = apply_proposal(lecture, Proposal("Other", "2026-01-01", "Series", 1, 2))
    assert (labelled.title, labelled.part, labelled.date, labelled.parts) == ("My title", 9, "2026-01-01", 2)


@given(st.text(max_size=80), st.lists(st.text(max_size=10), max_size=3))
def test_an_id_is_an_address_and_unlike_every_taken_one(title, others):
    taken = frozenset(lecture_id(None, other) for other in others) | {lecture_id(None, title)}
    made = lecture_id(None, title, taken)
    assert made not in taken
    assert made.isascii()
    assert 0 < len(made) <= 60
    assert all(c.isalnum() or c == "-" for c in made)
