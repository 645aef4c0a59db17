"""Find what is wrong in vocabulary files: file, line, problem and the mend.

The rules are the integrity conditions of W3C SKOS that a plain table can break (S13: the three kinds of label are
disjoint; S14: one preferred label a language) and those of this vocabulary (vocab/README.md).
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import Literal

import msgspec

from notesmith.errors import VocabularyError
from notesmith.vocabulary.concept import Concept
from notesmith.vocabulary.load import (
    HEARD_COLUMNS,
    data_lines,
    packaged_vocabulary_dir,
    read_concepts,
    read_rows,
    vocabulary_files,
)
from notesmith.vocabulary.vocabulary import label_key

Severity = Literal["error", "warning"]
_ALLOWED_SCRIPTS = ("LATIN", "GREEK SMALL LETTER THETA")
_MIN_NEAR_LENGTH = 6


class Problem(msgspec.Struct, frozen=True):
    """One finding. ``mend`` says what to do about it."""

    path: str
    line: int
    severity: Severity
    problem: str
    mend: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line}: {self.severity}: {self.problem}; {self.mend}"


class _Placed(msgspec.Struct, frozen=True):
    concept: Concept
    path: str
    line: int


def validate(*layers: Path) -> tuple[Problem, ...]:
    """Check the packaged vocabulary and the given layers; problems in order of file and line."""
    problems: list[Problem] = []
    placed: dict[str, _Placed] = {}
    for number, folder in enumerate((packaged_vocabulary_dir(), *layers)):
        in_layer: dict[str, _Placed] = {}
        for path in vocabulary_files(folder):
            problems += _read(path, in_layer)
        placed |= in_layer
        if (relations := folder / "relations.tsv").is_file():
            problems += _check_relations(relations, placed if number else in_layer)
        if (heard := folder / "heard.tsv").is_file():
            problems += _check_heard(heard, placed)
    concepts = list(placed.values())
    for one in concepts:
        problems += _check_labels(one)
        problems += _check_links(one, placed)
    problems += _check_shared_labels(concepts)
    problems += _check_near(concepts)
    problems += _check_cycles(placed)
    return tuple(sorted(problems, key=lambda p: (p.severity, p.path, p.line, p.problem)))


def _read(path: Path, known: dict[str, _Placed]) -> Iterator[Problem]:
    try:
        lines = [number for number, _ in data_lines(path)]
        concepts = list(read_concepts(path))
    except VocabularyError as error:
        place, _, rest = str(error).partition(f"{path}:")[2].partition(":")
        line = int(place) if place.isdigit() else 1
        yield Problem(str(path), line, "error", (rest or str(error)).strip(), "mend the row")
        return
    last = ""
    for line, concept in zip(lines, concepts, strict=True):
        if concept.id in known:
            other = known[concept.id]
            yield Problem(str(path), line, "error", f"id {concept.id} stands also at {other.path}:{other.line}",
                          "give one of the two another id or join the rows")  # fmt: skip
        known[concept.id] = _Placed(concept, str(path), line)
        if concept.id < last:
            yield Problem(str(path), line, "warning", f"{concept.id} is not in order", "sort the rows by id")
        last = concept.id
        if not concept.source:
            yield Problem(str(path), line, "warning", f"{concept.id} names no source", "say where it was checked")


def _check_labels(one: _Placed) -> Iterator[Problem]:
    concept = one.concept
    seen: dict[str, str] = {}
    kinds = (
        ("prefLabel", (concept.pref_label,)),
        ("altLabel", (*concept.alt_labels, *concept.ambiguous_labels)),
        ("hiddenLabel", concept.hidden_labels),
    )
    for kind, labels in kinds:
        for label in labels:
            if label in seen:
                yield Problem(one.path, one.line, "error",
                              f"{label!r} is {seen[label]} and {kind} of {concept.id} (SKOS S13)",
                              f"take it out of {kind}")  # fmt: skip
            seen[label] = kind
            if strange := _strange_letters(label):
                yield Problem(one.path, one.line, "error", f"{label!r} mixes in {strange}",
                              "type the letter again in the Latin script")  # fmt: skip
            if label != unicodedata.normalize("NFC", label):
                yield Problem(one.path, one.line, "warning", f"{label!r} is not in composed form (NFC)",
                              "type its accents again")  # fmt: skip


def _strange_letters(label: str) -> str:
    for character in label:
        if character.isalpha():
            name = unicodedata.name(character, "a nameless letter")
            if not name.startswith(_ALLOWED_SCRIPTS):
                return name.lower()
        elif unicodedata.category(character) in ("Cf", "Cc"):
            return f"an invisible character (U+{ord(character):04X})"
    return ""


def _check_links(one: _Placed, placed: dict[str, _Placed]) -> Iterator[Problem]:
    for kind in ("broader", "related"):
        for target in getattr(one.concept, kind):
            if target == one.concept.id:
                yield Problem(one.path, one.line, "error", f"{target} is {kind} of itself", "take it out")
            elif target not in placed:
                yield Problem(one.path, one.line, "error", f"{kind} {target} does not exist",
                              "correct the id or add the concept")  # fmt: skip
    if both := set(one.concept.broader) & set(one.concept.related):
        yield Problem(one.path, one.line, "error", f"{min(both)} is broader and related (SKOS S27)", "keep one of them")


def _check_shared_labels(concepts: Sequence[_Placed]) -> Iterator[Problem]:
    """One label, two remedies: an error unless both rows mark it ambiguous. Other schemes may share lay words."""
    owners: dict[str, list[tuple[_Placed, str, bool]]] = {}
    preferred: dict[tuple[str, str, str], _Placed] = {}
    for one in concepts:
        concept = one.concept
        where = concept.id.split("/")[1] if concept.scheme == "rubric" else ""
        key = (concept.scheme, where, label_key(concept.pref_label))
        if (other := preferred.get(key)) is not None:
            yield Problem(one.path, one.line, "error",
                          f"prefLabel {concept.pref_label!r} is also that of {other.concept.id}",
                          "make one of them an altLabel, or join the rows")  # fmt: skip
        preferred[key] = one
        if concept.scheme != "remedy":
            continue
        plain = {label_key(label): label for label in (concept.pref_label, *concept.alt_labels)}
        marked = {label_key(label): label for label in concept.ambiguous_labels}
        for key_, label in {**plain, **marked}.items():
            owners.setdefault(key_, []).append((one, label, key_ in marked))
    for sharing in owners.values():
        if len(sharing) < 2:
            continue
        names = ", ".join(one.concept.id for one, _, _ in sharing)
        for one, label, is_marked in sharing:
            if not is_marked and label != one.concept.pref_label:
                yield Problem(one.path, one.line, "error", f"{label!r} belongs to {names}",
                              f"write {label + ' (ambiguous)'!r} in each, or take it out")  # fmt: skip


def _check_near(concepts: Sequence[_Placed]) -> Iterator[Problem]:
    """Preferred labels of two remedies that differ by one letter are often one misspelt."""
    by_deletion: dict[str, list[tuple[str, _Placed]]] = {}
    warned: set[frozenset[str]] = set()
    for one in concepts:
        label = label_key(one.concept.pref_label)
        if one.concept.scheme != "remedy" or len(label) < _MIN_NEAR_LENGTH:
            continue
        for variant in {label, *(label[:i] + label[i + 1 :] for i in range(len(label)))}:
            for other_label, other in by_deletion.get(variant, ()):
                pair = frozenset((one.concept.id, other.concept.id))
                if len(pair) == 2 and pair not in warned and _one_letter_apart(label, other_label):
                    warned.add(pair)
                    yield Problem(one.path, one.line, "warning",
                                  f"{one.concept.pref_label!r} differs by one letter from {other.concept.pref_label!r}",
                                  "check that they are two remedies")  # fmt: skip
            by_deletion.setdefault(variant, []).append((label, one))


def _one_letter_apart(first: str, second: str) -> bool:
    if len(first) == len(second):
        return sum(a != b for a, b in zip(first, second, strict=True)) == 1
    short, long = sorted((first, second), key=len)
    return len(long) - len(short) == 1 and any(long[:i] + long[i + 1 :] == short for i in range(len(long)))


def _check_cycles(placed: dict[str, _Placed]) -> Iterator[Problem]:
    done: set[str] = set()
    for start in placed:
        path: list[str] = []
        current: str | None = start
        while current is not None and current in placed and current not in done:
            if current in path:
                one = placed[current]
                yield Problem(one.path, one.line, "error", f"{current} is broader than itself by way of {path[-1]}",
                              "correct one of the broader ids")  # fmt: skip
                break
            path.append(current)
            current = next(iter(placed[current].concept.broader), None)
        done.update(path)


def _check_relations(path: Path, placed: dict[str, _Placed]) -> Iterator[Problem]:
    for line, text in data_lines(path):
        cells = text.split("\t")
        if len(cells) != 5:
            yield Problem(str(path), line, "error", f"{len(cells)} cells, but 5 are needed", "mend the row")
            continue
        remedy, relation, other, book, _ = cells
        ids: Iterable[str] = (remedy,) if relation == "duration of action" else (remedy, other)
        for identifier in ids:
            if identifier not in placed:
                yield Problem(str(path), line, "error", f"{identifier} does not exist",
                              "correct the id or add the remedy")  # fmt: skip
        if not book.strip():
            yield Problem(str(path), line, "error", "names no book", "books disagree: say which one states it")


def _check_heard(path: Path, placed: dict[str, _Placed]) -> Iterator[Problem]:
    """A misheard form is safe only where it is no label of any concept and was heard for one concept only."""
    labels: dict[str, str] = {}
    for one in placed.values():
        for label in (one.concept.pref_label, *one.concept.alt_labels, *one.concept.ambiguous_labels,
                      *one.concept.hidden_labels):  # fmt: skip
            labels.setdefault(label_key(label), one.concept.id)
    seen: dict[str, int] = {}
    rows = read_rows(path, HEARD_COLUMNS)
    while True:
        try:
            line, (identifier, form, times, _, source) = next(rows)
        except StopIteration:
            return
        except VocabularyError as error:
            yield Problem(str(path), 1, "error", str(error).removeprefix(f"{path}:"), "mend the row")
            return
        key = label_key(form)
        if identifier not in placed:
            yield Problem(str(path), line, "error", f"{identifier} does not exist", "correct the id or take it out")
        if key in labels:
            yield Problem(str(path), line, "error", f"{form!r} is a label of {labels[key]}", "take it out")
        if key in seen:
            yield Problem(str(path), line, "error", f"{form!r} stands also in line {seen[key]}", "take both out")
        if not key or not times.isdigit() or source != "found by experiment":
            yield Problem(str(path), line, "error", f"{form!r} does not say how it was found",
                          "give how often it was heard and 'found by experiment'")  # fmt: skip
        seen[key] = line
