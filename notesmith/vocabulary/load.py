"""Read the plain-text vocabulary files; see vocab/README.md for the format."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterable, Iterator, Sequence
from pathlib import Path
from typing import cast

import msgspec

from notesmith import __version__
from notesmith.errors import VocabularyError
from notesmith.vocabulary.compiled import Layer, compiled_layer, patched_index
from notesmith.vocabulary.concept import Concept, Relation, RelationKind, Scheme
from notesmith.vocabulary.vocabulary import Vocabulary, label_key

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
RELATION_COLUMNS = ("remedy", "relation", "other", "book", "source")
SPOKEN_COLUMNS = ("id", "label", "spoken", "source")
HEARD_COLUMNS = ("id", "heard", "times", "voices", "source")
SIDE_FILES = ("relations.tsv", "spoken.tsv", "heard.tsv")


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
    files = _layer_files(packaged_vocabulary_dir())
    digest = _digest_of(files)
    compiled = compiled_layer(f"{digest[:32]}.{_reader_digest()}", lambda: _read_layer(files))
    base = compiled.layer
    packaged = {concept.id: concept for concept in base.concepts}
    if not layers:
        return Vocabulary(packaged, base.relations, digest, compiled.index)
    concepts, relations, changed = dict(packaged), list(base.relations), set[str]()
    spoken, heard = ({name: list(forms) for name, forms in one.items()} for one in (base.spoken, base.heard))
    for folder in layers:
        files = _layer_files(folder)
        if not files:
            continue  # an empty layer is none, here and on another machine where its folder is not there
        digest = _digest_of(files, digest)
        layer = _read_layer(files)
        relations.extend(layer.relations)
        for concept in layer.concepts:
            concepts[concept.id] = concept
            changed.add(concept.id)
        for own, added in ((spoken, layer.spoken), (heard, layer.heard)):
            for concept_id, forms in added.items():
                own.setdefault(concept_id, []).extend(forms)
        for concept_id in {*(c.id for c in layer.concepts), *layer.spoken, *layer.heard} & concepts.keys():
            concepts[concept_id] = _with_forms(concepts[concept_id], spoken.get(concept_id), heard.get(concept_id))
    return Vocabulary(
        concepts, tuple(relations), digest,
        lambda: patched_index(compiled.index(), packaged, concepts, frozenset(changed)),
    )  # fmt: skip


LONGEST_SHOWN = 80
_Files = dict[str, tuple[Path, bytes]]  # what a layer's files hold, by their names within it


def shown(text: str) -> str:
    """A cell as an error shows it: cut where it would bury the message."""
    return text if len(text) <= LONGEST_SHOWN else f"{text[:LONGEST_SHOWN]}…"


def _layer_files(folder: Path) -> _Files:
    files = [*vocabulary_files(folder), *(path for name in SIDE_FILES if (path := folder / name).is_file())]
    return {path.relative_to(folder).as_posix(): (path, _bytes(path)) for path in files}


def _digest_of(files: _Files, before: str = "") -> str:
    digest = hashlib.sha256(before.encode())
    for name, (_, data) in files.items():
        digest.update(f"{name}\0{len(data)}\0".encode())
        digest.update(data)
    return digest.hexdigest()


def _reader_digest() -> str:
    """Changes with the code that reads the files, so that what another version has compiled is never taken."""
    digest = hashlib.sha256(__version__.encode())
    for name in ("concept.py", "compiled.py", "load.py", "vocabulary.py"):
        with contextlib.suppress(OSError):  # an installation without sources goes by its version
            digest.update((Path(__file__).parent / name).read_bytes())
    return digest.hexdigest()[:16]


def _read_layer(files: _Files) -> Layer:
    concepts: dict[str, Concept] = {}
    for name, (path, data) in files.items():
        if name not in SIDE_FILES:
            for concept in read_concepts(path, data):
                concepts[concept.id] = concept
    relations = tuple(_read_relations(*files["relations.tsv"])) if "relations.tsv" in files else ()
    spoken, heard = (_read_forms(columns, *files[name]) if name in files else {}
                     for name, columns in (("spoken.tsv", SPOKEN_COLUMNS), ("heard.tsv", HEARD_COLUMNS)))  # fmt: skip
    for concept_id in {*spoken, *heard} & concepts.keys():
        concepts[concept_id] = _with_forms(concepts[concept_id], spoken.get(concept_id), heard.get(concept_id))
    return Layer(tuple(concepts.values()), relations, spoken, heard)


def _read_forms(columns: Sequence[str], path: Path, data: bytes) -> dict[str, tuple[str, ...]]:
    """The forms of a side file by concept id, in its order."""
    at = next(number for number, name in enumerate(columns) if name in ("spoken", "heard"))
    forms: dict[str, list[str]] = {}
    for _, row in read_rows(path, columns, data):
        forms.setdefault(row[0], []).append(row[at])
    return {concept_id: tuple(given) for concept_id, given in forms.items()}


def _with_forms(concept: Concept, spoken: Iterable[str] | None, heard: Iterable[str] | None) -> Concept:
    """The concept with its respelt forms, and with what was heard for it among its hidden labels and marked so."""
    own = {label_key(label) for label in (concept.pref_label, *concept.alt_labels, *concept.ambiguous_labels)}
    found = tuple(dict.fromkeys(form for form in heard or () if label_key(form) not in own))
    return msgspec.structs.replace(
        concept,
        spoken=tuple(spoken or ()),
        hidden_labels=tuple(dict.fromkeys((*concept.hidden_labels, *found))),
        facts={**concept.facts, "heard": found} if found else concept.facts,
    )


def vocabulary_files(folder: Path) -> Iterator[Path]:
    """The concept files of a layer, in the order they are read."""
    for name in CONCEPT_FILES:
        if (path := folder / name).is_file():
            yield path
    yield from sorted(folder.glob("rubrics/*.tsv"))


def read_concepts(path: Path, data: bytes | None = None) -> Iterator[Concept]:
    """Yield the concepts of one file (or of its bytes, read before). Raises VocabularyError naming file and line."""
    lines = _all_lines(path, data)
    header = _header(path, lines)
    if header[: len(COMMON_COLUMNS)] != COMMON_COLUMNS:
        raise VocabularyError(f"{path}:1: the columns must begin with {' '.join(COMMON_COLUMNS)}")
    extra = header[len(COMMON_COLUMNS) :]
    width = len(header)
    for number, line in lines:
        cells = line.split("\t")
        if len(cells) > width:
            raise VocabularyError(f"{path}:{number}: {len(cells)} cells, but the header names {width}")
        cells += [""] * (width - len(cells))
        identifier, pref = cells[0].strip(), cells[1].strip()
        scheme = SCHEME_OF_PREFIX.get(identifier.partition("/")[0])
        if scheme is None or not identifier.partition("/")[2]:
            known = ", ".join(SCHEME_OF_PREFIX)
            raise VocabularyError(
                f"{path}:{number}: id {shown(identifier)!r} must be scheme/slug, scheme one of {known}"
            )
        if not pref:
            raise VocabularyError(f"{path}:{number}: {shown(identifier)} has no prefLabel; give it one")
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


def _read_relations(path: Path, data: bytes) -> Iterator[Relation]:
    for _, (remedy, relation, other, book, source) in read_rows(path, RELATION_COLUMNS, data):
        yield Relation(remedy, cast(RelationKind, relation), other, book, source)


def read_rows(path: Path, columns: Sequence[str], data: bytes | None = None) -> Iterator[tuple[int, tuple[str, ...]]]:
    """The rows of a side file with their line numbers. Raises VocabularyError where the columns are others."""
    lines = _all_lines(path, data)
    if _header(path, lines) != tuple(columns):
        raise VocabularyError(f"{path}:1: the columns must be {' '.join(columns)}")
    for number, line in lines:
        cells = tuple(cell.strip() for cell in line.split("\t"))
        if len(cells) != len(columns):
            raise VocabularyError(f"{path}:{number}: {len(cells)} cells, but {len(columns)} are needed")
        yield number, cells


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise VocabularyError(f"{path}: cannot be read ({error.strerror})") from error


def _header(path: Path, lines: Iterator[tuple[int, str]]) -> tuple[str, ...]:
    for _, line in lines:
        return tuple(cell.strip() for cell in line.split("\t"))
    raise VocabularyError(f"{path}: is empty; the first line must name the columns")


def data_lines(path: Path) -> Iterator[tuple[int, str]]:
    """The rows of a file after its header with their line numbers, counted from 1."""
    lines = _all_lines(path)
    next(lines, None)
    return lines


def _all_lines(path: Path, data: bytes | None = None) -> Iterator[tuple[int, str]]:
    body = _bytes(path) if data is None else data
    try:
        text = body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise VocabularyError(f"{path}: not UTF-8 at byte {error.start}; save it as UTF-8") from error
    # A carriage return alone also ends a line, as it did when files were read as text.
    for number, line in enumerate(text.replace("\r\n", "\n").replace("\r", "\n").split("\n"), start=1):
        if line and not line.startswith("#") and not line.isspace():
            yield number, line
