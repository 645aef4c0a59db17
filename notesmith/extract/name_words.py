"""Names and other identifiers by the words around them, learnt from labelled sessions as they are and without capitals
and stops. It is for what no list and no rule knows; what it alone finds is doubtful, and a person rules on it.

A linear chain as in ``case_words``; its weights are in ``data/names.json``, made by ``benchmarks/learn_notes.py``.
"""

from __future__ import annotations

from collections.abc import Collection
from functools import lru_cache
from importlib.resources import files

import msgspec
from wordfreq import zipf_frequency

from notesmith.dictionary import in_dictionary
from notesmith.extract.chains import Chain
from notesmith.extract.learned import GROUPS
from notesmith.extract.lexicon import BODY_CHAPTERS, word_classes
from notesmith.extract.names import name_lists
from notesmith.extract.potency_words import NUMBER_WORDS
from notesmith.extract.session import Session


@lru_cache(maxsize=1)
def name_model() -> Chain:
    return msgspec.json.decode(files("notesmith.extract").joinpath("data", "names.json").read_bytes(), type=Chain)


def name_rows(session: Session, terms: Collection[int], term_words: Collection[str]) -> list[list[str]]:
    """Features of each unit. ``terms`` are units the vocabulary names, ``term_words`` its words."""
    own = [_own(session, unit, unit in terms, term_words) for unit in range(len(session.units))]
    starts = {sentence.start for sentence in session.sentences}
    rows = []
    for unit, (low, traits) in enumerate(own):
        row = [
            "bias",
            f"w {low}",
            *traits,
            f"suffix {low[-2:]}",
            f"suffix {low[-3:]}",
            f"prefix {low[:3]}",
        ]
        if unit in starts:
            row.append("opens")
        for step in (-3, -2, -1, 1, 2):
            if 0 <= unit + step < len(own):
                near, near_traits = own[unit + step]
                row.append(f"{step}w {near}")
                if abs(step) < 3:
                    row += [f"{step}{trait}" for trait in near_traits]
            else:
                row.append(f"{step}outside")
        for a, b in ((-2, -1), (-1, 1), (1, 2)):
            if unit + a >= 0 and unit + b < len(own):
                row.append(f"{a} {b} {own[unit + a][0]} {own[unit + b][0]}")
        rare = next(trait for trait in traits if trait.startswith("zipf"))
        listed = "".join(trait for trait in traits if trait in ("given", "surname", "place", "ordinary", "term"))
        row += [
            f"{rare} {listed}",
            f"{rare} -1w {own[unit - 1][0] if unit else ''}",
            f"{listed} -1w {own[unit - 1][0] if unit else ''}",
        ]
        row.append(f"{rare} 1w {own[unit + 1][0] if unit + 1 < len(own) else ''}")
        rows.append(row)
    return rows


def _own(session: Session, unit: int, term: bool, term_words: Collection[str]) -> tuple[str, list[str]]:
    text = session.units[unit]
    low = text.low.removesuffix("'s").removesuffix("'")
    word, listed, known = _of_word(low)
    flags = {
        "term": term or low in term_words, "capital": text.bare[:1].isupper(), "shout": len(text.bare) > 1 and text.bare.isupper(),
        "comma": text.text.endswith(","), "stop": text.text.endswith((".", "?", "!")), "'s": low != text.low,
    }  # fmt: skip
    return word, [*listed, *(name for name, on in flags.items() if on), *known, f"t {session.parse.tag(unit)}"]


@lru_cache(maxsize=50_000)
def _of_word(low: str) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    """A word as a feature, the lists it is in, and what else is known of it wherever it stands."""
    lists = name_lists()
    listed = {
        "given": low in lists.given, "surname": low in lists.surnames, "place": low in lists.places, "ordinary": low in lists.ordinary_names,
    }  # fmt: skip
    flags = {
        "body": low in BODY_CHAPTERS, "number": low in NUMBER_WORDS, "accent": not low.isascii(), "english": in_dictionary(low),
    }  # fmt: skip
    known = [name for name, on in flags.items() if on]
    known.append(f"zipf {min(6, int(zipf_frequency(low, 'en')))}")
    known += [f"g {name}" for name, group in GROUPS if low in group]
    if low in word_classes():
        known.append(f"k {word_classes()[low]}")
    return "#" if any(c.isdigit() for c in low) else low, tuple(name for name, on in listed.items() if on), tuple(known)


#: How much nearer a word outside is taken to be a name. A name missed is published, a word too many is asked about, and
#: without capitals the rules see least.
READINESS, READINESS_WITHOUT_CAPITALS = 0.0, 2.5


def learnt_names(
    session: Session, terms: Collection[int], term_words: Collection[str], cased: bool
) -> list[tuple[str, int, int]]:
    """Role and half-open units of each name the model sees; ``cased`` says whether the transcript has capitals."""
    rows = name_rows(session, terms, term_words)
    return name_model().fields(rows, READINESS if cased else READINESS_WITHOUT_CAPITALS)
