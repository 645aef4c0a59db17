"""The field of competing hypotheses against an enumeration of all readings."""

from __future__ import annotations

import itertools
import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notesmith.correct.field import marginals

hypotheses = st.lists(
    st.tuples(st.integers(0, 4), st.integers(1, 3), st.floats(-4, 4)).map(lambda t: (t[0], min(5, t[0] + t[1]), t[2])),
    max_size=6,
)


@settings(max_examples=100, deadline=None)
@given(hypotheses)
def test_shares_are_those_of_all_readings(given_: list[tuple[int, int, float]]) -> None:
    places = [(start, end) for start, end, _ in given_]
    scores = [score for _, _, score in given_]
    whole, shares = marginals(5, places, scores)
    total, each = 0.0, [0.0] * len(places)
    for size in range(len(places) + 1):
        for chosen in itertools.combinations(range(len(places)), size):
            words = [i for k in chosen for i in range(*places[k])]
            if len(words) == len(set(words)):
                weight = math.exp(sum(scores[k] for k in chosen))
                total += weight
                for k in chosen:
                    each[k] += weight
    assert whole == pytest.approx(math.log(total))
    assert shares == pytest.approx([weight / total for weight in each])


def test_rivals_share_one_place() -> None:
    _, shares = marginals(2, [(0, 1), (0, 1), (0, 2)], [1.0, 1.0, 1.0])
    assert sum(shares) < 1
    assert len(set(shares)) == 1
