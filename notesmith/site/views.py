"""One lecture as the pages show it: plain values, names already replaced by roles."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from notesmith.extract.privacy import hidden_words, person_rulings, redact
from notesmith.lecture import LectureContent
from notesmith.transcript import WordRange
from notesmith.verdicts import VerdictEntry
from notesmith.vocabulary import Vocabulary

# Characters that turn or hide text are dropped from everything published.
_UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f\u200b-\u200f\u202a-\u202e\u2060-\u2069\ufeff]")
MAX_WORD = 400


def shown(text: str) -> str:
    """Text without invisible characters and with absurdly long words cut."""
    plain = _UNSEEN.sub("", text)
    return re.sub(rf"\S{{{MAX_WORD},}}", lambda match: match[0][:MAX_WORD] + "…", plain)


def slug(concept_id: str) -> str:
    """A concept's page name: its id without the scheme, slashes as dashes."""
    return re.sub(r"[^a-z0-9]+", "-", concept_id.partition("/")[2].lower()).strip("-")


def link(vocabulary: Vocabulary, concept_id: str) -> dict[str, str]:
    """The address and label of a concept's page."""
    folder = "remedy" if concept_id.startswith(("remedy/", "family/")) else "symptom"
    return {"href": f"{folder}/{slug(concept_id)}.html", "label": vocabulary.label(concept_id), "id": concept_id}


class LectureView:
    """Everything the pages need of one lecture, made once."""

    def __init__(self, content: LectureContent, vocabulary: Vocabulary, verdicts: Sequence[VerdictEntry]) -> None:
        self.content = content
        self.vocabulary = vocabulary
        lecture, found = content.lecture, content.extraction
        self.rulings = person_rulings(verdicts, lecture.id)
        self.hidden = hidden_words(found.persons, self.rulings)
        self.reading = content.reading
        part = f"part {lecture.part}" + (f" of {lecture.parts}" if lecture.parts else "") if lecture.part else ""
        self.session: dict[str, str] = {
            "href": f"session/{lecture.id}.html",
            "stem": lecture.id,
            "title": shown(lecture.title),
            "line": " · ".join(bit for bit in (lecture.date or "", part if part not in lecture.title else "") if bit),
            "date": lecture.date or "",
        }
        ids = lecture.remedy_ids or found.remedy_ids[:2]
        self.remedies = [link(vocabulary, one) for one in ids]
        self.points = [self._point(p) for p in found.points]
        self.cases = [self._case(v) for v in found.vignettes]
        self.rx = [self._prescription(p) for p in found.prescriptions]
        self.questions = [
            {"anchor": f"q{q.time.start_ms}", "text": self.clean(q.text, q.words), "start_ms": q.time.start_ms,
             "answer": self.clean(q.answer, q.answer_words) if q.answer else None, "session": self.session}
            for q in found.questions
        ]  # fmt: skip
        self.carry = [
            {"direction": c.direction, "text": self.clean(c.text, c.words), "start_ms": c.time.start_ms}
            for c in found.carry_overs
        ]
        self.cautions = [
            {"reason": c.reason, "advice": c.advice, "source": c.source, "start_ms": c.time.start_ms}
            for c in found.cautions
        ]
        self.comparisons = [self._comparison(c) for c in found.comparisons]

    def clean(self, text: str, words: WordRange | None) -> str:
        """A text about a word range with the persons in it replaced."""
        return shown(redact(text, self.content.extraction.persons, self.rulings, words=words))

    def _point(self, p: Any) -> dict[str, Any]:
        return {
            "anchor": f"p{p.time.start_ms}-{p.words.start}", "kind": p.kind, "text": self.clean(p.text, p.words),
            "spoken": self.clean(p.spoken, p.words), "start_ms": p.time.start_ms, "end_ms": p.time.end_ms,
            "negated": False, "weight": p.weight,
            "remedy": link(self.vocabulary, p.remedy_id) if p.remedy_id else None, "remedy_id": p.remedy_id,
            "rubrics": [link(self.vocabulary, r) for r in p.rubric_ids if r in self.vocabulary][:4],
            "rubric_ids": p.rubric_ids, "concept_ids": p.concept_ids, "chapters": p.chapters, "session": self.session,
        }  # fmt: skip

    def _case(self, v: Any) -> dict[str, Any]:
        return {
            "anchor": f"case{v.time.start_ms}", "title": self.clean(v.title, v.words), "start_ms": v.time.start_ms,
            "findings": [
                {"label": f.label, "text": self.clean(f.text, f.words), "start_ms": f.time.start_ms} for f in v.findings
            ],
            "not_stated": v.not_stated, "remedy_ids": v.remedy_ids, "session": self.session,
        }  # fmt: skip

    def _prescription(self, p: Any) -> dict[str, Any]:
        return {
            "start_ms": p.time.start_ms, "remedy": self.vocabulary.label(p.remedy_id) if p.remedy_id else None,
            "remedy_id": p.remedy_id, "potency": p.potency, "said": shown(p.potency_said or ""),
            "repetition": self.clean(p.repetition or "", p.words), "duration": self.clean(p.duration or "", p.words),
            "stated_for": self.clean(p.stated_for or "", p.words), "doubtful": p.doubtful, "session": self.session,
        }  # fmt: skip

    def _comparison(self, c: Any) -> dict[str, Any]:
        rows: dict[str, dict[str, list[str]]] = defaultdict(lambda: {"left": [], "right": []})
        for fact in c.facts:
            side = "left" if fact.remedy_id == c.left_id else "right"
            rows[fact.feature][side].append(self.clean(fact.text, fact.words))
        return {
            "left": self.vocabulary.label(c.left_id), "right": self.vocabulary.label(c.right_id),
            "left_id": c.left_id, "right_id": c.right_id, "start_ms": c.time.start_ms,
            "rows": [
                {"feature": feature, "left": "; ".join(sides["left"]), "right": "; ".join(sides["right"]),
                 "session": self.session, "start_ms": c.time.start_ms}
                for feature, sides in rows.items()
            ],
        }  # fmt: skip

    def parts(self) -> list[dict[str, Any]]:
        css = {"case": "case-part"}
        whole = max(1, self.content.transcript.duration_ms)
        return [
            {"kind": p.kind, "css": css.get(p.kind, p.kind), "start_ms": p.time.start_ms,
             "share": round(100 * p.time.duration_ms / whole)}
            for p in self.content.extraction.parts
        ]  # fmt: skip

    def transcript(self) -> list[dict[str, Any]]:
        """The lines of the restored transcript, hidden persons replaced, with what was heard beside restored terms."""
        by_segment: dict[int, list[dict[str, Any]]] = defaultdict(list)
        for token in self.reading.tokens:
            said = [self.hidden[i] for i in range(token.words.start, token.words.end) if i in self.hidden]
            if said:
                text = " ".join(part for part in said if part)
                if not text:
                    continue
                tail = re.search(r"[.,;:?!]*$", token.text)
                by_segment[token.segment_id].append({"text": shown(text + (tail[0] if tail else "")), "heard": None})
            else:
                heard = shown(token.heard) if token.heard and token.concept_id else None
                by_segment[token.segment_id].append({"text": shown(token.text), "heard": heard})
        return [
            {"start_ms": segment.time.start_ms, "end_ms": segment.time.end_ms, "tokens": by_segment[segment.id]}
            for segment in self.content.transcript.segments
        ]
