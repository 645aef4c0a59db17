"""The command that opens the desk in the browser."""

from __future__ import annotations

import contextlib
import getpass
import socket
import threading
import webbrowser
from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, TextIO

import typer

from notesmith.cli.console import CourseOption, say, the_course
from notesmith.course import SETTINGS_NAME, Course, create_course, title_from
from notesmith.desk.opening import OPENING_FILE, address_of, leave_opening
from notesmith.errors import BusyError, InputError
from notesmith.lecture import CourseSettings

LOCK_FILE = ".desk.lock"


def add_to(app: typer.Typer) -> None:
    app.command("desk")(desk)


def desk(
    course: CourseOption = Path(),
    port: Annotated[int, typer.Option(min=0, max=65535, help="The port on this machine; 0 takes a free one.")] = 0,
    who: Annotated[str, typer.Option(help="The name under which decisions are kept.", show_default=False)] = "",
    browser: Annotated[bool, typer.Option(help="Open the browser.")] = True,
    new: Annotated[bool, typer.Option("--new", help="Begin the course where there is none yet.")] = False,
) -> None:
    """Open the desk: add recordings, settle words and names, and publish, in the browser on this machine.

    Example: notesmith desk -c monday-course
    """
    if new and not (course / SETTINGS_NAME).exists():
        create_course(course, CourseSettings(title=title_from(course)))
    opened = the_course(course)
    with _alone(opened) as lock:
        if lock is None:
            _open_again(opened, browser=browser)
            return
        listener = _listen(port)
        port = int(listener.getsockname()[1])
        (opened.folder / OPENING_FILE).unlink(missing_ok=True)
        lock.write(str(port))
        lock.flush()
        _serve(opened, listener, who or _user(), browser=browser)


def _serve(course: Course, listener: socket.socket, who: str, *, browser: bool) -> None:
    import uvicorn

    from notesmith.desk.app import make_app
    from notesmith.desk.guard import new_keys

    port = int(listener.getsockname()[1])
    keys = new_keys()
    config = uvicorn.Config(
        make_app(course, port=port, keys=keys, who=who),
        log_level="warning",
        access_log=False,
        server_header=False,
        date_header=False,
        timeout_graceful_shutdown=5,
        h11_max_incomplete_event_size=32 * 1024,
        ws="none",
    )
    address = address_of(port, keys.opening)
    say("The desk is open at this address, for you on this machine only; it opens once:")
    say(address)
    say("Stop it with Ctrl+C; work that is under way goes on next time.")
    if browser:
        threading.Timer(0.8, webbrowser.open, (address,)).start()
    with contextlib.suppress(KeyboardInterrupt):
        uvicorn.Server(config).run(sockets=[listener])


def _open_again(course: Course, *, browser: bool) -> None:
    """The desk runs already: give its user a new address. Raises BusyError where it does not say its port."""
    said = (course.folder / LOCK_FILE).read_text(encoding="utf-8", errors="replace").strip()
    if not said.isdigit():
        raise BusyError(f"{course.folder}: the desk of this course is open already; use its window")
    address = address_of(int(said), leave_opening(course.folder / OPENING_FILE))
    say("The desk of this course is running already. This address opens it, once:")
    say(address)
    if browser:
        webbrowser.open(address)


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
def _alone(course: Course) -> Iterator[TextIO | None]:
    """One desk a course: two would work on the same recordings. The lock goes with the process.

    Gives the lock's file, emptied, for the desk to say its port in; None where another desk is open.
    """
    with (course.folder / LOCK_FILE).open("a") as file:
        try:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except ImportError:
            pass
        except OSError:
            yield None
            return
        file.truncate(0)
        yield file
