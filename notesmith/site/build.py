"""Build the site's folder from a library; read only changed lectures, write only the pages they touch.

Beside the folder lies a cache (``.NAME-cache``) that is never published: what was made of each lecture, and which
page was made from what. Without it, or after a change of settings, vocabulary or program, all is made anew, and the
result is the same to the byte.
"""

from __future__ import annotations

import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

import msgspec

from notesmith.errors import NotesmithError, OutputError
from notesmith.extract.privacy import mute_spans
from notesmith.files import output_errors, sha256_of, sweep
from notesmith.lecture import LectureContent
from notesmith.library import Library, LibraryEntry, digest
from notesmith.recording import encode_web_copy
from notesmith.search import Record, Redaction, indexed_concepts, records_of
from notesmith.site import pages
from notesmith.site.cards import Card, Head, SentenceCard, Share, card_of, sentences_of, shares_of
from notesmith.site.index import (
    SearchIndex,
    labels_of,
    names_file,
    phrases,
    postings_of,
    record_files,
    relatives_files,
    script,
    shard_count,
    token_of,
    words_file,
)
from notesmith.transcript import TimeSpan

VERSION = 3
PAGE_OF_LECTURES = 100
MOST_SHARES = 20_000
AUDIO_NAME, SUMS_NAME = "audio.json", "audio-sums.json"
WebAudio = Callable[[Path, Path, Sequence[TimeSpan]], None]
Report = Callable[[int, int], None]
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


class KeptLecture(msgspec.Struct):
    digest: str
    head: Head
    shares: dict[str, str]  # page key -> digest of the share
    concepts: tuple[str, ...]
    records: int
    audio: str | None = None
    audio_key: str | None = None
    summary: tuple[int, int, int] = (0, 0, 0)
    promised: int = 0
    has_cautions: bool = False
    heard: tuple[tuple[str, str], ...] = ()  # (as misheard, concept id)


class Manifest(msgspec.Struct):
    base: str = ""
    lectures: dict[str, KeptLecture] = {}
    order: list[str] = []
    pages: dict[str, str] = {}
    labels: dict[int, str] = {}
    concept_names: str = ""
    shards: int = 0
    words_used: str = ""


class LectureFile(msgspec.Struct, frozen=True):
    """What is kept of a lecture beside the site."""

    card: Card
    sentences: tuple[SentenceCard, ...]
    records: tuple[Record, ...]
    captions: str


class CardFile(msgspec.Struct, frozen=True):
    """The part of a LectureFile that course-wide pages are made from; the rest is passed over unread."""

    card: Card


Kept = TypeVar("Kept", LectureFile, CardFile)


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


def _batches(
    due: Sequence[tuple[str, str, Sequence[tuple[str, str]]]],
) -> Iterator[list[tuple[str, str, Sequence[tuple[str, str]]]]]:
    """Pages in lots that show about MOST_SHARES pieces of lectures, so that a build of years fits in memory."""
    some, count = [], 0
    for one in due:
        some.append(one)
        count += len(one[2])
        if count >= MOST_SHARES:
            yield some
            some, count = [], 0
    if some:
        yield some


def cache_of(folder: Path) -> Path:
    return folder.parent / f".{folder.name}-cache"


def build(
    library: Library, folder: Path, report: Report | None = None, *, web_audio: WebAudio = encode_web_copy
) -> SiteReport:
    """Build the site of a library into a folder. ``report`` is called with (done, total) lectures.

    Raises OutputError where the folder cannot be written or holds something else, StoreError where the library does.
    """
    told = report or (lambda done, total: None)
    try:
        return _Build(library, folder, told, web_audio).run()
    except msgspec.MsgspecError:  # a file of the cache is damaged: without its list, all is made anew
        (cache_of(folder) / "manifest.json").unlink(missing_ok=True)
        return _Build(library, folder, told, web_audio).run()


def is_current(library: Library, folder: Path) -> bool | None:
    """Whether the folder was built from just this library by just this program; None where that is not known."""
    building = _Build(library, folder, lambda done, total: None, encode_web_copy)
    manifest = building._manifest()
    if not manifest.base:
        return None
    entries = library.entries()
    return manifest.base == building.base and manifest.order == [e.lecture.id for e in entries] and not any(
        building._is_changed(manifest, entry) for entry in entries
    )  # fmt: skip


def sound_sums(folder: Path) -> dict[str, str]:
    """The SHA-256 of each web copy as it was made, by lecture; copies made by an earlier program are left out."""
    try:
        return msgspec.json.decode((cache_of(folder) / SUMS_NAME).read_bytes(), type=dict[str, str])
    except (OSError, msgspec.MsgspecError):
        return {}


class _Build:
    def __init__(self, library: Library, folder: Path, report: Report, web_audio: WebAudio) -> None:
        self.library = library
        self.folder = folder
        self.cache = cache_of(folder)
        self.report = report
        self.web_audio = web_audio
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
        manifest = self._manifest()
        if manifest.base != self.base or manifest.shards != shard_count(len(entries)):
            self._start_anew()
            manifest = Manifest(self.base, shards=shard_count(len(entries)))
        old_order = list(manifest.order)
        changed = [e for e in entries if self._is_changed(manifest, e)]
        order = [e.lecture.id for e in entries]
        gone = [lecture_id for lecture_id in manifest.lectures if lecture_id not in set(order)]
        # A build that is broken off must not leave a manifest that vouches for half of its files.
        if changed or gone or order != old_order:
            (self.cache / "manifest.json").unlink(missing_ok=True)
        index = SearchIndex(self.cache / "search", self.vocabulary, manifest.shards)
        slots = {lecture_id: slot for slot, lecture_id in enumerate(order)}
        kept_order = [lecture_id for lecture_id in old_order if lecture_id in slots]
        if old_order != order[: len(old_order)]:
            index.remap([slots.get(lecture_id, -1) for lecture_id in old_order])
        before_of: dict[str, tuple[Record, ...]] = {}
        fresh = not kept_order
        for done, entry in enumerate(changed):
            self.report(done, len(changed))
            lecture_id = entry.lecture.id
            old = self._kept_records(lecture_id) if lecture_id in manifest.lectures else ()
            before_of[lecture_id] = old
            file, kept, concepts = self._lecture(entry, manifest.lectures.get(lecture_id))
            manifest.lectures[lecture_id] = kept
            after = postings_of(slots[lecture_id], file.records, self.vocabulary, concepts)
            if fresh:
                index.add(after)
            else:
                index.change(slots[lecture_id], postings_of(slots[lecture_id], old, self.vocabulary), after)
            for name, body in record_files(lecture_id, file.records).items():
                self.writer.put(name, body)
            self._drop_record_files(lecture_id, len(file.records), len(old))
        self.report(len(changed), len(changed))
        for lecture_id in gone:
            self._forget(lecture_id, manifest)
        manifest.order = order
        self._static()
        count = self._pages(manifest, {e.lecture.id for e in changed})
        self._search_files(manifest, index)
        waiting = sum(k.summary[2] for k in manifest.lectures.values())
        if waiting:
            self.remarks.append(
                f"{waiting} name(s) or places in the course wait for a ruling; they are replaced by roles until then"
            )
        self._write_cache(self.cache / "manifest.json", msgspec.json.encode(manifest))
        return SiteReport(
            self.folder, tuple(self.remarks), len(order), count, sum(k.records for k in manifest.lectures.values()),
            self.writer.written, self.removed, self.read,
        )  # fmt: skip

    def _entries(self) -> Sequence[LibraryEntry]:
        entries = list(self.library.entries())
        for entry in entries:
            if not _SAFE_ID.match(entry.lecture.id):
                raise OutputError(f"lecture id {entry.lecture.id!r} cannot be part of an address; rename the lecture")
        return entries

    def _manifest(self) -> Manifest:
        path = self.cache / "manifest.json"
        try:
            if (self.folder / "index.html").is_file():
                return msgspec.json.decode(path.read_bytes(), type=Manifest)
        except (OSError, msgspec.MsgspecError):
            pass
        return Manifest()

    def _start_anew(self) -> None:
        """Empty the folder, except for sound, which is costly; refuse where the folder is not ours."""
        mark = self.folder / "notesmith.txt"
        with output_errors(self.folder):
            if self.folder.is_dir() and any(self.folder.iterdir()) and not mark.is_file():
                raise OutputError(f"{self.folder}: holds files that are not of a site; name an empty folder")
            self.folder.mkdir(parents=True, exist_ok=True)
            mark.write_text("This folder is written by Notesmith; do not edit it, build it again.\n", "utf-8")
            for child in self.folder.iterdir():
                if child.is_dir() and child.name != "audio":
                    shutil.rmtree(child)
                elif child.is_file() and child != mark:
                    child.unlink()
            for child in self.cache.iterdir() if self.cache.is_dir() else ():
                if child.name not in (AUDIO_NAME, SUMS_NAME):
                    shutil.rmtree(child) if child.is_dir() else child.unlink()
            self.cache.mkdir(parents=True, exist_ok=True)
            sweep((self.folder / "audio",))

    def _is_changed(self, manifest: Manifest, entry: LibraryEntry) -> bool:
        kept = manifest.lectures.get(entry.lecture.id)
        return kept is None or kept.digest != entry.digest

    def _write_cache(self, path: Path, data: bytes) -> None:
        _replace(path, data, self.cache_made)

    # ------------------------------------------------------------ one lecture

    def _lecture(
        self, entry: LibraryEntry, old: KeptLecture | None
    ) -> tuple[LectureFile, KeptLecture, list[dict[str, float]]]:
        """What is kept of a lecture, and the concepts each of its records is found by."""
        content = self.library.content(entry.lecture.id)
        self.read += 1
        publication = self.settings.publish
        redaction = Redaction(content, self.library.verdicts)
        card = card_of(content, redaction, self.vocabulary)
        sentences = sentences_of(content, redaction) if publication.transcript else ()
        records = records_of(content, redaction, transcript=publication.transcript)
        captions = pages.captions(sentences) if publication.transcript else ""
        file = LectureFile(card, sentences, records, captions)
        heard = {
            (token.heard, concept)
            for sentence in sentences
            for token, concept in zip(sentence.tokens, sentence.concept_ids, strict=True)
            if token.heard and concept
        }
        self._write_cache(self.cache / "lectures" / f"{entry.lecture.id}.bin", msgspec.msgpack.encode(file))
        shares = {key: digest(share)[:16] for key, share in shares_of(card, self.vocabulary).items()}
        concepts = [indexed_concepts(r, self.vocabulary) for r in records]
        present = {c for found in concepts for c in found if c in self.vocabulary}
        audio, audio_key = self._audio(content, redaction)
        kept = KeptLecture(
            entry.digest, card.head, shares, tuple(sorted(present)), len(records), audio, audio_key,
            (len(card.points), len(card.cases), card.waiting),
            sum(c.direction == "promised" for c in card.carry_overs), bool(card.cautions), tuple(sorted(heard)),
        )  # fmt: skip
        return file, kept, concepts

    def _audio(self, content: LectureContent, redaction: Redaction) -> tuple[str | None, str | None]:
        lecture = content.lecture
        source = self.library.media_path(lecture)
        name = f"audio/{lecture.id}.mp3"
        target = self.folder / name
        if not self.settings.publish.audio or source is None:
            target.unlink(missing_ok=True)
            return None, None
        mute = mute_spans(redaction.persons, content.transcript.words, redaction.rulings)
        known = self._audio_keys()
        key = digest(lecture.recording_sha256, mute)
        if target.is_file() and known.get(lecture.id) == key:
            return name, key
        try:
            if not source.is_file():
                raise OutputError(f"{source.name}: the recording is gone")
            target.parent.mkdir(parents=True, exist_ok=True)
            self.web_audio(source, target, mute)
            self.writer.written += 1
        except NotesmithError as error:
            target.unlink(missing_ok=True)
            self.remarks.append(f"{lecture.id}: published without sound ({error})")
            return None, None
        known[lecture.id] = key
        sums = sound_sums(self.folder) | {lecture.id: sha256_of(target)}
        self._write_cache(self.cache / SUMS_NAME, msgspec.json.encode(sums, order="sorted"))
        self._write_cache(self.cache / AUDIO_NAME, msgspec.json.encode(known, order="sorted"))
        return name, key

    def _audio_keys(self) -> dict[str, str]:
        try:
            return msgspec.json.decode((self.cache / AUDIO_NAME).read_bytes(), type=dict[str, str])
        except (OSError, msgspec.MsgspecError):
            return {}

    def _kept_file(self, lecture_id: str, of: type[Kept]) -> Kept:
        path = self.cache / "lectures" / f"{lecture_id}.bin"
        return msgspec.msgpack.decode(path.read_bytes(), type=of)

    def _kept_records(self, lecture_id: str) -> tuple[Record, ...]:
        return self._kept_file(lecture_id, LectureFile).records

    def _drop_record_files(self, lecture_id: str, now: int, before: int) -> None:
        wanted = set(record_numbers(now))
        for number in record_numbers(before):
            if number not in wanted:
                self._unlink(f"search/r/{lecture_id}/{number}.js")

    def _unlink(self, name: str) -> None:
        path = self.folder / name
        if path.is_file():
            path.unlink()
            self.removed += 1

    def _forget(self, lecture_id: str, manifest: Manifest) -> None:
        """Every trace of a lecture that is gone."""
        for name in pages.lecture_files(lecture_id):
            self._unlink(name)
        self._unlink(f"audio/{lecture_id}.mp3")
        shutil.rmtree(self.folder / "search" / "r" / lecture_id, ignore_errors=True)
        (self.cache / "lectures" / f"{lecture_id}.bin").unlink(missing_ok=True)
        known = self._audio_keys()
        if known.pop(lecture_id, None):
            self._write_cache(self.cache / AUDIO_NAME, msgspec.json.encode(known, order="sorted"))
        del manifest.lectures[lecture_id]

    # ------------------------------------------------------------ pages

    def _static(self) -> None:
        for name, data in pages.static_files():
            self.writer.put(f"static/{name}", data)

    def _pages(self, manifest: Manifest, changed: set[str]) -> int:
        lectures = manifest.lectures
        members: dict[str, list[tuple[str, str]]] = {}
        for position, lecture_id in enumerate(manifest.order):
            for key, mark in lectures[lecture_id].shares.items():
                name = f"{key}/{position // PAGE_OF_LECTURES + 1}" if key in ("cases", "questions") else key
                members.setdefault(name, []).append((lecture_id, mark))
        site = pages.SiteView(
            self.settings, self.vocabulary,
            {key: len(held) for key, held in members.items()},
            [lectures[i].head for i in manifest.order],
            {i: lectures[i].summary for i in manifest.order},
        )  # fmt: skip
        # First what is gone, since a page of the same name may be written below.
        staying = {*members, *(f"session/{lecture_id}" for lecture_id in manifest.order), "overview"}
        for name in sorted(manifest.pages.keys() - staying):
            for path in site.files_of(name):
                self._unlink(path)
        wanted: dict[str, str] = {}
        due: list[tuple[str, str, Sequence[tuple[str, str]]]] = []
        for name, held in members.items():
            shown = held[-pages.MOST_SESSIONS :]
            wanted[name] = digest(len(held), shown, site.related_pages(name))[:16]
            if manifest.pages.get(name) != wanted[name]:
                due.append(
                    (name, name.rpartition("/")[0] if name.startswith(("cases/", "questions/")) else name, shown)
                )
        for some in _batches(due):
            shares = self._shares(some)
            for name, key, parts in some:
                found = [shares[lecture_id][key] for lecture_id, _ in parts]
                for path, body in site.concept_page(name, found, len(members[name])).items():
                    self.writer.put(path, body)
                if name.startswith("remedy/"):
                    self._write_cache(self._clues_path(name), msgspec.json.encode(site.clues(name, found)))
        for position, lecture_id in enumerate(manifest.order):
            kept = lectures[lecture_id]
            neighbours = [
                lectures[manifest.order[i]].head if 0 <= i < len(manifest.order) else None
                for i in (position - 1, position + 1)
            ]
            name = f"session/{lecture_id}"
            wanted[name] = digest(kept.digest, neighbours, kept.audio, site.linkable(kept.shares))[:16]
            if manifest.pages.get(name) != wanted[name] or lecture_id in changed:
                file = self._kept_file(lecture_id, LectureFile)
                for path, body in site.session_pages(
                    file.card, file.sentences, file.captions, kept.audio, neighbours[0], neighbours[1]
                ).items():
                    self.writer.put(path, body)
        overview = digest(
            [lectures[i].head for i in manifest.order], sorted(site.counts.items()),
            [lectures[i].summary for i in manifest.order],
        )  # fmt: skip
        wanted["overview"] = overview
        if manifest.pages.get("overview") != overview:
            coming = []
            for lecture_id in reversed(manifest.order[-6:]):
                if lectures[lecture_id].promised:
                    card = self._kept_file(lecture_id, CardFile).card
                    coming += [(card.head, c) for c in card.carry_overs if c.direction == "promised"]
            for path, body in site.overview_pages(coming, manifest.pages, wanted).items():
                self.writer.put(path, body)
        if manifest.pages != wanted or not (self.folder / "revise.html").is_file():
            self._revision(site, members)
        manifest.pages = wanted
        return sum(1 for name in wanted if name != "overview")

    def _shares(self, due: Sequence[tuple[str, str, Sequence[tuple[str, str]]]]) -> dict[str, dict[str, Share]]:
        """What some pages show of each lecture; every lecture is opened once, and only what is shown is kept."""
        keys: dict[str, set[str]] = {}
        for _, key, shown in due:
            for lecture_id, _ in shown:
                keys.setdefault(lecture_id, set()).add(key)
        found = {}
        for lecture_id, wanted in keys.items():
            held = shares_of(self._kept_file(lecture_id, CardFile).card, self.vocabulary)
            found[lecture_id] = {key: held[key] for key in wanted}
        return found

    def _clues_path(self, name: str) -> Path:
        return self.cache / "clues" / f"{name.partition('/')[2]}.json"

    def _revision(self, site: pages.SiteView, members: Mapping[str, list[tuple[str, str]]]) -> None:
        """The revision page needs a few clues of every remedy; they are kept in small files of their own."""
        names = sorted(key for key in members if key.startswith("remedy/"))
        missing = [(name, name, members[name][-pages.MOST_SESSIONS :]) for name in names
                   if not self._clues_path(name).is_file()]  # fmt: skip
        for some in _batches(missing):
            shares = self._shares(some)
            for name, key, shown in some:
                made = site.clues(name, [shares[lecture_id][key] for lecture_id, _ in shown])
                self._write_cache(self._clues_path(name), msgspec.json.encode(made))
        cards = []
        for name in names:
            if found := msgspec.json.decode(self._clues_path(name).read_bytes(), type=list[pages.Clue]):
                cards.append((name, found))
        for path in (self.cache / "clues").glob("*.json"):
            if f"remedy/{path.stem}" not in members:
                path.unlink()
        for path_name, body in site.revision_pages(cards).items():
            self.writer.put(path_name, body)

    # ------------------------------------------------------------ search

    def _search_files(self, manifest: Manifest, index: SearchIndex) -> None:
        present = frozenset(c for k in manifest.lectures.values() for c in k.concepts)
        heard = sorted({pair for k in manifest.lectures.values() for pair in k.heard})
        labels = labels_of(index.lexicon, present, heard)
        site_counts = {key for k in manifest.lectures.values() for key in k.shares}
        concepts = {
            token_of(c): (
                pages.label_of(self.vocabulary, c),
                pages.path_of(c) if c in site_counts else "",
                " ".join(index.lexicon.synonyms(c)),
            )
            for c in present
        }
        # Label entries change only where a concept comes or goes; compare them by shard.
        by_shard: dict[int, list[object]] = {}
        from notesmith.site.index import fnv

        for term in sorted((*labels, *concepts)):
            held: object = labels.get(term) or concepts.get(term)
            by_shard.setdefault(fnv(term) % index.shards, []).append((term, held))
        digests = {number: digest(held)[:16] for number, held in by_shard.items()}
        moved = {n for n in range(index.shards) if digests.get(n) != manifest.labels.get(n)}
        fresh = {n for n in range(index.shards) if not (self.folder / f"search/t/{n:x}.js").is_file()}
        index.write(self.writer.put, self._write_cache, labels, concepts, moved | fresh)
        manifest.labels = digests
        frequency_path = self.cache / "frequencies.bin"
        known: dict[int, dict[str, int]] = {}
        if frequency_path.is_file():
            known = msgspec.msgpack.decode(frequency_path.read_bytes(), type=dict[int, dict[str, int]])
        known.update(index.frequencies(index.touched))
        self._write_cache(frequency_path, msgspec.msgpack.encode(known))
        every = {term: n for counts in known.values() for term, n in counts.items()}
        self.writer.put("search/words.js", words_file(index.lexicon, present, every))
        self.writer.put("search/names.js", names_file(index.lexicon, present))
        # Only what words the course uses decides these files.
        used = digest(sorted(every))
        if manifest.words_used != used or not (self.folder / "search/e/0.js").is_file():
            for name, body in relatives_files(index.lexicon, every.keys()).items():
                self.writer.put(name, body)
            manifest.words_used = used
        heads = [manifest.lectures[i].head for i in manifest.order]
        for start in range(0, len(heads), 64):
            rows = [[h.id, h.title[:120], h.date or ""] for h in heads[start : start + 64]]
            self.writer.put(f"search/l/{start // 64}.js", script(f"l/{start // 64}", rows))
        number = (len(heads) + 63) // 64
        while (self.folder / f"search/l/{number}.js").is_file():
            self._unlink(f"search/l/{number}.js")
            number += 1
        total = sum(k.records for k in manifest.lectures.values())
        self.writer.put("search/meta.js", script("meta", {"shards": index.shards, "records": total,
                                                          "labels": len(index.lexicon.labels), "phrases": phrases()}))  # fmt: skip


def record_numbers(count: int) -> range:
    from notesmith.site.index import CHUNK

    return range((count + CHUNK - 1) // CHUNK)
