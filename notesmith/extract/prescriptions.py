"""Prescriptions as stated: remedy, potency, repetition, duration, what for. What was not said stays None."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from msgspec import structs
from rapidfuzz import fuzz
from spacy.lang.en.stop_words import STOP_WORDS

from notesmith.annotations import Prescription
from notesmith.extract.cases import ANYONE
from notesmith.extract.mentions import Hit
from notesmith.extract.names import name_lists
from notesmith.extract.potency_words import BARE_STEPS, NUMBER, NUMBER_WORDS, potencies_in
from notesmith.extract.session import Sentence, Session, bare
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


def find_potencies(session: Session, remedies: Sequence[Hit]) -> tuple[Said, ...]:
    """Every potency said. A bare number counts only beside a remedy, the word potency or giving."""
    ends = {hit.end: hit for hit in remedies}
    starts = {hit.start for hit in remedies}
    named = {unit for hit in remedies for unit in range(hit.start, hit.end)}
    found: list[Said] = []
    for sentence in session.sentences:
        texts = [unit.text for unit in session.units[sentence.start : sentence.end]]
        for first, last, parsed in potencies_in(texts):
            start, end = sentence.start + first, sentence.start + last
            if named & set(range(start, end)):
                continue
            remedy = _nearest(session, ends, start, sentence.start)
            follows = any(session.low(end, at) in _BEFORE_ITS_REMEDY for at in range(end + 1, end + 5) if at in starts)
            doubtful = _potency_meant(session, sentence, start, end, parsed, remedy, follows)
            if doubtful is not None:
                said = bare(session.text(start, end))
                found.append(Said(start, end, parsed.senses[0].name, said, doubtful, remedy))
    return tuple(found)


_BEFORE_ITS_REMEDY = frozenset(("of", "of the", "it was of", "it was", "potency of", "potency of the"))
#: What is ordered right after or before a bare number makes it a potency: "the two hundred once", "once more the two hundred".
_ORDERED_AFTER = re.compile(
    r"^,? ?(?:once|twice|thrice|(?:one|a|two|three)(?: single)? (?:doses?|powders?)|single dose|a single|three times|night and morning|morning and (?:evening|night)|"
    rf"in water|weekly|daily|every|again,? once|{_AT_NEED})\b"
)
_ORDERED_BEFORE = re.compile(
    r"\b(?:once|one|again|single dose|one dose)(?: more| again| of)? (?:of )?(?:the )?(?:same )?$"
)
_SCALE_WORDS = frozenset(("centesimal", "decimal", "millesimal", "korsakovian"))
_POTENCY_WORD = re.compile(r"\bpotenc(?:y|ies)\b")
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


#: What a potency is given in, which may follow it in the plural.
_ORDERED_THINGS = frozenset("doses powders pills globules drops pellets tablets packets potencies".split())


def _a_count(session: Session, start: int, end: int, words: Sequence[str]) -> bool:
    after = session.units[end].low if end < len(session.units) else ""
    before = session.units[start - 1].low if start else ""
    stopped = session.units[end - 1].text.endswith((",", ".", ";", "?", "!"))
    if not stopped and _COUNTED.fullmatch(after):
        return True
    if (
        not stopped
        and after not in _ORDERED_THINGS
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
    last: dict[str | None, Given] = {}  # what was given last in each case, and (None) in any of them
    given_in: dict[str, Hit] = {}  # the remedy each potency was given of last
    seen_sentences: set[int] = set()
    for said in sorted((*potencies, *_said_again(session, potencies, cases)), key=lambda said: said.start):
        if said.start in used:
            continue
        sentence = session.sentence_at(said.start)
        case_key = _case_of(cases, said.start)
        before = last.get(case_key) or last.get(None)
        if said.potency in (_SAME, _HIGHER):
            if before is None or before.value.potency is None or _NEGATED_GIVING.search(sentence.low):
                continue
            said = replace(said, potency=before.value.potency if said.potency == _SAME else "")
        if case_key is None and sentence.text.rstrip("\"'”’ ").endswith("?"):
            continue  # asked, not prescribed
        in_sentence = [hit for hit in remedies if sentence.start <= hit.start < sentence.end]
        remedy, assumed, unknown = said.remedy, None, None
        if remedy is None or remedy.end < said.start:  # "single dose thirty of the Drosera", whatever was named before
            remedy = _after(session, in_sentence, said) or remedy or _before(in_sentence, said)
        if remedy is None:
            giving = _GIVES.search(sentence.low)
            if said.potency in given_in and _SAID_AGAIN.match(session.low(said.end, said.end + 2)):
                remedy = given_in[said.potency]  # "the one M again": the remedy that was given in it
            elif case_key in last and (giving or case_key is not None):
                remedy = last[case_key].remedy
                assumed = None if remedy is not None else last[case_key].value.remedy_id
                unknown = last[case_key].value.remedy_said  # what was repeated was not recognised either
            if remedy is None and assumed is None and unknown is None:
                remedy = _carried(session, remedies, said.start, case_key, cases) if giving or case_key else None
        if remedy is None and assumed is None and unknown is None and not _GIVES.search(sentence.low):
            continue
        if _NEGATED_GIVING.search(session.low(max(sentence.start, said.start - 9), said.start)):
            continue
        used.update(range(said.start, said.end))
        seen_sentences.add(sentence.index)
        others = [p.start for p in potencies if p.start > said.start]
        stop = min([sentence.end, *(o for o in others if o < sentence.end)])
        first = sentence.start
        if (
            given
            and remedy is not None
            and first < given[-1].end <= min(remedy.start, said.start)
            and given[-1].repetition_units
        ):
            first = given[-1].end  # how often the one before is given is said of that one
        unheard = _unrecognised(session, sentence.start, said.start, remedy)
        if unheard is not None and not _may_be(
            session, unheard, remedy, assumed, focus[sentence.index] if focus else None
        ):
            item = _build(session, first, stop, None, said, case_key, unheard)
            given.append(item)
            last[case_key] = last[None] = item
            continue
        item = _build(session, first, stop, remedy, said, case_key)
        if unheard is not None:
            item = replace(item, value=structs.replace(item.value, doubtful=True))
        if remedy is None and unknown is not None:
            item = replace(item, value=structs.replace(item.value, remedy_said=unknown))
        if remedy is None and assumed is not None:
            item = replace(item, value=structs.replace(item.value, remedy_id=assumed))
        elif remedy is None and unknown is None and focus and (case_key is not None or _ONE_GAVE.search(sentence.low)):
            item = replace(item, value=structs.replace(item.value, remedy_id=focus[sentence.index]))
        given.append(item)
        if remedy is not None and said.potency:
            given_in[said.potency] = remedy
        if case_key is not None and not item.by_others:
            last[case_key] = last[None] = replace(item, remedy=remedy)
    given += _without_potency(session, remedies, cases, seen_sentences, {g.remedy_units for g in given})
    given.sort(key=lambda g: g.start)
    return tuple(given)


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
_AGAIN = re.compile(
    rf"(?<!\bwas )(?<!\bis )(?<!\bwere )(?<!\bremained )(?<!\bstayed )(?<!\bmuch )(?<!\bat )(?<!\bby )\b(?:the )?(?P<same>same) {_POTENCY_NOUN}\b|"
    r"\b(?:repeat\w*|gave|give|given|got|had|'d|put|took)(?: (?:her|him|them|it|again|once|one|only|just|then|more|of)){0,3} (?:the )?(?P<same_given>same)(?: thing| powder| dose)?"
    r"(?=[,.;]|$| (?:once|one|again|twice|night|morning|in water|single|a single|on the|on|and then|for)\b)(?! on the (?:other|left|right))|"
    r"(?<!\bwas )(?<!\bis )(?<!\bwere )\bthe (?P<same_once>same)(?: thing| powder)?,? (?:once|one dose|one time|twice|a single dose|once more|once again)\b|"
    r"\b(?:once|one(?: dose)?) (?:again|more),? (?:of )?the (?P<same_more>same)\b(?= (?:thing|powder)|[,.;]|$| (?!\w))|"
    rf"\b(?:once again|once more|again) the (?P<same_end>same)(?=[,.;]|$)|\b(?:the )?(?P<higher>next higher)(?: {_POTENCY_NOUN}| one)?\b"
)


def _said_again(session: Session, potencies: Sequence[Said], cases: Sequence[tuple[str, int, int]]) -> Iterator[Said]:
    """``I repeated the same, once``: a prescription in a case whose potency is told by pointing back."""
    for sentence in session.sentences:
        if "same" not in sentence.low and "higher" not in sentence.low:
            continue
        for start, end, match in session.search(_AGAIN, sentence.start, sentence.end):
            if _case_of(cases, start) is None or any(start <= said.start < end + 4 for said in potencies):
                continue
            name, word = next((name, text) for name, text in match.groupdict().items() if text)
            begin = start + match.string.count(" ", match.start(), match.start(name))
            noun = begin + 1 < end and re.fullmatch(_POTENCY_NOUN, session.units[begin + 1].low) is not None
            yield Said(
                begin, begin + 1 + noun if word == "same" else end, _HIGHER if word != "same" else _SAME,
                bare(session.text(begin, begin + 1 + noun)), False, None,
            )  # fmt: skip


def _after(session: Session, hits: Sequence[Hit], said: Said) -> Hit | None:
    """``one dose 200 of Sepia``, ``two hundred Lycopodium``."""
    for hit in hits:
        if hit.start == said.end and session.units[hit.start - 1].text[-1:].isalnum():
            return hit
        if said.end <= hit.start <= said.end + 4 and session.low(said.end, hit.start) in (
            "of",
            "potency",
            "potency of",
            "it was of",
            "it was",
            "dose of",
            "a dose of",
            "of the",
        ):
            return hit
    return None


def _before(hits: Sequence[Hit], said: Said) -> Hit | None:
    before = [hit for hit in hits if hit.end <= said.start]
    return before[-1] if before else None


def _carried(
    session: Session, remedies: Sequence[Hit], start: int, case_key: str | None, cases: Sequence[tuple[str, int, int]]
) -> Hit | None:
    """``I repeated it in 1M``: the remedy given before in the same case, else the last one named nearby."""
    before = [hit for hit in remedies if hit.end <= start]
    if case_key is not None:
        ranges = [(s, e) for key, s, e in cases if key == case_key]
        inside = [hit for hit in before if any(s <= hit.start < e for s, e in ranges)]
        gave = [hit for hit in inside if _GIVES.search(session.sentence_at(hit.start).low)]
        if gave or inside:
            return (gave or inside)[-1]
        # the later part of a story whose beginning was not recognised: what was given last before it
        gave = [hit for hit in before if _GAVE_HERE.search(session.sentence_at(hit.start).low)]
        return gave[-1] if gave else None
    near = [hit for hit in before if start - hit.end < 40]
    return near[-1] if near else None


def _case_of(cases: Sequence[tuple[str, int, int]], unit: int) -> str | None:
    return next((key for key, start, end in cases if start <= unit < end), None)


_WITHHELD = re.compile(
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
        last = max(stop, at)
        break
    repetition = _first_of(session, REPETITION, max(first, anchor - 8), last, said)
    if repetition is not None:
        # "night and morning, two doses", "a single powder at bed time"
        for begin, stop_at, _ in session.search(_COUNTED_BEHIND, repetition[1], min(last, repetition[1] + 4)):
            if begin == repetition[1]:
                repetition = (repetition[0], stop_at)
            break
    duration = _first_of(session, DURATION, max(first, anchor - 7), last, said)
    if duration is None and repetition is not None:
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
        for begin, stop_at, _ in session.search(REPETITION, max(0, first - 4), first):
            if stop_at == first:
                repetition = (begin, stop_at)
    if (
        last < len(session.units)
        and session.units[last - 1].text[-1:].isalnum()
        and session.sentence_at(last).start == last
    ):
        beyond = min(session.sentence_at(last).end, last + 8)
        for begin, stop_at, _ in session.search(REPETITION, max(first, last - 3), beyond):
            if (repetition is None and begin == last) or (begin < last < stop_at and stop >= begin - 1):
                repetition = (begin, stop_at)
        tail = repetition[1] if repetition and repetition[1] > last else last
        for begin, stop_at, _ in session.search(DURATION, max(first, last - 2), beyond):
            if duration is None and begin <= tail < stop_at:
                duration = (begin, stop_at)
    if repetition is None and last < len(session.units):
        # "… thirty. Three times a day for a week." said as a sentence of its own
        following = session.sentence_at(last) if session.sentence_at(last).start == last else None
        others = following is not None and any(
            parsed.doubt == "" or parsed.senses[0].step in BARE_STEPS
            for _, _, parsed in potencies_in([u.text for u in session.units[following.start : following.end]])
        )
        if (
            following is not None
            and not others
            and len(following) <= 12
            and not re.search(r"\b(?:remed|he|she)\b", following.low)
        ):
            repetition = _first_of(session, REPETITION, following.start, following.end, said)
            duration = duration or _first_of(session, DURATION, following.start, following.end, said)
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


_BARE_LENGTH = re.compile(
    rf"^(?:and )?{NUMBER} (?:days?|weeks?|months?|mornings?|nights?|evenings?)\b(?! (?:later|after|before|ago|back|on|it|he|she|they|i|we|of|the|nothing|passed|went|and (?:he|she|it|they))\b)"
)
#: "one dose, and two days it did nothing" tells what came of it.
_TOLD_OF = frozenset("it he she they i we nothing".split())
_COUNTED_BEHIND = re.compile(
    rf"^(?:{NUMBER} doses?|at (?:bed ?time|night|noon|midday)|in the (?:morning|evening|afternoon))(?! (?:for|of)\b)\b"
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
        if _WITHHELD.search(session.low(max(first, start - 3), start)):
            continue  # "and nothing for four weeks"
        if said is not None and start < said.end and said.start < end:
            continue
        return start, end
    return None
