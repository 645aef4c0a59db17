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
        if direction is None or (direction == "referred back" and not _SAYS_EARLIER.search(low)):
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
