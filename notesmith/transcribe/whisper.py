"""Transcribe with faster-whisper, resumable after every window and word for word what it says by itself.

One thing is done otherwise: where the first decoding of a window looks wrong, faster-whisper samples at random and says
something else in every run. Here a window that only repeats itself is decoded again with repetition barred, so that one
sound gives the same words in every run and after every kill.

faster-whisper decodes the detected speech in windows of at most 30 seconds; where the next window begins depends on
the last words of the one before. ``WindowedWhisper`` notes, after each window, what it said and where it would go on,
so that a killed run can go on there and end with the same words and times.

Nothing is prompted: ``hotwords`` and prompts made Whisper base drop speech and add terms that nobody said.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple, Protocol

import ctranslate2
import msgspec
import numpy as np
from faster_whisper import WhisperModel
from faster_whisper.transcribe import restore_speech_timestamps
from faster_whisper.vad import VadOptions, collect_chunks, get_speech_timestamps

from notesmith.errors import ModelError, RecordingError
from notesmith.profiles import Profile
from notesmith.recording import RATE_HZ, Sound, SoundBlock, probe, sound_blocks
from notesmith.sounds.ear import FRAME_MS, NOTHING, load_ear
from notesmith.sounds.hearing import LEAST_NATS, Passage, PhoneHearing, pack
from notesmith.threads import cores
from notesmith.transcribe.adapt import adapted_files, load_changes
from notesmith.transcribe.model import ModelPlace, find_model
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange

VERSION = "4"
COMPRESSION = 3  # place of the compression ratio in what faster-whisper's decoding returns
UNREPEATED = 4  # tokens that may not come again in the same order
FRAME_SAMPLES, EAR_SAMPLES = RATE_HZ // 100, RATE_HZ * FRAME_MS // 1000
TAIL_MS = 300  # of sound after a window's last word whose phones are kept with it
BLOCK_NUMBER = 10_000  # windows of block b are numbered from b * BLOCK_NUMBER

Progress = Callable[[int, int], None]


class HeardWord(msgspec.Struct, frozen=True):
    """A word as the model gave it; seconds from the start of what it was given."""

    start_s: float
    end_s: float
    text: str
    probability: float


class Encoded(NamedTuple):
    """What the packaged model's encoder made of a window: (1, frames of 20 ms, width), and the frame of 10 ms it begins at."""

    first_frame: int
    output: ctranslate2.StorageView


class HeardWindow(msgspec.Struct, frozen=True):
    """What one window said and where decoding goes on: frames of 10 ms of detected speech."""

    number: int
    segments: tuple[tuple[HeardWord, ...], ...]
    next_frame: int
    last_word_end_s: float
    encoded: Encoded | None = None


class SpeechModel(Protocol):
    """What the pipeline needs of a speech model; tests inject a fake."""

    name: str

    def windows(
        self, speech: Sound, *, language: str, beam_size: int, first_frame: int, last_word_end_s: float
    ) -> Iterable[HeardWindow]:
        """Decode (n,) float32 sound at 16 kHz that holds only speech, window by window from a frame on."""


class WindowedWhisper(WhisperModel):  # type: ignore[misc]
    """faster-whisper's model, telling at each window's end where the next one begins."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._state: tuple[list[Any], int, bool, float] | None = None
        self._resume_end_s: float | None = None
        self.on_encode: Callable[[], None] | None = None
        self._encoded: Any = None

    def encode(self, features: Any) -> Any:
        if self.on_encode is not None:
            self.on_encode()
        self._encoded = super().encode(features)
        return self._encoded

    def generate_with_fallback(self, encoder_output: Any, prompt: Any, tokenizer: Any, options: Any) -> Any:
        """The likeliest words; words that only repeat themselves give way to the likeliest that do not."""
        plain = dataclasses.replace(options, temperatures=[0.0])
        first = super().generate_with_fallback(encoder_output, prompt, tokenizer, plain)
        most = options.compression_ratio_threshold
        if most is None or first[COMPRESSION] <= most:
            return first
        barred = dataclasses.replace(plain, no_repeat_ngram_size=UNREPEATED)
        again = super().generate_with_fallback(encoder_output, prompt, tokenizer, barred)
        return again if again[COMPRESSION] < first[COMPRESSION] else first

    def _split_segments_by_timestamps(self, **kwargs: Any) -> Any:
        segments, seek, single_ending = super()._split_segments_by_timestamps(**kwargs)
        self._state = (segments, seek, single_ending, kwargs["time_offset"])
        return segments, seek, single_ending

    def add_word_timestamps(self, *args: Any, last_speech_timestamp: float, **kwargs: Any) -> Any:
        if self._resume_end_s is not None:
            last_speech_timestamp, self._resume_end_s = self._resume_end_s, None
        return super().add_word_timestamps(*args, last_speech_timestamp=last_speech_timestamp, **kwargs)

    def take_place(self) -> tuple[int, float | None, Encoded] | None:
        """Where the next window begins, when the last word ended, by the rule of generate_segments, and what was encoded."""
        if self._state is None:
            return None
        segments, seek, single_ending, offset_s = self._state
        self._state = None
        end_s = next((s["words"][-1]["end"] for s in reversed(segments) if s["words"]), None)
        if end_s is None:
            end_s = segments[-1]["end"] if segments else None
        if not single_ending and end_s is not None and end_s > offset_s:
            seek = round(end_s * self.frames_per_second)
        encoded, self._encoded = self._encoded, None
        return seek, end_s, Encoded(round(offset_s * self.frames_per_second), encoded)

    def resume_from(self, last_word_end_s: float) -> None:
        self._state = None
        self._resume_end_s = last_word_end_s or None


class WhisperSpeech:
    """A loaded faster-whisper model as a SpeechModel."""

    def __init__(self, place: ModelPlace, *, threads: int = 0) -> None:
        self.name = place.name
        device, compute = ("cuda", "float16") if ctranslate2.get_cuda_device_count() else ("cpu", "int8")
        source = str(place.folder) if place.folder is not None else str(place.hub_name)
        self.encodes_as_base = place.encodes_as_base
        try:
            files = adapted_files(place.folder, load_changes()) if place.adapted and place.folder is not None else None
            self.model = WindowedWhisper(
                source, device=device, compute_type=compute, cpu_threads=threads or cores(), files=files
            )
        except Exception as error:
            if place.folder is not None:
                raise ModelError(
                    f"{place.folder}: the speech model cannot be loaded ({error}); copy it again"
                ) from error
            raise ModelError(
                f"the speech model {place.hub_name!r} cannot be fetched from the hub ({type(error).__name__}); "
                "check the network, or use the packaged model or a model folder"
            ) from error

    def windows(
        self, speech: Sound, *, language: str, beam_size: int, first_frame: int, last_word_end_s: float
    ) -> Iterable[HeardWindow]:
        model = self.model
        ready: list[HeardWindow] = []
        spoken: list[tuple[HeardWord, ...]] = []
        number, end_s = 0, last_word_end_s

        def close_window() -> None:
            nonlocal number, end_s
            if (place := model.take_place()) is None:
                return
            frame, window_end_s, encoded = place
            end_s = end_s if window_end_s is None else float(window_end_s)
            told = encoded if self.encodes_as_base else None  # the ear was taught on that model's encoder
            ready.append(HeardWindow(number, tuple(spoken), frame, end_s, told))
            spoken.clear()
            number += 1

        model.resume_from(last_word_end_s)
        # The generator runs while we hold its segments, so a window is known to be over only when the next is encoded.
        model.on_encode = close_window
        try:
            segments, _ = model.transcribe(
                speech,
                language=language,
                beam_size=beam_size,
                word_timestamps=True,
                vad_filter=False,
                condition_on_previous_text=False,
                clip_timestamps=[first_frame / model.frames_per_second],
            )
            for segment in segments:
                yield from ready
                ready.clear()
                spoken.append(
                    tuple(HeardWord(float(w.start), float(w.end), w.word, float(w.probability)) for w in segment.words)
                )
            close_window()
            yield from ready
        finally:
            model.on_encode = None


def load_model(wanted: str = "packaged") -> WhisperSpeech:
    """Find and load a speech model. Raises ModelError."""
    return WhisperSpeech(find_model(wanted))


class StoredWindow(msgspec.Struct, frozen=True):
    """A finished window: words with times in the recording, the place to go on from, and the phones where asked for.

    ``phones`` are packed (sounds.hearing) and begin at ``phones_start_ms`` of the recording.
    """

    segments: tuple[Segment, ...]
    next_frame: int
    last_word_end_s: float
    phones_start_ms: int = 0
    phones: bytes = b""


def transcribe(
    path: Path,
    model: SpeechModel,
    *,
    recording_sha256: str,
    language: str,
    profile: Profile,
    done: Mapping[int, StoredWindow] | None = None,
    on_window: Callable[[int, StoredWindow], None] = lambda _number, _window: None,
    progress: Progress = lambda _done_ms, _total_ms: None,
) -> Transcript:
    """The recording as heard.

    ``done`` holds the windows of an earlier run by number; decoding goes on after them. ``on_window`` is called as
    each window is finished. ``progress`` gets milliseconds of the recording, done and in all.
    Raises RecordingError for a recording that cannot be decoded or holds no speech.
    """
    finished = dict(done or {})
    total_ms = probe(path).duration_ms
    segments: list[Segment] = []
    length_ms = 0
    for block in sound_blocks(path):
        length_ms = block.start_ms + len(block.samples) * 1000 // RATE_HZ
        for window in _block_windows(block, model, language, profile, finished, on_window):
            segments.extend(window.segments)
            heard_ms = window.segments[-1].time.end_ms if window.segments else block.start_ms
            progress(min(heard_ms, max(total_ms, length_ms)), max(total_ms, length_ms))
        progress(length_ms, max(total_ms, length_ms))
    numbered = tuple(Segment(number, segment.words) for number, segment in enumerate(segments))
    if not numbered:
        raise RecordingError(f"{path}: no speech was found in it; check that the voice was recorded")
    return Transcript(recording_sha256, language, model.name, numbered, duration_ms=length_ms)


def _block_windows(
    block: SoundBlock,
    model: SpeechModel,
    language: str,
    profile: Profile,
    finished: Mapping[int, StoredWindow],
    on_window: Callable[[int, StoredWindow], None],
) -> Iterable[StoredWindow]:
    first = block.number * BLOCK_NUMBER
    numbers = sorted(number for number in finished if first <= number < first + BLOCK_NUMBER)
    frame, end_s = 0, 0.0
    for number in numbers:
        frame, end_s = finished[number].next_frame, finished[number].last_word_end_s
        yield finished[number]
    chunks = get_speech_timestamps(block.samples, VadOptions())
    if not chunks:
        return
    speech = np.concatenate(collect_chunks(block.samples, chunks)[0])
    if frame * RATE_HZ // 100 >= len(speech):
        return
    after = numbers[-1] + 1 if numbers else first
    for heard in model.windows(
        speech, language=language, beam_size=profile.beam_size, first_frame=frame, last_word_end_s=end_s
    ):
        start_ms, phones = _phones(heard, chunks, block.start_ms) if profile.witness else (0, b"")
        segments = _in_recording(heard, chunks, block.start_ms)
        window = StoredWindow(segments, heard.next_frame, heard.last_word_end_s, start_ms, phones)
        on_window(after + heard.number, window)
        yield window


def _phones(heard: HeardWindow, chunks: Sequence[Mapping[str, int]], block_start_ms: int) -> tuple[int, bytes]:
    """When in the recording a window's phones begin, and they themselves, packed, with the silences put back."""
    if heard.encoded is None or not any(heard.segments):
        return 0, b""
    output = np.asarray(heard.encoded.output.to_device(ctranslate2.Device.cpu), dtype=np.float32)[0]
    sheet = load_ear().hear(output)
    first = heard.encoded.first_frame * FRAME_SAMPLES
    lengths = np.array([chunk["end"] - chunk["start"] for chunk in chunks])
    ends = np.cumsum(lengths)
    last = min(heard.next_frame * FRAME_SAMPLES + TAIL_MS * RATE_HZ // 1000, int(ends[-1]))
    at = first + np.arange(min(len(sheet), (last - first) // EAR_SAMPLES)) * EAR_SAMPLES
    if not len(at):
        return 0, b""
    chunk = np.searchsorted(ends, at, side="right")
    silences = np.array([chunk["start"] for chunk in chunks]) - (ends - lengths)
    frames = (at + silences[chunk]) // EAR_SAMPLES
    whole = np.full((int(frames[-1] - frames[0]) + 1, sheet.shape[1]), LEAST_NATS, np.float32)
    whole[:, NOTHING] = 0.0
    whole[frames - frames[0]] = sheet[: len(at)]
    return int(frames[0]) * FRAME_MS + block_start_ms, pack(whole)


def hearing_of(windows: Mapping[int, StoredWindow]) -> PhoneHearing | None:
    """The phones of all windows of a transcript; None where a window that says something has none."""
    passages: list[Passage] = []
    end = 0
    for _, window in sorted(windows.items()):
        start, end = end, end + sum(len(segment.words) for segment in window.segments)
        if end > start:
            if not window.phones:
                return None
            passages.append(Passage(WordRange(start, end), window.phones_start_ms, window.phones))
    return PhoneHearing(tuple(passages))


def _in_recording(heard: HeardWindow, chunks: Sequence[Mapping[str, int]], block_start_ms: int) -> tuple[Segment, ...]:
    """Words with their times put back from the joined speech to the recording, silences included."""
    found = [_RawSegment([_RawWord(w.start_s, w.end_s, w.text, w.probability) for w in s]) for s in heard.segments if s]
    restored = restore_speech_timestamps(found, list(chunks), RATE_HZ)
    return tuple(Segment(0, words) for raw in restored if (words := _whole_words(raw.words, block_start_ms)))


class _RawWord:
    """A word in the shape faster-whisper's own time restoring works on."""

    def __init__(self, start: float, end: float, word: str, probability: float) -> None:
        self.start, self.end, self.word, self.probability = start, end, word, probability


class _RawSegment:
    def __init__(self, words: list[_RawWord]) -> None:
        self.words = words
        self.start, self.end = words[0].start, words[-1].end


def _whole_words(pieces: Sequence[_RawWord], block_start_ms: int) -> tuple[Word, ...]:
    """Written words: the model's pieces joined where no blank stands between them (``fig`` ``-like``)."""
    words: list[Word] = []
    for piece in pieces:
        text = "".join(piece.word.split())
        start_ms = max(0, round(piece.start * 1000)) + block_start_ms
        end_ms = max(start_ms, round(piece.end * 1000) + block_start_ms)
        spoken = any(character.isalnum() for character in text)
        if words and text and (not piece.word[:1].isspace() or not spoken):
            last = words[-1]
            probability = min(last.probability or 0.0, round(piece.probability, 4)) if spoken else last.probability
            time = TimeSpan(last.time.start_ms, max(last.time.end_ms, end_ms))
            words[-1] = Word(time, last.text + text, probability)
        elif spoken:
            words.append(Word(TimeSpan(start_ms, end_ms), text, round(piece.probability, 4)))
    return tuple(words)
