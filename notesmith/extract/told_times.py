"""Times and names by how they are told: years and times named by what happened, and what belongs to a name beside it.

A date found by its month or feast is widened over the words that are part of it ("the second of", "of the year before");
so is a place ("point pedro", "teaching hospital jaffna"), a name of several words, and an age. Classes: HIPAA Safe
Harbor, 45 CFR 164.514(b)(2).
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from notesmith.annotations import PersonRole
from notesmith.extract.session import Sentence, Session

_END = r"(?=[ ,.;:?!)]|$)"
_FOUR = r"(?:19[4-9]\d|20[0-4]\d)"
#: A year that stands alone between stops, or one said by an apostrophe.
_YEAR_APART = re.compile(
    rf"(?:^|[,.;:] (?:(?:in|or|and|it was|that's|that was|this was) )?)(?P<time>{_FOUR})(?=[,.;:?!]|$)|\b(?:that's|it was|that was|this was|it's) (?P<said>{_FOUR}|two thousand(?: and)? (?:\w+teen|ten|eleven|twelve|twenty(?:[ -]\w+)?|one|two|three|four|five|six|seven|eight|nine)){_END}"
    rf"|(?<![\w’'])(?P<short>['’‘][4-9]\d){_END}"
)
_DECADE = re.compile(
    r"(?<!\bhis )(?<!\bher )(?<!\btheir )(?<!\bmy )(?<!\byour )\b(?P<time>(?:the )?(?:early|mid|middle|late)[ -](?:the )?(?:nineteen )?(?:forties|fifties|sixties|seventies|eighties|nineties))"
    + _END
)
_EVENTS = (
    r"(?:snows?|frost|floods?|storms?|fires?|strikes?|war|cyclone|hurricane|typhoon|earthquake|quake|drought|riots?|lockdown|elections?|eclipse|cup|coup|revolution|tsunami|famine|"
    r"outbreak|landslide|locusts|jubilee|flight|curfew|olympics|world cup)"
)
_EVENT_TIME = re.compile(
    rf"\b(?P<time>(?:the )?(?:year|winter|summer|spring|autumn|week|month|night|day|season|monsoon|harvest) of the (?:\w+ )?{_EVENTS}){_END}"
    r"|\b(?P<vacation>(?:the )?(?:summer|winter|school|spring|autumn|pujas?|christmas|easter|diwali|monsoon|mid-term|half-term) (?:vacations?|holidays?|break) (?:of )?(?:last|this|that|the same|the other) (?:year|time|summer|winter))"
    + _END
)
#: A feast no list knows, by its day: "Reek Sunday", "Whit week", "bonfire night".
_NAMED_DAY = re.compile(
    r"\b(?P<name>[^\W\d_]{3,}) (?P<day>(?:sun|mon|tues|wednes|thurs|fri|satur)day|week|weekend|night)" + _END
)
_NO_NAME_OF_A_DAY = frozenset(
    """the this that last next every each first second third fourth one two three same other whole all any some good bad black easter holy late early on and or but for from until till
    since before after by around about next following previous past coming of in at to is was it last half per a an my our his her their your no not only even then so now when monday
    tuesday wednesday thursday friday saturday sunday every-other alternate zero exam school working office class mid""".split()
)
#: Nights and weeks that are written small and yet are feasts (common knowledge).
_SMALL_DAYS = frozenset("bonfire whit wakes burns".split())


def times_in(session: Session, sentence: Sentence, told: bool) -> Iterator[tuple[int, int]]:
    """Half-open units of years and times that date what is told in a sentence of somebody."""
    for pattern in (_YEAR_APART, _DECADE, _EVENT_TIME):
        for _, _, match in session.search(pattern, sentence.start, sentence.end):
            if not told and (pattern is not _YEAR_APART or match["short"] is None):
                continue
            group = next(name for name, value in match.groupdict().items() if value is not None)
            yield session.span_of(sentence.start, match, group)
    for start, end, match in session.search(_NAMED_DAY, sentence.start, sentence.end):
        name = session.units[start]
        if name.text[-1:] in ",;:.":
            continue
        capital = name.bare[:1].isupper() and session.cased and match["name"] not in _NO_NAME_OF_A_DAY
        opens = start == sentence.start or session.units[start - 1].text[-1:] in ".?!:"
        if (
            match["name"] in _SMALL_DAYS
            and match["day"] in ("week", "night", "sunday", "monday")
            or capital
            and told
            and not opens
        ):
            yield start, end


_ORDINALS = r"(?:first|second|third|fourth|fifth|sixth|seventh|eighth|ninth|tenth|eleventh|twelfth|\w+teenth|twentieth|thirtieth|(?:twenty|thirty)[ -]\w+|\d{1,2}(?:st|nd|rd|th)?)"
_BEFORE_DATE = re.compile(
    rf"\b(?:the )?(?:(?:month|week|weekend|night|day|eve|morning|end|beginning|start|middle|year|{_ORDINALS}(?: (?:week|day|sunday|monday|friday|saturday))?) of )+(?:the )?(?:month of )?$"
)
#: A weekday hung on a feast: "the Friday before Easter".
_DAY_BEFORE = re.compile(
    r"\b(?:the )?(?:sun|mon|tues|wednes|thurs|fri|satur)day (?:before|after|of|following) (?:the )?$"
)
_AFTER_DATE = re.compile(
    r"^,? ?(?:of )?(?:(?:the )?(?:year before(?: last)?|previous year|year after|same year)|(?:last|this|that|next) year)"
    + _END
)
_INSTITUTION = re.compile(
    r"(?:\b(?:teaching|general|district|base|civil|government|provincial|regional|national|university|mission|children's|medical)(?: and \w+)? )+(?:hospital|college|clinic|school|infirmary)(?: of| at| in)? $"
)
#: First words of a town's name, in any tongue, that are no name alone.
_TOWN_FIRST = frozenset(
    """san santa santo saint st sankt são sao port point fort mount beer bad new el al los las porto puerto villa kota kuala nuevo nueva cape lake tel bir ain deir ras ban
    nakhon ulaan monte monti rio são campo casa ciudad castle upper lower great little north south east west nagar kampung kampong kafr beit wadi jebel tuas sungai batu tanjung bukit pulau
    shahrah""".split()
)
_PARTICLES = frozenset(
    "de da do dos das di del della du van von der den bin binti ibn al el e i la le y zu ter ten".split()
)
_HOUSE_AFTER = re.compile(
    r"^(?:(?:primary|secondary|high|junior|senior|middle|grammar|methodist|catholic|anglican|baptist|presbyterian|lutheran|orthodox|memorial|general|district|children's|maternity|mission|teaching|"
    r"medical|railway|bus|train|metro|police|fire|girls'?|boys'?|nursing|parish|public|community|health|dental|eye|cancer|civil|base|rural|university|technical|town|village) )*"
    r"(?:(?P<sure>school|church|chapel|cathedral|hospital|clinic|college|convent|temple|mosque|mandir|masjid|gurdwara|gurudwara|synagogue|station|infirmary|polyclinic|university|academy|institute)|"
    r"airport|harbour|mill|factory|mine|works|hotel|inn|pub|stores?|bakery|pharmacy|farm|estate|plantation|cent(?:re|er)|hall|crossing|chowk|junction|stand|stop|halt|beach|dam|camp|barracks|quarry|docks?|ferry|jetty)"
    + _END
)
_WAY_AFTER = re.compile(
    r"^(?:main )?(?:road|street|highway|lane|bazaar|market|junction|roundabout|bridge|crossing|chowk|bus stand|stage|side)"
    + _END
)
_YEARS_AFTER = re.compile(r"^ ?(?:years?|yrs?)(?: old| of age)?" + _END)


def widened(session: Session, role: PersonRole, start: int, end: int, named: frozenset[int]) -> tuple[int, int]:
    """The units of an identifier with what is part of it. ``named`` are all units that are hidden already."""
    sentence = session.sentence_at(start)
    opens = sentence.start if session.cased else 0  # without stops a sentence may begin anywhere
    parted = session.units[end - 1].text[-1:] in ",.;:?!"
    before = session.low(max(opens, start - 6), start)
    before += " " if before else ""
    after = "" if parted else session.low(end, min(len(session), end + 5))
    if (match := _BEFORE_DATE.search(before)) is not None and (role == "date" or "month of" in match[0]):
        start -= match[0].strip().count(" ") + 1
    if role == "date":
        if (match := _DAY_BEFORE.search(before)) is not None:
            start -= match[0].strip().count(" ") + 1
        if (match := _AFTER_DATE.match(after)) is not None:
            end += match[0].strip().count(" ") + 1
    elif role == "age over 89":
        if (match := _YEARS_AFTER.match(after)) is not None:
            end += match[0].strip().count(" ") + 1
    elif role in ("place", "address", "student", "patient", "relative", "colleague"):
        if (match := _INSTITUTION.search(before)) is not None:
            start -= match[0].strip().count(" ") + 1
        if not session.units[end - 1].low.endswith("'s") or role == "place":
            match = _HOUSE_AFTER.match(after)
            if match is not None and (role in ("place", "address") or match["sure"]):
                end += match[0].strip().count(" ") + 1
                parted = session.units[end - 1].text[-1:] in ",.;:?!"
                after = "" if parted else session.low(end, min(len(session), end + 5))
        if role in ("place", "address"):
            if (match := _WAY_AFTER.match(after)) is not None:
                end += match[0].strip().count(" ") + 1
                start -= start > sentence.start and session.units[start - 1].low == "the"
        first = start - 1
        if (
            first >= opens
            and first not in named
            and session.units[first].low in _TOWN_FIRST
            and session.units[first].text[-1:] not in ",;:?!"
        ):
            if not session.cased or session.units[first].bare[:1].isupper():
                start = first
        # "maria do socorro", "shahrah e faisal": small words between two parts of a name
        if (
            not parted
            and end + 1 < len(session)
            and session.units[end].low in _PARTICLES
            and end not in named
            and end + 1 in named
        ):
            end += 2
        elif (
            session.cased and not parted and end < sentence.end and role not in ("place", "address") and session.units[end].bare[:1].isupper()
            and len(session.units[end].bare) > 2 and end not in named and session.parse.tag(end) == "NNP" and not session.units[end].bare.isupper()
        ):  # fmt: skip
            end += 1
    return start, end


_LETTER = r"(?:(?:double |capital )?[a-z](?![\w'’]))"
_SPELLED = re.compile(rf"\b(?P<id>{_LETTER}(?:(?:[ ,.-]+(?:then |and )?){_LETTER}){{2,}})(?=[ ,.;:?!)]|$)")
_SPELLING = re.compile(r"\b(?:spel(?:l|t)\w*|letters?|written|write it|with (?:an? )?[a-z],)\b")


def spelled_names(session: Session, named: frozenset[int]) -> Iterator[tuple[int, int]]:
    """Half-open units of names spelled letter by letter: after the word for it, or beside the name."""
    for sentence in session.sentences:
        for start, end, match in session.search(_SPELLED, sentence.start, sentence.end):
            letters = [piece.strip(",.") for piece in match["id"].replace("-", " ").replace(",", " ").split()]
            alphabet = "".join(sorted(letters)) == "".join(letters)  # "A, B, C", and vitamins
            near = session.low(max(0, start - 8), min(len(session), end + 4))
            if not alphabet and (
                _SPELLING.search(near) or named & set(range(max(0, start - 3), min(len(session), end + 3)))
            ):
                yield start, end
