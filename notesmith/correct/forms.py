"""Everything the tool listens for, made ready to be found by sound: a table of forms and an index over them."""

from __future__ import annotations

import contextlib
import itertools
import math
from collections import Counter
from collections.abc import Sequence
from functools import lru_cache

import msgspec
import numpy as np
import platformdirs
from numpy.typing import NDArray

from notesmith.errors import OutputError
from notesmith.files import write_atomic
from notesmith.sounds.distance import MAX_PHONES, Codes, SoundCosts, encode_all
from notesmith.sounds.phones import VOWELS
from notesmith.vocabulary import Concept, Vocabulary, label_key
from notesmith.vocabulary.spoken import SpokenForm, spoken_forms

Floats = NDArray[np.float32]
Ints = NDArray[np.int64]

# Consonants by class; vowels and weak sounds are left out, because the recogniser keeps them least.
_CLASSES = {
    **dict.fromkeys("pb", 0), **dict.fromkeys("fv", 1), **dict.fromkeys("tdθð", 2), **dict.fromkeys("kɡ", 3),
    **dict.fromkeys("szʃʒʧʤ", 4), **dict.fromkeys("mnŋ", 5), "l": 6, "ɹ": 7,
}  # fmt: skip
_EDGE, _VOWEL = 8, 9
_SIZE = 10
_FEATURES = _SIZE + 2 * _SIZE * _SIZE
_FORMAT = "forms/5"


def sound_features(phones: str) -> NDArray[np.float32]:
    """A coarse picture of a string of phones: its consonant classes, alone, in pairs and in pairs over one."""
    classes = [_EDGE, *(_CLASSES[p] for p in phones if p in _CLASSES), _EDGE]
    if len(classes) < 4:  # short forms are told apart by their vowels' places too
        classes = [_EDGE, *(_CLASSES.get(p, _VOWEL) for p in phones if p in _CLASSES or p in VOWELS), _EDGE]
    picture = np.zeros(_FEATURES, np.float32)
    for a in classes[1:-1]:
        picture[a] += 0.6
    for a, b in itertools.pairwise(classes):
        picture[_SIZE + a * _SIZE + b] += 1.0
    for a, b in zip(classes, classes[2:], strict=False):
        picture[_SIZE + _SIZE * _SIZE + a * _SIZE + b] += 0.5
    norm = float(np.linalg.norm(picture))
    return picture / norm if norm else picture


class FormTable:
    """All spoken forms with their phones, and the search for those near a heard string.

    ``nearest`` narrows to the likeliest labels by the coarse picture (one matrix product for all queries), then
    measures the distance to each of their readings.
    """

    def __init__(self, vocabulary: Vocabulary, forms: Sequence[SpokenForm], costs: SoundCosts) -> None:
        self.forms = tuple(forms)
        self.costs = costs
        self.codes: Codes = encode_all([form.phones[:MAX_PHONES] for form in self.forms] or [""])
        self.lengths = np.array([min(len(form.phones), MAX_PHONES) for form in self.forms] or [0], np.float32)
        members: dict[tuple[str, str], list[int]] = {}
        for number, form in enumerate(self.forms):
            members.setdefault((form.concept_id, form.label), []).append(number)
        width = max((len(group) for group in members.values()), default=1)
        # (labels, readings) form numbers, the first reading repeated where a label has fewer.
        self.groups: Ints = np.array([g + [g[0]] * (width - len(g)) for g in members.values()] or [[0]], np.int64)
        self.pictures: Floats = np.stack([self._picture(group) for group in members.values()] or [sound_features("")])
        priors = {concept.id: _commonness(vocabulary, concept) for concept in vocabulary.concepts.values()}
        self.priors = np.array([priors[form.concept_id] for form in self.forms] or [0], np.float32)
        self.penalties = np.array([_penalty(vocabulary[f.concept_id], f.label) for f in self.forms] or [0], np.float32)
        self.core = self.priors[self.groups[:, 0]] >= CORE_PRIOR

    def _picture(self, group: list[int]) -> Floats:
        """What the readings of one label have in common."""
        mean = np.mean([sound_features(self.forms[number].phones) for number in group], axis=0)
        return np.asarray(mean / (np.linalg.norm(mean) or 1.0), np.float32)

    def __len__(self) -> int:
        return len(self.forms)

    def nearest(self, heard: Sequence[str], *, keep: int, narrow: int, core_only: bool = False) -> tuple[Ints, Floats]:
        """For each heard string the ``keep`` nearest forms, nearest first: (n, keep) form numbers and distances."""
        rows = np.flatnonzero(self.core) if core_only else np.arange(len(self.groups))
        narrow = min(narrow, len(rows))
        width = narrow * self.groups.shape[1]
        keep = min(keep, width)
        numbers = np.zeros((len(heard), keep), np.int64)
        distances = np.full((len(heard), keep), np.inf, np.float32)
        pictures, lengths = self.pictures[rows], self.lengths[self.groups[rows, 0]]
        # Strings of one length together: a form much longer than what was heard need not be measured to its end.
        by_length = sorted(range(len(heard)), key=lambda index: len(heard[index]))
        for start in range(0, len(heard), BATCH):
            places = by_length[start : start + BATCH]
            batch = [heard[index] for index in places]
            queries = np.stack([sound_features(phones) for phones in batch])
            sizes = np.array([len(phones) for phones in batch], np.float32)
            likeness = queries @ pictures.T
            likeness -= 0.05 * np.abs(sizes[:, None] - lengths[None, :])
            if narrow < len(rows):
                best = np.argpartition(likeness, -narrow, axis=1)[:, -narrow:]
            else:
                best = np.broadcast_to(np.arange(len(rows)), (len(batch), len(rows)))
            chosen = self.groups[rows[best]].reshape(len(batch), width)
            codes = encode_all([phones[:MAX_PHONES] for phones in batch])
            columns = min(self.codes.shape[1], int(1.5 * codes.shape[1]) + 5)
            flat = self.costs.many(np.repeat(codes, width, axis=0), self.codes[chosen.ravel(), :columns])
            measured = flat.reshape(len(batch), width) + self.penalties[chosen]
            order = np.argsort(measured, axis=1, kind="stable")[:, :keep]
            numbers[places] = np.take_along_axis(chosen, order, axis=1)
            distances[places] = np.take_along_axis(measured, order, axis=1)
        return numbers, distances


CORE_PRIOR = -3.4
BATCH = 128


def _commonness(vocabulary: Vocabulary, concept: Concept) -> float:
    """log10 of how likely a term is in a lecture before anything is known of it: by the books that have it."""
    if concept.scheme != "remedy":
        base = {"idea": -3.2, "canon": -3.5, "family": -3.9, "medical": -4.7}.get(concept.scheme, -4.5)
        if concept.scheme == "canon":
            works = len(vocabulary.narrower.get(concept.id, ())) + sum(
                concept.id in other.fact("by") for other in _books(vocabulary)
            )
            base += min(1.4, 0.3 * works) - (0.8 if not concept.id.startswith("author/") else 0.0)
        if concept.scheme == "idea" and len(concept.pref_label.split()) == 1:
            base += 0.4
        return base
    sources = " ".join(concept.source)
    score = -5.2 + 0.35 * ("Boericke" in sources) + 0.25 * ("Kent" in sources) + 0.15 * ("Clarke" in sources)
    score += 1.0 * ("Allen Keynotes" in sources)
    return score + 0.45 * math.log1p(_relation_counts(vocabulary)[concept.id])


@lru_cache(maxsize=4)
def _books(vocabulary: Vocabulary) -> tuple[Concept, ...]:
    return tuple(one for one in vocabulary.in_scheme("canon") if one.fact("by"))


@lru_cache(maxsize=4)
def _relation_counts(vocabulary: Vocabulary) -> Counter[str]:
    return Counter(end for relation in vocabulary.relations for end in (relation.remedy, relation.other))


def _penalty(concept: Concept, label: str) -> float:
    """What restoring a label other than the preferred one costs, in the units of sound distance."""
    if label == concept.pref_label or concept.scheme in ("canon", "idea"):
        return 0.0
    preferred, words = label_key(concept.pref_label).split(), label_key(label).split()
    if words == preferred[: len(words)]:
        return 0.05 if len(label) >= 4 else 3.0
    if len(words) <= len(preferred) and all(
        p.startswith(w) or w.startswith(p[:3]) for w, p in zip(words, preferred, strict=False)
    ):
        # A short spoken form of the preferred name: Nat mur, Calc carb; the shortest sound like everything.
        return 0.6 if len("".join(words)) >= 6 else 3.0
    return 0.8 if set(words) & set(preferred) else 1.2


@lru_cache(maxsize=4)
def _packed_forms(vocabulary: Vocabulary) -> tuple[SpokenForm, ...]:
    """The spoken forms, kept in the user's cache by the vocabulary's digest: reading is faster than deriving."""
    path = platformdirs.user_cache_path("notesmith") / "forms" / f"{vocabulary.digest[:24]}.{_FORMAT[-1]}.msgpack"
    try:
        return msgspec.msgpack.decode(path.read_bytes(), type=tuple[SpokenForm, ...])
    except (OSError, msgspec.MsgspecError):
        forms = tuple(spoken_forms(vocabulary))
    with contextlib.suppress(OutputError):  # a cache that cannot be written costs time, nothing else
        write_atomic(path, msgspec.msgpack.encode(forms))
    return forms


@lru_cache(maxsize=4)
def form_table(vocabulary: Vocabulary, costs: SoundCosts) -> FormTable:
    """The table of a vocabulary; made once a process."""
    return FormTable(vocabulary, _packed_forms(vocabulary), costs)
