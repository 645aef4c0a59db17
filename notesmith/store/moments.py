"""What a student can find, kept in the store's full-text table (SQLite FTS5)."""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable, Sequence

import msgspec

from notesmith.store.store import Store

_ROWS_A_LECTURE = 1 << 20


class MomentRow(msgspec.Struct, frozen=True):
    """One row. ``concepts`` and ``expanded`` are tokens separated by blanks, made of letters and digits only."""

    lecture_id: str
    kind: str
    start_ms: int
    end_ms: int
    concepts: str
    text: str
    expanded: str
    ordinal: int = 0


def _first_row(lecture_id: str) -> int:
    # A lecture's rows lie together under numbers made from its id, so that they are found without a scan.
    return (int.from_bytes(hashlib.sha256(lecture_id.encode()).digest()[:5], "big") << 20) + 1


def replace_moments(store: Store, lecture_id: str, rows: Iterable[MomentRow]) -> int:
    """Put a lecture's rows in place of its earlier ones; returns how many there are."""
    first = _first_row(lecture_id)
    made = list(rows)
    values = [
        (first + n, row.lecture_id, row.kind, row.start_ms, row.end_ms, row.concepts, row.text, row.expanded)
        for n, row in enumerate(made)
    ]
    span = (first, first + _ROWS_A_LECTURE - 2)
    with store.transaction() as connection:
        counts: Counter[str] = Counter()
        for row in made:
            counts.update({*row.concepts.split(), *row.expanded.split()})
        for concepts, expanded in connection.execute(
            "SELECT concepts, expanded FROM moment WHERE rowid BETWEEN ? AND ?", span
        ):
            counts.subtract({*concepts.split(), *expanded.split()})
        connection.execute("DELETE FROM moment WHERE rowid BETWEEN ? AND ?", span)
        connection.executemany(
            "INSERT INTO moment (rowid, lecture_id, kind, start_ms, end_ms, concepts, text, expanded)"
            " VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
            values,
        )
        connection.executemany(
            "INSERT INTO moment_term VALUES (?, ?) ON CONFLICT (term) DO UPDATE SET rows = rows + excluded.rows",
            sorted((term, n) for term, n in counts.items() if n),
        )
        connection.executemany(
            "DELETE FROM moment_term WHERE term = ? AND rows <= 0", [(term,) for term, n in counts.items() if n < 0]
        )
    return len(values)


def moment_count(store: Store) -> int:
    """How many rows there are, read from the table's own statistics (a count would walk all rows)."""
    rows = store.query("SELECT block FROM moment_data WHERE id = 1")
    if not rows or not isinstance(rows[0][0], bytes):
        return 0
    value = 0
    for byte in rows[0][0]:
        value = (value << 7) | (byte & 0x7F)
        if byte < 0x80:
            break
    return value


def frequencies(store: Store, tokens: Sequence[str]) -> dict[str, int]:
    """In how many rows each token stands; tokens that stand in none are left out."""
    marks = ", ".join("?" * len(tokens))
    rows = store.query(f"SELECT term, rows FROM moment_term WHERE term IN ({marks})", tokens)
    return {str(term): int(str(count)) for term, count in rows}


def matching(
    store: Store,
    expression: str,
    *,
    limit: int,
    ranked: bool = True,
    kinds: Sequence[str] = (),
    lecture_ids: Sequence[str] = (),
) -> list[MomentRow]:
    """Rows that match an FTS5 expression, best first by BM25, or any of them where ``ranked`` is false."""
    filters, values = "", [expression]
    for column, wanted in (("kind", kinds), ("lecture_id", lecture_ids)):
        if wanted:
            filters += f" AND {column} IN ({', '.join('?' * len(wanted))})"
            values += wanted
    belief = "bm25(moment, 0, 0, 0, 0, 2.0, 0.5, 1.0)" if ranked else "0"
    order = "ORDER BY belief, number" if ranked else ""
    # Ranked by number first: SQLite would else read the texts of all that match, not of the best alone.
    rows = store.query(
        "SELECT lecture_id, kind, start_ms, end_ms, concepts, text, expanded, moment.rowid FROM"
        f" (SELECT rowid AS number, {belief} AS belief FROM moment WHERE moment MATCH ?{filters} {order} LIMIT {int(limit)})"
        f" JOIN moment ON moment.rowid = number {order}",
        values,
    )
    return [
        MomentRow(str(a), str(b), int(str(c)), int(str(d)), str(e), str(f), str(g), (int(str(h)) - 1) % _ROWS_A_LECTURE)
        for a, b, c, d, e, f, g, h in rows
    ]
