"""Passages that the lecturer reads aloud from the course's own text, found and restored by it.

Rare runs of words lead from the lecture to a line of the text; the line and the words around are then aligned word by
word. Where they differ and sound alike, the line is right: it is what was read.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence

from rapidfuzz.distance import Levenshtein, Opcode

from notesmith.annotations import Correction, Evidence, TextbookReading
from notesmith.sounds import load_costs, pronounce_text
from notesmith.sounds.distance import encode_all
from notesmith.transcript import Transcript, WordRange, sounding
from notesmith.vocabulary import Vocabulary, label_key
from notesmith.vocabulary.potency import number_of

RUN = 3  # words in a row that lead to a line
MIN_WORDS = 6
MIN_SHARED = 0.6  # share of the line's words heard as they stand
# Sound distance a phone up to which a difference is a mishearing; one word between words read as they stand may be
# farther off.
NEAR, NEAR_ONE = 0.9, 1.7
MAX_RUN_LINES = 20  # a run found in more lines than these leads nowhere
MAX_GAP = 4


def read_along(
    transcript: Transcript, textbook: Sequence[str], vocabulary: Vocabulary
) -> tuple[tuple[TextbookReading, ...], list[Correction]]:
    """The passages read aloud, and the corrections that their lines give. Lines are numbered from 1."""
    lines = [sounding(text).split() for text in textbook]
    runs: dict[tuple[str, ...], list[tuple[int, int]]] = defaultdict(list)
    for number, line in enumerate(lines):
        if len(line) >= MIN_WORDS:
            for at in range(len(line) - RUN + 1):
                runs[tuple(line[at : at + RUN])].append((number, at))
    if not runs:
        return (), []
    heard = [sounding(word.text) for word in transcript.words]
    readings: list[TextbookReading] = []
    corrections: list[Correction] = []
    at = 0
    while at < len(heard) - RUN + 1:
        places = runs.get(tuple(heard[at : at + RUN]), [])
        best = max(
            (found for line, offset in places[:MAX_RUN_LINES] if (found := _passage(heard, at, lines[line], offset))),
            key=lambda found: found[0],
            default=None,
        )
        if best is None:
            at += 1
            continue
        _, words, line_words, opcodes = best
        number = next(n for n, _ in places if lines[n] is line_words)
        readings.append(TextbookReading(words, number + 1, textbook[number].strip()))
        corrections += _differences(transcript, words, textbook[number], line_words, opcodes, vocabulary)
        at = words.end
    return tuple(readings), corrections


def _passage(
    heard: Sequence[str], at: int, line: list[str], offset: int
) -> tuple[float, WordRange, list[str], list[Opcode]] | None:
    """The passage around a shared run, if enough of the line was read."""
    start = max(0, at - offset - MAX_GAP)
    end = min(len(heard), at + len(line) - offset + MAX_GAP)
    opcodes = list(Levenshtein.opcodes(heard[start:end], line))
    # What was said before and after the reading aligns with nothing of the line.
    while opcodes and opcodes[0].tag == "delete":
        opcodes.pop(0)
    while opcodes and opcodes[-1].tag == "delete":
        opcodes.pop()
    same = [op for op in opcodes if op.tag == "equal"]
    if not same:
        return None
    first, last = opcodes.index(same[0]), opcodes.index(same[-1])
    kept = opcodes[max(0, first - 1) : last + 2]
    shared = sum(op.src_end - op.src_start for op in same)
    covered = kept[-1].dest_end - kept[0].dest_start
    if shared < MIN_WORDS - 2 or covered < MIN_WORDS or shared < MIN_SHARED * covered:
        return None
    return shared - 0.5 * (covered - shared), WordRange(start + kept[0].src_start, start + kept[-1].src_end), line, [
        Opcode(op.tag, op.src_start + start, op.src_end + start, op.dest_start, op.dest_end) for op in kept
    ]  # fmt: skip


def _differences(
    transcript: Transcript, words: WordRange, text: str, line: list[str], opcodes: list[Opcode], vocabulary: Vocabulary
) -> list[Correction]:
    spelt = [word for word in text.replace("-", " ").split() if sounding(word)]
    if len(spelt) != len(line):
        spelt = line
    found = []
    for op in opcodes:
        if op.tag != "replace" or op.src_end > words.end or op.src_start < words.start:
            continue
        segment = transcript.segment_of(op.src_start)
        heard = transcript.text(WordRange(op.src_start, op.src_end))
        restored = " ".join(spelt[op.dest_start : op.dest_end]).strip(".,;:?!\"'()")
        if transcript.segment_of(op.src_end - 1) != segment or not _alike(heard, restored):
            continue
        concept_id = next(iter(vocabulary.by_label.get(label_key(restored), ())), "")
        number = number_of(sounding(heard)) is not None or number_of(sounding(restored)) is not None
        start = transcript.segment_starts[segment]
        found.append(
            Correction(
                segment, op.src_start - start, op.src_end - start, heard, concept_id, restored, 0.95,
                (Evidence("textbook", "the course's text, which is being read aloud, has it so"),),
                "proposed" if number else "applied",
            )
        )  # fmt: skip
    return found


def _alike(heard: str, restored: str) -> bool:
    near = NEAR_ONE if " " not in heard and " " not in restored else NEAR
    first, second = pronounce_text(heard)[:40], pronounce_text(restored)[:40]
    if not first or not second or sounding(heard) == sounding(restored):
        return False
    return float(load_costs().distances(first, encode_all([second]))[0]) <= near * max(len(first), len(second))
