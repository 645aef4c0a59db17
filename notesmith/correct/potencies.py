"""Potencies taken for something else: a clock time, or words that sound alike, right after a remedy's name.

They are only ever proposed: a number is never changed unseen.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from notesmith.annotations import Correction, Evidence
from notesmith.correct.candidates import NEGATIONS, ODD_ZIPF, number_like, word_zipf
from notesmith.correct.ear import PhonesHeard
from notesmith.correct.rulings import covered_words
from notesmith.sounds import load_costs, pronounce_text
from notesmith.sounds.distance import MAX_PHONES, encode_all
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
# The steps that are in common use (common practice); the others are too many to be told apart by sound alone.
_IN_USE = ("3x", "6x", "12x", "30x", "3c", "6c", "12c", "30c", "200c", "1m", "10m", "50m", "cm", "lm1", "lm2", "lm3")
_DOSING = frozenset(
    "dose doses single daily weekly once twice thrice every repeated nightly hourly drops pills globules water".split()
)
DOSING_WITHIN, MOST_WORDS = 4, 3
NEAR, NEAR_WITHOUT_DOSING = 0.95, 0.55  # distance a phone
NEAR_IN_SOUND, HEARD_BY = 0.45, 2.5  # distance a phone, and how much farther what was written must be
SHORTEST = 4  # phones
GAVE_BEFORE, NEXT_STEP_WITHIN = 6, 16  # words
_SCORE = 0.4


def potency_proposals(
    transcript: Transcript, vocabulary: Vocabulary, corrections: Sequence[Correction], sound: PhonesHeard | None = None
) -> list[Correction]:
    """A number and what may be its scale, heard as a time, a word or another number, right after a remedy's name.

    With the ``sound`` its phones are looked at too, and then a number may have been another.
    """
    ends = _remedy_ends(transcript, vocabulary, corrections)
    ends |= _next_steps(transcript, ends)
    covered = covered_words(transcript, corrections)
    found: list[Correction] = []
    said = _said(vocabulary)
    for end in sorted(ends):
        segment = transcript.segment_of(end) if end < len(transcript.words) else -1
        for size in range(1, MOST_WORDS + 1):
            if end + size > len(transcript.words) or transcript.segment_of(end + size - 1) != segment:
                break
            if any(i in covered for i in range(end, end + size)):
                break
            r = WordRange(end, end + size)
            shape = _potency_behind(transcript.text(r)) if size <= 2 and not _is_time(transcript, end) else None
            potency = shape or _potency_by_sound(transcript, r, said)
            if potency is None and sound is not None:
                potency = _potency_in_sound(transcript, r, sound.phones(r), said)
            if potency is None:
                continue
            start = end - transcript.segment_starts[segment]
            reason = (
                Evidence("shape", "a potency is expected right after a remedy")
                if shape
                else Evidence("sound", f"sounds like {potency}, right after a remedy")
            )
            found.append(
                Correction(
                    segment, start, start + size, transcript.text(r), f"potency/{potency.lower()}", potency, _SCORE,
                    (reason,), "proposed",
                )
            )  # fmt: skip
            break
    return [item for item in found if item.concept_id in vocabulary]


def _said(vocabulary: Vocabulary) -> list[tuple[str, str]]:
    """The potencies in use as they sound, and their names."""
    found: dict[str, str] = {}
    for step in _IN_USE:
        concept = vocabulary.get(f"potency/{step}")
        for spoken in concept.fact("spoken") if concept is not None else ():
            found.setdefault(pronounce_text(spoken), concept.pref_label if concept is not None else "")
    return [(phones, name) for phones, name in found.items() if len(phones) >= SHORTEST]


def _potency_by_sound(transcript: Transcript, r: WordRange, said: Sequence[tuple[str, str]]) -> str | None:
    """The potency that ordinary words right after a remedy sound like ("too hungry"), where nothing else fits."""
    words = transcript.words[r.start : r.end]
    plain = [sounding(word.text) for word in words]
    if not said or any(number_like(part) for text in plain for part in text.split()) or set(plain) & NEGATIONS:
        return None
    if any(re.search(r"[.,;:?!]$", word.text) for word in words[:-1]):
        return None
    heard = "".join(pronounce_text(word.text) for word in words)
    after = {sounding(word.text) for word in transcript.words[r.end : r.end + DOSING_WITHIN]}
    dosing = bool(after & _DOSING)
    if not dosing and not any(word_zipf(text) < ODD_ZIPF for text in plain):
        return None  # ordinary words stay, unless a dose is spoken of
    bound = NEAR if dosing else NEAR_WITHOUT_DOSING
    if not SHORTEST <= len(heard) <= MAX_PHONES:
        return None
    relative, _, name = _nearest(heard, said)
    return name if relative <= bound else None


def _potency_in_sound(transcript: Transcript, r: WordRange, heard: str, said: Sequence[tuple[str, str]]) -> str | None:
    """The potency whose phones are heard where the transcript has something that sounds otherwise."""
    words = transcript.words[r.start : r.end]
    if not said or not SHORTEST <= len(heard) <= MAX_PHONES or {sounding(word.text) for word in words} & NEGATIONS:
        return None
    relative, distance, name = _nearest(heard, said)
    written = "".join(pronounce_text(word.text) for word in words)[:MAX_PHONES]
    behind = float(load_costs().distances(heard, encode_all([written]))[0]) if written else HEARD_BY * 2
    return name if relative <= NEAR_IN_SOUND and behind - distance >= HEARD_BY else None


def _nearest(heard: str, said: Sequence[tuple[str, str]]) -> tuple[float, float, str]:
    """The potency that sounds nearest: its distance a phone, the whole distance, and its name."""
    distances = load_costs().distances(heard, encode_all([phones for phones, _ in said]))
    relative = distances / [max(len(heard), len(phones)) for phones, _ in said]
    best = int(relative.argmin())
    return float(relative[best]), float(distances[best]), said[best][1]


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
                if not text[:1].isupper():
                    break
                ids = vocabulary.by_label.get(label_key(text), ())
                if any(i.startswith("remedy/") for i in ids) and len(sounding(text)) > 3:
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
