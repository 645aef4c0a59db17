"""Keep a course whole: back it up, restore it, find out what is damaged and rebuild what can be rebuilt.

A backup holds what cannot be made again: the store (people's rulings, transcripts), the settings, the course's own
vocabulary and textbooks, and the notes a person may have edited. Recordings are large and kept as files; they go in
only when asked. The site and the search index are made again from the store.
"""

from __future__ import annotations

import hashlib
import html
import os
import re
import shutil
import tempfile
import urllib.parse
import zipfile
import zlib
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path, PurePosixPath

import msgspec

from notesmith import pipeline, transcribe
from notesmith.annotations import Corrections, Extraction
from notesmith.course import SETTINGS_NAME, Course, open_course
from notesmith.errors import CourseError, NotesmithError, OutputError
from notesmith.files import abandoned, output_errors, sha256_of
from notesmith.lecture import Lecture
from notesmith.site.build import cache_of
from notesmith.store import Store

MANIFEST_NAME = "backup.json"
FORMAT = 1
MAX_MANIFEST_BYTES = 64 << 20
MAX_FILE_BYTES = 64 << 30  # a day of uncompressed sound is 8 GB
PIECE_BYTES = 1 << 20

Seen = Callable[[str], None]


class BackedUpFile(msgspec.Struct, frozen=True):
    """A file of a backup by its path inside the course, with its size in bytes and its SHA-256."""

    name: str
    size: int
    sha256: str


class Manifest(msgspec.Struct, frozen=True):
    """What a backup holds; written last, so that a backup without it is known to be incomplete."""

    format: int
    title: str
    files: tuple[BackedUpFile, ...]


class Finding(msgspec.Struct, frozen=True):
    """Something wrong with a course: where, what, and whether ``mend`` can put it right."""

    place: str
    problem: str
    mendable: bool
    mended: bool = False


def _silent(_: str) -> None:
    """Tell nothing."""


# ---------------------------------------------------------------- backup


def backup(course: Course, target: Path, *, recordings: bool = False, seen: Seen = _silent) -> Manifest:
    """Write a backup into one new .zip; consistent also while others write to the course.

    Raises OutputError where the target exists or cannot be written; nothing is left behind then.
    """
    if target.exists():
        raise OutputError(f"{target}: exists already; name a new file")
    with output_errors(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        folder = Path(tempfile.mkdtemp(dir=target.parent, prefix=".backup."))
    try:
        with course.open_store() as store:
            store.copy_to(folder / "course.db")
        with output_errors(target):
            manifest = _pack(course, folder, recordings, seen)
            os.link(folder / "backup.zip", target)  # unlike a rename, fails where somebody was faster
            _flush_folder(target.parent)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return manifest


def _pack(course: Course, folder: Path, recordings: bool, seen: Seen) -> Manifest:
    files = []
    with (folder / "backup.zip").open("wb") as raw:
        with zipfile.ZipFile(raw, "w", zipfile.ZIP_DEFLATED) as archive:
            for name, path in (("course.db", folder / "course.db"), *_kept_files(course, recordings)):
                seen(name)
                files.append(_add(archive, name, path))
            manifest = Manifest(FORMAT, course.settings.title, tuple(files))
            archive.writestr(MANIFEST_NAME, msgspec.json.format(msgspec.json.encode(manifest), indent=1))
        raw.flush()
        os.fsync(raw.fileno())
    return manifest


def _add(archive: zipfile.ZipFile, name: str, path: Path) -> BackedUpFile:
    """Add a file in pieces; what is hashed is what is written, also where the file changes meanwhile."""
    digest = hashlib.sha256()
    size = 0
    entry = zipfile.ZipInfo(name)
    entry.compress_type = zipfile.ZIP_STORED if name.startswith("recordings/") else zipfile.ZIP_DEFLATED
    with path.open("rb") as source, archive.open(entry, "w", force_zip64=True) as file:
        while piece := source.read(PIECE_BYTES):
            digest.update(piece)
            size += len(piece)
            file.write(piece)
    return BackedUpFile(name, size, digest.hexdigest())


def _kept_files(course: Course, recordings: bool) -> Iterator[tuple[str, Path]]:
    """The files of a backup beside the store, by their path inside the course. Links are not followed."""
    named = [course.settings_path, *(course.inside(name) for name in course.settings.textbooks)]
    folders = [course.vocabulary_dir, course.notes, *([course.recordings] if recordings else [])]
    found = {path for path in named if path.is_file()}
    for folder in folders:
        for inner, names, leaves in os.walk(folder):
            names[:] = [name for name in names if not name.startswith(".")]
            found |= {Path(inner) / leaf for leaf in leaves if not leaf.startswith(".")}
    for path in sorted(found):
        if not path.is_symlink() and path.is_file() and path.is_relative_to(course.folder):
            yield path.relative_to(course.folder).as_posix(), path


def _flush_folder(folder: Path) -> None:
    """Make a new name last through a power cut, where the system lets folders be flushed."""
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


# ---------------------------------------------------------------- restore


def restore(archive_path: Path, folder: Path, *, seen: Seen = _silent) -> Course:
    """Make a course from a backup in a folder that is not there or is empty.

    Every file is checked against the backup's manifest before the folder appears. Raises CourseError where the backup
    is damaged or the folder is in use; nothing is written then.
    """
    folder = folder.resolve()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CourseError(f"{folder}: is not empty; a backup is never restored over something, name a new folder")
    try:
        archive = zipfile.ZipFile(archive_path)
    except (OSError, zipfile.BadZipFile, ValueError, NotImplementedError) as error:
        raise CourseError(f"{archive_path}: is no backup or is damaged ({error})") from error
    with archive:
        manifest = _manifest(archive_path, archive)
        with output_errors(folder):
            folder.parent.mkdir(parents=True, exist_ok=True)
            fresh = Path(tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}."))
        try:
            for file in manifest.files:
                seen(file.name)
                _unpack(archive_path, archive, file, fresh)
            _try_out(archive_path, fresh)
            with output_errors(folder):
                fresh.chmod(0o755)
                if folder.exists():
                    folder.rmdir()
                os.rename(fresh, folder)
                _flush_folder(folder.parent)
        finally:
            shutil.rmtree(fresh, ignore_errors=True)
    return open_course(folder)


def _manifest(path: Path, archive: zipfile.ZipFile) -> Manifest:
    try:
        if archive.getinfo(MANIFEST_NAME).file_size > MAX_MANIFEST_BYTES:
            raise CourseError(f"{path}: its list of files is too large; that is no backup made by Notesmith")
        with archive.open(MANIFEST_NAME) as file:
            manifest = msgspec.json.decode(file.read(MAX_MANIFEST_BYTES + 1), type=Manifest)
    except KeyError as error:
        raise CourseError(f"{path}: has no {MANIFEST_NAME}; it is no backup made by Notesmith") from error
    except (*_ZIP_FAULTS, msgspec.MsgspecError, RecursionError) as error:
        raise CourseError(f"{path}: its list of files is damaged ({error}); use another backup") from error
    if manifest.format != FORMAT:
        raise CourseError(f"{path}: is a backup of format {manifest.format}, this program reads {FORMAT}")
    names = [file.name for file in manifest.files]
    if len(set(names)) != len(names) or not {SETTINGS_NAME, "course.db"} <= set(names):
        raise CourseError(f"{path}: its list of files is not complete; use another backup")
    for name in names:
        parts = PurePosixPath(name).parts
        if name.startswith("/") or "\\" in name or ":" in name or "\0" in name or ".." in parts or not parts:
            raise CourseError(f"{path}: names a file outside the course ({name!r}); do not trust this backup")
    return manifest


_ZIP_FAULTS = (zipfile.BadZipFile, zipfile.LargeZipFile, OSError, EOFError, RuntimeError, NotImplementedError,
               ValueError, zlib.error)  # fmt: skip


def _unpack(path: Path, archive: zipfile.ZipFile, file: BackedUpFile, fresh: Path) -> None:
    target = fresh / file.name
    digest = hashlib.sha256()
    size = 0
    with output_errors(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        out = target.open("xb")
    with out:
        try:
            source = archive.open(file.name)
        except (KeyError, *_ZIP_FAULTS) as error:
            raise CourseError(f"{path}: {file.name} is missing or damaged ({error}); use another backup") from error
        with source:
            while True:
                try:
                    piece = source.read(PIECE_BYTES)
                except _ZIP_FAULTS as error:
                    raise CourseError(f"{path}: {file.name} is damaged ({error}); use another backup") from error
                if not piece:
                    break
                size += len(piece)
                if size > min(file.size, MAX_FILE_BYTES):
                    raise CourseError(f"{path}: {file.name} is larger than the backup says; do not trust this backup")
                digest.update(piece)
                with output_errors(target):
                    out.write(piece)
        with output_errors(target):
            out.flush()
            os.fsync(out.fileno())
    if size != file.size or digest.hexdigest() != file.sha256:
        raise CourseError(f"{path}: {file.name} is not what was backed up; use another backup")


def _try_out(path: Path, fresh: Path) -> None:
    try:
        with open_course(fresh).open_store() as store:
            problems = store.check()
    except NotesmithError as error:
        raise CourseError(f"{path}: what it holds cannot be opened ({error}); use another backup") from error
    if problems:
        raise CourseError(f"{path}: its store is damaged ({problems[0]}); use another backup")


# ---------------------------------------------------------------- verify


def verify(course: Course, store: Store, *, seen: Seen = _silent) -> tuple[Finding, ...]:
    """Everything found wrong: the store's file, its records, the recordings, the notes' and the site's files.

    Changes nothing.
    """
    seen("the store")
    findings = [Finding("course.db", problem, mendable=False) for problem in store.check()]
    for lecture in store.lectures():
        seen(lecture.id)
        findings += _lecture_findings(course, store, lecture)
    findings += _verdict_findings(store)
    findings += _leftovers(course)
    seen("the site")
    findings += _site_findings(course, store)
    return tuple(findings)


def _lecture_findings(course: Course, store: Store, lecture: Lecture) -> Iterator[Finding]:
    try:
        digests = {one.transcript.digest for one in store.transcripts(lecture.recording_sha256)}
    except NotesmithError:
        yield Finding(lecture.id, "its transcript is damaged", mendable=lecture.media is not None)
        digests = None
    try:
        for settings in store.window_settings(lecture.recording_sha256):
            store.decoded_windows(lecture.recording_sha256, settings, transcribe.StoredWindow)
    except NotesmithError:
        yield Finding(lecture.id, "a finished window of its transcription is damaged", mendable=True)
    if lecture.media is None and digests is not None and not digests:
        yield Finding(lecture.id, "has neither a recording nor a transcript; add its file again", mendable=False)
    if lecture.media is not None:
        yield from _recording_findings(course, lecture)
    for stage, kind in (("corrections", Corrections), ("extraction", Extraction)):
        try:
            value: object = store.result(lecture.id, stage, kind)
        except NotesmithError:
            yield Finding(f"{lecture.id}: {stage}", "the result is damaged", mendable=True)
            continue
        if digests and isinstance(value, Corrections) and value.transcript_digest not in digests:
            yield Finding(f"{lecture.id}: {stage}", "belongs to a transcript that is not there", mendable=True)


def _recording_findings(course: Course, lecture: Lecture) -> Iterator[Finding]:
    assert lecture.media is not None
    try:
        path = course.media_path(lecture.media)
        if not path.is_file():
            yield Finding(f"recordings/{lecture.media}", "is missing; put the file back", mendable=False)
        elif sha256_of(path) != lecture.recording_sha256:
            yield Finding(
                f"recordings/{lecture.media}", "is not the recording that was added; put the file back", mendable=False
            )
    except (NotesmithError, OSError) as error:
        yield Finding(f"recordings/{lecture.media}", f"cannot be read ({error})", mendable=False)


def _verdict_findings(store: Store) -> Iterator[Finding]:
    try:
        store.verdicts(with_undone=True)
    except NotesmithError:
        yield Finding("course.db", "people's rulings are damaged; restore a backup", mendable=False)


CUT_OFF = "is left of a write that was cut off"


def _leftovers(course: Course) -> Iterator[Finding]:
    """Files of writes that were cut off; they were never part of the course."""
    found = [*course.folder.glob("*.part"), *course.folder.glob(".*.part")]
    for folder in (course.recordings, course.notes, course.site):
        found += folder.rglob("*.part")
    for path in sorted(set(found)):
        if path.is_file() and abandoned(path):
            yield Finding(path.relative_to(course.folder).as_posix(), CUT_OFF, mendable=True)


def _site_findings(course: Course, store: Store) -> Iterator[Finding]:
    """Empty files, links to files that are not there, and finished lectures without a page."""
    if not course.site.is_dir():
        return
    files = {
        path.relative_to(course.site).as_posix(): path for path in sorted(course.site.rglob("*")) if path.is_file()
    }
    missing: dict[str, str] = {}
    for name, path in files.items():
        if path.stat().st_size == 0:
            yield Finding(f"site/{name}", "is empty", mendable=True)
        if name.endswith(".html"):
            text = path.read_text(encoding="utf-8", errors="replace")
            for target in _local_links(text):
                wanted = os.path.normpath(os.path.join(os.path.dirname(name), target)).replace(os.sep, "/")
                if wanted not in files and f"{wanted}/index.html" not in files and not (course.site / wanted).is_dir():
                    missing.setdefault(wanted, name)
    for wanted, name in sorted(missing.items()):
        yield Finding(f"site/{wanted}", f"is missing; {name} leads there", mendable=True)
    pages = " ".join(name for name in files if name.endswith(".html"))
    for lecture in store.lectures():
        if store.result_key(lecture.id, "notes") is not None and lecture.id not in pages:
            yield Finding("site", f"has no page of lecture {lecture.id}", mendable=True)


_LINK = re.compile(r"""(?:href|src)=(?:"([^"]*)"|'([^']*)')""")


def _local_links(page: str) -> Iterator[str]:
    for match in _LINK.finditer(page):
        target = html.unescape(match[1] if match[1] is not None else match[2]).split("#")[0].split("?")[0]
        if target and not target.startswith("/") and not re.match(r"[a-zA-Z][a-zA-Z0-9+.-]*:", target):
            yield urllib.parse.unquote(target)


# ---------------------------------------------------------------- mend


def mend(
    tools: pipeline.Tools, store: Store, findings: Sequence[Finding], report: pipeline.Report = pipeline.silent
) -> tuple[Finding, ...]:
    """Rebuild what can be rebuilt; returns the findings with ``mended`` set where that was done.

    Nothing a person made or gave is touched: only derived results, remains of writes, and the site.
    """
    course = tools.course
    again = set()
    for lecture in store.lectures():
        if lecture.media is not None and any(f.place == lecture.id and f.mendable for f in findings):
            store.drop_transcripts(lecture.recording_sha256)
            again.add(lecture.id)
        for stage in ("corrections", "extraction"):
            if any(f.place == f"{lecture.id}: {stage}" for f in findings):
                store.drop_result(lecture.id, stage)
                again.add(lecture.id)
    failed = set()
    for lecture in store.lectures():
        if lecture.id in again:
            try:
                pipeline.process(tools, store, lecture, report)
            except NotesmithError:
                failed.add(lecture.id)
    for finding in findings:
        if finding.problem == CUT_OFF:
            abandoned(course.folder / finding.place, remove=True)
    if any(finding.place.startswith("site") for finding in findings):
        # Without the list of what is there every page is made again; files that are right are not written.
        (cache_of(course.site) / "manifest.json").unlink(missing_ok=True)
        pipeline.publish(course, store, tools.vocabulary, report)
    return tuple(
        msgspec.structs.replace(f, mended=f.mendable and f.place.partition(":")[0] not in failed) for f in findings
    )
