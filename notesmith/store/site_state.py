"""What the site's builder remembers between builds: an SQLite file beside the published folder, never published.

Bodies are the builder's; here they are bytes. What is deleted is overwritten, since it may have held a name.
"""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from notesmith.errors import BusyError, StoreError
from notesmith.store.store import BUSY_WAIT_MS, translated

_AT_ONCE = 500
_TABLES = """
CREATE TABLE IF NOT EXISTS fact (name TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT, WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS lecture (
    id TEXT PRIMARY KEY, at INTEGER NOT NULL, digest TEXT NOT NULL, body BLOB NOT NULL, found BLOB NOT NULL
) STRICT;
-- What a lecture gives to a course-wide page; told: whether it does more there than name what the page is about.
CREATE TABLE IF NOT EXISTS piece (
    page TEXT NOT NULL, at INTEGER NOT NULL, told INTEGER NOT NULL, mark TEXT NOT NULL, body BLOB NOT NULL,
    PRIMARY KEY (page, at)
) STRICT, WITHOUT ROWID;
CREATE INDEX IF NOT EXISTS piece_at ON piece (at);
CREATE INDEX IF NOT EXISTS piece_told ON piece (page, told, at);
-- How often something stands in the course; what stands nowhere has no row.
CREATE TABLE IF NOT EXISTS tally (
    kind TEXT NOT NULL, name TEXT NOT NULL, number INTEGER NOT NULL, PRIMARY KEY (kind, name)
) STRICT, WITHOUT ROWID;
-- The whole postings of one published file of the search index.
CREATE TABLE IF NOT EXISTS postings (file TEXT PRIMARY KEY, body BLOB NOT NULL) STRICT;
CREATE TABLE IF NOT EXISTS kept (
    kind TEXT NOT NULL, name TEXT NOT NULL, body BLOB NOT NULL, PRIMARY KEY (kind, name)
) STRICT, WITHOUT ROWID;
"""


class StateDamagedError(Exception):
    """The file cannot be read; the builder makes everything anew."""


class SiteState:
    """One connection. ``at`` is a lecture's place in the course, from 0."""

    def __init__(self, path: Path) -> None:
        self.path = path
        path.parent.mkdir(parents=True, exist_ok=True)
        with self._told():
            self.connection = sqlite3.connect(path, isolation_level=None, timeout=BUSY_WAIT_MS / 1000)
            try:
                self.connection.execute("PRAGMA secure_delete = ON")
                self.connection.executescript(_TABLES)
            except BaseException:
                self.connection.close()
                raise

    def __enter__(self) -> SiteState:
        return self

    def __exit__(self, *_: object) -> None:
        self.connection.close()

    @contextlib.contextmanager
    def _told(self) -> Iterator[None]:
        try:
            with translated(self.path):
                yield
        except BusyError:
            raise
        except StoreError as error:
            raise StateDamagedError(str(error)) from error

    def _all(self, sql: str, values: Sequence[object] = ()) -> list[tuple[object, ...]]:
        with self._told():
            return self.connection.execute(sql, values).fetchall()

    def _many(self, sql: str, rows: Sequence[Sequence[object]]) -> None:
        with self._told():
            self.connection.executemany(sql, rows)

    @contextlib.contextmanager
    def building(self) -> Iterator[None]:
        """All or nothing. Where the block does not end, ``whole`` is false until the next one that does."""
        with self._told():
            self.connection.execute("INSERT OR REPLACE INTO fact VALUES ('building', '')")
            self.connection.execute("BEGIN IMMEDIATE")
        try:
            yield
            with self._told():
                self.connection.execute("DELETE FROM fact WHERE name = 'building'")
                self.connection.execute("COMMIT")
        except BaseException:
            if self.connection.in_transaction:
                self.connection.execute("ROLLBACK")
            raise

    @property
    def whole(self) -> bool:
        return self.fact("building") is None

    def empty(self) -> None:
        """Forget everything."""
        for table in ("fact", "lecture", "piece", "tally", "postings", "kept"):
            self._all(f"DELETE FROM {table} WHERE true")

    def fact(self, name: str) -> str | None:
        rows = self._all("SELECT value FROM fact WHERE name = ?", (name,))
        return str(rows[0][0]) if rows else None

    def put_fact(self, name: str, value: str) -> None:
        self._all("INSERT OR REPLACE INTO fact VALUES (?, ?)", (name, value))

    # ------------------------------------------------------------ lectures and their pieces

    def lectures(self) -> list[tuple[str, str, bytes]]:
        """Id, digest and body of each, in the order of the course."""
        rows = self._all("SELECT id, digest, body FROM lecture ORDER BY at")
        return [(str(identifier), str(digest), _body(body)) for identifier, digest, body in rows]

    def found(self, lecture_id: str) -> bytes | None:
        """What was found in a lecture; None where it is not known."""
        rows = self._all("SELECT found FROM lecture WHERE id = ?", (lecture_id,))
        return _body(rows[0][0]) if rows else None

    def put_lecture(self, lecture_id: str, at: int, digest: str, body: bytes, found: bytes) -> None:
        self._all("INSERT OR REPLACE INTO lecture VALUES (?, ?, ?, ?, ?)", (lecture_id, at, digest, body, found))

    def drop_lecture(self, lecture_id: str, at: int) -> None:
        self._all("DELETE FROM lecture WHERE id = ?", (lecture_id,))
        self._all("DELETE FROM piece WHERE at = ?", (at,))

    def move(self, places: Mapping[int, int]) -> None:
        """Give lectures new places, by old place; all that change must be named."""
        rows = list(places.items())
        self._all("CREATE TEMP TABLE moved (old INTEGER PRIMARY KEY, new INTEGER)")
        self._many("INSERT INTO moved VALUES (?, ?)", rows)
        for table in ("lecture", "piece"):
            # By way of negative numbers, so that no two share a place on the way.
            self._all(f"UPDATE {table} SET at = (SELECT -1 - new FROM moved WHERE old = at)"
                      " WHERE at IN (SELECT old FROM moved)")  # fmt: skip
            self._all(f"UPDATE {table} SET at = -1 - at WHERE at < 0")
        self._all("DROP TABLE moved")

    def marks(self, at: int) -> dict[str, str]:
        """The pages that a lecture has pieces on, with the pieces' marks."""
        return {str(page): str(mark) for page, mark in self._all("SELECT page, mark FROM piece WHERE at = ?", (at,))}

    def put_pieces(self, at: int, pieces: Mapping[str, tuple[bool, str, bytes]], gone: Sequence[str]) -> None:
        """Put pieces (told, mark, body) in place, by page, and take away those on other pages."""
        self._many("DELETE FROM piece WHERE page = ? AND at = ?", [(page, at) for page in gone])
        rows = [(page, at, int(told), mark, body) for page, (told, mark, body) in sorted(pieces.items())]
        self._many("INSERT OR REPLACE INTO piece VALUES (?, ?, ?, ?, ?)", rows)

    def pieces(self, page: str, first: int = 0, last: int = 1 << 60) -> list[bytes]:
        """A page's pieces, latest first, of lectures from ``first`` until before ``last``."""
        rows = self._all(
            "SELECT body FROM piece WHERE page = ? AND at >= ? AND at < ? ORDER BY at DESC", (page, first, last)
        )
        return [_body(row[0]) for row in rows]

    def best_pieces(self, page: str, most: int) -> list[tuple[int, bytes]]:
        """So many of a page's pieces with their places: those that tell more first, of these the latest first."""
        rows = self._all(
            "SELECT piece.at, body FROM (SELECT at, told FROM piece WHERE page = ? ORDER BY told DESC, at DESC LIMIT ?)"
            " AS best JOIN piece ON piece.page = ? AND piece.at = best.at ORDER BY best.told DESC, best.at DESC",
            (page, most, page),
        )
        return [(int(str(at)), _body(body)) for at, body in rows]

    # ------------------------------------------------------------ tallies and what else is kept

    def tally(self, kind: str) -> dict[str, int]:
        rows = self._all("SELECT name, number FROM tally WHERE kind = ? ORDER BY name", (kind,))
        return {str(name): int(str(number)) for name, number in rows}

    def count(self, kind: str, changes: Mapping[str, int]) -> tuple[frozenset[str], frozenset[str]]:
        """Add to numbers; returns the names that came into the course and those that left it."""
        names = sorted(name for name, change in changes.items() if change)
        before: dict[str, int] = {}
        for start in range(0, len(names), _AT_ONCE):
            some = names[start : start + _AT_ONCE]
            marks = ", ".join("?" * len(some))
            rows = self._all(f"SELECT name, number FROM tally WHERE kind = ? AND name IN ({marks})", (kind, *some))
            before.update((str(name), int(str(number))) for name, number in rows)
        after = {name: before.get(name, 0) + changes[name] for name in names}
        self._many("DELETE FROM tally WHERE kind = ? AND name = ?", [(kind, n) for n in names if after[n] <= 0])
        self._many(
            "INSERT OR REPLACE INTO tally VALUES (?, ?, ?)", [(kind, n, after[n]) for n in names if after[n] > 0]
        )
        came = (name for name in names if after[name] > 0 and name not in before)
        gone = (name for name in names if after[name] <= 0 and name in before)
        return frozenset(came), frozenset(gone)

    def postings(self, file: str) -> bytes | None:
        rows = self._all("SELECT body FROM postings WHERE file = ?", (file,))
        return _body(rows[0][0]) if rows else None

    def put_postings(self, bodies: Mapping[str, bytes]) -> None:
        self._many("INSERT OR REPLACE INTO postings VALUES (?, ?)", list(bodies.items()))

    def kept(self, kind: str) -> dict[str, bytes]:
        rows = self._all("SELECT name, body FROM kept WHERE kind = ? ORDER BY name", (kind,))
        return {str(name): _body(body) for name, body in rows}

    def keep(self, kind: str, changes: Mapping[str, bytes | None]) -> None:
        """Put bodies in place, by name; None takes one away."""
        self._many("DELETE FROM kept WHERE kind = ? AND name = ?",
                   [(kind, name) for name, body in changes.items() if body is None])  # fmt: skip
        self._many("INSERT OR REPLACE INTO kept VALUES (?, ?, ?)",
                   [(kind, name, body) for name, body in changes.items() if body is not None])  # fmt: skip


def _body(value: object) -> bytes:
    if not isinstance(value, bytes):
        raise StateDamagedError("a body is not bytes")
    return value
