"""Transcripts made elsewhere, in and out.

Outside judge for written WebVTT: the webvtt-py package. Times: W3C WebVTT, section "WebVTT timestamp".
"""

from __future__ import annotations

import io
import json

import msgspec
import pytest
import webvtt
from hypothesis import given
from hypothesis import strategies as st

from notesmith.annotations import Correction, Corrections
from notesmith.errors import CaptionError
from notesmith.reading import read
from notesmith.transcribe import compose_vtt, load_captions, parse_captions, write_text, write_vtt
from notesmith.transcribe.captions import decode_text, spread, vtt_clock
from notesmith.transcript import Segment, TimeSpan, Transcript, Word


def parse(text: str, form: str) -> Transcript:
    return parse_captions(text.encode(), form)


VTT = """WEBVTT - a lecture

NOTE made by hand
over two lines

STYLE
::cue { color: lime }

1
00:01.000 --> 00:04.500 align:start
<v Dr Oduya>Thuja is the <b>tree of life</b> &amp; more.</v>

01:00:05.000 --> 01:00:06.000
SHE: yes
and no
"""


def test_webvtt_with_notes_styles_voices_and_tags():
    transcript = parse(VTT, "vtt")
    assert transcript.word_times == "interpolated"
    first, second = transcript.segments
    assert first.text == "Thuja is the tree of life more."  # signs alone are no words
    assert first.speaker == "Dr Oduya"
    assert (first.time.start_ms, first.time.end_ms) == (1000, 4500)
    assert second.text == "yes and no"
    assert second.speaker == "SHE"
    assert second.time.start_ms == 3_605_000


def test_subrip():
    text = (
        "1\r\n00:00:01,500 --> 00:00:03,000\r\n<i>Natrum</i> muriaticum\r\nis salt.\r\n\r\n"
        "2\r\n00:00:04,000 --> 00:00:05,000\r\nGood.\r\n"
    )
    transcript = parse(text, "srt")
    assert [segment.text for segment in transcript.segments] == ["Natrum muriaticum is salt.", "Good."]
    assert transcript.segments[0].time == TimeSpan(1500, 3000)


@pytest.mark.parametrize(
    ("text", "starts"),
    [
        ("[0:05] one two\n[1:07] three\n", [5000, 67000]),
        ("[0:00:05] one\n[1:01:07] three\n", [5000, 3667000]),
        ("00:00:05 one\n01:01:07 three\n", [5000, 3667000]),
        ("(0:05) one\n(1:07) three\n", [5000, 67000]),
        ("0:05 - one\n1:07 - three\n", [5000, 67000]),
        ("0:05\none\n\n1:07\nthree\nfour\n", [5000, 67000]),
    ],
)
def test_plain_text_with_leading_stamps(text, starts):
    transcript = parse(text, "txt")
    assert [segment.time.start_ms for segment in transcript.segments] == starts
    assert transcript.word_times == "interpolated"


def test_a_clock_time_inside_a_line_is_speech():
    transcript = parse("[0:05] worse at 3:30 in the morning\n", "txt")
    assert transcript.segments[0].text == "worse at 3:30 in the morning"


def test_whisper_json_with_words_keeps_decoded_times():
    value = {
        "language": "en",
        "segments": [
            {"start": 0.0, "end": 1.2, "text": " Nat mur.", "words": [
                {"word": " Nat", "start": 0.0, "end": 0.5, "probability": 0.91},
                {"word": " mur", "start": 0.5, "end": 1.1, "probability": 0.4},
                {"word": ".", "start": 1.1, "end": 1.2, "probability": 0.9},
            ]},
        ],
    }  # fmt: skip
    transcript = parse(json.dumps(value), "json")
    assert transcript.word_times == "decoded"
    assert transcript.words == (Word(TimeSpan(0, 500), "Nat", 0.91), Word(TimeSpan(500, 1100), "mur.", 0.4))


def test_whisper_json_without_words_is_interpolated_honestly():
    transcript = parse(json.dumps([{"start": 2, "end": 4, "text": "four word long line"}]), "json")
    assert transcript.word_times == "interpolated"
    assert all(word.probability is None for word in transcript.words)
    assert transcript.segments[0].time == TimeSpan(2000, 4000)


@pytest.mark.parametrize(
    ("text", "form", "says"),
    [
        ("", "vtt", "is empty"),
        ("1\n00:00:01.000 --> 00:00:02.000\nx\n", "vtt", "line 1: a WebVTT file begins with WEBVTT"),
        ("WEBVTT\n\n60:00.000 --> 61:00.000\nx\n", "vtt", "line 3: '60:00.000' has more than 59 minutes"),
        ("WEBVTT\n\n00:00:01,000 --> 00:00:02,000\nx\n", "vtt", "line 3: .* full stop"),
        ("WEBVTT\n\n00:05.000 --> 00:04.000\nx\n", "vtt", "line 3: the end 00:04.000 is before the start"),
        ("WEBVTT\n\n00:05.000 --> 00:06.000\nx\n\n00:01.000 --> 00:02.000\ny\n", "vtt", "line 6: .* goes backwards"),
        ("WEBVTT\n\nabc --> def\nx\n", "vtt", "line 3: 'abc' is not a time"),
        ("1\n00:00:01.000 --> 00:00:02.000\nx\n", "srt", "line 2: .* a comma"),
        ("1\n00:00:61,000 --> 00:01:02,000\nx\n", "srt", "line 2: .* 59 minutes or seconds"),
        ("no stamp at all\n", "txt", "line 1: has no time"),
        ("[1:00] one\n[0:30] two\n", "txt", "line 2: the time 0:30 goes backwards"),
        ("[1:75] one\n", "txt", "line 1: .* 59"),
        ("{broken", "json", "is not valid JSON"),
        ('{"text": "x"}', "json", "has no list of segments"),
        ('[{"start": 3, "end": 2, "text": "x"}]', "json", "segment 1: ends before it starts"),
        ('[{"start": -1, "end": 2, "text": "x"}]', "json", "segment 1: 'start' must be seconds"),
        ('[{"start": 1e309, "end": 2, "text": "x"}]', "json", "segment 1"),
        ('[{"start": 5, "end": 6, "text": "x"}, {"start": 1, "end": 2, "text": "y"}]', "json", "segment 2: starts be"),
        ("[" * 100_000, "json", "is not valid JSON"),
        ("WEBVTT\n\n00:05.000 --> 00:06.000\n\n", "vtt", "holds no words"),
        ("x", "docx", "the ending .docx is not known"),
    ],
)
def test_what_is_wrong_is_said_in_one_line_with_its_place(text, form, says):
    with pytest.raises(CaptionError, match=says) as caught:
        parse(text, form)
    assert "\n" not in str(caught.value)


def test_encodings():
    plain = "WEBVTT\n\n00:01.000 --> 00:02.000\nRückert and Stoerck\n"
    wanted = parse(plain, "vtt").segments[0].text
    assert parse_captions(plain.encode("utf-8-sig"), "vtt").segments[0].text == wanted
    assert parse_captions(plain.encode("utf-16"), "vtt").segments[0].text == wanted
    assert parse_captions(plain.encode("cp1252"), "vtt").segments[0].text == wanted
    with pytest.raises(CaptionError, match="mixes encodings"):
        parse_captions(plain.encode() + "\n00:03.000 --> 00:04.000\nRü".encode("cp1252"), "vtt")
    assert decode_text(b"a\x00b\xe2\x80\x8bc") == "abc"


def test_a_file_is_named_in_the_error(tmp_path):
    path = tmp_path / "bad.srt"
    path.write_text("1\n00:00:05,000 --> 00:00:01,000\nx\n", encoding="utf-8")
    with pytest.raises(CaptionError, match=r"bad\.srt: line 2"):
        load_captions(path)
    with pytest.raises(CaptionError, match="cannot be read"):
        load_captions(tmp_path / "nowhere.vtt")


def test_spread_words_lie_in_order_inside_the_span():
    words = spread("a longer word and another", TimeSpan(1000, 3500))
    assert words[0].time.start_ms == 1000
    assert words[-1].time.end_ms == 3500
    assert all(a.time.end_ms == b.time.start_ms for a, b in zip(words, words[1:], strict=False))
    assert words[1].time.duration_ms > words[0].time.duration_ms


def test_vtt_clock():
    # W3C WebVTT: hours of two or more digits, minutes and seconds 00-59, three digits of milliseconds.
    assert [vtt_clock(ms) for ms in (0, 59_999, 3_600_000, 360_000_001)] == [
        "00:00:00.000", "00:00:59.999", "01:00:00.000", "100:00:00.001",
    ]  # fmt: skip


def outside(text: str) -> list[webvtt.Caption]:
    return list(webvtt.from_buffer(io.StringIO(text)))


def test_the_corrected_vtt_is_read_by_an_outside_parser(transcript_of):
    transcript = transcript_of("then Colley by Chromacum <b> & --> more", "the end.")
    restored = Correction(0, 1, 4, "Colley by Chromacum", "remedy/kali-bichromicum", "Kali bichromicum", 0.9, (),
                          "applied")  # fmt: skip
    text = write_vtt(read(transcript, Corrections(transcript.digest, (restored,))))
    captions = outside(text)
    assert [caption.start for caption in captions] == ["00:00:00.000", "00:00:03.200"]
    assert "Kali bichromicum" in captions[0].text
    bodies = [line for line in text.split("\n") if not (" --> " in line and line[:2].isdigit())]
    assert not any("-->" in line or "<b>" in line for line in bodies)


def test_text_has_a_stamp_and_the_speaker_for_each_segment(transcript_of):
    transcript = transcript_of("Thuja is next.", "Yes.")
    second = msgspec.structs.replace(transcript.segments[1], speaker="Meera")
    transcript = msgspec.structs.replace(transcript, segments=(transcript.segments[0], second))
    assert write_text(read(transcript, Corrections(transcript.digest))) == (
        "[0:00:00] Thuja is next.\n[0:00:01] Meera: Yes.\n"
    )


word = st.text(st.characters(whitelist_categories=("L", "N"), max_codepoint=0x2FF), min_size=1, max_size=9)
spoken = st.builds(lambda w, tail: w + tail, word, st.sampled_from(["", "", ",", ".", "?", "&", "<", ">"]))
segments = st.lists(
    st.tuples(st.lists(spoken, min_size=1, max_size=30), st.integers(0, 3000), st.integers(1, 9000)),
    min_size=1, max_size=8,
)  # fmt: skip


def transcript_from(rows: list[tuple[list[str], int, int]]) -> Transcript:
    found, at = [], 0
    for number, (texts, gap, length) in enumerate(rows):
        at += gap
        found.append(Segment(number, spread(" ".join(texts), TimeSpan(at, at + length))))
        at += length
    return Transcript("0" * 64, "en", "by hand", tuple(found), duration_ms=at)


@given(segments)
def test_words_survive_writing_and_reading(rows):
    transcript = transcript_from(rows)
    reading = read(transcript, Corrections(transcript.digest))
    text = compose_vtt(reading.tokens)
    again = parse_captions(text.encode(), "vtt")
    heard = [word.text for word in transcript.words]
    assert [w for s in again.segments for w in _with_speaker(s)] == heard
    captions = outside(text)
    assert len(captions) == len(text.split("\n\n")) - 1
    starts = [segment.time.start_ms for segment in again.segments]
    assert starts == sorted(starts)


def _with_speaker(segment: Segment) -> list[str]:
    """A heard line such as ``A: b`` may be read back as a speaker's label; the words are all there."""
    return ([f"{segment.speaker}:"] if segment.speaker else []) + [word.text for word in segment.words]


@given(segments)
def test_captions_read_from_a_composed_file_compose_to_the_same_file(rows):
    transcript = transcript_from(rows)
    text = compose_vtt(read(transcript, Corrections(transcript.digest)).tokens)
    again = parse_captions(text.encode(), "vtt")
    twice = compose_vtt(read(again, Corrections(again.digest)).tokens)
    third = parse_captions(twice.encode(), "vtt")
    assert third.segments == again.segments or [s.text for s in third.segments] == [s.text for s in again.segments]


@given(st.binary(max_size=300), st.sampled_from(["vtt", "srt", "txt", "json"]))
def test_any_bytes_are_a_transcript_or_one_clear_line(data, form):
    try:
        transcript = parse_captions(data, form)
    except CaptionError as error:
        lines = str(error).splitlines()
        assert len(lines) == 1
    else:
        assert all(segment.words for segment in transcript.segments)
        assert [segment.id for segment in transcript.segments] == list(range(len(transcript.segments)))
