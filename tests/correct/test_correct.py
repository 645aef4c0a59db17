"""Restoring misheard terms, end to end on small talks. The mishearings are those that Whisper base made of synthetic
speech (issue 4) or invented in their manner; none is in the packaged vocabulary's hidden labels."""

from __future__ import annotations

import time

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from notesmith.correct import SessionHints, correct, look_ahead
from notesmith.correct.forms import form_table
from notesmith.sounds import load_costs
from notesmith.transcript import Segment, Transcript, sounding
from notesmith.verdicts import VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary, load_vocabulary

from .talk import again, restored, transcript

VOCABULARY = load_vocabulary()
LECTURE = (
    "Good morning, today we study Kali bichromicum, one of the great remedies of the mucous membranes.",
    "The discharge of Colley by Chromacum is stringy and yellow, and Kali bichromicum has pain in small spots.",
    "Compare Rouge Toxicodendron, which is better from motion, and Calcaria Carbonica, which is chilly.",
    "Silicia is the remedy of the splinter, and Lycapodium has the wind in the belly.",
    "I gave her Tugia Oxidentalis thirty, one dose, and the warts went in six weeks.",
)


@pytest.mark.parametrize(
    ("heard", "term"),
    [
        ("Colley by Chromacum", "Kali bichromicum"), ("Calcaria Carbonica", "Calcarea carbonica"),
        ("Silicia", "Silicea"), ("Lycapodium", "Lycopodium"), ("Tugia Oxidentalis", "Thuja occidentalis"),
    ],
)  # fmt: skip
def test_split_fused_and_misspelt_terms_are_restored(heard: str, term: str) -> None:
    talk = transcript(*LECTURE)
    text = restored(talk, correct(talk, VOCABULARY))
    assert heard not in text
    assert text.count(term) > " ".join(LECTURE).count(term)


ORDINARY = (
    "Mrs Fernandes had an acute psychotic episode and was seen by the psychiatrist in the hospital.",
    "You can open the book on page ten, and if you can not see it, ask the clerk for a costume.",
    "Boric acid was used as an eye wash, and a seabird sat on the pier at half past six.",
    "He drank coffee, and a cruder kind of bread was on the table, and the sore throat went away.",
    "Wake me at two in the morning, the train leaves at six thirty, and it takes thirty minutes.",
)


def test_an_article_that_english_does_not_say_is_a_piece_of_the_term() -> None:
    heard = transcript(
        "The remedy of silent grief is Ignatia amara.", "Think of grief. A nation Amara is the first remedy."
    )
    assert "grief. Ignatia amara is" in restored(heard, correct(heard, VOCABULARY))


def test_ordinary_speech_survives() -> None:
    talk = transcript(*ORDINARY)
    assert [item for item in correct(talk, VOCABULARY).items if item.state == "applied"] == []


def test_terms_heard_rightly_survive() -> None:
    talk = transcript(
        "Thuja occidentalis and Natrum muriaticum are compared with Sepia in the Materia Medica of Boericke.",
        "Kent says that sycosis and psora are the two miasms, and Hahnemann wrote the Organon.",
    )
    assert correct(talk, VOCABULARY).items == ()


def test_no_vocabulary_means_no_change() -> None:
    talk = transcript(*LECTURE)
    assert correct(talk, Vocabulary({}, (), "none")).items == ()


def test_an_empty_transcript_has_no_corrections() -> None:
    assert correct(Transcript("0" * 64, "en", "test", ()), VOCABULARY).items == ()


def test_the_same_input_gives_the_same_corrections() -> None:
    talk = transcript(*LECTURE)
    assert correct(talk, VOCABULARY) == correct(talk, VOCABULARY)


def _obeys_the_laws(talk: Transcript) -> None:
    found = correct(talk, VOCABULARY)
    last = (-1, 0)
    for item in found.items:
        words = talk.segments[item.segment_id].words
        assert 0 <= item.word_start < item.word_end <= len(words)
        assert (item.segment_id, item.word_start) >= last
        last = (item.segment_id, item.word_end)
        assert item.heard == " ".join(word.text for word in words[item.word_start : item.word_end])
        assert item.concept_id in VOCABULARY
        assert item.evidence
    assert restored(talk, found) is not None


WORDS = st.sampled_from(
    "Colley by Chromacum the of Silicia gave psychotic Rouge Toxicodendron sore can says Kali thirty 200 not no, and. "
    "Hepper sulphur Nat mur ï — 'tis Bell Donna compare Boaric at three o'clock Natrums Sepia's".split()
)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.lists(WORDS, max_size=14), max_size=5))
def test_laws_hold_for_any_talk(lines: list[list[str]]) -> None:
    _obeys_the_laws(transcript(*(" ".join(line) for line in lines)))


@settings(max_examples=30, deadline=None)
@given(st.permutations(LECTURE + ORDINARY))
def test_correcting_twice_equals_once(lines: list[str]) -> None:
    talk = transcript(*lines)
    once = correct(talk, VOCABULARY)
    twice = correct(again(talk, once), VOCABULARY)
    assert [item for item in twice.items if item.state == "applied"] == []


def test_numbers_and_negations_are_never_changed_unseen() -> None:
    line = "Can't says that it is not Silicia thirty but Lycapodium 1 a.m. and no Rouge Toxicodendron."
    talk = transcript(*LECTURE, line)
    for item in correct(talk, VOCABULARY).items:
        if any(part in item.heard.lower().split() for part in ("can't", "not", "no", "thirty", "1")):
            assert item.state == "proposed", item


def _entry(ruling: str, heard: str, restored_to: str | None = None, concept: str | None = None) -> VerdictEntry:
    verdict = WordVerdict(ruling, heard, concept, restored_to)  # type: ignore[arg-type]
    return VerdictEntry(1, verdict, "editor", "2026-03-02T10:00:00Z")


def test_a_rejected_pair_does_not_come_back() -> None:
    talk = transcript(*LECTURE)
    before = next(item for item in correct(talk, VOCABULARY).items if item.heard.startswith("Silicia"))
    rejected = _entry("reject", "silicia", None, before.concept_id)
    after = correct(talk, VOCABULARY, verdicts=[rejected]).items
    assert not any(item.heard.startswith("Silicia") and item.concept_id == before.concept_id for item in after)


def test_never_leaves_a_form_alone_altogether() -> None:
    talk = transcript(*LECTURE)
    after = correct(talk, VOCABULARY, verdicts=[_entry("never", "silicia")]).items
    assert not any(item.heard.rstrip(".,") == "Silicia" for item in after)


def test_always_holds_for_another_model_with_other_punctuation() -> None:
    verdict = _entry("always", "blue pony", "Bryonia", "remedy/bryonia-alba")
    talk = transcript("Then the Blue Pony, please, in two hundred.")
    items = correct(talk, VOCABULARY, verdicts=[verdict]).items
    assert [(item.restored, item.state) for item in items] == [("Bryonia", "applied")]
    assert restored(talk, correct(talk, VOCABULARY, verdicts=[verdict])) == "Then the Bryonia, please, in two hundred."


def test_an_undone_verdict_is_none() -> None:
    entry = VerdictEntry(1, WordVerdict("never", "silicia"), "editor", "2026-03-02T10:00:00Z", undone=True)
    talk = transcript(*LECTURE)
    assert correct(talk, VOCABULARY, verdicts=[entry]) == correct(talk, VOCABULARY)


DOUBTFUL = (
    "For the bones we have Sinfatum, and for the teeth Silisha.",
    "The psychotic miasm of Sinobarese has warts, and or meditally command is for the bones.",
    "Compare Pulsetilla and have for sulfurous calcrian, which is chilly and cross.",
    "So the Mercus patient sweats at night; read Vyric on Paradium, and fight a hacker for the throat.",
)


def test_what_was_answered_makes_no_room_for_more_questions(monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit is for a session, not for each time its results are made again."""
    talk = transcript(*DOUBTFUL)

    def proposals(*verdicts: WordVerdict) -> list[str]:
        entries = [VerdictEntry(n, one, "Asha", "2026-03-02T00:00:00Z") for n, one in enumerate(verdicts)]
        return [item.heard for item in correct(talk, VOCABULARY, verdicts=entries).items if item.state == "proposed"]

    first = proposals()
    with monkeypatch.context() as unlimited:
        unlimited.setattr("notesmith.correct.REVIEW_ITEMS_PER_HALF_HOUR", 100)
        assert len(proposals()) > len(first) == 2
    rulings = [WordVerdict("never", sounding(heard), answers=True) for heard in first]
    assert proposals(rulings[0]) == first[1:]
    assert proposals(*rulings) == []
    unasked = WordVerdict("never", sounding(first[0]))  # nobody was asked: it takes no room
    assert len(proposals(unasked)) == 2


def test_a_session_hint_is_evidence() -> None:
    talk = transcript("In the second part we hear of Sulicia and its cold hands.")
    plain = {i.concept_id: i.score for i in correct(talk, VOCABULARY).items}
    hint = SessionHints(remedy_ids=("remedy/silicea",))
    hinted = {i.concept_id: i.score for i in correct(talk, VOCABULARY, session=hint).items}
    assert hinted.get("remedy/silicea", 0) > plain.get("remedy/silicea", 0)


class SurePerson:
    """A witness that always finds the words as heard, or the restored ones, far likelier; it hears no phones."""

    def __init__(self, heard_is_better: bool) -> None:
        self.heard_is_better = heard_is_better

    def score(self, time: object, before: str, wordings: list[str], after: str) -> list[float]:
        return [-10.0, *(-80.0 if self.heard_is_better else -5.0 for _ in wordings[1:])]

    def expect(self, before: str, wordings: list[str], after: str) -> list[float]:
        return [0.0 for _ in wordings]

    def phones(self, time: object) -> None:
        return None


def test_the_sound_moves_the_odds_of_doubtful_places() -> None:
    talk = transcript(*LECTURE, "and then Sulicia with Gambozia and Baritta, and the Mercus patient sweats.")
    plain = {(i.segment_id, i.word_start): i.score for i in correct(talk, VOCABULARY).items}

    def scores(witness: SurePerson) -> dict[tuple[int, int], float]:
        return {(i.segment_id, i.word_start): i.score for i in correct(talk, VOCABULARY, witness=witness).items}

    against, agreed = scores(SurePerson(True)), scores(SurePerson(False))
    assert all(against.get(place, 0.0) <= score for place, score in plain.items())
    assert all(agreed[place] >= against.get(place, 0.0) for place in plain)
    assert sum(agreed[place] > against.get(place, 0.0) for place in plain)


@pytest.mark.slow
def test_half_an_hour_takes_under_two_seconds() -> None:
    talk = transcript(*(LECTURE + ORDINARY) * 30)  # about 4,200 words, the length of half an hour
    correct(talk, VOCABULARY)
    start = time.process_time()
    correct(talk, VOCABULARY)
    assert time.process_time() - start < 2.0


def test_looking_ahead_changes_no_correction_and_leaves_nothing_to_look_up() -> None:
    heard = transcript(*(LECTURE + ORDINARY))
    index = form_table(VOCABULARY, load_costs()).index
    index._known.clear()
    calm = correct(heard, VOCABULARY)
    index._known.clear()
    for segment in heard.segments:
        look_ahead(Transcript("", "", "", (Segment(0, segment.words),)), VOCABULARY)
    known = set(index._known)
    assert correct(heard, VOCABULARY) == calm
    assert known == set(index._known)
