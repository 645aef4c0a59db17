"""A small vocabulary, the real English pipeline once, and sessions written as plain text."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from notesmith.annotations import Corrections, Extraction
from notesmith.extract import extract, load_nlp
from notesmith.reading import Reading, read
from notesmith.transcript import Segment, TimeSpan, Transcript, Word
from notesmith.vocabulary import Concept, Vocabulary, load_vocabulary

WORD_MS = 400


def remedy(name: str, label: str, *alt: str, abbreviation: str = "") -> Concept:
    facts = {"abbreviation": (abbreviation,)} if abbreviation else {}
    return Concept(f"remedy/{name}", "remedy", label, alt, facts=facts)


CONCEPTS = (
    remedy("pulsatilla-nigricans", "Pulsatilla nigricans", "Pulsatilla", "Puls"),
    remedy("arsenicum-album", "Arsenicum album", "Arsenicum", "Ars alb"),
    remedy("apis-mellifica", "Apis mellifica", "Apis"),
    remedy("sepia-officinalis", "Sepia officinalis", "Sepia"),
    remedy("sabina", "Sabina"),
    remedy("china-officinalis", "China officinalis", "China"),
    remedy("hedera-helix", "Hedera helix", abbreviation="Hed."),
    remedy("silicea", "Silicea", "Silica"),
    Concept("chapter/stomach", "chapter", "Stomach"),
    Concept("chapter/mind", "chapter", "Mind"),
    Concept("rubric/stomach/thirstless", "rubric", "Thirstless", ("no thirst",), broader=("chapter/stomach",)),
    Concept("rubric/mind/weeping-consolation", "rubric", "Weeping, consolation aggravates",
            ("cries more when comforted",), broader=("chapter/mind",)),
    Concept("chapter/sleep", "chapter", "Sleep"),
    Concept("chapter/generalities", "chapter", "Generalities"),
    Concept("rubric/mind/open-hearted", "rubric", "Open-hearted", ("open",), broader=("chapter/mind",)),
    Concept("rubric/sleep/bad", "rubric", "Bad", broader=("chapter/sleep",)),
    Concept("rubric/generalities/warm-aggravates", "rubric", "Warm aggravates", ("worse from heat",), broader=("chapter/generalities",)),
    Concept("author/kent", "canon", "Kent", ("James Tyler Kent",)),
    Concept("medical/metformin", "medical", "metformin", facts={"kind": ("medicine",)}),
)  # fmt: skip


@pytest.fixture(scope="session")
def vocabulary() -> Vocabulary:
    return Vocabulary({c.id: c for c in CONCEPTS}, (), "test")


@pytest.fixture(scope="session")
def full() -> Vocabulary:
    return load_vocabulary()


@pytest.fixture(scope="session")
def nlp() -> Any:
    return load_nlp()


def reading_of(text: str) -> Reading:
    """One segment a line; every word takes 400 ms."""
    segments, at = [], 0
    for line in text.strip().splitlines():
        words = []
        for word in line.split():
            words.append(Word(TimeSpan(at, at + WORD_MS), word, 0.9))
            at += WORD_MS
        if words:
            segments.append(Segment(len(segments), tuple(words)))
    return read(Transcript("0" * 64, "en", "test", tuple(segments), at), Corrections(""))


@pytest.fixture(scope="session")
def found(vocabulary: Vocabulary, nlp: Any) -> Callable[[str], tuple[Reading, Extraction]]:
    def run(text: str, **options: Any) -> tuple[Reading, Extraction]:
        reading = reading_of(text)
        return reading, extract(reading, vocabulary, nlp=nlp, **options)

    return run
