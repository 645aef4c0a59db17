from notesmith.correct.forms import form_table
from notesmith.correct.gather import gather, subject_candidates
from notesmith.sounds import load_costs
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
