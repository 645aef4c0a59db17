import pytest

from notesmith.correct.candidates import heard_words, of_a_person_or_street, protected, right_already
from notesmith.correct.forms import form_table
from notesmith.correct.gather import gather, subject_candidates
from notesmith.correct.index import Floats, Ints
from notesmith.sounds import load_costs, pronounce_text
from notesmith.transcript import WordRange, sounding
from notesmith.vocabulary import load_vocabulary
from tests.correct.talk import transcript

VOCABULARY = load_vocabulary()
TABLE = form_table(VOCABULARY, load_costs())
TALK = transcript(
    "Pulsatilla is mild. Pulsatilla weeps. Pulsatilla wants air, and Pulsatilla is thirstless.",
    "When she comes again I think of pulse until and the open window.",
)


def test_what_the_session_speaks_of_is_looked_for_under_ordinary_words() -> None:
    found = [one for one in gather(TALK, TABLE).candidates if one.by_subject]
    heard = {sounding(TALK.text(one.words)) for one in found}
    assert any(one.startswith("pulse") for one in heard)
    assert {TABLE.forms[one.form].concept_id for one in found} == {"remedy/pulsatilla-nigricans"}


def test_no_subject_no_candidate_and_barred_pairs_stay_out() -> None:
    session = gather(TALK, TABLE)
    assert subject_candidates(session, TABLE, [], frozenset()) == []
    barred = gather(TALK, TABLE, allowed=lambda r, concept_id: not concept_id.startswith("remedy/"))
    assert not any(TABLE.forms[one.form].concept_id.startswith("remedy/") for one in barred.candidates)


def test_frozen_words_are_let_be() -> None:
    frozen = frozenset(range(12, 30))
    assert not any(
        set(range(one.words.start, one.words.end)) & frozen for one in gather(TALK, TABLE, frozen=frozen).candidates
    )


def test_what_is_near_does_not_depend_on_what_is_asked_for_together() -> None:
    """Else a talk would be corrected otherwise after another one, or with its windows looked up one by one."""
    index = TABLE.index
    words = (
        "colley by chromacum",
        "sulfer",
        "nux",
        "like a podium",
        "thick ropy",
        "a",
        "arsenic",
        "the mother said so",
    )
    sounds = [pronounce_text(text) for text in words]
    many = [pronounce_text(label) for label in sorted(VOCABULARY.by_label)[::40]]

    def asked(*together: list[str]) -> list[tuple[list[int], list[float]]]:
        index._known.clear()
        found: dict[str, tuple[Ints, Floats]] = {}
        for strings in together:
            found |= index.nearest(strings, keep=14, groups=48, rough=24)
        return [(found[one][0].tolist(), found[one][1].tolist()) for one in sounds]

    alone = asked(*([one] for one in sounds))
    assert alone == asked([*many, *sounds]) == asked(sounds[::-1])
    assert sum(bool(forms) for forms, _ in alone) >= 6


def right_in(text: str) -> set[str]:
    words = heard_words(transcript(text))
    found = protected(VOCABULARY, words, right_already(VOCABULARY, words, transcript(text)))
    return {concept_id for _, concept_id in found.values()}


def test_a_short_word_of_a_remedys_name_is_that_remedy_and_no_garble_of_another() -> None:
    assert right_in("We gave cepa for the cold.") == {"remedy/allium-cepa"}
    assert right_in("We gave Calc for the cold.") == set()  # a stub, of which Calcarea may be the rest


def test_an_english_name_without_its_latin_ending_is_right_as_it_was_heard() -> None:
    assert right_in("Then camphor is for the collapse.") == {"remedy/camphora"}
    assert right_in("Then Sulfur is for the heat.") == set()  # another spelling is restored


@pytest.mark.parametrize(
    ("said", "heard", "concept_id", "named"),
    [
        ("My neighbour, Mr. Tarant, drives.", "Tarant,", "remedy/tarentula-hispanica", True),
        ("As Mr. Kant has it.", "Kant", "author/james-tyler-kent", False),
        ("He lives in Clark Street now.", "Clark", "author/john-henry-clarke", True),
        ("The people in Clark, street by street.", "Clark,", "author/john-henry-clarke", False),
        ("If you miss seeping ulcers.", "seeping", "remedy/sepia", False),
    ],
)
def test_a_name_with_a_form_of_address_and_a_streets_are_no_terms(
    said: str, heard: str, concept_id: str, named: bool
) -> None:
    texts = said.split()
    at = texts.index(heard)
    assert of_a_person_or_street(texts, WordRange(at, at + 1), concept_id) is named
