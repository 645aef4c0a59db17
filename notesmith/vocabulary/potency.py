"""Potencies as said and as written: parsed, normalised, reckoned, and told from clock times and counts.

Scales: decimal (X or D, 1:10 a step), centesimal (C, CH, or a bare number by custom, 1:100), Korsakovian
(K or CK, nominally 1:100), fifty-millesimal (LM or Q, 1:50 000), mother tincture. 1M is 1000C, CM is 100 000C. The
published scales are listed in vocab/potencies.tsv with their sources.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from typing import Literal

import msgspec

from notesmith.transcript import WordRange

Scale = Literal["decimal", "centesimal", "Korsakovian", "fifty-millesimal", "mother tincture"]

_UNITS = {word: value for value, word in enumerate(
    "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen seventeen "
    "eighteen nineteen".split())}  # fmt: skip
_TENS = {
    word: 10 * value
    for value, word in enumerate("twenty thirty forty fifty sixty seventy eighty ninety".split(), start=2)
}
_SIZES = {"hundred": 100, "thousand": 1000, "lakh": 100_000, "lac": 100_000, "million": 1_000_000}
_NUMBER_WORDS = frozenset((*_UNITS, *_TENS, *_SIZES))
_ORDINALS = {"first": 1, "second": 2, "third": 3, "fifth": 5, "eighth": 8, "ninth": 9, "twelfth": 12}
# The names of letters as a recogniser writes them down.
_LETTERS = {"see": "c", "sea": "c", "cee": "c", "em": "m", "ex": "x", "el": "l", "ell": "l", "cue": "q", "queue": "q",
            "aitch": "h", "kay": "k", "dee": "d", "elem": "lm", "ellem": "lm"}  # fmt: skip
_NAMED = {1000: "1M", 10_000: "10M", 50_000: "50M", 100_000: "CM", 500_000: "DM", 1_000_000: "MM"}
_ROMAN_SIZES = {"m": 1000, "cm": 100_000, "dm": 500_000, "mm": 1_000_000}
_COLLIDES = {
    "m": "M is also misce (mix) and a thousand", "cm": "CM is also cras mane (tomorrow morning) and a centimetre",
    "mm": "MM is also a millimetre", "dm": "DM is also diabetes mellitus",
}  # fmt: skip
_BARE = "a bare number is a centesimal by custom"
_ZEROS = frozenset(("zero", "oh", "o", "nought", "0"))
_PLURALS = {"thirties": "thirty", "hundreds": "hundred", "sixes": "six", "twelves": "twelve"}
_WORD_SCALES: dict[str, Scale] = {
    "centesimal": "centesimal", "centisimal": "centesimal", "decimal": "decimal", "korsakovian": "Korsakovian",
    "korsakoff": "Korsakovian", "millesimal": "fifty-millesimal",
}  # fmt: skip
_LETTER_SCALES: dict[str, Scale] = {
    "c": "centesimal", "ch": "centesimal", "x": "decimal", "d": "decimal", "dh": "decimal", "k": "Korsakovian",
    "ck": "Korsakovian", "lm": "fifty-millesimal", "q": "fifty-millesimal",
}  # fmt: skip
_TINCTURE = frozenset(("mother tincture", "mother tinctures", "tincture", "mt", "tm", "m t", "t m", "θ", "ø", "ϕ", "φ"))
_MAX_WORDS = 6
_SLASH = re.compile(r"(?:lm )?(?:(?:0|zero|oh?|nought) ?(?:/|by|slash|stroke|over) ?(\d{1,2}|[a-z]+)|(\d{1,2}) ?/ ?0)")

# Words that make the number beside them a time or a count (common practice).
_CLOCK_BEFORE = frozenset("at around about by until till from between after before past to since".split())
_CLOCK_AFTER = frozenset("oclock am pm morning evening night noon midnight".split())
_COUNT_AFTER = frozenset(
    (
        "year years month months week weeks day days hour hours minute minutes second seconds times drops drop pills "
        "pill globules tablets tablet doses people patients students cases children remedies rubrics symptoms pages "
        "percent per degrees degree kilos kilograms grams mg milligrams ml litres liters rupees dollars pounds steps"
    ).split()
)
_Q_SAID = frozenset(("q", "cue", "queue"))
_POTENCY_BEFORE = frozenset("potency potencies".split())
COMMON_STEPS = frozenset({3, 6, 9, 12, 15, 30, 200, 1000, 10_000, 50_000, 100_000})


class Potency(msgspec.Struct, frozen=True):
    """A step on a scale; ``step`` is None for a mother tincture or a scale named without a step.

    >>> Potency("centesimal", 10_000).name, Potency("fifty-millesimal", 1).name
    ('10M', 'LM1')
    """

    scale: Scale
    step: int | None = None

    @property
    def name(self) -> str:
        """The normal written form: 30C, 1M, CM, 6X, 200CK, LM1, Q."""
        if self.scale == "mother tincture":
            return "Q"
        sign = {"decimal": "X", "centesimal": "C", "Korsakovian": "CK", "fifty-millesimal": "LM"}[self.scale]
        if self.step is None:
            return sign
        if self.scale == "centesimal" and self.step in _NAMED:
            return _NAMED[self.step]
        return f"LM{self.step}" if sign == "LM" else f"{self.step}{sign}"

    @property
    def dilution_log10(self) -> float | None:
        """The positive n of a nominal dilution of 10^-n; None where it is not known.

        LM: a third centesimal trituration (10^-6), then 1:50 000 at each step.

        >>> Potency("centesimal", 30).dilution_log10, Potency("decimal", 6).dilution_log10
        (60.0, 6.0)
        """
        if self.step is None:
            return None
        if self.scale == "decimal":
            return float(self.step)
        if self.scale == "fifty-millesimal":
            return round(6 + self.step * math.log10(50_000), 3)
        return 2.0 * self.step


class ParsedPotency(msgspec.Struct, frozen=True):
    """What a saying may mean as a potency, likeliest first; ``doubt`` says why it is not certain, or is empty."""

    senses: tuple[Potency, ...]
    doubt: str = ""


class PotencyMention(msgspec.Struct, frozen=True):
    """A potency in running words."""

    words: WordRange
    said: str
    parsed: ParsedPotency

    @property
    def potency(self) -> Potency:
        return self.parsed.senses[0]


def number_of(said: str) -> int | None:
    """The value of a number in digits, English words or Indian ones (lakh); None where it is no number.

    >>> number_of("two hundred"), number_of("10,000"), number_of("forty-two"), number_of("one lakh"), number_of("see")
    (200, 10000, 42, 100000, None)
    """
    text = said.casefold().replace(",", "").replace("-", " ").strip()
    if text.isascii() and text.isdigit():
        return int(text) if len(text) <= 9 else None
    total, current, seen = 0, 0, False
    for word in text.split():
        if word in ("and", "a"):
            continue
        if word in _UNITS or word in _TENS:
            value = _UNITS.get(word, _TENS.get(word, 0))
            if seen and current and not (current % 100 == 0 or (current % 10 == 0 and value < 10)):
                return None  # "six twelve" are two numbers
            current += value
        elif word == "hundred":
            current = max(current, 1) * 100
        elif word in _SIZES:
            total += max(current, 1) * _SIZES[word]
            current = 0
        elif word.isascii() and word.isdigit() and not seen:
            current = int(word)
        else:
            return None
        seen = True
    return total + current if seen else None


def parse_potency(said: str) -> ParsedPotency | None:
    """Read a whole saying as a potency; None where it cannot be one. Context is not looked at.

    >>> [parse_potency(said).senses[0].name for said in ("thirty C", "0/1", "one em")]
    ['30C', 'LM1', '1M']
    """
    text = said.casefold().strip(" .,;:?!()\"'")
    if text in _TINCTURE:
        return ParsedPotency((Potency("mother tincture"),), "" if text != "tincture" else "of any strength")
    if slash := _SLASH.fullmatch(text):
        step = number_of(slash[1] or slash[2])
        return ParsedPotency((Potency("fifty-millesimal", step),)) if step else None
    parts = _parts(text)
    named = bool(parts) and parts[-1] in ("potency", "potencies")
    if named:
        parts = parts[:-1]
    if parts and (cardinal := _cardinal(parts[-1])) and (named or len(parts) > 1 or parts[-1] not in _ORDINALS):
        parts = [*parts[:-1], cardinal]
    elif len(parts) == 2 and parts[1] in _WORD_SCALES and (cardinal := _cardinal(parts[0])):
        parts = [cardinal, parts[1]]  # sixth centesimal
    tokens = _joined_number(parts)
    digits = [i for i, token in enumerate(tokens) if token.isdigit()]
    signs = "".join(token for token in tokens if not token.isdigit())
    signs = _WORD_SCALES.get(signs.removeprefix("fifty"), signs)
    if len(digits) > 1:
        return None
    step = int(tokens[digits[0]]) if digits else None
    return _of(step, signs, after=bool(digits) and digits[0] > 0, named=named)


def _of(step: int | None, signs: str, *, after: bool, named: bool) -> ParsedPotency | None:
    if step == 0 or (step is not None and step > 1_000_000):
        return None
    if step is None:
        if signs in _ROMAN_SIZES:
            return ParsedPotency((Potency("centesimal", _ROMAN_SIZES[signs]),), "" if named else _COLLIDES[signs])
        if signs == "q":
            return ParsedPotency((Potency("mother tincture"), Potency("fifty-millesimal")),
                                 "Q is mother tincture in India, LM in Europe")  # fmt: skip
        if signs in ("lm", "fifty-millesimal"):
            return ParsedPotency((Potency("fifty-millesimal"), Potency("centesimal", 50_000)), "no step was named")
        return None
    if not signs:
        if step in _NAMED or step in COMMON_STEPS or named:
            return ParsedPotency((Potency("centesimal", step),), "" if named else _BARE)
        return None
    if signs in _ROMAN_SIZES and not after:
        if signs == "m" and step <= 1000:
            return ParsedPotency((Potency("centesimal", 1000 * step),))
        return ParsedPotency((Potency("centesimal", _ROMAN_SIZES[signs]),)) if step == 1 else None
    scale = _LETTER_SCALES.get(signs)
    if scale is None and signs in ("decimal", "centesimal", "Korsakovian", "fifty-millesimal"):
        scale = signs  # type: ignore[assignment]
    if scale is None:
        return None
    if scale == "fifty-millesimal" and step > 120:
        return None
    return ParsedPotency((Potency(scale, step),))


def _cardinal(part: str) -> str | None:
    """The number behind an ordinal: thirtieth to thirty, 200th to 200; None for anything else."""
    if match := re.fullmatch(r"(\d+)(?:st|nd|rd|th)", part):
        return match[1]
    if part in _ORDINALS:
        return str(_ORDINALS[part])
    stems = (re.sub(r"ieth$", "y", part), re.sub(r"th$", "", part))
    return next((stem for stem in stems if stem != part and stem in _NUMBER_WORDS), None)


def _parts(text: str) -> list[str]:
    """Numbers, letters by their names, and other words."""
    text = re.sub(r"(?<=\b[a-z])\.(?=[a-z]?\b)", " ", text)
    text = re.sub(r"(?<=\d),(?=\d{3}(?!\d))", "", text).replace("-", " ").replace(".", " ")
    return [
        _PLURALS.get(part) or _LETTERS.get(part, part)
        for part in re.findall(r"\d+(?:st|nd|rd|th)\b|\d+|[a-zθøφϕ]+", text)
    ]


def _joined_number(parts: list[str]) -> list[str]:
    """Runs of number words as one number; "fifty millesimal" stays a name; "two zero zero" is said by its figures."""
    found: list[str] = []
    at = 0
    while at < len(parts):
        zeros = 0
        while at + zeros + 1 < len(parts) and parts[at + zeros + 1] in _ZEROS:
            zeros += 1
        first = _UNITS.get(parts[at], int(parts[at]) if len(parts[at]) == 1 and parts[at].isdigit() else 0)
        if zeros and 0 < first < 10:
            found.append(str(first) + "0" * zeros)
            at += zeros + 1
            continue
        end = at
        while end < len(parts) and (_numeric(parts[end]) or (end > at and parts[end] == "and")):
            end += 1
        while end > at and parts[end - 1] == "and":
            end -= 1
        value = number_of(" ".join(parts[at:end])) if end > at else None
        if value is None or parts[end : end + 1] == ["millesimal"]:
            found.append(parts[at])
            at += 1
        else:
            found.append(str(value))
            at = end
    return found


def _numeric(part: str) -> bool:
    return part in _NUMBER_WORDS or part.isdigit()


def find_potencies(words: Sequence[str], remedy_ends: frozenset[int] = frozenset()) -> tuple[PotencyMention, ...]:
    """The potencies in running words, longest first at each place, not overlapping.

    ``words`` are the heard or restored words with punctuation; ``remedy_ends`` are the indexes right after a remedy's
    name. A clock time (at three, 4 am) or a count (ten years) is none, unless its scale is said; a bare number counts
    only after a remedy, before or after the word potency, or as "in the two hundredth".
    """
    plain = [word.casefold().strip(" .,;:?!()\"'“”") for word in words]
    found: list[PotencyMention] = []
    at = 0
    while at < len(words):
        for end in range(min(len(words), at + _MAX_WORDS), at, -1):
            if any(word[-1:] in ".,;:?!" and not re.fullmatch(r"[A-Za-z]\.", word) for word in words[at : end - 1]):
                continue
            said = " ".join(words[at:end]).strip(" .,;:?!()\"'“”")
            if (parsed := parse_potency(said)) is not None and _fits(plain, at, end, parsed, remedy_ends):
                found.append(PotencyMention(WordRange(at, end), said, parsed))
                at = end - 1
                break
        at += 1
    return tuple(found)


def _fits(plain: Sequence[str], at: int, end: int, parsed: ParsedPotency, remedy_ends: frozenset[int]) -> bool:
    if not parsed.doubt:
        # "Q ten drops" are ten drops of the mother tincture, no LM10.
        return not (plain[at] in _Q_SAID and end - at > 1 and end < len(plain) and plain[end] in _COUNT_AFTER)
    if any(i in remedy_ends for i in (at, at - 1)) and (at in remedy_ends or plain[at - 1] in ("in", "of", "c")):
        after = plain[end].replace("'", "").replace(".", "") if end < len(plain) else ""
        return after not in _COUNT_AFTER and after not in _CLOCK_AFTER
    before = plain[at - 1] if at else ""
    after = plain[end].replace("'", "").replace(".", "") if end < len(plain) else ""
    if before in _CLOCK_BEFORE or after in _COUNT_AFTER or after in _CLOCK_AFTER:
        return False
    return before in _POTENCY_BEFORE or after in ("potency", "potencies")
