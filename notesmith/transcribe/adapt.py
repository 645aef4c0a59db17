"""Teach the packaged speech model the names of this craft: small changes to its decoder's weights, added as it is loaded.

Whisper's decoder writes the likeliest English, and has hardly met a remedy, an author or a miasm. To each of its weight
matrices a product of two narrow ones is added (low-rank adaptation: Hu and others, ICLR 2022), learnt by
benchmarks/learn_decoder.py from sentences spoken by synthetic voices, in which such names were put for one another,
beside ordinary speech. The encoder, which the ear (sounds/ear.py) listens through, stays as it is.
"""

from __future__ import annotations

import struct
from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from notesmith.errors import ModelError

FORMAT_VERSION = 6  # of CTranslate2's model file
HALF = 4  # its number for half precision
Floats = NDArray[np.float32]


class Variable(NamedTuple):
    """A variable of a CTranslate2 model file: where its values stand in the file's bytes, and what they are."""

    first: int
    shape: tuple[int, ...]
    kind: int


def variables(content: bytes) -> Iterator[tuple[str, Variable]]:
    """The named variables of a CTranslate2 model file. Raises ModelError where the file is of another version."""
    at = 0

    def number(form: str) -> int:
        nonlocal at
        (value,) = struct.unpack_from(f"<{form}", content, at)
        at += struct.calcsize(form)
        return int(value)

    def name() -> str:
        nonlocal at
        size = number("H")
        at += size
        return content[at - size : at].rstrip(b"\0").decode()

    if number("I") != FORMAT_VERSION:
        raise ModelError("the speech model's file is of another version than can be adapted; install the model again")
    name()  # of the kind of model
    number("I")  # its revision
    for _ in range(number("I")):
        named = name()
        shape = tuple(number("I") for _ in range(number("B")))
        kind, size = number("B"), number("I")
        yield named, Variable(at, shape, kind)
        at += size


def adapted(content: bytes, changes: Mapping[str, Floats]) -> bytes:
    """A model file with low-rank changes added to its weights.

    ``changes`` holds for each weight NAME two factors, ``NAME/out`` (rows, rank) and ``NAME/in`` (rank, columns).
    Raises ModelError where a weight is missing or not in half precision.
    """
    made = bytearray(content)
    wanted = {name.rsplit("/", 1)[0] for name in changes}
    for name, variable in variables(content):
        if name not in wanted:
            continue
        if variable.kind != HALF:
            raise ModelError("the speech model's weights are not in half precision; install the packaged model again")
        wanted.remove(name)
        rows, columns = variable.shape
        weights = np.frombuffer(made, np.float16, rows * columns, variable.first).reshape(rows, columns)
        weights[:] = (weights + changes[f"{name}/out"] @ changes[f"{name}/in"]).astype(np.float16)
    if wanted:
        raise ModelError(f"the speech model has no {min(wanted)}; install the packaged model again")
    return bytes(made)


def load_changes() -> dict[str, Floats]:
    """The changes that ship with the package, for Whisper base."""
    with resources.files("notesmith.transcribe").joinpath("data/decoder.npz").open("rb") as file:
        return {name: np.asarray(values, np.float32) for name, values in np.load(file).items()}


def adapted_files(folder: Path, changes: Mapping[str, Floats]) -> dict[str, bytes]:
    """The files of a model's folder by name, the weights adapted, as faster-whisper takes a model from memory."""
    files = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}
    return {**files, "model.bin": adapted(files["model.bin"], changes)}
