"""What was promised for a later session and what was referred to from an earlier one, and matching the two."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

import msgspec

from notesmith.annotations import CarryOver, TeachingPoint
from notesmith.extract.keys import key_of, unique_keys
from notesmith.extract.lexicon import STOP_STEMS, stem
from notesmith.extract.mentions import Hit
from notesmith.extract.sentences import PROMISE, REFERRED, Look
from notesmith.extract.session import Session
from notesmith.extract.tidy import tidy

_NOT_TAUGHT = re.compile(
    r"\b(?:bring|attendance|fees|exam (?:form|fees)|submit|come (?:on time|early|prepared)|see you|meet "
    r"you|holiday|timing|journal|assignment)\b"
)
_POINTS_BACK = re.compile(r"\b(?:those|that|these|this|it|them)\b")
_SAYS_EARLIER = re.compile(
    r"\b(?:(?:last|previous|earlier) (?:time|class|lecture|week|session|month|year|monday|tuesday|"
    r"wednesday|thursday|friday|saturday|sunday)|yesterday|ago|fortnight|when we (?:did|studied|"
    r"discussed|took|covered|were)|on (?:monday|tuesday|wednesday|thursday|friday|saturday|sunday) (?:we|"
    r"i)|"
    r"the other day|(?:as|which|what|remember|recall)(?: that)?,? (?:i|we|you)(?:'ve|'d)? "
    r"(?:\w+ )?(?:saw|said|told|discussed|did|mentioned|promised|studied|covered)|i (?:had )?promised|"
    r"we(?:'d| had)(?: also)? promised|(?:was|were|had been) promised|when (?:we|i) (?:were|was) (?:doing|studying|taking|discussing)|(?:earlier|previous) (?:\w+ )?"
    r"(?:classes|lectures|sessions)|remember|recall|last)\b"
)
_SHORT_TERM = re.compile(
    r"^(?:(?:so|now|okay|right|and|well),? )*let(?:'s| us) (?:go|come|get) back\b|\b(?:in a (?:minute|moment|second)|just now|after (?:this|the break)|now itself|come back to "
    r"(?:the|this) (?:line|page|text|book)|one by one)\b"
)


_ONE_OF_US = re.compile(
    r"\b(?:i|i'll|i'm|i've|we|we'll|we're|us|our|me|you|next (?:week|class|time|session|lecture|month)|tomorrow|coming (?:week|class|\w+day)|(?:separate|own|whole) "
    r"(?:class|lecture|session))\b"
)


_WEEKDAY = r"(?:mon|tues|wednes|thurs|fri|satur|sun)day"
_OCCASION = rf"(?:time|class|week|lecture|session|meeting|month|encounter|evening|night|module|semester|term|year|turn|occasion|round|lesson|{_WEEKDAY})"
#: A time to come, however it is named.
_TO_COME = re.compile(
    rf"\b(?:(?:the )?(?:next|coming|following) (?:\w+ )?{_OCCASION}|next (?:time|up)|tomorrow|(?:^|on |this |from )?{_WEEKDAY}(?!s| last| i had| we had)|in \w+ (?:days|weeks)|\w+ weeks? from (?:now|today)|"
    rf"the {_OCCASION} (?:that|which) comes|(?:later|further on) in (?:the|this) (?:course|term|year|module)|(?:another|some other) (?:day|time|class|occasion)|after the (?:break|holidays?|exams?|vacation)|"
    rf"when (?:we(?:'re| are|'ll| come| get| do| reach| take)|i (?:do|come|take|get)|the (?:projector|exams?|holidays?|term|time|turn|books?) (?:is|are|comes?|come))|(?:in|for|until|till) the (?:second|third|next|last|spring|autumn|summer|winter|following)(?: (?:semester|term|module|year|part))?|"
    r"is pending|are pending|i owe you|we owe|up after|i(?:'m| am)? keep(?:ing)? (?:\w+ ){1,4}for|i(?:'ll| will)? (?:show|give|send|bring) (?:it|that|them|you)\b)"
)
_WILL_TEACH = re.compile(
    r"\b(?:will|shall|'ll|going to|we(?:'re| are)|i(?:'m| am)|we have|we take|we do|we begin|we open|we start|it's|it is|is|are|up|follows?|comes?|pending|owe|keep|keeping|promise|hold that)\b|'ll\b"
)
#: A time that is over, and what was done in it.
_GONE_BY = re.compile(
    rf"\b(?:(?:the |our |my )?(?:last|previous|earlier|preceding|former|first|second|other|past) (?:\w+ )?{_OCCASION}|yesterday|(?:on |this )?{_WEEKDAY}|(?:\w+ )?(?:\w+ )?(?:weeks?|days?|months?|fortnight) ago|"
    r"a (?:while|fortnight) (?:ago|back)|the other (?:day|night|week)|on (?:the|that|our) last occasion|before the (?:break|holidays?|exams?))\b"
)
_WE_DID = re.compile(
    r"\b(?:we|i|you)(?:'d|'ve| had| have)? (?:\w+ )?(?:did|do|done|saw|seen|finished?|treated|showed|shown|explained|spoke|spoken|told|began|begun|covered|studied|took|taken|discussed|looked|met|talked|had|"
    r"started|completed|presented|compared|read|heard|learnt|learned|worked|went|opened|closed|promised|gave|given|left|said)\b"
)


_SPEAKER = re.compile(r"\b(?:i|i'll|i'm|we|we'll|we're|us|you)\b")


def _promises(low: str) -> bool:
    """``Thursday it's Causticum``, ``in eight days follows Gelsemium``, ``I'll come to that when we do the eye``."""
    return bool(_TO_COME.search(low) and _WILL_TEACH.search(low)) and not _GONE_BY_ONLY.search(low)


_GONE_BY_ONLY = re.compile(
    r"\b(?:ago|yesterday|(?:last|previous) \w+|(?:she|he|her|his|him)\b.*\b(?:was|had|came|got|said|slept|went))\b"
)


def find_carry_overs(
    session: Session, looks: Sequence[Look], hits: Sequence[Hit], case_sentences: frozenset[int]
) -> tuple[tuple[CarryOver, ...], frozenset[int]]:
    """Carry-overs in order, and the sentences that only promise."""
    found: list[CarryOver] = []
    used: set[int] = set()
    for index, look in enumerate(looks):
        low = look.sentence.low
        direction: Literal["promised", "referred back"] | None = None
        if look.promise and not _SHORT_TERM.search(low) and not look.question and _ONE_OF_US.search(low):
            direction = "promised"
        elif look.referred and not (index in case_sentences and not re.search(r"\b(?:lecture|class|session)\b", low)):
            if REFERRED.search(low):
                direction = "referred back"
        at_end = look.sentence.start > 0.5 * looks[-1].sentence.end
        if direction is None and index not in case_sentences and not look.question and not _SHORT_TERM.search(low):
            if (
                _promises(low)
                and (_SPEAKER.search(low) or look.remedies)
                and not look.comparison
                and (look.remedies or not look.housekeeping)
            ):
                direction = "promised"
            elif _GONE_BY.search(low) and _WE_DID.search(low) and not at_end:
                direction = "referred back"
        if direction is None or (
            not _GONE_BY.search(low) and direction == "referred back" and not _SAYS_EARLIER.search(low)
        ):
            continue
        start, end = look.sentence.start, look.sentence.end
        if direction == "promised" and index and _POINTS_BACK.search(low) and not look.content:
            # "We have not done the teeth. Those I will do tomorrow."
            start = looks[index - 1].sentence.start
        topics = [
            hit
            for hit in hits
            if start <= hit.start < end and not hit.concept_id.startswith(("chapter/", "rx/", "potency/"))
        ]
        if (
            not topics
            and start == look.sentence.start
            and not look.content
            and not re.search(
                (
                    r"\b(?:compar\w+|remed(?:y|ies)|case|follow[- ]?up|potency|chart|repertor\w+|question|"
                    r"doubt|prescription|table|relation\w*|video|organon|philosophy|miasm\w*|differential)\b"
                ),
                low,
            )
        ):
            continue
        if direction == "referred back" and not re.search(
            r"\b(?:i|we|you|i'd|we'd|i've|we've|you've|us|our|promised)\b", low
        ):
            continue
        if _NOT_TAUGHT.search(low) and not topics:
            continue
        if direction == "referred back" and look.meaningful < 5:
            continue
        text = tidy(tuple(unit.text for unit in session.units[start:end])).text
        found.append(
            CarryOver(
                key_of("carry", direction, low), direction, text, session.words(start, end), session.time(start, end),
                tuple(dict.fromkeys(hit.concept_id for hit in topics)),
            )
        )  # fmt: skip
        if direction == "promised":
            used.add(index)
    keys = unique_keys([item.key for item in found])
    return tuple(msgspec.structs.replace(c, key=k) for c, k in zip(found, keys, strict=True)), frozenset(used)


# ---------------------------------------------------------------- across sessions


class CarryOverMatch(msgspec.Struct, frozen=True):
    """A promise and the session that kept it.

    ``delivered_in`` is a lecture id, ``point_key`` the first teaching point that does so; both None while open.
    """

    lecture_id: str
    carry_over: CarryOver
    delivered_in: str | None = None
    point_key: str | None = None


class SessionTeaching(msgspec.Struct, frozen=True):
    """What matching needs to know of a lecture: its id, what it promised and what it taught, in course order."""

    lecture_id: str
    carry_overs: tuple[CarryOver, ...]
    points: tuple[TeachingPoint, ...]


def match_promises(sessions: Sequence[SessionTeaching]) -> tuple[CarryOverMatch, ...]:
    """Match each promise with the first later session that teaches its topics; the rest stay open.

    A topic counts as taught when at least two points are about it (one, if the promise shares two more words with
    that point). A promise without topics is matched on its words alone.
    """
    matches: list[CarryOverMatch] = []
    for index, session in enumerate(sessions):
        for promise in session.carry_overs:
            if promise.direction != "promised":
                continue
            match = CarryOverMatch(session.lecture_id, promise)
            for later in sessions[index + 1 :]:
                if point := _delivers(promise, later.points):
                    match = CarryOverMatch(session.lecture_id, promise, later.lecture_id, point.key)
                    break
            matches.append(match)
    return tuple(matches)


def _delivers(promise: CarryOver, points: Sequence[TeachingPoint]) -> TeachingPoint | None:
    wanted = _bag(promise.text)
    topics = set(promise.topic_ids)
    remedies = {topic for topic in topics if topic.startswith("remedy/")}
    if topics:
        about = [
            point for point in points
            if (remedies and (point.remedy_id in remedies or remedies & set(point.concept_ids))) or (not remedies and topics & set(point.concept_ids))
        ]  # fmt: skip
        if len(remedies) > 1:
            together = [p for p in about if len(remedies & {p.remedy_id, *p.concept_ids}) > 1]
            covered = {r for p in about for r in remedies if r == p.remedy_id or r in p.concept_ids}
            if covered != remedies:
                return None
            about = together or about
        if len(about) >= 2:
            return about[0]
        return next((point for point in about if len(_bag(point.text) & wanted) >= 2), None)
    if len(wanted) < 2:
        return None
    best = max(points, key=lambda p: len(_bag(p.text) & wanted), default=None)
    return best if best is not None and len(_bag(best.text) & wanted) >= max(2, len(wanted) // 2) else None


_SAYS_WHEN = frozenset(
    stem(word) for word in
    [
        "next", "class", "lecture", "session", "week", "time", "tomorrow", "later", "another", "will", "shall",
        "let", "us", "take", "discuss", "see", "come", "back", "compare", "tell", "explain", "promised", "month",
        "separate", "day", "today", "do",
    ]
)  # fmt: skip


def _bag(text: str) -> frozenset[str]:
    stems = (stem("".join(c for c in word if c.isalnum())) for word in text.casefold().split())
    return frozenset(s for s in stems if len(s) > 2 and s not in STOP_STEMS and s not in _SAYS_WHEN)


__all__ = ["PROMISE", "CarryOverMatch", "SessionTeaching", "find_carry_overs", "match_promises"]
