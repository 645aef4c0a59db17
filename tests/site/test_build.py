"""The built folder: complete, deterministic, incremental, harmless. No browser."""

from __future__ import annotations

import csv
import io
import json
import re
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote
from xml.etree import ElementTree

import msgspec
import pytest

from notesmith.errors import OutputError
from notesmith.library import MemoryLibrary
from notesmith.site import build
from notesmith.site.build import cache_of, forget
from notesmith.site.pages import hide_names, tells
from notesmith.transcribe.captions import load_captions
from notesmith.verdicts import PersonVerdict, VerdictEntry
from tests.site.library_fixture import (
    SETTINGS,
    GeneratedLibrary,
    hostile_session,
    kali_session,
    lycopodium_session,
    small_library,
    thuja_session,
)

MEDIA_FRAGMENT = re.compile(r"^t=\d+(\.\d)?$")  # W3C Media Fragments URI 1.0, 4.2.1: normal play time in seconds


def files(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


class Page(HTMLParser):
    def __init__(self, text: str) -> None:
        super().__init__()
        self.links: list[str] = []
        self.ids: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        held = dict(attrs)
        self.tags.append((tag, held))
        if held.get("id"):
            self.ids.append(held["id"] or "")
        for name in ("href", "src"):
            if held.get(name) and tag != "html":
                self.links.append(held[name] or "")


def test_two_builds_give_the_same_bytes(tmp_path, vocabulary):
    build(small_library(vocabulary), tmp_path / "a")
    build(small_library(vocabulary), tmp_path / "b")
    assert files(tmp_path / "a") == files(tmp_path / "b")


def test_a_second_build_reads_and_writes_nothing(tmp_path, vocabulary):
    library = small_library(vocabulary)
    build(library, tmp_path / "site")
    library.content = None  # type: ignore[assignment,method-assign]
    again = build(library, tmp_path / "site")
    assert (again.files_written, again.files_removed, again.lectures_read) == (0, 0, 0)


@pytest.mark.parametrize("change", ["edit", "insert first", "remove middle", "remove last", "reverse"])
def test_an_incremental_build_equals_one_from_nothing(tmp_path, vocabulary, change):
    contents = [kali_session(), thuja_session(), lycopodium_session()]
    before, after = list(contents), list(contents)
    if change == "edit":
        point = contents[1].extraction.points[1]
        points = list(contents[1].extraction.points)
        points[1] = msgspec.structs.replace(point, text="Warts like cauliflowers on a stalk.")
        extraction = msgspec.structs.replace(contents[1].extraction, points=tuple(points))
        after[1] = msgspec.structs.replace(contents[1], extraction=extraction)
    elif change == "insert first":
        before = contents[1:]
    elif change == "remove middle":
        del after[1]
    elif change == "remove last":
        del after[2]
    else:
        after.reverse()
    build(MemoryLibrary(SETTINGS, vocabulary, before), tmp_path / "site")
    report = build(MemoryLibrary(SETTINGS, vocabulary, after), tmp_path / "site")
    assert report.lectures_read == {"edit": 1, "insert first": 1}.get(change, 0)
    build(MemoryLibrary(SETTINGS, vocabulary, after), tmp_path / "fresh")
    assert files(tmp_path / "site") == files(tmp_path / "fresh")


def test_a_course_grown_session_by_session_equals_one_from_nothing(tmp_path, vocabulary, monkeypatch):
    """Lists and indexes of several pages, pages that show a part, and postings that go over to the large index."""
    for name, value in {
        "LIST_PAGE": {"cases": 1, "questions": 3, "sessions": 2},
        "LINKED_PAGES": 2,
        "INDEX_LINKS": 3,
        "FAR": 2,
        "MOST_SESSIONS": 3,
        "MOST_TEXT": 9000,
        "INDEX_PAGE": 2,
    }.items():
        monkeypatch.setattr(f"notesmith.site.pages.{name}", value)
    monkeypatch.setattr("notesmith.site.index.PERIOD", 4)
    kinds = [kali_session(), thuja_session(), lycopodium_session(), hostile_session()]
    contents = [
        msgspec.structs.replace(one, lecture=msgspec.structs.replace(one.lecture, id=f"s-{n}", title=f"Session {n}"))
        for n, one in ((n, kinds[n % len(kinds)]) for n in range(9))
    ]
    for count in range(1, len(contents) + 1):
        build(MemoryLibrary(SETTINGS, vocabulary, contents[:count]), tmp_path / "site")
    steps = {"grown": contents, "one less": contents[:4] + contents[5:], "one put in": contents[:2] + contents[3:]}
    for name, wanted in steps.items():
        build(MemoryLibrary(SETTINGS, vocabulary, wanted), tmp_path / "site")
        build(MemoryLibrary(SETTINGS, vocabulary, wanted), tmp_path / name)
        assert files(tmp_path / "site") == files(tmp_path / name), name
    for name in ("sessions/page-3.html", "cases/page-6.html", "questions/page-1.html", "remedies/index-2.html"):
        assert (tmp_path / "site" / name).is_file(), name
    build(MemoryLibrary(SETTINGS, vocabulary, contents), tmp_path / "site")
    check_links(tmp_path / "site")
    build(MemoryLibrary(SETTINGS, vocabulary, [contents[2]]), tmp_path / "site")
    build(MemoryLibrary(SETTINGS, vocabulary, [contents[2]]), tmp_path / "one")
    assert files(tmp_path / "site") == files(tmp_path / "one")


def test_a_page_shows_first_what_does_more_than_name_its_subject(tmp_path, vocabulary, monkeypatch):
    monkeypatch.setattr("notesmith.site.pages.MOST_SESSIONS", 2)
    taught = [
        msgspec.structs.replace(c, lecture=msgspec.structs.replace(c.lecture, id=f"s-{n}"))
        for n, c in enumerate((thuja_session(), thuja_session(), thuja_session()))
    ]
    bare = msgspec.structs.replace(
        taught[2].extraction, points=(), vignettes=(), comparisons=(), prescriptions=(), questions=()
    )
    contents = [taught[0], taught[1], msgspec.structs.replace(taught[2], extraction=bare)]
    build(MemoryLibrary(SETTINGS, vocabulary, contents), tmp_path / "site")
    page = (tmp_path / "site/remedies/thuja-occidentalis.html").read_text("utf-8")
    assert "Shown are 2 of 3 sessions" in page
    assert "s-0.html" in page and "s-1.html" in page and "s-2.html" not in page


def test_one_more_session_touches_as_much_however_long_the_course_is(tmp_path, vocabulary):
    written = {}
    for count in (20, 120):  # both with as many files of the large index
        build(GeneratedLibrary(vocabulary, count, points=8, spoken=8), tmp_path / str(count))
        one_more = build(GeneratedLibrary(vocabulary, count + 1, points=8, spoken=8), tmp_path / str(count))
        assert one_more.lectures_read == 1
        written[count] = one_more.files_written
    assert written[120] < written[20] * 1.2


@pytest.mark.parametrize("name", ["state.db", "lectures/2026-03-09-thuja-1.bin"])
@pytest.mark.parametrize("damage", ["other bytes", "gone"])
def test_a_damaged_cache_costs_time_only(tmp_path, vocabulary, name, damage):
    contents = [kali_session(), thuja_session()]
    build(MemoryLibrary(SETTINGS, vocabulary, contents), tmp_path / "site")
    path = cache_of(tmp_path / "site") / name
    if damage == "gone":
        path.unlink()
    else:
        path.write_bytes(b"?" * 5000)
    changed = msgspec.structs.replace(
        contents[1], lecture=msgspec.structs.replace(contents[1].lecture, title="Another title")
    )
    build(MemoryLibrary(SETTINGS, vocabulary, [contents[0], changed]), tmp_path / "site")
    build(MemoryLibrary(SETTINGS, vocabulary, [contents[0], changed]), tmp_path / "fresh")
    assert files(tmp_path / "site") == files(tmp_path / "fresh")


def test_what_a_killed_build_left_half_written_is_not_published(tmp_path, vocabulary):
    site = tmp_path / "site"
    build(small_library(vocabulary), site)
    wanted = files(site)
    forget(site)  # so a build begins that changes anything
    (site / "audio").mkdir(exist_ok=True)
    for folder in (site, site / "audio", site / "sessions"):
        (folder / ".x.mp3.abc.part").write_bytes(b"half")
    build(small_library(vocabulary), site)
    assert files(site) == wanted


def test_a_deleted_session_leaves_no_trace(tmp_path, vocabulary):
    build(small_library(vocabulary), tmp_path / "site")
    contents = [kali_session(), lycopodium_session()]
    build(MemoryLibrary(SETTINGS, vocabulary, contents), tmp_path / "site")
    for folder in (tmp_path / "site", cache_of(tmp_path / "site")):
        for name, body in files(folder).items():
            assert "thuja-1" not in name and b"thuja-1" not in body and b"brittle as glass" not in body, name


def test_all_links_lead_somewhere(site_folder):
    assert check_links(site_folder) > 20


def check_links(site_folder: Path) -> int:
    """Fail where a link leads nowhere; returns the number of pages."""
    pages = {p: Page(p.read_text("utf-8")) for p in site_folder.rglob("*.html")}
    for path, page in pages.items():
        assert len(page.ids) == len(set(page.ids)), path
        for link in page.links:
            if link.startswith(("http:", "https:", "data:")):
                assert link == "http://purl.org/dc/terms/", link
                continue
            name, _, anchor = link.partition("#")
            target = (path.parent / unquote(name.partition("?")[0])).resolve() if name else path
            assert target.is_file(), f"{path.name}: {link}"
            if anchor and target.suffix == ".html" and not MEDIA_FRAGMENT.match(anchor):
                assert unquote(anchor) in pages[target].ids, f"{path.name}: {link}"
    return len(pages)


def test_nothing_on_a_page_runs_or_calls_out(site_folder):
    for path in site_folder.rglob("*.html"):
        page = Page(path.read_text("utf-8"))
        policy = [a for tag, a in page.tags if tag == "meta" and a.get("http-equiv") == "Content-Security-Policy"]
        assert policy
        assert "default-src 'none'" in (policy[0]["content"] or "")
        for tag, attributes in page.tags:
            assert not any(name.startswith("on") or name == "style" for name in attributes), (path, tag)
            if tag == "script":
                assert attributes.get("src", "").startswith(("static/", "../static/"))
            assert tag not in ("iframe", "object", "embed", "style", "img")
    hostile = (site_folder / "sessions/2026-03-23-hostile.html").read_text("utf-8")
    assert "<script>window" not in hostile
    assert "\u202e" not in hostile
    assert "\u2066" not in hostile


def test_every_page_has_the_standing_caution(site_folder):
    for path in site_folder.rglob("*.html"):
        text = path.read_text("utf-8")
        assert "not medical advice" in text or 'http-equiv="refresh"' in text, path


def test_a_symptom_page_leads_to_the_cases_it_stands_in(site_folder):
    page = Page((site_folder / "symptoms/skin--warts.html").read_text("utf-8"))
    assert any("2026-03-09-thuja-1.html#case-" in link for link in page.links)


def test_a_clue_says_enough_to_guess_from():
    assert hide_names("Thuja and.", {"thuja"}) == "This remedy and."
    assert not tells(hide_names("Thuja and.", {"thuja"}))
    assert tells("Warts like figs ooze.")


def test_names_of_persons_are_nowhere(tmp_path, site_folder, vocabulary):
    for folder in (site_folder, cache_of(site_folder)):
        for name, body in files(folder).items():
            if not name.endswith(".mp3"):
                assert b"Farrukh" not in body and b"farrukh" not in body, name
    ruled = (VerdictEntry(1, PersonVerdict("show", "Farrukh"), "editor", "2026-03-01T00:00:00Z"),)
    library = MemoryLibrary(SETTINGS, vocabulary, [kali_session()], verdicts=ruled)
    build(library, tmp_path / "site")
    assert "Farrukh asks" in (tmp_path / "site/sessions/2026-03-02-kali-bichromicum.html").read_text("utf-8")


def test_the_published_sound_is_silent_where_a_name_was_said(site_folder):
    from notesmith.recording import clip
    from notesmith.transcript import TimeSpan

    content = kali_session()
    span = content.extraction.persons[0].time
    sound = site_folder / "audio/2026-03-02-kali-bichromicum.mp3"
    word = content.transcript.words[content.extraction.persons[0].words.start].time
    inside = clip(sound, TimeSpan(word.start_ms + 60, word.end_ms - 60))
    outside = clip(sound, TimeSpan(max(0, span.start_ms - 2000), max(1, span.start_ms - 1000)))
    assert abs(inside).max() < 0.01 < abs(outside).max()


def test_captions_parse_and_stand_in_order(site_folder):
    for path in site_folder.glob("sessions/*.vtt"):
        transcript = load_captions(path)
        starts = [word.time.start_ms for word in transcript.words]
        assert len(starts) > 10
        assert starts == sorted(starts)


def test_flashcards_are_plain_csv_and_run_nothing(site_folder):
    rows = list(
        csv.reader(io.StringIO((site_folder / "sessions/2026-03-23-hostile.flashcards.csv").read_text("utf-8")))
    )
    assert rows[0] == ["Question", "Answer", "Session", "Seconds"]
    assert all(not cell.startswith(("=", "+", "-", "@")) for row in rows for cell in row)


def test_the_feed_is_atom(site_folder):
    # RFC 4287: feed and entries need id, title, updated; an author stands in the feed.
    atom = "{http://www.w3.org/2005/Atom}"
    feed = ElementTree.parse(site_folder / "feed.xml").getroot()
    assert feed.tag == f"{atom}feed"
    assert feed.find(f"{atom}author/{atom}name") is not None
    entries = feed.findall(f"{atom}entry")
    assert len(entries) == 4
    for element in (feed, *entries):
        for name in ("id", "title", "updated"):
            assert element.findtext(f"{atom}{name}")
    assert entries[0].findtext(f"{atom}updated") == "2026-03-23T00:00:00Z"


def test_metadata_names_the_clips(site_folder):
    value = json.loads((site_folder / "sessions/2026-03-09-thuja-1.jsonld").read_text("utf-8"))
    # schema.org: a LearningResource that is an AudioObject; parts are Clips with offsets in seconds.
    assert value["@type"] == ["LearningResource", "AudioObject"]
    assert [p["startOffset"] for p in value["hasPart"]] == sorted(p["startOffset"] for p in value["hasPart"])
    assert {p["@type"] for p in value["hasPart"]} == {"Clip"}


def test_a_folder_with_other_files_is_left_alone(tmp_path, vocabulary):
    (tmp_path / "site").mkdir()
    (tmp_path / "site/thesis.txt").write_text("mine")
    with pytest.raises(OutputError, match="not of a site"):
        build(small_library(vocabulary), tmp_path / "site")
    assert (tmp_path / "site/thesis.txt").read_text() == "mine"


def test_a_remedy_under_a_new_name_redirects(tmp_path, vocabulary):
    from notesmith.vocabulary import Vocabulary

    thuja = vocabulary["remedy/thuja-occidentalis"]
    renamed = msgspec.structs.replace(
        thuja, pref_label="Tree of life", facts={**thuja.facts, "formerly": ("remedy/thuja",)}
    )
    changed = Vocabulary({**vocabulary.concepts, thuja.id: renamed}, vocabulary.relations, "changed")
    build(MemoryLibrary(SETTINGS, changed, [thuja_session()]), tmp_path / "site")
    for old in ("tree-of-life", "thuja"):
        assert 'content="0; url=thuja-occidentalis.html"' in (tmp_path / f"site/remedies/{old}.html").read_text("utf-8")


def test_a_huge_word_stays_a_word(site_folder):
    size = (site_folder / "sessions/2026-03-23-hostile.html").stat().st_size
    assert size < 600_000
    assert len(hostile_session().transcript.words) < 100


@pytest.mark.parametrize(
    ("wanted", "status", "expected"),
    [("bytes=0-3", 206, slice(0, 4)), ("bytes=5-", 206, slice(5, None)), ("bytes=-4", 206, slice(-4, None)),
     ("bytes=999999999-", 416, None), ("pages=1-2", 200, slice(None))],
)  # fmt: skip
def test_the_preview_serves_parts_of_a_file(address, site_folder, wanted, status, expected):
    # RFC 9110, 14.1.2 (byte ranges) and 15.5.17 (416)
    import httpx

    body = (site_folder / "feed.xml").read_bytes()
    answer = httpx.get(f"{address}feed.xml", headers={"Range": wanted})
    assert answer.status_code == status
    assert answer.content == (b"" if expected is None else body[expected])
