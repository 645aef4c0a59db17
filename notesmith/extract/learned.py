"""What was learnt from labelled sessions: what a sentence is for, whether it teaches, and what kind of point it is.

Linear models over plain features of a sentence (its words, tenses, persons, cues, what the rules say of it and of its
neighbours); their weights are in ``data/sentences.json``, made by ``benchmarks/learn_notes.py`` from the development
sessions alone. The structure of a session is the best path over all its sentences. The same input gives the same
output: sums in a fixed order, no chance anywhere.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from functools import cached_property, lru_cache
from importlib.resources import files
from typing import get_args

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.annotations import PartKind, PointKind
from notesmith.extract.cases import (
    CaseSpan,
    introduces,
    likeness,
    opening_features,
    recalls,
    returns_to,
    sums_up,
    tells,
    told_from,
    told_until,
)
from notesmith.extract.discouraging import discouraging_place
from notesmith.extract.lexicon import (
    BODY_CHAPTERS,
    CLINICAL_WORDS,
    MIND_WORDS,
    MODALITY_WORDS,
    SENSATIONS,
    stem,
    word_classes,
)
from notesmith.extract.names import name_lists
from notesmith.extract.newcomers import newcomer_features
from notesmith.extract.opinions import STATES as READ_STATES
from notesmith.extract.potency_words import NUMBER
from notesmith.extract.sentences import Look
from notesmith.extract.session import Session
from notesmith.extract.warning_signs import sends_to_care

#: The parts of a session, a case taken apart into where it begins, where it is taken up again, and the rest of it.
STATES: tuple[str, ...] = (
    *(kind for kind in get_args(PartKind) if kind != "case"),
    "case begins",
    "case again",
    "case goes on",
)
POINT_KINDS: tuple[str, ...] = get_args(PointKind)
Features = Mapping[str, float]


class Linear(msgspec.Struct, frozen=True, dict=True):
    """``weights`` has for each feature one number a class; ``bias`` one a class."""

    classes: tuple[str, ...]
    bias: tuple[float, ...]
    weights: dict[str, tuple[float, ...]]

    def log_shares(self, features: Features) -> list[float]:
        """The logarithm of each class's share."""
        places, rows = self.table
        known = [(place, value) for name, value in features.items() if (place := places.get(name)) is not None]
        taken = rows[[0, *(place for place, _ in known)]] * np.array([1.0, *(value for _, value in known)])[:, None]
        sums: list[float] = taken.sum(axis=0).tolist()
        top = max(sums)
        total = top + math.log(sum(math.exp(value - top) for value in sums))
        return [value - total for value in sums]

    @cached_property
    def table(self) -> tuple[dict[str, int], np.ndarray]:
        """The row of each feature, and the weights with the bias first: features by classes."""
        rows = np.array([self.bias, *self.weights.values()])
        return {name: place for place, name in enumerate(self.weights, 1)}, rows


#: A share nearer to nothing or all says no more than this.
SUREST = 0.999


def log_odds(log_share: float) -> float:
    """The log-odds of a share given as its logarithm."""
    share = min(max(math.exp(log_share), 1 - SUREST), SUREST)
    return math.log(share / (1 - share))


class Model(msgspec.Struct, frozen=True):
    """``steps[a][b]`` is the weight of state ``b`` after ``a``, ``first`` that of a session's first state."""

    states: Linear
    steps: tuple[tuple[float, ...], ...]
    first: tuple[float, ...]
    point: Linear
    kind: Linear
    urgent: Linear
    discourages: Linear


@lru_cache(maxsize=1)
def model() -> Model:
    return msgspec.json.decode(files("notesmith.extract").joinpath("data", "sentences.json").read_bytes(), type=Model)


# ---------------------------------------------------------------- features

_AGE_LIKE = re.compile(rf"\b{NUMBER}\b")
AFTER_TIME = re.compile(
    rf"\b(?:{NUMBER}|a|one|few|couple|next|that|same|first|second|third|last|some|half) (?:more |of |and a half )?(?:days?|weeks?|months?|years?|hours?|minutes?|morning|night|evening|"
    r"visit|lunch|fortnight|weekend)\b"
)
_GIVES = re.compile(
    r"\b(?:gave|given|give|prescribed|got|received|dose|doses|repeated|started|single|once|twice|powder|pellets|drops|globules|potency|daily|\d+c|\d+x|1m|10m|lm\d?)\b"
)
LEXICON = (("mind", MIND_WORDS), ("mod", MODALITY_WORDS), ("sens", SENSATIONS), ("clin", CLINICAL_WORDS))
GROUPS: tuple[tuple[str, frozenset[str]], ...] = (
    ("i", frozenset(("i", "i'd", "i'll", "i'm", "i've", "me", "my", "mine"))),
    ("we", frozenset(("we", "we'll", "we're", "we've", "us", "our", "let's"))),
    ("you", frozenset(("you", "you'll", "you're", "you've", "your", "ye", "yours"))),
    ("she", frozenset(("she", "she'd", "she's", "she'll", "her", "hers", "he", "he'd", "he's", "he'll", "his", "him"))),
    ("they", frozenset(("they", "they'll", "they're", "their", "them"))),
    ("kin", frozenset("mother father husband wife son daughter brother sister family parents grandmother grandfather aunt uncle mum dad mama".split())),
    ("class", frozenset("class notes book books page exam lecture chapter homework assignment week tomorrow monday tuesday wednesday thursday friday slide board recording".split())),
    ("room", frozenset("door fan light lights mic microphone screen chair chairs window bus phone sit bell projector attendance fees late car coffee tea noise audio sound camera camera's mute".split())),
    ("person", frozenset("lady man woman boy girl gentleman patient child baby infant teacher driver clerk nurse farmer student guy lad fellow widow housewife mama".split())),
    ("tests", frozenset("x-ray scan blood haemoglobin hemoglobin thyroid pressure mri ultrasound endoscopy report test tests biopsy ecg spirometry normal negative".split())),
)  # fmt: skip
_COMPACT = (
    "question", "asks", "VBD", "g:she", "g:i", "g:you", "g:we", "remedy", "intro", "returns", "housekeeping", "reading", "recap", "tells", "gives", "promise",
    "close", "named", "g:class", "g:room", "VBZ", "two remedies", "after time", "content",
)  # fmt: skip


def _word(low: str) -> str:
    return "#" if any(c.isdigit() for c in low) else low


_CURES = re.compile(r"\b(?:cure[sd]?|curing|guarantee\w*|hundred per ?cent|permanent\w*|heals?|healed)\b")


def own_features(session: Session, look: Look) -> dict[str, float]:
    """What one sentence shows by itself."""
    sentence = look.sentence
    units = session.units[sentence.start : sentence.end]
    lows = [unit.low for unit in units if unit.low]
    found: dict[str, float] = {}
    for low in lows:
        found[f"w:{_word(low)}"] = 1.0
    if lows:
        found[f"f:{_word(lows[0])}"] = 1.0
        found[f"ff:{_word(lows[0])} {_word(lows[1])}" if len(lows) > 1 else "ff:one"] = 1.0
    bag = set(lows)
    for name, group in GROUPS:
        if bag & group:
            found[f"g:{name}"] = 1.0
    for tag in {session.parse.tag(unit) for unit in range(sentence.start, sentence.end)} & {
        "VBD",
        "VBZ",
        "VBP",
        "MD",
        "VB",
        "VBG",
        "VBN",
    }:
        found[tag] = 1.0
    if units and session.parse.tag(sentence.start) == "VB":
        found["order"] = 1.0
    flags = {
        "question": look.question, "asks": look.asks, "meta": look.meta, "housekeeping": look.housekeeping > 0, "recap": look.recap, "reading": look.reading,
        "comparison": look.comparison, "close": look.close, "promise": look.promise, "referred": look.referred, "emphasis": look.emphasis > 0,
        "narration": look.narration > 0, "past": look.past > 0, "present": look.present, "no verb": not look.has_verb, "remedy": bool(look.remedies),
        "two remedies": len(look.remedies) > 1, "rubric": bool(look.rubrics), "mind": look.mind > 0, "body": bool(look.body), "content": look.content > 0,
        "number": bool(_AGE_LIKE.search(sentence.low)), "after time": bool(AFTER_TIME.search(sentence.low)), "gives": bool(_GIVES.search(sentence.low)),
        "colon": ":" in sentence.low, "comma first": bool(units) and units[0].text.endswith(","), "short": look.meaningful <= 4, "long": look.meaningful >= 16,
    }  # fmt: skip
    found |= {name: 1.0 for name, on in flags.items() if on}
    if sends_to_care(sentence.low) is not None:
        found["sends"] = 1.0
    if discouraging_place(sentence.low) is not None:
        found["discourages"] = 1.0
    if _CURES.search(sentence.low):
        found["cures"] = 1.0
    found["amount"] = min(4, look.content) / 2
    intro = introduces(sentence.low)
    if intro:
        found["intro"] = min(4.0, intro) / 3
    value = tells(look)
    if value > 0:
        found["tells"] = min(4.0, value) / 3
    if returns_to(look):
        found["returns"] = 1.0
    names = name_lists()
    if any(
        u.bare[:1].isupper() and u.low.removesuffix("'s") in names.given and u.low not in names.ordinary_names
        for u in units
    ):
        found["named"] = 1.0
    return found


def state_features(session: Session, looks: Sequence[Look], rule_parts: Sequence[str]) -> list[dict[str, float]]:
    """Features of each sentence with those of its neighbours, its place in the session and the rules' own reading."""
    own = [own_features(session, look) for look in looks]
    new = newcomer_features(looks)
    questions = question_features(looks, own)
    total = max(1, len(session))
    rows = []
    for index, look in enumerate(looks):
        row = own[index] | new[index] | questions[index]
        for step in (-3, -2, -1, 1, 2, 3):
            if 0 <= index + step < len(looks):
                for name in _COMPACT:
                    if name in own[index + step]:
                        row[f"{step}:{name}"] = own[index + step][name]
            else:
                row[f"{step}:outside"] = 1.0
        if index:
            row |= {f"-1{name}": 1.0 for name in own[index - 1] if name.startswith("f:")}
        place = look.sentence.start / total
        for edge in (0.02, 0.06, 0.15, 0.3, 0.6, 0.85, 0.93, 0.97):
            if place >= edge:
                row[f"place {edge}"] = 1.0
        row[f"rule {rule_parts[index]}"] = 1.0
        around = range(max(0, index - 8), min(len(looks), index + 9))
        for name in ("VBD", "g:she", "question", "two remedies", "reading", "content", "intro"):
            row[f"near {name}"] = sum(own[near].get(name, 0.0) for near in around) / 8
        row |= {f"{name}+{other}": 1.0 for name, other in (("VBD", "g:she"), ("VBD", "g:i"), ("VBZ", "g:she"), ("question", "named"), ("number", "g:person"))
                if name in row and other in row}  # fmt: skip
        rows.append(row)
    return rows


#: What the features of ``question_features`` begin with; they tell of structure, not of what a sentence says.
FROM_QUESTIONS = ("since ", "until ", "many ")


def _away(steps: int | None) -> str:
    return "none" if steps is None else str(steps) if steps < 5 else "5+" if steps < 9 else "9+"


def question_features(looks: Sequence[Look], own: Sequence[Features]) -> list[dict[str, float]]:
    """How far each sentence is from the last question and the next, of any and of those put by name or asked for: an
    answer goes on for some sentences without a word that shows it."""
    rows: list[dict[str, float]] = [{} for _ in looks]
    asked = [look.question for look in looks]
    named = [look.question and ("named" in row or look.asks) for look, row in zip(looks, own, strict=True)]
    for name, flags in (("q", asked), ("nq", named)):
        for word, order in (("since", range(len(looks))), ("until", range(len(looks) - 1, -1, -1))):
            last: int | None = None
            for index in order:
                rows[index][f"{word} {name} {_away(None if last is None else abs(index - last))}"] = 1.0
                if flags[index]:
                    last = index
    for index, row in enumerate(rows):
        row["many q"] = sum(asked[max(0, index - 20) : index + 21]) / 10
    return rows


def point_features(state: Features, part: str, before: str, after: str, ruled: bool) -> dict[str, float]:
    """Features for whether a sentence teaches. ``part`` is what it is for, ``ruled`` what the rules say."""
    row = {
        name: value
        for name, value in state.items()
        if not name.startswith(("rule ", "place ", "near ", "n:", *FROM_QUESTIONS))
        and name[:2] not in ("-3", "-2", "2:", "3:")
    }
    row[f"part {part}"] = row[f"before {before}"] = row[f"after {after}"] = 1.0
    if ruled:
        row["ruled"] = row[f"ruled {part}"] = 1.0
    for name in ("content", "VBD", "g:i", "remedy", "g:you", "order"):
        if name in state:
            row[f"{part} {name}"] = 1.0
    return row


def kind_features(session: Session, start: int, end: int, part: str, ruled: str, before: str) -> dict[str, float]:
    """Features for the kind of the point over units ``start`` to ``end``."""
    lows = [session.units[unit].low.removesuffix("'s") for unit in range(start, end) if session.units[unit].low]
    classes = word_classes()
    found: dict[str, float] = {
        f"part {part}": 1.0,
        f"ruled {ruled}": 1.0,
        f"ruled {ruled} {part}": 1.0,
        f"before {before}": 1.0,
    }
    for place, low in enumerate(lows):
        word = _word(low)
        found[f"s:{stem(word)}"] = 1.0
        if low in classes:
            found[f"k:{classes[low]}"] = 1.0
        if place < 4:
            found[f"early:{stem(word)}"] = 1.0
        if low in BODY_CHAPTERS:
            chapter = BODY_CHAPTERS[low]
            found[f"c:{chapter}"] = 1.0
            found[
                "any body"
                if chapter not in ("mind", "generalities", "sleep", "perspiration", "fever", "chill")
                else "any general"
            ] = 1.0
        for name, group in LEXICON:
            if low in group:
                found[f"l:{name}"] = found.get(f"l:{name}", 0.0) + 0.5
    for first, second in zip(lows, lows[1:], strict=False):
        found[f"b:{stem(_word(first))} {stem(_word(second))}"] = 1.0
    for tag in {session.parse.tag(unit) for unit in range(start, end)} & {"VBD", "MD", "VB"}:
        found[tag] = 1.0
    if start < end and session.parse.tag(start) == "VB":
        found["order"] = 1.0
    remedies = sum(unit.concept_id is not None for unit in session.units[start:end])
    if remedies:
        found["terms"] = 1.0
    found["length"] = min(20, len(lows)) / 10
    return found


#: The share from which a sentence the rules passed over is shown all the same: a flag asks for no more than a look.
URGENT_FROM, DISCOURAGES_FROM = 0.1, 0.12


def care_features(session: Session, look: Look) -> dict[str, float]:
    """Features for whether a sentence tells of an urgent condition or speaks against care: its words, their classes,
    and pairs of both. What the rules say is not among them: on the sessions they were written for they are always right."""
    classes = word_classes()
    units = session.units[look.sentence.start : look.sentence.end]
    lows = [unit.low.removesuffix("'s") for unit in units if unit.low]
    found = {f"s:{stem(low)}": 1.0 for low in lows}
    found |= {f"k:{classes[low]}": 1.0 for low in lows if low in classes}
    for first, second in zip(lows, lows[1:], strict=False):
        found[f"b:{stem(first)} {stem(second)}"] = 1.0
        if first in classes and second in classes:
            found[f"kk:{classes[first]} {classes[second]}"] = 1.0
    if any(low in {"not", "never", "no", "without", "nobody"} or low.endswith("n't") for low in lows):
        found["neg"] = 1.0
    return found


# ---------------------------------------------------------------- the best path
#: How the language model's word for what a sentence is for counts beside that of ``Model.states``. Chosen on sets left out.
LEARNT_SHARE, READ_SHARE = 0.7, 2.0
_READ_AS = [READ_STATES.index(state) for state in STATES]


def best_path(
    rows: Sequence[Features],
    learnt: Model,
    read: frozenset[int] = frozenset(),
    placed: frozenset[int] = frozenset(),
    opinions: Sequence[NDArray[np.float32]] = (),
) -> list[str]:
    """The state of each sentence; ``read`` are sentences known to be read aloud from a text, ``placed`` those that speak of
    remedies by their places side by side; ``opinions`` has the language model's log-probabilities of the states, by sentence."""
    if not rows:
        return []
    count = len(STATES)
    reading, comparison = STATES.index("reading"), STATES.index("comparison")
    scores: list[list[float]] = []
    for index, row in enumerate(rows):
        own = learnt.states.log_shares(row)
        if opinions:
            read_as = opinions[index][_READ_AS].tolist()
            own = [LEARNT_SHARE * a + READ_SHARE * b for a, b in zip(own, read_as, strict=True)]
        scores.append(own)
        if index in read:
            scores[-1][reading] += 4.0
        if index in placed:
            scores[-1][comparison] += 2.0
    value = [scores[0][k] + learnt.first[k] for k in range(count)]
    back: list[list[int]] = []
    for index in range(1, len(rows)):
        sources, column = [], []
        for k in range(count):
            source = max(range(count), key=lambda j: value[j] + learnt.steps[j][k])
            sources.append(source)
            column.append(value[source] + learnt.steps[source][k] + scores[index][k])
        back.append(sources)
        value = column
    at = max(range(count), key=value.__getitem__)
    path = [at]
    for sources in reversed(back):
        at = sources[at]
        path.append(at)
    path.reverse()
    return [STATES[k] for k in path]


def part_of(state: str) -> str:
    return "case" if state.startswith("case ") else state


def _parted(looks: Sequence[Look], state: str, first: int, last: int) -> list[tuple[str, int, int]]:
    """A told stretch in which something is taught and the person then taken up again in so many words, as two."""
    for index in range(first + 2, last):
        if returns_to(looks[index]) and (taught := [k for k in range(first + 1, index) if sums_up(looks[k])]):
            return [(state, first, taught[0]), *_parted(looks, "case again", index, last)]
    return [(state, first, last)]


#: A story has this many sentences before another's goes on in the middle of it.
SPLIT_AFTER = 3
#: What is told of somebody in fewer words is a remark: the shortest of 329 labelled cases has 48.
SHORTEST = 20


def cases_in(looks: Sequence[Look], path: Sequence[str], again: Linear | None = None) -> tuple[CaseSpan, ...]:
    """Cases and their later stretches along a path. ``again`` decides whether a stretch takes up an earlier case;
    without it the path does."""
    runs: list[tuple[str, int, int]] = []
    for index, state in enumerate(path):
        if not state.startswith("case "):
            continue
        opens = state != "case goes on" or not index or not path[index - 1].startswith("case ")
        announced = state == "case begins" and bool(runs) and runs[-1][::2] == (state, index)
        if announced and _words_in(looks, *runs[-1][1:]) < SHORTEST:
            runs[-1] = (state, runs[-1][1], index + 1)  # "Let me tell a case.", and then it is told
        elif opens:
            runs.append((state, index, index + 1))
        else:
            runs[-1] = (runs[-1][0], runs[-1][1], index + 1)
    cases: list[CaseSpan] = []
    told = [part for run in runs for part in _parted(looks, *run)]
    while told:
        state, found_first, found_last = told.pop(0)
        first = told_from(looks, found_first, found_last)
        last = told_until(looks, first, found_last)
        place = recalls(looks, cases, first, first)
        takes_up = state == "case again" or place is not None
        if again is not None and cases:
            shares = again.log_shares(opening_features(looks, cases, first, last) | {state: 1.0})
            takes_up = shares[1] > shares[0]
        if takes_up and cases and place is None:
            text = " ".join(look.sentence.low for look in looks[first : min(last, first + 4)])
            place = max(range(len(cases)), key=lambda k: (likeness(looks, cases[k], text), k))
        # the story of somebody told of before may go on in the middle of another's, without a word between
        for index in range(first + SPLIT_AFTER, last):
            other = recalls(looks, cases, index, first)
            if other is not None and not (takes_up and other == place):
                told.insert(0, ("case again", index, last))
                last = index
                break
        if takes_up and cases and place is not None:
            case = cases[place]
            if again is not None and not case.follow_ups and case.last == first:
                cases[place] = CaseSpan(case.first, last)  # it was never left
            else:
                cases[place] = CaseSpan(case.first, case.last, (*case.follow_ups, (first, last)))
        else:
            cases.append(CaseSpan(first, last))
    return tuple(case for case in cases if case.follow_ups or _words_in(looks, case.first, case.last) >= SHORTEST)


def _words_in(looks: Sequence[Look], first: int, last: int) -> int:
    return sum(len(look.sentence) for look in looks[first:last])
