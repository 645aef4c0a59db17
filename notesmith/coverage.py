"""What has been taught of each remedy over a course, with how much time, and what is still to come."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import get_args

import msgspec

from notesmith.annotations import Extraction, PointKind, TextbookReading
from notesmith.transcript import TimeSpan

ASPECTS: tuple[PointKind, ...] = get_args(PointKind)
#: Aspects of a remedy; the other kinds are about method, not about one remedy.
REMEDY_ASPECTS: tuple[PointKind, ...] = tuple(a for a in ASPECTS if a not in ("case-taking", "study advice"))


class AspectCoverage(msgspec.Struct, frozen=True):
    """One aspect of one remedy: number of points, time on them, lectures in course order."""

    aspect: PointKind
    points: int
    time_ms: int
    lecture_ids: tuple[str, ...]


class RemedyCoverage(msgspec.Struct, frozen=True):
    """A remedy's aspects in the order of revision, those not taught yet, and chapters spoken of."""

    remedy_id: str
    time_ms: int
    aspects: tuple[AspectCoverage, ...]
    missing: tuple[PointKind, ...]
    chapters: tuple[str, ...]


def coverage(extractions: Mapping[str, Extraction]) -> tuple[RemedyCoverage, ...]:
    """Coverage by remedy, most taught first. ``extractions`` by lecture id, in course order.

    The time on an aspect is the length of its points, overlapping ones counted once.
    """
    spans: dict[str, dict[PointKind, list[tuple[str, TimeSpan]]]] = {}
    chapters: dict[str, dict[str, None]] = {}
    for lecture_id, extraction in extractions.items():
        for point in extraction.points:
            if point.remedy_id is None or point.kind not in REMEDY_ASPECTS:
                continue
            spans.setdefault(point.remedy_id, {}).setdefault(point.kind, []).append((lecture_id, point.time))
            chapters.setdefault(point.remedy_id, {}).update(dict.fromkeys(point.chapters))
    found = []
    for remedy_id, by_aspect in spans.items():
        aspects = tuple(
            AspectCoverage(aspect, len(items), _length(items), tuple(dict.fromkeys(lecture for lecture, _ in items)))
            for aspect in REMEDY_ASPECTS
            if (items := by_aspect.get(aspect))
        )
        every = [item for items in by_aspect.values() for item in items]
        found.append(
            RemedyCoverage(
                remedy_id,
                _length(every),
                aspects,
                tuple(aspect for aspect in REMEDY_ASPECTS if aspect not in by_aspect),
                tuple(chapters.get(remedy_id, ())),
            )
        )
    return tuple(sorted(found, key=lambda c: (-c.time_ms, c.remedy_id)))


def unread_lines(textbook: Sequence[str], readings: Sequence[TextbookReading]) -> tuple[tuple[int, str], ...]:
    """Lines of the course's textbook, numbered from 1, that no session has read aloud yet; blank ones are left out."""
    read = {item.line_number for item in readings}
    return tuple((n, line) for n, line in enumerate(textbook, start=1) if line.strip() and n not in read)


def _length(items: Sequence[tuple[str, TimeSpan]]) -> int:
    total = 0
    for lecture in dict.fromkeys(lecture for lecture, _ in items):
        end = 0
        for span in sorted(span for own, span in items if own == lecture):
            total += max(0, span.end_ms - max(end, span.start_ms))
            end = max(end, span.end_ms)
    return total
