"""Ask the sound about doubtful places, and let the judge weigh its answer with the rest."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Protocol

import msgspec
import numpy as np

from notesmith.correct.decide import Decision, from_log_odds, log_odds
from notesmith.correct.ear import EAR, EAR_COLUMNS, Listener
from notesmith.correct.judge import Floats, Trees
from notesmith.transcript import TimeSpan, Transcript, WordRange

DOUBTFUL = (0.03, 0.985)
MAX_ASKED_A_MINUTE = 2
WORDS_BEFORE, WORDS_AFTER = 14, 8
FARTHEST = 60.0  # nats; what lies farther apart tells no more
FROM_TEXT = ("everyday", "doubt", "relative distance", "phones", "everyday same sound", "odd words", "rarest word",
             "prior", "session", "idea", "author", "medical", "heard letters", "label letters", "best here")  # fmt: skip
SOUND_COLUMNS = ("text", "margin", "margin over rivals", "sound margin", "sound over rivals", *FROM_TEXT, *EAR)
_AT = [EAR_COLUMNS.index(name) for name in (*FROM_TEXT, *EAR)]


class Witness(Listener, Protocol):
    """The sound, heard as phones, and asked how well it fits each of some wordings of one stretch of speech."""

    def score(self, time: TimeSpan, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        """Summed log-probabilities, one for each wording inside the same sentence; higher fits better.

        ``time`` is that of the whole sentence, from the first word of ``before`` to the last of ``after``.
        """

    def expect(self, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        """The same without the sound: how far the words alone are to be expected."""


class Heard(msgspec.Struct, frozen=True):
    """A decision after the sound was asked; all in nats, None where it was not asked.

    ``margin`` is the term's lead over what was heard, ``over_rivals`` that over the best rival, ``deaf_margin`` and
    ``deaf_over_rivals`` the same as the words alone would have them.
    """

    decision: Decision
    margin: float | None = None
    over_rivals: float | None = None
    deaf_margin: float | None = None
    deaf_over_rivals: float | None = None


def ask(
    transcript: Transcript, decisions: Sequence[Decision], restored: Sequence[str], rivals: Sequence[Sequence[str]],
    witness: Witness, trees: Trees,
) -> list[Heard]:  # fmt: skip
    """Ask about the doubtful decisions, the most doubtful first; ``restored`` and ``rivals`` are their wordings."""
    minutes = max(1.0, transcript.words[-1].time.end_ms / 60_000) if transcript.words else 1.0
    doubtful = [n for n, d in enumerate(decisions) if DOUBTFUL[0] <= d.probability <= DOUBTFUL[1]]
    doubtful.sort(key=lambda n: (abs(log_odds(decisions[n].probability)), n))
    asked = set(doubtful[: int(MAX_ASKED_A_MINUTE * minutes)])
    heard = [
        listen(transcript, d, restored[n], rivals[n], witness) if n in asked else Heard(d)
        for n, d in enumerate(decisions)
    ]
    answered = [one for one in heard if one.margin is not None]
    judged = iter(trees.log_odds(sound_rows(answered)).tolist())
    return [
        msgspec.structs.replace(
            one, decision=msgspec.structs.replace(one.decision, probability=from_log_odds(next(judged)))
        )
        if one.margin is not None
        else one
        for one in heard
    ]


def listen(transcript: Transcript, decision: Decision, restored: str, rivals: Sequence[str], witness: Witness) -> Heard:
    """Ask about one place: what was heard, the term, and its rivals, each in the words around it."""
    words = decision.candidate.words
    whole = transcript.segment_range(decision.candidate.segment_id)
    first, last = max(whole.start, words.start - WORDS_BEFORE), min(whole.end, words.end + WORDS_AFTER)
    heard = transcript.text(words).strip(".,;:?!\"'()")
    wordings = [heard, restored, *rivals]
    before, after = transcript.text(WordRange(first, words.start)), transcript.text(WordRange(words.end, last))
    scores = list(witness.score(transcript.time(WordRange(first, last)), before, wordings, after))
    if len(scores) != len(wordings) or not any(scores):
        return Heard(decision)
    deaf = list(witness.expect(before, wordings, after))
    return Heard(decision, *_leads(scores), *_leads(deaf))


def _leads(scores: Sequence[float]) -> tuple[float, float]:
    """The second's lead over the first, and over the best of the others (10 where there is none)."""
    return scores[1] - scores[0], scores[1] - max(scores[2:], default=scores[1] - 10.0)


def sound_rows(heard: Sequence[Heard]) -> Floats:
    """(n, SOUND_COLUMNS) of decisions the sound was asked about."""
    rows = [
        [
            log_odds(one.decision.probability), _bounded(one.margin), _bounded(one.over_rivals),
            _bounded((one.margin or 0.0) - (one.deaf_margin or 0.0)),
            _bounded((one.over_rivals or 0.0) - (one.deaf_over_rivals or 0.0)),
            *(one.decision.evidence[at] for at in _AT),
        ]
        for one in heard
    ]  # fmt: skip
    return np.array(rows, np.float64).reshape(-1, len(SOUND_COLUMNS))


def _bounded(nats: float | None) -> float:
    return max(-FARTHEST, min(FARTHEST, nats or 0.0))
