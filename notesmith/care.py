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

from notesmith import pipeline, search, transcribe
from notesmith.annotations import Corrections, Extraction
from notesmith.course import SETTINGS_NAME, Course, open_course
from notesmith.errors import CourseError, NotesmithError, OutputError
from notesmith.files import abandoned, output_errors, sha256_of
from notesmith.lecture import Lecture
from notesmith.pipeline import HEARING
from notesmith.site.build import AUDIO_NAME, build, cache_of, forget, is_current, sound_sums
from notesmith.sounds.hearing import PhoneHearing
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
    # Lectures taken out at the desk can be brought back from there; their sound goes with the recordings.
    for path in (course.folder / ".removed").glob("*/*"):
        if recordings or path.suffix in (".json", ".md"):
            found.add(path)
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
                for inner in ("recordings", "vocabulary"):
                    (fresh / inner).mkdir(exist_ok=True)
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
    """Everything found wrong: the store's file, its records, the recordings, the notes, the search index, the site.

    What was published is made again aside, from the store, and compared to the byte; web copies of sound are compared
    with the digest noted when they were made. Changes nothing.
    """
    seen("the store")
    findings = [Finding("course.db", problem, mendable=False) for problem in store.check()]
    for lecture in store.lectures():
        seen(lecture.id)
        findings += _lecture_findings(course, store, lecture)
    findings += _verdict_findings(store)
    findings += _leftovers(course)
    if any(finding.place == "course.db" for finding in findings):
        return tuple(findings)  # what is made from a damaged store says nothing
    seen("the notes and the search index")
    library = pipeline.StoreLibrary(course, store, course.load_vocabulary())
    try:
        findings += _notes_findings(course, store, library)
        findings += _search_findings(store, library)
        seen("the site")
        findings += _site_findings(course, store, library)
    except NotesmithError as error:  # a damaged result, which is told above
        if not findings:
            findings.append(Finding("course.db", str(error), mendable=False))
    return tuple(findings)


def _published(store: Store, library: pipeline.StoreLibrary) -> list[str]:
    """The lectures whose notes and search index were written from just what the store holds now."""
    return [e.lecture.id for e in library.entries() if store.result_key(e.lecture.id, "notes") == e.digest]


def _notes_findings(course: Course, store: Store, library: pipeline.StoreLibrary) -> Iterator[Finding]:
    for lecture_id in _published(store, library):
        path = course.notes / f"{lecture_id}.md"
        if not path.is_file() or path.stat().st_size == 0:
            yield Finding(f"notes/{lecture_id}.md", "is missing" if not path.is_file() else "is empty", mendable=True)


SEARCH = "search index"


def _search_findings(store: Store, library: pipeline.StoreLibrary) -> Iterator[Finding]:
    """The rows in the store beside those made anew from the lectures."""
    wanted = _published(store, library)
    if not store.search_is_sound():
        yield Finding(SEARCH, "is damaged", mendable=True)
        return
    held = store.search_digests()
    with tempfile.TemporaryDirectory(prefix="notesmith-") as folder, Store(Path(folder) / "fresh.db") as fresh:
        with fresh.transaction():
            for lecture_id in wanted:
                search.index_lecture(fresh, library.content(lecture_id), library.vocabulary, library.verdicts)
        made = fresh.search_digests()
        counts_right = {*wanted} != held.keys() or fresh.search_counts() == store.search_counts()
    for lecture_id in wanted:
        if held.get(lecture_id) != made.get(lecture_id):
            yield Finding(SEARCH, f"is not what this program makes of lecture {lecture_id}", mendable=True)
    if not counts_right:
        yield Finding(SEARCH, "counts its words wrongly", mendable=True)


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
    for stage, kind in (("corrections", Corrections), ("extraction", Extraction), (HEARING, PhoneHearing)):
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


def _site_findings(course: Course, store: Store, library: pipeline.StoreLibrary) -> Iterator[Finding]:
    """Files that are not as they were built: compared where the site is of today's course, else looked through."""
    if not course.site.is_dir() or not any(course.site.iterdir()):
        return
    current = is_current(library, course.site)
    if current is None:
        yield Finding("site", "has lost the list of what was built", mendable=True)
        return
    found = dict(_sound_faults(course))
    if current:
        found |= _differences(course, library)
    else:
        found |= _looked_through(course, store)
    for name, problem in sorted(found.items()):
        if current:
            yield Finding(f"site/{name}".rstrip("/"), problem, mendable=True)
        else:
            yield Finding(f"site/{name}".rstrip("/"), f"{problem}; {OLDER}", mendable=False)


OLDER = "the site is older than the course, publish it again"


def _sound_faults(course: Course) -> Iterator[tuple[str, str]]:
    for lecture_id, sha256 in sorted(sound_sums(course.site).items()):
        path = course.site / "audio" / f"{lecture_id}.mp3"
        if path.is_file() and sha256_of(path) != sha256:
            yield f"audio/{path.name}", NOT_AS_BUILT


NOT_AS_BUILT = "is not as it was built"


def _differences(course: Course, library: pipeline.StoreLibrary) -> dict[str, str]:
    """Build the site again aside, without encoding sound, and compare every other file."""
    with tempfile.TemporaryDirectory(dir=course.folder, prefix=".verify.") as folder:
        fresh = Path(folder) / "site"
        (fresh / "audio").mkdir(parents=True)
        (fresh / "notesmith.txt").touch()  # tells the builder that the folder is its own
        cache_of(fresh).mkdir()
        for path in (course.site / "audio").glob("*.mp3"):  # empty files stand for the sound; names are what matters
            (fresh / "audio" / path.name).touch()
        if (keys := cache_of(course.site) / AUDIO_NAME).is_file():
            shutil.copyfile(keys, cache_of(fresh) / AUDIO_NAME)
        build(library, fresh, web_audio=lambda _source, target, _mute: target.touch())
        found: dict[str, str] = {}
        for path in sorted(path for path in fresh.rglob("*") if path.is_file()):
            name = path.relative_to(fresh).as_posix()
            present = course.site / name
            if not present.is_file():
                found[name] = "is missing"
            elif not name.startswith("audio/") and present.read_bytes() != path.read_bytes():
                found[name] = NOT_AS_BUILT
    return found


def _looked_through(course: Course, store: Store) -> dict[str, str]:
    """Empty files, links to files that are not there, and finished lectures without a page."""
    files = {
        path.relative_to(course.site).as_posix(): path for path in sorted(course.site.rglob("*")) if path.is_file()
    }
    found: dict[str, str] = {}
    for name, path in files.items():
        if path.stat().st_size == 0:
            found[name] = "is empty"
        if name.endswith(".html"):
            text = path.read_text(encoding="utf-8", errors="replace")
            for target in _local_links(text):
                wanted = os.path.normpath(os.path.join(os.path.dirname(name), target)).replace(os.sep, "/")
                if wanted not in files and f"{wanted}/index.html" not in files and not (course.site / wanted).is_dir():
                    found.setdefault(wanted, f"is missing; {name} leads there")
    pages = {name.removesuffix(".html") for name in files if name.startswith("sessions/")}
    for lecture in store.lectures():
        if store.result_key(lecture.id, "notes") is not None and f"sessions/{lecture.id}" not in pages:
            found.setdefault(f"sessions/{lecture.id}.html", "is missing")
    return found


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
        for stage in ("corrections", "extraction", HEARING):
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
    places = {finding.place for finding in findings if finding.mendable}
    if SEARCH in places:
        _index_again(tools, store)
    for place in places:
        if place.startswith("notes/"):
            (course.folder / place).unlink(missing_ok=True)
            store.drop_result(place.removeprefix("notes/").removesuffix(".md"), "notes")
    if any(place.startswith("site") for place in places):
        # Without the list of what is there every page is made again; files that are right are not written.
        forget(course.site)
        for name, _ in _sound_faults(course):
            (course.site / name).unlink(missing_ok=True)
    if any(place.startswith(("site", "notes/")) for place in places):
        pipeline.publish(course, store, tools.vocabulary, report)
    return tuple(
        msgspec.structs.replace(f, mended=f.mendable and f.place.partition(":")[0] not in failed) for f in findings
    )


def _index_again(tools: pipeline.Tools, store: Store) -> None:
    """Make the search index anew, all or nothing, from the lectures that were indexed before."""
    library = pipeline.StoreLibrary(tools.course, store, tools.vocabulary)
    with store.transaction():
        store.empty_search()
        for lecture_id in _published(store, library):
            search.index_lecture(store, library.content(lecture_id), tools.vocabulary, library.verdicts)
