"""In-place cautions; the list of urgent conditions is from ordinary first-aid and emergency teaching (common practice)."""

from __future__ import annotations

from collections.abc import Callable
from typing import cast

import pytest

from notesmith.annotations import Extraction
from notesmith.extract import STANDING_LINE
from notesmith.extract.cautions import _places_of
from notesmith.extract.cures import claims_in
from notesmith.extract.discouraging import discouraging_places
from notesmith.extract.session import Sentence, Session
from notesmith.reading import Reading

Found = Callable[..., tuple[Reading, Extraction]]
FRAME = ("Pulsatilla is mild. ", " It is a warm remedy.")

URGENT = [
    "He cannot breathe and the lips are blue.", "There was severe chest pain going to the left arm.",
    "Her face was drooping and her speech was slurred.", "The child had a convulsion with the fever.",
    "She said she wants to end her life.", "He has high fever with stiff neck.", "The abdomen was rigid like a board.",
    "She was bleeding in the third month of pregnancy.", "The baby is limp and not feeding.", "It was septic and he collapsed.",
]  # fmt: skip
DISCOURAGING = [
    "If you do not stop the antibiotics, nothing will act.", "Why not leave off the insulin?",
    "Stop all the steroids on the first day.", "There is no need of surgery in such cases.",
    "Throw away the inhaler and wait.", "Vaccination is not necessary for these children.",
    "Do not send him to the hospital, give the remedy.", "I told her not to take insulin.",
    "Why look for a surgeon when the lump is soft?", "The neighbour told the father, do not go, he only needs rest.",
    "They say let the warfarin sleep a month.", "Leave the syrup in the cupboard and let the fever work.", "Her mother kept her from the knife with prayers.",
    "Put on the drip, they never come back, she said.", "The iron tablets rot the stomach so do not take.", "An antibiotic makes cancer, he says.", "Do not go to the ENT.",
    "The tube in the chest is the last thing, from it they don't return.", "A woman who is opened once is never whole.", "I told the parents to wait till Monday.", "The insulin is only for the lazy.",
    "A healing crisis, they call it, and he stayed at home.", "Hospitals only pump them with drips.",
    "The healer forbade the paracetamol.", "She must never show the girl to ear doctors, he said.", "He banned the inhaler from the house.",
]  # fmt: skip
HARMLESS = [
    "Never stop the insulin.",
    "Nobody should forbid the paracetamol.",
    "Nobody should skip the vaccine.",
    "He did not stop the antibiotics on my word.",
    "It is worse after vaccination, so the old books say.",
    "Pulsatilla has a bland discharge.",
    "She is better from cold bathing.",
    "He was given breakfast in the morning.",
]


def kinds(found: Found, text: str) -> set[str]:
    _, result = found(FRAME[0] + text + FRAME[1])
    return {c.kind for c in result.cautions}


@pytest.mark.parametrize("text", URGENT)
def test_urgent_conditions_are_flagged(found: Found, text: str) -> None:
    assert "urgent condition" in kinds(found, text)


@pytest.mark.parametrize("text", DISCOURAGING)
def test_advice_against_care_is_flagged(found: Found, text: str) -> None:
    assert "discourages care" in kinds(found, text)


@pytest.mark.parametrize("text", HARMLESS)
def test_ordinary_teaching_is_not_flagged(found: Found, text: str) -> None:
    assert kinds(found, text) == set()


NO_DANGER = [
    "He never had epilepsy.", "The scan showed no cancer.", "The sputum for TB was negative.", "Her father died of a stroke.",
    "He had malaria in childhood.", "He said it had cured malaria.", "There is knocking inside the skull.", "It is used in food poisoning.",
    "The pain jumps from here to there.", "Do not wake him for the dose.", "The blood pressure was normal and she was pale.", "He took the blue inhaler.",
    "The fat food stays in the stomach like a stone.", "Lumpy stool like jelly in the morning.",
]  # fmt: skip
DANGER_NEAR_ONE = [
    "If there is no pulse, call for help.", "The belly is blown up and no wind passes.", "A deafness of one ear which came overnight.", "She cannot swallow and gets thin.",
    "If he cannot put four steps and the bone hurts.", "Half of the face was asleep.", "Her father cannot speak since this morning.", "Make sure it is no meningitis.", "He has no fever but cannot breathe.",
    "It is malaria until the slide says no.", "After the stroke he cannot swallow.",
]  # fmt: skip


@pytest.mark.parametrize("text", NO_DANGER)
def test_what_is_denied_past_or_another_thing_of_that_name_is_not_urgent(found: Found, text: str) -> None:
    assert "urgent condition" not in kinds(found, text)


@pytest.mark.parametrize("text", DANGER_NEAR_ONE)
def test_a_danger_beside_a_denial_is_urgent(found: Found, text: str) -> None:
    assert "urgent condition" in kinds(found, text)


def test_a_condition_named_again_at_once_has_one_flag_over_all_its_words(found: Found) -> None:
    told = "He has pneumonia. In pneumonia he breathes fast, thirty in the minute. Pneumonia goes to hospital."
    reading, result = found(FRAME[0] + told + FRAME[1])
    flags = [
        reading.text_of(c.words) for c in result.cautions if c.kind == "urgent condition" and "infection" in c.reason
    ]
    assert len(flags) == 1
    assert flags[0].lower().count("pneumonia") == 3


def test_each_place_against_care_in_a_long_sentence_is_flagged(found: Found) -> None:
    told = "my cousin the tailor says bin the inhaler and he has told it to the whole lane for all these years and to everybody who comes to have a coat made "
    reading, result = found(told + "he also says refuse the vaccine")
    flagged = [reading.text_of(c.words) for c in result.cautions if c.kind == "discourages care"]
    assert [any(word in text for text in flagged) for word in ("inhaler", "vaccine")] == [True, True]


def test_words_against_care_are_read_over_the_seam_where_no_stop_ends_a_sentence() -> None:
    words = "there is one who writes throw your antidepressant in the toilet".split()
    cut = words.index("your")
    texts = (" ".join(words[:cut]), " ".join(words[cut:]))
    sentences = (Sentence(0, 0, cut, texts[0], texts[0]), Sentence(1, cut, len(words), texts[1], texts[1]))

    class Spoken:
        span_of = Session.span_of

        def __init__(self) -> None:
            self.sentences = sentences

        def low(self, start: int, end: int) -> str:
            return " ".join(words[start:end])

    assert _places_of(cast(Session, Spoken()), sentences[0], discouraging_places) == [(cut - 1, cut + 2)]


def test_doses_and_cures_are_flagged_with_source_and_year(found: Found) -> None:
    _, result = found("Pulsatilla is mild. I gave Pulsatilla 200, one dose. The tumour disappeared and he was cured.")
    by_kind = {c.kind: c for c in result.cautions}
    assert {"potency or dose", "claim of cure"} <= by_kind.keys()
    assert all(
        c.reason and c.advice and any(year in c.source for year in ("2009", "2015", "2016", "2022"))
        for c in result.cautions
    )


def test_each_claim_of_a_long_sentence_is_found_and_a_denial_far_away_hides_none() -> None:
    far = "and then they went on for a long time about the price of the onions and of the rice in the new market of the town "
    told = f"he said he does not promise a cure {far} and she says sulphur finished the acne from the root {far} and his drops took the asthma away for ever"
    assert len(list(claims_in(told))) == 2


def test_the_standing_line_says_what_it_must() -> None:
    for piece in ("taught", "not medical advice", "effective", "delay, stop or replace", "law", "emergency"):
        assert piece in STANDING_LINE


@pytest.mark.parametrize(
    "said",
    [
        "His drops take the asthma away for ever.", "One little pill and he is healed to the root.", "Gallstones, gone in twenty one days.",
        "She says the veins never come back.", "Say goodbye to migraine.", "This powder heals gout in three weeks.", "The tumour melted by two doses and the surgeons were amazed.",
        "The powder brought him back from the grave.", "You have given me back my sight.", "It healed what the city doctors could not.", "The drops saved her the operation.",
        "The little balls mended his knee.", "One bottle washes the chemicals out of the body.", "Two doses and the lame walk, he made the lame walk.", "This root beats diabetes in weeks.",
        "Gallstones are history.", "It has never once failed.", "She will not need her inhaler ever again.",
    ],
)  # fmt: skip
def test_an_effect_that_lasts_is_a_claim(said: str) -> None:
    assert any(claims_in(said.lower()))


@pytest.mark.parametrize(
    "said",
    [
        "Hering's law of cure is read backwards here.", "I cannot promise a cure.", "She slept from then on and it did not come back that winter.",
        "In two weeks the cough was less.", "She takes sips of water from a bottle.", "The wound closes in three weeks if it is clean.", "It is anxious about health, about the disease.", "There is no magic without food.", "Nothing dissolved, and nobody cured him.",
        "The child opens the eyes in the dark.", "His voice came back in a week.",
    ],
)  # fmt: skip
def test_a_good_end_or_a_denial_is_no_claim(said: str) -> None:
    assert not any(claims_in(said.lower()))
