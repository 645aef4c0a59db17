"""Each attack on a program that listens on the user's own machine, tried and refused.

Sources of the checks: OWASP Cross-Site Request Forgery Prevention Cheat Sheet (token, Origin, Sec-Fetch-Site,
SameSite), Content Security Policy Level 3 (W3C), RFC 9110 (421 for a Host that is not ours). From memory.
"""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from notesmith.course import Course

from .conftest import ORIGIN

PAGES = ("/", "/words", "/jobs", "/words/suggest?q=x", "/uploads/1", "/clip/one.wav?start=0&end=9", "/static/desk.css")
FORM = {"lecture": "one", "form": "sulfer", "seen": "0", "ruling": "reject"}


def count(course: Course) -> int:
    with course.open_store() as store:
        return len(store.verdicts(with_undone=True))


@pytest.mark.parametrize("page", PAGES)
def test_nothing_is_shown_without_the_session(stranger: TestClient, page: str) -> None:
    answer = stranger.get(page)
    assert answer.status_code == 403
    assert "Lecture one" not in answer.text


@pytest.mark.parametrize("key", ["", "?key=", "?key=wrong", "?key=session-key", "?key=form-key", "?key=opening-ke"])
def test_a_wrong_opening_key_sets_no_cookie(stranger: TestClient, key: str) -> None:
    answer = stranger.get(f"/open{key}")
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_opening_gives_a_strict_cookie_that_scripts_cannot_read_and_leaves_the_key_behind(stranger: TestClient) -> None:
    answer = stranger.get("/open?key=opening-key")
    assert answer.status_code == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "opening-key" not in cookie


def test_the_key_opens_once_and_the_cookie_carries_on(course: Course, stranger: TestClient) -> None:
    assert stranger.get("/open?key=opening-key").status_code == 303
    again = stranger.get("/open?key=opening-key")  # the same browser: its cookie is enough
    assert again.status_code == 303
    assert "set-cookie" not in again.headers
    stranger.cookies.clear()  # another browser, or a person with the browser's history
    late = stranger.get("/open?key=opening-key")
    assert late.status_code == 403
    assert "set-cookie" not in late.headers
    assert "used already" in late.text


@pytest.mark.parametrize(
    "host",
    [
        "evil.example",
        "evil.example:4567",
        "127.0.0.1",
        "127.0.0.1:80",
        "127.0.0.1:4567.evil.example",
        "",
        "0.0.0.0:4567",
    ],
)
def test_a_foreign_host_is_refused_even_with_the_session(browser: TestClient, host: str) -> None:
    assert browser.get("/", headers={"host": host}).status_code == 421
    assert browser.get("/open?key=opening-key", headers={"host": host}).status_code == 421


@pytest.mark.parametrize(
    "origin", ["http://evil.example", "null", "", "https://127.0.0.1:4567", "http://127.0.0.1:9999"]
)
def test_a_post_from_another_origin_changes_nothing(course: Course, browser: TestClient, origin: str) -> None:
    assert browser.post("/words", data=FORM, headers={"origin": origin}).status_code == 403
    assert count(course) == 0


def test_a_post_without_origin_changes_nothing(course: Course, browser: TestClient) -> None:
    del browser.headers["origin"]
    assert browser.post("/words", data=FORM).status_code == 403
    assert count(course) == 0


def test_a_post_marked_cross_site_changes_nothing(course: Course, browser: TestClient) -> None:
    for value in ("cross-site", "same-site", "none"):
        assert browser.post("/words", data=FORM, headers={"sec-fetch-site": value}).status_code == 403
    assert count(course) == 0


@pytest.mark.parametrize("token", ["", "wrong", "session-key", "opening-key"])
def test_a_post_without_the_forms_token_changes_nothing(course: Course, browser: TestClient, token: str) -> None:
    del browser.headers["x-desk-token"]
    assert browser.post("/words", data=FORM | {"token": token}).status_code == 403
    assert browser.put("/uploads/1?offset=0", content=b"x", headers={"x-desk-token": token}).status_code == 403
    assert count(course) == 0


def test_the_token_in_the_form_is_enough(course: Course, browser: TestClient) -> None:
    del browser.headers["x-desk-token"]
    assert browser.post("/words", data=FORM | {"token": "form-key"}).status_code == 200
    assert count(course) == 1


@pytest.mark.parametrize("kind", ["text/plain", "multipart/form-data; boundary=x", "application/json", ""])
def test_only_plain_forms_are_read(course: Course, browser: TestClient, kind: str) -> None:
    answer = browser.post("/words", content=b"token=form-key&ruling=reject", headers={"content-type": kind})
    assert answer.status_code == 415
    assert count(course) == 0


def test_a_long_form_is_refused(browser: TestClient) -> None:
    assert browser.post("/words", data=FORM | {"form": "x" * 300_000}).status_code == 413


def test_a_body_longer_than_it_says_is_refused(browser: TestClient) -> None:
    def pieces():  # type: ignore[no-untyped-def]
        yield from (b"x" * 100_000 for _ in range(4))

    answer = browser.post("/words", content=pieces(), headers={"content-length": "10"})
    assert answer.status_code == 413


def test_a_body_of_unknown_length_is_refused(browser: TestClient) -> None:
    answer = browser.post("/words", content=(p for p in (b"a=1",)), headers={"transfer-encoding": "chunked"})
    assert answer.status_code == 411


def test_too_many_fields_are_refused(browser: TestClient) -> None:
    assert browser.post("/words", data={f"f{i}": "1" for i in range(100)}).status_code == 400


@pytest.mark.parametrize("method", ["DELETE", "PATCH", "OPTIONS", "TRACE", "CONNECT"])
def test_other_methods_are_refused(browser: TestClient, method: str) -> None:
    assert browser.request(method, "/words").status_code == 405


@pytest.mark.parametrize(
    "path",
    [
        "/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static//etc/passwd",
        "/static/..%5capp.py", "/clip/..%2f..%2fcourse.wav?start=0&end=9", "/clip/%2e%2e.wav?start=0&end=9",
    ],
)  # fmt: skip
def test_no_path_leads_out(browser: TestClient, path: str) -> None:
    answer = browser.get(path)
    assert answer.status_code in (400, 404, 500)
    assert "root:" not in answer.text
    assert "def make_app" not in answer.text


def test_every_answer_forbids_inline_code_and_framing(browser: TestClient, stranger: TestClient) -> None:
    for answer in (browser.get("/"), browser.get("/words"), browser.get("/nowhere"), stranger.get("/")):
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src 'self';" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["cache-control"] == "no-store"


def test_pages_hold_no_inline_code(browser: TestClient) -> None:
    for page in ("/", "/words", "/nowhere"):
        text = browser.get(page).text.lower()
        assert "<style" not in text
        assert " style=" not in text
        assert " onclick" not in text
        assert text.count("<script") == text.count("<script src=")


def test_undo_goes_back_to_the_desk_only(browser: TestClient) -> None:
    for number, back in enumerate(("//evil.example", "https://evil.example", "/\\evil.example", ""), start=1):
        browser.post("/words", data=FORM | {"seen": str(number)})
        answer = browser.post("/undo", data={"verdict": str(number), "back": back}, follow_redirects=False)
        assert answer.headers["location"] in ("/",)


def test_errors_are_plain_words(browser: TestClient) -> None:
    for path in ("/nowhere", "/clip/gone.wav?start=0&end=9", "/clip/one.wav?start=x", "/uploads/99", "/words?at=-1"):
        answer = browser.get(path)
        assert answer.status_code >= 400
        assert "Traceback" not in answer.text
        assert 'role="alert"' in answer.text


@pytest.mark.parametrize(
    ("referer", "back"),
    [
        (f"{ORIGIN}/words?at=1", "/words?at=1"),
        ("http://evil.example/words", "/"),
        (f"{ORIGIN}//evil.example/", "/"),
        ("javascript:alert(1)", "/"),
        ("http://[x", "/"),
        ("", "/"),
    ],
)
def test_a_refusal_leads_back_to_a_page_of_the_desk_only(browser: TestClient, referer: str, back: str) -> None:
    answer = browser.post("/words", data={"ruling": "burn"}, headers={"referer": referer})
    assert answer.status_code == 400
    assert f'href="{back}" data-key="b"' in answer.text
