import numpy as np

from notesmith.correct.company import KINDS, PLACES, load_company
from notesmith.correct.judge import TEXT_COLUMNS, Trees, load_judge
from notesmith.correct.listening import SOUND_COLUMNS


def test_trees_by_hand() -> None:
    """x <= 1 -> -2; else y <= 0 -> 1, else 3; and a tree that is one leaf."""
    trees = Trees(("x", "y"), ((0, 1), ()), ((1.0, 0.0), ()), ((-1, -2), ()), ((1, -3), ()), ((-2.0, 1.0, 3.0), (0.5,)),
                  scale=2.0, offset=-1.0)  # fmt: skip
    rows = np.array([[1.0, 9.0], [2.0, 0.0], [2.0, 0.1]])
    assert trees.log_odds(rows).tolist() == [2 * (-2 + 0.5) - 1, 2 * (1 + 0.5) - 1, 2 * (3 + 0.5) - 1]
    assert trees.log_odds(np.zeros((0, 2))).tolist() == []


def test_the_shipped_judge_was_learnt_on_the_evidence_that_is_gathered() -> None:
    judge = load_judge()
    assert judge.by_text.columns == TEXT_COLUMNS
    assert judge.by_sound.columns == SOUND_COLUMNS


def test_more_distance_never_speaks_for_a_term_and_a_better_sound_never_against() -> None:
    judge = load_judge()
    rng = np.random.default_rng(5)
    for trees, name, sign in ((judge.by_text, "relative distance", -1), (judge.by_sound, "margin", 1)):
        at = trees.columns.index(name)
        rows = rng.normal(0, 3, (60, len(trees.columns)))
        moved = rows.copy()
        moved[:, at] += 2.0
        assert (sign * (trees.log_odds(moved) - trees.log_odds(rows)) >= -1e-9).all()


def test_company_knows_its_kinds() -> None:
    company = load_company()
    assert set(company.ratios) == set(KINDS)
    assert all(set(places) == {str(p) for p in PLACES} for places in company.ratios.values())
    before, after = company.score("author", ("<start>", "as", "says", "it"))
    assert before > 0 and after > 0
    assert company.score("remedy", ("the", "it", "of", "of")) < (0, 0)
    assert company.score(None, ("as", "as", "says", "says")) == (0.0, 0.0)
