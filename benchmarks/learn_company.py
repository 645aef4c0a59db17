"""Learn the company terms keep: writes notesmith/correct/data/company.json.

    python benchmarks/learn_company.py

From the texts written for tuning (benchmarks/data/train, tuning, gold/dev and the sample scripts); dev and sealed lectures
are left out. A ratio is (met + 1.5) / (expected by chance + 1.5); words met fewer than three times in all say nothing.
"""

from __future__ import annotations

import math
import re
import sys
from collections import Counter, defaultdict
from collections.abc import Iterator
from pathlib import Path

import msgspec

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE / "lab"))

from truth import read_script  # noqa: E402

import notesmith.correct.company as company  # noqa: E402
from notesmith.correct.candidates import number_like  # noqa: E402
from notesmith.correct.company import END, NUMBER, PLACES, START  # noqa: E402
from notesmith.transcript import sounding  # noqa: E402
from notesmith.vocabulary import Vocabulary, load_vocabulary  # noqa: E402

DATA = HERE / "data"
TARGET = Path(company.__file__).parent / "data" / "company.json"
SMOOTH, LEAST_MET, MOST = 1.5, 3, 3.0
Token = tuple[str, str | None]  # a word or a kind's mark, and the kind where it is a term


def sentences(vocabulary: Vocabulary) -> Iterator[list[Token]]:
    for path in sorted((DATA / "train").glob("*.txt")):
        for line in read_script(path)[1]:
            tokens: list[Token] = []
            for said in line.said:
                identifier = said.concept_id or ""
                if identifier.startswith("potency"):
                    tokens.append((NUMBER, None))
                elif identifier in vocabulary and (kind := company.kind_of(vocabulary[identifier])):
                    tokens.append((f"<{kind}>", kind))
                    tokens += [("</s>", None)] * bool(re.search(r"[.?!]$", said.text))
                else:
                    tokens += words_of(said.text)
            yield from split(tokens)
    for path in sorted((DATA / "tuning").glob("*.txt")):
        for line in path.read_text(encoding="utf-8").splitlines():
            tokens = []
            for part in re.split(r"(<[^>]*>)", line):
                if match := re.fullmatch(r"<[^|]*\|([^>]*)>", part):
                    kind = company.kind_of(vocabulary[match[1]]) if match[1] in vocabulary else None
                    tokens.append((f"<{kind}>" if kind else "<term>", kind))
                else:
                    tokens += words_of(part)
            yield from split(tokens)


def words_of(text: str) -> list[Token]:
    tokens: list[Token] = []
    for word in text.split():
        plain = sounding(word)
        if plain:
            tokens.append((NUMBER if number_like(plain) else plain, None))
        if re.search(r"[.?!][\"')]*$", word):
            tokens.append(("</s>", None))
    return tokens


def split(tokens: list[Token]) -> Iterator[list[Token]]:
    sentence: list[Token] = []
    for token in tokens:
        if token[0] == "</s>":
            if sentence:
                yield sentence
            sentence = []
        else:
            sentence.append(token)
    if sentence:
        yield sentence


def main() -> None:
    vocabulary = load_vocabulary()
    beside: dict[str, dict[int, Counter[str]]] = defaultdict(lambda: {place: Counter() for place in PLACES})
    anywhere: dict[int, Counter[str]] = {place: Counter() for place in PLACES}
    terms = 0
    for sentence in sentences(vocabulary):
        marks = [token for token, _ in sentence]
        for at, (_, kind) in enumerate(sentence):
            for place in PLACES:
                there = at + place
                word = START if there < 0 else END if there >= len(marks) else marks[there]
                anywhere[place][word] += 1
                if kind:
                    beside[kind][place][word] += 1
            terms += kind is not None
    ratios: dict[str, dict[str, dict[str, float]]] = {}
    for kind, places in sorted(beside.items()):
        ratios[kind] = {}
        for place, counts in places.items():
            near, all_near = sum(counts.values()), sum(anywhere[place].values())
            found = {}
            for word, total in anywhere[place].items():
                expected = total * near / all_near
                ratio = math.log((counts[word] + SMOOTH) / (expected + SMOOTH))
                if total >= LEAST_MET and abs(ratio) >= 0.15:
                    found[word] = round(max(-MOST, min(MOST, ratio)), 2)
            ratios[kind][str(place)] = dict(sorted(found.items()))
    note = f"{terms} terms; python benchmarks/learn_company.py"
    TARGET.write_bytes(msgspec.json.format(msgspec.json.encode(company.Company(ratios, note)), indent=1) + b"\n")
    print(note)


if __name__ == "__main__":
    main()
