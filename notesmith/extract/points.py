"""Teaching points: one idea each, tidied, typed, given to the right remedy, weighted by emphasis."""

from __future__ import annotations

import re
from collections.abc import Sequence

from notesmith.annotations import PointKind, TeachingPoint, TextbookReading
from notesmith.extract import learned
from notesmith.extract.contrast import Clause, negated, relates
from notesmith.extract.keys import key_of, unique_keys
from notesmith.extract.kinds import chapters_in, kind_of
from notesmith.extract.lexicon import stem
from notesmith.extract.mentions import Hit
from notesmith.extract.names import name_lists
from notesmith.extract.parts import Stretch
from notesmith.extract.sentences import EMPHASIS, Look, generic_subject
from notesmith.extract.session import Session
from notesmith.extract.tidy import tidy

MAX_WEIGHT = 4.0
_TELLS_APART = re.compile(
    r"\b(?:differ\w*|distinguish\w*|tell (?:it|one|them|this) (?:from|apart)|compare\w*|instead of|rather than|and not|why not|confus\w+)\b"
)
_ONLY_EMPHASIS = re.compile(
    r"^(?:(?:so|now|and|please|okay|just|you|must|very|this|that|is|it|a|the|all|of|in|your|red|ink|note|"
    r"down|write|here|again|for|exam|three|times|twice|box|i|say|am|telling|repeat|am repeating),? ?)*"
    r"(?:remember|important|underline|mark|keynote|forget|don't forget|characteristic|star|write|note|"
    r"repeat|guiding|highlight|bold|golden|attention)\b[^.]{0,40}[.!]?$"
)
_EMPTY = re.compile(
    r"^(?:(?:yes|no|okay|ok|right|correct|exactly|good|very good|see|so|now|and|well|then|fine|clear|"
    r"understood|is it|that's it|like this|like that|you know|of course|absolutely|all right|alright|"
    r"anyway|next|thank you|hmm|um|uh)[,. !?]*)+$"
)
_CLASS_TALK = re.compile(
    r"\b(?:you (?:all |people |guys )?(?:know|have (?:read|seen|heard|studied|done|written)|are "
    r"(?:getting|following|writing|with me)|can write|may write|write|understand|understood|follow|got "
    r"it|see (?:it|this|the point)|asked|were asking|want|wrote)|are you|did you|i (?:will|shall|am "
    r"going to|want to|was|am telling|told|said|think i|don't know|cannot|have (?:told|said)|would)|"
    r"let (?:me|us)|let's|we (?:will|shall|are going|have (?:to|done|seen|finished)|saw|did|had|go|come|"
    r"move|start|stop|begin|take up|were)|page|notebook|slide|board|class|lecture|syllabus|exam(?:iner)?|"
    r"viva)\b"
)
_LOOKS_BACK = re.compile(
    r"\b(?:we|i)(?:'d|'ve)? (?:had |have )?(?:only |just |already )?(?:completed|finished|started|talked|"
    r"did|done|discussed|covered|spoke|stopped|left|began|begun|took|taken)\b"
)
_ANNOUNCES = re.compile(
    r"\b(?:today|this (?:week|time|evening|morning|month)|now|tonight|next) (?:we|i|let us)(?:'ll| will| shall| are going to)? (?:study|take|do|begin|start|see|go|come|learn|discuss|teach)\b|\bwe have not (?:yet )?(?:done|taken|finished)\b"
)
_ASIDES = re.compile(
    r"\b(?:(?:neat|nice|good|easy|useful) way of|i had (?:an?|one) (?:\w+ )?(?:uncle|aunt|friend|teacher|"
    r"colleague|cousin|neighbour)|my (?:uncle|aunt|friend|grandmother|grandfather|wife|husband)|god rest|"
    r"you (?:must )?have seen such|you(?:'ll| will) laugh|"
    r"(?:people|students|they|you people|you) (?:always )?(?:mix|get confused)|it sounds|we will manage|"
    r"i (?:think|believe) he was right|that is a (?:famous|classical) (?:one|thing)|let us not go|you "
    r"(?:will|'ll) hear)\b"
)
#: Remarks on what was said, headings, questions without their mark and the lecturer on himself: nothing to revise.
_REMARK = re.compile(
    r"^(?:(?:and|but|so|now|yes|no|see|well|oh|in \w+),? )*(?:"
    r"(?:this|that|it|there)(?:'s| is| was) (?:all )?(?:a |an |the |one |my |only )?(?:very |really |quite |rather |most |so |such a )*(?:nice|beautiful|classical|"
    r"classic|famous|lovely|important|good|fine|great|strange|interesting|wonderful|funny|old|long|short|big|wrong|right|true|simple|peculiar|"
    r"paradox|pity|statement|sentence|line|quotation|story|joke|distinction|question|doubt|point|matter|rule|thing)"
    r"(?: (?:symptom|distinction|point|thing|one|paradox|question|observation|line|description|statement|sentence|story|rule|way|word|picture|remark|keynote))?"
    r"(?:,| and| but| of the \w+(?: \w+)?| please| mark| it| most| people| miss| i| think| you| know| note| that|\.| from| so| often| too| also| in| his| her| book)*[.!]?$|"
    r"(?:how|what|why|where|who|which|when) (?:is|are|was|do|does|did|will|would|can|could|should|shall|have|has|about)\b.*|"
    r"(?:(?:some|a little|a bit|a few words|little) more (?:on|about|of)|(?:there's|there is|there are|ten|five|some|a few|we have)(?: \w+){0,3} "
    r"(?:time|minutes)(?: \w+){0,2} (?:left|there|so|and)|(?:then|next|now|coming to|with)? ?(?:the )?(?:modalities|mind|mentals|generals|particulars|"
    r"keynotes|causation|female side|relations(?:hips?)?|potency)\.?$|with \w+(?: \w+)? then\b|this (?:evening|morning|afternoon) we\b|both are \w+, that)|"
    r"i (?:don't|do not|can't|cannot) (?:agree|know|care|mind|want|believe|remember|honestly|say)|i (?:tell|told|am telling) you|i(?:'ve| have) (?:sat|heard|met|known|"
    r"written|kept|brought|got)\b|you(?:'ll| will)? (?:not|never|hardly|won't) (?:get|find|see) (?:this|it|that)\b|this you (?:must|will) have|"
    r"you(?:'ll| will) (?:recall|remember|laugh)|i want you to (?:underline|mark|note|remember)|(?:it|this|that)(?:'s| is) (?:better|fine|okay|clear|audible|good)(?: now)?(?:,? thank.*|[.!]?$)|"
    r"we(?:'ve| have) lost|(?:let us|let's) (?:take|have|see|go|look)\b.*|(?:some|a little) more on\b.*|there(?:'s| is) (?:some |a little |one )?(?:more|time)\b.*|"
    r"taking the case\.?$|i (?:don't|do not) think\b.*|"
    r"(?:all|some|many) of (?:you|us) (?:are|have|will)\b.*|don't (?:think|go) (?:that|by)\b.*|it (?:isn't|is not) \w+\.?$)"
)
_THANKS = re.compile(r"\bthank(?:s| you)\b")
#: Orders to a student about patients, books and remedies; the room and its machines are housekeeping.
_ROOM_VERBS = frozenset(
    "open close switch sit mute unmute come go see let wait turn shut raise speak stop start begin move repeat excuse forgive thank remember note underline "
    "mark imagine suppose say tell pass put bring collect lock drive mind hold keep check listen".split()
)
_FACT_IN_TALK = re.compile(
    r"\b(?:you (?:will )?(?:see|find|get|notice)|you can (?:see|find)|patient|remedy|symptom|keynote|"
    r"worse|better|indicated|potency|miasm|children|thirst)\b"
)
ADVICE = re.compile(
    r"\b(?:ask (?:him|her|them|the|about|whether|if|how|for)|don't ask|do not ask|never ask|observe|"
    r"watch (?:the|how|him|her|for|whether)|elicit|enquire|read (?:it|this|the|kent|from)|study (?:it|"
    r"this|the|each)|memori[sz]e|revise|make (?:a|your) (?:chart|table|list)|"
    r"you (?:should|must|have to|need to|cannot|can't|should not|must not)|never (?:give|prescribe|"
    r"repeat|forget|confuse|mix|ask|use)|always (?:ask|give|look|think|compare|remember|check|see)|do "
    r"not (?:give|repeat|prescribe|confuse|mix|hurry|interfere|stop)|don't (?:give|repeat|prescribe|"
    r"confuse|mix|hurry|interfere|go by|stop)|think of|look (?:for|at) (?:the|his|her)|wait (?:and|for|"
    r"till|until))\b"
)


def find_points(
    session: Session,
    looks: Sequence[Look],
    stretches: Sequence[Stretch],
    clauses: Sequence[tuple[Clause, ...]],
    hits: Sequence[Hit],
    comparison_sentences: frozenset[int],
    skip: frozenset[int],
    readings: Sequence[TextbookReading],
    rows: Sequence[learned.Features],
) -> tuple[TeachingPoint, ...]:
    """``skip`` are sentences another rule already took: questions, carry-overs; ``rows`` features of each sentence."""
    learnt = learned.model()
    parts = [stretch.kind for stretch in stretches for _ in range(stretch.first, stretch.last)]
    by_unit: dict[int, list[Hit]] = {}
    for hit in hits:
        by_unit.setdefault(session.sentence_at(hit.start).index, []).append(hit)
    read_words = [item.words for item in readings]
    points: list[TeachingPoint] = []
    pending = 0.0
    apart = False  # whether the last question asked to tell remedies apart
    for stretch in stretches:
        for index in range(stretch.first, stretch.last):
            look = looks[index]
            low = look.sentence.low
            bonus = 0.5 * min(2, look.emphasis)
            if stretch.kind == "questions" and look.question:
                apart = len(look.remedies) >= 2 or bool(_TELLS_APART.search(low))
            if _ONLY_EMPHASIS.match(low) and look.content - look.emphasis <= 1 and look.meaningful <= 9:
                # "Remember this." weighs on its neighbour: the sentence before if it closes, else the next.
                if points and points[-1].words.end == session.words(look.sentence.start, look.sentence.end).start:
                    points[-1] = _heavier(points[-1], 1.0)
                else:
                    pending += 1.0
                continue
            if index in skip or look.question or _EMPTY.match(low):
                continue
            ruled = is_point(session, look, stretch.kind, index in comparison_sentences)
            before, after = parts[max(0, index - 1)], parts[min(len(parts) - 1, index + 1)]
            share = learnt.point.log_shares(learned.point_features(rows[index], stretch.kind, before, after, ruled))[1]
            if not _teaches(share, session.opinions.odds("point", look.sentence.start, look.sentence.end)):
                continue
            for clause in clauses[index]:
                point = _point(
                    session, clause, stretch, by_unit.get(index, []),
                    (stretch.kind == "comparison" or len(clauses[index]) > 1 or look.comparison)
                    and index in comparison_sentences and stretch.kind != "recap" and not relates(low)
                    or apart and stretch.kind == "questions" and bool(look.remedies) and not relates(low),
                    bonus + pending, read_words, points[-1].kind if points else None,
                )  # fmt: skip
                if point is not None:
                    points.append(point)
            pending = 0.0
    points = _repeated(session, points)
    keys = unique_keys([point.key for point in points])
    return tuple(_with_key(point, key) for point, key in zip(points, keys, strict=True))


#: How the language model's word on a sentence counts beside that of the learnt models: whether it teaches, and what. Chosen on sets left out.
LEARNT_SHARE, READ_SHARE = 0.5, 0.8
LEARNT_KIND, READ_KIND = 0.7, 1.3


def _teaches(log_share: float, read_as: float) -> bool:
    """Whether a sentence teaches by both: the learnt model's logarithm of its share and the language model's log-odds."""
    return LEARNT_SHARE * learned.log_odds(log_share) + READ_SHARE * read_as >= 0


def is_point(session: Session, look: Look, part: str, compares: bool) -> bool:
    """Whether a sentence teaches something, given the part of the session it stands in."""
    low = look.sentence.low
    if part in ("housekeeping",) or look.meaningful < 2 or _EMPTY.match(low):
        return False
    if look.question or look.promise:
        return False
    if _THANKS.search(low) and look.content <= 1 or _REMARK.match(low) and not look.remedies:
        return False
    if part == "close" and (not look.content or look.close or look.housekeeping):
        return bool(ADVICE.search(low)) and look.content >= 1 and not look.housekeeping
    if not look.has_verb and (
        look.content <= len(look.remedies) and not look.rubrics or look.meaningful <= 2 and not look.body
    ):
        return False  # "Then Calc phos." announces
    if _LOOKS_BACK.search(low) and not re.search(r"\b(?:that|is|are|has|acts|wants)\b", low):
        return False
    if _ANNOUNCES.search(low) and not ADVICE.search(low):
        return False
    if _ASIDES.search(low):
        return False
    substance = look.content + len(look.rubrics)
    advice = bool(ADVICE.search(low)) or part != "case" and _orders(session, look)
    if part == "questions" and _LEAVES_TO_DOCTOR.search(low) and look.meaningful >= 4:
        return True
    if part == "case":
        # Inside a case only what is said of the remedy in general teaches; the rest is the story.
        if look.narration or not look.present:
            return False
        general = bool(look.remedies) and substance >= 2
        lesson = bool(
            re.search(
                (
                    r"\b(?:remedy|keynote|characteristic|always|never|in (?:this|such) (?:remedy|cases?)|"
                    r"such patients?|these patients|lesson|teaches)\b"
                ),
                low,
            )
        )
        return (general or lesson) and not re.search(r"\b(?:she|he|her|his|i gave|i)\b", low)
    if look.housekeeping and substance < 2:
        return False
    if (
        look.narration >= 1
        and not look.present
        and not look.reading
        and part != "recap"
        and not compares
        and substance < 3
    ):
        return False
    if look.meta and not advice:
        # "Let us see the mind" announces; "We have to remember that the thirst is for ice water" teaches.
        body_after = re.search(r"\b(?:that|because|is|are|has|means)\b", low) is not None
        return (
            substance >= 3
            and body_after
            and look.meaningful >= 7
            and not re.match(
                (
                    r"^(?:(?:so|now|okay|and|then),? )*(?:let|today|shall|we (?:will|shall|are going|go|come|"
                    r"move|begin|start)|next|coming|moving|any|can|could|do|did|have|who|what)\b"
                ),
                low,
            )
        )
    if _CLASS_TALK.search(low) and not _FACT_IN_TALK.search(low) and not advice:
        return substance >= 2 and look.meaningful >= 6
    if substance >= 1:
        return look.meaningful >= 3 or (look.content >= 1 and (look.meaningful >= 2))
    if advice:
        return look.meaningful >= 4
    return (
        look.present
        and look.meaningful >= 5
        and generic_subject(session, look.sentence)
        and part in ("commentary", "reading", "comparison")
    )


_LEAVES_TO_DOCTOR = re.compile(
    r"\b(?:hospital|surgeon|ambulance|physician|cardiologist|oncologist|doctor|specialist|his tablets|her tablets|the gp|dangerous|emergency|"
    r"refer|never stop|taper)\b"
)


def _orders(session: Session, look: Look) -> bool:
    """``Write down the actual words``: a sentence that begins with a verb in its plain form."""
    words = [unit for unit in range(look.sentence.start, look.sentence.end) if session.units[unit].low]
    while words and session.units[words[0]].low in {
        "so",
        "and",
        "then",
        "now",
        "but",
        "please",
        "always",
        "also",
        "just",
        "first",
    }:
        words.pop(0)
    if len(words) < 4:
        return False
    low = session.units[words[0]].low
    return session.parse.tag(words[0]) == "VB" and low not in _ROOM_VERBS and not look.housekeeping


_ADDRESSED = frozenset(
    "yes no sir ma'am madam doctor okay ok right exactly correct see good well question absolutely very nice true then so now".split()
)


def _past_address(session: Session, start: int, end: int) -> int:
    """The first unit after "Good question, Nandini," or "Yes, exactly, Jonas,": words to a student, not of the subject."""
    names = name_lists()
    at = start
    while at < end - 3:
        unit = session.units[at]
        comma = unit.text.endswith(",")
        named = comma and unit.bare[:1].isupper() and unit.low in names.given and unit.low not in names.ordinary_names
        praise = (
            unit.low == "good" and session.units[at + 1].low == "question" and session.units[at + 1].text.endswith(",")
        )
        if praise:
            at += 2
        elif named or (comma and unit.low in _ADDRESSED):
            at += 1
        else:
            break
    return at


def _point(
    session: Session, clause: Clause, stretch: Stretch, hits: Sequence[Hit], compares: bool, bonus: float,
    read_words: Sequence[object], before: PointKind | None,
) -> TeachingPoint | None:  # fmt: skip
    start, end = _past_address(session, clause.start, clause.end), clause.end
    if (
        start != session.sentence_at(start).start
        and session.units[start].low in {"while", "whereas"}
        and end - start > 3
    ):
        start += 1  # a clause that stands alone in the note
    units = session.units[start:end]
    tidied = tidy(tuple(unit.text for unit in units))
    if len(tidied.kept) < 2:
        return None
    lows = [unit.low.removesuffix("'s") for unit in units if unit.low]
    low = session.low(start, end)
    inside = [hit for hit in hits if start <= hit.start < end]
    if not _says_something(session, start, end, inside):
        return None
    words = session.words(start, end)
    ruled = kind_of(low, lows, in_comparison=compares, before=before, advises=bool(ADVICE.search(low)))
    shares = learned.model().kind.log_shares(
        learned.kind_features(session, start, end, stretch.kind, ruled, before or "none")
    )
    read_as = session.opinions.mean("kind", start, end).tolist()
    shares = [LEARNT_KIND * a + READ_KIND * b for a, b in zip(shares, read_as, strict=True)]
    kind: PointKind = learned.POINT_KINDS[max(range(len(shares)), key=shares.__getitem__)]  # type: ignore[assignment]
    chapters = tuple(f"chapter/{chapter}" for chapter in chapters_in(lows))
    return TeachingPoint(
        key_of("point", " ".join(lows)),
        kind,
        tidied.text,
        session.text(start, end),
        words,
        session.time(start, end),
        clause.remedy_id,
        min(MAX_WEIGHT, 1.0 + bonus),
        negated(low),
        chapters,
        tuple(dict.fromkeys(h.concept_id for h in inside if h.concept_id.startswith("rubric/"))),
        tuple(dict.fromkeys(h.concept_id for h in inside)),
        any(words.overlaps(w) for w in read_words),  # type: ignore[arg-type]
    )


def _says_something(session: Session, start: int, end: int, hits: Sequence[Hit]) -> bool:
    """Whether more is said than a remedy's name ("In Ignatia.", "Colocynth and.")."""
    named = {unit for hit in hits if hit.concept_id.startswith("remedy/") for unit in range(hit.start, hit.end)}
    return any(
        token.tag_.startswith(("NN", "VB", "JJ", "RB", "CD", "UH")) and not token.is_stop
        for unit in range(start, end)
        if unit not in named
        for token in session.parse.tokens(unit, unit + 1)
    )


def _heavier(point: TeachingPoint, more: float) -> TeachingPoint:
    return _copy(point, weight=min(MAX_WEIGHT, point.weight + more))


def _with_key(point: TeachingPoint, key: str) -> TeachingPoint:
    return point if point.key == key else _copy(point, key=key)


def _copy(point: TeachingPoint, **changes: object) -> TeachingPoint:
    import msgspec

    return msgspec.structs.replace(point, **changes)


def _repeated(session: Session, points: list[TeachingPoint]) -> list[TeachingPoint]:
    """Said again in other words: the same remedy and mostly the same stems. Each saying adds weight to the first."""
    bags = [
        frozenset(s for w in point.text.casefold().split() if len(s := stem(w.strip(".,;:!?"))) > 3) for point in points
    ]
    gains = [0.0] * len(points)
    for index, bag in enumerate(bags):
        if len(bag) < 2:
            continue
        for earlier in range(index):
            other = bags[earlier]
            if len(other) < 2 or points[earlier].remedy_id != points[index].remedy_id:
                continue
            if len(bag & other) / len(bag | other) >= 0.6:
                gains[earlier] += 0.5
                break
    del session
    return [_heavier(point, gain) if gain else point for point, gain in zip(points, gains, strict=True)]


__all__ = ["EMPHASIS", "find_points", "is_point"]
