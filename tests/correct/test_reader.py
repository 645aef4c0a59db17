"""The language model's reading of what was heard: suspect words, what they may be, and what stays barred."""

from __future__ import annotations

import numpy as np

from notesmith.correct.forms import form_table
from notesmith.correct.gather import by_whole_vocabulary
from notesmith.correct.reader import READ, UNLIKELY, Reading, read_candidates, read_rows, reading_of
from notesmith.sounds import load_costs
from notesmith.transcript import Transcript, WordRange
from notesmith.vocabulary import load_vocabulary

from .talk import transcript

TABLE = form_table(load_vocabulary(), load_costs())
TALK = transcript(
    "Today we take Colley by Chromacum.",
    "The mucus is stringy and it can be drawn out in long strings, and the pains wander in small spots.",
)
SUSPECT = range(3, 6)


def reading_of_talk(talk: Transcript) -> Reading:
    return reading_of(tuple(word.text for word in talk.words))


def test_a_garbled_name_is_suspect_and_ordinary_words_are_not() -> None:
    inside = reading_of_talk(TALK).inside
    assert min(inside[i] for i in SUSPECT) > 0 > max(inside[i] for i in range(len(TALK.words)) if i not in SUSPECT)


def test_what_is_said_around_it_speaks_for_the_remedy() -> None:
    reading = reading_of_talk(TALK)
    told = reading.of(WordRange(3, 6)).mean(axis=0)
    assert (told > told[reading.column["remedy/kali-bichromicum"]]).sum() < 20
    assert np.allclose(np.exp(reading.concepts.astype(np.float64)).sum(axis=1), 1, atol=0.05)


def test_candidates_are_new_and_keep_out_of_frozen_words() -> None:
    session = by_whole_vocabulary(TALK, TABLE)
    known = {(one.words, TABLE.forms[one.form].concept_id) for one in session.candidates}
    found = read_candidates(reading_of_talk(TALK), session, TABLE, frozenset())
    assert found
    assert all(one.by_reading and set(range(one.words.start, one.words.end)) <= set(SUSPECT) for one in found)
    assert known.isdisjoint((one.words, TABLE.forms[one.form].concept_id) for one in found)
    assert read_candidates(reading_of_talk(TALK), session, TABLE, frozenset(SUSPECT)) == []


def test_rows_weigh_a_term_against_the_others_at_its_place() -> None:
    session = by_whole_vocabulary(TALK, TABLE)
    here = [one for one in session.candidates if set(range(one.words.start, one.words.end)) <= set(SUSPECT)]
    rows = read_rows(reading_of_talk(TALK), TABLE, here)
    assert rows.shape == (len(here), len(READ))
    at = {name: rows[:, column] for column, name in enumerate(READ)}
    assert (at["read concept"] >= UNLIKELY - 1e-6).all()
    assert (at["read concept below"] <= 1e-6).all()
    whole = [one.words == WordRange(3, 6) for one in here]
    assert at["read concept"][whole].max() > np.median(at["read concept"])


def test_nothing_is_read_into_no_words() -> None:
    empty = reading_of(())
    assert len(empty.inside) == 0
    assert read_rows(empty, TABLE, []).shape == (0, len(READ))
