"""Check the spelling of the trade's terms in documents, and mend it in place.

Two findings: a term *misspelt* (a hidden label, or a word within one or two letters of a term that is no English
word), and a *variant* (another accepted spelling of a term that the course spells otherwise: Sulfur for Sulphur).
Synonyms and short forms (Nat mur) are no findings. Ordinary English is left alone.
"""

from __future__ import annotations

import itertools
import re
import shutil
from collections.abc import Iterator, Sequence
from functools import cached_property
from pathlib import Path
from typing import Literal

import msgspec
from rapidfuzz.distance import DamerauLevenshtein
from wordfreq import zipf_frequency

from notesmith.documents import DocumentLine, docx_replaced, read_lines, read_text
from notesmith.files import write_atomic
from notesmith.vocabulary import Concept, Vocabulary, label_key

_WORD = re.compile(r"[^\W\d_]+(?:['’][^\W\d_]+)?(?:-[^\W\d_]+)*")
_POSSESSIVE = re.compile(r"['’]s?$")
_IN_SENTENCE = re.compile(r"[a-z,;] +$")
MAX_WORDS = 4
_SHORTEST_BASE = 4
# No term has a longer word; comparing one would take time and memory by the square of its length.
LONGEST_WORD = 40
# An English word by wordfreq's scale (Zipf: 3 is once in a million words); a rarer string may be a misspelling.
ENGLISH_ZIPF = 2.2
PLAIN_ENGLISH_ZIPF = 3.0
VARIANT_SIMILARITY = 0.6


class Finding(msgspec.Struct, frozen=True):
    """A word or words to change. ``column`` counts characters from 1."""

    path: str
    line: int
    column: int
    kind: Literal["misspelt", "variant"]
    written: str
    preferred: str
    concept_id: str
    why: str

    def __str__(self) -> str:
        return f"{self.path}:{self.line}:{self.column}: {self.written!r} -> {self.preferred!r} ({self.why})"


class SpellingChecker:
    """A vocabulary made ready for checking; use one for many documents."""

    def __init__(self, vocabulary: Vocabulary, allowed: Sequence[str] = ()) -> None:
        self.vocabulary = vocabulary
        self.allowed = frozenset(label_key(label) for label in allowed)

    @cached_property
    def _terms(self) -> dict[str, tuple[str, Concept]]:
        """Each accepted label by its key, with its concept; labels of several concepts are left out."""
        found: dict[str, tuple[str, Concept] | None] = {}
        for concept in self.vocabulary.in_scheme("remedy", "family", "canon", "idea", "medical"):
            for label in (concept.pref_label, *concept.alt_labels):
                key = label_key(label)
                known = found.get(key, (label, concept))
                found[key] = (label, concept) if known is not None and known[1].id == concept.id else None
        return {key: value for key, value in found.items() if value is not None}

    @cached_property
    def _known_words(self) -> frozenset[str]:
        """Every word of every label of every scheme: none of them is misspelt."""
        concepts = self.vocabulary.concepts.values()
        labels = (
            label for c in concepts for label in (c.pref_label, *c.alt_labels, *c.ambiguous_labels, *c.fact("common"))
        )
        return frozenset(word for label in labels for word in label_key(label).split())

    @cached_property
    def _term_words(self) -> frozenset[str]:
        """The words of the trade's own terms: what a strange word may be a misspelling of."""
        return frozenset(
            word for key, (_, concept) in self._terms.items() for word in key.split()
            if 5 <= len(word) <= LONGEST_WORD and (concept.scheme != "medical" or zipf_frequency(word, "en") < PLAIN_ENGLISH_ZIPF)
        )  # fmt: skip

    @cached_property
    def _by_deletion(self) -> dict[str, tuple[str, ...]]:
        index: dict[str, list[str]] = {}
        for word in self._term_words:
            for variant in _deletions(word):
                index.setdefault(variant, []).append(word)
        return {variant: tuple(words) for variant, words in index.items()}

    def near(self, word: str) -> tuple[str, ...]:
        """Words of terms within one letter (two, where both are long) of a strange word, nearest first."""
        if len(word) > LONGEST_WORD:
            return ()
        limit = 2 if len(word) >= 8 else 1
        candidates = {near for variant in _deletions(word) for near in self._by_deletion.get(variant, ())}
        # Typing slips rarely touch the first letter but to swap it (Yannakoudakis and Fawthrop 1983, from memory).
        likely = (near for near in candidates if near[0] == word[0] or near[:2] == word[1::-1])
        scored = ((DamerauLevenshtein.distance(word, near), near) for near in likely)
        return tuple(near for distance, near in sorted(scored) if 0 < distance <= limit)

    def check(self, path: Path) -> tuple[Finding, ...]:
        """The findings of one document in reading order. Raises DocumentError."""
        return tuple(found for line in read_lines(path) for found in self.check_line(line, str(path)))

    def check_line(self, line: DocumentLine, path: str = "") -> Iterator[Finding]:
        words = list(_WORD.finditer(line.text))
        at = 0
        while at < len(words):
            for length in range(min(MAX_WORDS, len(words) - at), 0, -1):
                span = words[at : at + length]
                if any(_broken(line.text[a.end() : b.start()]) for a, b in itertools.pairwise(span)):
                    continue
                written = line.text[span[0].start() : span[-1].end()]
                state = self._judge(written, within=bool(_IN_SENTENCE.search(line.text, 0, span[0].start())))
                if state == "right":
                    at += length - 1
                    break
                if state is not None:
                    kind, preferred, concept, why = state
                    yield Finding(path, line.number, span[0].start() + 1, kind, written, preferred, concept.id, why)
                    at += length - 1
                    break
            at += 1

    def _judge(
        self, written: str, *, within: bool
    ) -> Literal["right"] | tuple[Literal["misspelt", "variant"], str, Concept, str] | None:
        key = label_key(written)
        if key in self.allowed:
            return "right"
        if (term := self._terms.get(key)) is not None:
            return self._judge_spelling(written, *term)
        if len(hidden := self.vocabulary.by_hidden_label.get(key, ())) == 1 and not _is_plain_english(written):
            concept = self.vocabulary[hidden[0]]
            label = _nearest_label(key, concept)
            heard = any(label_key(form) == key for form in concept.fact("heard"))
            why = f"what a recogniser makes of {label}" if heard else f"a known misspelling of {label}"
            return "misspelt", _cased(written, label), concept, why
        return self._judge_strange(written, key, within=within)

    def _judge_spelling(
        self, written: str, label: str, concept: Concept
    ) -> Literal["right"] | tuple[Literal["misspelt", "variant"], str, Concept, str]:
        preferred = concept.pref_label
        if label == preferred or concept.scheme in ("medical", "rubric") or _is_plain_english(written):
            return "right"
        if concept.scheme in ("idea", "family") and _is_plain_english(written.lower()):
            return "right"  # Prescribing at the head of a sentence is no other spelling of prescription
        if label_key(label) == label_key(preferred) or not _same_word_otherwise(label, preferred):
            return "right"
        if label_key(preferred) in self.allowed:
            return "right"
        return "variant", _cased(written, preferred), concept, f"the course spells it {preferred}"

    def _is_inflected(self, word: str) -> bool:
        """Whether it is a known word or an English one with a regular ending: navels, grouting."""
        return any(
            base in self._known_words or zipf_frequency(base, "en") >= ENGLISH_ZIPF
            for base in (word, *_bases(word))
            if len(base) >= _SHORTEST_BASE
        )

    def _judge_strange(
        self, written: str, key: str, *, within: bool
    ) -> tuple[Literal["misspelt", "variant"], str, Concept, str] | None:
        words = key.split()
        strange = [word not in self._known_words for word in words]
        if not any(strange):
            return None
        if len(words) == 1 and (len(key) < 5 or zipf_frequency(key, "en") >= ENGLISH_ZIPF):
            return None
        if len(words) == 1 and self._is_inflected(label_key(_POSSESSIVE.sub("", written))):
            return None
        if len(words) > 1 and all(
            zipf_frequency(word, "en") >= ENGLISH_ZIPF for word, odd in zip(words, strange, strict=True) if odd
        ) and not self._led_by_term(words, strange):  # fmt: skip
            return None
        options = [(word, *self.near(word)[:6]) if odd else (word,) for word, odd in zip(words, strange, strict=True)]
        for mended in _combinations(options):
            term = self._terms.get(mended)
            if term is not None and mended != key:
                label, concept = term
                if within and written[:1].isupper() and label[:1].islower():
                    return None  # a name of its own, no slip in a common noun
                if concept.scheme == "remedy" and _same_word_otherwise(label, concept.pref_label):
                    label = concept.pref_label
                return "misspelt", _cased(written, label), concept, f"{label} is meant, {_difference(key, mended)}"
        return None

    def _led_by_term(self, words: Sequence[str], strange: Sequence[bool]) -> bool:
        """Whether the first word is a term's own and no English word, so that an English word after it is a slip."""
        return not strange[0] and words[0] in self._term_words and zipf_frequency(words[0], "en") < ENGLISH_ZIPF

    def mend(self, path: Path, findings: Sequence[Finding]) -> Path:
        """Write the document with its findings mended; the original is kept beside it. Returns the backup's path."""
        backup = path.with_name(path.name + ".bak")
        number = 1
        while backup.exists():
            number += 1
            backup = path.with_name(f"{path.name}.bak{number}")
        spans: dict[int, list[tuple[int, int, str]]] = {}
        for one in findings:
            start = one.column - 1
            spans.setdefault(one.line, []).append((start, start + len(one.written), one.preferred))
        if path.suffix.lower() == ".docx":
            body: bytes | str = docx_replaced(path, spans)
        else:
            lines = read_text(path).split("\n")
            for line, changes in spans.items():
                for start, end, text in sorted(changes, reverse=True):
                    lines[line - 1] = lines[line - 1][:start] + text + lines[line - 1][end:]
            body = "\n".join(lines)
        shutil.copy2(path, backup)
        write_atomic(path, body)
        return backup


def _nearest_label(key: str, concept: Concept) -> str:
    """The accepted label that a misspelling is nearest to: Pulsatila is meant for Pulsatilla, not the full name."""
    labels = (concept.pref_label, *concept.alt_labels)
    return min(labels, key=lambda label: (DamerauLevenshtein.distance(key, label_key(label)), labels.index(label)))


def _deletions(word: str) -> set[str]:
    once = {word[:i] + word[i + 1 :] for i in range(len(word))}
    if len(word) < 8:
        return {word, *once}
    return {word, *once, *(w[:i] + w[i + 1 :] for w in once for i in range(len(w)))}


def _combinations(options: Sequence[tuple[str, ...]]) -> Iterator[str]:
    if not options:
        yield ""
        return
    for word in options[0]:
        for rest in _combinations(options[1:]):
            yield f"{word} {rest}".strip()


def _bases(word: str) -> Iterator[str]:
    """What a word would be without a regular English ending."""
    if word.endswith("s") and not word.endswith(("ss", "us", "is")):
        yield word[:-1]
        yield word.removesuffix("es")
    for ending in ("ed", "ing", "er", "ly"):
        stem = word.removesuffix(ending)
        if stem != word:
            yield stem
            yield f"{stem}e"
            if stem[-1:] == stem[-2:-1]:
                yield stem[:-1]


def _broken(between: str) -> bool:
    return not re.fullmatch(r"[ \t\u00a0-]+", between)


def _is_plain_english(written: str) -> bool:
    """Lower-case writing of a common English word means the word, not the remedy (sulfur, borax)."""
    return written.islower() and all(zipf_frequency(word, "en") >= PLAIN_ENGLISH_ZIPF for word in written.split())


def _same_word_otherwise(label: str, preferred: str) -> bool:
    """Whether two labels are spellings of the same words (Sulfur, Sulphur), not synonyms or short forms."""
    first, second = label_key(label).split(), label_key(preferred).split()
    if len(first) != len(second) or any(len(word) < 4 for word in first):
        return False
    if len(first) > 1 and any(
        a != b and zipf_frequency(a, "en") >= PLAIN_ENGLISH_ZIPF for a, b in zip(first, second, strict=True)
    ):
        return False  # boric acid is the English name of Boricum acidum, not another spelling
    if any(a in _bases(b) or b in _bases(a) for a, b in zip(first, second, strict=True)):
        return False  # a plural is no other spelling
    return all(
        a == b or DamerauLevenshtein.normalized_similarity(a, b) >= VARIANT_SIMILARITY
        for a, b in zip(first, second, strict=True)
    )


def _cased(written: str, label: str) -> str:
    if written.isupper() and len(written) > 3:
        return label.upper()
    return (
        label[:1].lower() + label[1:] if written[:1].islower() and label[:1].isupper() and " " not in label else label
    )


def _difference(key: str, mended: str) -> str:
    count = DamerauLevenshtein.distance(key, mended)
    return "one letter off" if count == 1 else f"{count} letters off"
