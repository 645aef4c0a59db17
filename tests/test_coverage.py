"""Coverage by remedy and aspect."""

from __future__ import annotations

from notesmith.annotations import Extraction, TeachingPoint, TextbookReading
from notesmith.coverage import coverage, unread_lines
from notesmith.transcript import TimeSpan, WordRange


def point(kind: str, start: int, end: int) -> TeachingPoint:
    return TeachingPoint("k", kind, "t", "t", WordRange(0, 1), TimeSpan(start, end), "remedy/sepia")  # type: ignore[arg-type]


def test_time_is_counted_once_where_points_overlap() -> None:
    one = Extraction("d", points=(point("mind", 0, 1000), point("mind", 500, 1500), point("modalities", 2000, 2500)))
    (sepia,) = coverage({"l1": one, "l2": Extraction("e", points=(point("mind", 0, 100),))})
    assert sepia.time_ms == 2100
    assert [(a.aspect, a.points, a.time_ms, a.lecture_ids) for a in sepia.aspects] == [
        ("mind", 3, 1600, ("l1", "l2")), ("modalities", 1, 500, ("l1",)),
    ]  # fmt: skip
    assert "essence" in sepia.missing
    assert "mind" not in sepia.missing


def test_lines_not_read_yet() -> None:
    read = TextbookReading(WordRange(0, 3), 2, "two")
    assert unread_lines(("one", "two", "", "four"), (read,)) == ((1, "one"), (4, "four"))
