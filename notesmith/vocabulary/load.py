"""Read the plain-text vocabulary files; see vocab/README.md for the format."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import cast

from notesmith.errors import VocabularyError
from notesmith.vocabulary.concept import Concept, Relation, RelationKind, Scheme
from notesmith.vocabulary.vocabulary import Vocabulary

COMMON_COLUMNS = ("id", "prefLabel", "altLabel", "hiddenLabel", "broader", "related", "source")
AMBIGUOUS = " (ambiguous)"
SCHEME_OF_PREFIX: dict[str, Scheme] = {
    "remedy": "remedy",
    "family": "family",
    "rubric": "rubric",
    "chapter": "chapter",
    "author": "canon",
    "book": "canon",
    "journal": "canon",
    "idea": "idea",
    "medical": "medical",
    "potency": "potency",
    "rx": "prescription",
}
CONCEPT_FILES = (
    "families.tsv",
    "remedies.tsv",
    "canon.tsv",
    "ideas.tsv",
    "medical.tsv",
    "potencies.tsv",
    "prescriptions.tsv",
)


def packaged_vocabulary_dir() -> Path:
    """The folder of the vocabulary that ships with the tool (wheel or source checkout).

    Raises VocabularyError where neither is there.
    """
    package = Path(__file__).resolve().parent.parent
    for folder in (package / "_vocab", package.parent / "vocab"):
        if (folder / "README.md").is_file():
            return folder
    raise VocabularyError(f"the packaged vocabulary is missing beside {package}; install the package again")


def load_vocabulary(*layers: Path) -> Vocabulary:
    """Load the packaged vocabulary and then each course layer over it; a later row replaces an earlier one.

    Raises VocabularyError naming file and line.
    """
    concepts: dict[str, Concept] = {}
    relations: list[Relation] = []
    spoken: dict[str, list[str]] = {}
    digest = hashlib.sha256()
    for folder in (packaged_vocabulary_dir(), *layers):
        for path in vocabulary_files(folder):
            digest.update(path.read_bytes())
            for concept in read_concepts(path):
                concepts[concept.id] = concept
        if (path := folder / "relations.tsv").is_file():
            digest.update(path.read_bytes())
            relations.extend(_read_relations(path))
        if (path := folder / "spoken.tsv").is_file():
            digest.update(path.read_bytes())
            for row in _rows(path, ("id", "label", "spoken", "source")):
                spoken.setdefault(row[0], []).append(row[2])
    for concept_id, forms in spoken.items():
        if (known := concepts.get(concept_id)) is not None:
            concepts[concept_id] = _with_spoken(known, tuple(forms))
    return Vocabulary(concepts, tuple(relations), digest.hexdigest())


def _with_spoken(concept: Concept, spoken: tuple[str, ...]) -> Concept:
    return Concept(
        concept.id, concept.scheme, concept.pref_label, concept.alt_labels, concept.hidden_labels,
        concept.ambiguous_labels, concept.broader, concept.related, concept.source, concept.facts, spoken,
    )  # fmt: skip


def vocabulary_files(folder: Path) -> Iterator[Path]:
    """The concept files of a layer, in the order they are read."""
    for name in CONCEPT_FILES:
        if (path := folder / name).is_file():
            yield path
    yield from sorted(folder.glob("rubrics/*.tsv"))


def read_concepts(path: Path) -> Iterator[Concept]:
    """Yield the concepts of one file. Raises VocabularyError naming file and line."""
    header = _header(path)
    if header[: len(COMMON_COLUMNS)] != COMMON_COLUMNS:
        raise VocabularyError(f"{path}:1: the columns must begin with {' '.join(COMMON_COLUMNS)}")
    extra = header[len(COMMON_COLUMNS) :]
    width = len(header)
    for number, line in data_lines(path):
        cells = line.split("\t")
        if len(cells) > width:
            raise VocabularyError(f"{path}:{number}: {len(cells)} cells, but the header names {width}")
        cells += [""] * (width - len(cells))
        identifier, pref = cells[0].strip(), cells[1].strip()
        scheme = SCHEME_OF_PREFIX.get(identifier.partition("/")[0])
        if scheme is None or not identifier.partition("/")[2]:
            known = ", ".join(SCHEME_OF_PREFIX)
            raise VocabularyError(f"{path}:{number}: id {identifier!r} must be scheme/slug, scheme one of {known}")
        if not pref:
            raise VocabularyError(f"{path}:{number}: {identifier} has no prefLabel; give it one")
        plain, ambiguous = _labels(cells[2])
        yield Concept(
            identifier, scheme, pref, plain, split_cell(cells[3]), ambiguous, split_cell(cells[4]),
            split_cell(cells[5]), split_cell(cells[6]),
            {name: values for name, cell in zip(extra, cells[7:], strict=False) if (values := split_cell(cell))},
        )  # fmt: skip


def split_cell(cell: str) -> tuple[str, ...]:
    if not cell:
        return ()
    if "|" not in cell:
        return (cell.strip(),) if cell.strip() else ()
    return tuple(part for raw in cell.split("|") if (part := raw.strip()))


def _labels(cell: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    labels = split_cell(cell)
    if AMBIGUOUS not in cell:
        return labels, ()
    plain = tuple(label for label in labels if not label.endswith(AMBIGUOUS))
    return plain, tuple(label.removesuffix(AMBIGUOUS) for label in labels if label.endswith(AMBIGUOUS))


def _read_relations(path: Path) -> Iterator[Relation]:
    for remedy, relation, other, book, source in _rows(path, ("remedy", "relation", "other", "book", "source")):
        yield Relation(remedy, cast(RelationKind, relation), other, book, source)


def _rows(path: Path, columns: Sequence[str]) -> Iterator[tuple[str, ...]]:
    if _header(path) != tuple(columns):
        raise VocabularyError(f"{path}:1: the columns must be {' '.join(columns)}")
    for number, line in data_lines(path):
        cells = tuple(cell.strip() for cell in line.split("\t"))
        if len(cells) != len(columns):
            raise VocabularyError(f"{path}:{number}: {len(cells)} cells, but {len(columns)} are needed")
        yield cells


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise VocabularyError(f"{path}: not UTF-8 at byte {error.start}; save it as UTF-8") from error
    except OSError as error:
        raise VocabularyError(f"{path}: cannot be read ({error.strerror})") from error


def _header(path: Path) -> tuple[str, ...]:
    for _, line in _all_lines(path):
        return tuple(cell.strip() for cell in line.split("\t"))
    raise VocabularyError(f"{path}: is empty; the first line must name the columns")


def data_lines(path: Path) -> Iterator[tuple[int, str]]:
    """The rows of a file after its header with their line numbers, counted from 1."""
    lines = _all_lines(path)
    next(lines, None)
    return lines


def _all_lines(path: Path) -> Iterator[tuple[int, str]]:
    for number, line in enumerate(_text(path).split("\n"), start=1):
        if line and not line.startswith("#") and not line.isspace():
            yield number, line.rstrip("\r")
