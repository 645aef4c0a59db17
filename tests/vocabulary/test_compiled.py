"""The compiled vocabulary gives what the text gives: cold, warm, damaged, unwritable, changed, and under a layer."""

import os
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notesmith.vocabulary import Concept, Vocabulary, compiled, load, load_vocabulary
from notesmith.vocabulary.compiled import cache_folder, patched_index
from notesmith.vocabulary.vocabulary import label_index

HEADER = "id\tprefLabel\taltLabel\thiddenLabel\tbroader\trelated\tsource\tcommon\n"
ROWS = (
    "remedy/alpha\tAlpha\tAl | Common (ambiguous)\tAlfa\t\t\tour own\tfirst\n"
    "remedy/beta\tBeta\tBe | Common (ambiguous)\t\t\tremedy/alpha\tour own\tsecond\n"
)


@pytest.fixture
def packaged(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A small packaged vocabulary and an empty cache of its own."""
    folder = tmp_path / "vocab"
    folder.mkdir()
    (folder / "remedies.tsv").write_text(HEADER + ROWS, encoding="utf-8")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    monkeypatch.setattr(load, "packaged_vocabulary_dir", lambda: folder)
    return folder


def state(vocabulary: Vocabulary) -> tuple[object, ...]:
    return (dict(vocabulary.concepts), vocabulary.relations, vocabulary.digest, vocabulary.by_label,
            vocabulary.by_hidden_label)  # fmt: skip


def compiled_files() -> list[Path]:
    return sorted(cache_folder().glob("*"))


def test_what_is_compiled_is_what_was_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    cold = load_vocabulary()
    monkeypatch.setattr(load, "_read_layer", lambda files: pytest.fail("the text was read again"))
    warm = load_vocabulary()
    assert state(cold) == state(warm)
    assert warm.by_label == label_index(warm.concepts.values())
    assert list(warm.concepts) == list(cold.concepts)


@pytest.mark.parametrize("damage", [lambda d: b"", lambda d: d[:-1], lambda d: d[:40] + b"\0" + d[41:], lambda d: b"x"])
def test_a_damaged_file_costs_only_time(packaged: Path, damage) -> None:  # type: ignore[no-untyped-def]
    before = state(load_vocabulary())
    (file,) = compiled_files()
    whole = file.read_bytes()
    file.write_bytes(damage(whole))
    assert state(load_vocabulary()) == before
    assert file.read_bytes() == whole  # and it is mended


def test_a_cache_that_cannot_be_written_costs_only_time(packaged: Path, tmp_path: Path) -> None:
    (tmp_path / "cache").write_text("no folder")
    assert load_vocabulary().find("Alfa")[0].id == "remedy/alpha"


def test_changed_text_is_read_at_once(packaged: Path) -> None:
    first = load_vocabulary()
    text = (packaged / "remedies.tsv").read_text(encoding="utf-8")
    stat = (packaged / "remedies.tsv").stat()
    (packaged / "remedies.tsv").write_text(text.replace("Alpha", "Alpho"), encoding="utf-8")  # same length
    os.utime(packaged / "remedies.tsv", ns=(stat.st_atime_ns, stat.st_mtime_ns))  # and same time
    second = load_vocabulary()
    assert second.find("Alpho")
    assert second.digest != first.digest


def test_another_reader_never_takes_what_an_older_one_compiled(packaged: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    load_vocabulary()
    monkeypatch.setattr(load, "__version__", "999")
    load_vocabulary()
    assert len(compiled_files()) == 2


def test_old_files_are_removed(packaged: Path) -> None:
    for number in range(6):
        (packaged / "remedies.tsv").write_text(HEADER + ROWS + f"remedy/z{number}\tZ{number}\t\t\t\t\tx\t\n")
        load_vocabulary()
    assert len(compiled_files()) == compiled._KEPT


def test_what_was_heard_is_a_marked_hidden_label(packaged: Path, tmp_path: Path) -> None:
    (packaged / "heard.tsv").write_text(
        "id\theard\ttimes\tvoices\tsource\nremedy/alpha\tolfa\t3\ta | b\tfound by experiment\n"
        "remedy/alpha\tAL\t3\ta | b\tfound by experiment\nremedy/gone\tgonne\t3\ta\tfound by experiment\n"
    )
    alpha = load_vocabulary()["remedy/alpha"]
    assert alpha.hidden_labels == ("Alfa", "olfa")  # AL is an altLabel already (SKOS S13)
    assert alpha.fact("heard") == ("olfa",)
    layer = tmp_path / "layer"
    layer.mkdir()
    (layer / "remedies.tsv").write_text(HEADER + "remedy/alpha\tAlpha nova\t\t\t\t\tthe course\t\n")
    changed = load_vocabulary(layer)
    assert changed["remedy/alpha"].fact("heard") == ("olfa", "AL")  # no altLabel any more
    assert changed.by_label == label_index(changed.concepts.values())
    assert "al" not in changed.by_label


LABELS = st.sampled_from(("Al", "Be", "Ga", "De", "al", "be."))
CONCEPTS = st.dictionaries(
    st.sampled_from([f"remedy/{letter}" for letter in "abcdef"]),
    st.tuples(LABELS, st.lists(LABELS, max_size=3)),
    max_size=6,
)


@given(CONCEPTS, CONCEPTS)
@settings(max_examples=200, deadline=None)
def test_patching_the_index_is_making_it_anew(old, added) -> None:  # type: ignore[no-untyped-def]
    before, layer = (
        {i: Concept(i, "remedy", label, tuple(more)) for i, (label, more) in drawn.items()} for drawn in (old, added)
    )
    after = {**before, **layer}
    patched = patched_index(label_index(before.values()), before, after, frozenset(layer))
    assert patched == label_index(after.values())
