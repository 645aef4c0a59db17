"""How much the sound tells: forced decoding of rival wordings, and a second listening with likely terms.

Every term of the dev (or sealed) lectures whose bounds are sure is put among five rivals, the vocabulary's labels most
like what was heard (RapidFuzz ratio). Decoys and terms heard rightly serve as places where nothing should change:
there the best rival must not come near what was heard. Needs the recordings of benchmarks/lab/make_audio.py.
"""

from __future__ import annotations

import argparse
import gzip
import os
import sys
import time
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import platformdirs
from rapidfuzz import fuzz, process
from wordfreq import zipf_frequency

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE / "lab"))

from truth import Occurrence, occurrences, read_times  # noqa: E402

from notesmith.recording import clip  # noqa: E402
from notesmith.transcribe import AudioWitness, WhisperSpeech, load_model  # noqa: E402
from notesmith.transcript import TimeSpan, Transcript, iter_sentences, sounding  # noqa: E402
from notesmith.vocabulary import load_vocabulary  # noqa: E402

NAME = "witness"
DESCRIPTION = "what the audio witness and a second listening tell of misheard terms"
CACHE = Path(os.environ.get("NOTESMITH_LAB") or platformdirs.user_cache_path("notesmith") / "lab")
BEFORE, AFTER, RIVALS = 14, 8, 5


class Place(msgspec.Struct, frozen=True):
    """A term or decoy inside its sentence, as wordings: heard first, then the truth where there is one, then rivals."""

    name: str
    kind: str  # misheard, right, decoy
    ordinary: bool  # heard as usual English words
    time: TimeSpan
    before: str
    after: str
    wordings: tuple[str, ...]


def lectures(part: str) -> Iterator[tuple[str, Path, Transcript, list[Occurrence]]]:
    for plain in sorted((HERE / "data" / part).glob("*.plain.json.gz")):
        name = plain.name.removesuffix(".plain.json.gz")
        recording = CACHE / part / f"{name}.ogg"
        if recording.is_file():
            transcript = msgspec.json.decode(gzip.decompress(plain.read_bytes()), type=Transcript)
            script = plain.with_name(name.split(".")[0] + ".txt")
            spoken = read_times(script, plain.with_name(f"{name}.times.tsv"))
            yield name, recording, transcript, occurrences(spoken, transcript)


def places(name: str, transcript: Transcript, found: Sequence[Occurrence], labels: dict[str, str]) -> Iterator[Place]:
    texts = tuple(word.text for word in transcript.words)
    sentences = list(iter_sentences(texts))
    for one in found:
        if not len(one.words) or not one.clean:
            continue
        first, last = next(s for s in sentences if s[0] <= one.words.start < s[1])
        first = max(first, one.words.start - BEFORE)
        last = min(max(last, one.words.end), one.words.end + AFTER)
        heard = one.heard.strip(".,;:?! ")
        term = one.said.concept_id
        right = term is not None and sounding(heard) == sounding(one.said.text)
        truth = () if term is None or right else (one.said.text,)
        rivals: list[str] = []
        for label, _, _ in process.extract(heard, list(labels), scorer=fuzz.ratio, limit=3 * RIVALS):
            if labels[label] != term and sounding(label) != sounding(heard) and len(rivals) < RIVALS:
                rivals.append(label)
        start_ms = transcript.words[first].time.start_ms
        yield Place(
            name,
            "decoy" if term is None else "right" if right else "misheard",
            all(zipf_frequency(word, "en") >= 3.3 for word in sounding(heard).split()),
            TimeSpan(start_ms, max(start_ms, transcript.words[last - 1].time.end_ms)),
            " ".join(texts[first : one.words.start]),
            " ".join(texts[one.words.end : last]),
            (heard, *truth, *rivals),
        )


def auc(positive: Sequence[float], negative: Sequence[float]) -> float:
    if not positive or not negative:
        return float("nan")
    above = np.asarray(positive)[:, None] - np.asarray(negative)[None]
    return float((above > 0).mean() + 0.5 * (above == 0).mean())


def second_listening(model: WhisperSpeech, recording: Path, place: Place) -> tuple[bool, bool]:
    """(accepted, right): decode the sentence again with its rivals as hotwords.

    Accepted is only what leaves all other words as they were; right tells whether the true term then stands there.
    """
    sound = clip(recording, TimeSpan(max(0, place.time.start_ms - 200), place.time.end_ms + 300))
    segments, _ = model.model.transcribe(
        sound, language="en", beam_size=5, vad_filter=False, condition_on_previous_text=False, without_timestamps=True,
        hotwords=", ".join(place.wordings[1:]),
    )  # fmt: skip
    text = sounding("".join(segment.text for segment in segments))
    before, after = sounding(place.before), sounding(place.after)
    if not (text.startswith(before) and text.endswith(after)) or len(text) < len(before) + len(after):
        return False, False
    middle = text[len(before) : len(text) - len(after)].strip()
    return middle in {sounding(w) for w in place.wordings[1:]}, middle == sounding(place.wordings[1])


def run(arguments: Sequence[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="run.py witness")
    parser.add_argument("--part", choices=("dev", "sealed"), default="dev")
    parser.add_argument("--only", default="", help="lectures whose name holds this")
    parser.add_argument("--listen-again", action="store_true", help="try the second listening too (slow)")
    given = parser.parse_args(arguments)
    vocabulary = load_vocabulary()
    labels = {
        label: concept.id
        for concept in vocabulary.in_scheme("remedy", "idea", "canon")
        if not concept.id.startswith(("book/", "journal/"))
        for label in (concept.pref_label, *concept.alt_labels)
    }
    model = load_model()
    scored: list[tuple[Place, list[float]]] = []
    again: list[tuple[bool, bool]] = []
    seconds = wordings = 0.0
    for name, recording, transcript, found in lectures(given.part):
        if given.only not in name:
            continue
        witness = AudioWitness(recording, model)
        for place in places(name, transcript, found, labels):
            if place.kind == "right" and len(scored) % 3:
                continue  # enough of them
            begun = time.perf_counter()
            scores = list(witness.score(place.time, place.before, place.wordings, place.after))
            seconds += time.perf_counter() - begun
            wordings += len(scores)
            if any(scores):
                scored.append((place, scores))
            if given.listen_again and place.kind == "misheard":
                again.append(second_listening(model, recording, place))
    misheard = [(p, s) for p, s in scored if p.kind == "misheard"]
    negative = [max(s[1:]) - s[0] for p, s in scored if p.kind != "misheard"]
    margins = [s[1] - s[0] for _, s in misheard]
    ordinary = [s[1] - s[0] for p, s in misheard if p.ordinary]
    decoys = [max(s[1:]) - s[0] for p, s in scored if p.kind == "decoy"]
    figures: dict[str, Any] = {
        "part": given.part,
        "misheard": len(misheard),
        "nothing_to_change": len(negative),
        "first_among_rivals": sum(s[1] == max(s[1:]) for _, s in misheard) / max(1, len(misheard)),
        "auc_misheard_against_rest": auc(margins, negative),
        "auc_ordinary_words_against_decoys": auc(ordinary, decoys),
        "median_margin_misheard": float(np.median(margins)) if margins else None,
        "median_margin_rest": float(np.median(negative)) if negative else None,
        "recall_at_5_percent_false": float(np.mean(np.asarray(margins) > np.quantile(negative, 0.95))),
        "recall_at_1_percent_false": float(np.mean(np.asarray(margins) > np.quantile(negative, 0.99))),
        "seconds_a_wording": seconds / max(1.0, wordings),
    }
    if again:
        figures["second_listening"] = {
            "tried": len(again),
            "accepted": sum(accepted for accepted, _ in again) / len(again),
            "right": sum(right for _, right in again) / len(again),
        }
    for key, value in figures.items():
        print(f"{key:36} {value if not isinstance(value, float) else round(value, 3)}")
    return figures
