"""Mishearings by experiment: speak the vocabulary, listen with the real model, keep what was heard.

    python benchmarks/lab/collect_pairs.py [--voices us-m joe ...] [--per-voice N] [--out FILE]

Each term is said in a carrier sentence; what the model heard between the carrier's own words is the heard form. Rows:
``id  label  voice  heard  term_held_out  voice_held_out``. One term in five, by the digest of its id, is held out
whole, and so are the voices in ``voices.HELD_OUT_VOICES``; nothing may be learned from either.
"""

from __future__ import annotations

import argparse
import difflib
import hashlib
import random
import re
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from voices import HELD_OUT_VOICES, RATE_HZ, VOICES, Sound, speak

from notesmith.transcribe import load_model
from notesmith.vocabulary import Concept, Scheme, load_vocabulary

HERE = Path(__file__).resolve().parent
OUT = HERE.parent / "data" / "pairs.tsv"
CARRIERS = {
    "remedy": (
        "The remedy which I gave to this patient was {}, and after some days there was improvement.",
        "In the evening we will study {}, because the symptoms are important.",
        "Please compare this with {}, which has a similar headache.",
        "You must remember that {} is worse in the morning and better from rest.",
    ),
    "other": (
        "The teacher explained the word {} to the students before the lunch.",
        "On the next page we read about {}, and then the chapter is finished.",
    ),
}
GAP_S = 0.6


def term_held_out(concept_id: str) -> bool:
    return hashlib.sha256(concept_id.encode()).digest()[0] % 5 == 0


def terms(*schemes: Scheme) -> list[tuple[Concept, str]]:
    """Every remedy's preferred label and short forms, and the main other terms, in a fixed random order."""
    vocabulary = load_vocabulary()
    chosen = []
    for concept in vocabulary.in_scheme(*schemes):
        labels = [concept.pref_label]
        if concept.scheme == "canon" and concept.id.startswith("author/"):
            labels = [concept.pref_label.split()[-1]]
        if concept.scheme == "remedy":
            labels += [label for label in concept.alt_labels if len(label.split()) <= 2 and len(label) > 4][:1]
        chosen += [(concept, label) for label in labels]
    random.Random(20261125).shuffle(chosen)
    return chosen


def batches(rows: list[tuple[Concept, str]], voice: str) -> Iterator[tuple[Sound, list[tuple[float, float, int, str]]]]:
    """Sound of up to half a minute with the place, the row and the carrier of each sentence in it."""
    pieces: list[Sound] = []
    places: list[tuple[float, float, int, str]] = []
    length = 0.0
    for number, (concept, label) in enumerate(rows):
        kind = "remedy" if concept.scheme == "remedy" else "other"
        carrier = CARRIERS[kind][number % len(CARRIERS[kind])]
        sound = speak(voice, carrier.format(label))
        seconds = len(sound) / RATE_HZ
        if places and length + seconds > 28:
            yield np.concatenate(pieces), places
            pieces, places, length = [], [], 0.0
        places.append((length, length + seconds, number, carrier))
        pieces += [sound, np.zeros(int(GAP_S * RATE_HZ), np.float32)]
        length += seconds + GAP_S
    if places:
        yield np.concatenate(pieces), places


def plain(text: str) -> list[str]:
    return re.sub(r"[^a-z0-9']+", " ", text.lower()).split()


def between(carrier: str, heard: list[str]) -> str | None:
    """The heard words that stand where the carrier has its blank, or None where the carrier itself was lost."""
    before, after = (plain(part) for part in carrier.split("{}"))
    reference = [*before, "\0", *after]
    matcher = difflib.SequenceMatcher(None, reference, [w.lower().strip(".,!?;:") for w in heard], autojunk=False)
    left = right = None
    for a, b, size in matcher.get_matching_blocks():
        if size and a <= len(before) - 1 < a + size:
            left = b + (len(before) - a)
        if size and a <= len(before) + 1 < a + size and right is None:
            right = b + (len(before) + 1 - a)
    if left is None or right is None or not left < right <= left + 7:
        return None
    return " ".join(heard[left:right]).strip(" .,!?;:")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--voices", nargs="*", default=list(VOICES))
    parser.add_argument("--per-voice", type=int, default=450)
    parser.add_argument("--schemes", nargs="*", default=["remedy", "canon", "idea"])
    parser.add_argument("--most-related", type=int, help="only the remedies with the most relations: the polychrests")
    parser.add_argument("--out", type=Path, default=OUT)
    given = parser.parse_args()
    model = load_model().model
    everything = terms(*given.schemes)
    if given.most_related:
        relations = load_vocabulary().relations_of
        known = sorted({c.id for c, _ in everything}, key=lambda i: (-len(relations.get(i, ())), i))
        everything = [row for row in everything if row[0].id in frozenset(known[: given.most_related])]
    begun = time.monotonic()
    with given.out.open("a", encoding="utf-8") as file:
        if file.tell() == 0:
            file.write("id\tlabel\tvoice\theard\tterm_held_out\tvoice_held_out\n")
        for index, voice in enumerate(given.voices):
            # Each voice says another slice of the terms, overlapping with the next voice's.
            start = (index * given.per_voice * 3 // 4) % len(everything)
            rows = (everything[start:] + everything[:start])[: given.per_voice]
            kept = 0
            for sound, places in batches(rows, voice):
                segments, _ = model.transcribe(
                    sound, language="en", beam_size=1, word_timestamps=True, vad_filter=False,
                    condition_on_previous_text=False,
                )  # fmt: skip
                words = [(word.start, word.end, word.word.strip()) for segment in segments for word in segment.words]
                for begin, end, number, carrier in places:
                    said = [w for s, e, w in words if begin - 0.2 <= (s + e) / 2 <= end + 0.4]
                    heard = between(carrier, said)
                    if heard:
                        concept, label = rows[number]
                        held = (term_held_out(concept.id), voice in HELD_OUT_VOICES)
                        file.write(f"{concept.id}\t{label}\t{voice}\t{heard}\t{held[0]:d}\t{held[1]:d}\n")
                        kept += 1
                file.flush()
            print(f"{voice}: {kept} of {len(rows)} ({time.monotonic() - begun:.0f} s)", file=sys.stderr)


if __name__ == "__main__":
    main()
