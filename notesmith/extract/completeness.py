"""What a full case report would hold and this told case does not: CARE 2013 and its supplement for the craft.

Sources: CARE, Gagnier et al., J Med Case Reports 2013;7:223 (13 items); HOM-CASE, van Haselen, Complement Ther Med
2016;25:78-85 (supplement under CARE items 6, 9 and 10). The list is for the lecturer; nothing is ever filled in.
"""

from __future__ import annotations

import msgspec

from notesmith.annotations import CaseVignette, FindingLabel

CARE = "CARE 2013"
HOM_CASE = "HOM-CASE 2016"


class ReportItem(msgspec.Struct, frozen=True):
    """An item of a reporting guideline; ``labels`` are the fields any of which would state it, none where a told
    case cannot hold it (a title, a consent form)."""

    guideline: str
    number: str
    name: str
    labels: tuple[FindingLabel, ...] = ()
    every: bool = False  # all of the labels are needed, not any


#: Items in the order of the guideline. Items 1 to 4, 11 and 13 belong to the written report, not to the telling.
ITEMS: tuple[ReportItem, ...] = (
    ReportItem(CARE, "1", "title with the words case report or case study"),
    ReportItem(CARE, "2", "two to five keywords"),
    ReportItem(CARE, "3", "abstract"),
    ReportItem(CARE, "4", "introduction with references"),
    ReportItem(CARE, "5", "patient information: age, sex, main complaint", ("age", "sex", "presenting complaint"), True),
    ReportItem(CARE, "5", "patient information: history, and earlier treatment with its result",
               ("history", "prior treatment"), True),
    ReportItem(CARE, "6", "clinical findings", ("finding",)),
    ReportItem(CARE, "7", "timeline with the times of the visits", ("follow-up time",)),
    ReportItem(CARE, "8", "diagnostic assessment: methods and reasoning", ("investigation",)),
    ReportItem(CARE, "9", "therapeutic intervention: what was given, dose, repetition, duration",
               ("remedy", "potency", "repetition", "duration"), True),
    ReportItem(CARE, "9", "other treatment going on at the same time", ("concurrent treatment",)),
    ReportItem(CARE, "10", "follow-up and outcomes", ("follow-up change", "outcome"), True),
    ReportItem(CARE, "10", "adherence and adverse events"),
    ReportItem(CARE, "11", "discussion: strengths, limits, literature"),
    ReportItem(CARE, "12", "the patient's own view"),
    ReportItem(CARE, "13", "informed consent"),
    ReportItem(HOM_CASE, "1", "clinical history from the homeopathic view", ("finding", "history"), True),
    ReportItem(HOM_CASE, "2", "type of homeopathy", ("reason for prescription",)),
    ReportItem(HOM_CASE, "3", "medicine: full name", ("remedy",)),
    ReportItem(HOM_CASE, "4", "medicine: manufacture"),
    ReportItem(HOM_CASE, "5", "form and dosage", ("potency", "repetition"), True),
    ReportItem(HOM_CASE, "6", "objective evidence, if any", ("investigation",)),
    ReportItem(HOM_CASE, "7", "aggravation, or that there was none"),
    ReportItem(HOM_CASE, "8", "possible causal attribution"),
)  # fmt: skip


class Missing(msgspec.Struct, frozen=True):
    """An item the telling leaves open; ``absent`` are the fields it would need."""

    item: ReportItem
    absent: tuple[FindingLabel, ...] = ()


def missing_items(vignette: CaseVignette) -> tuple[Missing, ...]:
    """The items a lecturer may add. Items no rule can see in a telling are always listed."""
    stated = {finding.label for finding in vignette.findings}
    found: list[Missing] = []
    for item in ITEMS:
        absent = tuple(label for label in item.labels if label not in stated)
        if not item.labels or (absent and (item.every or len(absent) == len(item.labels))):
            found.append(Missing(item, absent))
    return tuple(found)
