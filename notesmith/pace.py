"""How fast this machine works through sound: told by the last backlog run, or tried out on a sample before the first.

pace = last_run(course, profile, address) or trial(course, profile)
expected(sound_ms, pace)                     seconds, at least and at most
"""

from __future__ import annotations

import platform
import tempfile
import time
import wave
from pathlib import Path

import msgspec
import numpy as np
import platformdirs

from notesmith import extract, pipeline, transcribe
from notesmith.course import Course
from notesmith.errors import NotesmithError, OutputError
from notesmith.files import write_atomic
from notesmith.profiles import Profile
from notesmith.recording import RATE_HZ, clip
from notesmith.samples import sample_recordings
from notesmith.threads import cores
from notesmith.transcript import TimeSpan
from notesmith.vocabulary import load_vocabulary

TRIAL_FROM_MS, TRIAL_MS, WARMING_MS = 20_000, 60_000, 6_000
KEPT_NAME = "pace.json"
RUN_SPREAD = (0.85, 1.15)
# The trial's minute stands for a whole archive. Dense speech takes longer than slow speech, garbled speech is asked
# about more often, and other programs take their share. See tests/test_pace.py for what it was compared with.
TRIAL_SPREAD = (0.7, 1.6)


class Pace(msgspec.Struct, frozen=True):
    """Seconds of work for a second of sound with all cores at work. ``tried`` says that it comes from a trial.

    ``address`` is the scheduler's whose workers were measured, empty for this machine. ``machine`` names it.
    """

    model: str
    profile: str
    factor: float
    address: str = ""
    machine: str = ""
    tried: bool = False


class Expected(msgspec.Struct, frozen=True):
    """A time in seconds, at least and at most, and whether it rests on a trial alone."""

    least_s: float
    most_s: float
    tried: bool


def expected(sound_ms: int, pace: Pace) -> Expected:
    """The time for so much sound.

    >>> expected(100_000, Pace("whisper-base", "fast", 0.1))
    Expected(least_s=8.5, most_s=11.5, tried=False)
    """
    likely_s = sound_ms / 1000 * pace.factor
    least, most = TRIAL_SPREAD if pace.tried else RUN_SPREAD
    return Expected(likely_s * least, likely_s * most, pace.tried)


def machine() -> str:
    """What a pace belongs to: another machine, or another number of cores, has another one."""
    return f"{platform.node()}/{cores()}"


def last_run(folder: Path, course: Course, profile: Profile, address: str | None = None) -> Pace | None:
    """What the last run with this model and profile measured, kept in ``folder``; None where there was none."""
    for pace in _kept(folder / KEPT_NAME):
        if _same(pace, course.settings.model, profile, address):
            return pace
    return None


def keep_run(folder: Path, course: Course, profile: Profile, address: str | None, factor: float) -> None:
    """Keep what a run measured. Raises OutputError."""
    _keep(folder / KEPT_NAME, Pace(course.settings.model, profile.name, factor, address or "", machine()))


def trial(course: Course, profile: Profile, workers: int, cache: Path | None = None) -> Pace | None:
    """Take a minute of a sample recording through all stages, once for each machine; later calls give what was found.

    ``workers`` is how many processes would share the cores. None where it cannot be tried: no samples, or a model
    that would have to be fetched first. Raises ModelError where the model is missing or damaged.
    """
    kept = (cache or platformdirs.user_cache_path("notesmith")) / KEPT_NAME
    for pace in _kept(kept):
        if pace.tried and _same(pace, course.settings.model, profile, None):
            return pace
    place = transcribe.find_model(course.settings.model)
    try:
        recording = sample_recordings()[0]
    except (NotesmithError, IndexError):
        return None
    if place.folder is None:
        return None
    model = transcribe.WhisperSpeech(place, threads=max(1, cores() // workers))
    vocabulary, nlp = load_vocabulary(), extract.load_nlp()

    def seconds_for(length_ms: int) -> float:
        with tempfile.TemporaryDirectory(prefix="notesmith-") as folder:
            path = Path(folder) / "trial.wav"
            _write_wav(path, clip(recording, TimeSpan(TRIAL_FROM_MS, TRIAL_FROM_MS + length_ms)))
            begun = time.monotonic()
            pipeline.once(
                path, settings_language="en", model=model, vocabulary=vocabulary, profile=profile, nlp=nlp
            )  # fmt: skip
            return time.monotonic() - begun

    seconds_for(WARMING_MS)  # what is built on first use is not counted
    factor = seconds_for(TRIAL_MS) / (TRIAL_MS / 1000) / workers
    pace = Pace(course.settings.model, profile.name, factor, "", machine(), tried=True)
    try:
        kept.parent.mkdir(parents=True, exist_ok=True)
        _keep(kept, pace)
    except (OSError, OutputError):
        pass  # it is measured again the next time
    return pace


def _write_wav(path: Path, samples: np.ndarray) -> None:
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE_HZ)
        file.writeframes((np.clip(samples, -1, 1) * 32767).astype("<i2").tobytes())


def _same(pace: Pace, model: str, profile: Profile, address: str | None) -> bool:
    return (pace.model, pace.profile, pace.address, pace.machine) == (model, profile.name, address or "", machine())


def _kept(path: Path) -> tuple[Pace, ...]:
    try:
        return msgspec.json.decode(path.read_bytes(), type=tuple[Pace, ...])
    except (OSError, msgspec.MsgspecError):
        return ()


def _keep(path: Path, pace: Pace) -> None:
    others = [p for p in _kept(path) if (p.model, p.profile, p.address, p.machine) != (
        pace.model, pace.profile, pace.address, pace.machine)]  # fmt: skip
    write_atomic(path, msgspec.json.encode([*others, pace]))
