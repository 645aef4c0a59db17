"""A file handler for looking at a built site on this machine; unlike the standard one it serves parts of a file.

Without byte ranges (RFC 9110, 14) browsers cannot jump inside a recording.
"""

from __future__ import annotations

import http.server
import re
from pathlib import Path
from typing import BinaryIO

_RANGE = re.compile(r"^bytes=(\d*)-(\d*)$")


class RangeHandler(http.server.SimpleHTTPRequestHandler):
    """Serves one folder, with single byte ranges, and logs nothing."""

    _left: int | None = None

    def log_message(self, *_: object) -> None:
        """Say nothing for each request."""

    def send_head(self):  # type: ignore[no-untyped-def]
        self._left = None
        match = _RANGE.match(self.headers.get("Range", ""))
        path = Path(self.translate_path(self.path))
        if match is None or not path.is_file() or not (match[1] or match[2]):
            return super().send_head()
        size = path.stat().st_size
        first = int(match[1]) if match[1] else max(0, size - int(match[2]))
        last = min(size - 1, int(match[2])) if match[1] and match[2] else size - 1
        if first > last:
            self.send_response(416)
            self.send_header("Content-Range", f"bytes */{size}")
            self.send_header("Content-Length", "0")
            self.end_headers()
            return None
        file = path.open("rb")
        file.seek(first)
        self._left = last - first + 1
        self.send_response(206)
        self.send_header("Content-Type", self.guess_type(str(path)))
        self.send_header("Content-Range", f"bytes {first}-{last}/{size}")
        self.send_header("Content-Length", str(self._left))
        self.send_header("Accept-Ranges", "bytes")
        self.end_headers()
        return file

    def copyfile(self, source: BinaryIO, outputfile: BinaryIO) -> None:  # type: ignore[override]
        """Send the wanted part; a browser that stops listening is no fault."""
        try:
            while piece := source.read(1 << 16 if self._left is None else min(1 << 16, self._left)):
                outputfile.write(piece)
                if self._left is not None:
                    self._left -= len(piece)
        except (BrokenPipeError, ConnectionResetError):
            self.close_connection = True
