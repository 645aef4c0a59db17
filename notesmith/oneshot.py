"""What the one-shot form writes: corrected captions and text, notes, and one JSON file with everything found.

``result.json`` is stable within a major version of ``format``. Its shape:

    format        "notesmith-result/1"
    lecture       id, title, date, series, part, parts, remedy_ids
    transcript    recording_sha256, language, asr_model, word_times, duration_ms,
                  segments: [{id, start_ms, end_ms, heard, restored}]
    corrections   [{segment_id, word_start, word_end, start_ms, end_ms, heard, restored, concept_id, concept,
                    score, state, evidence: [{kind, reason, weight}], rivals}]
    parts, points, vignettes, comparisons, prescriptions, questions, carry_overs, cautions, persons
                  as in notesmith.annotations, each with start_ms, end_ms, word_start, word_end
    index         [{concept_id, concept, scheme, taught, moments: [{start_ms, end_ms, said, taught}]}]

Word numbers count the words of the whole transcript from 0, half-open; in ``corrections`` they count inside the
segment. Times are milliseconds from the start of the recording.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import msgspec

from notesmith.files import write_atomic
from notesmith.lecture import CourseSettings, LectureContent
from notesmith.notes import compose, to_markdown
from notesmith.transcribe import write_text, write_vtt
from notesmith.vocabulary import Vocabulary

FORMAT = "notesmith-result/1"


def result(content: LectureContent, vocabulary: Vocabulary) -> dict[str, Any]:
    """Everything found, as plain JSON values in the shape above."""
    transcript, reading = content.transcript, content.reading
    found: dict[str, Any] = {"format": FORMAT, "lecture": msgspec.to_builtins(content.lecture)}
    found["transcript"] = {
        "recording_sha256": transcript.recording_sha256,
        "language": transcript.language,
        "asr_model": transcript.asr_model,
        "word_times": transcript.word_times,
        "duration_ms": transcript.duration_ms,
        "segments": [
            {
                "id": segment.id,
                "start_ms": segment.time.start_ms,
                "end_ms": segment.time.end_ms,
                "heard": segment.text,
                "restored": reading.text_of(transcript.segment_range(segment.id)),
            }
            for segment in transcript.segments
        ],
    }
    found["corrections"] = []
    for item in content.corrections.items:
        words = transcript.segments[item.segment_id].words[item.word_start : item.word_end]
        found["corrections"].append(
            msgspec.to_builtins(item)
            | {
                "start_ms": words[0].time.start_ms,
                "end_ms": words[-1].time.end_ms,
                "concept": vocabulary.label(item.concept_id),
            }
        )
    extraction = msgspec.to_builtins(content.extraction)
    for name in ("parts", "points", "vignettes", "comparisons", "prescriptions", "questions", "carry_overs",
                 "cautions", "persons"):  # fmt: skip
        found[name] = [_flat(item) for item in extraction[name]]
    found["index"] = _index(content, vocabulary)
    return found


def _flat(value: Any) -> Any:
    """Spell ``words`` and ``time`` out as named numbers, so that a reader needs no knowledge of our types."""
    if isinstance(value, list):
        return [_flat(item) for item in value]
    if not isinstance(value, dict):
        return value
    flat: dict[str, Any] = {}
    for name, item in value.items():
        if name == "words" and isinstance(item, dict):
            flat |= {"word_start": item["start"], "word_end": item["end"]}
        elif name == "time" and isinstance(item, dict):
            flat |= {"start_ms": item["start_ms"], "end_ms": item["end_ms"]}
        else:
            flat[name] = _flat(item)
    return flat


def _index(content: LectureContent, vocabulary: Vocabulary) -> list[dict[str, Any]]:
    entries: dict[str, dict[str, Any]] = {}
    for mention in content.extraction.mentions:
        concept = vocabulary.get(mention.concept_id)
        entry = entries.setdefault(
            mention.concept_id,
            {
                "concept_id": mention.concept_id,
                "concept": vocabulary.label(mention.concept_id),
                "scheme": concept.scheme if concept else "",
                "taught": False,
                "moments": [],
            },
        )
        entry["taught"] = entry["taught"] or mention.taught
        entry["moments"].append(
            {
                "start_ms": mention.time.start_ms,
                "end_ms": mention.time.end_ms,
                "said": mention.said,
                "taught": mention.taught,
            }
        )
    return sorted(entries.values(), key=lambda entry: entry["concept_id"])


def write_results(content: LectureContent, vocabulary: Vocabulary, folder: Path) -> tuple[Path, ...]:
    """Write all four files and return their paths. Raises OutputError."""
    settings = CourseSettings(title=content.lecture.title)
    encoded = msgspec.json.format(msgspec.json.encode(result(content, vocabulary)), indent=2)
    files = {
        "corrected.vtt": write_vtt(content.reading),
        "corrected.txt": write_text(content.reading),
        "notes.md": to_markdown(compose(content, vocabulary, settings)),
        "result.json": encoded.decode() + "\n",
    }
    paths = []
    for name, text in files.items():
        write_atomic(folder / name, text)
        paths.append(folder / name)
    return tuple(paths)
