"""The words to settle, most worth a person's minute first. Plain functions over the store; no pages here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import msgspec

from notesmith.annotations import Correction, Corrections
from notesmith.errors import ConflictError
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.transcript import TimeSpan, Transcript, WordRange, iter_sentences, sounding
from notesmith.verdicts import VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary

LONGEST_SENTENCE_WORDS = 45
CLIP_MARGIN_MS = 600
LONGEST_CLIP_MS = 60_000
# What is heard of a doubtful word at first: the phrase that leads to it, and its end.
LEAD_MS, TAIL_MS = 1500, 600
SAME_PLACE_MS = 1500  # as rulings on one place are obeyed
RARE_ZIPF = 2.0  # fewer than one in ten million words of general English (wordfreq, Zipf scale)


class Place(msgspec.Struct, frozen=True):
    """One occurrence: the sentence around it in three parts; the times of the words, of the clip, and of its middle.

    ``clip`` is the sentence with a margin, at most a minute; ``near`` the few seconds of it that a person needs to
    hear to decide on the words.
    """

    before: str
    heard: str
    after: str
    span: TimeSpan
    clip: TimeSpan
    near: TimeSpan


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
    ruled_places: dict[tuple[str, str | None], list[int]] = {}
    for one in rulings:
        if one.start_ms is not None:
            ruled_places.setdefault((sounding(one.heard), one.lecture_id), []).append(one.start_ms)
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
        if any(lecture.id == ruled for _, ruled in ruled_places):
            wanted = _without_places(store, lecture, corrections, wanted, ruled_places)
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


def _without_places(
    store: Store,
    lecture: Lecture,
    corrections: Corrections,
    items: Sequence[Correction],
    ruled: Mapping[tuple[str, str | None], Sequence[int]],
) -> list[Correction]:
    """The items but those whose very place a person has ruled on."""
    for stored in store.transcripts(lecture.recording_sha256):
        if stored.transcript.digest == corrections.transcript_digest:
            return [
                item
                for item in items
                if not any(
                    abs(middle_of(stored.transcript, item) - at) <= SAME_PLACE_MS
                    for at in ruled.get((sounding(item.heard), lecture.id), ())
                )
            ]
    return list(items)


def middle_of(transcript: Transcript, item: Correction) -> int:
    """The middle of a correction's words in ms: how a ruling names a single place."""
    start = transcript.segment_starts[item.segment_id]
    span = transcript.time(WordRange(start + item.word_start, start + item.word_end))
    return (span.start_ms + span.end_ms) // 2


def _is_wanted(item: Correction, vocabulary: Vocabulary, *, restored: bool) -> bool:
    if any(e.kind == "verdict" for e in item.evidence):
        return False
    if restored:
        return item.state == "applied"
    return item.state == "proposed" or (item.state == "applied" and _is_potency(item, vocabulary))


def is_proposed(store: Store, lecture_id: str, form: str) -> bool:
    """Whether a form (as ``sounding`` gives it) waits for a person because something is proposed for it."""
    corrections = store.result(lecture_id, "corrections", Corrections)
    return corrections is not None and any(
        one.state == "proposed" and sounding(one.heard) == form for one in corrections.items
    )


def _is_potency(item: Correction, vocabulary: Vocabulary) -> bool:
    concept = vocabulary.get(item.concept_id)
    return concept is not None and concept.scheme == "potency"


def places(store: Store, item: QueueItem) -> tuple[tuple[Place, ...], int]:
    """The sentences an item's form stands in, and how often the form was heard in the lecture in all.

    Read for the item that is shown alone: transcripts are long.
    """
    lecture, _ = store.lecture(item.lecture_id)
    corrections = store.result(item.lecture_id, "corrections", Corrections)
    for stored in store.transcripts(lecture.recording_sha256):
        if corrections is not None and stored.transcript.digest == corrections.transcript_digest:
            heard = len(form_ranges(stored.transcript, item.form))
            return tuple(place_of(stored.transcript, one) for one in item.corrections), heard
    raise ConflictError("this lecture was heard again meanwhile; load the page again")


def form_ranges(transcript: Transcript, form: str) -> tuple[WordRange, ...]:
    """Every place where a form (as ``sounding`` gives it) was heard, inside one segment as a ruling applies."""
    plain = [sounding(word.text) for word in transcript.words]
    found = []
    for segment in transcript.segments:
        first = transcript.segment_starts[segment.id]
        last = first + len(segment.words)
        for start in range(first, last):
            if not plain[start] or not form.startswith(plain[start]):
                continue
            text = plain[start]
            for end in range(start + 1, last + 1):
                if text == form:
                    found.append(WordRange(start, end))
                if text == form or end == last or not form.startswith(text):
                    break
                text = f"{text} {plain[end]}" if plain[end] else text
    return tuple(found)


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
    time, span = transcript.time(around), transcript.time(words)
    near = TimeSpan(max(0, span.start_ms - LEAD_MS), min(span.end_ms + TAIL_MS, span.start_ms + LONGEST_CLIP_MS // 2))
    start = max(0, min(time.start_ms - CLIP_MARGIN_MS, near.start_ms))
    end = max(time.end_ms + CLIP_MARGIN_MS, near.end_ms)
    if end - start > LONGEST_CLIP_MS:  # speech without full stops: what matters is around the words
        start = max(start, near.start_ms - LONGEST_CLIP_MS // 4)
        end = min(end, start + LONGEST_CLIP_MS)
    return Place(
        transcript.text(WordRange(around.start, words.start)),
        transcript.text(words),
        transcript.text(WordRange(words.end, around.end)),
        span,
        TimeSpan(start, end),
        near,
    )
