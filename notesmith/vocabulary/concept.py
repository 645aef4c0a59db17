"""The values of the vocabulary: concepts in SKOS terms and relations between remedies."""

from __future__ import annotations

from typing import Literal

import msgspec

Scheme = Literal["remedy", "family", "rubric", "chapter", "canon", "idea", "medical", "potency", "prescription"]
RelationKind = Literal[
    "complementary", "inimical", "antidotes", "antidoted by", "follows well", "followed well by",
    "compatible", "acute of", "chronic of", "duration of action",
]  # fmt: skip


class Concept(msgspec.Struct, frozen=True, array_like=True, gc=False):
    """One concept of the controlled vocabulary (W3C SKOS: three disjoint kinds of label).

    ``ambiguous_labels`` are the alternative labels that two or more concepts rightly share;
    they are not in ``alt_labels``. ``facts`` holds the file's extra columns by name, one tuple of values each
    (``abbreviation``, ``common``, ``kingdom``, ``gloss``, ``kind``, ``year`` ...). Its ``heard`` names those hidden
    labels that were found by experiment (``heard.tsv``).
    ``spoken`` are spoken forms given by hand in ``spoken.tsv`` (respelt in English syllables);
    those derived by rule are not kept here. The values are kept as arrays in the compiled vocabulary, so a new field
    goes to the end.
    """

    id: str
    scheme: Scheme
    pref_label: str
    alt_labels: tuple[str, ...] = ()
    hidden_labels: tuple[str, ...] = ()
    ambiguous_labels: tuple[str, ...] = ()
    broader: tuple[str, ...] = ()
    related: tuple[str, ...] = ()
    source: tuple[str, ...] = ()
    facts: dict[str, tuple[str, ...]] = {}
    spoken: tuple[str, ...] = ()

    def fact(self, name: str) -> tuple[str, ...]:
        return self.facts.get(name, ())


class Relation(msgspec.Struct, frozen=True, array_like=True, gc=False):
    """A statement of one book about two remedies; books disagree, so the book stays with it.

    ``other`` is a remedy id, or the time for ``duration of action``.
    """

    remedy: str
    relation: RelationKind
    other: str
    book: str
    source: str
