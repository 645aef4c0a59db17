"""Who a told case is about: age, sex and setting as they were said. What may be a count of something else, or said
of somebody else, is left out: a header that states too little is mended by reading, one that states too much is not.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from typing import Literal

from notesmith.extract.cases import PERSON
from notesmith.extract.lexicon import BODY_CHAPTERS, SENSATIONS
from notesmith.extract.potency_words import BARE_STEPS, NUMBER, number_of
from notesmith.extract.session import Session

PersonLabel = Literal["age", "sex", "setting"]
_YEARS = r"(?:years?|yrs?|months?|weeks?|days?)"
_ANYBODY = rf"(?:{PERSON}|lassie|fella|mama|gal|guy|mum|dad|twin)"
_ABOUT = r"(?:about|around|nearly|some|hardly|just|only)"
#: An age that can be nothing else.
AGE = re.compile(
    rf"\b(?:(?:aged?|age of|age is|age was|age about) (?:{_ABOUT} )?(?P<a>{NUMBER}(?: and a half)?(?:[ -]?{_YEARS})?)|"
    rf"(?P<b>{NUMBER}(?: and (?:a )?half)?[ -]?{_YEARS}[ -]?(?:olds?|of age))|"
    rf"(?:{PERSON}|she|he|who)(?:,| who)? (?:is |was )?(?:of |{_ABOUT} )+(?P<c>{NUMBER}(?: and a half)?(?:[ -]?{_YEARS})?)(?=[ ,.;]|$)|"
    rf"(?P<d>{NUMBER}(?: and (?:a )?half)?[ -]?(?:years?|yrs?|months?))(?=,? (?:male|female|man|woman|boy|girl|lady|child|gentleman|housewife|old)\b)|"
    rf"(?:male|female|man|woman|boy|girl|lady|child|gentleman|housewife),? (?:(?:of|on) )?(?P<g>{NUMBER}[ -]?(?:years?|yrs?|months?))(?=[ ,.;]|$)|"
    r"in (?:her|his) (?P<f>(?:early |mid |mid-|late )?(?:teens|twenties|thirties|forties|fifties|sixties|seventies|eighties)))"
)
#: A bare number where an age would stand.
_BARE_AGE = re.compile(
    rf"\b(?:(?:she|he|{_ANYBODY})(?:'s| would be| must be| must have been| was| is),? (?:{_ABOUT} |at that time |then )*(?P<a>{NUMBER}(?: and a half)?)(?=[ ,.;]|$)|"
    rf"{_ANYBODY}\b[^.?!]{{0,50}}, (?:{_ABOUT} )?(?P<b>{NUMBER}(?: and a half)?(?: or so| odd| plus)?)(?=[,.]|$)|"
    rf"{_ANYBODY},? (?P<c>{NUMBER}(?: and a half)?)(?=[ ,.;]|$)|"
    rf"\b(?:an?|one|this|the) (?:[\w-]+ ){{1,3}}?(?<!dose )(?<!doses )(?<!potency )(?<!number )(?<!pack )(?<!course )of (?P<d>{NUMBER})(?= (?:came|with|was|had|who|from)\b)|"
    rf"(?P<e>{NUMBER}),? (?=(?:male|female)\b)|(?<=[.!?] )(?P<f>{NUMBER})(?=, (?!\d)))"
)
_AGE_ALONE = re.compile(
    rf"(?:^|[,.:;] |\b(?:{_ABOUT}|was|is|it|say|this|that) )(?P<a>{NUMBER}(?: and a half)?(?:[ -]?(?:years?|yrs?|months?|weeks?))?)(?=[,.;:]|$)"
)
_NOT_BEFORE = re.compile(
    r"\b(?:(?:mother|father|parent) of|for|since|after|within|in|every|last|past|next|over|than|till|until|before|from|since the age|from the age|at the age|before the age)(?: (?:of|about|around|nearly|almost|the|last|"
    r"past|some|a|good|at|least|more|than))*$"
)
_KIN = (
    r"(?:mother|father|mum|dad|husband|wife|son|daughter|brother|sister|aunt|uncle|cousin|niece|nephew|grandmother|"
    r"grandfather|grandson|granddaughter|child|children|baby|in-law)"
)
_OF_KIN = re.compile(rf"\b(?:his|her|their|whose) (?:[\w-]+ )?{_KIN}(?:,| who)?(?: (?:is|was|of|aged?|{_ABOUT}))*$")
_NOT_AFTER = re.compile(
    r"^(?: (?:ago|later|back|before|after|earlier|times?|kilos?|kg|feet|per|percent|o'clock|a (?:day|week|month|year|night)|pounds|days?|hours?|minutes?|am|pm|degrees|or|to)\b|-)"
)
_AFTER_BARE = re.compile(
    rf"(?:and|with|from|came|comes|come|who|she|he|had|has|was|is|mr|mrs|male|female|lives?|works?|married|unmarried|single|retired|by|but|{PERSON})(?:'\w+)?"
)
_ENDS_AGE = re.compile(rf"(?:[ -]?and (?:a )?half|[ -]?(?:or so|odd|plus)|[ -]?{_YEARS}|[ -]?olds?|[ -]?of age)+$")
_COMPLAINTS = frozenset("complaint complaints history trouble problem scar report case illness disease".split())

_FEMALE = re.compile(
    r"\b(?:lady|woman|girl|female|housewife|mother of|young mother|widow|bride|schoolgirl|grandmother|maid|nun|old lady|aunty|"
    r"auntie|lass|lassie|gal|mama|actress|waitress|mrs|miss|ms)\b(?!')"
)
_MALE = re.compile(
    r"\b(?:gentleman|man|boy|male|businessman|policeman|watchman|schoolboy|grandfather|fellow|fella|chap|old man|guy|lad|gent|mr)\b(?!')"
)
#: Kinship says the sex of the patient only where the person is introduced by it ("my own niece").
_FEMALE_KIN = re.compile(r"\b(?:sister|daughter|niece|granddaughter|mother-in-law|wife)\b(?!')")
_MALE_KIN = re.compile(r"\b(?:brother|son|nephew|grandson|husband)\b(?!')")
_SHE, _HE = re.compile(r"\b(?:she|her|hers|herself)\b"), re.compile(r"\b(?:he|him|his|himself)\b")
_SETTING = re.compile(
    r"\b(?:(?:in|to|at|from|into) (?:my|our|the|a|an|one|his|her|this|that) (?:(?!years?|days|months)[\w-]+ ){0,3}?(?:clinic|chamber|cabinet|"
    r"(?:consulting |treatment )?rooms|o\.?p\.?d?\.?|out-?patients?(?: department)?|hospital|camp|medical camp|dispensary|practice|consulting "
    r"room|ward|nursing home|icu|village camp|charitable \w+|out-?patient \w+|health centre|"
    r"college opd)(?![\w'-])|(?:in|to|at) (?:opd?|out-?patients)(?![\w'-])|my (?:own )?house\b|"
    r"home visit|house (?:call|visit)|(?:over|on) (?:the )?(?:phone|telephone|video(?: call)?)|by (?:video|phone|telephone|zoom|skype|whatsapp)|"
    r"(?:saw|seen|see|visited|met) (?:him|her|them) (?:at|in) (?:his|her|their )?(?:own )?(?:home|house)|online(?: "
    r"consultation)?|(?:charitable|free|rural|medical|village|teaching|mission|evening|morning|mobile|outreach|health) (?:camp|clinic|dispensary|o\.?p\.?d?)(?![\w'-])|video "
    r"consultation|tele-?(?:health|medicine)|telephonic(?:ally)?)\b"
)
OPENING_UNITS = 45


def person_of(session: Session, ranges: Sequence[tuple[int, int]]) -> dict[PersonLabel, tuple[int, int]]:
    """Half-open units of what is said of the person of a case told over ``ranges`` of units; unsaid labels are missing."""
    start, end = ranges[0]
    found: dict[PersonLabel, tuple[int, int]] = {}
    age = next(_ages(session, start, end), None)
    if age is not None:
        found["age"] = age
    sex = _sex(session, ranges)
    if sex is not None:
        found["sex"] = sex
    setting = next(session.search(_SETTING, start, min(end, start + 120)), None)
    if setting is not None:
        found["setting"] = setting[:2]
    return found


def _ages(session: Session, start: int, end: int) -> Iterator[tuple[int, int]]:
    """Ages in the order of how sure they are, then of place."""
    near = min(end, start + 60)
    for pattern, last in ((AGE, near), (_BARE_AGE, near), (None, near), (AGE, end), (_BARE_AGE, end)):
        for first, units in _matches(session, pattern, start, last):
            if session.units[units[0]].low == "one" and _value(session, *units) < 0:
                units = (units[0] + 1, units[1])  # "one two and half year old boy"
            if states_age(session, *units) and (pattern is AGE or _may_stand_alone(session, first, *units)):
                yield units


def _matches(
    session: Session, pattern: re.Pattern[str] | None, start: int, end: int
) -> Iterator[tuple[int, tuple[int, int]]]:
    """The first unit searched and the units of each number found; without a pattern, numbers that stand alone."""
    if pattern is not None:
        for _, _, match in session.search(pattern, start, end):
            yield start, session.span_of(start, match, next(name for name, text in match.groupdict().items() if text))
        return
    for sentence in session.sentences_in(start, end)[:5]:
        first = max(start, sentence.start)
        for _, _, match in session.search(_AGE_ALONE, first, min(end, sentence.end)):
            yield start, session.span_of(first, match, "a")


_LITTLE = re.compile(
    r"\b(?:baby|infant|newborn|toddler|child|little|twins?|boy|girl|fella|lad|lass|lassie|son|daughter)\b"
)


def _may_stand_alone(session: Session, start: int, first: int, last: int) -> bool:
    """``Forty one years.``: years are a life's length by themselves, months only of somebody small, and a number that
    is also a potency only close to a person."""
    before = session.low(max(start, first - 12), first)
    unit = re.search(_YEARS, session.low(first, last))
    if unit is not None:
        return unit[0].startswith("y") or bool(_LITTLE.search(before))
    value = _value(session, first, last)
    person = bool(re.search(rf"\b(?:{_ANYBODY}|s?he)\b", before))
    return person or (value > 10 and value not in BARE_STEPS)


_LOOSE_AGE = re.compile(
    rf"(?:^|[,.:;] |\b{PERSON},? |\b(?:s?he|who)(?:'s| is| was) |\babout |\bonly |\bchild )(?P<n>{NUMBER})(?P<unit>(?: and a half)?(?: years?| months?)?(?: or so| odd)?)"
    r"(?=[,.;]|$| (?:and|with|from|came|she|he|who|mr|mrs)\b)"
)


def bare_ages(low: str, gives: bool) -> bool:
    """Whether one lower-case sentence has a number where an age may stand; what is given may be a potency instead."""
    for match in _LOOSE_AGE.finditer(low):
        value = number_of(match["n"])
        if value is not None and (
            re.search(r"year|month", match["unit"]) or (5 < value <= 105 and not (value in BARE_STEPS and gives))
        ):
            return True
    return False


def _value(session: Session, start: int, end: int) -> int:
    value = number_of(_ENDS_AGE.sub("", session.low(start, end).strip(" ,.;:")).strip())
    return -1 if value is None else int(value)


def states_age(session: Session, start: int, end: int) -> bool:
    """Whether these units can state the patient's age: a life's length, and neither a count, a span nor a kin's age."""
    low = session.low(start, end).strip(" ,.;:")
    sentence = session.sentence_at(start)
    before = session.low(max(sentence.start, start - 7), start).rstrip(" ,")
    if re.search(r"(?:teens|ties)$", low):
        return not _OF_KIN.search(before)
    if not 0 <= _value(session, start, end) <= 110 or not re.search(r"\d|[a-z]{3}", low):
        return False
    if (_NOT_BEFORE.search(before) and not before.endswith(("child in", "boy in"))) or _OF_KIN.search(before):
        return False
    stopped = session.units[end - 1].text.endswith((",", ".", ";", ":", "?", "!"))
    if not stopped and _NOT_AFTER.match(" " + session.low(end, min(len(session), end + 2))):
        return False
    unit = re.search(_YEARS, low)
    if unit is None:  # without a stop the next word tells a person ("thirty one and she") from a count ("eleven warts")
        return stopped or end >= len(session) or bool(_AFTER_BARE.fullmatch(session.units[end].low))
    after = session.units[end].low if end < len(session) and not stopped else ""
    return after not in _COMPLAINTS and after not in BODY_CHAPTERS and after not in SENSATIONS


def _sex(session: Session, ranges: Sequence[tuple[int, int]]) -> tuple[int, int] | None:
    """The first word that says the sex of the person told of. Where the pronouns of the whole case say otherwise, the
    word was said of somebody else; where they are divided and nothing else says it, nothing does."""
    start, end = ranges[0]
    counted = {
        female: sum(1 for s, e in ranges for _ in session.search(pattern, s, e)) for female, pattern in ((True, _SHE), (False, _HE))
    }  # fmt: skip
    main = next((sex for sex in (True, False) if counted[sex] > 2 * counted[not sex]), None)
    named = sorted(
        (first, last, female)
        for patterns, reach in (((_FEMALE, _MALE), OPENING_UNITS), ((_FEMALE_KIN, _MALE_KIN), OPENING_UNITS // 3))
        for female, pattern in zip((True, False), patterns, strict=True)
        for first, last, _ in session.search(pattern, start, min(end, start + reach))
        if reach == OPENING_UNITS or (main is female and counted[female])
    )
    for first, last, female in named:
        if counted[not female] < 3 or main is not (not female):
            return first, last
    if main is None:
        return None
    return next(((first, last) for first, last, _ in session.search(_SHE if main else _HE, start, end)), None)


def says_sex(session: Session, start: int, end: int) -> bool:
    """Whether these units name somebody of one sex."""
    low = session.low(start, end)
    return any(pattern.search(low) for pattern in (_FEMALE, _MALE, _FEMALE_KIN, _MALE_KIN))
