"""The fields of a told case, each with its words and time. A field nobody stated is listed as not stated."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Sequence
from typing import cast, get_args

import msgspec

from notesmith.annotations import CaseVignette, Finding, FindingLabel, Prescription
from notesmith.extract.case_net import Words, told_fields, told_net
from notesmith.extract.case_person import person_of, says_sex, states_age
from notesmith.extract.case_words import Told, told_model, word_rows
from notesmith.extract.cases import PERSON, CaseSpan
from notesmith.extract.keys import key_of
from notesmith.extract.lexicon import BODY_CHAPTERS, MEDICINE_ENDINGS, MIND_WORDS, MODALITY_WORDS, SENSATIONS
from notesmith.extract.mentions import Hit
from notesmith.extract.potency_words import BARE_STEPS, NUMBER, potencies_in
from notesmith.extract.prescriptions import DURATION, REPETITION, WITHHELD, Given, is_one_dose
from notesmith.extract.sentences import Look
from notesmith.extract.session import Session, bare, runs
from notesmith.transcript import WordRange

_Put = Callable[..., None]
LABELS: tuple[FindingLabel, ...] = get_args(FindingLabel)

_COMPLAINT = re.compile(
    r"\b(?:(?:chief |main |presenting )?complaint(?:s)?(?: was| were| is| are|:| of) |complain(?:ed|ing|"
    r"s) of |(?:came|come|comes|brought|referred|presented|presenting|presents|consulted|consulting|"
    r"visited|treated)(?: \w+){0,4}? (?:with|for|on account of|because of|regarding) |suffer(?:ed|ing|s|er)? (?:from|of) |"
    r"(?:problem|trouble|case|story|history) (?:was|is|of) |diagnosed (?:as|with) |(?:she|he|who)(?:'d "
    r"(?=a |an |the |got |some |been |had |this |terrible |severe |bad |eczema|asthma|migraine|pain)| "
    r"(?:had|has|was having|is having|has been having|had been having)) |been seeing (?:her|him) for |"
    r"with (?:a )?(?:complaint|history|problem)s? of |(?:lady|woman|man|boy|girl|gentleman|child|patient|"
    r"baby|infant|male|female|years?|old),? with |troubled (?:by|with) |(?:got|developed|contracted|landed (?:up )?with|down with|afflicted with) (?:a |an |this |some )?)"
    r"(?P<what>[^.?!;]{3,110})"
)
_NO_COMPLAINT = re.compile(
    r"(?:(?:just |also |already |never |always |once )*(?:come|gone|been (?!having|suffering|getting|troubled)|taken|tried|seen|heard|read|told|asked|said|"
    r"brought|lost|left|married|moved|worked|given|used|done|finished|flown|written|kept|to |no |not |two |three |one (?:son|daughter|child|brother|sister)|"
    r"a (?:son|daughter|brother|sister|wife|husband|shop|job|habit|good|child|baby|grandmother|grandfather|grandson|fear|way)|children|nothing|something to))"
)
_HISTORY = re.compile(
    r"\b(?:years?|months?|weeks?) (?:back|before|ago|earlier|previously)\b|\b(?:had|'d) (?:died|lost|nursed|left|divorced|married|moved|buried|retired|failed|separated|been dreading|been dismissed)\b|"
    r"\b(?:it all|everything|the whole thing) (?:dated|began|started|came) (?:from|after|with)\b|\b(?:brother|sister|mother|father|uncle|aunt|family)(?:'s)? (?:\w+ )?(?:had|have|has) \w+|"
    r"\bas a (?:girl|boy|young|small|baby|teenager|student)\b|\b(?:had|has) (?:once |also |earlier )?been (?:treated|operated|admitted|hospitali[sz]ed) (?:for|with|in)\b|"
    r"\b(?:past history|family history|history of|in (?:her|his) (?:childhood|past|infancy)|as a child|"
    r"in the past|previously (?:had|suffered)|had (?:once |earlier |previously )(?:had|suffered)|"
    r"(?:mother|father|grandmother|grandfather|brother|sister|uncle|aunt)(?: also)? (?:had|has|died|was|"
    r"suffered|is a)|"
    r"ever since|since (?:the|her|his) (?:death|marriage|birth|delivery|accident|loss|divorce|injury|"
    r"fall|vaccination|job)|(?:years?|months?) (?:ago|back|before) (?:\w+ ){0,4}?(?:had|lost|died|was)|"
    r"after (?:the|her|his) (?:death|marriage|delivery|divorce|accident|loss|father|mother|husband|wife|"
    r"son|daughter|brother|sister)\b|"
    r"runs in the family|when (?:she|he) was (?:a child|small|young|\w+ years)|born|milestones|vaccinat)"
)
_PRIOR = re.compile(
    r"\b(?:(?:had|has|have|was|were|been|she|he|they) (?:already |also |previously |earlier |"
    r"been )*(?:taken|tried|took|been on|been treated|been given|treated with|given|used|using|undergone|"
    r"taking|operated|received|on) (?:[^.?!;]{0,60}?)"
    r"(?:allopath\w*|steroids?|antibiotics?|inhalers?|ointments?|painkillers?|ayurved\w*|medicines?|"
    r"medication|tablets?|creams?|injections?|treatments?|surgery|operation|homoeopath\w*|homeopath\w*|"
    r"antihistamin\w*|antacids?|pills|remedies|physiotherapy|homeopath|drugs?|syrups?|nebuli[sz]\w+|"
    r"paracetamol|cortisone|anti-?\w+)|"
    r"(?:another|other|previous|earlier|some) (?:homeopath|homoeopath|doctor|"
    r"physician)\b[^.?!;]{0,30}?(?:gave|given|had)|(?:lot|course|courses|rounds?|so many) of "
    r"(?:antibiotics?|steroids?|treatment|medicines?|ointments?|injections?|painkillers?|tablets?)|was "
    r"operated|were removed|got (?:it|them) (?:burnt|removed|cauteri[sz]ed|operated)|"
    r"(?:tried|taken) (?:everything|all sorts|many things|all pathies)|without (?:any )?(?:relief|result|"
    r"benefit|effect))\b"
)
_CONCURRENT = re.compile(
    r"\b(?:(?:still|also|continu(?:e|ed|es|ing)|alongside|along with|kept|keeps|presently|currently|"
    r"already|remained|was|is|did not stop|didn't stop|not stopped|do not stop|simultaneously) "
    r"(?:[^.?!;]{0,35}?)(?:insulin|thyroxine|eltroxin|metformin|antihypertensive\w*|"
    r"bp (?:tablets?|medicines?)|blood pressure (?:tablets?|medicines?|pills)|inhalers?|steroids?|"
    r"pressure tablets?|anti-?epileptic\w*|levothyroxine|dialysis|chemotherapy|radiotherapy|"
    r"physiotherapy|her (?:tablets?|medicines?)|his (?:tablets?|medicines?)|allopathic \w+|"
    r"thyroid (?:tablets?|medicines?|pills)|aspirin|warfarin|iron (?:tablets?|supplements?)|antibiotics?|"
    r"tablets? (?:for|of)))\b"
)
_INVESTIGATION = re.compile(
    r"\b(?:(?:her|his|the) (?:blood )?pressure (?:\w+ ){0,3}?(?:was|were|read|stood)|(?:blood|pus|sputum|skin|throat|vaginal) (?:smear|swab|culture)|"
    r"(?:the )?(?:smear|swab|scrape|fluid|film|scopy|scan|test|tests|counts?) (?:\w+ )?(?:was|were|showed|came|had shown|grew)|lumbar puncture|"
    r"tested (?:positive|negative)|x-?rays?|mri|ct scan|scan|ultrasound|ultrasonography|sonography|usg|ecg|eeg|echo|endoscopy|"
    r"colonoscopy|biopsy|culture|blood (?:test|tests|count|report|reports|sugar)|haemoglobin|hemoglobin|"
    r"hb\b|tsh|t3|esr|cbc|creatinine|urine (?:report|test|routine|examination)|"
    r"stool (?:report|test|examination)|widal|mantoux|liver function|lft|lipid|cholesterol|hba1c|ige|pap "
    r"smear|audiometry|spirometry|reports?|peak flow|platelets?|wbc|white (?:cell )?count|bp was|blood "
    r"pressure was|bilirubin|uric acid|ra factor|vitamin (?:d|b))\b"
)
_N = rf"(?:{NUMBER}|a|a few|few|couple of|a couple of|half an?|one|some|the first|the second|several)"
_U = r"(?:days?|weeks?|months?|hours?|minutes?|years?|fortnights?|hour|doses?)"
_FOLLOW_TIME = re.compile(
    rf"^(?:and |then |but )?{_N} {_U} after(?= (?:she|he|it|they|the)\b)|^(?:and |then )?after the (?:course|operation|treatment|exams?|holidays?|marriage|delivery)\b|"
    r"\b(?:(?:after|within) (?:about |just |nearly |another |the next |exactly |some |"
    rf"only )?(?:{_N} )?(?:and a half )?{_U}(?: time| after that| from then)?|(?:after|within) "
    rf"(?:another|a) {_U}|"
    rf"{_N} (?:and a half )?{_U} (?:later|after that|afterwards|on|passed|from then|after(?! (?:the|a|"
    r"his|her|food|meals|eating|she|he|we|i|birth|delivery|marriage)\b))|"
    r"(?:at|by|in|on|from) (?:the |about |around |nearly )?(?:end of )?(?:the )?(?:next |following |"
    rf"first |second |third |fourth |fifth |sixth |tenth |twelfth |{NUMBER}(?:th|st|nd|rd)? |a |"
    rf"{_N} )(?:visit|follow[- ]?up|day|night|week|month|morning|dose|consultation|fortnight|days|weeks|"
    r"months|years?)|"
    rf"(?:in|over|during) the (?:next|following) (?:{_N} )?{_U}|(?:at|by|in) (?:week|month|day) {NUMBER}|"
    r"(?:the )?(?:next|following) (?:day|morning|visit|week|month|follow[- ]?up|evening|consultation|"
    r"time)|(?:at|on|in) (?:the |her |his )?(?:first |second |third |next |last )?follow[- ]?up|"
    rf"(?:in|within) (?:about |just |less than |under |nearly )?{_N} (?:and a half )?{_U}|by (?:the )?(?:evening|morning|night|noon|next day|nightfall)|the same (?:night|evening|day)|(?:that|the) (?:very )?(?:night|evening) itself|that "
    r"(?:very )?(?:night|evening)|overnight|(?:then )?in the (?:rains|monsoon|winter|summer|spring|"
    r"autumn)|last (?:spring|summer|winter|autumn|year|month|week)|(?:first|second|third) follow[- ]?up|"
    r"when (?:she|he) (?:next )?came (?:back|again))\b"
    # by its shape: a preposition, a time, a comma or a new clause, at the beginning of what is told
    rf"|^(?:and |then |but |so )*(?:on|at|by|in|up to|till|until|around|towards|from|since|before|after|within)(?: (?:the|a|an|that|about|around|one|next|last|first|second|third|fourth|fifth|sixth|end|"
    rf"of|very|same|day|this|some|nearly|almost|{NUMBER}))* (?:mornings?|nights?|evenings?|noon|lunch(?:time)?|dinner|breakfast|midnight|weekend|day \w+|days?|weeks?|months?|years?|year end|month end|check-?in|visit|term|"
    r"follow[- ]?up|exams?|\w+day|christmas|easter|diwali|january|february|march|april|june|july|august|september|october|november|december)(?: (?:later|after|on|end|of \w+))?(?=[ ,.]|$)"
    rf"|^(?:and |then |but |so |it's |that's |now )*(?:about |around |some |the )?(?:{NUMBER}|a|half a?|first|second|third|fourth|fifth|next|one and a half)(?:th|st|nd|rd)?(?: and a half)? (?:days?|weeks?|months?|years?|fortnights?|cycles?|visits?|nights?|morning)"
    r"(?: (?:later|after|on|out|in|in all|down the line|now|from then|afterwards))*(?=[,.:;]| (?:and|she|he|they|the|it|no)\b|$)|^(?:since|from) then(?: to now)?"
)
_CHANGE = re.compile(
    r"\b(?:better|improv\w+|reduc\w+|less(?:er|ened)?|relie\w+|no (?:change|relief|better|pain|fever|"
    r"headache|attack|recurrence|complaint|itching|cough)|not (?:much|any) (?:change|better|difference)|"
    r"worse(?:ned)?|aggravat\w+|gone|disappear\w+|dropped|fell|fallen|stopped|subsided|settled|"
    r"came back|come back|returned|recur\w+|slept|sleeping|percent|per cent|half|normal|clear(?:ed)?|dry|"
    r"dried|healed|smaller|shrank|shrunk|lighter|calmer|cheerful|happier|smil\w+|playing|eating|gained|"
    r"lost|went (?:away|down)|came down|passed|well|fine|stronger|brighter|walk\w*|fading|faded|"
    r"appeared)\b"
)
_OUTCOME = re.compile(
    r"\b(?:completely (?:well|cured|alright|all right|better|clear|gone|free|healed|recovered)|(?:has|"
    r"have|had) (?:not|never) (?:come back|returned|recurred|had)|no recurrence|never (?:came back|"
    r"returned|had|recurred)|(?:is|was|are|were|remained|remains|has been|have been|had been) (?:now |"
    r"still |totally |perfectly |absolutely |quite |completely )*(?:well|fine|cured|free|symptom[- ]free|"
    r"all right|alright|healthy|normal|stable|under treatment|recovered|keeping well)|"
    r"(?:till|until|to) (?:date|today|now|this day)|now (?:he|she|they)(?:'s| is|'re| are| has)|(?:stopped|stops) coming|(?:he|she)(?:'s| has| is)? (?:kept|stayed|been) (?:clear|well|free)|"
    r"(?:went|gone|is|was|are) back (?:to|at) (?:work|school|college|duty)|on duty|picked up|off (?:the|his|her|all) (?:tablets|medicines|inhaler|steroids|insulin|drugs)|"
    r"(?:has|had|have)(?: had)? (?:no|not a single) \w+ (?:for|since)|lost sight|moved away|went home|free of|cured|recovered|discharged|lost to follow[- ]?up|did "
    r"not (?:come back|return|come again)|never came (?:back|again)|still (?:under|on|continuing|coming|"
    r"has)|remained well|keeping well|that was the end|(?:did not|didn't) need|died|expired|was (?:saved|"
    r"referred)|i (?:sent|referred) (?:her|him)|admitted)\b"
)
_REASON = re.compile(
    r"\b(?:(?:took|led|leads|brought|drew|pointed|points|guided|turned) me (?:straight |at once )?to|"
    r"settled (?:the matter|it|me)|i wanted to|these (?:two|three|four|five) i took|i took (?:as|the|"
    r"these)|whole case was|that (?:decided|settled)|i (?:had )?(?:based|chose|picked|went by)|why "
    r"(?:did i|i gave|i chose|i selected|i thought|this remedy|not)|because (?:of|she|he|the|there|it|"
    r"her|his)|on (?:the )?(?:basis|strength) of|(?:made|makes|led|leads|brought|took) me "
    r"(?:to )?(?:think|thought|of|select|give|choose)|i (?:thought|think) of|what (?:decided|struck|led|"
    r"made|clinched|settled)|"
    r"(?:decided|clinched|settled|confirmed) (?:it|the|my|on)|guid(?:ed|ing) me|took (?:this|these|the "
    r"following) (?:rubrics?|symptoms?)|rubrics? (?:were|was|i took|taken)|i (?:took|considered) "
    r"(?:the )?(?:rubrics?|symptoms?|totality)|reason (?:was|is|for)|based on|deciding (?:symptom|factor|"
    r"point))\b"
)
_CLAUSE_CUT = re.compile(
    r"(?:[;]| — | - |, (?:and|but|so|then|which|who) (?=(?:she|he|they|i|it|the|there|her|his|no|not|"
    r"after|when|since|was|had|is|has|could|cannot|every|now|then|by|in|at|great|very|much)(?:'\w+)?\b)|"
    r", (?=(?:she|he|they|i|the mother|the father|his|her)(?:'\w+)? )|(?<=[a-z]) (?:and|but) (?=(?:she|"
    r"he|they|i)(?:'\w+)? )|(?<=[a-z])(?:,| and| but|, and|, but) (?=(?:the|her|his|my|our|their) (?:[\w-]+ ){1,5}?(?:was|were|had|has|did|is|came|said|"
    r"told|gave|got|showed|felt|became)\b)|(?<=[a-z])(?:,| and| but|, and|, but|, then| then) (?=(?:in|after|by|at|on|within) (?:the |a |an |about |next )*"
    r"(?:\w+ ){0,2}?(?:days?|weeks?|fortnight|months?|years?|evening|morning|visit)\b)|(?<=[a-z]), (?=no \w+)|, and (?=no \w+))"
)
#: The visit itself, or what the teller did: no change in the patient.
_ONLY_REPORTS = re.compile(
    r"^(?:(?:and|then|so|but) )*(?:she|he|they|(?:her|his|the) \w+)(?:'d| had)? (?:\w+ly )?(?:came(?: back| again)?|reported|rang|phoned|called|"
    r"brought|wrote|returned|visited|said|told me|told us|sent)(?! (?:better|down|well|worse))(?:(?! (?:that|it was|no |she was|he was)).){0,40}$|"
    r"^(?:the )?first thing"
)
_ONE_SELF = re.compile(
    r"^(?:(?:and|then|so|but) )*(?:when i|when we|the last time i|since i)\b|^(?:(?:and|then|so|but) )*(?:i|we)(?:'d|'ve| had| have)? (?:was|were|gave|did|do|told|waited|repeated|left|said|asked|thought|saw|kept|can't|"
    r"cannot|claim|put|decided|had)\b"
)
_ASIDE = re.compile(
    r"^(?:(?:so|now|okay|and|see|you|well),? )*(?:let me|let us|i(?:'ll| will| want| would|'d)|listen|"
    r"remember|this (?:is a case|case)|you know|note|mark|what (?:would|will|do|is|did|remedy)|which|any|"
    r"okay|right|yes|i had (?:a|one) (?:case|patient)|i (?:remember|recall) (?:a|one))\b"
)


def build_vignettes(
    session: Session,
    looks: Sequence[Look],
    cases: Sequence[CaseSpan],
    given: Sequence[Given],
    hits: Sequence[Hit],
) -> tuple[CaseVignette, ...]:
    vignettes = [_build(session, looks, case, given, hits) for case in cases]
    return tuple(vignettes)


def case_key(session: Session, case: CaseSpan) -> str:
    first, last = session.sentences[case.first], session.sentences[min(case.last, case.first + 2) - 1]
    return key_of("case", session.low(first.start, last.end))


def case_units(session: Session, case: CaseSpan) -> list[tuple[int, int]]:
    """Half-open units of a case and its follow-ups, in order."""
    return [
        (session.sentences[first].start, session.sentences[last - 1].end)
        for first, last in ((case.first, case.last), *case.follow_ups)
    ]


def told_case(
    session: Session, looks: Sequence[Look], case: CaseSpan, given: Sequence[Given], hits: Sequence[Hit]
) -> tuple[list[Finding], Told]:
    """What the rules find in a case, and the case as ``case_words`` sees it."""
    ranges = case_units(session, case)
    found: list[Finding] = []

    def add(label: FindingLabel, start: int, end: int, concept: str | None = None) -> None:
        while start < end and not session.units[start].low:
            start += 1
        if start < end:
            found.append(_finding(session, label, start, end, concept))

    for about, where in person_of(session, ranges).items():
        add(about, *where)
    own = [g for g in given if any(s <= g.start < e for s, e in ranges) and not g.by_others]
    pieces: dict[int, str] = {}
    label: FindingLabel
    for item in own:
        for label, units in (
            ("remedy", item.remedy_units), ("potency", item.potency_units), ("repetition", item.repetition_units), ("duration", item.duration_units),
        ):  # fmt: skip
            if units:
                add(label, *units, item.value.remedy_id if label == "remedy" else None)
                pieces |= dict.fromkeys(range(*units), label)
    sent = [start for s, e in ranges for start, _, _ in session.search(_NO_REMEDY, s, e)]
    medicines, investigations = _medical_units(session, hits)
    first_given = min([*(g.start for g in own), *sent[:1]], default=None)
    complaint_seen = False
    clauses: list[tuple[int, int]] = []
    for range_index, (start, end) in enumerate(ranges):
        for sentence in session.sentences_in(start, end):
            clauses += _clauses(session, max(start, sentence.start), min(end, sentence.end))
            after_remedy = range_index > 0 or (first_given is not None and sentence.start > first_given)
            opening = sentence.index - case.first < 5
            complaint_seen = (
                _sentence(
                    session, looks[sentence.index], add, after_remedy, complaint_seen, set(pieces), medicines, investigations, opening,
                ) or complaint_seen
            )  # fmt: skip
    found = _with_outcome(found)
    ruled: dict[int, str] = {}
    for finding in sorted(found, key=lambda f: -len(f.words)):
        ruled |= dict.fromkeys(range(*session.units_of(finding.words)), finding.label)
    kinds: dict[int, frozenset[str]] = {}
    for hit in hits:
        kind = hit.concept_id.partition("/")[0]
        for unit in range(hit.start, hit.end):
            kinds[unit] = kinds.get(unit, frozenset()) | {kind}
    for kind, known in (("medicine", medicines), ("test", investigations)):
        for unit in known:
            kinds[unit] = kinds.get(unit, frozenset()) | {kind}
    return found, Told(tuple(ranges), tuple(clauses), pieces, ruled, kinds, first_given)


def _finding(session: Session, label: FindingLabel, start: int, end: int, concept: str | None = None) -> Finding:
    return Finding(
        label, bare_text(session.text(start, end)), session.words(start, end), session.time(start, end), concept
    )


def _within(places: Sequence[int], fields: Sequence[tuple[str, int, int]]) -> Iterator[tuple[str, int, int]]:
    """Fields cut where the telling was left, since ``places`` jump to where it was taken up again."""
    for name, first, last in fields:
        for start, end in runs(places[first:last]):
            yield name, first + start, first + end


_DENIES = frozenset("not never no nor neither without hardly nobody nothing cannot".split())
_AUXILIARIES = frozenset(
    "do does did has have had is was are were be been will would can could should shall may might must".split()
)


def with_its_not(session: Session, start: int) -> int:
    """Where a field begins if a word right before it denies it: ``stop the spray`` after ``he did not`` says the opposite."""
    low = session.units[start - 1].low if start else ""
    if (low in _DENIES or low.endswith("n't")) and session.units[start - 1].text[-1:] not in ",.;:?!":
        start -= 1
        if start and session.units[start - 1].low in _AUXILIARIES and session.units[start - 1].text[-1:].isalpha():
            start -= 1
    return start


_NOMINAL = frozenset(("NN", "NNS", "NNP", "NNPS", "JJ", "CD", "DT", "PRP$"))
_NO_PLACE = frozenset(
    "with for since after because that if when as by than like about before until till during without".split()
)


def whole_phrase(session: Session, start: int, first: int) -> int:
    """Where a complaint begins that was cut behind a preposition: ``eleven warts`` before ``on the left hand``, not before
    unit ``first``."""
    units, tag = session.units, session.parse.tag
    while (
        start - 1 > first
        and tag(start - 1) in ("IN", "TO")
        and units[start - 1].low not in _NO_PLACE
        and units[start - 1].text[-1:].isalpha()
    ):
        at = start - 1
        while at > first and tag(at - 1) in _NOMINAL and units[at - 1].text[-1:].isalnum():
            at -= 1
        if at == start - 1:
            break
        start = at
    return start


#: The fields that ``case_words`` decides on; to the others, words of their own that the rules find, it may add.
LEARNT: frozenset[FindingLabel] = frozenset(
    (
        "presenting complaint", "finding", "history", "prior treatment", "concurrent treatment", "investigation", "follow-up time", "follow-up change",
        "outcome", "reason for prescription",
    )
)  # fmt: skip


def _build(
    session: Session, looks: Sequence[Look], case: CaseSpan, given: Sequence[Given], hits: Sequence[Hit]
) -> CaseVignette:
    found, told = told_case(session, looks, case, given, hits)
    named = [f for f in found if f.label == "presenting complaint"]
    found = [f for f in found if f.label not in LEARNT]
    once = {f.label for f in found} & {"age", "sex", "setting"}
    places, rows = word_rows(session, looks, told)
    stated = told_fields(
        told_model().words, told_net(), Words(session, told, places), rows, session.opinions.tables["field"][places]
    )
    for name, first, last in _within(places, stated):
        units = with_its_not(session, places[first]), places[last - 1] + 1
        if name == "presenting complaint":
            units = whole_phrase(session, units[0], session.sentence_at(units[0]).start), units[1]
        units = _after_what_was_given(session, units) if name == "follow-up time" else units
        concept = next((h.concept_id for h in hits if h.concept_id.startswith("remedy/") and units[0] <= h.start < units[1]), None) if name == "remedy" else None  # fmt: skip
        item = _finding(session, cast(FindingLabel, name), *units, concept)
        if not _can_state(session, told, name, *units):
            continue
        if name in LEARNT or not (name in once or any(f.label == name and f.words.overlaps(item.words) for f in found)):
            found.append(item)
    # what the rules take for the complaint ("came with …"), where none is read before it, and nothing else from those words
    # but something found or told of before
    first = min((f.words.start for f in found if f.label == "presenting complaint"), default=len(session.unit_of_word))
    told_of = ("finding", "history")
    named = [
        f for f in named
        if f.words.start < first and not any(f.words.overlaps(other.words) for other in found if other.label not in told_of)
    ]  # fmt: skip
    found = [f for f in found if f.label not in told_of or not any(f.words.overlaps(other.words) for other in named)]
    found += named
    found = _by_order(found)
    order = {label: index for index, label in enumerate(LABELS)}
    found = _unique(sorted(found, key=lambda f: (f.words.start, order[f.label])))
    labels = {f.label for f in found}
    remedy_ids = tuple(dict.fromkeys(f.concept_id for f in found if f.label == "remedy" and f.concept_id))
    start, end = told.ranges[0]
    return CaseVignette(
        case_key(session, case),
        _title(session, found, start),
        session.words(start, end),
        session.time(start, end),
        tuple(found),
        tuple(session.words(s, e) for s, e in told.ranges[1:]),
        remedy_ids,
        tuple(label for label in LABELS if label not in labels),
    )


_TIME_UNIT = r"(?:minutes?|hours?|days?|nights?|weeks?|fortnights?|months?|years?|doses?|goes|times|cycles?|terms?)"
_LASTS = re.compile(
    rf"\b(?:(?:{NUMBER}|an?|few|some|several|couple|half|whole|next|same) (?:\w+ )?{_TIME_UNIT}|fortnight|till?|until|course)\b"
)
_OFTEN = re.compile(
    r"\b(?:once|twice|thrice|times?|daily|every|each|hourly|nightly|weekly|monthly|doses?|single|one|mornings?|evenings?|nights?|alternate|sips?|stat|"
    r"water|repeat\w*|more|again|bedtime|powders?|drops?|\w+ly|when\w*|after|before|between)\b"
)


#: What a potency may stand before without a stop: "thirty powders"; a count of anything else is none.
_GIVEN_FORMS = re.compile(
    r"(?:powder|pill|globule|pellet|drop|tablet|sip|teaspoon|c|x|m|k|centesimal|potenc)", re.IGNORECASE
)


def _after_what_was_given(session: Session, units: tuple[int, int]) -> tuple[int, int]:
    """A follow-up time without the dose said right before it, which lacks only a stop ("Thuja at 1M two months later")."""
    start, end = units
    for _, last, parsed in potencies_in([unit.text for unit in session.units[start:end]]):
        if not parsed.doubt and start + last < end:
            return start + last, end
    return units


def _can_state(session: Session, told: Told, name: str, start: int, end: int) -> bool:
    """Whether these units can state such a field at all; a table must not say "potency 4" for a wait of 4 weeks."""
    low = session.low(start, end)
    match name:
        case "age":
            return states_age(session, start, end)
        case "sex":
            return says_sex(session, start, end)
        case "remedy":
            named = any("remedy" in told.kinds.get(unit, ()) for unit in range(start, end))
            return named or bool(re.search(r"\b(?:same|it|this|that|again)\b", low))
        case "potency":
            after = session.units[end].low if end < len(session) and session.units[end - 1].text[-1:].isalnum() else ""
            bare_number = low.isdigit() and int(low) not in BARE_STEPS
            parsed = next(potencies_in([unit.text for unit in session.units[start:end]]), None)
            counts = bool(after) and session.parse.tag(end) == "NNS" and not _GIVEN_FORMS.match(after)
            return parsed is not None and not bare_number and not counts and not re.fullmatch(_TIME_UNIT, after)
        case "follow-up change" | "outcome":
            # "they had been burned twice", told before anything was given, is what went before
            early = told.first_given is not None and start < min(told.first_given, told.ranges[0][1])
            if _OWN_GIVING.search(low) and any(unit in told.pieces for unit in range(start, end)):
                return False  # "I repeated it in 1M" is what was given
            return not (early and re.match(r"(?:\w+ ){0,3}?(?:had|'d) (?:\w+ )?(?:been|\w+ed)\b", low))
        case "repetition":
            return bool(REPETITION.search(low) or _OFTEN.search(low))
        case "duration":
            waiting = WITHHELD.search(session.low(max(0, start - 3), start))  # "and nothing for four weeks"
            return bool(DURATION.search(low) or _LASTS.search(low)) and not waiting
    return True


def completed(
    session: Session, given: Sequence[Given], vignettes: Sequence[CaseVignette], focus: Sequence[str | None]
) -> tuple[Prescription, ...]:
    """The prescriptions, with how often and how long where the case states it close by and the rules missed it, and with
    those of a case that only its learnt fields show."""
    cases = {vignette.key: vignette for vignette in vignettes}
    values = [item.value for item in given]
    ruled = len(values)
    values += [value for vignette in vignettes for value in _from_fields(session, vignette, values, focus)]
    for place, value in enumerate(values):
        case = cases.get(value.case_key or "")
        for label in ("repetition", "duration"):
            if case is None or getattr(value, label) is not None:
                continue
            if label == "duration" and is_one_dose(value.repetition):
                continue  # "one dose; two months" tells how long it was well
            others = [other.words for other in values if other is not values[place]]
            near = [
                f for f in case.findings
                if f.label == label and not _tells_how_often(f.text, value.repetition) and _apart(f.words, value.words) <= NEAR_WORDS
                and not any(f.words.overlaps(words) for words in others)
            ]  # fmt: skip
            if near:
                said = min(near, key=lambda f: _apart(f.words, value.words))
                words = WordRange(min(said.words.start, value.words.start), max(said.words.end, value.words.end))
                time = session.reading.transcript.time(words)
                value = msgspec.structs.replace(value, **{label: said.text}, words=words, time=time)
        values[place] = value
    # what stands there alone, a potency without how often, may as well be one that is only spoken of
    kept = values[:ruled] + [value for value in values[ruled:] if value.potency or value.repetition]
    return tuple(sorted(kept, key=lambda value: value.words.start))


def _tells_how_often(text: str, repetition: str | None) -> bool:
    """Whether a length of time is but a piece of how often it is taken: the ten minutes of "every ten minutes"."""
    low = text.casefold()
    return repetition is not None and low in repetition.casefold() and low.endswith(("minutes", "hours", "day"))


def _from_fields(
    session: Session, case: CaseVignette, known: Sequence[Prescription], focus: Sequence[str | None]
) -> list[Prescription]:
    """Prescriptions of a case by its fields alone: a potency, or a remedy with how often, that no rule took; the remedy is
    the one said with it, else the last one given in the case, else the one taught there. They are doubtful: a person rules
    on them."""
    given = [(value.words, value.remedy_id) for value in known if value.case_key == case.key and value.remedy_id]
    given += [(f.words, f.concept_id) for f in case.findings if f.label == "remedy" and f.concept_id]
    free = [f for f in case.findings if not any(f.words.overlaps(value.words) for value in known)]
    remedies = [f for f in free if f.label == "remedy" and f.concept_id]
    found = []
    for potency in (f for f in free if f.label == "potency"):
        beside = [f for f in remedies if _apart(f.words, potency.words) <= NEAR_WORDS]
        remedy = min(beside, key=lambda f: _apart(f.words, potency.words), default=None)
        if remedy is not None:
            remedies.remove(remedy)
        before = [(words.start, concept) for words, concept in given if words.end <= potency.words.start]
        taught = focus[session.sentence_at(session.units_of(potency.words)[0]).index]
        concept = remedy.concept_id if remedy is not None else max(before)[1] if before else taught
        if concept is not None:
            found.append(_prescription(session, case, concept, potency, [potency, *([remedy] if remedy else [])]))
    return found + [_prescription(session, case, cast(str, f.concept_id), None, [f]) for f in remedies]


def _prescription(
    session: Session, case: CaseVignette, remedy_id: str, potency: Finding | None, said: Sequence[Finding]
) -> Prescription:
    words = WordRange(min(f.words.start for f in said), max(f.words.end for f in said))
    start, end = session.units_of(potency.words) if potency else (0, 0)
    parsed = next(potencies_in([unit.text for unit in session.units[start:end]]), None)
    return Prescription(
        remedy_id, parsed[2].senses[0].name if parsed else None, potency.text if potency else None, None, None, None, words,
        session.reading.transcript.time(words), case.key, True,
    )  # fmt: skip


#: How many words may stand between a prescription and what is said of its repetition.
NEAR_WORDS = 6


def _apart(a: WordRange, b: WordRange) -> int:
    return max(0, a.start - b.end, b.start - a.end)


def _medical_units(session: Session, hits: Sequence[Hit]) -> tuple[frozenset[int], frozenset[int]]:
    """Units that name a conventional medicine, and those that name an investigation, by the vocabulary."""
    medicines: set[int] = set()
    investigations: set[int] = set()
    for hit in hits:
        if hit.concept_id.startswith("medical/"):
            kinds = session.vocabulary[hit.concept_id].fact("kind")
            if "medicine" in kinds:
                medicines.update(range(hit.start, hit.end))
            elif "investigation" in kinds:
                investigations.update(range(hit.start, hit.end))
    return frozenset(medicines), frozenset(investigations)


_NO_REMEDY = re.compile(
    r"\b(?:i|we) (?:\w+ )?(?:gave|prescribed) (?:no|nothing|him nothing|her nothing|them nothing)\b|\b(?:i|we) (?:\w+ )?(?:sent|rushed|referred|put|drove|took|rang|called|phoned) (?:him|her|them|for|the|one)\b[^.?!]{0,30}\b(?:hospital|ward|ambulance|surgeon|casualty|in|specialist|one zero eight|emergency|car)\b"
)


def _with_outcome(found: list[Finding]) -> list[Finding]:
    """The last changes told are how the case came out, where nothing else said after the last visit says so."""
    changes = [f for f in found if f.label == "follow-up change"]
    if not changes:
        return found
    last = max(f.words.start for f in changes)
    visit = max((f.words.start for f in found if f.label == "follow-up time" and f.words.start <= last), default=-1)
    if any(f.label == "outcome" and f.words.start >= max(visit, last - 12) for f in found):
        return found
    return [
        msgspec.structs.replace(f, label="outcome")
        if f.label == "follow-up change" and f.words.start > visit and last - f.words.start <= 14 else f
        for f in found
    ]  # fmt: skip


def _by_order(found: Sequence[Finding]) -> list[Finding]:
    """How a case came out is the last state told of it; what was told before are changes on the way, however well they
    sounded: words alone do not tell the two apart."""
    states = ("follow-up change", "outcome")
    last = max((f.words.start for f in found if f.label in states), default=-1)
    return [
        msgspec.structs.replace(f, label=states[f.words.start == last]) if f.label in states else f for f in found
    ]  # fmt: skip


def _unique(found: list[Finding]) -> list[Finding]:
    """One finding per label and place; of two that overlap under one label the longer stays."""
    kept: list[Finding] = []
    for item in found:
        clash = next((k for k in kept if k.label == item.label and k.words.overlaps(item.words)), None)
        if clash is None:
            kept.append(item)
        elif len(item.words) > len(clash.words):
            kept[kept.index(clash)] = item
    # Age and sex are stated once for a vignette: the first.
    seen: set[str] = set()
    result = []
    for item in kept:
        if item.label in ("age", "sex", "setting"):
            if item.label in seen:
                continue
            seen.add(item.label)
        result.append(item)
    return result


_SOMEBODY = re.compile(
    rf"(?:the |an? |my |our )(?:old|young|retired|little|same) \w+\W*$|(?:an? |one |this |the )?(?:[\w-]+ )?{PERSON}\b"
)
_ONGOING = re.compile(
    r"\b(?:continu\w+|go(?:es|ing)? on|went on|kept (?:on|up|taking)|not stopped|didn't stop|did not "
    r"stop|carried on|carry on|still (?:taking|on|using)|(?:was|were|is|are|'s|'re)(?: \w+)? (?:taking|"
    r"using|on)|(?:is|was|were|had been) already|had (?:\w+ )?(?:already )?(?:started|put) (?:her|him) "
    r"on|alongside|along with it|not touched|left alone|"
    r"got (?:his|her) (?:full )?course|told (?:her|him) to keep)\b"
)
#: A course that was over, with what it brought.
_ENDED = re.compile(
    rf"\b(?:relief|results?|benefit|effect|helped|in vain|no better|nothing|off and on|on and off|for (?:about |nearly |over |some |the last )*(?:{NUMBER}|many|several|a few|some) "
    r"(?:days|weeks|months|years))\b"
)
_LEFT_GOING = re.compile(
    r"\b(?:continu\w+|go(?:es|ing)? on|went on|left (?:it |them |that |as )|as it was|still|not stopp?ed|not touch\w*|kept|keep|daily and)\b"
)
_MEDICINE_WORD = re.compile(
    rf"\b(?:\w*thyroxine|eltroxin|\w+{MEDICINE_ENDINGS}|tablets?|medicines?|medications?|inhalers?|ointments?|(?<!ice )creams?|drops|injections?|antibiotics?|"
    r"steroids?|insulin|painkillers?|antacids?|syrups?|pills?|pessary|surgery|operation|courses?|"
    r"treatments?|vitamins?|iron|calcium|hormon\w+|allopath\w*|ayurved\w*|churan|physiotherapy|"
    r"chemotherapy|radiotherapy|dialysis|nebuli\w+)\b"
)


def _sentence(
    session: Session, look: Look, put: _Put, after_remedy: bool, complaint_seen: bool, pieces: set[int],
    medicines: frozenset[int], investigations: frozenset[int], opening: bool,
) -> bool:  # fmt: skip
    sentence = look.sentence
    complained = False
    timed = False
    for start, end in _clauses(session, sentence.start, sentence.end):
        low = session.low(start, end)
        if len(low) < 4 or not any(unit.low for unit in session.units[start:end]):
            continue
        inside = range(start, end)
        gives = sum(1 for unit in inside if unit in pieces)
        if not gives and any(unit in pieces for unit in range(sentence.start, start)):
            after_remedy = True  # "thirty, twice a day, after one week the discharge was loose" in one breath
        times = list(session.search(_FOLLOW_TIME, start, end))
        # "it went in three weeks", "two colds in a year": at the end of a clause these are lengths, not visits
        times = [t for t in times if not (t[2][0].startswith(("in ", "within ")) and t[0] > start + 2)]
        if not complaint_seen and not complained and not after_remedy:
            match = next(
                (m for _, _, m in session.search(_COMPLAINT, start, end) if not _NO_COMPLAINT.match(m["what"])), None
            )
            if (
                match is not None
                and not _SOMEBODY.match(match["what"])
                and not _MEDICINE_WORD.search(match["what"][:25])
            ):
                units = _end_complaint(session, *session.span_of(start, match, "what"))
                if units[1] > units[0]:
                    put("presenting complaint", *units)
                    complained = True
                    continue
        treats = any(unit in medicines for unit in inside) or bool(_MEDICINE_WORD.search(low))
        reasoned = _REASON.search(low)
        if reasoned and reasoned[0].startswith("because") and not (gives or re.search(r"\b(?:i|we) (?:\w+ )?(?:gave|chose|"
            r"took|thought|selected|decided|preferred|went for)", low)):  # fmt: skip
            reasoned = None
        if (
            reasoned
            and not look.question
            and (
                after_remedy
                or gives
                or look.remedies
                or re.search(r"thought|rubric|remed|took|wanted|matter|settled", low)
            )
        ):
            because = re.search(r"\bbecause\b", low) if gives else None
            if because is not None:
                put("reason for prescription", start + low.count(" ", 0, because.start()), end)
            else:
                put("reason for prescription", start, end)
            continue
        ended = _ENDED.search(low) and not _LEFT_GOING.search(low)
        if treats and not gives and not ended and (_ONGOING.search(low) or _ONGOING.search(sentence.low)) and not times:
            put("concurrent treatment", start, end)
            continue
        if not gives and not after_remedy and _BY_OTHERS.search(low) and (look.remedies or treats):
            put("prior treatment", start, end)
            continue
        if not after_remedy and not gives and (_PRIOR.search(low) or treats) and not _OWN_GIVING.search(low):
            put("prior treatment", start, end)
            continue
        if not gives and (any(unit in investigations for unit in inside) or _INVESTIGATION.search(low)) and not times:
            put("investigation", start, end)
            continue
        if after_remedy or (gives and times):
            for first, last, _ in times[:1]:
                put("follow-up time", first, last)
                timed = True
        if gives:
            continue
        if after_remedy:
            at = times[0][1] if times and times[0][0] <= start + 2 else start
            if at >= end or _ASIDE.match(low) or look.question:
                continue
            low = session.low(at, end)
            if _OUTCOME.search(low):
                put("outcome", at, end)
            elif _ONLY_REPORTS.match(low) or _ONE_SELF.match(low):
                continue
            elif _CHANGE.search(low) or (
                timed and (look.past or re.match(r"(?:s?he|they) (?:could|can|is|was|has)\b", low))
            ):
                put("follow-up change", at, end)
            continue
        if _HISTORY.search(low) and end - start > 3:
            put("history", start, end)
            continue
        if _ASIDE.match(low) or look.question:
            continue
        if not complaint_seen and not complained and opening:
            named = next(
                (piece for piece in _comma_pieces(session, start, end) if _names_complaint(session, *piece)), None
            )
            if named is not None:
                put("presenting complaint", named[0], end)
                complained = True
                continue
        if _is_finding(session, look, low, start, end) and not _introduces_person(low):
            put("finding", start, end)
    return complained


_BY_OTHERS = re.compile(
    r"\b(?:neighbou?rs?|friends?|relatives?|(?:another|other|previous|earlier|some|local|family|her|his|their|a|the) (?:\w+ ){0,2}?(?:homoe?opath|homeopath|"
    r"doctor|physician|chemist|practitioner|vaidya|hakim|specialist|surgeon|dermatologist|gp)|mother|father|aunt|grandmother|somebody|someone|people|they) "
    r"(?:had |has |have |was |kept |also |already |then |been )*(?:gave|given|giving|put|tried|used|started|treated|treating|prescribed|applied|rubbed)\b"
)
_OWN_GIVING = re.compile(r"\b(?:i|we) (?:\w+ )?(?:gave|prescribed|repeated|did)\b")
_INTRODUCES_PERSON = re.compile(
    rf"\b(?:{PERSON}|old)\b.*\b(?:{NUMBER}|years?|from|came|senior|by profession|engineers?)\b"
)


def _introduces_person(low: str) -> bool:
    return bool(_INTRODUCES_PERSON.search(low)) and not re.search(r"\b(?:she|he) (?:was|had|felt|could|used)\b", low)


def _comma_pieces(session: Session, start: int, end: int) -> list[tuple[int, int]]:
    cuts = [start, *(unit + 1 for unit in range(start, end - 1) if session.units[unit].text.endswith(",")), end]
    return list(zip(cuts, cuts[1:], strict=False))


_AGE_FIRST = re.compile(
    rf"^(?:about |nearly |around )?{NUMBER}\b|\b(?:face|build|built|stout|thin|complexion\w*|case|{PERSON})\b"
)


def _names_complaint(session: Session, start: int, end: int) -> bool:
    """A bare complaint at the opening of a case: ``Itching, elbows and groin, ten years of it.``"""
    if _AGE_FIRST.search(session.low(start, end)):
        return False
    tags = {session.parse.tag(unit) for unit in range(start, end)}
    words = [unit.low.removesuffix("'s") for unit in session.units[start:end]]
    content = sum(w in BODY_CHAPTERS or w in SENSATIONS or w in CLINICAL_COMPLAINTS for w in words)
    return content >= 1 and not tags & {"VBZ", "VBP", "MD"} and not {"she", "he", "they", "i"} & set(words[:2])


CLINICAL_COMPLAINTS = frozenset(
    (
        "fever cold colds cough prolapse headache migraine asthma eczema itching diarrhoea constipation "
        "piles acidity pain weakness tonsils infertility obesity hypertension sleeplessness insomnia vertigo "
        "sinusitis allergy anaemia jaundice swelling"
    ).split()
)


_TRAVELS = re.compile(r"\b(?:come|came|flown|travelled|traveled|driven|walked)\b[^.;]{0,25}\bfrom\b")


def _is_finding(session: Session, look: Look, low: str, start: int, end: int) -> bool:
    if _ONE_SELF.match(low) or _TRAVELS.search(low):
        return False
    words = [unit.low.removesuffix("'s") for unit in session.units[start:end]]
    content = sum(w in BODY_CHAPTERS or w in MIND_WORDS or w in SENSATIONS or w in MODALITY_WORDS for w in words)
    if content:
        return True
    if re.search(r"\b(?:i|we) (?:asked|gave|saw|told|said|thought|took)\b", low):
        return False
    return (
        bool(re.search(r"\b(?:she|he|they|mother said|mother says|her|his)\b", low))
        and len(words) >= 4
        and not re.search(r"\b(?:came|come|brought|walked|sat|entered) (?:to|in|into|with|back|down)\b", low)
    )


def _end_complaint(session: Session, start: int, end: int) -> tuple[int, int]:
    """A complaint ends before the next clause ("… for two years and she had taken …")."""
    low = session.low(start, end)
    cut = re.search(
        (
            r",? (?:and|but|so|which|who|because|she|he|they|i) (?:she|he|was|had|has|is|they|i|would|could|"
            r"the|it|came|also had|took|used)\b|, (?:she|he|i|they|it) "
        ),
        low,
    )
    if cut:
        end = start + low.count(" ", 0, cut.start() + 1)
    while end > start and session.units[end - 1].low in {"and", "but", "so", "", "also"}:
        end -= 1
    return start, end


_NEW_SUBJECT = re.compile(
    r" (?=(?:(?:he|she|they|i|it|there)(?:'s|'d)?|(?:the|his|her|each|every|my|our|their) (?!she|he|they|it)(?:\w+ )?(?!she|he|they|it)\w+|fever|sonography) (?:only |never |always |also |just |then )*"
    r"(?:was|were|is|has|had|could|would|did|said|says|takes?|took|counts?|drank|drinks|came|comes|wanted|wants|got|gets|became|felt|kept|went|gave|showed|"
    r"started|stopped|sleeps|slept|ate|eats|cries|cried|sits|sat|told)\b)"
)
_JOINS = frozenset(
    "that when if because as which what how where who while since after before until till whenever and or but said says told thinks thought feels felt "
    "so than like whether of for with in on at to from by".split()
)


def _clauses(session: Session, start: int, end: int) -> list[tuple[int, int]]:
    low = session.low(start, end)
    cuts = [start]
    if not re.search(r"[,.;]", low[:-1]) and end - start > 8:
        for match in _NEW_SUBJECT.finditer(low):
            at = start + low.count(" ", 0, match.end())
            if at - cuts[-1] >= 3 and session.units[at - 1].low not in _JOINS and end - at >= 3:
                cuts.append(at)
        if len(cuts) > 1:
            pieces = list(zip(cuts, [*cuts[1:], end], strict=True))
            return [piece for first, last in pieces for piece in _clauses(session, first, last)]
    for match in _CLAUSE_CUT.finditer(low):
        at = start + low.count(" ", 0, match.end())
        if match.group().strip() in (";", ":") or match.group().endswith((";", ":")):
            at = start + low.count(" ", 0, match.end()) + 1
        if cuts[-1] < at < end:
            cuts.append(at)
    pieces = list(zip(cuts, [*cuts[1:], end], strict=True))
    cleaned = []
    for first, last in pieces:
        while first < last and session.units[first].low in {"and", "but", "so", "then", ""}:
            first += 1
        while last > first and session.units[last - 1].low in {"and", "but", "so", ""}:
            last -= 1
        if last > first:
            cleaned.append((first, last))
    return cleaned


def bare_text(text: str) -> str:
    return text.strip(" ,.;:-—")


def _title(session: Session, found: Sequence[Finding], start: int) -> str:
    """A title from what was stated: complaint, sex, age; or the remedy; or only 'Case'."""
    first = {f.label: f.text for f in reversed(found)}
    pieces = [first[label] for label in ("age", "sex") if label in first]
    if "sex" in first and first["sex"].lower() in ("she", "her", "he", "his", "him"):
        pieces = [first["age"]] if "age" in first else []
        pieces.append("female" if first["sex"].lower() in ("she", "her") else "male")
    complaint = first.get("presenting complaint")
    head = "Case"
    if pieces:
        head += ": " + ", ".join(pieces)
    if complaint:
        words = complaint.split()
        head += (": " if not pieces else ", ") + " ".join(words[:9]) + ("…" if len(words) > 9 else "")
    del session, start
    return bare(head) if not head.endswith("…") else head
