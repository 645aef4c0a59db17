"""Where a transcript without stops would have them, learnt from labelled sessions with theirs taken away.

A linear chain (``chains``); its weights are in ``data/stops.json``, made by ``benchmarks/learn_notes.py``. The parser's
own guess is one feature among many: it was learnt from written English, and a lecturer's is spoken.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from itertools import accumulate
from typing import Any

import msgspec
import numpy as np
from numpy.typing import NDArray
from wordfreq import zipf_frequency

from notesmith.extract.chains import OUTSIDE, Chain
from notesmith.extract.lexicon import word_classes
from notesmith.vocabulary import Vocabulary, label_key

BEGINS = "B-sentence"
#: The parser is given this many words at a time.
PIECE = 400
_FINITE = frozenset(("VBD", "VBZ", "VBP", "MD"))
#: From this zipf frequency (occurrences per 10^9 words, log10) a word of a remedy's name is ordinary English.
_ORDINARY = 3.3
#: Of all words this share begin a sentence; the chain's mean belief where one does and where none does (on the sessions of
#: dev14, from which it did not learn).
SENTENCES_A_WORD, WHERE_ONE_BEGINS, ELSEWHERE = 0.087, 0.76, 0.21
#: Lines that begin sentences are never more, words inside them never less likely than this to begin one.
SUREST, LEAST = 0.95, 0.02


@dataclass(frozen=True, slots=True)
class Parsed:
    """What the parser says of a word: ``head`` is a place among all words, ``starts`` whether a sentence begins here."""

    tag: str
    relation: str
    head: int
    starts: bool


@lru_cache(maxsize=1)
def stop_model() -> Chain:
    return msgspec.json.decode(files("notesmith.extract").joinpath("data", "stops.json").read_bytes(), type=Chain)


@lru_cache(maxsize=2)
def _remedy_words(vocabulary: Vocabulary) -> frozenset[str]:
    return frozenset(
        word
        for concept in vocabulary.in_scheme("remedy")
        for label in (concept.pref_label, *concept.alt_labels)
        for word in label_key(label).split()
        if zipf_frequency(word, "en") < _ORDINARY
    )


def parsed(words: Sequence[str], nlp: Any) -> Iterator[Parsed]:
    """The parse of words without stops, piece by piece."""
    from spacy.tokens import Doc

    for begin in range(0, len(words), PIECE):
        for token in nlp(Doc(nlp.vocab, words=list(words[begin : begin + PIECE]))):
            yield Parsed(token.tag_, token.dep_, begin + token.head.i, bool(token.is_sent_start) or not token.i)


def stop_rows(lows: Sequence[str], parse: Sequence[Parsed], vocabulary: Vocabulary) -> list[list[str]]:
    """Features of each word, for whether a sentence begins with it."""
    remedies = _remedy_words(vocabulary)
    count = len(lows)
    change = [0] * (count + 1)
    for at, word in enumerate(parse):
        change[min(at, word.head) + 1] += 1
        change[max(at, word.head) + 1] -= 1
    over = list(accumulate(change))  # arcs of the parse that reach over the gap before each word
    own = [_traits(low, remedies) for low in lows]
    tags = [word.tag for word in parse]
    since = list(accumulate(tags[:-1], lambda steps, tag: 0 if tag in _FINITE else steps + 1, initial=99))
    until = list(accumulate(reversed(tags), lambda steps, tag: 0 if tag in _FINITE else steps + 1, initial=99))[:0:-1]
    rows = []
    for at, word in enumerate(parse):
        row = ["bias", f"over {min(4, over[at])}", f"d {word.relation}", f"v {_steps(since[at])} {_steps(until[at])}"]
        if word.starts:
            row += ("parser", f"parser {word.tag}")
        if word.head != at:
            row.append(f"head {'after' if word.head > at else 'before'} {word.relation}")
        for step in (-3, -2, -1, 0, 1, 2, 3):
            near = at + step
            if not 0 <= near < count:
                row.append(f"{step}outside")
                continue
            row += (f"{step}t {tags[near]}", f"{step}w {own[near][0]}")
            if -3 < step < 3:
                row += [f"{step}{trait}" for trait in own[near][1]]
        for a, b in ((-2, -1), (-1, 0), (0, 1), (1, 2)):
            if at + a >= 0 and at + b < count:
                row += (f"{a}ww {own[at + a][0]} {own[at + b][0]}", f"{a}tt {tags[at + a]} {tags[at + b]}")
        if 0 < at < count - 1:
            row += (
                f"ttt {tags[at - 1]} {tags[at]} {tags[at + 1]}", f"twt {tags[at - 1]} {own[at][0]} {tags[at + 1]}",
                f"wt {own[at - 1][0]} {tags[at]}", f"tw {tags[at - 1]} {own[at][0]}",
            )  # fmt: skip
        rows.append(row)
    return rows


def _steps(number: int) -> str:
    return str(number) if number < 4 else "4+" if number < 8 else "8+"


def _traits(low: str, remedies: Collection[str]) -> tuple[str, tuple[str, ...]]:
    traits = []
    if low in remedies:
        traits.append("remedy")
    if low in word_classes():
        traits.append(f"k {word_classes()[low]}")
    return "#" if any(c.isdigit() for c in low) else low, tuple(traits)


def stops(lows: Sequence[str], vocabulary: Vocabulary, nlp: Any, edges: Collection[int] = ()) -> list[int]:
    """The words with which a sentence begins. ``edges`` are words that begin a line of the transcript: they count as
    far as lines are seen to begin where sentences do."""
    chain = stop_model()
    begins, goes_on = chain.labels.index(BEGINS), chain.labels.index(OUTSIDE)
    scores = chain.scores(stop_rows(lows, tuple(parsed(lows, nlp)), vocabulary))
    likely = scores[:, begins] - scores[:, goes_on]
    at = sorted(edges)
    if at:
        _count_lines(scores[:, begins], likely, at)
    return [first for _, first, _ in chain.fields_of(scores)]


def _count_lines(begins: NDArray[np.float64], likely: NDArray[np.float64], edges: Sequence[int]) -> None:
    """Let the lines of a transcript speak as far as they are seen to begin where sentences do; changes ``begins``.

    Captions break anywhere, a recogniser's segments mostly where the speaker stops. How often a line begins a sentence is
    told by the chain's mean belief at its first words; what sentences are then left begin inside the lines.
    """
    belief = float((1 / (1 + np.exp(-likely[edges]))).mean())
    share = min(SUREST, max(SENTENCES_A_WORD, (belief - ELSEWHERE) / (WHERE_ONE_BEGINS - ELSEWHERE)))
    inside = len(likely) - len(edges)
    left = (SENTENCES_A_WORD * len(likely) - share * len(edges)) / max(1, inside)
    elsewhere = _log_odds(min(SENTENCES_A_WORD, max(LEAST, left)))
    begins += elsewhere - _log_odds(SENTENCES_A_WORD)
    begins[edges] += _log_odds(share) - elsewhere


def _log_odds(share: float) -> float:
    return math.log(share / (1 - share))
