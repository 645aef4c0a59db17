"""A second opinion on which words of a case state which field: a small network over words by their use.

The chain of ``case_words`` goes by the words themselves; a stranger tells a case in others. The network knows words by
their vectors and classes (``word_vectors``), looks further along the clause, and adds its scores to the chain's. Its
weights are in ``data/told.npz``, made by ``benchmarks/learn_notes.py``. The same input gives the same output.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from notesmith.extract.case_words import Told
from notesmith.extract.chains import OUTSIDE, Chain
from notesmith.extract.opinions import FIELD_LABELS
from notesmith.extract.session import Session
from notesmith.extract.word_vectors import SIZES, word_vectors

_FINITE = frozenset(("VBD", "VBZ", "VBP", "MD"))
_ROOTS = frozenset(("ROOT", "ccomp", "conj", "advcl", "relcl", "parataxis"))
_DENIES = frozenset(("no", "not", "never", "without", "nothing"))
#: How the scores of the chain, of the network and of the language model are weighed, and what is taken from "states nothing".
#: Chosen on sets left out.
CHAIN_SHARE, NET_SHARE, READ_SHARE, RELUCTANCE = 0.25, 0.25, 1.0, -0.3
#: A step the labels do not allow: going on with a field that was not begun.
_NEVER = -1e9


class Words:
    """The words of a case as the network sees them, in order: ``heads`` are places among them, -1 elsewhere."""

    def __init__(self, session: Session, told: Told, places: Sequence[int]) -> None:
        parse = session.parse
        tokens = [parse.head_token(unit) for unit in places]
        at = {unit: place for place, unit in enumerate(places)}
        clause_of = {unit: number for number, clause in enumerate(told.clauses) for unit in range(*clause)}
        self.lows = [session.units[unit].low.removesuffix("'s") for unit in places]
        self.tags = [parse.tag(unit) for unit in places]
        self.relations = [str(token.dep_) for token in tokens]
        self.heads = [at.get(parse.owner[token.head.i], -1) for token in tokens]
        self.clauses = [clause_of.get(unit, -1) for unit in places]
        self.later = [unit >= told.ranges[0][1] or unit < told.ranges[0][0] for unit in places]
        self.given = [place for place, unit in enumerate(places) if told.pieces.get(unit)]
        self.treated = told.first_given is not None
        known = word_vectors()
        self.classes = [known.classes_of(low) for low in self.lows]

    def __len__(self) -> int:
        return len(self.lows)


def net_rows(words: Words) -> list[list[str]]:
    """The features of each word that the network has beside those of the chain."""
    inside: dict[int, list[int]] = {}
    for place, clause in enumerate(words.clauses):
        if clause >= 0:
            inside.setdefault(clause, []).append(place)
    shown = {clause: _clause_row(words, places) for clause, places in inside.items()}
    order = list(inside)
    after, before = dict(zip(order, order[1:], strict=False)), dict(zip(order[1:], order, strict=False))
    own = {clause: [f"Q:{name}" for name in row] for clause, row in shown.items()}
    around = {
        clause: ([f"N:{name}" for name in shown[after[clause]] if name[0] != "K"] if clause in after else ["N:end"])
        + [f"V:{name}" for name in (shown[before[clause]] if clause in before else ()) if name[0] != "K"]
        for clause in shown
    }
    rows = []
    for place, clause in enumerate(words.clauses):
        row = list(_near(words, place))
        if clause >= 0:
            said = place - inside[clause][0]
            treated = words.later[place] or words.treated and bool(words.given) and place > words.given[0]
            row += own[clause]
            row.append(f"pos {said if said < 2 else '2-4' if said < 5 else '5+'}")
            row += [f"Q{'A' if treated else 'B'}:{name}" for name in shown[clause] if name[0] in "svkn"]
            row += around[clause]
        row += _placed(words, place)
        rows.append(row)
    return rows


def _near(words: Words, place: int) -> Iterator[str]:
    """A word, its neighbours and its head by their classes."""
    count = len(words)
    for step in (-2, -1, 0, 1, 2):
        if 0 <= place + step < count:
            classes = words.classes[place + step][: 3 - abs(step)]
            yield from (f"{step}K{size}:{number}" for size, number in zip(SIZES, classes, strict=False))
    low, relation, head = words.lows[place], words.relations[place], words.heads[place]
    if head >= 0:
        yield f"hd {relation} {words.lows[head]}"
        if words.classes[head]:
            yield f"hk {words.classes[head][1]}"
            yield f"hdk {relation} {words.classes[head][0]}"
        further = words.heads[head]
        if further >= 0:
            yield f"hh {relation} {words.relations[head]} {words.tags[further]}"
    yield f"suf {low[-3:]}"
    yield f"pre {low[:4]}"
    for step in (-3, 3):
        if 0 <= place + step < count:
            yield f"{step}w {words.lows[place + step]}"
            yield f"{step}t {words.tags[place + step]}"
    if 0 < place < count - 1:
        yield f"ttt {words.tags[place - 1]} {words.tags[place]} {words.tags[place + 1]}"


def _placed(words: Words, place: int) -> list[str]:
    """Where a word stands in the case, and how far from what was given."""
    at = bisect_right(words.given, place)
    near = (1, 3, 8, 20, 50, 100)
    return [
        f"since {_up_to(place - words.given[at - 1], near) if at else 'none'}",
        f"until {_up_to(words.given[at] - place, near) if at < len(words.given) else 'none'}",
        f"from {_up_to(place, (5, 15, 30, 60, 120))}",
        f"to {_up_to(len(words) - place, (5, 15, 30, 60))}",
    ]


def _up_to(number: int, edges: Sequence[int]) -> str:
    return next((str(edge) for edge in edges if number <= edge), "more")


def _clause_row(words: Words, places: Sequence[int]) -> list[str]:
    """What a clause shows: the classes of its words, its verb and subject, how long it is, whether it denies."""
    found: dict[str, None] = {}
    for place in places:
        if words.classes[place] and words.tags[place][:2] in ("NN", "VB", "JJ", "RB"):
            found[f"K{words.classes[place][1]}"] = None
            found[f"k{words.classes[place][0]}"] = None
    inside = set(places)
    finite = [place for place in places if words.tags[place] in _FINITE]
    roots = [place for place in finite if words.relations[place] in _ROOTS or words.heads[place] not in inside]
    verb = next(iter(roots or finite), None)
    if verb is None:
        found["v none"] = None
    else:
        tag = words.tags[verb]
        found |= dict.fromkeys((f"v {tag} {words.lows[verb]}", f"vt {tag}"))
        if words.classes[verb]:
            found[f"vk {words.classes[verb][1]}"] = None
        subject = next(
            (place for place in places if words.relations[place] in ("nsubj", "nsubjpass") and words.heads[place] == verb), None
        )  # fmt: skip
        if subject is None:
            found[f"s none {tag}"] = None
        else:
            low, kind = words.lows[subject], words.tags[subject]
            coarse = words.classes[subject][0] if words.classes[subject] else None
            found[f"s {low}" if kind in ("PRP", "WP", "DT", "EX") else f"s k{coarse}"] = None
            found[f"s {low if kind == 'PRP' else 'noun'} {tag}"] = None
    found[f"len {_up_to(len(places), (2, 4, 7, 12, 20))}"] = None
    lows = {words.lows[place] for place in places}
    if lows & _DENIES or any(words.relations[place] == "neg" for place in places):
        found["neg"] = None
    if lows & {"i", "we"}:
        found["iwe"] = None
    if any(low.isdigit() for low in lows):
        found["num"] = None
    return list(found)


class Net:
    """The network: a bag of features, the word's vector, its tag and relation; then three convolutions along the case,
    each added to its input; then a score for each label."""

    def __init__(self, kept: Mapping[str, Any]) -> None:
        self.labels = tuple(bytes(kept["labels"]).decode().split("\n"))
        self.features = _numbered(kept["features"], 0)
        self.tags, self.relations = _numbered(kept["tags"], 1), _numbered(kept["relations"], 1)
        self.weights = {
            name: np.asarray(kept[name], np.float32) for name in kept if name not in ("labels", "features", "tags", "relations")
        }  # fmt: skip
        self.weights["bag"] = self.weights["bag"] * self.weights.pop("bag scale")

    def scores(self, words: Words, rows: Sequence[Sequence[str]]) -> NDArray[np.float32]:
        """How each label fits each word: words by labels. ``rows`` are all the features of each word."""
        w, at = self.weights, self.features.get
        bags = np.array([w["bag"][[k for name in row if (k := at(name)) is not None]].sum(axis=0) for row in rows])
        tags = w["tag.weight"][[self.tags.get(tag, 0) for tag in words.tags]]
        relations = w["dep.weight"][[self.relations.get(relation, 0) for relation in words.relations]]
        inner = np.hstack([bags, word_vectors().of(words.lows), tags, relations]) @ w["inp.weight"].T + w["inp.bias"]
        inner = np.maximum(inner, 0)
        for layer, apart in enumerate(APART):
            inner = inner + np.maximum(
                _convolved(inner, w[f"convs.{layer}.weight"], apart) + w[f"convs.{layer}.bias"], 0
            )
        scores = inner @ w["out.weight"].T + w["out.bias"]
        return np.asarray(scores - np.logaddexp.reduce(scores, axis=1, keepdims=True), np.float32)


#: How far apart the words are that each convolution looks at.
APART = (1, 2, 4)


def _numbered(names: NDArray[np.uint8], first: int) -> dict[str, int]:
    return {name: number for number, name in enumerate(bytes(names).decode().split("\n"), first)}


def _convolved(inner: NDArray[np.float32], weights: NDArray[np.float32], apart: int) -> NDArray[np.float32]:
    """(words, width) with (out, width, taps), the taps ``apart`` words from each other."""
    taps = weights.shape[2]
    reach = taps // 2 * apart
    padded = np.pad(inner, ((reach, reach), (0, 0)))
    count = len(inner)
    return np.asarray(
        sum(padded[tap * apart : tap * apart + count] @ weights[:, :, tap].T for tap in range(taps)), np.float32
    )


@lru_cache(maxsize=1)
def told_net() -> Net:
    with files("notesmith.extract").joinpath("data", "told.npz").open("rb") as file, np.load(file) as kept:
        return Net(dict(kept))


def told_fields(
    chain: Chain, net: Net, words: Words, rows: Sequence[Sequence[str]], read_as: NDArray[np.float32] | None = None
) -> list[tuple[str, int, int]]:
    """The fields of a case by both: name and half-open places. ``rows`` are the chain's features, ``read_as`` the language
    model's log-probabilities (places by ``FIELD_LABELS``)."""
    if not rows:
        return []
    order = [net.labels.index(label) for label in chain.labels]
    scores = CHAIN_SHARE * chain.scores(rows, 0.0) + NET_SHARE * net.scores(words, all_rows(words, rows))[:, order]
    if read_as is not None:
        scores += READ_SHARE * read_as[:, [FIELD_LABELS.index(label) for label in chain.labels]]
    scores[:, chain.labels.index(OUTSIDE)] -= RELUCTANCE
    return chain.fields_of(scores, CHAIN_SHARE * np.array(chain.steps) + _allowed(chain.labels))


def all_rows(words: Words, rows: Sequence[Sequence[str]]) -> list[list[str]]:
    """The chain's features of each word with those of the network."""
    return [[*row, *more] for row, more in zip(rows, net_rows(words), strict=True)]


@lru_cache(maxsize=4)
def _allowed(labels: tuple[str, ...]) -> NDArray[np.float64]:
    """0 where one label may follow another, else next to never."""
    return np.array([[_NEVER if b[0] == "I" and a[1:] != b[1:] else 0.0 for b in labels] for a in labels])
