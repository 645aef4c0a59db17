"""Find the moments where something is taught, over the course store, by the same words a student uses on the site."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from rapidfuzz import fuzz, process

from notesmith.lecture import LectureContent
from notesmith.site.records import records
from notesmith.site.views import LectureView
from notesmith.store import Store
from notesmith.store.moments import Moment, match_moments, replace_moments
from notesmith.verdicts import VerdictEntry
from notesmith.vocabulary import Vocabulary, label_key

MAX_QUERY = 300
NEAR_LABEL = 86  # RapidFuzz ratio (0-100) from which a query counts as a misspelt label
NEAR_WORD = 80
KIND_BONUS = {"point": 1.0, "case": 0.5, "question": 0.5, "moment": 0.0}


class Hit(msgspec.Struct, frozen=True):
    """A found moment: the sentence, its kind, the lecture and the time. A higher score is better."""

    lecture_id: str
    kind: str
    text: str
    start_ms: int
    end_ms: int
    concept_ids: tuple[str, ...]
    score: float


def index_lecture(
    store: Store, content: LectureContent, vocabulary: Vocabulary, verdicts: Sequence[VerdictEntry] = ()
) -> None:
    """Make a lecture's moments findable; names are replaced by roles before they are indexed."""
    view = LectureView(content, vocabulary, verdicts)
    moments = [
        Moment(r["kind"], r["start_ms"], r["start_ms"], r["remedy"], r["text"], r["also"])
        for r in records(view, vocabulary)
    ]
    replace_moments(store, content.lecture.id, moments)


def expand(vocabulary: Vocabulary, query: str) -> tuple[str, ...]:
    """The wordings a query may stand for: itself, and the preferred labels it leads to (also misspelt)."""
    key = label_key(query[:MAX_QUERY])
    found = [c.pref_label for c in vocabulary.find(query) if c.scheme not in ("prescription", "potency")]
    if not found:
        found = [c.pref_label for part in key.split() if len(part) > 3 for c in vocabulary.find(part, "remedy")]
    if not found and len(key) > 4:
        near = process.extract(key, vocabulary.by_label.keys(), scorer=fuzz.ratio, score_cutoff=NEAR_LABEL, limit=3)
        found = [vocabulary.label(i) for label, _, _ in near for i in vocabulary.by_label[label]]
    return tuple(dict.fromkeys((key, *(label_key(label) for label in found))))[:8]


def search(
    store: Store, vocabulary: Vocabulary, query: str, *, limit: int = 10, kinds: Sequence[str] = ()
) -> list[Hit]:
    """The best moments for a query in any of the wordings it may stand for; empty where nothing fits."""
    wordings = [words for words in expand(vocabulary, query) if words]
    if not wordings:
        return []
    phrases = [f'"{words}"' for words in wordings]
    every = [" AND ".join(f'"{word}"' for word in words.split()) for words in wordings if " " in words]
    expression = " OR ".join([*phrases, *(f"({one})" for one in every)])
    rows = match_moments(store, expression, limit=limit * 3, kinds=kinds)
    if not rows:
        loose = " OR ".join(f'"{word}"' for words in wordings for word in words.split() if len(word) > 2)
        rows = match_moments(store, loose, limit=limit * 3, kinds=kinds) if loose else []
    hits = [
        Hit(str(lecture), str(kind), str(text), int(str(start)), int(str(end)),
            tuple(c.id for c in vocabulary.find(str(concepts), "remedy")) if concepts else (),
            -float(str(rank)) + KIND_BONUS.get(str(kind), 0.0))
        for lecture, kind, start, end, concepts, text, rank in rows
    ]  # fmt: skip
    return sorted(hits, key=lambda hit: (-hit.score, hit.lecture_id, hit.start_ms))[:limit]
