"""The command that opens the desk in the browser."""

from __future__ import annotations

import contextlib
import getpass
import socket
import threading
import webbrowser
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated

import typer

from notesmith.cli.console import CourseOption, say, the_course
from notesmith.course import Course
from notesmith.errors import BusyError, InputError


def add_to(app: typer.Typer) -> None:
    app.command("desk")(desk)


def desk(
    course: CourseOption = Path(),
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port on this machine; 0 takes a free one.")] = 0,
    who: Annotated[str, typer.Option(help="The name under which decisions are kept.", show_default=False)] = "",
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
) -> None:
    """Open the desk: add recordings, settle words and names, and publish, in the browser on this machine.

    Example: notesmith desk -c monday-course
    """
    import uvicorn

    from notesmith.desk.app import make_app
    from notesmith.desk.guard import OPEN_PATH, new_keys

    opened = the_course(course)
    with _alone(opened):
        listener = _listen(port)
        port = int(listener.getsockname()[1])
        keys = new_keys()
        application = make_app(opened, port=port, keys=keys, who=who or _user())
        config = uvicorn.Config(
            application,
            log_level="warning",
            access_log=False,
            server_header=False,
            date_header=False,
            timeout_graceful_shutdown=5,
            h11_max_incomplete_event_size=32 * 1024,
            ws="none",
        )
        address = f"http://127.0.0.1:{port}{OPEN_PATH}?key={keys.opening}"
        say("The desk is open at this address, for you on this machine only:")
        say(address)
        say("Stop it with Ctrl+C; work that is under way goes on next time.")
        if browser:
            threading.Timer(0.8, webbrowser.open, (address,)).start()
        with contextlib.suppress(KeyboardInterrupt):
            uvicorn.Server(config).run(sockets=[listener])


def _user() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError):
        return "a person at the desk"


def _listen(port: int) -> socket.socket:
    """A listening socket on the loopback address, never on another. Raises InputError where the port is taken."""
    listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    try:
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        listener.bind(("127.0.0.1", port))
        listener.listen(64)
    except OSError as error:
        listener.close()
        raise InputError(
            f"port {port} cannot be used ({error.strerror}); leave --port away to take a free one"
        ) from error
    return listener


@contextlib.contextmanager
def _alone(course: Course) -> Iterator[None]:
    """One desk a course: two would work on the same recordings. The lock goes with the process.

    Raises BusyError where another desk is open.
    """
    with (course.folder / ".desk.lock").open("a") as file:
        try:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:
            pass
        except OSError:
            raise BusyError(f"{course.folder}: the desk of this course is open already; use its window") from None
        yield
