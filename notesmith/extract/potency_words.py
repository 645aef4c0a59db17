"""Potencies as they are said in class, normalised; used by the rules on prescriptions, cases and cautions.

The scales are those of common practice: C and M (1M = 1000C), LM or Q, decimal X or D. A bare number after a
remedy is a centesimal by custom in India and Britain; it is marked doubtful where another sense is likely.
"""

from __future__ import annotations

import re

_UNITS = {
    "zero": 0, "one": 1, "two": 2, "three": 3, "four": 4, "five": 5, "six": 6, "seven": 7, "eight": 8, "nine": 9,
    "ten": 10, "eleven": 11, "twelve": 12, "thirteen": 13, "fourteen": 14, "fifteen": 15, "sixteen": 16,
    "seventeen": 17, "eighteen": 18, "nineteen": 19,
}  # fmt: skip
_TENS = {
    "twenty": 20, "thirty": 30, "forty": 40, "fifty": 50, "sixty": 60, "seventy": 70, "eighty": 80, "ninety": 90,
}  # fmt: skip

_WORD = "|".join([*_UNITS, *_TENS, "hundred", "thousand"])
#: A number in digits or words ("two hundred", "forty-two", "30").
NUMBER = rf"(?:\d[\d,]*|(?:(?:a )?(?:{_WORD})(?:[ -](?:and )?(?:{_WORD}))*))"

COMMON_STEPS = frozenset({3, 6, 12, 30, 200, 1000, 10000, 50000})

#: Potencies said as ordinals ("the thirtieth"); those that could as well count days are left out.
_ORDINALS = {"thirtieth": 30, "two hundredth": 200, "thousandth": 1000, "ten thousandth": 10_000}

POTENCY = re.compile(
    rf"\b(?P<ord>{'|'.join(sorted(_ORDINALS, key=len, reverse=True))})\b|"
    rf"\b(?P<lm>(?:l\.? ?m\.?|el em) ?[-/]?(?:potency )?(?P<lmn>{NUMBER})?|0 ?/ ?\d{{1,2}})\b"
    rf"|\b(?P<cm>c\.? ?m\.?|d\.? ?m\.?|m\.? ?m\.?)(?=[ ,.;!?]|$)"
    rf"|\b(?P<mn>{NUMBER}|a) ?-?m\b\.?"
    rf"|\b(?P<q>mother tincture|mother tinctures|(?:in )?tincture|q\b(?! ?\d)|θ|ø)"
    rf"|\b(?P<num>{NUMBER})[ -]?(?P<scale>ch|ck|c|x|d|k)\b\.?"
    rf"|\b(?P<d>d|x|c|q)(?P<dn>\d{{1,4}})\b"
    rf"|\b(?P<bare>{NUMBER})(?=[ ,.;!?:)]|$)"
)


def number_of(said: str) -> int | None:
    """The value of a number in digits or English words, None where it is neither.

    >>> number_of("two hundred"), number_of("forty-two"), number_of("1,000")
    (200, 42, 1000)
    """
    text = said.casefold().replace(",", "").replace("-", " ").strip()
    if text.isdigit():
        return int(text)
    total, current, seen = 0, 0, False
    for word in text.split():
        if word in ("and", "a"):
            current = current or (1 if word == "a" else 0)
            continue
        if word in _UNITS:
            current += _UNITS[word]
        elif word in _TENS:
            current += _TENS[word]
        elif word == "hundred":
            current = max(current, 1) * 100
        elif word == "thousand":
            total += max(current, 1) * 1000
            current = 0
        else:
            return None
        seen = True
    return total + current if seen else None


def normalise(match: re.Match[str]) -> tuple[str, bool] | None:
    """The normal form of a ``POTENCY`` match and whether it is doubtful; None where it is no potency."""
    if match["ord"]:
        steps = _ORDINALS[match["ord"]]
        return {1000: "1M", 10_000: "10M"}.get(steps, f"{steps}C"), False
    if match["lm"]:
        digits = re.search(r"\d+", match["lm"].split("/")[-1])
        value = number_of(match["lmn"]) if match["lmn"] else int(digits[0]) if digits else None
        return (f"LM{value}", False) if value else ("LM", False)
    if match["cm"]:
        return re.sub(r"[ .]", "", match["cm"]).upper(), False
    if match["mn"]:
        value = 1 if match["mn"] == "a" else number_of(match["mn"])
        return (f"{value}M", False) if value and value in (1, 10, 50, 100) else None
    if match["q"]:
        return "Q", False
    if match["num"]:
        value = number_of(match["num"])
        if value is None or value == 0:
            return None
        scale = match["scale"].upper()
        return f"{value}{scale}", value not in COMMON_STEPS and scale == "C" and value > 30
    if match["d"]:
        letter, value = match["d"].upper(), int(match["dn"])
        return (f"LM{value}" if letter == "Q" else f"{value}{'X' if letter == 'D' else letter}"), False
    value = number_of(match["bare"])
    if value is None or value not in COMMON_STEPS:
        return None
    if value >= 1000:
        return {1000: "1M", 10000: "10M", 50000: "50M"}[value], False
    return f"{value}C", value < 30
