"""Spellings of remedy names that no list holds: look-up by what Latin spellings have in common.

Pharmacopoeias differ in ae and e, i and j and y, c and k, ph and f, in endings (-um, -us, -a, -ium), in the order of
``acidum`` and its name, in the word for a metal (natrum, natrium; baryta, barium), and they add the part of the plant
or the botanist. A ``skeleton`` leaves all that out. Two remedies with one skeleton make a look-up ambiguous; it then
gives both. Rules from memory of pharmacopoeia practice.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from functools import lru_cache
from typing import Literal

import msgspec

from notesmith.vocabulary.concept import Concept
from notesmith.vocabulary.vocabulary import Vocabulary, label_key

SkeletonIndex = dict[str, tuple[str, ...]]

_LIGATURES = str.maketrans({"æ": "ae", "œ": "oe", "ø": "o", "ß": "ss", "ł": "l"})
# One letter or group for another, in this order; what is left is no word of any language.
_LETTERS: tuple[tuple[re.Pattern[str], str], ...] = tuple(
    (re.compile(pattern), to)
    for pattern, to in (
        (r"ae|oe", "e"), (r"ph", "f"), (r"th", "t"), (r"rrh|rh", "r"), (r"sch|ch|ck|c|k|qu", "k"), (r"^x|z", "s"),
        (r"[jy]", "i"), (r"w", "v"), (r"(?<=e)v(?=[aeiouy])|u", "v"), (r"(.)\1", r"\1"),
    )
)  # fmt: skip
# Other words for the same, as pharmacopoeias name salts (before the letters are changed).
_SAME: dict[str, str] = {
    "acid": "acidum", "natrum": "natrium", "sodium": "natrium", "kali": "kalium", "potassium": "kalium",
    "calcarea": "calcium", "magnesia": "magnesium", "baryta": "barium", "stibium": "antimonium",
    "strontiana": "strontium", "hydrargyrum": "mercurius", "cinchona": "china", "chininum": "chininum",
    "muriaticum": "chloratum", "muriatica": "chloratum", "muriaticus": "chloratum", "hydrochloricum": "chloratum",
    "chlorata": "chloratum", "fluorica": "fluoratum", "fluoricum": "fluoratum", "fluorata": "fluoratum",
    "iodata": "iodatum", "jodata": "iodatum", "jodatum": "iodatum", "hydroiodicum": "iodatum",
    "arsenicica": "arsenicosum", "arsenica": "arsenicosum",
}  # fmt: skip
_ENDING = re.compile(r"(?:i?um|i?us|i?a|on|os|is|es|e|i|o)$")
_SHORTEST_STEM = 3
_SHORTEST_GENUS = 4
# The part that was used, how it was made, and where it came from: no part of the remedy's name.
_ADDITIONS = frozenset(
    (
        "radix radice rhizoma rhizomate herba herbae folium folia foliis flos flores floribus semen seminis seminibus "
        "fructus fructibus cortex cortice bulbus tuber resina lignum planta tota totalis ex e recens recente siccata "
        "siccatum rec sicc ferm hahnemanni hahnemannii rectificatum rectificatus purum purus pura depuratum suis bovis "
        "bovum bovina bovinum ovis gl gland glandula spag zimpel naturalis officinalis officinale officinarum sp spec "
        "ssp var nosode gummi nativus nativa nativum flavus"
    ).split()
)
_BOTANIST = re.compile(r"\([^)]*\)|(?<=[a-z]) (?:[A-Z][\w-]*\.|L\.|et |& |ex )+|\b[A-Z]\.(?=\s|$)")


def skeleton(label: str) -> str:
    """What spellings of one Latin name have in common; words in alphabetical order.

    >>> skeleton("Acidum nitricum") == skeleton("Nitri acidum") or skeleton("Nitricum acidum") == skeleton("Nitric acid")
    True
    """
    words = label_key(unicodedata.normalize("NFC", label).casefold().translate(_LIGATURES)).split()
    if len(words) > 1:  # a metal by itself is no salt of it
        words = [_SAME.get(word, word) for word in words]
    return " ".join(sorted(_stem(word) for word in words))


def _stem(word: str) -> str:
    for pattern, to in _LETTERS:
        word = pattern.sub(to, word)
    stem = _ENDING.sub("", word.replace("v", "u"))
    return stem if len(stem) >= _SHORTEST_STEM else word


def skeleton_index(concepts: Iterable[Concept]) -> SkeletonIndex:
    """Ids by the skeleton of every preferred, alternative and ambiguous label, and of these without additions.

    A label without its addition (Cerebellum for Cerebellum suis) gives way to a whole label of the same skeleton.
    """
    whole: dict[str, dict[str, None]] = {}
    shortened: dict[str, dict[str, None]] = {}
    for concept in concepts:
        for label in (concept.pref_label, *concept.alt_labels, *concept.ambiguous_labels):
            for index, written in ((whole, label), *((shortened, one) for one in plainer(label))):
                if len(key := skeleton(written)) > _SHORTEST_STEM:
                    index.setdefault(key, {})[concept.id] = None
    return {key: tuple(ids) for key, ids in (shortened | whole).items()}


def plainer(label: str) -> tuple[str, ...]:
    """The label without botanists, parts of the plant and the like: fewer words each, likeliest first.

    >>> plainer("Arnica montana L., radix")
    ('Arnica montana',)
    """
    without = " ".join(_BOTANIST.sub(" ", label).replace(",", " ").split())
    words = without.split()
    # A botanist written out stands behind the species: Genus species Author.
    if len(words) > 2 and words[1][:1].islower():
        words = [*words[:2], *(word for word in words[2:] if not word[:1].isupper())]
    kept = [words[0], *(w for w in words[1:] if label_key(w) not in _ADDITIONS)] if words else []
    found = dict.fromkeys(" ".join(one) for one in (words, kept) if one)
    return tuple(one for one in found if one != label)


class Resolved(msgspec.Struct, frozen=True):
    """The remedies a name may mean, and how they were found; several where the name is ambiguous, none if unknown."""

    concepts: tuple[Concept, ...]
    how: Literal["label", "spelling", "common name", "first word", "unknown"]

    @property
    def ambiguous(self) -> bool:
        return len(self.concepts) > 1


def resolve_remedy(vocabulary: Vocabulary, name: str) -> Resolved:
    """Look a remedy up by its name in any spelling: as a label, without additions, by its skeleton, by its common name."""
    for one in (name, *plainer(name)):
        if found := vocabulary.find(one, "remedy"):
            return Resolved(found, "label" if one == name else "spelling")
    index = _remedy_skeletons(vocabulary)
    for one in (name, *plainer(name)):
        if ids := index.get(skeleton(one)):
            return Resolved(tuple(vocabulary[i] for i in ids), "spelling")
    if ids := _common_names(vocabulary).get(label_key(name)):
        return Resolved(tuple(vocabulary[i] for i in ids), "common name")
    if len(words := label_key(name).split()) == 1 and (ids := _first_words(vocabulary).get(_stem(words[0]))):
        return Resolved(tuple(vocabulary[i] for i in ids), "first word")
    return Resolved((), "unknown")


@lru_cache(maxsize=4)
def _first_words(vocabulary: Vocabulary) -> SkeletonIndex:
    """Ids by the stem of the first word of Latin names, as registers leave the species out (Pothos, Stigmata)."""
    index: dict[str, dict[str, None]] = {}
    for concept in vocabulary.in_scheme("remedy"):
        for label in (concept.pref_label, *concept.alt_labels):
            words = label_key(label).split()
            if len(words) > 1 and len(words[0]) >= _SHORTEST_GENUS:
                index.setdefault(_stem(words[0]), {})[concept.id] = None
    return {key: tuple(ids) for key, ids in index.items()}


@lru_cache(maxsize=4)
def _common_names(vocabulary: Vocabulary) -> SkeletonIndex:
    index: dict[str, dict[str, None]] = {}
    for concept in vocabulary.in_scheme("remedy"):
        for name in concept.fact("common"):
            index.setdefault(label_key(name), {})[concept.id] = None
    return {key: tuple(ids) for key, ids in index.items()}


@lru_cache(maxsize=4)
def _remedy_skeletons(vocabulary: Vocabulary) -> SkeletonIndex:
    return skeleton_index(vocabulary.in_scheme("remedy"))
