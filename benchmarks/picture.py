"""Make the README's picture from a built course: a session page with its player, in Debian's Chromium.

    python benchmarks/picture.py sample-course [--to sample_audio/session-page.png]

Build the course first: ``notesmith sample``. The picture is a PNG of a window of 1000 by 1400 points, under 200 KB.
"""

from __future__ import annotations

import argparse
import functools
import http.server
import sys
import threading
from pathlib import Path

from notesmith.site.preview import RangeHandler

CHROMIUM = "/usr/bin/chromium"
TARGET = Path(__file__).resolve().parents[1] / "sample_audio" / "session-page.png"
LIMIT_BYTES = 200_000
WIDTH, HEIGHT = 1000, 1400


class Quiet(RangeHandler):
    def log_message(self, format: str, *args: object) -> None:
        pass


def take(site: Path, page_path: str, target: Path) -> None:
    """Photograph one page of the site."""
    from playwright.sync_api import sync_playwright

    handler = functools.partial(Quiet, directory=str(site))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server, sync_playwright() as playwright:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        page = browser.new_page(viewport={"width": WIDTH, "height": HEIGHT}, color_scheme="light")
        page.goto(f"http://127.0.0.1:{server.server_port}/{page_path}", wait_until="load")
        page.wait_for_timeout(800)
        page.screenshot(path=str(target))
        browser.close()
        server.shutdown()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("course", type=Path)
    parser.add_argument("--to", type=Path, default=TARGET)
    parser.add_argument("--session", default="2026-03-09", help="how the session page's name begins")
    given = parser.parse_args()
    site = given.course / "site"
    pages = sorted(path for path in site.glob(f"sessions/{given.session}*.html") if path.name != "index.html")
    if not pages:
        sys.exit(f"{site}: no session page there; build the course first: notesmith sample {given.course}")
    take(site, pages[0].relative_to(site).as_posix(), given.to)
    size = given.to.stat().st_size
    print(f"{given.to}: {pages[0].name}, {size / 1000:.0f} KB")
    if size > LIMIT_BYTES:
        sys.exit(f"{given.to}: is larger than {LIMIT_BYTES // 1000} KB")


if __name__ == "__main__":
    main()
