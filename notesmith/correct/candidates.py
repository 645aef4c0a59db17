"""Which stretches of what was heard may be a term, and which terms they sound like."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

import msgspec
from rapidfuzz.distance import DamerauLevenshtein
from wordfreq import zipf_frequency

from notesmith.correct.forms import FormTable
from notesmith.correct.index import Floats, FormIndex, Ints
from notesmith.sounds import pronounce_text
from notesmith.sounds.latin import read_by_letters
from notesmith.transcript import Transcript, WordRange, sounding
from notesmith.vocabulary import Concept, Vocabulary, label_key

MAX_WORDS = 5
MAX_HEARD_PHONES = 36
MAX_ORDINARY = 3  # ordinary words in a stretch that has an odd one
# wordfreq's Zipf scale: 3 is once in a million words. Rarer words are odd in a lecture unless the vocabulary has them.
ODD_ZIPF = 3.0
KEEP, PRIOR_WORTH = 5, 1.2  # terms of a stretch; what a tenfold commonness is worth in distance
MAX_EVERYDAY = 3
COMMONEST_ZIPF = (6.0, 5.5)  # of two and of three words
# Distances up to which forms are considered, in all and for each phone: the likeliest few, and beyond that the likeliest.
NEAR, NEAR_EVERYDAY = (1.0, 1.05), (0.5, 0.65)
FAR, FAR_EVERYDAY = (2.0, 1.6), (1.0, 1.5)
REST = (0.5, 1.4)  # of a term half heard whose rest are ordinary words; farther ones were right one time in twelve
SAME_WORD = 0.6
PLAIN_ZIPF = 3.0
ENGLISH_NAME_ZIPF = 2.4  # from which a label without its Latin ending is an English word of its own (Camphor)
SHORT_LABEL = 4
ADDRESSED = frozenset("Mr Mrs Ms Miss Mister".split())
STREETS = frozenset("Street Road Avenue Lane Square".split())
NEGATIONS = frozenset("no not never none nothing neither nor without cannot cant dont doesnt didnt isnt wasnt".split())
NUMBER_WORDS = frozenset(
    (
        "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen "
        "sixteen seventeen eighteen nineteen twenty thirty forty fifty sixty seventy eighty ninety hundred "
        "thousand million"
    ).split()
)
_SENTENCE_END = re.compile(r"[.?!…][\"')\]]*$")
EDGE_WORDS = frozenset(
    "the and or but is in of to an a was are with for he she it i so on at as that this they we you her his him them my your our its".split()
)


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


class Candidate(msgspec.Struct, frozen=True):
    """A stretch of heard words inside one segment and a form it may be; ``words`` counts the whole transcript.

    ``rank`` is 0 for the likeliest form of the stretch by sound and commonness alone.
    """

    segment_id: int
    words: WordRange
    everyday: bool  # every word of it is an ordinary one
    phones: str
    form: int
    distance: float
    rank: int
    by_subject: bool = False  # found only because the session speaks of it
    by_reading: bool = False  # found only because the language model suspects the words


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


def words_of(right: Mapping[int, tuple[int, str]]) -> set[int]:
    """The words that belong to terms heard rightly."""
    return {i for start, (end, _) in right.items() for i in range(start, end)}


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
            return canonical(concept.pref_label, label) == label or _english_name(key, label_key(concept.pref_label))
    return True


def _english_name(key: str, preferred: str) -> bool:
    """Whether a label is the English word without the Latin ending (Camphor): what was said, and as it is written."""
    return preferred.startswith(key) and " " not in key and word_zipf(key) >= ENGLISH_NAME_ZIPF


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


def protected(
    vocabulary: Vocabulary, words: tuple[HeardWord, ...], right: dict[int, tuple[int, str]]
) -> dict[int, tuple[int, str]]:
    """The terms heard rightly that no shorter garble may be cut out of; everyday words and stubs protect nothing.

    A stub is a short label that is no word of the preferred one: Calc, but not Cepa.
    """
    kept = {}
    for start, (end, concept_id) in right.items():
        concept = vocabulary[concept_id]
        if end - start == 1:
            everyday = concept.scheme == "medical" and words[start].zipf >= ODD_ZIPF
            plain = words[start].plain
            stub = len(plain) <= SHORT_LABEL and plain not in label_key(concept.pref_label).split()
            if everyday or stub:
                continue
        kept[start] = (end, concept_id)
    return kept


def _stretches(
    transcript: Transcript, words: tuple[HeardWord, ...], right: dict[int, tuple[int, str]], frozen: frozenset[int]
) -> Iterator[tuple[int, WordRange, bool]]:
    """Stretches worth asking about, and whether they hold ordinary words only."""
    covered = {i: (start, end) for start, (end, _) in right.items() for i in range(start, end)}
    for segment in transcript.segments:
        whole = transcript.segment_range(segment.id)
        for start in range(whole.start, whole.end):
            size = 0
            for end in range(start + 1, min(start + MAX_WORDS, whole.end) + 1):
                last = words[end - 1]
                size += len(last.phones)
                if not _may_hold(words, start, end, frozen) or size > MAX_HEARD_PHONES:
                    break
                cut = {covered[i] for i in range(start, end) if i in covered}
                if any(a < start for a, _ in cut):
                    break
                free = [i for i in range(start, end) if i not in covered]
                if any(b > end for _, b in cut) or not free:
                    continue
                odd = sum(words[i].odd for i in free)
                if odd and end - start - odd <= MAX_ORDINARY:
                    yield segment.id, WordRange(start, end), False
                elif (
                    cut
                    and 0 < len(free) <= 2
                    and not any(w.ends_clause for w in words[start : end - 1])
                    and not only_edges(tuple(words[i] for i in free))
                ):
                    yield segment.id, WordRange(start, end), False  # the rest of a term half heard
                elif not odd and not cut and end - start <= MAX_EVERYDAY and _worth_asking(words[start:end]):
                    yield segment.id, WordRange(start, end), True


def _worth_asking(inside: tuple[HeardWord, ...]) -> bool:
    """Runs of the commonest words sound like anything; they are asked about singly only."""
    rarest = min(word.zipf for word in inside)
    return not only_edges(inside) and (len(inside) == 1 or rarest < COMMONEST_ZIPF[len(inside) > 2])


def only_edges(inside: tuple[HeardWord, ...]) -> bool:
    """Whether a stretch is made of the smallest words alone."""
    return all(word.plain in EDGE_WORDS for word in inside)


def _may_hold(words: tuple[HeardWord, ...], start: int, end: int, frozen: frozenset[int]) -> bool:
    """Whether the last word may belong to the stretch: no number, no negation, no sentence end before it."""
    last = words[end - 1]
    if end - 1 in frozen or not last.phones or number_like(last.plain) or last.plain in NEGATIONS - {"cant"}:
        return False
    if end - start == 1:
        return True
    return not sentence_ends(words[end - 2].text)


def sentence_ends(text: str) -> bool:
    """Whether a sentence or clause ends with this word; an initial (C.) ends none."""
    return text.endswith((".", "?", "!", ";", ":")) and not re.fullmatch(r"[A-Z]\.", text)


def of_a_person_or_street(texts: Sequence[str], r: WordRange, concept_id: str) -> bool:
    """Whether a stretch has a form of address before it (an author may have one) or a street's kind after it."""
    if r.start and texts[r.start - 1].strip(".,") in ADDRESSED:
        return not concept_id.startswith("author/")
    after = texts[r.end].strip(".,;:?!") if r.end < len(texts) else ""
    return after in STREETS and texts[r.end - 1][:1].isupper() and texts[r.end - 1][-1:].isalpha()


def number_like(plain: str) -> bool:
    return plain in NUMBER_WORDS or (not plain.isalpha() and any(c.isdigit() for c in plain))


@lru_cache(maxsize=50_000)
def letter_phones(plain: str) -> str:
    """An odd word read letter by letter as Latin: the recogniser often spells what it does not know as Latin."""
    return "".join(read_by_letters(word) for word in plain.split())


def lettered(words: Sequence[HeardWord]) -> str:
    """The phones of words, the odd ones read by their letters."""
    return "".join(letter_phones(word.plain) if word.odd else word.phones for word in words)


def candidates(
    table: FormTable,
    transcript: Transcript,
    words: tuple[HeardWord, ...],
    right: dict[int, tuple[int, str]],
    frozen: frozenset[int] = frozenset(),
) -> list[Candidate]:
    """Every stretch with its likeliest forms, measured once for each different sound. ``frozen`` words are let be."""
    stretches = list(_stretches(transcript, words, right, frozen))
    readings: list[tuple[str, str]] = []
    for _, r, everyday in stretches:
        inside = words[r.start : r.end]
        said = "".join(w.phones for w in inside)
        readings.append((said, (said if everyday else lettered(inside)) or said))
    odd = {p for (_, _, everyday), pair in zip(stretches, readings, strict=True) if not everyday for p in pair}
    plain = {p for (_, _, everyday), (p, _) in zip(stretches, readings, strict=True) if everyday}
    if not len(table):
        return []
    index = table.index
    near_odd = nearest_of_all(index, [p for p in odd if len(p) > 1])
    near_plain = index.nearest([p for p in plain if len(p) > 1], keep=6, groups=48, rough=24, core_only=True)
    covered = words_of(right)
    found: list[Candidate] = []
    for (segment_id, r, everyday), pair in zip(stretches, readings, strict=True):
        near = near_plain if everyday else near_odd
        reach, far_reach = (NEAR_EVERYDAY, FAR_EVERYDAY) if everyday else (NEAR, FAR)
        best: dict[str, tuple[int, float]] = {}
        for phones in dict.fromkeys(pair):
            if phones not in near:
                continue
            for form, distance in zip(*(values.tolist() for values in near[phones]), strict=True):
                one = table.forms[form]
                size = max(len(pair[0]), len(one.phones))
                if not _within(distance, size, far_reach):
                    continue
                if one.concept_id not in best or distance < best[one.concept_id][1]:
                    best[one.concept_id] = (form, distance)
        if (halves := _halves(transcript, right, r)) and best:
            # A term half heard: only its own longer labels may take its place.
            best = {c: b for c, b in best.items() if _completes(label_key(table.forms[b[0]].label), halves)}
            if not any(w.odd for i, w in enumerate(words[r.start : r.end], r.start) if i not in covered):
                # The rest are ordinary words: they must sound like the rest of the term.
                loose = sum(len(words[i].phones) for i in range(r.start, r.end) if i not in covered)
                best = {c: b for c, b in best.items() if _within(b[1], loose, REST)}
        found += [
            Candidate(segment_id, r, everyday, pair[0], form, distance, rank)
            for rank, (form, distance) in enumerate(likeliest(best.values(), table))
            if rank == 0
            or (rank == 1 and len(r) == 1)
            or _within(distance, max(len(pair[0]), len(table.forms[form].phones)), reach)
        ]
    return found


def nearest_of_all(index: FormIndex, heard: Sequence[str]) -> dict[str, tuple[Ints, Floats]]:
    """For each string of phones the forms nearest to it, out of all."""
    return index.nearest(heard, keep=14, groups=96, rough=32)


def likeliest(found: Iterable[tuple[int, float]], table: FormTable) -> list[tuple[int, float]]:
    """Of forms with their distances those to be kept, the likeliest by sound and commonness first."""
    return sorted(found, key=lambda one: (one[1] - PRIOR_WORTH * table.forms[one[0]].prior, one[0]))[:KEEP]


def _within(distance: float, size: int, reach: tuple[float, float]) -> bool:
    return distance <= reach[0] + reach[1] * size


def _completes(label: str, halves: list[str]) -> bool:
    return all(half in label and label.count(" ") > half.count(" ") for half in halves)


def _halves(transcript: Transcript, right: dict[int, tuple[int, str]], r: WordRange) -> list[str]:
    return [
        label_key(transcript.text(WordRange(start, right[start][0])))
        for start in range(r.start, r.end)
        if start in right and right[start][0] <= r.end
    ]
