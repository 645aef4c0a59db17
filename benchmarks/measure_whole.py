"""A session of 30 minutes from sound to site: where the time goes, stage by stage, and how much memory it takes.

    python benchmarks/run.py whole                    one session, every stage
    python benchmarks/run.py whole --bare             beside it bare faster-whisper on the same sound, sequential and batched

The sound is the sample recordings one after the other, repeated up to the length; the packaged model, all cores. The
stages after transcription are set beside it twice: without asking the sound again (profile fast; the target is 3 % of
the transcription's time) and with it (profile accurate), which is part of hearing and told apart. What the corrections
look up beside the decoding of later windows (``correct.look_ahead``) is counted to the transcription, in whose time it
is done: the share says how long one waits after the last word, not how much work the stages are. Each profile is run
in a process of its own after a few seconds of sound, so that loading is told apart and nothing is built on first use;
peak memory is that of the whole process.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

NAME = "whole"
DESCRIPTION = "a 30-minute session end to end: time of each stage, words per second, memory, beside bare faster-whisper"
HERE = Path(__file__).resolve().parent
TARGET = 0.03
BATCH = 8
T = TypeVar("T")


class Clock:
    """Seconds of wall time and of CPU (all threads) by stage."""

    def __init__(self) -> None:
        self.wall_s: dict[str, float] = {}
        self.cpu_s: dict[str, float] = {}

    def of(self, stage: str, do: Callable[[], T]) -> T:
        wall, cpu = time.perf_counter(), time.process_time()
        value = do()
        self.wall_s[stage] = self.wall_s.get(stage, 0.0) + time.perf_counter() - wall
        self.cpu_s[stage] = self.cpu_s.get(stage, 0.0) + time.process_time() - cpu
        return value


def write_session(path: Path, seconds: int) -> None:
    import numpy as np
    from measure_reliability import write_wav

    from notesmith.recording import RATE_HZ, decode_pieces
    from notesmith.samples import sample_recordings

    pieces: list[Any] = []
    length = 0
    while length < seconds * RATE_HZ:
        for recording in sample_recordings():
            for piece in decode_pieces(recording):
                pieces.append(piece)
                length += len(piece)
    write_wav(path, np.concatenate(pieces)[: seconds * RATE_HZ])


def one_profile(sound: Path, warm: Path, profile_name: str) -> dict[str, Any]:
    """In this process: the pipeline with one profile, each stage timed."""
    import resource

    from notesmith import pipeline
    from notesmith.course import create_course
    from notesmith.lecture import CourseSettings
    from notesmith.profiles import profile_named

    clock = Clock()
    with tempfile.TemporaryDirectory() as folder:
        courses = [create_course(Path(folder) / name, CourseSettings(title="Whole", profile=profile_name))
                   for name in ("warm", "course")]  # fmt: skip
        tools = pipeline.Tools(courses[0], profile_named(profile_name))
        clock.of("loading vocabulary and models", lambda: (tools.vocabulary, tools.nlp, tools.model))
        with courses[0].open_store() as store:
            lecture, _ = pipeline.add_file(courses[0], store, warm, tools.vocabulary)
            pipeline.process(tools, store, lecture)
            pipeline.publish(courses[0], store, tools.vocabulary)
        tools.course = course = courses[1]
        with course.open_store() as store:
            lecture, _ = clock.of(
                "taking the file in", lambda: pipeline.add_file(course, store, sound, tools.vocabulary)
            )
            transcript = clock.of("transcription", lambda: pipeline.ensure_transcript(tools, store, lecture))
            corrections = clock.of("corrections", lambda: pipeline.ensure_corrections(
                tools, store, lecture, transcript, store.verdicts()))  # fmt: skip
            clock.of("extraction", lambda: pipeline.ensure_extraction(tools, store, lecture, transcript, corrections))
            real = pipeline.site.build
            webbed = sys.modules["notesmith.site.build"].encode_web_copy

            def built(library: Any, to: Path, report: Any = None, **more: Any) -> Any:
                return clock.of("site", lambda: real(library, to, report, **more, web_audio=lambda *a: clock.of(
                    "web copy of the sound", lambda: webbed(*a))))  # fmt: skip

            pipeline.site.build = built
            clock.of("publishing", lambda: pipeline.publish(course, store, tools.vocabulary))
    for seconds in (clock.wall_s, clock.cpu_s):
        web, site, publishing = (seconds.pop(name) for name in ("web copy of the sound", "site", "publishing"))
        seconds |= {"notes and search index": publishing - site, "site": site - web, "web copy of the sound": web}
    return {
        "wall_s": clock.wall_s, "cpu_s": clock.cpu_s, "words": len(transcript.words),
        "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
    }  # fmt: skip


def bare(sound: Path, batch: int) -> dict[str, Any]:
    """In this process: faster-whisper as it comes with the same model, sequential or batched."""
    import resource

    from faster_whisper import BatchedInferencePipeline, WhisperModel

    from notesmith.profiles import FAST
    from notesmith.transcribe import find_model
    from notesmith.transcribe.whisper import cores

    model = WhisperModel(str(find_model().folder), device="cpu", compute_type="int8", cpu_threads=cores())
    clock = Clock()
    common = {"language": "en", "beam_size": FAST.beam_size, "word_timestamps": True, "vad_filter": True,
              "temperature": 0.0}  # fmt: skip

    def decode() -> int:
        if batch:
            segments, _ = BatchedInferencePipeline(model).transcribe(str(sound), batch_size=batch, **common)
        else:
            segments, _ = model.transcribe(str(sound), condition_on_previous_text=False, **common)
        return sum(len(segment.words) for segment in segments)

    words = clock.of("transcription", decode)
    return {"wall_s": clock.wall_s, "cpu_s": clock.cpu_s, "words": words,
            "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024}  # fmt: skip


def apart(*arguments: str) -> dict[str, Any]:
    """Do one of the above in a fresh process."""
    done = subprocess.run(
        [sys.executable, __file__, "--one", *arguments], capture_output=True, text=True, check=False, cwd=HERE.parent
    )
    if done.returncode:
        raise SystemExit(f"{' '.join(arguments)} failed:\n{done.stderr[-3000:]}")
    return dict(json.loads(done.stdout.splitlines()[-1]))


LATER = ("corrections", "extraction", "notes and search index", "site")


def run(arguments: list[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(prog="run.py whole")
    parser.add_argument("--minutes", type=float, default=30, help="length of the session")
    parser.add_argument("--profiles", default="fast,accurate")
    parser.add_argument("--bare", action="store_true", help="also bare faster-whisper, sequential and batched")
    given = parser.parse_args(arguments)
    figures: dict[str, Any] = {"minutes": given.minutes, "cores": os.cpu_count()}
    with tempfile.TemporaryDirectory() as folder:
        sound, warm = Path(folder) / "2026-03-02 Kali bichromicum.wav", Path(folder) / "2026-03-01 Warm.wav"
        write_session(sound, round(given.minutes * 60))
        write_session(warm, 20)
        for profile in given.profiles.split(","):
            figures[profile] = told = apart("profile", str(sound), str(warm), profile)
            _show(profile, told)
        if given.bare:
            for name, batch in (("bare, sequential", 0), (f"bare, batches of {BATCH}", BATCH)):
                figures[name] = told = apart("bare", str(sound), str(batch))
                print(f"\nfaster-whisper {name}: {told['wall_s']['transcription']:.1f} s wall, "
                      f"{told['cpu_s']['transcription']:.1f} s CPU, {told['words']} words, {told['peak_mb']} MB")  # fmt: skip
                if "fast" in figures:
                    for kind in ("wall_s", "cpu_s"):
                        ratio = figures["fast"][kind]["transcription"] / told[kind]["transcription"]
                        figures[f"notesmith to {name}, {kind}"] = round(ratio, 3)
                        print(f"  notesmith's transcription takes {ratio:.3f} of it ({kind})")
    figures["load"] = round(os.getloadavg()[0], 1)
    print(f"\nload {figures['load']}")
    return figures


def _show(profile: str, told: dict[str, Any]) -> None:
    wall, cpu, words = told["wall_s"], told["cpu_s"], told["words"]
    print(f"\nprofile {profile}: {words} words, peak memory {told['peak_mb']} MB")
    print(f"  {'stage':32} {'wall s':>8} {'CPU s':>8} {'words/s (CPU)':>14} {'of transcription (CPU)':>23}")
    for stage in cpu:
        speed = f"{words / cpu[stage]:14.0f}" if cpu[stage] > 0.005 else f"{'':14}"
        print(f"  {stage:32} {wall[stage]:8.2f} {cpu[stage]:8.2f} {speed} {cpu[stage] / cpu['transcription']:22.2%}")
    told["later_share_cpu"] = sum(cpu[stage] for stage in LATER) / cpu["transcription"]
    told["later_share_wall"] = sum(wall[stage] for stage in LATER) / wall["transcription"]
    print(f"  {', '.join(LATER)}: {told['later_share_wall']:.2%} of the transcription's wall time, "
          f"{told['later_share_cpu']:.2%} of its CPU time (target {TARGET:.0%})", flush=True)  # fmt: skip


if __name__ == "__main__" and sys.argv[1:2] == ["--one"]:
    sys.path.insert(0, str(HERE))
    if sys.argv[2] == "profile":
        print(json.dumps(one_profile(Path(sys.argv[3]), Path(sys.argv[4]), sys.argv[5])))
    else:
        print(json.dumps(bare(Path(sys.argv[3]), int(sys.argv[4]))))
