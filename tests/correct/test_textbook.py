"""Passages read aloud from the course's own text; the lines are invented."""

from __future__ import annotations

from notesmith.correct import correct
from notesmith.vocabulary import load_vocabulary

from .talk import restored, transcript

BOOK = (
    "# Notes on the stony child",
    "Calcarea carbonica is slow to walk, slow to speak and sweats about the head at night upon the pillow.",
    "The child fears what he cannot see, and asks the same question until he is tired of it.",
    "Give thirty, and wait for six weeks before you think of another dose.",
)
VOCABULARY = load_vocabulary()


def test_a_line_read_aloud_restores_its_terms_and_its_misheard_words() -> None:
    talk = transcript(
        "So I read it to you, I quote, Calcutta a carbonic a is slow to walk,",
        "slow to speak and sweats about the bed at night upon the pillow, and now my own words on it.",
    )
    found = correct(talk, VOCABULARY, textbook=BOOK)
    assert [(reading.line_number, reading.line) for reading in found.readings] == [(2, BOOK[1])]
    text = restored(talk, found)
    assert "sweats about the head at night" in text
    assert "and now my own words on it." in text
    read = talk.text(found.readings[0].words)
    assert read.startswith(("Calcutta", "is slow"))
    assert "my own words" not in read


def test_talk_about_the_same_things_is_no_reading() -> None:
    talk = transcript("This child is slow to learn and sweats at night, and the mother asks for another dose.")
    found = correct(talk, VOCABULARY, textbook=BOOK)
    assert found.readings == ()


def test_a_number_read_otherwise_is_only_proposed() -> None:
    talk = transcript("Give thirteen and wait for six weeks before you think of another dose.")
    found = correct(talk, VOCABULARY, textbook=BOOK)
    assert len(found.readings) == 1
    assert [item.state for item in found.items if item.heard == "thirteen"] == ["proposed"]


def test_without_a_textbook_nothing_is_marked() -> None:
    talk = transcript("The child fears what he cannot see, and asks the same question until he is tired of it.")
    assert correct(talk, VOCABULARY).readings == ()
    assert len(correct(talk, VOCABULARY, textbook=BOOK).readings) == 1
