"""Stores of every earlier version become the present one with nothing lost; all else is refused and left as it was.

SQLite itself is the judge: earlier stores are written with plain SQL as their version would have written them.
"""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from notesmith.errors import NotesmithError, OutputError, StoreError
from notesmith.store import Store, schema


def old_store(path: Path, version: int) -> None:
    with sqlite3.connect(path) as connection:
        for step in schema.MIGRATIONS[:version]:
            connection.executescript(step)
        connection.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
        connection.execute(f"PRAGMA user_version = {version}")
        connection.execute("INSERT INTO job (state, made_at, body) VALUES ('waiting', '2026-01-01T00:00:00Z', x'78')")
        connection.commit()
    connection.close()


def shape(path: Path) -> list[tuple[str, str]]:
    with sqlite3.connect(path) as connection:
        return connection.execute("SELECT name, sql FROM sqlite_master ORDER BY name").fetchall()


@pytest.mark.parametrize("version", range(1, schema.CURRENT_VERSION + 1))
def test_a_store_of_an_earlier_version_is_brought_up(tmp_path, version):
    old_store(tmp_path / "old.db", version)
    Store(tmp_path / "new.db").close()
    with Store(tmp_path / "old.db") as store:
        assert store.check() == ()
        assert store.query("PRAGMA user_version") == [(schema.CURRENT_VERSION,)]
        assert store.query("SELECT state, body FROM job") == [("waiting", b"x")]
    assert shape(tmp_path / "old.db") == shape(tmp_path / "new.db")


def test_a_migration_that_fails_in_its_middle_changes_nothing(tmp_path, monkeypatch):
    old_store(tmp_path / "old.db", schema.CURRENT_VERSION)
    before = shape(tmp_path / "old.db")
    broken = (*schema.MIGRATIONS, "CREATE TABLE fresh (a INTEGER) STRICT;\nINSERT INTO nowhere VALUES (1);\n")
    monkeypatch.setattr(schema, "MIGRATIONS", broken)
    monkeypatch.setattr(schema, "CURRENT_VERSION", len(broken))
    with pytest.raises(StoreError):
        Store(tmp_path / "old.db")
    assert shape(tmp_path / "old.db") == before
    with sqlite3.connect(tmp_path / "old.db") as connection:
        assert connection.execute("PRAGMA user_version").fetchone() == (schema.CURRENT_VERSION - 1,)


def test_a_newer_store_and_another_programs_are_refused_untouched(tmp_path):
    old_store(tmp_path / "new.db", schema.CURRENT_VERSION)
    with sqlite3.connect(tmp_path / "new.db") as connection:
        connection.execute(f"PRAGMA user_version = {schema.CURRENT_VERSION + 1}")
    connection.close()
    with pytest.raises(StoreError, match="install a newer"):
        Store(tmp_path / "new.db")
    with sqlite3.connect(tmp_path / "other.db") as connection:
        connection.execute("CREATE TABLE theirs (a)")
    connection.close()
    with pytest.raises(StoreError, match="another program"):
        Store(tmp_path / "other.db")
    with sqlite3.connect(tmp_path / "other.db") as connection:
        assert connection.execute("SELECT name FROM sqlite_master").fetchall() == [("theirs",)]


def test_a_full_disk_loses_nothing_that_was_there(tmp_path):
    """SQLite's own page limit stands for a full disk: it gives the same error, SQLITE_FULL."""
    with Store(tmp_path / "course.db") as store:
        store.connection.execute("INSERT INTO job (state, made_at, body) VALUES ('waiting', '', x'01')")
        pages = store.query("PRAGMA page_count")[0][0]
        store.connection.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(OutputError, match="disk is full"), store.transaction() as connection:
            connection.execute("INSERT INTO job (state, made_at, body) VALUES ('x', '', zeroblob(1000000))")
        assert store.query("SELECT state FROM job") == [("waiting",)]
        assert store.check() == ()


def test_a_power_cut_at_any_byte_of_the_journal_leaves_a_whole_store(tmp_path):
    """Cut the write-ahead log at many places, as a power cut would: each committed state is whole or not there."""
    path = tmp_path / "course.db"
    with Store(path) as store:
        store.connection.execute("PRAGMA wal_autocheckpoint = 0")
        for number in range(40):
            with store.transaction() as connection:
                connection.execute("INSERT INTO job (state, made_at, body) VALUES (?, '', x'00')", (str(number),))
                connection.execute("INSERT INTO verdict (who, made_at, body) VALUES (?, '', x'00')", (str(number),))
        base, log = path.read_bytes(), Path(f"{path}-wal").read_bytes()
    counts = set()
    for number, cut in enumerate(range(0, len(log) + 1, max(1, len(log) // 60))):
        copy = tmp_path / f"cut{number}.db"
        copy.write_bytes(base)
        Path(f"{copy}-wal").write_bytes(log[:cut])
        try:
            with Store(copy) as store:
                assert store.check() == ()
                jobs, verdicts = (store.query(f"SELECT count(*) FROM {t}")[0][0] for t in ("job", "verdict"))
        except NotesmithError as error:
            pytest.fail(f"cut at {cut}: {error}")
        assert jobs == verdicts
        counts.add(jobs)
    assert len(counts) > 20
