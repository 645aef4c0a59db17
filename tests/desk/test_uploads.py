"""Taking files in: pieces, going on, refusing, cancelling; the worker's own steps with real files."""

from __future__ import annotations

import os
import shutil
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from starlette.testclient import TestClient

from notesmith.course import Course
from notesmith.desk.uploads import safe_name
from notesmith.desk.worker import PACKAGE_PARENT, probe_apart
from notesmith.errors import InputError
from notesmith.store.jobs import JobBody, add_job, claim, job, jobs, recover

VTT = b"WEBVTT\n\n00:00.000 --> 00:04.000\nNow let us come to Thuja and its warts.\n"


def begin(browser: TestClient, name: str = "talk.vtt", size: int = len(VTT)) -> dict[str, int]:
    answer = browser.post("/uploads", data={"name": name, "size": str(size), "stamp": "7"})
    assert answer.status_code == 200, answer.text
    return answer.json()


def test_pieces_make_the_whole_and_the_job_waits(course: Course, browser: TestClient) -> None:
    upload = begin(browser)
    assert browser.put(f"/uploads/{upload['id']}?offset=0", content=VTT[:20]).json()["offset"] == 20
    assert browser.put(f"/uploads/{upload['id']}?offset=20", content=VTT[20:]).json()["offset"] == len(VTT)
    assert (course.folder / ".incoming" / str(upload["id"]) / "talk.vtt").read_bytes() == VTT
    with course.open_store() as store:
        assert [(j.state, j.body.name) for j in jobs(store)] == [("waiting", "talk.vtt")]


def test_choosing_the_file_again_goes_on_where_it_stopped(browser: TestClient) -> None:
    first = begin(browser)
    browser.put(f"/uploads/{first['id']}?offset=0", content=VTT[:30])
    assert begin(browser) == {"id": first["id"], "offset": 30}


def test_a_kill_before_the_last_piece_was_entered_is_made_good(course: Course, browser: TestClient) -> None:
    upload = begin(browser)
    (course.folder / ".incoming" / str(upload["id"]) / "talk.vtt").write_bytes(VTT)  # written, not entered
    assert begin(browser) == {"id": upload["id"], "offset": len(VTT)}
    with course.open_store() as store:
        assert [(j.state, j.body.received) for j in jobs(store)] == [("waiting", len(VTT))]


def test_a_piece_at_the_wrong_place_is_not_written(browser: TestClient) -> None:
    upload = begin(browser)
    answer = browser.put(f"/uploads/{upload['id']}?offset=5", content=b"xxx")
    assert (answer.status_code, answer.json()["offset"]) == (409, 0)


def test_more_than_was_named_is_refused(browser: TestClient) -> None:
    upload = begin(browser)
    assert browser.put(f"/uploads/{upload['id']}?offset=0", content=VTT + b"more").status_code == 400
    assert browser.get(f"/uploads/{upload['id']}").json()["offset"] == 0


def test_a_piece_over_the_limit_is_refused(browser: TestClient) -> None:
    upload = begin(browser, size=20_000_000)
    assert browser.put(f"/uploads/{upload['id']}?offset=0", content=b"x" * (8 * 1024 * 1024 + 1)).status_code == 413


@pytest.mark.parametrize(("name", "size"), [("a.exe", "5"), ("", "5"), ("..", "5"), ("a.mp3", "0"), ("a.mp3", "-1"),
                                            ("a.mp3", "1e3"), ("a.mp3", str(9 * 1024**3))])  # fmt: skip
def test_what_cannot_be_used_is_refused_in_words(browser: TestClient, name: str, size: str) -> None:
    answer = browser.post("/uploads", data={"name": name, "size": size})
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text


@pytest.mark.parametrize(
    "given", ["../../etc/x.mp3", "C:\\music\\x.mp3", "/x.mp3", "a\x00/../x.mp3", ".x.mp3", "..%2fx.mp3"]
)
def test_names_lose_their_folders(given: str) -> None:
    name = safe_name(given)
    assert "/" not in name
    assert "\\" not in name
    assert not name.startswith(".")
    assert Path(name).name == name


def test_cancel_forgets_what_was_sent(course: Course, browser: TestClient) -> None:
    upload = begin(browser)
    browser.put(f"/uploads/{upload['id']}?offset=0", content=VTT[:10])
    assert browser.post(f"/jobs/{upload['id']}/cancel").status_code == 200
    assert not (course.folder / ".incoming" / str(upload["id"])).exists()
    assert browser.put(f"/uploads/{upload['id']}?offset=10", content=VTT[10:]).status_code == 409
    assert browser.post(f"/jobs/{upload['id']}/retry").status_code == 400
    assert browser.post(f"/jobs/{upload['id']}/forget").status_code == 200
    with course.open_store() as store:
        assert jobs(store) == ()


def test_a_restart_takes_up_what_was_being_worked_on(course: Course) -> None:
    with course.open_store() as store:
        made = add_job(store, JobBody("add", "x.mp3"))
        assert claim(store, "add") is not None
        assert claim(store, "add") is None
        assert recover(store) == 1
        assert job(store, made.id).state == "waiting"


def test_a_file_is_looked_at_apart(tmp_path: Path, write_sound: Callable[..., Path]) -> None:
    probe_apart(write_sound(tmp_path / "good.mp3", np.zeros(16_000, np.float32)))
    (tmp_path / "bad.mp3").write_bytes(b"not a recording" * 99)
    with pytest.raises(InputError, match="not a recording this program can read"):
        probe_apart(tmp_path / "bad.mp3")
    (tmp_path / "bad.vtt").write_bytes(b"\xff\xfe\x00garbage")
    with pytest.raises(InputError):
        probe_apart(tmp_path / "bad.vtt")


@pytest.mark.parametrize(
    "deed", ["bytearray(4 << 30)", "import pathlib; pathlib.Path('written').write_text('x')", "while True: pass"]
)
def test_a_hostile_file_can_do_no_more_than_fail(tmp_path: Path, deed: str) -> None:
    """Whatever a decoder is brought to do by a file: no more memory, nothing written, no time without end."""
    code = f"from notesmith.desk import look; look.CPU_SECONDS = 2; look.limit_this_process(); exec({deed!r})"
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, check=False,
        env={**os.environ, "PYTHONPATH": str(PACKAGE_PARENT)},
    )  # fmt: skip
    assert done.returncode not in (0, 2)  # 2 would be a line for the user
    assert all(path.stat().st_size == 0 for path in tmp_path.iterdir())
    if "while" in deed:
        assert done.returncode in (-signal.SIGXCPU, -signal.SIGKILL)


def test_a_decoder_that_hangs_or_crashes_is_told_in_words(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    with monkeypatch.context() as patch:
        patch.setattr("notesmith.desk.worker.PROBE_SECONDS", 0.01)
        with pytest.raises(InputError, match="took too long"):
            probe_apart(tmp_path / "a.mp3")
    monkeypatch.setattr("notesmith.desk.worker.sys.executable", "/bin/false")
    with pytest.raises(InputError, match="cannot be opened"):
        probe_apart(tmp_path / "a.mp3")


def test_a_full_disk_is_told_before_anything_is_sent(
    course: Course, browser: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    full = shutil.disk_usage(course.folder)._replace(free=10)
    monkeypatch.setattr("notesmith.desk.uploads.shutil.disk_usage", lambda _: full)
    answer = browser.post("/uploads", data={"name": "talk.vtt", "size": str(len(VTT)), "stamp": "7"})
    assert answer.status_code == 400
    assert "not enough space" in answer.text
    assert not (course.folder / ".incoming").exists()
