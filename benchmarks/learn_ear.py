"""Learn to tell phones from what the speech model's encoder hears: writes notesmith/sounds/data/ear.npz.

    NOTESMITH_LAB=FOLDER python benchmarks/learn_ear.py        needs PyTorch (pip install torch), nothing else does

The recordings of benchmarks/data/train (made by benchmarks/lab/make_audio.py train) are encoded in pieces of a few lines
to half a minute; what was said in them is the script, read by sounds.pronounce_text. First each frame of a word that was
heard rightly is taught its phone, the word's time shared out evenly; then whole pieces are taught by connectionist
temporal classification (Graves and others, ICML 2006). Printed: the phone error rate (edits a phone of the reading) on the
dev recordings, by voice, and on human speech (LibriVox recordings of Debian's pocketsphinx-testdata).

The judge must weigh an ear as good as it will be for a voice it never heard, so two more are learnt, each from half of
the voices (``HALVES``); they stay in the lab's folder and hear the other half for benchmarks/learn_judge.py.
"""

from __future__ import annotations

import argparse
import gzip
import os
import random
import sys
import time
import wave
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import numpy as np
import platformdirs
import torch
from numpy.typing import NDArray
from rapidfuzz.distance import Levenshtein
from torch import nn

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE / "lab")]

from truth import read_times  # noqa: E402
from voices import HALVES  # noqa: E402

from notesmith.recording import RATE_HZ, clip  # noqa: E402
from notesmith.sounds import PHONES, pronounce_text  # noqa: E402
from notesmith.sounds import ear as ear_module  # noqa: E402
from notesmith.sounds.ear import FRAME_MS, NOTHING, Ear, spell  # noqa: E402
from notesmith.transcribe import WhisperSpeech, find_model  # noqa: E402
from notesmith.transcribe.witness import LEAD_MS, TAIL_MS, encode  # noqa: E402
from notesmith.transcript import TimeSpan, Transcript  # noqa: E402

DATA = HERE / "data"
LAB = Path(os.environ.get("NOTESMITH_LAB") or platformdirs.user_cache_path("notesmith") / "lab")
TARGET = Path(ear_module.__file__).parent / "data" / "ear.npz"
HUMAN = Path("/usr/share/pocketsphinx/test/data/librivox")
PIECES_MS = (4_000, 12_000, 20_000, 27_000, 27_000)  # drawn from; the model hears 30 seconds
LONGEST_MS = 28_500
SURE = 0.5  # probability of a word whose frames are taught their phones
PAUSE_FRAMES, PAUSE_EDGE = 10, 3
UNKNOWN = -100
WIDTH, INNER, TAPS = 512, 128, 5
FRAMES_A_STEP = 3_000
PRIMED, EPOCHS, MORE_EPOCHS = 2, 4, 2
RATE = 3e-3
CODE = {phone: code for code, phone in enumerate(PHONES)}
Codes = NDArray[np.int64]


class Piece(NamedTuple):
    """A piece of a recording: what the encoder made of it, the phones said, and each frame's phone where known."""

    encoded: NDArray[np.float16]
    said: Codes
    frames: Codes


class Network(nn.Module):
    """The network of sounds/ear.py, with the same names."""

    def __init__(self) -> None:
        super().__init__()
        self.a = nn.Linear(WIDTH, INNER)
        self.b = nn.Conv1d(INNER, INNER, TAPS, padding=TAPS // 2)
        self.c = nn.Conv1d(INNER, INNER, TAPS, padding=TAPS // 2)
        self.d = nn.Linear(INNER, len(PHONES) + 1)
        self.drop = nn.Dropout(0.1)

    def forward(self, encoded: torch.Tensor) -> torch.Tensor:
        inner = torch.relu(self.a(self.drop(encoded))).transpose(1, 2)
        inner = inner + torch.relu(self.b(inner))
        inner = inner + torch.relu(self.c(inner))
        return nn.functional.log_softmax(self.d(self.drop(inner.transpose(1, 2))), -1)


def codes_of(text: str) -> Codes:
    return np.array([CODE[phone] for phone in pronounce_text(text) if phone in CODE], np.int64)


def encoded(model: Any, sound: NDArray[np.float32]) -> NDArray[np.float16]:
    return encode(model, sound)[0][0].astype(np.float16)


def pieces_of(part: str, name: str, model: Any) -> list[Piece]:
    """A recording in pieces of whole script lines; encodings are kept in the lab's folder."""
    times = DATA / part / f"{name}.times.tsv"
    spoken = read_times(times.with_name(f"{name.rsplit('.', 1)[0]}.txt"), times)
    heard = msgspec.json.decode(gzip.decompress(times.with_name(f"{name}.plain.json.gz").read_bytes()), type=Transcript)
    drawn = random.Random(name)
    spans: list[tuple[TimeSpan, str]] = []
    first = 0
    while first < len(spoken):
        longest, last = drawn.choice(PIECES_MS), first + 1
        while last < len(spoken) and spoken[last].end_ms - spoken[first].start_ms <= longest:
            last += 1
        span = TimeSpan(max(0, spoken[first].start_ms - LEAD_MS), spoken[last - 1].end_ms + TAIL_MS)
        if span.duration_ms <= LONGEST_MS:
            spans.append((span, " ".join(one.line.text for one in spoken[first:last])))
        first = last
    kept = LAB / "encoded" / f"{part}.{name}.npz"
    if not kept.exists():
        whole = clip(LAB / part / f"{name}.ogg", TimeSpan(0, spoken[-1].end_ms + 2000))
        rate = RATE_HZ // 1000
        made = {f"x{n}": encoded(model, whole[s.start_ms * rate : s.end_ms * rate]) for n, (s, _) in enumerate(spans)}
        kept.parent.mkdir(parents=True, exist_ok=True)
        np.savez(kept, **made)
    with np.load(kept) as pieces:
        return [
            Piece(pieces[f"x{n}"], codes_of(text), frames_of(heard, span, len(pieces[f"x{n}"])))
            for n, (span, text) in enumerate(spans)
        ]


def frames_of(heard: Transcript, span: TimeSpan, size: int) -> Codes:
    """Each frame's phone by the words heard surely, ``NOTHING`` in a pause, ``UNKNOWN`` elsewhere."""
    frames = np.full(size, UNKNOWN, np.int64)
    before: float | None = None
    for word in heard.words:
        if word.time.start_ms < span.start_ms or word.time.end_ms > span.end_ms:
            continue
        start, end = (word.time.start_ms - span.start_ms) / FRAME_MS, (word.time.end_ms - span.start_ms) / FRAME_MS
        if before is not None and start - before > PAUSE_FRAMES:
            frames[int(before) + PAUSE_EDGE : int(start) - PAUSE_EDGE] = NOTHING
        before = end
        phones = codes_of(word.text)
        if len(phones) and (word.probability or 0.0) >= SURE:
            edges = np.rint(np.linspace(start, end, len(phones) + 1)).astype(int)
            for phone, a, b in zip(phones, edges, edges[1:], strict=False):
                frames[a : max(a + 1, b)] = phone
    return frames


def batches(pieces: Sequence[Piece]) -> list[list[Piece]]:
    """Pieces of about one length together, in any order."""
    order = sorted(pieces, key=lambda piece: len(piece.encoded) + random.random() * 200)
    groups: list[list[Piece]] = [[]]
    for piece in order:
        if groups[-1] and (len(groups[-1]) + 1) * len(piece.encoded) > FRAMES_A_STEP:
            groups.append([])
        groups[-1].append(piece)
    random.shuffle(groups)
    return groups


def padded(group: Sequence[Piece]) -> tuple[torch.Tensor, torch.Tensor]:
    longest = max(len(piece.encoded) for piece in group)
    encoded, frames = torch.zeros(len(group), longest, WIDTH), torch.full((len(group), longest), UNKNOWN)
    for row, piece in enumerate(group):
        encoded[row, : len(piece.encoded)] = torch.from_numpy(piece.encoded.astype(np.float32))
        frames[row, : len(piece.frames)] = torch.from_numpy(piece.frames)
    return encoded, frames


def prime(network: Network, pieces: Sequence[Piece]) -> None:
    """Teach each frame of a sure word its phone."""
    steps = torch.optim.AdamW(network.parameters(), lr=2e-3)
    for _ in range(PRIMED):
        for group in batches(pieces):
            encoded, frames = padded(group)
            loss = nn.functional.nll_loss(network(encoded).flatten(0, 1), frames.flatten(), ignore_index=UNKNOWN)
            steps.zero_grad()
            loss.backward()
            steps.step()


def teach(network: Network, pieces: Sequence[Piece], epochs: int) -> None:
    """Teach whole pieces what was said in them."""
    whole = nn.CTCLoss(blank=NOTHING, zero_infinity=True)
    steps = torch.optim.AdamW(network.parameters(), lr=RATE, weight_decay=0.01)
    rate = torch.optim.lr_scheduler.OneCycleLR(steps, RATE, total_steps=(len(batches(pieces)) + 3) * epochs)
    for epoch in range(epochs):
        began, summed, groups = time.monotonic(), 0.0, batches(pieces)
        for group in groups:
            encoded, _ = padded(group)
            if random.random() < 0.5:
                encoded = encoded + 0.05 * encoded.std() * torch.randn_like(encoded)
            said = torch.cat([torch.from_numpy(piece.said) for piece in group])
            sizes = (torch.tensor([len(p.encoded) for p in group]), torch.tensor([len(p.said) for p in group]))
            loss = whole(network(encoded).transpose(0, 1), said, *sizes)
            steps.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(network.parameters(), 5.0)
            steps.step()
            rate.step()
            summed += float(loss.detach())
        print(f"  epoch {epoch}: loss {summed / len(groups):.3f}, {time.monotonic() - began:.0f} s", flush=True)


def error_rate(ear: Ear, pieces: Sequence[tuple[NDArray[np.float16], Codes]]) -> float:
    """Edits a phone of the reading."""
    edits = sum(
        Levenshtein.distance(spell(ear.hear(x.astype(np.float32))).phones, "".join(PHONES[c] for c in said))
        for x, said in pieces
    )
    return edits / sum(len(said) for _, said in pieces)


def human_speech(model: Any) -> Iterator[tuple[NDArray[np.float16], Codes]]:
    for line in (HUMAN / "transcription").read_text(encoding="utf-8").splitlines():
        text, _, name = line.strip().rpartition(" (")
        with wave.open(str(HUMAN / f"{name.strip(')')}.wav")) as file:
            sound = np.frombuffer(file.readframes(file.getnframes()), np.int16).astype(np.float32) / 32768
        yield encoded(model, sound), codes_of(text.replace("<s>", "").replace("</s>", ""))


def names(part: str, voices: Sequence[str] = ()) -> list[str]:
    """The part's recordings, of these voices or of all."""
    found = sorted(path.name.removesuffix(".times.tsv") for path in (DATA / part).glob("*.times.tsv"))
    return [name for name in found if not voices or name.rsplit(".", 1)[1] in voices]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--halves", action="store_true", help="only those of half of the voices, for learn_judge.py")
    given = parser.parse_args()
    torch.manual_seed(7)
    random.seed(7)
    model = WhisperSpeech(find_model()).model
    train = {name: pieces_of("train", name, model) for name in names("train")}
    dev = {name: pieces_of("dev", name, model) for name in names("dev")}
    network = Network()
    for half, voices in (*HALVES.items(), *(() if given.halves else (("all", ()),))):
        chosen = [piece for name in names("train", voices) for piece in train[name]]
        print(f"{half}: {sum(len(p.encoded) for p in chosen) * FRAME_MS / 60_000:.0f} min, voices {voices or 'all'}")
        if voices:
            network = Network()
            prime(network, chosen)
        teach(network, chosen, EPOCHS if voices else MORE_EPOCHS)  # that for all goes on from the last half's
        network.eval()
        ear = Ear({name: values.detach().numpy() for name, values in network.state_dict().items()})
        network.train()
        for name, pieces in dev.items():
            known = "heard" if not voices or name.rsplit(".", 1)[1] in voices else "never heard"
            print(f"  {name}, voice {known}: {error_rate(ear, [(p.encoded, p.said) for p in pieces]):.3f}")
        if HUMAN.exists():
            print(f"  human speech: {error_rate(ear, list(human_speech(model))):.3f}")
        ear.save(TARGET if half == "all" else LAB / f"ear-{half}.npz")


if __name__ == "__main__":
    main()
