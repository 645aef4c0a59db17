"""Reading and writing the course store. All SQL of the package is in this room."""

from __future__ import annotations

import contextlib
import hashlib
import shutil
import sqlite3
import time
import zlib
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any, TypeVar

import msgspec

from notesmith.errors import BusyError, ConflictError, OutputError, StoreError
from notesmith.lecture import Lecture
from notesmith.store.schema import migrate
from notesmith.transcript import Transcript
from notesmith.verdicts import Verdict, VerdictEntry

T = TypeVar("T")
BUSY_WAIT_MS = 15_000
NO_ROOM_BYTES = 256 * 1024


def now_utc() -> str:
    """The present time as ISO 8601 in UTC, to the second."""
    return datetime.now(UTC).replace(microsecond=0).isoformat().replace("+00:00", "Z")


class StoredTranscript(msgspec.Struct, frozen=True):
    settings: str
    made_at: str
    transcript: Transcript


def _pack(value: object) -> bytes:
    return zlib.compress(msgspec.json.encode(value, order="deterministic"), 6)


def _unpack(body: bytes, of: type[T]) -> T:
    try:
        return msgspec.json.decode(zlib.decompress(body), type=of)
    except (zlib.error, msgspec.MsgspecError) as error:
        raise StoreError(f"a record of the store is damaged ({error}); run 'notesmith verify' on the course") from error


def _write_ahead(connection: sqlite3.Connection) -> None:
    """SQLite does not wait for another that changes the journal of a new store at the same moment, so we do."""
    until = time.monotonic() + BUSY_WAIT_MS / 1000
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as error:
            if error.sqlite_errorcode != sqlite3.SQLITE_BUSY or time.monotonic() > until:
                raise
        time.sleep(0.01)


class Store:
    """One connection to a course's store; use it as a context manager, one for each thread.

    Raises StoreError where the file is damaged, of another program or of a newer version, BusyError where
    another program holds it too long, and OutputError where it cannot be written (full disk, no permission).
    """

    def __init__(self, path: Path, *, must_exist: bool = False) -> None:
        self.path = path
        if must_exist and not path.is_file():
            raise StoreError(f"{path}: there is no store here; begin a course first")
        with translated(path):
            self.connection = sqlite3.connect(path, isolation_level=None, timeout=BUSY_WAIT_MS / 1000)
            try:
                _write_ahead(self.connection)
                self.connection.execute("PRAGMA synchronous = FULL")  # a power cut may lose nothing committed
                self.connection.execute("PRAGMA foreign_keys = ON")
                self.connection.execute("PRAGMA cache_size = -16000")  # KiB, for searches of long courses
                self.connection.execute("PRAGMA trusted_schema = OFF")
                migrate(self.connection)
            except BaseException:
                self.connection.close()
                raise

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        self.connection.close()

    @contextlib.contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing; nested use joins the outer transaction."""
        with translated(self.path):
            if self.connection.in_transaction:
                yield self.connection
                return
            self.connection.execute("BEGIN IMMEDIATE")
            try:
                yield self.connection
                self.connection.execute("COMMIT")
            except BaseException:
                if self.connection.in_transaction:
                    self.connection.execute("ROLLBACK")
                raise

    def query(self, sql: str, parameters: Sequence[object] = ()) -> list[tuple[object, ...]]:
        with translated(self.path):
            return self.connection.execute(sql, parameters).fetchall()

    # ------------------------------------------------------------ lectures

    def lectures(self) -> tuple[Lecture, ...]:
        """All lectures, by date, series and part, then id."""
        rows = self.query("SELECT body FROM lecture ORDER BY id")
        found = [_unpack(_bytes(row[0]), Lecture) for row in rows]
        return tuple(sorted(found, key=lambda one: (one.date or "9999", one.series or "", one.part or 0, one.id)))

    def lecture(self, lecture_id: str) -> tuple[Lecture, int]:
        """A lecture and its revision. Raises StoreError where there is none."""
        rows = self.query("SELECT body, revision FROM lecture WHERE id = ?", (lecture_id,))
        if not rows:
            raise StoreError(f"there is no lecture {lecture_id!r} in this course; 'notesmith lectures' lists them")
        return _unpack(_bytes(rows[0][0]), Lecture), int(str(rows[0][1]))

    def lecture_ids(self) -> frozenset[str]:
        return frozenset(str(row[0]) for row in self.query("SELECT id FROM lecture"))

    def lecture_of_recording(self, recording_sha256: str) -> Lecture | None:
        rows = self.query("SELECT body FROM lecture WHERE recording_sha256 = ? ORDER BY id", (recording_sha256,))
        return _unpack(_bytes(rows[0][0]), Lecture) if rows else None

    def add_lecture(self, lecture: Lecture) -> None:
        """Raises ConflictError where the id is taken."""
        with self.transaction() as connection:
            try:
                connection.execute(
                    "INSERT INTO lecture (id, recording_sha256, added_at, body) VALUES (?, ?, ?, ?)",
                    (lecture.id, lecture.recording_sha256, now_utc(), _pack(lecture)),
                )
            except sqlite3.IntegrityError as error:
                raise ConflictError(f"a lecture {lecture.id!r} is in the course already; choose another id") from error

    def update_lecture(self, lecture: Lecture, *, revision: int) -> int:
        """Write a lecture that was read at ``revision``; returns the new revision.

        Raises ConflictError where somebody wrote it meanwhile; nothing is overwritten then.
        """
        with self.transaction() as connection:
            changed = connection.execute(
                "UPDATE lecture SET body = ?, recording_sha256 = ?, revision = revision + 1"
                " WHERE id = ? AND revision = ?",
                (_pack(lecture), lecture.recording_sha256, lecture.id, revision),
            ).rowcount
            if not changed:
                raise ConflictError(f"lecture {lecture.id!r} was changed meanwhile; look at it again, then change it")
        return revision + 1

    def remove_lecture(self, lecture_id: str) -> None:
        """Remove a lecture with its results, and its transcript unless another lecture uses the recording."""
        from notesmith.store.moments import replace_moments  # which needs the store

        with self.transaction() as connection:
            lecture, _ = self.lecture(lecture_id)
            replace_moments(self, lecture_id, ())
            connection.execute("DELETE FROM lecture WHERE id = ?", (lecture_id,))
            if self.lecture_of_recording(lecture.recording_sha256) is None:
                for table in ("transcript", "decoded_window"):
                    connection.execute(f"DELETE FROM {table} WHERE recording_sha256 = ?", (lecture.recording_sha256,))

    # ------------------------------------------------------------ transcripts

    def decoded_windows(self, recording_sha256: str, settings: str, of: type[T]) -> dict[int, T]:
        """The finished windows of a recording that is not transcribed to its end, by number."""
        rows = self.query(
            "SELECT number, body FROM decoded_window WHERE recording_sha256 = ? AND settings = ? ORDER BY number",
            (recording_sha256, settings),
        )
        return {int(str(number)): _unpack(_bytes(body), of) for number, body in rows}

    def put_decoded_window(self, recording_sha256: str, settings: str, number: int, window: object) -> None:
        with self.transaction() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO decoded_window VALUES (?, ?, ?, ?)",
                (recording_sha256, settings, number, _pack(window)),
            )

    def transcript(self, recording_sha256: str, settings: str) -> Transcript | None:
        rows = self.query(
            "SELECT body FROM transcript WHERE recording_sha256 = ? AND settings = ?", (recording_sha256, settings)
        )
        return _unpack(_bytes(rows[0][0]), Transcript) if rows else None

    def transcripts(self, recording_sha256: str) -> tuple[StoredTranscript, ...]:
        """Every transcript of a recording, newest first."""
        rows = self.query(
            "SELECT settings, made_at, body FROM transcript WHERE recording_sha256 = ? ORDER BY made_at DESC, settings",
            (recording_sha256,),
        )
        return tuple(StoredTranscript(str(s), str(at), _unpack(_bytes(body), Transcript)) for s, at, body in rows)

    def put_transcript(self, settings: str, transcript: Transcript) -> None:
        """Keep a finished transcript (the first one stays) and drop the windows it was put together from."""
        with self.transaction() as connection:
            connection.execute(
                "INSERT OR IGNORE INTO transcript VALUES (?, ?, ?, ?)",
                (transcript.recording_sha256, settings, now_utc(), _pack(transcript)),
            )
            connection.execute(
                "DELETE FROM decoded_window WHERE recording_sha256 = ? AND settings = ?",
                (transcript.recording_sha256, settings),
            )

    def window_settings(self, recording_sha256: str) -> list[str]:
        """The settings under which a recording has finished windows but no transcript yet."""
        rows = self.query(
            "SELECT DISTINCT settings FROM decoded_window WHERE recording_sha256 = ? ORDER BY settings",
            (recording_sha256,),
        )
        return [str(row[0]) for row in rows]

    def drop_transcripts(self, recording_sha256: str) -> None:
        """Forget what was heard of a recording, so that it is listened to again; only for damaged records."""
        with self.transaction() as connection:
            for table in ("transcript", "decoded_window"):
                connection.execute(f"DELETE FROM {table} WHERE recording_sha256 = ?", (recording_sha256,))

    # ------------------------------------------------------------ results of derived stages

    def result_key(self, lecture_id: str, stage: str) -> str | None:
        rows = self.query("SELECT input_key FROM result WHERE lecture_id = ? AND stage = ?", (lecture_id, stage))
        return str(rows[0][0]) if rows else None

    def result_keys(self, stage: str) -> dict[str, str]:
        """The keys of a stage's results, by lecture."""
        rows = self.query("SELECT lecture_id, input_key FROM result WHERE stage = ?", (stage,))
        return {str(lecture_id): str(key) for lecture_id, key in rows}

    def result(self, lecture_id: str, stage: str, of: type[T], *, input_key: str | None = None) -> T | None:
        """A stage's result, where there is one and (if a key is given) it was made from those inputs."""
        rows = self.query("SELECT input_key, body FROM result WHERE lecture_id = ? AND stage = ?", (lecture_id, stage))
        if not rows or (input_key is not None and rows[0][0] != input_key):
            return None
        return _unpack(_bytes(rows[0][1]), of)

    def results(self, stage: str, of: type[T]) -> dict[str, tuple[str, T]]:
        """The keys and results of a stage, by lecture; damaged ones are left out."""
        found = {}
        for lecture_id, key, body in self.query(
            "SELECT lecture_id, input_key, body FROM result WHERE stage = ?", (stage,)
        ):
            with contextlib.suppress(StoreError):
                found[str(lecture_id)] = str(key), _unpack(_bytes(body), of)
        return found

    def put_result(self, lecture_id: str, stage: str, input_key: str, value: object) -> None:
        with self.transaction() as connection:
            connection.execute(
                "INSERT OR REPLACE INTO result VALUES (?, ?, ?, ?)", (lecture_id, stage, input_key, _pack(value))
            )

    def drop_result(self, lecture_id: str, stage: str) -> None:
        """Forget a stage's result, so that it is made again."""
        with self.transaction() as connection:
            connection.execute("DELETE FROM result WHERE lecture_id = ? AND stage = ?", (lecture_id, stage))

    # ------------------------------------------------------------ verdicts

    def add_verdict(self, verdict: Verdict, *, who: str) -> VerdictEntry:
        at = now_utc()
        with self.transaction() as connection:
            cursor = connection.execute(
                "INSERT INTO verdict (who, made_at, body) VALUES (?, ?, ?)", (who, at, _pack(verdict))
            )
        return VerdictEntry(int(cursor.lastrowid or 0), verdict, who, at)

    def verdicts(self, *, with_undone: bool = False) -> tuple[VerdictEntry, ...]:
        """The log in the order it was written; later rulings on one target outrank earlier ones."""
        rows = self.query("SELECT id, body, who, made_at, undone FROM verdict ORDER BY id")
        return tuple(
            VerdictEntry(int(str(number)), _unpack(_bytes(body), Verdict), str(who), str(at), bool(undone))  # type: ignore[arg-type]
            for number, body, who, at, undone in rows
            if with_undone or not undone
        )

    def undo_verdict(self, verdict_id: int) -> None:
        """Raises ConflictError where it was undone already or never made."""
        with self.transaction() as connection:
            changed = connection.execute(
                "UPDATE verdict SET undone = 1 WHERE id = ? AND undone = 0", (verdict_id,)
            ).rowcount
            if not changed:
                raise ConflictError(f"verdict {verdict_id} was undone already")

    # ------------------------------------------------------------ care

    def check(self) -> tuple[str, ...]:
        """Problems of the file itself, empty when it is sound."""
        with translated(self.path):
            rows = self.connection.execute("PRAGMA integrity_check(20)").fetchall()
            broken = self.connection.execute("PRAGMA foreign_key_check").fetchall()
        problems = [str(row[0]) for row in rows if row[0] != "ok"]
        problems += [f"a row of {row[0]} belongs to nothing" for row in broken]
        return tuple(problems)

    def search_is_sound(self) -> bool:
        """Whether the full-text index agrees with its own rows (FTS5's integrity-check)."""
        try:
            with self.transaction() as connection:
                connection.execute("INSERT INTO moment (moment) VALUES ('integrity-check')")
        except BusyError:
            raise
        except StoreError:
            return False
        return True

    def search_digests(self) -> dict[str, str]:
        """By lecture, the SHA-256 of its rows in the search index."""
        found: dict[str, Any] = {}
        with translated(self.path):
            for lecture_id, *row in self.connection.execute(
                "SELECT lecture_id, kind, start_ms, end_ms, concepts, text, expanded FROM moment ORDER BY rowid"
            ):
                found.setdefault(str(lecture_id), hashlib.sha256()).update(msgspec.json.encode(row))
        return {lecture_id: digest.hexdigest() for lecture_id, digest in found.items()}

    def search_counts(self) -> dict[str, int]:
        """In how many rows of the search index each token stands, as kept for ranking."""
        return {str(term): int(str(rows)) for term, rows in self.query("SELECT term, rows FROM moment_term")}

    def empty_search(self) -> None:
        """Make the search index's tables anew, without rows; also where they are damaged."""
        (definition,) = self.query("SELECT sql FROM sqlite_master WHERE name = 'moment'")
        with self.transaction() as connection:
            connection.execute("DROP TABLE moment")
            connection.execute(str(definition[0]))
            connection.execute("DELETE FROM moment_term")

    def copy_to(self, target: Path) -> None:
        """A consistent copy of the whole store, also while others write. The target must not exist."""
        if target.exists():
            raise OutputError(f"{target}: exists already; name a new file for the copy")
        with translated(target):
            copy = sqlite3.connect(target)
            try:
                self.connection.backup(copy)
            finally:
                copy.close()


def _bytes(value: object) -> bytes:
    if not isinstance(value, bytes):
        raise StoreError("a record of the store has the wrong form; run 'notesmith verify' on the course")
    return value


def _is_full(folder: Path) -> bool:
    """Whether the folder's disk has less room than a few of SQLite's pages need."""
    try:
        return shutil.disk_usage(folder).free < NO_ROOM_BYTES
    except OSError:
        return False


@contextlib.contextmanager
def translated(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into ours, each one line that says what to do."""
    try:
        yield
    except sqlite3.OperationalError as error:
        text = str(error)
        if "locked" in text or "busy" in text:
            raise BusyError(f"{path}: another program is writing to this course; try again when it is done") from error
        # Where its shared memory cannot grow, SQLite speaks of an I/O error.
        if "full" in text or ("I/O" in text and _is_full(path.parent)):
            raise OutputError(f"{path}: the disk is full; free some space and run the command again") from error
        if "readonly" in text or "unable to open" in text:
            raise OutputError(f"{path}: cannot be written ({text}); check the folder and its permissions") from error
        raise StoreError(f"{path}: {text}") from error
    except UnicodeDecodeError as error:  # SQLite hands out a damaged schema's text as it is
        raise StoreError(f"{path}: the store is damaged (its text is not UTF-8); restore a backup") from error
    except sqlite3.DatabaseError as error:
        raise StoreError(f"{path}: the store is damaged ({error}); restore a backup") from error
