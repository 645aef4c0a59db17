"""Questions put in the session, their answers, and those that stayed open."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from notesmith.annotations import Question
from notesmith.extract.keys import key_of, unique_keys
from notesmith.extract.mentions import Hit
from notesmith.extract.parts import Stretch
from notesmith.extract.sentences import Look
from notesmith.extract.session import Session
from notesmith.extract.tidy import tidy

#: Sentences; what goes on longer is teaching again.
LONGEST_ANSWER = 5
_TAG = re.compile(
    r"(?:,|\.)? ?(?:right|okay|ok|no|isn't it|is it not|yes|yeah|clear|understood|correct|na|got it|you "
    r"see|are you getting it|are you following|following|is it clear|is that clear|am i right|can you "
    r"imagine|you know|any doubts|any questions|shall we (?:start|go|continue|begin)|can you hear me|can "
    r"everyone hear me|am i audible|is (?:it|this|my \w+) (?:visible|audible|clear)|with me|hai na)\?+$"
)
_CLASS_CHECK = re.compile(
    r"\b(?:hear me|audible|visible|can (?:you|everyone|everybody) see|following|any (?:questions?|"
    r"doubts?|quer)|is (?:it|this|that|everything) clear|are you (?:all )?(?:there|ready|with me|getting|"
    r"writing|done)|shall (?:we|i)|"
    r"have you (?:all )?(?:written|got|finished|brought|opened)|did you (?:all )?(?:get|write|bring)|who "
    r"(?:is|has) (?:absent|late|not)|ready|can we (?:start|begin|go|move|continue)|where (?:was|were) "
    r"(?:i|we)|what (?:was|were) (?:i|we) (?:saying|doing)|everyone here|how are you)\b"
)
_REPORTED = re.compile(
    r"\b(?:(?:some(?:one|body)|a student|one of you|one student|(?!(?:when|if|be|being|been|are|get|got|not|to|i|we|you|always|never|then)\b)\w+) (?:has |is |was |had )?(?:ask(?:ed|"
    r"s|ing)|want(?:s|ed) to know|typed|wrote|written)|(?:the|your|her|his|one|another|next|first|last|"
    r"a) (?:question|doubt|query) (?:is|was|here|from|about)|question (?:is|was) (?:whether|that|about|"
    r"how|why|if))\b"
)
_OPEN = re.compile(
    r"\b(?:i (?:do not|don't) know|i (?:am|'m) not sure|i (?:will|shall|have to|need to|must) "
    r"(?:\w+ )?(?:check|look (?:it )?up|find out|see|verify|think|come back)|we (?:will|shall) "
    r"(?:\w+ )?(?:check|look|take (?:it|this|that)|come (?:back )?to|discuss|see)|let me (?:check|look|"
    r"think about|find)|"
    r"(?:next|another|later|tomorrow) (?:class|time|session|lecture)|leave (?:it|that)|keep (?:it|that|"
    r"this)|good question[^.]*(?:later|next|find out|homework)|that is homework|you find out|find "
    r"(?:it )?out (?:yourself|yourselves|and tell))\b"
)
_ACK = re.compile(
    r"^(?:(?:yes|no|good|very good|nice|excellent|okay|ok|right|correct|hmm|um|a|the|very|question|point|"
    r"thank you|thanks|sir|madam|ma'am|so|well|see|good question|\w+,?)[,. ]*){1,5}$"
)
_NEXT_TOPIC = re.compile(
    r"^(?:(?:so|now|okay|ok|and|right|well|alright),? )*(?:any (?:other|more) (?:questions?|doubts?)|any "
    r"(?:questions?|doubts?)|next question|one more question|another question|let us (?:continue|go|move|"
    r"proceed|come|now|stop)|let's (?:continue|go|move|proceed|stop)|coming back|moving|back to|thank "
    r"you all|we (?:will )?(?:stop|continue|move))\b"
)


def find_questions(
    session: Session, looks: Sequence[Look], stretches: Sequence[Stretch], hits: Sequence[Hit]
) -> tuple[tuple[Question, ...], frozenset[int]]:
    """The questions, and the sentences that put them."""
    kind_at = {index: stretch.kind for stretch in stretches for index in range(stretch.first, stretch.last)}
    found: list[Question] = []
    used: set[int] = set()
    for index, look in enumerate(looks):
        if index in used or not asks_here(session, look, kind_at.get(index, "commentary")):
            continue
        last = index + 1
        # a question that is only told of stands by itself or first: after one that is put, it is the answer
        while (
            last < len(looks)
            and last - index < 4
            and looks[last].question
            and asks_here(session, looks[last], kind_at.get(last, "commentary"))
        ):
            last += 1
        used.update(range(index, last))
        start, end = looks[index].sentence.start, looks[last - 1].sentence.end
        answer = _answer(session, looks, kind_at, last)
        text = " ".join(
            tidy(tuple(u.text for u in session.units[looks[i].sentence.start : looks[i].sentence.end])).text
            for i in range(index, last)
        )
        answer_text, answer_units = (None, None) if answer is None else answer
        topic_end = end if answer_units is None else answer_units[1]
        topics = [
            hit.concept_id
            for hit in hits
            if start <= hit.start < topic_end and not hit.concept_id.startswith("chapter/")
        ]
        found.append(
            Question(
                key_of("question", session.low(start, end)), text, session.words(start, end), session.time(start, end),
                answer_text, None if answer_units is None else session.words(*answer_units), tuple(dict.fromkeys(topics))[:6],
            )
        )  # fmt: skip
    keys = unique_keys([q.key for q in found])
    import msgspec

    return tuple(msgspec.structs.replace(q, key=k) for q, k in zip(found, keys, strict=True)), frozenset(used)


#: What the rules' word on a question is worth beside the language model's log-odds, and those. Chosen on sets left out.
RULED, READ_SHARE = 1.5, 0.8


def asks_here(session: Session, look: Look, part: str) -> bool:
    """Whether a sentence asks of the subject, by the rules and the language model."""
    read_as = session.opinions.odds("q", look.sentence.start, look.sentence.end)
    return (RULED if is_question(look, part) else -RULED) + READ_SHARE * read_as > 0


def is_question(look: Look, part: str) -> bool:
    """A question about the subject: not a tag, not a check whether the class hears."""
    low = look.sentence.low
    if not look.question and not (_REPORTED.search(low) and part == "questions"):
        return False
    if _CLASS_CHECK.search(low) and look.content < 2:
        return False
    if (
        look.question
        and _TAG.search(low)
        and not re.match(r"^(?:\w+,? ){0,2}(?:what|why|how|when|which|who|can|is|does|do|should)\b", low)
    ):
        return False
    if look.meaningful < 3:
        return False
    if part == "questions":
        return look.content > 0 or look.meaningful >= 4
    if part in ("housekeeping", "close"):
        return False
    if part == "case":
        return False
    return bool(look.content) and look.meaningful >= 4


def _answer(
    session: Session, looks: Sequence[Look], kind_at: Mapping[int, str], first: int
) -> tuple[str, tuple[int, int]] | None:
    """What follows a question up to the next question, announcement or end of the part; None where it stays open."""
    begin = first
    while (
        begin < len(looks) and begin - first < 3 and _ACK.match(looks[begin].sentence.low) and not looks[begin].content
    ):
        begin += 1
    last = begin
    while last < len(looks) and last - begin < LONGEST_ANSWER:
        look = looks[last]
        if kind_at.get(last) != kind_at.get(first - 1) or _NEXT_TOPIC.match(look.sentence.low):
            break
        if last > begin and is_question(look, kind_at.get(last, "questions")):
            break
        last += 1
    if kind_at.get(first - 1) != "questions":
        last = min(last, begin + 3)
    if last == begin:
        return None
    said = [looks[i] for i in range(begin, last)]
    if all(not look.content for look in said) and not any(
        look.meaningful >= 4 and not _OPEN.search(look.sentence.low) for look in said
    ):
        return None
    if _OPEN.search(said[0].sentence.low) or (len(said) <= 2 and any(_OPEN.search(look.sentence.low) for look in said)):
        return None
    if said[0].question:
        return None
    start, end = said[0].sentence.start, said[-1].sentence.end
    text = " ".join(
        t
        for look in said
        if (t := tidy(tuple(u.text for u in session.units[look.sentence.start : look.sentence.end])).text)
        and not _ACK.match(look.sentence.low)
    )
    return (text, (start, end)) if text else None
