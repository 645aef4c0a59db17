"""How far two strings of phones are apart: a weighted edit distance over many strings at once.

A cost is about how many nats less likely it is that the recogniser hears one phone for another. The first costs come
from how phones are made (place, manner, voice; height and backness of vowels); benchmarks/learn_sounds.py refines
them by expectation maximisation on mishearings found by experiment, and writes them to data/costs.json.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property, lru_cache
from importlib import resources

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.sounds.phones import PHONES, VOWELS

Costs = NDArray[np.float32]
Codes = NDArray[np.uint8]
PAD = len(PHONES)
_CODE = {phone: code for code, phone in enumerate(PHONES)}
MAX_PHONES = 40
_AT_ONCE = 256  # pairs; what a step needs of so many stays in the processor's cache

# Place (0 lips .. 5 throat), manner (0 stop 1 affricate 2 fricative 3 nasal 4 glide or liquid), voice.
_CONSONANTS = {
    "p": (0, 0, 0), "b": (0, 0, 1), "t": (2, 0, 0), "d": (2, 0, 1), "k": (4, 0, 0), "ɡ": (4, 0, 1),
    "f": (0.5, 2, 0), "v": (0.5, 2, 1), "θ": (1.5, 2, 0), "ð": (1.5, 2, 1), "s": (2, 2, 0), "z": (2, 2, 1),
    "ʃ": (3, 2, 0), "ʒ": (3, 2, 1), "h": (5, 2, 0), "ʧ": (3, 1, 0), "ʤ": (3, 1, 1),
    "m": (0, 3, 1), "n": (2, 3, 1), "ŋ": (4, 3, 1), "l": (2, 4, 1), "ɹ": (2.5, 4, 1), "j": (3.5, 4, 1), "w": (0, 4, 1),
}  # fmt: skip
# Height (0 close .. 3 open), backness (0 front .. 2 back), glide at the end.
_VOWELS = {
    "i": (0, 0, 0), "ɪ": (0.5, 0.3, 0), "ɛ": (1.6, 0.2, 0), "æ": (2.5, 0.3, 0), "ə": (1.5, 1, 0), "ʌ": (2, 1.2, 0),
    "ɑ": (3, 1.6, 0), "ɔ": (2, 2, 0), "u": (0, 2, 0), "ʊ": (0.5, 1.7, 0), "A": (1.2, 0.2, 1), "I": (2.3, 0.8, 1),
    "O": (1.2, 1.8, 1), "W": (2.3, 1.2, 1), "Y": (1.6, 1.6, 1),
}  # fmt: skip


class SoundCosts(msgspec.Struct, frozen=True, dict=True):
    """Costs by phone: ``substitute[heard][said]``, ``insert[heard]`` (heard, not said), ``delete[said]``."""

    substitute: tuple[tuple[float, ...], ...]
    insert: tuple[float, ...]
    delete: tuple[float, ...]

    @cached_property
    def matrices(self) -> tuple[Costs, Costs, Costs]:
        """The costs as arrays; padding is left out for nothing, but is never heard as something."""
        size = len(PHONES)
        substitute = np.full((size + 1, size + 1), 1e4, np.float32)
        substitute[:size, :size] = self.substitute
        insert, delete = np.zeros(size + 1, np.float32), np.zeros(size + 1, np.float32)
        insert[:size], delete[:size] = self.insert, self.delete
        return substitute, insert, delete

    def distances(self, heard: str, said: Codes) -> Costs:
        """The distance of one heard string to each of (n, m) padded codes of said ones; (n,) float32."""
        substitute, insert, delete = self.matrices
        codes = encode(heard)
        rows, width = said.shape
        skipped = np.zeros((rows, width + 1), np.float32)
        np.cumsum(delete[said], axis=1, out=skipped[:, 1:])
        best = skipped.copy()
        for code in codes:
            step = np.empty_like(best)
            step[:, 0] = best[:, 0] + insert[code]
            np.minimum(best[:, :-1] + substitute[code][said], best[:, 1:] + insert[code], out=step[:, 1:])
            # A run of unheard phones costs the difference of their running sums: minimum over all starts at once.
            step -= skipped
            np.minimum.accumulate(step, axis=1, out=step)
            step += skipped
            best = step
        return np.asarray(best[:, -1])

    def many(self, heard: Codes, said: Codes) -> Costs:
        """Distances pair by pair: (n, k) padded codes of heard strings to (n, m) of said ones; (n,) float32."""
        sizes, widths = (heard != PAD).sum(axis=1), (said != PAD).sum(axis=1)
        order = np.lexsort((widths, sizes))  # pairs of about one length together, so that little padding is walked over
        found = np.zeros(len(order), np.float32)
        for start in range(0, len(order), _AT_ONCE):
            block = order[start : start + _AT_ONCE]
            found[block] = self._pairs(heard[block, : sizes[block].max()], said[block, : widths[block].max()])
        return found

    def _pairs(self, heard: Codes, said: Codes) -> Costs:
        """The same at once. A pair is a column, so that each step runs over what lies together in memory."""
        substitute, insert, delete = self.matrices
        flat, size = substitute.ravel(), substitute.shape[1]
        across = np.ascontiguousarray(said.T, np.intp)
        skipped = np.zeros((len(across) + 1, across.shape[1]), np.float32)
        np.cumsum(delete[across], axis=0, out=skipped[1:])
        best, step = skipped.copy(), np.empty_like(skipped)
        for row in np.ascontiguousarray(heard.T, np.intp):
            np.add(best, insert[row], out=step)
            np.minimum(best[:-1] + flat.take(across + row * size), step[1:], out=step[1:])
            # A run of unheard phones costs the difference of their running sums: minimum over all starts at once.
            step -= skipped
            np.minimum.accumulate(step, axis=0, out=step)
            step += skipped
            real = row != PAD
            if real.all():
                best, step = step, best
            else:
                np.copyto(best, step, where=real)
        return np.asarray(best[-1])

    def align(self, heard: str, said: str) -> list[tuple[str, str]]:
        """The cheapest pairing of phones, ``""`` for none; for learning and for reasons."""
        pairs: list[tuple[str, str]] = []
        at = 0
        for phone, j in zip(heard, self.pairing(encode(heard), encode(said)).tolist(), strict=True):
            pairs += [("", one) for one in said[at : max(at, j)]]
            pairs.append((phone, said[j] if j >= 0 else ""))
            at = max(at, j + 1)
        return [*pairs, *(("", one) for one in said[at:])]

    def pairing(self, heard: Codes, said: Codes, more: Costs | float = 0.0) -> NDArray[np.int64]:
        """(n,) which of (m,) said phones each heard one stands for in the cheapest pairing, -1 for none.

        ``more`` (n, m) is what a pair costs besides its phones.
        """
        substitute, insert, delete = self.matrices
        each = np.float32(more) + substitute[np.ix_(heard, said)]
        skipped = np.concatenate([[0.0], np.cumsum(delete[said])]).astype(np.float32)
        best = np.empty((len(heard) + 1, len(said) + 1), np.float32)
        best[0] = skipped
        for i, code in enumerate(heard):
            step = best[i] + insert[code]
            step[1:] = np.minimum(step[1:], best[i, :-1] + each[i])
            best[i + 1] = np.minimum.accumulate(step - skipped) + skipped
        found = np.full(len(heard), -1, np.int64)
        i, j = len(heard), len(said)
        while i:
            if j and np.isclose(best[i, j], best[i - 1, j - 1] + each[i - 1, j - 1], atol=1e-3):
                i, j = i - 1, j - 1
                found[i] = j
            elif np.isclose(best[i, j], best[i - 1, j] + insert[heard[i - 1]], atol=1e-3):
                i -= 1
            else:
                j -= 1
        return found


def encode(phones: str) -> Codes:
    return np.array([_CODE[phone] for phone in phones], np.uint8)


def encode_all(strings: Sequence[str], width: int | None = None) -> Codes:
    """(n, width) codes, padded on the right; longer strings are cut."""
    width = width or max((len(s) for s in strings), default=1) or 1
    codes = np.full((len(strings), width), PAD, np.uint8)
    for row, phones in enumerate(strings):
        cut = phones[:width]
        codes[row, : len(cut)] = [_CODE[phone] for phone in cut]
    return codes


def articulatory_costs() -> SoundCosts:
    """Costs from how phones are made; where learning starts from."""
    substitute = [[_first_cost(a, b) for b in PHONES] for a in PHONES]
    insert = [0.8 if a in "əɪʌ" else 1.1 if a in VOWELS else 1.0 if a in "hjwɹlnŋt" else 1.7 for a in PHONES]
    return SoundCosts(tuple(tuple(row) for row in substitute), tuple(insert), tuple(insert))


def _first_cost(a: str, b: str) -> float:
    if a == b:
        return 0.0
    if a in VOWELS and b in VOWELS:
        (h1, k1, g1), (h2, k2, g2) = _VOWELS[a], _VOWELS[b]
        return min(1.4, 0.35 + 0.22 * abs(h1 - h2) + 0.2 * abs(k1 - k2) + 0.15 * abs(g1 - g2))
    if a in VOWELS or b in VOWELS:
        glides = {("j", "i"), ("j", "ɪ"), ("w", "u"), ("w", "ʊ"), ("w", "O"), ("ɹ", "ə"), ("l", "ə"), ("l", "O")}
        return 1.0 if (a, b) in glides or (b, a) in glides else 2.4
    (p1, m1, v1), (p2, m2, v2) = _CONSONANTS[a], _CONSONANTS[b]
    return float(min(2.4, 0.45 + 0.32 * abs(p1 - p2) + 0.4 * abs(m1 - m2) ** 0.7 + 0.25 * abs(v1 - v2)))


@lru_cache(maxsize=1)
def load_costs() -> SoundCosts:
    """The learnt costs that ship with the package, or the articulatory ones where none were learnt."""
    place = resources.files("notesmith.sounds").joinpath("data/costs.json")
    if not place.is_file():
        return articulatory_costs()
    return msgspec.json.decode(place.read_bytes(), type=SoundCosts)
