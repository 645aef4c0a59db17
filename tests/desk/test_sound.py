"""Clips for the ear."""

from __future__ import annotations

import io
import wave
from collections.abc import Callable
from pathlib import Path

import msgspec
import numpy as np
import pytest
from starlette.testclient import TestClient

from notesmith.course import Course


@pytest.fixture
def sounding_course(course: Course, write_sound: Callable[..., Path]) -> Course:
    """Lecture one with ten seconds of sound: a tone from 4 s to 5 s, silence around it."""
    samples = np.zeros(160_000, np.float32)
    samples[64_000:80_000] = 0.5 * np.sin(np.arange(16_000) * 2 * np.pi * 440 / 16_000)
    write_sound(course.recordings / "one.wav", samples)
    with course.open_store() as store:
        lecture, revision = store.lecture("one")
        store.update_lecture(msgspec.structs.replace(lecture, media="one.wav"), revision=revision)
    return course


def test_a_clip_holds_the_asked_stretch(sounding_course: Course, browser: TestClient) -> None:
    answer = browser.get("/clip/one.wav?start=4000&end=5000")
    assert answer.headers["content-type"] == "audio/wav"
    with wave.open(io.BytesIO(answer.content)) as file:
        assert (file.getframerate(), file.getnchannels(), file.getnframes()) == (16_000, 1, 16_000)
        loud = np.frombuffer(file.readframes(16_000), "<i2").astype(float)
    assert 0.3 < np.sqrt(np.mean((loud / 32767) ** 2)) < 0.4  # a sine of amplitude a has the RMS a / √2
    with wave.open(io.BytesIO(browser.get("/clip/one.wav?start=0&end=3000").content)) as file:
        assert not np.frombuffer(file.readframes(48_000), "<i2").any()


def test_the_words_page_offers_the_clip(sounding_course: Course, browser: TestClient) -> None:
    text = browser.get("/words").text
    assert 'src="/clip/one.wav?start=' in text
    for key in ("p", "l", "s"):
        assert f'data-key="{key}"' in text


@pytest.mark.parametrize(
    "asked", ["start=0&end=60001", "start=5&end=5", "start=9&end=1", "start=-1&end=4", "", "start=a&end=b"]
)
def test_other_stretches_are_refused(sounding_course: Course, browser: TestClient, asked: str) -> None:
    assert browser.get(f"/clip/one.wav?{asked}").status_code == 400


def test_a_transcript_has_no_clip(course: Course, browser: TestClient) -> None:
    assert browser.get("/clip/two.wav?start=0&end=100").status_code == 400
    assert browser.get("/clip/none.wav?start=0&end=100").status_code == 404
