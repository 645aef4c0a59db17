"""Write vocab/heard.tsv: mishearings found by experiment that are safe to know by heart.

    python benchmarks/lab/make_heard.py

Kept are forms heard at least twice for one concept and for no other, in which not every word is a usual English one,
and which are no label of anything. Terms and voices that are held out teach nothing here. The method restores terms it
never saw misheard; this list only saves it the work for the plainest cases, and serves search.
"""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

from wordfreq import zipf_frequency

from notesmith.transcript import sounding
from notesmith.vocabulary import load_vocabulary

ROOT = Path(__file__).resolve().parents[2]
USUAL_ZIPF = 3.0
TIMES = 2


def is_usual(heard: str) -> bool:
    """Whether every word is ordinary English, so that the form may well be meant as it stands."""
    return all(zipf_frequency(word, "en") >= USUAL_ZIPF for word in heard.split())


def main() -> None:
    vocabulary = load_vocabulary()
    labels = {sounding(label) for c in vocabulary.in_scheme(*SCHEMES) for label in (c.pref_label, *c.alt_labels)}
    heard: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for path in sorted((ROOT / "benchmarks" / "data").glob("pairs*.tsv")):
        for line in path.read_text(encoding="utf-8").splitlines()[1:]:
            concept_id, label, voice, text, term_held, voice_held = line.split("\t")
            form = sounding(text)
            # Every concept counts for being ambiguous, but only what is not held out is learnt.
            teaches = term_held == "0" and voice_held == "0" and form != sounding(label)
            heard[form][concept_id] += [voice] if teaches else []
    rows = []
    for form, concepts in heard.items():
        if len(concepts) != 1 or form in labels or is_usual(form) or len(form) < 4:
            continue
        ((concept_id, voices),) = concepts.items()
        if len(voices) >= TIMES and concept_id in vocabulary:
            rows.append((concept_id, form, str(len(voices)), " | ".join(sorted(set(voices))), "found by experiment"))
    text = "id\theard\ttimes\tvoices\tsource\n" + "".join("\t".join(row) + "\n" for row in sorted(rows))
    (ROOT / "vocab" / "heard.tsv").write_text(text, encoding="utf-8")
    print(f"{len(rows)} forms of {len({row[0] for row in rows})} concepts")


SCHEMES = ("remedy", "family", "rubric", "chapter", "canon", "idea", "medical", "potency", "prescription")

if __name__ == "__main__":
    main()
