"""Commands for what comes out: site, notes, search."""

from __future__ import annotations

import functools
import http.server
import webbrowser
from pathlib import Path
from typing import Annotated

import msgspec
import typer

from notesmith.cli.console import CourseOption, progress_bar, say, the_course
from notesmith.errors import ConflictError, InputError


def add_to(app: typer.Typer) -> None:
    app.command("publish")(publish)
    app.command("view")(view)
    app.command("find")(find)


def publish(
    course: CourseOption = Path(),
    hide_doubtful: Annotated[
        bool,
        typer.Option(
            "--hide-doubtful",
            help="Publish though names or potencies are undecided: such names stay hidden, such potencies are marked.",
        ),
    ] = False,
) -> None:
    """Write the notes and build the site from what is finished; only what changed is written.

    Refused while a name or a potency is undecided, as in the desk. Example: notesmith publish -c monday-course
    """
    from notesmith import pipeline
    from notesmith.desk.publication import undecided

    opened = the_course(course)
    vocabulary = opened.load_vocabulary()
    with opened.open_store() as store:
        waiting = () if hide_doubtful else undecided(vocabulary, store)
        if waiting:
            raise ConflictError(
                f"{course}: not published, {' and '.join(waiting)}; settle them with: notesmith desk -c {course}  "
                "(or publish with --hide-doubtful: such names stay hidden, such potencies are marked doubtful)"
            )
        with progress_bar() as report:
            site = pipeline.publish(opened, store, vocabulary, report)
    for line in site.remarks:
        say(line)
    say(f"The site is in {site.folder}; open {(site.folder / 'index.html').as_uri()}")


def view(
    course: CourseOption = Path(),
    port: Annotated[int, typer.Option(help="The port on this machine; 0 takes a free one.")] = 0,
    browser: Annotated[bool, typer.Option("--browser/--no-browser", help="Open the browser.")] = True,
) -> None:
    """Show the built site in the browser with search, from this machine only.

    Example: notesmith view -c monday-course
    """
    from notesmith.site.preview import RangeHandler

    opened = the_course(course)
    if not (opened.site / "index.html").is_file():
        raise InputError(f"{opened.site}: no site there yet; run: notesmith publish -c {course}")
    handler = functools.partial(RangeHandler, directory=str(opened.site))
    with http.server.ThreadingHTTPServer(("127.0.0.1", port), handler) as server:
        address = f"http://127.0.0.1:{server.server_address[1]}/"
        say(f"The site is at {address} (stop with Ctrl-C)")
        if browser:
            webbrowser.open(address)
        server.serve_forever()


def find(
    words: Annotated[list[str], typer.Argument(help="A remedy, an abbreviation or a symptom in your own words.")],
    course: CourseOption = Path(),
    limit: Annotated[int, typer.Option(help="How many moments at most.", min=1, max=1000)] = 10,
    json: Annotated[bool, typer.Option("--json", help="As JSON, one object a line.")] = False,
) -> None:
    """Find the moments where something is taught.

    Example: notesmith find -c monday-course cries easily
    """
    from notesmith import search

    opened = the_course(course)
    with opened.open_store() as store:
        hits = search.search(store, opened.load_vocabulary(), " ".join(words), limit=limit)
    for hit in hits:
        if json:
            say(msgspec.json.encode(hit).decode())
        else:
            seconds = hit.start_ms // 1000
            say(f"{hit.lecture_id} {seconds // 60}:{seconds % 60:02d}  {hit.kind}: {hit.text}")
    if not hits and not json:
        say("Nothing found. Try another word for it, or a single word.")
        raise typer.Exit(1)
