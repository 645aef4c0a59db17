"""Rulings on the notes: each kind, its undo, its conflict, and that the spoken words stay."""

from __future__ import annotations

import re

import pytest
from starlette.testclient import TestClient

from notesmith.annotations import CaseVignette, Extraction, Finding, TeachingPoint
from notesmith.course import Course
from notesmith.curate import curate
from notesmith.transcript import TimeSpan, WordRange


@pytest.fixture
def noted(course: Course) -> Course:
    """Three points and a case in lecture one."""
    with course.open_store() as store:
        heard = store.transcripts("a" * 64)[0].transcript
        points = tuple(
            TeachingPoint(
                f"p{n}", "mind", f"Point {n}.", f"spoken {n}", WordRange(n, n + 1), TimeSpan(n * 400, n * 400 + 350)
            )
            for n in range(3)
        )
        fields = (
            Finding("age", "forty", WordRange(4, 5), TimeSpan(1600, 1950)),
            Finding("outcome", "better", WordRange(6, 7), TimeSpan(2400, 2750)),
            Finding("outcome", "slept well", WordRange(7, 8), TimeSpan(2800, 3150)),
        )
        case = CaseVignette("c0", "A case", WordRange(4, 9), TimeSpan(1600, 3500), fields)
        store.put_result("one", "extraction", "k", Extraction(heard.digest, points=points, vignettes=(case,)))
    return course


def now(course: Course) -> Extraction:
    with course.open_store() as store:
        extraction = store.result("one", "extraction", Extraction)
        assert extraction is not None
        return curate(extraction, "one", store.verdicts())


def rule(browser: TestClient, key: str, ruling: str, seen: int = 0, **fields: str) -> int:
    return browser.post("/notes/one", data={"key": key, "ruling": ruling, "seen": str(seen)} | fields).status_code


def test_reword_shows_the_new_words_and_keeps_the_spoken_ones(noted: Course, browser: TestClient) -> None:
    assert rule(browser, "p1", "reword", text="Said better.") == 200
    assert [p.text for p in now(noted).points] == ["Point 0.", "Said better.", "Point 2."]
    text = browser.get("/notes/one").text
    assert "Said better." in text
    assert "spoken 1" in text
    assert "Asha" in text


def test_retype_move_merge_and_hide(noted: Course, browser: TestClient) -> None:
    assert rule(browser, "p0", "retype", kind="generals") == 200
    assert now(noted).points[0].kind == "generals"
    assert rule(browser, "p2", "up", 1) == 200
    assert [p.key for p in now(noted).points] == ["p0", "p2", "p1"]
    assert rule(browser, "p2", "up", 2) == 200
    assert [p.key for p in now(noted).points] == ["p2", "p0", "p1"]
    assert rule(browser, "p2", "down", 3) == 200
    assert [p.key for p in now(noted).points] == ["p0", "p2", "p1"]
    assert rule(browser, "p1", "merge", 4) == 200
    assert [p.key for p in now(noted).points] == ["p0", "p2"]
    assert rule(browser, "p0", "hide", 5) == 200
    assert [p.key for p in now(noted).points] == ["p2"]
    assert "Bring back" in browser.get("/notes/one").text
    browser.post("/undo", data={"verdict": "6", "back": "/notes/one"})
    assert [p.key for p in now(noted).points] == ["p0", "p2"]


def test_fields_of_a_case(noted: Course, browser: TestClient) -> None:
    assert rule(browser, "c0/age/1600", "reword", text="about forty") == 200
    assert now(noted).vignettes[0].findings[0].text == "about forty"
    assert rule(browser, "c0/age/1600", "hide", 1) == 200
    assert [one.label for one in now(noted).vignettes[0].findings] == ["outcome", "outcome"]
    assert "age" in now(noted).vignettes[0].not_stated


def test_fields_of_a_case_move_and_join(noted: Course, browser: TestClient) -> None:
    def texts() -> list[str]:
        return [finding.text for finding in now(noted).vignettes[0].findings]

    assert rule(browser, "c0/outcome/2800", "up") == 200
    assert texts() == ["forty", "slept well", "better"]
    assert rule(browser, "c0/outcome/2400", "merge", seen=1) == 200
    assert texts() == ["forty", "better; slept well"]
    assert rule(browser, "c0/outcome/2800", "merge", seen=9) == 400  # into an age: the outcome would go unstated
    assert rule(browser, "c0/age/1600", "down", seen=9) == 200
    assert texts() == ["better; slept well", "forty"]
    for verdict in ("3", "2", "1"):
        browser.post("/undo", data={"verdict": verdict})
    assert texts() == ["forty", "better", "slept well"]


@pytest.mark.parametrize(
    ("key", "ruling", "fields"),
    [("p0", "up", {}), ("p2", "down", {}), ("p0", "merge", {}), ("p0", "retype", {"kind": "nonsense"}), ("p0", "reword", {"text": " "}),
     ("p0", "reword", {"text": "x" * 4001}), ("gone", "hide", {}), ("p0", "burn", {}), ("c0", "retype", {"kind": "mind"})],
)  # fmt: skip
def test_what_cannot_be_done_changes_nothing(
    noted: Course, browser: TestClient, key: str, ruling: str, fields: dict[str, str]
) -> None:
    before = now(noted)
    assert rule(browser, key, ruling, **fields) == 400
    assert now(noted) == before


def test_conflict_and_history(noted: Course, browser: TestClient) -> None:
    assert rule(browser, "p0", "reword", text="mine") == 200
    assert rule(browser, "p0", "hide") == 409
    assert now(noted).points[0].text == "mine"
    browser.post("/undo", data={"verdict": "1", "back": "/history"})
    text = browser.get("/history").text
    assert "taken back" in text
    assert "mine" in text


def test_the_transcript_around_a_note_is_as_heard(noted: Course, browser: TestClient) -> None:
    text = browser.get("/notes/one/around?start=5&end=8").text
    assert "<mark>Colley by Chromacum</mark>" in text
    assert browser.get("/notes/one/around?start=999999&end=1").status_code == 200
    assert browser.get("/notes/gone").status_code >= 400


def test_the_label_is_set_for_good_and_conflicts_are_told(noted: Course, browser: TestClient) -> None:
    data = {"title": "Kali evening", "date": "2026-04-06", "part": "1", "parts": "2", "revision": "1"}
    assert browser.post("/notes/one/label", data=data).status_code == 200
    with noted.open_store() as store:
        lecture, revision = store.lecture("one")
    assert (lecture.title, lecture.date, lecture.part, lecture.parts) == ("Kali evening", "2026-04-06", 1, 2)
    assert set(lecture.set_by_person) == {"title", "date", "part", "parts"}
    assert browser.post("/notes/one/label", data=data | {"title": "Late"}).status_code == 409
    for wrong in (
        {"title": ""},
        {"date": "6 April"},
        {"part": "0"},
        {"part": "3"},
        {"parts": "x"},
        {"title": "x" * 201},
    ):
        assert browser.post("/notes/one/label", data=data | {"revision": str(revision)} | wrong).status_code == 400


def test_the_history_tells_who_did_what_in_plain_words_and_takes_it_back(course: Course, browser: TestClient) -> None:
    browser.post("/words", data={"lecture": "one", "form": "sulfer", "seen": "0", "ruling": "reject"})
    browser.post("/names", data={"ruling_0": "hide", "said_0": "Rohan", "seen": "0"})
    text = browser.get("/history").text
    assert "“sulfer” kept as heard" in text
    assert "the name “Rohan” hidden" in text
    assert "Lecture one" in text
    assert "whole course" in text
    assert re.search(r"Asha, \d{1,2} [A-Z][a-z]+ 20\d\d, \d\d:\d\d", text)
    browser.post("/undo", data={"verdict": "1", "back": "/history"})
    text = browser.get("/history").text
    assert "taken back" in text
    assert text.count("Undo") == 1
