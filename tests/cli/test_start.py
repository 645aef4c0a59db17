"""The help is there at once: what only the stages need is not loaded before a command needs it."""

import subprocess
import sys

import pytest

HEAVY = ("numpy", "av", "faster_whisper", "ctranslate2", "spacy", "wordfreq", "rdflib", "starlette", "dask")
PROGRAM = """
import contextlib, io, sys
from notesmith.cli.main import main
sys.argv = ["notesmith", *{arguments!r}]
with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):
    main()
print(" ".join(name for name in {heavy!r} if name in sys.modules))
"""


@pytest.mark.parametrize("arguments", [["--help"], ["--version"], ["work", "--help"], ["terms", "show", "Lyc"]])
def test_nothing_heavy_is_loaded(arguments: list[str]) -> None:
    program = PROGRAM.format(arguments=arguments, heavy=HEAVY)
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout.split() == []
