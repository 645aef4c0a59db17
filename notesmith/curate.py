"""Apply people's rulings on the notes to what the tool found. The spoken words always stay beside a changed text."""

from __future__ import annotations

from collections.abc import Sequence
from typing import get_args

import msgspec

from notesmith.annotations import CaseVignette, Extraction, Finding, FindingLabel, PointKind, TeachingPoint
from notesmith.verdicts import NoteVerdict, VerdictEntry

POINT_KINDS: tuple[str, ...] = get_args(PointKind)
FINDING_LABELS: tuple[str, ...] = get_args(FindingLabel)


def finding_key(vignette: CaseVignette, finding: Finding) -> str:
    """The key by which a verdict names one field of a case."""
    return f"{vignette.key}/{finding.label}/{finding.time.start_ms}"


def curate(extraction: Extraction, lecture_id: str, verdicts: Sequence[VerdictEntry]) -> Extraction:
    """The extraction as people want it, rulings applied in the order they were made.

    A ruling on something that is no longer found has no effect and is kept for when it comes back. Cautions
    cannot be ruled away. Undone verdicts are ignored.
    """
    rulings = [
        entry.verdict
        for entry in verdicts
        if not entry.undone and isinstance(entry.verdict, NoteVerdict) and entry.verdict.lecture_id == lecture_id
    ]
    if not rulings:
        return extraction
    points = list(extraction.points)
    vignettes = list(extraction.vignettes)
    comparisons, questions = list(extraction.comparisons), list(extraction.questions)
    carry_overs = list(extraction.carry_overs)
    for ruling in rulings:
        points = _rule_points(points, ruling)
        vignettes = _rule_vignettes(vignettes, ruling)
        if ruling.ruling == "hide":
            comparisons = [one for one in comparisons if one.key != ruling.key]
            questions = [one for one in questions if one.key != ruling.key]
            carry_overs = [one for one in carry_overs if one.key != ruling.key]
        elif ruling.ruling == "reword" and ruling.value:
            questions = [
                msgspec.structs.replace(one, text=ruling.value) if one.key == ruling.key else one for one in questions
            ]
            carry_overs = [
                msgspec.structs.replace(one, text=ruling.value) if one.key == ruling.key else one for one in carry_overs
            ]
    return msgspec.structs.replace(
        extraction,
        points=tuple(points),
        vignettes=tuple(vignettes),
        comparisons=tuple(comparisons),
        questions=tuple(questions),
        carry_overs=tuple(carry_overs),
    )


def _rule_points(points: list[TeachingPoint], ruling: NoteVerdict) -> list[TeachingPoint]:
    at = next((i for i, point in enumerate(points) if point.key == ruling.key), None)
    if at is None:
        return points
    point = points[at]
    rest = points[:at] + points[at + 1 :]
    match ruling.ruling:
        case "hide":
            return rest
        case "reword" if ruling.value:
            points[at] = msgspec.structs.replace(point, text=ruling.value)
        case "add words" if ruling.value:
            points[at] = msgspec.structs.replace(point, text=f"{point.text} [{ruling.value}]")
        case "retype" if ruling.value in POINT_KINDS:
            points[at] = msgspec.structs.replace(point, kind=ruling.value)
        case "move":
            after = next((i for i, one in enumerate(rest) if one.key == ruling.value), None)
            place = 0 if after is None else after + 1
            return [*rest[:place], point, *rest[place:]]
        case "merge":
            into = next((i for i, one in enumerate(rest) if one.key == ruling.value), None)
            if into is not None:
                rest[into] = _merged(rest[into], point)
                return rest
    return points


def _merged(into: TeachingPoint, point: TeachingPoint) -> TeachingPoint:
    first, second = (into, point) if into.words <= point.words else (point, into)
    return msgspec.structs.replace(
        into,
        text=f"{first.text} {second.text}",
        spoken=f"{first.spoken} {second.spoken}",
        weight=max(into.weight, point.weight),
        chapters=tuple(dict.fromkeys((*into.chapters, *point.chapters))),
        rubric_ids=tuple(dict.fromkeys((*into.rubric_ids, *point.rubric_ids))),
        concept_ids=tuple(dict.fromkeys((*into.concept_ids, *point.concept_ids))),
    )


def _rule_vignettes(vignettes: list[CaseVignette], ruling: NoteVerdict) -> list[CaseVignette]:
    for at, vignette in enumerate(vignettes):
        if vignette.key == ruling.key:
            if ruling.ruling == "hide":
                return vignettes[:at] + vignettes[at + 1 :]
            if ruling.ruling == "reword" and ruling.value:
                vignettes[at] = msgspec.structs.replace(vignette, title=ruling.value)
            return vignettes
        if ruling.key.startswith(f"{vignette.key}/"):
            findings = _rule_findings(vignette, ruling)
            stated = {finding.label for finding in findings}
            removed = {finding.label for finding in vignette.findings} - stated
            vignettes[at] = msgspec.structs.replace(
                vignette,
                findings=findings,
                not_stated=tuple(
                    label for label in FINDING_LABELS if (label in vignette.not_stated and label not in stated)
                    or label in removed
                ),
            )  # fmt: skip
            return vignettes
    return vignettes


def _rule_findings(vignette: CaseVignette, ruling: NoteVerdict) -> tuple[Finding, ...]:
    findings = list(vignette.findings)
    keys = [finding_key(vignette, finding) for finding in findings]
    if ruling.key not in keys:
        return vignette.findings
    at = keys.index(ruling.key)
    finding = findings[at]
    rest, rest_keys = findings[:at] + findings[at + 1 :], keys[:at] + keys[at + 1 :]
    match ruling.ruling:
        case "hide":
            return tuple(rest)
        case "reword" if ruling.value:
            findings[at] = msgspec.structs.replace(finding, text=ruling.value)
        case "retype" if ruling.value in FINDING_LABELS:
            findings[at] = msgspec.structs.replace(finding, label=ruling.value)
        case "move":
            place = rest_keys.index(ruling.value) + 1 if ruling.value in rest_keys else 0
            return (*rest[:place], finding, *rest[place:])
        case "merge" if ruling.value in rest_keys:
            into = rest_keys.index(ruling.value)
            kept = rest[into]
            first, second = (kept, finding) if kept.words <= finding.words else (finding, kept)
            rest[into] = msgspec.structs.replace(kept, text=f"{first.text}; {second.text}")
            return tuple(rest)
    return tuple(findings)
