"""Potencies and numbers as they are said in class. What a saying means is read by ``vocabulary.potency``; here only
where one stands in the words of a session."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from notesmith.vocabulary.potency import ParsedPotency, number_of, parse_potency

_WORD = (
    "zero|one|two|three|four|five|six|seven|eight|nine|ten|eleven|twelve|thirteen|fourteen|fifteen|sixteen|seventeen|"
    "eighteen|nineteen|twenty|thirty|forty|fifty|sixty|seventy|eighty|ninety|hundred|thousand"
)
NUMBER_WORDS = frozenset(_WORD.split("|"))
#: A number in digits or words ("two hundred", "forty-two", "30"), for use inside other patterns.
NUMBER = rf"(?:\d[\d,]*|(?:(?:a )?(?:{_WORD})(?:[ -](?:and )?(?:{_WORD}))*))"

#: The steps that are met bare, without their scale (common practice).
BARE_STEPS = frozenset({3, 6, 12, 30, 200, 1000, 10_000, 50_000, 100_000})

_MAX_WORDS = 5
_EDGES = " .,;:?!()\"'“”"
# Only what can begin a potency is tried, since every window of words would be.
_BEGINS = re.compile(
    rf"\d|(?:lm|[a-zø])\d|(?:{_WORD}|thirties|sixes|twelves|ten thousandth|\w+th|second|third|mother|tincture|mt|lm|l|el|ell|elem|ellem|em|m|cm|c|see|sea|cee|d|dee|"
    r"dm|mm|q|cue|x|ex|k|kay|nought|oh|fifty|θ|ø|ϕ|φ)\b"
)


def potencies_in(texts: Sequence[str]) -> Iterator[tuple[int, int, ParsedPotency]]:
    """The sayings in a run of words that may be potencies: half-open indexes and their senses, longest first."""
    plain = [text.casefold().strip(_EDGES) for text in texts]
    at = 0
    while at < len(plain):
        step = 1
        if _BEGINS.match(plain[at]):
            for end in range(min(len(plain), at + _MAX_WORDS), at, -1):
                inner = texts[at : end - 1]
                if any(word[-1:] in ".,;:?!" and not re.fullmatch(r"[A-Za-z]\.", word) for word in inner):
                    continue
                if plain[end - 1] in ("", "potency", "potencies", "and", "a") or plain[at] in ("", "and", "a"):
                    continue
                parsed = parse_potency(" ".join(plain[at:end]))
                if parsed is not None and not _goes_on(texts, plain, at, end, parsed):
                    yield at, end, parsed
                    step = end - at
                    break
        at += step


#: What a number right behind a bare one may count, so that both stand: "thirty two times a day".
_COUNTS_OF = re.compile(
    r"(?:times?|doses?|drops?|pills?|powders?|globules?|granules?|pellets?|tablets?|a|per|in|each|every|hourly|minutes?|hours?|days?|weeks?|months?|nights?|"
    r"mornings?|evenings?|more|single)"
)
_ONES = frozenset("one two three four five six seven eight nine".split())
_TENS_SAID = frozenset("ten twelve fifteen twenty thirty forty fifty sixty seventy eighty ninety hundred".split())


def _goes_on(texts: Sequence[str], plain: Sequence[str], at: int, end: int, parsed: ParsedPotency) -> bool:
    """Whether a bare number is but the beginning of another: ``thirty eight and two``, ``two hundred and ten``."""
    if (
        not parsed.doubt.startswith("a bare number")
        or plain[end - 1] not in _TENS_SAID
        or texts[end - 1][-1:] in ".,;:?!"
    ):
        return False
    more = end + (end < len(plain) and plain[end] == "and" and plain[end - 1] == "hundred")
    if more >= len(plain):
        return False
    word, behind = plain[more], plain[more + 1] if more + 1 < len(plain) else ""
    if word in _TENS_SAID and plain[end - 1] == "hundred" and more > end:
        return True
    return word in _ONES and word != "one" and not _COUNTS_OF.fullmatch(behind) and behind not in NUMBER_WORDS


__all__ = ["BARE_STEPS", "NUMBER", "number_of", "potencies_in"]
