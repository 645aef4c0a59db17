"""A course as the publishing side sees it: what a ruling makes anew."""

from __future__ import annotations

import msgspec

from notesmith import pipeline
from notesmith.course import create_course
from notesmith.lecture import CourseSettings
from notesmith.verdicts import PersonVerdict
from notesmith.vocabulary import load_vocabulary
from tests.site.library_fixture import kali_session, lycopodium_session, thuja_session


def test_a_ruling_on_a_name_touches_only_the_lectures_it_is_spoken_in(tmp_path):
    vocabulary = load_vocabulary()
    course = create_course(tmp_path / "course", CourseSettings(title="Names", profile="testing"))
    contents = [kali_session(), thuja_session(), lycopodium_session()]
    named = [c for c in contents if any(p.said == "Farrukh" for p in c.extraction.persons)]
    assert len(named) == 1
    with course.open_store() as store:
        for content in contents:
            store.add_lecture(content.lecture)
            store.put_transcript(pipeline.IMPORTED, content.transcript)
            store.put_result(content.lecture.id, "corrections", "key", content.corrections)
            store.put_result(content.lecture.id, "extraction", "key", content.extraction)
        assert pipeline.publish(course, store, vocabulary).lectures_read == 3
        pages = {p: p.read_text("utf-8") for p in course.site.glob("sessions/*.html")}
        assert not any("Farrukh" in text for text in pages.values())

        shown = store.add_verdict(PersonVerdict("show", "Farrukh"), who="test")
        assert pipeline.publish(course, store, vocabulary).lectures_read == 1
        assert "Farrukh" in (course.site / f"sessions/{named[0].lecture.id}.html").read_text("utf-8")
        assert set(store.result_keys(pipeline.NAMES)) == {c.lecture.id for c in contents}

        store.add_verdict(PersonVerdict("hide", "Nobody here"), who="test")
        assert pipeline.publish(course, store, vocabulary).lectures_read == 0

        store.undo_verdict(shown.id)
        assert pipeline.publish(course, store, vocabulary).lectures_read == 1
        assert all(p.read_text("utf-8") == text for p, text in pages.items())

        # What is found anew in a lecture may be another name.
        renamed = [msgspec.structs.replace(p, said="Nobody here") for p in named[0].extraction.persons]
        other = msgspec.structs.replace(named[0].extraction, persons=tuple(renamed))
        store.put_result(named[0].lecture.id, "extraction", "another", other)
        before = {e.lecture.id: e.digest for e in pipeline.StoreLibrary(course, store, vocabulary).entries()}
        store.add_verdict(PersonVerdict("show", "Nobody, here!"), who="test")
        after = {e.lecture.id: e.digest for e in pipeline.StoreLibrary(course, store, vocabulary).entries()}
        assert [i for i in before if before[i] != after[i]] == [named[0].lecture.id]
