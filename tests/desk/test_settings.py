"""The settings page and the coverage page: what is set is in the file a person reads; what is wrong changes nothing."""

from __future__ import annotations

import re
import tomllib

import msgspec
import pytest
from starlette.testclient import TestClient

from notesmith.annotations import Corrections, Extraction, TeachingPoint, TextbookReading
from notesmith.course import Course, open_course
from notesmith.store.jobs import JobBody, add_job, change_job, jobs
from notesmith.transcript import WordRange

FORM = {"title": "Evening course", "lecturer": "Dr Oduya", "aliases": "Mirela, Doctor", "rights": "", "audio": "yes"}


def revision(browser: TestClient) -> str:
    found = re.search(r'name="revision" value="(\w+)"', browser.get("/settings").text)
    assert found is not None
    return found[1]


def post(browser: TestClient, path: str = "/settings", **changed: str) -> int:
    form = (FORM if path == "/settings" else {}) | {"revision": revision(browser)} | changed
    return browser.post(path, data=form).status_code


def test_what_is_set_is_in_the_file_with_its_comments(course: Course, browser: TestClient) -> None:
    course.settings_path.write_text("# my own remark\n" + course.settings_path.read_text())
    assert post(browser, title="Monday course", address="https://example.org/c") == 200
    text = course.settings_path.read_text()
    values = tomllib.loads(text)
    assert text.startswith("# my own remark")
    assert (values["title"], values["lecturer"], values["aliases"]) == (
        "Monday course",
        "Dr Oduya",
        ["Mirela", "Doctor"],
    )
    assert values["publish"] == {"audio": True, "transcript": False, "base_url": "https://example.org/c"}
    assert values["profile"] == course.settings.profile  # what the form does not name stays
    page = browser.get("/settings").text
    assert "Monday course" in page  # this desk goes on with the new settings
    assert post(browser, title="Monday course", address="") == 200
    assert open_course(course.folder).settings.publish.base_url is None


def test_names_of_the_lecturer_make_the_notes_anew_and_a_title_does_not(course: Course, browser: TestClient) -> None:
    with course.open_store() as store:
        assert post(browser, lecturer=course.settings.lecturer, aliases="", title="Other") == 200
        assert [one.body.kind for one in jobs(store)] == []
        assert post(browser, aliases="Mirela") == 200
        assert [one.body.kind for one in jobs(store)] == ["refresh"]


@pytest.mark.parametrize(
    "wrong",
    [
        {"title": " "}, {"title": "x" * 201}, {"lecturer": ""}, {"aliases": ",".join(f"n{n}" for n in range(21))},
        {"address": "javascript:alert(1)"}, {"address": "http://"}, {"address": "http://[x"}, {"address": "no address"},
    ],
)  # fmt: skip
def test_what_is_wrong_is_refused_in_words_and_changes_nothing(
    course: Course, browser: TestClient, wrong: dict[str, str]
) -> None:
    before = course.settings_path.read_bytes()
    assert post(browser, **wrong) == 400
    assert course.settings_path.read_bytes() == before


def test_a_file_changed_meanwhile_is_not_overwritten(course: Course, browser: TestClient) -> None:
    seen = revision(browser)
    course.settings_path.write_text(course.settings_path.read_text().replace("Evening", "Morning"))
    assert post(browser, revision=seen) == 409
    assert open_course(course.folder).settings.title == "Morning course"
    assert post(browser, "/settings/text", revision=seen, name="a", text="b") == 409
    assert not (course.folder / "textbook" / "a.txt").exists()


def test_a_pasted_text_is_used_and_stays_inside(course: Course, browser: TestClient) -> None:
    assert post(browser, "/settings/text", name="../../Outline: one", text="First line\r\n\r\nSecond line") == 200
    assert (course.folder / "textbook" / "Outline one.txt").read_text() == "First line\n\nSecond line\n"
    opened = open_course(course.folder)
    assert opened.settings.textbooks == ("textbook/Outline one.txt",)
    assert opened.textbook_lines() == ("First line", "Second line")
    assert post(browser, "/settings/text", name="Outline one", text="x") == 400  # nothing is overwritten
    assert post(browser, "/settings/text", name="..", text="x") == 400
    assert post(browser, text_0="../../../etc/passwd") == 200  # only what the page offered can be chosen
    assert open_course(course.folder).settings.textbooks == ()
    assert post(browser, text_0="textbook/Outline one.txt") == 200
    assert open_course(course.folder).settings.textbooks == ("textbook/Outline one.txt",)


def test_a_text_that_cannot_be_read_is_told(course: Course, browser: TestClient) -> None:
    (course.folder / "textbook").mkdir()
    (course.folder / "textbook" / "old.txt").write_bytes(b"caf\xe9")
    assert post(browser, text_0="textbook/old.txt") == 400
    assert open_course(course.folder).settings.textbooks == ()


def test_another_way_of_listening_waits_for_what_is_under_way(course: Course, browser: TestClient) -> None:
    assert post(browser, "/settings/profile", profile="sloppy") == 400
    with course.open_store() as store:
        job = add_job(store, JobBody("add", "x.mp3"))
        change_job(store, job.id, "working", job.body, only_from=("waiting",))
        assert post(browser, "/settings/profile", profile="fast") == 409
        change_job(store, job.id, "finished", job.body, only_from=("working",))
    assert post(browser, "/settings/profile", profile="fast") == 200
    assert open_course(course.folder).settings.profile == "fast"


def test_coverage_tells_what_was_taught_and_what_was_not_read(course: Course, browser: TestClient) -> None:
    assert "Are your lectures read from a text of your own?" in browser.get("/coverage").text
    post(browser, "/settings/text", name="Outline", text="Thick ropy discharges.\nPain in small spots.")
    with course.open_store() as store:
        heard = store.transcripts("a" * 64)[0].transcript
        words = WordRange(9, 12)
        found = store.result("one", "extraction", Extraction)
        corrections = store.result("one", "corrections", Corrections)
        assert found is not None and corrections is not None
        point = TeachingPoint(
            "p0", "particulars", "Ropy.", "ropy", words, heard.time(words), remedy_id="remedy/kali-bichromicum"
        )
        changed = msgspec.structs.replace(found, points=(point,), remedy_ids=("remedy/kali-bichromicum",))
        store.put_result("one", "extraction", "k", changed)
        reading = TextbookReading(words, 1, "Thick ropy discharges.")
        store.put_result("one", "corrections", "k", msgspec.structs.replace(corrections, readings=(reading,)))
    text = browser.get("/coverage").text
    assert "1 of its 2 lines were read aloud" in text
    assert "Pain in small spots." in text
    assert "Thick ropy discharges." not in text
    assert "Kali bichromicum" in text
    assert "Not taught yet: essence, mind" in text
    assert "1 of 2 lines of the course&#39;s own text were not read aloud yet" in browser.get("/publish").text
    (course.folder / "textbook" / "Outline.txt").unlink()
    assert "the textbook cannot be read" in browser.get("/coverage").text
