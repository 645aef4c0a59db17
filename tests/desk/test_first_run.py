"""An empty course: the first page teaches, and one button fills it with the sample lectures."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from notesmith.course import Course, create_course
from notesmith.desk.app import make_app
from notesmith.desk.context import Desk
from notesmith.desk.worker import Worker, probe_apart
from notesmith.lecture import CourseSettings
from notesmith.samples import sample_recordings
from notesmith.store.jobs import jobs

from .conftest import KEYS, ORIGIN, PORT


@pytest.fixture
def empty(tmp_path: Path) -> Course:
    return create_course(tmp_path / "course", CourseSettings(title="New course", profile="testing"))


@pytest.fixture
def newcomer(empty: Course) -> TestClient:
    client = TestClient(make_app(empty, port=PORT, keys=KEYS, who="Asha", work=False), base_url=ORIGIN)
    client.get("/open?key=opening-key")
    client.headers |= {"origin": ORIGIN, "x-desk-token": KEYS.form}
    return client


def test_every_page_of_an_empty_course_says_what_to_do(newcomer: TestClient) -> None:
    assert "Try it with the sample lectures" in newcomer.get("/").text
    for path in ("/words", "/names", "/potencies", "/notes", "/terms", "/publish", "/history", "/record", "/settings",
                 "/coverage"):  # fmt: skip
        assert newcomer.get(path).status_code == 200
    for path in ("/words", "/names", "/potencies", "/publish"):
        assert "No lecture has been worked through yet." in newcomer.get(path).text
        assert "Every doubtful word is settled" not in newcomer.get(path).text
    assert newcomer.get("/next").url.path == "/"


def test_one_button_fills_the_course(empty: Course, newcomer: TestClient) -> None:
    text = newcomer.post("/sample").text
    assert "waiting for its turn" in text
    assert "Try it with" not in text
    with empty.open_store() as store:
        waiting = jobs(store, "waiting")
    assert [one.body.name for one in waiting] == [path.name for path in sample_recordings()]
    for one, path in zip(waiting, sample_recordings(), strict=True):
        handed_in = empty.folder / ".incoming" / str(one.id) / one.body.name
        assert handed_in.read_bytes() == path.read_bytes()
        probe_apart(handed_in)  # as the worker looks at it
    assert newcomer.post("/sample").status_code == 409  # twice is once


def test_the_sample_does_not_mix_with_a_course(browser: TestClient) -> None:
    assert browser.post("/sample").status_code == 409


@pytest.mark.model
@pytest.mark.slow
def test_the_sample_is_worked_through(empty: Course, newcomer: TestClient) -> None:
    newcomer.post("/sample")
    worker = Worker(Desk(empty, KEYS, "Asha"), quiet_s=0)
    with empty.open_store() as store:
        assert worker.step(store)
        assert jobs(store)[0].state == "finished", jobs(store)[0].body.message
    assert "Kali bichromicum" in newcomer.get("/notes").text
