"""From what a student types to what the course calls it: lay words, synonyms, abbreviations, families, misspellings.

Both searches (the course store and the published site) use this one idea. Each typed word is a group: the word itself
and words that may stand for it, from three sources: labels of one concept that differ in a single word (``period``,
``menses``), everyday English (``data/everyday.tsv``) and words of one root (``appendix``, ``appendicitis``). A label of
the vocabulary matches a query when the groups hold most of its weight in words; rare words weigh more (inverse document
frequency over labels). Typed words that sound like a remedy's name, alone or run together, are taken for it, and a word
nobody uses is compared with those that are used, by letters and by a coarse spelling of its sound.
"""

from __future__ import annotations

import math
import re
import unicodedata
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from functools import cached_property, lru_cache
from importlib import resources
from itertools import chain, islice
from typing import NamedTuple

import msgspec
import numpy as np
from numpy.typing import NDArray
from rapidfuzz import process
from rapidfuzz.distance import OSA

from notesmith.vocabulary.vocabulary import Vocabulary

STOP_WORDS = frozenset(
    """
    a about all also am an and any are as at be been but by can do does for from get gets had has have he her
    him his how i if in into is it its like me more my of on or our out she so some that the their them then
    there these they this to very was we were what when where which who why will with would you your
    being too up
    did could should hed hes hows im itll ive shes thats theres theyd theyll theyre theyve weve whats wheres whos youd youll
    youre youve
    n nd vs versus because becuase becos bcoz bcz coz cuz cos wich wat wht abt frm wid ur pls plz please
    """.split()
)
# Small words whose stems are also other words' stems.
UNLIKE_ANY = frozenset(["not", "no", "non", "never", *map(str, range(1, 13))])
LEAST_COVERAGE = 0.6  # share of a label's weight that the query must hold
LEAST_SCORE = 0.2
# Powers of the share of the query that a label answers: a remedy is named however much else is asked.
QUERY_SHARE = 0.5
REMEDY_SHARE = 0.2
MOST_CONCEPTS = 8
MOST_WORDS = 24
MOST_NAME_WORDS = 5
SHORT = 12  # letters of an abbreviation run together
# Words that may stand for a typed word.
RELATIVES = 8
MOST_KEPT = 100_000  # words whose relatives are kept once made
RELATIVES_IN_ALL = 30  # of a query of many words each word has fewer, so that a first search stays small
COMMON_NEEDS_LESS = 0.3  # of a word's relatives, by the logarithm of how often texts hold the word itself
LATER_RELATIVE = 0.9
SUBSTITUTE_FROM = 0.05  # association of two words over the labels that differ in them alone
ROOT_WEIGHT = 0.6
ROOT_SHARE = 0.7  # of a word that a root of four letters must be
LAY_WEIGHT, LAY_LATER, LAY_LEAST = 0.8, 0.1, 0.4  # of the first word of a row, less for each that follows it, the least
SPELT_WEIGHT, SPELT_FROM = 0.95, 5  # of a word spelt otherwise; the least letters of its coarse form
# The other words of the best concepts are looked up too, at less weight: not every place is indexed by its concept.
SYNONYMS_FROM_SCORE = 0.5
SYNONYM_CONCEPTS = 1
SYNONYM_STEMS = 4
SYNONYM_WEIGHT = 0.4
BROADER_WEIGHT = 0.5
# Other ways to say a concept, a learned term (data/learned.tsv) or the parts of a learned word (data/word-parts.tsv).
WORDING_CONCEPTS = 3
MOST_WORDINGS = 4
WORDING_STEMS = 20
WORDING_WEIGHT = 0.8
LEARNED_WEIGHT = 0.9
PARTS_WEIGHT = 0.6
# Meanings (data/meanings.tsv): the part of a wording that must be typed, how many meanings a query has; the part a text must hold, how many
# meanings it has at most and in how many steps it is kept how much of the wording it holds.
MEANING_TYPED = 0.45
MEANING_SCORE = 0.25
MEANING_SHARE = 0.5  # power of the share of the query that a wording answers
MOST_MEANINGS = 8
MEANING_HELD = 0.6
MEANINGS_A_TEXT = 12
MEANING_STEPS = 15
MOST_OF_A_LINE, MOST_OF_A_WORDING = 16, 8  # wordings, words: what the site numbers places by
MEANING_UNIT = 3  # what a word weighs among the wordings is kept as a whole number of thirds
# Misspelt words by letters: the least likeness, what another first letter costs, what a commoner word is ahead, how many are compared so
# and how many may stand for it.
LEAST_ALIKE = 0.7
OTHER_INITIAL = 0.6
COMMONER = 0.15
NEAREST = 6
MOST_NEAR = 3
# Names by sound: likeness from which typed words are taken for a remedy, learnt on benchmarks/data/pairs.tsv.
SOUNDS_LIKE_UNKNOWN = 0.7
SOUNDS_LIKE_KNOWN = 0.78
SOUNDS_LIKE_DENIED = 0.9  # where one of the words is "cannot", "dont" and the like
SOUND_MISSING = 0.045  # more for each sound that a name has less than SOUND_WHOLE: short ones are like many words
SOUND_WHOLE = 8
LEAST_BY_SOUND = 0.55
MOST_BY_SOUND = 0.95  # of words that are known: a label that is just these words is meant before
IMPLIED_SCHEMES = ("rubric/", "medical/", "idea/")
SCHEMES = frozenset({"remedy", "family", "rubric", "chapter", "canon", "idea", "medical"})
_SHORT = re.compile("[^aeiou][aeiouy][^aeiouwxy]|ach")
_CLOCK = re.compile(r"(?<=\d)\s*([ap])\.?\s?m\b\.?")  # "10 a.m." is said "ten in the morning"
# Repertory notation: what makes worse, what makes better.
_SIGNS = str.maketrans({"<": " worse ", ">": " better "})
# Shorthand of case notes that is told by its slash; small words are left out of a query anyway. Common practice.
_SLASHED = re.compile(r"(?<![a-z0-9])(?:[a-z]/[a-z](?![a-z0-9])|w/)")
SLASHED = {
    "b/c": "from", "b/l": "both", "c/o": "with", "d/t": "from", "f/u": "follow", "h/o": "history", "n/v": "nausea vomiting",
    "s/p": "after", "w/": "with", "w/o": "without",
}  # fmt: skip
_HYPHENED = re.compile(r"[a-z]+(?:-[a-z]+)+")
_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)?")


Weighted = tuple[str, float]


class Wording(msgspec.Struct, frozen=True):
    """Another way to say some typed words: their groups, its words (each of stems that may stand for it), weight 0 to 1."""

    groups: tuple[int, ...]
    words: tuple[tuple[str, ...], ...]
    weight: float


class Expansion(msgspec.Struct, frozen=True):
    """What a query is looked up as.

    ``groups`` holds for each typed word the stems that may stand for it, with weights 0 to 1, to be looked up in the
    text; ``concepts`` (id, weight) are looked up in the index of concepts, and ``support`` names for each the groups
    it was found by. ``synonyms`` are other words of the best concepts. ``corrected`` holds (typed, taken for) where a
    misspelling or mishearing was mended. ``meanings`` are lines of the table of meanings with score and groups.
    """

    groups: tuple[tuple[Weighted, ...], ...]
    concepts: tuple[Weighted, ...]
    support: tuple[tuple[int, ...], ...] = ()
    synonyms: tuple[Weighted, ...] = ()
    corrected: tuple[tuple[str, str], ...] = ()
    wordings: tuple[Wording, ...] = ()
    meanings: tuple[tuple[int, Match], ...] = ()

    @property
    def stems(self) -> tuple[Weighted, ...]:
        """Every stem with its greatest weight."""
        found: dict[str, float] = {}
        for one, weight in (*(item for group in self.groups for item in group), *self.synonyms):
            found[one] = max(found.get(one, 0.0), weight)
        return tuple(found.items())


def words_of(text: str) -> list[str]:
    """Lower-case words without accents, in order; apostrophes and hyphens dropped, hours and repertory signs in words.

    >>> words_of("Kali-bi., Müller's"), words_of("< 3 a.m.")
    (['kali', 'bi', 'mullers'], ['worse', '3', 'morning'])
    """
    if text.isascii():
        plain = text.lower()
    else:
        plain = unicodedata.normalize("NFKD", text.replace("’", "'")).casefold()
        plain = "".join(c for c in plain if not unicodedata.combining(c))
    plain = _CLOCK.sub(lambda hour: " morning" if hour[1] == "a" else " afternoon", plain.translate(_SIGNS))
    if "/" in plain:
        plain = _SLASHED.sub(lambda short: f" {SLASHED.get(short[0], short[0])} ", plain)
    return [match[0].replace("'", "")[:40] for match in _WORD.finditer(plain)]


# Everyday words whose forms no ending tells, with the form they are looked up by.
IRREGULAR = dict(pair.split(":") for pair in """
    aches:ache ate:eat eaten:eat began:begin begun:begin best:better bitten:bite bled:bleed bought:buy breathless:breath
    broke:break broken:break brought:bring caught:catch children:child chosen:choose died:die drank:drink drawn:draw
    drew:draw driven:drive drove:drive drunk:drink dying:die evening:eve evenings:eve fallen:fall
    fed:feed feet:foot fell:fall felt:feel flew:fly
    forgot:forget forgotten:forget fought:fight frozen:freeze gave:give given:give goes:go going:go gone:go grew:grow
    grown:grow heard:hear held:hold hid:hide hidden:hide kept:keep knew:know known:know lain:lie lay:lie laying:lie
    leapt:leap lied:lie lost:lose lying:lie made:make men:man met:meet mice:mouse oxen:ox paid:pay ran:run rang:ring
    risen:rise said:say sank:sink sat:sit seen:see sent:send shaken:shake shone:shine shook:shake shrank:shrink
    shrunk:shrink slept:sleep sold:sell sought:seek spat:spit spent:spend spoke:speak spoken:speak sprang:spring
    stole:steal stolen:steal stood:stand struck:strike stuck:stick stung:sting sung:sing sunken:sink swam:swim
    swept:sweep swollen:swell swore:swear sworn:swear swum:swim taken:take taught:teach teeth:tooth thought:think
    threw:throw thrown:throw tied:tie told:tell took:take tying:tie understood:understand went:go wept:weep woke:wake
    woken:wake women:woman wore:wear worn:wear worst:worse wrote:write written:write
    one:1 two:2 three:3 four:4 five:5 six:6 seven:7 eight:8 nine:9 ten:10 eleven:11 twelve:12 fifteen:15 twenty:20
    thirty:30 forty:40 fifty:50 sixty:60 seventy:70 eighty:80 ninety:90
    arent:not cannot:not cant:not couldnt:not didnt:not doesnt:not dont:not hadnt:not hasnt:not havent:not isnt:not
    mustnt:not neednt:not shouldnt:not wasnt:not werent:not wont:not wouldnt:not
    """.split())  # fmt: skip


@lru_cache(maxsize=200_000)
def stem(word: str) -> str:
    """A light English stem; Latin endings in -us and -is stay whole, irregular forms go to their base.

    >>> [stem(word) for word in ("weeping", "weeps", "worries", "rhus", "stitches", "stopped", "weakness")]
    ['weep', 'weep', 'worri', 'rhus', 'stitch', 'stop', 'weak']
    >>> [stem(word) for word in ("moving", "moved", "move", "feet", "slept")]
    ['move', 'move', 'move', 'foot', 'sleep']
    """
    word = IRREGULAR.get(word, word)
    if len(word) > 4:
        if word.endswith("ness") and not word.endswith("iness") and len(word) > 6:
            word = word[:-4]
        elif word.endswith("iness"):
            word = word[:-5] + "y"
        elif word.endswith("ies"):
            word = word[:-3] + "y"
        elif word.endswith(("sses", "shes", "ches", "xes")):
            word = word[:-2]
        elif word.endswith("s") and not word.endswith(("ss", "us", "is")):
            word = word[:-1]
    elif len(word) == 4 and word.endswith("s") and not word.endswith(("ss", "us", "is")):
        word = word[:-1]
    for ending in ("ing", "ed"):
        if word.endswith("eed"):  # bleed and need are no past forms
            break
        if word.endswith(ending) and len(word) - len(ending) >= 3 and re.search("[aeiouy]", word[: -len(ending)]):
            word = word[: -len(ending)]
            if len(word) > 3 and word[-1] == word[-2] and word[-1] not in "lsz":
                word = word[:-1]
            elif _SHORT.fullmatch(word):  # hated is of hate, not of hat, which would double its t
                word += "e"
            break
    if len(word) > 4 and word.endswith("e"):
        word = word[:-1]
    if len(word) > 2 and word.endswith("y"):
        word = word[:-1] + "i"
    return word


def stems_of(text: str) -> list[str]:
    """The stems of the words that carry meaning, in order."""
    return [stem(word) for word in words_of(text) if word not in STOP_WORDS]


def indexed_stems(text: str, lexicon: Lexicon) -> list[str]:
    """The stems a text is found by: its own, and two neighbours as one word where a label has them so.

    ``post natal`` is found by ``postnatal`` too.
    """
    words = [word for word in words_of(text) if word not in STOP_WORDS]
    joined = (stem(before + after) for before, after in zip(words, words[1:], strict=False))
    return [*(stem(word) for word in words), *(one for one in joined if one in lexicon.by_stem)]


def coarse(word: str) -> str:
    """A coarse spelling of a word's sound, for comparing misspellings.

    >>> coarse("lykopodeum") == coarse("lycopodium"), coarse("sulfer"), coarse("sulphur")
    (False, 'sulfer', 'sulfur')
    """
    for old, new in (("ph", "f"), ("ae", "e"), ("oe", "e"), ("ck", "k"), ("qu", "k"), ("x", "ks")):
        word = word.replace(old, new)
    word = re.sub("c(?=[eiy])", "s", word).replace("c", "k").replace("z", "s").replace("y", "i").replace("w", "v")
    word = word[:1] + word[1:].replace("h", "")
    return re.sub(r"(.)\1+", r"\1", word)


SOUND_SPELLINGS = (
    ("tch", "k"), ("dge", "k"), ("ght", "t"), ("gh", ""), ("ph", "f"), ("sch", "sk"), ("ch", "k"), ("ck", "k"), ("sh", "s"),
    ("th", "t"), ("x", "ks"), ("qu", "kv"),
)  # fmt: skip
_VOICELESS = str.maketrans("gjbdvwzcq", "kkptffskk")


def sound_code(words: Sequence[str]) -> str:
    """The words run together as a hearer might confuse them: voice, vowels and silent letters left out.

    >>> sound_code(["nux", "vomica"]), sound_code(["knocks", "vomica"])
    ('naksfamak', 'naksfamak')
    """
    parts = []
    for word in words:
        word = re.sub("^(?:ps|pn|kn|wr|gn)", lambda match: match[0][1], word)
        word = re.sub("mb$", "m", re.sub("^x", "s", word))
        for old, new in SOUND_SPELLINGS:
            word = word.replace(old, new)
        word = re.sub("sc(?=[eiy])", "s", word)
        parts.append(re.sub("c(?=[eiy])", "s", word).translate(_VOICELESS))
    joined = re.sub("[aeiouy]+", "a", "".join(parts).replace("h", ""))
    joined = re.sub(r"(.)\1+", r"\1", joined)
    return joined[:-1] if len(joined) > 2 and joined.endswith("a") else joined


_ENDINGS = sorted(
    """ational isation ization fulness ousness iveness ation ition ement ment enc anc abl ibl abiliti ibiliti ical itis ion iti iv
    ous ful ism ist ic al er or ant ent li i""".split(),
    key=lambda ending: -len(ending),
)  # fmt: skip


@lru_cache(maxsize=200_000)
def root(one: str) -> str:
    """The root a stem shares with its family: endings that make one kind of word from another are taken off.

    >>> root(stem("appendix")) == root(stem("appendicitis")), root(stem("consolation")) == root(stem("consoled"))
    (True, True)
    """
    bare = one[:-1] + "c" if one.endswith("x") else one
    for _ in range(2):
        for ending in _ENDINGS:
            if bare.endswith(ending) and len(bare) - len(ending) >= 4:
                bare = bare[: -len(ending)]
                break
    # Four letters tell little of a long word: "mental" and "mention" are no family.
    return bare if len(bare) >= 5 or len(bare) >= ROOT_SHARE * len(one) else one


@lru_cache(maxsize=1)
def everyday() -> dict[str, tuple[Weighted, ...]]:
    """Stems of everyday words with those that may stand for them, weights 0 to 1; see the file for its source."""
    text = resources.files("notesmith.vocabulary").joinpath("data/everyday.tsv").read_text("utf-8")
    found = {}
    for line in text.splitlines():
        if not line.startswith("#"):
            one, _, others = line.partition("\t")
            found[one] = tuple((item[:-2], int(item[-1]) / 10) for item in others.split(" "))
    return found


@lru_cache(maxsize=1)
def lay() -> tuple[dict[str, tuple[Weighted, ...]], dict[tuple[str, ...], tuple[str, ...]]]:
    """Stems that may stand for each other; phrases of two words or more, in stems, with those that may stand for them.

    Words that carry no meaning alone (``up`` in ``throws up``) count within a phrase. Of what a word leads to the first is nearest.
    """
    text = resources.files("notesmith.vocabulary").joinpath("data/lay.tsv").read_text("utf-8")
    same: dict[str, dict[str, float]] = {}
    phrases: dict[tuple[str, ...], tuple[str, ...]] = {}
    for line in text.splitlines():
        if line.startswith("#"):
            continue
        kind, given, *meant = line.split("\t")
        left = tuple(stem(word) for word in words_of(given))
        right = tuple(stem(word) for word in words_of(meant[0])) if kind == "to" else left
        if kind == "to" and len(left) > 1:
            phrases[left] = right
        else:
            later = LAY_LATER if kind == "to" else 0.0
            for one in left:
                held = same.setdefault(one, {})
                for at, other in enumerate(other for other in right if other != one):
                    held[other] = round(max(held.get(other, 0.0), LAY_LEAST, LAY_WEIGHT - later * at), 2)
    return {one: tuple(others.items()) for one, others in same.items()}, phrases


Choices = tuple[tuple[str, ...], ...]  # the words of a wording, each of stems that may stand for it


@lru_cache(maxsize=1)
def learned() -> dict[str, dict[tuple[str, ...], tuple[Choices, ...]]]:
    """By the first stem: the stems of learned terms, longer ones first, with their plain wordings."""
    folder = resources.files("notesmith.vocabulary").joinpath("data")
    text = "\n".join(folder.joinpath(name).read_text("utf-8").strip() for name in ("learned.tsv", "sayings.tsv"))
    found: dict[str, dict[tuple[str, ...], tuple[Choices, ...]]] = {}
    for line in sorted(text.splitlines(), key=lambda line: -len(words_of(line.partition("\t")[0]))):
        if not line.startswith("#"):
            term, _, plain = line.partition("\t")
            stems = tuple(stem(word) for word in words_of(term))
            found.setdefault(stems[0], {})[stems] = tuple(wording_of(said) for said in plain.split(" | "))
    return found


def learned_in(said: Sequence[str], kept: Sequence[str], in_texts: Collection[str]) -> list[Wording]:
    """The plain wordings of the learned terms among words; places are those among the kept words."""
    typed, places = [stem(word) for word in said], kept_places(said, kept)
    found, at = [], 0
    while at < len(typed):
        terms = learned().get(typed[at], {})
        term = next((stems for stems in terms if tuple(typed[at : at + len(stems)]) == stems), ())
        groups = tuple(place for place in places[at : at + len(term)] if place >= 0)
        for wording in terms.get(term, ()):
            held = tuple(tuple(one for one in choices if one in in_texts) for choices in wording)
            found.append(Wording(groups, held, LEARNED_WEIGHT))
        at += len(term) or 1
    return found


Match = tuple[float, tuple[int, ...]]  # score, the groups that hold it


class Holds(NamedTuple):
    """A word of a wording that a stem is, or may stand for: line, wording and word, its weight and the whole wording's."""

    line: int
    wording: int
    word: int
    weight: int
    total: int


class Meanings(msgspec.Struct, frozen=True):
    """The table of meanings: each line's wordings; where a stem stands in them, and what it weighs among them."""

    lines: tuple[tuple[Choices, ...], ...]
    by_stem: dict[str, tuple[Holds, ...]]
    weight: dict[str, int]


@lru_cache(maxsize=1)
def meanings() -> Meanings:
    """Wordings of one meaning each; rare words weigh more (inverse document frequency over the wordings)."""
    text = resources.files("notesmith.vocabulary").joinpath("data/meanings.tsv").read_text("utf-8")
    lines = tuple(
        tuple(wording_of(said) for said in line.split(" | ")) for line in text.splitlines() if not line.startswith("#")
    )
    every = [wording for line in lines for wording in line]
    times = Counter(one for wording in every for one in {one for choices in wording for one in choices})

    def weight(choices: Iterable[str]) -> int:
        return round(MEANING_UNIT * math.log(1 + len(every) / sum(times[one] for one in choices)))

    held: dict[str, list[Holds]] = {}
    for number, line in enumerate(lines):
        for at, wording in enumerate(line):
            weights = [weight(choices) for choices in wording]
            for word, choices in enumerate(wording):
                for one in choices:
                    held.setdefault(one, []).append(Holds(number, at, word, weights[word], sum(weights)))
    return Meanings(lines, {one: tuple(found) for one, found in held.items()}, {one: weight([one]) for one in times})


@lru_cache(maxsize=1)
def _bounds() -> tuple[list[list[int]], NDArray[np.int64], NDArray[np.int64]]:
    """All words of wordings numbered through: the first of each line's wordings; the wording of each; of each wording its line."""
    lines = meanings().lines
    sizes = [len(wording) for line in lines for wording in line]
    starts = iter(np.cumsum([0, *sizes]).tolist())
    first = [[next(starts) for _ in line] for line in lines]
    return (
        first,
        np.repeat(np.arange(len(sizes)), sizes),
        np.repeat(np.arange(len(lines)), [len(line) for line in lines]),
    )


def wording_of(said: str) -> Choices:
    """The words of a wording as written in a table, each of stems that may stand for it (``liquids/drinks stuck``)."""
    words = (tuple(dict.fromkeys(stems_of(choices))) for choices in said.split())
    return tuple(choices for choices in words if choices)


def meant_by(groups: Sequence[Sequence[Weighted]]) -> list[tuple[int, Match]]:
    """The meanings of which the groups of stems hold a wording, or most of one, best first: line, score and groups."""
    table = meanings()
    # By wording, of each word the most of it and its group.
    held: dict[tuple[int, int, int], dict[int, tuple[float, int]]] = {}
    asked = 0.0
    for at, group in enumerate(groups):
        asked += max((table.weight.get(one, 0) * weight for one, weight in group), default=0.0)
        for one, weight in group:
            for line, wording, word, worth, total in table.by_stem.get(one, ()):
                mine = held.setdefault((line, wording, total), {})
                if weight * worth > mine.get(word, (0.0, 0))[0]:
                    mine[word] = (weight * worth, at)
    best: dict[int, Match] = {}
    for (line, _, total), mine in held.items():
        holds = sum(value for value, _ in mine.values())
        if holds < MEANING_TYPED * total:
            continue
        score = holds / total * min(1.0, holds / asked) ** MEANING_SHARE
        if score > best.get(line, (MEANING_SCORE, ()))[0]:
            best[line] = (score, tuple(sorted({at for _, at in mine.values()})))
    return sorted(best.items(), key=lambda item: (-item[1][0], item[0]))[:MOST_MEANINGS]


@lru_cache(maxsize=1)
def word_parts() -> tuple[dict[str, tuple[str, ...]], dict[str, tuple[str, ...]]]:
    """Parts that begin or stand within a learned word, and those that end one, with the stems of their plain words."""
    text = resources.files("notesmith.vocabulary").joinpath("data/word-parts.tsv").read_text("utf-8")
    first: dict[str, tuple[str, ...]] = {}
    last: dict[str, tuple[str, ...]] = {}
    for line in text.splitlines():
        if not line.startswith("#"):
            where, part, plain = line.split("\t")
            (first if where == "first" else last)[part] = tuple(stem(word) for word in words_of(plain))
    return first, last


@lru_cache(maxsize=10_000)
def made_of(word: str) -> Choices:
    """The plain words for the parts a learned word is made of, () where it is not wholly of parts.

    >>> made_of("gastralgia")
    (('stomach',), ('pain', 'ache'))
    """
    first, last = word_parts()

    def rest(at: int, parts: int) -> Choices | None:
        if parts and word[at:] in last:
            return (last[word[at:]],)
        for end in range(len(word) - 2, at + 1, -1):
            if word[at:end] in first:
                for link in (0, 1):
                    if (not link or word[end] in "oaiey") and (more := rest(end + link, parts + 1)) is not None:
                        return (first[word[at:end]], *more)
        return None

    return (rest(0, 0) or ()) if len(word) > 5 else ()


def allowed_distance(length: int) -> int:
    """How many letters may differ in a word of so many letters; a doubled one does not count."""
    return 0 if length < 4 else 1 if length < 6 else 2 if length < 10 else 3


class Label(msgspec.Struct, frozen=True):
    """A label as looked up: its stems, without repeats, the concept and its own weight."""

    concept_id: str
    stems: tuple[str, ...]
    weight: float
    joined: str = ""  # coarse spelling without blanks, remedies only
    sound: str = ""  # the same by sound


class Lexicon:
    """The labels of the concepts that a course can lead to, ready for look-ups."""

    def __init__(self, vocabulary: Vocabulary, present: Collection[str] | None = None,
                 heard: Iterable[tuple[str, str]] = ()) -> None:  # fmt: skip
        """``present``: the concepts to lead to (all by default); ``heard``: (mishearing, concept id) of the course."""
        self.labels = tuple(_labels(vocabulary, present, heard))
        self.by_stem: dict[str, list[int]] = {}
        for number, label in enumerate(self.labels):
            for one in label.stems:
                self.by_stem.setdefault(one, []).append(number)
        total = max(1, len(self.labels))
        self.weight = {one: math.log(1 + total / len(held)) for one, held in self.by_stem.items()}
        self.totals = [sum(self.weight[one] for one in label.stems) for label in self.labels]
        self.words = tuple(sorted(self.by_stem))
        self._vocabulary = vocabulary
        names = {(label.joined, label.sound, label.concept_id): None for label in self.labels
                 if len(label.joined) >= 5 and len(label.sound) >= 4}  # fmt: skip
        # By the first sound, which is the last to be misheard.
        self.names: dict[str, tuple[list[tuple[str, str]], list[str]]] = {}
        for name, code, concept_id in names:
            held_names, codes = self.names.setdefault(code[0], ([], []))
            held_names.append((name, concept_id))
            codes.append(code)

    @cached_property
    def numbers(self) -> dict[str, NDArray[np.int64]]:
        """The labels of each stem, for reckoning with many at once."""
        return {one: np.array(held, dtype=np.int64) for one, held in self.by_stem.items()}

    @cached_property
    def total_weights(self) -> NDArray[np.float64]:
        return np.array(self.totals, dtype=np.float64)

    @cached_property
    def _by_rarest(self) -> dict[str, list[tuple[str, tuple[str, ...], float, str]]]:
        """Labels of two stems or more under the rarest of them: the next rarest, all, their weight, the concept."""
        index: dict[str, list[tuple[str, tuple[str, ...], float, str]]] = {}
        for label, total in zip(self.labels, self.totals, strict=True):
            if len(label.stems) > 1 and label.concept_id.startswith(IMPLIED_SCHEMES):
                first, second, *_ = sorted(label.stems, key=lambda one: (self.weight[one], one), reverse=True)
                index.setdefault(first, []).append((second, label.stems, total, label.concept_id))
        return index

    def implied(self, stems: Collection[str], most: int = 8) -> tuple[str, ...]:
        """Concepts of which a text holds every word of a label, fullest labels first; a guess, weaker than an index."""
        held = frozenset(stems)
        found: dict[str, float] = {}
        for one in held:
            for second, every, total, concept_id in self._by_rarest.get(one, ()):
                if second in held and held.issuperset(every):
                    found[concept_id] = max(found.get(concept_id, 0.0), total)
        return tuple(sorted(found, key=lambda c: (-found[c], c))[:most])

    @cached_property
    def by_concept(self) -> dict[str, list[int]]:
        """The labels of each concept, by number."""
        index: dict[str, list[int]] = {}
        for number, label in enumerate(self.labels):
            index.setdefault(label.concept_id, []).append(number)
        return index

    def synonyms(self, concept_id: str) -> tuple[str, ...]:
        """The most telling stems of a concept's labels; none for names of remedies, which stand for themselves."""
        if not concept_id.startswith(IMPLIED_SCHEMES):
            return ()
        numbers = self.by_concept.get(concept_id, ())
        stems = {one for number in numbers for one in self.labels[number].stems}
        rarest = sorted(stems, key=lambda one: (-self.weight[one], one))
        preferred = self.labels[numbers[0]].stems if numbers else ()
        return tuple(dict.fromkeys((*preferred[:SYNONYM_STEMS], *rarest)))[:SYNONYM_STEMS]

    @cached_property
    def by_label(self) -> dict[tuple[str, ...], list[str]]:
        """Concepts by the stems of a label."""
        index: dict[tuple[str, ...], list[str]] = {}
        for label in self.labels:
            if label.concept_id.startswith(IMPLIED_SCHEMES):
                index.setdefault(tuple(sorted(label.stems)), []).append(label.concept_id)
        return index

    def wordings(self, concept_id: str) -> tuple[tuple[str, ...], ...]:
        """The ways a concept is said, those of concepts that share a label with it included."""
        if not concept_id.startswith(IMPLIED_SCHEMES):
            return ()
        same = {concept_id: None}
        for number in self.by_concept.get(concept_id, ()):
            same |= dict.fromkeys(self.by_label[tuple(sorted(self.labels[number].stems))])
        found = dict.fromkeys(self.labels[n].stems for c in same for n in self.by_concept[c])
        return tuple(found)[:MOST_WORDINGS]

    @cached_property
    def substitutes(self) -> dict[str, dict[str, float]]:
        """Words in which labels of one concept differ and nothing else, where several concepts agree."""
        together: dict[tuple[str, str], int] = {}
        for numbers in self.by_concept.values():
            rest: dict[tuple[str, ...], set[str]] = {}
            for number in numbers:
                if self.labels[number].concept_id.startswith(IMPLIED_SCHEMES):
                    held = sorted(self.labels[number].stems)
                    for at, one in enumerate(held):
                        rest.setdefault((*held[:at], *held[at + 1 :]), set()).add(one)
            pairs = {(a, b) for group in rest.values() if len(group) > 1 for a in group for b in group if a < b}
            for pair in pairs:
                together[pair] = together.get(pair, 0) + 1
        found: dict[str, dict[str, float]] = {}
        for (a, b), times in together.items():
            strength = times / math.sqrt(len(self.by_stem[a]) * len(self.by_stem[b]))
            if strength >= SUBSTITUTE_FROM and (times > 1 or strength > 0.3):
                weight = min(0.85, 0.4 + strength)
                found.setdefault(a, {})[b] = weight
                found.setdefault(b, {})[a] = weight
        return found

    @cached_property
    def families(self) -> dict[str, tuple[str, ...]]:
        """Stems by their root, where there are several."""
        found: dict[str, set[str]] = {}
        for one in (*self.words, *everyday()):
            if len(one) >= 4:
                found.setdefault(root(one), set()).add(one)
        return {shared: tuple(sorted(held)) for shared, held in found.items() if len(held) > 1}

    def relatives(self, one: str) -> tuple[Weighted, ...]:
        """Stems that may stand for a stem, with weights below 1, best first; not all of them are in the texts."""
        if one in UNLIKE_ANY:
            return ()
        if (known := self._relatives.get(one)) is None:
            known = self._made_relatives(one)
            if len(self._relatives) < MOST_KEPT:  # what is typed at a desk has no end
                self._relatives[one] = known
        return known

    @cached_property
    def _relatives(self) -> dict[str, tuple[Weighted, ...]]:
        return {}

    def _made_relatives(self, one: str) -> tuple[Weighted, ...]:
        found: dict[str, float] = {}
        for other, weight in self._direct(one):
            found[other] = max(found.get(other, 0.0), weight)
        for other in self.families.get(root(one), ()):
            found[other] = max(found.get(other, 0.0), ROOT_WEIGHT)
        for near, weight in tuple(found.items()):
            for other in self.families.get(root(near), ()):
                found[other] = max(found.get(other, 0.0), ROOT_WEIGHT * weight)
        found.pop(one, None)
        return tuple(sorted(found.items(), key=lambda item: (-item[1], item[0])))

    def _direct(self, one: str) -> Iterator[Weighted]:
        """Stems that may stand for a stem by themselves, not by their family."""
        yield from self.substitutes.get(one, {}).items()
        yield from everyday().get(one, ())
        yield from ((other, SPELT_WEIGHT) for other in self._spelt_alike.get(one, ()))
        yield from lay()[0].get(one, ())

    @cached_property
    def _spelt_alike(self) -> dict[str, tuple[str, ...]]:
        """Stems of the labels that are spelt in several ways (``diarhea``, ``diarrhoea``), with the other ways."""
        found: dict[str, list[str]] = {}
        for one in self.words:
            if one.isalnum() and len(folded := coarse(one)) >= SPELT_FROM:
                found.setdefault(folded, []).append(one)
        return {one: tuple(held) for held in found.values() if len(held) > 1 for one in held}

    def related_to(self, stems: Collection[str], among: Iterable[str]) -> set[str]:
        """Those among some stems that may have one of ``stems`` among their relatives; some have not."""
        roots = {root(one) for one in stems}
        leading = {one for shared in roots for one in self._leading.get(shared, ())}
        return {one for one in among if one in leading or root(one) in roots}

    @cached_property
    def _leading(self) -> dict[str, list[str]]:
        """Stems for which others may stand by themselves, by the roots of those others."""
        found: dict[str, list[str]] = {}
        for one in {*self.substitutes, *everyday(), *lay()[0], *learned(), *self._spelt_alike}:
            said = (wording for plain in learned().get(one, {}).values() for wording in plain)
            plain = {other for wording in said for choices in wording for other in choices}
            for shared in {root(other) for other in (*plain, *(other for other, _ in self._direct(one)))}:
                found.setdefault(shared, []).append(one)
        return found

    def meanings(self, stems: Collection[str]) -> dict[int, int]:
        """The lines of the table of meanings of which a text holds a wording or most of one, and how much, in steps."""
        held = [known for one in frozenset(stems) if len((known := self._places(one))[0])]
        if not held:
            return {}
        _, wording_at, line_at = _bounds()
        places, values = np.concatenate([one for one, _ in held]), np.concatenate([one for _, one in held])
        shares = np.zeros(len(wording_at), dtype=np.float32)
        np.maximum.at(shares, places, values)
        # Each place once, without sorting: the last of those that are the same.
        number = np.arange(len(places))
        last = np.empty(len(wording_at), dtype=np.int64)
        last[places] = number
        once = places[last[places] == number]
        sums = np.bincount(wording_at[once], weights=shares[once], minlength=len(line_at))
        steps = np.minimum(MEANING_STEPS, np.rint(sums * MEANING_STEPS)).astype(np.int64)
        found: dict[int, int] = {}
        for wording in np.flatnonzero(sums >= MEANING_HELD):
            line = int(line_at[wording])
            found[line] = max(found.get(line, 0), int(steps[wording]))
        return dict(sorted(found.items(), key=lambda item: (-item[1], item[0]))[:MEANINGS_A_TEXT])

    def _places(self, one: str) -> tuple[NDArray[np.int64], NDArray[np.float32]]:
        """The words of wordings, numbered through, that a stem or one of its relatives is, with the share of the wording."""
        if one not in self._known_places:
            first, _, _ = _bounds()
            found: dict[int, float] = {}
            for other, weight in ((one, 1.0), *islice(self.relatives(one), RELATIVES)):
                for line, wording, word, worth, total in meanings().by_stem.get(other, ()):
                    at = first[line][wording] + word
                    found[at] = max(found.get(at, 0.0), weight * worth / total)
            self._known_places[one] = np.array(list(found), np.int64), np.array(list(found.values()), np.float32)
        return self._known_places[one]

    @cached_property
    def _known_places(self) -> dict[str, tuple[NDArray[np.int64], NDArray[np.float32]]]:
        return {}

    def spellings(self, present: Collection[str] | None = None) -> frozenset[str]:
        """The words of the labels of concepts (all by default) as written, and words whose forms no ending tells."""
        spelt = (words for c, words in self._spelt_of.items() if present is None or c in present)
        return frozenset((*chain.from_iterable(spelt), *IRREGULAR, *lay()[0]))

    @cached_property
    def _spelt_of(self) -> dict[str, tuple[str, ...]]:
        """The words of each concept's labels."""
        return {
            c.id: tuple(word for label in (c.pref_label, *c.alt_labels) for word in words_of(label))
            for c in self._vocabulary.concepts.values() if c.scheme in SCHEMES
        }  # fmt: skip

    @cached_property
    def spelt(self) -> tuple[tuple[str, ...], list[str]]:
        """The words that a misspelling may stand for, and their coarse spellings."""
        held = {*self.spellings(), *self.by_stem, *everyday()}
        words = tuple(sorted(one for one in held if 3 <= len(one) <= 24 and one.isalnum()))
        return words, [coarse(word) for word in words]

    def near(
        self, word: str, leads: Callable[[str], bool] = bool, counts: Mapping[str, int] | None = None
    ) -> list[tuple[str, float, float]]:
        """Stems that a word nobody uses may be misspelt from, best first: stem, weight, likeness of the letters.

        ``leads`` tells whether a stem leads anywhere; of two as like the one with the greater count is meant.
        """
        limit = allowed_distance(len(word))
        target = coarse(word)
        words, folded = self.spelt
        found = []
        for _, distance, at in process.extract(target, folded, scorer=OSA.distance, score_cutoff=limit, limit=None):
            letters = OSA.distance(word, words[at])
            likeness = 1 - distance / max(len(target), len(folded[at]))
            # Two letters changed about can make the folded forms less alike than the words themselves.
            alike = max(likeness, 1 - letters / max(len(word), len(words[at])))
            if alike >= LEAST_ALIKE and letters <= limit + 2:
                cost = min(distance, letters) + 0.3 * letters + (OTHER_INITIAL if target[:1] != folded[at][:1] else 0.0)
                found.append((cost, stem(words[at]), likeness))
        best: dict[str, tuple[float, float]] = {}
        for cost, one, likeness in sorted(found):
            if len(best) == NEAREST:
                break
            if one not in best and leads(one):
                best[one] = cost, likeness
        numbers = counts or {one: len(self.by_stem.get(one, ())) for one in best}
        ranked = sorted(best, key=lambda one: (best[one][0] - COMMONER * math.log(1 + numbers[one]), one))
        return [(one, 0.95 / (1 + 0.2 * best[one][0]), best[one][1]) for one in ranked[:MOST_NEAR]]

    def parts(self, word: str, used: Collection[str] | None = None) -> tuple[str, str] | None:
        """Two words in use that a word nobody uses is made of (``headcold``), the longest first one preferred."""
        words, _ = self.spelt
        for at in range(len(word) - 3, 2, -1):
            both = word[:at], word[at:]
            if STOP_WORDS.isdisjoint(both) and all(
                (stem(one) in used) if used is not None else one in words for one in both
            ):
                return both
        return None

    def sounds_like(self, words: Sequence[str], known: Collection[str] | None = None) -> tuple[str, float] | None:
        """The remedy whose name is nearest to words run together (``lico podium``), by letters and by sound alike.

        ``known`` holds the ids of the remedies that may be meant.
        """
        joined, sound = coarse("".join(words)), sound_code(words)
        if len(joined) < 5 or len(sound) < 4:
            return None
        best: tuple[float, str] | None = None
        names, codes = self.names.get(sound[0], ([], []))
        for _, by_sound, at in process.extract(
            sound, codes, scorer=OSA.normalized_similarity, score_cutoff=LEAST_BY_SOUND, limit=None
        ):
            name, concept_id = names[at]
            likeness = (by_sound + OSA.normalized_similarity(joined, name)) / 2
            if likeness >= SOUNDS_LIKE_UNKNOWN and (best is None or likeness > best[0]):
                if known is None or concept_id in known:
                    best = likeness, concept_id
        return (best[1], best[0]) if best else None


def match_labels(
    lexicon: Lexicon, groups: Sequence[Sequence[Weighted]], present: Collection[str] | None = None
) -> dict[str, Match]:
    """The ``MOST_CONCEPTS`` present concepts whose labels the groups of stems hold best, best first."""
    held: dict[str, tuple[float, int]] = {}  # the greatest weight of each stem, and its group
    asked = 0.0
    for at, group in enumerate(groups):
        known = [(one, weight) for one, weight in group if one in lexicon.by_stem]
        asked += max((lexicon.weight[one] * weight for one, weight in known), default=0.0)
        for one, weight in known:
            if weight > held.get(one, (0.0, 0))[0]:
                held[one] = (weight, at)
    if not held:
        return {}
    # Common words stand in thousands of labels: which are held enough is reckoned at once.
    numbers = [lexicon.numbers[one] for one in held]
    sums = np.bincount(
        np.concatenate(numbers),
        weights=np.repeat(
            [lexicon.weight[one] * weight for one, (weight, _) in held.items()], [len(n) for n in numbers]
        ),
        minlength=len(lexicon.labels),
    )
    best: dict[str, Match] = {}
    for number in np.flatnonzero(sums >= LEAST_COVERAGE * lexicon.total_weights).tolist():
        label = lexicon.labels[number]
        weight = float(sums[number])
        coverage = weight / lexicon.totals[number]
        share = REMEDY_SHARE if label.concept_id.startswith("remedy/") else QUERY_SHARE
        score = label.weight * coverage * coverage * min(1.0, weight / asked) ** share
        if score > best.get(label.concept_id, (LEAST_SCORE, ()))[0]:
            best[label.concept_id] = (score, tuple(sorted({held[one][1] for one in label.stems if one in held})))
    ranked = sorted(best.items(), key=lambda item: (-item[1][0], item[0]))
    return dict(islice((item for item in ranked if present is None or item[0] in present), MOST_CONCEPTS))


def _labels(
    vocabulary: Vocabulary, present: Collection[str] | None, heard: Iterable[tuple[str, str]]
) -> Iterable[Label]:
    kept = None if present is None else frozenset(present)
    for concept in vocabulary.concepts.values():
        if concept.scheme not in SCHEMES or (kept is not None and concept.id not in kept):
            continue
        remedy = concept.scheme == "remedy"
        # A family and its one well-known member often share a name; the member is meant.
        own = 0.9 if concept.scheme in ("family", "chapter") else 1.0
        seen: set[tuple[str, ...]] = set()
        short = concept.fact("abbreviation")
        # What is left of "Chin-a." without its small word is another remedy's: it is asked as one word only.
        whole = [one for one in short if len(words_of(one)) < 2 or len(stems_of(one)) > 1]
        for labels, weight in (
            ((concept.pref_label, *concept.alt_labels, *whole, *concept.fact("common")), 1.0),
            (concept.hidden_labels, 0.9),
            (concept.ambiguous_labels, 0.8),
        ):
            for label in labels:
                if (made := make_label(concept.id, label, weight * own, remedy)) and made.stems not in seen:
                    seen.add(made.stems)
                    yield made
        for one in short:
            parts = words_of(one)
            joined = run_together("".join(parts))
            if len(parts) > 1 and (joined,) not in seen:
                seen.add((joined,))
                yield Label(concept.id, (joined,), own)
    for said, concept_id in heard:
        if (kept is None or concept_id in kept) and (made := make_label(concept_id, said, 0.8, True)):
            yield made


def run_together(word: str) -> str:
    """How a word is looked up that may be an abbreviation of several parts written as one: unlike any stem.

    >>> run_together("natm")
    '=natm'
    """
    return f"={word}"


def make_label(concept_id: str, label: str, weight: float, remedy: bool) -> Label | None:
    """A label ready for look-ups, None where no word of it carries meaning."""
    stems = tuple(dict.fromkeys(stems_of(label)))
    # "Cannot get it up" leaves a "not", which is said of anything.
    if not stems or (not remedy and UNLIKE_ANY.issuperset(stems)):
        return None
    if not remedy:
        return Label(concept_id, stems, weight)
    words = words_of(label)
    return Label(concept_id, stems, weight, coarse("".join(words)), sound_code(words))


class Everything(Collection[str]):
    """Holds whatever is asked for: nothing is known of the texts."""

    def __contains__(self, _: object) -> bool:
        return True

    def __iter__(self) -> Iterator[str]:
        return iter(())

    def __len__(self) -> int:
        return 0


def expand(
    query: str, lexicon: Lexicon, used: Mapping[str, int] | None = None, present: Collection[str] | None = None
) -> Expansion:
    """Look a query up. ``used``: the stems of the texts with how often they stand there; ``present``: the concepts
    they lead to; all by default."""
    in_texts: Collection[str] = Everything() if used is None else used

    def known(one: str) -> bool:
        return (
            one in lexicon.by_stem or one in everyday() or one in lay()[0] or one in learned()
            or (used is not None and one in used)
        )  # fmt: skip

    def leads(one: str) -> bool:
        if (used is not None and one in used) or any(other in in_texts for other, _ in lexicon.relatives(one)):
            return True
        return any(present is None or lexicon.labels[n].concept_id in present for n in lexicon.by_stem.get(one, ()))

    # "am-s" and "chin-a" are told from the small words in them by the hyphen.
    query, hyphened = query.lower(), hyphened_in(query.lower(), lexicon)
    for given, joined in hyphened.items():
        query = query.replace(given, joined)
    said: list[str] = []
    for word in words_of(query)[:MOST_WORDS]:
        said += (
            (word,)
            if len(word) < 3 or word in STOP_WORDS or known(stem(word))
            else lexicon.parts(word, used) or (word,)
        )
    words = [word for word in said if word not in STOP_WORDS] or said
    typed = [stem(word) for word in words]
    unknown = {at for at, word in enumerate(words) if len(word) > 2 and not known(typed[at]) and not made_of(word)}
    groups: list[dict[str, float]] = [{one: 1.0} for one in typed]
    for at, word in enumerate(words):
        # A plural "s" may be the last part of an abbreviation ("mags").
        may_be = (at in unknown or word.endswith("s")) and len(word) <= SHORT and run_together(word) in lexicon.by_stem
        if may_be or word in hyphened.values():
            groups[at][run_together(word)] = 1.0
            unknown.discard(at)
    # "thunder storm" is also asked as one word where one word is used.
    for at, (before, after) in enumerate(zip(words, words[1:], strict=False)):
        one = stem(before + after)
        if one in lexicon.by_stem or (used is not None and one in used):
            groups[at].setdefault(one, 1.0)
            groups[at + 1].setdefault(one, 1.0)
    for at, one, weight in _related(typed, lexicon, used, in_texts):
        groups[at].setdefault(one, weight)
    for at, one in phrases_in(said, words):
        groups[at].setdefault(one, LAY_WEIGHT)
    corrected: list[tuple[str, str]] = []
    concepts: dict[str, Match] = {}
    spelt = {at: lexicon.near(words[at], leads, used) for at in unknown}
    named = [
        (window, concept_id, likeness) for window, concept_id, likeness in _names_by_sound(said, words, unknown, lexicon, present)
        # An ordinary word that is nearer than the name is what was meant.
        if likeness >= max((spelt[at][0][2] for at in window if spelt.get(at)), default=0.0)
    ]  # fmt: skip
    for window, concept_id, likeness in named:
        concepts[concept_id] = (likeness, window)
        corrected.append((" ".join(words[at] for at in window), concept_id))
    heard = {at for window, _, _ in named for at in window}
    for at in sorted(unknown - heard):
        for rank, (one, weight, _) in enumerate(spelt[at]):
            groups[at].setdefault(one, weight if not rank else weight * 0.6)
            if not rank:
                for other, part in islice(
                    _in_texts(lexicon.relatives(one), in_texts), max(2, RELATIVES_IN_ALL // len(words))
                ):
                    groups[at].setdefault(other, part * weight)
                corrected.append((words[at], one))
    rows = [tuple(group.items()) for group in groups]
    for concept_id, match in match_labels(lexicon, rows, present).items():
        if match[0] > concepts.get(concept_id, (0.0, ()))[0]:
            concepts[concept_id] = match
    best = sorted(concepts.items(), key=lambda item: (-item[1][0], item[0]))[:MOST_CONCEPTS]
    synonyms: dict[str, float] = {}
    for concept_id, (score, _) in best[:SYNONYM_CONCEPTS]:
        if score >= SYNONYMS_FROM_SCORE:
            for one in lexicon.synonyms(concept_id):
                synonyms[one] = max(synonyms.get(one, 0.0), SYNONYM_WEIGHT * score)
    wordings = learned_in(said, words, in_texts)
    for concept_id, (score, support) in best[:WORDING_CONCEPTS]:
        if score >= SYNONYMS_FROM_SCORE:
            same = (tuple((one,) for one in stems) for stems in lexicon.wordings(concept_id))
            wordings += (Wording(support, stems, WORDING_WEIGHT * score) for stems in same)
    for at, word in enumerate(words):
        if typed[at] not in in_texts and typed[at] not in learned() and (made := made_of(word)):
            wordings.append(Wording((at,), made, PARTS_WEIGHT))
    asked = {one for group in groups for one in group}
    return Expansion(
        tuple(rows), tuple((concept_id, score) for concept_id, (score, _) in best),
        tuple(support for _, (_, support) in best),
        tuple(item for item in synonyms.items() if item[0] not in asked), tuple(corrected), tuple(bounded(wordings)),
        tuple(meant_by(rows)),
    )  # fmt: skip


def _in_texts(related: Iterable[Weighted], in_texts: Collection[str]) -> Iterator[Weighted]:
    return islice((item for item in related if item[0] in in_texts), RELATIVES)


def _related(
    typed: Sequence[str], lexicon: Lexicon, used: Mapping[str, int] | None, in_texts: Collection[str]
) -> list[tuple[int, str, float]]:
    """The words that may stand for the typed ones, most for those that few texts hold: place, stem and weight."""
    found = []
    for at, one in enumerate(typed):
        often = used[one] if used is not None and one in used else 0
        needed = 1 / (1 + COMMON_NEEDS_LESS * math.log1p(often))
        for rank, (other, weight) in enumerate(_in_texts(lexicon.relatives(one), in_texts)):
            found.append((-weight * needed * LATER_RELATIVE**rank, at, other, weight))
    found.sort(key=lambda item: item[:2])
    return [(at, other, weight) for _, at, other, weight in found[:RELATIVES_IN_ALL]]


def bounded(wordings: Iterable[Wording]) -> Iterator[Wording]:
    """The first wordings, until more than ``WORDING_STEMS`` stems would have to be looked up."""
    stems: set[str] = set()
    for wording in wordings:
        more = stems.union(*wording.words)
        if len(more) <= WORDING_STEMS:
            stems = more
            yield wording


def hyphened_in(query: str, lexicon: Lexicon) -> dict[str, str]:
    """Hyphened words of a query that have small words among them and are an abbreviation, with what they are as one."""
    found = {}
    for match in _HYPHENED.finditer(query):
        parts = match[0].split("-")
        if STOP_WORDS.intersection(parts) and run_together("".join(parts)) in lexicon.by_stem:
            found[match[0]] = "".join(parts)
    return found


def kept_places(words: Sequence[str], kept: Sequence[str]) -> list[int]:
    """The place of each word among the kept ones, which are the same in the same order without some; -1 for those."""
    places, at = [], 0
    for word in words:
        kept_here = at < len(kept) and kept[at] == word
        places.append(at if kept_here else -1)
        at += kept_here
    return places


def phrases_in(words: Sequence[str], kept: Sequence[str]) -> list[tuple[int, str]]:
    """For each phrase of everyday words among words, (place among the kept words, stem that may stand for it)."""
    typed, place = [stem(word) for word in words], kept_places(words, kept)
    _, phrases = lay()
    found = []
    for start in range(len(typed)):
        for size in (2, 3, 4):
            meant = phrases.get(tuple(typed[start : start + size])) if start + size <= len(typed) else None
            for one in meant or ():
                found += [(place[n], one) for n in range(start, start + size) if place[n] >= 0]
    return found


def _names_by_sound(
    said: Sequence[str], words: Sequence[str], unknown: set[int], lexicon: Lexicon, present: Collection[str] | None
) -> list[tuple[tuple[int, ...], str, float]]:
    """Runs of typed words taken for a remedy by their sound, the likest first; none overlaps another.

    Small words count, since a name is heard as some (``can the reddish``); a run is told by its other words' places.
    """
    places = kept_places(said, words)
    found = []
    for size in range(1, min(MOST_NAME_WORDS, len(said)) + 1):
        for start in range(len(said) - size + 1):
            window = tuple(at for at in places[start : start + size] if at >= 0)
            doubtful = any(at in unknown for at in window)
            if not window or (size == 1 and not doubtful):
                continue
            heard = said[start : start + size]
            near = lexicon.sounds_like(heard, present)
            if near is None:
                continue
            least = SOUNDS_LIKE_KNOWN + SOUND_MISSING * max(0, SOUND_WHOLE - len(sound_code(heard)))
            if any(IRREGULAR.get(word) == "not" for word in heard):  # nobody types "cant rest" for Cantharis
                least = max(least, SOUNDS_LIKE_DENIED)
            if doubtful or near[1] >= least:
                found.append((start, size, window, near[0], near[1] if doubtful else min(near[1], MOST_BY_SOUND)))
    found.sort(key=lambda item: (-item[4], item[1], item[0]))
    taken: set[int] = set()
    kept = []
    for _, _, window, concept_id, likeness in found:
        if not taken.intersection(window):
            taken.update(window)
            kept.append((window, concept_id, likeness))
    return kept


def ancestors(concept_ids: Iterable[str], vocabulary: Vocabulary) -> tuple[str, ...]:
    """The concepts and all wider ones (rubric to chapter, remedy to family), each once."""
    found: dict[str, None] = {}
    queue = list(concept_ids)
    while queue:
        one = queue.pop(0)
        if one in found or one not in vocabulary:
            continue
        found[one] = None
        queue.extend(vocabulary[one].broader)
    return tuple(found)


@lru_cache(maxsize=4)
def lexicon_of(vocabulary: Vocabulary) -> Lexicon:
    """The lexicon of a whole vocabulary; made once for each loaded vocabulary."""
    return Lexicon(vocabulary)
