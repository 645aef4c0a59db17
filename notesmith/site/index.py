"""The published site's search index: small script files that a page can load from any host or from a USB stick.

Terms (stems of the texts, and concepts as tokens) are spread over shards by the FNV-1a hash of the term. A posting
is a document and its BM25 part, quantised; only the best of a very common term are published. Beside its
postings a stem holds the vocabulary's labels it stands in, so that lay words, abbreviations and mishearings find
their concept in the same look-up, and its places in the table of meanings, whose lines are terms too.
``static/engine.js`` reads what is written here.

So that one more lecture changes few files however many there are, the postings of the newest lectures stand in files
of their own (``n/``, NEWEST of them) and go over to the large index (``t/``) part by part: at each lecture the terms
of NEWEST / PERIOD parts do, and those of a part every PERIOD lectures.
"""

from __future__ import annotations

import hashlib
import json
import math
from array import array
from bisect import bisect_left
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import islice

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.search import KIND_WEIGHT, Indexed, Record
from notesmith.store.site_state import SiteState
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary.expand import (
    MOST_OF_A_LINE,
    MOST_OF_A_WORDING,
    RELATIVES,
    Choices,
    Label,
    Lexicon,
    everyday,
    lay,
    learned,
    lexicon_of,
    make_label,
    meanings,
    stem,
    word_parts,
)

KINDS = ("point", "case", "question", "transcript")
CAP = 1000  # published postings of one term
LABEL_CAP = 300  # labels published with one stem
CHUNK = 24  # records in one file
TEXT_LIMIT = 280
ORDINAL_BITS = 13
MOST_RECORDS = 1 << ORDINAL_BITS
SHARDS = ((15, 256), (150, 2048), (1500, 8192))  # by lectures, so that a file stays at a few kilobytes
MOST_SHARDS = 16384
IMPACT = 6.5  # what a quantised part of a score stands for: impact / IMPACT
RELATIVE_SHARDS = 256
NEWEST, PERIOD = 256, 64  # every number of shards is a multiple of NEWEST, so that a part is of whole shards
SLOT_SHIFT = np.uint64(ORDINAL_BITS + 6)
LOW_BITS = np.uint64((1 << (ORDINAL_BITS + 6)) - 1)
DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"

Put = Callable[[str, str], None]
Postings = NDArray[np.uint64]
Held = dict[str, bytearray]  # packed postings by term


def shard_count(lectures: int) -> int:
    return next((count for most, count in SHARDS if lectures <= most), MOST_SHARDS)


@lru_cache(maxsize=200_000)
def fnv(text: str) -> int:
    """FNV-1a, 32 bit, over UTF-16 code units below 65536 (other characters never stand in a term)."""
    value = 0x811C9DC5
    for character in text:
        value = ((value ^ (ord(character) & 0xFFFF)) * 0x01000193) & 0xFFFFFFFF
    return value


@lru_cache(maxsize=100_000)
def token_of(concept_id: str) -> str:
    """A concept as a term of eight characters; the leading full stop keeps it apart from every word."""
    number = int.from_bytes(hashlib.sha256(concept_id.encode()).digest()[:6], "big")
    return "." + "".join(DIGITS[(number >> shift) & 63] for shift in range(0, 42, 6))


def meaning_term(line: int) -> str:
    """A line of the table of meanings as a term, shorter than any concept's."""
    return f".{line}"


@lru_cache(maxsize=20_000)
def varint(value: int) -> str:
    """Five bits a character, the lowest first; 32 says that more follows."""
    out = []
    while value >= 32:
        out.append(DIGITS[32 | (value & 31)])
        value >>= 5
    out.append(DIGITS[value])
    return "".join(out)


def terms_of(found: Indexed) -> dict[str, int]:
    """Each term of a record with its quantised part of BM25 (0 to 15)."""
    record, stems, concepts, _ = found
    weight = KIND_WEIGHT[record.kind] * (1.0 + 0.1 * (record.weight - 1.0)) * IMPACT
    length = 1.2 * (0.6 + 0.4 * len(stems) / 14)
    counts: dict[str, int] = {}
    for one in stems:
        counts[one] = counts.get(one, 0) + 1
    terms = {one: min(15, round(weight * n * 2.2 / (n + length))) for one, n in counts.items()}
    for concept_id, part in concepts.items():
        terms[token_of(concept_id)] = min(15, round(part * weight))
    terms |= {meaning_term(line): steps for line, steps in found.meanings.items()}
    return terms


def postings_of(slot: int, records: Sequence[Indexed]) -> dict[str, list[int]]:
    """By term, packed postings: slot, ordinal, impact (4 bits), kind (2 bits)."""
    found: dict[str, list[int]] = {}
    for ordinal, one in enumerate(records[:MOST_RECORDS]):
        kind = KINDS.index(one.record.kind)
        base = ((slot << ORDINAL_BITS) | ordinal) << 6
        for term, impact in terms_of(one).items():
            found.setdefault(term, []).append(base | (impact << 2) | kind)
    return found


def settled(part: int, lectures: int) -> int:
    """How many of so many lectures the large index holds for the terms of a part; the newest few files hold the rest."""
    return max(0, lectures - (lectures + part) % PERIOD)


class SearchIndex:
    """The whole postings kept beside the site, and the published files made from them."""

    def __init__(self, state: SiteState, vocabulary: Vocabulary, shards: int, before: int, lectures: int) -> None:
        """``shards`` of the large index; how many lectures the kept postings are of, and how many they shall be of."""
        self.state = state
        self.shards = shards
        self.before = before
        self.lectures = lectures
        self.lexicon: Lexicon = lexicon_of(vocabulary)
        self._open: dict[str, Held] = {}
        self._touched: set[str] = set()

    def _file(self, name: str, *, touch: bool = False) -> Held:
        """The postings of one published file, by its name (``t/1f``)."""
        if name not in self._open:
            body = self.state.postings(name)
            self._open[name] = {} if body is None else msgspec.msgpack.decode(body, type=Held)
        if touch:
            self._touched.add(name)
        return self._open[name]

    def _name(self, term: str, slot: int) -> str:
        number = fnv(term)
        part = number % NEWEST
        return f"t/{number % self.shards:x}" if slot < settled(part, self.lectures) else f"n/{part:x}"

    def add(self, slot: int, postings: Mapping[str, list[int]]) -> None:
        """Put in a lecture that comes after all that are there."""
        for term, packed in postings.items():
            held = self._file(self._name(term, slot), touch=True)
            kept = held.setdefault(term, bytearray())  # added to in place: a long list is not copied at every lecture
            kept += array("Q", packed).tobytes()

    def change(self, slot: int, before: Mapping[str, list[int]], after: Mapping[str, list[int]]) -> None:
        """Replace one lecture's postings; terms that stay the same are not touched."""
        for term in before.keys() | after.keys():
            old, new = before.get(term), after.get(term)
            if old == new:
                continue
            held = self._file(self._name(term, slot), touch=True)
            kept = np.frombuffer(held.get(term, b""), dtype=np.uint64)
            kept = kept[(kept >> SLOT_SHIFT) != slot]
            _put(held, term, np.sort(np.concatenate([kept, np.array(new or [], dtype=np.uint64)])))

    def settle(self) -> None:
        """Hand the postings of what is no longer among the newest lectures over to the large index."""
        for part in range(NEWEST):
            until = settled(part, self.lectures)
            if settled(part, self.before) < until:
                self._split(part, until, self._file(f"n/{part:x}", touch=True))

    def remap(self, new_slots: Sequence[int]) -> None:
        """Give every lecture its new slot; -1 drops the lecture. Touches every file."""
        table = np.array([*new_slots, -1], dtype=np.int64)
        for part in range(NEWEST):
            every: Held = {}
            for name in (*(f"t/{number:x}" for number in range(part, self.shards, NEWEST)), f"n/{part:x}"):
                held = self._file(name, touch=True)
                for term, packed in held.items():
                    every[term] = every.get(term, bytearray()) + packed
                held.clear()
            for term in list(every):
                before = np.frombuffer(every[term], dtype=np.uint64)
                slots = table[(before >> SLOT_SHIFT).astype(np.int64)]
                kept = slots >= 0
                moved = (slots[kept].astype(np.uint64) << SLOT_SHIFT) | (before[kept] & LOW_BITS)
                _put(every, term, np.sort(moved))
            self._split(part, settled(part, self.lectures), every)
            self._file(f"n/{part:x}").update(every)

    def _split(self, part: int, until: int, newest: Held) -> None:
        """Move postings of slots before ``until`` from those of a part to the large index, which holds none of them."""
        for term in list(newest):
            packed = np.frombuffer(newest[term], dtype=np.uint64)
            old = (packed >> SLOT_SHIFT) < until
            if old.any():
                large = self._file(f"t/{fnv(term) % self.shards:x}", touch=True)
                large[term] = large.get(term, bytearray()) + packed[old].tobytes()
                _put(newest, term, packed[~old])

    # ------------------------------------------------------------ writing

    def write(self, put: Put, known: Known, moved: Iterable[str]) -> None:
        """Write the files that were touched, and those named because what is ``known`` of their terms has changed."""
        terms, always = known.by_file(self.shards), known.published.by_file(self.shards)
        for name in sorted({*self._touched, *moved}):
            held = self._file(name)
            texts = publish_postings([np.frombuffer(packed, dtype=np.uint64) for packed in held.values()])
            entries: dict[str, list[object]] = {
                term: [len(held[term]) // 8, text] for term, text in zip(held, texts, strict=True)
            }
            for term in (*always.get(name, ()), *terms.get(name, ())):
                if entry := known.of(term):
                    entries.setdefault(term, [0, ""]).extend(entry)
            put(f"search/{name}.js", script(name, dict(sorted(entries.items()))))
        self.state.put_postings(
            {name: msgspec.msgpack.encode(self._open[name], order="deterministic") for name in sorted(self._touched)}
        )

    def names(self) -> Iterator[str]:
        """Every published file of postings."""
        yield from (f"t/{number:x}" for number in range(self.shards))
        yield from (f"n/{part:x}" for part in range(NEWEST))


def _put(held: Held, term: str, packed: Postings) -> None:
    if len(packed):
        held[term] = bytearray(packed.tobytes())
    else:
        held.pop(term, None)


def publish_postings(lists: Sequence[Postings]) -> list[str]:
    """Lists of postings as published: for each document the step from the one before (``varint``) and its six bits."""
    chosen = [_best(packed) for packed in lists]
    if not chosen:
        return []
    packed = np.concatenate(chosen)
    ends = np.cumsum([len(one) for one in chosen])
    documents = (packed >> np.uint64(6)).astype(np.int64)
    steps = np.diff(documents, prepend=0)
    first = np.concatenate([[0], ends[:-1]])
    first = first[first < ends]  # an empty list has no first
    steps[first] = documents[first]
    columns, wanted = [], []
    for shift in range(0, 63, 5):
        rest = steps >> shift
        wanted.append((rest > 0) if shift else np.ones(len(steps), dtype=bool))
        if not wanted[-1].any():
            wanted.pop()
            break
        columns.append((rest & 31) | np.where(rest > 31, 32, 0))
    columns.append((packed & np.uint64(63)).astype(np.int64))
    wanted.append(np.ones(len(steps), dtype=bool))
    mask = np.stack(wanted, axis=1)
    text = _LETTERS[np.stack(columns, axis=1)[mask]].tobytes().decode("ascii")
    stops = np.concatenate([[0], np.cumsum(mask.sum(axis=1))])[ends].tolist()
    return [text[a:b] for a, b in zip([0, *stops], stops, strict=False)]


_LETTERS = np.frombuffer(DIGITS.encode("ascii"), dtype=np.uint8)


def _best(packed: Postings) -> Postings:
    if len(packed) <= CAP:
        return packed
    impact = (packed >> np.uint64(2)) & np.uint64(15)
    best = np.lexsort((packed, -impact.astype(np.int64)))[:CAP]
    return np.sort(packed[best])


Entry = tuple[float, str, str]  # of a label: its weight in all, as published, its concept


def label_entry(lexicon: Lexicon, label: Label) -> Entry:
    """A label as published: its hash (5), its concept's token (8), weight, 20 more of a remedy's (1), total (varint)."""
    seed = hashlib.sha256(f"{label.concept_id}\t{' '.join(label.stems)}".encode()).digest()
    name = "".join(DIGITS[byte & 63] for byte in seed[:5])
    total = sum(word_weight(lexicon, one) for one in label.stems)
    kind = round(label.weight * 10) + (20 if label.concept_id.startswith("remedy/") else 0)
    text = f"{name}{token_of(label.concept_id)}{DIGITS[kind]}{varint(round(total * 10))}"
    return total, text, label.concept_id


class Published:
    """What is published of a vocabulary's labels and of the table of meanings whatever the course; made once for each
    vocabulary, a label when a course first has its concept.
    """

    def __init__(self, lexicon: Lexicon) -> None:
        self.lexicon = lexicon
        self.said = {one: said_by(one) for one in meanings().by_stem}
        self._concepts = [label.concept_id for label in lexicon.labels]
        self._entries: dict[int, Entry] = {}
        self._files: dict[int, dict[str, list[str]]] = {}

    def labels(self, stem: str, present: Collection[str]) -> list[Entry]:
        """The labels that a stem stands in, of concepts that are present."""
        return [self._entry(at) for at in self.lexicon.by_stem.get(stem, ()) if self._concepts[at] in present]

    def _entry(self, number: int) -> Entry:
        if number not in self._entries:
            self._entries[number] = label_entry(self.lexicon, self.lexicon.labels[number])
        return self._entries[number]

    def by_file(self, shards: int) -> dict[str, list[str]]:
        """The terms of which something may be known, by file."""
        if shards not in self._files:
            found: dict[str, list[str]] = {}
            for term in {*self.lexicon.by_stem, *self.said}:
                found.setdefault(f"t/{fnv(term) % shards:x}", []).append(term)
            self._files = {shards: found}  # of the last number of shards only
        return self._files[shards]


@lru_cache(maxsize=4)
def published_of(lexicon: Lexicon) -> Published:
    return Published(lexicon)


class Known:
    """What is published beside the postings of a term: of a concept its name, page and synonyms; of a stem its labels."""

    def __init__(self, lexicon: Lexicon, present: frozenset[str], heard: Iterable[tuple[str, str]],
                 concept: Callable[[str], tuple[str, str]]) -> None:  # fmt: skip
        """``present``: the concepts that a record is found by; ``heard``: the course's own mishearings with the concept
        each was restored to; ``concept``: a concept's name and page.
        """
        self.lexicon = lexicon
        self.published = published_of(lexicon)
        self.present = present
        self.concept = concept
        self.tokens = {token_of(concept_id): concept_id for concept_id in present}
        self.misheard: dict[str, list[Entry]] = {}
        for concept_id, said in sorted((concept_id, said) for said, concept_id in heard):
            if concept_id in present and (made := make_label(concept_id, said, 0.8, False)) is not None:
                entry = label_entry(lexicon, made)
                for one in made.stems:
                    self.misheard.setdefault(one, []).append(entry)

    def files(
        self, concepts: Iterable[str], paged: Iterable[str], heard: Iterable[tuple[str, str]], shards: int
    ) -> set[str]:
        """The files that change where concepts, their pages and mishearings come or go."""
        terms = {token_of(key) for key in paged if key in self.present}
        labels = [made for said, c in heard if (made := make_label(c, said, 0.8, False)) is not None]
        for concept_id in concepts:
            terms.add(token_of(concept_id))
            labels += (self.lexicon.labels[number] for number in self.lexicon.by_concept.get(concept_id, ()))
        terms.update(one for label in labels for one in label.stems)
        return {f"t/{fnv(term) % shards:x}" for term in terms}

    def by_file(self, shards: int) -> dict[str, list[str]]:
        """Terms of which something may be known only since the course is as it is, by file; see ``Published`` for the rest."""
        found: dict[str, list[str]] = {}
        for term in {*self.misheard, *self.tokens} - self.lexicon.by_stem.keys() - self.published.said.keys():
            found.setdefault(f"t/{fnv(term) % shards:x}", []).append(term)
        return found

    def of(self, term: str) -> list[object]:
        """What stands in a term's entry after its postings; empty where there is nothing."""
        if (concept_id := self.tokens.get(term)) is not None:
            said = "|".join(" ".join(stems) for stems in self.lexicon.wordings(concept_id))
            return [*self.concept(concept_id), " ".join(self.lexicon.synonyms(concept_id)), said]
        entries = sorted([*self.published.labels(term, self.present), *self.misheard.get(term, ())])
        said = self.published.said.get(term, "")
        if not entries:
            return [0, 0, said] if said else []
        texts = "".join([text for _, text, _ in entries[:LABEL_CAP]])
        known = [round(word_weight(self.lexicon, term) * 10), texts]
        return [*known, said] if said else known


def said_by(term: str) -> str:
    """A stem's places in the table of meanings as published: its weight among the wordings (varint), then for each place the
    step to it (varint of line, wording and word), the word's weight and the wording's (varints); empty where it has none.
    """
    table = meanings()
    parts, before = [varint(table.weight.get(term, 0))], 0
    places = table.by_stem.get(term, ())
    for line, wording, word, worth, total in places:
        place = (line * MOST_OF_A_LINE + wording) * MOST_OF_A_WORDING + word
        parts += varint(place - before), varint(worth), varint(total)
        before = place
    return "".join(parts) if places else ""


def word_weight(lexicon: Lexicon, one: str) -> float:
    """A stem's weight among labels; one that only a mishearing holds weighs as the rarest."""
    return lexicon.weight.get(one, math.log(1 + max(1, len(lexicon.labels))))


def words_file(lexicon: Lexicon, present: frozenset[str], frequencies: Mapping[str, int]) -> str:
    """The words a misspelling may stand for, front-coded."""
    labelled = {one for label in lexicon.labels if label.concept_id in present for one in label.stems}

    def leads(one: str) -> bool:
        return one in frequencies or one in labelled or any(o in frequencies for o, _ in lexicon.relatives(one))

    words = labelled | {word for word in lexicon.spellings(present) if leads(stem(word))}
    sure = (item for item in frequencies.items() if item[1] >= 3 or item[0] in everyday())
    common = sorted(sure, key=lambda item: (-item[1], item[0]))
    words.update(word for word, _ in common[:4000])
    coded, before = [], ""
    for word in sorted(word for word in words if word.isascii() and word.isalnum() and 3 <= len(word) <= 24):
        same = 0
        while same < min(len(word), len(before), 35) and word[same] == before[same]:
            same += 1
        coded.append("0123456789abcdefghijklmnopqrstuvwxyz"[same] + word[same:])
        before = word
    return script("words", " ".join(coded))


def names_file(lexicon: Lexicon, present: frozenset[str]) -> str:
    """The names of the remedies taught, as spelt and as heard, for what sounds like one of them."""
    names = {(name, code, token_of(concept_id)) for held, codes in lexicon.names.values()
             for (name, concept_id), code in zip(held, codes, strict=True)
             if concept_id in present and name.isascii() and code.isascii()}  # fmt: skip
    return script("names", " ".join(" ".join(row) for row in sorted(names)))


def related_words(lexicon: Lexicon, words: Iterable[str], used: Collection[str]) -> dict[str, bytes]:
    """For each of some words that a student may type, the words of the course that may stand for it, with weights, and
    after a tab the learned terms that begin with it, with their plain wordings.

    One with none is listed too: it is no misspelling.
    """
    rows = dict.fromkeys(words, b"")
    for one in lexicon.related_to(used, rows):
        found = islice(((other, w) for other, w in lexicon.relatives(one) if other in used), RELATIVES)
        row = " ".join(f"{other}:{round(weight * 100)}" for other, weight in found)
        terms = (f"{' '.join(term[1:])}>{'|'.join(_published(said, used) for said in plain)}"
                 for term, plain in learned().get(one, {}).items())  # fmt: skip
        rows[one] = f"{row}\t{';'.join(terms)}".rstrip("\t").encode()
    return rows


def _published(wording: Choices, used: Collection[str]) -> str:
    """A wording as published: the words with a blank between, the stems of each that the course holds with a slash."""
    return " ".join("/".join(one for one in choices if one in used) or "/" for choices in wording)


def parts_file() -> str:
    """The parts of learned words, for one that stands in no list."""
    first, last = word_parts()
    tables = {name: {part: "/".join(plain) for part, plain in table.items()}
              for name, table in (("first", first), ("last", last))}  # fmt: skip
    return script("parts", tables)


def typed_words(lexicon: Lexicon, used: Iterable[str]) -> set[str]:
    """The words that a student may type and that may have others of the course to stand for them."""
    every = {*lexicon.by_stem, *everyday(), *lay()[0], *learned(), *used}
    return {one for one in every if one.isalnum() and len(one) <= 24}


def relative_file(word: str) -> str:
    """The file in which a typed word is looked up."""
    return f"e/{fnv(word) % RELATIVE_SHARDS:x}"


def relative_files() -> list[str]:
    return [f"e/{number:x}" for number in range(RELATIVE_SHARDS)]


def phrases() -> dict[str, str]:
    """Phrases that a student may type, in stems, with the words that may stand for them."""
    return {" ".join(typed): " ".join(meant) for typed, meant in sorted(lay()[1].items())}


def shortened(text: str) -> str:
    """A text as a hit shows it, cut between words where it is long."""
    if len(text) <= TEXT_LIMIT:
        return text
    head = text[:TEXT_LIMIT]
    return (head.rsplit(" ", 1)[0] if " " in head else head) + "…"


def record_files(lecture_id: str, records: Sequence[Record]) -> dict[str, str]:
    """What hits show, in small files; beside a case how many of the records after it are of its story."""
    starts = [r.start_ms for r in records]
    files = {}
    for start in range(0, min(len(records), MOST_RECORDS), CHUNK):
        rows = [
            [
                KINDS.index(r.kind), shortened(r.text),
                r.start_ms, r.anchor, token_of(r.focus_id) if r.focus_id else "",
                [token_of(c) for c in r.concept_ids if c.startswith("chapter/")],
                *([bisect_left(starts, r.end_ms) - at - 1] if r.kind == "case" else []),
            ]
            for at, r in enumerate(records[start : start + CHUNK], start)
        ]  # fmt: skip
        number = start // CHUNK
        files[f"search/r/{lecture_id}/{number}.js"] = script(f"r/{lecture_id}/{number}", rows)
    return files


def script(name: str, value: object) -> str:
    """A file that a page loads with a script element, which works without a server too."""
    return f"notesmithFiles[{json.dumps(name)}]={json.dumps(value, ensure_ascii=True, separators=(',', ':'))};\n"
