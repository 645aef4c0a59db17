"""The packaged decoder taught the craft's names: reading the model's file, adding to its weights, what comes of it."""

from __future__ import annotations

import struct

import numpy as np
import pytest

from notesmith.errors import ModelError
from notesmith.transcribe import find_model
from notesmith.transcribe.adapt import adapted, load_changes, variables

HALF, BYTES = 4, 1


def model_file(weights: np.ndarray, version: int = 6, kind: int = HALF) -> bytes:
    """A file in CTranslate2's form (its converter's ``model_spec.py``, ``_serialize``) with one weight and one flag."""

    def name(text: str) -> bytes:
        return struct.pack("<H", len(text) + 1) + text.encode() + b"\0"

    def variable(text: str, shape: tuple[int, ...], kind: int, values: bytes) -> bytes:
        sizes = b"".join(struct.pack("<I", size) for size in shape)
        return name(text) + struct.pack("<B", len(shape)) + sizes + struct.pack("<BI", kind, len(values)) + values

    body = variable("flag", (), BYTES, b"\1") + variable("a/weight", weights.shape, kind, weights.tobytes())
    return struct.pack("<I", version) + name("WhisperSpec") + struct.pack("<II", 3, 2) + body + struct.pack("<I", 0)


WEIGHTS = np.arange(6, dtype=np.float16).reshape(2, 3)
CHANGES = {
    "a/weight/out": np.array([[1.0], [0.5]], np.float32),
    "a/weight/in": np.array([[2.0, 0.0, -4.0]], np.float32),
}


def test_the_product_of_the_factors_is_added_and_nothing_else_changes() -> None:
    before = model_file(WEIGHTS)
    after = adapted(before, CHANGES)
    assert [name for name, _ in variables(after)] == ["flag", "a/weight"]
    place = dict(variables(after))["a/weight"]
    assert place.shape == (2, 3)
    values = np.frombuffer(after, np.float16, 6, place.first).reshape(2, 3)
    assert np.array_equal(values, WEIGHTS + np.array([[2, 0, -4], [1, 0, -2]]))
    assert after[: place.first] == before[: place.first] and after[place.first + 12 :] == before[place.first + 12 :]
    assert adapted(before, {}) == before


@pytest.mark.parametrize(
    ("content", "changes", "said"),
    [
        (model_file(WEIGHTS, version=7), CHANGES, "another version"),
        (model_file(WEIGHTS.astype(np.float32), kind=0), CHANGES, "half precision"),
        (model_file(WEIGHTS), {"b/weight/out": CHANGES["a/weight/out"]}, "has no b/weight"),
    ],
)
def test_a_file_that_cannot_be_adapted_is_refused_in_a_line(
    content: bytes, changes: dict[str, np.ndarray], said: str
) -> None:
    with pytest.raises(ModelError, match=said):
        adapted(content, changes)


@pytest.mark.model
def test_the_changes_that_ship_are_for_every_matrix_of_the_decoder_of_whisper_base() -> None:
    """Six layers of width 512 (Radford and others, Robust speech recognition, 2022, table 1)."""
    try:
        folder = find_model("base").folder
    except ModelError as error:
        pytest.skip(str(error))
    assert folder is not None
    content = (folder / "model.bin").read_bytes()
    places = dict(variables(content))
    changes = load_changes()
    decoder = {name for name in places if name.startswith("decoder/layer_") and name.endswith("linear_0/weight")}
    assert len(decoder) == 18 and decoder <= {name.rsplit("/", 1)[0] for name in changes}
    for name, values in changes.items():
        weight, factor = name.rsplit("/", 1)
        rows, columns = places[weight].shape
        assert values.shape == (rows, values.shape[1]) if factor == "out" else values.shape[1] == columns
    made = adapted(content, changes)
    assert len(made) == len(content) and made != content
    encoder = [place for name, place in places.items() if name.startswith("encoder/")]
    assert all(made[p.first : p.first + 64] == content[p.first : p.first + 64] for p in encoder)
