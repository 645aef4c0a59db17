"""The pool that is judged blind: no engine is named, nothing stands twice, and what is judged right counts for all."""

from __future__ import annotations

import csv
import sys
from pathlib import Path

import pytest

pytest.importorskip("ir_measures")
sys.path.insert(0, str(Path(__file__).parent.parent / "benchmarks"))

from measure_search import ANSWERS, PARTLY, Place, agreement, judge, judged_share, pool, read_judged, with_pool

from notesmith.lecture import LectureContent
from tests.site.library_fixture import kali_session


@pytest.fixture
def content() -> LectureContent:
    return kali_session()


def test_a_pool_is_shuffled_once_holds_each_place_once_and_keeps_what_was_judged(tmp_path, content):
    session, words = content.lecture.id, content.transcript.words
    starts = [words[n].time.start_ms for n in (0, 5, 12, 20, 30)]
    queries = [("lay", "cold night", Place([(session, starts[0], starts[0])]))]
    hits = [(session, start, start + 900) for start in starts]
    path = tmp_path / "pool.tsv"
    assert pool(path, queries, [[hits[:3]], [hits[2:4]]], [content]) == 4
    first = path.read_text("utf-8")
    assert "store" not in first.splitlines()[0]
    rows = list(csv.DictReader(first.splitlines(), delimiter="\t", quoting=csv.QUOTE_NONE))
    assert sorted(int(row["start_ms"]) for row in rows) == sorted(starts[:4])
    assert all(row["sentence"] for row in rows)
    path.write_text(first.replace("\t\n", "\t2\n"), "utf-8")
    assert pool(path, queries, [[hits[3:]]], [content]) == 5
    judged = read_judged(path)
    assert set(judged.values()) == {2}
    assert len(judged) == 4


def test_what_is_judged_right_counts_for_every_engine():
    queries = [("lay", "cold", Place([("a", 1000, 1000)]))]
    answers = [[("a", 60_000, 61_000), ("a", 1000, 2000)]]
    judged = {("cold", "a", 60_000): 2, ("cold", "b", 5): 1, ("cold", "a", 1000): 2}
    assert judge(queries, answers)["mrr"] == 0.5
    assert judge(with_pool(queries, judged, ANSWERS), answers)["mrr"] == 1
    assert [len(q[2].starts) for q in (*with_pool(queries, judged, ANSWERS), *with_pool(queries, judged, PARTLY))] == [
        2,
        3,
    ]
    assert len(queries[0][2].starts) == 1
    assert agreement(queries, judged)["others, by grade 0 1 2"] == [0, 1, 1]
    assert judged_share(queries, answers, judged) == 1
