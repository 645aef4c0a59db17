"""Driving the desk as people do: the program on its own, a real browser, single keys."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from notesmith.course import Course
from notesmith.store.jobs import jobs

CHROMIUM = Path("/usr/bin/chromium")
ARGUMENTS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync", "--autoplay-policy=no-user-gesture-required",
]  # fmt: skip
PATIENCE_MS = 60_000


def missing(what: str) -> None:
    """Skip on a developer's machine; on CI what is missing is a failure."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing, and CI must have it")
    pytest.skip(f"{what} is not installed here")


def free_port() -> int:
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        return int(one.getsockname()[1])


def answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


class Viewing:
    """``notesmith view`` as a program of its own, over the published site."""

    def __init__(self, course: Course) -> None:
        self.course, self.port = course, free_port()
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-m", "notesmith", "view", "-c", str(self.course.folder), "--no-browser"]
        self.process = subprocess.Popen([*command, "--port", str(self.port)], stdout=subprocess.DEVNULL)
        wait_for(lambda: answers(self.port))

    def kill(self) -> None:
        """SIGKILL."""
        self.process.kill()
        self.process.wait()

    def again(self) -> None:
        self.kill()
        self.start()


class Running:
    """The desk as a program of its own, so that it can be killed and started again at the same port."""

    def __init__(self, course: Course, who: str = "Asha") -> None:
        self.course = course
        self.who = who
        self.port = free_port()
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-m", "notesmith", "desk", "-c", str(self.course.folder), "--no-browser"]
        self.process = subprocess.Popen(
            [*command, "--who", self.who, "--port", str(self.port)], stdout=subprocess.PIPE, text=True
        )
        assert self.process.stdout is not None
        for line in self.process.stdout:
            if found := re.search(r"http://127\.0\.0\.1:\d+/open\?key=\S+", line):
                self.address = found[0]
                self.base = self.address.partition("/open")[0]
                break
        wait_for(lambda: answers(self.port), 10)  # the address is printed a moment before it answers

    def kill(self) -> None:
        """As a power cut would: nothing is told beforehand (SIGKILL)."""
        self.process.kill()
        self.process.wait()

    def state_of(self, kind: str) -> str:
        """The state of the latest job of a kind; empty where there is none."""
        with self.course.open_store() as store:
            return next((one.state for one in reversed(jobs(store)) if one.body.kind == kind), "")

    def again(self, page: Any) -> None:
        """Kill it, start it, and open it in the page."""
        self.kill()
        self.start()
        visit(page, self.address)
        page.errors.clear()  # the page rightly complained that nobody answered


def wait_for(condition: Callable[[], object], seconds: float = 60) -> None:
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.05)


def drop_file(page: Any, path: Path, selector: str) -> None:
    """Let go of a file over an element, by the browser's own drag and drop (Chrome DevTools Protocol, Input domain)."""
    page.locator(selector).scroll_into_view_if_needed()
    box = page.locator(selector).bounding_box()
    at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
    data = {"items": [], "files": [str(path)], "dragOperationsMask": 1}
    session = page.context.new_cdp_session(page)
    for kind in ("dragEnter", "dragOver", "drop"):
        session.send("Input.dispatchDragEvent", {"type": kind, **at, "data": data})


def visit(page: Any, address: str) -> None:
    """Go to a page, though the one before may load itself anew at that very moment because its work has just ended.

    The browser then gives up one of the two journeys, and says so in one of two ways or not at all.
    """
    given_up = ("interrupted by another navigation", "net::ERR_ABORTED")
    for last in (False, False, False, True):
        try:
            answer = page.goto(address)
            page.wait_for_timeout(50)
            if answer is not None and page.url.partition("#")[0] == answer.url:
                return
        except Exception as error:
            if last or not any(told in str(error) for told in given_up):
                raise
        page.wait_for_timeout(200)  # let the other journey end; a second one at once would meet it again
    raise AssertionError(f"the browser stays at {page.url} instead of {address}")


def settle_all(page: Any, base: str, path: str, key: str, limit: int = 40) -> int:
    """Press one key until nothing is left; returns how often."""
    visit(page, base + path)
    pressed = 0
    while page.locator(f"[data-key={key}]").count() and pressed < limit:
        before = page.locator("#heard").inner_text() + page.locator(".place").inner_text()
        with page.expect_navigation():
            page.keyboard.press(key)
        pressed += 1
        assert page.locator("[role=alert]").count() == 0, page.locator("main").inner_text()
        if page.locator("#heard").count():
            assert page.locator("#heard").inner_text() + page.locator(".place").inner_text() != before
    return pressed
