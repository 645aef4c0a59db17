"""Builders that the tests share: transcripts made by hand, small courses, sound made of numbers."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest

from notesmith.transcript import Segment, TimeSpan, Transcript, Word


@pytest.fixture
def transcript_of() -> Callable[..., Transcript]:
    """Make a transcript from lines of words, a segment a line, 400 ms a word."""

    def make(*lines: str, probability: float | None = None) -> Transcript:
        segments, at = [], 0
        for number, line in enumerate(lines):
            words = []
            for text in line.split():
                words.append(Word(TimeSpan(at, at + 350), text, probability))
                at += 400
            segments.append(Segment(number, tuple(words)))
        return Transcript("0" * 64, "en", "by hand", tuple(segments), duration_ms=at)

    return make


@pytest.fixture
def write_sound() -> Callable[..., Path]:
    """Encode mono float samples at 16 kHz into a file whose ending says the format."""
    codecs = {".wav": "pcm_s16le", ".mp3": "libmp3lame", ".m4a": "aac", ".mp4": "aac", ".ogg": "libopus",
              ".webm": "libopus", ".mkv": "libopus", ".flac": "flac"}  # fmt: skip

    def write(path: Path, samples: np.ndarray, metadata: dict[str, str] | None = None) -> Path:
        codec = codecs[path.suffix]
        rate = 48_000 if codec == "libopus" else 16_000
        data = np.repeat(samples, rate // 16_000).astype(np.float32)
        with av.open(str(path), "w") as container:
            container.metadata.update(metadata or {})
            stream = container.add_stream(codec, rate=rate, layout="mono")
            frame = av.AudioFrame.from_ndarray(data.reshape(1, -1), format="fltp", layout="mono")
            frame.sample_rate = rate
            resampler = av.AudioResampler(format=stream.codec_context.format, layout="mono", rate=rate,
                                          frame_size=stream.codec_context.frame_size or 1024)  # fmt: skip
            for piece in [*resampler.resample(frame), *resampler.resample(None)]:
                container.mux(stream.encode(piece))
            container.mux(stream.encode(None))
        return path

    return write
