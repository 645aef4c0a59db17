"""Terms for what a person is typing: by any of their names, and by their sound, since garbles are typed as heard."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator

from rapidfuzz import fuzz, process

from notesmith.correct.forms import form_table
from notesmith.desk.context import Choice, kind_of_term
from notesmith.sounds import pronounce_text
from notesmith.sounds.distance import encode_all, load_costs
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary.vocabulary import label_key

SUGGESTIONS = 8
ROOM_FOR_SOUND = 2  # suggestions kept free of names that begin so
SHORTEST_BY_SOUND = 3  # characters; less sounds like everything
LIKE_SOUND = 1.4  # distance a phone (nats) up to which two sounds are offered as alike


def suggest(
    vocabulary: Vocabulary, text: str, limit: int = SUGGESTIONS, *, by_sound: bool = True
) -> tuple[Choice, ...]:
    """At most ``limit`` concepts: those with a name that begins so, those that sound so, those whose name holds it,
    then those spelt nearly so. Rubrics are left out: the repertory's phrases are not words that are misheard.
    """
    key = label_key(text)
    if not key:
        return ()
    labels = vocabulary.by_label
    begins = sorted((label for label in labels if label.startswith(key)), key=lambda s: (len(s), s))
    heard = list(alike(vocabulary, text)) if by_sound else []
    holds = [label for label in labels if key in label and not label.startswith(key)] if len(key) > 2 else []
    near: list[str] = []
    if len(begins) + len(holds) + len(heard) < limit and len(key) > 3:
        near = [str(hit[0]) for hit in process.extract(key, labels, scorer=fuzz.ratio, limit=limit, score_cutoff=70)]
    chosen: dict[str, Choice] = {}

    def take(concept_id: str, by: str, most: int) -> None:
        concept = vocabulary[concept_id]
        if concept.scheme != "rubric" and len(chosen) < most and concept_id not in chosen:
            chosen[concept_id] = Choice(concept_id, concept.pref_label, f"{kind_of_term(concept.scheme)}{by}")

    def by_label(found: list[str], most: int = limit) -> None:
        for label in found:
            for concept_id in labels[label]:
                same = label == label_key(vocabulary[concept_id].pref_label)
                take(concept_id, "" if same else f", by “{label}”", most)

    by_label(begins, limit - ROOM_FOR_SOUND if heard else limit)
    for concept_id, label in heard:
        preferred = vocabulary[concept_id].pref_label
        take(concept_id, ", by sound" if label == preferred else f", by the sound of “{label}”", limit)
    by_label(sorted(holds, key=lambda s: (len(s), s)))
    by_label(near)
    return tuple(chosen.values())


def alike(vocabulary: Vocabulary, text: str) -> Iterator[tuple[str, str]]:
    """Concept and label of the terms that sound like a text, nearest first, each concept once."""
    phones = pronounce_text(text)
    if len(label_key(text)) < SHORTEST_BY_SOUND or len(phones) < 2:
        return
    table = form_table(vocabulary, load_costs())
    # As wide as the search for doubtful words: the table remembers answers for both.
    numbers, distances = table.index.nearest([phones], keep=14, groups=48, rough=24)[phones]
    seen: set[str] = set()
    for number, distance in zip(numbers, distances, strict=True):
        form = table.forms[int(number)]
        if float(distance) <= LIKE_SOUND * len(phones) and form.concept_id not in seen:
            seen.add(form.concept_id)
            yield form.concept_id, form.label


def likely(vocabulary: Vocabulary, text: str, spoken_of: Collection[str]) -> tuple[tuple[str, str], ...]:
    """Concept and label of the terms that a heard text may have meant in a lecture, likeliest first.

    ``spoken_of`` are the concepts of that lecture. A term is said again far more often than one of the vocabulary is
    said for the first time, so by Bayes' rule the sound of one of them may be farther off by the logarithm of how many
    times fewer they are.
    """
    phones = pronounce_text(text)
    if len(label_key(text)) < SHORTEST_BY_SOUND or len(phones) < 2:
        return ()
    costs = load_costs()
    table = form_table(vocabulary, costs)
    numbers, distances = table.index.nearest([phones], keep=14, groups=48, rough=24)[phones]
    cost = {int(n): float(d) for n, d in zip(numbers, distances, strict=True)}
    own = [n for concept_id in spoken_of for n in table.forms_of(concept_id)]
    if own:
        found = costs.distances(phones, encode_all([table.forms[n].phones for n in own]))
        bonus = math.log(max(1.0, len(vocabulary) / len(spoken_of)))
        for n, distance in zip(own, found, strict=True):
            cost[n] = float(distance) + table.forms[n].penalty - bonus
    chosen: dict[str, str] = {}
    for n in sorted(cost, key=lambda n: cost[n]):
        if cost[n] <= LIKE_SOUND * len(phones):
            chosen.setdefault(table.forms[n].concept_id, table.forms[n].label)
    return tuple(chosen.items())


def warm(vocabulary: Vocabulary) -> None:
    """Make the table of sounds, which takes seconds, before somebody waits for it."""
    form_table(vocabulary, load_costs())
