"""Take an editor's plain list of terms into a course's vocabulary layer, after showing what clashes.

A list is text with one term a line, or CSV whose first row names columns of vocab/README.md (``prefLabel`` at least;
``altLabel``, ``id``, ``common`` ... as given). Nothing is written before the plan was seen.
"""

from __future__ import annotations

import csv
import io
import re
import unicodedata
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

import msgspec

from notesmith.documents import read_text
from notesmith.errors import VocabularyError
from notesmith.files import write_atomic
from notesmith.vocabulary.concept import Concept, Scheme
from notesmith.vocabulary.load import COMMON_COLUMNS, SCHEME_OF_PREFIX, read_concepts, split_cell
from notesmith.vocabulary.variants import resolve_remedy
from notesmith.vocabulary.vocabulary import Vocabulary, label_key

FILE_OF_SCHEME: dict[Scheme, str] = {
    "remedy": "remedies.tsv",
    "family": "families.tsv",
    "canon": "canon.tsv",
    "idea": "ideas.tsv",
    "medical": "medical.tsv",
    "potency": "potencies.tsv",
    "prescription": "prescriptions.tsv",
    "rubric": "rubrics/course.tsv",
}
MAX_TERM_CHARACTERS = 120


class PlannedTerm(msgspec.Struct, frozen=True):
    """One line of the list: what would be done with it and why."""

    line: int
    label: str
    action: Literal["new", "known", "clash"]
    why: str
    concept: Concept | None = None


def plan_import(path: Path, vocabulary: Vocabulary, scheme: Scheme) -> tuple[PlannedTerm, ...]:
    """What importing the list would do, line by line. Raises DocumentError or VocabularyError."""
    rows = _rows(path)
    prefix = next(p for p, s in SCHEME_OF_PREFIX.items() if s == scheme)
    planned: list[PlannedTerm] = []
    seen: dict[str, int] = {}
    taken = set(vocabulary.concepts)
    for line, row in rows:
        label = row.get("prefLabel", "").strip()
        key = label_key(label)
        if not key or len(label) > MAX_TERM_CHARACTERS:
            planned.append(PlannedTerm(line, label[:60], "clash", "is no term: give 1 to 120 characters with a letter"))
            continue
        owners = [one for one in vocabulary.find(label) if one.scheme == scheme]
        others = [one for one in vocabulary.find(label) if one.scheme != scheme and one.scheme != "rubric"]
        if key in seen:
            planned.append(PlannedTerm(line, label, "clash", f"stands also in line {seen[key]}"))
        elif owners:
            names = ", ".join(f"{one.pref_label} ({one.id})" for one in owners)
            planned.append(PlannedTerm(line, label, "known", f"is a label of {names}", owners[0]))
        elif scheme == "remedy" and not row.get("id") and (near := resolve_remedy(vocabulary, label)).how == "spelling":
            names = ", ".join(f"{one.pref_label} ({one.id})" for one in near.concepts)
            why = f"by its spelling it is {names}; if it is another remedy, give it an id in a CSV list"
            planned.append(PlannedTerm(line, label, "clash", why))
        else:
            identifier = row.get("id", "").strip() or _free_id(prefix, label, taken)
            if identifier in vocabulary and row.get("id"):
                planned.append(PlannedTerm(line, label, "clash", f"id {identifier} is {vocabulary.label(identifier)}"))
                continue
            taken.add(identifier)
            concept = Concept(
                identifier, scheme, label, split_cell(row.get("altLabel", "")), split_cell(row.get("hiddenLabel", "")),
                source=split_cell(row.get("source", "")) or ("the course's editor",),
            )  # fmt: skip
            shared = f"; also a label of {others[0].id}" if others else ""
            planned.append(PlannedTerm(line, label, "new", f"becomes {identifier}{shared}", concept))
        seen.setdefault(key, line)
    return tuple(planned)


def _rows(path: Path) -> list[tuple[int, dict[str, str]]]:
    text = read_text(path)
    if path.suffix.lower() != ".csv":
        return [(n, {"prefLabel": line}) for n, line in enumerate(text.splitlines(), start=1) if line.strip()]
    try:
        reader = csv.DictReader(io.StringIO(text), strict=True)
        if "prefLabel" not in (reader.fieldnames or ()):
            raise VocabularyError(f"{path}:1: the first row must name the columns, prefLabel among them")
        return [
            (reader.line_num, {name: value for name, value in row.items() if name and isinstance(value, str)})
            for row in reader
        ]
    except csv.Error as error:
        raise VocabularyError(f"{path}: is not valid CSV ({error}); save it again as CSV") from error


def _free_id(prefix: str, label: str, taken: set[str]) -> str:
    plain = unicodedata.normalize("NFKD", label).encode("ascii", "ignore").decode().lower()
    slug = re.sub(r"[^a-z0-9]+", "-", plain).strip("-") or "term"
    candidate, number = f"{prefix}/{slug}", 2
    while candidate in taken:
        candidate, number = f"{prefix}/{slug}-{number}", number + 1
    return candidate


def write_concepts(layer: Path, concepts: Sequence[Concept]) -> tuple[Path, ...]:
    """Add concepts to a layer, or replace those with the same id; files are rewritten whole, sorted, atomically.

    A field of the packaged concept that the new one does not carry is not kept: a layer's row replaces the whole.
    """
    written = []
    for scheme in dict.fromkeys(concept.scheme for concept in concepts):
        path = layer / FILE_OF_SCHEME[scheme]
        rows = {concept.id: concept for concept in read_concepts(path)} if path.is_file() else {}
        rows |= {concept.id: concept for concept in concepts if concept.scheme == scheme}
        write_atomic(path, table_text(list(rows.values())))
        written.append(path)
    return tuple(written)


def table_text(concepts: Sequence[Concept]) -> str:
    """The rows of a vocabulary file, sorted by id, with a header."""
    extra = tuple(dict.fromkeys(name for concept in concepts for name in concept.facts))
    lines = ["\t".join((*COMMON_COLUMNS, *extra))]
    for one in sorted(concepts, key=lambda concept: concept.id):
        marked = (*one.alt_labels, *(f"{label} (ambiguous)" for label in one.ambiguous_labels))
        values = (marked, one.hidden_labels, one.broader, one.related, one.source, *(one.fact(name) for name in extra))
        lines.append("\t".join((one.id, _cell((one.pref_label,)), *(_cell(value) for value in values))))
    return "\n".join(lines) + "\n"


def _cell(values: Sequence[str]) -> str:
    return " | ".join(" ".join(value.replace("|", "/").split()) for value in values)
