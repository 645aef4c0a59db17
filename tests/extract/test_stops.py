"""Where sentences begin in a transcript without stops. The talk is ours."""

from collections.abc import Sequence

from notesmith.extract.stops import stops
from notesmith.vocabulary import load_vocabulary

SENTENCES = (
    "good evening everyone can you hear me", "yesterday we stopped at the modalities of bryonia", "he is worse from any motion",
    "she wants to lie quite still in a dark room", "the mouth is dry and he drinks large glasses", "now compare pulsatilla here",
    "she has no thirst at all", "a woman of forty came to me last winter", "she had a cough for three weeks",
    "i gave her one dose and waited", "after ten days the cough was gone", "any questions about this one",
    "so tomorrow we will read gelsemium", "please bring the book with you",
)  # fmt: skip


def begun(sentences: Sequence[str]) -> tuple[list[str], set[int]]:
    words: list[str] = []
    begins = set()
    for sentence in sentences:
        begins.add(len(words))
        words += sentence.split()
    return words, begins


def test_lines_that_begin_sentences_are_followed_and_lines_broken_anywhere_are_not(nlp: object) -> None:
    vocabulary = load_vocabulary()
    words, begins = begun(SENTENCES)
    kept = set(stops(words, vocabulary, nlp, begins - {0}))
    assert len(kept & begins) >= len(begins) - 1
    assert len(kept - begins) <= 2
    anywhere = set(range(5, len(words), 7)) - begins
    broken = set(stops(words, vocabulary, nlp, anywhere))
    assert len(broken & anywhere) <= len(anywhere) // 4
