"""How terms are likely said: readings of labels as phones, derived by rule, with overrides by hand.

Spelling and sound are kept apart: nothing here is ever printed. Overrides stand in ``vocab/spoken.tsv``, respelt in
plain English syllables, which are read by the English rules.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache
from itertools import islice, product

import msgspec
from rapidfuzz.distance import Levenshtein

from notesmith.sounds import latin_readings, pronounce_text
from notesmith.vocabulary.concept import Concept, Scheme
from notesmith.vocabulary.vocabulary import Vocabulary

MAX_READINGS = 4
# Everyday words among rubric wordings and prescription Latin would be found everywhere, so they are not listened for.
LISTENED_SCHEMES: tuple[Scheme, ...] = ("remedy", "family", "canon", "idea", "medical")


class SpokenForm(msgspec.Struct, frozen=True):
    """One way a concept is said: the label it stands for and its phones."""

    concept_id: str
    label: str
    phones: str


@lru_cache(maxsize=100_000)
def readings_of_label(label: str) -> tuple[str, ...]:
    """Up to ``MAX_READINGS`` readings of a label, each as one string of phones."""
    words = [word for word in re.split(r"[\s\-–]+", label.rstrip(".")) if word]
    if not words:
        return ()
    options = [latin_readings(word) or (pronounce_text(word),) for word in words]
    # All words read in one manner first, then mixtures, as teachers mix them.
    uniform = ["".join(option[min(style, len(option) - 1)] for option in options) for style in range(4)]
    mixed = ("".join(parts) for parts in islice(product(*options), 24))
    return tuple(dict.fromkeys(r for r in (*uniform, *mixed) if r))[:MAX_READINGS]


def spoken_labels(concept: Concept) -> tuple[str, ...]:
    """The labels of a concept that are spoken words: no abbreviations with full stops, no Latin initials."""
    if concept.scheme == "canon" and concept.id.startswith("author/"):
        surname = concept.pref_label.split()[-1]
        return tuple(dict.fromkeys((surname, *concept.alt_labels, *concept.ambiguous_labels, concept.pref_label)))
    labels = (concept.pref_label, *concept.alt_labels, *concept.ambiguous_labels)
    return tuple(label for label in labels if not label.endswith(".") and len(label) > 2)


def spoken_forms(vocabulary: Vocabulary) -> Iterator[SpokenForm]:
    """Every form the tool listens for, in the vocabulary's order, without repeats within a concept."""
    for concept in vocabulary.in_scheme(*LISTENED_SCHEMES):
        seen: set[str] = set()
        for label in spoken_labels(concept):
            for phones in readings_of_label(label):
                if phones not in seen and len(phones) >= 3:
                    seen.add(phones)
                    yield SpokenForm(concept.id, label, phones)
        readings = {label: readings_of_label(label) for label in spoken_labels(concept)} if concept.spoken else {}
        for respelt in concept.spoken:
            phones = pronounce_text(respelt)
            if phones and phones not in seen and readings:
                seen.add(phones)
                yield SpokenForm(concept.id, _nearest_label(phones, readings), phones)


def _nearest_label(phones: str, readings: Mapping[str, tuple[str, ...]]) -> str:
    """The label that a respelt form says: the one whose reading by rule is nearest."""
    return min(
        readings,
        key=lambda label: min((Levenshtein.normalized_distance(phones, r) for r in readings[label]), default=1.0),
    )
