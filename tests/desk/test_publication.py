"""Names, potencies, the checklist and publishing."""

from __future__ import annotations

import msgspec
import pytest
from starlette.testclient import TestClient

from notesmith.annotations import Corrections, Extraction, Mention, PersonMention, Prescription
from notesmith.course import Course
from notesmith.desk.names import names, rows
from notesmith.desk.potencies import open_potencies
from notesmith.lecture import Lecture
from notesmith.store.jobs import jobs
from notesmith.transcript import WordRange
from notesmith.verdicts import PersonVerdict, WordVerdict

from .conftest import transcript


@pytest.fixture
def doubtful(course: Course) -> Course:
    """The same course with one prescription whose potency is in doubt."""
    with course.open_store() as store:
        extraction = store.result("one", "extraction", Extraction)
        heard = store.transcripts("a" * 64)[0].transcript
        assert extraction is not None
        at = next(i for i, word in enumerate(heard.words) if word.text == "thirty")
        words = WordRange(at - 2, at + 3)
        given = Prescription(
            "remedy/sulphur", "30C", "thirty see", None, None, None, words, heard.time(words), doubtful=True
        )
        store.put_result("one", "extraction", "k", msgspec.structs.replace(extraction, prescriptions=(given,)))
    return course


def test_open_names_block_and_a_ruling_settles_them(course: Course, browser: TestClient) -> None:
    assert "1 name is undecided" in browser.get("/publish").text
    text = browser.get("/names").text
    assert "<mark>Rohan</mark>" in text
    browser.post("/names", data={"ruling_0": "hide", "said_0": "Rohan", "seen": "0"})
    with course.open_store() as store:
        assert [e.verdict for e in store.verdicts()] == [PersonVerdict("hide", "Rohan")]
        assert [n.open for n in names(store, store.verdicts())] == [False]
    assert "No name is undecided" in browser.get("/publish").text


def test_replacement_is_needed_and_bounded(course: Course, browser: TestClient) -> None:
    for replacement in ("", "x" * 81):
        data = {"ruling_0": "replace", "said_0": "Rohan", "seen": "0", "value_0": replacement}
        assert browser.post("/names", data=data).status_code == 400
    assert browser.post("/names", data={"ruling_0": "burn", "said_0": "Rohan", "seen": "0"}).status_code == 400
    data = {"ruling_0": "replace", "said_0": "Rohan", "seen": "0", "value_0": "a colleague"}
    browser.post("/names", data=data)
    with course.open_store() as store:
        assert names(store, store.verdicts())[0].printed == "a colleague"


def test_two_tabs_on_one_name_conflict(browser: TestClient) -> None:
    assert browser.post("/names", data={"ruling_0": "hide", "said_0": "Rohan", "seen": "0"}).status_code == 200
    assert browser.post("/names", data={"ruling_0": "show", "said_0": "Rohan", "seen": "0"}).status_code == 409


def test_names_are_confirmed_together_and_taken_back_together(course: Course, browser: TestClient) -> None:
    data = {"seen": "0", "said_0": "Rohan", "ruling_0": "hide", "said_1": "Meera", "ruling_1": "show"}
    answer = browser.post("/names", data=data)
    assert "2 decisions" in answer.text
    assert browser.post("/undo", data={"verdict": "1,2", "back": "/names"}).status_code == 200
    with course.open_store() as store:
        assert store.verdicts() == ()
    assert browser.post("/undo", data={"verdict": "1,2", "back": "/names"}).status_code == 409


def test_what_another_decided_is_left_and_the_rest_is_written(course: Course, browser: TestClient) -> None:
    with course.open_store() as store:
        store.add_verdict(PersonVerdict("show", "Rohan"), who="Mirela")
    data = {"seen": "0", "said_0": "Rohan", "ruling_0": "hide", "said_1": "Meera", "ruling_1": "hide"}
    answer = browser.post("/names", data=data)
    assert answer.status_code == 409
    assert "1 decisions were written, 1 not" in answer.text
    assert "Mirela decided on this" in answer.text
    with course.open_store() as store:
        assert [e.verdict for e in store.verdicts()] == [PersonVerdict("show", "Rohan"), PersonVerdict("hide", "Meera")]


def test_one_senseless_choice_and_nothing_is_written(course: Course, browser: TestClient) -> None:
    for bad in ({"ruling_1": "replace"}, {"ruling_1": "term"}, {"ruling_1": "term", "concept_1": "remedy/none"}, {}):
        data = {"seen": "0", "said_0": "Rohan", "ruling_0": "hide", "said_1": "Meera"} | bad
        assert browser.post("/names", data=data).status_code == 400
    assert browser.post("/names", data={"seen": "0"}).status_code == 400
    with course.open_store() as store:
        assert store.verdicts(with_undone=True) == ()


def test_a_name_can_be_a_misheard_term(course: Course, browser: TestClient) -> None:
    data = {"seen": "0", "said_0": "Rohan", "ruling_0": "term", "concept_0": "remedy/thuja-occidentalis",
            "lecture_0": "one"}  # fmt: skip
    assert browser.post("/names", data=data).status_code == 200
    with course.open_store() as store:
        shown, put = [e.verdict for e in store.verdicts()]
        assert not any(n.open for n in names(store, store.verdicts()))
    assert shown == PersonVerdict("show", "Rohan")
    assert put == WordVerdict("accept", "rohan", "remedy/thuja-occidentalis", "Thuja occidentalis", "one")


def test_a_word_settled_as_a_term_is_no_name_any_more(course: Course, browser: TestClient) -> None:
    """Even before the decision is applied, so that nobody is asked twice."""
    form = {"lecture": "one", "form": "rohan", "seen": "0"}
    browser.post("/words/other", data=form | {"concept_id": "remedy/thuja-occidentalis"})
    with course.open_store() as store:
        assert not any(n.open for n in names(store, store.verdicts()))
        store.undo_verdict(1)
        assert any(n.open for n in names(store, store.verdicts()))


def test_the_way_leads_from_words_to_names_to_the_checklist(course: Course, browser: TestClient) -> None:
    assert browser.get("/next", follow_redirects=False).headers["location"] == "/words"
    for form in ("colley by chromacum", "sulfer", "thirty see"):
        data = {"lecture": "one", "form": form, "seen": "0", "ruling": "never"}
        answer = browser.post("/words", data=data)
    assert answer.url.path == "/names"  # after the last word
    answer = browser.post("/names", data={"seen": "9", "said_0": "Rohan", "ruling_0": "hide"})
    assert answer.url.path == "/publish"
    assert browser.get("/next?did=x").status_code == 400


def test_a_doubtful_potency_waits_and_can_be_confirmed_at_its_place(doubtful: Course, browser: TestClient) -> None:
    with doubtful.open_store() as store:
        (item,) = open_potencies(store, ())
    assert item.heard == "thirty see once." or item.heard.startswith("thirty see")
    data = {"lecture": "one", "heard": item.heard, "at_ms": str(item.at_ms), "seen": "0"}
    browser.post("/potencies", data=data)
    with doubtful.open_store() as store:
        assert open_potencies(store, store.verdicts()) == ()


def test_a_potency_settled_among_the_words_is_not_asked_again(doubtful: Course, browser: TestClient) -> None:
    form = {"lecture": "one", "form": "thirty see", "seen": "0", "restored": "30C", "concept_id": "potency/30c"}
    browser.post("/words", data=form | {"ruling": "reject"})  # not this potency: which one it was is still open
    with doubtful.open_store() as store:
        assert len(open_potencies(store, store.verdicts())) == 1
        store.undo_verdict(1)
    browser.post("/words", data=form | {"ruling": "accept", "seen": "1"})
    with doubtful.open_store() as store:
        assert open_potencies(store, store.verdicts()) == ()


def test_a_remedy_settled_at_the_place_leaves_the_potency_open(doubtful: Course, browser: TestClient) -> None:
    with doubtful.open_store() as store:
        (item,) = open_potencies(store, ())
    form = {"lecture": "one", "form": "i gave", "seen": "0", "ruling": "accept", "at_ms": str(item.at_ms - 500)}
    browser.post("/words", data=form | {"restored": "Sulphur", "concept_id": "remedy/sulphur"})
    with doubtful.open_store() as store:
        assert open_potencies(store, store.verdicts()) == (item,)


def test_another_potency_must_be_one(doubtful: Course, browser: TestClient) -> None:
    with doubtful.open_store() as store:
        (item,) = open_potencies(store, ())
    data = {"lecture": "one", "heard": item.heard, "at_ms": str(item.at_ms), "seen": "0"}
    assert browser.post("/potencies", data=data | {"potency": "a lot"}).status_code == 400
    browser.post("/potencies", data=data | {"potency": "200C"})
    with doubtful.open_store() as store:
        verdict = store.verdicts()[0].verdict
    assert isinstance(verdict, WordVerdict)
    assert (verdict.concept_id, verdict.restored, verdict.start_ms) == ("potency/200c", "200C", item.at_ms)


def test_publishing_waits_for_what_blocks(course: Course, browser: TestClient) -> None:
    answer = browser.post("/publish")
    assert answer.status_code == 409
    assert "1 name is undecided" in answer.text
    with course.open_store() as store:
        assert not [j for j in jobs(store) if j.body.kind == "publish"]
    browser.post("/names", data={"ruling_0": "hide", "said_0": "Rohan", "seen": "0"})
    browser.post(
        "/words",
        data={"lecture": "one", "form": "thirty see", "seen": "0", "ruling": "accept", "restored": "30C",
              "concept_id": "potency/30c"},
    )  # fmt: skip
    assert browser.post("/publish").status_code == 200
    with course.open_store() as store:
        assert [j.state for j in jobs(store) if j.body.kind == "publish"] == ["waiting"]


@pytest.mark.parametrize(("at", "name"), [("/preview", ".preview"), ("/site", "site")])
def test_what_was_built_is_shown_and_leads_nowhere_else(
    course: Course, browser: TestClient, stranger: TestClient, at: str, name: str
) -> None:
    assert browser.get(f"{at}/index.html").status_code == 404
    folder = course.folder / name
    folder.mkdir()
    (folder / "index.html").write_text("<p>built</p>")
    (folder / "out").symlink_to("/etc")
    answer = browser.get(f"{at}/index.html")
    assert answer.text == "<p>built</p>"
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert stranger.get(f"{at}/index.html").status_code == 403
    for path in ("/../course.toml", "/%2e%2e/course.toml", "/..%2fcourse.db", "/out/passwd"):
        assert browser.get(at + path).status_code in (404, 405)


def test_a_name_inside_a_settled_term_is_not_asked_again_but_elsewhere_it_is(
    course: Course, browser: TestClient
) -> None:
    """The ruling covers the place; the same word anywhere else may be a person, and waits."""
    with course.open_store() as store:
        heard = store.transcripts("a" * 64)[0].transcript
        at = next(i for i, word in enumerate(heard.words) if word.text == "sulfer")
        found = store.result("one", "extraction", Extraction)
        assert found is not None
        inside, outside = (
            PersonMention(f"q{n}", "student", text, WordRange(n, n + 1), heard.words[n].time, "[name]", doubtful=True)
            for n, text in ((at, "sulfer"), (0, "sulfer"))
        )
        store.put_result("one", "extraction", "k", msgspec.structs.replace(found, persons=(inside,)))
        with_both = msgspec.structs.replace(found, persons=(inside, outside))
        form = {"lecture": "one", "form": "with sulfer here", "seen": "0", "ruling": "accept", "restored": "Sulphur"}
        assert any(one.open for one in names(store, store.verdicts()))
        assert browser.post("/words", data=form | {"concept_id": "remedy/sulphur"}).status_code == 200
        assert not any(one.open for one in names(store, store.verdicts()))
        store.put_result("one", "extraction", "k", with_both)
        assert any(one.open for one in names(store, store.verdicts()))


def test_a_potency_asked_among_the_words_is_counted_once(doubtful: Course, browser: TestClient) -> None:
    assert "1 potency is undecided" in browser.get("/publish").text


@pytest.fixture
def misheard(course: Course) -> Course:
    """A third lecture, in which terms came out as names: two in one sentence, and one with a word beside it."""
    heard = transcript(
        (
            "How long did it last? Hew is Jolue, let me underline it.",
            "For comparison, Sambulsar Latu is used more for the prostate.",
            "The prostate of old men is better with Sabal serrulata.",
        ),
        "c" * 64,
    )
    persons = tuple(
        PersonMention(f"p{at}", "patient", said, WordRange(at, at + 1), heard.words[at].time, "[name]", doubtful=True)
        for at, said in ((n, word.text.strip(",")) for n, word in enumerate(heard.words))
        if said in ("Hew", "Jolue", "Latu")
    )
    with course.open_store() as store:
        store.add_lecture(Lecture("three", "Lecture three", "c" * 64))
        store.put_transcript("imported", heard)
        store.put_result("three", "corrections", "k", Corrections(heard.digest))
        spoken = Mention("remedy/sabal-serrulata", WordRange(0, 1), heard.words[0].time, "Sabal serrulata")
        store.put_result("three", "extraction", "k", Extraction(heard.digest, mentions=(spoken,), persons=persons))
    return course


def test_names_in_one_sentence_are_shown_and_heard_once(misheard: Course) -> None:
    with misheard.open_store() as store:
        waiting = [one for one in names(store, store.verdicts()) if one.lecture_id == "three"]
        hew, jolue, latu = rows(store, misheard.load_vocabulary(), waiting)
    assert [one.item.said for one in (hew, jolue, latu)] == ["Hew", "Jolue", "Latu"]
    assert (hew.before, hew.after) == ("long did it last?", "is Jolue, let me underline it.")
    assert (jolue.before, jolue.after, jolue.follows) == ("", "", True)
    assert hew.place.near.end_ms >= jolue.place.span.end_ms
    assert not hew.follows
    assert not latu.follows


def test_a_term_heard_as_a_name_and_the_odd_word_beside_it_is_settled_at_once(
    misheard: Course, browser: TestClient
) -> None:
    """Sabal serrulata came out as two words of no language, one of them taken for a name."""
    with misheard.open_store() as store:
        waiting = [one for one in names(store, store.verdicts()) if one.said in ("Latu", "Hew")]
        by_name = {one.item.said: one for one in rows(store, misheard.load_vocabulary(), waiting)}
    assert (by_name["Latu"].meant, by_name["Latu"].terms[0][0]) == ("Sambulsar Latu", "remedy/sabal-serrulata")
    assert by_name["Hew"].meant == "Hew"  # the words beside it are English
    assert "“Sambulsar Latu” sounds like" in browser.get("/names").text
    row = {"said_0": "Latu", "ruling_0": "term", "concept_0": "remedy/sabal-serrulata", "lecture_0": "three"}
    assert browser.post("/names", data={**row, "seen": "0", "heard_0": "Sambulsar"}).status_code == 400
    assert browser.post("/names", data={**row, "seen": "0", "heard_0": "Latu " + "x " * 8}).status_code == 400
    assert browser.post("/names", data={**row, "seen": "0", "heard_0": "Sambulsar Latu"}).status_code == 200
    with misheard.open_store() as store:
        verdict = store.verdicts()[-1].verdict
    assert isinstance(verdict, WordVerdict)
    assert (verdict.heard, verdict.restored) == ("sambulsar latu", "Sabal serrulata")
