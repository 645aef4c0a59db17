"""The published site's search index: small script files that a page can load from any host or from a USB stick.

Terms (stems of the texts, and concepts as tokens) are spread over shards by the FNV-1a hash of the term. A posting
is a document and its BM25 part, quantised; only the best of a very common term are published. Beside its
postings a stem holds the vocabulary's labels it stands in, so that lay words, abbreviations and mishearings find
their concept in the same look-up. ``static/engine.js`` reads what is written here.
"""

from __future__ import annotations

import hashlib
import json
import math
from bisect import bisect_left
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from itertools import islice
from pathlib import Path

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.search import KIND_WEIGHT, Record, indexed_concepts
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary.expand import RELATIVES, Lexicon, everyday, indexed_stems, lay, lexicon_of, make_label, stem

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
DIGITS = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_"

Put = Callable[[str, str], None]
Postings = NDArray[np.uint64]


def shard_count(lectures: int) -> int:
    return next((count for most, count in SHARDS if lectures <= most), MOST_SHARDS)


def fnv(text: str) -> int:
    """FNV-1a, 32 bit, over UTF-16 code units below 65536 (other characters never stand in a term)."""
    value = 0x811C9DC5
    for character in text:
        value = ((value ^ (ord(character) & 0xFFFF)) * 0x01000193) & 0xFFFFFFFF
    return value


def token_of(concept_id: str) -> str:
    """A concept as a term of eight characters; the leading full stop keeps it apart from every word."""
    number = int.from_bytes(hashlib.sha256(concept_id.encode()).digest()[:6], "big")
    return "." + "".join(DIGITS[(number >> shift) & 63] for shift in range(0, 42, 6))


def varint(value: int) -> str:
    """Five bits a character, the lowest first; 32 says that more follows."""
    out = []
    while value >= 32:
        out.append(DIGITS[32 | (value & 31)])
        value >>= 5
    out.append(DIGITS[value])
    return "".join(out)


def terms_of(record: Record, vocabulary: Vocabulary, concepts: Mapping[str, float] | None = None) -> dict[str, int]:
    """Each term of a record with its quantised part of BM25 (0 to 15). ``concepts`` where they are known already."""
    stems = indexed_stems(record.text, lexicon_of(vocabulary))
    weight = KIND_WEIGHT[record.kind] * (1.0 + 0.1 * (record.weight - 1.0)) * IMPACT
    length = 1.2 * (0.6 + 0.4 * len(stems) / 14)
    counts: dict[str, int] = {}
    for one in stems:
        counts[one] = counts.get(one, 0) + 1
    terms = {one: min(15, round(weight * n * 2.2 / (n + length))) for one, n in counts.items()}
    for concept_id, part in (indexed_concepts(record, vocabulary) if concepts is None else concepts).items():
        terms[token_of(concept_id)] = min(15, round(part * weight))
    return terms


def postings_of(
    slot: int, records: Sequence[Record], vocabulary: Vocabulary,
    concepts: Sequence[Mapping[str, float]] | None = None,
) -> dict[str, list[int]]:  # fmt: skip
    """By term, packed postings: slot, ordinal, impact (4 bits), kind (2 bits)."""
    found: dict[str, list[int]] = {}
    for ordinal, record in enumerate(records[:MOST_RECORDS]):
        kind = KINDS.index(record.kind)
        base = ((slot << ORDINAL_BITS) | ordinal) << 6
        for term, impact in terms_of(record, vocabulary, concepts[ordinal] if concepts else None).items():
            found.setdefault(term, []).append(base | (impact << 2) | kind)
    return found


class SearchIndex:
    """The whole postings kept beside the site, and the published files made from them."""

    def __init__(self, cache: Path, vocabulary: Vocabulary, shards: int) -> None:
        self.cache = cache
        self.vocabulary = vocabulary
        self.shards = shards
        self.lexicon: Lexicon = lexicon_of(vocabulary)
        self._open: dict[int, dict[str, bytes]] = {}
        self._touched: set[int] = set()

    def _shard(self, number: int) -> dict[str, bytes]:
        if number not in self._open:
            path = self.cache / f"{number:04x}.bin"
            self._open[number] = (
                msgspec.msgpack.decode(path.read_bytes(), type=dict[str, bytes]) if path.is_file() else {}
            )
        return self._open[number]

    def add(self, postings: Mapping[str, Iterable[int]]) -> None:
        for term, packed in postings.items():
            number = fnv(term) % self.shards
            shard = self._shard(number)
            self._touched.add(number)
            shard[term] = shard.get(term, b"") + np.array(list(packed), dtype=np.uint64).tobytes()

    def change(self, slot: int, before: Mapping[str, list[int]], after: Mapping[str, list[int]]) -> None:
        """Replace one lecture's postings; terms that stay the same are not touched."""
        for term in before.keys() | after.keys():
            old, new = before.get(term), after.get(term)
            if old == new:
                continue
            number = fnv(term) % self.shards
            shard = self._shard(number)
            self._touched.add(number)
            kept = np.frombuffer(shard.get(term, b""), dtype=np.uint64)
            kept = kept[(kept >> np.uint64(ORDINAL_BITS + 6)) != slot]
            joined = np.sort(np.concatenate([kept, np.array(new or [], dtype=np.uint64)]))
            if len(joined):
                shard[term] = joined.tobytes()
            else:
                shard.pop(term, None)

    def remap(self, new_slots: Sequence[int]) -> None:
        """Give every lecture its new slot; -1 drops the lecture. Touches every shard."""
        table = np.array([*new_slots, -1], dtype=np.int64)
        low = np.uint64((1 << (ORDINAL_BITS + 6)) - 1)
        for number in range(self.shards):
            shard = self._shard(number)
            self._touched.add(number)
            for term in list(shard):
                packed = np.frombuffer(shard[term], dtype=np.uint64)
                slots = table[(packed >> np.uint64(ORDINAL_BITS + 6)).astype(np.int64)]
                kept = slots >= 0
                moved = (slots[kept].astype(np.uint64) << np.uint64(ORDINAL_BITS + 6)) | (packed[kept] & low)
                if len(moved):
                    shard[term] = np.sort(moved).tobytes()
                else:
                    del shard[term]

    # ------------------------------------------------------------ writing

    def write(self, put: Put, write_cache: Callable[[Path, bytes], None], labels: Mapping[str, list[str]],
              concepts: Mapping[str, tuple[str, str, str]], label_shards: set[int]) -> None:  # fmt: skip
        """Write the touched shards. ``labels`` by stem, ``concepts`` by token: (name, page, synonyms)."""
        by_shard: dict[int, set[str]] = {}
        for term in (*labels, *concepts):
            by_shard.setdefault(fnv(term) % self.shards, set()).add(term)
        for number in sorted(self._touched | label_shards):
            shard = self._shard(number)
            entries: dict[str, list[object]] = {}
            for term in sorted(shard.keys() | by_shard.get(number, set())):
                packed = np.frombuffer(shard.get(term, b""), dtype=np.uint64)
                entry: list[object] = [len(packed), publish_postings(packed)]
                if term in concepts:
                    entry += [*concepts[term]]
                elif term in labels:
                    entry += [round(word_weight(self.lexicon, term) * 10), "".join(labels[term])]
                entries[term] = entry
            put(f"search/t/{number:x}.js", script(f"t/{number:x}", entries))
            if number in self._touched:
                write_cache(self.cache / f"{number:04x}.bin", msgspec.msgpack.encode(shard, order="deterministic"))

    def frequencies(self, numbers: Iterable[int]) -> dict[int, dict[str, int]]:
        """How many documents hold each word, by shard."""
        return {
            n: {t: len(p) // 8 for t, p in self._shard(n).items() if not t.startswith(".")} for n in numbers
        }  # fmt: skip

    @property
    def touched(self) -> frozenset[int]:
        return frozenset(self._touched)


def publish_postings(packed: Postings) -> str:
    if len(packed) > CAP:
        impact = (packed >> np.uint64(2)) & np.uint64(15)
        best = np.lexsort((packed, -impact.astype(np.int64)))[:CAP]
        packed = np.sort(packed[best])
    out, before = [], 0
    for value in packed.tolist():
        document = value >> 6
        out.append(varint(document - before))
        out.append(DIGITS[value & 63])
        before = document
    return "".join(out)


def word_weight(lexicon: Lexicon, one: str) -> float:
    """A stem's weight among labels; one that only a mishearing holds weighs as the rarest."""
    return lexicon.weight.get(one, math.log(1 + max(1, len(lexicon.labels))))


def labels_of(lexicon: Lexicon, present: frozenset[str], heard: Sequence[tuple[str, str]] = ()) -> dict[str, list[str]]:
    """By stem, the labels of present concepts: label hash (5), concept token (8), weight (1), total (varint).

    ``heard`` are the course's own mishearings with the concept each was restored to.
    """
    found: dict[str, list[tuple[float, str]]] = {}
    mishearings = [made for said, concept_id in heard if (made := make_label(concept_id, said, 0.8, False)) is not None]
    for label in (*lexicon.labels, *mishearings):
        if label.concept_id not in present:
            continue
        seed = hashlib.sha256(f"{label.concept_id}\t{' '.join(label.stems)}".encode()).digest()
        name = "".join(DIGITS[byte & 63] for byte in seed[:5])
        total = sum(word_weight(lexicon, one) for one in label.stems)
        text = f"{name}{token_of(label.concept_id)}{DIGITS[round(label.weight * 10)]}{varint(round(total * 10))}"
        for one in label.stems:
            found.setdefault(one, []).append((total, text))
    return {one: [text for _, text in sorted(items)[:LABEL_CAP]] for one, items in found.items()}


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
    for word in sorted(word for word in words if word.isascii() and 3 <= len(word) <= 24):
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


def relatives_files(lexicon: Lexicon, used: Collection[str]) -> dict[str, str]:
    """For each word that a student may type, the words of the course that may stand for it, with their weights.

    One with none is listed too: it is no misspelling.
    """
    shards: list[dict[str, str]] = [{} for _ in range(RELATIVE_SHARDS)]
    for one in sorted({*lexicon.by_stem, *everyday(), *lay()[0], *used}):
        if not one.isalnum() or len(one) > 24:
            continue
        found = islice(((other, w) for other, w in lexicon.relatives(one) if other in used), RELATIVES)
        shards[fnv(one) % RELATIVE_SHARDS][one] = " ".join(f"{other}:{round(weight * 100)}" for other, weight in found)
    return {f"search/e/{n:x}.js": script(f"e/{n:x}", shard) for n, shard in enumerate(shards)}


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
