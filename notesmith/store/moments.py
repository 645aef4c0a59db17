"""The searchable moments of a course: SQLite FTS5, ranked by BM25."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import msgspec

from notesmith.store.store import Store

# Columns: lecture_id, kind, start_ms, end_ms (not indexed), concepts, text, expanded.
_RANK = "bm25(moment, 0, 0, 0, 0, 3.0, 2.0, 0.6)"


class Moment(msgspec.Struct, frozen=True):
    """One thing that can be found. ``expanded`` holds other words for its concepts and is never shown."""

    kind: str
    start_ms: int
    end_ms: int
    concepts: str
    text: str
    expanded: str


def replace_moments(store: Store, lecture_id: str, moments: Iterable[Moment]) -> None:
    """Put a lecture's moments in place of its earlier ones."""
    with store.transaction() as connection:
        connection.execute("DELETE FROM moment WHERE lecture_id = ?", (lecture_id,))
        connection.executemany(
            "INSERT INTO moment (lecture_id, kind, start_ms, end_ms, concepts, text, expanded) VALUES (?,?,?,?,?,?,?)",
            ((lecture_id, m.kind, m.start_ms, m.end_ms, m.concepts, m.text, m.expanded) for m in moments),
        )


def match_moments(store: Store, expression: str, *, limit: int, kinds: Sequence[str] = ()) -> list[tuple[object, ...]]:
    """Rows (lecture_id, kind, start_ms, end_ms, concepts, text, rank), best first, for an FTS5 expression."""
    marks = ", ".join("?" for _ in kinds)
    only = f" AND kind IN ({marks})" if kinds else ""
    return store.query(
        f"SELECT lecture_id, kind, start_ms, end_ms, concepts, text, {_RANK} AS rank FROM moment"
        f" WHERE moment MATCH ?{only} ORDER BY rank LIMIT ?",
        (expression, *kinds, limit),
    )
