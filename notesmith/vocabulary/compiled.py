"""The packaged vocabulary in a form that is read in no time, kept in the user's cache.

One file, named by the digest of the text files and of the code that reads them: another text or another reader has
another name, so a stale file is never read. A file that is damaged, or that cannot be written, costs time and nothing
else: the text is read instead.
"""

from __future__ import annotations

import contextlib
import zlib
from collections.abc import Callable, Mapping
from pathlib import Path

import msgspec
import platformdirs

from notesmith.errors import OutputError
from notesmith.files import write_atomic
from notesmith.vocabulary.concept import Concept, Relation
from notesmith.vocabulary.vocabulary import LabelIndex, label_index, visible_keys

_KEPT = 3  # compiled files of other versions that may still be in use
_SUFFIX = ".msgpack"


class Layer(msgspec.Struct, frozen=True, array_like=True):
    """The text of one folder as read: ``spoken`` and ``heard`` hold respelt and misheard forms by concept id."""

    concepts: tuple[Concept, ...]
    relations: tuple[Relation, ...]
    spoken: dict[str, tuple[str, ...]]
    heard: dict[str, tuple[str, ...]]


class CompiledLayer(msgspec.Struct, frozen=True, array_like=True):
    """A layer with its label index; ``labels`` is the index encoded, decoded only where it is asked for."""

    layer: Layer
    labels: msgspec.Raw

    def index(self) -> LabelIndex:
        return msgspec.msgpack.decode(self.labels, type=LabelIndex)


def cache_folder() -> Path:
    return platformdirs.user_cache_path("notesmith") / "vocabulary"


def compiled_layer(key: str, read: Callable[[], Layer]) -> CompiledLayer:
    """The layer kept under this key, or what ``read`` gives, which is then kept.

    ``key`` is a file name that must change with whatever ``read`` would give. Raises only what ``read`` raises.
    """
    path = cache_folder() / f"{key}{_SUFFIX}"
    with contextlib.suppress(OSError, msgspec.MsgspecError, ValueError):
        return _unpacked(path.read_bytes())
    layer = read()
    compiled = CompiledLayer(layer, msgspec.Raw(msgspec.msgpack.encode(label_index(layer.concepts))))
    with contextlib.suppress(OutputError, OSError):
        write_atomic(path, _packed(compiled))
        _remove_old(path)
    return compiled


def _packed(compiled: CompiledLayer) -> bytes:
    body = msgspec.msgpack.encode(compiled)
    return zlib.crc32(body).to_bytes(4, "big") + body


def _unpacked(data: bytes) -> CompiledLayer:
    body = memoryview(data)[4:]
    if zlib.crc32(body) != int.from_bytes(data[:4], "big"):
        raise ValueError("damaged")
    return msgspec.msgpack.decode(body, type=CompiledLayer)


def _remove_old(newest: Path) -> None:
    files = sorted(newest.parent.glob(f"*{_SUFFIX}"), key=lambda path: path.stat().st_mtime, reverse=True)
    for path in files[_KEPT:]:
        path.unlink(missing_ok=True)


def patched_index(
    index: LabelIndex, old: Mapping[str, Concept], new: Mapping[str, Concept], changed: frozenset[str]
) -> LabelIndex:
    """The label index of ``new``, from that of ``old``, where only the ``changed`` ids differ."""
    keys_now = {i: frozenset(visible_keys(new[i])) for i in changed if i in new}
    keys_before = (frozenset(visible_keys(old[i])) for i in changed if i in old)
    place = {concept_id: number for number, concept_id in enumerate(new)}
    patched = dict(index)
    for key in frozenset().union(*keys_before, *keys_now.values()):
        ids = {i for i in index.get(key, ()) if i not in changed} | {i for i, keys in keys_now.items() if key in keys}
        patched[key] = tuple(sorted(ids, key=place.__getitem__))
        if not ids:
            del patched[key]
    return patched
