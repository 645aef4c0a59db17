"""All lectures of a course as the publishing side sees them: results after people's verdicts, loaded on demand."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Protocol

import msgspec

from notesmith.lecture import CourseSettings, Lecture, LectureContent
from notesmith.verdicts import PersonVerdict, VerdictEntry
from notesmith.vocabulary import Vocabulary


class LibraryEntry(msgspec.Struct, frozen=True):
    """A lecture and the digest of all that its published form is made from."""

    lecture: Lecture
    digest: str


class Library(Protocol):
    """What notes, site and search are built from. Only ``content`` is costly."""

    @property
    def settings(self) -> CourseSettings: ...

    @property
    def vocabulary(self) -> Vocabulary: ...

    @property
    def verdicts(self) -> tuple[VerdictEntry, ...]: ...

    def entries(self) -> Sequence[LibraryEntry]:
        """All lectures that have results, in teaching order."""

    def content(self, lecture_id: str) -> LectureContent:
        """One lecture's results. Raises StoreError where it has none."""

    def media_path(self, lecture: Lecture) -> Path | None:
        """The recording, where there is one."""


class MemoryLibrary:
    """A library of lectures held in memory: for the one-shot form, previews and tests."""

    def __init__(
        self,
        settings: CourseSettings,
        vocabulary: Vocabulary,
        contents: Sequence[LectureContent],
        *,
        verdicts: tuple[VerdictEntry, ...] = (),
        media: dict[str, Path] | None = None,
    ) -> None:
        self.settings = settings
        self.vocabulary = vocabulary
        self.verdicts = verdicts
        self._contents = {content.lecture.id: content for content in contents}
        self._media = media or {}

    def entries(self) -> Sequence[LibraryEntry]:
        return [LibraryEntry(c.lecture, digest_of(c, self.verdicts)) for c in self._contents.values()]

    def content(self, lecture_id: str) -> LectureContent:
        return self._contents[lecture_id]

    def media_path(self, lecture: Lecture) -> Path | None:
        return self._media.get(lecture.id)


def digest_of(content: LectureContent, verdicts: Sequence[VerdictEntry]) -> str:
    """SHA-256 over everything a lecture's published form is made from."""
    return digest(content.lecture, content.corrections, content.extraction, *_person_rulings(verdicts))


def _person_rulings(verdicts: Sequence[VerdictEntry]) -> list[object]:
    return [entry.verdict for entry in verdicts if isinstance(entry.verdict, PersonVerdict)]


def digest(*values: object) -> str:
    """The hex SHA-256 of values in their canonical JSON form; the key of whatever is derived from them."""
    return hashlib.sha256(msgspec.json.encode(values, order="deterministic")).hexdigest()
