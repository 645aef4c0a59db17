"""Power cuts and second programs: what was committed is whole or, where the cut fell before its end, not there.

SQLite's own integrity check is the judge. How a write can be torn: sqlite.org/atomiccommit.html, section 2 and 3.
"""

from __future__ import annotations

import multiprocessing
import random
import sqlite3
from pathlib import Path

import pytest

from notesmith.errors import BusyError
from notesmith.store import Store, schema
from notesmith.store import store as room
from notesmith.store.moments import MomentRow, replace_moments
from notesmith.verdicts import PersonVerdict

COMMITS = 40


def written(path: Path) -> tuple[bytes, bytes, bytes]:
    """A store with COMMITS transactions of two rows: the file before its log was taken in, the log, the file after."""
    with Store(path) as store:
        store.connection.execute("PRAGMA wal_autocheckpoint = 0")
        for number in range(COMMITS):
            with store.transaction() as connection:
                body = bytes([number]) * 3000
                connection.execute("INSERT INTO job (state, made_at, body) VALUES (?, '', ?)", (str(number), body))
                connection.execute("INSERT INTO verdict (who, made_at, body) VALUES (?, '', ?)", (str(number), body))
        before, log = path.read_bytes(), Path(f"{path}-wal").read_bytes()
        store.query("PRAGMA wal_checkpoint(FULL)")
        after = path.read_bytes()
    return before, log, after


def commits_of(path: Path, file: bytes, log: bytes) -> int:
    path.write_bytes(file)
    Path(f"{path}-wal").write_bytes(log)
    with Store(path) as store:
        assert store.check() == ()
        jobs, verdicts = (
            store.query(f"SELECT count(*), coalesce(sum(length(body)), 0) FROM {table}")[0]
            for table in ("job", "verdict")
        )
        assert jobs == verdicts
        assert jobs[1] == int(str(jobs[0])) * 3000
    return int(str(jobs[0]))


def test_a_cut_while_the_log_is_written_leaves_whole_commits(tmp_path):
    before, log, _ = written(tmp_path / "course.db")
    chance = random.Random(8)
    found = set()
    for number in range(60):
        cut = chance.randrange(len(log) + 1)
        # The end may be missing, or be what the disk held before: other bytes, or nothing.
        rest = chance.choice([b"", chance.randbytes(min(9000, len(log) - cut)), bytes(len(log) - cut)])
        found.add(commits_of(tmp_path / f"cut{number}.db", before, log[:cut] + rest))
    assert len(found) > 15
    assert commits_of(tmp_path / "whole.db", before, log) == COMMITS


def test_a_cut_while_the_log_is_taken_in_loses_nothing(tmp_path):
    """The log is kept until the file has it all, so a file of which any pages are old or torn is put right from it."""
    before, log, after = written(tmp_path / "course.db")
    before = before.ljust(len(after), b"\0")
    chance = random.Random(9)
    for number in range(30):
        torn = bytearray(before)
        for _ in range(chance.randrange(1, 12)):
            begin = chance.randrange(len(after))
            end = min(len(after), begin + chance.randrange(1, 20_000))
            torn[begin:end] = after[begin:end]
        assert commits_of(tmp_path / f"torn{number}.db", bytes(torn[: chance.randrange(len(torn)) + 1]), log) == COMMITS


def _write(path: Path, who: str, count: int) -> None:
    with Store(path) as store:
        for number in range(count):
            store.add_verdict(PersonVerdict("hide", f"{who} {number}"), who=who)


def test_two_programs_write_at_once_and_nothing_is_lost(tmp_path):
    path = tmp_path / "course.db"
    apart = multiprocessing.get_context("fork")
    programs = [apart.Process(target=_write, args=(path, who, 40)) for who in ("ana", "ben")]
    for program in programs:
        program.start()  # neither finds a store: both make one
    for program in programs:
        program.join(60)
    assert [program.exitcode for program in programs] == [0, 0]
    with Store(path) as store:
        assert store.check() == ()
        names = [entry.verdict.said for entry in store.verdicts() if isinstance(entry.verdict, PersonVerdict)]
    assert sorted(names) == sorted(f"{who} {number}" for who in ("ana", "ben") for number in range(40))
    for who in ("ana", "ben"):  # each one's own in its own order
        assert [name for name in names if name.startswith(who)] == [f"{who} {number}" for number in range(40)]


def test_a_program_that_waits_too_long_is_told_by_one_line(tmp_path, monkeypatch):
    monkeypatch.setattr(room, "BUSY_WAIT_MS", 50)
    with Store(tmp_path / "course.db") as one, Store(tmp_path / "course.db") as other, one.transaction() as connection:
        connection.execute("INSERT INTO job (state, made_at, body) VALUES ('x', '', x'00')")
        with pytest.raises(BusyError, match="another program is writing"):
            other.add_verdict(PersonVerdict("hide", "A"), who="b")


@pytest.mark.parametrize("version", range(1, schema.CURRENT_VERSION + 1))
def test_an_earlier_stores_rows_are_all_there_and_counted_as_new_ones(tmp_path, version):
    """What an earlier version wrote, by plain SQL, beside what this version writes of the same rows."""
    rows = [MomentRow("a", "point", 0, 10, "cx cy", "Thuja has warts", "thuja wart"),
            MomentRow("a", "case", 10, 20, "cx cx", "Warts again", "wart again")]  # fmt: skip
    with Store(tmp_path / "new.db") as fresh:
        replace_moments(fresh, "a", rows)
        wanted, digests = fresh.search_counts(), fresh.search_digests()
    old = sqlite3.connect(tmp_path / "old.db")
    for step in schema.MIGRATIONS[:version]:
        old.executescript(step)
    old.execute(f"PRAGMA application_id = {schema.APPLICATION_ID}")
    old.execute(f"PRAGMA user_version = {version}")
    if version == 1:  # later versions count as they write
        for row in rows:
            old.execute(
                "INSERT INTO moment (lecture_id, kind, start_ms, end_ms, concepts, text, expanded)"
                " VALUES (?, ?, ?, ?, ?, ?, ?)",
                (row.lecture_id, row.kind, row.start_ms, row.end_ms, row.concepts, row.text, row.expanded),
            )
    bodies = {"lecture": ("id, recording_sha256, added_at, body", ("a", "0" * 64, "2026", b"l")),
              "decoded_window": ("recording_sha256, settings, number, body", ("0" * 64, "s", 7, b"w")),
              "transcript": ("recording_sha256, settings, made_at, body", ("0" * 64, "s", "2026", b"t")),
              "result": ("lecture_id, stage, input_key, body", ("a", "notes", "k", b"r")),
              "verdict": ("who, made_at, body", ("me", "2026", b"v")),
              "job": ("state, made_at, body", ("waiting", "2026", b"j"))}  # fmt: skip
    for table, (columns, values) in bodies.items():
        old.execute(f"INSERT INTO {table} ({columns}) VALUES ({', '.join('?' * len(values))})", values)
    old.commit()
    old.close()
    with Store(tmp_path / "old.db") as store:
        assert store.check() == ()
        assert store.search_is_sound()
        for table, (columns, values) in bodies.items():
            assert store.query(f"SELECT {columns} FROM {table}") == [values]
        if version > 1:
            replace_moments(store, "a", rows)
        assert store.search_counts() == wanted
        assert store.search_digests() == digests
