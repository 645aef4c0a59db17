"""Promises and the sessions that keep them."""

from __future__ import annotations

import pytest

from notesmith.annotations import CarryOver, TeachingPoint
from notesmith.extract import SessionTeaching, match_promises
from notesmith.extract.carry_overs import _second_promise
from notesmith.transcript import TimeSpan, WordRange

SPAN, TIME = WordRange(0, 1), TimeSpan(0, 1)


def promise(text: str, *topics: str) -> CarryOver:
    return CarryOver(text, "promised", text, SPAN, TIME, topics)


def point(key: str, remedy: str | None, text: str) -> TeachingPoint:
    return TeachingPoint(key, "mind", text, text, SPAN, TIME, remedy)


SEPIA, PULS = "remedy/sepia", "remedy/pulsatilla"


def test_a_promise_is_matched_with_the_first_session_that_keeps_it() -> None:
    kept = promise("Next class we will take Sepia.", SEPIA)
    later = (point("a", SEPIA, "Sepia is indifferent."), point("b", SEPIA, "She sags."))
    matches = match_promises(
        (
            SessionTeaching("1", (kept,), ()),
            SessionTeaching("2", (), (point("x", PULS, "Mild."),)),
            SessionTeaching("3", (), later),
        )
    )
    assert [(m.lecture_id, m.delivered_in, m.point_key) for m in matches] == [("1", "3", "a")]


def test_a_comparison_needs_both_remedies_and_earlier_sessions_do_not_count() -> None:
    both = promise("We will compare Sepia with Pulsatilla next week.", SEPIA, PULS)
    early = (point("a", SEPIA, "Sepia."), point("b", PULS, "Puls."))
    only_one = (point("c", SEPIA, "Sepia sags."), point("d", SEPIA, "Sepia is cold."))
    matches = match_promises(
        (SessionTeaching("1", (), early), SessionTeaching("2", (both,), ()), SessionTeaching("3", (), only_one))
    )
    assert matches[0].delivered_in is None


@pytest.mark.parametrize(
    ("said", "second"),
    [
        ("tomorrow night we will take the burns, and the fractures i am keeping for the week after.", "the fractures"),
        ("next week we will take sepia and natrum muriaticum.", ""),
        ("next class we will do the mind, and we go on.", ""),
    ],
)
def test_two_promises_in_one_breath(said: str, second: str) -> None:
    at = _second_promise(said)
    assert " ".join(said.split()[at:]).startswith(second) if second else at == 0
