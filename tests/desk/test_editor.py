"""The editor's pages: unknown words, the effect of a change, labels of the course's own layer."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from notesmith.course import Course
from notesmith.desk.editor import occurrences, spoken_texts, times_heard, unknown_words
from notesmith.desk.queue import form_ranges
from notesmith.transcript import sounding

from .conftest import transcript


def test_unknown_words_are_counted_over_sessions(course: Course) -> None:
    with course.open_store() as store:
        forms = {one.form: one.times for one in unknown_words(store, course.load_vocabulary(), store.verdicts())}
    assert "rohan" not in forms  # a name
    assert "sulfer" not in forms  # corrected
    assert "discharges" not in forms  # plain English


def test_the_effect_is_told_before_it_is_made(course: Course, browser: TestClient) -> None:
    with course.open_store() as store:
        assert len(list(occurrences(store, "colley by chromacum"))) == 3
    text = browser.get("/terms/heard?form=Colley, by Chromacum").text
    assert "changes 3 places in 2 sessions" in text
    assert browser.get("/terms/heard?form=").status_code == 400
    assert "were not heard" in browser.get("/terms/heard?form=zebra").text


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.lists(st.sampled_from(["a", "b", "A,", "b-a", "it's", "—"]), min_size=1, max_size=7), max_size=5),
    st.lists(st.sampled_from(["a", "b", "its"]), min_size=1, max_size=3),
)
def test_counting_agrees_with_looking(lines: list[list[str]], wanted: list[str]) -> None:
    """The fast count of a form equals the places found word by word, also where a form follows itself."""
    form = " ".join(wanted)
    heard = transcript(tuple(" ".join(line) for line in lines)) if lines else transcript(("x",))
    plain = [[sounding(word.text) for word in one.words] for one in heard.segments]
    slowly = sum(
        " ".join(filter(None, line[start:end])) == form and bool(line[start]) and bool(line[end - 1])
        for line in plain for start in range(len(line)) for end in range(start + 1, len(line) + 1)
    )  # fmt: skip
    assert len(form_ranges(heard, form)) == slowly


def test_counts_are_those_of_the_places(course: Course) -> None:
    with course.open_store() as store:
        texts = spoken_texts(store)
        for form in ("colley by chromacum", "sulfer", "in", "small spots in", "by chromacum and its", "zebra"):
            places = list(occurrences(store, form))
            assert sum(times_heard(texts, form).values()) == len(places), form
            assert set(times_heard(texts, form)) == {one.lecture.id for one in places}


def test_a_label_goes_into_the_course_layer_and_keeps_the_rest(course: Course, browser: TestClient) -> None:
    before = course.load_vocabulary()["remedy/sulphur"]
    answer = browser.post("/terms/label", data={"id": "remedy/sulphur", "label": "Zulfur zz", "kind": "hidden"})
    assert answer.status_code == 200
    after = course.load_vocabulary()["remedy/sulphur"]
    assert after.hidden_labels == (*before.hidden_labels, "Zulfur zz")
    assert (after.alt_labels, after.facts) == (before.alt_labels, before.facts)


def test_a_label_of_another_term_is_refused(course: Course, browser: TestClient) -> None:
    for label, kind in (
        ("Thuja occidentalis", "alt"),
        ("Sulphur", "alt"),
        ("", "alt"),
        ("a|b", "alt"),
        ("new one", "x"),
    ):
        assert (
            browser.post("/terms/label", data={"id": "remedy/sulphur", "label": label, "kind": kind}).status_code == 400
        )
    assert browser.get("/terms/one?id=remedy/none").status_code == 404


def test_browse_and_term(browser: TestClient) -> None:
    assert "/terms/one?id=remedy/sulphur" in browser.get("/terms?q=sulphur").text
    text = browser.get("/terms/one?id=remedy/kali-bichromicum").text
    assert "Colley by Chromacum" in text
