"""Index entries: every concept mentioned, and whether the place teaches it or only names it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from wordfreq import zipf_frequency

from notesmith.annotations import Comparison, Mention, SessionPart, TeachingPoint
from notesmith.extract.mentions import ORDINARY_ZIPF, Hit
from notesmith.extract.session import Session, bare, keys_of


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
    told = {word for part in parts if part.kind == "case" for word in range(part.words.start, part.words.end)}
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
                taught = hit.concept_id in holder.concept_ids and not _denied(session, hit)
        taught = taught or words.start in compared.get(hit.concept_id, ())
        if not taught and hit.concept_id.startswith("rubric/") and words.start not in told and _ordinary(session, hit):
            continue  # "don't hurry", said to a student
        mentions.append(
            Mention(
                hit.concept_id, words, session.time(hit.start, hit.end), bare(session.text(hit.start, hit.end)), taught
            )
        )
    return tuple(mentions)


_DENIAL = re.compile(r"\b(?:not|no|never|without|nor|neither|\w+n't)(?: [\w'-]+){0,3} $")
_DENIES_ITSELF = re.compile(
    r"\b(?:no|not|never|without|absen\w+|want(?:ing)?|loss|lost|\w+less\w*|aversion|does not|difficult\w*)\b"
)


def _denied(session: Session, hit: Hit) -> bool:
    """Whether the words of a rubric are said not to be so ("it is not that she is afraid of pain")."""
    if _DENIES_ITSELF.search(session.vocabulary[hit.concept_id].pref_label.casefold()):
        return False
    start = session.sentence_at(hit.start).start
    return bool(_DENIAL.search(session.low(max(start, hit.start - 6), hit.start) + " "))


def _ordinary(session: Session, hit: Hit) -> bool:
    """Whether a rubric was found by everyday words, which mean it only where somebody teaches or tells of a patient."""
    keys = [key for unit in session.units[hit.start : hit.end] for key in keys_of(unit)]
    return not hit.exact or (len(keys) == 1 and zipf_frequency(keys[0], "en") >= ORDINARY_ZIPF)


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
