"""Random requests over every address: never a 5xx, and no change of state without the desk's own token."""

from __future__ import annotations

from urllib.parse import quote

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from starlette.applications import Starlette
from starlette.routing import Mount, Route
from starlette.testclient import TestClient

from notesmith.course import Course

VALUES = st.one_of(
    st.text(max_size=40),
    st.sampled_from(
        ["0", "1", "-1", "9" * 15, "one", "p0", "accept", "always", "remedy/sulphur", "sulfer", "hide", "../x"]
    ),
)
GETS = {
    "/": (), "/jobs": (), "/words": ("at", "show"), "/words/suggest": ("q",), "/names": ("did",), "/potencies": ("at",), "/next": ("did",), "/notes": (),
    "/notes/one": (), "/notes/one/around": ("start", "end"), "/terms": ("q",), "/terms/one": ("id",),
    "/terms/heard": ("form",), "/terms/spellings": (), "/terms/effect": ("label",), "/publish": (), "/publish/state": (), "/history": (), "/clip/one.wav": ("start", "end"),
    "/uploads/1": (), "/preview/x": (), "/site/x": (), "/static/x": (), "/open": ("key",), "/applying": (),
    "/lectures/one/remove": (), "/record": (), "/settings": ("saved",), "/coverage": (),
}  # fmt: skip
POSTS = {
    "/words": ("lecture", "form", "seen", "ruling", "restored", "at"),
    "/words/other": ("lecture", "form", "seen", "concept_id"), "/words/new": ("lecture", "form", "seen", "label", "scheme"),
    "/names": ("said_0", "ruling_0", "seen", "value_0", "concept_0", "lecture_0", "said_9", "ruling_9"), "/potencies": ("lecture", "heard", "at_ms", "potency", "seen"),
    "/notes/one": ("key", "ruling", "seen", "text", "kind"), "/notes/one/label": ("title", "date", "series", "part", "parts", "revision"), "/terms/label": ("id", "label", "kind"),
    "/terms/edit": ("id", "state", "preferred", "names", "misheard"),
    "/uploads": ("name", "size", "stamp"), "/jobs/1/cancel": (), "/jobs/1/retry": (), "/jobs/1/forget": (),
    "/undo": ("verdict", "back"), "/publish": (), "/preview": (), "/lectures/one/remove": ("revision",),
    "/removed/one/back": (), "/removed/one/delete": ("sure",), "/sample": (),
    "/record": ("title", "container"), "/record/1/finish": (),
    "/settings": ("title", "lecturer", "aliases", "rights", "address", "revision", "text_0"),
    "/settings/text": ("name", "text", "revision"), "/settings/profile": ("profile", "revision"),
}  # fmt: skip
PUTS = {"/uploads/1": ("offset",)}
RELAXED = settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow]
)


def app_of(browser: TestClient) -> Starlette:
    app = browser.app.app  # type: ignore[attr-defined]
    assert isinstance(app, Starlette)
    return app


def test_every_address_is_tried_here(browser: TestClient) -> None:
    """A new route must be added above, or this fails."""
    missed = []
    for route in app_of(browser).routes:
        if isinstance(route, Mount):
            assert any(path.startswith(route.path) for path in GETS)
            continue
        assert isinstance(route, Route)
        for method in (route.methods or set()) - {"HEAD"}:
            table = {"GET": GETS, "POST": POSTS, "PUT": PUTS}[method]
            if not any(route.path_regex.match(path) for path in table):
                missed.append((method, route.path))
    assert missed == []


def state_of(course: Course) -> object:
    """All that a request could change: the store's tables and the files of the course."""
    with course.open_store() as store:
        tables = {
            name: store.query(f"SELECT * FROM {name} ORDER BY 1")
            for name in ("lecture", "transcript", "result", "verdict", "job")
        }
    inside = (path for path in course.folder.rglob("*") if path.is_file() and not path.name.startswith("course.db"))
    files = {str(path): path.read_bytes() for path in inside}
    return tables, files


@RELAXED
@given(data=st.data())
def test_no_address_falls_over(browser: TestClient, data: st.DataObject) -> None:
    path = data.draw(st.sampled_from(sorted(GETS)))
    answer = browser.get(path, params={name: data.draw(VALUES) for name in GETS[path]})
    assert answer.status_code < 500, answer.text
    path = data.draw(st.sampled_from(sorted(POSTS)))
    answer = browser.post(path, data={name: data.draw(VALUES) for name in POSTS[path]})
    assert answer.status_code < 500, answer.text
    answer = browser.put("/uploads/1", params={"offset": data.draw(VALUES)}, content=data.draw(st.binary(max_size=50)))
    assert answer.status_code < 500, answer.text


@RELAXED
@given(data=st.data())
def test_nothing_changes_without_the_token(course: Course, browser: TestClient, data: st.DataObject) -> None:
    before = state_of(course)
    browser.headers["x-desk-token"] = data.draw(st.sampled_from(["", "x", "form-ke", "session-key"]))
    path = data.draw(st.sampled_from(sorted(POSTS)))
    answer = browser.post(path, data={name: data.draw(VALUES) for name in POSTS[path]} | {"token": "no"})
    assert answer.status_code in (403, 413)
    answer = browser.put("/uploads/1", params={"offset": data.draw(VALUES)}, content=data.draw(st.binary(max_size=50)))
    assert answer.status_code == 403
    assert state_of(course) == before


@RELAXED
@given(data=st.data())
def test_looking_changes_nothing(course: Course, browser: TestClient, data: st.DataObject) -> None:
    """A link or an image on another page can make a browser ask for any address, the cookie being strict or not."""
    before = state_of(course)
    browser.headers.pop("x-desk-token", None)
    path = data.draw(st.sampled_from(sorted({*GETS, *POSTS})))
    names = {*GETS.get(path, ()), *POSTS.get(path, ())}
    browser.request(data.draw(st.sampled_from(["GET", "HEAD"])), path, params={n: data.draw(VALUES) for n in names})
    assert state_of(course) == before


@RELAXED
@given(
    method=st.sampled_from(["DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT", "get", "FOO"]),
    path=st.one_of(st.sampled_from(sorted({*GETS, *POSTS})), st.text(max_size=30).map(lambda text: "/" + quote(text))),
    header=st.dictionaries(
        st.sampled_from(["range", "if-range", "if-modified-since", "accept", "content-type", "hx-request", "cookie"]),
        st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=40),
        max_size=3,
    ),
)
def test_odd_requests_are_answered(browser: TestClient, method: str, path: str, header: dict[str, str]) -> None:
    assert browser.request(method, path, headers=header).status_code < 500
    assert browser.get(path, headers=header).status_code < 500
