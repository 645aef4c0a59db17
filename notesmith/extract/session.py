"""One session as the rules see it: units, sentences, and where each term was found.

A *unit* is one blank-separated word of the restored reading. Several units may stand for the same heard words
(a restored term of two words), and each knows the heard words it stands for. Ranges named ``units`` are
half-open over units; they are turned into heard ``WordRange`` only when a value leaves this package.
"""

from __future__ import annotations

import re
from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from notesmith.extract.opinions import Opinions, opinions_of
from notesmith.extract.stops import stops
from notesmith.reading import Reading
from notesmith.transcript import TimeSpan, WordRange
from notesmith.vocabulary import Vocabulary, label_key

_EDGE = re.compile(r"^([^\w]*)(.*?)([^\w]*)$", re.DOTALL)
_CONTRACTION = re.compile(r"^(.+?)(n['’]t|['’](?:s|re|ll|ve|d|m))$", re.IGNORECASE)
_ENDS_SENTENCE = re.compile(r"[.?!…][\"')\]”’]*$")
_ABBREVIATION = {"dr", "mr", "mrs", "ms", "st", "prof", "vs", "e.g", "i.e", "etc", "no", "alt", "b.d", "o.d", "t.d.s"}
# A stretch longer than this without a full stop is cut where a speaker would have made one.
LONG_SENTENCE_UNITS = 45
PAUSE_MS = 600
# Fewer stops than one in this many words: the recogniser or captioner gave none, and the parser must guess.
WORDS_PER_STOP = 45
_STARTERS = {
    "so",
    "now",
    "and",
    "but",
    "okay",
    "ok",
    "then",
    "because",
    "see",
    "next",
    "also",
    "this",
    "it",
    "she",
    "he",
}


#: Words after which the sentence goes on, whatever stop or line end a recogniser put there.
_CANNOT_END = frozenset(
    "the a an and or but because if than although whereas unless my your his their every into onto from very".split()
)
#: Words that may end a sentence, but after a denial begin what is denied; and what denies.
_MAY_INTRODUCE = frozenset("that as like if when think say mean believe suppose".split())
_FIGURES = frozenset(
    "zero nought oh one two three four five six seven eight nine ten twenty thirty forty fifty sixty seventy eighty ninety hundred double triple treble".split()
)
_DENIES = frozenset("not never no nor neither nobody without hardly cannot".split())
#: Words written with a capital nowhere but at the beginning of a sentence.
OPENERS = frozenset(
    "the this that these those it she he they we you so and but then now if when because there what why how in for after before ask open remember let "
    "today first next also see here our my his her their at on to from with as all both some many no not never always do does did is are was can could "
    "will would should have has thank yes okay compare worse better or while where which who please think look".split()
)


@dataclass(frozen=True, slots=True)
class Unit:
    """``low`` is the word without edge punctuation, lower case, with straight apostrophes."""

    text: str
    bare: str
    low: str
    words: WordRange
    time: TimeSpan
    segment_id: int
    concept_id: str | None


@dataclass(frozen=True, slots=True)
class Sentence:
    """A sentence over units ``start`` to ``end``; ``low`` is its lower-case text with punctuation."""

    index: int
    start: int
    end: int
    text: str
    low: str

    def __len__(self) -> int:
        return self.end - self.start


class Session:
    """A reading with its words, sentences and parse; built once, read by every rule."""

    def __init__(self, reading: Reading, vocabulary: Vocabulary, nlp: Any) -> None:
        self.reading = reading
        self.vocabulary = vocabulary
        self.units = tuple(_units(reading))
        self.sentences = tuple(self._sentences(nlp))
        self._starts = [sentence.start for sentence in self.sentences]
        #: Lower-case text and the offset of each unit in it, for the ranges already searched.
        self._searched: dict[tuple[int, int], tuple[list[int], str]] = {}
        self.parse = Parse(self, nlp)

    def __len__(self) -> int:
        return len(self.units)

    def sentence_at(self, unit: int) -> Sentence:
        return self.sentences[max(0, bisect_right(self._starts, unit) - 1)]

    def sentences_in(self, start: int, end: int) -> tuple[Sentence, ...]:
        """The sentences that touch units ``start`` to ``end``."""
        if start >= end:
            return ()
        first = max(0, bisect_right(self._starts, start) - 1)
        return self.sentences[first : bisect_left(self._starts, end)]

    def text(self, start: int, end: int) -> str:
        return " ".join(unit.text for unit in self.units[start:end])

    def low(self, start: int, end: int) -> str:
        return " ".join(lowered(unit.text) for unit in self.units[start:end])

    def words(self, start: int, end: int) -> WordRange:
        """The heard words of a non-empty range of units."""
        return WordRange(self.units[start].words.start, self.units[end - 1].words.end)

    def time(self, start: int, end: int) -> TimeSpan:
        return self.reading.transcript.time(self.words(start, end))

    @cached_property
    def opinions(self) -> Opinions:
        """What the language model takes each unit for."""
        return opinions_of(tuple(unit.text for unit in self.units))

    @cached_property
    def cased(self) -> bool:
        """Whether the transcript writes capitals, beside "I"; captions and some recognisers do not."""
        starts = set(self._starts)
        inner = [
            unit for at, unit in enumerate(self.units)
            if at not in starts and unit.bare[:1].isalpha() and unit.bare.partition("'")[0] != "I"
        ]  # fmt: skip
        return sum(unit.bare[0].isupper() for unit in inner) * 100 > len(inner)

    @cached_property
    def unit_of_word(self) -> tuple[int, ...]:
        """For each heard word, the first unit that stands for it."""
        index = [0] * len(self.reading.transcript.words)
        for position in range(len(self.units) - 1, -1, -1):
            span = self.units[position].words
            index[span.start : span.end] = [position] * len(span)
        return tuple(index)

    def units_of(self, words: WordRange) -> tuple[int, int]:
        """Half-open units of a range of heard words."""
        if not len(words):
            return 0, 0
        first = self.unit_of_word[words.start]
        last = self.unit_of_word[words.end - 1]
        span = self.units[last].words
        while last + 1 < len(self.units) and self.units[last + 1].words == span:
            last += 1
        return first, last + 1

    def search(self, pattern: re.Pattern[str], start: int, end: int) -> Iterator[tuple[int, int, re.Match[str]]]:
        """Matches of a pattern in the lower-case text of a range of units, with the units they touch."""
        if (start, end) not in self._searched:
            offsets: list[int] = []
            parts: list[str] = []
            at = 0
            for unit in self.units[start:end]:
                offsets.append(at)
                part = lowered(unit.text)
                parts.append(part)
                at += len(part) + 1
            self._searched[start, end] = (offsets, " ".join(parts))
        offsets, text = self._searched[start, end]
        for match in pattern.finditer(text):
            if match.end() == match.start():
                continue
            yield (
                start + bisect_right(offsets, match.start()) - 1,
                start + bisect_left(offsets, match.end()),
                match,
            )

    def span_of(self, start: int, match: re.Match[str], group: int | str = 0) -> tuple[int, int]:
        """The units of one group of a match made by ``search`` from unit ``start``."""
        first, last = match.span(group)
        text = match.string
        begin = start + text.count(" ", 0, first)
        return begin, begin + text.count(" ", first, last) + 1

    def _sentences(self, nlp: Any) -> Iterator[Sentence]:
        spans = self._by_likelihood(nlp) if self._unpunctuated() else self._by_stops()
        for count, (start, end) in enumerate(spans):
            text = self.text(start, end)
            yield Sentence(count, start, end, text, lowered(text))

    def _unpunctuated(self) -> bool:
        stops = sum(_is_end(unit.text) for unit in self.units)
        return len(self.units) > 40 and stops * WORDS_PER_STOP < len(self.units)

    def _by_stops(self) -> Iterator[tuple[int, int]]:
        start = 0
        for index, unit in enumerate(self.units):
            last = index + 1 == len(self.units)
            speaker_turn = not last and self.speaker(index) != self.speaker(index + 1)
            if (
                last
                or speaker_turn
                or (
                    (_is_end(unit.text) or (index + 1 - start >= 3 and self._opens(index + 1)))
                    and not self._hangs(start, index + 1)
                )
            ):
                yield from self._cut(start, index + 1)
                start = index + 1

    def _opens(self, index: int) -> bool:
        """A word that has a capital only where a sentence begins, after a word without a stop: the recogniser left
        the stop out ("thank you So last week")."""
        here, before = self.units[index], self.units[index - 1]
        return (
            here.low in OPENERS and here.bare[:1].isupper() and not here.bare[1:2].isupper()
            and not before.text.endswith((",", ":", ";", "-")) and not before.bare[:1].isupper()
        )  # fmt: skip

    def _hangs(self, start: int, end: int) -> bool:
        """Whether a stretch breaks off on a word that cannot end a sentence, or on one that denies what comes after
        ("it is not that / She is afraid"): cut there, the rest would say the opposite of what was said."""
        lows = [unit.low for unit in self.units[max(start, end - 4) : end]]
        last = self.units[end - 1].text
        if last[-1:].isalnum() and lows[-1] in _FIGURES and end < len(self.units) and self.units[end].low in _FIGURES:
            return True  # a number read out over two lines
        if last.endswith(("?", "!")):
            return False
        stopped = last.endswith(".")
        denied = lows[-2:-1] if stopped else lows[:-1]
        return (
            lows[-1] in _CANNOT_END
            or (lows[-1] == "not" and not stopped)
            or (lows[-1] in _MAY_INTRODUCE and any(low in _DENIES or low.endswith("n't") for low in denied))
        )

    def _by_likelihood(self, nlp: Any) -> Iterator[tuple[int, int]]:
        """Without stops a chain learnt from sessions with theirs taken away says where sentences begin."""
        edges = {at for at in range(1, len(self)) if self.units[at].segment_id != self.units[at - 1].segment_id}
        turns = {at for at in edges if self.speaker(at) != self.speaker(at - 1)}
        begins = stops([unit.low or "-" for unit in self.units], self.vocabulary, nlp, edges)
        start = 0
        for at in (*sorted(turns.union(begins) - {0}), len(self)):
            if at == len(self) or at in turns or not self._hangs(start, at):
                yield from self._cut(start, at)
                start = at

    def speaker(self, unit: int) -> str | None:
        return self.reading.transcript.segments[self.units[unit].segment_id].speaker

    def _cut(self, start: int, end: int) -> Iterator[tuple[int, int]]:
        """Cut a stretch without full stops at pauses, ends of segments and words that begin sentences."""
        at = start
        while end - at > LONG_SENTENCE_UNITS:
            best, best_score = 0, 0.0
            for index in range(at + 6, min(end - 5, at + LONG_SENTENCE_UNITS)):
                before, here = self.units[index - 1], self.units[index]
                score = 0.0
                if here.time.start_ms - before.time.end_ms >= PAUSE_MS:
                    score += 2.0
                if here.segment_id != before.segment_id:
                    score += 1.0
                if before.text.endswith((",", ";", ":", "-", "—")):
                    score += 0.7 if before.text.endswith(",") else 1.5
                if here.low in _STARTERS:
                    score += 1.0
                if self._hangs(at, index):
                    score = 0.0
                if score > best_score:
                    best, best_score = index, score
            if best_score < 1.0:
                break
            yield at, best
            at = best
        yield at, end


class Parse:
    """The spaCy parse, aligned with the units. Sentence starts are ours, so the parser never crosses them."""

    def __init__(self, session: Session, nlp: Any) -> None:
        from spacy.tokens import Doc

        words: list[str] = []
        spaces: list[bool] = []
        starts: list[bool | int | None] = []
        first_of: list[int] = []
        owner: list[int] = []
        sentence_starts = {sentence.start for sentence in session.sentences}
        for index, unit in enumerate(session.units):
            pieces = _pieces(unit.text)
            first_of.append(len(words))
            for position, piece in enumerate(pieces):
                words.append(piece)
                owner.append(index)
                spaces.append(position + 1 == len(pieces))
                starts.append(position == 0 and index in sentence_starts)
        doc = Doc(nlp.vocab, words=words, spaces=spaces, sent_starts=starts)
        self._namer = nlp.get_pipe("ner") if "ner" in nlp.component_names else None
        self.doc = nlp(doc) if words else doc
        self.first_of = tuple(first_of)
        self.owner = tuple(owner)

    def tokens(self, start: int, end: int) -> Any:
        """The spaCy span of units ``start`` to ``end``."""
        last = self.first_of[end] if end < len(self.first_of) else len(self.owner)
        return self.doc[self.first_of[start] : last]

    def head_token(self, unit: int) -> Any:
        """The first token of a unit that is not punctuation (or its first token)."""
        return self.doc[self._heads[unit]]

    @cached_property
    def _heads(self) -> tuple[int, ...]:
        heads = list(self.first_of)
        seen = [False] * len(heads)
        for at, (unit, token) in enumerate(zip(self.owner, self.doc, strict=True)):
            if not seen[unit] and not token.is_punct:
                heads[unit], seen[unit] = at, True
        return tuple(heads)

    @cached_property
    def _tags(self) -> tuple[str, ...]:
        return tuple(str(self.doc[at].tag_) for at in self._heads)

    def tag(self, unit: int) -> str:
        return self._tags[unit]

    def entities(self, sentences: Sequence[Sentence]) -> Iterator[tuple[int, int, str]]:
        """Half-open units and label of each entity the pipeline sees in these sentences, in order. Looking for them
        takes as long as the parse, so it is asked for where it matters."""
        from spacy.tokens import Doc

        if self._namer is None or not sentences:
            return
        places = [token.i for sentence in sentences for token in self.tokens(sentence.start, sentence.end)]
        tokens = [self.doc[place] for place in places]
        doc = self._namer(
            Doc(
                self.doc.vocab,
                words=[token.text for token in tokens],
                spaces=[bool(token.whitespace_) for token in tokens],
                sent_starts=[token.is_sent_start for token in tokens],
            )
        )
        for entity in doc.ents:
            yield self.owner[places[entity.start]], self.owner[places[entity.end - 1]] + 1, str(entity.label_)


def lowered(text: str) -> str:
    return text.casefold().replace("’", "'")


def bare(text: str) -> str:
    match = _EDGE.match(text)
    assert match is not None
    return match[2]


def runs(numbers: Sequence[int]) -> Iterator[tuple[int, int]]:
    """Half-open places of the runs of numbers that follow each other."""
    first = 0
    for place in range(1, len(numbers) + 1):
        if place == len(numbers) or numbers[place] != numbers[place - 1] + 1:
            yield first, place
            first = place


def keys_of(unit: Unit) -> list[str]:
    """The label keys of a unit, without a contracted or possessive ending; a hyphened word has several."""
    match = _CONTRACTION.match(unit.low)  # "he'd" must not read as the abbreviation Hed.
    return label_key(match[1] if match else unit.low).split()


def _units(reading: Reading) -> Iterator[Unit]:
    for token in reading.tokens:
        for text in token.text.split():
            plain = bare(text)
            yield Unit(text, plain, lowered(plain), token.words, token.time, token.segment_id, token.concept_id)


def _is_end(text: str) -> bool:
    if not _ENDS_SENTENCE.search(text):
        return False
    if text.rstrip("\"')]”’").endswith("."):
        low = bare(text).casefold()
        return low not in _ABBREVIATION and not (len(low) == 1 and low.isalpha() and low != "i")
    return True


def _pieces(text: str) -> list[str]:
    match = _EDGE.match(text)
    assert match is not None
    before, middle, after = match.groups()
    pieces = list(before)
    if contraction := _CONTRACTION.match(middle):
        pieces += [contraction[1], contraction[2]]
    elif middle:
        pieces.append(middle)
    pieces += list(after)
    return pieces or [text]
