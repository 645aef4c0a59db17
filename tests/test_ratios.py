"""A guard against stages that get clearly slower: their CPU time beside that of a fixed piece of Python on this machine.

The bounds are about three times the ratios of the day they were set (2026-11-25), so that only a clear change fails.
"""

from __future__ import annotations

import re
import time
from collections.abc import Callable

import pytest

from notesmith.correct import correct
from notesmith.extract import extract
from notesmith.reading import read
from notesmith.vocabulary import load_vocabulary
from tests.correct.talk import transcript
from tests.correct.test_correct import LECTURE, ORDINARY

RUNS = 3
CORRECT_MOST, EXTRACT_MOST = 11.0, 20.0
VOCABULARY = load_vocabulary()
TALK = transcript(*(LECTURE + ORDINARY) * 8)  # about 1,100 words

READING = read(TALK, correct(TALK, VOCABULARY))


def cpu_seconds(work: Callable[[], object]) -> float:
    """The least of some runs, after one to warm up: a busy machine can only add to it."""
    work()
    taken = []
    for _ in range(RUNS):
        start = time.process_time()
        work()
        taken.append(time.process_time() - start)
    return min(taken)


def yardstick() -> int:
    """Work like that of the stages: words split, counted, sorted, matched."""
    words = [f"{n * 7919 % 104729}x{n % 97}" for n in range(60_000)]
    counts: dict[str, int] = {}
    for word in words:
        counts[word[:4]] = counts.get(word[:4], 0) + len(word)
    matched = sum(bool(re.match(r"\d+x1", word)) for word in sorted(words))
    return matched + max(counts.values())


@pytest.mark.parametrize(
    ("stage", "most"),
    [
        (lambda: correct(TALK, VOCABULARY), CORRECT_MOST),
        (lambda: extract(READING, VOCABULARY), EXTRACT_MOST),
    ],
    ids=["correct", "extract"],
)  # fmt: skip
def test_no_stage_has_become_clearly_slower(stage: Callable[[], object], most: float) -> None:
    ratio = cpu_seconds(stage) / cpu_seconds(yardstick)
    assert ratio < most, f"takes {ratio:.1f} yardsticks, the bound is {most}"
