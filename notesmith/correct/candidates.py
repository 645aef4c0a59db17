"""Which stretches of what was heard may be a term, and which terms they sound like."""

from __future__ import annotations

import re
from collections.abc import Iterator
from functools import lru_cache

import msgspec
from rapidfuzz.distance import DamerauLevenshtein
from wordfreq import zipf_frequency

from notesmith.correct.forms import FormTable
from notesmith.sounds import pronounce_text
from notesmith.transcript import Transcript, WordRange, sounding
from notesmith.vocabulary import Concept, Vocabulary, label_key

MAX_WORDS = 5
MAX_HEARD_PHONES = 34
MAX_ORDINARY = 3  # ordinary words in a stretch that has an odd one
# wordfreq's Zipf scale: 3 is once in a million words. Rarer words are odd in a lecture unless the vocabulary has them.
ODD_ZIPF = 3.0
COMMON_ZIPF = 4.2
KEEP, NARROW = 8, 24
SAME_WORD = 0.6
PLAIN_ZIPF = 3.0
NEGATIONS = frozenset("no not never none nothing neither nor without cannot cant dont doesnt didnt isnt wasnt".split())
NUMBER_WORDS = frozenset(
    (
        "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen "
        "sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred "
        "thousand million"
    ).split()
)
_SENTENCE_END = re.compile(r"[.?!…][\"')\]]*$")
_EDGE_WORDS = frozenset("the and or but of in to is was are for with that this it he she they we you i".split())


class HeardWord(msgspec.Struct, frozen=True):
    """A word of the transcript with what the search needs of it."""

    text: str
    plain: str
    zipf: float
    phones: str
    probability: float | None
    capital: bool  # inside a sentence, so the recogniser took it for a name
    starts_sentence: bool
    ends_clause: bool

    @property
    def odd(self) -> bool:
        return self.zipf < ODD_ZIPF


class Match(msgspec.Struct, frozen=True):
    """A form near a heard stretch, with its distance."""

    form: int
    concept_id: str
    label: str
    distance: float


class Span(msgspec.Struct, frozen=True):
    """A heard stretch inside one segment and the forms near it, nearest first, each concept once."""

    segment_id: int
    words: WordRange
    heard: str
    plain: str
    phones: str
    matches: tuple[Match, ...]


@lru_cache(maxsize=100_000)
def word_zipf(plain: str) -> float:
    """How common a word is in English; inflected odd words count as their stems."""
    zipf = zipf_frequency(plain, "en")
    if zipf < ODD_ZIPF and plain.endswith("s"):
        zipf = max(zipf, zipf_frequency(plain[:-1], "en") - 0.5)
    return zipf


def heard_words(transcript: Transcript) -> tuple[HeardWord, ...]:
    words: list[HeardWord] = []
    starts = True
    for segment in transcript.segments:
        for word in segment.words:
            plain = sounding(word.text)
            letters = re.sub(r"[^A-Za-z]", "", word.text)
            words.append(
                HeardWord(
                    word.text, plain, min((word_zipf(part) for part in plain.split()), default=9.0),
                    pronounce_text(word.text), word.probability,
                    bool(letters[:1].isupper()) and not starts and letters != "I", starts,
                    word.text[-1:] in ",.;:?!",
                )
            )  # fmt: skip
            starts = bool(_SENTENCE_END.search(word.text))
    return tuple(words)


def right_already(
    vocabulary: Vocabulary, words: tuple[HeardWord, ...], transcript: Transcript
) -> dict[int, tuple[int, str]]:
    """Terms heard rightly: the start of each longest label to its end and concept. They are never changed."""
    found: dict[int, tuple[int, str]] = {}
    for segment in transcript.segments:
        span = transcript.segment_range(segment.id)
        at = span.start
        while at < span.end:
            for length in range(min(MAX_WORDS, span.end - at), 0, -1):
                if (concept := _label_at(vocabulary, words[at : at + length])) is not None:
                    found[at] = (at + length, concept)
                    at += length - 1
                    break
            at += 1
    return found


def _label_at(vocabulary: Vocabulary, words: tuple[HeardWord, ...]) -> str | None:
    if any(word.ends_clause for word in words[:-1]):
        return None
    text = " ".join(word.text for word in words).strip(".,;:?!\"'()")
    if words[-1].text.rstrip(".,;:?!\"'()").endswith(("'s", "’s")):
        text = text.rstrip(".,;:?!\"'()")[:-2]
    key = label_key(text)
    labels = next((found for form in _uninflected(key) if (found := vocabulary.by_label.get(form))), ())
    ids = [i for i in labels if not i.startswith(("rubric/", "chapter/", "rx/", "potency/"))]
    if not ids:
        return None
    return ids[0] if _spelt_right(vocabulary[ids[0]], text) else None


def _uninflected(key: str) -> Iterator[str]:
    """A label's key as it is, and without the endings English puts to it: a plural heard is a term heard rightly."""
    yield key
    if key.endswith("ies"):
        yield key[:-3] + "y"
    if key.endswith("es"):
        yield key[:-2]
    if key.endswith("s"):
        yield key[:-1]


def _spelt_right(concept: Concept, text: str) -> bool:
    """Whether a term is written as it is published; another spelling of the same words is restored like a garble."""
    if concept.scheme != "remedy":
        return True
    key = label_key(text)
    for label in (*concept.alt_labels, concept.pref_label):
        if label_key(label) == key:
            return canonical(concept.pref_label, label) == label
    return True


@lru_cache(maxsize=50_000)
def canonical(pref_label: str, label: str) -> str:
    """The preferred label for another spelling of the same words (Sulfur), else the label itself."""
    preferred, words = label_key(pref_label).split(), label_key(label).split()
    if len(words) > 1 and any(
        a != b and zipf_frequency(a, "en") >= PLAIN_ZIPF for a, b in zip(words, preferred, strict=False)
    ):
        return label  # the English name (Nitric acid) is another name, not another spelling
    if len(words) == len(preferred) and all(
        a[:1] == b[:1] and DamerauLevenshtein.normalized_similarity(a, b) >= SAME_WORD
        for a, b in zip(words, preferred, strict=True)
    ):
        return pref_label
    return label


def spans(
    transcript: Transcript, words: tuple[HeardWord, ...], right: dict[int, tuple[int, str]], *, everyday: bool
) -> Iterator[tuple[int, WordRange]]:
    """Stretches worth asking about: with an odd word in them, or (``everyday``) of one to three ordinary words."""
    covered = {i: (start, end) for start, (end, _) in right.items() for i in range(start, end)}
    for segment in transcript.segments:
        whole = transcript.segment_range(segment.id)
        for start in range(whole.start, whole.end):
            for end in range(start + 1, min(start + MAX_WORDS, whole.end) + 1):
                inside = words[start:end]
                if any(word.ends_clause for word in inside[:-1]) and any(w.text[-1] in ".?!" for w in inside[:-1]):
                    break
                cut = {covered[i] for i in range(start, end) if i in covered}
                if any(a < start for a, _ in cut) or (cut and everyday):
                    break
                if any(b > end for _, b in cut) or (start, end) in cut:
                    continue
                if any(not w.phones or _number_like(w.plain) or w.plain in NEGATIONS for w in inside):
                    break
                if sum(len(w.phones) for w in inside) > MAX_HEARD_PHONES:
                    break
                kept = {i for a, b in cut for i in range(a, b)}
                odd = any(words[i].odd for i in range(start, end) if i not in kept)
                if odd and not everyday and sum(not w.odd for w in inside) <= MAX_ORDINARY:
                    yield segment.id, WordRange(start, end)
                if everyday and not odd and len(inside) <= 3 and not all(w.plain in _EDGE_WORDS for w in inside):
                    yield segment.id, WordRange(start, end)


def _number_like(plain: str) -> bool:
    return any(c.isdigit() for c in plain) or plain in NUMBER_WORDS


def find(
    table: FormTable, transcript: Transcript, words: tuple[HeardWord, ...], right: dict[int, tuple[int, str]]
) -> tuple[Span, ...]:
    """All stretches with the forms near them, measured once for each different sound."""
    found: list[Span] = []
    for everyday in (False, True):
        wanted = list(spans(transcript, words, right, everyday=everyday))
        sounds = {r: "".join(w.phones for w in words[r.start : r.end]) for _, r in wanted}
        distinct = sorted({phones for phones in sounds.values() if len(phones) >= 2})
        if not distinct or not len(table):
            continue
        numbers, distances = table.nearest(
            distinct, keep=KEEP * 4, narrow=NARROW // 2 if everyday else NARROW, core_only=everyday
        )
        matches = {
            phones: _matches(table, numbers[row], distances[row], len(phones)) for row, phones in enumerate(distinct)
        }
        for segment_id, r in wanted:
            near = matches.get(sounds[r], ())
            if inside := [
                label_key(transcript.text(WordRange(a, b)))
                for a, (b, _) in right.items()
                if r.start <= a and b <= r.end
            ]:  # a term half heard: only its own longer labels may take its place
                near = tuple(m for m in near if all(part in label_key(m.label) for part in inside))
            if near:
                heard = transcript.text(r)
                found.append(Span(segment_id, r, heard, sounding(heard), sounds[r], near))
    return tuple(found)


def _matches(table: FormTable, numbers: object, distances: object, length: int) -> tuple[Match, ...]:
    """The nearest form of each concept, as long as it is near enough to be worth weighing."""
    found: dict[str, Match] = {}
    written: dict[str, str] = {}
    for number, distance in zip(numbers, distances, strict=True):  # type: ignore[call-overload]
        form = table.forms[int(number)]
        limit = 1.5 + 1.35 * max(length, len(form.phones))
        if float(distance) > limit or form.concept_id in found:
            continue
        # Two concepts written alike (a man and his book, an old name shared) are no rivals: the likelier one stands.
        key = label_key(form.label).rstrip("s")
        if (other := written.get(key)) is not None:
            if table.priors[int(number)] <= table.priors[found[other].form]:
                continue
            del found[other]
        written[key] = form.concept_id
        found[form.concept_id] = Match(int(number), form.concept_id, form.label, float(distance))
    return tuple(sorted(found.values(), key=lambda match: match.distance))[:KEEP]
