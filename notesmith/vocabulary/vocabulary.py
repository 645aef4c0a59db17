"""The loaded vocabulary and its look-ups."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from functools import cached_property

from notesmith.vocabulary.concept import Concept, Relation, Scheme

LabelIndex = dict[str, tuple[str, ...]]
_ASCII = {code: None if chr(code) in "'." else chr(code).lower() if chr(code).isalnum() else " " for code in range(128)}


def label_key(label: str) -> str:
    """What two spellings of one label have in common: lower case, no accents, hyphens or full stops.

    >>> label_key("Kali-bi.") == label_key("kali bi")
    True
    """
    if label.isascii():  # the same, ten times faster
        return " ".join(label.translate(_ASCII).split())
    plain = unicodedata.normalize("NFKD", label).casefold()
    kept = (c if c.isalnum() else "" if c in "'’." or unicodedata.combining(c) else " " for c in plain)
    return " ".join("".join(kept).split())


def visible_keys(concept: Concept) -> Iterator[str]:
    """The keys of a concept's preferred, alternative, ambiguous and abbreviation labels."""
    for label in (
        concept.pref_label, *concept.alt_labels, *concept.ambiguous_labels, *concept.fact("abbreviation")
    ):  # fmt: skip
        yield label_key(label)


def label_index(concepts: Iterable[Concept]) -> LabelIndex:
    """Ids by key of every label that may be seen, in the concepts' order."""
    index: dict[str, list[str]] = {}
    for concept in concepts:
        for key in visible_keys(concept):
            ids = index.setdefault(key, [])
            if concept.id not in ids:
                ids.append(concept.id)
    return {key: tuple(ids) for key, ids in index.items()}


class Vocabulary:
    """All concepts of all layers. Look-ups never raise for an unknown label; they return an empty tuple.

    ``index`` gives what ``label_index`` would, where it is known already.
    """

    def __init__(
        self,
        concepts: Mapping[str, Concept],
        relations: tuple[Relation, ...],
        digest: str,
        index: Callable[[], LabelIndex] | None = None,
    ) -> None:
        self.concepts = concepts
        self.relations = relations
        self.digest = digest
        self._index = index

    def __len__(self) -> int:
        return len(self.concepts)

    def __getitem__(self, concept_id: str) -> Concept:
        return self.concepts[concept_id]

    def __contains__(self, concept_id: str) -> bool:
        return concept_id in self.concepts

    def get(self, concept_id: str) -> Concept | None:
        return self.concepts.get(concept_id)

    def label(self, concept_id: str) -> str:
        """The preferred label, or the id itself for a concept that is gone."""
        concept = self.concepts.get(concept_id)
        return concept_id if concept is None else concept.pref_label

    def in_scheme(self, *schemes: Scheme) -> Iterator[Concept]:
        return (concept for concept in self.concepts.values() if concept.scheme in schemes)

    @cached_property
    def by_label(self) -> LabelIndex:
        """Concept ids by ``label_key`` of every preferred, alternative, ambiguous and abbreviation label."""
        return label_index(self.concepts.values()) if self._index is None else self._index()

    @cached_property
    def by_hidden_label(self) -> dict[str, tuple[str, ...]]:
        index: dict[str, list[str]] = {}
        for concept in self.concepts.values():
            for label in concept.hidden_labels:
                index.setdefault(label_key(label), []).append(concept.id)
        return {key: tuple(ids) for key, ids in index.items()}

    def find(self, label: str, *schemes: Scheme) -> tuple[Concept, ...]:
        """The concepts that carry a label (any case, accents and hyphens aside), hidden labels last."""
        key = label_key(label)
        ids = dict.fromkeys((*self.by_label.get(key, ()), *self.by_hidden_label.get(key, ())))
        found = (self.concepts[i] for i in ids)
        return tuple(c for c in found if not schemes or c.scheme in schemes)

    @cached_property
    def narrower(self) -> dict[str, tuple[str, ...]]:
        """Ids of the direct narrower concepts of each concept."""
        index: dict[str, list[str]] = {}
        for concept in self.concepts.values():
            for wider in concept.broader:
                index.setdefault(wider, []).append(concept.id)
        return {key: tuple(ids) for key, ids in index.items()}

    def members(self, concept_id: str) -> tuple[str, ...]:
        """Ids of all narrower concepts, direct and indirect, without the concept itself."""
        found: dict[str, None] = {}
        queue = list(self.narrower.get(concept_id, ()))
        while queue:
            current = queue.pop()
            if current not in found and current != concept_id:
                found[current] = None
                queue.extend(self.narrower.get(current, ()))
        return tuple(found)

    @cached_property
    def relations_of(self) -> dict[str, tuple[Relation, ...]]:
        index: dict[str, list[Relation]] = {}
        for relation in self.relations:
            index.setdefault(relation.remedy, []).append(relation)
        return {key: tuple(items) for key, items in index.items()}
