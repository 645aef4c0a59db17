"""Spellings in documents: planted errors are found and mended, ordinary English and accepted names are left alone."""

import io
import zipfile
from pathlib import Path

import pytest

from notesmith.documents import DocumentLine, read_lines
from notesmith.errors import DocumentError
from notesmith.spelling import SpellingChecker
from notesmith.vocabulary import load_vocabulary


@pytest.fixture(scope="module")
def checker() -> SpellingChecker:
    return SpellingChecker(load_vocabulary())


def written(checker: SpellingChecker, path: Path, text: str) -> dict[str, str]:
    path.write_text(text, encoding="utf-8")
    return {f.written: f.preferred for f in checker.check(path)}


@pytest.mark.parametrize(
    ("wrong", "right"),
    [
        ("Lycopodum", "Lycopodium"),
        ("Natrum muraticum", "Natrum muriaticum"),
        ("Rhus toxicodendrum", "Rhus toxicodendron"),
        ("Pulsatila", "Pulsatilla"),
        ("Causticm", "Causticum"),
        ("Hahneman", "Hahnemann"),
        ("Kreosotm", "Kreosotum"),
        ("Sulfur", "Sulphur"),
        ("Thuya ocidentalis", "Thuja occidentalis"),
        ("Bryonea", "Bryonia"),
        ("Arsenicum albun", "Arsenicum album"),
        ("Medorhinum", "Medorrhinum"),
    ],
)
def test_a_planted_error_is_found(checker: SpellingChecker, tmp_path: Path, wrong: str, right: str) -> None:
    found = written(checker, tmp_path / "a.md", f"# Handout\nIn {wrong} the patient is chilly.\n")
    assert list(found) == [wrong]
    assert found[wrong].split()[0] == right.split()[0]


@pytest.mark.parametrize(
    "text",
    [
        "Nat mur, Kali bich and Calc carb are short spoken forms; Monkshood is a common name.",
        "Burning sulfur smells. She sold silica sand, borax and coffee at the market in Honolulu.",
        "The quick brown fox jumps over the lazy dog while Gabriela Espinoza repairs a carburettor.",
        "Thirty patients came; a psychotic episode, boric acid, three o'clock in the morning.",
        "`Lycopodum` in code, and [a link](http://x.y/Lycopodum).",
    ],
)
def test_ordinary_writing_is_left_alone(checker: SpellingChecker, tmp_path: Path, text: str) -> None:
    assert written(checker, tmp_path / "a.md", text) == {}


def test_a_spelling_the_course_allows_is_not_reported(tmp_path: Path) -> None:
    allowing = SpellingChecker(load_vocabulary(), allowed=("Sulfur",))
    assert written(allowing, tmp_path / "a.txt", "Sulfur is hot.") == {}


def test_mending_keeps_the_rest_and_a_backup(checker: SpellingChecker, tmp_path: Path) -> None:
    path = tmp_path / "a.html"
    text = "<p title='Lycopodum'>In <b>Lycopodum</b> &amp; Pulsatila.</p>\n"
    path.write_text(text)
    backup = checker.mend(path, checker.check(path))
    assert path.read_text() == "<p title='Lycopodum'>In <b>Lycopodium</b> &amp; Pulsatilla.</p>\n"
    assert backup.read_text() == text
    assert checker.check(path) == ()


def docx(path: Path, *paragraphs: str, extra: str = "") -> Path:
    ns = "http://schemas.openxmlformats.org/wordprocessingml/2006/main"
    runs = "".join(f"<w:p>{''.join(f'<w:r><w:t>{r}</w:t></w:r>' for r in p.split('|'))}</w:p>" for p in paragraphs)
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("word/document.xml", f'{extra}<w:document xmlns:w="{ns}"><w:body>{runs}</w:body></w:document>')
        archive.writestr("word/styles.xml", "<x/>")
    return path


def test_a_word_document_is_checked_and_mended_across_runs(checker: SpellingChecker, tmp_path: Path) -> None:
    path = docx(tmp_path / "a.docx", "In Lyco|podum the", "nothing here", "and Pulsatila")
    found = checker.check(path)
    assert [(f.line, f.written) for f in found] == [(1, "Lycopodum"), (3, "Pulsatila")]
    checker.mend(path, found)
    assert [line.text for line in read_lines(path)] == ["In Lycopodium the", "nothing here", "and Pulsatilla"]
    assert "word/styles.xml" in zipfile.ZipFile(path).namelist()


def test_hostile_word_documents_are_one_clear_line(tmp_path: Path) -> None:
    bomb = tmp_path / "bomb.docx"
    with zipfile.ZipFile(bomb, "w", zipfile.ZIP_DEFLATED) as archive, archive.open("word/document.xml", "w") as file:
        for _ in range(300):
            file.write(b"\0" * (1 << 20))
    entities = docx(tmp_path / "e.docx", "x", extra='<!DOCTYPE d [<!ENTITY a "aaaa">]>')
    junk = tmp_path / "junk.docx"
    junk.write_bytes(b"PK\x03\x04" + b"x" * 100)
    empty = tmp_path / "empty.docx"
    empty.write_bytes(io.BytesIO().getvalue())
    for path in (bomb, entities, junk, empty):
        with pytest.raises(DocumentError):
            read_lines(path)


@pytest.mark.parametrize(
    "text",
    [
        "The navels and the tapeworms, grouting and stampeding, her intellect's caprices.",  # regular endings
        "We met Mr Groening and Catullus in the garden.",  # names are no slips in common nouns
        "The rumps of the horses and the scorns of men.",  # a slip rarely touches the first letter
        "Prescribing is for practitioners; Aphorisms are numbered.",
        "Mitchell's book and Laura's coat lay on Thyme's Lane.",
    ],
)
def test_ordinary_words_and_names_are_left_alone(checker: SpellingChecker, text: str) -> None:
    assert list(checker.check_line(DocumentLine(1, text))) == []


def test_a_slip_after_a_name_is_still_found(checker: SpellingChecker) -> None:
    (found,) = checker.check_line(DocumentLine(1, "We compare Pulsatila with others."))
    assert found.preferred == "Pulsatilla"
