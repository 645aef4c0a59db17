"""Every kind of page, in light and dark, on a phone, a tablet and a desk: accessible, and no wider than the screen.

Judged by axe-core (Deque), WCAG 2.2 A and AA rules and its best practices; target sizes and reflow at 320 CSS px follow
WCAG 2.2, 2.5.8 and 1.4.10. Set NOTESMITH_SCREENSHOTS to a folder to look at the pages.
"""

from __future__ import annotations

import os
import threading
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pytest
import uvicorn

from notesmith.annotations import CaseVignette, Extraction, Finding, Prescription, TeachingPoint
from notesmith.course import Course, create_course
from notesmith.desk.app import make_app
from notesmith.desk.guard import Keys
from notesmith.lecture import CourseSettings
from notesmith.store.jobs import JobBody, add_job
from notesmith.transcript import WordRange
from notesmith.verdicts import NoteVerdict, PersonVerdict

from .driving import PATIENCE_MS, free_port, missing

pytestmark = pytest.mark.browser

KEYS = Keys("opening-key", "session-key", "form-key")
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
PAGES = (
    "/", "/words", "/words?show=restored", "/words?at=1", "/names", "/potencies", "/notes", "/notes/one", "/notes/two",
    "/terms", "/terms?q=sulph", "/terms/one?id=remedy/sulphur", "/terms/heard?form=sulfer", "/terms/heard?form=zebra", "/terms/spellings",
    "/lectures/one/remove", "/record", "/settings", "/coverage", "/history", "/publish", "/nowhere",
)  # fmt: skip


@pytest.fixture
def axe() -> str:
    folder = Path(os.environ.get("NOTESMITH_NODE_DIR", "/nonexistent"))
    source = folder / "node_modules" / "axe-core" / "axe.min.js"
    if not source.is_file():
        missing("axe-core from npm (set NOTESMITH_NODE_DIR)")
    return source.read_text(encoding="utf-8")


@pytest.fixture
def full(course: Course, write_sound: Callable[..., Path]) -> Course:
    """A course in which every page has something of every kind to show."""
    course.recordings.mkdir(exist_ok=True)
    write_sound(course.recordings / "one.wav", np.zeros(16_000 * 18))
    with course.open_store() as store:
        lecture, revision = store.lecture("one")
        store.update_lecture(msgspec.structs.replace(lecture, media="one.wav", date="2026-03-02"), revision=revision)
        heard = store.transcripts("a" * 64)[0].transcript
        found = store.result("one", "extraction", Extraction)
        assert found is not None
        span = heard.words[0].time
        points = tuple(
            TeachingPoint(f"p{n}", kind, f"The discharge is thick and ropy, point {n}.", "spoken", WordRange(n, n + 3), span)
            for n, kind in enumerate(("mind", "modalities", "relations"))
        )  # fmt: skip
        at = next(i for i, word in enumerate(heard.words) if word.text == "thirty")
        given = Prescription(
            "remedy/sulphur", "30C", "thirty see", None, None, None, WordRange(at, at + 2), heard.words[at].time,
            doubtful=True,
        )  # fmt: skip
        fields = (
            Finding("presenting complaint", "pain in small spots", WordRange(18, 24), span),
            Finding("outcome", "better after a week", WordRange(24, 28), heard.words[24].time),
        )
        case = CaseVignette(
            "c0", "Case: pain in spots", WordRange(12, 28), span, fields, not_stated=("setting", "history")
        )
        store.put_result(
            "one", "extraction", "k",
            msgspec.structs.replace(found, points=points, vignettes=(case,), prescriptions=(given,)),
        )  # fmt: skip
        store.add_verdict(NoteVerdict("hide", "one", "p2"), who="Asha")
        store.add_verdict(NoteVerdict("reword", "one", "p1", "Worse in the morning."), who="Asha")
        store.undo_verdict(store.add_verdict(PersonVerdict("hide", "Meera"), who="Asha").id)
        add_job(store, JobBody("add", "long name of a recording " * 4 + ".mp3", message="is damaged"), "failed")
        add_job(store, JobBody("add", "lecture.mp3", size=100, received=40), "receiving")
        add_job(store, JobBody("add", "lecture.wav", stage="transcribe", done=40, total=100), "working")
    return course


@pytest.fixture
def address(full: Course) -> Iterator[str]:
    yield from serve(full)


def serve(course: Course) -> Iterator[str]:
    port = free_port()
    app = make_app(course, port=port, keys=KEYS, who="Asha", work=False)
    server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error", ws="none"))
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        pass
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=20)


def look(browser: Any, address: str, axe: str, pages: tuple[str, ...], width: int, scheme: str) -> list[str]:
    """What is wrong with the pages, one line a fault."""
    port = address.rpartition(":")[2]
    context = browser.new_context(viewport={"width": width, "height": 800}, color_scheme=scheme)
    context.add_cookies([{"name": f"notesmith_desk_{port}", "value": KEYS.session, "url": address}])
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    faults: list[str] = []
    page.on("pageerror", lambda error: faults.append(f"{page.url}: {error}"))
    for path in pages:
        answer = page.goto(address + path)
        if answer.status != (404 if path == "/nowhere" else 200):
            faults.append(f"{path}: {answer.status} {page.locator('main').inner_text()[:200]}")
        page.evaluate("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        if (folder := os.environ.get("NOTESMITH_SCREENSHOTS")) is not None:
            name = "".join(c if c.isalnum() else "-" for c in path).strip("-") or "home"
            page.screenshot(path=f"{folder}/{name}.{width}.{scheme}.png", full_page=True)
        wide = page.evaluate("document.documentElement.scrollWidth")
        if wide > width:
            faults.append(f"{path}: {wide} px wide on a screen of {width}")
        page.evaluate(axe)
        result = page.evaluate(f"axe.run(document, {{runOnly: {RULES}}})")
        assert len(result["passes"]) > 10  # it did look
        faults += [
            f"{path} ({width}, {scheme}): {one['id']}, {len(one['nodes'])} times, {one['nodes'][0]['html'][:160]}"
            for one in result["violations"]
        ]
    context.close()
    return faults


@pytest.mark.parametrize(("width", "scheme"), [(320, "light"), (360, "dark"), (768, "light"), (1280, "dark")])
def test_every_page(chromium: Any, address: str, axe: str, width: int, scheme: str) -> None:
    assert look(chromium, address, axe, PAGES, width, scheme) == []


def test_an_empty_course(chromium: Any, axe: str, tmp_path: Path) -> None:
    course = create_course(tmp_path / "empty", CourseSettings(title="New course"))
    for address in serve(course):
        pages = ("/", "/words", "/names", "/potencies", "/notes", "/terms", "/publish", "/history")
        assert (
            look(chromium, address, axe, pages, 360, "light") + look(chromium, address, axe, pages, 1280, "dark") == []
        )
