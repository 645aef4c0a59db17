"""How likely a label is heard as what was written, learnt from mishearings: one or two letters for one or two.

A joint model of two strings as in grapheme-to-phoneme work (Bisani and Ney, 2008, here with each piece drawn by itself):
the label is cut into pieces of one or two letters, each is written as none, one or two, and a letter may be written
that is none of the label's. The same is reckoned on phones. All cuts are summed. What is gained over the chance of the
same string in ordinary talk (letter trigrams) tells a garble from a likeness by chance. benchmarks/learn_garbles.py
counts the pieces by expectation maximisation.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from notesmith.correct.candidates import Candidate, HeardWord
from notesmith.correct.forms import FormTable
from notesmith.sounds.phones import PHONES, plain_letters

GARBLE = (
    "letters garbled", "letters garbled a letter", "phones garbled", "phones garbled a phone", "garbled",
    "garbled lead", "garbled share",
)  # fmt: skip
LETTERS = "abcdefghijklmnopqrstuvwxyz"
LONGEST = 24  # letters or phones; what comes after is not compared
SIZES = ((1, 1), (1, 0), (0, 1), (1, 2), (2, 1), (2, 2))  # letters of the label and of what was heard
SURE_ONE, SURE_TWO = 2.0, 8.0  # uses for which the first guess counts, of single letters and of pairs
COMMON = 0.5 * 2.3  # of a term's commonness (log10), in nats, for its share among its rivals
NOTHING, ALONE = -8.0, 10.0  # nats of what no term was said for; lead of a hypothesis without rivals
LEAST = 1e-300
Floats = NDArray[np.float64]
Table = NDArray[np.float32]
Ints = NDArray[np.int64]


class Channel(NamedTuple):
    """``pieces[label's, heard]`` probabilities, pieces numbered by ``piece``; ``ordinary`` log-probabilities of trigrams."""

    alphabet: str
    pieces: Table
    ordinary: Table

    def heard_as(self, pairs: Sequence[tuple[str, str]]) -> Floats:
        """(n,) log-probabilities of each second string, heard for the first."""
        labels, heard = (codes(self.alphabet, strings) for strings in zip(*pairs, strict=True))
        sums, _, _ = summed(labels, heard, self.pieces, len(self.alphabet) + 1)
        ends = [np.array([len(pair[side]) for pair in pairs]) for side in (0, 1)]
        return np.asarray(np.log(np.maximum(sums[ends[0], ends[1], np.arange(len(pairs))], LEAST)))

    def by_chance(self, heard: str) -> float:
        """The log-probability of a string in ordinary talk."""
        at = codes(self.alphabet, [heard])[0] if heard else np.zeros(0, np.int64)
        whole = np.concatenate([np.zeros(2, np.int64), at])
        return float(self.ordinary[whole[:-2], whole[1:-1], whole[2:]].sum())


class Garbles(NamedTuple):
    letters: Channel
    phones: Channel


def codes(alphabet: str, strings: Sequence[str]) -> Ints:
    """(n, longest) numbers of letters from 1; 0 pads, and stands for what is no letter of the alphabet."""
    of = {letter: number for number, letter in enumerate(alphabet, 1)}
    made = np.zeros((len(strings), max(map(len, strings), default=0)), np.int64)
    for row, one in zip(made, strings, strict=True):
        row[: len(one)] = [of.get(letter, 0) for letter in one]
    return made


def piece(coded: Ints, end: int, size: int, letters: int) -> Ints:
    """(n,) the numbers of the pieces of ``size`` letters before ``end``: none, then single letters, then pairs."""
    if size == 0:
        return np.zeros(len(coded), np.int64)
    if size == 1:
        return 1 + coded[:, end - 1]
    return 1 + letters + coded[:, end - 2] * letters + coded[:, end - 1]


def summed(labels: Ints, heard: Ints, pieces: Table, letters: int) -> tuple[Floats, dict[tuple[int, int], Ints], dict[tuple[int, int], Ints]]:  # fmt: skip
    """(label, heard, n) probabilities of all beginnings over all cuts, and the pieces of both sides by end and size."""
    long, wide = labels.shape[1], heard.shape[1]
    ours = {(i, a): piece(labels, i, a, letters) for i in range(long + 1) for a in (0, 1, 2) if i >= a}
    theirs = {(j, b): piece(heard, j, b, letters) for j in range(wide + 1) for b in (0, 1, 2) if j >= b}
    sums = np.zeros((long + 1, wide + 1, len(labels)))
    sums[0, 0] = 1
    for i in range(long + 1):
        for j in range(wide + 1):
            for a, b in SIZES:
                if i >= a and j >= b:
                    sums[i, j] += sums[i - a, j - b] * pieces[ours[i, a], theirs[j, b]]
    return sums, ours, theirs


def first_guess(letters: int) -> Table:
    """Probabilities of pieces before anything is learnt: mostly the same letter."""
    size = 1 + letters + letters * letters
    guess = np.zeros((size, size), np.float32)
    one, two = slice(1, 1 + letters), slice(1 + letters, size)
    guess[0, one] = 0.02 / letters
    guess[one, 0] = 0.06
    guess[one, one] = 0.3 / letters
    guess[range(1, 1 + letters), range(1, 1 + letters)] = 0.6
    guess[one, two], guess[two, one], guess[two, two] = 0.03 / letters**2, 0.03 / letters, 0.02 / letters**2
    return guess


def pieces_of(counts: Table, letters: int) -> Table:
    """Probabilities from counts of (label's piece, heard piece), the first guess counting as some uses of each."""
    guess = first_guess(letters)
    worth = np.full((len(counts), 1), SURE_TWO, np.float32)
    worth[: 1 + letters] = SURE_ONE
    uses = counts.sum(axis=1, keepdims=True)
    guess *= worth / np.maximum(guess.sum(axis=1, keepdims=True), 1e-12)
    guess += counts
    guess /= uses + worth
    paired = uses[1 + letters :].sum() / max(1.0, uses[1:].sum())
    guess[0] *= uses[0, 0] / max(1.0, uses[1:].sum())
    guess[1 : 1 + letters] *= 1 - paired
    guess[1 + letters :] *= paired
    return guess


def trigrams_of(counts: Table) -> Table:
    """Log-probabilities of a letter after two, from counts; shorter ones help where there are few."""
    pairs = counts.sum(axis=0)
    single = pairs.sum(axis=0) + 0.5
    single /= single.sum()
    second = (pairs + 5 * single) / (pairs.sum(axis=1, keepdims=True) + 5)
    return np.asarray(np.log((counts + 5 * second[None]) / (counts.sum(axis=2, keepdims=True) + 5)))


def channel(alphabet: str, counts: Table, trigrams: Table) -> Channel:
    return Channel(alphabet, pieces_of(counts, len(alphabet) + 1), trigrams_of(trigrams))


@lru_cache(maxsize=1)
def load_garbles() -> Garbles:
    place = resources.files("notesmith.correct").joinpath("data/garbles.npz")
    with place.open("rb") as file, np.load(file) as packed:
        return Garbles(
            *(
                channel(alphabet, *(_unpacked(packed, f"{name} {what}") for what in ("pieces", "trigrams")))
                for name, alphabet in (("letters", LETTERS), ("phones", PHONES))
            )
        )


def _unpacked(packed: np.lib.npyio.NpzFile, name: str) -> Table:
    shape = tuple(packed[f"{name} shape"])
    flat = np.zeros(int(np.prod(shape)), np.float32)
    flat[packed[f"{name} at"]] = packed[f"{name} counts"]
    return flat.reshape(shape)


def compared_letters(text: str) -> str:
    """The letters of a text that are compared, without spaces."""
    return "".join(letter for letter in plain_letters(text) if letter in LETTERS)[:LONGEST]


def garble_rows(
    words: Sequence[HeardWord], table: FormTable, candidates: Sequence[Candidate], garbles: Garbles
) -> Floats:
    """(candidates, GARBLE) of hypotheses over these words; rivals are the others at the same place."""
    rows = np.zeros((len(candidates), len(GARBLE)))
    if not candidates:
        return rows
    forms = [table.forms[one.form] for one in candidates]
    written = ["".join(word.plain for word in words[one.words.start : one.words.end]) for one in candidates]
    sides = (
        (garbles.letters, [(compared_letters(f.label), compared_letters(w)) for f, w in zip(forms, written, strict=True)]),
        (garbles.phones, [(f.phones[:LONGEST], c.phones[:LONGEST]) for f, c in zip(forms, candidates, strict=True)]),
    )  # fmt: skip
    for at, (model, pairs) in enumerate(sides):
        known = dict.fromkeys(pairs)
        scores = dict(zip(known, model.heard_as(list(known)).tolist(), strict=True))
        chance = {heard: model.by_chance(heard) for heard in dict.fromkeys(heard for _, heard in known)}
        rows[:, 2 * at] = [scores[pair] for pair in pairs]
        gains = rows[:, 2 * at] - [chance[heard] for _, heard in pairs]
        rows[:, 2 * at + 1] = gains / [max(1, len(heard)) for _, heard in pairs]
        rows[:, 4] += gains / 2
    at_word: dict[int, list[int]] = defaultdict(list)
    for number, one in enumerate(candidates):
        for i in range(one.words.start, one.words.end):
            at_word[i].append(number)
    likely = rows[:, 4] + [COMMON * form.prior for form in forms]
    for number, one in enumerate(candidates):
        here = sorted({n for i in range(one.words.start, one.words.end) for n in at_word[i]})
        others = [rows[n, 4] for n in here if forms[n].concept_id != forms[number].concept_id]
        rows[number, 5] = rows[number, 4] - max(others) if others else ALONE
        rows[number, 6] = likely[number] - np.logaddexp.reduce([*likely[here], NOTHING])
    return rows
