"""Index entries: every concept mentioned, and whether the place teaches it or only names it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from notesmith.annotations import Comparison, Mention, SessionPart, TeachingPoint
from notesmith.extract.mentions import Hit
from notesmith.extract.session import Session, bare


def build_index(
    session: Session,
    hits: Sequence[Hit],
    points: Sequence[TeachingPoint],
    comparisons: Sequence[Comparison],
    parts: Sequence[SessionPart],
) -> tuple[Mention, ...]:
    """A remedy is taught where a point or a compared fact is about it; a rubric where a point maps to it."""
    owner: dict[int, TeachingPoint] = {}
    for point in points:
        for word in range(point.words.start, point.words.end):
            owner[word] = point
    compared: dict[str, set[int]] = {}
    for comparison in comparisons:
        for fact in comparison.facts:
            compared.setdefault(fact.remedy_id, set()).update(range(fact.words.start, fact.words.end))
    mentions: list[Mention] = []
    idle = {word for part in parts if part.kind == "housekeeping" for word in range(part.words.start, part.words.end)}
    for hit in hits:
        if hit.concept_id.startswith(("rx/",)):
            continue
        words = session.words(hit.start, hit.end)
        if words.start in idle and not hit.concept_id.startswith("remedy/"):
            continue  # "good evening" is no rubric
        holder = owner.get(words.start)
        taught = False
        if holder is not None:
            if hit.concept_id.startswith("remedy/"):
                taught = holder.remedy_id == hit.concept_id
            else:
                taught = hit.concept_id in holder.concept_ids
        taught = taught or words.start in compared.get(hit.concept_id, ())
        mentions.append(
            Mention(
                hit.concept_id, words, session.time(hit.start, hit.end), bare(session.text(hit.start, hit.end)), taught
            )
        )
    return tuple(mentions)


def session_remedies(
    points: Sequence[TeachingPoint], hits: Sequence[Hit], given: Sequence[str] = ()
) -> tuple[str, ...]:
    """The session's own remedies, most taught first: by time of the points about them, at least an eighth of the
    most taught one's and three points. ``given`` by a person come first and always count."""
    taught: Counter[str] = Counter()
    number: Counter[str] = Counter()
    for point in points:
        if point.remedy_id is not None:
            taught[point.remedy_id] += max(1, point.time.duration_ms)
            number[point.remedy_id] += 1
    most = max(taught.values(), default=0)
    own = [
        r for r, ms in sorted(taught.items(), key=lambda item: (-item[1], item[0])) if ms * 8 >= most and number[r] >= 3
    ]
    if not own and taught:
        own = [max(taught, key=lambda r: (taught[r], r))]
    if not own:
        mentioned = Counter(hit.concept_id for hit in hits if hit.concept_id.startswith("remedy/"))
        own = [r for r, _ in mentioned.most_common(1)]
    return tuple(dict.fromkeys((*given, *own)))
