"""Latin as English-speaking teachers read it aloud: a few readings of a word, as phones.

The rules are those of the traditional English pronunciation and of the restored one taught today, which teachers mix
freely (common practice); Indian English speakers lean to the letters as written. The ear of the recogniser decides
which one fits, so each word gets several readings and none is called right.
"""

from __future__ import annotations

import re
from functools import lru_cache

from notesmith.sounds.phones import VOWELS, dictionary, plain_letters, simplify, spell_out

# Letter groups, longest first: English-style reading, then the reading closer to the letters.
_GROUPS: tuple[tuple[str, str, str], ...] = (
    ("tsch", "ʧ", "ʧ"), ("sch", "sk", "ʃ"), ("phth", "fθ", "fθ"), ("rrh", "ɹ", "ɹ"),
    ("ch", "k", "k"), ("ph", "f", "f"), ("th", "θ", "t"), ("rh", "ɹ", "ɹ"), ("qu", "kw", "kw"), ("gu", "ɡw", "ɡw"),
    ("ae", "i", "I"), ("oe", "i", "i"), ("au", "ɔ", "W"), ("eu", "ju", "ju"), ("ei", "I", "A"), ("oi", "Y", "Y"),
    ("ps", "s", "s"), ("pn", "n", "n"), ("gn", "n", "ɡn"), ("mn", "n", "mn"), ("pt", "t", "t"), ("xi", "ksi", "ksi"),
)  # fmt: skip
_ONLY_AT_START = frozenset({"ps", "pn", "gn", "mn", "pt"})
_SINGLE = {"b": "b", "d": "d", "f": "f", "h": "h", "j": "ʤ", "k": "k", "l": "l", "m": "m", "n": "n", "p": "p", "q": "k",
           "r": "ɹ", "s": "s", "t": "t", "v": "v", "w": "w", "x": "ks", "z": "z"}  # fmt: skip
_OPEN = {"a": "A", "e": "i", "i": "I", "o": "O", "u": "ju", "y": "I"}
_CLOSED = {"a": "æ", "e": "ɛ", "i": "ɪ", "o": "ɑ", "u": "ʌ", "y": "ɪ"}
_PURE = {"a": "ɑ", "e": "ɛ", "i": "i", "o": "O", "u": "u", "y": "i"}
_ENDINGS: tuple[tuple[str, str, str], ...] = (
    ("ium", "iəm", "ium"), ("eum", "iəm", "ium"), ("ius", "iəs", "ius"), ("ia", "iə", "iɑ"), ("ea", "iə", "iɑ"),
    ("um", "əm", "ʊm"), ("us", "əs", "ʊs"), ("is", "ɪs", "ɪs"), ("as", "əs", "ɑs"), ("os", "ɑs", "Os"), ("on", "ɑn", "ɑn"),
    ("a", "ə", "ɑ"), ("e", "i", "A"), ("i", "I", "i"), ("es", "iz", "ɛs"),
)  # fmt: skip


_HUSHED = re.compile(r"[st][iɪ](?=[əæɑO])")


@lru_cache(maxsize=50_000)
def latin_readings(word: str) -> tuple[str, ...]:
    """Up to five readings of one word, most English first, without repeats."""
    plain = re.sub(r"\d+", "", plain_letters(word))
    if not plain:
        return ()
    readings = []
    if (known := dictionary().get(plain)) is not None:
        readings.append(simplify(known))
    english, pure = _read(plain, english=True), _read(plain, english=False)
    readings += [english, pure, spell_out(plain)]
    if (hushed := _HUSHED.sub("ʃ", english)) != english:
        readings.insert(2, hushed)  # Silicea, Ignatia, cruciata as English "-shia"
    return tuple(dict.fromkeys(reading for reading in readings if reading))


@lru_cache(maxsize=50_000)
def read_by_letters(word: str) -> str:
    """One reading close to the letters, for a word of unknown spelling."""
    plain = re.sub(r"\d+", "", plain_letters(word))
    return _read(plain, english=False) if plain else ""


def _read(word: str, *, english: bool) -> str:
    pick = 0 if english else 1
    ending = ""
    for letters, *said in _ENDINGS:
        if word.endswith(letters) and len(word) > len(letters) + 1:
            word, ending = word[: -len(letters)], said[pick]
            break
    phones: list[str] = []
    at = 0
    while at < len(word):
        for letters, *said in _GROUPS:
            if word.startswith(letters, at) and not (letters in _ONLY_AT_START and at > 0):
                phones.append(said[pick])
                at += len(letters)
                break
        else:
            phones.append(_letter(word, at, ending, english=english))
            at += 1
    joined = "".join(phones) + ending
    return re.sub(r"([^AIOWYiɪɛæəʌɑɔuʊ])\1", r"\1", joined)


def _letter(word: str, at: int, ending: str, *, english: bool) -> str:
    letter = word[at]
    after = word[at + 1 : at + 2] or (ending[:1] and ("e" if ending[0] in "iɪɛA" else "a"))
    soft = after in tuple("eiy") and after != ""
    if letter == "c":
        if word[at + 1 : at + 2] == "c" and word[at + 2 : at + 3] in tuple("eiy"):
            return "k"
        return "s" if soft else "k"
    if letter == "g":
        return "ʤ" if soft else "ɡ"
    if letter == "t" and english and word[at + 1 : at + 2] == "i" and at + 2 < len(word) and word[at + 2] in "aou":
        return "ʃ"
    if letter == "j" and not english:
        return "j"
    if letter == "x" and at == 0:
        return "z"
    if letter not in _OPEN:
        return _SINGLE.get(letter, "")
    if not english:
        return _PURE[letter]
    following = word[at + 1 :]
    consonants = len(following) - len(following.lstrip("bcdfghjklmnpqrstvwxz"))
    if consonants >= 2 and not re.match(r"[bcdfgpt][lr]", following):
        return _CLOSED[letter]
    if consonants == 0 and not following and ending[:1] and ending[0] not in VOWELS:
        return _CLOSED[letter]
    first_syllable = not set(word[:at]) & set("aeiouy")
    return _OPEN[letter] if first_syllable and letter in "aiou" and len(word) <= 5 else _CLOSED[letter]
