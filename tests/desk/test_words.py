"""Settling words: order, scope of a decision, undo, conflict, new terms."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from starlette.testclient import TestClient

from notesmith.course import Course
from notesmith.desk.queue import word_queue
from notesmith.desk.suggest import alike, likely, suggest
from notesmith.verdicts import VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary


def queue_of(course: Course) -> list[tuple[str, str]]:
    with course.open_store() as store:
        return [(i.lecture_id, i.form) for i in word_queue(course.load_vocabulary(), store, store.verdicts())]


def verdicts_of(course: Course) -> tuple[VerdictEntry, ...]:
    with course.open_store() as store:
        return store.verdicts()


def form_of(seen: int, **fields: str) -> dict[str, str]:
    return {
        "lecture": "one", "form": "colley by chromacum", "seen": str(seen), "concept_id": "remedy/kali-bichromicum",
        "restored": "Kali bichromicum",
    } | fields  # fmt: skip


def test_potency_comes_first_then_doubt_times_frequency(course: Course) -> None:
    assert queue_of(course) == [
        ("one", "thirty see"), ("one", "colley by chromacum"), ("two", "colley by chromacum"), ("one", "sulfer"),
    ]  # fmt: skip


def test_page_shows_the_sentence_with_what_was_heard_marked(browser: TestClient) -> None:
    text = browser.get("/words?at=1").text
    assert "<mark>Colley by Chromacum</mark>" in text
    assert "Kali bichromicum" in text
    assert "sounds like Kali bichromicum" in text
    assert "Kali carbonicum" in text
    assert "2 times in this lecture" in text


def test_accept_holds_for_all_places_of_the_lecture_only(course: Course, browser: TestClient) -> None:
    assert browser.post("/words", data=form_of(0, ruling="accept")).status_code == 200
    assert [e.verdict for e in verdicts_of(course)] == [
        WordVerdict("accept", "colley by chromacum", "remedy/kali-bichromicum", "Kali bichromicum", "one", answers=True)
    ]
    assert ("one", "colley by chromacum") not in queue_of(course)
    assert ("two", "colley by chromacum") in queue_of(course)


def test_always_holds_for_the_course(course: Course, browser: TestClient) -> None:
    browser.post("/words", data=form_of(0, ruling="always"))
    assert [form for _, form in queue_of(course)] == ["thirty see", "sulfer"]
    assert verdicts_of(course)[0].verdict.lecture_id is None  # type: ignore[union-attr]
    assert verdicts_of(course)[0].who == "Asha"


def test_a_ruling_on_what_nobody_asked_about_is_no_answer(course: Course, browser: TestClient) -> None:
    browser.post("/words", data=form_of(0, ruling="never", form="ropy discharges"))
    assert not verdicts_of(course)[0].verdict.answers  # type: ignore[union-attr]


def test_undo_brings_the_word_back_and_keeps_the_log(course: Course, browser: TestClient) -> None:
    browser.post("/words", data=form_of(0, ruling="never"))
    before = queue_of(course)
    assert browser.post("/undo", data={"verdict": "1", "back": "/words"}).status_code == 200
    assert ("one", "colley by chromacum") in queue_of(course)
    assert ("one", "colley by chromacum") not in before
    with course.open_store() as store:
        assert [e.undone for e in store.verdicts(with_undone=True)] == [True]
    assert browser.post("/undo", data={"verdict": "1", "back": "/words"}).status_code == 409


def test_two_tabs_on_one_word_conflict_and_neither_is_lost(course: Course, browser: TestClient) -> None:
    assert browser.post("/words", data=form_of(0, ruling="accept")).status_code == 200
    late = browser.post("/words", data=form_of(0, ruling="reject"))
    assert late.status_code == 409
    assert "Asha decided on this" in late.text
    assert len(verdicts_of(course)) == 1


def test_two_tabs_on_different_words_do_not_conflict(course: Course, browser: TestClient) -> None:
    browser.post("/words", data=form_of(0, ruling="accept"))
    assert browser.post("/words", data=form_of(0, form="sulfer", ruling="reject")).status_code == 200
    assert len(verdicts_of(course)) == 2


def test_other_term_puts_the_chosen_one(course: Course, browser: TestClient) -> None:
    data = form_of(0, concept_id="remedy/sulphur", everywhere="yes", restored="no label of it")
    browser.post("/words/other", data=data)
    verdict = verdicts_of(course)[0].verdict
    assert isinstance(verdict, WordVerdict)
    assert (verdict.ruling, verdict.restored) == ("always", course.load_vocabulary().label("remedy/sulphur"))


def test_new_term_goes_into_the_course_layer(course: Course, browser: TestClient) -> None:
    answer = browser.post("/words/new", data=form_of(0, label="Zonkium testans", scheme="remedy"))
    assert answer.status_code == 200
    assert course.load_vocabulary().find("zonkium testans")[0].id == "remedy/zonkium-testans"
    verdict = verdicts_of(course)[0].verdict
    assert isinstance(verdict, WordVerdict)
    assert (verdict.ruling, verdict.concept_id) == ("always", "remedy/zonkium-testans")


def test_new_term_that_is_known_or_no_term_is_refused(course: Course, browser: TestClient) -> None:
    for label in ("Sulphur", "", "...", "a|b", "x" * 121):
        answer = browser.post("/words/new", data=form_of(0, label=label, scheme="remedy"))
        assert answer.status_code == 400, label
    assert verdicts_of(course) == ()
    assert not list(course.vocabulary_dir.glob("*.tsv"))


def test_suggestions_find_by_any_label_and_near_spellings(course: Course, browser: TestClient) -> None:
    vocabulary = course.load_vocabulary()
    assert suggest(vocabulary, "sulph")[0].concept_id.startswith("remedy/sulphur")
    assert "remedy/kali-bichromicum" in {c.concept_id for c in suggest(vocabulary, "kali bich")}
    assert "remedy/lycopodium-clavatum" in {c.concept_id for c in suggest(vocabulary, "licopodium")}
    assert suggest(vocabulary, "  ") == ()
    assert re.search(r"<button[^>]+value=\"remedy/sulphur", browser.get("/words/suggest?q=sulphur").text)


@pytest.mark.parametrize(
    ("typed", "meant"),
    [  # as heard in the sample recordings by the packaged model, against their true text
        ("Bowerick", "author/boericke"), ("Sora", "idea/psora"), ("Heperselfer", "remedy/hepar-sulphuris-calcareum"),
        ("two ya", "remedy/thuja-occidentalis"), ("lie copodium", "remedy/lycopodium-clavatum"),
        ("Myosums", "idea/miasm"), ("antizecotic", "idea/antisycotic"),
    ],
)  # fmt: skip
def test_suggestions_find_by_sound(packaged: Vocabulary, typed: str, meant: str) -> None:
    found = [choice.concept_id for choice in suggest(packaged, typed)]
    assert any(one.startswith(meant) for one in found[:3]), found
    assert list(alike(packaged, "  ")) == list(alike(packaged, "x")) == []


def test_what_was_heard_is_escaped(course: Course, browser: TestClient, seen: Callable[[], int]) -> None:
    with course.open_store() as store:
        store.add_verdict(WordVerdict("always", "<script>alert(1)</script>", None, "<b>x</b>"), who="<i>who</i>")
    text = browser.get("/words").text
    assert "<script>alert" not in text
    assert "<b>x</b>" not in text


def test_a_rival_is_put_with_the_label_that_was_offered(course: Course, browser: TestClient) -> None:
    data = form_of(0, concept_id="remedy/kali-carbonicum", restored="Kali carb")
    assert browser.post("/words/other", data=data).status_code == 200
    verdict = verdicts_of(course)[0].verdict
    assert isinstance(verdict, WordVerdict)
    assert (verdict.concept_id, verdict.restored) == ("remedy/kali-carbonicum", "Kali carb")


def test_a_term_can_be_put_at_one_place_only(course: Course, browser: TestClient) -> None:
    """A word can be right at one place and a garble at another."""
    text = browser.get("/words?at=1").text
    assert "heard 2 times in this lecture" in text
    at_ms = int(re.search(r'name="at_ms" value="(\d+)"', text)[1])  # type: ignore[index]
    browser.post("/words", data=form_of(0, ruling="accept", at_ms=str(at_ms)))
    verdict = verdicts_of(course)[0].verdict
    assert isinstance(verdict, WordVerdict)
    assert (verdict.lecture_id, verdict.start_ms) == ("one", at_ms)
    with course.open_store() as store:
        queue = word_queue(course.load_vocabulary(), store, store.verdicts())
    (left,) = [item for item in queue if (item.lecture_id, item.form) == ("one", "colley by chromacum")]
    assert len(left.corrections) == 1  # the other place still waits


def test_a_term_of_the_lecture_may_sound_farther_off(packaged: Vocabulary) -> None:
    """ "Hux" and "Rionion" are what the packaged model heard for Nux and Bryonia in lectures about them."""
    for heard, meant in (("Hux", "remedy/nux-vomica"), ("Rionion", "remedy/bryonia-alba")):
        spoken_of = frozenset({"remedy/nux-vomica", "remedy/bryonia-alba", "remedy/sulphur", "medical/headache"})
        assert likely(packaged, heard, spoken_of)[0][0] == meant
        assert meant not in [concept_id for concept_id, _ in likely(packaged, heard, frozenset())[:1]]
    assert likely(packaged, "x", frozenset()) == likely(packaged, " ", frozenset({"remedy/sulphur"})) == ()
