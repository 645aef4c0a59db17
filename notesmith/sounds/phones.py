"""Phones of words: an open pronouncing dictionary, and letter rules learnt from it for words it does not have.

A phone is one character of ``PHONES`` (IPA, diphthongs as capitals: A day, I my, O go, W now, Y boy; ʧ and ʤ are one
phone). Stress is left out: the recogniser's ear does not keep it, nor do two teachers agree on it in Latin.
Dictionary: the ``misaki`` package's English data (Apache-2.0), American first, then British.
"""

from __future__ import annotations

import importlib.util
import re
import unicodedata
import zlib
from functools import lru_cache
from importlib import resources
from pathlib import Path

import msgspec

from notesmith.errors import ModelError

PHONES = "AIOWYiɪɛæəʌɑɔuʊpbtdkɡfvθðszʃʒhʧʤmnŋlɹjw"
VOWELS = frozenset("AIOWYiɪɛæəʌɑɔuʊ")
_SAME = str.maketrans({"ɾ": "t", "ᵊ": "ə", "ᵻ": "ɪ", "ɜ": "ə", "ʔ": "t", "ɒ": "ɑ", "Q": "O", "ɐ": "ə", "a": "ɑ", "o": "O",
                       "e": "ɛ", "T": "t", "ɡ": "ɡ", "g": "ɡ", "r": "ɹ"})  # fmt: skip
_KEPT = frozenset(PHONES)
_DICTIONARIES = ("us_gold.json", "us_silver.json", "gb_gold.json")
_LETTER_NAMES = dict(
    zip("abcdefghijklmnopqrstuvwxyz",
        "A bi si di i ɛf ʤi Aʧ I ʤA kA ɛl ɛm ɛn O pi kju ɑɹ ɛs ti ju vi dʌbəlju ɛks wI zi".split(" "), strict=True)
)  # fmt: skip
_NUMBER_WORDS = ("zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen sixteen "
                 "seventeen eighteen nineteen").split(" ")  # fmt: skip
_TENS = ("", "", "twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety")
MAX_LETTERS = 40
CONTEXTS = ((3, 3), (2, 3), (2, 2), (1, 2), (1, 1), (0, 1), (0, 0))  # letters before and after, widest first


def simplify(phones: str) -> str:
    """Reduce a dictionary's phones to ours.

    >>> simplify("kˈɑstˌum")
    'kɑstum'
    """
    return "".join(c for c in phones.translate(_SAME) if c in _KEPT)


@lru_cache(maxsize=1)
def dictionary() -> dict[str, str]:
    """Lower-case English words to phones, about 190,000. Raises ModelError where the data is missing."""
    spec = importlib.util.find_spec("misaki")
    if spec is None or not spec.submodule_search_locations:
        raise ModelError("the pronouncing dictionary is missing; run: pip install misaki")
    folder = Path(next(iter(spec.submodule_search_locations))) / "data"
    words: dict[str, str] = {}
    for name in reversed(_DICTIONARIES):
        entries: dict[str, str | dict[str, str | None]] = msgspec.json.decode((folder / name).read_bytes())
        for word, said in entries.items():
            phones = said if isinstance(said, str) else said.get("DEFAULT")
            if phones:
                words[word.casefold()] = phones
    return words


@lru_cache(maxsize=1)
def letter_rules() -> dict[str, str]:
    """What a letter says in a context: ``before|letter|after`` to phones; learnt by benchmarks/learn_letters.py."""
    packed = resources.files("notesmith.sounds").joinpath("data/letters.bin").read_bytes()
    return msgspec.json.decode(zlib.decompress(packed), type=dict[str, str])


def spell_out(word: str) -> str:
    """The phones of a word by the learnt letter rules. ``word`` is lower-case ASCII letters."""
    rules = letter_rules()
    padded = f"###{word}###"
    phones = []
    for at in range(3, len(word) + 3):
        for before, after in CONTEXTS:
            key = f"{padded[at - before : at]}|{padded[at]}|{padded[at + 1 : at + 1 + after]}"
            if (said := rules.get(key)) is not None:
                phones.append(said)
                break
    joined = "".join(phones)
    return re.sub(r"(.)\1", r"\1", joined)


def plain_letters(text: str) -> str:
    """Lower-case ASCII letters and digits of a word, accents and ligatures spelt out."""
    spread = text.replace("æ", "ae").replace("œ", "oe").replace("Æ", "ae").replace("Œ", "oe").replace("ß", "ss")
    plain = unicodedata.normalize("NFKD", spread).casefold()
    return "".join(c for c in plain if c.isascii() and c.isalnum())


@lru_cache(maxsize=50_000)
def pronounce(word: str) -> str:
    """The phones of one written word: dictionary, possessives, numbers, letters said singly, else letter rules."""
    bare = word.casefold().strip("'’.,!?;:\"()[]-")
    possessive = re.sub(r"['’]s?$", "", bare)
    words = dictionary()
    if bare in words:
        return simplify(words[bare])
    if possessive != bare and possessive:
        return pronounce(possessive) + ("z" if bare.endswith("s") else "")
    plain = plain_letters(bare)[:MAX_LETTERS]
    if not plain:
        return ""
    if plain in words:
        return simplify(words[plain])
    if match := re.fullmatch(r"(\d{1,9})([a-z]{0,3})", plain):
        said = "".join(pronounce(part) for part in number_words(int(match[1])))
        return said + "".join(_LETTER_NAMES[c] for c in match[2])
    if plain.endswith("s") and plain[:-1] in words:
        return simplify(words[plain[:-1]]) + "z"
    letters = re.sub(r"\d+", "", plain)
    if letters and not set(letters) & set("aeiouy"):
        return "".join(_LETTER_NAMES[c] for c in letters)
    return spell_out(letters)


def pronounce_text(text: str) -> str:
    """The phones of several words run together, as the ear gets them."""
    return "".join(pronounce(part) for part in re.split(r"[\s\-–—/]+", text) if part)


def number_words(number: int) -> list[str]:
    """English number words as teachers say potencies.

    >>> number_words(230)
    ['two', 'hundred', 'thirty']
    """
    for size, name in ((1_000_000, "million"), (1000, "thousand"), (100, "hundred")):
        if number >= size:
            rest = number % size
            return [*number_words(number // size), name, *(number_words(rest) if rest else [])]
    if number < 20:
        return [_NUMBER_WORDS[number]]
    return [_TENS[number // 10], *([_NUMBER_WORDS[number % 10]] if number % 10 else [])]
