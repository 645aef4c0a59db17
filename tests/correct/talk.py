"""Small transcripts for the tests of the correction stage, built by hand."""

from __future__ import annotations

from notesmith.annotations import Corrections
from notesmith.reading import read
from notesmith.transcript import Segment, TimeSpan, Transcript, Word


def transcript(*lines: str, probability: float | None = None) -> Transcript:
    """A transcript with one segment a line and a word each 0.4 s."""
    segments, at = [], 0
    for line in lines:
        words = []
        for text in line.split():
            words.append(Word(TimeSpan(at, at + 350), text, probability))
            at += 400
        if words:
            segments.append(Segment(len(segments), tuple(words)))
    return Transcript("0" * 64, "en", "test", tuple(segments), at)


def restored(heard: Transcript, corrections: Corrections) -> str:
    return read(heard, corrections).text


def again(heard: Transcript, corrections: Corrections) -> Transcript:
    """The corrected reading as if it had been heard so."""
    by_segment: dict[int, list[str]] = {}
    for token in read(heard, corrections).tokens:
        by_segment.setdefault(token.segment_id, []).append(token.text)
    return transcript(*(" ".join(words) for words in by_segment.values()))
