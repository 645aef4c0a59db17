"""What was promised for a later session and what was referred to from an earlier one, and matching the two."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

import msgspec

from notesmith.annotations import CarryOver, TeachingPoint
from notesmith.extract.case_words import told_model
from notesmith.extract.keys import key_of, unique_keys
from notesmith.extract.learned import FROM_QUESTIONS, Features, log_odds
from notesmith.extract.lexicon import STOP_STEMS, stem
from notesmith.extract.mentions import Hit
from notesmith.extract.sentences import Look
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


DIRECTIONS: tuple[Literal["promised", "referred back"], ...] = ("promised", "referred back")
_JOINED = re.compile(r"[,;]? (?:and|but) ")
_SOME_DAY = re.compile(
    rf"\b(?:tomorrow|tonight|next|later|after|another|(?:one|some) day|in the|on {_WEEKDAY}|days?|weeks?|months?|session|class|lecture|hour|course|when|time|{_WEEKDAY}|"
    r"january|february|march|april|june|july|august|september|october|november|december)\b"
)
_TO_BE_DONE = re.compile(
    r"\b(?:will|shall|we (?:take|do)|i (?:do|make|bring|keep)|keeping|going to|comes?|get|begin|start)\b|'ll\b"
)
_SPEAKER_FIRST = re.compile(r"(?:we|i|you|then|there|that|it|s?he)\b")
LEAST_PROMISE = 4  # words


def _second_promise(low: str) -> int:
    """The word at which a second thing is promised in the same breath, 0 where none is: ``Tomorrow the burns, and the
    fractures I keep for the week after``."""
    if not _SOME_DAY.search(low):
        return 0
    for match in _JOINED.finditer(low):
        halves = low[: match.start()], low[match.end() :]
        goes_on = _SPEAKER_FIRST.match(halves[1]) and not _SOME_DAY.search(halves[1])
        whole = all(
            len(half.split()) >= LEAST_PROMISE and (_SOME_DAY.search(half) or _TO_BE_DONE.search(half))
            for half in halves
        )
        if whole and not goes_on:
            return len(low[: match.end()].split())
    return 0


def carry_features(look: Look, row: Features, topics: bool) -> dict[str, float]:
    """Features for whether a sentence promises or refers back. ``row`` are its state features."""
    found = {
        name: value for name, value in row.items()
        if name.startswith(("w:", "f:", "g:", "place ")) or ":" not in name and "+" not in name and not name.startswith(("rule ", "near ", *FROM_QUESTIONS))
    }  # fmt: skip
    low = look.sentence.low
    flags = {
        "to come": bool(_TO_COME.search(low)), "gone by": bool(_GONE_BY.search(low)), "we did": bool(_WE_DID.search(low)), "will teach": bool(_WILL_TEACH.search(low)),
        "speaker": bool(_SPEAKER.search(low)), "not taught": bool(_NOT_TAUGHT.search(low)), "soon": bool(_SHORT_TERM.search(low)), "topics": topics,
        "earlier": bool(_SAYS_EARLIER.search(low)),
    }  # fmt: skip
    on = [name for name, true in flags.items() if true]
    found |= dict.fromkeys(on, 1.0)
    found |= {
        f"{a} & {b}": 1.0 for a in on for b in (*on, "past", "remedy", "content", "g:she") if a < b and (b in found)
    }
    return found


#: How the learnt model's log-odds of a direction and the language model's are weighed, and the least of both. Chosen on sets left out.
LEARNT_SHARE, READ_SHARE, CARRIES_AT = 0.5, 0.6, -1.2
READ_AT_LEAST = -4.0  # what is said outright is not taken back by a model that has not met it said so
_CODES = {"promised": "co+", "referred back": "co-"}


def _weighed(session: Session, look: Look, log_share: float, direction: str) -> float:
    read_as = session.opinions.odds(_CODES[direction], look.sentence.start, look.sentence.end)
    return LEARNT_SHARE * log_odds(log_share) + READ_SHARE * max(READ_AT_LEAST, read_as)


def find_carry_overs(
    session: Session, looks: Sequence[Look], hits: Sequence[Hit], rows: Sequence[Features]
) -> tuple[tuple[CarryOver, ...], frozenset[int]]:
    """Carry-overs in order, and the sentences that only promise."""
    found: list[CarryOver] = []
    used: set[int] = set()
    learnt = told_model().carry
    topics_of = topics_by_sentence(session, hits)
    for index, look in enumerate(looks):
        topics = topics_of.get(index, [])
        shares = learnt.log_shares(carry_features(look, rows[index], bool(topics)))
        odds, direction = max(
            (_weighed(session, look, shares[learnt.classes.index(name)], name), name) for name in DIRECTIONS
        )
        if odds < CARRIES_AT:
            continue
        start, end = look.sentence.start, look.sentence.end
        if direction == "promised" and index and _POINTS_BACK.search(look.sentence.low) and not look.content:
            # "We have not done the teeth. Those I will do tomorrow."
            start = looks[index - 1].sentence.start
            topics = topics_of.get(index - 1, []) + topics
        cut = start + _second_promise(session.low(start, end)) if direction == "promised" else start
        for first, last in ((start, cut), (cut, end)):
            if first < last:
                named = [hit for hit in topics if hit.start < last and (hit.start >= first or first == start)]
                found.append(
                    CarryOver(
                        key_of("carry", direction, look.sentence.low), direction, tidy(tuple(unit.text for unit in session.units[first:last])).text,
                        session.words(first, last), session.time(first, last), tuple(dict.fromkeys(hit.concept_id for hit in named)),
                    )
                )  # fmt: skip
        if direction == "promised":
            used.add(index)
    keys = unique_keys([item.key for item in found])
    return tuple(msgspec.structs.replace(c, key=k) for c, k in zip(found, keys, strict=True)), frozenset(used)


def topics_by_sentence(session: Session, hits: Sequence[Hit]) -> dict[int, list[Hit]]:
    """What each sentence names that could be taught."""
    found: dict[int, list[Hit]] = {}
    for hit in hits:
        if not hit.concept_id.startswith(("chapter/", "rx/", "potency/")):
            found.setdefault(session.sentence_at(hit.start).index, []).append(hit)
    return found


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
