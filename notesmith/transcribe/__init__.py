"""From a recording, or a transcript made elsewhere, to a Transcript as heard."""

from notesmith.transcribe.captions import compose_vtt, load_captions, parse_captions, write_text, write_vtt
from notesmith.transcribe.model import ModelPlace, find_model
from notesmith.transcribe.whisper import (
    VERSION,
    SpeechModel,
    StoredWindow,
    WhisperSpeech,
    hearing_of,
    load_model,
    transcribe,
)
from notesmith.transcribe.witness import AudioWitness, audio_witness

__all__ = [
    "VERSION",
    "AudioWitness",
    "ModelPlace",
    "SpeechModel",
    "StoredWindow",
    "WhisperSpeech",
    "audio_witness",
    "compose_vtt",
    "find_model",
    "hearing_of",
    "load_captions",
    "load_model",
    "parse_captions",
    "transcribe",
    "write_text",
    "write_vtt",
]  # fmt: skip
