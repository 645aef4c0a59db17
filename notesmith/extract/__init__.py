"""Find in a restored reading what a set of study notes is made of.

The rule families run in the order below, each in its own file. Nothing is said that was not said in the session.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from notesmith.annotations import Extraction, TextbookReading
from notesmith.extract import learned, privacy
from notesmith.extract.board import clauses_on_boards
from notesmith.extract.carry_overs import SessionTeaching, find_carry_overs, match_promises
from notesmith.extract.case_fields import build_vignettes, case_key, case_units, completed
from notesmith.extract.case_words import told_model
from notesmith.extract.cases import CaseSpan, find_cases
from notesmith.extract.cautions import STANDING_LINE, find_cautions
from notesmith.extract.contrast import Clause, clauses_of, find_comparisons, partners
from notesmith.extract.index import build_index, session_remedies
from notesmith.extract.language import load_nlp
from notesmith.extract.mentions import Hit, find_hits
from notesmith.extract.parts import find_parts, follow_focus, read_aloud, stretches_of, to_parts
from notesmith.extract.points import find_points
from notesmith.extract.prescriptions import find_potencies, find_prescriptions, with_first_words, with_short_names
from notesmith.extract.questions import find_questions
from notesmith.extract.sentences import Look, look_at
from notesmith.extract.session import Session
from notesmith.reading import Reading
from notesmith.vocabulary import Vocabulary

#: Changed whenever the rules change, so that kept results are made anew.
VERSION = "48"

#: The families in the order they run; each leans only on those before it.
RULES = (
    "mentions", "sentences", "cases", "focus", "comparisons", "parts", "learnt structure", "questions", "carry-overs", "prescriptions",
    "teaching points", "case fields", "persons", "cautions", "index",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Ruled:
    """What the rules make of a session's sentences: the remedy in focus, clauses by remedy, and the part of each.

    ``parts`` has the kind of part for each sentence; ``read`` the sentences known to be read aloud from a text, ``placed``
    those that speak of remedies by their places on a board.
    """

    focus: tuple[str | None, ...]
    clauses: tuple[tuple[Clause, ...], ...]
    parts: tuple[str, ...]
    read: frozenset[int]
    placed: frozenset[int]


def by_rule(
    session: Session, looks: Sequence[Look], hits: Sequence[Hit], subject_ids: Sequence[str] = (), readings: Sequence[TextbookReading] = ()
) -> Ruled:  # fmt: skip
    """The rules' own reading of a session, on which the learnt models build."""
    in_case = _inside(find_cases(session, looks))
    focus = follow_focus(session, looks, subject_ids)
    hits_of: dict[int, list[Hit]] = {}
    for hit in hits:
        hits_of.setdefault(session.sentence_at(hit.start).index, []).append(hit)
    partner = partners(session, looks, focus, hits_of)
    placed = clauses_on_boards(session, looks, hits_of, focus)
    clauses = tuple(
        placed.get(index) or clauses_of(session, look, hits_of.get(index, []), focus[index], partner[index])
        for index, look in enumerate(looks)
    )
    _, compared = find_comparisons(session, looks, clauses, focus, in_case)
    stretches = find_parts(session, looks, in_case, readings, compared)
    parts = tuple(stretch.kind for stretch in stretches for _ in range(stretch.first, stretch.last))
    return Ruled(focus, clauses, parts, read_aloud(session, readings), frozenset(placed))


def _inside(cases: Sequence[CaseSpan]) -> frozenset[int]:
    """The sentences inside cases."""
    return frozenset(
        index
        for case in cases
        for first, last in ((case.first, case.last), *case.follow_ups)
        for index in range(first, last)
    )


def extract(
    reading: Reading,
    vocabulary: Vocabulary,
    *,
    lecturer_names: tuple[str, ...] = (),
    subject_ids: tuple[str, ...] = (),
    readings: tuple[TextbookReading, ...] = (),
    nlp: Any = None,
) -> Extraction:
    """All that the rules find in one session; the same input gives the same result.

    ``subject_ids`` are the lecture's remedies where a person has set them; ``lecturer_names`` the names by which
    the lecturer is addressed; ``readings`` the stretches read aloud from a textbook. ``nlp`` is a spaCy pipeline
    with a tagger, a parser and entities; without it ``load_nlp()`` is used. Raises ModelError where it is missing.
    """
    digest = reading.transcript.digest
    if not reading.tokens:
        return Extraction(digest)
    session = Session(reading, vocabulary, load_nlp() if nlp is None else nlp)
    hits = with_first_words(session, find_hits(session))
    looks = look_at(session, hits)
    ruled = by_rule(session, looks, hits, subject_ids, readings)
    focus, clauses = ruled.focus, ruled.clauses
    hits = with_short_names(session, hits, focus)
    remedies = tuple(hit for hit in hits if hit.concept_id.startswith("remedy/"))
    rows = learned.state_features(session, looks, ruled.parts)
    opinions = [session.opinions.mean("state", one.start, one.end) for one in session.sentences]
    path = learned.best_path(rows, learned.model(), ruled.read, ruled.placed, opinions)
    cases = learned.cases_in(looks, path, told_model().again)
    in_case = _inside(cases)
    path = [
        "commentary" if state.startswith("case ") and index not in in_case else state
        for index, state in enumerate(path)
    ]
    told = frozenset(index for index, state in enumerate(path) if state == "comparison")
    comparisons, compared = find_comparisons(session, looks, clauses, focus, in_case, told)
    stretches = stretches_of(path)
    questions, asked = find_questions(session, looks, stretches, hits)
    carry_overs, promised = find_carry_overs(session, looks, hits, rows)
    units_of_case = [(case_key(session, case), case_units(session, case)) for case in cases]
    case_ranges = [(key, start, end) for key, ranges in units_of_case for start, end in ranges]
    potencies = find_potencies(session, remedies, case_ranges)
    given = find_prescriptions(session, remedies, potencies, case_ranges, focus)
    points = find_points(session, looks, stretches, clauses, hits, compared, asked | promised, readings, rows)
    vignettes = build_vignettes(session, looks, cases, given, hits)
    question_ranges = [
        (session.sentences[s.first].start, session.sentences[s.last - 1].end)
        for s in stretches
        if s.kind == "questions"
    ]
    persons = privacy.find_persons(
        session, hits, [(start, end) for _, start, end in case_ranges], question_ranges, lecturer_names
    )
    parts = to_parts(session, stretches, focus)
    return Extraction(
        transcript_digest=digest,
        remedy_ids=session_remedies(points, hits, subject_ids),
        parts=parts,
        points=points,
        vignettes=vignettes,
        comparisons=comparisons,
        prescriptions=completed(session, given, vignettes, focus),
        questions=questions,
        carry_overs=carry_overs,
        cautions=find_cautions(session, looks, potencies, given),
        persons=persons,
        mentions=build_index(session, hits, points, comparisons, parts),
    )


__all__ = ["RULES", "STANDING_LINE", "VERSION", "SessionTeaching", "extract", "load_nlp", "match_promises", "privacy"]
