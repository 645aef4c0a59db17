"""Tidy a spoken sentence lightly: fillers, false starts and repetitions go; no word is added or changed.

Reversible: what was removed is returned with its place, and ``untidy`` puts it back.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from notesmith.extract.lexicon import FILLERS
from notesmith.extract.session import bare, lowered

# Said at the beginning of a sentence without meaning of their own.
_OPENERS = (
    ("so", "basically"), ("okay", "so"), ("ok", "so"), ("and", "so"), ("now", "see"), ("so", "see"), ("so", "now"),
    ("you", "see"), ("i", "mean"), ("you", "know"), ("all", "right"), ("that", "is", "to", "say"), ("you", "know", "what"),
    ("so",), ("okay",), ("ok",), ("now",), ("well",), ("see",), ("right",), ("yes",), ("yeah",), ("and",), ("but",),
    ("actually",), ("basically",), ("look",), ("acha",), ("achha",), ("haan",), ("arre",), ("anyway",), ("no",),
)  # fmt: skip
# "But" and "no" change the sense; they go only before another opener or a filler.
_KEEP_ALONE = {"but", "no", "right"}
_TAGS = re.compile(
    r"^(?:,? ?(?:you know|isn't it|is it not|no|na|right|okay|ok|yeah|understood|understand|clear|you "
    r"see|you are getting|"
    r"are you getting it|you follow|are you with me|am i right|correct|i mean|hai na|like that|i would "
    r"say|so to say|so to speak))$"
)
_INSIDE = (("you", "know"), ("i", "mean"), ("sort", "of", "like"), ("you", "see"))
_RESTARTS = {
    ("i", "mean"),
    ("or", "rather"),
    ("no", "sorry"),
    ("sorry",),
    ("i", "should", "say"),
    ("no", "no"),
    ("no",),
}


@dataclass(frozen=True, slots=True)
class Tidied:
    """``text`` as printed; ``kept`` and ``removed`` are indexes of the given words, together all of them."""

    text: str
    kept: tuple[int, ...]
    removed: tuple[int, ...]


def tidy(words: tuple[str, ...]) -> Tidied:
    """Tidy the words of one sentence (each with its punctuation).

    >>> tidy(("So", "um", "the", "the", "patient", "is,", "you", "know,", "chilly.")).text
    'The patient is chilly.'
    """
    lows = [lowered(bare(word)) for word in words]
    gone: set[int] = set()
    for index, low in enumerate(lows):
        if low in FILLERS or not low:
            gone.add(index)
    _drop_openers(lows, gone)
    _drop_inside(words, lows, gone)
    _drop_restarts(words, lows, gone)
    _drop_repeats(words, lows, gone)
    _drop_tag(words, lows, gone)
    _drop_hanging(lows, gone)
    kept = tuple(index for index in range(len(words)) if index not in gone)
    return Tidied(_print(words, kept, gone), kept, tuple(sorted(gone)))


def untidy(tidied: Tidied, words: tuple[str, ...]) -> str:
    """The sentence as spoken again. Raises ValueError where the words are not those that were tidied."""
    if sorted((*tidied.kept, *tidied.removed)) != list(range(len(words))):
        raise ValueError("these are not the words that were tidied")
    return " ".join(words)


def _left(lows: list[str], gone: set[int], at: int) -> list[int]:
    return [index for index in range(at, len(lows)) if index not in gone]


def _drop_openers(lows: list[str], gone: set[int]) -> None:
    again = True
    while again:
        again = False
        left = _left(lows, gone, 0)
        for opener in _OPENERS:
            head = tuple(lows[i] for i in left[: len(opener)])
            if head != opener or len(left) <= len(opener) + 1:
                continue
            if len(opener) == 1 and opener[0] in _KEEP_ALONE and lows[left[1]] not in {"so", "now", "see", "okay"}:
                continue
            if opener == ("see",) and lows[left[1]] in {
                "the",
                "a",
                "an",
                "if",
                "how",
                "what",
                "whether",
                "this",
                "that",
            }:
                continue
            if opener in {("now",), ("right",), ("well",), ("look",)} and lows[left[1]] in {
                "and",
                "or",
                "at",
                "for",
                "sided",
            }:
                continue
            gone.update(left[: len(opener)])
            again = True
            break


def _drop_inside(words: tuple[str, ...], lows: list[str], gone: set[int]) -> None:
    for phrase in _INSIDE:
        for index in range(len(lows) - len(phrase) + 1):
            span = range(index, index + len(phrase))
            if tuple(lows[i] for i in span) != phrase or gone & set(span):
                continue
            before = words[index - 1] if index else ","
            # "as you know", "do you know", "what I mean is" carry sense; set off by commas they do not.
            set_off = before.endswith((",", "-", "—", "...")) or words[span[-1]].endswith((",", "-", "—"))
            if set_off and (not index or lows[index - 1] not in {"as", "do", "if", "that", "what", "did"}):
                gone.update(span)


def _drop_restarts(words: tuple[str, ...], lows: list[str], gone: set[int]) -> None:
    """``it is a— it is the left`` and ``the right, sorry, the left``: the first try goes where both begin alike."""
    for index in range(1, len(lows) - 1):
        if index in gone or not words[index - 1].endswith(("-", "—", "–", "...", "…")):
            continue
        if len(words[index - 1]) > 1 and index not in gone:
            after = list(_left(lows, gone, index))[:1]
            if not after:
                continue
            for back in range(index - 1, max(-1, index - 6), -1):
                if back not in gone and lows[back] == lows[after[0]] and lows[back]:
                    gone.update(range(back, index))
                    break
            else:
                fragment = lows[index - 1]
                if fragment and lows[after[0]].startswith(fragment) and len(fragment) < len(lows[after[0]]):
                    gone.add(index - 1)


def _drop_repeats(words: tuple[str, ...], lows: list[str], gone: set[int]) -> None:
    """A phrase of up to four words said again at once goes; ``very very`` and numbers stay, they carry sense."""
    for size in (4, 3, 2, 1):
        index = 0
        while True:
            left = _left(lows, gone, 0)
            if index + 2 * size > len(left):
                break
            first, second = left[index : index + size], left[index + size : index + 2 * size]
            phrase = [lows[i] for i in first]
            if (
                phrase == [lows[i] for i in second]
                and _idle_repeat(phrase)
                and not words[first[-1]].endswith((".", "?", "!"))
            ):
                gone.update(first)
            else:
                index += 1


def _idle_repeat(phrase: list[str]) -> bool:
    if len(phrase) == 1:
        word = phrase[0]
        return not word.isdigit() and word not in {
            "very", "more", "no", "never", "again", "better", "worse", "so", "much", "far", "many", "slowly", "had",
            "that", "always", "burning", "too",
        }  # fmt: skip
    return not any(word.isdigit() for word in phrase) and len(set(phrase)) > 1


def _drop_tag(words: tuple[str, ...], lows: list[str], gone: set[int]) -> None:
    left = _left(lows, gone, 0)
    for size in (5, 4, 3, 2, 1):
        if len(left) <= size + 2:
            continue
        tail = left[-size:]
        if words[left[-size - 1]].endswith((",", ".", "-", "—")) and _TAGS.match(" ".join(lows[i] for i in tail)):
            gone.update(tail)
            return


def _drop_hanging(lows: list[str], gone: set[int]) -> None:
    """A joining word left at the end when the speaker broke off: ``the cough is dry and``."""
    left = _left(lows, gone, 0)
    while len(left) > 3 and lows[left[-1]] in {"and", "but", "or", "so", "because", "the", "a", "an"}:
        gone.add(left.pop())


def _print(words: tuple[str, ...], kept: tuple[int, ...], gone: set[int]) -> str:
    if not kept:
        return ""
    parts: list[str] = []
    for position, index in enumerate(kept):
        word = words[index]
        following = kept[position + 1] if position + 1 < len(kept) else None
        skipped = following is not None and following != index + 1
        if skipped and word.endswith((",", "-", "—", "–", "...", "…")):
            word = word.rstrip(",-—–.… ")
        if skipped and any(words[i].endswith((";", ".", ":")) for i in range(index + 1, following or 0)):
            word = word + ";" if word[-1:].isalnum() else word
        if word:
            parts.append(word)
    text = " ".join(parts)
    text = text[:1].upper() + text[1:] if text[:1].islower() else text
    text = text.rstrip(" ,;:-—–")
    if text and text[-1] not in ".?!…":
        text += "."
    return text
