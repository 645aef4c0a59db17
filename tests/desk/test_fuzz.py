"""Random requests over every address: never a 5xx, and no change of state without the desk's own token."""

from __future__ import annotations

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.testclient import TestClient

from notesmith.course import Course
from notesmith.store.jobs import jobs

VALUES = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        ["0", "1", "-1", "9" * 15, "one", "p0", "accept", "always", "remedy/sulphur", "sulfer", "hide", "../x"]
    ),
)
GETS = {
    "/": (), "/jobs": (), "/words": ("at", "show"), "/words/suggest": ("q",), "/names": ("did",), "/potencies": ("at",), "/next": ("did",), "/notes": (),
    "/notes/one": (), "/notes/one/around": ("start", "end"), "/terms": ("q",), "/terms/one": ("id",),
    "/terms/heard": ("form",), "/publish": (), "/publish/state": (), "/history": (), "/clip/one.wav": ("start", "end"),
    "/uploads/1": (), "/preview/x": (), "/static/x": (), "/open": ("key",),
}  # fmt: skip
POSTS = {
    "/words": ("lecture", "form", "seen", "ruling", "restored", "at"),
    "/words/other": ("lecture", "form", "seen", "concept_id"), "/words/new": ("lecture", "form", "seen", "label", "scheme"),
    "/names": ("said_0", "ruling_0", "seen", "value_0", "concept_0", "lecture_0", "said_9", "ruling_9"), "/potencies": ("lecture", "heard", "at_ms", "potency", "seen"),
    "/notes/one": ("key", "ruling", "seen", "text", "kind"), "/notes/one/label": ("title", "date", "series", "part", "parts", "revision"), "/terms/label": ("id", "label", "kind"),
    "/uploads": ("name", "size", "stamp"), "/jobs/1/cancel": (), "/jobs/1/retry": (), "/jobs/1/forget": (),
    "/undo": ("verdict", "back"), "/publish": (), "/preview": (),
}  # fmt: skip
RELAXED = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


@RELAXED
@given(data=st.data())
def test_no_address_falls_over(browser: TestClient, data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(sorted(GETS)))
    answer = browser.get(path, params={name: data.draw(VALUES) for name in GETS[path]})
    assert answer.status_code < 500, answer.text
    path = data.draw(st.sampled_from(sorted(POSTS)))
    answer = browser.post(path, data={name: data.draw(VALUES) for name in POSTS[path]})
    assert answer.status_code < 500, answer.text


@RELAXED
@given(data=st.data())
def test_nothing_changes_without_the_token(course: Course, browser: TestClient, data: st.DataObject) -> None:
    browser.headers["x-desk-token"] = data.draw(st.sampled_from(["", "x", "form-ke", "session-key"]))
    path = data.draw(st.sampled_from(sorted(POSTS)))
    answer = browser.post(path, data={name: data.draw(VALUES) for name in POSTS[path]} | {"token": "no"})
    assert answer.status_code in (403, 413)
    with course.open_store() as store:
        assert store.verdicts(with_undone=True) == ()
        assert jobs(store) == ()
