"""Commands for a course and the labels of its lectures."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Annotated

import msgspec
import typer

from notesmith.cli.console import CourseOption, say, the_course
from notesmith.course import create_course, title_from
from notesmith.errors import InputError
from notesmith.lecture import CourseSettings, Lecture


def add_to(app: typer.Typer) -> None:
    app.command("begin")(begin)
    app.command("add")(add)
    app.command("lectures")(lectures)
    app.command("label")(label)
    app.command("remove")(remove)


def begin(
    folder: Annotated[Path, typer.Argument(help="The new course's folder.")],
    title: Annotated[str, typer.Option(help="What the course is called.")] = "",
    lecturer: Annotated[str, typer.Option(help="How the lecturer is named in print.")] = "the lecturer",
    language: Annotated[str, typer.Option(help="The language of the lectures (BCP 47).")] = "en",
) -> None:
    """Begin a course: a folder with its settings and an empty store.

    Example: notesmith begin monday-course --title "Monday materia medica"
    """
    settings = CourseSettings(title=title or title_from(folder), lecturer=lecturer, language=language)
    course = create_course(folder, settings)
    say(f"Begun: {course.folder}")
    say(f"Settings: {course.settings_path}")
    say(f"Next: notesmith add -c {folder} RECORDING")


def add(
    files: Annotated[list[Path], typer.Argument(help="Recordings or transcript files (vtt, srt, json, txt).")],
    course: CourseOption = Path(),
) -> None:
    """Add recordings, or transcripts made elsewhere, to the course.

    Example: notesmith add -c monday-course "2026-03-02 Thuja part 1.m4a"
    """
    from notesmith.pipeline import add_file

    opened = the_course(course)
    vocabulary = opened.load_vocabulary()
    with opened.open_store() as store:
        for path in files:
            lecture, new = add_file(opened, store, path, vocabulary)
            say(f"{'added' if new else 'already there'}: {lecture.id}  ({_line(lecture)})")


def _line(lecture: Lecture) -> str:
    part = f", part {lecture.part}" + (f" of {lecture.parts}" if lecture.parts else "") if lecture.part else ""
    titled_with_part = "part" in lecture.title.lower()
    return f"{lecture.date or 'no date'}, {lecture.title}{'' if titled_with_part else part}"


def lectures(
    course: CourseOption = Path(),
    json: Annotated[bool, typer.Option("--json", help="As JSON, one object a lecture.")] = False,
) -> None:
    """List the course's lectures.

    Example: notesmith lectures -c monday-course
    """
    opened = the_course(course)
    with opened.open_store() as store:
        found = store.lectures()
        for lecture in found:
            if json:
                say(msgspec.json.encode(lecture).decode())
                continue
            state = "noted" if store.result_key(lecture.id, "extraction") else "waiting"
            say(f"{lecture.id}  {_line(lecture)}  [{state}]")
    if not found and not json:
        say(f"No lecture yet. Add one: notesmith add -c {course} RECORDING")


def label(
    lecture_id: Annotated[str, typer.Argument(help="The lecture, as 'notesmith lectures' names it.")],
    course: CourseOption = Path(),
    title: Annotated[str | None, typer.Option(help="Its title.")] = None,
    day: Annotated[str | None, typer.Option("--date", help="Its date, 2026-03-02.")] = None,
    series: Annotated[str | None, typer.Option(help="The series it belongs to.")] = None,
    part: Annotated[int | None, typer.Option(help="Which part of the series, from 1.", min=1)] = None,
    parts: Annotated[int | None, typer.Option(help="How many parts the series has.", min=1)] = None,
    remedy: Annotated[list[str] | None, typer.Option(help="A remedy it teaches, any label; repeatable.")] = None,
) -> None:
    """Set a lecture's title, date, series, part or remedies; what you set is never proposed over.

    Example: notesmith label 2026-03-02-thuja -c monday-course --part 1 --parts 3
    """
    opened = the_course(course)
    values: dict[str, object] = {"title": title, "date": day, "series": series, "part": part, "parts": parts}
    if day is not None:
        try:
            date.fromisoformat(day)
        except ValueError as error:
            raise InputError(f"{day!r} is not a date; write it as 2026-03-02") from error
    if remedy:
        from notesmith.vocabulary.variants import resolve_remedy

        vocabulary = opened.load_vocabulary()
        ids = []
        for name in remedy:
            match resolve_remedy(vocabulary, name).concepts:
                case (one,):
                    ids.append(one.id)
                case ():
                    raise InputError(f"no remedy is called {name!r}; look it up with: notesmith terms show {name!r}")
                case several:
                    raise InputError(f"{name!r} may be {', '.join(c.pref_label for c in several)}; name one in full")
        values["remedy_ids"] = tuple(ids)
    given = {name: value for name, value in values.items() if value is not None}
    if not given:
        raise InputError("nothing to set; give --title, --date, --series, --part, --parts or --remedy")
    with opened.open_store() as store:
        lecture, revision = store.lecture(lecture_id)
        by_person = tuple(dict.fromkeys((*lecture.set_by_person, *given)))
        changed = msgspec.structs.replace(lecture, set_by_person=by_person, **given)
        if changed.part and changed.parts and changed.part > changed.parts:
            raise InputError(f"part {changed.part} of {changed.parts} cannot be; set --parts too")
        store.update_lecture(changed, revision=revision)
    say(f"{lecture_id}  {_line(changed)}")


def remove(
    lecture_id: Annotated[str, typer.Argument(help="The lecture, as 'notesmith lectures' names it.")],
    course: CourseOption = Path(),
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Remove a lecture from the course: its transcript, results and the course's copy of the recording.

    The next 'publish' takes it off the site. Example: notesmith remove 2026-03-02-thuja -c monday-course
    """
    opened = the_course(course)
    with opened.open_store() as store:
        lecture, _ = store.lecture(lecture_id)
        if not yes and not typer.confirm(f"Remove {lecture_id} ({_line(lecture)}) for good?"):
            raise typer.Exit(1)
        store.remove_lecture(lecture_id)
    if lecture.media is not None:
        opened.media_path(lecture.media).unlink(missing_ok=True)
    (opened.notes / f"{lecture_id}.md").unlink(missing_ok=True)
    say(f"removed: {lecture_id}; run 'notesmith publish' to take it off the site")
