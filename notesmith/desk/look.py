"""Run apart by the worker on an uploaded file: prints one line and ends with 2 where it cannot be used."""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

from notesmith.errors import NotesmithError
from notesmith.recording import probe
from notesmith.transcribe.captions import load_captions

CAPTION_ENDINGS = frozenset({".vtt", ".srt", ".json", ".txt"})


CPU_SECONDS = 45
MEMORY_BYTES = 3 * 1024**3


def limit_this_process() -> None:
    """No files written, little memory, little time: a hostile file can then do no more than fail."""
    with contextlib.suppress(ImportError):  # Windows has no such limits; the time limit outside still holds
        import resource

        resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))


def look(path: Path) -> None:
    """Raises InputError where the file is neither a recording nor a transcript that can be used."""
    if path.suffix.lower() in CAPTION_ENDINGS:
        load_captions(path)
    else:
        probe(path)


if __name__ == "__main__":
    limit_this_process()
    try:
        look(Path(sys.argv[1]))
    except NotesmithError as problem:
        sys.stdout.write(str(problem).replace(f"{sys.argv[1]}: ", ""))
        sys.exit(2)
