"""Learn what sentences are for, whether they teach and what kind of point they make, from the development sessions.

``python benchmarks/learn_notes.py`` writes ``notesmith/extract/data/sentences.json``. With ``--cross N`` nothing is
written: the sessions are cut into N folds, each is measured with what was learnt from the others, and the figures
printed are those of sessions not learnt from (though the rules, whose word is a feature, were written on all of them).
Learnt from are the sets named in ``WEIGHT``.
"""

from __future__ import annotations

import argparse
import math
import sys
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import msgspec
import numpy as np
from scipy.optimize import minimize
from scipy.sparse import csr_matrix

sys.path.insert(0, str(Path(__file__).parent))
import measure_notes as measure

from notesmith.extract import by_rule, extract, learned, load_nlp
from notesmith.extract.case_fields import CLAUSE_LABELS, case_key, case_units, ruled_clauses
from notesmith.extract.contrast import relates
from notesmith.extract.kinds import kind_of
from notesmith.extract.mentions import find_hits
from notesmith.extract.points import ADVICE, is_point
from notesmith.extract.prescriptions import find_potencies, find_prescriptions
from notesmith.extract.sentences import look_at
from notesmith.extract.session import Session
from notesmith.vocabulary import Vocabulary, load_vocabulary

TARGET = Path(__file__).parent.parent / "notesmith" / "extract" / "data" / "sentences.json"
#: The rules were written on the older sets, where their word is therefore worth less than it looks.
WEIGHT = {"dev": 0.4, "dev2": 0.5, "dev3": 1.0, "dev4": 1.0, "dev5": 1.5, "dev6": 1.5}
STRENGTH = {
    "states": 1.6,
    "point": 1.6,
    "kind": 0.6,
    "field": 1.6,
    "care": 1.0,
}  # of the pull of all weights towards nought
LEAST = {"states": 3, "point": 3, "kind": 2, "field": 2, "care": 2}  # sentences a feature must be seen in
POINT_FROM = 0.5
FIELD_CLASSES = (*CLAUSE_LABELS, "none")


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
    clauses: list[tuple[dict[str, float], str]] = field(default_factory=list)
    care: list[dict[str, float]] = field(default_factory=list)


def examples(vocabulary: Vocabulary, nlp: Any) -> list[Example]:
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
                    path.stem, set_name, gold, session, looks, learned.state_features(session, looks, ruled.parts), _states(gold, session),
                    _teaches(gold, session), _spans(gold, session),
                )
            )  # fmt: skip
            found[-1].clauses = _clauses(found[-1], hits)
            found[-1].care = [learned.care_features(session, look) for look in looks]
    return found


def _clauses(one: Example, hits: Sequence[Any]) -> list[tuple[dict[str, float], str]]:
    """Features and label of each clause of the cases as they are labelled, the rules' own fields among the features."""
    cases = learned.cases_in(one.looks, one.states)
    remedies = tuple(hit for hit in hits if hit.concept_id.startswith("remedy/"))
    ranges = [
        (case_key(one.session, case), start, end) for case in cases for start, end in case_units(one.session, case)
    ]
    given = find_prescriptions(one.session, remedies, find_potencies(one.session, remedies), ranges)
    labels = [(label, measure.FIELDS[label.argument]) for label in one.gold.of("f")]
    found = []
    for rows in ruled_clauses(one.session, one.looks, cases, given, hits):
        for start, end, _, row in rows:
            words = one.session.words(start, end)
            best = max(
                ((measure.overlap(label.words, words), name) for label, name in labels if name in FIELD_CLASSES
                 and measure.of_shorter(label.words, words) >= 0.5), default=(0, "none"),
            )  # fmt: skip
            found.append((row, best[1]))
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


def learn(taken: Sequence[Example], paths: dict[str, list[str]]) -> learned.Model:
    """``paths`` are the structures found by models that had not seen the session; the later models learn on them."""
    rows, answers, weights = [], [], []
    for one in taken:
        for row, state in zip(one.rows, one.states, strict=True):
            rows.append(row)
            answers.append(learned.STATES.index(state))
            weights.append(WEIGHT[one.set_name])
    states = fit(rows, answers, learned.STATES, weights, STRENGTH["states"], LEAST["states"])
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
    if not paths:
        steps_, first_, prior_ = _logs(steps), _logs(first[None])[0], _logs(prior[None])[0]
        empty = learned.Linear(("no", "yes"), (0.0, 0.0), {})
        return learned.Model(
            states,
            steps_,
            first_,
            prior_,
            empty,
            learned.Linear(learned.POINT_KINDS, (0.0,) * len(learned.POINT_KINDS), {}),
            POINT_FROM,
        )
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
    rows = [row for one in taken for row, _ in one.clauses]
    answers = [FIELD_CLASSES.index(label) for one in taken for _, label in one.clauses]
    weights = [WEIGHT[one.set_name] for one in taken for _ in one.clauses]
    fields = fit(rows, answers, FIELD_CLASSES, weights, STRENGTH["field"], LEAST["field"])
    rows = [row for one in taken for row in one.care]
    urgent, discourages = (
        fit(rows, [flag for one in taken for flag in _flagged(one, code)], ("no", "yes"), [1.0] * len(rows), STRENGTH["care"], LEAST["care"])
        for code in "ud"
    )  # fmt: skip
    return learned.Model(
        states, _logs(steps), _logs(first[None])[0], _logs(prior[None])[0], point, kind, POINT_FROM, fields, urgent, discourages
    )  # fmt: skip


def _logs(counts: np.ndarray) -> Any:
    shares = counts / counts.sum(axis=1, keepdims=True)
    return tuple(tuple(round(math.log(value), 3) for value in row) for row in shares)


def unseen_paths(all_of_them: Sequence[Example], folds: int) -> dict[str, list[str]]:
    """The structure of each session by a model that has not seen it."""
    paths: dict[str, list[str]] = {}
    for fold in range(folds):
        model = learn([one for k, one in enumerate(all_of_them) if k % folds != fold], {})
        for one in [one for k, one in enumerate(all_of_them) if k % folds == fold]:
            paths[one.name] = learned.best_path(one.rows, model)
    return paths


def cross(
    all_of_them: Sequence[Example], folds: int, vocabulary: Vocabulary, nlp: Any, details: bool, sets: Sequence[str]
) -> None:
    paths = unseen_paths(all_of_them, folds)
    tallies = {name: measure.Tally() for name in sets}
    counts: Counter[str] = Counter()
    say = print if details else (lambda _: None)
    for fold in range(folds):
        model = learn([one for k, one in enumerate(all_of_them) if k % folds != fold], paths)
        learned.model = lambda model=model: model  # type: ignore[assignment, misc]
        for one in [one for k, one in enumerate(all_of_them) if k % folds == fold and one.set_name in sets]:
            say(f"== {one.set_name} {one.name}")
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


def main(arguments: Sequence[str], nlp: Any = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cross", type=int, default=0, metavar="FOLDS")
    parser.add_argument("--sets", default=",".join(WEIGHT), help="the sets whose figures --cross prints")
    parser.add_argument("--details", action="store_true")
    given = parser.parse_args(list(arguments))
    nlp = nlp or load_nlp()
    vocabulary = load_vocabulary()
    found = examples(vocabulary, nlp)
    if given.cross:
        cross(found, given.cross, vocabulary, nlp, given.details, given.sets.split(","))
        return
    TARGET.write_bytes(msgspec.json.encode(learn(found, unseen_paths(found, 5))))
    print(f"{TARGET}: {TARGET.stat().st_size} bytes from {len(found)} sessions")


if __name__ == "__main__":
    main(sys.argv[1:])
