"""How far two hands agree under the labelling guideline: the second hand's labels scored as a program's findings would be.

    python benchmarks/run.py agreement [--swap]

The seven sessions of ``benchmarks/data/gold/dev8`` were labelled twice, the second time (``dev8-second``) from the bare words.
The figures are those of ``run.py notes``, so they say what a program can reach at best on these texts; where it falls short
of a figure, the rest is its own. Both hands are of one kind and the texts are tidy, so it is a generous bound. ``--swap``
takes the second hand as the gold.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from types import SimpleNamespace
from typing import Any

import measure_notes as notes

from notesmith.transcript import WordRange
from notesmith.vocabulary import Vocabulary, load_vocabulary

DESCRIPTION = "how far two hands agree on the labels of the notes: the bound of what a program can reach"
FIRST, SECOND = notes.GOLD / "dev8", notes.GOLD / "dev8-second"
CAUTIONS = {"u": "urgent condition", "d": "discourages care", "c": "claim of cure"}
DIRECTIONS = {"co+": "promised", "co-": "referred back"}


def as_found(gold: notes.GoldSession, vocabulary: Vocabulary) -> Any:
    """One hand's labels in the shape of an Extraction, as far as the measure reads it."""

    def remedy(label: notes.Label) -> str | None:
        return notes._remedy(vocabulary, label.argument.partition(":")[2] or gold.focus[label.part])

    told: dict[str, list[WordRange]] = {}
    for part in gold.parts:
        if part.kind == "case":
            told.setdefault(part.name, []).append(WordRange(part.start, part.end))
    vignettes = [
        SimpleNamespace(words=runs[0], follow_ups=tuple(runs[1:]), findings=[
            SimpleNamespace(label=notes.FIELDS[f.argument], words=f.words, text=gold.reading.text_of(f.words))
            for f in gold.of("f") if gold.parts[f.part].kind == "case" and gold.parts[f.part].name == name
        ])
        for name, runs in told.items()
    ]  # fmt: skip
    points = [
        # Where a label gives two kinds the first is taken, as a program must say one.
        SimpleNamespace(words=p.words, kind=notes.KINDS[p.argument.partition(":")[0].split("/")[0]], remedy_id=remedy(p),
                        text=gold.reading.text_of(p.words))
        for p in gold.of("p")
    ]  # fmt: skip
    compared = [
        SimpleNamespace(words=p.words, remedy_id=remedy(p))
        for p in gold.of("p")
        if gold.parts[p.part].kind == "comparison" and p.argument.startswith("dif")
    ]
    prescriptions = []
    for rx in gold.of("rx"):
        label, potency, repetition, duration = (rx.argument + ";;;").split(";")[:4]
        prescriptions.append(SimpleNamespace(
            words=rx.words, remedy_id=notes._remedy(vocabulary, label), potency=potency or None, potency_said=potency,
            repetition=repetition or None, duration=duration or None,
            case_key=gold.parts[rx.part].name if gold.parts[rx.part].kind == "case" else None,
        ))  # fmt: skip
    cautions = [SimpleNamespace(words=c.words, kind=kind) for code, kind in CAUTIONS.items() for c in gold.of(code)]
    # A flag of a dose is the program's own consequence of a prescription, so the prescriptions stand for it.
    cautions += [SimpleNamespace(words=rx.words, kind="potency or dose") for rx in prescriptions if rx.potency]
    return SimpleNamespace(
        parts=[SimpleNamespace(kind=p.kind, words=WordRange(p.start, p.end)) for p in gold.parts],
        vignettes=vignettes, points=points, comparisons=[SimpleNamespace(facts=compared)], prescriptions=prescriptions,
        questions=[SimpleNamespace(words=q.words) for q in gold.of("q")],
        carry_overs=[SimpleNamespace(words=c.words, direction=d) for code, d in DIRECTIONS.items() for c in gold.of(code)],
        persons=[SimpleNamespace(words=n.words, hide=True) for n in gold.of("n")], cautions=cautions,
    )  # fmt: skip


def run(arguments: Sequence[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="run.py agreement", description=DESCRIPTION)
    parser.add_argument("--swap", action="store_true", help="take the second hand as the gold")
    given = parser.parse_args(list(arguments))
    vocabulary = load_vocabulary()
    tally, words, sessions = notes.Tally(), 0, sorted(FIRST.glob("*.txt"))
    for path in sessions:
        gold, other = (
            notes.parse_gold(path.stem, (folder / path.name).read_text(encoding="utf-8"))
            for folder in ((SECOND, FIRST) if given.swap else (FIRST, SECOND))
        )
        if [w.text for w in gold.reading.transcript.words] != [w.text for w in other.reading.transcript.words]:
            raise ValueError(f"{path.name}: the two hands' words differ")
        for part in gold.parts:
            spoken_ms = sum(w.time.duration_ms for w in gold.reading.transcript.words[part.start : part.end])
            tally.add(part_commentary_only=spoken_ms if part.kind == "commentary" else 0)
        notes.score_session(gold, as_found(other, vocabulary), vocabulary, tally, lambda _: None)
        words += len(gold.reading.transcript.words)
    figures = notes._figures(tally, len(sessions), words, 0)
    for name, value in figures.items():
        if not isinstance(value, dict) and not name.startswith("seconds"):
            print(f"{name:40} {value!s:>8}")
    for name, value in figures["fields_f1_by_label"].items():
        print(f"  {name:38} {value!s:>8}")
    print(f"baseline, all of it commentary: parts {figures['baselines']['parts_all_commentary']}")
    return {"agreement": figures}
