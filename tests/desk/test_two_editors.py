"""Two editors with pages of different age, at random: the log equals a plain model, no decision lost or overwritten."""

from __future__ import annotations

import tempfile
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from notesmith.course import create_course
from notesmith.desk.context import last_verdict_id
from notesmith.desk.context import rule as write
from notesmith.errors import ConflictError
from notesmith.lecture import CourseSettings
from notesmith.verdicts import NoteVerdict, PersonVerdict, Verdict, WordVerdict

EDITORS = st.sampled_from(["Asha", "Mirela"])
VERDICTS: st.SearchStrategy[Verdict] = st.one_of(
    st.builds(
        WordVerdict, st.sampled_from(["accept", "reject", "always", "never"]), st.sampled_from(["a", "b"]),
        st.just("remedy/x"), st.just("X"), st.just("one"),
    ),
    st.builds(NoteVerdict, st.sampled_from(["hide", "keep"]), st.just("one"), st.sampled_from(["p0", "p1"])),
    st.builds(PersonVerdict, st.sampled_from(["hide", "show"]), st.sampled_from(["Rohan", "Meera"])),
)  # fmt: skip


def subject(verdict: Verdict) -> tuple[str, str]:
    match verdict:
        case WordVerdict():
            return "word", verdict.heard
        case NoteVerdict():
            return "note", verdict.key
        case PersonVerdict():
            return "person", verdict.said


class TwoEditors(RuleBasedStateMachine):
    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.store = create_course(Path(self.folder.name) / "course", CourseSettings(title="T")).open_store()
        self.seen = {"Asha": 0, "Mirela": 0}
        self.log: list[tuple[str, Verdict, bool]] = []  # who, what, undone

    def teardown(self) -> None:
        self.store.close()
        self.folder.cleanup()

    @rule(who=EDITORS)
    def load_page(self, who: str) -> None:
        self.seen[who] = last_verdict_id(self.store)

    @rule(who=EDITORS, verdict=VERDICTS)
    def decide(self, who: str, verdict: Verdict) -> None:
        newer = self.log[self.seen[who] :]
        conflict = any(subject(other) == subject(verdict) and not undone for _, other, undone in newer)
        try:
            write(self.store, verdict, who=who, seen=self.seen[who])
        except ConflictError:
            assert conflict
        else:
            assert not conflict
            self.log.append((who, verdict, False))

    @rule(number=st.integers(1, 12) | st.integers(1, 300))
    def undo(self, number: int) -> None:
        possible = number <= len(self.log) and not self.log[number - 1][2]
        try:
            self.store.undo_verdict(number)
        except ConflictError:
            assert not possible
        else:
            assert possible
            who, verdict, _ = self.log[number - 1]
            self.log[number - 1] = (who, verdict, True)

    @invariant()
    def store_equals_model(self) -> None:
        assert [(e.who, e.verdict, e.undone) for e in self.store.verdicts(with_undone=True)] == self.log


TestTwoEditors = TwoEditors.TestCase
TestTwoEditors.settings = settings(max_examples=25, stateful_step_count=40, deadline=None)  # 1,000 operations


class TestLongDay(TwoEditors.TestCase):
    """The same with 1,000 operations on one store."""

    settings = settings(
        max_examples=4, stateful_step_count=1000, deadline=None, suppress_health_check=list(HealthCheck)
    )
