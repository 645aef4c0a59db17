"""The shorthand of prescriptions read in its context: M, CM, Q, OD, HS and the like mean more than one thing.

What stands around a sign decides what it means; where nothing does, all its meanings are given and it is marked as
ambiguous. Meanings are those of ``vocab/prescriptions.tsv`` and ``vocab/potencies.tsv``, each with its source there;
what speaks for which meaning is common practice.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import msgspec

from notesmith.transcript import WordRange
from notesmith.vocabulary.potency import Potency, find_potencies, parse_potency
from notesmith.vocabulary.vocabulary import Vocabulary, label_key

_MAX_WORDS = 4
_SIGN = "\N{BLACK SQUARE}"
_EYE = (
    r"eyes?|vision|visual|acuity|cornea\w*|retina\w*|cataracts?|glaucoma|pupils?|lens|iop|intraocular|fundus|"
    r"conjunctiv\w*|ou|left eye|right eye|6/\d+|20/\d+"
)
_TAKING = r"REMEDY|POTENCY|pills?|drops?|gtts?|globules?|tablets?|tabs?|doses?|powders?|take|for \w+ (?:days?|weeks?)"
_MIXING = (
    r"ft|fiat|mist|mistura|pulv|pulvis|aq|aqua|ung|div|dtd|tinct|tinctura|syr|ad|sig|gr|drachms?|ounces?|oz|ml|rub"
)


class Sense(msgspec.Struct, frozen=True):
    """One meaning; ``concept_id`` is empty for a meaning the vocabulary does not hold (a centimetre)."""

    concept_id: str
    meaning: str


class Shorthand(msgspec.Struct, frozen=True):
    """A sign in a line; several ``senses`` where the context does not decide, and then ``doubt`` says so."""

    words: WordRange
    written: str
    senses: tuple[Sense, ...]
    doubt: str = ""


class _Clue(msgspec.Struct, frozen=True):
    """A meaning and what speaks for it in the line, where the sign is a black square and lower case the rest."""

    sense: str  # a concept's id, or words for a meaning outside the vocabulary
    pattern: str


_COLLISIONS: dict[str, tuple[_Clue, ...]] = {
    "m": (_Clue("potency/1m", rf"(?:REMEDY|POTENCY).*(?<!\d ){_SIGN}|potenc|{_SIGN} dose"),
          _Clue("rx/misce", rf"\b(?:{_MIXING})\b")),
    "cm": (_Clue("potency/cm", rf"(?:REMEDY|POTENCY).*(?<!\d ){_SIGN}|potenc|{_SIGN} dose"),
           _Clue("rx/cras-mane", r"\b(?:nocte|mane|hora|haust|draught|repetatur|sumend\w*|tomorrow)\b"),
           _Clue("a centimetre", rf"(?:\d|\bby|\bof) {_SIGN}|{_SIGN} (?:long|wide|thick|deep|across|in diameter)")),
    "mm": (_Clue("potency/mm", rf"(?:REMEDY|POTENCY).*(?<!\d ){_SIGN}|potenc"),
           _Clue("a millimetre", rf"(?:\d|\bby|\bof) {_SIGN}|{_SIGN} (?:long|wide|thick|deep|hg|in diameter)")),
    "dm": (_Clue("potency/dm", rf"(?:REMEDY|POTENCY).*(?<!\d ){_SIGN}|potenc"),
           _Clue("diabetes mellitus", r"\b(?:type|known|k/c/o|htn|insulin|sugar|diabet\w*|history|since)\b")),
    "cn": (_Clue("rx/cras-nocte", r"\b(?:nocte|mane|hora|haust|draught|pil|sumend\w*|tomorrow)\b"),
           _Clue("a cranial nerve", rf"{_SIGN} ?(?:[ivx]+\b|\d)|\b(?:nerves?|palsy|intact)\b")),
    "q": (_Clue("potency/mother-tincture", r"drops?|gtts?|\bml\b|teaspoon|tinct|cup|mother|extern|locally|gargle"),
          _Clue("potency/fifty-millesimal", r"millesimal|\blm\b|ascending|succuss|potency scale|scale"),
          _Clue("rx/quaque", rf"{_SIGN} (?:hora|die|nocte|mane|\d+ ?h)")),
    "lm": (_Clue("potency/fifty-millesimal", r"millesimal|scale|ascending|succuss|daily|in water|potenc|0/|organon"),
           _Clue("potency/50m", rf"POTENCY.*{_SIGN}|{_SIGN}.*POTENCY")),
    "od": (_Clue("rx/od", rf"^(?!.*(?:poison|overdos|swallow|suicid)).*\b(?:{_TAKING})\b"), _Clue("rx/oculus-dexter", rf"\b(?:{_EYE}|os)\b"),
           _Clue("an overdose", r"overdos\w*|poison\w*|swallowed|suicid\w*")),
    "os": (_Clue("rx/oculus-sinister", rf"\b(?:{_EYE}|od)\b"), _Clue("the mouth", rf"\bper {_SIGN}"),
           _Clue("a bone", r"\b(?:bone|calcis|fracture)\b")),
    "ad": (_Clue("rx/ad", rf"\b(?:{_MIXING}|lib|\d+ ?ml)\b|{_SIGN} (?:us|lib)"),
           _Clue("rx/auris-dextra", r"\b(?:ears?|hearing|tympan\w*|otitis|as|au|otoscop\w*|discharge)\b"),
           _Clue("rx/alt-die", rf"\b(?:{_TAKING})\b")),
    "hs": (_Clue("rx/hs", rf"\b(?:{_TAKING})\b"),
           _Clue("rx/half-strength", r"\b(?:saline|solution|strength|dextrose|dilut\w*|peroxide|lotion|wash)\b")),
    "sl": (_Clue("rx/sac-lac", rf"(?:REMEDY|POTENCY).*{_SIGN}|placebo|{_SIGN} (?:od|bd|tds|qds|for)\b"),
           _Clue("rx/sublingual", r"\b(?:tongue|tablets?|tab|nitr\w*|spray)\b")),
    "pc": (_Clue("rx/pc", rf"\b(?:{_TAKING})\b"),
           _Clue("idea/presenting-complaint", rf"\b(?:complain\w*|history|hpi|since|duration)\b|^{_SIGN} ?[:=-]")),
    "im": (_Clue("rx/im", r"\b(?:inj\w*|vaccin\w*|needle|mg|ml|vitamin)\b"),
           _Clue("potency/1m", rf"REMEDY,? (?:in )?{_SIGN}|potenc")),
    "om": (_Clue("rx/om", rf"\b(?:{_TAKING})\b"),
           _Clue("the Organon of Medicine", r"§|\baph\w*|paragraph|hahnemann|edition|section")),
    "cc": (_Clue("rx/cc", rf"\b(?:{_TAKING})\b"), _Clue("a chief complaint", r"\bcomplain\w*|history|since"),
           _Clue("a cubic centimetre", rf"\d ?{_SIGN}")),
    "ac": (_Clue("rx/ac", rf"\b(?:{_TAKING})\b"), _Clue("an acid, in a remedy's name", rf"-{_SIGN}")),
}  # fmt: skip
_ENGLISH = frozenset(
    "on no as in is at am pm om ad id da sum cap vin lot sol cum sine ter bis tab dry gt os im".split()
)


def read_shorthand(line: str, vocabulary: Vocabulary) -> tuple[Shorthand, ...]:
    """The signs of one line in reading order: potencies and abbreviations, with what they mean in this line.

    Words said in plain English are no signs. ``words`` count the line's words between blanks. Never raises.
    """
    words = line.split()
    bare = [word.strip(" ,;:?!()\"'“”") for word in words]
    remedies = list(_remedies(bare, vocabulary))
    taken = {at for one in remedies for at in range(one.start, one.end)}
    found: list[Shorthand] = []
    ends = frozenset(one.end for one in remedies)
    for mention in find_potencies(words, ends):
        start, end = mention.words.start, mention.words.end
        key = label_key(mention.said)
        if key in _COLLISIONS or taken & set(range(start, end)) or _is_measure(bare, start, end, ends):
            continue
        taken |= set(range(start, end))
        found.append(Shorthand(mention.words, mention.said, tuple(_potency_sense(p, vocabulary) for p in
                               mention.parsed.senses[:1])))  # fmt: skip
    potencies = {at for one in found for at in range(one.words.start, one.words.end)}
    at = 0
    while at < len(words):
        for length in range(min(_MAX_WORDS, len(words) - at), 0, -1):
            span = range(at, at + length)
            if taken & set(span) or any(word[-1:] in ",;" for word in words[at : at + length - 1]):
                continue
            written = " ".join(bare[at : at + length])
            context = _context(bare, at, length, remedies, potencies)
            if _english(written, bare[at + length : at + length + 1]):
                continue
            if (one := _read(written, context, WordRange(at, at + length), vocabulary)) is not None:
                found.append(one)
                at += length - 1
                break
        at += 1
    return tuple(sorted(found, key=lambda one: one.words.start))


def _remedies(words: Sequence[str], vocabulary: Vocabulary) -> Iterator[WordRange]:
    at = 0
    while at < len(words):
        for length in range(min(_MAX_WORDS, len(words) - at), 0, -1):
            key = label_key(" ".join(words[at : at + length]))
            if len(key) > 2 and key not in _COLLISIONS and vocabulary.find(key, "remedy") and _a_name(words, at, key):
                yield WordRange(at, at + length)
                at += length - 1
                break
        at += 1


def _a_name(words: Sequence[str], at: int, key: str) -> bool:
    """Lower-case single words may be English (sol, cocculus is not), so one word must begin with a capital."""
    return " " in key or words[at][:1].isupper()


def _is_measure(words: Sequence[str], start: int, end: int, remedy_ends: frozenset[int]) -> bool:
    """Lower-case cm after a number is a length, unless a remedy stands before."""
    return end - start > 1 and words[end - 1] in ("cm", "mm", "dm") and start not in remedy_ends


def _context(words: Sequence[str], at: int, length: int, remedies: Sequence[WordRange], potencies: set[int]) -> str:
    names = {i: "REMEDY" if i == one.start else "" for one in remedies for i in range(one.start, one.end)}
    names |= dict.fromkeys(potencies, "POTENCY")
    parts = [
        _SIGN if i == at else "" if at < i < at + length else names.get(i, word.lower().rstrip("."))
        for i, word in enumerate(words)
    ]
    return " ".join(part for part in parts if part)


def _english(written: str, following: Sequence[str]) -> bool:
    """A small lower-case English word; a full stop after it counts only inside a sentence."""
    ends = not following or following[0][:1].isupper()
    return written.islower() and (written.rstrip(".") if ends else written) in _ENGLISH


def _read(written: str, context: str, words: WordRange, vocabulary: Vocabulary) -> Shorthand | None:
    key = label_key(written)
    if not key:
        return None
    clues = _COLLISIONS.get(key.replace(" ", "") if len(key) <= 5 else key)
    if clues is not None and (not written.islower() or "." in written or " " not in key):
        return _decide(written, clues, context, words, vocabulary)
    concepts = vocabulary.find(written, "prescription")
    if len(concepts) == 1 and _is_sign(written, key, concepts[0].pref_label, concepts[0].fact("latin")):
        return Shorthand(words, written, (Sense(concepts[0].id, _meaning(concepts[0].id, vocabulary)),))
    return None


def _is_sign(written: str, key: str, preferred: str, latin: Sequence[str]) -> bool:
    """Whether it is shorthand rather than plain words: capitals, stops, figures, or Latin."""
    if (written.isupper() and len(key) <= 5) or "." in written or any(c.isdigit() for c in written):
        return True
    latin_keys = {label_key(one) for one in latin}
    return key in latin_keys or (key == label_key(preferred) and not preferred.isupper() and len(key) <= 12)


def _decide(written: str, clues: Sequence[_Clue], context: str, words: WordRange, vocabulary: Vocabulary) -> Shorthand:
    held = [clue for clue in clues if "/" not in clue.sense or clue.sense in vocabulary]
    fitting = [clue for clue in held if re.search(clue.pattern, context)]
    chosen = fitting if len(fitting) == 1 else held
    senses = tuple(
        Sense(clue.sense, _meaning(clue.sense, vocabulary)) if "/" in clue.sense else Sense("", clue.sense)
        for clue in chosen
    )
    if len(senses) == 1:
        return Shorthand(words, written, senses)
    doubt = f"{written} may be " + " or ".join(sense.meaning for sense in senses)
    return Shorthand(words, written, senses, doubt)


def _meaning(concept_id: str, vocabulary: Vocabulary) -> str:
    concept = vocabulary[concept_id]
    if concept.scheme == "potency":
        parsed = parse_potency(concept.pref_label)
        exact = parsed is not None and not concept.pref_label.endswith("potency") and concept.id != "potency/cm"
        return _potency_sense(parsed.senses[0], vocabulary).meaning if parsed and exact else _named_potency(concept_id)
    return ", ".join(concept.fact("meaning")) or concept.pref_label


def _named_potency(concept_id: str) -> str:
    return {"potency/cm": _dilution(Potency("centesimal", 100_000)), "potency/mm": _dilution(
        Potency("centesimal", 1_000_000)), "potency/dm": _dilution(Potency("centesimal", 500_000)),
        "potency/fifty-millesimal": "the LM (Q) scale, 1:50 000 at each step"}[concept_id]  # fmt: skip


def _potency_sense(potency: Potency, vocabulary: Vocabulary) -> Sense:
    concept = next(iter(vocabulary.find(potency.name, "potency")), None)
    return Sense("" if concept is None else concept.id, _dilution(potency))


def _dilution(potency: Potency) -> str:
    """A potency in words with its nominal dilution: 30C, centesimal, 10^-60."""
    if potency.scale == "mother tincture":
        return "mother tincture, not diluted"
    exponent = potency.dilution_log10
    return f"{potency.name}, {potency.scale}" + ("" if exponent is None else f", nominally 10^-{exponent:.15g}")
