"""The worker's own steps: what fails says so in plain words, what is cancelled stops, what is retried goes on."""

from __future__ import annotations

from pathlib import Path

import pytest
from starlette.testclient import TestClient

from notesmith.annotations import Corrections, Extraction
from notesmith.course import Course
from notesmith.desk.context import Desk
from notesmith.desk.queue import word_queue
from notesmith.desk.worker import Worker
from notesmith.errors import Cancelled
from notesmith.store.jobs import Job, JobBody, add_job, change_job, job, jobs
from notesmith.transcript import sounding

from .conftest import KEYS

pipeline = pytest.importorskip("notesmith.pipeline")


@pytest.fixture
def worker(course: Course) -> Worker:
    return Worker(Desk(course, KEYS, "Asha"), quiet_s=0)


def hand_in(course: Course, name: str, content: bytes) -> Job:
    with course.open_store() as store:
        made = add_job(store, JobBody("add", name, size=len(content), received=len(content)))
    path = course.folder / ".incoming" / str(made.id) / name
    path.parent.mkdir(parents=True)
    path.write_bytes(content)
    return made


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("a.mp3", b"no recording at all"),
        ("b.vtt", b"\xff\xfe\x00"),
        ("c.json", b"{"),
        ("d.wav", b"RIFF\xff\xff\xff\xffWAVE"),
    ],
)
def test_a_bad_file_fails_in_plain_words_and_leaves_the_course_as_it_was(
    course: Course, worker: Worker, name: str, content: bytes
) -> None:
    made = hand_in(course, name, content)
    with course.open_store() as store:
        before = store.lectures()
        assert worker.step(store)
        failed = job(store, made.id)
        assert failed.state == "failed"
        assert failed.body.message
        assert str(course.folder) not in failed.body.message
        assert "Traceback" not in failed.body.message
        assert store.lectures() == before


def test_a_defect_is_told_and_the_worker_goes_on(
    course: Course, worker: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise ZeroDivisionError("secret detail")

    monkeypatch.setattr(pipeline, "process", broken)
    made = hand_in(course, "a.vtt", b"WEBVTT\n\n00:00.000 --> 00:04.000\nWords of a talk.\n")
    with course.open_store() as store:
        assert worker.step(store)
        assert job(store, made.id).state == "failed"
        assert "secret" not in job(store, made.id).body.message
        assert not worker.step(store)
        monkeypatch.setattr(pipeline, "process", lambda *_: None)
        one = job(store, made.id)
        change_job(store, made.id, "waiting", one.body, only_from=("failed",))
        assert worker.step(store)  # the lecture is in the course already; the retry goes on from there
        assert job(store, made.id).state == "finished"


def test_cancelling_stops_the_work(course: Course, worker: Worker, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[str] = []

    def long_work(_tools: object, _store: object, lecture: object, report: object) -> None:
        with course.open_store() as other:
            one = job(other, made.id)
            change_job(other, made.id, "cancelled", one.body, only_from=("working",))
        try:
            report(pipeline.Progress("x", "transcribe", 1, 10))  # type: ignore[operator]
        except Cancelled:
            seen.append("stopped")
            raise

    monkeypatch.setattr(pipeline, "process", long_work)
    made = hand_in(course, "a.vtt", b"WEBVTT\n\n00:00.000 --> 00:04.000\nWords of a talk.\n")
    with course.open_store() as store:
        assert worker.step(store)
        assert seen == ["stopped"]
        assert job(store, made.id).state == "cancelled"


def test_time_left_follows_the_pace() -> None:
    body = JobBody("add", "a.mp3", stage="transcribe", done=25, total=100, stage_began=1000.0)
    assert Job(1, "working", "", body).seconds_left(now=1010.0) == 30.0
    assert Job(1, "waiting", "", body).seconds_left(now=1010.0) is None


def test_uploads_lie_inside_the_course(course: Course) -> None:
    assert Desk(course, KEYS, "x").incoming.is_relative_to(Path(course.folder))


def test_a_kill_after_a_file_was_taken_in_leaves_no_copy(
    course: Course, worker: Worker, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(pipeline, "process", lambda *_: None)
    made = hand_in(course, "a.vtt", b"WEBVTT\n\n00:00.000 --> 00:04.000\nWords of a talk.\n")
    with course.open_store() as store:
        body = JobBody("add", "a.vtt", lecture_id=store.lectures()[0].id)
        change_job(store, made.id, "waiting", body, only_from=("waiting",))
        assert worker.step(store)
        assert job(store, made.id).state == "finished"
    assert not (course.folder / ".incoming" / str(made.id)).exists()


def test_a_defect_is_noted_for_whoever_mends_it(course: Course, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object) -> None:
        raise FileNotFoundError("a file of the program")

    monkeypatch.setattr(Worker, "_do", broken)
    with course.open_store() as store:
        add_job(store, JobBody("publish", "site"))
        assert Worker(Desk(course, KEYS, "Asha"), quiet_s=0).step(store)
        (one,) = jobs(store)
    assert one.state == "failed"
    assert "defects.log" in one.body.message
    noted = (course.folder / "defects.log").read_text()
    assert "FileNotFoundError: a file of the program" in noted
    assert "in broken" in noted


def test_what_an_editor_ruled_once_is_printed_in_the_next_session_unasked(course: Course, browser: TestClient) -> None:
    """Of words that no likeness of sound leads to: only the ruling can have taught it, and it outlives the program."""
    garble, ask = "blue wagon plate", {"lecture": "one", "seen": "0", "back": "/terms"}
    browser.post("/words/other", data={**ask, "form": garble, "concept_id": "remedy/sulphur", "everywhere": "yes"})
    made = hand_in(
        course,
        "next week.vtt",
        b"WEBVTT\n\n00:00.000 --> 00:04.000\nThe burning of Blue Wagon Plate is worse in bed.\n\n"
        b"00:04.000 --> 00:08.000\nA patient of blue wagon plate throws off the covers.\n",
    )
    started_again = Worker(Desk(course, KEYS, "Asha"), quiet_s=0)
    with course.open_store() as store:
        while job(store, made.id).state != "finished":
            assert started_again.step(store), job(store, made.id)
        lecture_id = job(store, made.id).body.lecture_id
        assert lecture_id is not None
        found = store.result(lecture_id, "corrections", Corrections)
        assert found is not None
        learnt = [one for one in found.items if sounding(one.heard) == garble]
        assert [(one.state, one.concept_id, one.restored) for one in learnt] == [
            ("applied", "remedy/sulphur", "Sulphur")
        ] * 2
        vocabulary = course.load_vocabulary()
        assert all(one.form != garble for one in word_queue(vocabulary, store, store.verdicts()))
        notes = store.result(lecture_id, "extraction", Extraction)
        assert notes is not None
        assert sum(one.concept_id == "remedy/sulphur" for one in notes.mentions) == 2
