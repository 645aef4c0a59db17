"""Learn what the recogniser hears for what: writes notesmith/sounds/data/costs.json.

    python benchmarks/learn_sounds.py [--pairs FILE ...]

From mishearings found by experiment (benchmarks/lab/collect_pairs.py), without the held-out terms and voices: the
heard and the nearest reading of the said phones are aligned with the present costs, pairings are counted, and costs
are set to the negative logarithm of their smoothed share; a few rounds of this.
"""

from __future__ import annotations

import argparse
import csv
import math
from collections import Counter
from pathlib import Path

import msgspec

import notesmith.sounds.distance as distance
from notesmith.sounds import pronounce_text
from notesmith.sounds.distance import SoundCosts, articulatory_costs, encode_all
from notesmith.sounds.phones import PHONES
from notesmith.vocabulary.spoken import readings_of_label

TARGET = Path(distance.__file__).parent / "data" / "costs.json"
DATA = Path(__file__).resolve().parent / "data"
ROUNDS = 4
PRIOR_COUNT = 30.0  # how many pairings the articulatory costs count for, a phone


def read_pairs(paths: list[Path]) -> list[dict[str, str]]:
    rows: list[dict[str, str]] = []
    for path in paths:
        with path.open(encoding="utf-8") as file:
            rows += csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)
    return rows


def train_rows(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    return [row for row in rows if row["term_held_out"] == "0" and row["voice_held_out"] == "0"]


def nearest(costs: SoundCosts, heard: str, readings: tuple[str, ...]) -> str:
    distances = costs.distances(heard, encode_all(readings))
    return readings[int(distances.argmin())]


def learn(rows: list[dict[str, str]]) -> SoundCosts:
    start = articulatory_costs()
    costs = start
    for _ in range(ROUNDS):
        pairings: Counter[tuple[str, str]] = Counter()
        for row in rows:
            heard = pronounce_text(row["heard"])[: distance.MAX_PHONES]
            readings = readings_of_label(row["label"])
            if not heard or not readings:
                continue
            said = nearest(costs, heard, readings)
            aligned = costs.align(heard, said)
            kept = sum(a == b for a, b in aligned)
            if kept * 2.5 >= len(said):  # something else was said or heard; it teaches nothing of sounds
                pairings.update(aligned)
        costs = _from_counts(pairings, start)
    return costs


def _from_counts(pairings: Counter[tuple[str, str]], start: SoundCosts) -> SoundCosts:
    said_total: Counter[str] = Counter()
    for (_, said), count in pairings.items():
        said_total[said] += count
    everything = sum(said_total.values())
    substitute, delete, insert = [], [], []
    prior = {
        (a, b): math.exp(-1.3 * start.substitute[i][j]) for i, a in enumerate(PHONES) for j, b in enumerate(PHONES)
    }
    norm = {b: sum(prior[a, b] for a in PHONES) + math.exp(-1.3 * start.delete[j]) for j, b in enumerate(PHONES)}

    def share(heard: str, said: str, prior_share: float) -> float:
        return (pairings[heard, said] + PRIOR_COUNT * prior_share) / (said_total[said] + PRIOR_COUNT)

    for i, a in enumerate(PHONES):
        row = []
        for b in PHONES:
            keep = share(b, b, prior[b, b] / norm[b])
            # Relative to hearing the phone itself, so that an undisturbed phone costs nothing.
            row.append(round(max(0.0, -math.log(share(a, b, prior[a, b] / norm[b]) / keep)), 3) if a != b else 0.0)
        substitute.append(tuple(row))
        added = (pairings[a, ""] + PRIOR_COUNT * 0.02) / (everything / len(PHONES) + PRIOR_COUNT)
        insert.append(round(-math.log(min(0.7, added)), 3))
        gone = share("", a, math.exp(-1.3 * start.delete[i]) / norm[a])
        delete.append(round(max(0.0, -math.log(gone / share(a, a, prior[a, a] / norm[a]))), 3))
    return SoundCosts(tuple(substitute), tuple(insert), tuple(delete))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pairs", type=Path, nargs="*", default=sorted(DATA.glob("pairs*.tsv")))
    given = parser.parse_args()
    rows = train_rows(read_pairs(given.pairs))
    costs = learn(rows)
    TARGET.write_bytes(msgspec.json.encode(costs) + b"\n")
    print(f"learnt from {len(rows)} pairs")
    cheapest = sorted(
        (costs.substitute[i][j], a, b) for i, a in enumerate(PHONES) for j, b in enumerate(PHONES) if i != j
    )
    print("cheapest confusions (heard for said):", ", ".join(f"{a} for {b} {c:.2f}" for c, a, b in cheapest[:24]))


if __name__ == "__main__":
    main()
