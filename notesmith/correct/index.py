"""Find the spoken forms near a heard string of phones: an index of consonant skeletons, then measured distances."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from rapidfuzz import process
from rapidfuzz.distance import Levenshtein

from notesmith.sounds.distance import MAX_PHONES, SoundCosts, encode_all
from notesmith.sounds.phones import PHONES, VOWELS
from notesmith.threads import one_for_products

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
_TO_CONSONANTS = str.maketrans({p: str(_CLASSES[p]) if p in _CLASSES else None for p in PHONES})
_TO_CLASSES = str.maketrans({p: str(_CLASSES.get(p, _VOWEL)) if p in _CLASSES or p in VOWELS else None for p in PHONES})
_MERGED = str.maketrans({
    **dict.fromkeys(VOWELS, "ə"), **dict(zip("bdɡvθðzʒʃʧʤŋ", "ptkfttssssSn", strict=True)),
    **dict.fromkeys("iɪA", "i"), **dict.fromkeys("uʊOɔ", "u"), "ɛ": "e",
})  # fmt: skip
_BATCH = 128

one_for_products()


class Pictures(NamedTuple):
    """(n, features) coarse pictures of strings of phones and their (n,) lengths as vectors.

    The cells are whole numbers, so that a product of pictures is exact, whatever it is reckoned together with.
    """

    cells: Floats
    norms: Floats

    def of(self, wanted: slice | Ints) -> Pictures:
        return Pictures(self.cells[wanted], self.norms[wanted])


def pictures(strings: Sequence[str]) -> Pictures:
    """Pictures of strings of phones: their consonant classes, alone, in pairs and in pairs over one."""
    cells: list[int] = []
    weights: list[int] = []
    for number, phones in enumerate(strings):
        classes = [_EDGE, *map(int, skeleton(phones)), _EDGE]
        first, count = number * _FEATURES, len(classes)
        cells += [first + a for a in classes[1:-1]]
        pairs = first + _SIZE
        cells += [pairs + a * _SIZE + b for a, b in itertools.pairwise(classes)]
        pairs += _SIZE * _SIZE
        cells += [pairs + a * _SIZE + b for a, b in zip(classes, classes[2:], strict=False)]
        weights += [6] * (count - 2) + [10] * (count - 1) + [5] * (count - 2)
    summed = np.bincount(np.array(cells, np.int64), weights, len(strings) * _FEATURES)
    made = summed.astype(np.float32).reshape(-1, _FEATURES)
    norms = np.sqrt(np.square(made).sum(axis=1))
    norms[norms == 0] = 1
    return Pictures(made, norms)


def alike(ours: Pictures, theirs: Pictures) -> Floats:
    """(n, m) how alike pictures are, 0 to 1."""
    products = ours.cells @ theirs.cells.T
    products /= ours.norms[:, None]
    products /= theirs.norms
    return np.asarray(products)


def skeleton(phones: str) -> str:
    """The consonant classes of a string, a digit each; the forms of one skeleton are searched together.

    Short forms are told apart by their vowels' places too.
    """
    kept = phones.translate(_TO_CONSONANTS)
    return kept if len(kept) > 1 else phones.translate(_TO_CLASSES)


def reduced(phones: str) -> str:
    """The phones with near ones merged, for a rough first comparison by plain edit distance."""
    merged = phones.translate(_MERGED)
    return "".join([p for p, following in zip(merged, f"{merged[1:]}.", strict=False) if p != following])


class _Groups(NamedTuple):
    """Forms of one skeleton each, with the picture of the first and their mean length."""

    members: list[Ints]
    pictures: Pictures
    lengths: Floats


class FormIndex:
    """The search over all forms. ``core`` marks those looked for under ordinary words; ``penalties`` are added."""

    def __init__(self, phones: Sequence[str], core: NDArray[np.bool_], costs: SoundCosts, penalties: Floats) -> None:
        self.phones = [p[:MAX_PHONES] for p in phones]
        self.costs = costs
        self.penalties = penalties
        self.core = core
        self.codes = encode_all(self.phones or [""])
        self.lengths = np.array([len(p) for p in self.phones] or [0], np.int64)
        self.reduced = [reduced(p) for p in self.phones]
        groups: dict[str, list[int]] = {}
        for number, one in enumerate(self.phones):
            groups.setdefault(skeleton(one), []).append(number)
        measured = sorted((sum(len(self.phones[n]) for n in group) / len(group), group) for group in groups.values())
        members = [np.array(group, np.int64) for _, group in measured]
        drawn = pictures([self.phones[g[0]] for g in members])
        lengths = np.array([length for length, _ in measured], np.float32)
        cores = np.flatnonzero(np.array([core[g].any() for g in members], bool))
        # Groups stand in order of length, so that those of about one length are one slice.
        self._all = _Groups(members, drawn, lengths)
        self._core = _Groups([members[i] for i in cores], drawn.of(cores), lengths[cores])
        self._known: dict[tuple[str, bool], tuple[Ints, Floats]] = {}

    def nearest(
        self, heard: Sequence[str], *, keep: int, groups: int, rough: int, core_only: bool = False
    ) -> dict[str, tuple[Ints, Floats]]:
        """For each heard string the numbers and distances of the ``keep`` nearest forms, nearest first.

        ``groups`` skeletons are looked into, ``rough`` forms measured exactly. Answers are remembered; they are the same
        whatever is asked for together.
        """
        if len(self._known) > 200_000:
            self._known.clear()
        cut = {h[:MAX_PHONES] for h in heard}
        found = {one: known for one in cut if (known := self._known.get((one, core_only))) is not None}
        wanted = sorted(cut - found.keys(), key=len)
        for start in range(0, len(wanted), _BATCH):
            found |= self._search(wanted[start : start + _BATCH], keep, groups, rough, core_only)
        self._known |= {(one, core_only): found[one] for one in wanted}
        return {h: found[h[:MAX_PHONES]] for h in heard}

    def _search(
        self, batch: list[str], keep: int, groups: int, rough: int, core_only: bool
    ) -> dict[str, tuple[Ints, Floats]]:
        searched = self._core if core_only else self._all
        sizes = np.array([len(h) for h in batch], np.float32)
        # Forms much too short or too long are not looked at. The strings of a batch are of about one length, so that
        # what is looked at for all of them is not much more than for each.
        slack = 4 + 0.35 * sizes
        firsts = np.searchsorted(searched.lengths, sizes - slack)
        lasts = np.searchsorted(searched.lengths, sizes + slack, side="right")
        first, last = int(firsts[0]), int(lasts[-1])
        likeness = alike(pictures(batch), searched.pictures.of(slice(first, last)))
        likeness -= 0.05 * np.abs(sizes[:, None] - searched.lengths[None, first:last])
        owners, forms = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
        for number, (begin, end) in enumerate(zip(firsts.tolist(), lasts.tolist(), strict=True)):
            if begin == end:
                continue
            most = min(groups, end - begin)
            chosen = np.argpartition(likeness[number, begin - first : end - first], -most)[-most:] + begin
            inside = np.concatenate([searched.members[g] for g in chosen])
            if core_only:
                inside = inside[self.core[inside]]
            inside = inside[np.abs(self.lengths[inside] - sizes[number]) <= 3 + 0.35 * sizes[number]]
            owners.append(np.full(len(inside), number))
            forms.append(inside)
        owner, form = np.concatenate(owners), np.concatenate(forms)
        if len(owner):
            short = [reduced(h) for h in batch]
            roughly = process.cpdist(
                [short[i] for i in owner], [self.reduced[i] for i in form], scorer=Levenshtein.distance, dtype=np.int32
            )
            owner, form, _ = _first(owner, form, roughly, rough, len(batch))
            width = int(self.lengths[form].max())
            measured = self.costs.many(encode_all(batch)[owner], self.codes[form][:, :width]) + self.penalties[form]
            owner, form, distances = _first(owner, form, measured, keep, len(batch))
        else:
            distances = np.zeros(0, np.float32)
        bounds = np.searchsorted(owner, np.arange(len(batch) + 1))
        cuts = (slice(begin, end) for begin, end in itertools.pairwise(bounds))
        return {one: (form[cut], np.asarray(distances[cut], np.float32)) for one, cut in zip(batch, cuts, strict=True)}


def _first(
    owner: Ints, form: Ints, values: NDArray[np.generic], count: int, owners: int
) -> tuple[Ints, Ints, NDArray[np.generic]]:
    """The ``count`` smallest values of each owner, in order."""
    order = np.lexsort((form, values, owner))
    owner, form, values = owner[order], form[order], values[order]
    rank = np.arange(len(owner)) - np.searchsorted(owner, np.arange(owners))[owner]
    kept = rank < count
    return owner[kept], form[kept], values[kept]
