"""Learn what sentences are for, whether they teach and what kind of point they make, from the development sessions.

``python benchmarks/learn_notes.py`` writes ``stops.json`` and then, from sessions cut by it, ``sentences.json``, ``told.json``
with ``told.npz`` (which needs PyTorch) and ``names.json`` in ``notesmith/extract/data``.
With ``--cross N`` nothing is written: the sessions are cut into N folds, each is measured with what was learnt from the
others, and the figures printed are those of sessions not learnt from (though the rules, whose word is a feature, were written
on all of them). ``--cross 0`` leaves out one set at a time, which is nearer to a new lecturer.
Learnt from are the sets named in ``WEIGHT``.

``--only told`` learns only ``data/told.json`` and ``data/told.npz``: which words of a case state which field, whether a case is taken up again,
what is promised or referred to; with ``--cross N`` it prints how well, on the labelled stretches, beside the rules.
"""

from __future__ import annotations

import argparse
import math
import random
import re
import sys
import tempfile
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
import pycrfsuite
from scipy.optimize import minimize
from scipy.sparse import csr_matrix

sys.path.insert(0, str(Path(__file__).parent))
import measure_notes as measure
from truth import read_script

import notesmith.extract as whole
from notesmith.annotations import Corrections, Finding
from notesmith.extract import (
    by_rule,
    carry_overs,
    case_fields,
    case_words,
    extract,
    learned,
    load_nlp,
    name_words,
    stops,
)
from notesmith.extract.carry_overs import DIRECTIONS, carry_features, topics_by_sentence
from notesmith.extract.case_fields import LEARNT, case_key, case_units, told_case
from notesmith.extract.case_net import Net, Words, all_rows, told_fields
from notesmith.extract.cases import CaseSpan, opening_features
from notesmith.extract.chains import OUTSIDE, Chain
from notesmith.extract.contrast import relates
from notesmith.extract.kinds import kind_of
from notesmith.extract.mentions import find_hits
from notesmith.extract.points import ADVICE, is_point
from notesmith.extract.prescriptions import find_potencies, find_prescriptions, with_short_names
from notesmith.extract.privacy import _Names
from notesmith.extract.sentences import look_at
from notesmith.extract.session import WORDS_PER_STOP, Session
from notesmith.reading import Reading, read
from notesmith.vocabulary import Vocabulary, load_vocabulary

TARGET = Path(__file__).parent.parent / "notesmith" / "extract" / "data" / "sentences.json"
#: The rules were written on the older sets, where their word is therefore worth less than it looks.
WEIGHT = {
    "dev": 0.4,
    "dev2": 0.5,
    "dev3": 1.0,
    "dev4": 1.0,
    "dev5": 1.5,
    "dev6": 1.5,
    "dev7": 1.5,
    "dev8": 1.5,
    "dev9": 1.5,
    "dev10": 1.5,
    "dev11": 1.5,
    "dev12": 1.5,
    "dev13": 1.5,
    "dev14": 1.5,
    "dev15": 1.5,
    "dev16": 1.5,
    "dev17": 1.5,
    "dev19": 1.5,
    "dev20": 1.5,
    "dev21": 1.5,
    "dev22": 1.5,
    "dev23": 1.5,
    "dev24": 1.5,
}
STRENGTH = {
    "states": 1.6,
    "point": 1.6,
    "kind": 0.6,
    "again": 1.0,
    "carry": 1.0,
    "care": 1.0,
}  # of the pull of all weights towards nought
LEAST = {"states": 3, "point": 3, "kind": 2, "again": 2, "carry": 3, "care": 2}  # sentences a feature must be seen in
#: The least share of a direction at which the learnt model alone takes a sentence for a carry-over.
CARRIES_FROM = 0.15
LEAST_WEIGHT = 0.05
#: Of the structure: the chain's part of every weight, and how much steps and commonness weigh beside single sentences.
CHAIN, STEP, PRIOR = 0.5, 0.4, 0.2
#: The rules for fields were written on the other sets, where their word says more than it will of a new session.
RULES_UNTUNED = frozenset(f"dev{number}" for number in range(5, 25))
RELUCTANCE = 0.5
#: How much is taken from "goes on": a beginning missed joins two points. By dev14 left out (0.6 before 1.0 and 1.4).
STOPS_RELUCTANCE = 0.6
#: Spoken lectures written for learning the decoder's names: their stops are learnt from too.
SCRIPTS = Path(__file__).parent / "data" / "train"


@dataclass(slots=True)
class ToldCase:
    """A labelled case: the units of its words, their features and labels, and its fields as labelled and as ruled."""

    places: list[int]
    rows: list[list[str]]
    labels: list[str]
    gold: list[tuple[str, measure.WordRange]]
    ruled: list[Finding]
    words: Words


@dataclass(slots=True)
class Example:
    """One session made ready for learning."""

    name: str
    set_name: str
    gold: measure.GoldSession
    session: Session
    looks: Sequence[Any]
    rows: list[dict[str, float]]
    states: list[str]
    teaches: list[bool]
    spans: list[tuple[int, int, tuple[str, ...], int]]  # units, kinds, sentence
    cases: list[ToldCase] = field(default_factory=list)
    openings: list[tuple[dict[str, float], bool]] = field(
        default_factory=list
    )  # of told stretches; whether taken up again
    carries: list[tuple[dict[str, float], str]] = field(default_factory=list)  # of sentences, and the direction or none
    care: list[dict[str, float]] = field(default_factory=list)
    names: list[tuple[list[list[str]], list[str]]] = field(default_factory=list)  # as it is, and without capitals


def examples(vocabulary: Vocabulary, nlp: Any, named: bool = True) -> list[Example]:
    """All labelled sessions; ``named`` says whether they are also read as a recogniser without capitals writes them."""
    found = []
    for set_name in WEIGHT:
        for path in sorted((measure.GOLD / set_name).glob("*.txt")):
            gold = measure.parse_gold(path.stem, path.read_text(encoding="utf-8"))
            session = Session(gold.reading, vocabulary, nlp)
            hits = find_hits(session)
            looks = look_at(session, hits)
            ruled = by_rule(session, looks, hits)
            found.append(
                Example(
                    f"{set_name}/{path.stem}", set_name, gold, session, looks, learned.state_features(session, looks, ruled.parts), _states(gold, session),
                    _teaches(gold, session), _spans(gold, session),
                )
            )  # fmt: skip
            found[-1].cases = _cases(found[-1], hits, ruled.focus)
            found[-1].openings = _openings(found[-1])
            found[-1].carries = _carries(found[-1], hits)
            found[-1].care = [learned.care_features(session, look) for look in looks]
            if not named:
                continue
            bare = Session(_bare(gold), vocabulary, nlp)
            found[-1].names = [_names(gold, session, hits), _names(gold, bare, find_hits(bare))]
    return found


def _cases(one: Example, hits: Sequence[Any], focus: Sequence[str | None]) -> list[ToldCase]:
    """The cases of a session where they are labelled."""
    session = one.session
    hits = with_short_names(session, hits, focus)
    cases = learned.cases_in(one.looks, one.states)
    remedies = tuple(hit for hit in hits if hit.concept_id.startswith("remedy/"))
    ranges = [(case_key(session, case), start, end) for case in cases for start, end in case_units(session, case)]
    given = find_prescriptions(session, remedies, find_potencies(session, remedies), ranges, focus)
    found = []
    for case in cases:
        ruled, told = told_case(session, one.looks, case, given, hits)
        if one.set_name not in RULES_UNTUNED:
            told = msgspec.structs.replace(told, ruled={})
        places, rows = case_words.word_rows(session, one.looks, told)
        labels = [OUTSIDE] * len(places)
        place_of = {unit: place for place, unit in enumerate(places)}
        gold = []
        for label in sorted(one.gold.of("f"), key=lambda label: label.start - label.end):
            name = measure.FIELDS[label.argument]
            start, end = session.units_of(label.words)
            if start in place_of:
                gold.append((name, label.words))
                for unit in range(start, end):
                    if unit in place_of:
                        labels[place_of[unit]] = f"{'B' if unit == start else 'I'}-{name}"
        found.append(ToldCase(places, rows, labels, gold, ruled, Words(session, told, places)))
    return found


def _bare(gold: measure.GoldSession) -> Reading:
    """A session as a recogniser without capitals and stops writes it, its lines broken anywhere."""
    chance = random.Random(gold.name)
    lines: list[int] = []
    words = [word.text for word in gold.reading.transcript.words]
    while len(lines) < len(words):
        lines += [lines[-1] + 1 if lines else 0] * chance.randint(5, 14)
    plain = [_without_stops(word) for word in words]
    return read(measure._timed(gold.name, plain, lines[: len(words)]), Corrections(""))


def _names(gold: measure.GoldSession, session: Session, hits: Sequence[Any]) -> tuple[list[list[str]], list[str]]:
    """The features of every word of a session, and the role of each name in it."""
    seen = _Names(session, hits, (), (), (), set())
    labels = [OUTSIDE] * len(session.units)
    for label in gold.of("n"):
        role = "other identifier" if label.argument == "other" else label.argument
        start, end = session.units_of(label.words)
        for unit in range(start, end):
            labels[unit] = f"{'B' if unit == start else 'I'}-{role}"
    return name_words.name_rows(session, seen.term_units, seen.term_words), labels


def _openings(one: Example) -> list[tuple[dict[str, float], bool]]:
    """How each told stretch opens, where a case was told before it."""
    found: list[tuple[dict[str, float], bool]] = []
    cases: list[CaseSpan] = []
    for index, state in enumerate(one.states):
        if state not in ("case begins", "case again"):
            continue
        last = index + 1
        while last < len(one.states) and one.states[last] == "case goes on":
            last += 1
        if cases:
            found.append((opening_features(one.looks, cases, index, last), state == "case again"))
        if state == "case begins":
            cases.append(CaseSpan(index, last))
    return found


def _carries(one: Example, hits: Sequence[Any]) -> list[tuple[dict[str, float], str]]:
    """Each sentence's features and the direction in which it is labelled."""
    labels = {"co+": DIRECTIONS[0], "co-": DIRECTIONS[1]}
    topics = topics_by_sentence(one.session, hits)
    found = []
    for index, look in enumerate(one.looks):
        words = one.session.words(look.sentence.start, look.sentence.end)
        direction = next(
            (name for code, name in labels.items() for label in one.gold.of(code) if measure.of_shorter(label.words, words) >= 0.5), "none",
        )  # fmt: skip
        found.append((carry_features(look, one.rows[index], index in topics), direction))
    return found


def _states(gold: measure.GoldSession, session: Session) -> list[str]:
    part_of_word = {}
    for number, part in enumerate(gold.parts):
        for word in range(part.start, part.end):
            part_of_word[word] = number
    told: set[str] = set()
    states = []
    last = -1
    for sentence in session.sentences:
        words = session.words(sentence.start, sentence.end)
        number = Counter(part_of_word[word] for word in range(words.start, words.end)).most_common(1)[0][0]
        part = gold.parts[number]
        if part.kind != "case":
            states.append(part.kind)
        elif last >= 0 and gold.parts[last].kind == "case" and gold.parts[last].name == part.name:
            states.append("case goes on")
        else:
            states.append("case again" if part.name in told else "case begins")
            told.add(part.name)
        last = number
    return states


def _teaches(gold: measure.GoldSession, session: Session) -> list[bool]:
    labelled = {word for label in gold.of("p") for word in range(label.start, label.end)}
    return [
        2 * sum(word in labelled for word in range(words.start, words.end)) >= len(words)
        for sentence in session.sentences
        if (words := session.words(sentence.start, sentence.end))
    ]


def _flagged(one: Example, code: str) -> list[int]:
    """1 for each sentence that a label of this code lies in, 0 for the others."""
    labels = [label.words for label in one.gold.of(code)]
    ranges = [one.session.words(look.sentence.start, look.sentence.end) for look in one.looks]
    return [int(any(measure.of_shorter(label, words) >= 0.3 for label in labels)) for words in ranges]


def _spans(gold: measure.GoldSession, session: Session) -> list[tuple[int, int, tuple[str, ...], int]]:
    spans = []
    for label in gold.of("p"):
        start, end = session.units_of(label.words)
        kinds = tuple(measure.KINDS[kind] for kind in label.argument.partition(":")[0].split("/"))
        spans.append((start, end, kinds, session.sentence_at((start + end - 1) // 2).index))
    return spans


def fit(
    rows: list[dict[str, float]],
    answers: list[int],
    classes: Sequence[str],
    weights: list[float],
    pull: float,
    least: int,
) -> learned.Linear:
    """Softmax regression with an even pull towards nought, by L-BFGS."""
    seen = Counter(name for row in rows for name in row)
    names = sorted(name for name, count in seen.items() if count >= least)
    place = {name: k for k, name in enumerate(names)}
    cells = [(r, place[name], value) for r, row in enumerate(rows) for name, value in row.items() if name in place]
    cells += [(r, len(names), 1.0) for r in range(len(rows))]
    across, down, values = zip(*cells, strict=True)
    data = csr_matrix((values, (across, down)), shape=(len(rows), len(names) + 1))
    turned = data.T.tocsr()
    truth = np.eye(len(classes))[answers]
    share = np.array(weights)[:, None]

    def loss(flat: np.ndarray) -> tuple[float, np.ndarray]:
        matrix = flat.reshape(len(names) + 1, len(classes))
        sums = data @ matrix
        sums -= sums.max(axis=1, keepdims=True)
        logs = sums - np.log(np.exp(sums).sum(axis=1, keepdims=True))
        slope = turned @ (share * (np.exp(logs) - truth))
        pulled = matrix.copy()
        pulled[-1] = 0
        return float(-(share * truth * logs).sum() + 0.5 * pull * (pulled**2).sum()), (slope + pull * pulled).ravel()

    best = minimize(
        loss,
        np.zeros((len(names) + 1) * len(classes)),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": 100, "ftol": 1e-7},
    )
    matrix = best.x.reshape(len(names) + 1, len(classes))
    kept = {
        name: tuple(round(float(w), 3) for w in matrix[k])
        for name, k in place.items()
        if np.abs(matrix[k]).max() >= 0.02
    }
    return learned.Linear(tuple(classes), tuple(round(float(w), 3) for w in matrix[-1]), kept)


def learn_states(taken: Sequence[Example]) -> tuple[learned.Linear, Any, Any]:
    """What each sentence is for: half of every weight from a regression over single sentences, which is surer of what a
    sentence says, half from a chain learnt over whole sessions, which is surer of where one thing ends."""
    rows, answers, weights = [], [], []
    for one in taken:
        for row, state in zip(one.rows, one.states, strict=True):
            rows.append(row)
            answers.append(learned.STATES.index(state))
            weights.append(WEIGHT[one.set_name])
    alone = fit(rows, answers, learned.STATES, weights, STRENGTH["states"], LEAST["states"])
    count = len(learned.STATES)
    steps = np.full((count, count), 0.15)
    first = np.full(count, 0.5)
    prior = np.full(count, 1.0)
    for one in taken:
        numbers = [learned.STATES.index(state) for state in one.states]
        first[numbers[0]] += 1
        for a, b in zip(numbers, numbers[1:], strict=False):
            steps[a, b] += 1
        for a in numbers:
            prior[a] += 1
    goes_on = learned.STATES.index("case goes on")
    inside = {learned.STATES.index(state) for state in ("case begins", "case again", "case goes on")}
    for a in range(count):
        if a not in inside:
            steps[a, goes_on] = 0.001  # a case has a beginning
    chained, chain_steps = _chain_of_states(taken)
    bias = (1 - CHAIN) * (np.array(alone.bias) - PRIOR * _log(prior))
    mixed = {
        name: tuple(
            round(float(w), 3)
            for w in (1 - CHAIN) * np.array(alone.weights.get(name, (0.0,) * count)) + CHAIN * chained.get(name, np.zeros(count))
        )
        for name in sorted(alone.weights.keys() | chained.keys())
    }  # fmt: skip
    mixed = {name: row for name, row in mixed.items() if max(map(abs, row)) >= 0.02}
    return (
        learned.Linear(learned.STATES, tuple(round(float(b), 3) for b in bias), mixed),
        tuple(tuple(round(float(w), 3) for w in row) for row in (1 - CHAIN) * STEP * _log(steps) + CHAIN * chain_steps),
        tuple(round(float(w), 3) for w in (1 - CHAIN) * STEP * _log(first)),
    )


def _chain_of_states(taken: Sequence[Example]) -> tuple[dict[str, np.ndarray], np.ndarray]:
    """Weights of features and of steps of a conditional random field; a set weighs by how often its sessions are shown."""
    trainer = pycrfsuite.Trainer(algorithm="lbfgs", verbose=False)
    trainer.set_params({"c1": 0.0, "c2": 1.0, "max_iterations": 60, "feature.possible_transitions": True})
    seen = Counter(name for one in taken for row in one.rows for name in row)
    for one in taken:
        rows = [{n: float(v) for n, v in row.items() if seen[n] >= LEAST["states"]} for row in one.rows]
        for _ in range(max(1, round(2 * WEIGHT[one.set_name]))):
            trainer.append(rows, one.states)
    learnt = _trained(trainer)
    count = len(learned.STATES)
    weights: dict[str, np.ndarray] = defaultdict(lambda: np.zeros(count))
    for (name, state), weight in sorted(learnt.state_features.items()):
        weights[name][learned.STATES.index(state)] = weight
    steps = np.array([[learnt.transitions.get((a, b), -1.5) for b in learned.STATES] for a in learned.STATES])
    return weights, steps


def _trained(trainer: Any) -> Any:
    """The weights a trainer arrives at, as pycrfsuite tells them."""
    with tempfile.NamedTemporaryFile() as file:
        trainer.train(file.name)
        tagger = pycrfsuite.Tagger()
        tagger.open(file.name)
        return tagger.info()


def learn(taken: Sequence[Example], paths: dict[str, list[str]]) -> learned.Model:
    """``paths`` are the structures found by models that had not seen the session; the later models learn on them."""
    states, steps, first = learn_states(taken)
    if not paths:
        empty, never = (learned.Linear(("no", "yes"), (0.0, bias), {}) for bias in (0.0, -99.0))
        kinds = learned.Linear(learned.POINT_KINDS, (0.0,) * len(learned.POINT_KINDS), {})
        return learned.Model(states, steps, first, empty, kinds, never, never)
    rows, answers, weights = [], [], []
    for one in taken:
        path = [learned.part_of(state) for state in paths[one.name]]
        for index, look in enumerate(one.looks):
            if look.question:
                continue
            ruled = is_point(one.session, look, path[index], path[index] == "comparison")
            rows.append(
                learned.point_features(
                    one.rows[index], path[index], path[max(0, index - 1)], path[min(len(path) - 1, index + 1)], ruled
                )
            )
            answers.append(int(one.teaches[index]))
            weights.append(WEIGHT[one.set_name])
    point = fit(rows, answers, ("no", "yes"), weights, STRENGTH["point"], LEAST["point"])
    rows, answers, weights = [], [], []
    for one in taken:
        path = [learned.part_of(state) for state in paths[one.name]]
        before = "none"
        for start, end, kinds, sentence in one.spans:
            part = path[sentence]
            low = one.session.low(start, end)
            lows = [unit.low.removesuffix("'s") for unit in one.session.units[start:end] if unit.low]
            ruled = kind_of(low, lows, in_comparison=part == "comparison" and not relates(low), before=None, advises=bool(ADVICE.search(low)))  # fmt: skip
            row = learned.kind_features(one.session, start, end, part, ruled, before)
            for kind in kinds:
                rows.append(row)
                answers.append(learned.POINT_KINDS.index(kind))
                weights.append(WEIGHT[one.set_name] / len(kinds))
            before = kinds[0]
    kind = fit(rows, answers, learned.POINT_KINDS, weights, STRENGTH["kind"], LEAST["kind"])
    rows = [row for one in taken for row in one.care]
    urgent, discourages = (
        fit(rows, [flag for one in taken for flag in _flagged(one, code)], ("no", "yes"), [1.0] * len(rows), STRENGTH["care"], LEAST["care"])
        for code in "ud"
    )  # fmt: skip
    return learned.Model(states, steps, first, point, kind, urgent, discourages)


def fit_chain(taken: Sequence[tuple[list[list[str]], list[str]]], reluctance: float, pull: float = 0.5) -> Chain:
    """The chain that labels these rows of words best, its weights pulled evenly towards nought."""
    trainer = pycrfsuite.Trainer(algorithm="lbfgs", verbose=False)
    trainer.set_params(
        {"c1": 0.0, "c2": pull, "max_iterations": 60, "feature.minfreq": 3, "feature.possible_transitions": True}
    )
    for rows, labels in taken:
        trainer.append(rows, labels)
    learnt = _trained(trainer)
    names = tuple(sorted(learnt.labels))
    place = {label: k for k, label in enumerate(names)}
    weights: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for (name, label), weight in sorted(learnt.state_features.items()):
        if abs(weight) >= LEAST_WEIGHT:
            weights[name].append((place[label], round(weight, 2)))
    steps = tuple(tuple(round(learnt.transitions.get((a, b), 0.0), 2) for b in names) for a in names)
    return Chain(names, steps, {name: tuple(pairs) for name, pairs in weights.items()}, reluctance)


def learn_told(taken: Sequence[Example]) -> case_words.ToldModel:
    """What is learnt of cases and carry-overs."""
    models = []
    for name, classes in (("again", ("no", "yes")), ("carry", ("none", *DIRECTIONS))):
        rows, answers, weights = [], [], []
        for one in taken:
            for row, answer in one.openings if name == "again" else one.carries:
                rows.append(row)
                answers.append(int(answer) if name == "again" else classes.index(answer))
                weights.append(WEIGHT[one.set_name])
        models.append(fit(rows, answers, classes, weights, STRENGTH[name], LEAST[name]))
    return case_words.ToldModel(
        fit_chain([(case.rows, case.labels) for one in taken for case in one.cases], RELUCTANCE), *models
    )


def learn_net(taken: Sequence[Example], labels: Sequence[str]) -> dict[str, np.ndarray]:
    """The weights of the network over the words of cases, for the labels of the chain."""
    from learn_net import Labelled, fit_net  # needs PyTorch, which the rest does not

    cases = [
        Labelled(one.set_name, case.words, all_rows(case.words, case.rows), case.labels)
        for one in taken
        for case in one.cases
    ]
    return fit_net(cases, labels)


def learn_stops(sets: Sequence[str], vocabulary: Vocabulary, nlp: Any) -> Chain:
    """Where sentences begin, from sessions and scripts that have stops, read without them. A point is a sentence of its
    own, also where it was said between commas."""
    taken = []
    for words, begins in _stopped(sets):
        stopped = {at + 1 for at, word in enumerate(words) if _ENDS.search(word) and word not in _TITLES}
        if len(stopped) * WORDS_PER_STOP < len(words):
            continue
        begins |= stopped
        lows = [_without_stops(word) for word in words]
        rows = stops.stop_rows(lows, tuple(stops.parsed(lows, nlp)), vocabulary)
        taken.append((rows, [stops.BEGINS if at in begins else OUTSIDE for at in range(len(words))]))
    return fit_chain(taken, STOPS_RELUCTANCE, pull=1.0)


_ENDS = re.compile(r"[.?!][\"')\]”’]*$")
_TITLES = frozenset(("Dr.", "Mr.", "Mrs.", "Ms.", "St."))


def _without_stops(word: str) -> str:
    return word.lower().strip('.,;:?!"“”') or word


def _stopped(sets: Sequence[str]) -> Iterator[tuple[list[str], set[int]]]:
    """The words of each text, and those that begin a part or are an edge of what was labelled as one statement."""
    for set_name in sets:
        for path in sorted((measure.GOLD / set_name).glob("*.txt")):
            gold = measure.parse_gold(path.stem, path.read_text(encoding="utf-8"))
            labels = [label for label in gold.labels if label.code in ("p", "q", "co+", "co-")]
            edges = {edge for label in labels for edge in (label.start, label.end)}
            yield (
                [word.text for word in gold.reading.transcript.words],
                {0} | edges | {part.start for part in gold.parts},
            )
    for path in sorted(SCRIPTS.glob("*.txt")):
        yield [word for line in read_script(path)[1] for word in line.text.split()], {0}


def learn_names(taken: Sequence[Example]) -> Chain:
    return fit_chain([rows for one in taken for rows in one.names], 0.0)


def _log(counts: np.ndarray) -> np.ndarray:
    """The logarithm of each count's share of its row."""
    return np.log(counts / counts.sum(axis=-1, keepdims=True))


def unseen_paths(all_of_them: Sequence[Example], folds: int) -> dict[str, list[str]]:
    """The structure of each session by a model that has not seen it."""
    paths: dict[str, list[str]] = {}
    for fold in range(folds):
        model = learn([one for k, one in enumerate(all_of_them) if k % folds != fold], {})
        for one in [one for k, one in enumerate(all_of_them) if k % folds == fold]:
            paths[one.name] = learned.best_path(one.rows, model)
    return paths


def left_out(
    all_of_them: Sequence[Example], folds: int, sets: Sequence[str]
) -> Iterator[tuple[list[Example], list[Example]]]:
    """What is learnt from and what is measured, fold after fold; with no folds each named set is left out as a whole, since
    sessions of one hand are alike."""
    if folds:
        for fold in range(folds):
            tested = [one for k, one in enumerate(all_of_them) if k % folds == fold and one.set_name in sets]
            yield [one for k, one in enumerate(all_of_them) if k % folds != fold], tested
        return
    for name in sets:
        yield (
            [one for one in all_of_them if one.set_name != name],
            [one for one in all_of_them if one.set_name == name],
        )


def cross(
    all_of_them: Sequence[Example], folds: int, vocabulary: Vocabulary, nlp: Any, details: bool, sets: Sequence[str]
) -> None:
    tallies = {name: measure.Tally() for name in sets}
    counts: Counter[str] = Counter()
    say = print if details else (lambda _: None)
    for taken, tested in left_out(all_of_them, folds, sets):
        model = learn(taken, unseen_paths(taken, 5))
        learned.model = lambda model=model: model  # type: ignore[assignment, misc]
        told = learn_told(taken)
        for user in (case_fields, carry_overs, whole):
            user.told_model = lambda told=told: told  # type: ignore[attr-defined]
        net = Net(learn_net(taken, told.words.labels))
        case_fields.told_net = lambda net=net: net  # type: ignore[attr-defined]
        cut = learn_stops(sorted({one.set_name for one in taken}), vocabulary, nlp)
        stops.stop_model = lambda cut=cut: cut  # type: ignore[assignment, misc]
        seen = learn_names(taken)
        name_words.name_model = lambda seen=seen: seen  # type: ignore[assignment, misc]
        for one in tested:
            say(f"== {one.name}")
            measure.score_session(
                one.gold, extract(one.gold.reading, vocabulary, nlp=nlp), vocabulary, tallies[one.set_name], say
            )
            counts[one.set_name] += 1
    figures = {name: measure._figures(tally, counts[name], 1, 0.0) for name, tally in tallies.items()}
    for key in figures[sets[0]]:
        values = [figures[name][key] for name in sets]
        if isinstance(values[0], dict):
            if key != "baselines":
                for name, value in zip(sets, values, strict=True):
                    print(key, name, value)
        else:
            print(f"{key:38}" + "".join(f"{value!s:>10}" for value in values))


def cross_told(all_of_them: Sequence[Example], folds: int, sets: Sequence[str], say: Callable[[str], None]) -> None:
    """Fields of cases not learnt from, on the labelled stretches, beside the rules on the same."""
    tallies: dict[tuple[str, str], measure.Tally] = defaultdict(measure.Tally)
    for taken, tested in left_out(all_of_them, folds, sets):
        told = learn_told(taken)
        net = Net(learn_net(taken, told.words.labels))
        for one in tested:
            for row, true in one.openings:
                shares = told.again.log_shares(row)
                tallies["again", "chain"].add(
                    gold=true, found=shares[1] > shares[0], hit=true and shares[1] > shares[0]
                )
            for row, direction in one.carries:
                share, name = max(
                    (share, name)
                    for share, name in zip(told.carry.log_shares(row), told.carry.classes, strict=True)
                    if name != "none"
                )
                found_it = share >= math.log(CARRIES_FROM)
                tallies["carry", "chain"].add(
                    gold=direction != "none", found=found_it, hit=found_it and name == direction
                )
            for case in one.cases:
                chained = [
                    (name, one.session.words(case.places[first], case.places[last - 1] + 1))
                    for name, first, last in told_fields(told.words, net, case.words, case.rows)
                ]
                ruled = [(f.label, f.words) for f in case.ruled]
                mixed = [f for f in chained if f[0] in LEARNT] + [f for f in ruled if f[0] not in LEARNT]
                mixed += [
                    (name, words) for name, words in chained
                    if name not in LEARNT and not any(name == other and (name in ("age", "sex", "setting") or words.overlaps(where)) for other, where in ruled)
                ]  # fmt: skip
                for way, found in (("rules", ruled), ("chain", chained), ("as used", mixed)):
                    for name in measure.FIELDS.values():
                        gold = [words for label, words in case.gold if label == name]
                        got = [words for label, words in found if label == name]
                        pairs = measure.pair(gold, got, measure.of_shorter, 0.5)
                        for key in (name, "all"):
                            tallies[key, way].add(gold=len(gold), found=len(got), hit=len(pairs))
                        if way == "as used":
                            for i, words in enumerate(gold):
                                if i not in {a for a, _ in pairs}:
                                    say(f"{one.name} missed {name}: {one.gold.reading.text_of(words)}")
                            for j, words in enumerate(got):
                                if j not in {b for _, b in pairs}:
                                    say(f"{one.name} too many {name}: {one.gold.reading.text_of(words)}")
    print(f"{'f1 (precision recall)':26}{'number':>7}" + "".join(f"{way:>22}" for way in ("rules", "chain", "as used")))
    for name in ("all", *measure.FIELDS.values(), "again", "carry"):
        line = f"{name:26}{tallies[name, 'chain'].counts['gold']:>7}"
        for way in ("rules", "chain", "as used"):
            tally = tallies[name, way]
            precision, recall = tally.ratio("hit", "found"), tally.ratio("hit", "gold")
            line += f"  {measure.f1(precision, recall) or 0:.3f} ({precision or 0:.3f} {recall or 0:.3f})"
        print(line)


def main(arguments: Sequence[str], nlp: Any = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cross", type=int, metavar="FOLDS", help="measure, each fold left out; 0: each set left out")
    parser.add_argument("--sets", default=",".join(WEIGHT), help="the sets whose figures --cross prints")
    parser.add_argument("--details", action="store_true")
    parser.add_argument(
        "--only", choices=("stops", "told", "names", "sentences"), help="learn one of the four; measure told"
    )
    given = parser.parse_args(list(arguments))
    nlp = nlp or load_nlp()
    vocabulary = load_vocabulary()
    if given.cross is None and given.only in (None, "stops"):
        _write("stops", learn_stops(tuple(WEIGHT), vocabulary, nlp))
        stops.stop_model.cache_clear()
        if given.only:
            return
    found = examples(vocabulary, nlp, named=given.only in (None, "names"))
    if given.cross is not None:
        sets = given.sets.split(",")
        if given.only == "told":
            cross_told(found, given.cross, sets, print if given.details else lambda _: None)
        else:
            cross(found, given.cross, vocabulary, nlp, given.details, sets)
        return
    learners: dict[str, Callable[[], Any]] = {
        "told": lambda: learn_told(found),
        "names": lambda: learn_names(found),
        "sentences": lambda: learn(found, unseen_paths(found, 5)),
    }
    for name, learner in learners.items():
        if given.only in (None, name):
            learnt = learner()
            _write(name, learnt)
            if name == "told":
                target = TARGET.with_name("told.npz")
                np.savez_compressed(target, **learn_net(found, learnt.words.labels))  # type: ignore[arg-type]
                print(f"{target}: {target.stat().st_size} bytes")


def _write(name: str, learnt: Any) -> None:
    target = TARGET.with_name(f"{name}.json")
    target.write_bytes(msgspec.json.encode(learnt))
    print(f"{target}: {target.stat().st_size} bytes")


if __name__ == "__main__":
    main(sys.argv[1:])
