"""Phones straight from the sound: what the speech model's encoder hears, before its decoder makes words of it.

The decoder writes the likeliest English; a remedy's name it never saw comes out as whatever words come near. Its encoder
knows nothing of words, and a small network over its output (learnt by benchmarks/learn_ear.py) tells the phones of each
fiftieth of a second. A term's phones are then looked for in them by the rule of connectionist temporal classification
(Graves and others, ICML 2006): each phone once or longer, with nothing or a pause between.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from importlib import resources
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from notesmith.sounds.distance import PAD, Codes
from notesmith.sounds.phones import PHONES

FRAME_MS = 20
NOTHING = len(PHONES)  # the class of a frame in which no phone begins
UNHEARD = -1e4
Floats = NDArray[np.float32]
Ints = NDArray[np.int64]


class Spelt(NamedTuple):
    """The likeliest phones of a stretch of sound, and the frame where each is heard."""

    phones: str
    frames: Ints


class Ear:
    """The network: a projection, two convolutions over five frames, each added to its input, and an output layer."""

    def __init__(self, weights: dict[str, Floats]) -> None:
        self._weights = {name: np.asarray(values, np.float32) for name, values in weights.items()}

    def save(self, path: Path) -> None:
        """Write the weights, to half precision."""
        kept: dict[str, Any] = {name: values.astype(np.float16) for name, values in self._weights.items()}
        np.savez_compressed(path, **kept)

    def hear(self, encoded: Floats) -> Floats:
        """The encoder's output, (frames, width), to log-probabilities of the phones and of nothing, (frames, PHONES + 1)."""
        w = self._weights
        inner = np.maximum(encoded @ w["a.weight"].T + w["a.bias"], 0)
        for layer in "bc":
            inner = inner + np.maximum(_convolved(inner, w[f"{layer}.weight"]) + w[f"{layer}.bias"], 0)
        scores = inner @ w["d.weight"].T + w["d.bias"]
        scores -= scores.max(axis=1, keepdims=True)
        return np.asarray(scores - np.log(np.exp(scores).sum(axis=1, keepdims=True)), np.float32)


def _convolved(inner: Floats, weights: Floats) -> Floats:
    """(frames, width) with (out, width, taps), as wide on both sides as the taps need."""
    out, width, taps = weights.shape
    padded = np.pad(inner, ((taps // 2, taps // 2), (0, 0)))
    windows = np.lib.stride_tricks.sliding_window_view(padded, taps, axis=0)  # (frames, width, taps)
    return np.asarray(windows.reshape(len(inner), width * taps) @ weights.reshape(out, width * taps).T, np.float32)


@lru_cache(maxsize=1)
def load_ear() -> Ear:
    """The network that ships with the package."""
    with resources.files("notesmith.sounds").joinpath("data/ear.npz").open("rb") as file:
        return Ear(dict(np.load(file)))


def spell(heard: Floats) -> Spelt:
    """The likeliest phone of each frame, repetitions and nothing left out."""
    best = heard.argmax(axis=1)
    new = np.flatnonzero((best != NOTHING) & (np.diff(best, prepend=-1) != 0))
    return Spelt("".join(PHONES[code] for code in best[new]), new)


class Found(NamedTuple):
    """Where strings of phones fit best: nats behind the likeliest phones there (0 or less), and the frames, half-open."""

    scores: Floats
    starts: Ints
    ends: Ints


def spot(heard: Floats, said: Codes, first: Ints, last: Ints) -> Found:
    """Look for each of (n, m) padded codes in its own stretch of frames, ``first`` to ``last`` (n,), half-open.

    Scores are ``UNHEARD`` where a stretch is too short.
    """
    rows, width = said.shape
    lengths = (said != PAD).sum(axis=1)
    behind = heard - heard.max(axis=1, keepdims=True)
    states = 2 * width  # phone, nothing, phone, nothing, …; what goes before the first phone costs nothing
    labels = np.full((rows, states), NOTHING, np.int64)
    labels[:, 0::2] = np.where(said == PAD, NOTHING, said)
    skips = np.zeros((rows, states), np.bool_)
    skips[:, 2::2] = said[:, 1:] != said[:, :-1]
    at = np.full((rows, states), UNHEARD, np.float32)
    begun = np.zeros((rows, states), np.int64)
    best = np.full(rows, UNHEARD, np.float32)
    starts, ends = first.copy(), first.copy()
    every = np.arange(rows)
    end = np.maximum(0, 2 * lengths - 2)
    for step in range(int((last - first).max(initial=0))):
        frame = np.minimum(first + step, len(heard) - 1)
        before, moved = at, begun
        at, begun = before.copy(), moved.copy()
        for back in (1, 2):
            other = np.full_like(before, UNHEARD)
            other[:, back:] = before[:, :-back]
            if back == 2:
                other = np.where(skips, other, UNHEARD)
            better = other > at
            at = np.where(better, other, at)
            source = np.zeros_like(moved)
            source[:, back:] = moved[:, :-back]
            begun = np.where(better, source, begun)
        fresh = at[:, 0] < 0  # a beginning here costs nothing
        at[fresh, 0], begun[fresh, 0] = 0.0, frame[fresh]
        at += behind[frame[:, None], labels]
        value = at[every, end]
        higher = (value > best) & (first + step < last) & (lengths > 0)
        best = np.where(higher, value, best)
        starts = np.where(higher, begun[every, end], starts)
        ends = np.where(higher, frame + 1, ends)
    return Found(best, starts, ends)


def windows(spans: Sequence[tuple[float, float]], frames: int) -> tuple[Ints, Ints]:
    """Frames, half-open, of stretches of milliseconds from the sound's start, kept inside it."""
    first = np.array([int(a // FRAME_MS) for a, _ in spans], np.int64).clip(0, frames)
    last = np.array([int(-(-b // FRAME_MS)) for _, b in spans], np.int64).clip(0, frames)
    return first, last
