"""What people decided. A verdict outranks any score, survives rebuilds, and can be undone.

Verdicts are an append-only log: undoing one adds nothing and removes nothing, it marks the entry undone. A
target says what is ruled on in words that survive a rebuild: for words the heard form (and, for a single place,
the recording and time), for notes the annotation's key.
"""

from __future__ import annotations

from typing import Literal

import msgspec

WordRuling = Literal["accept", "reject", "always", "never"]
NoteRuling = Literal["keep", "hide", "reword", "retype", "move", "merge", "add words"]
PersonRuling = Literal["hide", "show", "replace"]


class WordVerdict(msgspec.Struct, frozen=True, tag="word"):
    """A ruling on a heard form.

    ``heard`` is the form under ``sounding()``. ``accept`` and ``reject`` hold for the form in this lecture
    (``lecture_id`` set); ``always`` and ``never`` for the whole course. ``restored`` is the text to put in place.
    With ``start_ms`` set the ruling is for that one place only. ``answers`` a proposal that waited for a person: what
    a person is asked of a session is limited, so the answers are counted.
    """

    ruling: WordRuling
    heard: str
    concept_id: str | None = None
    restored: str | None = None
    lecture_id: str | None = None
    start_ms: int | None = None
    answers: bool = False


class NoteVerdict(msgspec.Struct, frozen=True, tag="note"):
    """A ruling on a teaching point, a vignette or one of its fields, by the annotation's key.

    ``value`` is the new text (reword), kind (retype), or the key of the annotation to stand after (move) or to be
    merged into (merge). For a vignette's field the key is ``<vignette key>/<label>/<start_ms>``.
    """

    ruling: NoteRuling
    lecture_id: str
    key: str
    value: str | None = None


class PersonVerdict(msgspec.Struct, frozen=True, tag="person"):
    """A ruling on a name: hide it, show it, or print ``replacement`` instead. Course-wide without lecture."""

    ruling: PersonRuling
    said: str
    lecture_id: str | None = None
    replacement: str | None = None


Verdict = WordVerdict | NoteVerdict | PersonVerdict


class VerdictEntry(msgspec.Struct, frozen=True):
    """A verdict as logged: who, when (ISO 8601, UTC) and whether it was undone."""

    id: int
    verdict: Verdict
    who: str
    when: str
    undone: bool = False
