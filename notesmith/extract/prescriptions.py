"""Prescriptions as stated: remedy, potency, repetition, duration, what for. What was not said stays None."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from msgspec import structs
from rapidfuzz import fuzz
from spacy.lang.en.stop_words import STOP_WORDS

from notesmith.annotations import Prescription
from notesmith.extract.cases import ANYONE
from notesmith.extract.mentions import Hit
from notesmith.extract.names import name_lists
from notesmith.extract.potency_words import BARE_STEPS, NUMBER, NUMBER_WORDS, number_of, potencies_in
from notesmith.extract.session import Sentence, Session, bare
from notesmith.vocabulary.expand import sound_code
from notesmith.vocabulary.potency import ParsedPotency

_COUNT = rf"(?:{NUMBER}|a|one|single|few|a few|couple of|a couple of|two|three|some)"
_UNIT = r"(?:days?|weeks?|fortnights?|months?|hours?|minutes?|years?|mornings?|nights?|evenings?)"
#: At what it is given: "after each stool", "before every feed", "at the moment of the crisis".
_FIT = (
    r"(?:stools?|motions?|meals?|feeds?|feeding|foods?|attacks?|cris[ei]s|fits?|spasms?|cramps?|bouts?|vomit\w*|cough\w*|paroxysms?|pains?|colics?|panics?|episodes?|"
    r"loose motions?|evacuations?|purg\w+|contractions?|breast ?feeds?|class(?:es)?|exams?|journey|flight)"
)
_AT_NEED = (
    rf"(?:after|before|with|at|during|on) (?:each|every) (?:(?:new|fresh|loose|big|single|bad|other) )?{_FIT}|"
    rf"(?:at|in|from) the (?:very )?(?:moment|start|beginning|onset|outset|first sign|height) of (?:(?:a|an|the|each|every|any) )?(?:\w+ )?{_FIT}"
)
REPETITION = re.compile(
    rf"\b(?:(?:just |only |in )?(?:a |one |the )?(?:single|unique) (?:doses?|powders?)|(?:just |only )?(?:the )?{NUMBER} doses?(?: (?:a|"
    r"per) (?:day|week|month)| (?:daily|weekly|nightly|monthly|hourly)| every \w+(?: \w+)?)?|(?:just |only )?a dose|"
    r"(?:just |only |exactly )(?:the )?(?:once|one time|twice)(?! (?:a|per|daily|every|in|weekly))|one time only|once only|(?:once|twice)(?=[,.;]|$)|"
    rf"(?:just |only )?(?:once|twice|thrice|{NUMBER} times?|three times|four times) (?:a|per|by|by the|in a|in the|the|every|each|in every) (?:day|week|"
    rf"month|fortnight|hour|night|morning)|(?:once|twice|thrice) (?:daily|weekly|monthly)|{NUMBER} times (?:daily|weekly)|"
    r"one(?= of the (?:same|two|thirty|one)\b| one m\b)|(?:one|once) more(?= of\b|[,.;]| dose| powder| the\b|$)|once again(?= of\b|[,.;]| the\b|$)|another dose|(?:each|every) (?:mon|tues|wednes|thurs|fri|satur|sun)day|each (?:day|night|morning|evening|week|month)|"
    rf"every (?:{NUMBER} |other |alternate |few |half )?(?:hours?|minutes?|days?|nights?|mornings?|"
    r"evenings?|weeks?|fortnight|months?|an hour)|"
    rf"{_AT_NEED}|every (?:quarter|half)(?: of)?(?: an?)? hour|(?:{NUMBER}[- ])?hourly|alternate (?:days?|nights?|weeks?|mornings?)|on alternate days|daily|"
    r"nightly|weekly|fortnightly|monthly|(?:at|every) (?:bed ?time|night)|(?:in the |every )?(?:morning "
    r"and (?:evening|night))|"
    r"night and morning|morning and night|(?:a )?single(?= \d|,? (?:thirty|two hundred|dose|powder))|"
    r"two doses|three doses|one powder|a single powder|(?:on )?alternate|(?:two|three|four|five|six) "
    r"drops|morning,? (?:noon,? |afternoon,? )?(?:and )?(?:evening|night)|b\.?d\.?s?\b|t\.?d\.?s\b|"
    r"t\.?i\.?d\b|q\.?d\.?s\b|q\.?i\.?d\b|o\.?d\b|h\.?s\b|s\.?o\.?s\b|p\.?r\.?n\b|stat\b|as (?:and "
    r"when )?(?:needed|required)|when(?:ever)? (?:needed|required)|"
    rf"in (?:hot |warm |cold |boiled |a little |some )?water(?:,? (?:as|when|whenever) (?:needed|required))?|(?:in )?(?:ascending|plussed|plus(?:sing)?|split|divided) doses?|{NUMBER} (?:globules|"
    rf"pills|drops|pellets|tablets)(?: {NUMBER} times a day| (?:once|twice|thrice) (?:a day|daily))?|a "
    rf"teaspoon(?:ful)?(?: every \w+(?: \w+)?)?|repeated (?:every|once|twice)[^,.;]{{0,15}})"
)
DURATION = re.compile(
    rf"\b(?:during|over|through|x|in(?: the)?(?= (?:one|same|a single) day)) (?:the next )?(?:{_COUNT}|same|a single) {_UNIT}\b|(?<=\bup to ){_COUNT} {_UNIT}\b|(?<=\btimes )that day\b|\bfor (?:that|this|the same|the first|the whole) (?:day|night|evening|week|month)\b|\bfor (?:about |just |only )?{NUMBER} doses?\b|"
    rf"\bfor (?:about |just |only |nearly |the next |another )?{_COUNT} {_UNIT}\b|\btill "
    r"(?:the )?(?:next visit|follow[- ]?up|relief|better|improvement|she is better|he is better|it "
    r"stops)\b|"
    rf"\buntil (?:the )?(?:next visit|follow[- ]?up|relief|better|improvement)\b|\b(?:only|just) (?:for )?(?:that|this|the same|one) (?:day|night|evening|morning)\b|\b{NUMBER} (?:days?|"
    r"weeks?|months?)' supply\b"
)
_GIVES = re.compile(
    r"\b(?:gave|give|given|gives|giving|prescribed|prescribe|prescribing|prescription|repeated|repeat|"
    r"repeating|started (?:her|him|with|on)|put (?:(?:her|him|them|it) )?on|received|took|taken|dose|doses|"
    r"administered|"
    r"went (?:up )?to|went up|raised (?:it )?to|increased (?:it )?to|followed (?:it )?(?:up )?(?:by|with)|"
    r"potency|placed on|dispensed|sent|changed (?:it )?to|switched to|gone (?:up )?to|begin with|start "
    r"with|started|used|ordered|was on|one dose|got|receives?|bumped|moved (?:up )?to|raised|stepped|climbed|same remedy|"
    r"same medicine|advised|selected|medicine|i made|we made|under the tongue|suggested|recommended)\b"
)
_STATED_FOR = re.compile(
    r"\b(?:for (?:the |her |his |this |these |that )?(?P<what>(?!(?:about|just|only|another|the next|few|"
    r"a few|a week|a month|one|two|three|four|five|six|seven|ten|\d)\b)[a-z][^,.;?!]{2,50}))"
)
_NEGATED_GIVING = re.compile(
    r"\b(?:did not|didn't|do not|don't|never|not|without|instead of|should not|shouldn't|cannot|avoid|no "
    r"need to) (?:\w+ ){0,2}(?:give|gave|prescribe|repeat|giving|repeating|prescribing|want)\b"
)
_GAP = re.compile(
    r"^(?:[ ,.]|in|the|a|an|of|potency|one|single|dose|doses|was|is|again|then|it|given|to|only|just|"
    r"with|her|him|and|i|gave|at|our|first|once|came|up|went|from|same|remedy|i mean|here|now|next|"
    r"started|now)*$"
)
REACH = 7
_PERIOD = r"(?:day|week|month|fortnight|night|morning)"
#: How often, said in further ways than REPETITION has; that one stays as the learnt fields of cases know it.
_OFTEN = re.compile(
    rf"\b(?:(?:once|twice|thrice|(?:one|single|{NUMBER}) times?|{NUMBER}) (?:a|per|by|by the|in a|in the|in one|the|every|each|in every|within the|within a) {_PERIOD}\b(?! (?:before|after|later))|"
    rf"(?:once|twice) in {NUMBER} (?:days?|weeks?|months?)(?! (?:he|she|it|they|i)\b)|night one,? morning one|(?:one )?the (?:mon|tues|wednes|thurs|fri|satur|sun)days?|{NUMBER} times?(?= (?:before|after) (?:food|meals?|eating)|,? {NUMBER} (?:days?|weeks?))|"
    rf"(?:each|every) (?:{NUMBER} |other |alternate |few |half |second |third )?(?:hours?|minutes?|days?|nights?|mornings?|evenings?|weeks?|fortnight|months?|an hour|"
    r"quarter(?: of)?(?: an?)? hour)|each half(?: an?)? hour|each (?:new|fresh|loose|bad|stool|motion|meal|feed|attack)\w*(?: \w+)?|"
    rf"{NUMBER} (?:minutes?|hours?) apart|(?:half|(?:{NUMBER}))[- ]hourly|(?:on )?(?:(?:mon|tues|wednes|thurs|fri|satur|sun)days)|"
    r"(?:a |one |the |in )*(?:single|unique)(?: (?:one|tube|go|shot|gift|take|pill|powder|dose|time))?(?=[,.;]|$)|"
    rf"(?:just |only |and )*the once|(?:only )?one time(?! (?:i|he|she|we|they|when|a|per)\b)|{NUMBER} (?:powders?|tubes?|sachets?|doses?|goes|shots?)(?: (?:a|per|in a|in one|in the) day)?|"
    rf"{NUMBER} (?:at|in the) (?:bed ?time|night|noon|morning|evening)|at (?:bed ?time|noon|midday|midnight|dawn|sunset)|before (?:sleep(?:ing)?|bed|going to (?:bed|sleep)))\b"
)
#: Not how often but in what or how many pills; taken only where nothing else is said.
_AMOUNT = re.compile(
    rf"(?:in .*water.*|in .*divided doses?|(?:{NUMBER}) (?:globules|pills|drops|pellets|tablets|granules|tubes?|sachets?|powders?)|as (?:and when )?(?:needed|required)|a teaspoon(?:ful)?)"
)
#: "Two hundred, one.", "two hundred single": right behind a potency what elsewhere counts other things.
_ONE_BEHIND = re.compile(
    r"^(?:,? ?(?:then|now|again|and|but|only|just|this time|it was|was))*,? ?(?P<often>(?:the |a |an )?(?:one|once|single|twice|thrice)(?: (?:dose|powder|time|tube|go|only))?)"
    r"(?! (?:of|who|that|can|should|must|has|might|hundred|thousand|by|m|more|a|per|in|daily|weekly|minute|hour|day|week|month|year|morning|evening|patient|lady|man|woman|"
    r"boy|girl|child|thing|side|symptom|remedy|student|person|case|in four)\b)"
)
_ONE_BEFORE = re.compile(
    r"\b(?P<often>(?:one|once|two|single|another|a single)(?: (?:more|again|single))?(?: (?:dose|powder|tube|time|pill))?)(?: of)?(?: the)?(?: same)?(?: (?:number|potency))?$"
)
#: One dose: what is said of days after it tells how it went, not how long it is taken.
_ONE_DOSE = re.compile(
    r"(?:just |only |the |a |in |and )*(?:one|once|single|unique)(?: (?:single|more|again))?(?: (?:dose|time|powder|tube|go|shot|pill|only))*(?: (?:only|more|again))?"
)
_LONG = re.compile(
    rf"\b(?:another (?:{NUMBER} )?(?:days?|nights?|weeks?|months?|ten)(?=[,.;]|$)|the (?:next|first|whole|last) (?:{NUMBER} )?(?:days?|nights?|weeks?|months?)|the {NUMBER} (?:days?|nights?) before|"
    rf"(?:in|within) (?:one|the same) day|(?<=doses in )a day|that day(?= and stop|[,.;]|$)|during {NUMBER} (?:days?|weeks?|months?|nights?))\b"
)


@dataclass(frozen=True, slots=True)
class Said:
    """A potency said over units ``start`` to ``end``, with the remedy it goes with."""

    start: int
    end: int
    potency: str
    said: str
    doubtful: bool
    remedy: Hit | None


@dataclass(frozen=True, slots=True)
class Given:
    """A prescription and the units of each of its pieces."""

    value: Prescription
    start: int
    end: int
    remedy_units: tuple[int, int] | None
    potency_units: tuple[int, int] | None
    repetition_units: tuple[int, int] | None
    duration_units: tuple[int, int] | None
    by_others: bool = False  # given before the patient came, by somebody else
    remedy: Hit | None = None  # where the remedy was named, here or before


def with_first_words(session: Session, hits: Sequence[Hit]) -> tuple[Hit, ...]:
    """The hits and, in order, ``Natrum`` where Natrum muriaticum was named before and no other Natrum in the session."""
    named: dict[str, dict[str, int]] = {}
    for hit in hits:
        if hit.concept_id.startswith("remedy/"):
            first, *more = session.vocabulary[hit.concept_id].pref_label.casefold().split()
            if more:
                named.setdefault(first, {}).setdefault(hit.concept_id, hit.end)
    alone = {first: next(iter(ids.items())) for first, ids in named.items() if len(ids) == 1}
    taken = {unit for hit in hits for unit in range(hit.start, hit.end)}
    found = [
        Hit(alone[key][0], unit, unit + 1, exact=False)
        for unit, one in enumerate(session.units)
        if (key := one.low.removesuffix("'s")) in alone and unit not in taken and unit >= alone[key][1]
    ]
    return tuple(sorted((*hits, *found), key=lambda hit: (hit.start, -hit.end))) if found else tuple(hits)


def _by_first_word(session: Session, remedy: Hit | None) -> bool:
    """Whether a remedy of several words was named by the first alone, so that another of them may be meant."""
    if remedy is None or remedy.exact or remedy.end - remedy.start > 1:
        return False
    first, *more = session.vocabulary[remedy.concept_id].pref_label.casefold().split()
    return bool(more) and session.units[remedy.start].low.removesuffix("'s") == first


def with_short_names(session: Session, hits: Sequence[Hit], focus: Sequence[str | None]) -> tuple[Hit, ...]:
    """The hits and, in order, what ``Natrum LM one`` names where Natrum muriaticum is taught: the first word of the remedy in
    focus, right before a potency."""
    taken = {unit for hit in hits for unit in range(hit.start, hit.end)}
    found = []
    for sentence, topic in zip(session.sentences, focus, strict=True):
        if topic is None:
            continue
        first, *more = session.vocabulary[topic].pref_label.casefold().split()
        for unit in range(sentence.start, sentence.end - 1) if more else ():
            if session.units[unit].low == first and unit not in taken:
                after = [other.text for other in session.units[unit + 1 : min(sentence.end, unit + 4)]]
                potency = next(potencies_in(after), None)
                if potency is not None and potency[0] == 0:
                    found.append(Hit(topic, unit, unit + 1, exact=False))
    return tuple(sorted((*hits, *found), key=lambda hit: (hit.start, -hit.end))) if found else tuple(hits)


def find_potencies(
    session: Session, remedies: Sequence[Hit], cases: Sequence[tuple[str, int, int]] = ()
) -> tuple[Said, ...]:
    """Every potency said. A bare number counts only beside a remedy, the word potency or giving; in one of the ``cases``
    (key and half-open units) also where it is ordered in other ways."""
    ends = {hit.end: hit for hit in remedies}
    starts = {hit.start for hit in remedies}
    named = {unit for hit in remedies for unit in range(hit.start, hit.end)}
    found: list[Said] = []
    for sentence in session.sentences:
        # without stops a sentence may end inside a potency: "two weeks nothing one | m one"
        over = 1 if sentence.end < len(session.units) and session.units[sentence.end - 1].text[-1:].isalnum() else 0
        texts = [unit.text for unit in session.units[sentence.start : sentence.end + over]]
        for first, last, parsed in potencies_in(texts):
            start, end = sentence.start + first, sentence.start + last
            if start >= sentence.end or (found and start < found[-1].end):
                continue
            if named & set(range(start, end)):
                continue
            remedy = _nearest(session, ends, start, sentence.start)
            follows = any(
                session.low(end, at) in _BEFORE_ITS_REMEDY for at in range(end + 1, end + 5) if at in starts
            ) or (end in starts and not remedy)
            doubtful = _potency_meant(session, sentence, start, end, parsed, remedy, follows)
            if doubtful is None and _case_of(cases, start) is not None:
                doubtful = _ordered_in_case(session, sentence, start, end, parsed)
            if doubtful is not None:
                said = bare(session.text(start, end))
                found.append(Said(start, end, parsed.senses[0].name, said, doubtful, remedy))
    return tuple(found)


_BEFORE_ITS_REMEDY = frozenset(("of", "in", "in the", "of the", "it was of", "it was", "potency of", "potency of the"))
#: What is ordered right after or before a bare number makes it a potency: "the two hundred once", "once more the two hundred".
_ORDERED_AFTER = re.compile(
    r"^,? ?(?:once|twice|thrice|(?:one|a|two|three)(?: single)? (?:doses?|powders?)|single dose|a single|three times|night and morning|morning and (?:evening|night)|"
    rf"in water|weekly|daily|every|again,? once|{_AT_NEED})\b"
)
_ORDERED_BEFORE = re.compile(
    r"\b(?:once|one|again|single dose|one dose)(?: more| again| of)? (?:of )?(?:the )?(?:same )?$"
)
_ORDERED_IN_CASE_BEFORE = re.compile(
    r"(?:^|\b)(?:i|we|she|he)(?:'ve|'d|'ll| have| had| just| only| then| simply| went and)* (?:went(?: straight)?|put|posted|sent|do|did|say|said|tried|chose|made it|"
    r"ordered|raised|jumped|wrote|repeated|moved|prescribe|take|took)(?: (?:her|him|them|it|up|on|to|in|straight|for|by|the|a|again|now))*(?: (?:one|once|single|two)(?: more)?)?(?: (?:dose|powder|tube))?(?: of)?(?: the)?$|"
    r"\bwhat (?:i|we) (?:put|gave|sent|did|used) (?:is|was)$|\b(?:one|once|two) more(?: of)?(?: the)?$|\bsimply$|(?:^|\b(?:so|then|after that|again|and|now) )(?:(?:so|then|again|i|now|the|a|in|next|numbers|only|simply) )*(?:one|single|once|two|one more|once more|one powder|one dose)(?: of)?(?: the)?$"
)
_ORDER_FILLER = re.compile(
    r"(?:so|then|now|again|and|but|the|a|an|this|time|it|was|is|only|just|once|one|single|two|three|dose|doses|powder|tube|of|same|in|yes|okay|please|same|for|thirties|potency|number|numbers)"
)


def _ordered_in_case(session: Session, sentence: Sentence, start: int, end: int, parsed: ParsedPotency) -> bool | None:
    """Whether in a told case a bare number, which neither remedy nor giving marks, is ordered, and so a potency; doubtful as it is.
    None where it may as well be a count."""
    words = [session.units[unit].low for unit in range(start, end)]
    potency = parsed.senses[0]
    after = session.units[end].low if end < len(session.units) else ""
    if potency.step not in BARE_STEPS and potency.scale == "centesimal" and parsed.doubt:
        return None
    if parsed.doubt.startswith("a bare number") and _a_count(session, start, end, words):
        return None
    if words[0] in _LETTER_NAMES or after in _AFTER_A_COUNT and session.units[end - 1].text[-1:].isalnum():
        return None
    small = parsed.doubt.startswith("a bare number") and (potency.step or 0) < 30
    before = session.low(max(sentence.start, start - 9), start)
    behind = session.low(end, min(len(session.units), end + 8))
    once = _ONE_BEHIND.match(behind) is not None
    often = next((begin for begin, _, _ in session.search(_HOW_OFTEN, end, min(len(session.units), end + 8))), None)
    ordered = once or (
        often is not None and (often == end or _ORDER_FILLERS.fullmatch(session.low(end, often)) is not None)
    )
    rest = before + " " + session.low(end, sentence.end)
    alone = len(sentence) <= 14 and all(
        _ORDER_FILLER.fullmatch(word)
        for word in _LONG.sub(" ", DURATION.sub(" ", _HOW_OFTEN.sub(" ", rest)))
        .replace(",", " ")
        .replace(".", " ")
        .split()
    )
    if small:
        return True if ordered and (alone or _ORDERED_IN_CASE_BEFORE.search(before)) else None
    if ordered or alone or _ORDERED_IN_CASE_BEFORE.search(before):
        return parsed.doubt.startswith("a bare number") and not ordered
    return None


_ORDER_FILLERS = re.compile(rf"(?:,? ?{_ORDER_FILLER.pattern})*,? ?")
_HOW_OFTEN = re.compile(f"(?:{_OFTEN.pattern}|{REPETITION.pattern})")
_SCALE_WORDS = frozenset(("centesimal", "decimal", "millesimal", "korsakovian"))
_POTENCY_WORD = re.compile(r"\b(?:potenc(?:y|ies)|(?:power|strength|dilution) (?:was|is|of|in|to))\b")
_AFTER_A_COUNT = frozenset(
    "years year days weeks months hours minutes times doses percent per grams mg ml kilos kg %".split()
)
#: Letters written as the words they sound like; before a number they are seldom a scale.
_LETTER_NAMES = frozenset("see sea cee em ex el ell kay dee cue l m c d x k".split())


def _potency_meant(
    session: Session, sentence: Sentence, start: int, end: int, parsed: ParsedPotency, remedy: Hit | None, follows: bool
) -> bool | None:
    """Whether what may be a potency is doubtful; None where something else is meant. ``follows``: "… of the Lachesis"."""
    near = session.low(max(sentence.start, start - 6), min(sentence.end, end + 4))
    after = session.units[end].low if end < len(session.units) else ""
    stopped = session.units[end - 1].text.endswith((",", ".", ";", "?", "!"))
    if not stopped and after in _AFTER_A_COUNT:
        return None
    beside = follows or (remedy is not None and start - remedy.end <= 3)
    worded = bool(_POTENCY_WORD.search(near))
    gives = bool(_GIVES.search(near))
    potency = parsed.senses[0]
    words = [session.units[unit].low for unit in range(start, end)]
    digits = any(any(c.isdigit() for c in word) for word in words)
    if parsed.doubt.startswith("a bare number"):
        ordinal = words[-1].endswith("th")
        if ordinal and session.units[start - 1].low == "the" and (beside or worded or gives or remedy):
            return False
        if potency.step not in BARE_STEPS or ordinal and not (beside or worded) or _a_count(session, start, end, words):
            return None
        small = (potency.step or 0) < 30
        if not beside and not worded and not (gives and not small):
            if not _ordered_after(session, end) and not _ORDERED_BEFORE.search(
                session.low(max(sentence.start, start - 5), start) + " "
            ):
                return None
            return small or session.units[start - 1].low not in ("the", "same")
        return small
    if parsed.doubt:  # M, CM, LM, Q by themselves have other senses
        if len(words[0]) == 1 or words[0] in _LETTER_NAMES or words[0] in ("mm", "dm"):
            return False if beside or worded else None
        previous = session.units[start - 1].low if start > sentence.start else ""
        if previous.isdigit() and remedy is None:
            return None  # two cm
        return False if remedy is not None or gives or worded or _again_ordered(session, sentence, start, end) else None
    if potency.scale == "mother tincture":
        return False
    if words[0] in _LETTER_NAMES and len(words) > 1 and not (beside or worded):
        return None
    if potency.scale == "centesimal" and digits and potency.step in BARE_STEPS:
        return False
    if potency.scale == "fifty-millesimal" and words[0].startswith(("lm", "0")):
        return False
    if _SCALE_WORDS.intersection(words):
        return False
    if (
        remedy is None
        and not follows
        and not gives
        and not worded
        and not _again_ordered(session, sentence, start, end)
    ):
        return None
    return (
        potency.scale == "centesimal"
        and (potency.step or 0) > 30
        and potency.step not in BARE_STEPS
        and ((potency.step or 0) < 1000)
    )


def _again_ordered(session: Session, sentence: Sentence, start: int, end: int) -> bool:
    """``The one M again, once.``: a potency pointed back to and ordered, where neither remedy nor giving is said."""
    pointed = session.low(max(sentence.start, start - 2), start).split()[-1:] in (["the"], ["same"])
    return pointed and _ordered_after(session, end)


def _ordered_after(session: Session, end: int) -> bool:
    """Whether it is said right behind how it is to be taken."""
    return _ORDERED_AFTER.match(session.low(end, min(len(session.units), end + 7))) is not None


_COUNTED = re.compile(
    r"(?:years?|yrs?|months?|days?|weeks?|hours?|minutes?|times?|drops?|pills?|globules?|percent|%|am|pm|"
    r"o'?clock|grams?|mg|ml|kilos?|kg|degrees?|stools?|children|people|patients?|cases?|students?|"
    r"remed(?:y|ies)|rupees?|pages?|points?|"
    r"rubrics?|marks?|questions?|things?|symptoms?|lines?|brothers?|sisters?|or|to|lakhs?|per|th|st|nd|"
    r"rd|year-old|cups?|glasses|others?|hundred|thousand|visits?|attacks?|sessions?|classes|of them|"
    r"episodes?|injections?|courses?)"
)


_WEEKDAYS = re.compile(r"(?:mon|tues|wednes|thurs|fri|satur|sun)days?")
_A_DAY = re.compile(r"(?:a|per) (?:day|week|month)\b")
_FEW = frozenset("one two three four five six ten twelve 2 3 4 5 6 10 12".split())
#: What a potency is given in, which may follow it in the plural.
_ORDERED_THINGS = frozenset("doses powders pills globules drops pellets tablets packets potencies".split())


def _a_count(session: Session, start: int, end: int, words: Sequence[str]) -> bool:
    after = session.units[end].low if end < len(session.units) else ""
    before = session.units[start - 1].low if start else ""
    stopped = session.units[end - 1].text.endswith((",", ".", ";", "?", "!"))
    if not stopped and (_COUNTED.fullmatch(after) or _A_DAY.match(session.low(end, min(len(session.units), end + 2)))):
        return True
    if not stopped and after in _ORDERED_THINGS and all(word in _FEW for word in words):
        return True  # "three powders in one day"
    if (
        not stopped
        and after not in _ORDERED_THINGS
        and not _WEEKDAYS.fullmatch(after)
        and session.parse.tag(end) == "NNS"
        and session.units[end].concept_id is None
    ):
        return True  # two hundred extrasystoles
    if (
        before == "of"
        and start > 1
        and session.units[start - 2].low in ("dose", "doses", "potency", "powder", "powders")
    ):
        return False
    if before == "of" and start > 1 and session.units[start - 2].low == "more":
        return False  # "one more of thirty"
    if not stopped and after in ("over", "by", "slash", "point", "/") and end + 1 < len(session.units):
        if number_of(session.units[end + 1].low) is not None:
            return True  # a blood pressure
    if (
        before in NUMBER_WORDS
        and before not in ("one", "two")
        or start > 1
        and before in ("one", "two")
        and session.units[start - 2].low in NUMBER_WORDS
    ):
        if len(words) == 1 and (number_of(words[0]) or 0) < 30:
            return True  # "seven seven one three"
    if before == "number" and _HOW_OFTEN.match(session.low(end, min(len(session.units), end + 5))):
        return False  # "number six three times before food"
    return before in {
        "page",
        "aged",
        "age",
        "at",
        "about",
        "rubric",
        "number",
        "chapter",
        "aphorism",
        "section",
        "paragraph",
        "of",
        "room",
        "nearly",
        "around",
        "bp",
        "line",
        "over",
        "by",
    } or (before == "in" and len(words[0]) == 4 and words[0].isdigit())


def _nearest(session: Session, ends: dict[int, Hit], start: int, first: int) -> Hit | None:
    for end in range(start, max(first, start - 2 * REACH) - 1, -1):
        if end in ends:
            between = session.low(end, start)
            if start - end > REACH:  # "Graphites two times a day for four days thirtieth"
                between = " ".join(DURATION.sub(" ", REPETITION.sub(" ", between)).split())
            return ends[end] if _GAP.match(between) or start - end <= 2 else None
    return None


def find_prescriptions(
    session: Session,
    remedies: Sequence[Hit],
    potencies: Sequence[Said],
    cases: Sequence[tuple[str, int, int]],
    focus: Sequence[str | None] = (),
) -> tuple[Given, ...]:
    """Prescriptions in order. ``cases`` are key and half-open units of the told cases; ``focus`` the remedy taught at each
    sentence, which is meant where a case names none ("I gave the two hundred"): such a one is doubtful.

    Outside a case a potency with a remedy is a prescription as stated too; a remedy given in a case without a
    potency is one with potency None.
    """
    remedies = [hit for hit in remedies if "saccharum" not in hit.concept_id]  # sac lac is the blank powder
    given: list[Given] = []
    used: set[int] = set()
    known = _Sounds(session, remedies, focus)
    last: dict[str | None, Given] = {}  # what was given last in each case, and (None) in any of them
    given_in: dict[str, Hit] = {}  # the remedy each potency was given of last
    seen_sentences: set[int] = set()
    for said in sorted((*potencies, *_said_again(session, potencies, cases)), key=lambda said: said.start):
        if said.start in used:
            continue
        sentence = session.sentence_at(said.start)
        taught = focus[sentence.index] if focus else None
        case_key = _case_of(cases, said.start)
        if case_key is not None and _TO_ANYBODY.search(session.low(sentence.start, said.start)):
            case_key = None
        before, back = last.get(case_key) or last.get(None), None
        if case_key is not None and case_key not in last and (ahead := _goes_on_from(cases, said.start)) in last:
            inside = next(start for _, start, end in cases if start <= said.start < end)
            if not any(inside <= hit.start < said.start for hit in remedies):
                back = last[ahead]  # one story that was taken for two
        if said.potency in (_SAME, _HIGHER):
            if before is None or before.value.potency is None or _NEGATED_GIVING.search(sentence.low):
                continue
            back = before if said.potency == _SAME else None
            said = replace(said, potency=before.value.potency if said.potency == _SAME else "")
        if case_key is None and sentence.text.rstrip("\"'”’ ").endswith("?"):
            continue  # asked, not prescribed
        if (
            _SPOKEN_OF.search(session.low(max(sentence.start, said.start - 4), said.start))
            and any(item.value.potency == said.potency for item in given)
            and not _ONE_BEHIND.match(session.low(said.end, min(len(session.units), said.end + 4)))
        ):
            continue  # "after the two hundred she slept": the one that has been told
        reach = sentence.end + (session.units[sentence.end - 1].text[-1:].isalnum() and said.end >= sentence.end - 6)
        in_sentence = [hit for hit in remedies if sentence.start <= hit.start < reach]
        remedy, assumed, unknown = said.remedy, None, None
        carried = False
        sounding = known.beside(sentence, said, taught) if said.potency else None
        if sounding is not None and remedy is not None and sounding.concept_id == remedy.concept_id:
            sounding = None
        if sounding is not None:
            remedy = sounding
        elif (
            remedy is None
            and back is not None
            and back.remedy is not None
            and not any(hit.start >= sentence.start for hit in in_sentence)
        ):
            remedy, carried = back.remedy, back.value.case_key != case_key
        elif remedy is None and said.potency in given_in and session.low(max(0, said.start - 1), said.start) == "same":
            remedy = given_in[said.potency]  # "I repeat the same two hundred"
        elif (
            remedy is None or remedy.end < said.start
        ):  # "single dose thirty of the Drosera", whatever was named before
            remedy = _after(session, in_sentence, said) or remedy or _before(in_sentence, said)
            if remedy is None:
                remedy = _further_on(session, in_sentence, said, reach)
        if remedy is None:
            giving = _GIVES.search(sentence.low)
            if said.potency in given_in and _SAID_AGAIN.match(session.low(said.end, said.end + 2)):
                remedy = given_in[said.potency]  # "the one M again": the remedy that was given in it
            elif case_key in last and (giving or case_key is not None):
                remedy = last[case_key].remedy
                assumed = None if remedy is not None else last[case_key].value.remedy_id
                unknown = last[case_key].value.remedy_said  # what was repeated was not recognised either
            if remedy is None and assumed is None and unknown is None:
                remedy = (
                    _carried(session, remedies, said.start, case_key, cases, taught) if giving or case_key else None
                )
                carried = remedy is not None
        told = case_key is not None and taught is not None
        if remedy is None and assumed is None and unknown is None and not told and not _GIVES.search(sentence.low):
            continue
        if _NEGATED_GIVING.search(session.low(max(sentence.start, said.start - 9), said.start)):
            continue
        used.update(range(said.start, said.end))
        seen_sentences.add(sentence.index)
        others = [p.start for p in potencies if p.start > said.start]
        whole = sentence.end
        if remedy is not None and remedy.start == sentence.end and said.end <= remedy.start:
            whole = session.sentence_at(remedy.start).end  # "thirty | kali bi every hour"
            seen_sentences.add(session.sentence_at(remedy.start).index)
        stop = min([whole, *(o for o in others if o < whole)])
        first = sentence.start
        if (
            given
            and remedy is not None
            and first < given[-1].end <= said.start
            and (given[-1].end <= remedy.start or given[-1].remedy_units == (remedy.start, remedy.end))
            and given[-1].repetition_units
        ):
            first = given[-1].end  # how often the one before is given is said of that one
        unheard = None if sounding is not None else _unrecognised(session, sentence.start, said.start, remedy)
        if unheard is not None and not _may_be(session, unheard, remedy, assumed, taught):
            item = _build(session, first, stop, None, said, case_key, unheard)
            given.append(item)
            last[case_key] = last[None] = item
            continue
        item = _build(session, first, stop, remedy, said, case_key)
        value = item.value
        if unheard is not None or sounding is not None or carried or _by_first_word(session, remedy):
            value = structs.replace(value, doubtful=True)
        if remedy is None and assumed is not None:
            value = structs.replace(value, remedy_id=assumed)
        elif remedy is None and unknown is not None:
            value = structs.replace(value, remedy_said=unknown)
        elif remedy is None and (case_key is not None or _ONE_GAVE.search(sentence.low)):
            value = structs.replace(value, remedy_id=taught)
        item = replace(item, value=value)
        given.append(item)
        if remedy is not None and said.potency:
            given_in[said.potency] = remedy
        if case_key is not None and not item.by_others:
            last[case_key] = last[None] = replace(item, remedy=remedy)
    given += _without_potency(session, remedies, cases, seen_sentences, {g.remedy_units for g in given})
    given.sort(key=lambda g: g.start)
    return tuple(given)


#: Said of a dose that was told before.
_SPOKEN_OF = re.compile(
    r"\b(?:after|since|with|on|from|before|until) (?:the|that|this|his|her)(?: (?:one|first|second|last))?$"
)
#: To anybody, not to the patient of the case: "you can begin thirty every day".
_TO_ANYBODY = re.compile(
    r"\b(?:you|one|we all|they|people) (?:can|may|could|should|must|have to|might|would|begin|give|go|start)\b"
)

_ASIDE = frozenset("in the potency number a of it was its is strength".split())
#: From which mean of shared letters and shared sounds, per cent, what was heard is taken for a remedy the session speaks of.
_SOUNDS_LIKE = 70.0
_PARTLY_LIKE = 80.0
_MAX_HEARD = 4  # words one name may have been heard as


#: Said of two remedies that are one by custom; alone it is no label of either.
_BY_CUSTOM = {"merc": "remedy/mercurius-solubilis", "mercurius": "remedy/mercurius-solubilis"}


class _Sounds:
    """The remedies a session speaks of, by the sound of their names: what stands beside a potency and is no known name is taken
    for the one it sounds like ("not true mur thirty"), which is doubtful."""

    def __init__(self, session: Session, remedies: Sequence[Hit], focus: Sequence[str | None]) -> None:
        self._session = session
        counted = Counter(hit.concept_id for hit in remedies)
        taught = Counter(focus)
        if sum(unit.low in _BY_CUSTOM for unit in session.units) > 1:
            counted.update(dict.fromkeys(_BY_CUSTOM.values(), 2))
        self._ids = [key for key in dict.fromkeys((*counted, *taught)) if key and (counted[key] > 1 or taught[key] > 4)]
        self._named = {unit for hit in remedies for unit in range(hit.start, hit.end)}

    @cached_property
    def _names(self) -> list[tuple[str, str, str]]:
        found = []
        for concept_id in self._ids:
            concept = self._session.vocabulary[concept_id]
            for label in {label.casefold() for label in (concept.pref_label, *concept.alt_labels)}:
                words = label.replace(".", " ").replace("-", " ").split()
                for length in {len(words), 1} if len(words) > 1 and len(words[0]) > 4 else {len(words)}:
                    plain = "".join(words[:length])
                    if len(plain) > 3:
                        found.append((concept_id, plain, sound_code(words[:length])))
        return found

    def beside(self, sentence: Sentence, said: Said, taught: str | None) -> Hit | None:
        """What sounds like a remedy of the session right before a potency, or right behind it and "of"."""
        best, found = _SOUNDS_LIKE, None
        for start, end in self._places(sentence, said):
            words = [word.strip(".,;:?!\"'") for word in self._session.low(start, end).split()]
            unnamed = [word for unit, word in zip(range(start, end), words, strict=True) if unit not in self._named]
            partly = len(unnamed) < len(words)  # "Mark Sol", "calc fosse": a part of it is another remedy
            if (
                all(word in _NO_NAME for word in words)
                or partly
                and any(word in _NO_NAME or "'" in word or _GIVES.search(word) or word == "went" for word in unnamed)
                or words[0] in STOP_WORDS - {"not", "nine", "cry"}
            ):
                continue
            plain, code = "".join(words), sound_code(words)
            if len(plain) < 4:
                continue
            if plain in _BY_CUSTOM:
                return Hit(_BY_CUSTOM[plain], start, end, exact=False)
            for concept_id, name, sound in self._names:
                alike = fuzz.ratio(plain, name) + fuzz.ratio(code, sound)
                if alike / 2 + (concept_id == taught) > max(best, _PARTLY_LIKE if partly else 0.0):
                    best, found = alike / 2 + (concept_id == taught), Hit(concept_id, start, end, exact=False)
        return found

    def _places(self, sentence: Sentence, said: Said) -> Iterator[tuple[int, int]]:
        units, end = self._session.units, said.start
        while end > sentence.start and units[end - 1].low in _ASIDE:
            end -= 1
        for start in range(end - 1, max(sentence.start, end - _MAX_HEARD) - 1, -1):
            if start < end - 1 and units[start].text[-1:] in ".,;:?!":
                break
            if not self._named.issuperset(range(start, end)) and (
                start not in self._named or start - 1 not in self._named
            ):
                yield start, end
        start = said.end
        if start < sentence.end and units[start].low in ("of", "in") and units[said.end - 1].text[-1:].isalnum():
            start += 1 + (start + 1 < sentence.end and units[start + 1].low == "the")
            for end in range(start + 1, min(sentence.end, start + _MAX_HEARD) + 1):
                if end - 1 in self._named:
                    break
                yield start, end
                if units[end - 1].text[-1:] in ".,;:?!":
                    break


_GIVING_ONE = (
    r"(?:gave|given|give|giving|got|received|prescribed|dispensed|(?:put|placed)(?: (?:her|him|them|it))? on|started (?:her |him |them )?(?:on|with)|"
    r"doses? of|(?:switched|changed|moved) (?:her |him |it )?to|followed (?:it )?(?:up )?(?:by|with))"
)
#: What is given, right before its potency, by any word: "he was given costume thirty".
_NAMED = re.compile(
    rf"\b{_GIVING_ONE}(?: (?:her|him|them|it|this|that|a|an|the|one|two|single|doses?|of|only|just|then|again|once|also|first|now|on|with))*"
    r" (?P<name>[a-z][a-z'-]*(?: [a-z][a-z'-]*){0,2})$"
)
#: What stands there and is no name: whom it was given, when, in what, how.
_NO_NAME = frozenset(
    STOP_WORDS
    | NUMBER_WORDS
    | set(
        "dose doses potency potencies powder powders pill pills globule globules drop drops medicine medicines remedy remedies thing water placebo "
        "lac plain dry blank higher lower high low repeat repeated another day days week weeks month months night morning evening yesterday "
        "today tomorrow monday tuesday wednesday thursday friday saturday sunday nosode constitutional homeopathic homoeopathic initially "
        "finally straight straightaway immediately directly next time twice daily weekly sugar mister mrs miss lm centesimal tincture number "
        "maybe probably actually only okay sir madam right start plus".split()
    )
)
_LIKE = 50.0  # per cent of letters shared, in order, from which an unknown word may be the remedy that is meant


def _unrecognised(session: Session, first: int, potency: int, remedy: Hit | None) -> tuple[int, int] | None:
    """The units right before a potency that stand where the remedy would and name none that is known."""
    if remedy is not None and remedy.end > potency - 4:
        return None
    match = _NAMED.search(session.low(max(first, potency - 12), potency))
    if match is None:
        return None
    words = match["name"].split()
    start = potency - len(words)
    lists = name_lists()
    if any(
        word in _NO_NAME or word in lists.given or word in lists.surnames or _PERSON_WORD.fullmatch(word)
        for word in words
    ):
        return None
    if session.parse.tag(potency - 1)[:2] not in ("NN", "JJ", "VB", "FW") or any(
        session.units[unit].concept_id is not None for unit in range(start, potency)
    ):
        return None
    return start, potency


_PERSON_WORD = re.compile(rf"(?:{ANYONE})(?:'s)?")


def _may_be(
    session: Session, unheard: tuple[int, int], remedy: Hit | None, assumed: str | None, taught: str | None
) -> bool:
    """Whether an unknown name sounds at all like the remedy it would be taken for."""
    concept = remedy.concept_id if remedy is not None else assumed or taught
    if concept is None:
        return False
    heard = "".join(session.low(*unheard).split())
    known = session.vocabulary[concept]
    names = {name for label in (known.pref_label, *known.alt_labels) for name in (label, label.split()[0])}
    return any(fuzz.ratio(heard, "".join(name.casefold().split())) >= _LIKE for name in names if len(name) > 3)


_SAID_AGAIN = re.compile(r"^,? ?(?:once )?again\b")
#: Said for a potency: that of the last prescription of the case, or the one above it, which is not named.
_SAME, _HIGHER = "same", "higher"
_POTENCY_NOUN = r"(?:potency|number|strength|dilution|power)"
_HIGHER_ONE = re.compile(rf"\b(?:the )?next higher(?: {_POTENCY_NOUN}| one)?\b")
_SAME_WORD = re.compile(r"\b(?:same|idem|ditto)\b")
#: What may stand between the giving and "same".
_SAME_FILLER = frozenset(
    "the of a an it her him them then so and but i we he she just only again once one two three more on with to another dose doses powder powders in now that this "
    "yes also straight medicine remedy at continue continued that's".split()
)
_SAME_ORDERED = frozenset("once one two three more again another dose doses powder powders continue continued".split())
_SAME_GIVING = re.compile(
    r"(?:gave|give|gives|given|giving|repeat\w*|sent|send|posted|put|took|takes?|got|had|did|do|said|say|told|continue\w*|prescribed?|advised|got|'d|made|started|went|dose|powder)"
)
_SAME_NO = re.compile(
    r"(?:is|was|were|are|be|been|remain\w*|stay\w*|feels?|felt|looks?|looked|much|by|like|not|exactly|almost|nearly|about|at|not|never|than|as)"
)
_SAME_NOUN = re.compile(rf"^,? ?(?:{_POTENCY_NOUN}|thing|things|powder|dose|one|remedy|medicine|strength|way|order)\b")
_SAME_ENDS = re.compile(
    r"^(?:$|[,;.:?!]|,? ?(?:the same way|again|once|twice|thrice|one|single|a single|in water|but|only|and then|then|night and|morning and|every|each|daily|weekly|for (?:another|\w+ (?:days?|weeks?|months?))|on the (?!other|left|right)\w+)\b)"
    r"(?! on the (?:other|left|right))"
)


#: Where no stop is written, what begins the next sentence.
_GOES_ON = re.compile(
    rf"^(?:after|in|at|by|since|and|until|within|then|he|she|they|i|we|when|from|that day|{NUMBER} (?:days?|weeks?|months?|years?))\b"
)


def _said_again(session: Session, potencies: Sequence[Said], cases: Sequence[tuple[str, int, int]]) -> Iterator[Said]:
    """``I repeated the same, once``, ``one more, idem``: a prescription in a case whose potency is told by pointing back."""
    read = session.opinions.inside("rx")
    for sentence in session.sentences:
        low = sentence.low
        if "higher" in low:
            for start, end, _ in session.search(_HIGHER_ONE, sentence.start, sentence.end):
                if _case_of(cases, start) is not None and not any(start <= said.start < end + 4 for said in potencies):
                    yield Said(start, end, _HIGHER, bare(session.text(start, end)), False, None)
        if _SAME_WORD.search(low) is None:
            continue
        done = sentence.start
        for at, end, _ in session.search(_SAME_WORD, sentence.start, sentence.end):
            if at < done or _case_of(cases, at) is None or any(at - 3 <= said.start < end + 4 for said in potencies):
                continue
            ordered = _same_ordered(session, sentence, at)
            if ordered is None and read[at] < EXTENT_FROM:
                continue
            noun = (
                _SAME_NOUN.match(session.low(at + 1, min(len(session.units), at + 2))) is not None
                and at + 1 < sentence.end
            )
            yield Said(at, at + 1 + noun, _SAME, bare(session.text(at, at + 1 + noun)), not ordered, None)
            done = at + 3


def _same_ordered(session: Session, sentence: Sentence, at: int) -> bool | None:
    """Whether "same" at a unit points back to what was given: True where giving is said or it is counted, False where it is doubtful,
    None where another thing is the same."""
    begin = at
    fillers: list[str] = []
    while begin > sentence.start and session.units[begin - 1].low in _SAME_FILLER:
        begin -= 1
        fillers.append(session.units[begin].low)
    lead = session.units[begin - 1].low if begin > sentence.start else ""
    stopped = begin > sentence.start and session.units[begin - 1].text[-1:] in ".,;:?!"
    if not stopped and _SAME_NO.fullmatch(lead):
        return None
    behind = session.low(at + 1, min(len(session.units), at + 7))
    if session.units[at].text[-1:] in ".,;:?!" or at + 1 == sentence.end:
        behind = ""
    noun = _SAME_NOUN.match(behind)
    potency = noun is not None and re.search(_POTENCY_NOUN, noun[0]) is not None
    rest = behind[noun.end() :].lstrip(" ,") if noun else behind.lstrip(" ,")
    fresh = (
        bool(_SAME_ORDERED.intersection(fillers)) and _GOES_ON.match(rest) is not None and sentence.text[-1:].isalnum()
    )
    if (
        not fresh
        and not _SAME_ENDS.match(rest)
        and not _HOW_OFTEN.match(rest)
        and not (potency and _SAME_GIVING.fullmatch(lead))
    ):
        return None
    if session.units[at].low == "idem":
        return True
    giving = _SAME_GIVING.fullmatch(lead) is not None
    counted = bool(_SAME_ORDERED.intersection(fillers))
    taken = re.match(
        r"(?:again,? )?(?:but )?(?:once|twice|one|single|a single|one dose|night and morning)\b", rest
    ) is not None or bool(_HOW_OFTEN.match(rest))
    if (
        giving
        or counted
        and potency
        or counted
        and (lead == "" or stopped or taken or "more" in fillers or {"dose", "powder"}.intersection(fillers))
    ):
        return True
    if potency and (lead == "" or stopped) or taken and (lead == "" or stopped or "the" in fillers):
        return True
    if (lead == "" or stopped) and (rest.startswith("again") or counted):
        return False
    return None


def _after(session: Session, hits: Sequence[Hit], said: Said) -> Hit | None:
    """``one dose 200 of Sepia``, ``two hundred Lycopodium``."""
    for hit in hits:
        if hit.start == said.end and session.units[hit.start - 1].text[-1:].isalnum():
            return hit
        if said.end <= hit.start <= said.end + 5 and _OF_ITS_REMEDY.fullmatch(session.low(said.end, hit.start)):
            return hit
    return None


_OF_ITS_REMEDY = re.compile(
    r"(?:(?:number|potency|power|dose|a dose|it|is|was|for her|for him) )*(?:of|it was|potency)(?: the)?|in(?: the)?"
)


def _further_on(session: Session, hits: Sequence[Hit], said: Said, last: int) -> Hit | None:
    """``One M, Sulphur of course``, ``six three times ten days Ruta``: the remedy named behind the potency and how it is taken, where
    it has no potency of its own."""
    for hit in hits:
        if said.end <= hit.start < last:
            between = session.low(said.end, hit.start)
            between = _LONG.sub(" ", DURATION.sub(" ", _HOW_OFTEN.sub(" ", between)))
            own = next(potencies_in([unit.text for unit in session.units[hit.end : hit.end + 3]]), None)
            if own is None and re.fullmatch(
                rf"(?:[ ,]|(?:day|days|week|weeks|{NUMBER}|{_ORDER_FILLER.pattern})\b)*", between
            ):
                return hit
            return None
    return None


def _before(hits: Sequence[Hit], said: Said) -> Hit | None:
    before = [hit for hit in hits if hit.end <= said.start]
    return before[-1] if before else None


def _carried(
    session: Session, remedies: Sequence[Hit], start: int, case_key: str | None, cases: Sequence[tuple[str, int, int]],
    taught: str | None = None,
) -> Hit | None:  # fmt: skip
    """``I repeated it in 1M``: the remedy given before in the same case, else the one taught there, else the last one named nearby."""
    before = [hit for hit in remedies if hit.end <= start]
    if case_key is not None:
        ranges = [(s, e) for key, s, e in cases if key == case_key]
        inside = [hit for hit in before if any(s <= hit.start < e for s, e in ranges)]
        gave = [hit for hit in inside if _given_here(session, hit)]
        if gave or inside:
            of_the_taught = [hit for hit in (gave or before) if hit.concept_id == taught]
            return (of_the_taught or gave or inside)[-1]
        # the later part of a story whose beginning was not recognised: what was given last before it
        gave = [hit for hit in before if _GAVE_HERE.search(session.sentence_at(hit.start).low)]
        return gave[-1] if gave else None
    near = [hit for hit in before if start - hit.end < 40]
    return near[-1] if near else None


def _given_here(session: Session, hit: Hit) -> bool:
    """Whether the sentence that names a remedy tells of giving it, not by others and not denied."""
    sentence = session.sentence_at(hit.start)
    return (
        _GIVES.search(sentence.low) is not None
        and not _BY_OTHERS.search(session.low(max(sentence.start, hit.start - 12), hit.start))
        and not _NEGATED_GIVING.search(session.low(max(sentence.start, hit.start - 7), hit.start))
    )


def _goes_on_from(cases: Sequence[tuple[str, int, int]], unit: int) -> str | None:
    """The case that ends right where the case of a unit begins."""
    start = next((start for _, start, end in cases if start <= unit < end), None)
    return next((key for key, _, end in cases if end == start), None)


def _case_of(cases: Sequence[tuple[str, int, int]], unit: int) -> str | None:
    return next((key for key, start, end in cases if start <= unit < end), None)


WITHHELD = re.compile(
    r"\b(?:nothing|no (?:medicine|remedy|dose|repetition)|wait(?:ed)?|without|waiting|not repeat\w*)\b"
)
_BY_OTHERS = re.compile(
    r"\b(?:had (?:already |been |also |once |even )*(?:given|taken|tried|received|had|used|prescribed|"
    r"got)|(?:other|another|previous|earlier|some|local|her|his|old) (?:\w+ ){0,2}?(?:homoe?opath|"
    r"homeopath|doctor|physician|practitioner|vaidya)|neighbour|neighbor|(?:mother|father|somebody|"
    r"someone|people|junior|students?|books?) (?:had |has |have )?"
    r"(?:gave|given|said|suggested|recommend\w*|use)|(?:from|by) (?:the|a|an|one|another|some|our|his|her|my) (?:[\w'-]+ ){0,2}?(?:homoe?opath|vaidya|hakim|chemist|"
    r"friend|colleague|junior|neighbour|shop|book)|(?:somebody|someone|they|a friend|friend|colleague|junior)(?: [\w'-]+){0,3} (?:gave|had given)|in a camp|self[- ]medicat\w+|was on|has been on)\b"
)
_GAVE_HERE = re.compile(
    r"\b(?:gave|given|prescribed|repeated|received|administered|put (?:her|him|them) on|started (?:her|"
    r"him|on|with)|placed (?:her|him) on|dispensed|"
    r"prescription was|changed (?:it )?to|switched to|followed (?:it )?(?:up )?(?:by|with)|a dose of|"
    r"doses? of|went (?:up )?to|remedy (?:given )?was|on the basis of this|decided on|selected)\b"
)


_ONE_GAVE = re.compile(r"\b(?:i|we)(?:'d| had| have)? (?:\w+ ){0,2}?(?:gave|given|prescribed|repeated|started|put)\b")


def looks_like_order(session: Session, start: int, end: int) -> bool:
    """``Lachesis, a single dose.``: a sentence without a verb that orders."""
    tags = {session.parse.tag(unit) for unit in range(start, end)}
    return not tags & {"VBD", "VBZ", "VBP", "MD"} and bool(REPETITION.search(session.low(start, end)))


def _without_potency(
    session: Session, remedies: Sequence[Hit], cases: Sequence[tuple[str, int, int]], seen: set[int],
    used: set[tuple[int, int] | None],
) -> list[Given]:  # fmt: skip
    found: list[Given] = []
    for hit in remedies:
        case_key = _case_of(cases, hit.start)
        sentence = session.sentence_at(hit.start)
        if case_key is None or sentence.index in seen or (hit.start, hit.end) in used:
            continue
        before = session.low(max(sentence.start, hit.start - 7), hit.start)
        if (
            not (_GAVE_HERE.search(before) or looks_like_order(session, sentence.start, sentence.end))
            or _BY_OTHERS.search(session.low(max(sentence.start, hit.start - 12), hit.start))
            or _NEGATED_GIVING.search(before)
        ):
            continue
        found.append(_build(session, sentence.start, sentence.end, hit, None, case_key))
        seen.add(sentence.index)
    return found


def _build(
    session: Session, first: int, last: int, remedy: Hit | None, said: Said | None, case_key: str | None,
    unheard: tuple[int, int] | None = None,
) -> Given:  # fmt: skip
    pieces: list[tuple[int, int]] = [] if unheard is None else [unheard]
    remedy_units = None
    if remedy is not None and first <= remedy.start < last + 6:
        remedy_units = (remedy.start, remedy.end)
        pieces.append(remedy_units)
    potency_units = None if said is None else (said.start, said.end)
    if potency_units:
        pieces.append(potency_units)
    anchor = min(start for start, _ in pieces) if pieces else first
    # what comes after "…, he's kept clear for a year" is told of the patient, not ordered
    stop = max(e for _, e in pieces) if pieces else first
    for at, _, _ in session.search(_NEW_CLAUSE, stop, last):
        if _TELLS_HOW.match(session.low(at, min(last, at + 9))):
            continue
        last = max(stop, at)
        break
    repetition = _how_often(session, max(first, anchor - 8), last, said)
    if said is not None and (repetition is None or _is_amount(session, repetition)):
        repetition = _once_beside(session, first, last, said, remedy) or repetition
    if repetition is not None:
        # "night and morning, two doses", "a single powder at bed time"
        for begin, stop_at, _ in session.search(_COUNTED_BEHIND, repetition[1], min(last, repetition[1] + 4)):
            if begin == repetition[1]:
                repetition = (repetition[0], stop_at)
            break
    once = repetition is not None and is_one_dose(session.low(*repetition))
    # what is told before a single dose is how long the trouble was there
    duration = _first_of(session, DURATION, anchor if once else max(first, anchor - 7), last, said)
    if duration is None and not once:
        duration = _first_of(session, _LONG, max(first, anchor - 7), last, said)
    if duration is None and repetition is not None and not once:
        # "30, thrice daily, three days": a bare length right behind how often
        for begin, stop_at, _ in session.search(_BARE_LENGTH, repetition[1], min(last, repetition[1] + 6)):
            if (
                begin == repetition[1]
                and session.units[begin - 1].text.endswith(",") | (session.units[begin - 1].text[-1:].isalnum())
                and not (stop_at < len(session.units) and session.units[stop_at].low in _TOLD_OF)
            ):
                duration = (begin, stop_at)
            break
    if repetition is None and first and session.units[first - 1].text[-1:].isalnum() and anchor - first <= 2:
        # without stops the order may have been cut in two: "she got one dose | natrum sulph 1m"
        for begin, stop_at, _ in session.search(_HOW_OFTEN, max(0, first - 4), first):
            if stop_at == first:
                repetition = (begin, stop_at)
    if (
        last < len(session.units)
        and session.units[last - 1].text[-1:].isalnum()
        and session.sentence_at(last).start == last
    ):
        beyond = min(session.sentence_at(last).end, last + 8)
        for begin, stop_at, _ in session.search(_HOW_OFTEN, max(first, last - 3), beyond):
            if (repetition is None and begin == last) or (begin < last < stop_at and stop >= begin - 1):
                repetition = (begin, stop_at)
        tail = repetition[1] if repetition and repetition[1] > last else last
        if (
            duration is None
            and repetition is not None
            and repetition[1] == tail
            and not is_one_dose(session.low(*repetition))
        ):
            for begin, stop_at, _ in session.search(_BARE_LENGTH, tail, min(len(session.units), tail + 4)):
                if begin == tail and not (stop_at < len(session.units) and session.units[stop_at].low in _TOLD_OF):
                    duration = (begin, stop_at)  # "thrice daily | three days", cut in two
                break
        for begin, stop_at, _ in session.search(DURATION, max(first, last - 2), beyond):
            if duration is None and begin <= tail < stop_at:
                duration = (begin, stop_at)
    if repetition is None and last < len(session.units):
        # "… thirty. Three times a day for a week." said as a sentence of its own
        following = session.sentence_at(last) if session.sentence_at(last).start == last else None
        others = following is not None and any(
            parsed.doubt == "" or parsed.senses[0].step in BARE_STEPS and (parsed.senses[0].step or 0) >= 30
            for _, _, parsed in potencies_in([u.text for u in session.units[following.start : following.end]])
        )
        if (
            following is not None
            and not others
            and len(following) <= 12
            and not re.search(r"\b(?:remed|he|she)\b", following.low)
        ):
            repetition = _how_often(session, following.start, following.end, said)
            duration = (
                duration
                or _first_of(session, DURATION, following.start, following.end, said)
                or _first_of(session, _LONG, following.start, following.end, said)
            )
    if repetition is None and first and first == session.sentence_at(anchor).start and anchor - first <= 2:
        # "Single tube. Two hundred."
        earlier = session.sentence_at(first - 1)
        if len(earlier) <= 4:
            repetition = _how_often(session, earlier.start, earlier.end, said)
    if duration is None and repetition is not None and not is_one_dose(session.low(*repetition)):
        duration = _length_in_extent(session, repetition)
    for piece in (repetition, duration):
        if piece:
            pieces.append(piece)
    start, end = min(s for s, _ in pieces), max(e for _, e in pieces)
    stated = None
    for _, _, match in session.search(_STATED_FOR, anchor, last):
        stated = match["what"].strip()
        break
    said_text = None if said is None else said.said
    value = Prescription(
        remedy.concept_id if remedy else None,
        (said.potency or None) if said else None,
        said_text,
        _piece(session, repetition),
        _piece(session, duration),
        stated,
        session.words(start, end),
        session.time(start, end),
        case_key,
        bool(said and said.doubtful) or remedy is None,
        _piece(session, unheard),
    )
    by_others = bool(_BY_OTHERS.search(session.low(max(first, start - 12), min(last, start + 2))))
    return Given(value, start, end, remedy_units, potency_units, repetition, duration, by_others)


#: Probability from which the language model's word counts that a unit is of a prescription.
EXTENT_FROM = 0.5
_A_LENGTH = re.compile(
    rf"\b(?:for )?{NUMBER} (?:hours?|days?|nights?|weeks?|fortnights?|months?)\b(?! (?:later|after|before|ago|back|apart|old|on)\b)"
)


def _length_in_extent(session: Session, behind: tuple[int, int]) -> tuple[int, int] | None:
    """A bare length of time behind how often it is taken, where the language model reads all of it as the prescription."""
    for start, end in session.opinions.spans("rx", EXTENT_FROM):
        if start <= behind[0] and behind[1] < end:
            for begin, stop, _ in session.search(_A_LENGTH, behind[1], end):
                return begin, stop
    return None


def _is_amount(session: Session, units: tuple[int, int]) -> bool:
    return _AMOUNT.fullmatch(session.low(*units).strip(" ,.")) is not None


def is_one_dose(repetition: str | None) -> bool:
    """Whether how often it is given says that it is given once."""
    return repetition is not None and _ONE_DOSE.fullmatch(repetition.casefold().strip(" ,.")) is not None


def _how_often(session: Session, first: int, last: int, said: Said | None) -> tuple[int, int] | None:
    """How often it is taken: the first that is said of it, before what it is taken in and how many pills."""
    amount = None
    ranges = (
        [(first, last)] if said is None or not first <= said.start < last else [(first, said.start), (said.end, last)]
    )
    for begin, stop in ranges:
        for start, end, _ in session.search(_HOW_OFTEN, begin, stop):
            if WITHHELD.search(session.low(max(first, start - 3), start)):
                continue  # "and nothing for four weeks"
            if not _is_amount(session, (start, end)):
                if is_one_dose(session.low(start, end)) and session.units[end - 1].text[-1:].isalnum():
                    for again, to, _ in session.search(_HOW_OFTEN, end, stop):
                        if again == end:
                            return start, to  # "one dose every third evening"
                        break
                return start, end
            amount = amount or (start, end)
    return amount


def _once_beside(session: Session, first: int, last: int, said: Said, remedy: Hit | None) -> tuple[int, int] | None:
    """ "Two hundred, one", "single two hundred": one dose, told by the number alone beside the potency."""
    for begin, end, match in session.search(
        _ONE_BEHIND, said.end, min(len(session.units), max(last, said.end + 4), said.end + 8)
    ):
        if begin == said.end:
            begin += match.string.count(" ", match.start(), match.start("often"))
            return begin, end
        break
    if said.remedy is None and remedy is not None and said.end < remedy.end < last:
        for begin, end, match in session.search(_ONE_BEHIND, remedy.end, last):
            if begin == remedy.end:
                return begin + match.string.count(" ", match.start(), match.start("often")), end
            break
    before = session.low(max(first, said.start - 6), said.start)
    if (ahead := _ONE_BEFORE.search(before)) is not None:
        begin = said.start - len(before[ahead.start() :].split())
        return begin, begin + len(ahead["often"].split())
    return None


_BARE_LENGTH = re.compile(
    rf"^(?:and )?{NUMBER} (?:days?|weeks?|months?|(?<!one )(?:mornings?|nights?|evenings?))\b(?! (?:later|after|before|ago|back|on|it|he|she|they|i|we|of|the|nothing|passed|went|and (?:he|she|it|they))\b)"
)
#: "one dose, and two days it did nothing" tells what came of it.
_TOLD_OF = frozenset("it he she they i we nothing".split())
_COUNTED_BEHIND = re.compile(
    rf"^(?:{NUMBER} doses?|at (?:bed ?time|night|noon|midday)|in the (?:morning|evening|afternoon))(?! (?:for|of)\b)\b"
)
#: Of the medicine, not of the patient: "and it was a single dose".
_TELLS_HOW = re.compile(
    rf"^(?:and |but |so |then |,)*it(?:'s| is| was)(?: (?:to be|taken|given|only|just|a|the))* (?:one|single|once|twice|thrice|every|each|daily|{NUMBER} (?:times?|at|doses?))\b"
)
_NEW_CLAUSE = re.compile(
    r"\b(?:and|then|with|followed by|plus) (?:the |some |only |plain |blank )*(?:sugar|blank|sac|saccharum|placebo|unmedicated)\b|"
    r"\b(?:and |then )*after (?:that|this|which|it)\b|\b(?:and |then )+(?:only |just )?(?:the )?plain (?:powders?|pills?|pellets|globules)\b|"
    r"\b(?:and |but |so |then |,)*(?:(?:s?he|they|it)(?:'s|'d| is| was| has| had| came| did| slept| kept| remained| got| felt| went)|because|since then|"
    r"(?:he|she|they) \w+ed)\b"
)


def _piece(session: Session, units: tuple[int, int] | None) -> str | None:
    return None if units is None else bare(session.text(*units))


def _first_of(
    session: Session, pattern: re.Pattern[str], first: int, last: int, said: Said | None
) -> tuple[int, int] | None:
    for start, end, _ in session.search(pattern, first, last):
        if WITHHELD.search(session.low(max(first, start - 3), start)):
            continue  # "and nothing for four weeks"
        if said is not None and start < said.end and said.start < end:
            continue
        return start, end
    return None
