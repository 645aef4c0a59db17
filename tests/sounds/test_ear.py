"""Phones from the sound. The search for a string of phones is checked against its definition: connectionist temporal
classification (Graves and others, ICML 2006) lets a phone last, puts nothing between phones at will, and demands it
between two of the same; here every such path is written out."""

from __future__ import annotations

import itertools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rapidfuzz.distance import Levenshtein

from notesmith.recording import probe
from notesmith.sounds import PHONES, pronounce_text
from notesmith.sounds.distance import encode_all
from notesmith.sounds.ear import NOTHING, UNHEARD, spell, spot, windows
from notesmith.transcribe import audio_witness, load_model
from notesmith.transcript import TimeSpan

HUMAN = Path("/usr/share/pocketsphinx/test/data/librivox")


def collapsed(path: tuple[int, ...]) -> str:
    return "".join(PHONES[code] for code, _ in itertools.groupby(path) if code != NOTHING)


@settings(max_examples=60, deadline=None)
@given(st.text("pb", min_size=1, max_size=3), st.integers(3, 5), st.randoms(use_true_random=False))
def test_a_string_is_found_where_its_best_path_is(phones: str, frames: int, chance: object) -> None:
    classes = [PHONES.index("p"), PHONES.index("b"), NOTHING]
    heard = np.full((frames, len(PHONES) + 1), -9.0, np.float32)
    for frame, code in itertools.product(range(frames), classes):
        heard[frame, code] = -chance.randint(0, 8) / 2  # type: ignore[attr-defined]
    behind = heard - heard.max(axis=1, keepdims=True)
    best = max(
        (
            sum(float(behind[a + n, code]) for n, code in enumerate(path))
            for a in range(frames)
            for b in range(a + 1, frames + 1)
            for path in itertools.product(classes, repeat=b - a)
            if collapsed(path) == phones
        ),
        default=UNHEARD,
    )
    found = spot(heard, encode_all([phones]), np.array([0]), np.array([frames]))
    assert found.scores[0] == pytest.approx(best) or (best == UNHEARD and found.scores[0] <= UNHEARD)


def test_a_string_is_looked_for_in_its_own_stretch_only() -> None:
    heard = np.full((40, len(PHONES) + 1), -6.0, np.float32)
    heard[:, NOTHING] = 0.0
    for frame, phone in ((10, "s"), (14, "i"), (30, "b"), (33, "O")):
        heard[frame], heard[frame, PHONES.index(phone)] = -6.0, 0.0
    found = spot(heard, encode_all(["si", "si", "bO"]), np.array([0, 20, 20]), np.array([20, 40, 40]))
    assert found.scores.tolist() == [0.0, -12.0, 0.0]
    assert (found.starts[0], found.ends[0]) == (10, 15)
    assert spell(heard).phones == "sibO"


def test_stretches_are_kept_inside_the_sound() -> None:
    first, last = windows([(-100.0, 35.0), (50.0, 10_000.0)], 10)
    assert (first.tolist(), last.tolist()) == ([0, 2], [2, 10])


@pytest.mark.model
def test_human_speech_is_heard_though_only_synthetic_voices_taught_the_ear() -> None:
    """LibriVox recordings of Debian's pocketsphinx-testdata, with their transcription."""
    model = load_model()
    edits = size = 0
    for line in (HUMAN / "transcription").read_text(encoding="utf-8").splitlines():
        text, _, name = line.strip().rpartition(" (")
        path = HUMAN / f"{name.strip(')')}.wav"
        heard = audio_witness(path, model).phones(TimeSpan(0, probe(path).duration_ms))
        said = pronounce_text(text.replace("<s>", "").replace("</s>", ""))
        edits += Levenshtein.distance(spell(heard[0]).phones, said)
        size += len(said)
    assert edits / size < 0.25  # .14 when it was learnt
