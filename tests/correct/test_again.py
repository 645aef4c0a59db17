"""The second hearing: what is heard under lists of expected terms, found again in the transcript's own words."""

from __future__ import annotations

from collections.abc import Sequence

from notesmith.correct import correct
from notesmith.correct.again import (
    AGAIN,
    LISTS,
    SecondHearing,
    again_rows,
    compare,
    echoed_candidates,
    expected_terms,
    listen_again,
)
from notesmith.correct.candidates import heard_words
from notesmith.correct.forms import form_table
from notesmith.correct.gather import gather
from notesmith.sounds import load_costs
from notesmith.transcript import TimeSpan, WordRange
from notesmith.vocabulary import load_vocabulary

from .talk import transcript

VOCABULARY = load_vocabulary()
TABLE = form_table(VOCABULARY, load_costs())


class Says:
    """A listener that hears one text under the first lists and another under the rest, and keeps what it was told."""

    def __init__(self, first: str, rest: str = "", lists: int = LISTS) -> None:
        self.first, self.rest, self.lists = first, rest, lists
        self.told: list[Sequence[Sequence[str]]] = []

    def again(self, time: TimeSpan, expected: Sequence[Sequence[str]]) -> Sequence[str]:
        self.told.append(expected)
        return [self.first if n < self.lists else self.rest for n in range(len(expected))]

    def score(self, time: TimeSpan, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        return [0.0] * len(wordings)

    def expect(self, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        return [0.0] * len(wordings)


HEARD = "In the provings of silica, he was says, the chilly child of Silicea is obstinate."
AGAIN_HEARD = "In the provings of Silicea, Hughes says, the chilly child of Silicea is obstinate."


def test_a_term_heard_again_is_found_over_the_words_that_stood_for_it() -> None:
    talk = transcript(HEARD)
    heard = compare(
        heard_words(talk), VOCABULARY, listen_again(talk, [("author/hughes", "Hughes")] * LISTS, Says(AGAIN_HEARD))
    )
    at = [word.text for word in talk.words].index("he")
    assert {e.words for e in heard.echoes if e.concept_id == "author/hughes"} == {WordRange(at, at + 2)}
    assert all(h.edges == tuple(sorted(h.edges)) and h.edges[-1] == len(h.heard) for h in heard.hearings)


def test_words_heard_the_same_leave_no_trace() -> None:
    heard = compare(
        heard_words(transcript(HEARD)),
        VOCABULARY,
        listen_again(transcript(HEARD), [("remedy/sepia", "Sepia")] * LISTS, Says(HEARD)),
    )
    assert heard.hearings and not heard.echoes


def test_echoes_become_candidates_with_their_votes() -> None:
    talk = transcript(HEARD)
    session = gather(talk, TABLE)
    heard = compare(
        heard_words(talk),
        VOCABULARY,
        listen_again(talk, [("author/hughes", "Hughes")] * LISTS, Says(AGAIN_HEARD, HEARD, lists=3)),
    )
    found = echoed_candidates(session, TABLE, heard, frozenset())
    assert not echoed_candidates(session, TABLE, heard, frozenset(range(len(talk.words))))
    every = (*session.candidates, *found)
    at = [word.text for word in talk.words].index("he")
    number = next(
        n for n, c in enumerate(every)
        if TABLE.forms[c.form].concept_id == "author/hughes" and c.words == WordRange(at, at + 2)
    )  # fmt: skip
    wider = type(session)(session.transcript, session.words, session.right, every, session.hints)
    row = dict(zip(AGAIN, again_rows(wider, TABLE, heard, [number])[0].tolist(), strict=True))
    assert row["votes"] == 3 and row["votes exact"] == 3 and row["kept"] == 1 and row["rival votes"] == 0
    assert row["again distance"] < 0.1 < row["again mean"]


def test_a_negation_and_a_number_are_never_echoed_over() -> None:
    talk = transcript("She was not there at nine and Sepia was sad.")
    says = Says("She was Natrum muriaticum there at Nux vomica and Sepia was sad.")
    heard = compare(heard_words(talk), VOCABULARY, listen_again(talk, [("remedy/sepia", "Sepia")] * LISTS, says))
    found = echoed_candidates(gather(talk, TABLE), TABLE, heard, frozenset())
    barred = {i for i, word in enumerate(talk.words) if word.text in ("not", "nine")}
    assert not [c for c in found if barred & set(range(c.words.start, c.words.end))]


def test_what_the_session_speaks_of_is_expected_first_and_shared_out_over_the_lists() -> None:
    talk = transcript("Causticum is hoarse. Causticum is paralysed. Causticum weeps with others.")
    session = gather(talk, TABLE)
    terms = expected_terms(session, TABLE, [], [])
    assert terms[0] == ("remedy/causticum", "Causticum")
    says = Says("")
    listen_again(talk, terms, says)
    assert sorted(label for one in says.told[0] for label in one) == sorted(label for _, label in terms)
    assert says.told[0][0][-1] == "Causticum"


def test_a_listener_that_hears_nothing_changes_nothing() -> None:
    talk = transcript(HEARD)
    assert correct(talk, VOCABULARY, witness=Says("")).items == correct(talk, VOCABULARY).items


def test_a_hearing_goes_on_where_it_was_broken_off() -> None:
    talk = transcript(*[HEARD] * 6)
    whole: list[SecondHearing] = []
    first = correct(talk, VOCABULARY, witness=Says(AGAIN_HEARD), keep_hearing=whole.append)
    assert len(whole) == len(whole[-1].passages) > 1
    says = Says(AGAIN_HEARD)
    assert correct(talk, VOCABULARY, witness=says, heard_again=whole[0]).items == first.items
    assert len(says.told) == len(whole) - 1
    says = Says("nothing of the kind")
    assert correct(talk, VOCABULARY, witness=says, heard_again=whole[-1]).items == first.items and not says.told
