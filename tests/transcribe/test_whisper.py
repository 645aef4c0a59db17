"""Transcribing: windows that can be resumed anywhere, times in the recording, what cannot be transcribed.

The outside judge of the real model's words is faster-whisper itself on the same recording with the same settings.
"""

from __future__ import annotations

import logging
from collections.abc import Iterable, Sequence
from pathlib import Path
from types import SimpleNamespace

import msgspec
import numpy as np
import pytest
from faster_whisper.transcribe import TranscriptionOptions
from rapidfuzz.distance import Levenshtein

from notesmith.errors import ModelError, RecordingError
from notesmith.profiles import ACCURATE, TESTING
from notesmith.recording import RATE_HZ, clip
from notesmith.sounds.ear import FRAME_MS, spell
from notesmith.transcribe import StoredWindow, audio_witness, find_model, hearing_of, load_model, transcribe
from notesmith.transcribe.whisper import HeardWindow, HeardWord, WindowedWhisper
from notesmith.transcript import TimeSpan

SAMPLES = Path(__file__).resolve().parents[2] / "sample_audio"
FRAMES_A_WINDOW = 300  # 3 s of speech


class ClockSpeech:
    """A stand-in for the model: every second of speech it is given is one word that tells its place."""

    name = "clock"

    def __init__(self, stop_after: int | None = None) -> None:
        self.stop_after = stop_after
        self.decoded: list[int] = []

    def windows(
        self, speech: np.ndarray, *, language: str, beam_size: int, first_frame: int, last_word_end_s: float
    ) -> Iterable[HeardWindow]:
        frames = len(speech) * 100 // RATE_HZ
        for number, begin in enumerate(range(first_frame, frames, FRAMES_A_WINDOW)):
            if self.stop_after is not None and len(self.decoded) >= self.stop_after:
                raise KeyboardInterrupt
            self.decoded.append(begin)
            end = min(begin + FRAMES_A_WINDOW, frames)
            words = tuple(
                HeardWord(at / 100, min(at + 90, end) / 100, f" w{at // 100}", 0.5) for at in range(begin, end, 100)
            )
            yield HeardWindow(number, (words,), end, end / 100)


@pytest.fixture
def lecture(tmp_path, write_sound) -> Path:
    """40 seconds of a sample session with a minute of silence in the middle."""
    sample = sorted(SAMPLES.glob("*.opus"))
    if not sample:
        pytest.skip("the sample recordings are not there")
    first, second = clip(sample[0], TimeSpan(0, 20_000)), clip(sample[0], TimeSpan(20_000, 40_000))
    return write_sound(tmp_path / "lecture.wav", np.concatenate([first, np.zeros(60 * RATE_HZ, np.float32), second]))


def run(path: Path, model, **more):
    return transcribe(path, model, recording_sha256="0" * 64, language="en", profile=TESTING, **more)


def test_words_carry_the_recordings_times_past_the_silence(lecture):
    transcript = run(lecture, ClockSpeech())
    assert transcript.asr_model == "clock"
    assert transcript.duration_ms == pytest.approx(100_000, abs=50)
    assert [segment.id for segment in transcript.segments] == list(range(len(transcript.segments)))
    starts = [word.time.start_ms for word in transcript.words]
    assert starts == sorted(starts)
    # Voice activity detection takes the silence out; its time must come back. Nothing is said inside it.
    assert not [ms for ms in starts if 22_000 < ms < 78_000]
    assert [ms for ms in starts if ms >= 79_000]


def test_a_run_killed_after_any_window_goes_on_there(lecture):
    whole_model = ClockSpeech()
    whole = run(lecture, whole_model)
    assert len(whole_model.decoded) > 4
    for stop in sorted({1, len(whole_model.decoded) // 2, len(whole_model.decoded) - 1}):
        kept: dict[int, StoredWindow] = {}
        killed = ClockSpeech(stop_after=stop)
        with pytest.raises(KeyboardInterrupt):
            run(lecture, killed, on_window=kept.__setitem__)
        assert len(kept) == stop
        resumed = ClockSpeech()
        again = run(lecture, resumed, done=kept, on_window=kept.__setitem__)
        assert again == whole
        assert killed.decoded + resumed.decoded == whole_model.decoded  # no window twice, none left out


def test_progress_rises_to_the_whole(lecture):
    seen: list[tuple[int, int]] = []
    run(lecture, ClockSpeech(), progress=lambda done, total: seen.append((done, total)))
    assert [done for done, _ in seen] == sorted(done for done, _ in seen)
    assert seen[-1][0] == seen[-1][1]


@pytest.mark.parametrize("kind", ["silence", "music"])
def test_a_recording_without_speech_is_told(tmp_path, write_sound, kind):
    seconds = np.arange(30 * RATE_HZ) / RATE_HZ
    sound = np.zeros(len(seconds))
    if kind == "music":  # a slow chord progression
        for first, notes in enumerate([(220, 277, 330), (196, 247, 294), (175, 220, 262)]):
            part = slice(first * 10 * RATE_HZ, (first + 1) * 10 * RATE_HZ)
            for note in notes:
                sound[part] += 0.1 * np.sin(2 * np.pi * note * seconds[part])
    path = write_sound(tmp_path / f"{kind}.wav", sound.astype(np.float32))
    with pytest.raises(RecordingError, match="no speech was found"):
        run(path, ClockSpeech())


def test_pieces_of_words_are_joined_and_signs_alone_are_no_words(lecture):
    class Pieces(ClockSpeech):
        def windows(self, speech: np.ndarray, **_: object) -> Iterable[HeardWindow]:
            said: Sequence[tuple[str, float]] = (
                (" fig", 0.9), ("-like", 0.5), (" warts", 0.8), (".", 0.1), (" -", 0.3), (" So", 0.7),
            )  # fmt: skip
            words = tuple(HeardWord(n, n + 0.5, text, sure) for n, (text, sure) in enumerate(said))
            yield HeardWindow(0, (words,), 600, 6.0)

    transcript = run(lecture, Pieces())
    assert [(w.text, w.probability) for w in transcript.words] == [("fig-like", 0.5), ("warts.-", 0.8), ("So", 0.7)]


@pytest.fixture(scope="module")
def speech_model():
    try:
        return load_model()
    except ModelError as error:
        pytest.skip(str(error))


@pytest.mark.model
def test_the_model_as_published_says_what_faster_whisper_says(speech_model, lecture):
    from faster_whisper import WhisperModel

    speech_model = load_model("base")  # that of the fixture is taught the terms

    kept: dict[int, StoredWindow] = {}
    mine = transcribe(
        lecture, speech_model, recording_sha256="0" * 64, language="en", profile=ACCURATE, on_window=kept.__setitem__
    )
    bare = WhisperModel(str(find_model("base").folder), device="cpu", compute_type="int8")
    segments, _ = bare.transcribe(
        str(lecture), language="en", beam_size=ACCURATE.beam_size, word_timestamps=True, vad_filter=True,
        condition_on_previous_text=False,
    )  # fmt: skip
    words = [word for segment in segments for word in segment.words]
    assert "".join(w.text for w in mine.words) == "".join(w.word.replace(" ", "") for w in words)
    starts = {round(w.start * 1000) for w in words}
    assert {w.time.start_ms for w in mine.words} <= starts
    for stop in range(1, len(kept)):
        done = {number: kept[number] for number in sorted(kept)[:stop]}
        again = transcribe(lecture, speech_model, recording_sha256="0" * 64, language="en", profile=ACCURATE, done=done)
        assert again == mine


@pytest.mark.model
def test_the_witness_prefers_what_was_said(speech_model, lecture):
    transcript = transcribe(
        lecture, speech_model, recording_sha256="0" * 64, language="en", profile=TESTING
    )  # fmt: skip
    witness = audio_witness(lecture, speech_model)
    assert witness is not None
    better = asked = 0
    for segment in transcript.segments[:12]:
        # The longest word: little words are hardly spoken, and the sound tells little of them.
        middle = max(range(len(segment.words)), key=lambda i: len(segment.words[i].text))
        if len(segment.words) < 6 or segment.time.duration_ms > 25_000:
            continue
        before = " ".join(word.text for word in segment.words[:middle])
        after = " ".join(word.text for word in segment.words[middle + 1 :])
        heard = segment.words[middle].text
        scores = witness.score(segment.time, before, [heard, "elephant", "umbrella"], after)
        asked += 1
        better += scores[0] > max(scores[1:])
    assert asked >= 3
    assert better == asked
    # A time outside the recording has no sound, so nothing speaks for anything.
    assert list(witness.score(TimeSpan(10**8, 10**8 + 4000), "", ["Thuja", "Sepia"], "")) == [0.0, 0.0]


@pytest.mark.model
def test_the_phones_kept_while_transcribing_are_those_in_the_sound(speech_model, lecture):
    """The judge is the same network over a fresh encoding of each stretch, which knows nothing of windows and silences."""
    kept: dict[int, StoredWindow] = {}
    said = transcribe(
        lecture, speech_model, recording_sha256="0" * 64, language="en", profile=ACCURATE, on_window=kept.__setitem__
    )
    hearing = hearing_of(kept)
    assert hearing is not None
    assert [i for one in hearing.passages for i in range(one.words.start, one.words.end)] == list(
        range(len(said.words))
    )
    witness = audio_witness(lecture, speech_model)
    assert witness is not None
    times: list[int] = []
    edits = size = 0
    for segment in said.segments:
        words = said.segment_range(segment.id)
        passage = next(one for one in hearing.passages if one.words.overlaps(words))
        mine = spell(passage.sheet())
        at = passage.start_ms + mine.frames * FRAME_MS
        inside = (at >= segment.time.start_ms) & (at <= segment.time.end_ms)
        times += at[inside].tolist()
        if (fresh := witness.phones(segment.time)) is None:  # longer than the witness listens at once
            continue
        theirs = spell(fresh[0]).phones
        phones = "".join(np.array(list(mine.phones))[inside])
        edits, size = edits + Levenshtein.distance(phones, theirs), size + len(theirs)
    assert size > 200
    assert edits < 0.2 * size
    assert not [ms for ms in times if 23_000 < ms < 77_000]  # the minute of silence
    del kept[max(kept)]
    assert (fewer := hearing_of(kept)) is not None and len(fewer.passages) < len(hearing.passages)
    kept[min(kept)] = msgspec.structs.replace(kept[min(kept)], phones=b"")
    assert hearing_of(kept) is None  # an earlier version's window has none


def test_no_phones_are_kept_where_the_sound_is_not_asked(lecture):
    kept: dict[int, StoredWindow] = {}
    run(lecture, ClockSpeech(), on_window=kept.__setitem__)
    assert kept
    assert not any(window.phones for window in kept.values())


def test_a_model_that_can_only_transcribe_gives_no_witness(tmp_path):
    assert audio_witness(tmp_path / "x.wav", ClockSpeech()) is None


class _Scripted:
    """Stands in for CTranslate2: loops unless repetition is barred, and notes how it was asked."""

    def __init__(self) -> None:
        self.asked: list[dict[str, object]] = []

    def generate(self, *_args: object, **settings: object) -> list[object]:
        self.asked.append(settings)
        tokens = list(range(20)) if settings["no_repeat_ngram_size"] else [7] * 200
        return [SimpleNamespace(sequences_ids=[tokens], scores=[-0.1], no_speech_prob=0.0)]


def test_a_window_that_repeats_itself_is_decoded_again_without_chance() -> None:
    model = WindowedWhisper.__new__(WindowedWhisper)
    model.model, model.max_length, model.time_precision = _Scripted(), 448, 0.02
    model.logger = logging.getLogger("test")
    tokenizer = SimpleNamespace(decode=lambda tokens: " ".join(f"word{t}" for t in tokens))
    options = TranscriptionOptions(
        beam_size=5, best_of=5, patience=1, length_penalty=1, repetition_penalty=1, no_repeat_ngram_size=0,
        log_prob_threshold=-1.0, no_speech_threshold=0.6, compression_ratio_threshold=2.4,
        condition_on_previous_text=False, prompt_reset_on_temperature=0.5, temperatures=[0.0, 0.2, 0.4],
        initial_prompt=None, prefix=None, suppress_blank=True, suppress_tokens=[], without_timestamps=False,
        max_initial_timestamp=1.0, word_timestamps=True, prepend_punctuations="", append_punctuations="",
        multilingual=False, max_new_tokens=None, clip_timestamps="0", hallucination_silence_threshold=None, hotwords=None,
    )  # fmt: skip
    result, *_ = model.generate_with_fallback(None, [1], tokenizer, options)
    assert result.sequences_ids[0] == list(range(20))
    assert len(model.model.asked) == 2
    assert not any("sampling_temperature" in settings for settings in model.model.asked)
