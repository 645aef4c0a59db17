"""Against the item lists of CARE 2013 (Gagnier et al., J Med Case Reports 2013;7:223) and HOM-CASE (van Haselen,
Complement Ther Med 2016;25:78-85)."""

from __future__ import annotations

from notesmith.annotations import CaseVignette, Finding, FindingLabel
from notesmith.extract.completeness import CARE, HOM_CASE, ITEMS, missing_items
from notesmith.transcript import TimeSpan, WordRange


def case(*labels: FindingLabel) -> CaseVignette:
    span, time = WordRange(0, 1), TimeSpan(0, 1)
    return CaseVignette("k", "Case", span, time, tuple(Finding(label, "x", span, time) for label in labels))


def test_all_items_of_both_lists_are_there() -> None:
    assert {item.number for item in ITEMS if item.guideline == CARE} == {str(n) for n in range(1, 14)}
    assert {item.number for item in ITEMS if item.guideline == HOM_CASE} == {str(n) for n in range(1, 9)}


def test_what_was_told_is_not_asked_for() -> None:
    open_names = {m.item.name for m in missing_items(case("age", "sex", "presenting complaint"))}
    assert "patient information: age, sex, main complaint" not in open_names
    assert "clinical findings" in open_names


def test_absent_fields_are_named() -> None:
    nine = next(
        m for m in missing_items(case("remedy", "potency")) if m.item.number == "9" and "repetition" in m.absent
    )
    assert nine.absent == ("repetition", "duration")
