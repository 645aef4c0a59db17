"""Which words of a told case state which field, learnt from labelled cases.

A linear chain over the words of a case: each word begins a field, goes on with it, or stands outside. Its weights are in
``data/told.json``, made by ``benchmarks/learn_notes.py``; ``case_net`` adds what a network makes of the same words. What
the rules say of a word is one feature among many. The same input gives the same output.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from importlib.resources import files

import msgspec

from notesmith.extract.chains import Chain
from notesmith.extract.learned import AFTER_TIME, GROUPS, LEXICON, Linear
from notesmith.extract.lexicon import BODY_CHAPTERS, MEDICINE, stem
from notesmith.extract.potency_words import NUMBER
from notesmith.extract.sentences import Look
from notesmith.extract.session import Session


class ToldModel(msgspec.Struct, frozen=True):
    """``words`` labels the words of a case; ``again`` tells a case that is taken up again from a new one; ``carry``
    tells sentences that promise or refer back."""

    words: Chain
    again: Linear
    carry: Linear


@lru_cache(maxsize=1)
def told_model() -> ToldModel:
    return msgspec.json.decode(files("notesmith.extract").joinpath("data", "told.json").read_bytes(), type=ToldModel)


# ---------------------------------------------------------------- features

_A_NUMBER = re.compile(rf"^{NUMBER}$")
_TIME_WORDS = frozenset(
    "day days week weeks month months year years hour hours minute minutes morning evening night fortnight visit weekend monday tuesday wednesday thursday "
    "friday saturday sunday january february march april may june july august september october november december spring summer autumn winter".split()
)
#: What is told of treatment by others, of how it goes on, and of where and from when things are (common words of care).
CARE: tuple[tuple[str, frozenset[str]], ...] = (
    ("carer", frozenset("""doctor doctors gp surgeon surgeons specialist specialists physician physiotherapist physio nurse nurses hospital hospitals ward clinic casualty dentist
        dermatologist neurologist cardiologist gynaecologist gynecologist urologist paediatrician pediatrician oncologist psychiatrist psychologist orthopaedic chemist
        pharmacist emergency icu ambulance consultant midwife therapist osteopath chiropractor homeopath homoeopath hakim vaidya herbalist lab laboratory er""".split())),
    ("treats", frozenset("""tablet tablets pill pills medicine medicines medication drug drugs inhaler inhalers spray cream creams ointment ointments drops injection injections
        antibiotic antibiotics steroid steroids insulin iron drip saline oxygen bandage bandaged dressing dressings dressed plaster splint stent stents dialysis chemotherapy
        radiotherapy physiotherapy exercise exercises surgery operation operated stitches stitched transfusion fluids vitamin vitamins supplement supplements painkiller
        painkillers paracetamol aspirin ibuprofen antihistamine antihistamines contraceptive emollient emollients patch patches nebuliser nebulizer crutch sling gargle
        gargles massage counselling psychotherapy statin statins syrup capsule capsules treatment treated treating therapy course courses homeopathy homoeopathy herbal
        lotion powder plasters blood bags glasses brace collar stocking stockings diet salt compress ice catheter""".split())),
    ("keeps", frozenset("""continue continued continues continuing keep kept keeps keeping stay stayed stays still remain remained remains along alongside both ongoing unchanged
        untouched touch touched carry carried goes going finish finished complete completed meanwhile presently currently regular regularly daily left""".split())),
    ("stops", frozenset("stop stopped stops stopping quit gave withdrew withdrawn tapered reduced halved weaned without failed nothing relief helped tried".split())),
    ("sends", frozenset("send sent sending refer referred admitted admit rushed ambulance drove took carried hospital".split())),
    ("where", frozenset("""clinic chamber opd op camp outreach dispensary online video phone telephone zoom whatsapp home house visit ward practice rooms surgery office cabin
        consultation hostel bedside corridor temple church parish market village school bakery shop upstairs above kitchen""".split())),
    ("past", frozenset("""died death dead lost funeral buried divorce divorced married marriage moved accident fell childhood born school history family operated operation
        ago before once earlier previous previously since birth pregnancy delivery retired widow widowed war exam exams job company betrayed""".split())),
)  # fmt: skip
_FINITE = frozenset(("VBD", "VBZ", "VBP", "MD"))
_TENSES = _FINITE | {"VBG", "VBN", "VB", "JJR"}


class Told(msgspec.Struct, frozen=True):
    """A case as told: half-open units of its stretches and of its clauses, and what the rules know of single units.

    ``pieces`` has the field of each unit of an own prescription; ``ruled`` the rules' field of a unit; ``kinds`` what
    the vocabulary says a unit names (``remedy``, ``medicine``, ``test`` …). ``first_given`` is the unit of the first
    treatment, None where none was told.
    """

    ranges: tuple[tuple[int, int], ...]
    clauses: tuple[tuple[int, int], ...]
    pieces: Mapping[int, str]
    ruled: Mapping[int, str]
    kinds: Mapping[int, frozenset[str]]
    first_given: int | None


#: Words before the subject of a clause.
_LEADING = frozenset(
    "and but so then now or also because that which who when while after before since until if as well".split()
)


def _said(low: str) -> str:
    return "#" if any(c.isdigit() for c in low) else stem(low)


@lru_cache(maxsize=20_000)
def _classes(low: str) -> tuple[str, ...]:
    """The lexical classes of a word."""
    found = [name for name, words in (*LEXICON, *GROUPS, *CARE) if low in words]
    if MEDICINE.fullmatch(low):
        found.append("treats")
    if low in BODY_CHAPTERS:
        found.append("body")
    if _A_NUMBER.match(low):
        found.append("number")
    if low in _TIME_WORDS:
        found.append("time")
    return tuple(found)


def word_rows(session: Session, looks: Sequence[Look], told: Told) -> tuple[list[int], list[list[str]]]:
    """The units of a case in order, and the features of each."""
    places: list[int] = []
    rows: list[list[str]] = []
    total = sum(end - start for start, end in told.ranges)
    clause_of = {unit: clause for clause in told.clauses for unit in range(*clause)}
    seen: dict[tuple[int, int], list[str]] = {}
    before: list[str] = []
    sent = False  # whether the patient has been sent to others, or taken
    for number, (start, end) in enumerate(told.ranges):
        for sentence in session.sentences_in(start, end):
            first, last = max(start, sentence.start), min(end, sentence.end)
            look = looks[sentence.index]
            flags = [
                name for name, on in (
                    ("again", number > 0), ("question", look.question), ("s:remedy", bool(look.remedies)), ("s:past", look.past > 0),
                    ("s:narration", look.narration > 0),
                ) if on
            ]  # fmt: skip
            flags.append(
                f"sentence {min(sentence.index - session.sentence_at(told.ranges[0][0]).index, 6) if not number else 7}"
            )
            timed = False
            if sent:
                flags.append("sent")
            at: tuple[int, int] | None = None
            for unit in range(first, last):
                clause = clause_of.get(unit)
                if clause != at and clause is not None:
                    if at is not None:
                        timed = timed or "C:after time" in seen[at]
                        before = seen[at]
                    at = clause
                    seen[clause] = _clause_row(session, told, *clause) + (["C:timed"] if timed else [])
                    sent = sent or {"C:c sends", "C:c carer"} <= set(seen[clause])
                after = "after" if number or (told.first_given is not None and unit > told.first_given) else "before"
                own = _word_row(session, told, unit, start, end, first)
                around = seen[clause] if clause is not None else ["C:none"]
                if clause is not None:
                    own += [name for name, on in (("begins", unit == clause[0]), ("ends", unit == clause[1] - 1)) if on]
                row = own + around + flags + [f"P{name}" for name in before if not name.startswith("C:w ")]
                row += [f"{name} {after}" for name in around if not name.startswith("C:w ")]
                row += [f"{name} {after}" for name in own if name.startswith(("0c ", "0w "))]
                row.append(after)
                left = total - len(rows)
                row += [f"left {edge}" for edge in (30, 60) if left < edge]
                places.append(unit)
                rows.append(row)
            if at is not None:
                before = seen[at]
    return places, rows


def _clause_row(session: Session, told: Told, start: int, end: int) -> list[str]:
    found: set[str] = set()
    for unit in session.units[start:end]:
        low = unit.low.removesuffix("'s")
        if low:
            found.add(f"C:w {_said(low)}")
            found.update(f"C:c {name}" for name in _classes(low))
    subject = next((unit for unit in session.units[start:end] if unit.low not in _LEADING), None)
    if subject is not None:
        found.add(f"C:opens {_said(subject.low)}")
        found.update(f"C:opens c {name}" for name in _classes(subject.low.removesuffix("'s")))
    tags = {session.parse.tag(unit) for unit in range(start, end)}
    found.update(f"C:t {tag}" for tag in tags & _TENSES)
    if not tags & _FINITE:
        found.add("C:no verb")
    if any(unit in told.pieces for unit in range(start, end)):
        found.add("C:gives")
    found.update(f"C:k {kind}" for unit in range(start, end) for kind in told.kinds.get(unit, ()))
    if AFTER_TIME.search(session.low(start, end)):
        found.add("C:after time")
    return sorted(found)


def _word_row(session: Session, told: Told, unit: int, start: int, end: int, first: int) -> list[str]:
    units, parse = session.units, session.parse
    row = ["bias"]
    for step in (-2, -1, 0, 1, 2):
        near = unit + step
        if not start <= near < end:
            row.append(f"{step}:outside")
            continue
        low = units[near].low.removesuffix("'s")
        row += [f"{step}w {_said(low)}", f"{step}t {parse.tag(near)}"]
        row += [f"{step}c {name}" for name in _classes(low)]
        row += [f"{step}k {kind}" for kind in told.kinds.get(near, ())]
        if near in told.pieces:
            row.append(f"{step}piece")
    if unit + 1 < end:
        row.append(f"w {units[unit].low} {units[unit + 1].low}")
    if unit > start:
        row.append(f"w- {units[unit - 1].low} {units[unit].low}")
    token = parse.head_token(unit)
    stop = units[unit].text[-1:]
    stopped = units[unit - 1].text[-1:] if unit > first else "^"
    row += [
        f"d {token.dep_}", f"h {token.head.tag_} {token.dep_}", f"ends {'' if stop.isalnum() else stop}", f"after {'' if stopped.isalnum() else stopped}",
        f"p {told.pieces.get(unit, '')}",
    ]  # fmt: skip
    if told.ruled:
        ruled = told.ruled.get(unit, "none")
        row += [f"r {ruled}", f"r {ruled} {told.ruled.get(unit - 1, 'none') == ruled}"]
    return row
