"""The evidence for one candidate as numbers: sound, spelling, word frequency, neighbours, session."""

from __future__ import annotations

import math
import re
from collections import Counter, defaultdict
from collections.abc import Mapping, Sequence
from functools import lru_cache

import msgspec
import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Levenshtein

from notesmith.correct.candidates import EDGE_WORDS, Candidate, HeardWord, number_like, words_of
from notesmith.correct.company import END, NUMBER, START, kind_of, load_company
from notesmith.correct.context import Surroundings, doubt
from notesmith.correct.english import fit, inside_fit
from notesmith.correct.forms import FormTable
from notesmith.sounds.phones import plain_letters
from notesmith.transcript import Transcript
from notesmith.vocabulary import label_key

FEATURES = (
    "bias", "distance", "relative distance", "size", "odd words", "ordinary words", "everyday", "everyday distance",
    "everyday relative", "everyday size", "prior", "session", "everyday session", "cues", "everyday cues", "capital",
    "everyday capital", "doubt", "everyday doubt", "author", "idea", "medical", "family", "book", "words", "edge word",
    "label words", "spelling", "everyday spelling", "short form", "exact label", "everyday ordinary",
    "session distance", "trade talk", "everyday trade talk", "not likeliest", "possessive", "everyday same sound",
    "everyday near sound", "odd same sound", "same sound cues", "same sound session", "author capital",
    "near sound prior", "author cues", "odd word left over", "miasm near", "psychiatry near", "terms near",
    "everyday terms near", "everyday idea", "pair before", "pair inside", "pair after", "company before", "company after",
    "everyday company", "by subject", "by subject everyday", "by subject relative", "by subject support", "same garble",
)  # fmt: skip
_FOLDS = (("ph", "f"), ("th", "t"), ("ae", "e"), ("oe", "e"), ("y", "i"), ("ck", "k"), ("qu", "kw"), ("x", "ks"),
          ("ce", "se"), ("ci", "si"), ("c", "k"), ("q", "k"), ("z", "s"), ("j", "i"), ("h", ""))  # fmt: skip
NEAR_TERMS = 18
SEEN_NEAR = 0.25  # relative distance up to which an odd word counts as a term near others before anything is decided


class Support(msgspec.Struct, frozen=True):
    """How often the session seems to speak of each concept, and how much of it each word gave."""

    by_concept: Mapping[str, float]
    given: Mapping[str, Mapping[int, float]]

    def elsewhere(self, concept_id: str, start: int, end: int) -> float:
        """The support that does not come from these words themselves."""
        given = self.given.get(concept_id)
        own = max((given.get(i, 0.0) for i in range(start, end)), default=0.0) if given else 0.0
        return max(0.0, self.by_concept.get(concept_id, 0.0) - own)


class Session(msgspec.Struct, frozen=True):
    """What the features need of a whole transcript."""

    transcript: Transcript
    words: tuple[HeardWord, ...]
    right: dict[int, tuple[int, str]]
    candidates: tuple[Candidate, ...]
    hints: tuple[str, ...] = ()


def first_support(session: Session, table: FormTable) -> Support:
    """Support from terms heard rightly and from odd stretches that are near one term only."""
    total, given = _counted(session)
    taken: set[int] = set()
    worth = [
        (c.distance / len(c.phones) - 0.02 * table.forms[c.form].prior - 0.004 * len(c.phones), number, c)
        for number, c in enumerate(session.candidates)
        if not c.everyday and len(c.phones) >= 4 and c.distance <= 0.5 * len(c.phones)
    ]
    for _, _, one in sorted(worth, key=lambda item: item[:2]):
        inside = range(one.words.start, one.words.end)
        if any(i in taken for i in inside):
            continue
        taken.update(inside)
        concept_id = table.forms[one.form].concept_id
        weight = 1.0 - one.distance / len(one.phones) / 0.5
        total[concept_id] += weight
        for i in inside:
            given[concept_id][i] = weight
    return Support(total, given)


def support_of(session: Session, table: FormTable, probabilities: Sequence[float]) -> Support:
    """Support from the probabilities of an earlier pass."""
    total, given = _counted(session)
    for one, probability in zip(session.candidates, probabilities, strict=True):
        if probability > 0.02:
            concept_id = table.forms[one.form].concept_id
            total[concept_id] += probability
            own = given[concept_id]
            for i in range(one.words.start, one.words.end):
                own[i] = own.get(i, 0.0) + probability
    return Support(total, given)


def _counted(session: Session) -> tuple[dict[str, float], dict[str, dict[int, float]]]:
    total: dict[str, float] = defaultdict(float)
    for _, concept_id in session.right.values():
        total[concept_id] += 1
    for concept_id in session.hints:
        total[concept_id] += 3
    return total, defaultdict(dict)


@lru_cache(maxsize=100_000)
def folded(text: str) -> str:
    """A spelling with letters of one sound made one, for comparing spellings."""
    plain = plain_letters(text.replace(" ", ""))
    for old, new in _FOLDS:
        plain = plain.replace(old, new)
    return re.sub(r"(.)\1", r"\1", plain)


@lru_cache(maxsize=200_000)
def likeness(heard: str, label: str) -> float:
    """How alike two spellings are, 0 to 1."""
    return float(Levenshtein.normalized_similarity(folded(heard), folded(label)))


class Evidences:
    """The features of all candidates of a session; only those of the session's support change from pass to pass."""

    def __init__(self, session: Session, table: FormTable) -> None:
        self.session = session
        self.table = table
        self._around = Surroundings(session.words)
        self._company = load_company()
        self._garbles = Counter((c.phones, table.forms[c.form].concept_id) for c in session.candidates)
        self._known = self._terms_known()
        self._bounds = {s.id: session.transcript.segment_range(s.id) for s in session.transcript.segments}
        self._inside_right = words_of(session.right)
        self.fixed = np.array([self._row(c) for c in session.candidates]).reshape(-1, len(FEATURES))

    def matrix(self, support: Support) -> NDArray[np.float64]:
        """(candidates, features) for a state of the session."""
        rows = self.fixed.copy()
        at = {name: FEATURES.index(name) for name in ("session", "everyday session", "session distance",
                                                      "same sound session", "by subject support")}  # fmt: skip
        for number, one in enumerate(self.session.candidates):
            concept_id = self.table.forms[one.form].concept_id
            value = math.log1p(support.elsewhere(concept_id, one.words.start, one.words.end))
            if value:
                row = rows[number]
                row[at["session"]] = value
                row[at["everyday session"]] = one.everyday * value
                row[at["session distance"]] = value * row[2]
                row[at["same sound session"]] = row[FEATURES.index("everyday same sound")] * value
                row[at["by subject support"]] = one.by_subject * value
        return rows

    def _terms_known(self) -> list[str | None]:
        """At each word the term that is surely or very likely there."""
        known: list[str | None] = [None] * len(self.session.words)
        for start, (end, concept_id) in self.session.right.items():
            if self.table.vocabulary[concept_id].scheme in ("remedy", "idea", "family", "canon"):
                known[start:end] = [concept_id] * (end - start)
        for one in self.session.candidates:
            form = self.table.forms[one.form]
            if one.everyday or one.rank or form.scheme == "medical" or len(one.phones) < 5:
                continue
            if one.distance < SEEN_NEAR * len(one.phones):
                for i in range(one.words.start, one.words.end):
                    known[i] = known[i] or form.concept_id
        return known

    def _left_over(self, one: Candidate) -> float:
        """Odd words right beside the stretch, in its clause, that it leaves unexplained."""
        words, bounds, (start, end) = self.session.words, self._bounds[one.segment_id], (one.words.start, one.words.end)
        before = start > bounds.start and not words[start - 1].ends_clause and self._is_loose(start - 1)
        after = end < bounds.end and not words[end - 1].ends_clause and self._is_loose(end)
        return float(before) + float(after)

    def _is_loose(self, index: int) -> bool:
        return self.session.words[index].odd and index not in self._inside_right

    def _pairs(self, start: int, end: int) -> tuple[float, float]:
        """How ordinary the first word is after the one before it, and the word after is after the last."""
        words = self.session.words
        before = START if words[start].starts_sentence or not start else words[start - 1].plain
        stops = end >= len(words) or words[end].starts_sentence
        return fit(before, words[start].plain), 0.0 if stops else fit(words[end - 1].plain, words[end].plain)

    def _neighbours(self, start: int, end: int) -> tuple[str, str, str, str]:
        """The two words before and the two after, within the sentence, terms and numbers by their kind."""
        words = self.session.words
        before: list[str] = []
        at = start
        while len(before) < 2:
            if at <= 0 or words[at].starts_sentence:
                before.append(START)
                continue
            at -= 1
            while at and not words[at].starts_sentence and self._one_term(at - 1):
                at -= 1
            before.append(self._token(at))
        after: list[str] = []
        at = end
        while len(after) < 2:
            if at >= len(words) or words[at].starts_sentence:
                after.append(END)
                continue
            after.append(self._token(at))
            while at + 1 < len(words) and self._one_term(at):
                at += 1
            at += 1
        return before[1], before[0], after[0], after[1]

    def _one_term(self, at: int) -> bool:
        """Whether this word and the next belong to one known term."""
        return self._known[at] is not None and self._known[at] == self._known[at + 1]

    def _token(self, at: int) -> str:
        if (concept_id := self._known[at]) is not None:
            kind = kind_of(self.table.vocabulary[concept_id])
            return f"<{kind}>" if kind else "<term>"
        plain = self.session.words[at].plain
        return NUMBER if number_like(plain) else plain

    def _row(self, one: Candidate) -> list[float]:
        form = self.table.forms[one.form]
        start, end = one.words.start, one.words.end
        inside = self.session.words[start:end]
        size = max(len(one.phones), len(form.phones))
        relative = one.distance / size
        everyday = float(one.everyday)
        odd = sum(word.odd for word in inside)
        ordinary = sum(9.0 - word.zipf for word in inside if not word.odd) / 4
        author, idea = float(form.concept_id.startswith("author/")), float(form.scheme == "idea")
        heard = " ".join(word.text for word in inside)
        cues = 0.0 if idea else self._around.cues(start, end, heard, form.scheme, form.concept_id)
        capital, unsure = float(any(word.capital for word in inside)), doubt(inside)
        alike = likeness(" ".join(word.plain for word in inside), form.label)
        label = label_key(form.label)
        written = label_key(heard.strip(".,;:?!\"'"))
        prior = form.prior + 4
        near = {*self._known[max(0, start - NEAR_TERMS) : start], *self._known[end : end + NEAR_TERMS]}
        terms = min(4, len(near - {None, form.concept_id})) / 2
        same, close = everyday * (relative <= 0.08), everyday * (relative <= 0.22)
        edge = end - start > 1 and (inside[0].plain in EDGE_WORDS or inside[-1].plain in EDGE_WORDS)
        trade = self._around.trade_share
        pair_before, pair_after = self._pairs(start, end)
        before, after = self._company.score(
            kind_of(self.table.vocabulary[form.concept_id]), self._neighbours(start, end)
        )
        return [
            1.0, one.distance, relative * 4, min(size, 30) / 4, min(odd, 3), ordinary, everyday,
            everyday * one.distance, everyday * relative * 4, everyday * min(size, 16) / 4, prior, 0.0, 0.0, cues,
            everyday * cues, capital, everyday * capital, unsure, everyday * unsure, author, idea,
            float(form.scheme == "medical"), float(form.scheme == "family"),
            float(form.scheme == "canon" and not author), end - start - 1, float(edge), label.count(" "),
            alike * (1 - everyday) * 2 * max(1, min(odd, 3)), alike * everyday * 2, float(form.penalty > 0.5),
            float(written in (label, label + "s")), everyday * ordinary, 0.0, trade, everyday * trade,
            float(one.rank > 0), float(heard.rstrip(".,;:?!").endswith(("'s", "’s"))), same, close,
            (1 - everyday) * float(relative <= 0.12), same * cues, 0.0, capital * author, close * prior, author * cues,
            self._left_over(one), idea * min(3, self._around.miasm_words(start, end)),
            idea * min(2, self._around.psychiatry_words(start, end)), terms, everyday * terms, everyday * idea,
            pair_before, inside_fit([word.plain for word in inside]), pair_after, before, after,
            everyday * (before + after), float(one.by_subject), everyday * one.by_subject,
            one.by_subject * relative * 4, 0.0, math.log(self._garbles[one.phones, form.concept_id]),
        ]  # fmt: skip
