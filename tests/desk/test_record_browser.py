"""Recording with Chromium's own stand-in for a microphone, which plays a file; the program is killed meanwhile."""

from __future__ import annotations

import wave
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from notesmith.recording import clip, decode_pieces
from notesmith.samples import samples_dir
from notesmith.store.jobs import jobs
from notesmith.transcript import TimeSpan, sounding

from .driving import ARGUMENTS, CHROMIUM, PATIENCE_MS, Running, missing, visit, wait_for

pytestmark = pytest.mark.browser

STEM = "2026-03-02-kali-bichromicum-part-1-of-2"
FROM_S, TO_S = 29, 36  # "This is the heart of Kali bichromicum. Whatever the membrane, the nose, the throat ..."
SAID = ("the nose", "the throat")


@pytest.fixture
def open_page(tmp_path: Path) -> Iterator[Callable[..., Any]]:
    """Open a browser that hears a file (or has no microphone that may be used) and give its page."""
    if not CHROMIUM.is_file():
        missing(str(CHROMIUM))
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        open_ones = []

        def make(sound: Path | None = None, *, allowed: bool = True) -> Any:
            more = ["--use-fake-device-for-media-stream", *(["--use-fake-ui-for-media-stream"] if allowed else [])]
            if sound is not None:
                more.append(f"--use-file-for-fake-audio-capture={sound}%noloop")
            one = driver.chromium.launch(executable_path=str(CHROMIUM), args=[*ARGUMENTS, *more])
            open_ones.append(one)
            page = one.new_context().new_page()
            page.set_default_timeout(PATIENCE_MS)
            page.errors = []
            page.on("pageerror", lambda error: page.errors.append(str(error)))
            return page

        yield make
        for one in open_ones:
            one.close()


def speech(path: Path) -> Path:
    source = next(one for one in samples_dir().iterdir() if one.stem == STEM and one.suffix == ".opus")
    samples = np.repeat(clip(source, TimeSpan(FROM_S * 1000, TO_S * 1000)), 3)
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(48_000)
        out.writeframes((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())
    return path


def part_of(running: Running) -> Path:
    """The file that the recording grows in."""
    found = [one for one in (running.course.folder / ".incoming").glob("*/*") if one.suffix == ".webm"]
    return found[0] if found else running.course.folder / "none"


def seconds_in(path: Path) -> float:
    return sum(len(piece) for piece in decode_pieces(path)) / 16_000 if path.stat().st_size > 300 else 0.0


def text_is(page: Any, words: str) -> None:
    page.wait_for_function("(words) => document.getElementById('record-said').textContent.includes(words)", arg=words)


@pytest.mark.model
def test_record_pause_end_by_keys_and_what_was_said_is_heard(
    running: Running, open_page: Callable[..., Any], tmp_path: Path
) -> None:
    page = open_page(speech(tmp_path / "voice.wav"))
    visit(page, running.address)
    with page.expect_navigation(url="**/record"):
        page.get_by_role("link", name="Record with the microphone").click()
    page.keyboard.press("s")
    text_is(page, "Recording.")
    wait_for(lambda: page.evaluate("document.getElementById('record-level').value") > 0.1)
    wait_for(lambda: page.inner_text("#record-time") >= "0:08")  # the file is over by then
    page.keyboard.press("p")
    text_is(page, "Paused")
    at = page.inner_text("#record-time")
    page.wait_for_timeout(1500)
    assert page.inner_text("#record-time") == at
    page.keyboard.press("p")
    text_is(page, "Recording.")
    with page.expect_navigation():
        page.keyboard.press("e")
    page.wait_for_selector("li[data-state=finished]")
    with running.course.open_store() as store:
        (lecture,) = store.lectures()
        words = store.transcripts(lecture.recording_sha256)[0].transcript.words
    heard = sounding(" ".join(word.text for word in words))
    assert "recorded-at" in lecture.id
    assert lecture.title == "Kali bichromicum"  # the remedy spoken of
    assert all(words in heard for words in SAID), heard
    assert page.errors == []


def test_killed_while_recording_the_recording_so_far_is_there(
    running: Running, open_page: Callable[..., Any], tmp_path: Path
) -> None:
    page = open_page(speech(tmp_path / "voice.wav"))
    visit(page, running.address)
    visit(page, running.base + "/record")
    page.fill("#record-title", "Thuja by night")
    page.click("#record-start")
    wait_for(lambda: page.inner_text("#record-time") >= "0:07")
    spoken = 7.0
    running.kill()
    kept = seconds_in(part_of(running))
    assert kept > spoken - 4.5  # the piece under way, two seconds long, and one being written
    text_is(page, "The desk does not answer")
    page.keyboard.press("e")
    page.wait_for_selector("#record-save:not([hidden])")  # the page has all of it, and gives it as a file
    with page.expect_download() as download:
        page.click("#record-file")
    assert seconds_in(Path(download.value.path())) >= spoken - 0.5
    running.start()
    visit(page, running.address)
    assert "Thuja by night" in page.inner_text("#jobs")
    page.get_by_role("button", name="End it and use what there is").click()
    wait_for(lambda: _state(running) != "receiving")


def test_ended_from_another_page_the_recording_page_says_so(running: Running, open_page: Callable[..., Any]) -> None:
    page = open_page()
    visit(page, running.address)
    visit(page, running.base + "/record")
    page.click("#record-start")
    wait_for(lambda: part_of(running).is_file() and part_of(running).stat().st_size > 1000)
    other = page.context.new_page()
    other.on("dialog", lambda one: one.accept())
    other.goto(running.base)
    other.get_by_role("button", name="Cancel").click()
    text_is(page, "cancelled")
    text_is(page, "saved as a file")


@pytest.mark.parametrize(
    ("name", "words"), [("NotAllowedError", "Allow it"), ("NotFoundError", "No microphone was found")]
)
def test_no_microphone_or_no_permission_is_said_in_words(
    running: Running, open_page: Callable[..., Any], name: str, words: str
) -> None:
    """The errors of getUserMedia by their names in the W3C's Media Capture and Streams."""
    page = open_page(allowed=name != "NotAllowedError")
    visit(page, running.address)
    visit(page, running.base + "/record")
    if name == "NotFoundError":
        page.evaluate(
            "(name) => { navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('', name); }; }",
            name,
        )
    page.click("#record-start")
    text_is(page, words)
    assert page.is_enabled("#record-start")
    with running.course.open_store() as store:
        assert jobs(store) == ()


def test_another_page_of_the_desk_gets_no_microphone(running: Running, open_page: Callable[..., Any]) -> None:
    page = open_page()
    visit(page, running.address)
    ask = "() => navigator.mediaDevices.getUserMedia({ audio: true }).then(() => 'given', (error) => error.name)"
    assert page.evaluate(ask) == "NotAllowedError"
    visit(page, running.base + "/record")
    assert page.evaluate(ask) == "given"


def _state(running: Running) -> str:
    with running.course.open_store() as store:
        return jobs(store)[-1].state
