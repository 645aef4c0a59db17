"""Fit the network of ``notesmith/extract/case_net.py`` to labelled cases. Needs PyTorch; called by ``learn_notes.py``.

What makes it hold for strangers was tried on sets left out: a feature must be seen in three hands' sets, a third of the
features and half of the inner values are left out at each step, a tenth of the words lose their vector, and learning stops
after few rounds. A loss over whole labellings was slower and no better than one over single words.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import torch
from torch import nn
from torch.nn import functional

from notesmith.extract.case_net import APART, Words
from notesmith.extract.word_vectors import word_vectors

WIDTH, BAG, TRAITS, TAPS = 128, 32, 16, (5, 3, 3)
ROUNDS, CASES_A_STEP, SPEED = 8, 2, 2e-3
LEFT_OUT, FEATURES_LEFT_OUT, VECTORS_LEFT_OUT, SMOOTHED = 0.5, 0.3, 0.1, 0.05
PULL, BAG_PULL = 1e-2, 1e-2
LEAST_SETS, LEAST_WORDS = 3, 6


@dataclass(frozen=True, slots=True)
class Labelled:
    """A labelled case: the features, traits and label of each word, and the set it is from."""

    set_name: str
    words: Words
    rows: Sequence[Sequence[str]]
    labels: Sequence[str]


class _Network(nn.Module):
    def __init__(self, features: int, tags: int, relations: int, labels: int) -> None:
        super().__init__()
        self.bag = nn.EmbeddingBag(features, BAG, mode="sum")
        nn.init.normal_(self.bag.weight, std=0.02)
        self.tag = nn.Embedding(tags + 1, TRAITS)
        self.dep = nn.Embedding(relations + 1, TRAITS)
        self.inp = nn.Linear(BAG + word_vectors().table.shape[1] + 2 * TRAITS, WIDTH)
        self.convs = nn.ModuleList(
            nn.Conv1d(WIDTH, WIDTH, taps, padding=taps // 2 * apart, dilation=apart)
            for taps, apart in zip(TAPS, APART, strict=True)
        )
        self.drop = nn.Dropout(LEFT_OUT)
        self.out = nn.Linear(WIDTH, labels)

    def forward(
        self,
        seen: torch.Tensor,
        begins: torch.Tensor,
        vectors: torch.Tensor,
        tags: torch.Tensor,
        relations: torch.Tensor,
    ) -> torch.Tensor:
        kept = (torch.rand(len(seen)) > FEATURES_LEFT_OUT).float() / (1 - FEATURES_LEFT_OUT)
        vectors = vectors * (torch.rand(len(vectors), 1) > VECTORS_LEFT_OUT).float()
        bags = self.bag(seen, begins, per_sample_weights=kept)
        inner = self.drop(functional.relu(self.inp(torch.cat([bags, vectors, self.tag(tags), self.dep(relations)], 1))))
        along = inner.T[None]
        for layer in self.convs:
            along = along + self.drop(functional.relu(layer(along)))
        return self.out(along[0].T)


def fit_net(taken: Sequence[Labelled], labels: Sequence[str], seed: int = 0) -> dict[str, np.ndarray]:
    """The weights, as ``Net`` takes them and ``np.savez`` keeps them."""
    torch.set_num_threads(1)
    torch.manual_seed(seed)
    chance = np.random.default_rng(seed)
    counts: Counter[str] = Counter()
    hands: dict[str, set[str]] = defaultdict(set)
    for case in taken:
        for row in case.rows:
            for name in set(row):
                counts[name] += 1
                hands[name].add(case.set_name)
    features = sorted(n for n, count in counts.items() if count >= LEAST_WORDS and len(hands[n]) >= LEAST_SETS)
    tags = sorted({tag for case in taken for tag in case.words.tags})
    relations = sorted({relation for case in taken for relation in case.words.relations})
    network = _Network(len(features), len(tags), len(relations), len(labels))
    place = {name: k for k, name in enumerate(features)}
    cases = [_tensors(case, place, tags, relations, labels) for case in taken]
    bag = [network.bag.weight]
    rest = [values for name, values in network.named_parameters() if not name.startswith("bag")]
    steps = torch.optim.AdamW(
        [{"params": rest, "weight_decay": PULL}, {"params": bag, "weight_decay": BAG_PULL}], lr=SPEED
    )
    each = (len(cases) + CASES_A_STEP - 1) // CASES_A_STEP
    pace = torch.optim.lr_scheduler.OneCycleLR(steps, SPEED, total_steps=each * ROUNDS + 1, pct_start=0.15)
    for _ in range(ROUNDS):
        network.train()
        order = chance.permutation(len(cases))
        for first in range(0, len(order), CASES_A_STEP):
            lost, words = torch.tensor(0.0), 0
            for k in order[first : first + CASES_A_STEP]:
                *inputs, answers = cases[k]
                lost = lost + functional.cross_entropy(
                    network(*inputs), answers, label_smoothing=SMOOTHED, reduction="sum"
                )
                words += len(answers)
            (lost / words).backward()
            nn.utils.clip_grad_norm_(network.parameters(), 5.0)
            steps.step()
            steps.zero_grad()
            pace.step()
    weights = {name: values.detach().numpy() for name, values in network.state_dict().items()}
    rows = weights.pop("bag.weight")
    scale = np.abs(rows).max(axis=0, keepdims=True) / 127
    return {
        "labels": _packed(labels), "features": _packed(features), "tags": _packed(tags), "relations": _packed(relations),
        "bag": (rows / scale).round().astype(np.int8), "bag scale": scale.astype(np.float32),
        **{name: values.astype(np.float16) for name, values in weights.items()},
    }  # fmt: skip


def _packed(names: Sequence[str]) -> np.ndarray:
    return np.frombuffer("\n".join(names).encode(), dtype=np.uint8)


def _tensors(
    case: Labelled, place: dict[str, int], tags: Sequence[str], relations: Sequence[str], labels: Sequence[str]
) -> tuple[torch.Tensor, ...]:
    seen: list[int] = []
    begins = []
    for row in case.rows:
        begins.append(len(seen))
        seen += [place[name] for name in row if name in place]
    numbers = {name: k for k, name in enumerate(tags, 1)}, {name: k for k, name in enumerate(relations, 1)}
    return (
        torch.tensor(seen), torch.tensor(begins), torch.tensor(word_vectors().of(case.words.lows)),
        torch.tensor([numbers[0].get(tag, 0) for tag in case.words.tags]),
        torch.tensor([numbers[1].get(relation, 0) for relation in case.words.relations]),
        torch.tensor([labels.index(label) for label in case.labels]),
    )  # fmt: skip
