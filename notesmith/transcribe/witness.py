"""The sound as a witness: how well each of some wordings of a sentence fits what is heard there.

The speech model is made to say a given text over the sound (forced decoding), and the log-probabilities of its tokens
are added up. Rare spellings are cut into more tokens and pay for each of them, so every token is given back a constant,
``TOKEN_PRIOR``. Measured on the dev lectures (benchmarks/measure_witness.py): the right term comes first among its
rivals far more often than not; what was heard keeps a lead of a few nats because it was decoded from this very sound,
so the margin over it must be weighed with the other evidence, never taken as a verdict.

Only the sentence's own sound is encoded, not half a minute filled up with silence: the ranking is as good (on 74
misheard terms the right one came first 67 times either way) and the encoder has less to do.
"""

from __future__ import annotations

from collections import OrderedDict
from collections.abc import Sequence
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import ctranslate2
import numpy as np
from faster_whisper.tokenizer import Tokenizer
from numpy.typing import NDArray

from notesmith.errors import ModelError, RecordingError
from notesmith.recording import Sound, clip
from notesmith.sounds.ear import load_ear
from notesmith.transcribe.whisper import SpeechModel, WhisperSpeech, WindowedWhisper, load_model
from notesmith.transcript import TimeSpan

TOKEN_PRIOR = 2.0
LEAD_MS, TAIL_MS = 200, 300
LONGEST_MS = 28_000  # the model hears 30 seconds at most
LONGEST_TOKENS = 200  # its text window is 448 tokens
KEPT_SENTENCES = 8
LEAST_PROBABILITY = 1e-9
DEAF_FRAMES = 50  # of the encoder's output


class AudioWitness:
    """Scores wordings of the sentences of one recording; the last sentences' encodings are kept."""

    def __init__(self, path: Path, model: WhisperSpeech, language: str = "en") -> None:
        self._path = path
        self._model, self._as_base = model.model, model.encodes_as_base
        self._language = language
        self._tokenizers: dict[str, Tokenizer] = {}
        self._deaf: NDArray[np.float32] | None = None
        self._encoded: OrderedDict[TimeSpan, tuple[NDArray[np.float32], int] | None] = OrderedDict()

    def score(self, time: TimeSpan, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        """One number for each wording of ``before + wording + after``, in nats; higher fits better.

        ``time`` is that of the whole sentence, from the first word of ``before`` to the last of ``after``: the sound
        and the text must begin together. Numbers of one call compare with each other only. All are 0 where the sound
        of that time cannot be had, or the sentence is longer than the model hears at once.
        """
        encoded = self._encode(time)
        tokens = self._tokens(before, wordings, after)
        if encoded is None or not wordings or max(len(row) for row in tokens) > LONGEST_TOKENS:
            return [0.0] * len(wordings)
        return self._forced(*encoded, tokens)

    def expect(self, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        """What the model would say of the same wordings deaf: its own expectation of the words, in nats.

        The cross-attention is given nothing (zeros), which leaves the model's internal language model (Meng and
        others, Internal Language Model Estimation, SLT 2021). All are 0 where the sentence is too long.
        """
        tokens = self._tokens(before, wordings, after)
        if not wordings or max(len(row) for row in tokens) > LONGEST_TOKENS:
            return [0.0] * len(wordings)
        if self._deaf is None:
            sound = np.zeros((1, self._model.feature_extractor.mel_filters.shape[0], 2 * DEAF_FRAMES), np.float32)
            heard = self._model.model.encode(ctranslate2.StorageView.from_array(sound), to_cpu=True)
            self._deaf = np.zeros_like(np.asarray(heard, dtype=np.float32))
        return self._forced(self._deaf, 2 * DEAF_FRAMES, tokens)

    def phones(self, time: TimeSpan) -> tuple[NDArray[np.float32], int] | None:
        """Log-probabilities (frames, phones and nothing) of a stretch of sound, and the millisecond where they begin.

        None where the sound cannot be had. The ear was taught on Whisper base's encoder, so it listens through that
        one whichever model transcribes; where that is not installed, it hears nothing.
        """
        encoded = self.encoded(time)
        return None if encoded is None else (load_ear().hear(encoded[0]), encoded[1])

    def encoded(self, time: TimeSpan) -> tuple[NDArray[np.float32], int] | None:
        """What the ear is given: the encoder's output (frames, width), and the millisecond where it begins."""
        if self._ear_model is None:
            return None
        encoded = self._encode_afresh(time, self._ear_model)
        return None if encoded is None else (encoded[0][0], max(0, time.start_ms - LEAD_MS))

    @cached_property
    def _ear_model(self) -> WindowedWhisper | None:
        return self._model if self._as_base else _packaged_model()

    def _tokens(self, before: str, wordings: Sequence[str], after: str) -> list[list[int]]:
        tokenizer = self._tokenizer()
        return [tokenizer.encode(" " + " ".join(f"{before} {text} {after}".split())) for text in wordings]

    def _forced(self, features: NDArray[np.float32], frames: int, tokens: list[list[int]]) -> list[float]:
        """Summed log-probabilities of each row of tokens, said over the same encoded sound."""
        repeated = ctranslate2.StorageView.from_array(np.repeat(features, len(tokens), axis=0))
        aligned = self._model.model.align(repeated, self._tokenizer().sot_sequence, tokens, [frames] * len(tokens))
        scores = []
        for row, found in zip(tokens, aligned, strict=True):
            likely = np.log(np.maximum(LEAST_PROBABILITY, np.asarray(found.text_token_probs, dtype=np.float64)))
            scores.append(float(likely.sum()) + TOKEN_PRIOR * len(row))
        return scores

    def _tokenizer(self) -> Tokenizer:
        if self._language not in self._tokenizers:
            self._tokenizers[self._language] = Tokenizer(
                self._model.hf_tokenizer, self._model.model.is_multilingual, task="transcribe", language=self._language
            )
        return self._tokenizers[self._language]

    def _encode(self, time: TimeSpan) -> tuple[NDArray[np.float32], int] | None:
        """The encoder's output, (1, frames, width), and the number of feature frames; None where there is no sound."""
        if time in self._encoded:
            self._encoded.move_to_end(time)
            return self._encoded[time]
        self._encoded[time] = self._encode_afresh(time, self._model)
        if len(self._encoded) > KEPT_SENTENCES:
            self._encoded.popitem(last=False)
        return self._encoded[time]

    def _encode_afresh(self, time: TimeSpan, model: WindowedWhisper) -> tuple[NDArray[np.float32], int] | None:
        if time.duration_ms > LONGEST_MS:
            return None
        try:
            sound = clip(self._path, TimeSpan(max(0, time.start_ms - LEAD_MS), time.end_ms + TAIL_MS))
        except RecordingError:
            return None
        if len(sound) < 1600:
            return None
        return encode(model, sound)


def encode(model: WindowedWhisper, sound: Sound) -> tuple[NDArray[np.float32], int]:
    """The encoder's output for (n,) sound at 16 kHz, (1, frames, width), and the number of feature frames, twice as many.

    The sound alone is encoded, not filled up to half a minute.
    """
    features = model.feature_extractor(sound, padding=0)
    frames = features.shape[-1] // 2 * 2  # the encoder halves the time
    batch: Any = ctranslate2.StorageView.from_array(np.ascontiguousarray(features[None, :, :frames], np.float32))
    return np.asarray(model.model.encode(batch, to_cpu=True), dtype=np.float32), frames


@lru_cache(maxsize=1)
def _packaged_model() -> WindowedWhisper | None:
    try:
        return load_model("base").model
    except ModelError:
        return None


def audio_witness(path: Path, model: SpeechModel, language: str = "en") -> AudioWitness | None:
    """A witness for a recording, or None where the model can only transcribe."""
    return AudioWitness(path, model, language) if isinstance(model, WhisperSpeech) else None
