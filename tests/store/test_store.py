import sqlite3
import subprocess
import sys
import threading

import msgspec
import pytest

from notesmith.annotations import Corrections
from notesmith.errors import ConflictError, OutputError, StoreError
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.store.schema import CURRENT_VERSION
from notesmith.transcript import Segment, TimeSpan, Word
from notesmith.verdicts import NoteVerdict, PersonVerdict, WordVerdict

LECTURE = Lecture("thuja-1", "Thuja", "a" * 64, date="2026-03-09", part=1)


@pytest.fixture
def store(tmp_path):
    with Store(tmp_path / "course.db") as opened:
        yield opened


def test_a_lecture_comes_back_as_it_was_written(store):
    store.add_lecture(LECTURE)
    assert store.lecture("thuja-1") == (LECTURE, 1)
    with pytest.raises(ConflictError, match="already"):
        store.add_lecture(LECTURE)


def test_a_second_writer_is_told_and_overwrites_nothing(store):
    store.add_lecture(LECTURE)
    first = msgspec.structs.replace(LECTURE, title="First")
    assert store.update_lecture(first, revision=1) == 2
    with pytest.raises(ConflictError, match="changed meanwhile"):
        store.update_lecture(msgspec.structs.replace(LECTURE, title="Second"), revision=1)
    assert store.lecture("thuja-1")[0].title == "First"


def test_removing_a_lecture_leaves_nothing_of_it(store, transcript_of):
    transcript = msgspec.structs.replace(transcript_of("a b"), recording_sha256="a" * 64)
    store.add_lecture(LECTURE)
    store.put_transcript("s", transcript)
    store.put_result("thuja-1", "corrections", "k", Corrections(transcript.digest))
    store.remove_lecture("thuja-1")
    for table in ("lecture", "transcript", "result", "decoded_window", "moment"):
        assert store.query(f"SELECT count(*) FROM {table}") == [(0,)]


def test_a_finished_transcript_replaces_its_windows_and_is_never_changed(store, transcript_of):
    words = (Segment(0, (Word(TimeSpan(0, 1), "a"),)),)
    store.put_decoded_window("a" * 64, "s", 0, words)
    assert store.decoded_windows("a" * 64, "s", tuple[Segment, ...]) == {0: words}
    first = msgspec.structs.replace(transcript_of("a b"), recording_sha256="a" * 64)
    store.put_transcript("s", first)
    store.put_transcript("s", msgspec.structs.replace(transcript_of("c d"), recording_sha256="a" * 64))
    assert store.transcript("a" * 64, "s") == first
    assert store.decoded_windows("a" * 64, "s", tuple[Segment, ...]) == {}


def test_verdicts_are_a_log_that_can_be_undone(store):
    rulings = (
        WordVerdict("always", "colley by chromacum", "remedy/kali-bi"),
        NoteVerdict("hide", "thuja-1", "p1"),
        PersonVerdict("hide", "Nandini"),
    )
    entries = [store.add_verdict(ruling, who="editor") for ruling in rulings]
    assert [entry.verdict for entry in store.verdicts()] == list(rulings)
    store.undo_verdict(entries[1].id)
    assert [entry.verdict for entry in store.verdicts()] == [rulings[0], rulings[2]]
    assert len(store.verdicts(with_undone=True)) == 3
    with pytest.raises(ConflictError, match="undone already"):
        store.undo_verdict(entries[1].id)


def test_a_transaction_is_all_or_nothing(store):
    def fail_half_way():
        with store.transaction():
            store.add_lecture(LECTURE)
            raise RuntimeError

    with pytest.raises(RuntimeError):
        fail_half_way()
    assert store.lectures() == ()


def test_many_may_begin_a_store_at_the_same_moment(tmp_path):
    failed = []

    def begin(path):
        try:
            with Store(path):
                pass
        except StoreError as error:
            failed.append(error)

    for number in range(20):
        threads = [threading.Thread(target=begin, args=(tmp_path / f"{number}.db",)) for _ in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert not failed


def test_two_threads_write_at_once_and_nothing_is_lost(tmp_path):
    def write(who):
        with Store(tmp_path / "course.db") as mine:
            for number in range(25):
                mine.add_verdict(PersonVerdict("hide", f"{who}{number}"), who=who)

    threads = [threading.Thread(target=write, args=(who,)) for who in ("ana", "ben", "cy")]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    with Store(tmp_path / "course.db") as store:
        assert len(store.verdicts()) == 75


def test_a_killed_writer_leaves_a_sound_store(tmp_path):
    script = (
        "import os,sys;from pathlib import Path\n"
        "from notesmith.store import Store;from notesmith.lecture import Lecture\n"
        "s=Store(Path(sys.argv[1]));s.add_lecture(Lecture('kept','t','a'*64))\n"
        "s.connection.execute('BEGIN IMMEDIATE')\n"
        's.connection.execute("UPDATE lecture SET revision=99");os.kill(os.getpid(),9)'
    )
    path = tmp_path / "course.db"
    assert subprocess.run([sys.executable, "-c", script, str(path)], check=False).returncode == -9
    with Store(path) as store:
        assert store.check() == ()
        assert store.lecture("kept")[1] == 1


def test_files_of_others_are_refused_and_left_alone(tmp_path):
    other = tmp_path / "other.db"
    connection = sqlite3.connect(other)
    connection.execute("CREATE TABLE t (x)")
    connection.close()
    with pytest.raises(StoreError, match="another program"):
        Store(other)
    junk = tmp_path / "junk.db"
    junk.write_bytes(b"not a database at all" * 100)
    with pytest.raises(StoreError, match="damaged"):
        Store(junk)
    assert junk.read_bytes() == b"not a database at all" * 100


def test_a_newer_store_asks_for_a_newer_program(tmp_path):
    path = tmp_path / "course.db"
    Store(path).close()
    connection = sqlite3.connect(path)
    connection.execute(f"PRAGMA user_version = {CURRENT_VERSION + 1}")
    connection.close()
    with pytest.raises(StoreError, match="newer Notesmith"):
        Store(path)


def test_a_copy_is_whole_and_never_overwrites(store, tmp_path):
    store.add_lecture(LECTURE)
    store.copy_to(tmp_path / "copy.db")
    with Store(tmp_path / "copy.db") as copy:
        assert copy.lectures() == (LECTURE,)
    with pytest.raises(OutputError, match="exists already"):
        store.copy_to(tmp_path / "copy.db")
