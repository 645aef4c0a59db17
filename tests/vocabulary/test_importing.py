from pathlib import Path

import pytest

from notesmith.errors import VocabularyError
from notesmith.vocabulary import load_vocabulary
from notesmith.vocabulary.importing import plan_import, write_concepts
from notesmith.vocabulary.validate import validate


def test_a_list_is_planned_before_it_is_taken_in(tmp_path: Path) -> None:
    path = tmp_path / "terms.txt"
    path.write_text("Zzalpha nova\nKali-bi.\nzzalpha nova\n???\n\n", encoding="utf-8")
    planned = plan_import(path, load_vocabulary(), "remedy")
    assert [(one.line, one.action) for one in planned] == [(1, "new"), (2, "known"), (3, "clash"), (4, "clash")]
    layer = tmp_path / "layer"
    write_concepts(layer, [one.concept for one in planned if one.action == "new" and one.concept])
    assert load_vocabulary(layer).find("ZZALPHA NOVA")[0].id == "remedy/zzalpha-nova"
    assert [str(p) for p in validate(layer) if str(layer) in p.path and p.severity == "error"] == []


def test_csv_needs_a_named_column(tmp_path: Path) -> None:
    path = tmp_path / "terms.csv"
    path.write_text("name\nZz\n")
    with pytest.raises(VocabularyError, match="prefLabel"):
        plan_import(path, load_vocabulary(), "remedy")
    path.write_text('prefLabel,altLabel\n"Zzbeta","Zzb | Zzbet"\n')
    (one,) = plan_import(path, load_vocabulary(), "remedy")
    assert one.concept is not None
    assert one.concept.alt_labels == ("Zzb", "Zzbet")


def test_another_spelling_of_a_known_remedy_is_shown(tmp_path: Path) -> None:
    path = tmp_path / "terms.txt"
    path.write_text("Lachnantes tinctoria\nZzgenus novus\n")
    near, new = plan_import(path, load_vocabulary(), "remedy")
    assert (near.action, new.action) == ("clash", "new")
    assert "Lachnanthes tinctoria" in near.why
