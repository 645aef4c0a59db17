import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from notesmith.annotations import Correction, Corrections
from notesmith.reading import read, replace_inside
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange


def correction(segment, start, end, heard, restored, state="applied"):
    return Correction(segment, start, end, heard, "remedy/x", restored, 0.99, (), state)


def test_a_restored_term_keeps_the_punctuation_around_it(transcript_of):
    transcript = transcript_of("We begin Colley by Chromacum, today.", "It is stringy.")
    items = (correction(0, 2, 5, "Colley by Chromacum,", "Kali bichromicum"),)
    reading = read(transcript, Corrections(transcript.digest, items))
    assert reading.text == "We begin Kali bichromicum, today. It is stringy."
    token = reading.tokens[2]
    assert (token.heard, token.words, token.time) == ("Colley by Chromacum,", WordRange(2, 5), TimeSpan(800, 1950))
    assert reading.text_of(WordRange(3, 4)) == "Kali bichromicum,"


def test_only_applied_corrections_are_read(transcript_of):
    transcript = transcript_of("Colley by Chromacum")
    for state in ("proposed", "rejected"):
        items = (correction(0, 0, 3, "Colley by Chromacum", "Kali bichromicum", state),)
        assert read(transcript, Corrections(transcript.digest, items)).text == "Colley by Chromacum"


def test_corrections_that_overlap_or_leave_their_segment_are_refused(transcript_of):
    transcript = transcript_of("a b c", "d e")
    with pytest.raises(ValueError, match="leaves its segment"):
        read(transcript, Corrections(transcript.digest, (correction(0, 2, 4, "c d", "X"),)))
    overlapping = (correction(0, 0, 2, "a b", "X"), correction(0, 1, 2, "b", "Y"))
    with pytest.raises(ValueError, match="overlap"):
        read(transcript, Corrections(transcript.digest, overlapping))


def test_punctuation_survives_replacement():
    assert replace_inside("(Colley by Chromacum,", "Kali bichromicum") == "(Kali bichromicum,"
    assert replace_inside("«Sepia»", "Sepia") == "«Sepia»"


words = st.lists(st.text(alphabet="abc,.'", min_size=1, max_size=5), min_size=1, max_size=12)


@given(words, st.data())
def test_the_heard_words_can_always_be_rebuilt(texts, data):
    spoken = tuple(Word(TimeSpan(i, i + 1), text) for i, text in enumerate(texts))
    transcript = Transcript("0" * 64, "en", "by hand", (Segment(0, spoken),))
    start = data.draw(st.integers(0, len(texts) - 1))
    end = data.draw(st.integers(start + 1, len(texts)))
    items = (correction(0, start, end, " ".join(texts[start:end]), "Nux vomica"),)
    reading = read(transcript, Corrections(transcript.digest, items))
    heard = " ".join(token.heard if token.heard is not None else token.text for token in reading.tokens)
    assert heard == " ".join(texts)
    assert [i for t in reading.tokens for i in range(t.words.start, t.words.end)] == list(range(len(texts)))
    assert msgspec.json.decode(msgspec.json.encode(transcript), type=Transcript) == transcript
