from notesmith.correct.forms import form_table
from notesmith.correct.gather import gather, subject_candidates
from notesmith.correct.index import Floats, Ints
from notesmith.sounds import load_costs, pronounce_text
from notesmith.transcript import sounding
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
