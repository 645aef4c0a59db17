"""Remedies set side by side on the board and then spoken of by their places: "the first", "the middle one", "number three".

A lecturer names them in one breath ("three columns, Kali carb, Bryonia and Nux vomica") and afterwards says only where they
stand. Each clause goes to the remedy at its place; "ours" is the remedy in focus, "the other" the one spoken of before.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence

from notesmith.extract.contrast import Clause, negated, owns, relates
from notesmith.extract.mentions import Hit
from notesmith.extract.sentences import Look
from notesmith.extract.session import Session

_SETS_UP = re.compile(
    r"\b(?:board|columns?|lines?|side by side|put|take|draw|triangle|fingers?|scale|compar\w+|contrast|three|four|two|line (?:them|'em)|between|versus|table)\b"
)
_NO_PLACE = (
    r"(?! (?:days?|nights?|weeks?|months?|years?|times?|visits?|doses?|sleep|hours?|half|stages?|sessions?|class(?:es)?|lectures?|things?|lines?|parts?|child|pregnanc\w+|"
    r"trimester|two|three|of|grades?|edition|page|questions?|cases?|symptoms?|point|step|aid|term|bench|row|floor|thought|rule|night|spring|attack)\b)"
)
_NOUN = r"(?: (?:one|column|finger|fellow|remedy|lady|man|gentleman|patient|corner|person))?"
_PLACES = re.compile(
    rf"\b(?:(?:(?:the|this|that|my|in) (?P<nth>first|second|third|fourth)|(?:column|number) (?P<count>one|two|three|four|1|2|3|4)){_NOUN}{_NO_PLACE}|"
    rf"(?P<bare>first|second|third|fourth) (?:one|column|finger|fellow|remedy|lady|man|is|has|was)\b|"
    rf"the (?P<edge>last|former|latter|middle|other two)(?: one)?{_NOUN}{_NO_PLACE}|in the (?P<middle>middle)\b|"
    rf"(?P<other>there,? (?=it|the|he|she)|the other)(?: one| fellow| remedy| lady| man)?(?! (?:day|side|hand|two|night|week|way|half)\b)|"
    rf"(?P<ours>ours|our (?:man|fellow|lady|patient|remedy|one|girl|gentleman|friend)|this (?:gentleman|one|fellow|remedy)|here (?=it|he|she|the)))\b"
)
_NUMBERS = {
    word: place
    for place, words in enumerate(("first one 1", "second two 2", "third three 3", "fourth four 4"))
    for word in words.split()
}
_BEGINS = re.compile(
    r"(?<!in )(?<!of )(?<!for )(?<!what )(?<!than )(?<!like )(?<!with )(?<!is )\b(?:the|number|this) (?:first|second|third|last|middle|one|two|three|former|latter|other)(?: one| finger| fellow)? "
    r"(?:is|has|have|was|wants?|gets?|also|he|she|it|do|does|don't|fold|one|needs?|likes?|asks?|comes?|will|can|cannot|can't)\b|"
    r"\b(?:in|for) the (?:first|second|third|last|middle|former|latter|other)(?: one| finger| fellow)? (?:it|it's|he|he's|she|she's|there|the|lying)\b"
)
#: A board holds for so many sentences, and ends after so many that name neither a place nor one of its remedies.
_LONGEST, _SILENT = 24, 4
_LEAST_PLACES = 2


def clauses_on_boards(
    session: Session,
    looks: Sequence[Look],
    hits_of: Mapping[int, Sequence[Hit]],
    focus: Sequence[str | None],
) -> dict[int, tuple[Clause, ...]]:
    """By sentence, the clauses of those in which remedies are spoken of by their places on a board."""
    found: dict[int, tuple[Clause, ...]] = {}
    index = 0
    while index < len(looks):
        remedies = _announced(session, looks, hits_of, index)
        own = _told_by_place(session, looks, hits_of, focus, index + 1, remedies) if remedies else {}
        found |= own
        index = max(own, default=index) + 1
    return found


def _announced(
    session: Session, looks: Sequence[Look], hits_of: Mapping[int, Sequence[Hit]], index: int
) -> tuple[str, ...]:
    """The remedies a sentence sets side by side, in the order named; none where it does not."""
    look = looks[index]
    # without stops the names may be cut apart: "… three for the vertigo | conium cocculus and the third i take | is gelsemium"
    bare = look.sentence.text[-1:].isalnum()
    named = tuple(
        dict.fromkeys(
            hit.concept_id
            for near in (range(max(0, index - 2), index + 1) if bare else (index,))
            for hit in hits_of.get(near, ())
            if hit.concept_id.startswith("remedy/")
        )
    )
    if len(named) < 2 or look.question or (look.promise and len(named) < 3) or relates(look.sentence.low):
        return ()
    before = looks[index - 1].sentence.low if index else ""
    if len(named) < 3 and not _SETS_UP.search(look.sentence.low) and not _SETS_UP.search(before):
        return ()
    return named


def _told_by_place(
    session: Session,
    looks: Sequence[Look],
    hits_of: Mapping[int, Sequence[Hit]],
    focus: Sequence[str | None],
    first: int,
    board: tuple[str, ...],
) -> dict[int, tuple[Clause, ...]]:
    found: dict[int, tuple[Clause, ...]] = {}
    places: set[int] = set()
    spoken: list[str] = []  # the remedies spoken of, the latest last
    silent = 0
    last = first
    others = False  # whether "ours" or "the other" was said
    counts = Counter(hit.concept_id for hits in hits_of.values() for hit in hits if hit.concept_id in board)
    most = max(board, key=lambda remedy: (counts[remedy], remedy))
    for index in range(first, min(len(looks), first + _LONGEST)):
        look = looks[index]
        low = look.sentence.low
        if look.question or look.promise or look.reading or look.narration > 1:
            break
        named = {hit.concept_id for hit in hits_of.get(index, ()) if hit.concept_id.startswith("remedy/")}
        placed = list(_PLACES.finditer(low))
        counted = {place for match in placed if (place := _counted(match)) is not None}
        counted |= {len(board) - 1 if match["edge"] in ("last", "latter") else 0 for match in placed if match["edge"]}
        if not placed and not named & set(board):
            silent += 1
            if silent > _SILENT or not spoken:
                break
        else:
            silent = 0
        if placed:
            last = index
        others = others or any(match["other"] or match["ours"] for match in placed)
        if relates(low) or len(named) > 1:
            spoken += [one for one in board if one in named]
            continue  # names enough to be cut by them
        places |= counted
        topic = focus[index]
        ours = topic if topic is not None and topic in board else most
        clauses = _clauses(session, look, hits_of.get(index, ()), board, ours, spoken)
        if clauses:
            found[index] = clauses
    # "He is better after a short nap." may go on once more; then something else begins.
    return (
        {at: own for at, own in found.items() if at <= last + 1}
        if places and len(places) + others >= _LEAST_PLACES
        else {}
    )


def _clauses(
    session: Session, look: Look, hits: Sequence[Hit], board: tuple[str, ...], ours: str, spoken: list[str]
) -> tuple[Clause, ...]:
    """The sentence cut where the talk turns to another place; ``spoken`` is gone on with."""
    sentence = look.sentence
    bounds = [sentence.start]
    if sentence.text[-1:].isalnum():  # no stops: a place that begins a clause is seen by what follows it
        for match in _BEGINS.finditer(sentence.low):
            unit = sentence.start + sentence.low.count(" ", 0, match.start())
            if unit - bounds[-1] > 2 and sentence.end - unit > 3:
                bounds.append(unit)
    for unit in range(sentence.start + 2, sentence.end - 2):
        low = session.units[unit].low
        stopped = session.units[unit - 1].text.endswith((",", ";", ":"))
        if (stopped or low in {"while", "whereas", "but", "and"}) and all(abs(unit - bound) > 2 for bound in bounds):
            bounds.append(unit)
    bounds.sort()
    clauses: list[Clause] = []
    for start, end in zip(bounds, [*bounds[1:], sentence.end], strict=True):
        low = session.low(start, end)
        remedy = _whose(session, start, end, low, hits, board, ours, spoken)
        if clauses and (remedy is None or remedy == clauses[-1].remedy_id):
            before = clauses[-1]
            clauses[-1] = Clause(
                before.start, end, before.remedy_id, before.negated or negated(low), (), before.explicit
            )
            continue
        explicit = remedy is not None
        if remedy is None and spoken:
            remedy = spoken[-1]
        clauses.append(Clause(start, end, remedy, negated(low), (), explicit))
        if remedy is not None:
            if remedy in spoken:
                spoken.remove(remedy)
            spoken.append(remedy)
    if len(clauses) > 1 and not clauses[0].explicit and clauses[0].end - clauses[0].start < 3:
        second = clauses[1]  # "And, the last one has …"
        clauses[:2] = [Clause(clauses[0].start, second.end, second.remedy_id, second.negated, (), second.explicit)]
    return tuple(clauses) if clauses and clauses[0].remedy_id is not None else ()


def _whose(
    session: Session, start: int, end: int, low: str, hits: Sequence[Hit], board: tuple[str, ...], ours: str, spoken: Sequence[str]
) -> str | None:  # fmt: skip
    """The remedy a clause is about, by name or by place; None where it says neither."""
    for hit in hits:
        if start <= hit.start < end and hit.concept_id.startswith("remedy/") and owns(session, start, hit):
            return hit.concept_id
    match = _PLACES.search(low)
    if match is None:
        return None
    if match["ours"]:
        return ours
    if match["other"]:
        return spoken[-2] if len(spoken) >= 2 else next((r for r in board if not spoken or r != spoken[-1]), None)
    if match["middle"] or match["edge"] == "middle":
        return board[len(board) // 2] if len(board) % 2 else None
    if match["edge"] == "last":
        return board[-1]
    if match["edge"] in ("former", "latter"):
        return board[match["edge"] == "latter"]
    place = _counted(match)
    return board[place] if place is not None and place < len(board) else None


def _counted(match: re.Match[str]) -> int | None:
    """The place a number names, from 0."""
    return _NUMBERS.get(match["nth"] or match["count"] or match["bare"])
