"""The layers of the language model in plain arrays: attention, then two dense layers, each added to its input and evened.

As in BERT (Devlin and others, 2019). Numbers are in float32; the same input gives the same output.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from importlib import resources
from itertools import chain, pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from notesmith.language.pieces import BEGIN, END, Pieces
from notesmith.threads import one_for_products

ATTENTION_HEADS = 12
EVENED = 1e-12
AT_ONCE = 8  # windows
Floats = NDArray[np.float32]

one_for_products()


def windows_of(pieces: Sequence[Sequence[int]], most: int, lap: int) -> list[tuple[int, int]]:
    """Half-open runs of words that are read together, of at most ``most`` pieces; each begins ``lap`` words before the end
    of the last."""
    windows: list[tuple[int, int]] = []
    start = 0
    while start < len(pieces):
        size, end = 0, start
        while end < len(pieces) and (end == start or size + len(pieces[end]) <= most):
            size += len(pieces[end])
            end += 1
        windows.append((start, end))
        if end == len(pieces):
            break
        start = max(start + 1, end - lap)
    return windows


def told_by(windows: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """For each window the words it is to tell of: those that are farther from its edges than from another's."""
    seams = [(start + end + 1) // 2 for (_, end), (start, _) in pairwise(windows)]
    return list(zip([0, *seams], [*seams, windows[-1][1]], strict=True)) if windows else []


def padded(rows: Sequence[Sequence[int]]) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Rows of pieces made equally long, and where there are any: both (rows, longest)."""
    ids = np.zeros((len(rows), max(map(len, rows))), np.int64)
    there = np.zeros(ids.shape, bool)
    for row, own in enumerate(rows):
        ids[row, : len(own)] = own
        there[row, : len(own)] = True
    return ids, there


class Encoder:
    """``weights`` are the layers', as ``load_layers`` gives them."""

    def __init__(self, pieces: Pieces, weights: Mapping[str, Floats]) -> None:
        self.pieces = pieces
        self.weights = weights
        self.layers = 1 + max(int(name.split(".")[1]) for name in weights if name.startswith("layers."))

    def read(self, windows: Sequence[Sequence[Sequence[int]]]) -> list[Floats]:
        """For each window, given as the pieces of its words, the (words, width) states of the words' first pieces."""
        order = sorted(range(len(windows)), key=lambda n: sum(map(len, windows[n])))
        found = [np.zeros((0, 0), np.float32)] * len(windows)
        for at in range(0, len(order), AT_ONCE):
            numbers = order[at : at + AT_ONCE]
            states = self._states(*padded([[BEGIN, *chain(*windows[n]), END] for n in numbers]))
            for row, n in enumerate(numbers):
                sizes = np.array([len(word) for word in windows[n]])
                found[n] = states[row, 1 + np.cumsum(sizes) - sizes]
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
        each = width // ATTENTION_HEADS
        three = (x.reshape(-1, width) @ w[f"{name}qkv.weight"] + w[f"{name}qkv.bias"]).reshape(
            rows, length, 3, ATTENTION_HEADS, each
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
