"""Find the moment where something is taught: what can be found, and the search over the course store.

The published site indexes the same records. A record is a teaching point, a case, a question or a sentence of the
transcript that none of these covers; it has a time, so that a hit plays from its place.
"""

from __future__ import annotations

import hashlib
import math
from bisect import bisect_left
from collections import Counter
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from typing import Literal, NamedTuple

import msgspec

from notesmith.annotations import PersonMention
from notesmith.extract.privacy import hidden_words, person_rulings, redact, unresolved
from notesmith.lecture import LectureContent
from notesmith.reading import Reading, Token
from notesmith.store.moments import MomentRow, frequencies, matching, moment_count, replace_moments
from notesmith.store.store import Store
from notesmith.transcript import WordRange, iter_sentences
from notesmith.verdicts import PersonVerdict, VerdictEntry
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary import expand as expanding
from notesmith.vocabulary.expand import MEANING_STEPS, Expansion, ancestors, expand, indexed_stems, lexicon_of, stems_of

RecordKind = Literal["point", "case", "question", "transcript"]
KIND_WEIGHT: dict[str, float] = {"point": 1.25, "case": 1.15, "question": 1.1, "transcript": 1.0}
SHORT_SENTENCE_WORDS = 5
LONG_SENTENCE_WORDS = 45
COVERED = 0.6
VERSION = 8  # of what is stored of a lecture to be found by; another one makes it again
MOST_LETTERS = 1000  # of a query
MATCHES_RANKED = 2000  # rows SQLite may rank for one query; commoner words only re-order
CANDIDATES = 150
CONCEPT_WEIGHT = 2.0
IMPLIED_PART = 0.75  # of a concept that a row only implies
OTHER_CONCEPTS = 0.3
COVERAGE_PART = 0.9
NEAR_ROWS = 2  # rows before and after that are looked at too
NEAR_PART = 0.4
INSIDE_CASE = 0.3  # of a case's score, from which a hit on it leads to a moment of its story
LEAST_SAID = 0.6  # of a wording that a row must hold
MEANING_WEIGHT = 0.9  # of a typed word that a row answers by a wording of the same meaning
MEANING_POWER = 2.0  # of the share of a wording that a row holds
MEANING_WORTH = 1.8  # of such an answer beside one by the word itself, which a common row holds once
MEANING_PLUS = 0.3  # of it that is added to what a row answers in other words
UNKNOWN_WORD = 3.0  # what a typed word weighs in the whole that no row holds
# Learnt over the judged queries, each set left out in turn (benchmarks/data/search/README.md).
QUESTION_PART = 0.6  # of the score of a question, whose answer is found by itself too
OTHER_REMEDY_PART = 0.5  # of the score of a row that is not of the remedy the query names
NAMED_FROM = 0.3  # from which a remedy counts as named
NAMED_AS_WELL = 0.8  # of the surest remedy's score, from which another one by the same words may be meant too
COVERAGE_POWER = 1.25
SESSION_PART = 0.45  # what the best other place of its session adds to a row, where that is the best place of all
LATER_PART = 0.3  # that a row loses from LATE_ROWS on: what is taught of a remedy stands before cases and questions
LATE_ROWS = 200


def weights() -> dict[str, object]:
    """The weights and limits that both searches rank by, by name."""
    names = """
        LEAST_SCORE LEAST_COVERAGE QUERY_SHARE REMEDY_SHARE MOST_CONCEPTS SHORT RELATIVES RELATIVES_IN_ALL COMMON_NEEDS_LESS LATER_RELATIVE LAY_WEIGHT SYNONYMS_FROM_SCORE
        SYNONYM_CONCEPTS SYNONYM_WEIGHT WORDING_CONCEPTS WORDING_STEMS WORDING_WEIGHT LEARNED_WEIGHT PARTS_WEIGHT
        LEAST_ALIKE OTHER_INITIAL COMMONER NEAREST MOST_NEAR SOUNDS_LIKE_UNKNOWN SOUNDS_LIKE_KNOWN SOUNDS_LIKE_DENIED SOUND_MISSING SOUND_WHOLE MOST_NAME_WORDS LEAST_BY_SOUND
        MOST_BY_SOUND MEANING_TYPED MEANING_SCORE MEANING_SHARE MOST_MEANINGS MEANING_STEPS MOST_OF_A_LINE MOST_OF_A_WORDING
        CONCEPT_WEIGHT IMPLIED_PART OTHER_CONCEPTS COVERAGE_PART NEAR_ROWS NEAR_PART INSIDE_CASE LEAST_SAID UNKNOWN_WORD
        MEANING_WEIGHT MEANING_POWER MEANING_WORTH MEANING_PLUS
        KIND_WEIGHT COVERAGE_POWER SESSION_PART LATER_PART LATE_ROWS QUESTION_PART OTHER_REMEDY_PART NAMED_FROM NAMED_AS_WELL
    """.split()
    known = vars(expanding) | globals()
    return {name: known[name] for name in names}


class Record(msgspec.Struct, frozen=True):
    """One thing that can be found, with names already replaced. ``anchor`` is its place on the session's page.

    ``concept_ids`` are those named or taught there; ``focus_id`` is the remedy the talk is about.
    """

    kind: RecordKind
    text: str
    start_ms: int
    end_ms: int
    anchor: str
    concept_ids: tuple[str, ...] = ()
    focus_id: str | None = None
    weight: float = 1.0


class Hit(msgspec.Struct, frozen=True):
    """One answer: the sentence, what kind of record, the session and the place in it. Higher scores are better.

    A case is played from the moment of its story that answers best.
    """

    lecture_id: str
    kind: str
    text: str
    start_ms: int
    end_ms: int
    title: str
    concept_ids: tuple[str, ...]
    score: float


# ---------------------------------------------------------------- records


class Redaction:
    """Replaces names in everything that is published of one lecture; doubtful ones are hidden until ruled on."""

    def __init__(self, content: LectureContent, verdicts: Sequence[VerdictEntry] = ()) -> None:
        self.reading = content.reading  # made once; every look at the property would make it again
        self.rulings: tuple[PersonVerdict, ...] = person_rulings(verdicts, content.lecture.id)
        self.waiting = unresolved(content.extraction.persons, self.rulings)
        waiting = {person.key for person in self.waiting}
        self.persons: tuple[PersonMention, ...] = tuple(
            msgspec.structs.replace(person, hide=True) if person.key in waiting else person
            for person in content.extraction.persons
        )
        self.hidden = hidden_words(self.persons, self.rulings)

    def text(self, text: str, words: WordRange | None = None) -> str:
        return redact(text, self.persons, self.rulings, words=words)


def spoken_sentences(reading: Reading) -> tuple[WordRange, ...]:
    """Ranges of heard words that make sentences of the reading; short ones join the next, long ones are cut."""
    ranges: list[WordRange] = []
    start = 0
    for _, last in iter_sentences(tuple(token.text for token in reading.tokens)):
        if last - start < SHORT_SENTENCE_WORDS and last < len(reading.tokens):
            continue
        long = last - start > LONG_SENTENCE_WORDS
        while start < last:
            end = min(last, start + LONG_SENTENCE_WORDS)
            if long:  # speech without full stops: cut where the recogniser paused
                end = next((i for i in range(start + SHORT_SENTENCE_WORDS, end)
                            if reading.tokens[i].segment_id != reading.tokens[i - 1].segment_id), end)  # fmt: skip
            ranges.append(WordRange(reading.tokens[start].words.start, reading.tokens[end - 1].words.end))
            start = end
    return tuple(ranges)


def tokens_of(reading: Reading, words: WordRange) -> tuple[Token, ...]:
    """The tokens of a reading that touch a range of heard words."""
    if not len(words):
        return ()
    first, last = reading.token_of_word[words.start], reading.token_of_word[words.end - 1]
    return reading.tokens[first : last + 1]


def said(redaction: Redaction, words: WordRange) -> str:
    """The restored words of a range with names replaced."""
    pieces: list[str] = []
    for token in tokens_of(redaction.reading, words):
        inside = range(token.words.start, token.words.end)
        if any(w in redaction.hidden for w in inside):
            pieces += [value for w in inside if (value := redaction.hidden.get(w, ""))]
        else:
            pieces.append(token.text)
    return redaction.text(" ".join(pieces))


def records_of(content: LectureContent, redaction: Redaction) -> tuple[Record, ...]:
    """Everything that can be found in one lecture: points, cases, questions, then the sentences none of them covers."""
    found = content.extraction
    mentioned = sorted((m.words.start, m.concept_id) for m in found.mentions)

    def concepts(words: WordRange, *given: str | None) -> tuple[str, ...]:
        first = bisect_left(mentioned, (words.start, ""))
        inside = mentioned[first : bisect_left(mentioned, (words.end, ""))]
        return tuple(dict.fromkeys(c for c in (*given, *(c for _, c in inside)) if c))

    records: list[Record] = []
    covered = bytearray(len(content.transcript.words))
    for point in found.points:
        own = concepts(point.words, point.remedy_id, *point.rubric_ids, *point.concept_ids, *point.chapters)
        records.append(
            Record(
                "point", redaction.text(point.text, point.words), point.time.start_ms, point.time.end_ms,
                f"p-{point.key}", own, point.remedy_id, min(2.0, point.weight),
            )
        )  # fmt: skip
        covered[point.words.start : point.words.end] = b"\1" * len(point.words)
    for case in found.vignettes:
        told = redaction.text(case.title, case.words)
        said_of = (redaction.text(f.text, f.words) for f in case.findings)
        findings = "; ".join(text for text in said_of if text not in told)
        given = (*case.remedy_ids, *(f.concept_id for f in case.findings))
        records.append(
            Record(
                "case", f"{told}: {findings}"[:600], case.time.start_ms,
                case.time.end_ms, f"case-{case.key}", tuple(dict.fromkeys(c for c in given if c)),
                case.remedy_ids[0] if case.remedy_ids else None,
            )
        )  # fmt: skip
    for question in found.questions:
        text = redaction.text(question.text, question.words)
        if question.answer:
            text += " " + redaction.text(question.answer, question.answer_words)
        records.append(
            Record(
                "question", text[:600], question.time.start_ms, question.time.end_ms, f"q-{question.key}",
                concepts(question.words, *question.topic_ids),
            )
        )  # fmt: skip
    records += _uncovered(content, redaction, covered, concepts)
    return tuple(sorted(records, key=lambda record: (record.start_ms, -record.end_ms)))


def _uncovered(content: LectureContent, redaction: Redaction, covered: bytearray, concepts) -> Iterator[Record]:  # type: ignore[no-untyped-def]
    parts = content.extraction.parts
    at = 0
    for words in spoken_sentences(redaction.reading):
        while at < len(parts) - 1 and words.start >= parts[at].words.end:
            at += 1
        if sum(covered[words.start : words.end]) > COVERED * len(words):
            continue
        time = content.transcript.time(words)
        yield Record(
            "transcript", said(redaction, words), time.start_ms, time.end_ms, f"s-{words.start}",
            concepts(words), parts[at].remedy_id if parts else None,
        )  # fmt: skip


class Indexed(NamedTuple):
    """A record and what it is found by: the stems of its text, and concepts with weights: its own, wider ones, its
    remedy, those its wording implies; lines of the table of meanings with how much of a wording it holds, in steps.
    """

    record: Record
    stems: list[str]
    concepts: dict[str, float]
    meanings: dict[int, int]


def indexed(record: Record, vocabulary: Vocabulary) -> Indexed:
    lexicon = lexicon_of(vocabulary)
    stems = indexed_stems(record.text, lexicon)
    weights: dict[str, float] = dict.fromkeys(record.concept_ids, 1.0)
    wider = (*record.concept_ids, *((record.focus_id,) if record.focus_id else ()))
    for concept_id in (*lexicon.implied(stems), *ancestors(wider, vocabulary)):
        weights.setdefault(concept_id, 0.75)
    return Indexed(record, stems, weights, lexicon.meanings(stems))


class Prepared(NamedTuple):
    """A lecture with its names replaced and all that can be found in it; made once for notes, search and site."""

    content: LectureContent
    redaction: Redaction
    records: tuple[Indexed, ...]


def prepare(content: LectureContent, vocabulary: Vocabulary, verdicts: Sequence[VerdictEntry] = ()) -> Prepared:
    redaction = Redaction(content, verdicts)
    return Prepared(content, redaction, tuple(indexed(r, vocabulary) for r in records_of(content, redaction)))


def concept_token(concept_id: str) -> str:
    """A concept id as one token of letters and digits, unlike any word."""
    return "zz" + hashlib.sha256(concept_id.encode()).hexdigest()[:12]


def meaning_token(line: int) -> str:
    """A line of the table of meanings as one token."""
    return f"zy{line}"


# ---------------------------------------------------------------- the course store


def index_lecture(
    store: Store, content: LectureContent, vocabulary: Vocabulary, verdicts: Sequence[VerdictEntry] = ()
) -> int:
    """Put all that can be found in a lecture into the store; returns the number of records. Raises StoreError."""
    return index_prepared(store, prepare(content, vocabulary, verdicts))


def index_prepared(store: Store, prepared: Prepared) -> int:
    """Put all that can be found in a lecture into the store; returns the number of records. Raises StoreError."""
    lecture_id = prepared.content.lecture.id
    rows = []
    for record, stems, concepts, meanings in prepared.records:
        # A concept that is named or taught there stands twice, one that is only implied once.
        tokens = " ".join(
            token if weight < 1 else f"{token} {token}"
            for token, weight in ((concept_token(c), w) for c, w in concepts.items())
        )
        # Of a meaning its steps stand behind it.
        tokens += "".join(f" {meaning_token(line)} zx{steps}" for line, steps in meanings.items())
        rows.append(
            MomentRow(lecture_id, record.kind, record.start_ms, record.end_ms, tokens, record.text, " ".join(stems))
        )
    return replace_moments(store, lecture_id, rows)


def search(
    store: Store,
    vocabulary: Vocabulary,
    query: str,
    *,
    limit: int = 10,
    kinds: Sequence[str] = (),
    lecture_ids: Sequence[str] = (),
    concept_ids: Sequence[str] = (),
) -> list[Hit]:
    """The moments a query leads to, best first. Filters keep only those kinds, lectures, or records of all concepts.

    Raises StoreError.
    """
    lexicon = lexicon_of(vocabulary)
    counts = _Counts(store)
    counts.load(
        one for typed in stems_of(query[:MOST_LETTERS]) for one in (typed, *(r for r, _ in lexicon.relatives(typed)))
    )
    expansion = expand(query[:MOST_LETTERS], lexicon, counts, _Present(counts))
    asked = Asked(expansion, counts, moment_count(store))
    if not asked.idf:
        return []
    required = " AND ".join(concept_token(c) for c in concept_ids)
    rows = _candidates(store, counts.known, asked.idf, required, kinds, lecture_ids)
    meant = {concept_token(concept_id): concept_id for concept_id, _ in expansion.concepts}
    answers = {(row.lecture_id, row.ordinal): asked.answer(row) for row in rows}

    def beside(row: MomentRow) -> list[Answer]:
        around = (row.ordinal + step for step in range(-NEAR_ROWS, NEAR_ROWS + 1) if step)
        return [answers[at] for n in around if (at := (row.lecture_id, n)) in answers]

    alone = [asked.score(row, answers[row.lecture_id, row.ordinal], beside(row)) for row in rows]
    scored = sorted(
        zip(in_company(rows, alone), rows, strict=True),
        key=lambda item: (-item[0], item[1].lecture_id, item[1].start_ms),
    )
    hits: list[Hit] = []
    titles: dict[str, str] = {}
    seen: set[tuple[str, int, bool]] = set()
    for score, row in scored:
        at = place_in_case(row, score, scored) if row.kind == "case" else row
        # A point and the question it stands in begin at one place; it is shown once. A case is more than its start.
        place = (row.lecture_id, round(at.start_ms / 1000), at.kind == "case")
        if len(hits) >= limit or place in seen:
            continue
        seen.add(place)
        ids = tuple(dict.fromkeys(meant[token] for token in row.concepts.split() if token in meant))
        if row.lecture_id not in titles:
            titles[row.lecture_id] = store.lecture(row.lecture_id)[0].title
        title = titles[row.lecture_id]
        hits.append(Hit(row.lecture_id, row.kind, row.text, at.start_ms, row.end_ms, title, ids, round(score, 4)))
    return hits


def place_in_case(case: MomentRow, score: float, scored: Iterable[tuple[float, MomentRow]]) -> MomentRow:
    """The best row within a case, where its story answers the query; the case itself where none answers enough."""
    inside = (
        row for part, row in scored
        if row.lecture_id == case.lecture_id and case.start_ms <= row.start_ms < case.end_ms and row.kind != "case"
        and part >= INSIDE_CASE * score
    )  # fmt: skip
    return next(inside, case)


class _Counts(Mapping[str, int]):
    """In how many rows a token stands; asks the index for one at a time and remembers."""

    def __init__(self, store: Store) -> None:
        self.store = store
        self.known: dict[str, int] = {}

    def load(self, tokens: Iterable[str]) -> None:
        """Ask for many at once."""
        wanted = {token for token in tokens if token.isalnum() and token not in self.known}
        self.known.update(dict.fromkeys(wanted, 0) | frequencies(self.store, sorted(wanted)))

    def __getitem__(self, token: str) -> int:
        if token not in self.known:
            self.known[token] = frequencies(self.store, [token]).get(token, 0) if token.isalnum() else 0
        return self.known[token]

    def __contains__(self, token: object) -> bool:
        return isinstance(token, str) and self[token] > 0

    def __iter__(self) -> Iterator[str]:
        return iter(self.known)

    def __len__(self) -> int:
        return len(self.known)


class _Present(Collection[str]):
    """The concepts that some row is found by."""

    def __init__(self, counts: _Counts) -> None:
        self.counts = counts

    def __contains__(self, concept_id: object) -> bool:
        return isinstance(concept_id, str) and concept_token(concept_id) in self.counts

    def __iter__(self) -> Iterator[str]:
        return iter(())

    def __len__(self) -> int:
        return 0


class Answer(NamedTuple):
    """What of a query a row holds: by typed word the BM25 part and the share answered, synonyms, concepts by number."""

    parts: list[float]
    answered: list[float]
    synonyms: float
    concepts: dict[int, float]


class Asked:
    """An expanded query over one index: what every row is scored by.

    A typed word counts once, by the best of the words that may stand for it, in the row or, at less, in the rows beside
    it. Concepts found by the same typed words are one answer, those found by other words add to it. A row that answers
    more of the query is worth more than the sum says.
    """

    def __init__(self, expansion: Expansion, counts: Mapping[str, int], total: int) -> None:
        def idf(token: str) -> float:
            return math.log(1 + (total - counts[token] + 0.5) / (counts[token] + 0.5))

        def telling(group: Sequence[tuple[str, float]]) -> dict[str, float]:
            # A rare word that stands for a typed one tells no more than the typed one would.
            most = idf(group[0][0]) if group[0][0] in counts else math.inf
            return {one: weight * min(most, idf(one)) for one, weight in group if one in counts}

        self.groups = [telling(group) for group in expansion.groups]
        self.synonyms = {one: weight * idf(one) for one, weight in expansion.synonyms if one in counts}
        self.concepts: list[tuple[str, float, float, tuple[int, ...]]] = []
        for (concept_id, score), support in zip(expansion.concepts, expansion.support, strict=True):
            if (token := concept_token(concept_id)) in counts:
                self.concepts.append((token, CONCEPT_WEIGHT * score * idf(token), score, support))
        self.wordings: list[tuple[list[tuple[tuple[str, ...], float]], float, tuple[int, ...]]] = []
        for wording in expansion.wordings:
            words = [tuple(one for one in choices if one in counts) for choices in wording.words]
            worth = [math.log(1 + total / (1 + sum(counts[one] for one in choices))) for choices in words]
            whole = sum(worth)
            if sum(value for choices, value in zip(words, worth, strict=True) if choices) >= LEAST_SAID * whole:
                telling_words = [
                    (choices, value / whole) for choices, value in zip(words, worth, strict=True) if choices
                ]
                self.wordings.append((telling_words, wording.weight, wording.groups))
        self.meanings = {
            token: (score, support)
            for line, (score, support) in expansion.meanings if (token := meaning_token(line)) in counts
        }  # fmt: skip
        self.named = self._named(expansion)
        self.asks = [max(group.values(), default=UNKNOWN_WORD) for group in self.groups]
        self.idf: dict[str, float] = {}
        for one, weight in (
            *(item for group in self.groups for item in group.items()), *self.synonyms.items(),
            *((token, weight) for token, weight, _, _ in self.concepts),
            *((token, MEANING_WEIGHT * score * idf(token)) for token, (score, _) in self.meanings.items()),
            *((one, weight * share * idf(one)) for words, weight, _ in self.wordings for choices, share in words for one in choices),
        ):  # fmt: skip
            self.idf[one] = max(self.idf.get(one, 0.0), weight)

    def _named(self, expansion: Expansion) -> list[list[int]]:
        """The remedies the query names, by the numbers of the concepts that each may be."""
        found: list[tuple[frozenset[int], float, list[int]]] = []
        numbers = {token: at for at, (token, _, _, _) in enumerate(self.concepts)}
        for (concept_id, score), support in zip(expansion.concepts, expansion.support, strict=True):
            at = numbers.get(concept_token(concept_id))
            if at is None or score < NAMED_FROM or not concept_id.startswith("remedy/"):
                continue
            same = next((one for one in found if one[0].intersection(support)), None)
            if same is None:
                found.append((frozenset(support), score, [at]))
            elif score >= NAMED_AS_WELL * same[1]:
                same[2].append(at)
        return [numbers for _, _, numbers in found]

    def answer(self, row: MomentRow) -> Answer:
        """What of the query a row holds: BM25 parts (k1 1.2, b 0.4, mean length 14 stems) and concepts."""
        words = row.expanded.split()
        length = 1.2 * (0.6 + 0.4 * len(words) / 14)
        times = Counter(one for one in words if one in self.idf)
        part = {one: n * 2.2 / (n + length) for one, n in times.items()}
        parts, answered = [0.0] * len(self.groups), [0.0] * len(self.groups)
        for at, group in enumerate(self.groups):
            for one in group.keys() & part.keys():
                parts[at] = max(parts[at], group[one] * part[one])
                answered[at] = max(answered[at], group[one] / self.asks[at] if self.asks[at] else 0.0)
        for said, weight, groups in self.wordings:
            held = [(share, max((part[one] for one in choices if one in part), default=0.0)) for choices, share in said]
            share = sum(share for share, value in held if value)
            if share >= LEAST_SAID:
                value = weight * share * share
                mean = sum(share * value for share, value in held) / share
                for at in groups:
                    parts[at] = max(parts[at], value * self.asks[at] * mean)
                    answered[at] = max(answered[at], value)
        concepts = row.concepts.split()
        found = {
            at: weight if n > 1 else weight * IMPLIED_PART
            for at, (token, weight, _, _) in enumerate(self.concepts) if (n := concepts.count(token))
        }  # fmt: skip
        more = sum(weight * part.get(one, 0.0) for one, weight in self.synonyms.items())
        return Answer(parts, answered, more + self._meant(concepts, parts, answered), found)

    def _meant(self, concepts: Sequence[str], parts: list[float], answered: list[float]) -> float:
        """Put in what a row answers by other wordings of what is meant; returns what is added to all."""
        more, taken = 0.0, set[int]()
        steps = {token: int(concepts[at + 1][2:]) for at, token in enumerate(concepts) if token in self.meanings}
        for token, (score, support) in self.meanings.items():
            value = MEANING_WEIGHT * score * math.pow(steps.get(token, 0) / MEANING_STEPS, MEANING_POWER)
            for group in support if value else ():
                worth = value * self.asks[group] * MEANING_WORTH
                parts[group] = max(parts[group], worth)
                answered[group] = max(answered[group], value)
                more += 0.0 if group in taken else MEANING_PLUS * worth
                taken.add(group)
        return more

    def score(self, row: MomentRow, own: Answer, near: Sequence[Answer]) -> float:
        """How well a row answers, what the rows beside it hold included at a part of its worth."""
        parts, answered, found = list(own.parts), list(own.answered), dict(own.concepts)
        for other in near:
            for at, value in enumerate(other.parts):
                parts[at] = max(parts[at], NEAR_PART * value)
                answered[at] = max(answered[at], NEAR_PART * other.answered[at])
            for at, value in other.concepts.items():
                found[at] = max(found.get(at, 0.0), NEAR_PART * value)
        total = sum(parts) + own.synonyms
        taken: set[int] = set()
        for at in sorted(found, key=lambda at: (-found[at], at)):
            _, weight, sure, support = self.concepts[at]
            total += found[at] * (OTHER_CONCEPTS if taken.intersection(support) else 1.0)
            taken.update(support)
            for group in support:
                answered[group] = max(answered[group], sure * min(1.0, found[at] / weight / IMPLIED_PART))
        coverage = sum(a * b for a, b in zip(answered, self.asks, strict=True)) / (sum(self.asks) or 1.0)
        missing = (
            0.0 if own.concepts.keys() & one else 1 - NEAR_PART if found.keys() & one else 1.0 for one in self.named
        )
        others = sum(missing) / (len(self.named) or 1)
        part = (QUESTION_PART if row.kind == "question" else 1.0) * math.pow(OTHER_REMEDY_PART, others)
        part *= KIND_WEIGHT.get(row.kind, 1.0) * (1 - LATER_PART * min(1.0, row.ordinal / LATE_ROWS))
        return total * math.pow(1 - COVERAGE_PART + COVERAGE_PART * coverage, COVERAGE_POWER) * part


def in_company(rows: Sequence[MomentRow], scores: Sequence[float]) -> list[float]:
    """The scores with what the best place elsewhere in a row's session adds: a session that is about it says it again."""
    best: dict[str, list[tuple[float, int]]] = {}
    for row, score in zip(rows, scores, strict=True):
        best.setdefault(row.lecture_id, []).append((score, row.ordinal))
    for held in best.values():
        held.sort(reverse=True)
    most = max(scores, default=0.0) or 1.0

    def elsewhere(row: MomentRow) -> float:
        return next((score for score, at in best[row.lecture_id] if abs(at - row.ordinal) > NEAR_ROWS), 0.0)

    return [score * (1 + SESSION_PART * elsewhere(row) / most) for row, score in zip(rows, scores, strict=True)]


def _candidates(
    store: Store,
    df: dict[str, int],
    idf: dict[str, float],
    required: str,
    kinds: Sequence[str],
    lecture_ids: Sequence[str],
) -> list[MomentRow]:
    """Rows worth scoring. The most telling words choose them; words too common to rank only re-order."""
    tokens = sorted(idf, key=lambda token: (-idf[token], token))
    rows: dict[tuple[str, int, str], MomentRow] = {}

    def take(expression: str, *, ranked: bool) -> None:
        scoped = f"{{concepts expanded}} : ({expression})" + (f" AND concepts : ({required})" if required else "")
        for row in matching(store, scoped, limit=CANDIDATES, ranked=ranked, kinds=kinds, lecture_ids=lecture_ids):
            rows.setdefault((row.lecture_id, row.start_ms, row.kind), row)

    chosen, together = [], 0
    for token in tokens:
        if together + df[token] <= MATCHES_RANKED:
            chosen.append(token)
            together += df[token]
    if chosen:
        take(" OR ".join(chosen), ranked=True)
    # Common words together are telling: both of the two best, where not both were ranked already.
    best = tokens[:3]
    for first, second in ((0, 1), (0, 2), (1, 2)):
        if second < len(best) and not (best[first] in chosen and best[second] in chosen):
            take(f"{best[first]} AND {best[second]}", ranked=min(df[best[first]], df[best[second]]) <= MATCHES_RANKED)
    if not rows:
        take(tokens[0], ranked=df[tokens[0]] <= MATCHES_RANKED)
    return list(rows.values())
