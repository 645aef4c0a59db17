"""Sayings to teach the decoder: half minutes of talk with terms put for one another, spoken by synthetic voices.

    NOTESMITH_LAB=FOLDER python benchmarks/lab/make_sayings.py COUNT [--seed N]

A saying is talk that fills the half minute the model hears at once, or ends before: sentences of the open gold sessions
and plain texts of benchmarks/data, with remedies, authors, families and ideas swapped for others (commoner ones more
often), short frames of our own with potencies, and ordinary sentences in which what sounds like a term is none
(data/decoys.txt). One of the open voices, more of espeak's kinds or a voice of SVOX Pico (PyPI's ttspico) says it, somewhat higher or lower, at times in a
room or over a narrow line, and Whisper base's encoder hears it. In the lab's folder ``sayings/SEED.jsonl`` keeps the
sentences with their times, ``SEED-NUMBER.npy`` the encoder's output (1500, 512), half precision. No sentence of the
train, dev and sealed lectures is in them, and none of the voices kept for the sealed ones.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import random
import re
import sys
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

import numpy as np
import platformdirs
from faster_whisper.audio import pad_or_trim
from numpy.typing import NDArray
from scipy.signal import butter, fftconvolve, resample_poly, sosfilt
from voices import INDIAN_LANGUAGES, RATE_HZ, VOICES, mnemonics, speak, with_indian_sounds

from notesmith.correct.forms import commonness
from notesmith.extract.names import name_lists
from notesmith.sounds.latin import latin_readings
from notesmith.transcribe import WhisperSpeech, find_model
from notesmith.vocabulary import Concept, Vocabulary, load_vocabulary

DATA = Path(__file__).resolve().parents[1] / "data"
LAB = Path(os.environ.get("NOTESMITH_LAB") or platformdirs.user_cache_path("notesmith") / "lab")
SAYINGS = LAB / "sayings"
OPEN_SETS = ("dev", *(f"dev{number}" for number in range(2, 18)))
SWAPPED = ("remedy", "canon", "idea", "family")
FLATNESS = 1.7  # 10 ** (FLATNESS / ln 10 * commonness): a tenfold commoner term is said five times as often
WINDOW_S = 30.0  # the model hears so much at once
FILLED = 0.8  # of the sayings fill it
MARKED = "\u2039{}\u203a"  # a term, where it is spoken
LATIN = 0.35  # of the terms are read by their letters where the voice can be told how
INDIAN = 0.4  # of espeak's voices speak as Indians do
OTHER_VOICES = {"slt": 0.05, "fslt": 0.05, "joe": 0.1, "kdl": 0.04, "kal": 0.05, "rms": 0.08, "pico": 0.3}
KINDS = ("m1", "m2", "m3", "m4", "m5", "m7", "f1", "f2", "f3", "f4", "f5")
#: More of espeak's, named ones: no two have the same formants.
NAMED = tuple(
    (
        "Alex Alicia Andrea Andy Annie Denis Diogo Gene Henrique Hugo Jacky Lee Marco Mario Michael Mike Storm adam anika antonio aunty belinda benjamin boris "
        "david ed edward grandma grandpa iven john linda max miguel pablo paul pedro quincy rob robert sandro shelby steph travis victor zac"
    ).split()
)
WIDELY = ("en-us", "en-gb", "en-029", "en-gb-scotland")  # spoken by those
ESPEAK = (
    *(f"en-us+{kind}" for kind in ("m1", "m2", "m3", "m4", "m5", "m6", "m7", "f1", "f2", "f3", "f4")),
    *(f"en-gb+{kind}" for kind in ("m7", "m2", "m4", "f2", "f5")),
    *(f"en-gb-scotland+{kind}" for kind in ("m1", "m3", "f1", "f2")),
    *(f"en-029+{kind}" for kind in ("f4", "m2", "f1", "m5")),
)
POTENCIES = {  # as said, as written
    "two hundred": "200", "thirty": "30", "two hundred C": "200C", "thirty C": "30C", "twelve": "12", "one M": "1M",
    "ten M": "10M", "fifty M": "50M", "C M": "CM", "six X": "6X", "three X": "3X", "twelve X": "12X", "thirty X": "30X",
    "six C": "6C", "twelve C": "12C", "nine C": "9C", "two X": "2X", "L M one": "LM1", "L M two": "LM2",
    "L M three": "LM3", "L M six": "LM6", "mother tincture": "mother tincture", "zero slash one": "0/1",
}  # fmt: skip
FRAMES = (
    "{r} {p}, one dose.", "I gave {r} {p} and waited.", "She had {r} in the {p} potency.", "Compare {r}, {r} and {r}.",
    "{r} is the chronic of {r}.", "After {r} think of {r}.", "{a} gives {r} under {i}.", "In {a} you will find {r} and {r}.",
    "{r} follows {r} well.", "{r} is complementary to {r}.", "The antidotes are {r} and {r}.",
    "That is the {f} family, and {r} belongs to it.", "{a} writes that {r} is {i}.", "This is {i}, and not {i}.",
    "It is a {i} remedy.", "{a} and {a} agree here.", "We gave {r} {p} every week, then {r} {p}.",
    "{r}, {p}, repeated after a month.", "From {r} {p} we went to {p}.", "He got {r} from me, {p}, three doses.",
    "So {r} for {m}.", "{m} with {i}, think of {r}.", "{r} in high dilution, like {p} or {p}.",
    "As {a} says, {r} has it, and {r} also.", "Tomorrow we will finish {r} and start {r}.", "What about {r}, doctor?",
    "No, {r} is thirstless.", "Is it {r} or {r}?", "{r} patients are not like {r} patients.",
    "Yes {n}, go ahead.", "{n} asks whether {r} {p} may follow {r}.", "Thank you {n}.", "{n}, which remedy is it?",
    "I gave {p}.", "Then {p} after three weeks.", "No {r}, only {r} {p}.", "{r} and {r} are {i}.",
    "The {i} miasm, then the {i} one.", "Read {a} on {r}.", "{r}, {r}, {r}, that is the group.", "{f} remedies like {r}.",
)  # fmt: skip
SCHEMES = {"r": "remedy", "a": "canon", "i": "idea", "f": "family", "m": "medical"}


def sentences() -> list[str]:
    """Of the open gold sessions, without their labels, and of the plain texts."""
    texts = []
    for path in sorted(path for name in OPEN_SETS for path in (DATA / "gold" / name).glob("*.txt")):
        text = " ".join(line for line in path.read_text(encoding="utf-8").splitlines() if not line.startswith("@"))
        while (bare := re.sub(r"\{[^{}|]*\|([^{}]*)\}", r"\1", text)) != text:
            text = bare
        texts.append(text)
    for path in sorted((DATA / "tuning").glob("plain-*.txt")):
        texts.append(re.sub(r"[<>]|\|[a-z/-]+", "", path.read_text(encoding="utf-8")))
    punctuated = [text for text in texts if text.count(".") * 60 >= len(text.split())]
    found = [one.strip() for text in punctuated for one in re.split(r"(?<=[.?!])\s+", " ".join(text.split()))]
    return [one for one in found if 4 <= len(one.split()) <= 40 and one.isascii()]


class Sayings:
    """The lottery of what is said."""

    def __init__(self, vocabulary: Vocabulary, chance: random.Random) -> None:
        self._chance = chance
        self._terms: dict[str, list[list[str]]] = {}
        self._weights: dict[str, list[float]] = {}
        self._scheme: dict[str, str] = {}
        for concept in vocabulary.concepts.values():
            labels = [label for label in (concept.pref_label, *concept.alt_labels) if _sayable(label)]
            if concept.scheme in SCHEMES.values() and labels:
                self._terms.setdefault(concept.scheme, []).append(labels)
                self._weights.setdefault(concept.scheme, []).append(_weight(vocabulary, concept))
                for label in labels:
                    self._scheme.setdefault(label.lower(), concept.scheme)
        self._longest = max(len(label.split()) for label in self._scheme)

    @cached_property
    def _plain(self) -> list[str]:
        return sentences()

    @cached_property
    def _names(self) -> list[str]:
        return sorted(name.capitalize() for name in name_lists().given if name.isascii() and 3 < len(name) < 11)

    @cached_property
    def _with_terms(self) -> list[str]:
        return [one for one in self._plain if self._swapped(one) != one]

    @cached_property
    def _decoys(self) -> list[str]:
        text = (DATA / "decoys.txt").read_text(encoding="utf-8")
        return re.split(r"(?<=[.?!])\s+", " ".join(text.split()))

    def draw(self) -> tuple[str, str]:
        """A sentence as said and as written."""
        kind = self._chance.random()
        if 0.42 <= kind < 0.62:
            return self._filled(self._chance.choice(FRAMES))
        if kind < 0.42:
            text = self._swapped(self._chance.choice(self._with_terms))
        else:
            text = self._chance.choice(self._plain if kind < 0.8 else self._decoys)
        return text, unmarked(text)

    def _term(self, scheme: str) -> str:
        labels = self._chance.choices(self._terms[scheme], self._weights[scheme])[0]
        return MARKED.format(labels[0] if self._chance.random() < 0.45 else self._chance.choice(labels))

    def _filled(self, frame: str) -> tuple[str, str]:
        said = written = frame
        while (blank := re.search(r"\{(\w)\}", said)) is not None:
            if blank[1] == "p":
                spoken, figure = self._chance.choice(list(POTENCIES.items()))
            elif blank[1] == "n":
                spoken = figure = self._chance.choice(self._names)
            else:
                spoken = figure = self._term(SCHEMES[blank[1]])
            said, written = said.replace(blank[0], spoken, 1), written.replace(blank[0], figure, 1)
        return said, unmarked(written)

    def _swapped(self, sentence: str) -> str:
        """The sentence with four terms of five put for others of their kind."""
        words, out, at = sentence.split(), list[str](), 0
        while at < len(words):
            for size in range(min(self._longest, len(words) - at), 0, -1):
                core = (whole := " ".join(words[at : at + size])).rstrip(".,?!;:")
                bare = core.removesuffix("'s")
                scheme = self._scheme.get(bare.lower())
                named = core[:1].isupper() or scheme == "idea"
                if scheme in SWAPPED and named and len(bare) > 3 and self._chance.random() < 0.8:
                    out.append(self._term(scheme) + core[len(bare) :] + whole[len(core) :])
                    at += size
                    break
            else:
                out.append(words[at])
                at += 1
        return " ".join(out)


def unmarked(text: str) -> str:
    return re.sub(r"[\u2039\u203a]", "", text)


def read_aloud(text: str, chance: random.Random) -> str:
    """The text for espeak, a term of three as one of the ways a teacher may read its letters."""

    def reading(match: re.Match[str]) -> str:
        words = [latin_readings(word) for word in match[1].split()]
        if chance.random() > LATIN or not all(words):
            return match[1]
        return " ".join(f"[[{'|'.join(mnemonics(chance.choice(readings)))}]]" for readings in words)

    return re.sub("\u2039([^\u203a]*)\u203a", reading, text)


def _sayable(label: str) -> bool:
    return re.fullmatch(r"[A-Za-z][A-Za-z .'-]{2,}", label) is not None


def _weight(vocabulary: Vocabulary, concept: Concept) -> float:
    return math.exp(FLATNESS * commonness(vocabulary, concept))


class Sentence(NamedTuple):
    """A sentence as written, and when it is said."""

    start_s: float
    end_s: float
    text: str


def talk(sayings: Sayings, chance: random.Random) -> tuple[list[Sentence], NDArray[np.float32]]:
    """Sentences by one voice, and (n,) sound at 16 kHz, which may end inside the last."""
    drawn, voice = chance.random(), "drawn"
    for name, share in OTHER_VOICES.items():
        if drawn < share:
            voice = name
            break
        drawn -= share
    indian = voice == "drawn" and chance.random() < INDIAN
    if indian:
        kind = f"{chance.choice(INDIAN_LANGUAGES)}+{chance.choice(KINDS + NAMED)}"
    elif chance.random() < 0.5:
        kind = f"{chance.choice(WIDELY)}+{chance.choice(NAMED)}"
    else:
        kind = chance.choice(ESPEAK)
    VOICES["drawn"] = ("espeak", kind, chance.randint(120, 180))
    VOICES["pico"] = ("pico", f"{chance.choice(('en-US', 'en-GB'))}+{chance.randint(70, 130)}", chance.randint(85, 120))
    height, pause_s = chance.uniform(0.9, 1.1), chance.uniform(0.15, 0.7)
    until_s = WINDOW_S if chance.random() < FILLED else chance.uniform(8, WINDOW_S - 1)
    at_s = chance.uniform(0, 0.4)
    pieces, said = [np.zeros(int(at_s * RATE_HZ))], list[Sentence]()
    while at_s < until_s and (until_s == WINDOW_S or at_s < until_s - 2):
        spoken, written = sayings.draw()
        spoken = read_aloud(spoken, chance) if voice == "drawn" else unmarked(spoken)
        spoken = with_indian_sounds(spoken, chance) if indian else spoken
        sound = resample_poly(speak(voice, spoken), 100, round(100 * height))
        loud = np.flatnonzero(np.abs(sound) > 0.01 * np.abs(sound).max())
        sound = sound[loud[0] : loud[-1] + 1]
        said.append(Sentence(round(at_s, 2), round(at_s + len(sound) / RATE_HZ, 2), written))
        gap = np.zeros(int(RATE_HZ * pause_s * chance.uniform(0.6, 1.6)))
        pieces += [sound, gap]
        at_s += (len(sound) + len(gap)) / RATE_HZ
    return said, np.concatenate(pieces)[: int(WINDOW_S * RATE_HZ)]


def in_a_room(sound: NDArray[np.float32], chance: random.Random) -> NDArray[np.float32]:
    """As a microphone somewhere would hear it."""
    noise = np.random.default_rng(chance.randint(0, 10**9))
    if chance.random() < 0.25:
        band = [chance.uniform(80, 200), chance.uniform(3200, 6000)]
        sound = sosfilt(butter(4, band, "bandpass", fs=RATE_HZ, output="sos"), sound)
    if chance.random() < 0.3:
        size = int(RATE_HZ * chance.uniform(0.1, 0.3))
        echo = noise.normal(0, 1, size) * np.exp(-np.arange(size) / (size / 5))
        echo[0] = chance.uniform(6, 12)
        loud = np.std(sound)
        sound = fftconvolve(sound, echo)[: len(sound)]
        sound = sound * (loud / max(1e-6, np.std(sound)))
    return np.asarray(sound + noise.normal(0, chance.choice((0.0004, 0.001, 0.003, 0.006)), len(sound)), np.float32)


def made(seed: int, count: int) -> Iterator[tuple[list[Sentence], NDArray[np.float16]]]:
    chance = random.Random(seed)
    sayings = Sayings(load_vocabulary(), chance)
    model = WhisperSpeech(find_model("base")).model
    for _ in range(count):
        said, sound = talk(sayings, chance)
        features = model.feature_extractor(in_a_room(sound, chance), padding=0)
        yield said, np.asarray(model.encode(pad_or_trim(features)), np.float32)[0].astype(np.float16)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    SAYINGS.mkdir(parents=True, exist_ok=True)
    listed = SAYINGS / f"{given.seed}.jsonl"
    listed.write_text("", encoding="utf-8")
    for number, (said, encoded) in enumerate(made(given.seed, given.count)):
        np.save(SAYINGS / f"{given.seed}-{number:05}.npy", encoded)
        with listed.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"id": f"{given.seed}-{number:05}", "said": said}) + "\n")
        if number % 50 == 49:
            print(f"{number + 1} sayings", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
