import os
import stat
import subprocess
import sys

import pytest

from notesmith.errors import OutputError
from notesmith.files import abandoned, sha256_of, sweep, unfinished, write_atomic, write_if_changed


def test_sha256_agrees_with_the_published_vector(tmp_path):
    # NIST FIPS 180-4 example: SHA-256("abc")
    (tmp_path / "f").write_bytes(b"abc")
    assert sha256_of(tmp_path / "f") == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"


def test_writing_the_same_bytes_touches_nothing(tmp_path):
    path = tmp_path / "a" / "b.txt"
    assert write_if_changed(path, "x")
    before = path.stat().st_mtime_ns
    assert not write_if_changed(path, "x")
    assert path.stat().st_mtime_ns == before


def test_a_full_disk_is_one_clear_line_and_leaves_the_old_file(tmp_path):
    path = tmp_path / "f"
    write_atomic(path, "old")
    script = (
        "import resource,sys;from pathlib import Path;from notesmith.files import write_atomic\n"
        "from notesmith.errors import OutputError\nimport signal;signal.signal(signal.SIGXFSZ,signal.SIG_IGN)\n"
        "resource.setrlimit(resource.RLIMIT_FSIZE,(1000,1000))\n"
        "try: write_atomic(Path(sys.argv[1]),'n'*5000)\nexcept OutputError as e: print(e); sys.exit(5)"
    )
    done = subprocess.run([sys.executable, "-c", script, str(path)], capture_output=True, text=True, check=False)
    assert done.returncode == 5
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["f"]


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_no_permission_is_one_clear_line(tmp_path):
    tmp_path.chmod(stat.S_IRUSR | stat.S_IXUSR)
    with pytest.raises(OutputError, match="cannot be written"):
        write_atomic(tmp_path / "f", "x")


def test_a_file_in_the_place_of_a_folder_is_one_clear_line(tmp_path):
    (tmp_path / "f").write_text("x")
    with pytest.raises(OutputError, match="cannot be written"):
        write_atomic(tmp_path / "f" / "g", "x")


def test_what_a_killed_writer_leaves_is_swept_and_a_living_ones_is_not(tmp_path):
    script = (
        "import sys,time;from pathlib import Path;from notesmith.files import unfinished\n"
        "with unfinished(Path(sys.argv[1])) as part: part.write_text('half'); print('x', flush=True); time.sleep(60)"
    )
    with subprocess.Popen([sys.executable, "-c", script, str(tmp_path / "f")], stdout=subprocess.PIPE) as writer:
        try:
            assert writer.stdout is not None
            writer.stdout.readline()
            (left,) = tmp_path.glob(".f.*.part")
            sweep((tmp_path, tmp_path / "not there"))
            assert left.read_text() == "half"
            assert not abandoned(left)
        finally:
            writer.kill()
            writer.wait()
    assert abandoned(left)
    sweep((tmp_path,))
    assert os.listdir(tmp_path) == []


def test_a_block_that_fails_leaves_the_old_file_alone(tmp_path):
    path = tmp_path / "f"
    path.write_text("old")

    def fail() -> None:
        with unfinished(path) as part:
            part.write_text("new")
            raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError):
        fail()
    assert path.read_text() == "old"
    assert os.listdir(tmp_path) == ["f"]


def test_the_longest_name_can_be_written(tmp_path):
    # POSIX NAME_MAX of common file systems: 255 bytes
    write_atomic(tmp_path / ("n" * 255), "x")
    assert os.listdir(tmp_path) == ["n" * 255]
