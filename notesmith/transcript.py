"""What was heard: words with times, stored once and never edited.

Times are integer milliseconds from the start of the recording. A word range is half-open over the
words of the whole transcript, counted from 0 in reading order.
"""

from __future__ import annotations

import hashlib
import unicodedata
from bisect import bisect_right
from collections.abc import Iterator
from functools import cached_property
from typing import Literal

import msgspec

TimeSource = Literal["decoded", "interpolated"]


class TimeSpan(msgspec.Struct, frozen=True, order=True):
    """A stretch of the recording, 0 <= start_ms <= end_ms.

    Raises ValueError for any other times.
    """

    start_ms: int
    end_ms: int

    def __post_init__(self) -> None:
        if not 0 <= self.start_ms <= self.end_ms:
            raise ValueError(f"time span {self.start_ms}..{self.end_ms} ms is not 0 <= start <= end")

    @property
    def duration_ms(self) -> int:
        return self.end_ms - self.start_ms

    def cover(self, other: TimeSpan) -> TimeSpan:
        """The smallest span that holds both."""
        return TimeSpan(min(self.start_ms, other.start_ms), max(self.end_ms, other.end_ms))


class WordRange(msgspec.Struct, frozen=True, order=True):
    """Half-open range over the words of a whole transcript, 0 <= start <= end."""

    start: int
    end: int

    def __post_init__(self) -> None:
        if not 0 <= self.start <= self.end:
            raise ValueError(f"word range {self.start}..{self.end} is not 0 <= start <= end")

    def __len__(self) -> int:
        return self.end - self.start

    def overlaps(self, other: WordRange) -> bool:
        return self.start < other.end and other.start < self.end


class Word(msgspec.Struct, frozen=True):
    """One spoken word as heard, with its punctuation and without surrounding blanks.

    ``probability`` is the recogniser's, 0 to 1, or None where the transcript came without it.
    """

    time: TimeSpan
    text: str
    probability: float | None = None


class Segment(msgspec.Struct, frozen=True):
    """A run of words that the recogniser (or the caption file) kept together."""

    id: int
    words: tuple[Word, ...]
    speaker: str | None = None  # as labelled by an imported transcript; never guessed

    @property
    def text(self) -> str:
        return " ".join(word.text for word in self.words)

    @property
    def time(self) -> TimeSpan:
        return TimeSpan(self.words[0].time.start_ms, self.words[-1].time.end_ms)


#: Stands in the name of a speech model whose decoder is taught the terms.
TAUGHT = "-adapted-"


class Transcript(msgspec.Struct, frozen=True, dict=True):
    """A whole recording as heard.

    ``recording_sha256`` is the digest of the recording's bytes, or of the caption file's when there is no
    recording. ``language`` is a BCP 47 tag. ``word_times`` says whether word times were decoded from the
    sound or interpolated inside segments. Segments are never empty and their ids count from 0.
    """

    recording_sha256: str
    language: str
    asr_model: str
    segments: tuple[Segment, ...]
    duration_ms: int = 0
    word_times: TimeSource = "decoded"

    @cached_property
    def words(self) -> tuple[Word, ...]:
        return tuple(word for segment in self.segments for word in segment.words)

    @cached_property
    def segment_starts(self) -> tuple[int, ...]:
        """The whole-transcript index of each segment's first word."""
        starts, at = [], 0
        for segment in self.segments:
            starts.append(at)
            at += len(segment.words)
        return tuple(starts)

    def segment_range(self, segment_id: int) -> WordRange:
        start = self.segment_starts[segment_id]
        return WordRange(start, start + len(self.segments[segment_id].words))

    def segment_of(self, word_index: int) -> int:
        """The id of the segment that holds a word."""
        return bisect_right(self.segment_starts, word_index) - 1

    def text(self, words: WordRange) -> str:
        return " ".join(word.text for word in self.words[words.start : words.end])

    def time(self, words: WordRange) -> TimeSpan:
        """The time from the first to the last word of a non-empty range."""
        first, last = self.words[words.start], self.words[words.end - 1]
        return TimeSpan(first.time.start_ms, max(first.time.start_ms, last.time.end_ms))

    @cached_property
    def digest(self) -> str:
        """SHA-256 of the canonical JSON form; the key of everything derived from it."""
        return hashlib.sha256(msgspec.json.encode(self)).hexdigest()


def sounding(text: str) -> str:
    """A heard text reduced to what makes two garbles the same one: letters and digits, lower case.

    >>> sounding("Colley, by Chromacum.")
    'colley by chromacum'
    """
    kept = unicodedata.normalize("NFKC", text).casefold()
    spaced = "".join(c if c.isalnum() or c == "'" else " " for c in kept)
    return " ".join(spaced.replace("'", "").split())


def iter_sentences(words: tuple[str, ...]) -> Iterator[tuple[int, int]]:
    """Half-open word ranges that end with sentence punctuation (``. ? !``), in order, covering all words."""
    start = 0
    for index, text in enumerate(words):
        bare = text.rstrip("\"')]”’")
        if bare.endswith(("?", "!", "…")) or (bare.endswith(".") and not _is_abbreviation(bare)):
            yield start, index + 1
            start = index + 1
    if start < len(words):
        yield start, len(words)


def _is_abbreviation(text: str) -> bool:
    bare = text[:-1].lower()
    return bare in {"dr", "mr", "mrs", "ms", "st", "prof", "vs", "e.g", "i.e", "etc"} or (
        len(bare) == 1 and bare.isalpha() and bare != "i"
    )
