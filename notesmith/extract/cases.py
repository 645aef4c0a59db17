"""Find the cases told in a session: where each begins and ends, and where it is taken up again.

A case begins at a sentence that introduces one person (an age, ``came to me``, ``I had a patient``) and goes on
as long as the telling goes on (past tense about that person, what was given, what happened). Two states, case
and not, are decided over the whole session by the best path.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import islice

from notesmith.extract.potency_words import NUMBER
from notesmith.extract.sentences import Look
from notesmith.extract.session import Session

PERSON = (
    r"(?:patient|lady|gentleman|boy|girl|child|man|woman|fellow|baby|infant|kid|housewife|teacher|farmer|"
    r"student|nurse|clerk|driver|engineer|"
    r"widow|mother of|executive|labourer|laborer|shopkeeper|businessman|officer|teenager|youngster|old "
    r"man|old lady|infant|toddler|"
    r"male|female|person|chap|bride|cook|maid|tailor|banker|lawyer|singer|soldier|policeman|constable|"
    r"carpenter|mason|priest|nun|accountant|software \w+|school ?teacher|schoolboy|schoolgirl|"
    r"grandmother|grandfather|lad|lass|guy|gent|aunty|auntie|uncle|youth|youngster|neighbour|colleague|"
    r"cousin|friend|junior|violinist|dancer|actor|writer|tutor|librarian|pensioner|publican|dressmaker|"
    r"electrician|labourer|worker|manager|secretary|typist|weaver|painter|musician|professor|bus "
    r"conductor|mechanic|plumber|electrician|guard|watchman|receptionist)"
)
_AGE = (
    rf"(?:(?:aged? (?:about |around |of )?{NUMBER})|(?:of|about|around|hardly|nearly|just) {NUMBER}(?: "
    rf"(?:years?|yrs?|months?|days?|weeks?))?(?=[ ,.]|$)|{NUMBER}[ -]?(?:years?|yrs?|months?|weeks?|"
    r"days?)(?:[ -]?olds?| of age)?|in (?:her|his) (?:early |mid |late )?\w+ties)"
)
_INTRO = (
    (re.compile((
        r"\b(?:a|an|one|this|another|some|young|old|elderly|middle[- ]aged|little|small|married|unmarried|"
        rf"single|my) (?:[\w-]+ ){{0,4}}?{PERSON}\b[^.?!]{{0,25}}?{_AGE}"
    )), 3.4),
    (re.compile(rf"\b(?:a|an|one|this|another) {_AGE}[ ,-]*(?:[\w-]+ ){{0,3}}?{PERSON}"), 3.4),
    (re.compile(
        rf"^(?:\w+[,.]? ){{0,5}}(?:male|female|man|woman|boy|girl|lady|gentleman|mr|mrs|ms|"
        rf"miss)\b[^.?!]{{0,12}}{_AGE}"
    ), 3.0),
    (re.compile(
        rf"^(?:\w+[,.]? ){{0,5}}{NUMBER}[ -]?(?:years?|yrs?|months?)[ -]?(?:old)?[ ,]*(?:male|female|man|"
        r"woman|boy|girl|lady|child|gentleman|housewife)"
    ), 3.2),
    (re.compile(
        r"\b(?:i|we) (?:had|have|have had|once had|got|saw|treated|was treating|remember|recall|was called "
        rf"to see|was asked to see|had seen) (?:\w+ ){{0,2}}?(?:a|an|one|this|another|two|some) "
        rf"(?:[\w-]+ ){{0,4}}?(?:case|{PERSON})\b"
    ), 3.0),
    (re.compile(
        r"\b(?:let me|let us|i(?:'ll| will| shall| want to| would like to|'d like to| must)|shall i|can i|"
        r"may i|allow me to) (?:\w+ ){0,3}?(?:put before|bring|tell|share|give|narrate|present|describe|relate|take|discuss|"
        r"show|quote)\b[^.?!]{0,30}\b(?:a|one|this|another|an|my|the|two) (?:[\w-]+ ){0,4}?(?:case|patient|"
        r"example|story|instance)\b"
    ), 3.2),
    (re.compile(
        r"\b(?:let me|i(?:'ll| will| want to| must|'d like to| would like to)) (?:\w+ ){0,2}?(?:tell|share "
        r"with|give) you (?:something |a little )?(?:about|of) (?:a|an|one|this|the) "
    ), 2.6),
    (re.compile(
        r"\b(?:case (?:number )?(?:one|two|three|four|\d+)|(?:first|second|third|next|another|one more|last) "
        r"case|(?:an|a|one) (?:[\w-]+ ){0,3}?case (?:from|of mine|i had|came|which|to illustrate|in (?:my|"
        r"our)|for you|of (?:a|an))|case (?:is )?of (?:a|an|one)|(?:here is|here's) (?:a|one|the) case)\b"
    ), 2.8),
    (re.compile(
        r"\b(?:a|an|one|this|another|some|young|old|elderly) "
        rf"(?:[\w-]+ ){{0,5}}?{PERSON}\b[^.?!]{{0,30}}\b(?:came|was brought|walked in|walks in|walked into|"
        r"walks into|comes in|came in|consulted|visited|was referred|approached|rang|called|phoned|was "
        r"carried|was admitted|turned up|presented)\b"
    ), 3.2),
    (re.compile(
        r"\b(?:came|was brought|were brought|walked in|was referred|brought|approached|walked into) "
        r"(?:to )?(?:me|us|my|our|the|into)\b(?: \w+)?"
    ), 1.6),
    (re.compile(
        r"^(?:(?:so|now|okay|and|ok|right|well|then),? )*(?:a|one|just one|another|a quick|one quick|a short|"
        r"one small|one more|one more small|one short|a small|one last)(?: \w+)? (?:story|case|example|one|"
        r"patient)\b"
    ), 2.8),
    (re.compile(
        r"\b(?:i|we)(?:'d| had|'ll| will|'ve)? (?:like to |want to )?(?:tell|give|share|show) "
        r"(?:you )?(?:of |about )?(?:one|another|an example|a small one|one small|one more|one that)\b|"
        r"^(?:one (?:more|last|adult|child)|and the other one|the other one|another one)\b|\b(?:one (?:more|"
        r"small one|quick one|for the \w+)|a quick one)[,.]"
    ), 2.6),
    (re.compile(rf"\b(?:there was|there is|there came|we had) (?:a|an|one|this) (?:[\w-]+ ){{0,4}}?{PERSON}\b"), 2.6),
    (re.compile(rf"\b(?:in came|comes|brought|brings) (?:a|an|one|this) (?:[\w-]+ ){{0,4}}?{PERSON}\b"), 2.0),
)  # fmt: skip
_PRESENTS = re.compile(
    rf"\b(?:story|case|tale|history) of (?:an?|one|the|my|our) (?!remedy|drug|plant|proving|method|discovery|name|word|salt|miasm)(?:[\w-]+ ){{0,3}}?[a-z]{{3,}}(?:er|or|ist|ian|man|woman|"
    rf"wife|keeper|maker|boy|girl|hand|mate|nun|cook|chef|guard|clerk)\b|\b(?:an?|one|this|another) (?:old |young |retired |married |unmarried |elderly |middle[- ]aged ){{1,2}}"
    rf"[\w-]+\b[^.?!]{{0,30}}?(?:of|aged|,) {NUMBER}\b|"
    r"(?<!in )(?<!to )(?<!for )(?<!of )(?<!every )\b(?:one|another|an?|this|my|next|last|recent) (?:more )?(?:(?:\w+ly|small|short|quick|nice|recent|similar|old|good|interesting|very|simple|beautiful|little|live|actual|clinical) ){0,2}case\b(?![- ]?(?:taking|history|paper|record|comes|is one|will|may|can|has to|should))|"
    rf"\b(?:here(?:'s| is)|there(?:'s| is| was| came)|then there(?:'s| is| was)|i(?:'ve| have) (?:got )?|take|consider) (?:a|an|one|this|the case of|the story of|the case) (?:[\w-]+ ){{0,4}}?(?:{PERSON}|mother|father|wife|case)\b"
    rf"|\b(?:story|case|example|instance|history) of (?:a|an|one|this|my) (?:[\w-]+ ){{0,4}}?(?:{PERSON}|mother|father|wife|couple)\b"
    r"|\b(?:narrate|share|put before you|bring to you|present|tell you|recount|recall|describe|relate|mention|give you|remember) (?:you )?(?:of |about )?(?:one|an?|this|another) (?:[\w-]+ ){0,2}?(?:experience|incident|episode|instance|example|story|case|patient)\b"
    rf"|^(?:\w+[,.]? ){{0,3}}(?:{NUMBER}(?: and (?:a )?half)? years?,? (?:old )?)?(?:male|female)\b(?: child| patient)?,? (?:aged? )?{NUMBER}?"
)
_AGED = re.compile(
    rf"^(?:\w+[,.]? ){{0,2}}{NUMBER},? (?:or so, |odd, )?(?:retired|married|unmarried|single|widowed|divorced|lives|works|\w+ by (?:profession|trade))\b|"
    rf"\b{PERSON}\b[^.?!]{{0,50}}, (?:about |around |aged |just |hardly )?{NUMBER}(?: or so| odd| "
    rf"plus)?(?:[,.]|$)|\b{PERSON}[ ,]+(?:aged )?{NUMBER}(?: years?| yrs?)?\b|\b{NUMBER}[ -]years?[ "
    rf"-](?:old )?(?:\w+ )?{PERSON}|"
    rf"\b{NUMBER}(?: and (?:a )?half)? (?:years?|yrs?|months?),? (?:male|female|boy|girl|child|lady|man|woman)\b|"
    rf"\b{NUMBER}(?: and (?:a )?half)?[ -](?:years?|yrs?|months?|weeks?|days?)(?:[ -]olds?| of age)\b|"
    rf"\b(?:aged|age) {NUMBER}\b|\b{PERSON},? (?:of |aged |about |is |was )*{NUMBER}\b|\b{NUMBER}[ "
    rf"-]years?[ ,]+{PERSON}"
)
# "I had an uncle like this": an anecdote from the lecturer's own life, not a case.
_OWN_CIRCLE = re.compile(
    r"\b(?:i|we) (?:had|have|used to have|know|knew) (?:a|an|one|my) (?:\w+ )?(?:uncle|aunt|aunty|auntie|"
    r"friend|colleague|cousin|teacher|neighbour|professor|principal|dog|cat)\b|\bmy (?:own )?(?:uncle|aunt|"
    r"friend|colleague|cousin|teacher|professor|brother|wife|husband)\b"
)
_HYPOTHETICAL = re.compile(
    r"\b(?:suppose|imagine|if (?:a|an|one|your|you|the) |say a|whenever|when(?:ever)? (?:a|an|your|you|"
    r"the)? ?\w* ?(?:patient|child|person|lady|man|woman)? (?:comes|says|tells|complains|sits)|(?<!i )(?<!we )will (?:come|tell)|would come|"
    r"you (?:will|may|might|can) (?:get|see|find|have)|typical(?:ly)?|usually|generally|any "
    r"patient|every patient|such (?:a )?patient|a (?:typical|classical|\w+) patient (?:is|will|may|has|"
    r"wants|comes))\b"
)
_TELLING = (
    (re.compile((
        r"\b(?:i|we) (?:gave|prescribed|repeated|started|asked|examined|put|stopped|waited|advised|sent|"
        r"referred|thought of|took|decided|selected|chose|increased|raised|changed|told (?:her|him|them|the)|"
        r"saw (?:her|him|that)|could (?:see|find)|did not (?:give|repeat|do)|didn't (?:give|repeat)|kept|"
        r"continued|noticed|found)\b"
    )), 1.7),
    (re.compile(
        r"\b(?:she|he|they|the (?:patient|mother|father|husband|wife|boy|girl|lady|child|baby|man|woman)) "
        r"(?:\w+ )?(?:was|were|had|came|said|told|complained|reported|felt|could not|couldn't|did not|didn't|"
        r"would not|started|developed|got|went|lost|wanted|used to|became|slept|cried|wept|took|looked|sat|"
        r"answered|described|refused|suffered|improved|returned|phoned|called|woke|began|kept|stopped|ate|"
        r"passed|never|brought|lived|worked|remained|recovered)\b"
    ), 1.2),
    (re.compile(
        rf"\b(?:after|within|in) (?:about |just |nearly |another )?(?:{NUMBER}|a|few|a few|couple of|a "
        rf"couple of|one|some) (?:days?|weeks?|months?|hours?|years?|doses?)\b|\b{NUMBER} (?:days?|weeks?|"
        r"months?) (?:later|after|back)\b|\bnext (?:visit|follow[- ]?up|morning|day)\b|\bfollow[- ]?ups?\b|"
        r"\b(?:second|third|first|last|next) (?:visit|consultation)\b"
    ), 1.1),
    (re.compile(
        r"\b(?:since|for the (?:last|past)|for|from last) (?:about |nearly |almost |the last |the "
        rf"past )?(?:{NUMBER}|a few|several|many) (?:years?|months?|days?|weeks?)\b"
    ), 0.9),
    (re.compile(
        r"\b(?:chief complaint|presenting complaint|complain(?:ed|ing|ts?) of|came with|came for|brought "
        r"(?:her|him) (?:for|with)|past history|family history|history of|on examination|reports?|"
        r"haemoglobin|hemoglobin|tsh|x-?ray|ultrasound|sonography|biopsy|mri|ct scan|blood (?:test|count|"
        r"pressure|sugar)|was diagnosed|diagnosis|operated|surgery|steroids?|antibiotics?|inhalers?|"
        r"painkillers?|tablets?|ointments?)\b"
    ), 0.7),
    (re.compile(
        r"\b(?:his|her) (?:mother|father|husband|wife|sister|brother|family|son|daughter|in-laws|"
        r"mother-in-law|boss|school|job|work|tongue|face|eyes|skin|complaint|complaints|pain|cough|sleep|"
        r"thirst|appetite|stool|stools|periods|menses|weight|room|voice|hair|hands|feet|report|reports)\b"
    ), 0.5),
)  # fmt: skip
_ENDING = re.compile(
    r"^(?:(?:so|now|and|okay|ok|but|anyway),? )*(?:(?:so )?that (?:was|is) (?:the|my|one|our) case|"
    r"coming back|going back|back to|let us (?:now |go |come |return |move |see |continue |leave)|let's "
    r"(?:go|come|move|return|continue|leave)|now (?:let|we|coming|come|the|about|see)|moving|next (?:is|"
    r"we|point|symptom|topic)|any (?:questions|doubts)|"
    r"why (?:am i|did i|i am) tell|i (?:am|have) (?:tell|told)\w* you this|this case (?:shows|teaches|"
    r"tells|is)|what (?:do|did) we learn|the (?:lesson|moral|point|message|teaching)|remember|please "
    r"remember|the remedy|this remedy|in this remedy|compare|the keynote|from this)\b"
)
_RETURN = re.compile(
    r"\b(?:coming|going|come|go|get|return(?:ing)?) back (?:now )?to (?:that|the|our|this|my|her|him) "
    r"(?!book|text|remedy|line|page|point|topic|picture|mind|symptom|modalit|general|rubric|subject|"
    r"comparison|main|our remedy|question|first|second|stool|sulphur)(?:[\w-]+ ){0,2}?\w+\b|"
    r"\b(?:by the way,? that (?:[\w-]+ ){0,2}?\w+ (?:i|we) (?:mentioned|told|spoke|discussed|talked)|"
    r"what (?:happened|became) (?:to|of) (?:the|that|my|our) |(?:that|this|the same|our|my|earlier|the) "
    r"(?:[\w-]+ ){0,3}?(?:case|patient|lady|gentleman|boy|girl|child|man|woman|baby|teacher|farmer|"
    r"student|nurse|clerk|driver|engineer|widow|banker|lawyer|housewife|fellow|infant|cook|maid|tailor|"
    r"singer|accountant|shopkeeper|officer|carpenter|policeman|weaver|mechanic|watchman|guard|"
    r"receptionist|painter|musician|professor|teenager|schoolboy|schoolgirl|school ?teacher|grandmother|"
    r"grandfather)\b[^.?!]{0,40}\b(?:i (?:told|was telling|spoke|mentioned|talked)|we (?:spoke|discussed|"
    r"saw|talked)|told you|from (?:the|earlier)|(?:in|at) the beginning|came back|returned|"
    r"follow|(?:earlier|again|before|just now|ago)(?=[,.?!]|$| i | we ))"
    r"|(?:coming|going|come|go|let us (?:go|come|return)|let's go|return(?:ing)?) back to (?:that|the|"
    r"our|this|my) (?:[\w-]+ ){0,3}?(?:case|patient|lady|gentleman|boy|girl|child|man|woman|baby|\w+er|"
    r"\w+or|\w+ist|housewife)|"
    r"(?:follow[- ]?up|rest|end|sequel|result|outcome) (?:of|on|for) (?:that|the|this|our) "
    r"(?:[\w-]+ ){0,3}?(?:case|patient|lady|gentleman|boy|girl|child|man|woman|baby|\w+er|housewife)|"
    r"(?:what happened to|you (?:want|wanted) to know (?:about|what)|i forgot to (?:tell|"
    r"say)[^.?!]{0,40}(?:case|patient|lady|boy|girl|man|woman|child|baby|gentleman|teacher|she|he)|"
    r"(?:remember|recall) (?:that|the|our|my) (?:[\w-]+ ){0,3}?(?:case|patient|lady|gentleman|boy|girl|"
    r"child|man|woman|baby|\w+er|\w+or|\w+ist|clerk|nurse|housewife)))\b"
)
_NOUN = r"(?:[\w-]+ ){0,3}?[a-z]{3,}"
ANYONE = (
    rf"(?:{PERSON}|(?!(?:other|former|latter|matter|number|order|paper|chapter|letter|fever|water|liver|winter|summer|weather|centre|center|answer|factor|error|tumou?r|author|odou?r)\b)"
    r"[a-z]+(?:er|or|ist|ian|man|woman|wife)\b)"
)
_RETURN_MORE = re.compile(
    rf"\b(?:(?:an |the |one )?update on|(?:the )?(?:rest|end|remainder|second half|sequel|conclusion) of (?:the|that|this|our|my) (?:story|case|{ANYONE})|(?:to )?(?:finish|complete|close|end|round off) "
    rf"(?:the|that|this|our) (?:story|case)|as (?:for|to) (?:the|that|our|my) {ANYONE}|(?:you|some of you|somebody) (?:asked|were asking|wanted to know|will want to know) (?:me )?(?:about|what happened to|what became "
    rf"of) (?:the|that|our|my) {_NOUN}|(?:i|we) (?:must|should|have to|still have to|forgot to|did not|didn't|never) (?:tell|told|finish|say|finished) (?:you )?(?:the end|what happened|how|about|of) (?:of )?(?:the|that|our|my|it) {_NOUN}|"
    rf"(?:the|that|our|same|this same|the same) {ANYONE} (?:from|of) (?:before|earlier|the beginning|last (?:week|time|month|class)|the (?:first|morning|start))|(?:the|that|our) {ANYONE} (?:i|we) (?:was|were|had|have)? ?"
    rf"(?:told|tell|telling|spoke|speaking|mentioned|talked|talking|began|started|left)|(?:before i forget|by the way|incidentally|meanwhile|coming back|and now|now then),? (?:about |to )?(?:the|that|our|my) {ANYONE}\b)"
)
_SHE = re.compile(
    r"\b(?:she|her|lady|woman|girl|female|mother|wife|daughter|housewife|widow|bride|maid|schoolgirl|nun|"
    r"grandmother|mrs|miss)\b"
)
_HE = re.compile(
    r"\b(?:he|his|him|man|gentleman|boy|male|husband|fellow|chap|schoolboy|businessman|policeman|"
    r"watchman|grandfather|mr)\b"
)
_DESCRIBES = re.compile(PERSON.replace("(?:", "(", 1) + r"\b")

ENTER = 2.5
PATIENCE = 4.0
STRONG = 1.0
WEAK = 0.45
_GENERAL = re.compile(
    r"\b(?:remed(?:y|ies)|patients|people|persons|keynote|characteristic|always|never|usually|generally|"
    r"in (?:this|such|these) (?:remedy|cases?|patients?)|you (?:will|must|should|have to|can|may|don't|"
    r"do not|see)|potency|repeat|"
    r"(?:worse|better|aggravat\w+|amelior\w+) (?:from|by|in|at)|indicated|miasm|rubric|don't|do not|one "
    r"(?:doesn't|does not|should|must)|children|women|chronic|acute)\b"
)
_FRAGMENT_FIELDS = re.compile(
    r"\b(?:thirst|appetite|stool|sleep|tongue|sweat|fever|pain|cough|itching|desire|aversion|cold|colds|"
    r"head|face|hands|feet|skin|menses|periods|courses? of|weight|years|months|weeks|daily|tablets?|"
    r"school|married|unmarried|job|works?|mother|father|brother|sister|"
    r"trouble|relief|craving|cravings|stools|sinus|septum|complaint|complaints|likes|wants|afraid|restless|chilly|thirsty|follow[- ]?up|percent|endoscopy|scopy|x-?ray|scan|report|haemoglobin|sonography|ultrasound|blood)\b"
)


@dataclass(frozen=True, slots=True)
class CaseSpan:
    """A case over sentences ``first`` to ``last`` (half-open) and its later stretches."""

    first: int
    last: int
    follow_ups: tuple[tuple[int, int], ...] = ()


def introduces(low: str) -> float:
    """How surely a sentence introduces a case, 0 for not at all."""
    value = max((weight for pattern, weight in _INTRO if pattern.search(low)), default=0.0)
    if _PRESENTS.search(low):
        value = max(value, 2.6)
    if _AGED.search(low):
        value = max(value, 2.6) if value < 1.0 else value + 1.0
    if _OWN_CIRCLE.search(low):
        value -= 3.0
    if value and _HYPOTHETICAL.search(low):
        value -= 2.2
    return max(0.0, value)


def returns_to(look: Look) -> bool:
    """Whether a sentence takes up somebody told of before."""
    low = look.sentence.low
    return (bool(_RETURN.search(low)) and not look.recap) or bool(_RETURN_MORE.search(low))


def tells(look: Look) -> float:
    """How much a sentence tells what happened to one person."""
    low = look.sentence.low
    value = sum(weight for pattern, weight in _TELLING if pattern.search(low))
    value += 0.5 * min(2, look.narration)
    if look.past and not look.narration:
        value += 0.45
    if not look.has_verb and look.meaningful <= 12 and _FRAGMENT_FIELDS.search(low) and not look.remedies:
        value += 0.5  # "Head wet. Stool like clay." as cases are dictated
    if _AGED.search(low):
        value += 1.0
    if _PERSON_NOW.search(low) and not look.remedies:
        value += 0.45
    if _HYPOTHETICAL.search(low) and not look.narration:
        value -= 1.0
    if _GENERAL.search(low) and not look.past:
        value -= 0.6
    if look.remedies and not look.past and not _GIVEN.search(low):
        value -= 0.8
    return value


_PERSON_NOW = re.compile(
    r"\b(?:she|he)(?:'s|'d| is| has| wants| takes| says| eats| drinks| goes| sleeps| doesn't| does not| "
    r"cannot| can't| never| always| feels| likes)\b|^(?:his|her) "
)
_GIVEN = re.compile(
    r"\b(?:gave|give|given|got|had|received|went to|prescribed|repeated|one dose|single dose|a dose|potency|"
    r"\d+c?\b|\d*m\b|started)"
)


def find_cases(session: Session, looks: Sequence[Look]) -> tuple[CaseSpan, ...]:
    if not looks:
        return ()
    intro = [introduces(look.sentence.low) for look in looks]
    telling = [tells(look) for look in looks]
    returns = [returns_to(look) for look in looks]
    cases: list[CaseSpan] = []
    at = 0
    while at < len(looks):
        if intro[at] < ENTER and not returns[at]:
            at += 1
            continue
        last = _follow(looks, intro, telling, at)
        if last <= at:
            at += 1
            continue
        taken = _attach(session, looks, cases, at, last, intro, telling, returns)
        at = last if taken else at + 1
    return tuple(cases)


def _follow(looks: Sequence[Look], intro: list[float], telling: list[float], first: int) -> int:
    """The sentence after the last one that tells of the person introduced at ``first``.

    The story may pause for a few sentences that tell nothing; what teaches in general uses the patience up faster,
    and an announcement, a question to the class or another person's introduction ends it.
    """
    end, patience, told = first + 1, PATIENCE, 0.0
    for index in range(first + 1, len(looks)):
        look = looks[index]
        low = look.sentence.low
        value = telling[index]
        if (_ENDING.search(low) and value < 2.2) or look.housekeeping >= 2 or (look.promise and not look.past):
            break
        if look.asks and look.question and value < 1.0:
            break
        if intro[index] >= ENTER and told >= 2.0 and (_new_person(looks, index) or patience < PATIENCE - 1.5):
            break
        if value >= STRONG:
            told += value
            end, patience = index + 1, PATIENCE
        elif value >= WEAK:
            told += 0.5 * value
            end = index + 1
            patience = min(PATIENCE, patience + 0.5)
        else:
            patience -= 2.2 if teaches(look) else 0.8 if look.meaningful <= 6 else 1.0
            if patience <= 0:
                break
    # The introduction alone is no story.
    return end if told + telling[first] >= 1.8 or (end - first >= 2 and told >= 1.0) else first


def teaches(look: Look) -> bool:
    """Whether a sentence speaks of remedies or patients in general, in the present."""
    low = look.sentence.low
    if look.narration or look.past:
        return False
    return bool(look.remedies) or bool(_GENERAL.search(low))


def _new_person(looks: Sequence[Look], index: int) -> bool:
    low = looks[index].sentence.low
    return bool(
        re.search(r"\b(?:another|second|next|one more|third|also had|case (?:number )?(?:two|three|\d))\b", low)
        or (re.search(rf"\b(?:a|an|one) (?:[\w-]+ ){{0,4}}?{PERSON}\b", low) and re.search(_AGE, low))
        or re.search(r"\b(?:let me|i will|i'll) (?:\w+ ){0,2}(?:tell|share|give)", low)
    )


def _attach(
    session: Session, looks: Sequence[Look], cases: list[CaseSpan], first: int, last: int,
    intro: list[float], telling: list[float], returns: list[bool],
) -> bool:  # fmt: skip
    """Take a stretch as a case of its own or as the later part of one told before; False where it is neither."""
    strength = sum(max(0.0, value) for value in telling[first:last])
    strong_intro = max(intro[first : min(last, first + 2)], default=0.0)
    if returns[first] and cases:
        text = " ".join(look.sentence.low for look in looks[first:last])
        best = max(range(len(cases)), key=lambda k: (likeness(looks, cases[k], text), k))
        case = cases[best]
        if likeness(looks, case, text) > 0 or strong_intro < 2.6:
            cases[best] = CaseSpan(case.first, case.last, (*case.follow_ups, (first, last)))
            return True
    if intro[first] < ENTER or strength < 1.8:
        return False
    cases.append(CaseSpan(first, last))
    return True


_SPEAKING = "i|we|my|our|you|let|one|another|case|story|first|second|third|next|number|patient|person|tell"
_SPEAKS = re.compile(rf"\b(?:{_SPEAKING})\b")
_PERSONAL = re.compile(rf"\b(?:s?he|his|her|him|{_SPEAKING})\b")
_SUMS_UP = re.compile(
    r"^(?:(?:so|now|and|then|okay|well|but|thus|therefore),? )*(?:this|that|here|these|it)(?: is|'s| was| are) (?:how |what |why |all |then )?"
    r"(?:the |a |an |our |my |your )?(?:\w+ )?(?:picture|portrait|image|keynote|essence|beauty|lesson|moral|nature|type|(?:typical|classical|true|real) \w+)\b"
)


_WHEN = re.compile(
    r"\b(?:days?|weeks?|months?|years?|hours?|morning|night|visit|once|twice|thrice|(?:two|three|four|\d+) times|daily|hourly|every|dose|drops|thirty|hundred|tried)\b|'d\b"
)


def told_from(looks: Sequence[Look], first: int, last: int) -> int:
    """Where a stretch that should be a case begins in truth: what is taught before somebody is introduced is none of it."""
    for index in range(first, min(last, first + 4)):
        look = looks[index]
        value = introduces(look.sentence.low)
        if value >= ENTER:
            return index
        # of a remedy one goes on with "she"
        personal = _SPEAKS if index > first and look.present else _PERSONAL
        if (
            look.past
            or look.narration
            or value > 0
            or personal.search(look.sentence.low)
            or not (look.content or look.remedies)
        ):
            return first
    return first


def told_until(looks: Sequence[Look], first: int, last: int) -> int:
    """Where a stretch that should be a case ends in truth (half-open): before what sums it up or speaks of a remedy in
    general, with nobody told of afterwards."""
    stop = last
    for index in range(last - 1, first, -1):
        if sums_up(looks[index]):
            stop = index
        elif tells(looks[index]) >= STRONG or _WHEN.search(looks[index].sentence.low):
            break
    return stop


_REMEDY_IS = re.compile(
    r"^(?:(?:so|now|and|but|then),? )*(?!(?:s?he|i|we|they|it|there|the|that|this|his|her|my|our|a|an|one)\b)[a-z]+(?: [a-z]+)?,? "
    r"(?:is|has|wants|likes|fears|are|have|comes|loves|hates|weeps|sits|follows)\b"
)


def sums_up(look: Look) -> bool:
    """``So this is the picture of Pulsatilla.``, ``Sepia is indifferent to the family.``"""
    low = look.sentence.low
    of_remedy = bool(look.remedies) and look.present and not look.past and not look.narration
    return not _WHEN.search(low) and (
        bool(_SUMS_UP.search(low))
        or (of_remedy and not _GIVEN.search(low) and (bool(_REMEDY_IS.match(low)) or not _PERSONAL.search(low)))
    )


_COMMON = frozenset(
    "same other first second third next last month week year time case remedy patient dose story case day days weeks months years then there when what with from that this have been "
    "were they mother father husband wife one more two three four pain better worse potency again after before still only very much said says told came went gave".split()
)


def likeness(looks: Sequence[Look], case: CaseSpan, text: str) -> float:
    told = " ".join(look.sentence.low for look in looks[case.first : case.last])
    head = " ".join(look.sentence.low for look in looks[case.first : min(case.last, case.first + 3)])
    score = 0.0
    for word in set(_DESCRIBES.findall(text)):
        score += (
            2.0 if re.search(rf"\b{re.escape(word)}\b", head) else (-0.5 if word not in ("patient", "person") else 0.0)
        )
    she, he = len(_SHE.findall(told)), len(_HE.findall(told))
    she2, he2 = len(_SHE.findall(text)), len(_HE.findall(text))
    if she2 + he2:
        score += 1.0 if (she >= he) == (she2 >= he2) else -1.5
    # "the tailor", "our railway man": the words by which the person was called
    called = {
        w for w in re.findall(r"\b(?:the|our|that|my|this|and) ((?:[\w-]+ )?[\w-]+)", text) for w in w.split()
    } - _COMMON
    score += sum(1.5 for word in called if len(word) > 3 and re.search(rf"\b{re.escape(word)}", head))
    score += sum(0.5 for word in called if len(word) > 3 and re.search(rf"\b{re.escape(word)}", told))
    case_remedies = {r for look in looks[case.first : case.last] for r in look.remedies}
    return score + 0.5 * sum(1 for r in case_remedies if r.split("/")[1].split("-")[0] in text)


_POINTS = frozenset(
    "the our my that this same these those your of about mr mrs miss ms madam mama dona don dr frau puan señora".split()
)
_AT_SOMETHING = frozenset(
    "in at after with without from by on for before since under into until till during like than as".split()
)
_LEADS_IN = frozenset(
    "so now and then okay ok right righto well yes yeah ya ah oh aha but see anyway good back again one more thing finally also sir lastly before forget first come "
    "coming go going return returning returned continue finish finishing complete end rest remember let us let's i we to".split()
)
_SOMEBODY_ELSE = frozenset("she he they it his her their there".split())
_NAMING_WORD = re.compile(r"[^\W\d_][^\W\d_'-]{3,}|\b(?:boy|nun|lad|kid)\b")
_NAMES_NOBODY = (
    _COMMON
    | _LEADS_IN
    | _POINTS
    | frozenset(
        "left side given each every some many much little small young good great half third fourth fifth sixth seventh eighth ninth tenth "
        "morning evening night hour hours minute minutes today yesterday tomorrow class book page everything nothing something anything somebody nobody "
        "people person name thing things place room number slowly really always never often about would could should might".split()
    )
)
_A_NUMBER = re.compile(NUMBER)
#: How many words of a sentence may pass before somebody is named for it to take up their story, how often the naming word
#: may have been said outside it, and what the words must come to.
_OPENING_WORDS, _SAID_ELSEWHERE, RECALLS_FROM = 7, 2, 1.4


def _alike(one: str, other: str) -> bool:
    """Whether two words may name the same person or thing: ``bakery`` and ``baker``, ``fiddler`` and ``fiddle``."""
    short, long = sorted((one.removesuffix("'s"), other.removesuffix("'s")), key=len)
    shared = next((k for k, (a, b) in enumerate(zip(short, long, strict=False)) if a != b), len(short))
    return shared >= max(4, len(short) - 1) and len(long) - shared <= 3 if len(short) > 3 else short == long


@lru_cache(maxsize=8192)
def _naming(low: str) -> frozenset[str]:
    return frozenset(word for word in _NAMING_WORD.findall(low) if not _A_NUMBER.fullmatch(word)) - _NAMES_NOBODY


@lru_cache(maxsize=8192)
def _beginnings(low: str) -> frozenset[str]:
    """What words that are alike have in common at the least."""
    return frozenset(word[:4] for word in _naming(low))


def _says(low: str, word: str) -> bool:
    return word[:4] in _beginnings(low) and any(_alike(word, other) for other in _naming(low))


def recalls(looks: Sequence[Look], cases: Sequence[CaseSpan], index: int, told_first: int) -> int | None:
    """The place in ``cases`` of the one that the sentence at ``index`` takes up, by the words its person was called by when
    it began (``my violin girl``, ``roofer, end``); None where it takes up none. ``told_first`` is where the story going on
    now began: words of that story, and words said often in the session, recall nobody."""
    spoken = looks[index].sentence.low.split()
    words = [word.strip(",.;:?!") for word in spoken]
    skip = next((k for k, word in enumerate(words) if word not in _LEADS_IN), len(words))
    if (skip < len(words) and words[skip] in _SOMEBODY_ELSE) or introduces(looks[index].sentence.low) >= ENTER:
        return None
    opening = words[: skip + _OPENING_WORDS]
    said = _naming(" ".join(opening))
    said = frozenset(
        word for word in said if not any(_says(look.sentence.low, word) for look in looks[told_first:index])
    )
    best: tuple[float, int] = (0.0, -1)
    for place, case in enumerate(cases):
        if case.first >= told_first or not said:
            continue
        head = looks[case.first : min(case.last, case.first + 3)]
        called = [word for word in said if any(_says(look.sentence.low, word) for look in head)]
        inside = {k for a, b in ((case.first, case.last), *case.follow_ups) for k in range(a, b)} if called else set()
        value = 0.0
        for word in called:
            at = next(k for k, token in enumerate(opening) if word in token)
            stopped = not spoken[at][-1].isalnum() or bool({"again", "still"} & set(words[at + 1 : at + 3]))
            before = opening[max(0, at - 2) : at]
            pointed = bool(_POINTS & set(before)) and not _AT_SOMETHING & set(opening[max(0, at - 3) : at])
            outside = (k for k in range(index) if k not in inside and _says(looks[k].sentence.low, word))
            elsewhere = len([*islice(outside, _SAID_ELSEWHERE + 1)])
            if elsewhere <= _SAID_ELSEWHERE:
                value += (2.0 if pointed or (at <= skip + 2 and stopped) else 0.7) - 0.4 * elsewhere
        best = max(best, (value, place))
    return best[1] if best[0] >= RECALLS_FROM else None


_DEFINITE = re.compile(r"\b(?:the|our|my|that|this|same|these|those) (?:[\w-]+ )?([a-z][\w-]{3,})\b")
_INDEFINITE = re.compile(
    rf"\b(?:an?|one|another|second|third|first|next|last|more|other|{NUMBER}) (?!(?:days?|weeks?|months?|years?)\b)"
)
_LATER = re.compile(
    rf"\b(?:{NUMBER}|a|few|half|next|that|same|first|second|third|fourth|fifth|last) (?:and (?:a )?half )?(?:days?|weeks?|months?|years?|hours?|morning|evening|night|visit)\b"
    r"|\b(?:after|later|then|again|finally|now|end|rest|back)\b"
)


def opening_features(looks: Sequence[Look], cases: Sequence[CaseSpan], first: int, last: int) -> dict[str, float]:
    """Features for whether a told stretch takes up one of the cases told before it, by how it opens: somebody named
    like one already known (``our tailor``) or somebody new (``a tailor, forty``)."""
    stop = min(last, first + (2 if looks[first].meaningful < 7 else 1))
    low = " ".join(look.sentence.low for look in looks[first:stop])
    head = " ".join(low.split()[:9])
    earlier = " ".join(
        look.sentence.low for case in cases for look in looks[case.first : min(case.last, case.first + 3)]
    )
    known = set(re.findall(r"[a-z][\w-]{3,}", earlier)) - _COMMON
    named = [match[1] for match in _DEFINITE.finditer(head)]
    shared = set(re.findall(r"[a-z][\w-]{3,}", low)) & known
    flags = {
        "definite known": any(word in known for word in named), "definite new": bool(named) and not any(word in known for word in named),
        "indefinite": bool(_INDEFINITE.search(head)), "returns": returns_to(looks[first]), "later": bool(_LATER.search(low)),
        "aged": bool(_AGED.search(low)), "pronoun": bool(re.search(r"\b(?:s?he|his|her|him|they)\b", head)), "short": looks[first].meaningful < 7,
        "past": looks[first].past > 0, "gives": bool(_GIVEN.search(low)), "person": bool(re.search(rf"\b{PERSON}\b", head)),
        "case": bool(re.search(r"\b(?:case|story|example)\b", head)), "right after": any(case.last == first for case in cases),
        "recalls": recalls(looks, cases, first, first) is not None,
    }  # fmt: skip
    found = {name: 1.0 for name, on in flags.items() if on}
    return found | {
        "intro": min(4.0, introduces(low)) / 3,
        "shared": min(3, len(shared)) / 3,
        "told": min(12, last - first) / 12,
    }
