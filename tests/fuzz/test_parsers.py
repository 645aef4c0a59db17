"""Whatever is given to a parser, it succeeds or says in one line what is wrong: no other error, no hang, no bloat.

``NOTESMITH_FUZZ_CASES=10000 pytest tests/fuzz`` runs that many cases for each parser.
"""

from __future__ import annotations

import io
import sqlite3
import zipfile
from collections.abc import Iterator
from pathlib import Path

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith import backlog, care
from notesmith.course import Course, open_course
from notesmith.documents import ENDINGS, docx_paragraphs, read_lines
from notesmith.lecture import CourseSettings, Lecture
from notesmith.notes import merge_edited
from notesmith.recording import decode_pieces, probe
from notesmith.spelling import SpellingChecker
from notesmith.store import Store
from notesmith.transcribe import parse_captions
from notesmith.vocabulary import load as loading
from notesmith.vocabulary.importing import plan_import
from notesmith.vocabulary.vocabulary import Vocabulary
from tests.fuzz.hostile import as_file, bounded_growth, cases, damaged, only_our_errors

VTT = b"WEBVTT - a title\n\nNOTE hello\n\n1\n00:00:01.000 --> 00:00:04.500 align:start\n<v Mirela>Thuja <i>has</i> warts.\n\n00:05.000 --> 00:09.000\n- Sepia &amp; Silica\n"
SRT = b"1\n00:00:01,000 --> 00:00:04,500\nThuja has warts.\n\n2\n00:00:05,000 --> 00:00:09,000\n<i>Sepia</i>\n"
STAMPED = b"[00:00:01] Lecturer: Thuja has warts.\n0:05 Sepia is indifferent.\n(1:02:03) Silica is chilly.\n"
JSON = b'{"language": "en", "segments": [{"start": 0.0, "end": 4.5, "text": " Thuja", "speaker": "A", "words": [{"word": " Thuja", "start": 0.1, "end": 0.4, "probability": 0.9}]}]}'
TSV = b"id\tprefLabel\taltLabel\thiddenLabel\tbroader\trelated\tsource\nremedy/thuja\tThuja occidentalis\tThuja|Thuj (ambiguous)\tTouya\t\t\tour own\n"
TOML = b'title = "Course"\nlanguage = "en"\naliases = ["A", "B"]\nprofile = "fast"\n[publish]\naudio = true\n'
MARKDOWN = b'# Title\n\n> quote\n\n- item `code`\n\n[link](http://x.example/ "t") **Thuja ocidentalis** | a | b |\n'
HTML = b"<!DOCTYPE html><html><script>x</script><body><p>Thuja &eacute; <b>ocidentalis</b><!-- c --></p></body></html>"


def docx(body: str, *, more: dict[str, bytes] | None = None) -> bytes:
    space = "http://schemas.openxmlformats.org/wordprocessingml/2006/main"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("word/document.xml", f'<w:document xmlns:w="{space}"><w:body>{body}</w:body></w:document>')
        for name, data in (more or {}).items():
            archive.writestr(name, data)
    return out.getvalue()


DOCX = docx("<w:p><w:r><w:t>Thuja ocidentalis</w:t></w:r><w:r><w:t> has warts</w:t></w:r></w:p>")


@pytest.fixture(autouse=True)
def bounded() -> Iterator[None]:
    with bounded_growth():
        yield


@given(
    st.one_of(
        st.tuples(
            damaged(VTT, pieces=("WEBVTT\n\n", "00:01.000 --> 00:02.000\n", "STYLE\n", "<00:01.000>")), st.just("vtt")
        ),
        st.tuples(damaged(SRT, pieces=("1\n", "00:00:01,000 --> 00:00:02,000\n")), st.just("srt")),
        st.tuples(damaged(STAMPED, pieces=("[00:01]", "1:02:03", "Speaker: ")), st.just("txt")),
        st.tuples(damaged(JSON, pieces=('"start":', '"words":[', '{"segments":', "1e308")), st.just("json")),
    )
)
@cases
def test_captions(given_):
    data, form = given_
    with only_our_errors():
        transcript = parse_captions(data, form)
        assert transcript.words
        spans = [word.time for word in transcript.words]
        assert all(0 <= span.start_ms <= span.end_ms for span in spans)
        assert msgspec.json.decode(msgspec.json.encode(transcript), type=type(transcript)) == transcript


@given(damaged(TSV, pieces=("\t", "|", "remedy/", "rubric/", " (ambiguous)", "\n#", "id\tprefLabel")))
@cases
def test_vocabulary_file(data):
    with as_file(data, "remedies.tsv") as path, only_our_errors():
        for concept in loading.read_concepts(path):
            assert concept.pref_label


@given(
    damaged(b"remedy\trelation\tother\tbook\tsource\nremedy/a\tcomplementary\tremedy/b\tbook/x\tour own\n"),
    damaged(b"id\tlabel\tspoken\tsource\nremedy/thuja\tThuja\tthooya\tour own\n"),
)
@cases
def test_vocabulary_layer(relations, spoken):
    with as_file(TSV, "remedies.tsv") as path, pytest.MonkeyPatch.context() as patch, only_our_errors():
        (path.parent / "relations.tsv").write_bytes(relations)
        (path.parent / "spoken.tsv").write_bytes(spoken)
        patch.setattr(loading, "packaged_vocabulary_dir", lambda: path.parent)
        loading.load_vocabulary()


@given(
    damaged(b'label,also\nThuja,Touya|Tuya\n"Sepia, the ink",\n', TSV, pieces=(",", '"', ";")),
    st.sampled_from([".csv", ".tsv", ".txt"]),
)
@cases
def test_term_import(data, ending):
    with as_file(data, f"terms{ending}") as path, only_our_errors():
        plan_import(path, _small_vocabulary(), "remedy")


def _small_vocabulary() -> Vocabulary:
    with as_file(TSV, "remedies.tsv") as path:
        concepts = {concept.id: concept for concept in loading.read_concepts(path)}
    return Vocabulary(concepts, (), "0")


@given(damaged(TOML, pieces=("[publish]\n", "title=", '"""', "= [" * 500, "a." * 3000 + "b=1", "{a={a=" * 300)))
@cases
def test_course_settings(data):
    with as_file(data, "course.toml") as path, only_our_errors():
        open_course(path.parent)


@given(damaged(b"# A book\n\nThuja has warts.\n", MARKDOWN))
@cases
def test_textbook(data):
    with as_file(data, "book.md") as path, only_our_errors():
        lines = Course(path.parent.resolve(), CourseSettings(title="x", textbooks=("book.md",))).textbook_lines()
        assert all(line.strip() for line in lines)


CHECKER = SpellingChecker(_small_vocabulary())


@given(
    damaged(MARKDOWN, HTML, VTT, pieces=("```\n", "<script>", "<!--", "](", "---\n", "Thuja ocidentalis")),
    st.sampled_from(sorted(ENDINGS - {".docx"})),
)
@cases
def test_documents(data, ending):
    with as_file(data, f"d{ending}") as path, only_our_errors():
        read_lines(path)
        CHECKER.check(path)


@given(damaged(DOCX))
@cases
def test_damaged_docx(data):
    with as_file(data, "d.docx") as path, only_our_errors():
        list(docx_paragraphs(path))
        CHECKER.check(path)


@given(
    damaged(
        b"<w:p><w:r><w:t>Thuja ocidentalis</w:t></w:r></w:p>",
        pieces=("<w:p>" * 2000, "<w:t>", "</w:t>", "<!ENTITY", "&lol;"),
    )
)
@cases
def test_docx_of_odd_xml(data):
    with as_file(docx(data.decode("latin-1")), "d.docx") as path, only_our_errors():
        CHECKER.check(path)


@pytest.fixture(scope="module")
def store_file(tmp_path_factory) -> bytes:
    path = tmp_path_factory.mktemp("store") / "course.db"
    with Store(path) as store:
        store.add_lecture(Lecture("a", "A", "0" * 64))
        store.put_transcript("imported", parse_captions(VTT, "vtt"))
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode = DELETE")
    connection.close()
    return path.read_bytes()


@given(place=st.floats(0, 1), bytes_=st.binary(min_size=1, max_size=40), cut=st.one_of(st.none(), st.floats(0, 1)))
@cases
def test_store_file(store_file, place, bytes_, cut):
    at = int(place * len(store_file))
    data = store_file[:at] + bytes_ + store_file[at + len(bytes_) :]
    data = data if cut is None else data[: int(cut * len(data))]
    with as_file(data, "course.db") as path, only_our_errors(), Store(path) as store:
        for lecture in store.lectures():
            store.transcripts(lecture.recording_sha256)
        store.verdicts()
        store.check()


@given(damaged(b"SQLite format 3\0" + b"\0" * 200))
@cases
def test_store_of_random_bytes(data):
    with as_file(data, "course.db") as path, only_our_errors(), Store(path) as store:
        store.lectures()


@given(damaged(b'{"format": 1, "title": "x", "files": [{"name": "course.toml", "size": 1, "sha256": "00"}]}'))
@cases
def test_backup_manifest(data):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("backup.json", data)
        archive.writestr("course.toml", TOML)
    with as_file(out.getvalue(), "b.zip") as path, only_our_errors():
        care.restore(path, path.parent / "again")


@given(damaged(b"1999/a.wav\n# comment\n"))
@cases
def test_backlog_list(data):
    with as_file(data, "list") as path, only_our_errors():
        list(backlog.find_files(backlog.read_list(path)))


WAV = (b"RIFF\x24\x10\0\0WAVEfmt \x10\0\0\0\x01\0\x01\0\x80\x3e\0\0\0\x7d\0\0\x02\0\x10\0data\0\x10\0\0" + b"\x10\x20" * 2048)  # fmt: skip


@given(
    damaged(
        WAV, b"ID3\x04\0\0\0\0\0\0" + b"\xff\xfb\x90\x64" + b"\0" * 413, b"OggS\0\x02" + b"\0" * 200, b"fLaC\0\0\0\x22"
    )
)
@cases
def test_recording(data):
    with as_file(data, "r.wav") as path, only_our_errors():
        probe(path)
        for _ in decode_pieces(path):
            pass


TEXTS = st.lists(
    st.sampled_from(["# A\n", "line\n", "other\n", "\n", "| a | b |\n", "> q\n", "\0\n", "no end"]), max_size=12
).map("".join)


@given(TEXTS, TEXTS, TEXTS)
@cases
def test_merging_edited_notes(base, edited, rebuilt):
    with only_our_errors():
        merge_edited(base, edited, rebuilt)


def bomb(size: int) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("word/document.xml", "w") as file:
        for _ in range(size >> 20):
            file.write(b" " * (1 << 20))
    return out.getvalue()


def lying_bomb() -> bytes:
    """An archive whose directory says the text is short (APPNOTE.TXT 4.4.9: uncompressed size)."""
    data = bytearray(bomb(64 << 20))
    at = data.rfind(b"PK\x01\x02")
    data[at + 24 : at + 28] = (10).to_bytes(4, "little")
    return bytes(data)


@pytest.mark.parametrize("make", [lambda: bomb(300 << 20), lying_bomb, lambda: docx("<w:p>" * 100_000),
                                  lambda: docx("", more={f"x{n}": b"" for n in range(20_000)})])  # fmt: skip
def test_zip_bombs(make, tmp_path):
    path = tmp_path / "b.docx"
    path.write_bytes(make())
    with only_our_errors():
        CHECKER.check(path)


def test_deep_markdown_and_huge_words(tmp_path: Path):
    for number, text in enumerate(["> " * 50_000, "[" * 50_000, "*" * 50_000, "Thuja" * 50_000, "<" * 200_000, "`" * 50_001,
                                   "](" * 50_000, "---\n" * 30_000, "<!--" * 30_000, "<script>" * 20_000]):  # fmt: skip
        for ending in (".md", ".html"):
            path = tmp_path / f"{number}{ending}"
            path.write_text(text, encoding="utf-8")
            with only_our_errors():
                CHECKER.check(path)
