"""A patient person at the desk: sends files, settles what waits, publishes; begins again when the desk is gone.

Pages are read and forms are sent as a browser does; nothing is known here but what stands on a page.
"""

from __future__ import annotations

import http.client
import json
import time
from collections.abc import Callable, Mapping
from contextlib import AbstractContextManager, nullcontext
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import quote, urlencode

from notesmith.course import Course
from notesmith.desk.guard import Keys
from notesmith.store.jobs import jobs

KEYS = Keys("o" * 43, "s" * 43, "f" * 43)
PIECE_BYTES = 64 * 1024
GONE = (OSError, http.client.HTTPException)
SENDING, WORDS, POTENCIES, NAMES, PUBLISHING = DOING = (
    "desk: a file is sent", "desk: words", "desk: potencies", "desk: names", "desk: publication",
)  # fmt: skip


class Form:
    def __init__(self, action: str, name: str) -> None:
        self.action, self.name = action, name
        self.fields: dict[str, str] = {}


class Forms(HTMLParser):
    """The forms of a page with what a browser would send for them untouched."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.forms: list[Form] = []
        self._open = False
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        if tag == "form":
            self.forms.append(Form(held.get("action") or "", held.get("id") or ""))
            self._open = True
        elif tag == "input" and self._open and held.get("name"):
            kind = held.get("type")
            if kind not in ("radio", "checkbox") or "checked" in held:
                self.forms[-1].fields[held["name"] or ""] = held.get("value") or ""

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._open = False


class DeskClient:
    """``alive`` makes sure that the desk runs, starting it again where it was killed."""

    def __init__(self, course: Course, port: int, alive: Callable[[], None]) -> None:
        self.course, self.port, self.alive = course, port, alive

    def ask(
        self, method: str, path: str, fields: Mapping[str, str] | None = None, body: bytes | None = None
    ) -> tuple[int, bytes]:
        """One request, as a browser with the desk's cookie sends it. Raises one of GONE where the desk dies."""
        self.alive()
        headers = {"Cookie": f"notesmith_desk_{self.port}={KEYS.session}", "X-Desk-Token": KEYS.form}
        if method != "GET":
            headers["Origin"] = f"http://127.0.0.1:{self.port}"
        if fields is not None:
            headers["Content-Type"] = "application/x-www-form-urlencoded"
            body = urlencode(fields).encode()
        client = http.client.HTTPConnection("127.0.0.1", self.port, timeout=60)
        try:
            client.request(method, quote(path, safe="/?=&%"), body, headers)
            answer = client.getresponse()
            return answer.status, answer.read()
        finally:
            client.close()

    def until(self, step: Callable[[], bool]) -> None:
        """Do a step again and again until it says it is over; a desk that dies meanwhile is only waited for."""
        while True:
            try:
                if step():
                    return
            except GONE:
                time.sleep(0.02)

    # ------------------------------------------------------------ what the person does

    def everything(self, files: list[Path], at: Callable[[str], AbstractContextManager[None]] = nullcontext) -> None:
        """All of a course. ``at`` is told what the person is about."""
        for path in files:
            with at(SENDING):
                self.until(lambda path=path: self.send(path))  # type: ignore[misc]
            self.until(self.quiet)
        for doing, page, wanted in (
            (WORDS, "/words", {"ruling": "reject"}), (POTENCIES, "/potencies", {}), (NAMES, "/names", {}),
        ):  # fmt: skip
            with at(doing):
                self.until(lambda p=page, w=wanted: self.settle(p, p, w))  # type: ignore[misc]
        with at(PUBLISHING):
            self.until(self.publish)

    def send(self, path: Path) -> bool:
        data = path.read_bytes()
        if any(one.body.kind == "add" and one.body.name == path.name and one.state != "receiving"
               for one in self._jobs()):  # fmt: skip
            return True  # the answer to the last piece was lost, the piece was not
        status, body = self.ask("POST", "/uploads", {"name": path.name, "size": str(len(data)), "stamp": "1"})
        assert status == 200, body
        begun = json.loads(body)
        offset = begun["offset"]
        while offset < len(data):
            piece = data[offset : offset + PIECE_BYTES]
            status, body = self.ask("PUT", f"/uploads/{begun['id']}?offset={offset}", body=piece)
            assert status in (200, 409), body
            offset = json.loads(body)["offset"]
        return True

    def quiet(self) -> bool:
        """Whether the desk has done all its work."""
        self.alive()
        time.sleep(0.03)
        return not any(one.state in ("receiving", "waiting", "working") for one in self._jobs())

    def settle(self, page: str, action: str, wanted: Mapping[str, str]) -> bool:
        """Decide on the first thing that waits on a page; True where nothing waits."""
        self.until(self.quiet)
        status, body = self.ask("GET", page)
        assert status == 200, body
        forms = [form for form in Forms(body.decode()).forms
                 if form.action == action and wanted.items() <= form.fields.items()]  # fmt: skip
        if action == "/names":
            forms = [form for form in forms if form.name == "names-form"]
        if not forms:
            return True
        status, body = self.ask("POST", action, forms[0].fields)
        assert status == 303, (status, body)
        return False

    def publish(self) -> bool:
        done = [one for one in self._jobs() if one.body.kind == "publish"]
        if not done:
            status, body = self.ask("POST", "/publish", {})
            assert status == 303, body
        self.until(self.quiet)
        return True

    def _jobs(self) -> tuple:  # type: ignore[type-arg]
        with self.course.open_store() as store:
            return jobs(store)
