"""The store's tables and the migrations that lead from each earlier version to the present one."""

from __future__ import annotations

import sqlite3

from notesmith.errors import StoreError

APPLICATION_ID = 0x4E54534D  # "NTSM": tells our store from another program's SQLite file

# Each entry leads from version n to n + 1; entries are never edited once released.
MIGRATIONS: tuple[str, ...] = (
    """
    CREATE TABLE lecture (
        id TEXT PRIMARY KEY,
        recording_sha256 TEXT NOT NULL,
        revision INTEGER NOT NULL DEFAULT 1,
        added_at TEXT NOT NULL,
        body BLOB NOT NULL
    ) STRICT;
    CREATE INDEX lecture_recording ON lecture (recording_sha256);

    -- One decoded stretch of a recording; kept so that a killed run decodes nothing twice.
    CREATE TABLE decoded_window (
        recording_sha256 TEXT NOT NULL,
        settings TEXT NOT NULL,
        number INTEGER NOT NULL,
        body BLOB NOT NULL,
        PRIMARY KEY (recording_sha256, settings, number)
    ) STRICT;

    -- As heard; a row is never changed.
    CREATE TABLE transcript (
        recording_sha256 TEXT NOT NULL,
        settings TEXT NOT NULL,
        made_at TEXT NOT NULL,
        body BLOB NOT NULL,
        PRIMARY KEY (recording_sha256, settings)
    ) STRICT;

    -- The latest result of each derived stage and the hash of the inputs it was made from.
    CREATE TABLE result (
        lecture_id TEXT NOT NULL REFERENCES lecture (id) ON DELETE CASCADE,
        stage TEXT NOT NULL,
        input_key TEXT NOT NULL,
        body BLOB NOT NULL,
        PRIMARY KEY (lecture_id, stage)
    ) STRICT;

    CREATE TABLE verdict (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        who TEXT NOT NULL,
        made_at TEXT NOT NULL,
        undone INTEGER NOT NULL DEFAULT 0,
        body BLOB NOT NULL
    ) STRICT;

    -- What a student can find; rebuilt from the results.
    CREATE VIRTUAL TABLE moment USING fts5 (
        lecture_id UNINDEXED, kind UNINDEXED, start_ms UNINDEXED, end_ms UNINDEXED, concepts, text, expanded,
        tokenize = "unicode61 remove_diacritics 2"
    );

    CREATE TABLE job (
        id INTEGER PRIMARY KEY AUTOINCREMENT,
        state TEXT NOT NULL,
        made_at TEXT NOT NULL,
        body BLOB NOT NULL
    ) STRICT;
    """,
    """
    -- In how many rows of moment a token stands; the full-text index would count them anew at every search.
    CREATE TABLE moment_term (term TEXT PRIMARY KEY, rows INTEGER NOT NULL) STRICT, WITHOUT ROWID;
    CREATE VIRTUAL TABLE moment_seen USING fts5vocab ('moment', 'col');
    INSERT INTO moment_term SELECT term, doc FROM moment_seen WHERE col = 'expanded';
    INSERT OR REPLACE INTO moment_term SELECT term, doc FROM moment_seen WHERE col = 'concepts';
    DROP TABLE moment_seen;
    """,
)
CURRENT_VERSION = len(MIGRATIONS)


def migrate(connection: sqlite3.Connection) -> None:
    """Bring the store to the present version, or raise StoreError and change nothing."""
    # The tables first: another process may be making the store, and puts its mark on it together with them.
    tables = connection.execute("SELECT count(*) FROM sqlite_master").fetchone()[0]
    version = int(connection.execute("PRAGMA user_version").fetchone()[0])
    application = int(connection.execute("PRAGMA application_id").fetchone()[0])
    if version == CURRENT_VERSION and application == APPLICATION_ID:
        return
    if tables and application != APPLICATION_ID:
        raise StoreError("this file is a database of another program; name a course folder made by Notesmith")
    if version > CURRENT_VERSION:
        raise StoreError(
            f"the store is of version {version}, this program knows up to {CURRENT_VERSION}; install a newer Notesmith"
        )
    connection.execute("BEGIN IMMEDIATE")
    try:
        # Another process may have migrated while this one waited for the lock.
        version = int(connection.execute("PRAGMA user_version").fetchone()[0])
        for step in MIGRATIONS[version:]:
            for statement in _statements(step):
                connection.execute(statement)
        connection.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {CURRENT_VERSION}")
        connection.execute("COMMIT")
    except BaseException:
        connection.execute("ROLLBACK")
        raise


def _statements(script: str) -> list[str]:
    statements, pending = [], ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            statements.append(pending)
            pending = ""
    return statements
