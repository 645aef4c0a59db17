"""What the commands share: the course option, printing, and progress with the time left."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TaskID, TextColumn, TimeElapsedColumn, TimeRemainingColumn

from notesmith.course import Course, open_course

if TYPE_CHECKING:  # the stages are loaded by the command that needs them, so that the help is there at once
    from notesmith.pipeline import Progress as Step
    from notesmith.pipeline import Report

out = Console(highlight=False, soft_wrap=True)
err = Console(stderr=True, highlight=False, soft_wrap=True)

CourseOption = Annotated[
    Path, typer.Option("--course", "-c", help="The course folder; the present folder if not given.", show_default=False)
]


def the_course(folder: Path) -> Course:
    return open_course(folder)


def say(text: str) -> None:
    """One line for the user, never interpreted as markup."""
    out.print(text, markup=False)


STAGE_NAMES = {"transcribe": "listening", "correct": "restoring terms", "extract": "finding points", "site": "site"}


@contextmanager
def progress_bar() -> Iterator[Report]:
    """A bar for each stage of each lecture; plain lines where the output is not a terminal."""
    if not sys.stderr.isatty():
        yield _plain_report()
        return
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.percentage:>3.0f}%"),
               TimeElapsedColumn(), TextColumn("left"), TimeRemainingColumn())  # fmt: skip
    with Progress(*columns, console=err) as bars:
        tasks: dict[tuple[str, str], TaskID] = {}

        def report(step: Step) -> None:
            name = (step.lecture_id, step.stage)
            if name not in tasks:
                label = f"{step.lecture_id}: {STAGE_NAMES.get(step.stage, step.stage)}"
                tasks[name] = bars.add_task(label, total=step.total)
            bars.update(tasks[name], completed=step.done, total=step.total)

        yield report


def _plain_report() -> Report:
    shown: dict[tuple[str, str], int] = {}

    def report(step: Step) -> None:
        tenth = 10 * step.done // step.total if step.total else 10
        name = (step.lecture_id, step.stage)
        if shown.get(name, -1) < tenth:
            shown[name] = tenth
            err.print(f"{step.lecture_id}: {STAGE_NAMES.get(step.stage, step.stage)} {10 * tenth}%", markup=False)

    return report
