"""Everything the tool listens for: the spoken forms of the vocabulary, how likely each is, and the index over them."""

from __future__ import annotations

import contextlib
import math
from collections import Counter
from functools import cached_property, lru_cache

import msgspec
import numpy as np
import platformdirs
from wordfreq import zipf_frequency

from notesmith.correct.index import FormIndex
from notesmith.errors import OutputError
from notesmith.files import write_atomic
from notesmith.sounds.distance import SoundCosts
from notesmith.vocabulary import Concept, Vocabulary, label_key
from notesmith.vocabulary.spoken import SpokenForm, spoken_forms

CORE_PRIOR = -3.45  # log10; terms at least so common are looked for under ordinary words too
EVERYDAY_ZIPF = 3.3
# A stop after another consonant at a word's end is often not released ("Ken says" for "Kent says"; common practice).
UNRELEASED = frozenset({"nt", "nd", "kt", "pt", "st"})
SHORT_PHONES = 5
_FORMAT = "6"  # of the cached forms; raise it when the rules of reading change


class Form(msgspec.Struct, frozen=True):
    """One way of saying a concept, with its scheme, how common it is (log10) and what its label costs (nats)."""

    concept_id: str
    label: str
    phones: str
    scheme: str
    prior: float
    penalty: float


class FormTable:
    """All forms and the search for those near a heard string of phones."""

    def __init__(self, vocabulary: Vocabulary, costs: SoundCosts) -> None:
        self.vocabulary = vocabulary
        priors: dict[str, float] = {}
        forms: list[Form] = []
        for one in _packed_forms(vocabulary):
            concept = vocabulary[one.concept_id]
            if _unheard(concept, one.label):
                continue
            if one.concept_id not in priors:
                priors[one.concept_id] = commonness(vocabulary, concept)
            penalty = label_penalty(concept, one.label)
            said = Form(one.concept_id, one.label, one.phones, concept.scheme, priors[one.concept_id], penalty)
            forms.append(said)
            if one.phones[-2:] in UNRELEASED and len(one.phones) <= SHORT_PHONES:
                forms.append(msgspec.structs.replace(said, phones=one.phones[:-1], penalty=penalty + 0.3))
        self.forms = tuple(forms)
        core = np.array([form.prior >= CORE_PRIOR or form.scheme == "idea" for form in forms], np.bool_)
        self.index = FormIndex(
            [form.phones for form in forms], core, costs, np.array([form.penalty for form in forms], np.float32)
        )

        self._by_concept: dict[str, list[int]] = {}
        for number, form in enumerate(forms):
            self._by_concept.setdefault(form.concept_id, []).append(number)

    def __len__(self) -> int:
        return len(self.forms)

    def forms_of(self, concept_id: str) -> list[int]:
        """The numbers of a concept's forms."""
        return self._by_concept.get(concept_id, [])

    def kin(self, concept_id: str) -> list[str]:
        """The remedies of the same genus or salt (their names begin with the same word), commonest first."""
        first = label_key(self.vocabulary[concept_id].pref_label).split()[0]
        kindred = [i for i in self._genera.get(first, ()) if i != concept_id]
        return sorted(kindred, key=lambda i: (-self.forms[self._by_concept[i][0]].prior, i))

    @cached_property
    def _genera(self) -> dict[str, list[str]]:
        found: dict[str, list[str]] = {}
        for identifier in self._by_concept:
            if identifier.startswith("remedy/"):
                found.setdefault(label_key(self.vocabulary[identifier].pref_label).split()[0], []).append(identifier)
        return found


def _unheard(concept: Concept, label: str) -> bool:
    """Everyday words for illnesses need no restoring; capital letters and figures are no sound of a term."""
    if any(letter.isdigit() for letter in label):
        return True
    if concept.scheme == "medical":
        return all(zipf_frequency(word, "en") >= EVERYDAY_ZIPF for word in label_key(label).split())
    return label.isupper() and len(label) <= 4


def commonness(vocabulary: Vocabulary, concept: Concept) -> float:
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


def label_penalty(concept: Concept, label: str) -> float:
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
    path = platformdirs.user_cache_path("notesmith") / "forms" / f"{vocabulary.digest[:24]}.{_FORMAT}.msgpack"
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
    return FormTable(vocabulary, costs)
