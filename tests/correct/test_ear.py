"""The phones heard in the sound: what they bring up under the transcript's words, and what they say of a hypothesis.

Phones are told from the encoder's output by a learnt network; here they are given, so that the answers are known. How
well the network hears is measured by benchmarks/learn_ear.py, and tests/sounds/test_ear.py has it hear human speech.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec
import numpy as np

from notesmith.correct import correct
from notesmith.correct.decide import from_log_odds, weigh_all
from notesmith.correct.ear import (
    EAR,
    PhonesHeard,
    Sheet,
    ear_candidates,
    ear_rows,
    listen_for_phones,
    subjects,
)
from notesmith.correct.forms import form_table
from notesmith.correct.gather import gather
from notesmith.correct.judge import load_judge
from notesmith.correct.weigh import load_weights
from notesmith.sounds import PHONES, load_costs, pronounce_text
from notesmith.sounds.ear import FRAME_MS, NOTHING
from notesmith.sounds.hearing import PhoneHearing
from notesmith.transcript import TimeSpan, Transcript, Word, WordRange
from notesmith.vocabulary import load_vocabulary

from .talk import transcript

VOCABULARY = load_vocabulary()
TABLE = form_table(VOCABULARY, load_costs())
UNLIKELY = -8.0


class Says:
    """A listener in whose sound other words are spoken than a talk has, each in the time of the word it stands under."""

    def __init__(self, talk: Transcript, spoken: Sequence[str], *, deaf: bool = False) -> None:
        assert len(spoken) == len(talk.words)
        self.talk, self.spoken, self.deaf, self.asked = talk, spoken, deaf, 0

    def phones(self, time: TimeSpan) -> tuple[Sheet, int] | None:
        self.asked += 1
        if self.deaf:
            return None
        sheet = np.full((time.duration_ms // FRAME_MS + 10, len(PHONES) + 1), UNLIKELY, np.float32)
        sheet[:, NOTHING] = 0.0
        for word, said in zip(self.talk.words, self.spoken, strict=True):
            if time.start_ms <= word.time.start_ms < time.end_ms:
                phones = pronounce_text(said)
                places = np.linspace(word.time.start_ms, word.time.end_ms, len(phones) + 2)[1:-1] - time.start_ms
                for phone, ms in zip(phones, places, strict=True):
                    frame = int(ms // FRAME_MS)
                    sheet[frame], sheet[frame, PHONES.index(phone)] = UNLIKELY, 0.0
        return sheet, time.start_ms

    def score(self, time: TimeSpan, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        return [0.0] * len(wordings)

    def expect(self, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        return [0.0] * len(wordings)


HEARD = "In the provings of silica hears says the chilly child of Silicea is obstinate."
SPOKEN = HEARD.replace("hears", "Hughes").replace("silica", "Silicea").split()


def test_a_term_in_the_sound_becomes_a_candidate_over_the_words_that_stood_for_it() -> None:
    talk = transcript(HEARD)
    session = gather(talk, TABLE)
    at = [word.text for word in talk.words].index("hears")

    def hughes(candidates: Sequence[object]) -> set[WordRange]:
        return {c.words for c in candidates if TABLE.forms[c.form].concept_id == "author/hughes"}  # type: ignore[attr-defined]

    ear = PhonesHeard(talk, listen_for_phones(talk, Says(talk, SPOKEN)))
    assert ear.phones(WordRange(at, at + 1)) == pronounce_text("Hughes")
    assert WordRange(at, at + 1) in hughes([*session.candidates, *ear_candidates(session, ear, TABLE, [], frozenset())])
    assert not hughes(ear_candidates(session, ear, TABLE, [], frozenset(range(len(talk.words)))))


def test_phones_are_told_to_their_words_though_the_words_times_are_off() -> None:
    talk = transcript(HEARD)
    hearing = listen_for_phones(talk, Says(talk, SPOKEN))

    def late(word: Word) -> Word:
        return msgspec.structs.replace(word, time=TimeSpan(word.time.start_ms + 90, word.time.end_ms + 90))

    segments = tuple(
        msgspec.structs.replace(one, words=tuple(late(word) for word in one.words)) for one in talk.segments
    )
    ear = PhonesHeard(msgspec.structs.replace(talk, segments=segments), hearing)
    for n, said in enumerate(SPOKEN):
        if talk.words[n].text != "hears":  # nothing like it was written, so that its edges cannot be told
            assert ear.phones(WordRange(n, n + 1)) == pronounce_text(said)


def test_of_two_bounds_as_likely_those_that_leave_no_strange_word_over_are_taken() -> None:
    talk = transcript("Last week we did Carly by Chromicum, stringy discharges and pains in spots.")
    weighed = weigh_all(gather(talk, TABLE), TABLE, load_weights(), load_judge())

    def decided(short: float, whole: float) -> str:
        odds = np.full(len(weighed.chosen), -9.0)
        for at, number in enumerate(weighed.chosen):
            words = talk.text(weighed.session.candidates[number].words)
            odds[at] = {"Carly by": short, "Carly by Chromicum,": whole}.get(words, -9.0)
        (one,) = msgspec.structs.replace(weighed, log_odds=odds).decisions(TABLE)
        return talk.text(one.candidate.words)

    assert decided(short=2.2, whole=2.0) == "Carly by Chromicum,"
    assert decided(short=2.2, whole=-1.0) == "Carly by"


def test_the_phones_speak_for_what_was_said() -> None:
    talk = transcript(HEARD)
    session = gather(talk, TABLE)
    at = [word.text for word in talk.words].index("hears")

    def heard(spoken: Sequence[str]) -> PhonesHeard:
        return PhonesHeard(talk, listen_for_phones(talk, Says(talk, spoken)))

    found = ear_candidates(session, heard(SPOKEN), TABLE, [], frozenset())
    wider = msgspec.structs.replace(session, candidates=(*session.candidates, *found))
    number = next(
        n for n, c in enumerate(wider.candidates)
        if TABLE.forms[c.form].concept_id == "author/hughes" and c.words == WordRange(at, at + 1)
    )  # fmt: skip

    def row(spoken: Sequence[str]) -> dict[str, float]:
        return dict(zip(EAR, ear_rows(wider, heard(spoken), TABLE, [number])[0].tolist(), strict=True))

    said, unsaid = row(SPOKEN), row(HEARD.split())
    assert said["ear asked"] == unsaid["ear asked"] == 1
    assert said["ear score"] == 0 == said["ear left over"] and said["ear lead"] > 0 > unsaid["ear lead"]
    assert said["ear distance"] < 0.1 < unsaid["ear distance"]
    assert unsaid["heard score"] == 0 > said["heard score"]


def test_a_negation_and_a_number_are_never_covered() -> None:
    talk = transcript("She was not there at nine and Sepia was sad.")
    spoken = "She was Natrum there at Nux and Sepia was sad.".split()
    ear = PhonesHeard(talk, listen_for_phones(talk, Says(talk, spoken)))
    barred = {i for i, word in enumerate(talk.words) if word.text in ("not", "nine")}
    found = ear_candidates(
        gather(talk, TABLE), ear, TABLE, ["remedy/natrum-muriaticum", "remedy/nux-vomica"], frozenset()
    )
    assert not [c for c in found if barred & set(range(c.words.start, c.words.end))]


def test_the_sessions_subjects_are_what_it_speaks_of_most() -> None:
    talk = transcript("Causticum is hoarse. Causticum is paralysed. Sepia weeps. In the skin section we come to it.")
    session = gather(talk, TABLE)
    weighed = weigh_all(session, TABLE, load_weights(), load_judge())
    likely = [from_log_odds(z) for z in weighed.log_odds.tolist()]
    assert subjects(session, TABLE, weighed.chosen, likely)[:2] == ["remedy/causticum", "remedy/sepia-officinalis"]


def test_a_sound_that_cannot_be_had_changes_nothing() -> None:
    talk = transcript(HEARD)
    says = Says(talk, SPOKEN, deaf=True)
    assert correct(talk, VOCABULARY, witness=says).items == correct(talk, VOCABULARY).items and says.asked


def test_a_hearing_goes_on_where_it_was_broken_off() -> None:
    talk = transcript(*[HEARD] * 6)
    spoken = SPOKEN * 6
    kept: list[PhoneHearing] = []
    first = correct(talk, VOCABULARY, witness=Says(talk, spoken), keep_phones=kept.append)
    assert len(kept) == len(kept[-1].passages) > 1
    says = Says(talk, spoken)
    assert correct(talk, VOCABULARY, witness=says, phones=kept[0]).items == first.items
    assert says.asked == len(kept) - 1
    says = Says(talk, HEARD.split() * 6)
    assert correct(talk, VOCABULARY, witness=says, phones=kept[-1]).items == first.items and not says.asked
