"""The words to settle, most worth a person's minute first. Plain functions over the store; no pages here."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
from rapidfuzz import fuzz, process

from notesmith.annotations import Correction, Corrections
from notesmith.desk.context import Choice
from notesmith.errors import ConflictError
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.transcript import TimeSpan, Transcript, WordRange, iter_sentences, sounding
from notesmith.verdicts import VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary.vocabulary import label_key

LONGEST_SENTENCE_WORDS = 45
CLIP_MARGIN_MS = 600
SUGGESTIONS = 8


class Place(msgspec.Struct, frozen=True):
    """One occurrence: the sentence around it in three parts, and the time of the sentence and of the span."""

    before: str
    heard: str
    after: str
    span: TimeSpan
    sentence: TimeSpan


class QueueItem(msgspec.Struct, frozen=True):
    """A heard form of one lecture with what is proposed for it. ``elsewhere`` counts other lectures with the form."""

    lecture_id: str
    title: str
    form: str
    proposed: Correction
    corrections: tuple[Correction, ...]
    elsewhere: int
    is_potency: bool
    has_sound: bool

    @property
    def worth(self) -> tuple[int, float]:
        """Potency first, then doubt times frequency. Doubt is the variance of a yes-or-no of this probability."""
        p = self.proposed.score
        return (0 if self.is_potency else 1, -(max(0.01, p * (1 - p)) * (len(self.corrections) + self.elsewhere)))


def word_rulings(verdicts: Sequence[VerdictEntry]) -> tuple[WordVerdict, ...]:
    return tuple(e.verdict for e in verdicts if isinstance(e.verdict, WordVerdict) and not e.undone)


def word_queue(
    vocabulary: Vocabulary, store: Store, verdicts: Sequence[VerdictEntry], *, restored: bool = False
) -> tuple[QueueItem, ...]:
    """The forms no person has decided on, in the order of their worth.

    Without ``restored``: what the tool proposes and did not dare to apply, and every potency. With it: what the tool
    applied by itself.
    """
    rulings = word_rulings(verdicts)
    ruled_course = frozenset(sounding(r.heard) for r in rulings if r.lecture_id is None and r.start_ms is None)
    ruled_here = frozenset((sounding(r.heard), r.lecture_id) for r in rulings if r.start_ms is None)
    found: dict[tuple[str, str], tuple[Lecture, list[Correction]]] = {}
    lectures_of: dict[str, set[str]] = {}
    for lecture in store.lectures():
        corrections = store.result(lecture.id, "corrections", Corrections)
        if corrections is None:
            continue
        wanted = [
            item
            for item in corrections.items
            if _is_wanted(item, vocabulary, restored=restored)
            and (form := sounding(item.heard)) not in ruled_course
            and (form, lecture.id) not in ruled_here
        ]
        for item in wanted:
            form = sounding(item.heard)
            found.setdefault((lecture.id, form), (lecture, []))[1].append(item)
            lectures_of.setdefault(form, set()).add(lecture.id)
    items = []
    for (lecture_id, form), (lecture, corrections_here) in found.items():
        best = max(corrections_here, key=lambda c: c.score)
        items.append(
            QueueItem(
                lecture_id,
                lecture.title,
                form,
                best,
                tuple(corrections_here),
                len(lectures_of[form]) - 1,
                _is_potency(best, vocabulary),
                lecture.media is not None,
            )
        )
    return tuple(sorted(items, key=lambda i: (*i.worth, i.lecture_id, i.corrections[0].segment_id, i.form)))


def _is_wanted(item: Correction, vocabulary: Vocabulary, *, restored: bool) -> bool:
    if any(e.kind == "verdict" for e in item.evidence):
        return False
    if restored:
        return item.state == "applied"
    return item.state == "proposed" or (item.state == "applied" and _is_potency(item, vocabulary))


def _is_potency(item: Correction, vocabulary: Vocabulary) -> bool:
    concept = vocabulary.get(item.concept_id)
    return concept is not None and concept.scheme == "potency"


def places(store: Store, item: QueueItem) -> tuple[Place, ...]:
    """The sentences an item's form stands in. Read for the item that is shown alone: transcripts are long."""
    lecture, _ = store.lecture(item.lecture_id)
    corrections = store.result(item.lecture_id, "corrections", Corrections)
    for stored in store.transcripts(lecture.recording_sha256):
        if corrections is not None and stored.transcript.digest == corrections.transcript_digest:
            return tuple(place_of(stored.transcript, one) for one in item.corrections)
    raise ConflictError("this lecture was heard again meanwhile; load the page again")


def place_of(transcript: Transcript, item: Correction) -> Place:
    """The sentence around a correction, as heard."""
    start = transcript.segment_starts[item.segment_id]
    return place_at(transcript, WordRange(start + item.word_start, start + item.word_end))


def place_at(transcript: Transcript, words: WordRange) -> Place:
    """The sentence around some words, at most 45 words long, and their times."""
    # A sentence can run over segments; look no further than the longest one that is shown.
    low = max(0, words.start - LONGEST_SENTENCE_WORDS)
    high = min(len(transcript.words), words.end + LONGEST_SENTENCE_WORDS)
    texts = tuple(word.text for word in transcript.words[low:high])
    first, last = words.start, words.end
    for begin, end in iter_sentences(texts):
        if low + begin < words.end and low + end > words.start:
            first, last = min(first, low + begin), max(last, low + end)
    around = WordRange(max(first, words.start - 25), min(last, words.end + 25))
    time = transcript.time(around)
    return Place(
        transcript.text(WordRange(around.start, words.start)),
        transcript.text(words),
        transcript.text(WordRange(words.end, around.end)),
        transcript.time(words),
        TimeSpan(max(0, time.start_ms - CLIP_MARGIN_MS), time.end_ms + CLIP_MARGIN_MS),
    )


def suggest(vocabulary: Vocabulary, text: str, limit: int = SUGGESTIONS) -> tuple[Choice, ...]:
    """Terms for what a person is typing, by any label: those that begin so, then those that hold it, then near ones."""
    key = label_key(text)
    if not key:
        return ()
    labels = vocabulary.by_label
    begins = [label for label in labels if label.startswith(key)]
    holds = [label for label in labels if key in label and not label.startswith(key)] if len(key) > 2 else []
    near: list[str] = []
    if len(begins) + len(holds) < limit and len(key) > 3:
        near = [
            str(hit[0]) for hit in process.extract(key, labels.keys(), scorer=fuzz.ratio, limit=limit, score_cutoff=70)
        ]
    chosen: dict[str, Choice] = {}
    ranked = [*sorted(begins, key=lambda s: (len(s), s)), *sorted(holds, key=lambda s: (len(s), s)), *near]
    for label in ranked:
        for concept_id in labels[label]:
            concept = vocabulary[concept_id]
            if concept.scheme == "rubric":
                continue  # the repertory's phrases are not words that are misheard
            if concept_id not in chosen:
                by = "" if label == label_key(concept.pref_label) else f", by “{label}”"
                chosen[concept_id] = Choice(concept_id, concept.pref_label, f"{concept.scheme}{by}")
        if len(chosen) >= limit:
            break
    return tuple(chosen.values())[:limit]
