"""Bad input on the command line: one clear line, a non-zero exit, no traceback, nothing lost."""

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest

from notesmith.course import create_course
from notesmith.lecture import CourseSettings


def notesmith(*arguments: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "notesmith", *map(str, arguments)]
    return subprocess.run(command, capture_output=True, text=True, timeout=180, check=False, cwd=cwd)


def refused(done: subprocess.CompletedProcess[str], says: str) -> None:
    assert done.returncode not in (0, 70), done.stderr
    last = [line for line in done.stderr.splitlines() if line.startswith("notesmith: ")]
    assert len(last) == 1, done.stderr
    assert says in last[0]
    assert "Traceback" not in done.stderr


@pytest.fixture
def course(tmp_path: Path) -> Path:
    create_course(tmp_path / "c", CourseSettings(title="Course"))
    return tmp_path / "c"


def video_without_sound(path: Path) -> Path:
    with av.open(str(path), "w") as container:
        stream = container.add_stream("mpeg4", rate=5)
        stream.width = stream.height = 64
        stream.pix_fmt = "yuv420p"
        for _ in range(5):
            container.mux(stream.encode(av.VideoFrame.from_ndarray(np.zeros((64, 64, 3), np.uint8), format="rgb24")))
        container.mux(stream.encode(None))
    return path


def test_files_that_are_no_recordings(course: Path, tmp_path: Path, write_sound: Callable[..., Path]) -> None:
    empty = tmp_path / "empty.mp3"
    empty.touch()
    text = tmp_path / "text.mp3"
    text.write_text("this is no sound\n" * 50)
    whole = write_sound(tmp_path / "whole.mp4", np.random.default_rng(1).normal(0, 0.1, 160_000).astype(np.float32))
    cut = tmp_path / "cut.mp4"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    silent = video_without_sound(tmp_path / "silent.mp4")
    for path, says in ((empty, "is empty"), (text, "not a recording"), (cut, "cut off"), (silent, "no sound track"),
                       (tmp_path / "gone.mp3", "no such file"), (tmp_path, "is a folder")):  # fmt: skip
        refused(notesmith("add", "-c", course, path), says)
    assert "No lecture yet" in notesmith("lectures", "-c", course).stdout


@pytest.mark.model
def test_silence_and_noise_hold_no_speech(tmp_path: Path, write_sound: Callable[..., Path]) -> None:
    quiet = write_sound(tmp_path / "quiet.wav", np.zeros(320_000, np.float32))
    tones = np.sin(np.arange(320_000) * 2 * np.pi * 440 / 16_000).astype(np.float32) * 0.2
    music = write_sound(tmp_path / "music.wav", tones)
    for path in (quiet, music):
        refused(notesmith("once", path, "--to", tmp_path / "out"), "no speech")
    assert not (tmp_path / "out").exists()


def test_captions_with_wrong_times_and_mixed_encodings(course: Path, tmp_path: Path) -> None:
    wrong = tmp_path / "wrong.vtt"
    # 60:00.000 is invalid by W3C WebVTT.
    wrong.write_text("WEBVTT\n\n60:00.000 --> 60:01.000\nhello\n")
    mixed = tmp_path / "mixed.srt"
    mixed.write_bytes("1\n00:00:01,000 --> 00:00:02,000\ncafé ".encode() + b"caf\xe9\n")
    refused(notesmith("add", "-c", course, wrong), "59 minutes")
    refused(notesmith("add", "-c", course, mixed), "mixes encodings")


def test_a_model_that_is_none(tmp_path: Path, write_sound: Callable[..., Path]) -> None:
    sound = write_sound(tmp_path / "a.wav", np.zeros(16_000, np.float32))
    folder = tmp_path / "model"
    folder.mkdir()
    (folder / "model.bin").touch()
    refused(notesmith("once", sound, "--model", folder), "0 bytes")
    refused(notesmith("once", sound, "--model", "enormous"), "neither a folder")


def test_courses_and_commands_that_are_wrong(tmp_path: Path, course: Path) -> None:
    refused(notesmith("lectures", "-c", tmp_path / "none"), "begin a course")
    refused(notesmith("begin", course), "already")
    refused(notesmith("label", "nothing", "-c", course, "--title", "x"), "no lecture")
    (course / "course.toml").write_text("title = 3\n")
    refused(notesmith("work", "-c", course), "course.toml")


def test_an_output_folder_that_cannot_be(tmp_path: Path) -> None:
    captions = tmp_path / "a.vtt"
    captions.write_text("WEBVTT\n\n00:01.000 --> 00:03.000\nPulsatilla is mild and weeps easily.\n")
    (tmp_path / "file").write_text("x")
    refused(notesmith("once", captions, "--to", tmp_path / "file" / "out"), "cannot be written")
    assert (tmp_path / "file").read_text() == "x"
