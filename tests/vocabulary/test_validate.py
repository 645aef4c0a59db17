"""Integrity of vocabulary files. Rules S13, S14 and S27 are those of W3C SKOS (Recommendation, 18 August 2009)."""

from pathlib import Path

import pytest

from notesmith.vocabulary.validate import validate

HEADER = "id\tprefLabel\taltLabel\thiddenLabel\tbroader\trelated\tsource\n"


def problems(folder: Path, rows: str, name: str = "remedies.tsv") -> list[str]:
    (folder / name).write_text(HEADER + rows, encoding="utf-8")
    return [str(p) for p in validate(folder) if str(folder) in p.path]


def test_the_packaged_vocabulary_has_no_error() -> None:
    assert [str(p) for p in validate() if p.severity == "error"] == []


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("remedy/zz-a\tZzalpha\tZza\tZza\t\t\tx\n", "SKOS S13"),
        ("remedy/zz-a\tZzalpha\t\tZzalpha\t\t\tx\n", "SKOS S13"),
        ("remedy/zz-a\tZzalpha\t\t\tfamily/none\t\tx\n", "broader family/none does not exist"),
        ("remedy/zz-a\tZzalpha\t\t\tremedy/zz-a\t\tx\n", "broader of itself"),
        ("remedy/zz-a\tZzalpha\t\t\tfamily/kali\tfamily/kali\tx\n", "SKOS S27"),
        ("remedy/zz-a\tZzаlpha\t\t\t\t\tx\n", "cyrillic small letter a"),
        ("remedy/zz-a\tZz\u200balpha\t\t\t\t\tx\n", "U+200B"),
        ("remedy/zz-a\tZzalpha\tZzcommon\t\t\t\tx\nremedy/zz-b\tZzbeta\tZzcommon\t\t\t\tx\n", "(ambiguous)"),
        ("remedy/zz-a\tZzalpha\t\t\t\t\tx\nremedy/zz-a\tZzother\t\t\t\t\tx\n", "stands also at"),
        ("remedy/zz-a\tZzalpha\t\t\t\t\tx\nremedy/zz-b\tZZALPHA\t\t\t\t\tx\n", "is also that of remedy/zz-a"),
        ("remedy/zz-a\tZzalphabeta\t\t\t\t\tx\nremedy/zz-b\tZzalphabetu\t\t\t\t\tx\n", "differs by one letter"),
        ("remedy/zz-b\tZzbeta\t\t\t\t\tx\nremedy/zz-a\tZzalpha\t\t\t\t\tx\n", "not in order"),
        ("remedy/zz-a\tZzalpha\n", "names no source"),
        ("zz-a\tZzalpha\t\t\t\t\tx\n", "must be scheme/slug"),
        ("remedy/zz-a\t\t\t\t\t\tx\n", "has no prefLabel"),
        ("remedy/zz-a\tA\tb\tc\td\te\tf\tg\th\n", "cells"),
    ],
)
def test_each_fault_is_named_with_its_line_and_mend(tmp_path: Path, rows: str, says: str) -> None:
    found = problems(tmp_path, rows)
    assert any(says in one for one in found), found
    assert all(one.startswith(f"{tmp_path / 'remedies.tsv'}:") for one in found)


def test_a_good_layer_has_nothing_to_mend(tmp_path: Path) -> None:
    assert problems(tmp_path, "remedy/zz-a\tZzalpha\tZza\tZzalfa\tfamily/kali\t\tcommon practice\n") == []


@pytest.mark.parametrize(
    ("rows", "says"),
    [
        ("remedy/none\tnunn\t2\ta | b\tfound by experiment\n", "does not exist"),
        ("remedy/zz-a\tZzalpha\t2\ta | b\tfound by experiment\n", "is a label of remedy/zz-a"),
        ("remedy/zz-a\tzul\t2\ta\tfound by experiment\nremedy/zz-b\tzul\t2\ta\tfound by experiment\n", "in line 2"),
        ("remedy/zz-a\tzul\toften\ta\tfound by experiment\n", "how it was found"),
        ("remedy/zz-a\tzul\t2\ta\tguessed\n", "how it was found"),
        ("remedy/zz-a\tzul\t2\n", "cells"),
    ],
)
def test_an_unsafe_mishearing_is_named(tmp_path: Path, rows: str, says: str) -> None:
    (tmp_path / "heard.tsv").write_text("id\theard\ttimes\tvoices\tsource\n" + rows, encoding="utf-8")
    own = "remedy/zz-a\tZzalpha\t\t\t\t\tx\nremedy/zz-b\tZzbeta\t\t\t\t\tx\n"
    found = problems(tmp_path, own)
    assert any(says in one for one in found), found
