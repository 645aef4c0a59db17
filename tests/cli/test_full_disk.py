"""A real full disk, end to end: one clear line, a failing exit, nothing lost, and the same command goes on afterwards.

The disk is a small tmpfs; where this process may not mount one, the tests are skipped.
"""

import contextlib
import sqlite3
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.cli.test_bad_input import notesmith, refused

TALK = "WEBVTT\n\n" + "\n".join(
    f"{n // 60:02d}:{n % 60:02d}.000 --> {n // 60:02d}:{n % 60:02d}.900\nPulsatilla is mild, weeps easily, number {n}.\n"
    for n in range(120)
)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Path]:
    """An empty file system of 8 MB."""
    folder = tmp_path / "disk"
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=8m", "tmpfs", str(folder)], capture_output=True, check=False
    )
    if done.returncode:
        pytest.skip("this process may not mount a file system")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


@contextlib.contextmanager
def full(disk: Path, leave: int = 0) -> Iterator[None]:
    """The disk with all but ``leave`` bytes taken."""
    filler = disk / "filler"
    with filler.open("wb", buffering=0) as file, contextlib.suppress(OSError):
        while True:
            file.write(b"\0" * 4096)
    if leave:
        with filler.open("r+b") as file:
            file.truncate(filler.stat().st_size - leave)
    try:
        yield
    finally:
        filler.unlink()


@pytest.fixture
def course(disk: Path, tmp_path: Path) -> Path:
    """A course on the disk with one talk in it, not worked on."""
    talk = tmp_path / "2026-03-02 Pulsatilla.vtt"
    talk.write_text(TALK)
    assert notesmith("begin", disk / "c").returncode == 0
    assert notesmith("add", "-c", disk / "c", talk).returncode == 0
    return disk / "c"


def is_whole(course: Path) -> bool:
    with contextlib.closing(sqlite3.connect(course / "course.db")) as store:
        return bool(store.execute("PRAGMA integrity_check").fetchone() == ("ok",))


def left_over(folder: Path) -> list[Path]:
    return [path for path in folder.rglob("*.part") if path.is_file()]


@pytest.mark.parametrize("leave", [0, 12_000])
def test_one_file_without_a_course(disk: Path, tmp_path: Path, leave: int) -> None:
    talk = tmp_path / "talk.vtt"
    talk.write_text(TALK)
    with full(disk, leave):
        refused(notesmith("once", talk, "--to", disk / "out"), "the disk is full")
        assert not left_over(disk)
    assert notesmith("once", talk, "--to", disk / "out").returncode == 0
    assert (disk / "out" / "result.json").stat().st_size > 1000


def test_a_course_cannot_be_begun(disk: Path) -> None:
    with full(disk):
        refused(notesmith("begin", disk / "c"), "the disk is full")


def test_a_recording_that_does_not_fit(
    course: Path, disk: Path, write_sound: Callable[..., Path], tmp_path: Path
) -> None:
    sound = write_sound(tmp_path / "long.wav", np.random.default_rng(3).normal(0, 0.1, 3_000_000).astype(np.float32))
    with full(disk, leave=1_000_000):
        refused(notesmith("add", "-c", course, sound), "the disk is full")
        assert not left_over(course)
    assert len(notesmith("lectures", "-c", course).stdout.splitlines()) == 1
    assert is_whole(course)
    assert notesmith("add", "-c", course, sound).returncode == 0


@pytest.mark.parametrize("leave", [0, pytest.param(40_000, marks=pytest.mark.slow)])
def test_work_and_publication_go_on_when_there_is_room(course: Path, disk: Path, leave: int) -> None:
    with full(disk, leave):
        refused(notesmith("work", "-c", course), "disk is full")
    assert is_whole(course)
    assert notesmith("work", "-c", course).returncode == 0
    assert "[noted]" in notesmith("lectures", "-c", course).stdout
    with full(disk, leave):
        refused(notesmith("publish", "-c", course), "disk is full")
        assert not left_over(course)
    assert is_whole(course)
    done = notesmith("publish", "-c", course)
    assert done.returncode == 0, done.stderr
    before = {path: path.read_bytes() for path in (course / "site").rglob("*") if path.is_file()}
    (course / "course.toml").write_text((course / "course.toml").read_text().replace('title = "C"', 'title = "D"'))
    with full(disk):
        refused(notesmith("publish", "-c", course), "disk is full")
    # A visitor of the site meanwhile sees whole pages, of before or after, never a part of one.
    for path, body in before.items():
        if path.suffix == ".html":
            assert path.read_bytes() == body or path.read_text().rstrip().endswith("</html>")
