"""The layers of the language model, reckoned by CTranslate2 in eight bits: the layers of BERT (Devlin and others, 2019).

The same input gives the same output, whatever it is read together with and in however many threads.
"""

from __future__ import annotations

import tempfile
from collections.abc import Mapping, Sequence
from importlib import resources
from itertools import chain, pairwise
from typing import Any

import ctranslate2
import numpy as np
from ctranslate2.specs import common_spec, transformer_spec
from numpy.typing import NDArray

from notesmith.language.pieces import BEGIN, END, Pieces
from notesmith.threads import cores

ATTENTION_HEADS = 12
EVENED = 1e-12
AT_ONCE = 8  # windows
Floats = NDArray[np.float32]


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
        with tempfile.TemporaryDirectory() as folder:
            _specification(pieces, weights).save(folder)
            self._model = ctranslate2.Encoder(folder, compute_type="int8", intra_threads=cores())

    def read(self, windows: Sequence[Sequence[Sequence[int]]]) -> list[Floats]:
        """For each window, given as the pieces of its words, the (pieces, width) states of its pieces."""
        order = sorted(range(len(windows)), key=lambda n: sum(map(len, windows[n])))
        found = [np.zeros((0, 0), np.float32)] * len(windows)
        for at in range(0, len(order), AT_ONCE):
            numbers = order[at : at + AT_ONCE]
            read = self._model.forward_batch([[BEGIN, *chain(*windows[n]), END] for n in numbers])
            states = np.array(read.last_hidden_state)
            for row, n in enumerate(numbers):
                found[n] = states[row, 1 : 1 + sum(map(len, windows[n]))]
        return found


def _specification(pieces: Pieces, weights: Mapping[str, Floats]) -> transformer_spec.TransformerEncoderModelSpec:
    layers = 1 + max(int(name.split(".")[1]) for name in weights if name.startswith("layers."))
    made = transformer_spec.TransformerEncoderModelSpec(
        transformer_spec.TransformerEncoderSpec(
            layers, ATTENTION_HEADS, pre_norm=False, activation=common_spec.Activation.GELU, layernorm_embedding=True,
            num_source_embeddings=2, embeddings_merge=common_spec.EmbeddingsMerge.ADD,
        )
    )  # fmt: skip
    made.config.layer_norm_epsilon = EVENED
    made.register_vocabulary([str(number) for number in range(len(pieces))])  # it is given numbers only

    def matrix(place: common_spec.LinearSpec, name: str) -> None:
        rounded, scale = _rounded(weights[f"{name}.weight"])
        place.weight, place.weight_scale = np.ascontiguousarray(rounded.T), 1 / scale
        place.bias = weights[f"{name}.bias"]

    def evened(place: common_spec.LayerNormSpec, name: str) -> None:
        place.gamma, place.beta = weights[f"{name}.weight"], weights[f"{name}.bias"]

    whole = made.encoder
    whole.scale_embeddings = False
    whole.embeddings[0].weight, whole.embeddings[0].weight_scale = pieces.rounded, 1 / pieces.scale
    whole.embeddings[1].weight = np.stack([weights["typ"]] * 2)  # of a second sentence, of which there is none
    whole.position_encodings.encodings = weights["pos.weight"]
    evened(whole.layernorm_embedding, "n")
    for number, layer in enumerate(whole.layer):
        name = f"layers.{number}"
        matrix(layer.self_attention.linear[0], f"{name}.qkv")
        matrix(layer.self_attention.linear[1], f"{name}.o")
        evened(layer.self_attention.layer_norm, f"{name}.n1")
        matrix(layer.ffn.linear_0, f"{name}.i")
        matrix(layer.ffn.linear_1, f"{name}.f")
        evened(layer.ffn.layer_norm, f"{name}.n2")
    made.validate()
    return made


def _rounded(values: Floats) -> tuple[NDArray[np.int8], Floats]:
    """A matrix (in, out) in eight bits, and the (out,) scales that make it large again."""
    scale = np.maximum(np.abs(values).max(axis=0), 1e-8) / 127
    return np.round(values / scale).astype(np.int8), scale.astype(np.float32)


def load_layers(package: str, name: str) -> dict[str, Floats]:
    """The arrays of a model's file: matrices are (in, out), rounded to eight bits with a scale for each output."""
    with resources.files(package).joinpath("data", name).open("rb") as file, np.load(file) as kept:
        return unpacked({key: kept[key] for key in kept})


def packed(weights: Mapping[str, Floats]) -> dict[str, NDArray[np.generic]]:
    """As ``np.savez`` keeps it: matrices in eight bits, the rest in half precision."""
    made: dict[str, NDArray[np.generic]] = {}
    for name, values in weights.items():
        if values.ndim == 2 and name != "pos.weight":
            made[name], made[f"{name} scale"] = _rounded(values)
        else:
            made[name] = values.astype(np.float16)
    return made


def unpacked(kept: Mapping[str, NDArray[Any]]) -> dict[str, Floats]:
    return {
        name: (values.astype(np.float32) * kept[f"{name} scale"] if f"{name} scale" in kept else values.astype(np.float32))
        for name, values in kept.items() if not name.endswith(" scale")
    }  # fmt: skip
