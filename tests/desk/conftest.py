"""A course made of imported transcripts, with corrections written by hand, and a browser's manners for the desk."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from starlette.testclient import TestClient

from notesmith.annotations import Correction, Corrections, Evidence, Extraction, PersonMention, Rival
from notesmith.course import Course, create_course
from notesmith.desk.app import make_app
from notesmith.desk.guard import Keys
from notesmith.lecture import CourseSettings, Lecture
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange
from notesmith.vocabulary import Vocabulary, load_vocabulary

from .driving import ARGUMENTS, CHROMIUM, PATIENCE_MS, Running, missing

PORT = 4567
ORIGIN = f"http://127.0.0.1:{PORT}"
KEYS = Keys("opening-key", "session-key", "form-key")

LINES = (
    "Now let us come to Colley by Chromacum and its thick ropy discharges.",
    "In Colley by Chromacum the pain sits in small spots.",
    "We compare it with sulfer here, said Rohan to me.",
    "I gave thirty see once.",
)


def transcript(lines: tuple[str, ...] = LINES, digest: str = "a" * 64) -> Transcript:
    segments, at = [], 0
    for number, line in enumerate(lines):
        words = []
        for text in line.split():
            words.append(Word(TimeSpan(at, at + 350), text))
            at += 400
        segments.append(Segment(number, tuple(words)))
    return Transcript(digest, "en", "by hand", tuple(segments), duration_ms=at)


def correction(segment: int, start: int, end: int, heard: str, concept: str, restored: str, score: float) -> Correction:
    return Correction(
        segment,
        start,
        end,
        heard,
        concept,
        restored,
        score,
        (Evidence("sound", f"sounds like {restored}"),),
        "proposed",
        (Rival("remedy/kali-carbonicum", "Kali carbonicum", 0.1),),
    )


@pytest.fixture(scope="session")
def packaged() -> Vocabulary:
    return load_vocabulary()


@pytest.fixture(autouse=True)
def loaded_once(packaged: Vocabulary, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only for speed: a course without words of its own has the packaged vocabulary, which is loaded once a run."""
    load = Course.load_vocabulary
    monkeypatch.setattr(
        Course, "load_vocabulary", lambda own: load(own) if any(own.vocabulary_dir.rglob("*.tsv")) else packaged
    )


@pytest.fixture
def course(tmp_path: Path) -> Course:
    """Two lectures; the second holds the first garble too."""
    made = create_course(tmp_path / "course", CourseSettings(title="Evening course"))
    with made.open_store() as store:
        for name, sha, lines in (("one", "a" * 64, LINES), ("two", "b" * 64, LINES[:1])):
            heard = transcript(lines, sha)
            store.add_lecture(Lecture(name, f"Lecture {name}", sha))
            store.put_transcript("imported", heard)
            items = [correction(0, 5, 8, "Colley by Chromacum", "remedy/kali-bichromicum", "Kali bichromicum", 0.6)]
            if name == "one":
                items += [
                    correction(1, 1, 4, "Colley by Chromacum", "remedy/kali-bichromicum", "Kali bichromicum", 0.6),
                    correction(2, 4, 5, "sulfer", "remedy/sulphur", "Sulphur", 0.9),
                    correction(3, 2, 4, "thirty see", "potency/30c", "30C", 0.7),
                ]
            store.put_result(name, "corrections", "k", Corrections(heard.digest, tuple(items)))
            persons = ()
            if name == "one":
                at = next(i for i, w in enumerate(heard.words) if w.text == "Rohan")
                persons = (
                    PersonMention(
                        "p1",
                        "other identifier",
                        "Rohan",
                        WordRange(at, at + 1),
                        heard.words[at].time,
                        "a person",
                        doubtful=True,
                    ),
                )
            store.put_result(name, "extraction", "k", Extraction(heard.digest, persons=persons))
    return made


@pytest.fixture
def browser(course: Course) -> TestClient:
    """A client that has opened the printed address and sends what a browser sends with the desk's own forms."""
    application = make_app(course, port=PORT, keys=KEYS, who="Asha", work=False)
    client = TestClient(application, base_url=ORIGIN, follow_redirects=True)
    assert client.get("/open?key=opening-key", follow_redirects=False).status_code == 303
    client.headers["origin"] = ORIGIN
    client.headers["x-desk-token"] = KEYS.form
    return client


@pytest.fixture
def stranger(course: Course) -> TestClient:
    """A client that was not given the address."""
    application = make_app(course, port=PORT, keys=KEYS, who="Asha", work=False)
    return TestClient(application, base_url=ORIGIN, follow_redirects=False)


@pytest.fixture
def seen(course: Course) -> Callable[[], int]:
    def latest() -> int:
        with course.open_store() as store:
            return max((e.id for e in store.verdicts(with_undone=True)), default=0)

    return latest


@pytest.fixture
def running(tmp_path: Path) -> Iterator[Running]:
    """The program over an empty course, with the cheapest profile."""
    one = Running(create_course(tmp_path / "course", CourseSettings(title="Evening course", profile="testing")))
    yield one
    one.kill()


@pytest.fixture
def chromium() -> Iterator[Any]:
    if not CHROMIUM.is_file():
        missing(str(CHROMIUM))
    playwright = pytest.importorskip("playwright.sync_api")
    with playwright.sync_playwright() as driver:
        one = driver.chromium.launch(executable_path=str(CHROMIUM), args=ARGUMENTS)
        yield one
        one.close()


@pytest.fixture
def page(chromium: Any) -> Any:
    """A page that keeps in ``errors`` what went wrong in it."""
    one = chromium.new_page()
    one.set_default_timeout(PATIENCE_MS)
    one.errors = []
    one.on("pageerror", lambda error: one.errors.append(str(error)))
    one.on("console", lambda said: one.errors.append(said.text) if said.type == "error" else None)
    return one
