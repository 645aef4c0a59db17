"""The weights of the evidence, learnt by benchmarks/learn_weights.py and kept in a file a person can read."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from importlib import resources

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.correct.evidence import FEATURES


class Weights(msgspec.Struct, frozen=True):
    """``values`` by feature name; ``learnt_from`` says how. A feature without a value weighs nothing."""

    values: Mapping[str, float]
    learnt_from: str = ""

    def vector(self) -> NDArray[np.float64]:
        return np.array([self.values.get(name, 0.0) for name in FEATURES])


@lru_cache(maxsize=1)
def load_weights() -> Weights:
    place = resources.files("notesmith.correct").joinpath("weights.json")
    return msgspec.json.decode(place.read_bytes(), type=Weights)
