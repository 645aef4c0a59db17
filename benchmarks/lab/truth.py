"""The scripts of the evaluation lectures: what was said, which of it are terms, and where each was heard.

A script line is ``L: text``; a term is ``{{concept/id|as spoken}}``, with a star before the id where the sound is that
of ordinary words (psora, Kent, potencies); ``[[...]]`` is a decoy: ordinary speech that a careless tool would change.
A potency's id is ``potency/30c``: its step and scale.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from align import Piece, place_pieces

from notesmith.transcript import Transcript, WordRange, sounding

_MARK = re.compile(r"\{\{(\*?)([^|}]*)\|([^}]*)\}\}|\[\[([^\]]*)\]\]")
SLACK_MS = 350


class Said(NamedTuple):
    """A run of words of a script: plain (no id), a term, or a decoy."""

    text: str
    concept_id: str | None = None
    decoy: bool = False
    like_ordinary: bool = False


class Line(NamedTuple):
    speaker: str
    said: tuple[Said, ...]

    @property
    def text(self) -> str:
        return "".join(piece.text for piece in self.said)


class Spoken(NamedTuple):
    """A line with its place in the recording."""

    start_ms: int
    end_ms: int
    line: Line


class Occurrence(NamedTuple):
    """A term or decoy and where it was heard. ``words`` is empty where nothing was heard for it.

    ``clean`` tells that the words around it were heard rightly, so that its bounds are sure.
    """

    said: Said
    words: WordRange
    heard: str
    clean: bool
    start_ms: int


def parse_line(text: str) -> Line:
    speaker, _, rest = text.partition(": ")
    said: list[Said] = []
    at = 0
    for match in _MARK.finditer(rest):
        if match.start() > at:
            said.append(Said(rest[at : match.start()]))
        if match[4] is not None:
            said.append(Said(match[4], decoy=True))
        else:
            said.append(Said(match[3], match[2], like_ordinary=bool(match[1])))
        at = match.end()
    if at < len(rest):
        said.append(Said(rest[at:]))
    return Line(speaker, tuple(said))


def read_script(path: Path) -> tuple[dict[str, str], tuple[Line, ...]]:
    """The header (title, lecturer, students) and the lines."""
    header, lines = {}, []
    for line in path.read_text(encoding="utf-8").splitlines():
        if line.startswith("# "):
            name, _, value = line[2:].partition(": ")
            header[name] = value
        elif line.strip():
            lines.append(parse_line(line))
    return header, tuple(lines)


def read_times(script: Path, times: Path) -> tuple[Spoken, ...]:
    """The lines with their times, from the ``.times.tsv`` beside a recording's transcripts."""
    _, lines = read_script(script)
    rows = [row.split("\t") for row in times.read_text(encoding="utf-8").splitlines()[1:]]
    return tuple(Spoken(int(row[0]), int(row[1]), line) for row, line in zip(rows, lines, strict=True))


def pieces_of(line: Line) -> list[Piece]:
    pieces = []
    for said in line.said:
        if said.concept_id is not None:
            pieces.append(Piece(said.text, said))
        else:
            pieces += [Piece(word, said if said.decoy else None, fixed=True) for word in said.text.split()]
    return [piece for piece in pieces if sounding(piece.text)]


def occurrences(spoken: Sequence[Spoken], transcript: Transcript) -> list[Occurrence]:
    """Every term and decoy of a lecture with the words heard for it."""
    words = transcript.words
    found: list[Occurrence] = []
    at = 0
    for number, (start_ms, _end_ms, line) in enumerate(spoken):
        until_ms = spoken[number + 1].start_ms - SLACK_MS if number + 1 < len(spoken) else 1 << 60
        first = at
        while at < len(words) and (words[at].time.start_ms + words[at].time.end_ms) / 2 < until_ms:
            at += 1
        pieces = pieces_of(line)
        placed = place_pieces(pieces, [word.text for word in words[first:at]])
        index = 0
        while index < len(pieces):
            said = pieces[index].key
            last = index
            while said is not None and pieces[index].fixed and last + 1 < len(pieces) and pieces[last + 1].key is said:
                last += 1
            if said is not None:
                span = WordRange(first + placed[index].start, first + max(placed[last].end, placed[index].start))
                clean = placed[index].left_sure and placed[last].right_sure
                found.append(Occurrence(said, span, transcript.text(span), clean, start_ms))
            index = last + 1
    return found
