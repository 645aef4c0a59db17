"""Places that need a caution: a dose, advice against care, an urgent condition, a claim of cure.

Each carries the reason, the usual advice, and a public source with its year. They cannot be switched off.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence

from notesmith.annotations import Caution, CautionKind
from notesmith.extract import learned
from notesmith.extract.cures import claims_in
from notesmith.extract.discouraging import discouraging_places, keeps_others_away, warns_of_stopping
from notesmith.extract.prescriptions import Given, Said
from notesmith.extract.sentences import Look
from notesmith.extract.session import Sentence, Session
from notesmith.extract.urgent import URGENT, Urgent, is_told_away
from notesmith.extract.warning_signs import MIASMS, sends_to_care, signs_in
from notesmith.transcript import TimeSpan, WordRange

#: Printed at the head of every published page and document.
STANDING_LINE = (
    "A record of what was taught in class, not medical advice. Nothing here implies that a remedy is effective. "
    "Do not delay, stop or replace medical care because of it. Prescribing is for licensed practitioners "
    "under local law. "
    "In an emergency call the local emergency number."
)

_WHO = "WHO, Safety issues in the preparation of homeopathic medicines, 2009"
_NHMRC = "NHMRC, Information Paper CAM02A, 2015"
_FDA = "FDA, Homeopathic Drug Products: guidance, 2022 (87 FR 75054)"
_FTC = "FTC, Enforcement Policy Statement on Marketing Claims for OTC Homeopathic Drugs, 2016 (81 FR 90122)"
_AS_STATED = "Recorded as stated; not a recommendation. Products labelled homeopathic are not approved by the FDA for safety or effect."


def _places_of(
    session: Session, sentence: Sentence, places_in: Callable[[str], Iterable[re.Match[str]]]
) -> list[tuple[int, int]]:
    """The units of words of one kind that begin in a sentence. Where no stop ends it, they may go on in the next."""
    spans = [session.span_of(sentence.start, place) for place in places_in(sentence.low)]
    following = session.sentences[sentence.index + 1 : sentence.index + 2]
    if following and sentence.low[-1:].isalnum():
        joined = places_in(session.low(sentence.start, following[0].end))
        over = [session.span_of(sentence.start, place) for place in joined]
        spans += [(begin, end) for begin, end in over if begin < sentence.end < end]
    return spans


#: The language model's probability from which words are flagged that nothing else flags (claims of cure, words against care,
#: urgent conditions), and below which a sentence is let go that only a sum over its words flags. What a rule flags stays
#: flagged. Chosen on sets left out.
READ_FROM = {"c": 0.3, "d": 0.35, "u": 0.2}
LET_GO = 0.02
POTENCY_FROM = 0.4


def find_cautions(
    session: Session, looks: Sequence[Look], potencies: Sequence[Said], given: Sequence[Given]
) -> tuple[Caution, ...]:
    found: list[Caution] = []

    def add(kind: CautionKind, reason: str, advice: str, source: str, start: int, end: int) -> None:
        found.append(Caution(kind, reason, advice, source, session.words(start, end), session.time(start, end)))

    covered: set[int] = set()
    for item in given:
        if item.potency_units is None and item.repetition_units is None:
            continue
        add("potency or dose", "A potency or dose as said in class.",
            _AS_STATED, _FDA, item.start, item.end)  # fmt: skip
        covered.update(range(item.start, item.end))
    for said in potencies:
        if said.start not in covered:
            add("potency or dose", "A potency or dose as said in class.",
                "Recorded as stated; low dilutions of toxic or contaminated sources can do harm." if _low(said.potency) else _AS_STATED,
                _WHO if _low(said.potency) else _FDA, said.start, said.end)  # fmt: skip
    covered.update(unit for said in potencies for unit in range(said.start, said.end))
    for begin, end in session.opinions.stated("potency", POTENCY_FROM):
        if covered.isdisjoint(range(begin, end)):
            add("potency or dose", "What may be a potency or dose, as said in class.", _AS_STATED, _FDA, begin, end)
    learnt = learned.model()
    read_as = {kind: list(session.opinions.spans(kind, least)) for kind, least in READ_FROM.items()}
    likely = {kind: session.opinions.inside(kind) >= LET_GO for kind in "du"}

    def also_read(kind: str, sentence: Sentence, known: list[tuple[int, int]]) -> list[tuple[int, int]]:
        """The places known with those that the language model alone sees begin in the sentence."""
        return known + [
            (begin, end) for begin, end in read_as[kind]
            if sentence.start <= begin < sentence.end and not any(begin < last and first < end for first, last in known)
        ]  # fmt: skip

    for look in looks:
        sentence = look.sentence
        low = sentence.low
        features = learned.care_features(session, look)
        known = len(found)
        places = also_read("d", sentence, _places_of(session, sentence, discouraging_places))
        if (
            not places
            and likely["d"][sentence.start : sentence.end].any()
            and math.exp(learnt.discourages.log_shares(features)[1]) >= learned.DISCOURAGES_FROM
            and not warns_of_stopping(low)
            and not keeps_others_away(low)
        ):
            places = [(sentence.start, sentence.end)]
        for begin, end in places:
            add("discourages care", "These words may be heard as advice against surgery, medicines, vaccination or referral.",
                "Do not delay, refuse or stop medical care; changes to prescribed medicines are for the "
                "doctor who prescribed them. "
                "Serious, chronic or possibly serious conditions should not be treated with homeopathy instead.",
                _NHMRC, begin, end)  # fmt: skip
        for urgent, begin, end in _urgent_flags(session, look):
            add("urgent condition", f"Mentions {urgent.name}.", urgent.advice, urgent.source, begin, end)
        urgent_so_far = any(caution.kind == "urgent condition" for caution in found[known:])
        if not urgent_so_far:
            places = also_read("u", sentence, [])
            if (
                not places
                and likely["u"][sentence.start : sentence.end].any()
                and math.exp(learnt.urgent.log_shares(features)[1]) >= learned.URGENT_FROM
            ):
                places = [(sentence.start, sentence.end)]
            for begin, end in places:
                add(
                    "urgent condition", f"Mentions {MAY_BE_URGENT.name}.", MAY_BE_URGENT.advice, MAY_BE_URGENT.source, begin, end
                )  # fmt: skip
        for begin, end in also_read("c", sentence, _places_of(session, sentence, claims_in)):
            add("claim of cure", "A cure or lasting effect is stated without published proof.",

                    "A case told in class is not evidence of effect; no condition has been found with "
                    "reliable evidence that homeopathy is effective. "
                "Such claims need competent scientific evidence where they are advertised.",
                f"{_NHMRC}; {_FTC}", begin, end)  # fmt: skip
    urgent_ones = one_a_passage([c for c in found if c.kind == "urgent condition"], session.reading.transcript.time)
    others = [c for c in found if c.kind != "urgent condition"]
    return tuple(sorted([*others, *urgent_ones], key=lambda c: (c.words.start, c.kind, c.reason)))


#: Words between two flags of one passage, between a flag and one that only says that a doctor is needed, and words of a flag.
_SAME_GAP, _LOOSE_GAP, _FLAG_WORDS = 30, 10, 60


def one_a_passage(found: Sequence[Caution], time_of: Callable[[WordRange], TimeSpan]) -> list[Caution]:
    """Flags of urgent conditions, one a passage: where the same condition is named again soon it is the same flag, over all
    the words; a flag that only says that a doctor is needed is part of one beside it that says why; flags over the
    same words become one that names each condition and has the more pressing advice. No flagged word is let go."""
    flags: list[Caution] = []
    for one in sorted(found, key=lambda c: (c.words.start, c.words.end)):
        for at in range(len(flags) - 1, -1, -1):
            known = flags[at]
            joined = _joined(known, one)
            if joined is not None:
                words = WordRange(min(known.words.start, one.words.start), max(known.words.end, one.words.end))
                flags[at] = Caution(one.kind, joined.reason, joined.advice, joined.source, words, time_of(words))
                break
        else:
            flags.append(one)
    return flags


def _joined(known: Caution, one: Caution) -> Caution | None:
    """The caution whose words two flags are to have together, None where they stay two."""
    gap = max(one.words.start - known.words.end, known.words.start - one.words.end)
    if max(known.words.end, one.words.end) - min(known.words.start, one.words.start) > _FLAG_WORDS and gap >= 0:
        return None
    named, more = _conditions(known), _conditions(one)
    if more <= named or named <= more:
        return (known if more <= named else one) if gap <= _SAME_GAP else None
    if gap <= _LOOSE_GAP and one.reason in _LOOSE:
        return known
    if gap <= _LOOSE_GAP and known.reason in _LOOSE:
        return one
    if gap >= 0 or not {known.advice, one.advice} <= _GO_NOW:
        return None
    pressing = min((known, one), key=lambda c: c.advice != URGENT[0].advice)
    return Caution(
        one.kind, f"Mentions {'; '.join(sorted(named | more))}.", pressing.advice, pressing.source, one.words, one.time
    )


def _conditions(caution: Caution) -> frozenset[str]:
    return frozenset(caution.reason.removeprefix("Mentions ").removesuffix(".").split("; "))


def _urgent_flags(session: Session, look: Look) -> list[tuple[Urgent, int, int]]:
    """The conditions the rules see in a sentence, each with half-open units: one flag a condition and sentence, over all
    the words that speak of it; besides the plain words, signs told in others, and what is sent to care."""
    sentence, low = look.sentence, look.sentence.low
    found: list[tuple[Urgent, int, int]] = []
    for urgent in URGENT:
        places = [
            place for place in session.search(urgent.pattern, sentence.start, sentence.end)
            if not (place[2][0].startswith("psychos") and MIASMS.search(low))  # a misheard sycosis
            and not is_told_away(low, place[2].start(), place[2].end())
        ]  # fmt: skip
        if places:
            found.append((urgent, places[0][0], max(end for _, end, _ in places)))
    place = {urgent.name: at for at, (urgent, _, _) in enumerate(found)}
    sent = sends_to_care(low)
    for name, first, last in [*signs_in(low), *([(SENT, *sent)] if sent is not None else [])]:
        if is_told_away(low, first, last):
            continue
        begin = sentence.start + low.count(" ", 0, first)
        end = begin + low.count(" ", first, last) + 1
        if name in place:
            urgent, known_begin, known_end = found[place[name]]
            found[place[name]] = (urgent, min(known_begin, begin), max(known_end, end))
        else:
            found.append((_ADVICE[name], begin, end))
    return found


_ADVICE = {urgent.name: urgent for urgent in URGENT}
MAY_BE_URGENT = Urgent(
    "what may need a doctor at once",
    re.compile("(?!)"),
    "Like what has been told of urgent conditions; have it looked at by a doctor without delay.",
)
SENT = "what the speaker sends to medical care"
_ADVICE[SENT] = Urgent(SENT, re.compile("(?!)"), "The speaker says that this needs medical care; do not delay it.")
#: Flags that say no more than that a doctor is needed; and advice of which the most pressing may stand for the others.
_LOOSE = frozenset(f"Mentions {urgent.name}." for urgent in (MAY_BE_URGENT, _ADVICE[SENT]))
_GO_NOW = frozenset([URGENT[0].advice, *(u.advice for u in URGENT if "same day" in u.advice)])


def _low(potency: str) -> bool:
    if potency == "Q":
        return True
    digits = re.match(r"(\d+)([XDC])", potency)
    return bool(digits) and int(digits[1]) <= (12 if digits[2] in "XD" else 6)  # type: ignore[index]
