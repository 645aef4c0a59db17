"""The phones heard of a session, passage by passage: small enough to keep beside its transcript."""

from __future__ import annotations

import zlib

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.sounds.phones import PHONES
from notesmith.transcript import WordRange

STEPS_A_NAT, LEAST_NATS = 4, -10.0  # to which log-probabilities are kept: 0.4 MB for half an hour
Sheet = NDArray[np.float32]


class Passage(msgspec.Struct, frozen=True):
    """The phones heard in one stretch of the transcript's words; ``packed`` holds none where nothing could be had."""

    words: WordRange
    start_ms: int = 0
    packed: bytes = b""

    def sheet(self) -> Sheet:
        """(frames, PHONES + 1) log-probabilities, to a quarter of a nat."""
        steps = np.frombuffer(zlib.decompress(self.packed), np.uint8).reshape(len(PHONES) + 1, -1)
        return np.asarray(steps.T, np.float32) / np.float32(-STEPS_A_NAT)


class PhoneHearing(msgspec.Struct, frozen=True):
    """What was heard of a session, passage by passage. It is worth keeping, and an unfinished one can be gone on with."""

    passages: tuple[Passage, ...] = ()


def pack(sheet: Sheet) -> bytes:
    """(frames, PHONES + 1) log-probabilities as a passage keeps them."""
    steps = np.rint(np.maximum(sheet, LEAST_NATS) * -STEPS_A_NAT).astype(np.uint8)
    return zlib.compress(np.ascontiguousarray(steps.T).tobytes(), 6)  # phone by phone, which packs better
