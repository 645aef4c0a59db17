"""Transcripts made elsewhere: WebVTT, SubRip, Whisper-style JSON and stamped plain text, in and out.

Where a file has times only for its segments, word times are spread inside them by length of the words and the
transcript says so (``word_times = "interpolated"``). Segments keep their speaker labels.
Formats: W3C WebVTT (times ``(hh:)mm:ss.ttt``, minutes and seconds 0-59); SubRip as commonly practised
(``hh:mm:ss,ttt``); the others by common practice.
"""

from __future__ import annotations

import hashlib
import html
import json
import re
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import msgspec

from notesmith.errors import CaptionError
from notesmith.reading import Reading, Token
from notesmith.transcript import Segment, TimeSpan, Transcript, Word

MAX_BYTES = 64 << 20
MAX_WORD_CHARACTERS = 200
MAX_MS = 48 * 3600 * 1000
READING_MS_A_CHARACTER = 65  # about 150 words a minute; for a last line without an end
CAPTION_CHARACTERS = 84  # two lines of 42, a common practice of captioning
_TIMING = re.compile(r"^\s*(\S+)\s+-->\s+(\S+)(?:\s+.*)?$")
_CLOCK = re.compile(r"^(?:(\d{1,3}):)?(\d{1,3}):(\d{1,2})(?:([.,])(\d{1,3}))?$")
_STAMPED = re.compile(
    r"^\s*(?:[\[(]\s*((?:\d{1,3}:)?\d{1,3}:\d{2}(?:[.,]\d{1,3})?)\s*[\])]|((?:\d{1,3}:)?\d{1,3}:\d{2}(?:[.,]\d{1,3})?))"
    r"\s*(?:[-–—:|]\s+)?(.*)$"
)
_VOICE = re.compile(r"<v(?:\.[^\s>]*)?\s+([^>]+)>", re.IGNORECASE)
_TAG = re.compile(r"</?[a-zA-Z0-9:.][^<>]{0,200}>")
_SPEAKER = re.compile(r"^(?:>>\s*)?([A-Z][\w.' -]{0,30}?|[A-Z])\s*:\s+(?=\S)")
_CONTROL = re.compile(r"[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200b-\u200f\u202a-\u202e\u2066-\u2069\ufeff]")


class Cue(msgspec.Struct, frozen=True):
    """One line of a caption file; ``words`` is empty where only the whole has times."""

    time: TimeSpan
    text: str
    speaker: str | None = None
    words: tuple[Word, ...] = ()


def load_captions(path: Path) -> Transcript:
    """Read a transcript file by its ending (vtt, srt, json, txt).

    Raises CaptionError naming the line and what to do.
    """
    try:
        size = path.stat().st_size
        if size > MAX_BYTES:
            raise CaptionError(f"{path}: is larger than {MAX_BYTES >> 20} MB; that is no transcript of one session")
        data = path.read_bytes()
    except OSError as error:
        raise CaptionError(f"{path}: cannot be read ({error.strerror})") from error
    try:
        return parse_captions(data, path.suffix.lower().lstrip("."))
    except CaptionError as error:
        raise CaptionError(f"{path}: {error}") from error


def parse_captions(data: bytes, form: str) -> Transcript:
    """Parse the bytes of a transcript file; ``form`` is vtt, srt, json or txt. Raises CaptionError."""
    if not data.strip():
        raise CaptionError("is empty; export the transcript again")
    text = decode_text(data)
    if form == "json":
        cues, language = _parse_json(text)
    elif form == "vtt" or text.lstrip("\ufeff").startswith("WEBVTT"):
        cues, language = _parse_vtt(text), None
    elif form == "srt" or (form == "txt" and " --> " in text[:2000]):
        cues, language = _parse_srt(text), None
    elif form == "txt":
        cues, language = _parse_stamped(text), None
    else:
        raise CaptionError(f"the ending .{form} is not known; use vtt, srt, json or txt")
    decoded = bool(cues) and all(cue.words for cue in cues)
    segments: list[Segment] = []
    for cue in cues:
        if words := (cue.words if decoded else spread(cue.text, cue.time)):
            segments.append(Segment(len(segments), words, cue.speaker))
    if not segments:
        raise CaptionError("holds no words; export the transcript again")
    return Transcript(
        recording_sha256=hashlib.sha256(data).hexdigest(),
        language=language or "en",
        asr_model="imported",
        segments=tuple(segments),
        duration_ms=max(segment.time.end_ms for segment in segments),
        word_times="decoded" if decoded else "interpolated",
    )


def decode_text(data: bytes) -> str:
    """Text from bytes: UTF-8, UTF-16 with its mark, else Windows-1252, control characters dropped.

    Raises CaptionError where a file mixes encodings, because words would be lost silently.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        try:
            text = data.decode("utf-16")
        except UnicodeDecodeError as error:
            raise CaptionError(f"is damaged UTF-16 at byte {error.start}; save it as UTF-8") from error
    else:
        try:
            text = data.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            line = data.count(b"\n", 0, error.start) + 1
            if re.search(rb"[\xc3-\xf4][\x80-\xbf]", data):
                raise CaptionError(f"mixes encodings (line {line} is not UTF-8); save it as UTF-8") from error
            text = data.decode("cp1252", errors="replace")
    return _CONTROL.sub("", text.replace("\r\n", "\n").replace("\r", "\n"))


def spread(text: str, time: TimeSpan) -> tuple[Word, ...]:
    """Words with times spread over a span by their length in characters."""
    texts = [word for word in text.split() if any(c.isalnum() for c in word)]
    total = sum(len(word) + 1 for word in texts)
    words, at = [], 0
    for word in texts:
        start_ms = time.start_ms + time.duration_ms * at // total
        at += len(word) + 1
        words.append(
            Word(TimeSpan(start_ms, time.start_ms + time.duration_ms * at // total), word[:MAX_WORD_CHARACTERS])
        )
    return tuple(words)


# ---------------------------------------------------------------- parsing


def _clock_ms(text: str, line: int, *, comma: bool, strict: bool) -> int:
    match = _CLOCK.match(text)
    if match is None:
        raise CaptionError(f"line {line}: {text[:40]!r} is not a time; write it as 00:01:02{',' if comma else '.'}500")
    hours, minutes, seconds, mark, fraction = match.groups()
    if strict and (mark is None or (mark == ",") != comma or len(fraction) != 3):
        wanted = "a comma" if comma else "a full stop"
        raise CaptionError(f"line {line}: {text!r} must have {wanted} and three digits for the milliseconds")
    if int(seconds) > 59 or (int(minutes) > 59 and (hours is not None or strict)):
        raise CaptionError(f"line {line}: {text!r} has more than 59 minutes or seconds; write hours as 01:00:00")
    ms = ((int(hours or 0) * 60 + int(minutes)) * 60 + int(seconds)) * 1000 + int((fraction or "0").ljust(3, "0"))
    if ms > MAX_MS:
        raise CaptionError(f"line {line}: {text!r} is more than 48 hours; check the times")
    return ms


def _timed_blocks(text: str, *, comma: bool) -> Iterator[tuple[int, TimeSpan, list[str]]]:
    lines = text.split("\n")
    at, last_start = 0, 0
    while at < len(lines):
        match = _TIMING.match(lines[at]) if "-->" in lines[at] else None
        if match is None:
            if "-->" in lines[at] and not lines[at].lstrip().startswith("NOTE"):
                raise CaptionError(
                    f"line {at + 1}: {lines[at].strip()[:60]!r} is not a timing line; write start --> end"
                )
            at += 1
            continue
        number = at + 1
        start = _clock_ms(match[1], number, comma=comma, strict=True)
        end = _clock_ms(match[2], number, comma=comma, strict=True)
        if end < start:
            raise CaptionError(f"line {number}: the end {match[2]} is before the start {match[1]}; mend the times")
        if start < last_start:
            raise CaptionError(f"line {number}: the time {match[1]} goes backwards; sort the captions by time")
        last_start = start
        at += 1
        body = []
        while at < len(lines) and lines[at].strip():
            body.append(lines[at])
            at += 1
        yield number, TimeSpan(start, end), body


def _parse_vtt(text: str) -> list[Cue]:
    first = text.split("\n", 1)[0]
    if not re.match(r"^WEBVTT(?:[ \t].*)?$", first):
        raise CaptionError("line 1: a WebVTT file begins with WEBVTT; add that line")
    kept = re.sub(r"(?m)^(?:NOTE|STYLE|REGION)\b[^\n]*\n(?:[^\n]+\n)*", lambda m: "\n" * m[0].count("\n"), text)
    cues = []
    for _, time, body in _timed_blocks(kept, comma=False):
        joined = " ".join(body)
        voice = _VOICE.search(joined)
        plain = html.unescape(_TAG.sub("", _VOICE.sub("", joined)))
        cues.append(_cue(time, plain, voice[1].strip() if voice else None))
    return cues


def _parse_srt(text: str) -> list[Cue]:
    return [_cue(time, _TAG.sub("", " ".join(body)), None) for _, time, body in _timed_blocks(text, comma=True)]


def _cue(time: TimeSpan, text: str, speaker: str | None) -> Cue:
    text = " ".join(text.split())
    if speaker is None and (match := _SPEAKER.match(text)):
        speaker, text = match[1].strip(), text[match.end() :]
    return Cue(time, text, speaker)


def _parse_stamped(text: str) -> list[Cue]:
    starts: list[tuple[int, int, list[str]]] = []
    for number, line in enumerate(text.split("\n"), start=1):
        match = _STAMPED.match(line)
        if match is not None:
            ms = _clock_ms(match[1] or match[2], number, comma=False, strict=False)
            if starts and ms < starts[-1][0]:
                raise CaptionError(f"line {number}: the time {match[1] or match[2]} goes backwards; mend the stamps")
            starts.append((ms, number, [match[3]]))
        elif line.strip():
            if not starts:
                raise CaptionError(f"line {number}: has no time; begin lines with a stamp such as [1:05] or 00:01:05")
            starts[-1][2].append(line)
    if not starts:
        raise CaptionError("has no time stamps; begin lines with a stamp such as [1:05] or 00:01:05")
    cues = []
    for at, (start, _, lines) in enumerate(starts):
        said = " ".join(" ".join(lines).split())
        wanted = max(500, len(said) * READING_MS_A_CHARACTER)
        end = start + wanted
        if at + 1 < len(starts):
            end = max(start, min(end + 30_000, starts[at + 1][0]))
        cues.append(_cue(TimeSpan(start, end), said, None))
    return cues


def _parse_json(text: str) -> tuple[list[Cue], str | None]:
    try:
        value = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise CaptionError(f"is not valid JSON ({error}); export the transcript again") from error
    language = None
    if isinstance(value, dict):
        found = value.get("language")
        language = (
            found if isinstance(found, str) and re.fullmatch(r"[A-Za-z]{2,3}(?:-[A-Za-z0-9]{2,8})*", found) else None
        )
        value = value.get("segments")
    if not isinstance(value, list):
        raise CaptionError('has no list of segments; a transcript has {"segments": [{start, end, text}]}')
    cues = []
    last = 0
    for number, item in enumerate(value, start=1):
        if not isinstance(item, dict):
            raise CaptionError(f"segment {number}: is not an object with start, end and text")
        time = _json_time(item, f"segment {number}")
        if time.start_ms < last:
            raise CaptionError(f"segment {number}: starts before the one above it; sort the segments by time")
        last = time.start_ms
        speaker = item.get("speaker")
        words = _json_words(item.get("words"), number)
        said = item.get("text")
        if not isinstance(said, str):
            said = " ".join(word.text for word in words)
        cue = _cue(time, said, speaker if isinstance(speaker, str) else None)
        cues.append(msgspec.structs.replace(cue, words=words))
    return cues, language


def _json_time(item: dict[str, Any], place: str) -> TimeSpan:
    values = []
    for name in ("start", "end"):
        value = item.get(name)
        if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= MAX_MS / 1000:
            raise CaptionError(f"{place}: {name!r} must be seconds from the start, 0 or more")
        values.append(round(value * 1000))
    if values[1] < values[0]:
        raise CaptionError(f"{place}: ends before it starts; mend the times")
    return TimeSpan(values[0], values[1])


def _json_words(items: Any, number: int) -> tuple[Word, ...]:
    if not isinstance(items, list):
        return ()
    words: list[Word] = []
    for item in items:
        if not isinstance(item, dict) or "start" not in item or "end" not in item:
            return ()  # some writers leave out the times of single words; then the whole segment counts
        time = _json_time(item, f"segment {number}, a word")
        text = item.get("word", item.get("text"))
        probability = item.get("probability", item.get("score"))
        if not isinstance(text, str):
            return ()
        sure = float(probability) if isinstance(probability, int | float) and 0 <= probability <= 1 else None
        bare = "".join(text.split())[:MAX_WORD_CHARACTERS]
        if any(c.isalnum() for c in bare):
            words.append(Word(time, bare, sure))
        elif words and bare:
            words[-1] = msgspec.structs.replace(words[-1], text=words[-1].text + bare)
    return tuple(words)


# ---------------------------------------------------------------- writing


def vtt_clock(ms: int) -> str:
    """A WebVTT time.

    >>> vtt_clock(3_723_004)
    '01:02:03.004'
    """
    return f"{ms // 3600000:02d}:{ms // 60000 % 60:02d}:{ms // 1000 % 60:02d}.{ms % 1000:03d}"


def write_vtt(reading: Reading) -> str:
    """The restored reading as WebVTT captions of at most two lines, cut at sentence ends where possible."""
    return compose_vtt(reading.tokens, {s.id: s.speaker for s in reading.transcript.segments})


def compose_vtt(tokens: Sequence[Token], speakers: dict[int, str | None] | None = None) -> str:
    blocks = ["WEBVTT"]
    for group in _caption_groups(tokens):
        start_ms = group[0].time.start_ms
        end_ms = max(start_ms + 1, group[-1].time.end_ms)
        speaker = (speakers or {}).get(group[0].segment_id)
        voice = f"<v {_escape(speaker)}>" if speaker else ""
        said = _escape(" ".join(token.text for token in group))
        blocks.append(f"{vtt_clock(start_ms)} --> {vtt_clock(end_ms)}\n{voice}{said}")
    return "\n\n".join(blocks) + "\n"


def _escape(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")


def _caption_groups(tokens: Sequence[Token]) -> Iterator[list[Token]]:
    group: list[Token] = []
    length = 0
    for token in tokens:
        if group and (token.segment_id != group[-1].segment_id or length + len(token.text) + 1 > CAPTION_CHARACTERS):
            yield group
            group, length = [], 0
        group.append(token)
        length += len(token.text) + 1
        if length > CAPTION_CHARACTERS // 2 and token.text.endswith((".", "?", "!")):
            yield group
            group, length = [], 0
    if group:
        yield group


def write_text(reading: Reading) -> str:
    """The restored reading as plain text, a line a segment, each with its stamp ``[h:mm:ss]``."""
    lines = []
    for segment in reading.transcript.segments:
        seconds = segment.time.start_ms // 1000
        stamp = f"[{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}]"
        speaker = f"{segment.speaker}: " if segment.speaker else ""
        lines.append(f"{stamp} {speaker}{reading.text_of(reading.transcript.segment_range(segment.id))}")
    return "\n".join(lines) + "\n"
