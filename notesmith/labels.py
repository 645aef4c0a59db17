"""Propose a lecture's label (date, title, series, part) from what is at hand; a person has the last word."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from datetime import date

import msgspec
from wordfreq import zipf_frequency

from notesmith.lecture import Lecture
from notesmith.vocabulary import Vocabulary, label_key

_DATE = re.compile(r"(?<!\d)(20\d\d)[-_. ]?([01]\d)[-_. ]?([0-3]\d)(?!\d)")
_DATE_DAY_FIRST = re.compile(r"(?<!\d)([0-3]\d)[-_. ]([01]\d)[-_. ](20\d\d)(?!\d)")
_PART = re.compile(
    r"\b(?:part|session|lecture|class|day)[\s_-]*(\d{1,2}|[a-z]+)(?:\s*(?:of|/)\s*(\d{1,2}|[a-z]+))?\b", re.IGNORECASE
)
_NUMBER_WORDS = ("one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")
_NUMBERS = {word: number for number, word in enumerate(_NUMBER_WORDS, start=1)}
UNTITLED = "Untitled lecture"
_OPENING_WORDS = 120
_MAX_LABEL_WORDS = 4
_TODAY = re.compile(r"\b(?:today|tonight|this (?:morning|afternoon|evening))\b", re.IGNORECASE)
_ANNOUNCED_WORDS = 25
_EVERYDAY_ZIPF = 3.5  # occurrences per 10^9 words, log10, from which a word is everyday English


class Proposal(msgspec.Struct, frozen=True):
    """What the tool found, each with None or empty where it found nothing."""

    title: str
    date: str | None = None
    series: str | None = None
    part: int | None = None
    parts: int | None = None
    remedy_ids: tuple[str, ...] = ()


def propose(
    stem: str, *, metadata: Mapping[str, str] | None = None, opening: str = "", vocabulary: Vocabulary | None = None
) -> Proposal:
    """Propose a label from a file name without ending, container metadata and the (restored) opening words.

    The file name wins over the metadata, both win over the speech.
    """
    metadata = metadata or {}
    spaced = re.sub(r"[_\s]+", " ", stem).strip()
    if " " not in spaced:
        spaced = _DATE.sub(lambda match: "-".join(match.groups()), spaced).replace("-", " ")
    found_date = (
        _find_date(stem) or _find_date(metadata.get("date", "")) or _find_date(metadata.get("creation_time", ""))
    )
    part, parts = _find_part(spaced)
    opening_part, opening_parts = _find_part(" ".join(opening.split()[:_OPENING_WORDS]))
    part, parts = (part or opening_part), (parts or (opening_parts if part in (None, opening_part) else None))
    remedies: tuple[str, ...] = ()
    if vocabulary is not None:
        for text in (spaced.replace("-", " "), metadata.get("title", "")):
            if remedies := _remedies_in(text, vocabulary):
                break
        else:
            remedies = _remedies_announced(" ".join(opening.split()[:_OPENING_WORDS]), vocabulary)
    title = _clean(spaced) or metadata.get("title", "").strip()
    if remedies and vocabulary is not None:
        series = named_after(remedies, vocabulary)
        title = series + (f", part {part}" if part else "") + (f" of {parts}" if part and parts else "")
    else:
        series = None
        title = title or UNTITLED
    return Proposal(title, found_date, series, part, parts, remedies)


def named_after(remedy_ids: Sequence[str], vocabulary: Vocabulary) -> str:
    """The name of what is said of these remedies: the first two."""
    return " and ".join(vocabulary.label(one) for one in remedy_ids[:2])


def apply_proposal(lecture: Lecture, proposal: Proposal) -> Lecture:
    """The lecture with the proposed fields filled in, except those a person has set."""
    values = msgspec.structs.asdict(proposal)
    free = {name: value for name, value in values.items() if name not in lecture.set_by_person and value}
    return msgspec.structs.replace(lecture, **free)


def lecture_id(found_date: str | None, title: str, taken: frozenset[str] = frozenset()) -> str:
    """A slug for addresses, ASCII, at most 60 characters, unlike every taken one.

    >>> lecture_id("2026-03-02", "Thuja occidentalis, part 1 of 3")
    '2026-03-02-thuja-occidentalis-part-1-of-3'
    """
    plain = unicodedata.normalize("NFKD", title).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:45].strip("-") or "lecture"
    base = f"{found_date}-{slug}" if found_date else slug
    candidate, number = base, 2
    while candidate in taken:
        candidate, number = f"{base}-{number}", number + 1
    return candidate


def _find_date(text: str) -> str | None:
    for pattern, order in ((_DATE, (1, 2, 3)), (_DATE_DAY_FIRST, (3, 2, 1))):
        for match in pattern.finditer(text):
            try:
                return date(*(int(match[group]) for group in order)).isoformat()
            except ValueError:
                continue
    return None


def _number(text: str | None) -> int | None:
    if text is None:
        return None
    return int(text) if text.isdigit() else _NUMBERS.get(text.lower())


def _find_part(text: str) -> tuple[int | None, int | None]:
    for match in _PART.finditer(text):
        if (part := _number(match[1])) is not None:
            total = _number(match[2])
            return part, total if total is not None and total >= part else None
    return None, None


def _remedies_announced(opening: str, vocabulary: Vocabulary) -> tuple[str, ...]:
    """The remedies of the opening words: those of today where it is said, else all that are named."""
    today = _TODAY.search(opening)
    said = today and _remedies_in(" ".join(opening[today.end() :].split()[:_ANNOUNCED_WORDS]), vocabulary, spoken=True)
    return said or _remedies_in(opening, vocabulary, spoken=True)


def _remedies_in(text: str, vocabulary: Vocabulary, *, spoken: bool = False) -> tuple[str, ...]:
    """The remedies named, in order. In speech what is made of everyday words is none: "am I audible", "in China"."""
    words = label_key(text).split()
    found: dict[str, None] = {}
    at = 0
    while at < len(words):
        for length in range(min(_MAX_LABEL_WORDS, len(words) - at), 0, -1):
            concepts = [c for c in vocabulary.find(" ".join(words[at : at + length])) if c.scheme == "remedy"]
            ordinary = spoken and all(zipf_frequency(w, "en") >= _EVERYDAY_ZIPF for w in words[at : at + length])
            if len(concepts) == 1 and (length > 1 or len(words[at]) > 4) and not ordinary:
                found[concepts[0].id] = None
                at += length - 1
                break
        at += 1
    return tuple(found)


def _clean(spaced: str) -> str:
    without_date = _DATE_DAY_FIRST.sub(" ", _DATE.sub(" ", spaced))
    text = re.sub(r"\s*[-_]+\s*|\s+", " ", without_date).strip(" -_.,")
    return text[:1].upper() + text[1:]
