"""Speak the evaluation lectures, decode them with the real model, and keep the transcripts as heard.

    python benchmarks/lab/make_audio.py [train|dev|sealed6|sealed] [--only NAME]

Recordings go to the cache folder (``$NOTESMITH_LAB`` or the user's cache), because they are large and can be made
again, each with the phones heard while it was transcribed. Beside each script stay, for each voice of its lecturer:
``NAME.VOICE.times.tsv`` (the milliseconds of every line), ``NAME.VOICE.plain.json.gz`` (the Transcript as Whisper base decodes it),
``NAME.VOICE.adapted.json.gz`` (as the packaged model does, whose decoder is taught the terms) and ``NAME.VOICE.hotwords.json.gz`` (the
same recording decoded with the lecture's twelve most frequent terms as hotwords: a generous baseline, since it is told
which terms occur; not made for train). The dev part speaks each script with two voices; the sealed part uses voices
heard nowhere else; a train script that names no lecturer is spoken by two of the open voices in turn. All voices but piper's say the same
again; where a recording of ``joe`` or ``joe-low`` is made anew, delete what stands beside its script first, so that it
is decoded anew too (the committed times of the train ones are up to a second off from a new recording).
"""

from __future__ import annotations

import argparse
import gzip
import os
import random
import sys
from collections import Counter
from pathlib import Path

import av
import msgspec
import numpy as np
import platformdirs
from truth import Line, read_script
from voices import HELD_OUT_VOICES, RATE_HZ, VOICES, speak

from notesmith.files import sha256_of
from notesmith.profiles import ACCURATE
from notesmith.transcribe import StoredWindow, WhisperSpeech, find_model, hearing_of, transcribe
from notesmith.transcript import Segment, TimeSpan, Transcript, Word

DATA = Path(__file__).resolve().parents[1] / "data"
CACHE = Path(os.environ.get("NOTESMITH_LAB") or platformdirs.user_cache_path("notesmith") / "lab")
# What the microphone adds, by the order of the recordings in their part: a quiet room, some hiss, a narrow line.
ROOMS = ((0.0006, 0), (0.004, 0), (0.001, 3600))


def record(lines: tuple[Line, ...], lecturer: str, students: tuple[str, str], room: tuple[float, int], target: Path,
           seed: str) -> list[tuple[int, int]]:  # fmt: skip
    """Speak a lecture into a compressed recording; returns the milliseconds of every line."""
    pauses = random.Random(seed)
    voices = {"L": lecturer, "Q": students[0], "P": students[1]}
    pieces, times, at = [np.zeros(RATE_HZ // 2, np.float32)], [], RATE_HZ // 2
    for line in lines:
        sound = speak(voices[line.speaker], line.text)
        times.append((at * 1000 // RATE_HZ, (at + len(sound)) * 1000 // RATE_HZ))
        gap = np.zeros(int(RATE_HZ * pauses.uniform(0.4, 1.0)), np.float32)
        pieces += [sound, gap]
        at += len(sound) + len(gap)
    whole = np.concatenate(pieces)
    hiss, line_hz = room
    whole = whole + np.random.default_rng(len(seed)).normal(0, hiss, len(whole)).astype(np.float32)
    if line_hz:
        from scipy.signal import butter, sosfilt

        whole = sosfilt(butter(6, [150, line_hz], "bandpass", fs=RATE_HZ, output="sos"), whole).astype(np.float32)
    target.parent.mkdir(parents=True, exist_ok=True)
    with av.open(str(target), "w", format="ogg") as container:
        stream = container.add_stream("libopus", rate=RATE_HZ, layout="mono")
        stream.bit_rate = 32_000
        for first in range(0, len(whole), RATE_HZ):
            chunk = np.clip(whole[first : first + RATE_HZ], -1, 1).reshape(1, -1)
            frame = av.AudioFrame.from_ndarray(np.ascontiguousarray(chunk), format="flt", layout="mono")
            frame.sample_rate, frame.pts = RATE_HZ, first
            container.mux(stream.encode(frame))
        container.mux(stream.encode(None))
    return times


def with_hotwords(model: WhisperSpeech, recording: Path, lines: tuple[Line, ...], plain: Transcript) -> Transcript:
    counts = Counter(said.text for line in lines for said in line.said if said.concept_id and " " in said.text)
    hotwords = ", ".join(term for term, _ in counts.most_common(12))
    segments, _ = model.model.transcribe(
        str(recording), language="en", beam_size=ACCURATE.beam_size, word_timestamps=True, vad_filter=True,
        condition_on_previous_text=False, hotwords=hotwords,
    )  # fmt: skip
    kept = []
    for segment in segments:
        words = [
            Word(TimeSpan(round(float(w.start) * 1000), max(round(float(w.start) * 1000), round(float(w.end) * 1000))), w.word.strip(),
                 round(float(w.probability), 4))
            for w in segment.words or () if any(c.isalnum() for c in w.word)
        ]  # fmt: skip
        if words:
            kept.append(Segment(len(kept), tuple(words)))
    return msgspec.structs.replace(plain, asr_model=f"{plain.asr_model}+hotwords", segments=tuple(kept))


def decoded(recording: Path, model: WhisperSpeech) -> Transcript:
    """The recording as the tool decodes it; the phones heard meanwhile stay beside it, under the model's name."""
    windows: dict[int, StoredWindow] = {}
    heard = transcribe(
        recording, model, recording_sha256=sha256_of(recording), language="en", profile=ACCURATE,
        on_window=windows.__setitem__,
    )  # fmt: skip
    recording.with_suffix(f".{model.name}.phones").write_bytes(msgspec.msgpack.encode(hearing_of(windows)))
    return heard


def save(path: Path, transcript: Transcript) -> None:
    path.write_bytes(gzip.compress(msgspec.json.encode(transcript), mtime=0))


def lecturers(named: str, number: int) -> list[str]:
    """The voices a script asks for, or two of the open ones in turn."""
    if named != "none":
        return named.split()
    open_voices = [voice for voice in VOICES if voice not in HELD_OUT_VOICES]
    return [open_voices[(2 * number + i) % len(open_voices)] for i in range(2)]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("parts", nargs="*", default=["dev", "sealed6"], metavar="train|dev|sealed6|sealed")
    parser.add_argument("--only", default="", help="recordings whose name holds this")
    parser.add_argument("--threads", type=int, default=0)
    given = parser.parse_args()
    model = WhisperSpeech(find_model("base"), threads=given.threads)
    taught = WhisperSpeech(find_model(), threads=given.threads)
    for part in given.parts:
        for number, script in enumerate(sorted((DATA / part).glob("*.txt"))):
            header, lines = read_script(script)
            first, second = header["students"].replace("none", "gb-m rms").split()[:2]
            for lecturer in lecturers(header["lecturer"], number):
                name = f"{script.stem}.{lecturer}"
                plain_path = script.with_name(f"{name}.plain.json.gz")
                recording = CACHE / part / f"{name}.ogg"
                if given.only not in name or (plain_path.exists() and recording.exists()):
                    continue
                times = record(lines, lecturer, (first, second), ROOMS[number % len(ROOMS)], recording, name)
                rows = "".join(f"{start}\t{end}\n" for start, end in times)
                script.with_name(f"{name}.times.tsv").write_text("start_ms\tend_ms\n" + rows, encoding="utf-8")
                plain = decoded(recording, model)
                save(plain_path, plain)
                save(script.with_name(f"{name}.adapted.json.gz"), decoded(recording, taught))
                if part != "train":
                    save(script.with_name(f"{name}.hotwords.json.gz"), with_hotwords(model, recording, lines, plain))
                print(f"{name}: {times[-1][1] / 60000:.1f} min", file=sys.stderr, flush=True)


if __name__ == "__main__":
    main()
