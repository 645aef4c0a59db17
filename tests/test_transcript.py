import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith.transcript import TimeSpan, WordRange, iter_sentences, sounding


def test_a_span_never_ends_before_it_starts():
    with pytest.raises(ValueError, match="not 0 <= start <= end"):
        TimeSpan(5, 4)
    with pytest.raises(ValueError, match="not 0 <= start <= end"):
        TimeSpan(-1, 4)


def test_words_are_counted_over_the_whole_transcript(transcript_of):
    transcript = transcript_of("one two three", "four", "five six")
    assert transcript.segment_starts == (0, 3, 4)
    assert [transcript.segment_of(index) for index in range(6)] == [0, 0, 0, 1, 2, 2]
    assert transcript.segment_range(2) == WordRange(4, 6)
    assert transcript.text(WordRange(2, 5)) == "three four five"
    assert transcript.time(WordRange(2, 5)) == TimeSpan(800, 1950)


def test_the_digest_follows_the_words(transcript_of):
    assert transcript_of("a b").digest == transcript_of("a b").digest
    assert transcript_of("a b").digest != transcript_of("a c").digest


def test_two_garbles_are_the_same_when_they_sound_the_same():
    assert sounding("Colley, by Chromacum.") == sounding("colley by chromacum")
    assert sounding("Tugia-Oxodentalis") == "tugia oxodentalis"


@given(st.lists(st.text(alphabet="ab.?!,' ", min_size=1).map(lambda t: t.replace(" ", "") or "a"), max_size=40))
def test_sentences_cover_every_word_once(words):
    ranges = list(iter_sentences(tuple(words)))
    assert [index for start, end in ranges for index in range(start, end)] == list(range(len(words)))


def test_an_abbreviation_does_not_end_a_sentence():
    words = ("I", "met", "Dr.", "Kent", "there.", "He", "left.")
    assert list(iter_sentences(words)) == [(0, 5), (5, 7)]
