"""Listen again with the session's likely terms in mind, and note where one of them is heard then.

What a model decodes unprompted can be an ordinary word that is not even near the term in sound. Told which terms to expect
it often writes the term, but it also puts in terms nobody said, so a second hearing only brings up candidates and
evidence; the judge decides. Several short lists are better than a long one: each term is expected the more, and what is
heard under one list only is the less to be trusted.
"""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Sequence
from typing import Protocol

import msgspec
import numpy as np
from numpy.typing import NDArray
from rapidfuzz.distance import Levenshtein

from notesmith.correct.candidates import (
    NEGATIONS,
    Candidate,
    HeardWord,
    heard_words,
    number_like,
    right_already,
    words_of,
)
from notesmith.correct.evidence import Session
from notesmith.correct.forms import FormTable
from notesmith.correct.judge import COLUMNS, HINTED, Floats
from notesmith.sounds.distance import MAX_PHONES, encode_all
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange
from notesmith.vocabulary import Vocabulary

LISTS = 4
LISTED = 100
LONGEST_MS = 27_000  # of what is heard at once; the model hears 30 seconds
LONGEST_STRETCH = 5
LEAST_PHONES = 3
NEIGHBOURS = 6
FAR = 2.0  # relative distance of a stretch that was not heard at all
FILLING = ("remedy", "idea", "canon")
AGAIN = (
    "asked again", "votes", "votes exact", "listed", "votes unlisted", "kept", "rival votes", "again distance",
    "again mean", "again gain", "votes elsewhere", "calm",
)  # fmt: skip
AGAIN_COLUMNS = (*COLUMNS, "text", *AGAIN)


class Listener(Protocol):
    """The sound, decoded again."""

    def again(self, time: TimeSpan, expected: Sequence[Sequence[str]]) -> Sequence[str]:
        """What is heard in a stretch of sound, once for each list of expected terms; "" where nothing can be had."""


class Hearing(msgspec.Struct, frozen=True):
    """What was heard under one list where the transcript has ``words``.

    ``edges`` gives for each edge between the transcript's words (one more than words) the edge between the words heard
    now that falls there.
    """

    words: WordRange
    listing: int
    heard: tuple[HeardWord, ...]
    edges: tuple[int, ...]

    def inside(self, r: WordRange) -> tuple[HeardWord, ...]:
        """What was heard now where the transcript has these words."""
        return self.heard[self.edges[r.start - self.words.start] : self.edges[r.end - self.words.start]]


class Echo(msgspec.Struct, frozen=True):
    """A term heard now over words of the transcript that say something else."""

    words: WordRange
    concept_id: str
    listing: int


class Passage(msgspec.Struct, frozen=True):
    """What was heard again in one stretch of the transcript's words, once for each list; "" where nothing was."""

    words: WordRange
    texts: tuple[str, ...]


class SecondHearing(msgspec.Struct, frozen=True):
    """The lists of expected terms (concept and label), and what was heard under them, passage by passage.

    It is worth keeping: it costs minutes, and an unfinished one can be gone on with.
    """

    lists: tuple[tuple[tuple[str, str], ...], ...]
    passages: tuple[Passage, ...] = ()


class Hearings(msgspec.Struct, frozen=True):
    """All that was heard again, the terms in it, and which terms were expected under which list."""

    hearings: tuple[Hearing, ...]
    echoes: tuple[Echo, ...]
    lists: tuple[tuple[str, ...], ...]


def expected_terms(
    session: Session, table: FormTable, chosen: Sequence[int], probabilities: Sequence[float]
) -> list[tuple[str, str]]:
    """Concept and label of the terms most to be expected, first those the session seems to speak of most."""
    weight: dict[str, float] = defaultdict(float)
    label: dict[str, tuple[float, str]] = {}
    for number, probability in zip(chosen, probabilities, strict=True):
        form = table.forms[session.candidates[number].form]
        weight[form.concept_id] += probability
        label[form.concept_id] = max(label.get(form.concept_id, (0.0, "")), (probability, form.label))
    for start, (end, concept_id) in session.right.items():
        weight[concept_id] += 1.0
        text = session.transcript.text(WordRange(start, end)).strip(".,;:?!\"'()")
        label[concept_id] = max(label.get(concept_id, (0.0, "")), (1.0, text))
    for concept_id in session.hints:
        weight[concept_id] += HINTED
    order = [i for i in sorted(weight, key=lambda i: (-weight[i], i)) if not i.startswith("potency/")]
    order = list(dict.fromkeys([*order, *_commonest(table)]))[:LISTED]
    return [(i, label[i][1] if i in label else table.vocabulary[i].pref_label) for i in order]


def _commonest(table: FormTable) -> list[str]:
    """The terms most often taught, before anything is known of a session."""
    priors = {form.concept_id: form.prior for form in table.forms if form.scheme in FILLING}
    return sorted(priors, key=lambda i: (-priors[i], i))[:LISTED]


def listen_again(
    transcript: Transcript,
    terms: Sequence[tuple[str, str]],
    listener: Listener,
    begun: SecondHearing | None = None,
    keep: Callable[[SecondHearing], None] = lambda hearing: None,
) -> SecondHearing:
    """Hear the whole session again, once for each of a few lists of the expected terms, the likeliest last in each.

    ``begun`` is what an earlier run heard; its lists hold, and only what is missing is heard. ``keep`` gets what was
    heard so far after each passage.
    """
    hearing = begun or SecondHearing(tuple(tuple(terms[n::LISTS][::-1]) for n in range(LISTS)))
    done = {one.words for one in hearing.passages}
    told = [[label for _, label in one] for one in hearing.lists]
    for r in _passages(transcript):
        if r not in done:
            texts = tuple(listener.again(transcript.time(r), told))
            hearing = SecondHearing(hearing.lists, (*hearing.passages, Passage(r, texts)))
            keep(hearing)
    return hearing


def compare(words: Sequence[HeardWord], vocabulary: Vocabulary, second: SecondHearing) -> Hearings:
    """Lay what was heard again beside the transcript's words, and find the terms that are only in the second hearing."""
    hearings: list[Hearing] = []
    echoes: list[Echo] = []
    for passage in second.passages:
        r = passage.words
        for listing, text in enumerate(passage.texts):
            if text.strip():
                hearing, found = _compared(r, listing, words[r.start : r.end], text, vocabulary)
                hearings.append(hearing)
                echoes += found
    return Hearings(tuple(hearings), tuple(echoes), tuple(tuple(i for i, _ in one) for one in second.lists))


def _passages(transcript: Transcript) -> Iterator[WordRange]:
    """Whole segments in a row, as much as the model hears at once."""
    start: int | None = None
    end = 0
    for segment in transcript.segments:
        r = transcript.segment_range(segment.id)
        if r.end == r.start:
            continue
        if start is not None and transcript.time(WordRange(start, r.end)).duration_ms > LONGEST_MS:
            yield WordRange(start, end)
            start = None
        start, end = r.start if start is None else start, r.end
    if start is not None:
        yield WordRange(start, end)


def _compared(
    r: WordRange, listing: int, before: Sequence[HeardWord], text: str, vocabulary: Vocabulary
) -> tuple[Hearing, list[Echo]]:
    now = Transcript("0" * 64, "en", "again", (Segment(0, tuple(Word(TimeSpan(0, 0), t) for t in text.split())),))
    heard = heard_words(now)
    corners = _corners(before, heard)
    old, new = _edges(before), _edges(heard)
    edges = tuple(_nearest(new, x) for x in np.interp(old, corners[:, 0], corners[:, 1]))
    hearing = Hearing(r, listing, heard, edges)
    places = np.interp(new, corners[:, 1], corners[:, 0])
    echoes = []
    for start, (end, concept_id) in right_already(vocabulary, heard, now).items():
        first, last = _nearest(old, places[start]), _nearest(old, places[end])
        if first < last and [w.plain for w in before[first:last]] != [w.plain for w in heard[start:end]]:
            echoes.append(Echo(WordRange(r.start + first, r.start + last), concept_id, listing))
    return hearing, echoes


def _corners(before: Sequence[HeardWord], now: Sequence[HeardWord]) -> Floats:
    """(n, 2) places, in phones, where the two wordings run side by side: by whole words, then by sounds between them."""
    old, new = _edges(before), _edges(now)
    found = [(0.0, 0.0)]
    for block in Levenshtein.opcodes([w.plain for w in before], [w.plain for w in now]):
        a, b = old[block.src_start], new[block.dest_start]
        if block.tag != "equal":
            sounds = ["".join(w.phones for w in before[block.src_start : block.src_end]),
                      "".join(w.phones for w in now[block.dest_start : block.dest_end])]  # fmt: skip
            for part in Levenshtein.opcodes(*sounds):
                if part.tag == "equal":
                    found += [(a + part.src_start, b + part.dest_start), (a + part.src_end, b + part.dest_end)]
        found.append((old[block.src_end], new[block.dest_end]))
    return np.array(found, np.float64)


def _edges(words: Sequence[HeardWord]) -> Floats:
    return np.concatenate([[0.0], np.cumsum([float(len(word.phones)) for word in words])])


def _nearest(edges: Floats, place: float) -> int:
    return int(np.argmin(np.abs(edges - place)))


def echoed_candidates(
    session: Session,
    table: FormTable,
    hearings: Hearings,
    frozen: frozenset[int],
    allowed: Callable[[WordRange, str], bool] = lambda r, concept_id: True,
) -> list[Candidate]:
    """Candidates for what was heard again and is not among the session's candidates yet."""
    known = {(one.words, table.forms[one.form].concept_id) for one in session.candidates}
    covered = words_of(session.right) | frozen
    found: list[Candidate] = []
    for echo in hearings.echoes:
        key = echo.words, echo.concept_id
        numbers = table.forms_of(echo.concept_id)
        segment_id = session.transcript.segment_of(echo.words.start)
        parted = segment_id != session.transcript.segment_of(echo.words.end - 1)
        if key in known or parted or not numbers or not allowed(*key):
            continue
        known.add(key)
        inside = session.words[echo.words.start : echo.words.end]
        phones = "".join(word.phones for word in inside)
        if (
            len(inside) > LONGEST_STRETCH
            or not LEAST_PHONES <= len(phones) <= MAX_PHONES
            or any(i in covered for i in range(echo.words.start, echo.words.end))
            or any(number_like(w.plain) or w.plain in NEGATIONS - {"cant"} for w in inside)
        ):
            continue
        forms = np.array(numbers)
        distances = _distances([phones] * len(forms), forms, table) + table.index.penalties[forms]
        best = int(distances.argmin())
        everyday = not any(word.odd for word in inside)
        found.append(Candidate(segment_id, echo.words, everyday, phones, numbers[best], float(distances[best]), 0))
    return found


def _distances(heard: Sequence[str], forms: NDArray[np.int64], table: FormTable) -> Floats:
    index = table.index
    return np.asarray(index.costs.many(encode_all([h[:MAX_PHONES] for h in heard]), index.codes[forms]), np.float64)


def again_rows(session: Session, table: FormTable, hearings: Hearings, chosen: Sequence[int]) -> Floats:
    """(chosen, AGAIN): what the second hearing says of each hypothesis."""
    at_word: dict[int, list[Echo]] = defaultdict(list)
    for echo in hearings.echoes:
        for i in range(echo.words.start, echo.words.end):
            at_word[i].append(echo)
    over: dict[int, list[Hearing]] = defaultdict(list)
    for hearing in hearings.hearings:
        for i in range(hearing.words.start, hearing.words.end):
            over[i].append(hearing)
    listings = [frozenset(one) for one in hearings.lists]
    everywhere = Counter(echo.concept_id for echo in hearings.echoes)
    heard: list[tuple[int, str]] = []  # (place in chosen, phones heard now)
    made: list[list[float]] = []
    for place, number in enumerate(chosen):
        one = session.candidates[number]
        concept_id, r = table.forms[one.form].concept_id, one.words
        here = {echo for i in range(r.start, r.end) for echo in at_word[i]}
        mine = {echo.listing: echo for echo in here if echo.concept_id == concept_id}
        rivals = Counter(echo.concept_id for echo in here if echo.concept_id != concept_id)
        asked = over[r.start]
        plain = [word.plain for word in session.words[r.start : r.end]]
        kept = 0
        for hearing in asked:
            if r.end > hearing.words.end:
                continue
            inside = hearing.inside(r)
            kept += [word.plain for word in inside] == plain
            heard.append((place, "".join(word.phones for word in inside)))
        calm = [_calm(session, hearing, r) for hearing in asked if hearing.listing in mine]
        made.append(
            [
                float(bool(asked)), len(mine), sum(echo.words == r for echo in mine.values()),
                float(any(concept_id in one for one in listings)),
                sum(concept_id not in listings[n] for n in mine), kept, max(rivals.values(), default=0), FAR, FAR, 0.0,
                math.log1p(everywhere[concept_id] - len(mine)), max(calm, default=0.0),
            ]
        )  # fmt: skip
    rows = np.array(made, np.float64).reshape(-1, len(AGAIN))
    _measure(rows, session, table, chosen, heard)
    return rows


def _measure(
    rows: Floats, session: Session, table: FormTable, chosen: Sequence[int], heard: Sequence[tuple[int, str]]
) -> None:
    """Fill in how near what was heard now is to the term: at best, in the mean, and how much nearer than before."""
    said = [(place, phones) for place, phones in heard if phones]
    if not said:
        return
    forms = np.array([session.candidates[chosen[place]].form for place, _ in said])
    sizes = np.array(
        [max(len(phones), len(table.forms[form].phones)) for (_, phones), form in zip(said, forms, strict=True)]
    )
    relative: dict[int, list[float]] = defaultdict(list)
    for (place, _), value in zip(said, _distances([p for _, p in said], forms, table) / sizes, strict=True):
        relative[place].append(min(FAR, float(value)))
    best, mean, gain = AGAIN.index("again distance"), AGAIN.index("again mean"), AGAIN.index("again gain")
    for place, values in relative.items():
        one = session.candidates[chosen[place]]
        before = one.distance / max(len(one.phones), len(table.forms[one.form].phones))
        rows[place, best], rows[place, mean] = min(values), sum(values) / len(values)
        rows[place, gain] = before - min(values)


def _calm(session: Session, hearing: Hearing, r: WordRange) -> float:
    """Share of the words around a stretch that were heard the same: a hearing gone astray proves nothing."""
    first, last = max(hearing.words.start, r.start - NEIGHBOURS), min(hearing.words.end, r.end + NEIGHBOURS)
    around = [*range(first, min(r.start, last)), *range(max(first, r.end), last)]
    same = sum([word.plain for word in hearing.inside(WordRange(i, i + 1))] == [session.words[i].plain] for i in around)
    return same / max(1, len(around))
