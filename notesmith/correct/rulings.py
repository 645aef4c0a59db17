"""People's verdicts on words, made ready to be obeyed."""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from notesmith.annotations import Correction, Evidence
from notesmith.transcript import Transcript, WordRange, sounding
from notesmith.verdicts import VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary

MAX_RULED_WORDS = 8
# A ruling on one place holds for words whose middle is this near to it, so that it survives another model's times.
SAME_PLACE_MS = 1500


class Rulings(msgspec.Struct, frozen=True):
    """Verdicts by heard form: what to put, and what never to put (None: leave the form alone altogether)."""

    put: dict[str, tuple[WordVerdict, ...]]
    refuse: dict[str, frozenset[str | None]]

    def refuses(self, plain: str, concept_id: str) -> bool:
        refused = self.refuse.get(plain, frozenset())
        return None in refused or concept_id in refused

    def refuses_within(self, plain: Sequence[str], concept_id: str) -> bool:
        """Whether the words hold a form that may not become the concept, so that no wider stretch brings it back."""
        if not self.refuse:
            return False
        size = len(plain)
        runs = (" ".join(plain[a:b]) for a in range(size) for b in range(a + 1, size + 1))
        return any(self.refuses(run, concept_id) for run in runs)


def rulings_of(verdicts: Sequence[VerdictEntry]) -> Rulings:
    """Later rulings on the same form and place outrank earlier ones."""
    latest: dict[tuple[str, str | None, int | None], WordVerdict] = {}
    refuse: dict[str, set[str | None]] = {}
    for entry in verdicts:
        verdict = entry.verdict
        if entry.undone or not isinstance(verdict, WordVerdict):
            continue
        form = sounding(verdict.heard)
        if verdict.ruling in ("accept", "always") and verdict.restored:
            latest[form, verdict.lecture_id, verdict.start_ms] = verdict
            refuse.get(form, set()).discard(verdict.concept_id)
        else:
            latest.pop((form, verdict.lecture_id, verdict.start_ms), None)
            if verdict.ruling == "never":
                refuse.setdefault(form, set()).add(None)
            elif verdict.start_ms is None:
                refuse.setdefault(form, set()).add(verdict.concept_id)
    put: dict[str, list[WordVerdict]] = {}
    for (form, _, _), verdict in latest.items():
        put.setdefault(form, []).append(verdict)
    return Rulings({k: tuple(v) for k, v in put.items()}, {k: frozenset(v) for k, v in refuse.items()})


def ruled_corrections(transcript: Transcript, rulings: Rulings, vocabulary: Vocabulary) -> list[Correction]:
    """The corrections that people ordered, longest forms first, never overlapping."""
    found: list[Correction] = []
    if not rulings.put:
        return found
    longest = min(MAX_RULED_WORDS, max(len(form.split()) for form in rulings.put) + 1)
    for segment in transcript.segments:
        start, size = 0, len(segment.words)
        while start < size:
            for end in range(min(size, start + longest), start, -1):
                heard = " ".join(word.text for word in segment.words[start:end])
                middle = (segment.words[start].time.start_ms + segment.words[end - 1].time.end_ms) // 2
                options = rulings.put.get(sounding(heard), ())
                here = (v for v in options if v.start_ms is not None and abs(v.start_ms - middle) <= SAME_PLACE_MS)
                verdict = next(here, next((v for v in options if v.start_ms is None), None))
                if verdict is not None and verdict.restored and sounding(heard) != sounding(verdict.restored):
                    reason = "ruled for the whole course" if verdict.ruling == "always" else "accepted by a person"
                    found.append(
                        Correction(
                            segment.id, start, end, heard, verdict.concept_id or "", verdict.restored, 1.0,
                            (Evidence("verdict", reason),), "applied",
                        )
                    )  # fmt: skip
                    start = end - 1
                    break
            start += 1
    return found


def covered_words(transcript: Transcript, corrections: Sequence[Correction]) -> set[int]:
    """The whole-transcript numbers of the words that corrections cover."""
    covered: set[int] = set()
    for item in corrections:
        first = transcript.segment_starts[item.segment_id]
        words = WordRange(first + item.word_start, first + item.word_end)
        covered.update(range(words.start, words.end))
    return covered
