"""A backlog: planned, done on several processes, faults set aside, stopped and gone on with, nothing stored twice.

The judge of every result is an undisturbed run of the same pipeline on the same files in this process.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import ctranslate2
import msgspec
import numpy as np
import pytest

from notesmith import backlog, pipeline
from notesmith.annotations import Corrections, Extraction
from notesmith.course import Course, create_course
from notesmith.errors import InputError
from notesmith.lecture import CourseSettings
from notesmith.likeness import ALIKE, likeness, loudness_of
from notesmith.recording import RATE_HZ, clip
from notesmith.sounds.hearing import PhoneHearing
from notesmith.transcribe.whisper import Encoded, HeardWindow, HeardWord
from notesmith.transcript import TimeSpan

SAMPLES = Path(__file__).resolve().parents[1] / "sample_audio"
SPOKEN = "Thuja has warts that are soft and moist . Silica is chilly and yields to nobody .".split()


class SlowSpeech:
    """A stand-in for the model: two seconds a window, each appended to the file NOTESMITH_TEST_LOG names."""

    name = "slow"

    def windows(
        self, speech: np.ndarray, *, language: str, beam_size: int, first_frame: int, last_word_end_s: float
    ) -> Iterable[HeardWindow]:
        frames = len(speech) * 100 // RATE_HZ
        for number, begin in enumerate(range(first_frame, frames, 200)):
            if (once := os.environ.get("NOTESMITH_TEST_DIE_ONCE")) and begin >= 400 and not os.path.exists(once):
                Path(once).write_text("died")
                os._exit(9)
            if log := os.environ.get("NOTESMITH_TEST_LOG"):
                with open(log, "a", encoding="utf-8") as file:
                    file.write(f"{len(speech)} {begin}\n")
            time.sleep(0.01)
            end = min(begin + 200, frames)
            at = begin // 50
            words = tuple(
                HeardWord(
                    (begin + 50 * n) / 100, (begin + 50 * n + 40) / 100, " " + SPOKEN[(at + n) % len(SPOKEN)], 0.9
                )
                for n in range((end - begin) // 50)
            )
            yield HeardWindow(number, (words,) if words else (), end, end / 100)


def slow_speech() -> SlowSpeech:
    return SlowSpeech()


class EncodingSpeech(SlowSpeech):
    """The same with something encoded for the ear to hear."""

    def windows(self, speech: np.ndarray, *, first_frame: int, **more: Any) -> Iterable[HeardWindow]:
        for window in super().windows(speech, first_frame=first_frame, **more):
            encoded = ctranslate2.StorageView.from_array(np.ones((1, 1500, 512), np.float32))
            yield msgspec.structs.replace(window, encoded=Encoded(first_frame, encoded))
            first_frame = window.next_frame


def encoding_speech() -> SlowSpeech:
    return EncodingSpeech()


@pytest.fixture
def course(tmp_path) -> Course:
    return create_course(tmp_path / "course", CourseSettings(title="Backlog", profile="testing"))


@pytest.fixture
def sound() -> np.ndarray:
    found = sorted(SAMPLES.glob("*.opus"))
    if not found:
        pytest.skip("the sample recordings are not there")
    return clip(found[0], TimeSpan(0, 60_000))


@pytest.fixture
def archive(tmp_path, write_sound, sound) -> Path:
    """Two recordings, the first one again re-encoded at half the volume, a damaged one, a caption file and its copy."""
    folder = tmp_path / "archive" / "1999"
    folder.mkdir(parents=True)
    write_sound(folder / "a.wav", sound[: 28 * RATE_HZ])
    write_sound(folder / "b.wav", sound[30 * RATE_HZ : 58 * RATE_HZ])
    write_sound(folder / "c again.mp3", sound[: 28 * RATE_HZ] / 2)
    (folder / "d.mp3").write_bytes(b"no recording at all" * 99)
    (folder / "e.vtt").write_text("WEBVTT\n\n00:00.000 --> 00:04.000\nSepia is indifferent to those she loves.\n")
    (folder / "f.vtt").write_bytes((folder / "e.vtt").read_bytes())
    return tmp_path / "archive"


def rows(store) -> dict[str, tuple[object, ...]]:
    found = {}
    for lecture in store.lectures():
        transcripts = [(one.settings, one.transcript) for one in store.transcripts(lecture.recording_sha256)]
        found[lecture.id] = (
            lecture, transcripts, store.result_key(lecture.id, "corrections"),
            store.result(lecture.id, "corrections", Corrections), store.result_key(lecture.id, "extraction"),
            store.result(lecture.id, "extraction", Extraction),
        )  # fmt: skip
    return found


def undisturbed(tmp_path: Path, files: list[Path]) -> dict[str, tuple[object, ...]]:
    other = create_course(tmp_path / "judge", CourseSettings(title="Backlog", profile="testing"))
    tools = backlog.WorkerTools(other)
    tools.make_model = slow_speech
    with other.open_store() as store:
        for path in files:
            pipeline.add_file(other, store, path, tools.vocabulary)
        for lecture in store.lectures():
            pipeline.process(tools, store, lecture)
        return rows(store)


def test_the_plan_tells_what_is_new_unusable_and_twice(course, archive):
    with course.open_store() as store:
        plan = backlog.make_plan(course, store, [archive])
        assert store.lectures() == ()  # a plan changes nothing
    states = {Path(item.name).name: item.state for item in plan.items}
    assert states == {"a.wav": "new", "b.wav": "new", "c again.mp3": "duplicate", "d.mp3": "unusable",
                      "e.vtt": "new", "f.vtt": "duplicate"}  # fmt: skip
    assert plan.sound_ms == pytest.approx(56_000, abs=100)
    assert plan.finished == 0


def test_the_phones_a_worker_heard_are_kept_with_its_transcript(course, archive):
    course = msgspec.structs.replace(course, settings=msgspec.structs.replace(course.settings, profile="accurate"))
    with course.open_store() as store:
        plan = backlog.make_plan(course, store, [archive])
        backlog.run(course, store, plan, workers=2, make_model=encoding_speech)
        heard = 0
        for lecture in store.lectures():
            (stored,) = store.transcripts(lecture.recording_sha256)
            hearing = store.result(lecture.id, pipeline.HEARING, PhoneHearing)
            assert (hearing is None) == (lecture.media is None)
            if hearing is not None:
                heard += 1
                words = [i for one in hearing.passages for i in range(one.words.start, one.words.end)]
                assert words == list(range(len(stored.transcript.words)))
    assert heard == 2


def test_a_run_gives_what_the_pipeline_gives_and_goes_on_past_faults(course, archive, tmp_path):
    standings: list[backlog.Standing] = []
    with course.open_store() as store:
        plan = backlog.make_plan(course, store, [archive])
        report = backlog.run(course, store, plan, workers=2, make_model=slow_speech, watch=standings.append)
        found = rows(store)
        again = backlog.make_plan(course, store, [archive])
    assert len(report.finished) == 3
    assert [Path(outcome.name).name for outcome in report.set_aside] == ["d.mp3"]
    assert "d.mp3" in str(report.set_aside[0].failure)
    assert len(report.duplicates) == 2
    files = [archive / "1999" / name for name in ("a.wav", "b.wav", "e.vtt")]
    assert found == undisturbed(tmp_path, files)
    assert standings[-1].finished == standings[-1].total == 3
    heard = [standing.sound_done_ms for standing in standings]
    assert heard == sorted(heard)
    assert heard[-1] == standings[-1].sound_ms
    assert again.count("new", "unfinished") == 0
    assert again.finished == 3
    assert not list((course.folder / backlog.SCRATCH_NAME).glob("*/"))


def test_a_worker_that_dies_is_replaced_and_no_window_is_decoded_twice(course, archive, tmp_path, monkeypatch):
    log = tmp_path / "decoded.log"
    monkeypatch.setenv("NOTESMITH_TEST_LOG", str(log))
    monkeypatch.setenv("NOTESMITH_TEST_DIE_ONCE", str(tmp_path / "died"))
    with course.open_store() as store:
        plan = backlog.make_plan(course, store, [archive / "1999"])
        report = backlog.run(course, store, plan, workers=1, make_model=slow_speech)
        assert (tmp_path / "died").exists()
        assert len(report.finished) == 3
        decoded = log.read_text().splitlines()
        assert len(decoded) - len(set(decoded)) <= 1  # the window in flight
        monkeypatch.delenv("NOTESMITH_TEST_LOG")
        assert rows(store) == undisturbed(tmp_path, [archive / "1999" / n for n in ("a.wav", "b.wav", "e.vtt")])


def test_a_stopped_run_leaves_its_windows_in_the_store(course, archive, tmp_path, monkeypatch):
    log = tmp_path / "decoded.log"
    monkeypatch.setenv("NOTESMITH_TEST_LOG", str(log))

    def stop(_: backlog.Standing) -> None:
        if log.exists() and len(log.read_text().splitlines()) >= 4:
            raise KeyboardInterrupt

    with course.open_store() as store:
        plan = backlog.make_plan(course, store, [archive])
        with pytest.raises(KeyboardInterrupt):
            backlog.run(course, store, plan, workers=1, make_model=slow_speech, watch=stop)
        plan = backlog.make_plan(course, store, [archive])
        report = backlog.run(course, store, plan, workers=1, make_model=slow_speech)
        assert report.sound_ms <= 56_000 - 3 * 2_000  # what the stopped run heard is not counted again
        decoded = log.read_text().splitlines()
        assert len(decoded) - len(set(decoded)) <= 1
        assert all(store.result_key(lecture.id, "extraction") for lecture in store.lectures())


def test_the_longest_recording_is_sent_first(course, tmp_path, write_sound, sound):
    for seconds in (5, 20, 10):
        write_sound(tmp_path / f"2020-01-{seconds:02} Talk of {seconds}.wav", sound[: seconds * RATE_HZ])
    with course.open_store() as store:
        plan = backlog.make_plan(course, store, [tmp_path])
        report = backlog.run(course, store, plan, workers=1, make_model=slow_speech)
    assert [round(outcome.sound_ms / 1000) for outcome in report.finished] == [20, 10, 5]


@pytest.mark.parametrize("ending", [".mp3", ".m4a", ".ogg", ".flac"])
def test_the_fingerprint_survives_codec_volume_and_a_cut_start(tmp_path, write_sound, sound, ending):
    original = loudness_of(write_sound(tmp_path / "a.wav", sound))
    changed = loudness_of(write_sound(tmp_path / f"b{ending}", sound[RATE_HZ * 7 // 4 :] * 0.4))
    assert likeness(original, changed) >= ALIKE


def test_two_sample_sessions_of_one_voice_are_not_alike():
    found = sorted(path for path in SAMPLES.glob("*") if path.suffix in (".opus", ".mp3", ".m4a"))
    if len(found) < 2:
        pytest.skip("the sample recordings are not there")
    assert likeness(loudness_of(found[0]), loudness_of(found[1])) < ALIKE / 2


def test_a_link_out_of_the_folder_is_left_out(tmp_path):
    (tmp_path / "outside.vtt").write_text("WEBVTT\n")
    folder = tmp_path / "folder"
    folder.mkdir()
    (folder / "in.vtt").write_text("WEBVTT\n")
    (folder / "link.vtt").symlink_to(tmp_path / "outside.vtt")
    assert [path.name for path in backlog.find_files([folder])] == ["in.vtt"]
    with pytest.raises(InputError, match="no such file"):
        list(backlog.find_files([tmp_path / "nowhere"]))


def test_a_list_names_paths_from_where_it_is(tmp_path):
    (tmp_path / "list").write_text("# years\n1999/a.wav\n\n/b.wav\n", encoding="utf-8")
    assert backlog.read_list(tmp_path / "list") == (tmp_path / "1999/a.wav", Path("/b.wav"))


def test_a_label_found_in_the_opening_words_is_found_once(tmp_path: Path):
    """A second run must find the same inputs: a label that drifts has everything after it made again."""
    captions = tmp_path / "A talk.vtt"
    captions.write_text(
        "WEBVTT\n\n00:00.000 --> 00:05.000\nToday Sepia and Thuja and Sulphur.\n\n"
        "00:05.000 --> 00:09.000\nThis is part two of three.\n",
        encoding="utf-8",
    )
    course = create_course(tmp_path / "course", CourseSettings(title="x", profile="testing"))
    tools = pipeline.Tools(course)
    with course.open_store() as store:
        lecture, _ = pipeline.add_file(course, store, captions)
        transcript = pipeline.ensure_transcript(tools, store, lecture)
        first = pipeline._label(tools, store, lecture, transcript)
        assert len(first.remedy_ids) == 3
        assert first.part == 2
        assert pipeline._label(tools, store, first, transcript) == first
        added = msgspec.structs.replace(first, part=None, parts=None, title="Sepia")
        once = pipeline._label(tools, store, added, transcript)
        assert once.title == "Sepia, part 2 of 3"
        assert once.remedy_ids == first.remedy_ids


def test_publishing_that_was_cut_off_leaves_nothing_out_of_the_search(tmp_path: Path, monkeypatch):
    captions = tmp_path / "Sepia.vtt"
    captions.write_text("WEBVTT\n\n00:00.000 --> 00:05.000\nSepia is indifferent to her family.\n", encoding="utf-8")
    course = create_course(tmp_path / "course", CourseSettings(title="x", profile="testing"))
    tools = pipeline.Tools(course)

    class Killed(BaseException):
        pass

    def killed(*_: object, **__: object) -> None:
        raise Killed

    with course.open_store() as store:
        lecture, _ = pipeline.add_file(course, store, captions)
        pipeline.process(tools, store, lecture)
        for owner, name in ((pipeline.search, "index_prepared"), (pipeline, "_write_notes"), (pipeline.site, "build")):
            with monkeypatch.context() as patch:
                patch.setattr(owner, name, killed)
                with pytest.raises(Killed):
                    pipeline.publish(course, store, tools.vocabulary)
        pipeline.publish(course, store, tools.vocabulary)
        assert store.query("SELECT count(*) FROM moment WHERE lecture_id = ?", (lecture.id,)) != [(0,)]
        assert (course.notes / f"{lecture.id}.md").is_file()
