"""How alike what was heard and a term's label are, told in several ways: what one hides another shows."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray
from rapidfuzz import fuzz
from rapidfuzz.distance import JaroWinkler, LCSseq, Levenshtein, Postfix

from notesmith.correct.candidates import Candidate, HeardWord, lettered
from notesmith.correct.evidence import folded
from notesmith.correct.forms import FormTable
from notesmith.correct.index import skeleton
from notesmith.sounds.distance import MAX_PHONES, encode_all
from notesmith.sounds.phones import VOWELS

ALIKE = (
    "letters near", "letters edited", "letters inside", "folded letters near", "endings alike", "skeletons alike",
    "consonants near", "syllables more", "length ratio", "distance a phone said", "distance by letters",
)  # fmt: skip


def alike_rows(words: Sequence[HeardWord], table: FormTable, candidates: Sequence[Candidate]) -> NDArray[np.float64]:
    """(candidates, ALIKE) of hypotheses over these words."""
    rows = np.zeros((len(candidates), len(ALIKE)))
    if not candidates:
        return rows
    read = []
    for row, one in zip(rows, candidates, strict=True):
        form, inside = table.forms[one.form], words[one.words.start : one.words.end]
        heard = " ".join(word.plain for word in inside)
        row[:-2] = (*_letters(heard, form.label.casefold()), *_phones(one.phones, form.phones))
        row[-2] = one.distance / max(1, len(form.phones))
        read.append(lettered(inside)[:MAX_PHONES] or one.phones)
    forms = np.array([one.form for one in candidates])
    index = table.index
    rows[:, -1] = index.costs.many(encode_all(read), index.codes[forms]) / np.maximum(1, index.lengths[forms])
    return rows


@lru_cache(maxsize=50_000)
def _letters(heard: str, label: str) -> tuple[float, ...]:
    plain, wanted = heard.replace(" ", ""), label.replace(" ", "")
    return (
        JaroWinkler.similarity(plain, wanted), Levenshtein.normalized_similarity(plain, wanted),
        fuzz.partial_ratio(plain, wanted), JaroWinkler.similarity(folded(heard), folded(label)),
        Postfix.similarity(plain, wanted) / len(wanted),
    )  # fmt: skip


@lru_cache(maxsize=50_000)
def _phones(heard: str, label: str) -> tuple[float, ...]:
    vowels = [sum(phone in VOWELS for phone in phones) for phones in (heard, label)]
    bare = ["".join(phone for phone in phones if phone not in VOWELS) for phones in (heard, label)]
    return (
        LCSseq.normalized_similarity(skeleton(heard), skeleton(label)), JaroWinkler.similarity(*bare),
        vowels[0] - vowels[1], len(heard) / max(1, len(label)),
    )  # fmt: skip
