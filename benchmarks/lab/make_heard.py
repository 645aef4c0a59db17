"""Write vocab/heard.tsv: mishearings found by experiment that are safe to know by heart.

    python benchmarks/lab/make_heard.py [--check]

From the rows of benchmarks/data/pairs*.tsv that are not held out, neither by term nor by voice; held-out rows are not
even looked at. Kept are forms that two voices or more gave for one concept and for no other, that hold a word no
English text knows, that are no label of anything, and whose sound is nearer to their own concept than to any other.
``--check`` writes nothing and fails where the file is not what this would write. The method restores terms it never
saw misheard; this list serves search and the desk, and no part of the correction reads it.
"""

from __future__ import annotations

import argparse
import sys
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path

from rapidfuzz import process
from rapidfuzz.distance import Levenshtein
from wordfreq import zipf_frequency

from notesmith.sounds import pronounce_text
from notesmith.transcript import sounding
from notesmith.vocabulary import Vocabulary, label_key, load_vocabulary
from notesmith.vocabulary.load import HEARD_COLUMNS
from notesmith.vocabulary.spoken import SpokenForm, spoken_forms

ROOT = Path(__file__).resolve().parents[2]
TARGET = ROOT / "vocab" / "heard.tsv"
ENGLISH_ZIPF = 2.2  # as in notesmith/spelling.py: a rarer string is no English word
VOICES = 2
SHORTEST = 4
MARK = "found by experiment"


def training_pairs(paths: Sequence[Path]) -> dict[str, dict[str, list[str]]]:
    """The voices by heard form and concept, of rows in which nothing is held out and something was misheard."""
    heard: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for path in paths:
        for line in path.read_text(encoding="utf-8").splitlines()[1:]:
            concept_id, label, voice, text, term_held, voice_held = line.split("\t")
            if (term_held, voice_held) == ("0", "0") and (form := sounding(text)) != sounding(label):
                heard[form][concept_id].append(voice)
    return heard


def is_strange(form: str) -> bool:
    return any(zipf_frequency(word, "en") < ENGLISH_ZIPF for word in form.split())


def sounds_nearest(form: str, concept_id: str, forms: Sequence[SpokenForm]) -> bool:
    """Whether the form sounds nearer to a saying of its own concept than to any of another."""
    phones = pronounce_text(form)
    found = process.extract(phones, [one.phones for one in forms], scorer=Levenshtein.normalized_distance, limit=30)
    best = min((distance for _, distance, at in found if forms[at].concept_id == concept_id), default=1.0)
    others = min((distance for _, distance, at in found if forms[at].concept_id != concept_id), default=1.0)
    return best < others


def safe_rows(vocabulary: Vocabulary, heard: dict[str, dict[str, list[str]]]) -> list[tuple[str, ...]]:
    """The rows to write, sorted."""
    written = {
        label_key(label)
        for c in vocabulary.concepts.values()
        for label in (c.pref_label, *c.alt_labels, *c.ambiguous_labels,
                      *(one for one in c.hidden_labels if one not in c.fact("heard")))
    }  # fmt: skip
    forms = tuple(spoken_forms(vocabulary))
    rows = []
    for form, concepts in heard.items():
        if len(concepts) != 1 or len(form) < SHORTEST or label_key(form) in written or not is_strange(form):
            continue
        ((concept_id, voices),) = concepts.items()
        if concept_id in vocabulary and len(set(voices)) >= VOICES and sounds_nearest(form, concept_id, forms):
            rows.append((concept_id, form, str(len(voices)), " | ".join(sorted(set(voices))), MARK))
    return sorted(rows)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--check", action="store_true")
    given = parser.parse_args()
    vocabulary = load_vocabulary()
    heard = training_pairs(sorted((ROOT / "benchmarks" / "data").glob("pairs*.tsv")))
    rows = safe_rows(vocabulary, heard)
    text = "\t".join(HEARD_COLUMNS) + "\n" + "".join("\t".join(row) + "\n" for row in rows)
    print(
        f"{len(heard)} misheard forms of training rows, {len(rows)} safe ones of {len({r[0] for r in rows})} concepts"
    )
    if given.check:
        sys.exit(0 if TARGET.read_text(encoding="utf-8") == text else f"{TARGET}: is not what this would write")
    TARGET.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
