"""What the rules find in short invented sessions."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import Any

import pytest

from notesmith.annotations import Extraction
from notesmith.errors import ModelError
from notesmith.extract import extract, language, load_nlp
from notesmith.reading import Reading
from notesmith.vocabulary import Vocabulary

from .conftest import reading_of

Found = Callable[..., tuple[Reading, Extraction]]

LESSON = """
Good morning. Can you hear me at the back? Okay.
Today we take Pulsatilla. Pulsatilla is a mild and yielding remedy. She weeps easily.
Pulsatilla is thirstless; Arsenicum wants ice water, and not for the pain.
She is worse in a warm room and better in the open air. Remember this.
"""

CASE = """
Pulsatilla is a mild remedy. She is worse in a warm room.
Let me tell you one case. A lady of 42 years, a teacher, came to my clinic with leucorrhoea for two years.
She cried while telling her complaints. She had no thirst. She had taken many antibiotics without relief.
I gave her Pulsatilla 200, single dose. After two weeks she came back and the discharge was half.
After one month I repeated it in 1M. She is completely well now.
So this is the picture of Pulsatilla. It is a chilly remedy at times and it is worse in the evening.
Sepia is indifferent to her family. Sepia is worse before the menses.
The same lady I told you about came again in winter. She had a cough for three days.
"""


def test_each_fact_goes_to_its_own_remedy_with_its_not(found: Found) -> None:
    _, result = found(LESSON)
    by_text = {p.text: p for p in result.points}
    assert by_text["Pulsatilla is thirstless."].remedy_id == "remedy/pulsatilla-nigricans"
    ice = next(p for t, p in by_text.items() if "ice water" in t)
    assert ice.remedy_id == "remedy/arsenicum-album"
    assert ice.negated
    assert any(p.weight > 1 and "open air" in p.text for p in result.points), (
        "'Remember this.' weighs on what it closes"
    )
    sides = {f.remedy_id: f for c in result.comparisons for f in c.facts}
    assert sides.keys() == {"remedy/pulsatilla-nigricans", "remedy/arsenicum-album"}


def test_this_one_is_the_remedy_in_focus(found: Found) -> None:
    _, result = found(
        "Today our remedy is Apis. Apis has stinging pains. Apis is worse from heat. Apis is restless.\n"
        "Pulsatilla is thirstless; this one wants ice water, and not for the pain."
    )
    ice = next(p for p in result.points if "ice water" in p.text)
    assert ice.remedy_id == "remedy/apis-mellifica"


def test_a_case_with_its_fields_and_its_later_follow_up(found: Found) -> None:
    reading, result = found(CASE)
    assert len(result.vignettes) == 1
    case = result.vignettes[0]
    assert reading.text_of(case.words).startswith("Let me tell you one case.")
    assert reading.text_of(case.words).endswith("She is completely well now.")
    fields = {(f.label, f.text) for f in case.findings}
    assert {("age", "42 years"), ("sex", "lady"), ("remedy", "Pulsatilla"), ("potency", "200"), ("potency", "1M"),
            ("repetition", "single dose")} <= fields  # fmt: skip
    assert any(label == "presenting complaint" and "leucorrhoea" in text for label, text in fields)
    assert any(label == "prior treatment" and "antibiotics" in text for label, text in fields)
    assert "investigation" in case.not_stated
    assert len(case.follow_ups) == 1
    for finding in case.findings:
        assert finding.text in reading.text_of(finding.words)


def test_prescriptions_state_only_what_was_said(found: Found) -> None:
    _, result = found(CASE)
    first, second = result.prescriptions
    assert (first.remedy_id, first.potency, first.potency_said, first.repetition, first.duration) == (
        "remedy/pulsatilla-nigricans", "200C", "200", "single dose", None,
    )  # fmt: skip
    assert (second.potency, second.repetition) == ("1M", None)


def test_parts_cover_the_session_without_gap(found: Found) -> None:
    reading, result = found(LESSON + CASE)
    assert result.parts[0].words.start == 0
    assert result.parts[0].time.start_ms == 0
    assert result.parts[0].kind == "housekeeping"
    for before, after in zip(result.parts, result.parts[1:], strict=False):
        assert before.words.end == after.words.start
        assert before.time.end_ms == after.time.start_ms
    assert result.parts[-1].words.end == len(reading.transcript.words)


def test_housekeeping_teaches_nothing(found: Found) -> None:
    _, result = found(LESSON)
    assert not any("hear me" in p.text for p in result.points)


def test_a_question_is_no_point_and_gets_its_answer(found: Found) -> None:
    _, result = found(
        LESSON + "Any questions? Yes, Priya. Sir, can Pulsatilla be given in fever? "
        "See, Pulsatilla is given in fever when there is no thirst."
    )
    asked = [q for q in result.questions if "fever" in q.text]
    assert asked
    assert asked[0].answer is not None
    assert "no thirst" in asked[0].answer


def test_promises_are_carried_over(found: Found) -> None:
    _, result = found(LESSON + "Next class we will compare Sepia with Pulsatilla.")
    promised = [c for c in result.carry_overs if c.direction == "promised"]
    assert [set(c.topic_ids) for c in promised] == [{"remedy/sepia-officinalis", "remedy/pulsatilla-nigricans"}]


def test_lay_wording_meets_its_rubric(found: Found) -> None:
    _, result = found("Pulsatilla is mild. Sepia is cold. She cries more when anybody comforted her.")
    assert "rubric/mind/weeping-consolation" in {m.concept_id for m in result.mentions}


def test_a_contraction_is_no_abbreviation(found: Found) -> None:
    _, result = found("Pulsatilla is mild. He'd been worse at night.")
    assert "remedy/hedera-helix" not in {m.concept_id for m in result.mentions}


def test_the_same_input_gives_the_same_result(vocabulary: Vocabulary, nlp: Any) -> None:
    reading = reading_of(LESSON + CASE)
    assert extract(reading, vocabulary, nlp=nlp) == extract(reading, vocabulary, nlp=nlp)


@pytest.mark.parametrize("text", ["", "Um.", "yes", "? ! .", "so so so so", "Pulsatilla"])
def test_odd_input_is_survived(found: Found, text: str) -> None:
    _, result = found(text)
    assert isinstance(result, Extraction)


def test_without_stops_or_capitals(found: Found) -> None:
    text = "\n".join(
        ["today we take pulsatilla she is mild and yielding and she weeps easily", "pulsatilla is thirstless in all complaints",
         "she is worse in a warm room and better in the open air", "the discharges are thick and bland and yellow"] * 3
    )  # fmt: skip
    _, result = found(text)
    assert len(result.points) >= 4
    assert max(len(p.text.split()) for p in result.points) < 30


@pytest.mark.parametrize(
    "broken",
    [
        "It is not that\nShe is afraid of pain.",
        "It is not that. She is afraid of pain.",
        "I do not say that\nShe is afraid of pain.",
    ],
)
def test_a_denial_goes_with_what_it_denies(found: Found, broken: str) -> None:
    """A recogniser's line ends and stops stand anywhere; the note must not say the opposite of what was said."""
    _, result = found("Today we take Pulsatilla. She is mild.\n" + broken + " She weeps easily.")
    for point in result.points:
        if "afraid of pain" in point.text:
            assert "not" in point.text.split("afraid")[0] and point.negated


def test_without_stops_sentences_are_cut_where_they_were_said(found: Found) -> None:
    """Lines are broken anywhere; no line's end is a sentence's, and what is said of one thing stays together."""
    said = (
        "so today we take sepia sepia is indifferent to her family and she is worse in the morning she is better from dancing so you should ask her "
        "about it okay and there is a yellow saddle over the nose the uterus drags down and she wants to cross her legs now we come to pulsatilla "
        "pulsatilla is mild she weeps easily and she is better in the open air"
    ).split()
    lines = "\n".join(" ".join(said[at : at + 7]) for at in range(0, len(said), 7))
    reading, result = found(lines)
    texts = [reading.text_of(point.words) for point in result.points]
    assert len(texts) >= 3
    assert all(len(text.split()) < 25 for text in texts)
    assert any(text.startswith(("pulsatilla is mild", "she weeps")) for text in texts)


def test_a_passage_in_quotation_marks_is_read_aloud(found: Found) -> None:
    told = "Today we take Sepia. She is tired. She is sad and she weeps.\n"
    read = (
        "“The face is yellow and the eyelids hang.” Mark that. “The uterus drags down as if all would come out.” You see it here too. "
        "“She is indifferent to her own family.” Thank you.\n"
    )
    reading, result = found(told + read)
    kinds = {reading.text_of(part.words)[:40]: part.kind for part in result.parts}
    assert "reading" in kinds.values(), kinds
    _, result = found(told + "“She is indifferent to her own family.” said the mother to me.")
    assert "reading" not in {part.kind for part in result.parts}


def test_the_topic_comes_back_after_a_remedy_named_beside_it(found: Found) -> None:
    _, result = found(
        "Apis we finished on Monday. Today it is another one altogether. Sepia, from the ink of the cuttlefish. She is indifferent to her family.\n"
        "The uterus drags down. Pulsatilla weeps too, in Pulsatilla it is for sympathy, Pulsatilla is mild. The cough is worse at night.\n"
        "There is a yellow saddle over the nose. Sepia is better from dancing. The face is yellow and the eyelids hang."
    )
    own = {point.text: point.remedy_id for point in result.points}
    for text in ("The uterus drags down.", "The face is yellow and the eyelids hang."):
        assert own.get(text, "remedy/sepia-officinalis") == "remedy/sepia-officinalis"
    assert "remedy/sepia-officinalis" in own.values()


def test_a_name_alone_is_no_point(found: Found) -> None:
    _, result = found("Today we take Sepia. In Sepia. The uterus drags down. Sepia and. The face is yellow.")
    assert not {"In Sepia.", "Sepia and."} & {point.text for point in result.points}


@pytest.mark.parametrize(
    ("said", "rubric", "meant"),
    [
        ("She is better in the open air.", "rubric/mind/open-hearted", False),
        ("Pulsatilla is weeping, mild and open-hearted.", "rubric/mind/open-hearted", True),
        ("The joints are bad in winter.", "rubric/sleep/bad", False),
        ("Her sleep is bad.", "rubric/sleep/bad", True),
        ("She is worse from cold and better from heat.", "rubric/generalities/warm-aggravates", False),
        ("She is worse from heat in every form.", "rubric/generalities/warm-aggravates", True),
    ],
)
def test_everyday_words_mean_a_rubric_only_in_their_place(found: Found, said: str, rubric: str, meant: bool) -> None:
    # said in the middle: what ends a session of three sentences may be taken for its close
    _, result = found(f"Today we take Pulsatilla. Pulsatilla is mild. {said} It is a remedy of changeable states.")
    assert (rubric in {mention.concept_id for mention in result.mentions}) is meant


def test_a_missing_pipeline_is_one_clear_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(language, "PACKAGES", ("no_such_pipeline_package",))
    load_nlp.cache_clear()
    try:
        with pytest.raises(ModelError, match="pip install") as error:
            load_nlp()
        assert "\n" not in str(error.value)
    finally:
        load_nlp.cache_clear()


@pytest.mark.slow
def test_half_an_hour_takes_seconds(vocabulary: Vocabulary, nlp: Any) -> None:
    reading = reading_of((LESSON + CASE) * 25)
    assert len(reading.transcript.words) > 4500
    extract(reading_of(LESSON), vocabulary, nlp=nlp)
    begin = time.perf_counter()
    extract(reading, vocabulary, nlp=nlp)
    assert time.perf_counter() - begin < 20  # aim 3 s alone on the machine; tests share it


def test_without_capitals_a_remedy_named_like_a_country_is_known_by_what_stands_beside_it(found: Found) -> None:
    talk = (
        "good evening all of you please settle down and open the book at the page we left it on yesterday evening\n"
        "the ship came from china with tea and silk and the story goes that the bark came by another ship from the south\n"
        "i gave china thirty morning and evening for two weeks and the boy who was so pale could walk to school again\n"
        "so china is the remedy after loss of blood and of other fluids and the belly is full of wind which does not help\n"
    )
    _, extraction = found(talk)
    starts = [m.words.start for m in extraction.mentions if m.concept_id == "remedy/china-officinalis"]
    words = talk.split()
    assert words.index("china") not in starts
    assert [words[start] for start in starts] == ["china", "china"]
    assert [p.remedy_id for p in extraction.prescriptions] == ["remedy/china-officinalis"]


def prescribed(found: Found, said: str) -> list[tuple[str | None, str | None, str | None]]:
    _, result = found(said)
    return [(rx.remedy_id, rx.potency, rx.repetition) for rx in result.prescriptions]


def test_a_potency_behind_an_unknown_name_is_not_given_to_the_remedy_before(found: Found) -> None:
    text = """I had a lady of forty with headaches. I gave Pulsatilla two hundred, one dose, and she was better.
    After a month he was put on costume thirty, and a week later I repeated the thirty."""
    _, result = found(text)
    assert [(rx.remedy_id, rx.potency, rx.remedy_said) for rx in result.prescriptions] == [
        ("remedy/pulsatilla-nigricans", "200C", None),
        (None, "30C", "costume"),
        (None, "30C", "costume"),
    ]
    assert all(rx.doubtful for rx in result.prescriptions[1:])


@pytest.mark.parametrize(
    "given", ["her thirty", "the boy thirty", "Meena thirty", "one dose thirty", "it again in thirty"]
)
def test_who_is_given_it_is_no_unknown_remedy(found: Found, given: str) -> None:
    _, result = found(f"A lady of forty came with headaches. I gave Sepia two hundred. After a month I gave {given}.")
    assert [rx.remedy_id for rx in result.prescriptions] == ["remedy/sepia-officinalis"] * 2


@pytest.mark.parametrize(
    ("said", "length"),
    [
        ("I gave Arsenicum thirty, so I told them, every hour, four hours, then stop.", "four hours"),
        ("I gave Arsenicum thirty, every two hours, and after four hours he slept.", None),
    ],
)
def test_a_bare_length_behind_how_often_is_how_long(found: Found, said: str, length: str | None) -> None:
    _, result = found(CASE_BEFORE + said + " He slept through the night and in the morning he ate.")
    assert result.prescriptions[-1].duration == length


def test_the_same_once_more_is_the_last_prescription_of_the_case(found: Found) -> None:
    given = prescribed(
        found,
        "Let me tell you a case of mine. A woman of forty came with headache for two years, worse in the evening. "
        "I gave Sepia, two hundred, one dose. After a month the headache was less. Then in spring it came back, and I gave the same, once more. "
        "After that she was well.",
    )
    assert given == [
        ("remedy/sepia-officinalis", "200C", "one dose"),
        ("remedy/sepia-officinalis", "200C", "once more"),
    ]


def test_how_often_is_told_by_what_it_follows_and_a_count_is_no_potency(found: Found) -> None:
    given = prescribed(
        found,
        "Let me tell you a case of mine. A man of forty came with loose motions for two days, and with cramps. "
        "I gave Arsenicum, thirty, every quarter hour. In two hours it was less. So the same thirty, after each stool. "
        "In a week I gave Arsenicum, one M, one dose, and for the nights Sepia, six X, in hot water, when needed. "
        "The recorder gave two hundred extrasystoles. In May the cramps came again. The one M again, once. After that he was well.",
    )
    assert given == [
        ("remedy/arsenicum-album", "30C", "every quarter hour"),
        ("remedy/arsenicum-album", "30C", "after each stool"),
        ("remedy/arsenicum-album", "1M", "one dose"),
        ("remedy/sepia-officinalis", "6X", "in hot water, when needed"),
        ("remedy/arsenicum-album", "1M", "once"),
    ]


def test_places_on_a_board_stand_for_the_remedies_named_in_that_order(found: Found) -> None:
    reading, result = found(
        "Pulsatilla is our remedy today. Pulsatilla is mild. "
        "Draw three columns, Pulsatilla, Arsenicum and Sepia. The first is thirstless and wants the open air. "
        "The second is thirsty for small sips and restless at night. The last one is indifferent to her children. "
        "The middle one is better from warmth, the first is worse from it."
    )
    sides = {
        (fact.remedy_id.removeprefix("remedy/"), reading.text_of(fact.words).lower())
        for comparison in result.comparisons
        for fact in comparison.facts
    }
    for remedy, word in (
        ("arsenicum-album", "restless"), ("sepia-officinalis", "indifferent"), ("arsenicum-album", "better from warmth"), ("pulsatilla-nigricans", "worse from it"),
    ):  # fmt: skip
        assert any(remedy == side and word in text for side, text in sides), (remedy, word, sides)


CASE_BEFORE = (
    "Today we take Sepia. Sepia is indifferent. Sepia is worse in the evening. Let me tell you a case of mine. "
    "A woman of forty came with headache for two years, worse in the evening. I gave Sepia, thirty, twice a day, for a week. "
    "After a month the headache was less. "
)


@pytest.mark.parametrize(
    ("said", "potency", "repetition"),
    [
        ("So two hundred, one.", "200C", "one"),
        ("Then single two hundred.", "200C", "single"),
        ("One M, and only the once.", "1M", "and only the once"),
        ("Two zero zero, only one time.", "200C", "one time"),
        ("Then thirties, two-hourly.", "30C", "two-hourly"),
        ("A single tube. Two hundred.", "200C", "A single tube"),
        ("And the six X, four in the day.", "6X", "four in the day"),
        ("I went to two hundred, each Sunday.", "200C", "each Sunday"),
        ("LM one, two granules each ten minutes.", "LM1", "each ten minutes"),
        ("I repeated, the same number, one.", "30C", "one"),
        ("Again one dose, the same.", "30C", "Again one dose"),
        ("At four months I did one more, idem.", "30C", "one more"),
    ],
)
def test_a_dose_in_a_case_needs_no_word_of_giving(found: Found, said: str, potency: str, repetition: str) -> None:
    given = prescribed(found, CASE_BEFORE + said + " In spring she walked again and slept through the night.")
    assert [row[:2] for row in given] == [("remedy/sepia-officinalis", "30C"), ("remedy/sepia-officinalis", potency)]
    assert set((given[1][2] or "").casefold().split()) & set(repetition.casefold().split())


@pytest.mark.parametrize(
    "said",
    [
        "The fever was thirty eight and two.",
        "Her pressure was one thirty over eighty.",
        "The nose stayed the same, perhaps more.",
        "The pain was the same again.",
        "Her number is seven seven one three.",
        "After the thirty, she was quiet.",
    ],
)
def test_what_is_measured_or_stays_the_same_is_no_dose(found: Found, said: str) -> None:
    given = prescribed(found, CASE_BEFORE + said + " In spring she walked again and slept through the night.")
    assert [row[1] for row in given] == ["30C"]


def test_a_name_heard_wrongly_beside_a_potency_is_the_remedy_it_sounds_like_and_doubtful(found: Found) -> None:
    _, result = found(
        "Today we take Pulsatilla. Pulsatilla is mild. Pulsatilla weeps. Let me tell you a case of mine. A girl of nine came with "
        "earache for two days. So, pulse at ella, thirty, three times a day. The next day the ear was quiet."
    )
    assert [(rx.remedy_id, rx.potency, rx.doubtful) for rx in result.prescriptions] == [
        ("remedy/pulsatilla-nigricans", "30C", True)
    ]


def test_what_anybody_may_be_given_is_not_given_to_the_patient(found: Found) -> None:
    _, result = found(
        CASE_BEFORE + "You can begin with thirty every day in such a headache. She slept through the night."
    )
    assert [rx.potency for rx in result.prescriptions if rx.case_key] == ["30C"]


def test_the_remedy_may_follow_its_potency(found: Found) -> None:
    given = prescribed(
        found,
        "Let me tell you a case of mine. A woman of forty came with headache for two years. One M, Sepia of course, and it was "
        "a single dose. After a month she was well.",
    )
    assert [row[:2] for row in given] == [("remedy/sepia-officinalis", "1M")]
    assert "single dose" in (given[0][2] or "")
