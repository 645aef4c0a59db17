"""The editor's pages: unknown words, the effect of a change, labels of the course's own layer."""

from __future__ import annotations

import msgspec
from hypothesis import given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from notesmith.annotations import Corrections, Extraction, Mention
from notesmith.course import Course
from notesmith.desk.editor import occurrences, spelt_differently, spoken_texts, times_heard, unknown_words
from notesmith.desk.queue import form_ranges
from notesmith.library import digest
from notesmith.transcript import TimeSpan, WordRange, sounding

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
    assert "see how Kali bichromicum was heard" in browser.get("/terms/heard?form=Kali bichromicum").text


def test_a_ruling_made_from_the_places_can_be_taken_back_at_once(course: Course, browser: TestClient) -> None:
    data = {"form": "pain sits", "lecture": "one", "seen": "0", "back": "/terms", "ruling": "never"}
    page = browser.post("/words", data=data)
    assert "“pain sits” kept as heard, everywhere" in page.text
    assert 'name="verdict" value="1"' in page.text
    assert "Undo" not in browser.get("/terms").text


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


def edit_of(course: Course, concept_id: str, **fields: str) -> dict[str, str]:
    """The form of a term's page as the page fills it in, and what is changed of it."""
    concept = course.load_vocabulary()[concept_id]
    names = "\n".join((*concept.alt_labels, *concept.ambiguous_labels))
    misheard = "\n".join(concept.hidden_labels)
    return {
        "id": concept_id, "state": digest(concept), "preferred": concept.pref_label, "names": names,
        "misheard": misheard,
    } | fields  # fmt: skip


def test_a_term_can_be_set_right_after_it_was_adopted(course: Course, browser: TestClient) -> None:
    data = {"lecture": "one", "form": "sulfer", "seen": "0", "label": "Zonkium testnas", "scheme": "remedy"}
    browser.post("/words/new", data=data)
    concept_id = course.load_vocabulary().find("Zonkium testnas")[0].id
    form = edit_of(course, concept_id, preferred=" Zonkium  testans ", names="Zonk\n\nZonk", misheard="sonk yum")
    assert "Zonkium testans" in browser.post("/terms/edit", data=form).text
    after = course.load_vocabulary()[concept_id]
    assert (after.pref_label, after.alt_labels, after.hidden_labels) == ("Zonkium testans", ("Zonk",), ("sonk yum",))
    assert course.load_vocabulary().find("Zonkium testnas") == ()
    assert browser.post("/terms/edit", data=form).status_code == 409  # the page showed what was there before
    assert course.load_vocabulary()[concept_id] == after


def test_how_many_places_a_change_of_a_term_touches_is_told(course: Course, browser: TestClient) -> None:
    assert "This term was restored at" not in browser.get("/terms/one?id=remedy/kali-bichromicum").text
    with course.open_store() as store:
        for name in ("one", "two"):
            found = store.result(name, "corrections", Corrections)
            assert found is not None
            items = tuple(msgspec.structs.replace(one, state="applied") for one in found.items)
            store.put_result(name, "corrections", "k", msgspec.structs.replace(found, items=items))
    text = browser.get("/terms/one?id=remedy/kali-bichromicum").text
    assert "This term was restored at 3 places in 2 sessions" in text


def test_keeping_a_packaged_term_as_it_is_changes_nothing(course: Course, browser: TestClient) -> None:
    for concept_id in ("remedy/sulphur", "remedy/kali-bichromicum", "remedy/thuja-occidentalis"):
        before = course.load_vocabulary()[concept_id]
        assert browser.post("/terms/edit", data=edit_of(course, concept_id)).status_code == 200
        assert course.load_vocabulary()[concept_id] == before


def test_labels_that_cannot_be_are_refused_and_nothing_is_written(course: Course, browser: TestClient) -> None:
    for wrong in (
        {"preferred": ""}, {"preferred": "Thuja occidentalis"}, {"names": "a|b"}, {"names": "Thuja occidentalis"},
        {"misheard": "Sulphur"}, {"names": "x" * 200}, {"names": "\n".join(f"n{i}" for i in range(200))},
    ):  # fmt: skip
        form = edit_of(course, "remedy/sulphur", **wrong)
        assert browser.post("/terms/edit", data=form).status_code == 400, wrong
    assert list(course.vocabulary_dir.iterdir()) == []


def test_how_often_a_mishearing_was_heard_is_told_before_it_is_added(browser: TestClient) -> None:
    assert "was heard 3 times in 2 sessions" in browser.get("/terms/effect?label=Colley, by chromacum").text
    assert "in no session" in browser.get("/terms/effect?label=zebra").text
    assert browser.get("/terms/effect").status_code == 200


def test_terms_printed_in_two_ways_are_told_over_the_sessions(course: Course, browser: TestClient) -> None:
    assert "printed in one way" in browser.get("/terms/spellings").text
    span, words = TimeSpan(0, 1), WordRange(0, 1)
    said = {"one": ("Kali bichromicum", "kali bichromicum,", "Sulphur"), "two": ("Kali bich", "Kali bichromicum")}
    with course.open_store() as store:
        for name, texts in said.items():
            ids = ["remedy/sulphur" if text == "Sulphur" else "remedy/kali-bichromicum" for text in texts]
            mentions = tuple(Mention(one, words, span, text) for one, text in zip(ids, texts, strict=True))
            found = store.result(name, "extraction", Extraction)
            assert found is not None
            store.put_result(name, "extraction", "k", msgspec.structs.replace(found, mentions=mentions))
        extractions = {name: store.result(name, "extraction", Extraction) for name in said}
    (term,) = spelt_differently(course.load_vocabulary(), {name: one for name, one in extractions.items() if one})
    assert term.concept_id == "remedy/kali-bichromicum"
    assert [(one.text, one.times, one.lectures) for one in term.variants] == [
        ("Kali bichromicum", 3, 2), ("Kali bich", 1, 1),
    ]  # fmt: skip
    assert "3 times in 2 lectures" in browser.get("/terms/spellings").text
