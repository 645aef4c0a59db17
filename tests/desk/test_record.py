"""Recording in the page: pieces that arrive while one speaks, an end that may never come, the permissions."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import av
import numpy as np
import pytest
from starlette.testclient import TestClient

from notesmith.course import Course
from notesmith.desk.recorder import QUIET_S, put_in_order, told
from notesmith.recording import clip, decode_pieces, probe
from notesmith.store.jobs import jobs
from notesmith.transcript import TimeSpan

RATE_HZ = 48_000


def begin(browser: TestClient, title: str = "Thuja", container: str = "webm") -> int:
    answer = browser.post("/record", data={"title": title, "container": container})
    assert answer.status_code == 200, answer.text
    return int(answer.json()["id"])


def live_webm(path: Path, seconds: int, pitch_hz: float = 440.0) -> Path:
    """As a browser writes it: clusters as they come, no length, no index (the muxer's "live" way)."""
    t = np.arange(seconds * RATE_HZ) / RATE_HZ
    tone = (0.3 * np.sin(2 * np.pi * pitch_hz * t) * (t >= seconds / 2)).astype(np.float32)  # the first half is silent
    with av.open(str(path), "w", format="webm", options={"live": "1"}) as container:
        stream = container.add_stream("libopus", rate=RATE_HZ, layout="mono")
        for n, start in enumerate(range(0, len(tone), 960)):
            frame = av.AudioFrame.from_ndarray(tone[start : start + 960].reshape(1, -1), format="flt", layout="mono")
            frame.sample_rate, frame.pts = RATE_HZ, n * 960
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return path


def test_pieces_come_without_a_size_and_the_end_makes_it_whole(course: Course, browser: TestClient) -> None:
    number = begin(browser, "../Thuja: warts")
    assert browser.put(f"/uploads/{number}?offset=0", content=b"x" * 100).json()["offset"] == 100
    assert browser.put(f"/uploads/{number}?offset=100", content=b"y" * 50).json()["offset"] == 150
    assert browser.put(f"/uploads/{number}?offset=100", content=b"y" * 50).status_code == 409
    with course.open_store() as store:
        (one,) = jobs(store)
    assert (one.state, one.body.size) == ("receiving", 0)
    assert one.body.name.endswith("Thuja_ warts.webm")
    text = browser.get("/").text
    assert "being recorded" in text
    assert "End it and use what there is" in text
    assert browser.post(f"/record/{number}/finish").status_code == 200
    with course.open_store() as store:
        (one,) = jobs(store)
    assert (one.state, one.body.size, one.body.received) == ("waiting", 150, 150)
    assert browser.put(f"/uploads/{number}?offset=150", content=b"z").status_code == 409  # ended elsewhere
    assert browser.post(f"/record/{number}/finish").status_code == 400


def test_a_recording_left_behind_is_told_and_can_be_used(course: Course, browser: TestClient) -> None:
    number = begin(browser)
    browser.put(f"/uploads/{number}?offset=0", content=b"x" * 100)
    (part,) = (course.folder / ".incoming" / str(number)).iterdir()
    assert told(part, part.stat().st_mtime + QUIET_S - 1).startswith("being recorded")
    os.utime(part, (1.0, 1.0))
    assert "was not ended" in browser.get("/").text


def test_nothing_recorded_cannot_be_used_and_a_cancelled_one_not_tried_again(browser: TestClient) -> None:
    number = begin(browser)
    assert browser.post(f"/record/{number}/finish").status_code == 400
    assert browser.post(f"/jobs/{number}/cancel").status_code == 200
    assert browser.post(f"/jobs/{number}/retry").status_code == 400


def test_a_file_sent_whole_is_no_live_recording(browser: TestClient) -> None:
    upload = browser.post("/uploads", data={"name": "a.mp3", "size": "10", "stamp": "recorded here"}).json()
    assert browser.post(f"/record/{upload['id']}/finish").status_code == 400
    assert browser.post("/record", data={"container": "exe"}).status_code == 400


def test_only_the_recording_page_may_ask_for_the_microphone(browser: TestClient) -> None:
    assert "microphone=(self)" in browser.get("/record").headers["permissions-policy"]
    for path in ("/", "/words", "/record/1/finish", "/recording", "/static/record.js", "/preview/index.html"):
        assert "microphone=()" in browser.get(path).headers["permissions-policy"]


def test_a_recording_without_length_and_index_is_heard(tmp_path: Path) -> None:
    """RFC 9559 (Matroska): Duration and Cues are optional; a browser's recorder writes neither."""
    path = live_webm(tmp_path / "live.webm", 40)
    assert probe(path).duration_ms == 0  # so it is really such a file
    assert sum(len(piece) for piece in decode_pieces(path)) / 16_000 == pytest.approx(40, abs=0.1)
    for start, loud in ((5_000, False), (15_000, False), (25_000, True), (38_000, True)):
        heard = clip(path, TimeSpan(start, start + 1000))
        assert len(heard) == pytest.approx(16_000, abs=800)
        assert (float(np.sqrt(np.mean(heard**2))) > 0.1) is loud


def test_it_is_put_in_order_without_touching_the_sound(tmp_path: Path) -> None:
    path = live_webm(tmp_path / "live.webm", 40)
    before = np.concatenate(list(decode_pieces(path)))
    put_in_order(path)
    assert probe(path).duration_ms == pytest.approx(40_000, abs=100)
    assert np.array_equal(np.concatenate(list(decode_pieces(path))), before)
    assert [one.name for one in tmp_path.iterdir()] == ["live.webm"]


def test_a_recording_torn_off_anywhere_keeps_what_came(tmp_path: Path) -> None:
    whole = live_webm(tmp_path / "live.webm", 20).read_bytes()
    for share in (0.35, 0.7, 0.999):
        path = tmp_path / "torn.webm"
        path.write_bytes(whole[: int(len(whole) * share)])
        before = sum(len(piece) for piece in decode_pieces(path))
        put_in_order(path)
        assert sum(len(piece) for piece in decode_pieces(path)) >= before - 960
        assert probe(path).duration_ms > 0


def test_what_cannot_be_put_in_order_stays(tmp_path: Path) -> None:
    path = tmp_path / "bad.webm"
    path.write_bytes(b"no recording" * 50)
    put_in_order(path)
    assert path.read_bytes() == b"no recording" * 50


@pytest.mark.parametrize("ending", [".ogg", ".m4a"])
def test_other_browsers_kinds(tmp_path: Path, write_sound: Callable[..., Path], ending: str) -> None:
    path = write_sound(tmp_path / f"a{ending}", np.zeros(32_000, np.float32))
    before = sum(len(piece) for piece in decode_pieces(path))
    put_in_order(path)
    assert abs(sum(len(piece) for piece in decode_pieces(path)) - before) <= 1024
    assert probe(path).duration_ms == pytest.approx(2_000, abs=150)
