"""Writing files so that a reader never sees half of one.

A file is written beside its target under a name that ends in ``.part``, locked while its writer lives, then renamed.
A writer that is killed leaves it behind unlocked; ``sweep`` removes such files.
"""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import tempfile
import time
from collections.abc import Iterable, Iterator
from pathlib import Path

from notesmith.errors import OutputError

try:
    import fcntl
except ImportError:  # a system without such locks
    fcntl = None  # type: ignore[assignment]

PART = ".part"
ABANDONED_AGE_S = 600.0  # where there are no locks, younger files may be another program's, at work now


@contextlib.contextmanager
def output_errors(path: Path) -> Iterator[None]:
    """Turn the operating system's refusals to write into one clear line."""
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise OutputError(f"{path}: the disk is full; free some space and run the command again") from error
        raise OutputError(f"{path}: cannot be written ({error.strerror or error})") from error


def _locked(handle: int, *, wait: bool) -> bool:
    """Hold the file until its handle is closed; False where another holds it."""
    if fcntl is not None:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
        except BlockingIOError:
            return False
        except OSError:
            return wait  # a file system without locks: write all the same, but sweep nothing away
    return True


@contextlib.contextmanager
def unfinished(target: Path) -> Iterator[Path]:
    """A new, empty file beside the target; write it in the block, at whose end it is put in the target's place.

    Where the block raises, the file is removed and what was there before is untouched. Flushing is the block's matter.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    while True:
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name[:80]}.", suffix=PART)
        _locked(handle, wait=True)
        if os.fstat(handle).st_nlink:
            break
        os.close(handle)  # swept away before it could be locked
    temporary = Path(name)
    try:
        if fcntl is None:  # an open file could not be renamed there
            os.close(handle)
        yield temporary
        temporary.chmod(0o644)
        temporary.replace(target)
    except BaseException:
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise
    finally:
        if fcntl is not None:
            os.close(handle)


def abandoned(path: Path, *, remove: bool = False) -> bool:
    """Whether a ``.part`` file belongs to no living writer; it can be removed while that is sure."""
    try:
        if fcntl is None:
            gone = time.time() - path.stat().st_mtime > ABANDONED_AGE_S
            if gone and remove:
                path.unlink()
            return gone
        handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW)
    except OSError:
        return False
    try:
        free = _locked(handle, wait=False)
        if free and remove:
            with contextlib.suppress(OSError):
                path.unlink()
        return free
    finally:
        os.close(handle)


def sweep(folders: Iterable[Path]) -> None:
    """Remove what killed writers left in these folders (not in folders within them)."""
    for folder in folders:
        for path in folder.glob(f"*{PART}"):
            if path.is_file():
                abandoned(path, remove=True)


def write_atomic(path: Path, data: bytes | str) -> None:
    """Write a whole file beside the target, flush it to the disk, then put it in place.

    Raises OutputError; what was there before is then untouched.
    """
    body = data.encode("utf-8") if isinstance(data, str) else data
    with output_errors(path), unfinished(path) as temporary, temporary.open("wb") as file:
        file.write(body)
        file.flush()
        os.fsync(file.fileno())


def write_if_changed(path: Path, data: bytes | str) -> bool:
    """Write atomically unless the file holds these bytes already; returns whether it wrote."""
    body = data.encode("utf-8") if isinstance(data, str) else data
    if path.is_file() and path.stat().st_size == len(body) and path.read_bytes() == body:
        return False
    write_atomic(path, body)
    return True


def sha256_of(path: Path) -> str:
    """The hex SHA-256 of a file's bytes, read in pieces."""
    digest = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(1 << 20):
            digest.update(piece)
    return digest.hexdigest()
