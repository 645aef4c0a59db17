"""Which remedy a clause speaks of, and comparisons of two remedies feature by feature.

A sentence that names two remedies, or says ``this one`` against another, is cut into clauses; each clause goes to
its own remedy, with its own ``not``. ``Unlike X`` and ``as in X`` name a remedy without stating a fact of it.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from notesmith.annotations import ComparedFact, Comparison
from notesmith.extract.keys import key_of
from notesmith.extract.lexicon import BODY_CHAPTERS, MIND_WORDS, MODALITY_WORDS, SENSATIONS
from notesmith.extract.mentions import Hit
from notesmith.extract.sentences import Look
from notesmith.extract.session import Session
from notesmith.extract.tidy import tidy

NEGATION = re.compile(
    r"\b(?:not|no|never|none|neither|nor|without|absence of|absent|n't|cannot|isn't|doesn't|don't|won't|wouldn't|can't|aren't|wasn't|hasn't|haven't|didn't|nothing|nobody|hardly|less|thirstless|painless|lacks?|lacking|rather than|instead of)\b|n't\b"
)
_TOPIC = re.compile(
    r"\b(?:this (?:one|remedy|drug|patient|fellow)|our (?:remedy|patient|drug)|here|the present (?:one|remedy))\b"
)
_OTHER = re.compile(r"\b(?:the other (?:one|remedy|fellow)|that (?:one|remedy|drug)|there|the latter)\b")
_FORMER = re.compile(r"\bthe former\b")
_BOTH = re.compile(r"\b(?:both|each of them|the two|all (?:three|these)|they both|either)\b")
_POINTER = re.compile(
    r"\b(?:unlike|compared? (?:it )?(?:with|to)|as (?:in|against)|like(?! to)|just like|similar to|resembles?|different from|differs? from|differentiate (?:it )?(?:from|with)|distinguish(?:ed)? (?:it )?from|than(?: in)?|close to|near to|not like|versus|confuse(?:d)? (?:it )?with|in contrast to|opposite (?:of|to)|"
    r"opposed to|remind(?:s)? (?:you|us|me) of|think of|thought of|just as in|as we saw in|contrary to|between|from)\s*$"
)
_CUT = re.compile(
    r"[;:—]\s*|\s-\s|,\s*(?=(?:whereas|while|but|and|the other|this one|here|on the other hand|not|in|unlike|or|yet|though)\b)|\s(?=(?:whereas|while|but|on the other hand)\s)|\sand\s(?=(?:this one|the other|here|in|our|that one)\b)"
)
_LEAD = re.compile(r"^(?:and|but|whereas|while|or|so|yet|though|then|,|-|—|on the other hand,?|now|see,?|here)$")

_FEATURES: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (name, re.compile(rf"\b(?:{words})\b"))
    for name, words in (
        ("thirst", r"thirst\w*|drinks?|drinking|sips?|water|gulps?"),
        ("side", r"left|right|one-sided|left-sided|right-sided|either side|side to side"),
        ("motion and rest", r"motion|move[sd]?|moving|movement|walk\w*|rest\b|rest(?:less\w*)?|still|lying still|exertion|stretch\w*"),
        ("position and pressure", r"lying|lies|lie down|sitting|bending|bent|doubl\w+|pressure|hard pressure|touch|rubbing|stooping"),
        ("consolation and company", r"consol\w+|comfort\w*|sympathy|company|alone|solitude|held|carried|carrying|caress\w*|fuss"),
        ("heat and cold", r"heat|hot|warm\w*|cold|cool|chilly|open air|fan|ice|bath\w*|weather|draft|draught|uncover\w*|covers?|sun|fire|thermal\w*"),
        ("time", r"morning|evening|night|nights|midnight|noon|afternoon|o'clock|am|pm|daytime|periodic\w*|season\w*|winter|summer|full moon|new moon"),
        ("food and drink", r"food|eat\w*|craves?|craving\w*|desires?|aversion|salt|sweets?|milk|fat|fats|sour|meat|eggs?|bread|appetite|hungry|hunger"),
        ("mood and mind", r"mind|mood|weep\w*|cry\w*|cries|tear\w*|anger|angry|irritab\w*|mild|gentle|anxi\w+|fear\w*|sad\w*|grief|indifferen\w+|jealous\w*|suspicious|talkative|silent|timid|despair|impatien\w+|"
         + "|".join(sorted(word for word in MIND_WORDS if len(word) > 5 and word.isalpha()))),
        ("discharges", r"discharge\w*|leucorrhoea|mucus|expectoration|pus|bland|acrid|thick|thin|excoriat\w+|coryza|offensive|stringy|ropy"),
        ("stool", r"stools?|motions?|constipat\w+|diarrhoea|diarrhea|urging"),
        ("tongue and mouth", r"tongue|mouth|saliva\w*|taste|gums?|breath"),
        ("sleep", r"sleep\w*|dreams?|wakes?|waking|insomnia"),
        ("perspiration", r"sweat\w*|perspir\w*"),
        ("menses", r"menses|menstru\w+|periods?"),
        ("skin", r"skin|eruption\w*|itch\w*|warts?|ulcers?|eczema"),
        ("onset and pace", r"sudden\w*|slow\w*|gradual\w*|rapid\w*|onset|violent\w*|quick\w*"),
        ("pain", r"pains?|painful|ache\w*|burn\w*|sting\w*|stitch\w*|throb\w*|cramp\w*|neuralgi\w*|sore\w*|colic|shooting|tearing"),
        ("cough and breathing", r"cough\w*|breath\w*|asthma|chest|suffocat\w+|croup"),
        ("constitution", r"fat|lean|thin|flabby|fair|dark|stout|constitution\w*|build|complexion|tall|obese"),
        ("cause", r"after|from|ailments|cause\w*|suppress\w+|injur\w+"),
    )
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Clause:
    """A clause over units and the remedy it is about; ``sides`` holds two where it speaks of both."""

    start: int
    end: int
    remedy_id: str | None
    negated: bool
    sides: tuple[str, ...] = ()
    explicit: bool = False


def clauses_of(
    session: Session, look: Look, hits: Sequence[Hit], focus: str | None, partner: str | None
) -> tuple[Clause, ...]:
    """Cut one sentence into clauses by remedy.

    ``focus`` is the session's remedy here, ``partner`` the remedy it is being compared with, if any.
    """
    sentence = look.sentence
    remedies = [hit for hit in hits if hit.concept_id.startswith("remedy/")]
    named = tuple(dict.fromkeys(hit.concept_id for hit in remedies))
    if len(named) < 2 and not (partner and (_TOPIC.search(sentence.low) or _OTHER.search(sentence.low) or named)):
        return (_whole(session, look, remedies, focus, partner),)
    bounds = [sentence.start]
    text = sentence.low
    for match in _CUT.finditer(text):
        at = sentence.start + text.count(" ", 0, match.end())
        if match.end() < len(text) and text[match.end() - 1] != " " and text[match.end()] != " ":
            continue
        if bounds[-1] < at < sentence.end:
            bounds.append(at)
    pieces = list(zip(bounds, [*bounds[1:], sentence.end], strict=True))
    clauses: list[Clause] = []
    subject = focus
    for start, end in pieces:
        clause = _clause(session, start, end, remedies, named, focus, partner, subject)
        if clause.remedy_id is None and clauses:
            before = clauses[-1]
            clauses[-1] = Clause(
                before.start,
                clause.end,
                before.remedy_id,
                before.negated or clause.negated,
                before.sides,
                before.explicit,
            )
            continue
        # "and not for the pain", "and better from heat" go on with the same subject
        if clauses and not clause.explicit and clause.remedy_id == clauses[-1].remedy_id and not clause.sides:
            before = clauses[-1]
            clauses[-1] = Clause(
                before.start,
                clause.end,
                before.remedy_id,
                before.negated or clause.negated,
                before.sides,
                before.explicit,
            )
            continue
        clauses.append(clause)
        subject = clause.remedy_id or subject
    return tuple(clauses)


def negated(low: str) -> bool:
    return bool(NEGATION.search(low))


def _whole(session: Session, look: Look, remedies: Sequence[Hit], focus: str | None, partner: str | None) -> Clause:
    sentence = look.sentence
    remedy = focus
    explicit = False
    if remedies:
        hit = remedies[0]
        if not _pointed(session, sentence.start, hit):
            remedy, explicit = hit.concept_id, True
    elif partner and _OTHER.search(sentence.low):
        remedy = partner
    sides = (focus, partner) if partner and focus and _BOTH.search(sentence.low) and not remedies else ()
    return Clause(sentence.start, sentence.end, remedy, negated(sentence.low), tuple(s for s in sides if s), explicit)


def _clause(
    session: Session, start: int, end: int, remedies: Sequence[Hit], named: tuple[str, ...],
    focus: str | None, partner: str | None, subject: str | None,
) -> Clause:  # fmt: skip
    low = session.low(start, end)
    inside = [hit for hit in remedies if start <= hit.start < end]
    own = [hit for hit in inside if not _pointed(session, start, hit)]
    denies = negated(low)
    if len({hit.concept_id for hit in own}) >= 2:
        return Clause(start, end, own[0].concept_id, denies, tuple(dict.fromkeys(h.concept_id for h in own)), True)
    if own:
        return Clause(start, end, own[0].concept_id, denies, (), True)
    if _TOPIC.search(low):
        target = focus
        if inside and inside[0].concept_id == focus:
            target = subject
        elif subject is not None and subject != focus and focus is not None:
            target = focus
        elif subject == focus and partner and not inside and named and focus in named:
            target = next((n for n in named if n != focus), focus)
        return Clause(start, end, target, denies, (), True)
    if _OTHER.search(low):
        others = [n for n in named if n != subject]
        return Clause(start, end, partner or (others[0] if others else None), denies, (), True)
    if _BOTH.search(low):
        sides = named if len(named) >= 2 else tuple(x for x in (focus, partner) if x)
        return Clause(start, end, sides[0] if sides else None, denies, sides, True)
    if inside:  # only pointed at: the fact belongs to the subject
        pointed = {hit.concept_id for hit in inside}
        target = subject if subject not in pointed else (focus if focus not in pointed else partner)
        return Clause(start, end, target, denies)
    return Clause(start, end, subject, denies)


def _pointed(session: Session, start: int, hit: Hit) -> bool:
    """Whether a remedy is only named beside (``unlike Pulsatilla``)."""
    before = session.low(max(start, hit.start - 5), hit.start)
    return (
        (bool(_POINTER.search(before + " "))
        and not re.search(r"\b(?:like|from) *$", before + " "))
        or bool(
            re.search(
                r"\b(?:unlike|just like|not like|different from|differs? from|distinguish\w* (?:it )?from|looks like|is like|as in|than in|than)\s*$",
                before + " ",
            )
        )
    )


def has_content(session: Session, start: int, end: int) -> bool:
    words = [unit.low.removesuffix("'s") for unit in session.units[start:end]]
    return any(w in BODY_CHAPTERS or w in SENSATIONS or w in MIND_WORDS or w in MODALITY_WORDS for w in words)


def feature_of(low: str) -> str:
    """The row of a comparison a fact stands in."""
    best, place = "general", len(low) + 1
    for name, pattern in _FEATURES:
        match = pattern.search(low)
        if match and match.start() < place and name not in ("cause",):
            best, place = name, match.start()
    if best == "general" and _FEATURES[-1][1].search(low):
        best = "cause"
    return best


def partners(
    session: Session, looks: Sequence[Look], focus: Sequence[str | None], hits_of: dict[int, list[Hit]]
) -> tuple[str | None, ...]:
    """For each sentence the remedy being compared with the focus: named lately, with a comparison going on."""
    result: list[str | None] = []
    current: str | None = None
    age = 0
    for index, look in enumerate(looks):
        here = [r for r in look.remedies if r != focus[index]]
        if here and (look.comparison or len(look.remedies) >= 2 or current in here):
            current, age = here[-1] if current not in here else current, 0
        elif here:
            current, age = here[0], 0
        else:
            age += 1
            if age > 4 or (look.meta and not look.comparison):
                current = None
        result.append(current if current != focus[index] else None)
    del session, hits_of
    return tuple(result)


@dataclass(frozen=True, slots=True)
class SidedFact:
    sentence: int
    clause: Clause
    remedy_id: str


def find_comparisons(
    session: Session, looks: Sequence[Look], clauses: Sequence[tuple[Clause, ...]], focus: Sequence[str | None],
    skip: frozenset[int],
) -> tuple[tuple[Comparison, ...], frozenset[int]]:  # fmt: skip
    """Comparisons of two remedies, and the sentences they rest on.

    A comparison is a run of sentences close together in which facts fall on both sides, and which either says so
    (``whereas``, ``unlike``, ``differentiate``) or sets two remedies in one sentence.
    """
    facts: list[SidedFact] = []
    for look, own in zip(looks, clauses, strict=True):
        if look.sentence.index in skip or look.question or look.promise or (look.meta and not look.content):
            continue
        for clause in own:
            if not has_content(session, clause.start, clause.end):
                continue
            for remedy in clause.sides or ((clause.remedy_id,) if clause.remedy_id else ()):
                facts.append(SidedFact(look.sentence.index, clause, remedy))
    runs = _runs(looks, facts)
    comparisons: list[Comparison] = []
    used: set[int] = set()
    for first, last in runs:
        inside = [f for f in facts if first <= f.sentence < last]
        present = list(dict.fromkeys(f.remedy_id for f in inside))
        main = focus[first] if focus[first] in present else (present[0] if present else None)
        for other in present:
            if main is None or other == main:
                continue
            # Facts of the main remedy count for a pair where the other is spoken of close by.
            near = {f.sentence for f in inside if f.remedy_id == other}
            chosen = [
                f for f in inside
                if f.remedy_id == other or (f.remedy_id == main and any(abs(f.sentence - n) <= 2 for n in near))
            ]  # fmt: skip
            if not any(f.remedy_id == main for f in chosen):
                continue
            comparisons.append(_comparison(session, main, other, chosen))
            used.update(f.sentence for f in chosen)
    return tuple(sorted(comparisons, key=lambda c: (c.words.start, c.right_id))), frozenset(used)


def _runs(looks: Sequence[Look], facts: Sequence[SidedFact]) -> list[tuple[int, int]]:
    by_sentence: dict[int, set[str]] = {}
    for fact in facts:
        by_sentence.setdefault(fact.sentence, set()).add(fact.remedy_id)
    marks = [
        index for index, look in enumerate(looks)
        if len(by_sentence.get(index, ())) >= 2
        or (look.comparison and len(look.remedies) >= 1 and len(set().union(*(by_sentence.get(i, set()) for i in range(max(0, index - 1), index + 4)))) >= 2)
    ]  # fmt: skip
    runs: list[tuple[int, int]] = []
    for index in marks:
        first, last = index, index + 1
        # A fact of one side just before or after ("Bryonia is the opposite. Worse on any motion.") belongs as well.
        while (
            last < len(looks)
            and last - index <= 3
            and last in by_sentence
            and (looks[last].comparison or looks[last].remedies)
        ):
            last += 1
        if runs and first <= runs[-1][1] + 2:
            runs[-1] = (runs[-1][0], max(runs[-1][1], last))
        else:
            runs.append((first, last))
    return runs


def _comparison(session: Session, left: str, right: str, chosen: Sequence[SidedFact]) -> Comparison:
    compared: list[ComparedFact] = []
    for fact in chosen:
        start, end = _trimmed(session, fact.clause.start, fact.clause.end)
        low = session.low(start, end)
        text = tidy(tuple(unit.text for unit in session.units[start:end])).text
        compared.append(
            ComparedFact(
                fact.remedy_id, feature_of(low), text, session.words(start, end), session.time(start, end), negated(low)
            )
        )
    words = [f.words for f in compared]
    start = session.unit_of_word[min(w.start for w in words)]
    end = session.units_of(max(words, key=lambda w: w.end))[1]
    return Comparison(
        key_of("comparison", left, right, session.low(start, min(end, start + 12))), left, right,
        tuple(compared), session.words(start, end), session.time(start, end),
    )  # fmt: skip


def _trimmed(session: Session, start: int, end: int) -> tuple[int, int]:
    while end - start > 2 and _LEAD.match(session.units[start].low):
        start += 1
    return start, end
