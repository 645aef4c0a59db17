"""Gather what a session may hold: by sound over the whole vocabulary, then again for the session's own subjects.

A remedy that is named often is misheard in more ways than the first, careful search can reach. So everything the session
surely speaks of, and what belongs with it, is looked for once more under all words, far more loosely; the evidence
decides.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence

import msgspec
import numpy as np
from numpy.typing import NDArray
from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from notesmith.correct.candidates import (
    NEGATIONS,
    Candidate,
    HeardWord,
    candidates,
    heard_words,
    number_like,
    only_edges,
    protected,
    right_already,
    sentence_ends,
    words_of,
)
from notesmith.correct.decide import probabilities
from notesmith.correct.evidence import Session, support_of
from notesmith.correct.forms import FormTable
from notesmith.correct.index import alike, pictures, reduced
from notesmith.correct.reader import read_candidates, reading_of
from notesmith.correct.weigh import Weights, load_weights
from notesmith.sounds.distance import MAX_PHONES, encode_all
from notesmith.transcript import Transcript, WordRange

SPOKEN_OF = 0.8  # support from which a concept is one of the session's subjects
CENTRAL = 2.5  # support from which its kindred are listened for too
MOST_SUBJECTS, MOST_KIN = 40, 8
LOOSE = 1.5  # distance a phone up to which a subject is considered
LEAST_LIKE = 0.3  # of the coarse pictures
LONGEST = 4
MEASURED = 4  # forms of a stretch that are measured exactly
LEAST_PHONES = 3
TOO_SHORT_LABEL = 2.0  # penalty of labels that sound like everything


def gather(
    transcript: Transcript,
    table: FormTable,
    *,
    frozen: frozenset[int] = frozenset(),
    hints: tuple[str, ...] = (),
    weights: Weights | None = None,
    allowed: Callable[[WordRange, str], bool] = lambda r, concept_id: True,
) -> Session:
    """The session with all its candidates; ``frozen`` words are let be, ``allowed`` refuses what a person has barred."""
    session = by_whole_vocabulary(transcript, table, frozen=frozen, hints=hints, allowed=allowed)
    more = [
        one
        for one in subject_candidates(session, table, subjects_of(session, table, weights or load_weights()), frozen)
        if allowed(one.words, table.forms[one.form].concept_id)
    ]
    session = msgspec.structs.replace(session, candidates=(*session.candidates, *more))
    reading = reading_of(tuple(word.text for word in session.words))
    read = [
        one
        for one in read_candidates(reading, session, table, frozen)
        if allowed(one.words, table.forms[one.form].concept_id)
    ]
    return msgspec.structs.replace(session, candidates=(*session.candidates, *read))


def by_whole_vocabulary(
    transcript: Transcript,
    table: FormTable,
    *,
    frozen: frozenset[int] = frozenset(),
    hints: tuple[str, ...] = (),
    allowed: Callable[[WordRange, str], bool] = lambda r, concept_id: True,
) -> Session:
    """The session with the candidates of the first search."""
    words = heard_words(transcript)
    right = protected(table.vocabulary, words, right_already(table.vocabulary, words, transcript))
    first = tuple(
        one
        for one in candidates(table, transcript, words, right, frozen)
        if allowed(one.words, table.forms[one.form].concept_id)
    )
    return Session(transcript, words, right, first, hints)


def subjects_of(session: Session, table: FormTable, weights: Weights) -> list[str]:
    """The concepts the session speaks of, most spoken of first, then their kindred (of one genus or salt)."""
    shares, _ = probabilities(session, table, weights)
    support = support_of(session, table, shares).by_concept
    order = sorted((i for i in support if support[i] >= SPOKEN_OF), key=lambda i: (-support[i], i))
    named = [i for i in order if not i.startswith("medical/")][:MOST_SUBJECTS]
    kin: dict[str, None] = {}
    for identifier in named:
        if support[identifier] >= CENTRAL and identifier.startswith("remedy/"):
            kin.update(dict.fromkeys(table.kin(identifier)[:MOST_KIN]))
    return [*named, *(i for i in kin if i not in named)]


def subject_candidates(
    session: Session, table: FormTable, subjects: Sequence[str], frozen: frozenset[int], reach: float = LOOSE
) -> list[Candidate]:
    """Every stretch that is like a subject, up to ``reach`` a phone, the likest subject of each; those found before are left out."""
    chosen = [
        number
        for identifier in subjects
        for number in table.forms_of(identifier)
        if table.forms[number].penalty < TOO_SHORT_LABEL and len(table.forms[number].phones) >= LEAST_PHONES
    ]
    stretches = list(_stretches(session, frozen))
    if not chosen or not stretches:
        return []
    known = {(one.words, table.forms[one.form].concept_id) for one in session.candidates}
    sounds = sorted({phones for _, _, phones in stretches})
    near = _nearest(sounds, np.array(chosen), table, reach)
    found = []
    for segment_id, r, phones in stretches:
        best: dict[str, tuple[float, int]] = {}
        for form, distance in near.get(phones, ()):
            identifier = table.forms[form].concept_id
            if (r, identifier) not in known and (identifier not in best or distance < best[identifier][0]):
                best[identifier] = (distance, form)
        everyday = not any(word.odd for word in session.words[r.start : r.end])
        for distance, form in sorted(best.values())[:1]:
            found.append(Candidate(segment_id, r, everyday, phones, form, distance, 0, by_subject=True))
    return found


def _stretches(session: Session, frozen: frozenset[int]) -> Iterator[tuple[int, WordRange, str]]:
    """All runs of one to four words of a sentence with no term, number or negation in them."""
    for segment_id, r, phones in runs_of_words(session.words, session, frozen):
        if not only_edges(session.words[r.start : r.end]):
            yield segment_id, r, phones


def runs_of_words(
    words: Sequence[HeardWord], session: Session, frozen: frozenset[int]
) -> Iterator[tuple[int, WordRange, str]]:
    """The same with the smallest words alone as well, and with the phones of ``words``, which may be heard otherwise."""
    covered = words_of(session.right)
    for segment in session.transcript.segments:
        whole = session.transcript.segment_range(segment.id)
        for start in range(whole.start, whole.end):
            for end in range(start + 1, min(start + LONGEST, whole.end) + 1):
                last = session.words[end - 1]
                if end - 1 in covered or end - 1 in frozen or _barred(last):
                    break
                if end - start > 1 and sentence_ends(session.words[end - 2].text):
                    break
                phones = "".join(word.phones for word in words[start:end])
                if len(phones) > MAX_PHONES:
                    break
                if len(phones) >= LEAST_PHONES:
                    yield segment.id, WordRange(start, end), phones


def _barred(word: HeardWord) -> bool:
    return not word.phones or number_like(word.plain) or word.plain in NEGATIONS - {"cant"}


def _nearest(
    sounds: Sequence[str], chosen: NDArray[np.int64], table: FormTable, reach: float
) -> dict[str, list[tuple[int, float]]]:
    """For each string of phones the chosen forms near enough, with their distances."""
    index = table.index
    lengths = index.lengths[chosen]
    sizes = np.array([len(one) for one in sounds])
    likeness = alike(pictures(sounds), pictures([index.phones[n] for n in chosen]))
    ratio = sizes[:, None] / lengths[None, :]
    rows, columns = np.nonzero((likeness >= LEAST_LIKE) & (ratio > 0.55) & (ratio < 1.8))
    if not len(rows):
        return {}
    short = [reduced(one) for one in sounds]
    roughly = process.cpdist(
        [short[row] for row in rows], [index.reduced[n] for n in chosen[columns]],
        scorer=Levenshtein.distance, dtype=np.int32,
    )  # fmt: skip
    order = np.lexsort((columns, roughly, rows))
    rows, columns = rows[order], columns[order]
    rank = np.arange(len(rows)) - np.searchsorted(rows, np.arange(len(sounds)))[rows]
    rows, columns = rows[rank < MEASURED], columns[rank < MEASURED]
    forms = chosen[columns]
    codes = encode_all(sounds)
    distances = index.costs.many(codes[rows], index.codes[forms]) + index.penalties[forms]
    near = distances <= reach * np.maximum(sizes[rows], lengths[columns])
    found: dict[str, list[tuple[int, float]]] = defaultdict(list)
    for row, form, distance in zip(rows[near].tolist(), forms[near].tolist(), distances[near].tolist(), strict=True):
        found[sounds[row]].append((form, distance))
    return found
