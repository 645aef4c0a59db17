"""Teach Whisper's decoder the terms: writes notesmith/transcribe/data/decoder.npz.

    NOTESMITH_LAB=FOLDER python benchmarks/learn_decoder.py [--minutes N] [--afresh]

Needs PyTorch and sayings (benchmarks/lab/make_sayings.py); those that are made meanwhile are taken as they come. It goes
on from the changes that ship, or begins afresh.

The decoder of the packaged Whisper base stays as it is; to each of its weight matrices a product of two narrow ones is
added, which alone are learnt (low-rank adaptation: Hu and others, ICLR 2022), from what the encoder heard of the sayings
and what was said in them. The encodings are disturbed a little, so that a voice never heard is no surprise.

Printed: the loss (nats a token, with label smoothing). The changes that ship were learnt in pieces, some two hours of one
core: by an earlier form of this script from 1,300 sayings of the open voices, then from 1,160 half minutes of more voices,
Indian sounds and readings by the letter among them. Of the latter, a part was learnt after lists of terms, some said in it,
as hot words are told to Whisper; telling the decoder what the session had named so far then brought nothing (on four
dev recordings .59 of the misheard terms right with it and .58 without), so neither is done.

All that was synthetic, and it cost human speech dear (lab/make_listened.py tells the remedy): on 451 words of people 85 errors,
46 with Whisper base as published. So it was learnt on, 900 steps at ``--rate 4e-4``, from 211 new sayings and some 210 half minutes
of people, and three quarters of the changes were kept (``--share 0.75``): 59 errors, on three dev recordings .67 of the
misheard terms right by the decoder alone.

What ships went on from that for 1,540 steps (``--rate 5e-4``, then ``4e-4``) over 930 half minutes of talk by more voices (make_sayings.py)
and 232 of people, a third of the steps. For people the aim is no longer the words the published model writes but all it thinks
of each (distillation: Hinton and others, 2015), which took the distance from it from .22 to .08 nats a token. On the same people
and recordings, by the share kept: all 77 errors and .79, .85 64 and .74, .7 54 and .69. ``--share 0.85`` ships: .04 more errors a word than
Whisper base, where .05 is the most we allow.
"""

from __future__ import annotations

import argparse
import json
import math
import random
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import torch
from faster_whisper.tokenizer import Tokenizer
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE / "lab")]

from make_sayings import SAYINGS  # noqa: E402

from notesmith.transcribe import (  # noqa: E402
    WhisperSpeech,
    adapt,
    find_model,
)
from notesmith.transcribe.adapt import variables  # noqa: E402
from notesmith.transcribe.model import packaged_folder  # noqa: E402

TARGET = Path(adapt.__file__).parent / "data" / "decoder.npz"
HEADS, LAYERS, WIDTH = 8, 6, 512
RANK, SOUND_RANK = 16, 8  # of the changes; of those to what is taken from the sound
BATCH, FIRST_STEPS, SMOOTHING, DROPPED, NOISE = 4, 20, 0.05, 0.05, 0.15
PEOPLE = 0.35  # of the half minutes are people's
SPARE_TOKENS = 4000  # that no saying has, among which the right one is to be found
KEEP = 100  # steps after which what was learnt is written
MOST_TOKENS, TICK_S, LAST_START_S, LAST_END_S = 220, 0.02, 29.9, 29.94
# The matrices of a decoder layer, by their names in CTranslate2's file, with the rank of what is added.
MATRICES = {
    "self_attention/linear_0": RANK, "self_attention/linear_1": RANK, "attention/linear_0": RANK,
    "attention/linear_1": SOUND_RANK, "attention/linear_2": RANK, "ffn/linear_0": RANK, "ffn/linear_1": RANK,
}  # fmt: skip
Arrays = dict[str, NDArray[np.float32]]


class Saying(NamedTuple):
    path: Path
    tokens: list[int]  # with the prompt, the times and the end
    by_people: bool  # the tokens are what the published model wrote


class Matrix(nn.Module):
    """A linear layer that stays as it is, and the narrow product added to it."""

    def __init__(self, weight: NDArray[np.float32], bias: NDArray[np.float32], rank: int) -> None:
        super().__init__()
        self.register_buffer("weight", torch.from_numpy(weight))
        self.register_buffer("bias", torch.from_numpy(bias))
        self.narrow = nn.Parameter(torch.randn(rank, weight.shape[1]) / math.sqrt(weight.shape[1]))
        self.wide = nn.Parameter(torch.zeros(weight.shape[0], rank))
        self.changed = True

    def forward(self, x: torch.Tensor) -> torch.Tensor:
        made = functional.linear(x, self.weight, self.bias)
        return made + functional.linear(functional.linear(x, self.narrow), self.wide) if self.changed else made


def _attended(q: torch.Tensor, k: torch.Tensor, v: torch.Tensor) -> torch.Tensor:
    """Attention to the sound, plainly: twice as fast here as PyTorch's own in half precision."""
    looked = q @ k.transpose(-1, -2) * (WIDTH // HEADS) ** -0.5
    with torch.autocast("cpu", enabled=False):
        looked = looked.softmax(-1)
    return looked @ v


class Layer(nn.Module):
    """A layer of the decoder: it looks at the words before, at the sound, and thinks."""

    def __init__(self, values: Arrays, place: str) -> None:
        super().__init__()
        self.matrices = nn.ModuleDict({
            name.replace("/", "_"): Matrix(values[f"{place}/{name}/weight"], values[f"{place}/{name}/bias"], rank)
            for name, rank in MATRICES.items()
        })  # fmt: skip
        for name in ("self_attention", "attention", "ffn"):
            for part in ("gamma", "beta"):
                self.register_buffer(f"{name}_{part}", torch.from_numpy(values[f"{place}/{name}/layer_norm/{part}"]))
        self.drop = nn.Dropout(DROPPED)

    def _through(self, name: str, x: torch.Tensor) -> torch.Tensor:
        made: torch.Tensor = self.matrices[name](x)
        return made

    def _even(self, name: str, x: torch.Tensor) -> torch.Tensor:
        return functional.layer_norm(x, (WIDTH,), getattr(self, f"{name}_gamma"), getattr(self, f"{name}_beta"))

    def forward(self, x: torch.Tensor, sound: torch.Tensor) -> torch.Tensor:
        def heads(y: torch.Tensor) -> torch.Tensor:
            return y.view(len(y), -1, HEADS, WIDTH // HEADS).transpose(1, 2)

        def joined(y: torch.Tensor) -> torch.Tensor:
            return y.transpose(1, 2).reshape(x.shape)

        q, k, v = (
            heads(y) for y in self._through("self_attention_linear_0", self._even("self_attention", x)).chunk(3, -1)
        )
        before = joined(functional.scaled_dot_product_attention(q, k, v, is_causal=True))
        x = x + self.drop(self._through("self_attention_linear_1", before))
        q = heads(self._through("attention_linear_0", self._even("attention", x)))
        k, v = (heads(y) for y in self._through("attention_linear_1", sound).chunk(2, -1))
        taken = joined(_attended(q, k, v))
        x = x + self.drop(self._through("attention_linear_2", taken))
        inner = functional.gelu(self._through("ffn_linear_0", self._even("ffn", x)))
        return x + self.drop(self._through("ffn_linear_1", inner))


class Decoder(nn.Module):
    """Whisper base's decoder, with the weights of the packaged model."""

    def __init__(self, values: Arrays) -> None:
        super().__init__()
        self.register_buffer("embeddings", torch.from_numpy(values["decoder/embeddings/weight"]))
        self.register_buffer("positions", torch.from_numpy(values["decoder/position_encodings/encodings"]))
        self.layers = nn.ModuleList(Layer(values, f"decoder/layer_{n}") for n in range(LAYERS))
        self.register_buffer("gamma", torch.from_numpy(values["decoder/layer_norm/gamma"]))
        self.register_buffer("beta", torch.from_numpy(values["decoder/layer_norm/beta"]))

    def forward(self, tokens: torch.Tensor, sound: torch.Tensor) -> torch.Tensor:
        """(n, tokens) over (n, frames, width) of sound: (n, tokens, width)."""
        x = self.embeddings[tokens] + self.positions[: tokens.shape[1]]
        for layer in self.layers:
            x = layer(x, sound)
        return functional.layer_norm(x, (WIDTH,), self.gamma, self.beta)

    def go_on_from(self, changes: Mapping[str, NDArray[np.float32]]) -> None:
        """Take up what was learnt before."""
        for place, matrix in self._matrices():
            matrix.narrow.data = torch.from_numpy(changes[f"{place}/in"]).clone()
            matrix.wide.data = torch.from_numpy(changes[f"{place}/out"]).clone()

    def _matrices(self) -> Iterator[tuple[str, Any]]:
        for number, layer in enumerate(self.layers):
            for name in MATRICES:
                yield f"decoder/layer_{number}/{name}/weight", layer.matrices[name.replace("/", "_")]  # type: ignore[operator,union-attr,index]

    def as_published(self, tokens: torch.Tensor, sound: torch.Tensor) -> torch.Tensor:
        """What the decoder makes without the changes."""
        matrices = [matrix for _, matrix in self._matrices()]
        for matrix in matrices:
            matrix.changed = False
        with torch.no_grad():
            made: torch.Tensor = self.eval()(tokens, sound)
        for matrix in matrices:
            matrix.changed = True
        self.train()
        return made

    def changes(self, share: float = 1.0) -> dict[str, NDArray[np.float16]]:
        """The factors of what is added, or of a share of it, as transcribe/adapt.py takes them."""
        found: dict[str, NDArray[np.float16]] = {}
        for place, matrix in self._matrices():
            found[f"{place}/in"] = matrix.narrow.detach().numpy().astype(np.float16)
            found[f"{place}/out"] = (share * matrix.wide.detach().numpy()).astype(np.float16)
        return found


def weights() -> Arrays:
    """The packaged model's variables that are in half precision."""
    content = (packaged_folder() / "model.bin").read_bytes()
    return {
        name: np.frombuffer(content, np.float16, math.prod(one.shape), one.first).reshape(one.shape).astype(np.float32)
        for name, one in variables(content)
        if one.kind == adapt.HALF
    }


def sayings(tokenizer: Tokenizer) -> list[Saying]:
    """As Whisper was taught them: each sentence between its times; one cut off by the window's end has its start alone."""
    found = []
    for path in sorted(SAYINGS.glob("*.jsonl")):
        for line in path.read_text(encoding="utf-8").splitlines():
            row = json.loads(line)
            by_people = "tokens" in row
            tokens = [*tokenizer.sot_sequence, *(row["tokens"] if by_people else _tokens(row["said"], tokenizer))]
            if len(tokens) < MOST_TOKENS:
                found.append(Saying(SAYINGS / f"{row['id']}.npy", [*tokens, tokenizer.eot], by_people))
    return found


def _tokens(said: Sequence[tuple[float, float, str]], tokenizer: Tokenizer) -> Iterator[int]:
    for start_s, end_s, text in said:
        if start_s > LAST_START_S:
            return
        yield tokenizer.timestamp_begin + round(start_s / TICK_S)
        if end_s > LAST_END_S:
            return
        yield from tokenizer.encode(f" {text}")
        yield tokenizer.timestamp_begin + round(end_s / TICK_S)


def batches(found: Sequence[Saying]) -> Iterator[list[Saying]]:
    """Sayings of about as many tokens together, in any order, people's apart; people's as often as PEOPLE says."""
    spoken, people = ([one for one in found if one.by_people is by_people] for by_people in (False, True))
    if people:
        people = random.choices(people, k=round(len(spoken) * PEOPLE / (1 - PEOPLE))) if spoken else people
    groups = []
    for kind in (spoken, people):
        order = sorted(kind, key=lambda one: len(one.tokens) + random.uniform(0, 25))
        groups += [order[n : n + BATCH] for n in range(0, len(order), BATCH)]
    random.shuffle(groups)
    yield from groups


def disturbed(path: Path) -> NDArray[np.float32]:
    """What the encoder heard, with some noise, so that a voice never heard is no surprise."""
    encoded = np.load(path).astype(np.float32)
    noise = np.random.normal(0, NOISE * np.random.uniform(), encoded.shape).astype(np.float32)
    return np.asarray(encoded + noise * encoded.std(), np.float32)


def told_apart(found: Sequence[Saying], decoder: Decoder, tokenizer: Tokenizer) -> tuple[torch.Tensor, torch.Tensor]:
    """The place of each token among those that are told apart, and their embeddings (width, tokens).

    All 51,865 would cost as much as the decoder itself; those of the sayings, the times and some drawn by lot do.
    """
    size = len(decoder.embeddings)
    kept = {token for one in found for token in one.tokens} | set(range(tokenizer.timestamp_begin, size))
    kept |= set(random.sample(range(tokenizer.eot), SPARE_TOKENS))
    order = torch.tensor(sorted(kept))
    places = torch.full((size,), -1)
    places[order] = torch.arange(len(order))
    return places, decoder.embeddings[order].T.to(torch.bfloat16)


def teach(decoder: Decoder, tokenizer: Tokenizer, minutes: float, rate: float) -> None:
    learnt = [one for one in decoder.parameters() if one.requires_grad]
    optimizer = torch.optim.AdamW(learnt, lr=rate, weight_decay=0.0)
    given = len(tokenizer.sot_sequence)
    losses: dict[bool, list[float]] = {False: [], True: []}
    begin, step = time.monotonic(), 0
    while True:
        found = sayings(tokenizer)
        if not found:
            sys.exit(f"no sayings in {SAYINGS}; make them with benchmarks/lab/make_sayings.py")
        print(f"{len(found)} half minutes, {sum(one.by_people for one in found)} of people", flush=True)
        places, embeddings = told_apart(found, decoder, tokenizer)
        for group in batches(found):
            done = (time.monotonic() - begin) / 60 / minutes
            if done >= 1:
                return
            step += 1
            for setting in optimizer.param_groups:
                setting["lr"] = rate * min(1.0, step / FIRST_STEPS) * max(0.03, 1 - done)
            longest = max(len(one.tokens) for one in group)
            tokens = torch.full((len(group), longest), tokenizer.eot)
            said = torch.zeros(len(group), longest, dtype=torch.bool)
            for at, one in enumerate(group):
                tokens[at, : len(one.tokens)] = torch.tensor(one.tokens)
                said[at, given - 1 : len(one.tokens) - 1] = True
            sound = torch.from_numpy(np.stack([disturbed(one.path) for one in group]))
            by_people = group[0].by_people
            with torch.autocast("cpu", torch.bfloat16):
                made = decoder(tokens[:, :-1], sound)[said[:, :-1]].to(torch.bfloat16) @ embeddings
                if by_people:
                    published = (
                        decoder.as_published(tokens[:, :-1], sound)[said[:, :-1]].to(torch.bfloat16) @ embeddings
                    )
            if by_people:
                expected = functional.softmax(published.float(), -1)
                loss = functional.kl_div(functional.log_softmax(made.float(), -1), expected, reduction="batchmean")
            else:
                right = places[tokens[:, 1:][said[:, :-1]]]
                loss = functional.cross_entropy(made.float(), right, label_smoothing=SMOOTHING)
            optimizer.zero_grad()
            loss.backward()
            nn.utils.clip_grad_norm_(learnt, 1.0)
            optimizer.step()
            losses[by_people].append(float(loss.detach()))
            if step % 20 == 0:
                spoken, people = (np.mean(losses[kind][-30:] or [0]) for kind in (False, True))
                print(f"  {step}: loss {spoken:.3f}, from the published model on people {people:.4f}", flush=True)
            if step % KEEP == 0:
                save(decoder)


def save(decoder: Decoder, share: float = 1.0) -> None:
    np.savez_compressed(TARGET, **decoder.changes(share))  # type: ignore[arg-type]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--minutes", type=float, default=60)
    parser.add_argument("--rate", type=float, default=6e-4, help="of learning, at first")
    parser.add_argument("--share", type=float, default=1.0, help="of the changes that is kept at the end")
    parser.add_argument("--afresh", action="store_true", help="not from the changes that ship")
    given = parser.parse_args()
    for seed in (torch.manual_seed, random.seed, np.random.seed):
        seed(7)
    torch.set_num_threads(torch.get_num_threads())  # said outright, a step takes a third of the time
    model = WhisperSpeech(find_model("base")).model
    tokenizer = Tokenizer(model.hf_tokenizer, model.model.is_multilingual, task="transcribe", language="en")
    decoder = Decoder(weights()).train()
    if not given.afresh:
        decoder.go_on_from(adapt.load_changes())
    teach(decoder, tokenizer, given.minutes, given.rate)
    save(decoder, given.share)


if __name__ == "__main__":
    main()
