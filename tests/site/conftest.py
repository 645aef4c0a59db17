"""A built site, a file server for it, and a browser; what is not installed is skipped with a reason, never on CI."""

from __future__ import annotations

import functools
import http.server
import os
import shutil
import threading
from pathlib import Path

import numpy as np
import pytest

from notesmith.site import build
from notesmith.site.preview import RangeHandler
from notesmith.vocabulary import Vocabulary, load_vocabulary
from tests.site.library_fixture import small_library

CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = ("--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
             " --disable-component-update --disable-sync --autoplay-policy=no-user-gesture-required").split()  # fmt: skip


def missing(what: str) -> None:
    """Skip on a developer's machine; on CI what is missing is a failure."""
    if os.environ.get("CI"):
        pytest.fail(f"{what} is missing, and CI must have it")
    pytest.skip(f"{what} is not installed here")


@pytest.fixture(scope="session")
def vocabulary() -> Vocabulary:
    return load_vocabulary()


def tone(path: Path, seconds: float) -> Path:
    """A WAV file whose pitch tells nothing; only its length matters."""
    import wave

    samples = (np.sin(np.arange(int(8000 * seconds)) * 0.2) * 8000).astype("<i2")
    with wave.open(str(path), "wb") as out:
        out.setnchannels(1)
        out.setsampwidth(2)
        out.setframerate(8000)
        out.writeframes(samples.tobytes())
    return path


@pytest.fixture(scope="session")
def site_folder(tmp_path_factory: pytest.TempPathFactory, vocabulary: Vocabulary) -> Path:
    base = tmp_path_factory.mktemp("published")
    media = {
        "2026-03-09-thuja-1": tone(base / "thuja.wav", 60),
        "2026-03-02-kali-bichromicum": tone(base / "kali.wav", 40),
    }
    build(small_library(vocabulary, media), base / "site")
    return base / "site"


@pytest.fixture(scope="session")
def address(site_folder: Path):
    handler = functools.partial(RangeHandler, directory=str(site_folder))
    with http.server.ThreadingHTTPServer(("127.0.0.1", 0), handler) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}/"
        server.shutdown()


@pytest.fixture(scope="session")
def browser():
    if not shutil.which(CHROMIUM):
        missing(CHROMIUM)
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        chromium = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield chromium
        chromium.close()


@pytest.fixture(scope="session")
def node_dir() -> Path:
    """Where ``npm install --prefix`` put axe-core and html-validate; named by NOTESMITH_NODE_DIR."""
    folder = Path(os.environ.get("NOTESMITH_NODE_DIR", "/nonexistent"))
    if not (folder / "node_modules" / "axe-core" / "axe.min.js").is_file():
        missing("axe-core from npm (set NOTESMITH_NODE_DIR)")
    return folder
