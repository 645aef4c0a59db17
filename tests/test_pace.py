"""The time a backlog is expected to take: from the last run, or from a trial of this machine.

The spread of a trial was compared with real runs on 2026-11-25, two cores under a load of about 7: expected 45 s to 2
min, and 29 to 66 s for what a stopped run had left; that took 40 s. ``test_a_trial_foretells_a_run`` does it again.
"""

from __future__ import annotations

import time
from pathlib import Path

import msgspec
import pytest

from notesmith import backlog, pace
from notesmith.course import Course, create_course
from notesmith.lecture import CourseSettings
from notesmith.profiles import ACCURATE, FAST, TESTING
from notesmith.recording import clip
from notesmith.samples import sample_recordings
from notesmith.transcribe.whisper import cores
from notesmith.transcript import TimeSpan


@pytest.fixture
def course(tmp_path: Path) -> Course:
    return create_course(tmp_path / "course", CourseSettings(title="Pace", profile="testing"))


def test_a_runs_pace_is_kept_for_its_model_profile_and_place(course: Course, tmp_path: Path) -> None:
    pace.keep_run(tmp_path, course, FAST, None, 0.1)
    pace.keep_run(tmp_path, course, FAST, "tcp://far:8786", 0.01)
    pace.keep_run(tmp_path, course, FAST, None, 0.2)
    here = pace.last_run(tmp_path, course, FAST)
    assert here is not None
    assert here.factor == 0.2
    there = pace.last_run(tmp_path, course, FAST, "tcp://far:8786")
    assert there is not None
    assert there.factor == 0.01
    assert pace.last_run(tmp_path, course, ACCURATE) is None
    other = Course(course.folder, msgspec.structs.replace(course.settings, model="small"))
    assert pace.last_run(tmp_path, other, FAST) is None


def test_another_machine_has_another_pace(course: Course, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    pace.keep_run(tmp_path, course, FAST, None, 0.1)
    monkeypatch.setattr(pace, "machine", lambda: "other/64")
    assert pace.last_run(tmp_path, course, FAST) is None


def test_a_damaged_file_is_as_none(course: Course, tmp_path: Path) -> None:
    (tmp_path / pace.KEPT_NAME).write_bytes(b"[{")
    assert pace.last_run(tmp_path, course, FAST) is None
    pace.keep_run(tmp_path, course, FAST, None, 0.1)
    assert pace.last_run(tmp_path, course, FAST) is not None


def test_a_model_that_must_be_fetched_is_not_tried(course: Course, tmp_path: Path) -> None:
    distant = Course(course.folder, msgspec.structs.replace(course.settings, model="large-v3"))
    assert pace.trial(distant, FAST, 1, tmp_path) is None


@pytest.mark.model
def test_a_trial_foretells_a_run(course: Course, tmp_path: Path, write_sound, monkeypatch: pytest.MonkeyPatch) -> None:
    """A trial on the first sample, compared with a run over stretches of all of them."""
    monkeypatch.setattr(pace.platformdirs, "user_cache_path", lambda _name: tmp_path / "cache")
    for number, recording in enumerate(sample_recordings()):
        write_sound(tmp_path / f"{number}.wav", clip(recording, TimeSpan(90_000, 120_000)))
    with course.open_store() as store:
        plan = backlog.make_plan(course, store, [tmp_path])
        expected = backlog.expected_time(course, plan)
        assert expected is not None
        assert expected.tried
        begun = time.monotonic()
        assert backlog.expected_time(course, plan) == expected
        assert time.monotonic() - begun < 1  # a machine is tried out once
        report = backlog.run(course, store, plan)
    # Starting processes and loading the model are a fixed price that two minutes of sound do not outweigh.
    assert expected.least_s / 2 < report.seconds < expected.most_s * 2 + 30
    known = pace.last_run(course.folder / backlog.SCRATCH_NAME, course, TESTING)
    assert known is not None
    assert known.machine.endswith(f"/{cores()}")
