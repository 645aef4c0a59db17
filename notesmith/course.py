"""A course is a folder: settings a person can read, the store, the recordings, the notes and the built site.

course.toml     settings
course.db       the store
recordings/     recordings and imported transcripts, as given
vocabulary/     the course's own vocabulary layer (same format as the packaged one)
textbook/       the course's own text, if it gives one
notes/          Markdown notes, which a person may edit
site/           the published site
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import msgspec
import tomlkit

from notesmith.errors import CourseError
from notesmith.files import output_errors, write_atomic
from notesmith.lecture import CourseSettings
from notesmith.store import Store
from notesmith.vocabulary import Vocabulary, load_vocabulary

SETTINGS_NAME = "course.toml"
SETTINGS_LIMIT_BYTES = 1 << 20


class Course(msgspec.Struct, frozen=True):
    """An opened course. Paths are absolute."""

    folder: Path
    settings: CourseSettings

    @property
    def settings_path(self) -> Path:
        return self.folder / SETTINGS_NAME

    @property
    def store_path(self) -> Path:
        return self.folder / "course.db"

    @property
    def recordings(self) -> Path:
        return self.folder / "recordings"

    @property
    def notes(self) -> Path:
        return self.folder / "notes"

    @property
    def site(self) -> Path:
        return self.folder / "site"

    @property
    def vocabulary_dir(self) -> Path:
        return self.inside(self.settings.vocabulary)

    def inside(self, name: str) -> Path:
        """A path named by the settings, inside the course folder.

        Raises CourseError where it leads out of the folder, also by a symbolic link.
        """
        path = (self.folder / name).resolve()
        if not path.is_relative_to(self.folder):
            raise CourseError(f"{self.settings_path}: {name!r} leads out of the course folder; name a path inside it")
        return path

    def media_path(self, media: str) -> Path:
        """A recording's path. Raises CourseError where the name leads out of the recordings folder."""
        path = (self.recordings / media).resolve()
        if not path.is_relative_to(self.recordings.resolve()):
            raise CourseError(f"recording {media!r} leads out of the course folder")
        return path

    def open_store(self) -> Store:
        return Store(self.store_path)

    def load_vocabulary(self) -> Vocabulary:
        folder = self.vocabulary_dir
        return load_vocabulary(*([folder] if folder.is_dir() else []))

    def textbook_lines(self) -> tuple[str, ...]:
        """The lines of the course's own text, blank ones left out, in the order the settings name the files."""
        lines: list[str] = []
        for name in self.settings.textbooks:
            path = self.inside(name)
            try:
                text = path.read_text(encoding="utf-8-sig")
            except OSError as error:
                raise CourseError(f"{path}: the textbook cannot be read ({error.strerror})") from error
            except UnicodeDecodeError as error:
                raise CourseError(
                    f"{path}: the textbook is not UTF-8 at byte {error.start}; save it as UTF-8"
                ) from error
            lines.extend(line for raw in text.splitlines() if (line := raw.strip()))
        return tuple(lines)


def create_course(folder: Path, settings: CourseSettings) -> Course:
    """Make a course folder. Raises CourseError where there is a course already."""
    folder = folder.resolve()
    if (folder / SETTINGS_NAME).exists():
        raise CourseError(f"{folder}: there is a course here already; open it, or name another folder")
    with output_errors(folder):
        for name in ("recordings", settings.vocabulary):
            (folder / name).mkdir(parents=True, exist_ok=True)
    course = Course(folder, settings)
    write_atomic(course.settings_path, settings_text(settings))
    course.open_store().close()
    return course


def title_from(folder: Path) -> str:
    """What a course is called after its folder: ``monday-course`` is the Monday course."""
    return folder.resolve().name.replace("-", " ").replace("_", " ").capitalize()


def open_course(folder: Path) -> Course:
    """Open a course by its folder. Raises CourseError naming what is wrong in the settings file."""
    folder = folder.resolve()
    path = folder / SETTINGS_NAME
    if not path.is_file():
        raise CourseError(f"{folder}: no {SETTINGS_NAME} here; begin a course with: notesmith begin {folder.name}")
    if path.stat().st_size > SETTINGS_LIMIT_BYTES:
        raise CourseError(f"{path}: is larger than 1 MB; that is no settings file")
    try:
        values = tomllib.loads(path.read_text(encoding="utf-8-sig"))
        settings = msgspec.convert(values, CourseSettings)
    except UnicodeDecodeError as error:
        raise CourseError(f"{path}: not UTF-8 at byte {error.start}; save it as UTF-8") from error
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise CourseError(f"{path}: not valid TOML: {str(error)[:300]}") from error
    except msgspec.ValidationError as error:
        raise CourseError(f"{path}: {str(error)[:300]}") from error
    except OSError as error:
        raise CourseError(f"{path}: cannot be read ({error.strerror})") from error
    return Course(folder, settings)


_COMMENTS = {
    "title": "What the course is called on its pages.",
    "language": "The language of the lectures (BCP 47).",
    "lecturer": "How the lecturer is named in print.",
    "aliases": "Other names by which the lecturer is addressed in the sessions.",
    "rights": "Printed at the foot of each page.",
    "textbooks": "The course's own text, read aloud in the sessions: paths inside this folder.",
    "vocabulary": "The folder of the course's own vocabulary layer.",
    "allowed_spellings": "Spellings this course accepts beside the preferred ones.",
    "profile": "fast, accurate or testing.",
    "model": "packaged, a folder, or a model's name: small, medium, large-v3, turbo.",
}


def settings_text(settings: CourseSettings) -> str:
    """The settings as a commented TOML text."""
    document = tomlkit.document()
    for name, value in msgspec.to_builtins(settings).items():
        if name in _COMMENTS:
            document.add(tomlkit.comment(_COMMENTS[name]))
        if isinstance(value, dict):
            table = tomlkit.table()
            for inner, given in value.items():
                if given is not None:
                    table.add(inner, given)
            document.add(name, table)
        else:
            document.add(name, value)
    return tomlkit.dumps(document)


def save_settings(course: Course, settings: CourseSettings) -> Course:
    """Write changed settings, keeping a person's comments and order in the file."""
    document = tomlkit.parse(course.settings_path.read_text(encoding="utf-8-sig"))
    for name, value in msgspec.to_builtins(settings).items():
        if isinstance(value, dict):
            table = document.setdefault(name, tomlkit.table())
            for inner, given in value.items():
                if given is None:
                    table.pop(inner, None)
                elif table.get(inner) != given:
                    table[inner] = given
        elif document.get(name) != value:
            document[name] = value
    write_atomic(course.settings_path, tomlkit.dumps(document))
    return Course(course.folder, settings)
