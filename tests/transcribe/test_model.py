"""Model lookup: a folder, the packaged weights put together and verified, a hub name."""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path

import pytest

from notesmith.errors import ModelError, OutputError
from notesmith.transcribe import model as lookup
from notesmith.transcribe.model import find_model, packaged_folder

PIECES = (b"first half of the weights, ", b"second half of the weights")


@pytest.fixture
def parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> tuple[Path, Path]:
    """Small stand-ins for the two data packages, with their true digest and size."""
    folders = []
    for number, piece in enumerate(PIECES, start=1):
        folder = tmp_path / f"part{number}" / "data"
        folder.mkdir(parents=True)
        (folder / f"model.bin.part{number}").write_bytes(piece)
        folders.append(folder)
    for name in lookup.SMALL_FILES:
        (folders[0] / name).write_text("{}", encoding="utf-8")
    whole = b"".join(PIECES)
    monkeypatch.setattr(lookup, "_parts", lambda: tuple(folders))
    monkeypatch.setattr(lookup, "PACKAGED_SHA256", hashlib.sha256(whole).hexdigest())
    monkeypatch.setattr(lookup, "PACKAGED_BYTES", len(whole))
    return folders[0], folders[1]


def test_the_published_digest_is_the_one_of_the_official_conversion():
    # shared/reference/README.md: size and SHA-256 of model.bin as published for CTranslate2 Whisper base.
    assert lookup.PACKAGED_SHA256 == "d01c3014881c9c6f3133c182f3d2887eb6ca1c789a7538c5c007196857a0a6a9"
    assert lookup.PACKAGED_BYTES == 145_217_532


def test_the_parts_are_joined_once(tmp_path, parts):
    folder = packaged_folder(tmp_path / "cache")
    assert (folder / "model.bin").read_bytes() == b"".join(PIECES)
    assert all((folder / name).is_file() for name in lookup.SMALL_FILES)
    made_at = (folder / "model.bin").stat().st_mtime_ns
    (parts[0] / "model.bin.part1").unlink()  # not needed any more
    assert packaged_folder(tmp_path / "cache") == folder
    assert (folder / "model.bin").stat().st_mtime_ns == made_at


def test_a_damaged_part_is_refused_and_nothing_is_left(tmp_path, parts):
    (parts[1] / "model.bin.part2").write_bytes(b"Second half of the weights")
    with pytest.raises(ModelError, match=r"damaged .*install its two data packages again"):
        packaged_folder(tmp_path / "cache")
    assert list((tmp_path / "cache").iterdir()) == []


def test_a_missing_part_is_named(tmp_path, parts):
    (parts[1] / "model.bin.part2").unlink()
    with pytest.raises(ModelError, match=r"model\.bin\.part2: is missing"):
        packaged_folder(tmp_path / "cache")


def test_an_empty_model_in_the_cache_is_made_again(tmp_path, parts):
    folder = packaged_folder(tmp_path / "cache")
    (folder / "model.bin").write_bytes(b"")
    again = packaged_folder(tmp_path / "cache")
    assert (again / "model.bin").read_bytes() == b"".join(PIECES)
    assert [path.name for path in (tmp_path / "cache").iterdir()] == [lookup.PACKAGED_NAME]


def test_two_at_once_end_with_one_whole_model(tmp_path, parts):
    failures = []

    def work() -> None:
        try:
            packaged_folder(tmp_path / "cache")
        except Exception as error:
            failures.append(error)

    threads = [threading.Thread(target=work) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert failures == []
    assert [path.name for path in (tmp_path / "cache").iterdir()] == [lookup.PACKAGED_NAME]


def test_a_cache_that_cannot_be_written_says_so(tmp_path, parts):
    blocked = tmp_path / "blocked"
    blocked.write_text("a file where a folder should be", encoding="utf-8")
    with pytest.raises(OutputError, match="cannot be written"):
        packaged_folder(blocked)


def test_without_the_packages_the_error_says_what_to_run(tmp_path, monkeypatch):
    monkeypatch.setattr(lookup, "_parts", lambda: None)
    with pytest.raises(ModelError, match=r"not installed; run: pip install"):
        packaged_folder(tmp_path)


def test_a_folder_comes_first(tmp_path):
    folder = tmp_path / "my model"
    folder.mkdir()
    with pytest.raises(ModelError, match=r"has no model\.bin"):
        find_model(str(folder))
    (folder / "model.bin").write_bytes(b"")
    with pytest.raises(ModelError, match=r"is empty \(0 bytes\)"):
        find_model(str(folder))
    (folder / "model.bin").write_bytes(b"weights")
    place = find_model(str(folder))
    assert (place.name, place.folder, place.hub_name) == ("my model", folder.resolve(), None)


def test_a_hub_name_is_kept_for_the_hub():
    assert find_model("large-v3").hub_name == "large-v3"
    assert find_model("turbo").name == "whisper-turbo"


def test_an_unknown_name_lists_the_known_ones():
    with pytest.raises(ModelError, match=r"neither a folder .* turbo"):
        find_model("gigantic")


def test_a_model_that_cannot_be_loaded_or_fetched_is_one_line(tmp_path, monkeypatch):
    from notesmith.transcribe import whisper

    folder = tmp_path / "broken"
    folder.mkdir()
    (folder / "model.bin").write_bytes(b"this is no model")
    with pytest.raises(ModelError, match="cannot be loaded") as caught:
        whisper.load_model(str(folder))
    assert "\n" not in str(caught.value)

    def unreachable(*_: object, **__: object) -> None:
        raise ConnectionError("no route")

    monkeypatch.setattr(whisper, "WindowedWhisper", unreachable)
    with pytest.raises(ModelError, match=r"cannot be fetched from the hub .*use the packaged model"):
        whisper.load_model("small")
