"""A guard against stages that get clearly slower: their CPU time beside that of a fixed piece of Python on this machine.

The bounds are some 1.4 times the ratios of the day they were set (2026-11-29, on a busy machine: corrections 8.9 to 13, extraction 9.5
to 10.3, the language model's reading in each), so that a stage made twice as slow fails, which is tried here too.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable

import pytest

from notesmith.correct import correct, reader
from notesmith.extract import extract, opinions
from notesmith.reading import read
from notesmith.vocabulary import load_vocabulary
from tests.correct.talk import transcript
from tests.correct.test_correct import LECTURE, ORDINARY

RUNS = 3
CORRECT_MOST, EXTRACT_MOST = 15.0, 14.0
VOCABULARY = load_vocabulary()
TALK = transcript(*(LECTURE + ORDINARY) * 8)  # about 1,100 words

READING = read(TALK, correct(TALK, VOCABULARY))


def ratio_of(stage: Callable[[], object]) -> float:
    """The stage's CPU time beside the yardstick's: of each the least of some runs by turns, after one to warm up.

    A busy machine can only add to a run, and burdens neighbours alike.
    """
    stage()
    taken: dict[Callable[[], object], list[float]] = {stage: [], yardstick: []}
    for _ in range(RUNS):
        for work, times in taken.items():
            start = time.process_time()
            work()
            times.append(time.process_time() - start)
    return min(taken[stage]) / min(taken[yardstick])


def yardstick() -> int:
    """Work like that of the stages: words split, counted, sorted, matched."""
    words = [f"{n * 7919 % 104729}x{n % 97}" for n in range(60_000)]
    counts: dict[str, int] = {}
    for word in words:
        counts[word[:4]] = counts.get(word[:4], 0) + len(word)
    matched = sum(bool(re.match(r"\d+x1", word)) for word in sorted(words))
    return matched + max(counts.values())


def correct_anew() -> object:
    """With the language model reading again, whose readings are kept."""
    reader.reading_of.cache_clear()
    return correct(TALK, VOCABULARY)


def extract_anew() -> object:
    """The same."""
    opinions.opinions_of.cache_clear()
    return extract(READING, VOCABULARY)


STAGES = pytest.mark.parametrize(
    ("stage", "most"),
    [(correct_anew, CORRECT_MOST), (extract_anew, EXTRACT_MOST)],
    ids=["correct", "extract"],
)


@STAGES
def test_no_stage_has_become_clearly_slower(stage: Callable[[], object], most: float) -> None:
    ratio = ratio_of(stage)
    assert ratio < most, f"takes {ratio:.1f} yardsticks, the bound is {most}"


@STAGES
def test_a_stage_made_twice_as_slow_would_be_noticed(stage: Callable[[], object], most: float) -> None:
    def twice() -> None:
        stage()
        stage()

    ratio = ratio_of(twice)
    assert ratio > most, f"done twice it takes {ratio:.1f} yardsticks, the bound {most} is too loose"
