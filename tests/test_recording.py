"""Recordings: every format PyAV reads, each kind of broken file, blocks, clips and the web copy."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import av
import numpy as np
import pytest

from notesmith.errors import OutputError, RecordingError
from notesmith.recording import (
    RATE_HZ,
    clip,
    decode_pieces,
    encode_web_copy,
    probe,
    sound_blocks,
)
from notesmith.transcript import TimeSpan


def tone(seconds: float, hertz: float = 440.0) -> np.ndarray:
    return (0.3 * np.sin(2 * np.pi * hertz * np.arange(int(seconds * RATE_HZ)) / RATE_HZ)).astype(np.float32)


@pytest.mark.parametrize("ending", [".wav", ".mp3", ".m4a", ".ogg", ".flac", ".mp4", ".webm", ".mkv"])
def test_every_format_is_probed_and_decoded(tmp_path, write_sound, ending):
    path = write_sound(tmp_path / f"lecture{ending}", tone(3), {"title": "Thuja, part 1"})
    info = probe(path)
    assert len(info.sha256) == 64
    assert abs(info.duration_ms - 3000) < 150
    samples = np.concatenate(list(decode_pieces(path)))
    assert abs(len(samples) / RATE_HZ - 3) < 0.15
    if ending != ".wav":
        assert info.metadata["title"] == "Thuja, part 1"
    # The tone itself must come out, not noise of the right length.
    spectrum = np.abs(np.fft.rfft(samples[RATE_HZ : 2 * RATE_HZ]))
    assert abs(int(np.argmax(spectrum)) - 440) <= 2


@pytest.mark.parametrize("ending", [".wav", ".mp3", ".m4a", ".ogg"])
def test_the_model_hears_the_very_numbers_that_faster_whisper_decodes(tmp_path, write_sound, ending):
    """A difference in the last bit changes what a beam search ends with."""
    from faster_whisper import decode_audio

    path = write_sound(tmp_path / f"lecture{ending}", tone(3) + tone(3, 1700.0) * 0.5)
    assert np.array_equal(np.concatenate(list(decode_pieces(path))), decode_audio(str(path)))


def test_an_empty_file_is_refused(tmp_path):
    path = tmp_path / "empty.mp3"
    path.write_bytes(b"")
    with pytest.raises(RecordingError, match="is empty"):
        probe(path)


def test_a_missing_file_is_refused(tmp_path):
    with pytest.raises(RecordingError, match="cannot be read"):
        probe(tmp_path / "nowhere.mp3")


def test_text_named_mp3_is_refused(tmp_path):
    path = tmp_path / "notes.mp3"
    path.write_text("These are my notes on Thuja.\n" * 50, encoding="utf-8")
    with pytest.raises(RecordingError, match="not a recording") as caught:
        probe(path)
    assert "\n" not in str(caught.value)


def test_a_truncated_mp4_is_refused(tmp_path, write_sound):
    whole = write_sound(tmp_path / "whole.mp4", tone(20))
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    with pytest.raises(RecordingError, match="cut off"):
        probe(cut)


def test_a_recording_that_ends_early_is_told_with_the_place(tmp_path, write_sound):
    whole = write_sound(tmp_path / "whole.flac", tone(60))
    cut = tmp_path / "cut.flac"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 3])
    with pytest.raises(RecordingError, match=r"is cut off after 0 min"):
        list(decode_pieces(cut))


def test_a_video_without_sound_is_refused(tmp_path):
    path = tmp_path / "silent.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=5)
        stream.width = stream.height = 64
        stream.pix_fmt = "yuv420p"
        for _ in range(10):
            frame = av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    with pytest.raises(RecordingError, match="no sound track"):
        probe(path)


def test_damaged_frames_are_passed_over(tmp_path, write_sound):
    path = write_sound(tmp_path / "lecture.mp3", tone(20))
    data = bytearray(path.read_bytes())
    middle = len(data) // 2
    data[middle : middle + 300] = b"\xff" * 300
    path.write_bytes(bytes(data))
    heard = sum(len(piece) for piece in decode_pieces(path)) / RATE_HZ
    assert 18 < heard < 21


def test_blocks_hold_the_whole_sound_and_are_cut_where_it_is_quiet(tmp_path, write_sound):
    loud, quiet = tone(25), np.zeros(2 * RATE_HZ, np.float32)
    path = write_sound(tmp_path / "long.wav", np.concatenate([loud, quiet, loud, quiet, loud]))
    blocks = list(sound_blocks(path, block_ms=100_000 // 3))
    whole = np.concatenate(list(decode_pieces(path)))
    assert np.array_equal(np.concatenate([block.samples for block in blocks]), whole)
    assert [block.number for block in blocks] == list(range(len(blocks)))
    assert len(blocks) > 1
    for before, after in zip(blocks, blocks[1:], strict=False):
        assert after.start_ms == before.start_ms + len(before.samples) * 1000 // RATE_HZ
        assert np.abs(after.samples[:1000]).max() < 0.01  # cut inside the silence
    again = list(sound_blocks(path, block_ms=100_000 // 3))
    assert [block.start_ms for block in again] == [block.start_ms for block in blocks]


@pytest.mark.parametrize("ending", [".wav", ".mp3", ".m4a", ".ogg", ".flac"])
def test_a_clip_is_the_sound_of_its_span(tmp_path, write_sound, ending):
    pieces = [tone(1, 300 + 100 * second) for second in range(20)]
    path = write_sound(tmp_path / f"scale{ending}", np.concatenate(pieces))
    for second in (0, 7, 13):
        sound = clip(path, TimeSpan(second * 1000 + 200, second * 1000 + 800))
        assert len(sound) == pytest.approx(0.6 * RATE_HZ, abs=2)
        peak = np.argmax(np.abs(np.fft.rfft(sound, n=RATE_HZ)))
        assert abs(int(peak) - (300 + 100 * second)) <= 12


def test_the_web_copy_mutes_spans_and_leaves_metadata_behind(tmp_path, write_sound):
    path = write_sound(tmp_path / "lecture.flac", tone(6), {"title": "Name of a person", "artist": "Somebody"})
    target = tmp_path / "site" / "lecture.mp3"
    encode_web_copy(path, target, mute=(TimeSpan(2000, 3000),))
    with av.open(str(target)) as container:
        assert not {"title", "artist"} & {key.lower() for key in container.metadata}
        assert container.streams.audio[0].codec_context.name.startswith("mp3")
    samples = np.concatenate(list(decode_pieces(target)))
    assert len(samples) / RATE_HZ == pytest.approx(6, abs=0.2)
    # An encoder smears sound over its frame; the middle of the muted second is silent, its surroundings are not.
    assert np.abs(samples[int(2.25 * RATE_HZ) : int(2.85 * RATE_HZ)]).max() < 0.01
    assert np.abs(samples[int(1.2 * RATE_HZ) : int(1.7 * RATE_HZ)]).max() > 0.1
    assert np.abs(samples[int(3.4 * RATE_HZ) : int(4.0 * RATE_HZ)]).max() > 0.1
    first = target.read_bytes()
    encode_web_copy(path, target, mute=(TimeSpan(2000, 3000),))
    assert target.read_bytes() == first


def test_a_failed_web_copy_leaves_the_earlier_one(tmp_path, write_sound):
    good = write_sound(tmp_path / "good.flac", tone(2))
    target = tmp_path / "lecture.mp3"
    encode_web_copy(good, target)
    before = target.read_bytes()
    bad = tmp_path / "bad.flac"
    bad.write_bytes(b"no sound at all" * 100)
    with pytest.raises(RecordingError):
        encode_web_copy(bad, target)
    assert target.read_bytes() == before
    assert sorted(p.name for p in tmp_path.iterdir()) == ["bad.flac", "good.flac", "lecture.mp3"]


def test_a_web_copy_that_cannot_be_written_says_so(tmp_path, write_sound):
    good = write_sound(tmp_path / "good.flac", tone(1))
    blocked = tmp_path / "file"
    blocked.write_text("not a folder", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot be written"):
        encode_web_copy(good, blocked / "lecture.mp3")


TWELVE_HOURS = """
import resource, sys, time
from pathlib import Path
from notesmith.profiles import FAST
from notesmith.transcribe import load_model
from notesmith.transcribe.whisper import transcribe

class FirstWindows:
    "The real model, stopped after the first window of each block: features of the whole block are made by then."
    def __init__(self):
        self.real = load_model()
        self.name = self.real.name
        self.speech_s = []
    def windows(self, speech, **settings):
        self.speech_s.append(len(speech) / 16000)
        yield next(iter(self.real.windows(speech, **settings)))

model = FirstWindows()
begun = time.process_time()
heard = transcribe(Path(sys.argv[1]), model, recording_sha256="0" * 64, language="en", profile=FAST)
scale = 1 if sys.platform == "darwin" else 1024
print(heard.duration_ms, len(model.speech_s), sum(model.speech_s),
      resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * scale, time.process_time() - begun)
"""


@pytest.mark.slow
@pytest.mark.model
def test_a_twelve_hour_recording_stays_under_3_gb(tmp_path):
    """Issue 2: memory stays under 3 GB, over decoding, voice detection, and the model's start on every block."""
    sample = Path(__file__).resolve().parents[1] / "sample_audio" / "2026-03-03-kali-bichromicum-part-2-of-2.mp3"
    frames = tmp_path / "frames.mp3"
    with av.open(str(frames), "w", options={"write_xing": "0", "id3v2_version": "0"}) as container:
        stream = container.add_stream("libmp3lame", rate=RATE_HZ, layout="mono")
        stream.bit_rate = 24_000
        resampler = av.AudioResampler(format=stream.codec_context.format, layout="mono", rate=RATE_HZ)
        for samples in decode_pieces(sample):
            frame = av.AudioFrame.from_ndarray(samples.reshape(1, -1), format="flt", layout="mono")
            frame.sample_rate = RATE_HZ
            for piece in resampler.resample(frame):
                container.mux(stream.encode(piece))
        container.mux(stream.encode(None))
    # Frames of a constant rate may follow each other without end; the talk is heard over and over, as on a long day.
    spoken = frames.read_bytes()
    path = tmp_path / "day.mp3"
    with path.open("wb") as file:
        while file.tell() < 12 * 3600 * 24_000 // 8:
            file.write(spoken)
    done = subprocess.run([sys.executable, "-c", TWELVE_HOURS, str(path)], capture_output=True, text=True, check=True)
    length_ms, blocks, speech_s, peak_bytes, cpu_s = (float(value) for value in done.stdout.split())
    print(f"{length_ms / 3.6e6:.2f} h, {blocks:.0f} blocks, {speech_s / 3600:.2f} h of speech, "
          f"peak {peak_bytes / 1e9:.2f} GB, {cpu_s:.0f} s CPU")  # fmt: skip
    assert length_ms >= 12 * 3600 * 1000 * 0.99
    assert speech_s > 6 * 3600
    assert peak_bytes < 3e9


def test_paths_may_hold_any_characters(tmp_path: Path, write_sound):
    path = write_sound(tmp_path / "Vortrag Nr. 3 – Thuja & Söhne %d.wav", tone(1))
    assert probe(path).duration_ms > 900
