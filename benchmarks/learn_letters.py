"""Learn what letters say, from the pronouncing dictionary: writes notesmith/sounds/data/letters.bin.

    python benchmarks/learn_letters.py [--hold-out]

Letters are aligned with phones by expectation maximisation (a letter says none, one or two phones); then, for each
letter, the commonest saying in each context of up to three letters on either side is kept where it differs from that
of the next narrower context. ``--hold-out`` learns on nine tenths and prints how well the last tenth is said.
"""

from __future__ import annotations

import argparse
import hashlib
import math
import zlib
from collections import Counter, defaultdict
from pathlib import Path

import msgspec
from rapidfuzz.distance import Levenshtein

import notesmith.sounds.phones as phones_module
from notesmith.sounds.phones import CONTEXTS, dictionary, simplify, spell_out

TARGET = Path(phones_module.__file__).parent / "data" / "letters.bin"
ROUNDS = 4
MIN_COUNT = 3


def pairs() -> list[tuple[str, str]]:
    found = []
    for word, said in dictionary().items():
        phones = simplify(said)
        if word.isascii() and word.isalpha() and 2 <= len(word) <= 16 and phones and len(phones) <= 2 * len(word):
            found.append((word, phones))
    return found


def align(word: str, phones: str, cost: dict[tuple[str, str], float]) -> list[str]:
    """The cheapest way for the letters to say the phones in order."""
    width = len(phones) + 1
    best = [[math.inf] * width for _ in range(len(word) + 1)]
    back = [[0] * width for _ in range(len(word) + 1)]
    best[0][0] = 0.0
    for i, letter in enumerate(word):
        for j in range(width):
            if best[i][j] == math.inf:
                continue
            for size in (0, 1, 2):
                if j + size < width:
                    total = best[i][j] + cost.get((letter, phones[j : j + size]), 9.0 + 2 * size)
                    if total < best[i + 1][j + size]:
                        best[i + 1][j + size], back[i + 1][j + size] = total, size
    said, j = [], width - 1
    for i in range(len(word), 0, -1):
        size = back[i][j]
        said.append(phones[j - size : j])
        j -= size
    return said[::-1]


def learn(data: list[tuple[str, str]]) -> dict[str, str]:
    cost: dict[tuple[str, str], float] = {}
    # Start from letters that are also phones or near them, so that the first alignment is sane.
    for letter, likely in {"c": "ksʧ", "q": "k", "x": "kz", "j": "ʤ", "y": "jiIɪ", "g": "ɡʤ", "a": "æAɑəɔ", "e": "ɛiəɪ",
                           "i": "ɪIiə", "o": "OɑəɔʌuWY", "u": "ʌuəjʊw", "s": "szʃʒ", "t": "tʃʧθð", "r": "ɹə", "h": "h",
                           "n": "nŋ", "d": "dʤ", "p": "pf", "w": "w", "f": "fv"}.items():  # fmt: skip
        for phone in likely:
            cost[letter, phone] = 1.0
        cost[letter, ""] = 3.0
    for letter in "bklmvz":
        cost[letter, letter] = 1.0
        cost[letter, ""] = 3.0
    aligned = []
    for _ in range(ROUNDS):
        counts: Counter[tuple[str, str]] = Counter()
        aligned = [(word, align(word, phones, cost)) for word, phones in data]
        for word, said in aligned:
            counts.update(zip(word, said, strict=True))
        totals: Counter[str] = Counter()
        for (letter, _), number in counts.items():
            totals[letter] += number
        cost = {key: -math.log(number / totals[key[0]]) for key, number in counts.items()}
    sayings: dict[str, Counter[str]] = defaultdict(Counter)
    for word, said in aligned:
        padded = f"###{word}###"
        for at, phones in enumerate(said, start=3):
            for before, after in CONTEXTS:
                sayings[f"{padded[at - before : at]}|{padded[at]}|{padded[at + 1 : at + 1 + after]}"][phones] += 1
    rules: dict[str, str] = {}
    for key in sorted(sayings, key=len):
        phones, count = sayings[key].most_common(1)[0]
        before, letter, after = key.split("|")
        narrower = None
        for b, a in CONTEXTS:
            if b <= len(before) and a <= len(after) and (b, a) != (len(before), len(after)):
                narrower = rules.get(f"{before[len(before) - b :]}|{letter}|{after[:a]}")
                if narrower is not None:
                    break
        if narrower is None or (phones != narrower and count >= MIN_COUNT):
            rules[key] = phones
    return rules


def write(rules: dict[str, str]) -> None:
    TARGET.parent.mkdir(exist_ok=True)
    TARGET.write_bytes(zlib.compress(msgspec.json.encode(dict(sorted(rules.items()))), 9))
    phones_module.letter_rules.cache_clear()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--hold-out", action="store_true")
    given = parser.parse_args()
    data = pairs()
    held = {word for word, _ in data if hashlib.sha256(word.encode()).digest()[0] % 10 == 0}
    if given.hold_out:
        before = TARGET.read_bytes() if TARGET.is_file() else None
        write(learn([(w, p) for w, p in data if w not in held]))
        tested = [(w, p) for w, p in data if w in held]
        wrong = sum(Levenshtein.distance(spell_out(w), p) for w, p in tested)
        exact = sum(spell_out(w) == p for w, p in tested)
        print(f"{len(tested)} held-out words: phone error {wrong / sum(len(p) for _, p in tested):.3f}, "
              f"whole words right {exact / len(tested):.3f}")  # fmt: skip
        if before is not None:
            TARGET.write_bytes(before)
        return
    rules = learn(data)
    write(rules)
    print(f"{len(rules)} rules, {TARGET.stat().st_size} bytes")


if __name__ == "__main__":
    main()
