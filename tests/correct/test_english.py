"""Source of the counts: P. Norvig, Natural Language Corpus Data (2009), count_2w.txt, from Google's Web 1T (2006)."""

import math

import numpy as np
import pytest

from notesmith.correct import english
from notesmith.correct.english import fit, inside_fit

PUBLISHED = {("of", "the"): 2_766_332_391, ("per", "cent"): 18_251_936, ("he", "says"): 8_051_784}


@pytest.mark.parametrize(("pair", "count"), PUBLISHED.items())
def test_packed_counts_are_the_published_ones(pair: tuple[str, str], count: int) -> None:
    hashes, counts = english._table()
    at = int(np.searchsorted(hashes, english.pair_hash(*pair)))
    assert hashes[at] == english.pair_hash(*pair)
    assert math.log10(english.LEAST_COUNT) + counts[at] * english.STEP == pytest.approx(math.log10(count), abs=0.04)


def test_what_english_says_fits_and_what_it_does_not_say_does_not() -> None:
    assert fit("so", "far") > 2
    assert fit("can", "has") < fit("can", "have")
    assert fit("he", "says") > fit("can", "says")
    assert fit("can't", "x") == 0.0  # a word with an apostrophe is not in the corpus
    assert fit("cant", "has") < 0  # but "can't", as transcripts are compared, is read as cannot


def test_unknown_words_say_nothing() -> None:
    assert fit("zzyzx", "qqq") == 0.0
    assert inside_fit(["alone"]) == 0.0
