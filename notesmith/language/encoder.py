"""The layers of the language model in plain arrays: attention, then two dense layers, each added to its input and evened.

As in BERT (Devlin and others, 2019). Numbers are in float32; the same input gives the same output.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from importlib import resources
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray
from threadpoolctl import ThreadpoolController

from notesmith.language.pieces import BEGIN, END, Pieces

HEADS = 12
EVENED = 1e-12
AT_ONCE = 8  # windows
Floats = NDArray[np.float32]

# Several threads wait for each other longer than they reckon where others work too. For good, as in ``correct.index``.
ThreadpoolController().limit(limits=1, user_api="blas")


class Windows(NamedTuple):
    """Runs of words that are read together: half-open, overlapping, the model's length at most."""

    ranges: tuple[tuple[int, int], ...]

    def nearest(self) -> Iterator[tuple[int, int, int]]:
        """For each window the words it is to tell of: those that are farther from its edges than from another's."""
        for number, (start, end) in enumerate(self.ranges):
            first = start if not number else (start + self.ranges[number - 1][1] + 1) // 2
            last = end if number + 1 == len(self.ranges) else (self.ranges[number + 1][0] + end + 1) // 2
            yield number, first, last


def windows_of(pieces: Sequence[Sequence[int]], most: int, lap: int) -> Windows:
    """Windows of at most ``most`` pieces; each begins ``lap`` words before the end of the last."""
    ranges: list[tuple[int, int]] = []
    start = 0
    while start < len(pieces):
        size, end = 0, start
        while end < len(pieces) and (end == start or size + len(pieces[end]) <= most):
            size += len(pieces[end])
            end += 1
        ranges.append((start, end))
        if end == len(pieces):
            break
        start = max(start + 1, end - lap)
    return Windows(tuple(ranges))


class Encoder:
    """``weights`` are the layers', as ``load_layers`` gives them."""

    def __init__(self, pieces: Pieces, weights: Mapping[str, Floats]) -> None:
        self.pieces = pieces
        self.weights = weights
        self.layers = 1 + max(int(name.split(".")[1]) for name in weights if name.startswith("layers."))

    def read(
        self, windows: Sequence[Sequence[Sequence[int]]], opening: Sequence[Sequence[int]] = ()
    ) -> list[tuple[Floats, Floats]]:
        """For each window, given as the pieces of its words, the (words, width) states of each word's first and last piece.

        ``opening`` are pieces put before the words of each window.
        """
        order = sorted(range(len(windows)), key=lambda n: sum(map(len, windows[n])))
        found: list[tuple[Floats, Floats]] = [(np.zeros((0, 0), np.float32),) * 2] * len(windows)
        for at in range(0, len(order), AT_ONCE):
            numbers = order[at : at + AT_ONCE]
            rows = [
                [BEGIN, *(opening[n] if opening else ()), *(p for word in windows[n] for p in word), END]
                for n in numbers
            ]
            width = max(map(len, rows))
            ids = np.zeros((len(rows), width), np.int64)
            there = np.zeros((len(rows), width), bool)
            for row, own in enumerate(rows):
                ids[row, : len(own)] = own
                there[row, : len(own)] = True
            states = self._states(ids, there)
            for row, n in enumerate(numbers):
                sizes = np.array([len(word) for word in windows[n]])
                first = 1 + (len(opening[n]) if opening else 0) + np.cumsum(sizes) - sizes
                found[n] = states[row, first], states[row, first + sizes - 1]
        return found

    def _states(self, ids: NDArray[np.int64], there: NDArray[np.bool_]) -> Floats:
        w = self.weights
        x = self.pieces.vectors(ids) + w["pos.weight"][: ids.shape[1]] + w["typ"]
        x = _evened(x, w["n.weight"], w["n.bias"])
        unseen = np.where(there, 0.0, -1e9).astype(np.float32)[:, None, None, :]
        for layer in range(self.layers):
            x = self._layer(x, unseen, f"layers.{layer}.")
        return x

    def _layer(self, x: Floats, unseen: Floats, name: str) -> Floats:
        w = self.weights
        rows, length, width = x.shape
        each = width // HEADS
        three = (x.reshape(-1, width) @ w[f"{name}qkv.weight"] + w[f"{name}qkv.bias"]).reshape(
            rows, length, 3, HEADS, each
        )
        q, k, v = np.ascontiguousarray(three.transpose(2, 0, 3, 1, 4))
        scores = q @ k.transpose(0, 1, 3, 2)
        scores *= 1 / math.sqrt(each)
        scores += unseen
        scores -= scores.max(axis=-1, keepdims=True)
        np.exp(scores, out=scores)
        scores /= scores.sum(axis=-1, keepdims=True)
        mixed = (scores @ v).transpose(0, 2, 1, 3).reshape(-1, width)
        x = _evened(
            x + (mixed @ w[f"{name}o.weight"] + w[f"{name}o.bias"]).reshape(x.shape),
            w[f"{name}n1.weight"],
            w[f"{name}n1.bias"],
        )
        inner = _bent(x.reshape(-1, width) @ w[f"{name}i.weight"] + w[f"{name}i.bias"])
        return _evened(
            x + (inner @ w[f"{name}f.weight"] + w[f"{name}f.bias"]).reshape(x.shape),
            w[f"{name}n2.weight"],
            w[f"{name}n2.bias"],
        )


def _evened(x: Floats, weight: Floats, bias: Floats) -> Floats:
    x = x - x.mean(axis=-1, keepdims=True)
    x *= 1 / np.sqrt((x * x).mean(axis=-1, keepdims=True) + EVENED)
    return x * weight + bias


def _bent(x: Floats) -> Floats:
    """Gaussian error linear units (Hendrycks and Gimpel, 2016), in their approximation by the hyperbolic tangent."""
    bend = x * x
    bend *= np.float32(0.044715 * math.sqrt(2 / math.pi))
    bend += np.float32(math.sqrt(2 / math.pi))
    bend *= x
    np.tanh(bend, out=bend)
    bend += 1
    bend *= x
    bend *= np.float32(0.5)
    return bend


def load_layers(package: str, name: str) -> dict[str, Floats]:
    """The arrays of a model's file: matrices are (in, out), rounded to eight bits with a scale for each output."""
    with resources.files(package).joinpath("data", name).open("rb") as file, np.load(file) as kept:
        return unpacked({key: kept[key] for key in kept})


def packed(weights: Mapping[str, Floats]) -> dict[str, NDArray[np.generic]]:
    """As ``np.savez`` keeps it: matrices in eight bits, the rest in half precision."""
    made: dict[str, NDArray[np.generic]] = {}
    for name, values in weights.items():
        if values.ndim == 2 and name != "pos.weight":
            scale = np.maximum(np.abs(values).max(axis=0), 1e-8) / 127
            made[name], made[f"{name} scale"] = np.round(values / scale).astype(np.int8), scale.astype(np.float32)
        else:
            made[name] = values.astype(np.float16)
    return made


def unpacked(kept: Mapping[str, NDArray[Any]]) -> dict[str, Floats]:
    return {
        name: (values.astype(np.float32) * kept[f"{name} scale"] if f"{name} scale" in kept else values.astype(np.float32))
        for name, values in kept.items() if not name.endswith(" scale")
    }  # fmt: skip
