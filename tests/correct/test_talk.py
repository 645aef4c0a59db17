"""What the talk is of. What the remedies are known for here is common teaching (Allen, Keynotes, 1898; from memory)."""

import re
from importlib import resources

import pytest

from notesmith.correct.candidates import HeardWord
from notesmith.correct.talk import Talk, load_known_for, relatives
from notesmith.vocabulary import load_vocabulary


def heard(text: str) -> list[HeardWord]:
    return [HeardWord(word, word.strip(".,").lower(), 5.0, "", None, False, False, False) for word in text.split()]


@pytest.mark.parametrize(
    ("talk", "remedy"),
    [
        ("X has the bearing down, she must cross her legs, and is indifferent to her own family", "sepia-officinalis"),
        ("X is hoarse, loses urine when she coughs, never well since burns, drooping lids, sympathy", "causticum"),
        ("X weeps, mild, thirstless, changeable, wants the open air and consolation", "pulsatilla-nigricans"),
        ("X is sprained, stiff on first motion, better by continued motion, worse in the wet", "rhus-toxicodendron"),
    ],
)
def test_the_talk_tells_which_remedy_is_spoken_of(talk: str, remedy: str) -> None:
    near, wide, behind = Talk(heard(talk)).of(f"remedy/{remedy}", 0, 1)
    assert near > 0
    assert wide >= near
    assert behind < 0.02  # of 600 remedies


def test_a_stretch_does_not_speak_for_itself() -> None:
    talk = Talk(heard("the cuttlefish is a sea animal"))
    assert talk.of("remedy/sepia-officinalis", 0, 6)[:2] == (0.0, 0.0)
    assert talk.of("remedy/sepia-officinalis", 4, 5)[1] > 0


def test_what_the_table_does_not_know_is_neither_for_nor_against() -> None:
    talk = Talk(heard("bearing down and crossed legs"))
    assert talk.of("author/kent", 0, 1) == (0.0, 0.0, 0.5)


def test_the_table_names_remedies_of_the_vocabulary_and_no_remedy_in_its_words() -> None:
    vocabulary = load_vocabulary()
    text = resources.files("notesmith.correct").joinpath("data/known_for.tsv").read_text(encoding="utf-8")
    rows = [line.split("\t") for line in text.splitlines() if not line.startswith("#")]
    assert all(remedy in vocabulary for remedy, _ in rows)
    assert len(rows) == len(load_known_for().remedies) == len({remedy for remedy, _ in rows})
    labels = {concept.pref_label.lower() for concept in vocabulary.concepts.values() if concept.scheme == "remedy"}
    said = {entry.strip() for _, entries in rows for entry in entries.split(";")}
    assert said & labels <= {"alcohol"}  # a drink before it is a remedy
    assert not any(re.search(r"\d", entry) for entry in said)  # no potency, no dose


def test_relatives_are_those_a_book_names() -> None:
    # Allen, Keynotes (1898), as in shared/reference/relations.tsv: Kali bichromicum and Arsenicum; from memory.
    related = relatives(load_vocabulary())
    assert "remedy/rhus-toxicodendron" in related["remedy/bryonia-alba"]
    assert "remedy/bryonia-alba" in related["remedy/rhus-toxicodendron"]
