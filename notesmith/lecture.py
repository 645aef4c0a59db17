"""A lecture of a course and everything known about it."""

from __future__ import annotations

from functools import cached_property
from typing import Literal

import msgspec

from notesmith.annotations import Corrections, Extraction
from notesmith.reading import Reading, read
from notesmith.transcript import Transcript


class Lecture(msgspec.Struct, frozen=True):
    """What a person would write on the label of a recording.

    ``id`` is a slug, unique in the course and part of published addresses (``2026-03-02-thuja-1``).
    ``date`` is ISO 8601 (``2026-03-02``) or None. ``part`` of ``parts`` counts from 1 (part 2 of 3).
    ``media`` is the recording's file name inside the course's ``recordings`` folder, None for an imported
    transcript without sound. ``remedy_ids`` is set by a person, or empty.
    """

    id: str
    title: str
    recording_sha256: str
    date: str | None = None
    series: str | None = None
    part: int | None = None
    parts: int | None = None
    media: str | None = None
    remedy_ids: tuple[str, ...] = ()
    # Which of the fields above a person has set; the tool never proposes over them.
    set_by_person: tuple[str, ...] = ()


class Publication(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What a course publishes beside the notes."""

    audio: bool = True
    transcript: bool = True
    base_url: str | None = None  # where the site will be served; only the feed and metadata need it


class CourseSettings(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """The course's readable settings file, ``course.toml``.

    ``language`` is a BCP 47 tag. ``lecturer`` is how the lecturer is named in print. ``aliases`` are other names
    by which the lecturer is addressed; they are treated as the lecturer, not as a student.
    ``rights`` is printed on each page. ``textbooks`` and ``vocabulary`` are paths inside the course folder.
    """

    title: str
    subject: str = "Homeopathic materia medica"
    language: str = "en"
    lecturer: str = "the lecturer"
    aliases: tuple[str, ...] = ()
    rights: str = ""
    textbooks: tuple[str, ...] = ()
    vocabulary: str = "vocabulary"
    allowed_spellings: tuple[str, ...] = ()  # accepted variants the document check does not report
    profile: Literal["fast", "accurate", "testing"] = "accurate"
    model: str = "packaged"
    publish: Publication = Publication()


class LectureContent(msgspec.Struct, frozen=True, dict=True):
    """A lecture with all stages' results, after the verdicts of people were applied."""

    lecture: Lecture
    transcript: Transcript
    corrections: Corrections
    extraction: Extraction

    @cached_property
    def reading(self) -> Reading:
        return read(self.transcript, self.corrections)
