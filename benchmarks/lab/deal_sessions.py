"""New sessions dealt from extracted ones: the beginning of one and the end of another, with what was found in each.

The whole way of a session (import, correction, extraction) takes a second or two of CPU; a dealt one takes a twentieth.
It is stored under the keys the whole way would have stored it under, so that every later step takes it for a session
that is up to date.
"""

from __future__ import annotations

import hashlib
import random
from collections.abc import Sequence
from functools import lru_cache
from typing import Any

import msgspec

from notesmith import pipeline
from notesmith.annotations import Correction, Corrections, Extraction
from notesmith.labels import lecture_id
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange

EARLIEST, LATEST = 0.3, 0.7  # of a session's segments, where it is cut; beyond the opening words that label it
SUBJECTS = 2
LISTS = tuple(name for name in Extraction.__struct_fields__ if name not in ("transcript_digest", "remedy_ids"))
Plain = dict[str, Any]


def deal(tools: pipeline.Tools, store: Store, sources: Sequence[Lecture], number: int, date: str) -> Lecture:
    """Put session ``number`` into the course, drawn by lot from ``sources``, with its transcript and results.

    What was found across the place where a session is cut is left out.
    """
    chance = random.Random(f"deal {number}")
    share = chance.uniform(EARLIEST, LATEST)
    first, last = chance.sample(list(sources), 2)
    segments: list[Segment] = []
    corrections: list[Correction] = []
    found: dict[str, list[Plain]] = {name: [] for name in LISTS}
    words = at_ms = 0
    for lecture, ending in ((first, False), (last, True)):
        transcript, corrected, extracted = _stored(store, lecture)
        cut = int(share * len(transcript.segments))
        kept = range(cut, len(transcript.segments)) if ending else range(cut)
        start = transcript.segment_starts[kept.start]
        end = transcript.segment_range(kept[-1]).end
        by_words, by_ms = words - start, at_ms - transcript.segments[kept.start].time.start_ms
        by_id = len(segments) - kept.start
        for segment in transcript.segments[kept.start : kept.stop]:
            said = tuple(Word(_later(word.time, by_ms), word.text, word.probability) for word in segment.words)
            segments.append(Segment(segment.id + by_id, said, segment.speaker))
        for item in corrected.items:
            if item.segment_id in kept:
                corrections.append(msgspec.structs.replace(item, segment_id=item.segment_id + by_id))
        for name, value, ranges in extracted:
            if name == "parts":
                value = _clipped(value, transcript, start, end)
                ranges = _ranges(value)
            if ranges and all(start <= a and b <= end for a, b in ranges):
                found[name].append(_moved(value, by_words, by_ms))
        words, at_ms = words + end - start, segments[-1].time.end_ms
    sha256 = hashlib.sha256(f"dealt session {number}".encode()).hexdigest()
    dealt = Transcript(
        sha256, transcript.language, transcript.asr_model, tuple(segments), at_ms,
        transcript.word_times,
    )  # fmt: skip
    taught = [point["remedy_id"] for point in found["points"] if point["remedy_id"]]
    subjects = sorted(set(taught), key=lambda one: (-taught.count(one), one))[:SUBJECTS]
    lecture = msgspec.structs.replace(first, id=lecture_id(date, first.title), recording_sha256=sha256, date=date)
    made = Corrections(dealt.digest, tuple(corrections))
    what = msgspec.convert({**found, "transcript_digest": dealt.digest, "remedy_ids": subjects}, type=Extraction)
    with store.transaction():
        store.add_lecture(lecture)
        store.put_transcript(pipeline.IMPORTED, dealt)
        key = pipeline.corrections_key(tools, lecture, dealt, store.verdicts())
        store.put_result(lecture.id, "corrections", key, made)
        store.put_result(lecture.id, "extraction", pipeline.extraction_key(tools, lecture, dealt, made), what)
    return lecture


def _later(time: TimeSpan, by_ms: int) -> TimeSpan:
    return TimeSpan(time.start_ms + by_ms, time.end_ms + by_ms)


@lru_cache(maxsize=400)
def _stored(
    store: Store, lecture: Lecture
) -> tuple[Transcript, Corrections, list[tuple[str, Plain, list[tuple[int, int]]]]]:
    """Transcript and corrections of a session, and what was found in it: which list, what, and its ranges of words."""
    transcript = store.transcript(lecture.recording_sha256, pipeline.IMPORTED)
    corrections = store.result(lecture.id, "corrections", Corrections)
    extraction = store.result(lecture.id, "extraction", Extraction)
    assert transcript and corrections and extraction, f"{lecture.id} is not extracted"
    found = [(name, item, _ranges(item)) for name in LISTS for item in msgspec.to_builtins(getattr(extraction, name))]
    return transcript, corrections, found


def _clipped(part: Plain, transcript: Transcript, start: int, end: int) -> Plain:
    """A part of a session as far as it lies within a range of words; empty where it does not."""
    first, beyond = max(start, part["words"]["start"]), min(end, part["words"]["end"])
    if first >= beyond:
        return {}
    inside = WordRange(first, beyond)
    return part | {"words": msgspec.to_builtins(inside), "time": msgspec.to_builtins(transcript.time(inside))}


def _ranges(value: Any) -> list[tuple[int, int]]:
    """Every range of words in something found."""
    if isinstance(value, dict):
        if value.keys() == {"start", "end"}:
            return [(value["start"], value["end"])]
        value = value.values()
    elif not isinstance(value, list | tuple):
        return []
    return [one for inner in value for one in _ranges(inner)]


def _moved(value: Any, by_words: int, by_ms: int) -> Any:
    """The same with every range of words and every time moved."""
    if isinstance(value, dict):
        if value.keys() == {"start", "end"}:
            return {name: at + by_words for name, at in value.items()}
        if value.keys() == {"start_ms", "end_ms"}:
            return {name: at + by_ms for name, at in value.items()}
        return {name: _moved(inner, by_words, by_ms) for name, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_moved(inner, by_words, by_ms) for inner in value]
    return value
