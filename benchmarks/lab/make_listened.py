"""Human speech for the decoder's lessons, with what Whisper base as published writes of it.

    NOTESMITH_LAB=FOLDER python benchmarks/lab/make_listened.py COUNT CLIPS... [--seed N]

A decoder taught by synthetic voices alone forgets how people speak. So clips of any people's speech in English (folders of
wav, mp3 or ogg files; no transcript is needed) are joined in the order of their names to half a minute or less, and the
published model writes them down; learn_decoder.py takes that for what was said beside the sayings of make_sayings.py, so
that the taught model goes on hearing people as the published one does (distillation of sequences: Kim and Rush, EMNLP
2016). In the lab's folder ``sayings/listened-SEED.jsonl`` keeps the tokens, with their times,
``listened-SEED-NUMBER.npy`` the encoder's output (1500, 512), half precision. What the model is unsure of is left out.

The ones that ship were learnt from the speech in three Debian packages, flight-of-the-amazon-queen (its clips are MP3 files
inside queen.1c), warzone2100-data (Ogg files inside base.wz) and asterisk-core-sounds-en-wav, and from the meetings among
the tests of the Python package pyannote.audio.
"""

from __future__ import annotations

import argparse
import json
import random
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
from faster_whisper.audio import decode_audio, pad_or_trim
from faster_whisper.tokenizer import Tokenizer
from faster_whisper.transcribe import get_compression_ratio
from make_sayings import FILLED, SAYINGS, WINDOW_S
from numpy.typing import NDArray
from voices import RATE_HZ, evened

from notesmith.transcribe import WhisperSpeech, find_model

SOUNDS = (".wav", ".mp3", ".ogg")
LEAST_SURE = -0.9  # mean log-probability of a token
MOST_REPEATED = 2.2  # of the text's size to that of it compressed: above, the model goes round in circles
LEAST_TOKENS, MOST_TOKENS = 10, 200


def joined(clips: Sequence[Path], chance: random.Random) -> NDArray[np.float32]:
    """(n,) sound at 16 kHz of clips that follow one another, from any on, of half a minute or less."""
    at = chance.randrange(len(clips))
    filled = chance.random() < FILLED
    until = int(RATE_HZ * (WINDOW_S if filled else chance.uniform(6, WINDOW_S - 1)))
    pieces = [np.zeros(int(RATE_HZ * chance.uniform(0, 0.4)), np.float32)]
    size = len(pieces[0])
    while size < until and at < len(clips):
        sound = decode_audio(str(clips[at]))
        if len(sound) > until:  # a long recording is heard from any place on
            sound = sound[chance.randrange(len(sound) - until) :][:until]
        gap = np.zeros(int(RATE_HZ * chance.uniform(0.1, 0.7)), np.float32)
        at += 1
        if not filled and size + len(sound) > until:
            break
        pieces += [evened(sound), gap]
        size += len(sound) + len(gap)
    whole = np.concatenate(pieces)[: int(RATE_HZ * WINDOW_S)]
    hiss = np.random.default_rng(chance.randint(0, 10**9)).normal(0, chance.choice((0.0004, 0.001, 0.003)), len(whole))
    return np.asarray(whole + hiss, np.float32)


def made(clips: Sequence[Path], seed: int, count: int) -> Iterator[tuple[list[int], NDArray[np.float16]]]:
    chance = random.Random(seed)
    model = WhisperSpeech(find_model("base")).model
    tokenizer = Tokenizer(model.hf_tokenizer, model.model.is_multilingual, task="transcribe", language="en")
    while count:
        encoded = model.encode(pad_or_trim(model.feature_extractor(joined(clips, chance), padding=0)))
        written = model.model.generate(
            encoded, [list(tokenizer.sot_sequence)], beam_size=5, max_length=224, return_scores=True
        )[0]  # fmt: skip
        tokens = list(written.sequences_ids[0])
        text = tokenizer.decode([token for token in tokens if token < tokenizer.eot])
        sure = written.scores[0] >= LEAST_SURE and get_compression_ratio(text) <= MOST_REPEATED
        if sure and LEAST_TOKENS <= len(tokens) <= MOST_TOKENS:
            yield tokens, np.asarray(encoded, np.float32)[0].astype(np.float16)
            count -= 1


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("count", type=int)
    parser.add_argument("clips", type=Path, nargs="+", help="folders of clips")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    clips = sorted(path for folder in given.clips for path in folder.rglob("*") if path.suffix in SOUNDS)
    if not clips:
        sys.exit(f"no {', '.join(SOUNDS)} files in {', '.join(map(str, given.clips))}; name folders of clips")
    SAYINGS.mkdir(parents=True, exist_ok=True)
    listed = SAYINGS / f"listened-{given.seed}.jsonl"
    listed.write_text("", encoding="utf-8")
    for number, (tokens, encoded) in enumerate(made(clips, given.seed, given.count)):
        name = f"listened-{given.seed}-{number:05}"
        np.save(SAYINGS / f"{name}.npy", encoded)
        with listed.open("a", encoding="utf-8") as file:
            file.write(json.dumps({"id": name, "tokens": tokens}) + "\n")
        if number % 50 == 49:
            print(f"{number + 1} half minutes", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
