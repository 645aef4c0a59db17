"""Ask the sound about doubtful places, and let its answer move the odds."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import msgspec

from notesmith.correct.decide import Decision, from_log_odds, log_odds
from notesmith.transcript import TimeSpan, Transcript, WordRange

# How much a nat of the witness's margin over "as heard" weighs, and the margin that says nothing: what was heard keeps
# a lead because it was decoded from this very sound. From the dev lectures (median margin of misheard terms -4, of
# wrong terms -19).
WEIGHT = 0.22
NEUTRAL_MARGIN = -11.0
MOST_FOR, MOST_AGAINST = 2.5, -3.5
DOUBTFUL = (0.04, 0.97)
MAX_ASKED_A_MINUTE = 4
WORDS_BEFORE, WORDS_AFTER = 14, 8


class Witness(Protocol):
    """The sound, asked how well it fits each of some wordings of one stretch of speech."""

    def score(self, time: TimeSpan, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        """Summed log-probabilities, one for each wording inside the same sentence; higher fits better.

        ``time`` is that of the whole sentence, from the first word of ``before`` to the last of ``after``.
        """


class Heard(msgspec.Struct, frozen=True):
    """A decision after the sound was asked; ``margin`` is in nats over what was heard, None where it was not asked."""

    decision: Decision
    margin: float | None = None


def ask(
    transcript: Transcript, decisions: Sequence[Decision], restored: Sequence[str], rivals: Sequence[Sequence[str]],
    witness: Witness,
) -> list[Heard]:  # fmt: skip
    """Ask about the doubtful decisions, the most doubtful first; ``restored`` and ``rivals`` are their wordings."""
    minutes = max(1.0, transcript.words[-1].time.end_ms / 60_000) if transcript.words else 1.0
    doubtful = [n for n, d in enumerate(decisions) if DOUBTFUL[0] <= d.probability <= DOUBTFUL[1]]
    doubtful.sort(key=lambda n: (abs(log_odds(decisions[n].probability)), n))
    asked = set(doubtful[: int(MAX_ASKED_A_MINUTE * minutes)])
    return [
        _ask(transcript, d, restored[n], rivals[n], witness) if n in asked else Heard(d)
        for n, d in enumerate(decisions)
    ]


def _ask(transcript: Transcript, decision: Decision, restored: str, rivals: Sequence[str], witness: Witness) -> Heard:
    words = decision.candidate.words
    whole = transcript.segment_range(decision.candidate.segment_id)
    first, last = max(whole.start, words.start - WORDS_BEFORE), min(whole.end, words.end + WORDS_AFTER)
    sentence = transcript.time(WordRange(first, last))
    heard = transcript.text(words).strip(".,;:?!\"'()")
    wordings = [heard, restored, *rivals]
    scores = list(
        witness.score(sentence, transcript.text(WordRange(first, words.start)), wordings,
                      transcript.text(WordRange(words.end, last)))
    )  # fmt: skip
    if len(scores) != len(wordings) or not any(scores):
        return Heard(decision)
    margin = scores[1] - scores[0]
    change = max(MOST_AGAINST, min(MOST_FOR, WEIGHT * (margin - NEUTRAL_MARGIN)))
    moved = log_odds(decision.probability) + change
    for (_, share), score in zip(decision.rivals, scores[2:], strict=False):
        if score - scores[1] > 4 and share > 0.2 * decision.probability:
            moved -= min(2.0, 0.2 * (score - scores[1]))  # the sound prefers another term: leave it to a person
    return Heard(msgspec.structs.replace(decision, probability=from_log_odds(moved)), margin)
