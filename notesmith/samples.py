"""The sample course: our own invented lecturer, students and cases."""

from __future__ import annotations

from pathlib import Path

from notesmith.course import SETTINGS_NAME, Course, create_course, open_course
from notesmith.errors import InputError
from notesmith.lecture import CourseSettings
from notesmith.pipeline import add_file

SOUND_ENDINGS = frozenset({".opus", ".mp3", ".m4a"})


def samples_dir() -> Path:
    """The sample recordings, in the wheel or in a source checkout. Raises InputError where they are missing."""
    package = Path(__file__).resolve().parent
    for folder in (package / "_samples", package.parent / "sample_audio"):
        if folder.is_dir():
            return folder
    raise InputError("the sample recordings are not installed; run this command in a clone of the project")


def sample_recordings() -> tuple[Path, ...]:
    """The sample recordings in the order of the course. Raises InputError where they are missing."""
    return tuple(sorted(path for path in samples_dir().iterdir() if path.suffix in SOUND_ENDINGS))


def make_sample_course(folder: Path) -> Course:
    """Make the sample course in a folder, or open it where it was made before."""
    recordings = sample_recordings()
    if (folder / SETTINGS_NAME).is_file():
        course = open_course(folder)
    else:
        settings = CourseSettings(
            title="Evening materia medica",
            lecturer="Dr Mirela Oduya",
            aliases=("Dr Oduya", "Mirela"),
            rights="Sample course, invented throughout.",
        )
        course = create_course(folder, settings)
    vocabulary = course.load_vocabulary()
    with course.open_store() as store:
        for path in recordings:
            add_file(course, store, path, vocabulary)
    return course
