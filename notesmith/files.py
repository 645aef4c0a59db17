"""Writing files so that a reader never sees half of one."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path

from notesmith.errors import OutputError


@contextlib.contextmanager
def output_errors(path: Path) -> Iterator[None]:
    """Turn the operating system's refusals to write into one clear line."""
    try:
        yield
    except OSError as error:
        if error.errno in (errno.ENOSPC, errno.EDQUOT):
            raise OutputError(f"{path}: the disk is full; free some space and run the command again") from error
        raise OutputError(f"{path}: cannot be written ({error.strerror or error})") from error


def write_atomic(path: Path, data: bytes | str) -> None:
    """Write a whole file beside the target, flush it to the disk, then put it in place.

    Raises OutputError; what was there before is then untouched.
    """
    body = data.encode("utf-8") if isinstance(data, str) else data
    with output_errors(path):
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}.", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(body)
                file.flush()
                os.fsync(file.fileno())
            os.chmod(temporary, 0o644)
            os.replace(temporary, path)
        except BaseException:
            with contextlib.suppress(OSError):
                os.unlink(temporary)
            raise


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
