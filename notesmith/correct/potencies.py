"""Potencies taken for something else: a clock time or a stray word right after a remedy's name.

They are only ever proposed: a number is never changed unseen.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from notesmith.annotations import Correction, Evidence
from notesmith.correct.rulings import covered_words
from notesmith.transcript import Transcript, WordRange, sounding
from notesmith.vocabulary import Vocabulary, label_key
from notesmith.vocabulary.potency import parse_potency

# What the letter of a scale is heard as right after a number: M as "a.m." or "am", C as "see", X as "ex" or "sex".
_LETTER_HEARD = {"am": "M", "a.m": "M", "em": "M", "m": "M", "see": "C", "sea": "C", "si": "C", "sex": "X", "ex": "X",
                 "axe": "X", "acts": "X", "eggs": "X"}  # fmt: skip
_M_STEPS = frozenset({1, 10, 50})
_CLOCK_BEFORE = frozenset("at around about by until till from between after before past to since worse better".split())
_GIVING = frozenset("gave given give giving repeated prescribed started put got received".split())
_STEPS = frozenset("later then finally afterwards".split())
GAVE_BEFORE, NEXT_STEP_WITHIN = 6, 16  # words
_SCORE = 0.4


def potency_proposals(
    transcript: Transcript, vocabulary: Vocabulary, corrections: Sequence[Correction]
) -> list[Correction]:
    """A number and what may be its scale, heard as a time or a word, right after a remedy (as heard or as restored)."""
    ends = _remedy_ends(transcript, vocabulary, corrections)
    ends |= _next_steps(transcript, ends)
    covered = covered_words(transcript, corrections)
    found: list[Correction] = []
    for end in sorted(ends):
        for size in (2, 1):
            words = transcript.words[end : end + size]
            segment = transcript.segment_of(end) if end < len(transcript.words) else -1
            if len(words) < size or transcript.segment_of(end + size - 1) != segment:
                continue
            if any(i in covered for i in range(end, end + size)):
                continue
            said = " ".join(word.text for word in words)
            if (potency := _potency_behind(said)) is None or _is_time(transcript, end):
                continue
            start = end - transcript.segment_starts[segment]
            found.append(
                Correction(
                    segment, start, start + size, said, f"potency/{potency.lower()}", potency, _SCORE,
                    (Evidence("shape", "a potency is expected right after a remedy"),), "proposed",
                )
            )  # fmt: skip
            break
    return [item for item in found if item.concept_id in vocabulary]


def _remedy_ends(transcript: Transcript, vocabulary: Vocabulary, corrections: Sequence[Correction]) -> set[int]:
    """The index right after each remedy's name."""
    ends = set()
    for item in corrections:
        if item.state == "applied" and item.concept_id.startswith("remedy/"):
            ends.add(transcript.segment_starts[item.segment_id] + item.word_end)
    for segment in transcript.segments:
        whole = transcript.segment_range(segment.id)
        for start in range(whole.start, whole.end):
            for stop in range(start + 1, min(start + 3, whole.end) + 1):
                text = transcript.text(WordRange(start, stop))
                ids = vocabulary.by_label.get(label_key(text), ())
                if len(sounding(text)) > 3 and text[:1].isupper() and any(i.startswith("remedy/") for i in ids):
                    ends.add(stop)
    return ends


def _next_steps(transcript: Transcript, ends: set[int]) -> set[int]:
    """The index right after "later" or "then" where the same sentence gave a remedy: what follows may be its next potency."""
    found = set()
    for end in ends:
        gave = {sounding(word.text) for word in transcript.words[max(0, end - GAVE_BEFORE) : end]} & _GIVING
        at = end
        while gave and at < min(len(transcript.words), end + NEXT_STEP_WITHIN):
            if at > end and re.search(r"[.?!]$", transcript.words[at - 1].text):
                break
            if sounding(transcript.words[at].text) in _STEPS:
                found.add(at + 1)
            at += 1
    return found


def _potency_behind(said: str) -> str | None:
    match = re.fullmatch(r"(\w+|\d{1,2}:00)[\s-]*([A-Za-z.]+?)\.?,?", said.strip(".,;:?!"))
    if match is None:
        return None
    number, letters = match[1].removesuffix(":00"), match[2].casefold().strip(".")
    letter = _LETTER_HEARD.get(letters)
    if letter is None or (parsed := parse_potency(f"{number} {letter}")) is None or parsed.doubt:
        return None
    if letters.upper() == letter:
        return None  # it can be read as it stands
    step = parsed.senses[0].step or 0
    return None if letter == "M" and step // 1000 not in _M_STEPS else parsed.senses[0].name


def _is_time(transcript: Transcript, start: int) -> bool:
    before = sounding(transcript.words[start - 1].text) if start else ""
    return before in _CLOCK_BEFORE
