"""The company a kind of term keeps: which words stand right before and after remedies, authors, miasms, illnesses.

Learnt by benchmarks/learn_company.py from lecture texts written for tuning: log-ratios of how often a word stands there
beside how often it stands anywhere. Neighbours that are terms or numbers count as their kind.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib import resources

import msgspec

from notesmith.vocabulary import Concept

START, END, NUMBER = "<start>", "<end>", "<number>"
PLACES = (-2, -1, 1, 2)
KINDS = ("remedy", "author", "idea", "medical")


class Company(msgspec.Struct, frozen=True):
    """``ratios[kind][place][word]`` in nats; place is the offset from the term's edge, as text."""

    ratios: Mapping[str, Mapping[str, Mapping[str, float]]]
    learnt_from: str = ""

    def score(self, kind: str | None, neighbours: Sequence[str]) -> tuple[float, float]:
        """What the words before and after say for a kind; ``neighbours`` in the order of ``PLACES``."""
        places = self.ratios.get(kind or "")
        if places is None:
            return 0.0, 0.0
        two, one, next_one, next_two = (places[str(p)].get(n, 0.0) for p, n in zip(PLACES, neighbours, strict=True))
        return one + 0.5 * two, next_one + 0.5 * next_two


def kind_of(concept: Concept) -> str | None:
    """The kind of company a concept keeps; None where too little is known of it."""
    if concept.scheme == "family":
        return "remedy"
    if concept.scheme == "canon":
        return "author" if concept.id.startswith("author/") else None
    return concept.scheme if concept.scheme in KINDS else None


@lru_cache(maxsize=1)
def load_company() -> Company:
    place = resources.files("notesmith.correct").joinpath("data/company.json")
    return msgspec.json.decode(place.read_bytes(), type=Company)
