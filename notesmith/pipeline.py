"""From a recording to what can be published; the flow of the whole tool in one file.

    recording → transcribe → correct → extract → (people's verdicts) → notes and site

Each derived result is kept in the store under the hash of its inputs and settings; a second run does only what
changed. Stages are plain functions on frozen values and know nothing of each other.
"""

from __future__ import annotations

import gc
import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from notesmith import correct, extract, notes, search, site, transcribe
from notesmith.annotations import Corrections, Extraction
from notesmith.course import Course
from notesmith.curate import curate
from notesmith.errors import CaptionError, InputError, NotesmithError, StoreError
from notesmith.files import output_errors, sha256_of, sweep, unfinished, write_if_changed
from notesmith.labels import UNTITLED, Proposal, apply_proposal, lecture_id, named_after, propose
from notesmith.lecture import Lecture, LectureContent
from notesmith.library import LibraryEntry, digest
from notesmith.profiles import Profile, profile_named
from notesmith.reading import read
from notesmith.recording import probe
from notesmith.sounds.hearing import PhoneHearing
from notesmith.store import Store
from notesmith.transcript import Segment, Transcript, sounding
from notesmith.verdicts import NoteVerdict, PersonVerdict, VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary

if TYPE_CHECKING:
    from spacy.language import Language

CAPTION_ENDINGS = frozenset({".vtt", ".srt", ".json", ".txt"})
OPENING_WORDS = 150
HEARING = "hearing"  # the stage that keeps the phones heard in a recording
NAMES = "names"  # the stage that keeps which names are spoken in a lecture


class Progress(msgspec.Struct, frozen=True):
    """How far one stage of one lecture is; ``done`` of ``total`` in milliseconds of audio, or in steps."""

    lecture_id: str
    stage: str
    done: int
    total: int


Report = Callable[[Progress], None]


def silent(_: Progress) -> None:
    """Report nothing."""


class Tools:
    """What the stages need and what is costly to load; loaded on first use and shared by all lectures."""

    def __init__(self, course: Course, profile: Profile | None = None) -> None:
        self.course = course
        self.profile = profile or profile_named(course.settings.profile)

    @cached_property
    def vocabulary(self) -> Vocabulary:
        return self.course.load_vocabulary()

    @cached_property
    def model(self) -> transcribe.SpeechModel:
        return transcribe.load_model(self.course.settings.model)

    @cached_property
    def model_name(self) -> str:
        return transcribe.find_model(self.course.settings.model).name

    @cached_property
    def nlp(self) -> Language:
        nlp: Language = extract.load_nlp()
        gc.freeze()  # what is loaded stays; walking over it again and again took a fourteenth of the later stages
        return nlp

    @cached_property
    def textbook(self) -> tuple[str, ...]:
        return self.course.textbook_lines()


# ---------------------------------------------------------------- adding


def add_file(course: Course, store: Store, path: Path, vocabulary: Vocabulary | None = None) -> tuple[Lecture, bool]:
    """Take a recording or a transcript file into the course; returns its lecture and whether it is new.

    The file is copied into the course's ``recordings`` folder. The same bytes are never taken twice.
    Raises InputError where the file cannot be used; the course is then as before.
    """
    if path.is_dir():
        raise InputError(f"{path}: is a folder; name the recordings in it")
    if not path.is_file():
        raise InputError(f"{path}: there is no such file")
    imported = transcribe.load_captions(path) if path.suffix.lower() in CAPTION_ENDINGS else None
    metadata: Mapping[str, str] = {}
    if imported is None:
        info = probe(path)
        sha256, metadata = info.sha256, info.metadata
    else:
        sha256 = imported.recording_sha256
    if (known := store.lecture_of_recording(sha256)) is not None:
        return known, False
    opening = "" if imported is None else imported.text(imported.segment_range(0)) if imported.segments else ""
    proposal = propose(path.stem, metadata=metadata, opening=opening, vocabulary=vocabulary)
    taken = store.lecture_ids()
    identifier = lecture_id(proposal.date, proposal.title, taken)
    media = None
    if imported is None:
        media = identifier + path.suffix.lower()
        _copy(path, course.media_path(media))
    lecture = apply_proposal(Lecture(identifier, proposal.title, sha256, media=media), proposal)
    with store.transaction():
        store.add_lecture(lecture)
        if imported is not None:
            store.put_transcript(IMPORTED, imported)
    return lecture, True


IMPORTED = "imported"


def _copy(source: Path, target: Path) -> None:
    with output_errors(target), unfinished(target) as partial, source.open("rb") as read, partial.open("wb") as written:
        shutil.copyfileobj(read, written, 1 << 20)
        written.flush()
        os.fsync(written.fileno())


# ---------------------------------------------------------------- one lecture


def process(tools: Tools, store: Store, lecture: Lecture, report: Report = silent) -> LectureContent:
    """Bring one lecture up to date, doing only what its inputs changed. Killing it loses at most a window."""
    transcript = ensure_transcript(tools, store, lecture, report)
    lecture = _label(tools, store, lecture, transcript)
    verdicts = store.verdicts()
    corrections = ensure_corrections(tools, store, lecture, transcript, verdicts, report)
    extraction = ensure_extraction(tools, store, lecture, transcript, corrections, report)
    return LectureContent(lecture, transcript, corrections, curate(extraction, lecture.id, verdicts))


def transcript_settings(tools: Tools) -> str:
    """The key under which a transcript of the present model and profile is kept."""
    return f"{tools.model_name}/{tools.profile.name}/{transcribe.VERSION}/{tools.course.settings.language}"


def ensure_transcript(tools: Tools, store: Store, lecture: Lecture, report: Report = silent) -> Transcript:
    """The lecture's transcript, decoded if it is not there; finished windows of a killed run are used."""
    if (imported := store.transcript(lecture.recording_sha256, IMPORTED)) is not None:
        return imported
    settings = transcript_settings(tools)
    if (known := store.transcript(lecture.recording_sha256, settings)) is not None:
        return known
    if lecture.media is None:
        raise CaptionError(f"lecture {lecture.id!r} has neither a recording nor a transcript; add its file again")
    path = tools.course.media_path(lecture.media)
    if not path.is_file():
        raise InputError(f"{path}: the recording of lecture {lecture.id!r} is gone; put it back and run again")

    windows = store.decoded_windows(lecture.recording_sha256, settings, transcribe.StoredWindow)

    with _looking_ahead(tools.vocabulary) as look_ahead:

        def keep(number: int, window: transcribe.StoredWindow) -> None:
            store.put_decoded_window(lecture.recording_sha256, settings, number, window)
            windows[number] = window
            look_ahead(window)

        transcript = transcribe.transcribe(
            path,
            tools.model,
            recording_sha256=lecture.recording_sha256,
            language=tools.course.settings.language,
            profile=tools.profile,
            done=windows,
            on_window=keep,
            progress=lambda done_ms, total_ms: report(Progress(lecture.id, "transcribe", done_ms, total_ms)),
        )
    with store.transaction():
        if tools.profile.witness and (hearing := transcribe.hearing_of(windows)) is not None:
            store.put_result(lecture.id, HEARING, hearing_key(tools, transcript), hearing)
        store.put_transcript(settings, transcript)
    return transcript


@contextmanager
def _looking_ahead(vocabulary: Vocabulary) -> Iterator[Callable[[transcribe.StoredWindow], object]]:
    """What looks up, while the next windows are decoded, what the finished ones may hold; nothing of it is stored."""
    with ThreadPoolExecutor(max_workers=1) as beside:
        try:
            yield lambda window: beside.submit(correct.look_ahead, _part(window.segments), vocabulary)
        except BaseException:
            beside.shutdown(wait=False, cancel_futures=True)
            raise


def _part(segments: Sequence[Segment]) -> Transcript:
    return Transcript("", "", "", tuple(Segment(number, one.words) for number, one in enumerate(segments)))


def hearing_key(tools: Tools, transcript: Transcript) -> str:
    """The key under which the phones heard in a transcript's recording are kept."""
    return digest(correct.HEARING_VERSION, transcript.digest, tools.model_name)


def _heard_phones(name: str, transcript: Transcript, hearing: PhoneHearing) -> Progress:
    """How far the hearing of phones is, in milliseconds of the recording."""
    done_ms = transcript.time(hearing.passages[-1].words).end_ms
    return Progress(name, "correct", done_ms, transcript.duration_ms)


def _word_rulings(lecture: Lecture, verdicts: Sequence[VerdictEntry]) -> list[VerdictEntry]:
    rulings = (entry for entry in verdicts if isinstance(entry.verdict, WordVerdict))
    return [entry for entry in rulings if entry.verdict.lecture_id in (None, lecture.id)]


def _has_witness(tools: Tools, lecture: Lecture, transcript: Transcript) -> bool:
    return tools.profile.witness and lecture.media is not None and transcript.word_times == "decoded"


def corrections_key(tools: Tools, lecture: Lecture, transcript: Transcript, verdicts: Sequence[VerdictEntry]) -> str:
    """The key under which a lecture's corrections are kept."""
    rulings = [entry.verdict for entry in _word_rulings(lecture, verdicts)]
    return digest(
        correct.VERSION, transcript.digest, tools.vocabulary.digest, rulings, tools.textbook, lecture.remedy_ids,
        lecture.title, _has_witness(tools, lecture, transcript),
    )  # fmt: skip


def extraction_key(tools: Tools, lecture: Lecture, transcript: Transcript, corrections: Corrections) -> str:
    """The key under which what was found in a lecture is kept."""
    return digest(
        extract.VERSION, transcript.digest, corrections, tools.vocabulary.digest, _lecturer_names(tools),
        lecture.remedy_ids,
    )  # fmt: skip


def _lecturer_names(tools: Tools) -> tuple[str, ...]:
    settings = tools.course.settings
    return (settings.lecturer, *settings.aliases)


def ensure_corrections(
    tools: Tools,
    store: Store,
    lecture: Lecture,
    transcript: Transcript,
    verdicts: Sequence[VerdictEntry],
    report: Report = silent,
) -> Corrections:
    mine = _word_rulings(lecture, verdicts)
    witness = _has_witness(tools, lecture, transcript)
    key = corrections_key(tools, lecture, transcript, verdicts)
    if (known := store.result(lecture.id, "corrections", Corrections, input_key=key)) is not None:
        return known
    report(Progress(lecture.id, "correct", 0, transcript.duration_ms or 1))
    heard_as = hearing_key(tools, transcript)
    kept = 0

    def keep(hearing: PhoneHearing) -> None:
        # It is written whole each time: a tenth more at a time keeps what is written of a long recording in bounds.
        nonlocal kept
        over = hearing.passages[-1].words.end == len(transcript.words)
        if over or len(hearing.passages) > 1.1 * kept:
            store.put_result(lecture.id, HEARING, heard_as, hearing)
            kept = len(hearing.passages)
        report(_heard_phones(lecture.id, transcript, hearing))

    corrections = correct.correct(
        transcript,
        tools.vocabulary,
        verdicts=mine,
        session=correct.SessionHints(title=lecture.title, remedy_ids=lecture.remedy_ids),
        textbook=tools.textbook,
        witness=transcribe.audio_witness(tools.course.media_path(lecture.media), tools.model)
        if witness and lecture.media
        else None,
        phones=store.result(lecture.id, HEARING, PhoneHearing, input_key=heard_as),
        keep_phones=keep,
    )
    store.put_result(lecture.id, "corrections", key, corrections)
    report(Progress(lecture.id, "correct", transcript.duration_ms or 1, transcript.duration_ms or 1))
    return corrections


def ensure_extraction(
    tools: Tools,
    store: Store,
    lecture: Lecture,
    transcript: Transcript,
    corrections: Corrections,
    report: Report = silent,
) -> Extraction:
    key = extraction_key(tools, lecture, transcript, corrections)
    if (known := store.result(lecture.id, "extraction", Extraction, input_key=key)) is not None:
        return known
    report(Progress(lecture.id, "extract", 0, 1))
    extraction = extract.extract(
        read(transcript, corrections),
        tools.vocabulary,
        lecturer_names=_lecturer_names(tools),
        subject_ids=lecture.remedy_ids,
        readings=corrections.readings,
        nlp=tools.nlp,
    )
    store.put_result(lecture.id, "extraction", key, extraction)
    report(Progress(lecture.id, "extract", 1, 1))
    return extraction


def _label(tools: Tools, store: Store, lecture: Lecture, transcript: Transcript) -> Lecture:
    """Fill in what the opening words say and nobody has set: series, part, remedies."""
    if lecture.remedy_ids and lecture.part:
        return lecture
    opening = " ".join(word.text for word in transcript.words[:OPENING_WORDS])
    stem = "" if lecture.title == UNTITLED else lecture.title
    proposal = propose(stem, opening=opening, vocabulary=tools.vocabulary)
    if lecture.remedy_ids:
        # Labelled already: only the part may be missing. What the title names of the remedies is less than was found
        # before; taking it would give another label each time, and all that follows would be made again.
        title = lecture.title
        if proposal.part and propose(title).part is None:
            title += f", part {proposal.part}" + (f" of {proposal.parts}" if proposal.parts else "")
        proposal = Proposal(title, part=proposal.part, parts=proposal.parts)
    labelled = apply_proposal(lecture, proposal)
    if labelled == lecture:
        return lecture
    _, revision = store.lecture(lecture.id)
    store.update_lecture(labelled, revision=revision)
    return labelled


# ---------------------------------------------------------------- the whole course


class StoreLibrary:
    """The course as the publishing side sees it, read from the store on demand."""

    def __init__(self, course: Course, store: Store, vocabulary: Vocabulary) -> None:
        self.course = course
        self.settings = course.settings
        self.vocabulary = vocabulary
        self.store = store
        self.verdicts = store.verdicts()
        self._last: LectureContent | None = None
        self._unlisted: dict[str, tuple[str, tuple[str, ...]]] = {}

    def entries(self) -> Sequence[LibraryEntry]:
        return self._entries

    @cached_property
    def _entries(self) -> Sequence[LibraryEntry]:
        persons = [entry.verdict for entry in self.verdicts if isinstance(entry.verdict, PersonVerdict)]
        named = [(sounding(verdict.said), verdict) for verdict in persons]
        notes: dict[str, list[NoteVerdict]] = {}
        for entry in self.verdicts:
            if isinstance(entry.verdict, NoteVerdict):
                notes.setdefault(entry.verdict.lecture_id, []).append(entry.verdict)
        corrections, extractions = (self.store.result_keys(stage) for stage in ("corrections", "extraction"))
        names = self._names(extractions) if persons else {}
        return [
            LibraryEntry(
                one,
                digest(
                    one, corrections[one.id], extractions[one.id], notes.get(one.id, []),
                    # Only rulings on names that are spoken there, so that one more leaves the other lectures alone.
                    [v for said, v in named if said in names[one.id] and v.lecture_id in (None, one.id)],
                    search.VERSION,
                ),
            )
            for one in self.store.lectures()
            if one.id in corrections and one.id in extractions
        ]  # fmt: skip

    def _names(self, extractions: Mapping[str, str]) -> Mapping[str, frozenset[str]]:
        """By lecture, the names spoken in it, as they sound."""
        kept = self.store.results(NAMES, tuple[str, ...])
        found = {}
        for identifier, key in extractions.items():
            if identifier not in kept or kept[identifier][0] != key:
                extraction = self.store.result(identifier, "extraction", Extraction)
                names = {sounding(one.said) for one in extraction.persons} if extraction else set()
                kept[identifier] = self._unlisted[identifier] = key, tuple(sorted(names))
            found[identifier] = frozenset(kept[identifier][1])
        return found

    def keep_names(self) -> None:
        """Keep what names are spoken where, so that it need not be looked up again."""
        with self.store.transaction():
            for identifier, (key, names) in self._unlisted.items():
                self.store.put_result(identifier, NAMES, key, names)
        self._unlisted.clear()

    def content(self, lecture_id: str) -> LectureContent:
        # Notes, search and site ask for the same lecture one after the other.
        if self._last is None or self._last.lecture.id != lecture_id:
            self._last = self._read(lecture_id)
        return self._last

    def _read(self, lecture_id: str) -> LectureContent:
        lecture, _ = self.store.lecture(lecture_id)
        corrections = self.store.result(lecture_id, "corrections", Corrections)
        extraction = self.store.result(lecture_id, "extraction", Extraction)
        if corrections is None or extraction is None:
            raise StoreError(f"lecture {lecture_id!r} has no results yet; run: notesmith work")
        for stored in self.store.transcripts(lecture.recording_sha256):
            if stored.transcript.digest == corrections.transcript_digest:
                return LectureContent(
                    lecture, stored.transcript, corrections, curate(extraction, lecture_id, self.verdicts)
                )
        raise StoreError(f"lecture {lecture_id!r} lost its transcript; run: notesmith work")

    def media_path(self, lecture: Lecture) -> Path | None:
        return None if lecture.media is None else self.course.media_path(lecture.media)


def publish(course: Course, store: Store, vocabulary: Vocabulary, report: Report = silent) -> site.SiteReport:
    """Write the Markdown notes and build the site from all finished lectures; only what changed is written.

    Notes that a person has edited are merged with the rebuilt ones; where both changed the same lines the edited
    file stays, the rebuilt one is put beside it, and a remark says so.
    """
    sweep((course.folder, course.recordings, course.notes))
    library = StoreLibrary(course, store, vocabulary)
    remarks: list[str] = []
    written = store.result_keys("notes")
    due = {e.lecture.id: e.digest for e in library.entries() if written.get(e.lecture.id) != e.digest}
    library.keep_names()

    def keep(prepared: search.Prepared) -> None:
        if (key := due.pop(prepared.content.lecture.id, None)) is not None:
            # The notes' key vouches for the search index too, so it is written last; both are flushed to the disk once.
            with store.transaction():
                search.index_prepared(store, prepared)
                remarks.extend(_write_notes(course, store, vocabulary, library.verdicts, prepared.content, key))

    def keep_others() -> None:
        for identifier in tuple(due):
            keep(search.prepare(library.content(identifier), vocabulary, library.verdicts))

    try:
        built = site.build(
            library, course.site, report=lambda done, total: report(Progress("site", "site", done, total)), beside=keep
        )
    except NotesmithError:  # notes and search are had without the site too
        keep_others()
        raise
    keep_others()
    return msgspec.structs.replace(built, remarks=(*remarks, *built.remarks))


def _write_notes(
    course: Course, store: Store, vocabulary: Vocabulary, verdicts: Sequence[VerdictEntry], content: LectureContent,
    key: str,
) -> list[str]:  # fmt: skip
    path = course.notes / f"{content.lecture.id}.md"
    rebuilt = notes.to_markdown(notes.compose(content, vocabulary, course.settings, verdicts=verdicts))
    base = store.result(content.lecture.id, "notes", str)
    remarks = []
    text = rebuilt
    if path.is_file() and base is not None and (edited := path.read_text(encoding="utf-8")) != base:
        merged = notes.merge_edited(base, edited, rebuilt)
        if isinstance(merged, str):
            text = merged
        else:
            beside = path.with_suffix(".rebuilt.md")
            write_if_changed(beside, rebuilt)
            remarks.append(
                f"{path}: was edited where it also changed; kept as it is, the new notes are in {beside.name}"
            )
            text = edited
    write_if_changed(path, text)
    store.put_result(content.lecture.id, "notes", key, rebuilt)
    return remarks


# ---------------------------------------------------------------- one shot, no course


def once(
    path: Path, *, settings_language: str, model: transcribe.SpeechModel | None, vocabulary: Vocabulary,
    profile: Profile, nlp: Language | None = None, textbook: Sequence[str] = (), report: Report = silent,
) -> LectureContent:  # fmt: skip
    """One recording (with a model) or transcript file, through all stages, nothing kept.

    Raises InputError where the file cannot be used or a recording comes without a model.
    """
    metadata: Mapping[str, str] = {}
    phones = None
    if path.suffix.lower() in CAPTION_ENDINGS:
        transcript = transcribe.load_captions(path)
    else:
        if model is None:
            raise InputError(f"{path}: is not a transcript file ({', '.join(sorted(CAPTION_ENDINGS))})")
        metadata = probe(path).metadata
        windows: dict[int, transcribe.StoredWindow] = {}
        with _looking_ahead(vocabulary) as look_ahead:

            def keep(number: int, window: transcribe.StoredWindow) -> None:
                windows[number] = window
                look_ahead(window)

            transcript = transcribe.transcribe(
                path,
                model,
                recording_sha256=sha256_of(path),
                language=settings_language,
                profile=profile,
                on_window=keep,
                progress=lambda done_ms, total_ms: report(Progress(path.stem, "transcribe", done_ms, total_ms)),
            )
        phones = transcribe.hearing_of(windows)
    opening = " ".join(word.text for word in transcript.words[:OPENING_WORDS])
    proposal = propose(path.stem, metadata=metadata, opening=opening, vocabulary=vocabulary)
    lecture = Lecture(lecture_id(proposal.date, proposal.title), proposal.title, transcript.recording_sha256)
    lecture = apply_proposal(lecture, proposal)
    witness = None
    if model is not None and profile.witness and path.suffix.lower() not in CAPTION_ENDINGS:
        witness = transcribe.audio_witness(path, model)
    corrections = correct.correct(
        transcript,
        vocabulary,
        session=correct.SessionHints(title=lecture.title, remedy_ids=lecture.remedy_ids),
        textbook=textbook,
        witness=witness,
        phones=phones,
        keep_phones=lambda hearing: report(_heard_phones(path.stem, transcript, hearing)),
    )
    extraction = extract.extract(
        read(transcript, corrections),
        vocabulary,
        subject_ids=lecture.remedy_ids,
        readings=corrections.readings,
        nlp=nlp or extract.load_nlp(),
    )
    if lecture.title == UNTITLED and extraction.remedy_ids:
        lecture = msgspec.structs.replace(lecture, title=named_after(extraction.remedy_ids, vocabulary))
    return LectureContent(lecture, transcript, corrections, extraction)
