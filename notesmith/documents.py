"""The text of documents with its places: Markdown, plain text, WebVTT, SubRip, HTML and DOCX.

A document is a list of lines; each line knows how to be written back. Only text a reader sees is given out: no tags,
no addresses, no code, no timing lines.
"""

from __future__ import annotations

import html
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from xml.etree import ElementTree

import msgspec

from notesmith.errors import DocumentError

ENDINGS = frozenset({".md", ".markdown", ".txt", ".vtt", ".srt", ".html", ".htm", ".docx"})
MAX_BYTES = 64 << 20
MAX_UNPACKED_BYTES = 256 << 20  # a DOCX that unpacks to more is a bomb, not a handout
_WORD_NS = "{http://schemas.openxmlformats.org/wordprocessingml/2006/main}"  # ECMA-376


class DocumentLine(msgspec.Struct, frozen=True):
    """A line's visible text. ``number`` counts from 1: a line of the file, a paragraph of a DOCX."""

    number: int
    text: str


def read_lines(path: Path) -> tuple[DocumentLine, ...]:
    """The visible lines of a document. Raises DocumentError."""
    ending = path.suffix.lower()
    if ending not in ENDINGS:
        raise DocumentError(f"{path}: the ending {ending or '(none)'} is not known; use {', '.join(sorted(ENDINGS))}")
    if ending == ".docx":
        return tuple(DocumentLine(n, text) for n, text in enumerate(docx_paragraphs(path), start=1) if text.strip())
    lines = read_text(path).split("\n")
    visible = {".html": _visible_html, ".htm": _visible_html, ".md": _visible_markdown, ".markdown": _visible_markdown,
               ".vtt": _visible_captions, ".srt": _visible_captions}.get(ending, list)(lines)  # fmt: skip
    return tuple(DocumentLine(n, text) for n, text in enumerate(visible, start=1) if text.strip())


def read_text(path: Path) -> str:
    """Raises DocumentError where the file is too large, unreadable or not UTF-8."""
    try:
        if path.stat().st_size > MAX_BYTES:
            raise DocumentError(f"{path}: is larger than {MAX_BYTES >> 20} MB; check it in parts")
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise DocumentError(f"{path}: is not UTF-8 at byte {error.start}; save it as UTF-8") from error
    except OSError as error:
        raise DocumentError(f"{path}: cannot be read ({error.strerror})") from error


def _hide(pattern: re.Pattern[str], text: str) -> str:
    return pattern.sub(lambda match: "".join(c if c == "\n" else " " for c in match[0]), text)


# What is opened and never closed goes on to the end, as in CommonMark 4.5 and the HTML standard.
_MD_HIDDEN = re.compile(
    r"(?s)^---\n.*?\n---\n|^(```|~~~).*?(?:^\1|\Z)|`[^`\n]*`|(?<=\])\([^()\n]*\)|<[^<>\n]*>|https?://\S+", re.MULTILINE
)
_HTML_HIDDEN = re.compile(r"(?is)<(script|style|code|pre)\b.*?(?:</\1\s*>|\Z)|<!--.*?(?:-->|\Z)|<[^<>]*>")
_CAPTION_HIDDEN = re.compile(r"^(?:WEBVTT.*|\d+|.*-->.*|NOTE\b.*)$|<[^<>\n]*>", re.MULTILINE)


def _visible_markdown(lines: list[str]) -> list[str]:
    return _hide(_MD_HIDDEN, "\n".join(lines)).split("\n")


def _visible_html(lines: list[str]) -> list[str]:
    hidden = _hide(_HTML_HIDDEN, "\n".join(lines))
    # An entity stands for one letter; blanks after it keep the columns.
    return [re.sub(r"&#?\w+;", lambda m: html.unescape(m[0]).ljust(len(m[0])), line) for line in hidden.split("\n")]


def _visible_captions(lines: list[str]) -> list[str]:
    return _hide(_CAPTION_HIDDEN, "\n".join(lines)).split("\n")


# ---------------------------------------------------------------- DOCX (ECMA-376)


def _opened(path: Path) -> zipfile.ZipFile:
    try:
        archive = zipfile.ZipFile(path)
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise DocumentError(f"{path}: is not a Word document or is damaged ({error}); save it again") from error
    if sum(entry.file_size for entry in archive.infolist()) > MAX_UNPACKED_BYTES:
        archive.close()
        raise DocumentError(f"{path}: unpacks to more than {MAX_UNPACKED_BYTES >> 20} MB; that is no handout")
    return archive


def _document_xml(path: Path, archive: zipfile.ZipFile) -> bytes:
    try:
        with archive.open("word/document.xml") as file:
            body = file.read(MAX_UNPACKED_BYTES + 1)
    except (KeyError, zipfile.BadZipFile, zlib.error, OSError, EOFError, RuntimeError, NotImplementedError) as error:
        raise DocumentError(f"{path}: has no Word text that can be read; save it again") from error
    if len(body) > MAX_UNPACKED_BYTES or b"<!DOCTYPE" in body[:4096] or b"<!ENTITY" in body:
        raise DocumentError(f"{path}: holds XML no word processor writes; save it again from your word processor")
    return body


def _tree(path: Path, body: bytes) -> ElementTree.Element:
    try:
        return ElementTree.fromstring(body)
    except (ElementTree.ParseError, ValueError) as error:
        raise DocumentError(f"{path}: its text is damaged ({error}); save it again") from error


def docx_paragraphs(path: Path) -> Iterator[str]:
    """The paragraphs of a Word document, tables included, in order."""
    with _opened(path) as archive:
        root = _tree(path, _document_xml(path, archive))
    for paragraph in root.iter(f"{_WORD_NS}p"):
        yield "".join(node.text or "" for node in paragraph.iter(f"{_WORD_NS}t"))


def docx_replaced(path: Path, replacements: dict[int, list[tuple[int, int, str]]]) -> bytes:
    """The document's bytes with spans of paragraphs replaced; formatting of the first touched run is kept.

    ``replacements`` maps paragraph numbers (from 1) to (start, end, text) spans in their text, not overlapping.
    """
    with _opened(path) as archive:
        body = _document_xml(path, archive)
        for match in re.finditer(rb'xmlns:(\w+)="([^"]+)"', body[:8192]):
            ElementTree.register_namespace(match[1].decode(), match[2].decode())
        root = _tree(path, body)
        for number, paragraph in enumerate(root.iter(f"{_WORD_NS}p"), start=1):
            for start, end, text in sorted(replacements.get(number, ()), reverse=True):
                _replace_in_runs(list(paragraph.iter(f"{_WORD_NS}t")), start, end, text)
        written = io.BytesIO()
        with zipfile.ZipFile(written, "w", zipfile.ZIP_DEFLATED) as fresh:
            for entry in archive.infolist():
                data = archive.read(entry)
                if entry.filename == "word/document.xml":
                    data = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
                fresh.writestr(entry, data)
    return written.getvalue()


def _replace_in_runs(nodes: list[ElementTree.Element], start: int, end: int, text: str) -> None:
    at = 0
    placed = False
    for node in nodes:
        own = node.text or ""
        first, last = max(start - at, 0), min(end - at, len(own))
        if first < last:
            node.text = own[:first] + ("" if placed else text) + own[last:]
            placed = True
        at += len(own)
