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
    r"\b(?:not|no|never|none|neither|nor|without|absence of|absent|n't|cannot|isn't|doesn't|don't|won't|"
    r"wouldn't|can't|aren't|wasn't|hasn't|haven't|didn't|nothing|nobody|hardly|less|thirstless|painless|"
    r"lacks?|lacking|rather than|instead of)\b|n't\b"
)
_NO_DUMMY = r"(?! (?:is|are|was|were|may|can|will|has|have|comes?)\b|'s)"  # "there is" points at nothing
_TOPIC = re.compile(
    rf"\b(?:this (?:one|remedy|drug|patient|fellow)|our (?:remedy|patient|drug)|here{_NO_DUMMY}|the present (?:one|remedy))(?!\w)"
)
_OTHER = re.compile(
    rf"\b(?:the other (?:one|remedy|fellow)|that (?:one|remedy|drug)|(?:over )?there{_NO_DUMMY}|the latter)(?!\w)"
)
_FORMER = re.compile(r"\bthe former\b")
_BOTH = re.compile(r"\b(?:both|each of them|the two|all (?:three|these)|they both|either)\b")
_POINTER = re.compile(
    r"\b(?:unlike|compared? (?:it )?(?:with|to)|as (?:in|against)|like(?! to)|just like|similar to|"
    r"resembles?|different from|differs? from|differentiate (?:it )?(?:from|with)|distinguish(?:ed)? "
    r"(?:it )?from|than(?: in)?|close to|near to|not like|versus|confuse(?:d)? (?:it )?with|in contrast "
    r"to|opposite (?:of|to)|"
    r"opposed to|remind(?:s)? (?:you|us|me) of|think of|thought of|just as in|as we saw in|contrary to|"
    r"between|from)\s*$"
)
_CUT = re.compile(
    r"[;:—]\s*|\s-\s|,\s*(?=(?:whereas|while|but|and|the other|this one|here|on the other hand|not|in|"
    r"unlike|or|yet|though)\b)|\s(?=(?:whereas|while|but|on the other hand)\s)|\sand\s(?=(?:this one|the "
    r"other|here|in|our|that one)\b)"
)
_LEAD = re.compile(r"^(?:and|but|whereas|while|or|so|yet|though|then|,|-|—|on the other hand,?|now|see,?|here)$")

_FEATURES: tuple[tuple[str, re.Pattern[str]], ...] = tuple(
    (name, re.compile(rf"\b(?:{words})\b"))
    for name, words in (
        ("thirst", r"thirst\w*|drinks?|drinking|sips?|water|gulps?"),
        ("side", r"left|right|one-sided|left-sided|right-sided|either side|side to side"),
        ("motion and rest", (
            r"motion|move[sd]?|moving|movement|walk\w*|rest\b|rest(?:less\w*)?|still|lying still|exertion|"
            r"stretch\w*"
        )),
        ("position and pressure", r"lying|lies|lie down|sitting|bending|bent|doubl\w+|pressure|hard pressure|touch|rubbing|stooping"),
        ("consolation and company", r"consol\w+|comfort\w*|sympathy|company|alone|solitude|held|carried|carrying|caress\w*|fuss"),
        ("heat and cold", (
            r"heat|hot|warm\w*|cold|cool|chilly|open air|fan|ice|bath\w*|weather|draft|draught|uncover\w*|"
            r"covers?|sun|fire|thermal\w*"
        )),
        ("time", (
            r"morning|evening|night|nights|midnight|noon|afternoon|o'clock|am|pm|daytime|periodic\w*|"
            r"season\w*|winter|summer|full moon|new moon"
        )),
        ("food and drink", (
            r"food|eat\w*|craves?|craving\w*|desires?|aversion|salt|sweets?|milk|fat|fats|sour|meat|eggs?|"
            r"bread|appetite|hungry|hunger"
        )),
        ("mood and mind", (
            r"mind|mood|weep\w*|cry\w*|cries|tear\w*|anger|angry|irritab\w*|mild|gentle|anxi\w+|fear\w*|"
            r"sad\w*|grief|indifferen\w+|jealous\w*|suspicious|talkative|silent|timid|despair|impatien\w+|"
        )
         + "|".join(sorted(word for word in MIND_WORDS if len(word) > 5 and word.isalpha()))),
        ("discharges", (
            r"discharge\w*|leucorrhoea|mucus|expectoration|pus|bland|acrid|thick|thin|excoriat\w+|coryza|"
            r"offensive|stringy|ropy"
        )),
        ("stool", r"stools?|motions?|constipat\w+|diarrhoea|diarrhea|urging"),
        ("tongue and mouth", r"tongue|mouth|saliva\w*|taste|gums?|breath"),
        ("sleep", r"sleep\w*|dreams?|wakes?|waking|insomnia"),
        ("perspiration", r"sweat\w*|perspir\w*"),
        ("menses", r"menses|menstru\w+|periods?"),
        ("skin", r"skin|eruption\w*|itch\w*|warts?|ulcers?|eczema"),
        ("onset and pace", r"sudden\w*|slow\w*|gradual\w*|rapid\w*|onset|violent\w*|quick\w*"),
        ("pain", (
            r"pains?|painful|ache\w*|burn\w*|sting\w*|stitch\w*|throb\w*|cramp\w*|neuralgi\w*|sore\w*|colic|"
            r"shooting|tearing"
        )),
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
    if relates(sentence.low) and not look.comparison:
        # "Natrum mur is complementary to it": a relation is taught of the remedy in focus, whichever comes first.
        return (Clause(sentence.start, sentence.end, focus or (named[0] if named else None), negated(sentence.low)),)
    if (
        len(named) < 2
        and not (partner and (_TOPIC.search(sentence.low) or _OTHER.search(sentence.low) or named))
        and not (named and _HERE.search(sentence.low))
    ):
        return (_whole(session, look, remedies, focus, partner),)
    bounds = sorted({sentence.start, *_cuts(session, sentence.start, sentence.end, remedies)})
    clauses: list[Clause] = []
    subject = focus
    for start, end in zip(bounds, [*bounds[1:], sentence.end], strict=True):
        clause = _clause(session, start, end, remedies, named, focus, partner, subject)
        if (
            clauses
            and not clause.sides
            and (clause.remedy_id is None or (not clause.explicit and clause.remedy_id == clauses[-1].remedy_id))
        ):
            # "and not for the pain", "and better from heat" go on with the same subject
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
    if len({c.remedy_id for c in clauses}) == 1 and not any(c.sides for c in clauses):
        first = clauses[0]
        return (
            Clause(first.start, sentence.end, first.remedy_id, any(c.negated for c in clauses), (), first.explicit),
        )
    return tuple(clauses)


_HERE = re.compile(r"\b(?:here|this one|this remedy|in this|our remedy)\b")
_RELATES = re.compile(
    r"\b(?:complement(?:ary|s|ed|aries)?|inimical|antidot\w*|incompatible|compatible|follow(?:s|ed)? "
    r"(?:\w+ )?(?:well|by)|follows \w+|(?:acute|chronic) (?:of|counterpart|complement)|enem(?:y|ies)|"
    r"never (?:give|be given)? ?(?:\w+ )?(?:before|after)|goes well (?:after|with)|comes after it)\b"
)
_LEADS_IN = re.compile(
    r"^(?:and|but|whereas|while|or|so|yet|though|in|of|with|for|the|a|an|this|that|now|then|see|also|"
    r"even|as|our|another|other|first|only|here|there|on|hand|because|when|where|if|with|well|again|okay|"
    r"right|next|your|you|will|find|see|say|like|only|typical|"
    r"usually|always|mostly|both|rather|child|children|patients|patient|,|-|—)$"
)


def relates(low: str) -> bool:
    """Whether a sentence states a relation between remedies."""
    return bool(_RELATES.search(low))


def _cuts(session: Session, start: int, end: int, remedies: Sequence[Hit]) -> list[int]:
    """Where a clause may begin: at stops and contrasting words, and where another remedy takes over as subject."""
    text = session.low(start, end)
    cuts = []
    for match in _CUT.finditer(text):
        if match.end() < len(text) and text[match.end() - 1] != " " and text[match.end()] != " ":
            continue
        cuts.append(start + text.count(" ", 0, match.end()))
    inside = sorted((h for h in remedies if start <= h.start < end), key=lambda h: h.start)
    for before, hit in zip(inside, inside[1:], strict=False):
        if hit.concept_id == before.concept_id or not (
            _takes_over(session, hit, end) or _in_turn(session, before, hit, end)
        ):
            continue
        at = hit.start
        while (
            at - 1 > before.end
            and _LEADS_IN.match(session.units[at - 1].low)
            and not session.units[at - 1].text.endswith((",", ";", ":"))
        ):
            at -= 1
        if at - before.end >= 1 and not _is_pointer(session, before.end, hit.start):
            cuts.append(at)
    return [at for at in cuts if start < at < end]


def _in_turn(session: Session, before: Hit, hit: Hit, end: int) -> bool:
    """``Natrum asks for salt, Sepia for vinegar``: after a comma another remedy with a saying of its own, no verb needed."""
    units = session.units
    at = hit.start
    while (
        at > before.end
        and units[at - 1].low in {"and", "but", "while", "whereas", "or", "with", "in", "then"}
        and not units[at - 1].text.endswith(",")
    ):
        at -= 1
    if (
        at - before.end < 2
        or not units[at - 1].text.endswith((",", ";"))
        or units[hit.end - 1].text.endswith((",", ".", ";"))
    ):
        return False
    stop = next((u + 1 for u in range(hit.end, end) if units[u].text.endswith((",", ";", "."))), end)
    return stop - hit.end >= 2 and units[hit.end].low not in {"and", "or"}


def _takes_over(session: Session, hit: Hit, end: int) -> bool:
    """Whether a verb, or what stands for one, follows a remedy's name: it is the subject of a clause of its own."""
    if session.units[hit.end - 1].low.endswith("'s") and hit.end < end:
        return True
    for unit in range(hit.end, min(end, hit.end + 4)):
        token = session.parse.head_token(unit)
        if token.tag_ in ("VBZ", "VBP", "VBD", "MD") or token.lower_ in {"has", "is", "wants", "will", "likes", "does"}:
            return True
        if session.units[unit - 1].text.endswith((",", ";")) and unit > hit.end:
            # "in Calc phos, the belly is sunken"
            before = session.units[hit.start - 1].low if hit.start else ""
            return before in {"in", "with", "for"}
        if token.tag_ not in ("NN", "NNS", "RB", "JJ", "NNP", "DT", "POS"):
            return False
    before = session.units[hit.start - 1].low if hit.start else ""
    return before in {"in", "with"} and hit.end < end


def _is_pointer(session: Session, start: int, end: int) -> bool:
    low = session.low(max(start, end - 4), end)
    return bool(
        re.search(r"\b(?:unlike|than|like|as in|from|with|to|versus|or|of)(?: in)?(?: the)?$", low)
    ) and not re.search(r"(?:with|of)$", low)


def negated(low: str) -> bool:
    return bool(NEGATION.search(low))


def _whole(session: Session, look: Look, remedies: Sequence[Hit], focus: str | None, partner: str | None) -> Clause:
    sentence = look.sentence
    remedy = focus
    explicit = False
    owners = [hit for hit in remedies if owns(session, sentence.start, hit)]
    if owners:
        remedy, explicit = owners[0].concept_id, True
    elif remedies and focus is None and not _pointed(session, sentence.start, remedies[0]):
        remedy = remedies[0].concept_id
    elif partner and _OTHER.search(sentence.low):
        remedy = partner
    sides = (focus, partner) if partner and focus and _BOTH.search(sentence.low) and not remedies else ()
    return Clause(sentence.start, sentence.end, remedy, negated(sentence.low), tuple(s for s in sides if s), explicit)


def owns(session: Session, start: int, hit: Hit) -> bool:
    """Whether a remedy named in a clause is what the clause is about: it comes first, or after ``in``, ``with``."""
    if _pointed(session, start, hit):
        return False
    before = [unit.low for unit in session.units[start : hit.start] if unit.low]
    if len(before) <= 6 and all(_LEADS_IN.match(word) for word in before):
        return True
    if (
        before
        and before[-1] in {"in", "with"}
        and not any(
            session.parse.head_token(u).tag_ in ("PRP",) and session.units[u].low in {"it", "she", "he", "this", "they"}
            for u in range(start, hit.start)
        )
    ):
        return True
    # "Tongue of Rhus tox has a red tip", "the fat, fair child is Calc carb"
    last = session.units[hit.start - 2].low if hit.start - 2 >= start else ""
    return (
        bool(before)
        and (
            (before[-1] == "of" and len(before) <= 4)
            or before[-1] in {"is", "are"}
            or (before[-1] in {"a", "the", "called"} and last in {"is", "are"})
        )
        and before[0] not in {"it", "she", "he", "this"}
    )


def _clause(
    session: Session, start: int, end: int, remedies: Sequence[Hit], named: tuple[str, ...],
    focus: str | None, partner: str | None, subject: str | None,
) -> Clause:  # fmt: skip
    low = session.low(start, end)
    inside = [hit for hit in remedies if start <= hit.start < end]
    own = [hit for hit in inside if owns(session, start, hit)]
    if (
        not own
        and inside
        and not any(_pointed(session, start, hit) for hit in inside)
        and not re.match(r"^(?:and |but |so )?(?:it|she|he|they|this one|this remedy)\b", low)
    ):
        own = inside[:1]
    denies = negated(low)
    listed = {hit.concept_id for hit in own}
    if (
        len(listed) >= 2
        and re.search(r"\b(?:both|and|or|,)\b", session.low(own[0].end - 1, own[-1].start))
        and own[-1].start - own[0].end <= 3
    ):
        return Clause(start, end, own[0].concept_id, denies, tuple(dict.fromkeys(h.concept_id for h in own)), True)
    if own:
        return Clause(start, end, own[0].concept_id, denies, (), True)
    if _TOPIC.search(low):
        target = focus
        if subject == focus and partner and not inside and named and focus in named:
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
    """Whether a remedy is only named beside (``unlike Pulsatilla``); ``unlike Sepia, who is chilly`` states a fact."""
    after = session.units[hit.end].low if hit.end < len(session.units) else ""
    if after in {"who", "which", "where", "who's", "that's"}:
        return False
    before = session.low(max(start, hit.start - 5), hit.start)
    return (bool(_POINTER.search(before + " ")) and not re.search(r"\b(?:like|from) *$", before + " ")) or bool(
        re.search(
            (
                r"\b(?:unlike|just like|not like|different from|differs? from|distinguish\w* "
                r"(?:it )?from|looks like|is like|as in|than in|than|not (?:\w+ )?like|\w+ly like)\s*$"
            ),
            before + " ",
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


#: Mean probability of a clause to be of a teaching point, as the language model reads it: from which it tells a fact, and
#: below which it only announces some.
TAUGHT_FROM, ANNOUNCED_BELOW = 0.5, 0.15


@dataclass(frozen=True, slots=True)
class SidedFact:
    sentence: int
    clause: Clause
    remedy_id: str


def _answered_by_name(looks: Sequence[Look], index: int) -> SidedFact | None:
    """``Who throws the collar off because it touches? Lachesis.``: the question tells a fact of the remedy that answers it."""
    if not looks[index].question or index + 1 == len(looks):
        return None
    asked, answer = looks[index].sentence, looks[index + 1]
    if len(answer.remedies) != 1 or len(answer.sentence) > 4 or looks[index].remedies:
        return None
    remedy = answer.remedies[0]
    return SidedFact(index, Clause(asked.start, answer.sentence.end, remedy, False, (), True), remedy)


def find_comparisons(
    session: Session, looks: Sequence[Look], clauses: Sequence[tuple[Clause, ...]], focus: Sequence[str | None],
    skip: frozenset[int], told: frozenset[int] = frozenset(),
) -> tuple[tuple[Comparison, ...], frozenset[int]]:  # fmt: skip
    """Comparisons of two remedies, and the sentences they rest on.

    A comparison is a run of sentences close together in which facts fall on both sides, and which either says so
    (``whereas``, ``unlike``, ``differentiate``) or sets two remedies in one sentence, or is among the sentences ``told`` to
    compare: there what the language model reads as a teaching point is a fact, too.
    """
    facts: list[SidedFact] = []
    taught = session.opinions.inside("point")
    for look, own in zip(looks, clauses, strict=True):
        index = look.sentence.index
        if index in told and index not in skip and (answered := _answered_by_name(looks, index)) is not None:
            facts.append(answered)
            continue
        if index in skip or look.question or look.promise or look.recap or (look.meta and not look.content):
            continue
        for clause in own:
            if clause.end - clause.start < (2 if index in told else 3) or _only_names(session, clause):
                continue  # "Phosphorus and." compares nothing
            read = taught[clause.start : clause.end].mean() if index in told else None
            says_something = (
                has_content(session, clause.start, clause.end)
                or (clause.explicit and clause.end - clause.start >= 3)
                or (read is not None and read >= TAUGHT_FROM)
            ) and (read is None or read >= ANNOUNCED_BELOW)
            if not says_something:
                continue
            for remedy in clause.sides or ((clause.remedy_id,) if clause.remedy_id else ()):
                facts.append(SidedFact(index, clause, remedy))
    runs = _runs(looks, facts, told)
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
                if f.remedy_id == other
                or (f.remedy_id == main and (f.sentence in told or any(abs(f.sentence - n) <= 2 for n in near)))
            ]  # fmt: skip
            if not any(f.remedy_id == main for f in chosen):
                continue
            comparisons.append(_comparison(session, main, other, chosen))
            used.update(f.sentence for f in chosen)
    return tuple(sorted(comparisons, key=lambda c: (c.words.start, c.right_id))), frozenset(used)


_SMALL = frozenset(
    "and or but so the a an of in on to with then also too both here there this that one it is are both versus".split()
)


def _only_names(session: Session, clause: Clause) -> bool:
    """Whether a clause says no more than a remedy's name and small words."""
    said = [unit for unit in session.units[clause.start : clause.end] if unit.low and unit.low not in _SMALL]
    return sum(not unit.bare[:1].isupper() and unit.concept_id is None for unit in said) < 1


def _runs(looks: Sequence[Look], facts: Sequence[SidedFact], told: frozenset[int]) -> list[tuple[int, int]]:
    """Runs of sentences that set remedies side by side: two in one sentence, or one after the other in turn."""
    by_sentence: dict[int, set[str]] = {}
    explicit: dict[int, set[str]] = {}
    for fact in facts:
        by_sentence.setdefault(fact.sentence, set()).add(fact.remedy_id)
        if fact.clause.explicit:
            explicit.setdefault(fact.sentence, set()).add(fact.remedy_id)
    marks: set[int] = {*told}
    for index, look in enumerate(looks):
        if relates(look.sentence.low) and not look.comparison:
            continue
        if len(by_sentence.get(index, ())) >= 2:
            marks.add(index)
        elif index in explicit:
            # "Sulphur is cheerful in the dirt. Psorinum despairs in it.": a turn from one subject to another
            for near in (index + 1, index + 2):
                if near in explicit and explicit[near] - explicit[index] and not relates(looks[near].sentence.low):
                    if _turns(explicit, index) >= 2 or any(
                        looks[i].comparison for i in range(max(0, index - 2), near + 1)
                    ):
                        marks.update(range(index, near + 1))
        if look.comparison and look.remedies:
            around = set().union(*(by_sentence.get(i, set()) for i in range(max(0, index - 1), index + 4)))
            if len(around) >= 2:
                marks.add(index)
    runs: list[tuple[int, int]] = []
    for index in sorted(marks):
        last = index + 1
        # A fact just after ("Bryonia is the opposite. Worse on any motion.") belongs as well.
        while last < len(looks) and last - index <= 3 and last in explicit:
            last += 1
        if runs and index <= runs[-1][1] + 1:
            runs[-1] = (runs[-1][0], max(runs[-1][1], last))
        else:
            runs.append((index, last))
    return runs


def _turns(explicit: dict[int, set[str]], index: int) -> int:
    """How often the subject changes from one remedy to another in the sentences around."""
    around = [explicit[i] for i in range(index - 3, index + 6) if i in explicit]
    return sum(1 for before, after in zip(around, around[1:], strict=False) if after - before)


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
