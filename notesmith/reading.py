"""The restored reading: the transcript with the applied corrections in place.

A reading is derived, never stored as truth. Each token knows which heard words it stands for, so whatever is
found in the reading can be said of the transcript.
"""

from __future__ import annotations

import re
from functools import cached_property

import msgspec

from notesmith.annotations import Correction, Corrections
from notesmith.transcript import TimeSpan, Transcript, WordRange

_EDGE = re.compile(r"^([^\w]*)(.*?)([^\w]*)$", re.DOTALL)


class Token(msgspec.Struct, frozen=True):
    """One word, or one restored term of several words, of the reading.

    ``text`` carries the punctuation; ``words`` are the heard words it stands for; ``concept_id`` is set where a
    correction was applied.
    """

    text: str
    words: WordRange
    time: TimeSpan
    segment_id: int
    concept_id: str | None = None
    heard: str | None = None  # set where it differs from the text


class Reading(msgspec.Struct, frozen=True, dict=True):
    """The restored words of one transcript in order."""

    transcript: Transcript
    tokens: tuple[Token, ...]

    @cached_property
    def text(self) -> str:
        return " ".join(token.text for token in self.tokens)

    @cached_property
    def offsets(self) -> tuple[int, ...]:
        """The character offset in ``text`` where each token starts."""
        offsets, at = [], 0
        for token in self.tokens:
            offsets.append(at)
            at += len(token.text) + 1
        return tuple(offsets)

    @cached_property
    def token_of_word(self) -> tuple[int, ...]:
        """For each heard word, the index of the token that stands for it."""
        index: list[int] = []
        for position, token in enumerate(self.tokens):
            index.extend([position] * len(token.words))
        return tuple(index)

    def text_of(self, words: WordRange) -> str:
        """The restored text of the tokens that touch a range of heard words."""
        if not len(words):
            return ""
        first, last = self.token_of_word[words.start], self.token_of_word[words.end - 1]
        return " ".join(token.text for token in self.tokens[first : last + 1])


def replace_inside(heard: str, restored: str) -> str:
    """Put a restored term in place of a heard span, keeping the punctuation around the span.

    >>> replace_inside("(Colley by Chromacum,", "Kali bichromicum")
    '(Kali bichromicum,'
    """
    match = _EDGE.match(heard)
    assert match is not None  # the pattern matches every string
    return f"{match[1]}{restored}{match[3]}"


def read(transcript: Transcript, corrections: Corrections) -> Reading:
    """The restored reading. Only applied corrections count.

    Raises ValueError where corrections overlap or leave their segment.
    """
    by_start: dict[int, Correction] = {}
    for item in corrections.items:
        if item.state == "applied":
            by_start[transcript.segment_starts[item.segment_id] + item.word_start] = item
    tokens: list[Token] = []
    for segment in transcript.segments:
        span = transcript.segment_range(segment.id)
        at = span.start
        while at < span.end:
            found = by_start.pop(at, None)
            end = at + 1 if found is None else at + found.word_end - found.word_start
            if end > span.end or end <= at:
                raise ValueError(f"correction at word {at} leaves its segment {segment.id}")
            words = WordRange(at, end)
            if found is None:
                word = transcript.words[at]
                tokens.append(Token(word.text, words, word.time, segment.id))
            else:
                heard = transcript.text(words)
                text = replace_inside(heard, found.restored)
                tokens.append(
                    Token(
                        text,
                        words,
                        transcript.time(words),
                        segment.id,
                        found.concept_id,
                        heard if heard != text else None,
                    )
                )
            at = end
    if by_start:
        raise ValueError(f"corrections overlap at words {sorted(by_start)}")
    return Reading(transcript, tuple(tokens))
