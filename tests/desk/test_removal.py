"""Taking a lecture out and bringing it back: nothing is lost, nothing is deleted but on purpose."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from starlette.testclient import TestClient

from notesmith.care import backup, restore
from notesmith.course import Course
from notesmith.desk.app import make_app
from notesmith.store.jobs import JobBody, add_job, change_job

from .conftest import KEYS, ORIGIN, PORT


@pytest.fixture
def with_sound(course: Course) -> Course:
    """Lecture one with a recording and notes beside it."""
    with course.open_store() as store:
        lecture, revision = store.lecture("one")
        store.update_lecture(msgspec.structs.replace(lecture, media="one.mp3"), revision=revision)
    course.recordings.mkdir(exist_ok=True)
    (course.recordings / "one.mp3").write_bytes(b"sound")
    course.notes.mkdir(exist_ok=True)
    (course.notes / "one.md").write_text("edited by hand")
    return course


def ids(course: Course) -> list[str]:
    with course.open_store() as store:
        return [lecture.id for lecture in store.lectures()]


def test_out_and_back_is_as_before(with_sound: Course, browser: TestClient) -> None:
    browser.post("/words", data={"lecture": "one", "form": "sulfer", "seen": "0", "ruling": "reject"})
    with with_sound.open_store() as store:
        before = store.lecture("one")[0], store.transcripts("a" * 64)[0].transcript, store.verdicts()
    assert "Leave it in" in browser.get("/lectures/one/remove").text
    assert browser.post("/lectures/one/remove", data={"revision": "2"}).status_code == 200
    assert ids(with_sound) == ["two"]
    assert not (with_sound.recordings / "one.mp3").exists()
    text = browser.get("/").text
    assert "1 taken out" in text
    assert browser.post("/removed/one/back").status_code == 200
    with with_sound.open_store() as store:
        assert (store.lecture("one")[0], store.transcripts("a" * 64)[0].transcript, store.verdicts()) == before
    assert (with_sound.recordings / "one.mp3").read_bytes() == b"sound"
    assert (with_sound.notes / "one.md").read_text() == "edited by hand"
    assert "taken out" not in browser.get("/").text
    assert browser.post("/removed/one/back").status_code == 404


def test_a_stale_page_or_work_under_way_takes_nothing_out(with_sound: Course, browser: TestClient) -> None:
    assert browser.post("/lectures/one/remove", data={"revision": "1"}).status_code == 409
    with with_sound.open_store() as store:
        job = add_job(store, JobBody("refresh", "x"))
        change_job(store, job.id, "working", job.body, only_from=("waiting",))
    assert browser.post("/lectures/one/remove", data={"revision": "2"}).status_code == 409
    assert ids(with_sound) == ["one", "two"]
    assert (with_sound.recordings / "one.mp3").exists()


def test_the_same_recording_added_again_is_not_overwritten(with_sound: Course, browser: TestClient) -> None:
    browser.post("/lectures/one/remove", data={"revision": "2"})
    with with_sound.open_store() as store:
        lecture, _ = store.lecture("two")
        store.add_lecture(msgspec.structs.replace(lecture, id="three", recording_sha256="a" * 64))
    assert browser.post("/removed/one/back").status_code == 409
    assert (with_sound.folder / ".removed" / "one" / "one.mp3").exists()


def test_deleting_for_good_needs_the_word_and_stays_inside(with_sound: Course, browser: TestClient) -> None:
    browser.post("/lectures/one/remove", data={"revision": "2"})
    assert browser.post("/removed/one/delete").status_code == 400
    for path in ("/removed/..%2f..%2fcourse/delete", "/removed/../delete", "/removed/%2e%2e/delete"):
        assert browser.post(path, data={"sure": "delete"}).status_code in (404, 405)
    assert browser.post("/removed/one/delete", data={"sure": "delete"}).status_code == 200
    assert not (with_sound.folder / ".removed" / "one").exists()
    assert with_sound.settings_path.is_file()


def test_a_damaged_record_is_told(with_sound: Course, browser: TestClient) -> None:
    browser.post("/lectures/one/remove", data={"revision": "2"})
    (with_sound.folder / ".removed" / "one" / "lecture.json").write_text("{")
    assert browser.get("/").status_code == 200
    answer = browser.post("/removed/one/back")
    assert answer.status_code == 400
    assert "damaged" in answer.text


@pytest.mark.parametrize("recordings", [True, False])
def test_a_backup_keeps_what_was_taken_out(
    with_sound: Course, browser: TestClient, tmp_path: Path, recordings: bool
) -> None:
    browser.post("/lectures/one/remove", data={"revision": "2"})
    backup(with_sound, tmp_path / "kept.zip", recordings=recordings)
    restored = restore(tmp_path / "kept.zip", tmp_path / "elsewhere")
    assert (restored.folder / ".removed" / "one" / "one.mp3").exists() is recordings
    client = TestClient(make_app(restored, port=PORT, keys=KEYS, work=False), base_url=ORIGIN)
    client.get("/open?key=opening-key")
    client.headers.update({"origin": ORIGIN, "x-desk-token": KEYS.form})
    assert "1 taken out" in client.get("/").text
    assert client.post("/removed/one/back").status_code == 200
    assert ids(restored) == ["one", "two"]
    with restored.open_store() as store:
        assert len(store.transcripts("a" * 64)) == 1
    assert (restored.notes / "one.md").read_text() == "edited by hand"
    assert (restored.recordings / "one.mp3").exists() is recordings
