"""Distances of strings of phones: batched forms against a plain, slow reckoning of the same recurrence."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from notesmith.sounds import PHONES, load_costs
from notesmith.sounds.distance import articulatory_costs, encode_all

strings = st.text(st.sampled_from(PHONES), min_size=1, max_size=9)


def plain_distance(heard: str, said: str) -> float:
    """Weighted edit distance by the textbook recurrence (Wagner and Fischer, 1974)."""
    substitute, insert, delete = load_costs().matrices
    a, b = [PHONES.index(p) for p in heard], [PHONES.index(p) for p in said]
    row = [0.0, *np.cumsum([delete[y] for y in b])]
    for x in a:
        new = [row[0] + insert[x]]
        for j, y in enumerate(b):
            new.append(min(row[j] + substitute[x, y], row[j + 1] + insert[x], new[j] + delete[y]))
        row = new
    return float(row[-1])


@settings(max_examples=150, deadline=None)
@given(st.lists(strings, min_size=1, max_size=6), strings)
def test_batches_of_unequal_lengths_agree_with_the_plain_reckoning(said: list[str], heard: str) -> None:
    expected = [plain_distance(heard, one) for one in said]
    costs = load_costs()
    assert np.allclose(costs.distances(heard, encode_all(said)), expected, atol=1e-3)
    pairs = costs.many(np.repeat(encode_all([heard]), len(said), axis=0), encode_all(said))
    assert np.allclose(pairs, expected, atol=1e-3)


@settings(max_examples=100, deadline=None)
@given(strings, strings)
def test_an_alignment_spells_both_strings(heard: str, said: str) -> None:
    pairs = load_costs().align(heard, said)
    assert "".join(a for a, _ in pairs) == heard
    assert "".join(b for _, b in pairs) == said
    substitute, insert, delete = load_costs().matrices
    code = {phone: n for n, phone in enumerate(PHONES)}
    cost = sum(
        insert[code[a]] if not b else delete[code[b]] if not a else substitute[code[a], code[b]] for a, b in pairs
    )
    assert np.isclose(cost, load_costs().distances(heard, encode_all([said]))[0], atol=1e-2)  # and none is cheaper


@given(strings)
def test_a_string_is_itself(phones: str) -> None:
    for costs in (load_costs(), articulatory_costs()):
        assert costs.distances(phones, encode_all([phones]))[0] == 0


def test_what_is_made_alike_is_near() -> None:
    """Place, manner and voice: IPA chart (International Phonetic Association)."""
    costs = articulatory_costs()

    def cost(a: str, b: str) -> float:
        return costs.substitute[PHONES.index(a)][PHONES.index(b)]

    assert cost("p", "b") < cost("p", "k") < cost("p", "ɑ")
    assert cost("s", "z") < cost("s", "m")
    assert cost("i", "ɪ") < cost("i", "ɑ")
