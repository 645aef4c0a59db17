"""A lecturer's way from a dropped file to the published site, in a real browser, with keys alone once the file is there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from .driving import Running, drop_file, settle_all, visit, wait_for

TALK = """WEBVTT

00:01.000 --> 00:08.000
Good evening. Today we come to Colley by Chromacum, a remedy of the mucous membranes.

00:08.000 --> 00:16.000
The discharges of Colley by Chromacum are thick, ropy and stringy.

00:16.000 --> 00:24.000
We compare it with Pulsetilla, where the discharge is bland, and with Hydrastis.

00:24.000 --> 00:34.000
I gave Colley by Chromacum thirty see three times a day for a week, and the headache was better.

00:34.000 --> 00:42.000
Next time we come to Lie Copodium, which is worse from four to eight in the evening.
"""

pytestmark = pytest.mark.browser


def test_from_file_to_site_with_the_keyboard_and_a_kill(running: Running, page: Any, tmp_path: Path) -> None:
    talk = tmp_path / "2026-04-06 Kali bichromicum.vtt"
    talk.write_text(TALK)
    visit(page, running.address)
    assert "key=" not in page.url  # the secret does not stay in the address
    page.set_input_files("#files", str(talk))
    page.wait_for_selector("text=has arrived")

    running.kill()  # in the middle of the work
    running.start()
    visit(page, running.address)
    page.errors.clear()  # the page rightly complained that nobody answered
    page.wait_for_selector("li[data-state=finished]")

    # Words, with keys alone; the first decision is undone and made again. What the tool is sure of changes with its
    # rules, so where it proposes nothing here, what it restored without asking is looked through.
    visit(page, running.base + "/words")
    queue = "/words" if page.locator("mark").count() else "/words?show=restored"
    visit(page, running.base + queue)
    assert page.locator("mark").first.inner_text()
    with page.expect_navigation():
        page.keyboard.press("a")
    with page.expect_navigation():
        page.keyboard.press("u")
    pressed = 2 + settle_all(page, running.base, queue, "a") + settle_all(page, running.base, "/words", "a")
    visit(page, running.base + "/words")
    assert "Every doubtful word is settled" in page.content()
    page.wait_for_selector("text=Your decisions are applied.")  # in the background

    pressed += settle_all(page, running.base, "/words", "a")
    visit(page, running.base + "/names")
    if page.locator("[data-key=c]").count():
        with page.expect_navigation():
            page.keyboard.press("c")
    pressed += settle_all(page, running.base, "/potencies", "a")
    visit(page, running.base + "/publish")
    assert page.locator("li.blocks").all_inner_texts() == []
    preview, site = running.course.folder / ".preview", running.course.site
    for key, kind in (("v", "preview"), ("p", "publish")):
        visit(page, running.base + "/publish")
        with page.expect_navigation():
            page.keyboard.press(key)
        wait_for(lambda kind=kind: running.state_of(kind) == "finished", 240)
    assert (site / "index.html").is_file()
    assert files_in(preview) == files_in(site)  # what was looked at is what is published, to the byte
    assert pressed < 60
    for shown in ("preview", "site"):  # what the desk itself shows of it is searched like the published pages
        visit(page, f"{running.base}/{shown}/index.html")
        page.get_by_label("Find a moment").fill("thick ropy discharges")
        page.keyboard.press("Enter")
        page.wait_for_selector("#hits li")
        assert f"/{shown}/search.html" in page.url
    assert page.errors == []
    with running.course.open_store() as store:
        assert {entry.who for entry in store.verdicts()} == {"Asha"}


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_other_term_and_new_term_without_the_mouse(running: Running, page: Any, tmp_path: Path) -> None:
    talk = tmp_path / "talk.vtt"
    talk.write_text(TALK)
    visit(page, running.address)
    page.set_input_files("#files", str(talk))
    page.wait_for_selector("li[data-state=finished]")
    visit(page, running.base + "/words")
    if not page.locator("[data-key=o]").count():
        visit(page, running.base + "/words?show=restored")
    page.keyboard.press("o")
    page.keyboard.type("lycopod")
    page.wait_for_selector("#choices button")
    page.keyboard.press("ArrowDown")
    assert page.evaluate("document.activeElement.closest('#choices') !== null")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    with running.course.open_store() as store:
        assert store.verdicts()[-1].verdict.concept_id == "remedy/lycopodium-clavatum"  # type: ignore[union-attr]
    visit(page, running.base + "/words?show=restored")
    page.keyboard.press("n")
    page.keyboard.type("Zonkium testans")
    with page.expect_navigation():
        page.keyboard.press("Enter")
    assert running.course.load_vocabulary().find("Zonkium testans")
    assert page.errors == []


@pytest.mark.parametrize("place", ["#drop", "h1"])
def test_a_file_that_is_dropped_arrives_wherever_it_is_let_go(
    running: Running, page: Any, tmp_path: Path, place: str
) -> None:
    talk = tmp_path / "2026-04-06 Dropped.vtt"
    talk.write_text(TALK)
    visit(page, running.address)
    drop_file(page, talk, place)
    page.wait_for_selector("text=2026-04-06 Dropped.vtt has arrived")
    page.wait_for_selector("li[data-state=finished]")
    assert page.url == running.base + "/"
    assert page.errors == []
    with running.course.open_store() as store:
        (lecture,) = store.lectures()
        assert lecture.date == "2026-04-06"


def test_a_folder_that_is_dropped_is_told(running: Running, page: Any, tmp_path: Path) -> None:
    (tmp_path / "tapes").mkdir()
    visit(page, running.address)
    drop_file(page, tmp_path / "tapes", "#drop")
    page.wait_for_selector("text=tapes is a folder")
    assert page.errors == []
