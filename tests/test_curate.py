import pytest

from notesmith.annotations import CaseVignette, Extraction, Finding, TeachingPoint
from notesmith.curate import curate, finding_key
from notesmith.transcript import TimeSpan, WordRange
from notesmith.verdicts import NoteVerdict, VerdictEntry


def point(key, at, **more):
    return TeachingPoint(
        key, "mind", f"Text {key}.", f"text {key}", WordRange(at, at + 2), TimeSpan(at, at + 1), **more
    )


FINDING = Finding("age", "nineteen years", WordRange(5, 7), TimeSpan(50, 60))
CASE = CaseVignette("c1", "A student", WordRange(4, 9), TimeSpan(40, 90), (FINDING,), not_stated=("sex",))
FOUND = Extraction("d", points=(point("a", 0), point("b", 10), point("c", 20)), vignettes=(CASE,))


def ruled(*verdicts, undone=False):
    entries = [VerdictEntry(i, v, "editor", "2026-01-01T00:00:00Z", undone) for i, v in enumerate(verdicts)]
    return curate(FOUND, "lec", entries)


def note(ruling, key, value=None, lecture="lec"):
    return NoteVerdict(ruling, lecture, key, value)


@pytest.mark.parametrize(
    ("verdicts", "keys"),
    [
        ([note("hide", "b")], "ac"),
        ([note("move", "a", "c")], "bca"),
        ([note("move", "c", None)], "cab"),
        ([note("merge", "b", "a")], "ac"),
        ([note("hide", "zzz")], "abc"),
        ([note("hide", "b", lecture="other")], "abc"),
        ([note("keep", "b")], "abc"),
    ],
)
def test_points_follow_the_rulings(verdicts, keys):
    assert "".join(p.key for p in ruled(*verdicts).points) == keys


def test_a_changed_text_keeps_the_spoken_words():
    changed = ruled(note("reword", "a", "Mild."), note("retype", "a", "generals")).points[0]
    assert (changed.text, changed.kind, changed.spoken) == ("Mild.", "generals", "text a")
    assert ruled(note("retype", "a", "nonsense")).points[0].kind == "mind"


def test_an_undone_ruling_has_no_effect():
    assert ruled(note("hide", "a"), undone=True) == FOUND


def test_a_hidden_field_is_said_to_be_not_stated():
    case = ruled(note("hide", finding_key(CASE, FINDING))).vignettes[0]
    assert case.findings == ()
    assert case.not_stated == ("age", "sex")
    assert ruled(note("reword", finding_key(CASE, FINDING), "19")).vignettes[0].findings[0].text == "19"


OUTCOMES = tuple(
    Finding("outcome", text, WordRange(at, at + 1), TimeSpan(at * 10, at * 10 + 5))
    for at, text in ((6, "better"), (7, "slept well"), (8, "no relapse"))
)
LONG_CASE = CaseVignette("c2", "A case", WordRange(4, 9), TimeSpan(40, 90), OUTCOMES, not_stated=("sex",))


@pytest.mark.parametrize(
    ("ruling", "moved", "value", "texts"),
    [
        ("move", 2, 0, ["better", "no relapse", "slept well"]),
        ("move", 1, None, ["slept well", "better", "no relapse"]),
        ("move", 0, 2, ["slept well", "no relapse", "better"]),
        ("merge", 2, 1, ["better", "slept well; no relapse"]),
        ("merge", 0, 1, ["better; slept well", "no relapse"]),
        ("merge", 0, None, ["better", "slept well", "no relapse"]),
    ],
)
def test_fields_of_a_case_move_and_join(ruling, moved, value, texts):
    keys = [finding_key(LONG_CASE, finding) for finding in OUTCOMES]
    verdict = note(ruling, keys[moved], None if value is None else keys[value])
    entry = VerdictEntry(1, verdict, "editor", "2026-01-01T00:00:00Z")
    (case,) = curate(Extraction("d", vignettes=(LONG_CASE,)), "lec", [entry]).vignettes
    assert [finding.text for finding in case.findings] == texts
    assert case.not_stated == ("sex",)
