"""Put the commands together and turn errors into one line and an exit code."""

from __future__ import annotations

import importlib
import os
import sys

import typer

from notesmith import __version__
from notesmith.errors import NotesmithError

app = typer.Typer(
    name="notesmith",
    help="Turn recordings of materia medica lectures into searchable, timestamped study notes, on this machine.",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
)
# Each module adds its commands with ``add_to(app)``; the order is the order of the help text.
ROOMS = ("course", "work", "desk", "publish", "terms", "care")
DEFECT_EXIT_CODE = 70  # sysexits.h EX_SOFTWARE
STOPPED = "stopped; what was finished is kept, the same command goes on from there"
CANCELLED_EXIT_CODE = 130  # 128 + SIGINT, as shells report it


@app.callback(invoke_without_command=True)
def _root(version: bool = typer.Option(False, "--version", help="Print the version and leave.")) -> None:
    if version:
        typer.echo(f"notesmith {__version__}")
        raise typer.Exit


for _room in ROOMS:
    importlib.import_module(f"notesmith.cli.{_room}").add_to(app)


def main() -> None:
    """Run the command line; never ends in a traceback unless NOTESMITH_DEBUG is set."""
    try:
        app()
    except NotesmithError as error:
        _leave(str(error), error.exit_code)
    except KeyboardInterrupt:
        _leave(STOPPED, CANCELLED_EXIT_CODE)
    except SystemExit as error:  # typer turns Ctrl-C into this, and says nothing
        if error.code != CANCELLED_EXIT_CODE:
            raise
        _leave(STOPPED, CANCELLED_EXIT_CODE)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    except Exception as error:
        if os.environ.get("NOTESMITH_DEBUG"):
            raise
        place = f"{type(error).__name__}: {error}".splitlines()[0]
        _leave(f"a defect of the program ({place}); your files are untouched. Set NOTESMITH_DEBUG=1 to see where",
               DEFECT_EXIT_CODE)  # fmt: skip


def _leave(message: str, code: int) -> None:
    line = " ".join(message.split())
    print(f"notesmith: {line}", file=sys.stderr)
    sys.exit(code)
