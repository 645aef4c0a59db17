"""Build the site's folder from a library; read only changed lectures, write only the pages they touch.

Beside the folder lies a cache (``.NAME-cache``) that is never published: what was made of each lecture, rendered, so
that a page is put together without opening the others. Without it, or after a change of settings, vocabulary or
program, all is made anew, and the result is the same to the byte.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cached_property
from pathlib import Path

import msgspec

from notesmith.errors import NotesmithError, OutputError
from notesmith.extract.privacy import mute_spans
from notesmith.files import output_errors, sha256_of, sweep
from notesmith.lecture import LectureContent
from notesmith.library import Library, LibraryEntry, digest
from notesmith.recording import encode_web_copy
from notesmith.search import Indexed, Prepared, Record, Redaction, indexed, prepare, weights
from notesmith.site import pages
from notesmith.site.cards import Card, Head, SentenceCard, card_of, sentences_of, shares_of
from notesmith.site.index import (
    CHUNK,
    MOST_RECORDS,
    Known,
    SearchIndex,
    names_file,
    parts_file,
    phrases,
    postings_of,
    record_files,
    related_words,
    relative_file,
    relative_files,
    script,
    shard_count,
    typed_words,
    words_file,
)
from notesmith.store.site_state import SiteState, StateDamagedError
from notesmith.transcript import TimeSpan

VERSION = 17
TITLES_A_FILE = 16  # the hits of a search in a long course are of as many lectures as there are hits
MARK_NAME = "notesmith.txt"
AUDIO_NAME, SUMS_NAME = "audio.json", "audio-sums.json"
WebAudio = Callable[[Path, Path, Sequence[TimeSpan]], None]
Report = Callable[[int, int], None]
Beside = Callable[[Prepared], None]
_SAFE_ID = re.compile(r"^[A-Za-z0-9][A-Za-z0-9._-]{0,120}$")


class SiteReport(msgspec.Struct, frozen=True):
    """What a build did. ``remarks`` are lines for the person who publishes."""

    folder: Path
    remarks: tuple[str, ...] = ()
    lectures: int = 0
    pages: int = 0
    records: int = 0
    files_written: int = 0
    files_removed: int = 0
    lectures_read: int = 0


class KeptLecture(msgspec.Struct, frozen=True):
    """What is kept of a lecture for the pages that tell of the whole course."""

    head: Head
    records: int
    audio: str | None = None
    waiting: int = 0
    promised: int = 0


class Found(msgspec.Struct, frozen=True):
    """What a lecture counts for in the course: its concepts, and (as misheard, concept id)."""

    concepts: tuple[str, ...] = ()
    heard: tuple[tuple[str, str], ...] = ()


class LectureFile(msgspec.Struct, frozen=True):
    """What is kept of a lecture beside the site."""

    card: Card
    sentences: tuple[SentenceCard, ...]
    records: tuple[Record, ...]
    captions: str


class _Writer:
    """Writes files of the site, counts them, and knows which belong to it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.written = 0
        self._made: set[Path] = set()

    def put(self, name: str, body: str | bytes) -> None:
        data = body.encode("utf-8", "replace") if isinstance(body, str) else body
        path = self.folder / name
        if _replace(path, data, self._made):
            self.written += 1


def _replace(path: Path, data: bytes, made: set[Path]) -> bool:
    """Put a file in place whole. Not flushed to the disk one by one: what a power cut takes can be built again."""
    with output_errors(path):
        try:
            if path.stat().st_size == len(data) and path.read_bytes() == data:
                return False
        except FileNotFoundError:
            pass
        if path.parent not in made:
            path.parent.mkdir(parents=True, exist_ok=True)
            made.add(path.parent)
        handle, temporary = tempfile.mkstemp(dir=path.parent, prefix=".", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(data)
            os.chmod(temporary, 0o644)
            os.replace(temporary, path)
        except BaseException:
            Path(temporary).unlink(missing_ok=True)
            raise
    return True


def cache_of(folder: Path) -> Path:
    return folder.parent / f".{folder.name}-cache"


def build(
    library: Library, folder: Path, report: Report | None = None, *, web_audio: WebAudio = encode_web_copy,
    beside: Beside | None = None,
) -> SiteReport:  # fmt: skip
    """Build the site of a library into a folder. ``report`` is called with (done, total) lectures, ``beside`` with
    each lecture that is taken in (again where all is made anew), so that others need not prepare it too.

    Raises OutputError where the folder cannot be written or holds something else, StoreError where the library does.
    """
    told, beside = report or (lambda done, total: None), beside or (lambda prepared: None)
    try:
        return _Build(library, folder, told, web_audio, beside).run()
    except (msgspec.MsgspecError, StateDamagedError):  # a file of the cache is damaged: without it, all is made anew
        forget(folder)
        return _Build(library, folder, told, web_audio, beside).run()


def forget(folder: Path) -> None:
    """Have the next build make everything anew."""
    for ending in ("", "-journal"):  # a killed build's journal is of the file that goes
        path = _state_path(folder)
        path.with_name(path.name + ending).unlink(missing_ok=True)


def _state_path(folder: Path) -> Path:
    return cache_of(folder) / "state.db"


def is_current(library: Library, folder: Path) -> bool | None:
    """Whether the folder was built from just this library by just this program; None where that is not known."""
    if not _state_path(folder).is_file():
        return None
    base = _Build(library, folder, lambda done, total: None, encode_web_copy, lambda prepared: None).base
    try:
        with SiteState(_state_path(folder)) as state:
            if not _vouched(state, folder):
                return None
            kept = [(lecture_id, mark) for lecture_id, mark, _ in state.lectures()]
            return _vouched(state, folder, base) and kept == [(e.lecture.id, e.digest) for e in library.entries()]
    except StateDamagedError:
        return None


def _vouched(state: SiteState, folder: Path, base: str | None = None) -> bool:
    """Whether a build (by the program and settings of ``base``) ended, and its folder is there."""
    made = state.fact("base")
    return state.whole and made is not None and base in (None, made) and (folder / "index.html").is_file()


def sound_sums(folder: Path) -> dict[str, str]:
    """The SHA-256 of each web copy as it was made, by lecture; copies made by an earlier program are left out."""
    try:
        return msgspec.json.decode((cache_of(folder) / SUMS_NAME).read_bytes(), type=dict[str, str])
    except (OSError, msgspec.MsgspecError):
        return {}


class _Build:
    def __init__(self, library: Library, folder: Path, report: Report, web_audio: WebAudio, beside: Beside) -> None:
        self.library = library
        self.folder = folder
        self.cache = cache_of(folder)
        self.report = report
        self.web_audio = web_audio
        self.beside = beside
        self.writer = _Writer(folder)
        self.cache_made: set[Path] = set()
        self.remarks: list[str] = []
        self.removed = 0
        self.read = 0
        self.settings = library.settings
        self.vocabulary = library.vocabulary
        self.base = digest(VERSION, pages.templates_digest(), self.settings, self.vocabulary.digest)

    # ------------------------------------------------------------ the whole

    def run(self) -> SiteReport:
        entries = self._entries()
        self._refuse_foreign()
        with SiteState(_state_path(self.folder)) as self.state:
            shards = str(shard_count(len(entries)))
            anew = not _vouched(self.state, self.folder, self.base) or self.state.fact("shards") != shards
            if anew:
                self._start_anew()
            before: dict[str, KeptLecture] = {}
            marks = {}
            for lecture_id, marks[lecture_id], body in self.state.lectures():
                before[lecture_id] = msgspec.msgpack.decode(body, type=KeptLecture)
            self.kept = dict(before)
            changed = [e for e in entries if marks.get(e.lecture.id) != e.digest]
            if anew or changed or [e.lecture.id for e in entries] != list(before):
                with self.state.building():
                    self._bring_up(entries, changed, before)
                    self.state.put_fact("base", self.base)
                    self.state.put_fact("shards", shards)
            count = len(self.state.tally("page")) + len(entries)
        waiting = sum(kept.waiting for kept in self.kept.values())
        if waiting:
            self.remarks.append(
                f"{waiting} name(s) or places in the course wait for a ruling; they are replaced by roles until then"
            )
        return SiteReport(
            self.folder, tuple(self.remarks), len(entries), count, sum(k.records for k in self.kept.values()),
            self.writer.written, self.removed, self.read,
        )  # fmt: skip

    def _bring_up(
        self, entries: Sequence[LibraryEntry], changed: Sequence[LibraryEntry], before: Mapping[str, KeptLecture]
    ) -> None:
        """Everything that is not as these lectures want it. ``before``: what was kept of each, in its order."""
        order = [entry.lecture.id for entry in entries]
        slots = {lecture_id: slot for slot, lecture_id in enumerate(order)}
        self.counted = Counted()
        self.due: set[str] = set()
        for slot, lecture_id in enumerate(before):
            if lecture_id not in slots:
                self._forget(lecture_id, slot)
        stay = [(slot, lecture_id) for slot, lecture_id in enumerate(before) if lecture_id in slots]
        appended = list(before) == order[: len(before)]
        index = SearchIndex(self.state, self.vocabulary, shard_count(len(order)), len(before), len(order))
        if appended:
            index.settle()
        else:
            index.remap([slots.get(lecture_id, -1) for lecture_id in before])
            self.state.move({slot: slots[lecture_id] for slot, lecture_id in stay if slot != slots[lecture_id]})
        if [lecture_id for _, lecture_id in stay] != [lecture_id for lecture_id in order if lecture_id in before]:
            self.due.update(self.state.tally("page"))  # others come first on every page
        for done, entry in enumerate(changed):
            self.report(done, len(changed))
            lecture_id = entry.lecture.id
            self._take_in(entry, slots[lecture_id], index, known=lecture_id in before, last=appended)
        self.report(len(changed), len(changed))
        self.kept = {lecture_id: self.kept[lecture_id] for lecture_id in order}
        self._static()
        self._pages({entry.lecture.id for entry in changed}, before, appended)
        self._search_files(index)

    def _take_in(self, entry: LibraryEntry, slot: int, index: SearchIndex, *, known: bool, last: bool) -> None:
        """Make and keep what the site shows of a lecture, and note what that changes.

        ``known``: it is there already; ``last``: if not, it comes after all that are.
        """
        lecture_id = entry.lecture.id
        old = self._kept_file(lecture_id).records if known else ()
        file, kept, found, records = self._lecture(entry)
        postings = postings_of(slot, records)
        was = self._postings_of(slot, old)
        if last and not known:
            index.add(slot, postings)
        else:
            index.change(slot, was, postings)
        self.counted.words(was, -1)
        self.counted.words(postings, 1)
        self._count_found(lecture_id, -1)
        self.state.put_lecture(
            lecture_id, slot, entry.digest, msgspec.msgpack.encode(kept), msgspec.msgpack.encode(found)
        )
        self._count_found(lecture_id, 1)
        self.kept[lecture_id] = kept
        shares = shares_of(file.card, self.vocabulary)
        view = pages.SiteView(self.settings, self.vocabulary, dict.fromkeys(shares, 1), ())
        pieces = {}
        for key, share in shares.items():
            body = msgspec.msgpack.encode(view.piece(key, share))
            pieces[key] = (share.tells, digest(body)[:16], body)
        marks = self.state.marks(slot)
        self.state.put_pieces(slot, pieces, [key for key in marks if key not in pieces])
        self.due.update(
            key for key in marks.keys() | pieces.keys() if key not in pieces or marks.get(key) != pieces[key][1]
        )
        self.counted.add("page", marks, -1)
        self.counted.add("page", pieces, 1)
        self._write_cache(self._file_path(lecture_id), msgspec.msgpack.encode(file))
        for name, text in record_files(lecture_id, file.records).items():
            self.writer.put(name, text)
        for number in range(_chunks(len(file.records)), _chunks(len(old))):
            self._unlink(f"search/r/{lecture_id}/{number}.js")

    def _postings_of(self, slot: int, records: Sequence[Record]) -> dict[str, list[int]]:
        return postings_of(slot, [indexed(record, self.vocabulary) for record in records])

    def _count_found(self, lecture_id: str, sign: int) -> None:
        if (body := self.state.found(lecture_id)) is not None:
            found = msgspec.msgpack.decode(body, type=Found)
            self.counted.add("concept", found.concepts, sign)
            self.counted.add("heard", ["\t".join(pair) for pair in found.heard], sign)

    def _entries(self) -> Sequence[LibraryEntry]:
        entries = list(self.library.entries())
        for entry in entries:
            if not _SAFE_ID.match(entry.lecture.id):
                raise OutputError(f"lecture id {entry.lecture.id!r} cannot be part of an address; rename the lecture")
        return entries

    def _refuse_foreign(self) -> None:
        mark = self.folder / MARK_NAME
        with output_errors(self.folder):
            if self.folder.is_dir() and any(self.folder.iterdir()) and not mark.is_file():
                raise OutputError(f"{self.folder}: holds files that are not of a site; name an empty folder")
            self.cache.mkdir(parents=True, exist_ok=True)

    def _start_anew(self) -> None:
        """Empty the folder, except for sound, which is costly."""
        self.state.empty()
        mark = self.folder / MARK_NAME
        with output_errors(self.folder):
            self.folder.mkdir(parents=True, exist_ok=True)
            mark.write_text("This folder is written by Notesmith; do not edit it, build it again.\n", "utf-8")
            for child in self.folder.iterdir():
                if child.is_dir() and child.name != "audio":
                    shutil.rmtree(child)
                elif child.is_file() and child != mark:
                    child.unlink()
            for child in self.cache.iterdir() if self.cache.is_dir() else ():
                if child.name not in (AUDIO_NAME, SUMS_NAME) and not child.name.startswith("state.db"):
                    shutil.rmtree(child) if child.is_dir() else child.unlink()
            self.cache.mkdir(parents=True, exist_ok=True)
            sweep((self.folder / "audio",))

    def _write_cache(self, path: Path, data: bytes) -> None:
        _replace(path, data, self.cache_made)

    # ------------------------------------------------------------ one lecture

    def _lecture(self, entry: LibraryEntry) -> tuple[LectureFile, KeptLecture, Found, list[Indexed]]:
        """What is kept of a lecture, and its published records with what they are found by."""
        prepared = prepare(self.library.content(entry.lecture.id), self.vocabulary, self.library.verdicts)
        self.read += 1
        self.beside(prepared)
        content, redaction, every = prepared
        publication = self.settings.publish
        card = card_of(content, redaction, self.vocabulary)
        sentences = sentences_of(content, redaction) if publication.transcript else ()
        records = [one for one in every if publication.transcript or one.record.kind != "transcript"]
        captions = pages.captions(sentences) if publication.transcript else ""
        file = LectureFile(card, sentences, tuple(one.record for one in records), captions)
        heard = {
            (token.heard, concept)
            for sentence in sentences
            for token, concept in zip(sentence.tokens, sentence.concept_ids, strict=True)
            if token.heard and concept
        }
        present = {c for one in records for c in one.concepts if c in self.vocabulary}
        kept = KeptLecture(
            card.head, len(records), self._audio(content, redaction), card.waiting,
            sum(c.direction == "promised" for c in card.carry_overs),
        )  # fmt: skip
        return file, kept, Found(tuple(sorted(present)), tuple(sorted(heard))), records

    def _audio(self, content: LectureContent, redaction: Redaction) -> str | None:
        lecture = content.lecture
        source = self.library.media_path(lecture)
        name = f"audio/{lecture.id}.mp3"
        target = self.folder / name
        if not self.settings.publish.audio or source is None:
            target.unlink(missing_ok=True)
            return None
        mute = mute_spans(redaction.persons, content.transcript.words, redaction.rulings)
        known = self._audio_keys
        key = digest(lecture.recording_sha256, mute)
        if target.is_file() and known.get(lecture.id) == key:
            return name
        try:
            if not source.is_file():
                raise OutputError(f"{source.name}: the recording is gone")
            target.parent.mkdir(parents=True, exist_ok=True)
            self.web_audio(source, target, mute)
            self.writer.written += 1
        except NotesmithError as error:
            target.unlink(missing_ok=True)
            self.remarks.append(f"{lecture.id}: published without sound ({error})")
            return None
        known[lecture.id] = key
        sums = sound_sums(self.folder) | {lecture.id: sha256_of(target)}
        self._write_cache(self.cache / SUMS_NAME, msgspec.json.encode(sums, order="sorted"))
        self._write_cache(self.cache / AUDIO_NAME, msgspec.json.encode(known, order="sorted"))
        return name

    @cached_property
    def _audio_keys(self) -> dict[str, str]:
        """By lecture, what its web copy was made from; kept on the disk after each change."""
        try:
            return msgspec.json.decode((self.cache / AUDIO_NAME).read_bytes(), type=dict[str, str])
        except (OSError, msgspec.MsgspecError):
            return {}

    def _file_path(self, lecture_id: str) -> Path:
        return self.cache / "lectures" / f"{lecture_id}.bin"

    def _kept_file(self, lecture_id: str) -> LectureFile:
        try:
            return msgspec.msgpack.decode(self._file_path(lecture_id).read_bytes(), type=LectureFile)
        except FileNotFoundError as error:
            raise StateDamagedError(str(error)) from error

    def _unlink(self, name: str) -> None:
        path = self.folder / name
        if path.is_file():
            path.unlink()
            self.removed += 1

    def _forget(self, lecture_id: str, slot: int) -> None:
        """Every trace of a lecture that is gone, but for its postings."""
        self.counted.words(self._postings_of(slot, self._kept_file(lecture_id).records), -1)
        self._count_found(lecture_id, -1)
        marks = self.state.marks(slot)
        self.counted.add("page", marks, -1)
        self.due.update(marks)
        self.state.drop_lecture(lecture_id, slot)
        for name in pages.lecture_files(lecture_id):
            self._unlink(name)
        self._unlink(f"audio/{lecture_id}.mp3")
        shutil.rmtree(self.folder / "search" / "r" / lecture_id, ignore_errors=True)
        self._file_path(lecture_id).unlink(missing_ok=True)
        known = self._audio_keys
        if known.pop(lecture_id, None):
            self._write_cache(self.cache / AUDIO_NAME, msgspec.json.encode(known, order="sorted"))
        del self.kept[lecture_id]

    # ------------------------------------------------------------ pages

    def _static(self) -> None:
        for name, data in pages.static_files():
            self.writer.put(f"static/{name}", data)

    def _pages(self, changed: set[str], before: Mapping[str, KeptLecture], appended: bool) -> None:
        """Write the pages that are due and take away those that are gone."""
        heads = [kept.head for kept in self.kept.values()]
        old_aliases = self._view(heads).aliases()
        came, gone = self.state.count("page", self.counted.of("page"))
        view = self._view(heads)
        # First what is gone, since a page of the same name may be written below.
        for key in sorted(gone - {*pages.LISTS}):
            for path in pages.page_files(key):
                self._unlink(path)
        aliases = view.aliases()
        for path in sorted(old_aliases.keys() - aliases.keys()):
            self._unlink(path)
        for path, key in aliases.items():
            if old_aliases.get(path) != key:
                self.writer.put(path, view.moved_page(key))
        for key in sorted((self.due | view.near(came | gone)) - gone - {*pages.LISTS}):
            pieces = self._shown(key)
            for path, body in view.concept_page(key, pieces).items():
                self.writer.put(path, body)
            if key.startswith("remedy/"):
                self.state.keep("clues", {key: msgspec.msgpack.encode(pages.strongest(pieces))})
        self.state.keep("clues", dict.fromkeys(gone))
        self._lists(view, changed, before, appended)
        self._sessions(view, changed, before)
        coming = []
        for lecture_id, kept in list(self.kept.items())[:-7:-1]:
            if kept.promised:
                card = self._kept_file(lecture_id).card
                coming += [(card.head, c) for c in card.carry_overs if c.direction == "promised"]
        overview = view.overview_pages(coming)
        for path, body in overview.items():
            self.writer.put(path, body)
        for folder in pages.INDEXES:
            number = pages.parts_of_index(overview, folder) + 1
            while (self.folder / pages.index_part(folder, number)).is_file():
                self._unlink(pages.index_part(folder, number))
                number += 1
        cards = [(key, found) for key, body in self.state.kept("clues").items()
                 if (found := msgspec.msgpack.decode(body, type=list[pages.Clue]))]  # fmt: skip
        for path, body in view.revision_pages(cards).items():
            self.writer.put(path, body)
        self.pages_moved = came | gone

    def _view(self, heads: Sequence[Head]) -> pages.SiteView:
        return pages.SiteView(self.settings, self.vocabulary, self.state.tally("page"), heads)

    def _pieces(self, key: str, first: int, last: int) -> list[pages.Piece]:
        return [msgspec.msgpack.decode(body, type=pages.Piece) for body in self.state.pieces(key, first, last)]

    def _shown(self, key: str) -> list[pages.Piece]:
        """The pieces that a course-wide page has room for, latest first."""
        found: list[tuple[int, pages.Piece]] = []
        room = pages.MOST_TEXT
        for at, body in self.state.best_pieces(key, pages.MOST_SESSIONS):
            piece = msgspec.msgpack.decode(body, type=pages.Piece)
            room -= sum(len(block.text) for block in piece.blocks if block.section != "flash")
            if room < 0 and found:
                break
            found.append((at, piece))
        return [piece for _, piece in sorted(found, key=lambda one: -one[0])]

    def _lists(
        self, view: pages.SiteView, changed: set[str], before: Mapping[str, KeptLecture], appended: bool
    ) -> None:
        """The lists of cases, questions and sessions: the pages that show a changed lecture, or all of them anew."""
        order = list(self.kept)
        for kind in pages.LISTS:
            wanted, had = pages.list_pages(kind, len(self.kept)), pages.list_pages(kind, len(before))
            for name in had.keys() - wanted.keys():
                self._unlink(pages.path_of(f"{kind}/{name}"))
            for name, (first, last) in wanted.items():
                as_before = appended and name in had and pages.list_links(name, wanted) == pages.list_links(name, had)
                if as_before and not changed.intersection(order[first:last]):
                    continue
                pieces = [] if kind == "sessions" else self._pieces(kind, first, last)
                for path, body in view.list_page(kind, name, pieces).items():
                    self.writer.put(path, body)

    def _sessions(self, view: pages.SiteView, changed: set[str], before: Mapping[str, KeptLecture]) -> None:
        """The pages of the lectures that changed, or whose neighbours did."""
        was = _neighbours({lecture_id: kept.head for lecture_id, kept in before.items()})
        now = _neighbours({lecture_id: kept.head for lecture_id, kept in self.kept.items()})
        for lecture_id, neighbours in now.items():
            if lecture_id in changed or was.get(lecture_id) != neighbours:
                file = self._kept_file(lecture_id)
                for path, body in view.session_pages(
                    file.card, file.sentences, file.captions, self.kept[lecture_id].audio, *neighbours
                ).items():
                    self.writer.put(path, body)

    # ------------------------------------------------------------ search

    def _search_files(self, index: SearchIndex) -> None:
        count = self.state.count
        concepts, heard, words = (frozenset().union(*count(kind, self.counted.of(kind)))
                                  for kind in ("concept", "heard", "word"))  # fmt: skip
        used = self.state.tally("word")
        present = frozenset(self.state.tally("concept"))
        paged = self.state.tally("page")
        known = Known(
            index.lexicon, present, map(_pair, self.state.tally("heard")),
            lambda c: (pages.label_of(self.vocabulary, c), pages.path_of(c) if c in paged else ""),
        )  # fmt: skip
        fresh = index.before == 0
        if fresh:
            moved: Iterable[str] = index.names()
        else:
            moved = known.files(concepts, self.pages_moved, map(_pair, heard), index.shards)
        index.write(self.writer.put, known, moved)
        self.writer.put("search/words.js", words_file(index.lexicon, present, used))
        self.writer.put("search/names.js", names_file(index.lexicon, present))
        self.writer.put("search/parts.js", parts_file())
        self._relatives(index, used, words, fresh)
        heads = [kept.head for kept in self.kept.values()]
        for start in range(0, len(heads), TITLES_A_FILE):
            name = f"l/{start // TITLES_A_FILE}"
            rows = [[h.id, h.title[:120], h.date or ""] for h in heads[start : start + TITLES_A_FILE]]
            self.writer.put(f"search/{name}.js", script(name, rows))
        number = -(-len(heads) // TITLES_A_FILE)
        while (self.folder / f"search/l/{number}.js").is_file():
            self._unlink(f"search/l/{number}.js")
            number += 1
        total = sum(kept.records for kept in self.kept.values())
        self.writer.put("search/meta.js", script("meta", {"shards": index.shards, "records": total,
                                                          "weights": weights(), "phrases": phrases()}))  # fmt: skip

    def _relatives(self, index: SearchIndex, used: Mapping[str, int], moved: frozenset[str], fresh: bool) -> None:
        """The words that may stand for others: only those that lead to a word that came into the course or left it."""
        typed = typed_words(index.lexicon, used)
        due = typed if fresh else index.lexicon.related_to(moved, typed) | moved
        rows: dict[str, dict[str, bytes | None]] = {}
        for word, row in related_words(index.lexicon, sorted(due & typed), used).items():
            rows.setdefault(relative_file(word), {})[word] = row
        for word in due - typed:
            rows.setdefault(relative_file(word), {})[word] = None
        for name in relative_files() if fresh else rows:
            self.state.keep(name, rows.get(name, {}))
            held = {word: row.decode() for word, row in self.state.kept(name).items()}
            self.writer.put(f"search/{name}.js", script(name, held))


class Counted:
    """By how much what is counted in the course changes."""

    def __init__(self) -> None:
        self._changes: dict[str, dict[str, int]] = {}

    def add(self, kind: str, names: Iterable[str], number: int) -> None:
        changes = self.of(kind)
        for name in names:
            changes[name] = changes.get(name, 0) + number

    def words(self, postings: Mapping[str, Sequence[int]], sign: int) -> None:
        """Count the records that each word stands in."""
        changes = self.of("word")
        for term, packed in postings.items():
            if not term.startswith("."):
                changes[term] = changes.get(term, 0) + sign * len(packed)

    def of(self, kind: str) -> dict[str, int]:
        return self._changes.setdefault(kind, {})


def _pair(text: str) -> tuple[str, str]:
    said, _, concept_id = text.partition("\t")
    return said, concept_id


def _neighbours(heads: Mapping[str, Head]) -> dict[str, tuple[Head | None, Head | None]]:
    """For each lecture the one before it and the one after it."""
    held = [None, *heads.values(), None]
    return {lecture_id: (held[at], held[at + 2]) for at, lecture_id in enumerate(heads)}


def _chunks(records: int) -> int:
    """How many files hold the texts of so many records."""
    return -(-min(records, MOST_RECORDS) // CHUNK)
