"""Commands that keep years of work safe: the backlog, backup, restore and the check."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.progress import BarColumn, Progress, TaskID, TextColumn
from rich.table import Column

from notesmith.cli.console import STAGE_NAMES, CourseOption, err, progress_bar, say, the_course
from notesmith.course import Course
from notesmith.errors import InputError, NotesmithError
from notesmith.profiles import Profile, profile_named

if TYPE_CHECKING:
    from notesmith import backlog as work_list


LABEL_WIDTH = 36


def add_to(app: typer.Typer) -> None:
    app.command("backlog")(backlog)
    app.command("backup")(backup)
    app.command("restore")(restore)
    app.command("verify")(verify)


def hours(seconds: float) -> str:
    """A duration as a person says it.

    >>> hours(45), hours(620), hours(9_000)
    ('45 s', '10 min', '2 h 30 min')
    """
    if seconds < 90:
        return f"{seconds:.0f} s"
    if seconds < 3600:
        return f"{seconds / 60:.0f} min"
    return f"{seconds // 3600:.0f} h {seconds % 3600 / 60:.0f} min"


def backlog(
    paths: Annotated[list[Path] | None, typer.Argument(help="Folders, recordings, transcripts.")] = None,
    course: CourseOption = Path(),
    listed: Annotated[Path | None, typer.Option("--list", help="A text file with a path on each line.")] = None,
    plan_only: Annotated[bool, typer.Option("--plan", help="Only say what would be done.")] = False,
    workers: Annotated[int, typer.Option(help="Processes on this machine; 0 chooses.", min=0, max=256)] = 0,
    scheduler: Annotated[str | None, typer.Option(help="A Dask scheduler, tcp://host:8786.")] = None,
    ship: Annotated[bool, typer.Option("--ship", help="Send recordings; the workers do not see this folder.")] = False,
    profile: Annotated[str | None, typer.Option(help="fast, accurate or testing; the course's own if not given.")] = (
        None
    ),
) -> None:
    """Take in years of recordings: plan, work on all cores or a cluster, report. Stop and go on at any time.

    Without paths it goes on with what the course holds and has no results yet.
    Example: notesmith backlog archive/ -c monday-course --plan
    """
    from notesmith import backlog as work_list

    opened = the_course(course)
    chosen = profile_named(profile) if profile else None
    wanted = [*(paths or []), *(work_list.read_list(listed) if listed else [])]
    with opened.open_store() as store:
        with Progress(TextColumn("looking at {task.description}"), console=err, transient=True) as looking:
            task = looking.add_task("files")
            plan = work_list.make_plan(
                opened, store, wanted, profile=chosen, seen=lambda name: looking.update(task, description=name)
            )
        _say_plan(plan)
        if plan.sound_ms:
            _say_expected(opened, plan, chosen, scheduler, workers)
        if plan_only or not plan.count("new", "unfinished"):
            return
        report = _run(lambda watch: work_list.run(
            opened, store, plan, address=scheduler, shared=not ship, workers=workers, profile=chosen, watch=watch
        ))  # fmt: skip
    say(
        f"{len(report.finished)} lectures finished, {hours(report.sound_ms / 1000)} of sound in "
        f"{hours(report.seconds)}; {len(report.duplicates)} duplicates left out."
    )
    if report.finished:
        say(f"Next: notesmith publish -c {course}")
    for outcome in report.set_aside:
        say(f"set aside: {_named(outcome.name, outcome.failure or '')}")
    if report.set_aside:
        raise NotesmithError(f"{len(report.set_aside)} set aside, named above; all else is done")


def _say_plan(plan: work_list.Plan) -> None:
    say(
        f"{plan.count('new')} new, {plan.count('unfinished')} to go on with, {plan.finished} done already, "
        f"{plan.count('duplicate')} duplicates, {plan.count('unusable')} cannot be used."
    )
    for item in plan.items:
        if item.state in ("duplicate", "unusable"):
            say(f"{item.state}: {_named(item.name, item.reason)}")


def _named(name: str, reason: str) -> str:
    """A file or lecture with what is the matter with it, which may begin with the name itself."""
    return reason if reason.startswith(name) else f"{name}: {reason}"


def _say_expected(
    course: Course, plan: work_list.Plan, profile: Profile | None, scheduler: str | None, workers: int
) -> None:
    from notesmith import backlog as work_list

    with Progress(TextColumn("trying out how fast this machine listens"), console=err, transient=True) as trying:
        trying.add_task("")
        expected = work_list.expected_time(course, plan, profile=profile, address=scheduler, workers=workers)
    sound = f"{hours(plan.sound_ms / 1000)} of sound to listen to"
    if expected is None:
        why = "on this cluster" if scheduler else "with this model, which is not on this machine yet"
        say(f"{sound}; expected time: not known before the first run {why}.")
        return
    basis = "a trial on a minute of a sample recording" if expected.tried else "the last run here"
    say(f"{sound}; expected time: {hours(expected.least_s)} to {hours(expected.most_s)}, going by {basis}.")


def _run(do: Callable[[work_list.Watch], work_list.BacklogReport]) -> work_list.BacklogReport:
    """Run with one bar over all and one for each lecture being worked on; plain lines where there is no terminal."""
    if not err.is_terminal:
        return do(_plain_watch())
    columns = (TextColumn("{task.description}", table_column=Column(max_width=LABEL_WIDTH, no_wrap=True)),
               BarColumn(bar_width=20), TextColumn("{task.fields[says]}"))  # fmt: skip
    with Progress(*columns, console=err) as bars:
        whole = bars.add_task("all sound", says="")
        tasks: dict[str, TaskID] = {}

        def watch(standing: work_list.Standing) -> None:
            total, done = standing.sound_ms, standing.sound_done_ms
            if not total:
                total, done = max(1, standing.total), standing.finished
            bars.update(whole, completed=done, total=total, says=_says(standing))
            for lecture_id in tasks.keys() - {step.lecture_id for step in standing.working}:
                bars.remove_task(tasks.pop(lecture_id))
            for step in standing.working:
                if step.lecture_id not in tasks:
                    tasks[step.lecture_id] = bars.add_task(step.lecture_id, says="")
                stage = STAGE_NAMES.get(step.stage, step.stage)
                bars.update(tasks[step.lecture_id], completed=step.done, total=step.total, says=stage)

        return do(watch)


def _says(standing: work_list.Standing) -> str:
    """How far the whole is, in words."""
    text = f"{standing.finished} of {standing.total} lectures"
    if standing.set_aside:
        text += f", {standing.set_aside} set aside"
    if standing.seconds_left is not None:
        text += f", about {hours(standing.seconds_left)} left"
    return text


def _plain_watch() -> work_list.Watch:
    told = (-1, -1)

    def watch(standing: work_list.Standing) -> None:
        nonlocal told
        tenth = 10 * standing.sound_done_ms // standing.sound_ms if standing.sound_ms else 10
        if (standing.finished, tenth) != told:
            told = (standing.finished, tenth)
            share = f", {10 * tenth}% of the sound" if standing.sound_ms else ""
            err.print(f"{_says(standing)}{share}", markup=False)

    return watch


def backup(
    target: Annotated[Path, typer.Argument(help="The .zip to write.")],
    course: CourseOption = Path(),
    recordings: Annotated[bool, typer.Option("--recordings", help="Also the recordings; large.")] = False,
) -> None:
    """Write one .zip with all that cannot be made again: rulings, transcripts, settings, vocabulary, notes.

    Consistent also while others write. The recordings go in only with --recordings.
    Example: notesmith backup monday.zip -c monday-course
    """
    from notesmith import care

    manifest = care.backup(the_course(course), target, recordings=recordings)
    say(f"{len(manifest.files)} files, {target.stat().st_size / 1e6:.1f} MB, in {target}")
    if not recordings:
        say("The recordings are not in it; keep a copy of them, or add --recordings.")


def restore(
    archive: Annotated[Path, typer.Argument(help="A .zip written by 'notesmith backup'.")],
    folder: Annotated[Path, typer.Argument(help="A new folder for the course.")],
) -> None:
    """Make a course from a backup, in a new or empty folder. Every file is checked first.

    Example: notesmith restore monday.zip monday-again
    """
    from notesmith import care

    if not archive.is_file():
        raise InputError(f"{archive}: there is no such file")
    course = care.restore(archive, folder)
    with course.open_store() as store:
        absent = [one.media for one in store.lectures() if one.media and not course.media_path(one.media).is_file()]
    say(f"Restored {course.settings.title!r} in {course.folder}")
    if absent:
        say(f"{len(absent)} recordings are not in the backup; put them into {course.recordings} under these names:")
        for name in absent:
            say(f"  {name}")
    say(f"Build its site: notesmith publish -c {folder}")


def verify(
    course: CourseOption = Path(),
    mend: Annotated[bool, typer.Option("--mend", help="Rebuild what can be rebuilt.")] = False,
) -> None:
    """Check the store, the recordings, the results and the site; with --mend rebuild what can be rebuilt.

    Example: notesmith verify -c monday-course --mend
    """
    from notesmith import care, pipeline

    opened = the_course(course)
    with opened.open_store() as store:
        with Progress(TextColumn("looking at {task.description}"), console=err, transient=True) as looking:
            task = looking.add_task("the store")
            findings = care.verify(opened, store, seen=lambda name: looking.update(task, description=name))
        if mend and any(finding.mendable for finding in findings):
            with progress_bar() as report:
                findings = care.mend(pipeline.Tools(opened), store, findings, report)
    for finding in findings:
        state = "mended" if finding.mended else "can be mended" if finding.mendable else "needs you"
        say(f"{finding.place}: {finding.problem} ({state})")
    open_ones = [finding for finding in findings if not finding.mended]
    if open_ones:
        hint = "; run it with --mend" if any(finding.mendable for finding in open_ones) else ""
        raise NotesmithError(f"{len(open_ones)} problems found{hint}")
    say("All is well." if not findings else "All that was wrong is mended.")
