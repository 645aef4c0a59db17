"""Commands that do the listening: the whole course, one file without a course, the sample course."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from notesmith.cli.console import CourseOption, progress_bar, say, the_course
from notesmith.errors import InputError, NotesmithError
from notesmith.profiles import profile_named
from notesmith.vocabulary import load_vocabulary

ProfileOption = Annotated[
    str | None, typer.Option(help="fast, accurate or testing; the course's own if not given.", show_default=False)
]


def add_to(app: typer.Typer) -> None:
    app.command("work")(work)
    app.command("once")(once)
    app.command("sample")(sample)


def work(
    course: CourseOption = Path(),
    profile: ProfileOption = None,
) -> None:
    """Bring every lecture of the course up to date: listen, restore terms, find the points.

    Does only what is not done; stop it at any time, the same command goes on from there.
    Example: notesmith work -c monday-course
    """
    from notesmith import pipeline

    opened = the_course(course)
    failures: list[str] = []
    tools = pipeline.Tools(opened, profile_named(profile) if profile else None)
    with opened.open_store() as store, progress_bar() as report:
        lectures = store.lectures()
        for lecture in lectures:
            try:
                pipeline.process(tools, store, lecture, report)
            except InputError as error:
                failures.append(f"{lecture.id}: {error}")
    say(f"{len(lectures) - len(failures)} of {len(lectures)} lectures are up to date.")
    if failures:
        raise NotesmithError("set aside: " + "; ".join(failures))


def once(
    file: Annotated[Path, typer.Argument(help="A recording, or a transcript (vtt, srt, json, txt).")],
    to: Annotated[Path, typer.Option("--to", help="The folder the results go to.")] = Path("out"),
    language: Annotated[str, typer.Option(help="The language spoken (BCP 47).")] = "en",
    model: Annotated[
        str,
        typer.Option(
            help="packaged (taught the craft's names), base (untaught), small, medium, large-v3, or a folder."
        ),
    ] = "packaged",
    profile: Annotated[str, typer.Option(help="fast, accurate or testing.")] = "accurate",
    textbook: Annotated[
        Path | None, typer.Option(help="The text read aloud in the session, plain or Markdown.")
    ] = None,
    vocabulary: Annotated[Path | None, typer.Option(help="A folder with vocabulary files of your own.")] = None,
) -> None:
    """One recording or transcript in; transcript, corrections, findings and notes out. Needs no course.

    Writes corrected.vtt, corrected.txt, notes.md and result.json (described in DEVELOPERS.md).
    Example: notesmith once lecture.mp3 --to out
    """
    from notesmith import pipeline, transcribe
    from notesmith.oneshot import write_results

    if not file.is_file():
        raise InputError(f"{file}: there is no such file")
    terms = load_vocabulary(*([vocabulary] if vocabulary else []))
    speech = None if file.suffix.lower() in pipeline.CAPTION_ENDINGS else transcribe.load_model(model)
    lines: tuple[str, ...] = ()
    if textbook is not None:
        lines = tuple(line for raw in _read(textbook).splitlines() if (line := raw.strip()))
    with progress_bar() as report:
        content = pipeline.once(
            file, settings_language=language, model=speech, vocabulary=terms, profile=profile_named(profile),
            textbook=lines, report=report,
        )  # fmt: skip
    for path in write_results(content, terms, to):
        say(str(path))


def _read(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"{path}: cannot be read as UTF-8 text ({error})") from error


def sample(
    folder: Annotated[Path, typer.Argument(help="Where the sample course goes.")] = Path("sample-course"),
    profile: ProfileOption = None,
) -> None:
    """Make the sample course from the sample recordings, from sound to site, and say how to open it.

    Example: notesmith sample
    """
    from notesmith import pipeline
    from notesmith.samples import make_sample_course

    begun = time.monotonic()
    course = make_sample_course(folder)
    tools = pipeline.Tools(course, profile_named(profile) if profile else None)
    with course.open_store() as store, progress_bar() as report:
        for lecture in store.lectures():
            pipeline.process(tools, store, lecture, report)
        site = pipeline.publish(course, store, tools.vocabulary, report)
    say(f"Done in {time.monotonic() - begun:.0f} s. The site is in {site.folder}")
    say(f"Open it: {(site.folder / 'index.html').as_uri()}")
    say(f"With search: notesmith view -c {folder}")
