"""Cut the session into parts by what each stretch is for, and follow the remedy in focus.

Each sentence scores each kind of part by the cues in it; the best path over the whole session (Viterbi, with a
price for each change) is the structure. Words and times are covered without gap or overlap.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from typing import get_args

from notesmith.annotations import PartKind, SessionPart, TextbookReading
from notesmith.extract.contrast import relates
from notesmith.extract.names import name_lists
from notesmith.extract.sentences import Look
from notesmith.extract.session import Session
from notesmith.transcript import TimeSpan, WordRange
from notesmith.vocabulary import label_key

KINDS: tuple[PartKind, ...] = get_args(PartKind)
CHANGE_PRICE = 2.6


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part over sentences ``first`` to ``last`` (half-open)."""

    kind: PartKind
    first: int
    last: int


_ADDRESS = re.compile(r"\b(?:sir|ma'am|madam|mam|maam|teacher|professor)\b|^(?:doctor|miss)\b|^[a-z]+: ")


def _calls(look: Look) -> bool:
    """``Yes, Priya.``: a call on a student before the question."""
    names = name_lists()
    words = [word.strip(".,?!:") for word in look.sentence.text.split()]
    return len(words) <= 12 and any(
        word[:1].isupper() and word.casefold() in names.given and word.casefold() not in names.ordinary_names
        for word in words
    )


_RESUME = re.compile(
    r"\b(?:(?:some|a little|a bit|little) more (?:on|about|of)|(?:while|since|as) there(?:'s| is) "
    r"(?:some )?time|(?:some|ten|five|a few) (?:time|minutes) (?:is|are) (?:there|left)|there(?:'s| is) "
    r"(?:some|a little) (?:more|time)|i want to finish|and then \w+ again|"
    r"coming back|let us (?:continue|go back|proceed|move|come|go)|let's (?:continue|go back|proceed|"
    r"move)|back to (?:the|our)|we (?:continue|proceed|move)|now (?:let us|let's|we|coming|come)|moving "
    r"on|next (?:topic|remedy|is))\b"
)
_TODAY = re.compile(
    r"\b(?:today|this (?:morning|evening|session)|we (?:will|shall|are going to) (?:do|take|start|begin|"
    r"study|see|talk|discuss))\b"
)


_CLASSROOM = re.compile(r"\b(?:i|i'd|i'll|i've|you|your|we|we'll|so|now|see|let|what|why|mean|means)\b")
_WINDS_UP = re.compile(
    r"\b(?:leave it (?:there|here)|stop (?:here|there|now)|that(?:'s| is| will be) (?:all|it|our hour|enough)|enough for (?:today|now)|we(?:'re| are) done|"
    r"that will do|that'll do|we(?:'ll| will) (?:end|stop|close)|time is (?:up|over)|wind up)\b"
)


def find_parts(
    session: Session,
    looks: Sequence[Look],
    case_sentences: frozenset[int],
    readings: Sequence[TextbookReading] = (),
    comparison_sentences: frozenset[int] = frozenset(),
) -> tuple[Stretch, ...]:
    if not looks:
        return ()
    read = read_aloud(session, readings)
    count = len(looks)
    total = max(1, len(session))
    main_speaker = _main_speaker(session)
    lead, recapped = _lead(looks), _recapped(looks)
    scores = []
    since = 99  # sentences since the last question
    reading_on, closing = 0, False
    begun = False  # whether today's subject has been announced
    for index, look in enumerate(looks):
        compared = sum(near in comparison_sentences for near in range(index - 2, index + 3))
        one = _score(
            session, look, look.sentence.start / total, index in case_sentences, index in read,
            compared if index in comparison_sentences else min(compared, 1), looks[index - 1] if index else None,
        )  # fmt: skip
        if index < lead:
            one["housekeeping"] += 1.2
        speaker = session.speaker(look.sentence.start)
        if speaker != main_speaker and look.question:
            one["questions"] += 1.5
        since = 0 if look.question or look.asks else since + 1
        if since > 6:
            one["questions"] -= 0.3
        around = sum(
            looks[near].question or looks[near].asks for near in range(max(0, index - 4), min(count, index + 6))
        )
        if around >= 2 and since <= 6:
            one["questions"] += 0.15 * min(4, around)
        if reading_on and not _CLASSROOM.search(look.sentence.low):
            one["reading"] += 1.3
        reading_on = 1 if look.reading and one["reading"] > one["commentary"] else max(0, reading_on - 1)
        if closing:
            one["close"] += 0.9
        closing = closing or (look.sentence.start / total > 0.88 and bool(_WINDS_UP.search(look.sentence.low)))
        if index in recapped:
            one["recap"] += 1.3
        if begun and not look.recap:
            one["recap"] -= 0.8
        begun = begun or (bool(_TODAY.search(look.sentence.low)) and not look.recap and index > lead)
        scores.append(one)
    best: list[dict[PartKind, tuple[float, PartKind]]] = []
    for index in range(count):
        column: dict[PartKind, tuple[float, PartKind]] = {}
        for kind in KINDS:
            if not index:
                column[kind] = (scores[0][kind], kind)
                continue
            before = best[-1]
            source = max(KINDS, key=lambda k: before[k][0] - (0 if k == kind else _price(k, kind)))
            value = before[source][0] - (0 if source == kind else _price(source, kind))
            column[kind] = (value + scores[index][kind], source)
        best.append(column)
    path: list[PartKind] = [max(KINDS, key=lambda k: best[-1][k][0])]
    for index in range(count - 1, 0, -1):
        path.append(best[index][path[-1]][1])
    path.reverse()
    return stretches_of(path)


def read_aloud(session: Session, readings: Sequence[TextbookReading]) -> frozenset[int]:
    """The sentences known to be read from a text: most of them inside what was found to be, or several in quotation
    marks near to each other, with the remarks between them."""
    found = {
        sentence.index
        for item in readings
        for sentence in session.sentences_in(*session.units_of(item.words))
        if _mostly_inside(session, sentence.start, sentence.end, item.words)
    }
    quoted = [
        sentence.index
        for sentence in session.sentences
        if len(sentence) >= _QUOTED_WORDS and sentence.text[0] in _OPENS_QUOTE and sentence.text[-1] in _CLOSES_QUOTE
    ]
    row: list[int] = []
    for index in (*quoted, len(session.sentences) + _QUOTED_APART):
        if row and index - row[-1] > _QUOTED_APART:
            if len(row) >= _QUOTED_LEAST:
                found.update(range(row[0], row[-1] + 1))
            row = []
        row.append(index)
    return frozenset(found)


#: A passage read aloud: at least so many whole sentences in quotation marks, at most so many sentences apart. A single
#: one is what somebody said.
_QUOTED_LEAST, _QUOTED_APART, _QUOTED_WORDS = 3, 4, 4
_OPENS_QUOTE, _CLOSES_QUOTE = frozenset('“"'), frozenset('”"')


def stretches_of(path: Sequence[str]) -> tuple[Stretch, ...]:
    """Runs of one kind of part; the states of a case are one part, but one that begins is a stretch of its own."""
    stretches: list[Stretch] = []
    for index, state in enumerate(path):
        kind: PartKind = "case" if state.startswith("case ") else state  # type: ignore[assignment]
        if stretches and stretches[-1].kind == kind and state not in ("case begins", "case again"):
            stretches[-1] = Stretch(kind, stretches[-1].first, index + 1)
        else:
            stretches.append(Stretch(kind, index, index + 1))
    return tuple(stretches)


def _main_speaker(session: Session) -> str | None:
    counts: Counter[str | None] = Counter()
    for segment in session.reading.transcript.segments:
        counts[segment.speaker] += len(segment.words)
    return max(counts, key=lambda s: (counts[s], str(s)))


def _lead(looks: Sequence[Look]) -> int:
    """How many sentences at the beginning come before anything of the subject is said."""
    for index, look in enumerate(looks[:15]):
        low = look.sentence.low
        if (
            look.content >= 2
            or look.recap
            or (_TODAY.search(low) and look.content)
            or (look.content and not look.housekeeping)
        ):
            return index
    return 0


def _recapped(looks: Sequence[Look]) -> frozenset[int]:
    """Sentences that go on with a recap: from a word about an earlier session to the first about today's."""
    found: set[int] = set()
    going = 0
    for index, look in enumerate(looks):
        low = look.sentence.low
        early = look.sentence.start < 0.25 * looks[-1].sentence.end
        if _TODAY.search(low) or _RESUME.search(low) or look.reading or (look.question and look.asks) or look.promise:
            going = 0
            continue
        if look.recap and early:
            going = 5
        if going:
            found.add(index)
            going -= 1
    return frozenset(found)


def _mostly_inside(session: Session, start: int, end: int, words: WordRange) -> bool:
    inside = sum(1 for unit in session.units[start:end] if words.start <= unit.words.start < words.end)
    return inside * 2 >= end - start


def _price(source: PartKind, target: PartKind) -> float:
    if source == "close":
        return CHANGE_PRICE * 2.5
    if source == "case" and target in ("questions", "recap", "close"):
        return 2.0
    if "case" in (source, target):
        return 1.0  # cases come with edges of their own
    if {source, target} == {"reading", "commentary"}:
        return 1.0
    if target == "recap":
        return CHANGE_PRICE + 0.6
    return CHANGE_PRICE


def _score(
    session: Session, look: Look, place: float, in_case: bool, is_read: bool, compared: int, before: Look | None
) -> dict[PartKind, float]:
    scores: dict[PartKind, float] = dict.fromkeys(KINDS, 0.0)
    low = look.sentence.low
    content = min(3, look.content)
    weight = 0.5 if look.meaningful <= 3 else 1.0
    scores["commentary"] = 0.35 + 0.25 * content
    scores["comparison"] = 0.05 + 0.25 * content + (0.6 if look.comparison else 0.0) * weight
    scores["comparison"] += 1.6 if compared >= 3 else 0.9 if compared == 2 else 0.0
    if len(look.remedies) >= 2 and not relates(low):
        scores["comparison"] += 0.4
    if not look.remedies and not look.comparison:
        scores["comparison"] -= 0.35
    scores["recap"] = 0.25 * content + (1.8 if look.recap and place < 0.4 else 0.0) + (0.2 if place < 0.12 else -0.15)
    if place > 0.35:
        scores["recap"] -= 0.4
    if _TODAY.search(low):
        scores["recap"] -= 1.0
    scores["reading"] = 0.2 * content + (2.0 if look.reading else 0.0) + (3.0 if is_read else 0.0) - 0.1
    scores["questions"] = 0.28 + 0.22 * content + (1.6 if look.asks else 0.0)
    if look.question and not look.meta:
        # A lecturer asks the class all the time; a student's question has an address or a name before it.
        scores["questions"] += 1.3 if _ADDRESS.search(low) or (before is not None and _calls(before)) else 0.3
    if look.asks and _ADDRESS.search(low):
        scores["questions"] += 0.7
    if before is not None and before.asks and not look.question:
        scores["questions"] += 0.4  # the answer
    if look.question and before is not None and before.asks:
        scores["questions"] += 0.6
    if _RESUME.search(low):
        scores["questions"] -= 1.6
        scores["recap"] -= 0.8
        scores["comparison"] -= 0.4
    scores["housekeeping"] = (
        (0.0 if look.remedies else 1.5 * min(2, look.housekeeping))
        - 0.3 * content
        + (0.3 if not look.content and look.meaningful > 2 else 0.0)
    )
    if place < 0.05:
        scores["housekeeping"] += 0.3
    scores["close"] = -0.6 - 0.15 * content
    if place > 0.85:
        scores["close"] += (
            (1.6 if look.close else 0.0) + (0.8 if look.housekeeping else 0.0) + (0.5 if look.promise else 0.0) + 0.5
        )
        if place > 0.95:
            scores["close"] += 0.4
        if not look.content:
            scores["close"] += 0.5
    elif place < 0.6:
        scores["close"] -= 3.0
    if in_case:
        scores["case"] = 4.0
    else:
        scores["case"] = -2.0
    return scores


# ---------------------------------------------------------------- the remedy in focus


_NEW_TOPIC = re.compile(
    r"\b(?:today|tonight|this (?:morning|afternoon|evening)|it's the|now|next|let us|let's|we (?:will|shall|are|come|go|take|start|begin|move)|coming to|"
    r"moving (?:on )?to|begin with|start with|turn to|our remedy|the remedy (?:is|today)|subject|topic)\b"
)


def _is_heading(look: Look) -> bool:
    """``Then Calc phos.``, ``Belladonna, the face is flushed.``, ``Aconite first: sudden, violent.``"""
    low = look.sentence.low
    if look.question or look.comparison or look.promise:
        return False
    return (not look.has_verb and look.meaningful <= 7) or bool(
        re.match(
            (
                r"^(?:(?:and|now|so|then|next|okay) )*[\w-]+(?: [\w-]+)?(?: first| next| now)?(?:,|:) (?!(?:and|or|"
                r"sulphur|both|no|yes)\b)"
            ),
            low,
        )
        and low.split()[0].strip(",:") not in {"so", "now", "and", "then", "okay", "yes", "no", "see", "well", "right"}
    )


_NOT_THERE = re.compile(
    r"\b(?:let us not|let's not|not go there|not now|don't go|leave (?:it|that)|some other day|another day|not today)\b"
)
#: Said of another remedy in passing: "Psorinum has it also".
_BESIDE = re.compile(
    r"\b(?:also|too|as well|likewise|has it|have it|has that|same|unlike|whereas|compared?|similar\w*|but here|not so|neither|other one|on the other hand|"
    r"in contrast|instead|while|than|this one|this remedy|our remedy|here)\b"
)


_PRESENTS = re.compile(r"^(?:(?:so|and|now|then|yes|well),? )*(?:that|this|it|here|there|enter|meet)\b")
_POINTED_AT = re.compile(
    r"\b(?:like|unlike|than|from|with|to|of|or|and|versus)(?: in)?(?: the)? [\w-]+(?: [\w-]+)?[,.;]?$"
)


def _pointed_at(low: str) -> bool:
    return bool(_POINTED_AT.search(low)) and len(low.split()) > 4


_PRONOUN_FIRST = re.compile(
    r"^(?:(?:and|so|then|but|that|also),? )*(?:she|he|it|they|her|his|its|there|worse|better)\b"
)


def _leads(session: Session, look: Look, remedy: str) -> bool:
    """Whether the sentence begins with the remedy: ``Gelsemium is the opposite``, ``righto, Hypericum, the nerves``."""
    first = label_key(" ".join(_OPENER.sub("", look.sentence.low).split()[:4])) + " "
    concept = session.vocabulary[remedy]
    labels = (concept.pref_label, *concept.alt_labels, concept.pref_label.split()[0])
    return look.meaningful > 2 and any(
        first.startswith(key + " ") for label in labels if len(key := label_key(label)) > 3
    )


_OPENER = re.compile(
    r"^(?:(?:so|and|now|then|next|okay|ok|right|righto|well|yes|yeah|alright|um|uh|er|first|second|third|last|lastly|finally|good|fine|the|here|there|is|are|comes|in)\b[,.]? ?)+"
)
#: What a naming says for its remedy being the topic, by how it is named; what a change of topic costs; and what a
#: sentence says for the remedy named most in the whole session.
ANNOUNCED, LEADING, NAMED, PASSING = 3.0, 2.4, 1.0, 0.3
CHANGE, CHANGE_UNNAMED, CHANGE_LEADING, CHANGE_ANNOUNCED = 3.0, 7.0, 1.6, 1.5
MAIN = 0.12
_MOST_TOPICS = 16


def _naming(session: Session, looks: Sequence[Look], index: int) -> tuple[dict[str, float], float]:
    """What one sentence says for each remedy as the topic from here on, and what a change to one costs here."""
    look = looks[index]
    low = look.sentence.low
    if not look.remedies:
        return {}, CHANGE_UNNAMED
    remedy = look.remedies[0]
    if len(look.remedies) > 1:
        return {one: PASSING / len(look.remedies) for one in look.remedies}, CHANGE
    passing = (
        look.comparison or look.promise or look.close or look.question or relates(low) or bool(_NOT_THERE.search(low))
    )
    # "That's Hypericum.", "Here comes Sepia.": no more is said than the name.
    presents = look.content <= 1 and look.meaningful <= 5 and bool(_PRESENTS.match(low))
    # Remedies named all around are being set side by side; none of them is the new topic.
    beside = {r for near in looks[index + 1 : index + 4] for r in near.remedies} - {remedy}
    announced = _is_heading(look) or presents or (bool(_NEW_TOPIC.search(low)) and not look.recap)
    if announced and not passing and (not beside or _NEW_TOPIC.search(low)):
        return {remedy: ANNOUNCED}, CHANGE_ANNOUNCED
    if passing or _BESIDE.search(low) or _pointed_at(low):
        return {remedy: PASSING}, CHANGE
    answers = any(earlier.question or earlier.asks for earlier in looks[max(0, index - 2) : index])
    if _leads(session, look, remedy) and not answers and not beside:
        return {remedy: LEADING}, CHANGE_LEADING
    return {remedy: NAMED}, CHANGE


def follow_focus(session: Session, looks: Sequence[Look], given: Sequence[str] = ()) -> tuple[str | None, ...]:
    """For each sentence the remedy it is about where it names none.

    The best path over the session: every naming speaks for its remedy, most where it is announced, little where it
    is named in passing; each change of topic has its price. ``given`` are the remedies a person set for the lecture;
    a single one is the subject from the first word, even where the recogniser misheard it.
    """
    counts = Counter(remedy for look in looks for remedy in look.remedies)
    for remedy in given:
        counts[remedy] += 1000
    if not counts:
        return (None,) * len(looks)
    topics = sorted(counts, key=lambda r: (-counts[r], r))[:_MOST_TOPICS]
    total = sum(min(counts[topic], 1000) for topic in topics)
    share = [counts[topic] / total for topic in topics]
    everyone = range(len(topics))
    value = [4.0 * share[k] for k in everyone]
    back: list[list[int]] = []
    for index in range(len(looks)):
        spoken, change = _naming(session, looks, index)
        sources, column = [], []
        for k in everyone:
            here = spoken.get(topics[k], 0.0)
            price = change if here else CHANGE_UNNAMED
            source = max(everyone, key=lambda j: value[j] - (price if j != k else 0.0))
            sources.append(source)
            column.append(value[source] - (price if source != k else 0.0) + here + MAIN * share[k])
        back.append(sources)
        value = column
    at = max(everyone, key=value.__getitem__)
    path = [at]
    for sources in reversed(back[1:]):
        at = sources[at]
        path.append(at)
    path.reverse()
    focus: list[str | None] = [topics[k] for k in path]
    return _recalled(looks, focus)


def _recalled(looks: Sequence[Look], focus: Sequence[str | None]) -> tuple[str | None, ...]:
    """The remedy a recap speaks of is the topic of the few sentences after it that go on with a pronoun."""
    found: list[str | None] = []
    recalled: str | None = None
    left = 0
    for look, topic in zip(looks, focus, strict=True):
        low = look.sentence.low
        if look.recap and len(look.remedies) == 1 and look.sentence.start < 0.3 * looks[-1].sentence.end:
            recalled, left = look.remedies[0], 6
        elif recalled and (_TODAY.search(low) or look.question or look.promise or set(look.remedies) - {recalled}):
            recalled = None
        elif recalled:
            left -= 1
            recalled = recalled if left else None
        found.append(recalled if recalled and (_PRONOUN_FIRST.match(low) or recalled in look.remedies) else topic)
    return tuple(found)


def _steady(focus: Sequence[str | None], least: int = 3) -> list[str | None]:
    """The remedy in focus without the changes that last fewer than ``least`` sentences: a remark is no part of its own."""
    steady: list[str | None] = []
    for index, topic in enumerate(focus):
        ahead = focus[index : index + least]
        lasts = len(ahead) == least and all(other == topic for other in ahead)
        steady.append(topic if not steady or lasts or topic == steady[-1] else steady[-1])
    return steady


def to_parts(session: Session, stretches: Sequence[Stretch], focus: Sequence[str | None]) -> tuple[SessionPart, ...]:
    """Parts over heard words and times without gap; the first begins at 0, each ends where the next begins."""
    focus = _steady(focus)
    parts: list[SessionPart] = []
    split: list[tuple[PartKind, int, int, str | None]] = []
    for stretch in stretches:
        at = stretch.first
        for index in range(stretch.first, stretch.last + 1):
            if index == stretch.last or (focus[index] != focus[at] and stretch.kind in ("commentary", "reading")):
                if index > at:
                    split.append((stretch.kind, at, index, focus[at]))
                at = index
    starts = [session.sentences[first].start for _, first, _, _ in split]
    duration = session.reading.transcript.duration_ms
    for position, (kind, _, last, remedy) in enumerate(split):
        end = session.sentences[last - 1].end
        words = session.words(starts[position], end)
        begin_ms = 0 if not position else session.units[starts[position]].time.start_ms
        if position + 1 < len(split):
            end_ms = session.units[starts[position + 1]].time.start_ms
        else:
            end_ms = max(duration, session.units[end - 1].time.end_ms)
        shown = remedy if kind not in ("housekeeping", "close") else None
        parts.append(SessionPart(kind, words, TimeSpan(begin_ms, max(begin_ms, end_ms)), shown))
    return tuple(parts)
