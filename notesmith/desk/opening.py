"""Opening the desk: the keys in the printed address. Light to load, for the command line."""

from __future__ import annotations

import hmac
import os
import secrets
import threading
from pathlib import Path

from notesmith.files import output_errors

OPEN_PATH = "/open"
OPENING_FILE = ".desk.opening"
SHORTEST_KEY = 40  # characters; an empty or torn file opens nothing


def same(given: str | None, wanted: str) -> bool:
    """Whether two secrets are equal, in a time that does not tell how nearly."""
    return hmac.compare_digest((given or "").encode(), wanted.encode())


def address_of(port: int, key: str) -> str:
    return f"http://127.0.0.1:{port}{OPEN_PATH}?key={key}"


class Openings:
    """The keys that open the desk, each good for one use; the cookie carries on from there.

    An address stays behind in the browser's history and in the list of running programs, so its key must be worth
    nothing afterwards. A second start of the desk leaves a new key in ``file``, in the course's own folder: whoever
    can write there has the course already.
    """

    def __init__(self, first: str, file: Path) -> None:
        self._lock = threading.Lock()
        self._first: str | None = first
        self.file = file

    def take(self, given: str | None) -> bool:
        """Whether the key opens the desk; it does so no second time."""
        with self._lock:
            if self._first is not None and same(given, self._first):
                self._first = None
                return True
            try:
                left = self.file.read_text(encoding="ascii").strip()
            except (OSError, UnicodeDecodeError):
                return False
            if len(left) < SHORTEST_KEY or not same(given, left):
                return False
            self.file.unlink(missing_ok=True)
            return True


def leave_opening(file: Path) -> str:
    """Leave a new key for the desk that runs already; returns it. Raises OutputError where it cannot be written."""
    key = secrets.token_urlsafe(32)
    with output_errors(file):
        file.unlink(missing_ok=True)
        with os.fdopen(os.open(file, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "w") as out:
            out.write(key)
    return key
