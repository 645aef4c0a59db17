"""From what a student types to what the course calls it: lay words, synonyms, abbreviations, families, misspellings.

Both searches (the course store and the published site) use this one idea. A label of the vocabulary matches a query
when the query holds most of its weight in words; rare words weigh more (inverse document frequency over labels).
A word nobody uses is compared with the words that are used, by letters and by a coarse spelling of its sound.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections.abc import Collection, Iterable, Sequence
from functools import cached_property, lru_cache

import msgspec
from rapidfuzz import process
from rapidfuzz.distance import OSA

from notesmith.vocabulary.vocabulary import Vocabulary

STOP_WORDS = frozenset(
    """
    a about all also am an and any are as at be been but by can do does for from get gets had has have he her
    him his how i if in into is it its like me more my of on or our out she so some that the their them then
    there these they this to very was we were what when where which who why will with would you your
    """.split()
)
LEAST_COVERAGE = 0.66  # share of a label's weight that the query must hold
LEAST_SCORE = 0.2
MOST_CONCEPTS = 12
# The other words of the best concepts are looked up too, at less weight: not every place is indexed by its concept.
SYNONYMS_FROM_SCORE = 0.5
SYNONYM_CONCEPTS = 3
SYNONYM_STEMS = 8
SYNONYM_WEIGHT = 0.4
IMPLIED_SCHEMES = ("rubric/", "medical/", "idea/")
SCHEMES = frozenset({"remedy", "family", "rubric", "chapter", "canon", "idea", "medical"})
_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)?")


class Expansion(msgspec.Struct, frozen=True):
    """What a query is looked up as.

    ``stems`` with weights 0 to 1 are looked up in the text, ``concepts`` (id, weight) in the index of concepts.
    ``corrected`` holds (typed, taken for) where a misspelling was mended.
    """

    stems: tuple[tuple[str, float], ...]
    concepts: tuple[tuple[str, float], ...]
    corrected: tuple[tuple[str, str], ...] = ()


def words_of(text: str) -> list[str]:
    """Lower-case words without accents, in order; apostrophes and hyphens dropped.

    >>> words_of("Kali-bi., Müller's")
    ['kali', 'bi', 'mullers']
    """
    plain = unicodedata.normalize("NFKD", text.replace("’", "'")).casefold()
    plain = "".join(c for c in plain if not unicodedata.combining(c))
    return [match[0].replace("'", "")[:40] for match in _WORD.finditer(plain)]


def stem(word: str) -> str:
    """A light English stem; Latin endings in -us and -is stay whole.

    >>> [stem(word) for word in ("weeping", "weeps", "worries", "rhus", "stitches", "stopped", "weakness")]
    ['weep', 'weep', 'worri', 'rhus', 'stitch', 'stop', 'weak']
    """
    if len(word) > 4:
        if word.endswith("ness") and not word.endswith("iness") and len(word) > 6:
            word = word[:-4]
        elif word.endswith("iness"):
            word = word[:-5] + "y"
        elif word.endswith("ies"):
            word = word[:-3] + "y"
        elif word.endswith(("sses", "shes", "ches", "xes")):
            word = word[:-2]
        elif word.endswith("s") and not word.endswith(("ss", "us", "is")):
            word = word[:-1]
    elif len(word) == 4 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        word = word[:-1]
    for ending in ("ing", "ed"):
        if word.endswith(ending) and len(word) - len(ending) >= 3 and re.search("[aeiouy]", word[: -len(ending)]):
            word = word[: -len(ending)]
            if len(word) > 3 and word[-1] == word[-2] and word[-1] not in "lsz":
                word = word[:-1]
            break
    if len(word) > 4 and word.endswith("e"):
        word = word[:-1]
    if len(word) > 2 and word.endswith("y"):
        word = word[:-1] + "i"
    return word


def stems_of(text: str) -> list[str]:
    """The stems of the words that carry meaning, in order."""
    return [stem(word) for word in words_of(text) if word not in STOP_WORDS]


def coarse(word: str) -> str:
    """A coarse spelling of a word's sound, for comparing misspellings.

    >>> coarse("lykopodeum") == coarse("lycopodium"), coarse("sulfer"), coarse("sulphur")
    (False, 'sulfer', 'sulfur')
    """
    for old, new in (("ph", "f"), ("ae", "e"), ("oe", "e"), ("ck", "k"), ("qu", "k"), ("x", "ks")):
        word = word.replace(old, new)
    word = re.sub("c(?=[eiy])", "s", word).replace("c", "k").replace("z", "s").replace("y", "i").replace("w", "v")
    word = word[:1] + word[1:].replace("h", "")
    return re.sub(r"(.)\1+", r"\1", word)


def allowed_distance(length: int) -> int:
    """How many letters may differ in a word of so many letters."""
    return 0 if length < 4 else 1 if length < 6 else 2 if length < 10 else 3


class Label(msgspec.Struct, frozen=True):
    """A label as looked up: its stems, without repeats, the concept and its own weight."""

    concept_id: str
    stems: tuple[str, ...]
    weight: float
    joined: str  # coarse spelling without blanks, remedies only


class Lexicon:
    """The labels of the concepts that a course can lead to, ready for look-ups."""

    def __init__(self, vocabulary: Vocabulary, present: Collection[str] | None = None,
                 heard: Iterable[tuple[str, str]] = ()) -> None:  # fmt: skip
        """``present``: the concepts to lead to (all by default); ``heard``: (mishearing, concept id) of the course."""
        self.labels = tuple(_labels(vocabulary, present, heard))
        self.by_stem: dict[str, list[int]] = {}
        for number, label in enumerate(self.labels):
            for one in label.stems:
                self.by_stem.setdefault(one, []).append(number)
        total = max(1, len(self.labels))
        self.weight = {one: math.log(1 + total / len(held)) for one, held in self.by_stem.items()}
        self.totals = [sum(self.weight[one] for one in label.stems) for label in self.labels]
        # The words as written, for comparing misspellings by letters; the first word that gives a stem stands for it.
        self.words = tuple(sorted(self.by_stem))
        self._coarse = [coarse(word) for word in self.words]
        self._joined = [(label.joined, label.concept_id) for label in self.labels if len(label.joined) >= 6]

    @cached_property
    def _by_rarest(self) -> dict[str, list[int]]:
        """Labels of two stems or more under the rarest of them."""
        index: dict[str, list[int]] = {}
        for number, label in enumerate(self.labels):
            if len(label.stems) > 1 and label.concept_id.startswith(IMPLIED_SCHEMES):
                index.setdefault(max(label.stems, key=lambda one: (self.weight[one], one)), []).append(number)
        return index

    def implied(self, stems: Collection[str], most: int = 8) -> tuple[str, ...]:
        """Concepts of which a text holds every word of a label, fullest labels first; a guess, weaker than an index."""
        held = frozenset(stems)
        found: dict[str, float] = {}
        for one in sorted(held):
            for number in self._by_rarest.get(one, ()):
                label = self.labels[number]
                if held.issuperset(label.stems):
                    found[label.concept_id] = max(found.get(label.concept_id, 0.0), self.totals[number])
        return tuple(sorted(found, key=lambda c: (-found[c], c))[:most])

    @cached_property
    def _by_concept(self) -> dict[str, list[int]]:
        index: dict[str, list[int]] = {}
        for number, label in enumerate(self.labels):
            index.setdefault(label.concept_id, []).append(number)
        return index

    def synonyms(self, concept_id: str) -> tuple[str, ...]:
        """The most telling stems of a concept's labels; none for names of remedies, which stand for themselves."""
        if not concept_id.startswith(IMPLIED_SCHEMES):
            return ()
        numbers = self._by_concept.get(concept_id, ())
        stems = {one for number in numbers for one in self.labels[number].stems}
        rarest = sorted(stems, key=lambda one: (-self.weight[one], one))
        preferred = self.labels[numbers[0]].stems if numbers else ()
        return tuple(dict.fromkeys((*preferred[:SYNONYM_STEMS], *rarest)))[:SYNONYM_STEMS]

    def concepts(self, stems: Sequence[str], most: int = MOST_CONCEPTS) -> list[tuple[str, float]]:
        """Concepts whose labels the stems hold, best first."""
        return match_labels(self, stems, most)

    def near(self, word: str, most: int = 3) -> list[tuple[str, float]]:
        """Stems close to a word nobody uses, with weights, best first."""
        limit = allowed_distance(len(word))
        if not limit:
            return []
        target = coarse(word)
        found = process.extract(
            target, self._coarse, scorer=OSA.distance, score_cutoff=limit, limit=most * 2
        )  # fmt: skip
        ranked = sorted((distance, OSA.distance(word, self.words[at]), self.words[at]) for _, distance, at in found)
        return [(one, 0.9 / (1 + 0.5 * distance)) for distance, letters, one in ranked[:most] if letters <= limit + 2]

    def near_joined(self, words: Sequence[str]) -> tuple[str, float] | None:
        """A remedy whose name sounds like several typed words run together (``lico podium``)."""
        target = coarse("".join(words))
        if len(target) < 6:
            return None
        found = process.extractOne(
            target, [joined for joined, _ in self._joined], scorer=OSA.normalized_similarity, score_cutoff=0.74
        )
        return (self._joined[found[2]][1], float(found[1])) if found else None


def match_labels(lexicon: Lexicon, stems: Sequence[str], most: int) -> list[tuple[str, float]]:
    held: dict[int, float] = {}
    unique = dict.fromkeys(one for one in stems if one in lexicon.by_stem)
    asked = sum(lexicon.weight[one] for one in unique)
    for one in unique:
        for number in lexicon.by_stem[one]:
            held[number] = held.get(number, 0.0) + lexicon.weight[one]
    best: dict[str, float] = {}
    for number, weight in held.items():
        coverage = weight / lexicon.totals[number]
        if coverage < LEAST_COVERAGE:
            continue
        label = lexicon.labels[number]
        score = label.weight * coverage * coverage * (weight / asked)
        if score > best.get(label.concept_id, LEAST_SCORE):
            best[label.concept_id] = score
    return sorted(best.items(), key=lambda item: (-item[1], item[0]))[:most]


def _labels(
    vocabulary: Vocabulary, present: Collection[str] | None, heard: Iterable[tuple[str, str]]
) -> Iterable[Label]:
    kept = None if present is None else frozenset(present)
    for concept in vocabulary.concepts.values():
        if concept.scheme not in SCHEMES or (kept is not None and concept.id not in kept):
            continue
        remedy = concept.scheme == "remedy"
        # A family and its one well-known member often share a name; the member is meant.
        own = 0.9 if concept.scheme in ("family", "chapter") else 1.0
        seen: set[tuple[str, ...]] = set()
        for labels, weight in (
            ((concept.pref_label, *concept.alt_labels, *concept.fact("abbreviation"), *concept.fact("common")), 1.0),
            (concept.hidden_labels, 0.9),
            (concept.ambiguous_labels, 0.8),
        ):
            for label in labels:
                if (made := make_label(concept.id, label, weight * own, remedy)) and made.stems not in seen:
                    seen.add(made.stems)
                    yield made
    for said, concept_id in heard:
        if (kept is None or concept_id in kept) and (made := make_label(concept_id, said, 0.8, True)):
            yield made


def make_label(concept_id: str, label: str, weight: float, remedy: bool) -> Label | None:
    """A label ready for look-ups, None where no word of it carries meaning."""
    stems = tuple(dict.fromkeys(stems_of(label)))
    if not stems:
        return None
    return Label(concept_id, stems, weight, coarse("".join(words_of(label))) if remedy else "")


def expand(query: str, lexicon: Lexicon, known: Collection[str] = ()) -> Expansion:
    """Look a query up. ``known`` are stems the texts themselves use, beside those of the labels."""
    words = [word for word in words_of(query)[:24] if word not in STOP_WORDS] or words_of(query)[:24]
    stems: dict[str, float] = {}
    corrected: list[tuple[str, str]] = []
    unknown: list[int] = []
    for at, word in enumerate(words):
        one = stem(word)
        stems[one] = 1.0
        if one not in lexicon.by_stem and one not in known and len(word) > 3:
            unknown.append(at)
    # "thunder storm" is also asked as one word where one word is used.
    for before, after in zip(words, words[1:], strict=False):
        one = stem(before + after)
        if one in lexicon.by_stem or one in known:
            stems.setdefault(one, 1.0)
    exact = lexicon.concepts(list(stems))
    concepts: dict[str, float] = dict(exact)
    joined_at: set[int] = set()
    # Several typed words that sound like one name, when at least one of them is a word nobody uses.
    for size in (4, 3, 2):
        for start in range(len(words) - size + 1):
            window = range(start, start + size)
            if joined_at.intersection(window) or not any(at in unknown for at in window):
                continue
            if (near := lexicon.near_joined([words[at] for at in window])) is not None:
                concepts[near[0]] = max(concepts.get(near[0], 0.0), near[1])
                corrected.append((" ".join(words[at] for at in window), near[0]))
                joined_at.update(window)
    kept = [stem(word) for at, word in enumerate(words) if at not in unknown]
    variants: dict[int, list[tuple[str, float]]] = {
        at: lexicon.near(stem(words[at])) for at in unknown if at not in joined_at
    }
    firsts = [found[0][0] for found in variants.values() if found]
    for at, found in variants.items():
        for rank, (one, weight) in enumerate(found):
            stems[one] = max(stems.get(one, 0.0), weight if not rank else weight * 0.6)
            others = [first for first in firsts if first != found[0][0]]
            for concept_id, score in lexicon.concepts([*kept, *others, one]):
                concepts[concept_id] = max(concepts.get(concept_id, 0.0), weight * score)
        if found:
            corrected.append((words[at], found[0][0]))
    best = sorted(concepts.items(), key=lambda item: (-item[1], item[0]))[:MOST_CONCEPTS]
    for concept_id, score in best[:SYNONYM_CONCEPTS]:
        if score >= SYNONYMS_FROM_SCORE:
            for one in lexicon.synonyms(concept_id):
                stems[one] = max(stems.get(one, 0.0), SYNONYM_WEIGHT * score)
    return Expansion(tuple(stems.items()), tuple(best), tuple(corrected))


def ancestors(concept_ids: Iterable[str], vocabulary: Vocabulary) -> tuple[str, ...]:
    """The concepts and all wider ones (rubric to chapter, remedy to family), each once."""
    found: dict[str, None] = {}
    queue = list(concept_ids)
    while queue:
        one = queue.pop(0)
        if one in found or one not in vocabulary:
            continue
        found[one] = None
        queue.extend(vocabulary[one].broader)
    return tuple(found)


@lru_cache(maxsize=4)
def lexicon_of(vocabulary: Vocabulary) -> Lexicon:
    """The lexicon of a whole vocabulary; made once for each loaded vocabulary."""
    return Lexicon(vocabulary)
