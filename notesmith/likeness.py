"""Is this the same sound? A coarse loudness fingerprint that survives renaming, re-encoding and another volume.

The fingerprint is the loudness of each half second in decibels; two recordings of one lecture rise and fall together
whatever the codec, two lectures do not. Compared by Pearson correlation at the best shift of up to ten seconds.
"""

from __future__ import annotations

from pathlib import Path

import msgspec
import numpy as np

from notesmith.recording import RATE_HZ, decode_pieces

STEP_MS = 500
FLOOR_DB, TOP_DB = -80.0, 0.0
SHIFT_STEPS = 20
# Measured on the sample recordings: re-encoded as 48 kbit/s MP3 0.93 and more, two different lectures 0.19 and less.
ALIKE = 0.7
SHORTEST_STEPS = 40  # twenty seconds; less sound than that can be alike by chance
DURATION_SLACK_MS = 3_000


class SoundMark(msgspec.Struct, frozen=True):
    """How long a recording is and, if it was listened to, its loudness: one byte for each half second, -80 to 0 dB."""

    duration_ms: int
    loudness: bytes = b""


def loudness_of(path: Path) -> bytes:
    """Decode a recording and give its fingerprint. Raises RecordingError."""
    step = RATE_HZ * STEP_MS // 1000
    powers: list[float] = []
    rest = np.zeros(0, np.float32)
    for piece in decode_pieces(path):
        rest = np.concatenate([rest, piece])
        if (whole := len(rest) // step) and len(rest) > 64 * step:
            powers += np.square(rest[: whole * step]).reshape(whole, step).mean(axis=1).tolist()
            rest = rest[whole * step :]
    if whole := len(rest) // step:
        powers += np.square(rest[: whole * step]).reshape(whole, step).mean(axis=1).tolist()
    decibels = 10 * np.log10(np.maximum(np.asarray(powers), 1e-10))
    scaled = (np.clip(decibels, FLOOR_DB, TOP_DB) - FLOOR_DB) / (TOP_DB - FLOOR_DB) * 255
    return bytes(np.round(scaled).astype(np.uint8))


def likeness(one: bytes, other: bytes) -> float:
    """-1 to 1: the highest correlation of two fingerprints over the shifts; 0 where either is too short to tell."""
    first = np.frombuffer(one, np.uint8).astype(np.float64)
    second = np.frombuffer(other, np.uint8).astype(np.float64)
    best = 0.0
    for shift in range(-SHIFT_STEPS, SHIFT_STEPS + 1):
        a, b = first[max(0, shift) :], second[max(0, -shift) :]
        shared = min(len(a), len(b))
        if shared < max(SHORTEST_STEPS, min(len(first), len(second)) - SHIFT_STEPS):
            continue
        a, b = a[:shared], b[:shared]
        if a.std() > 0 and b.std() > 0:
            best = max(best, float(np.corrcoef(a, b)[0, 1]))
    return best


def may_be_alike(one: SoundMark, other: SoundMark) -> bool:
    """Whether the durations allow two recordings to be one; a container that tells none allows it."""
    if not one.duration_ms or not other.duration_ms:
        return True
    slack = max(DURATION_SLACK_MS, max(one.duration_ms, other.duration_ms) // 100)
    return abs(one.duration_ms - other.duration_ms) <= slack
