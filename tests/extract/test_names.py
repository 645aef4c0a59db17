"""Names in invented class talk: every labelled one is hidden, in capitals and without, and little else.

The talk in ``data/names_*.txt`` was written for these tests; the classes of identifier follow HIPAA Safe Harbor,
45 CFR 164.514(b)(2) (names, places smaller than a state, dates, phone, mail, record numbers, vehicles, ages over 89).
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import pytest

from notesmith.extract import extract
from notesmith.vocabulary import Vocabulary

from .conftest import reading_of

DATA = Path(__file__).parent / "data"
_PIECE = re.compile(r"\{n:([^|]+)\||\}|[^\s{}]+|\s+")


def labelled(text: str) -> tuple[str, dict[int, str]]:
    """The plain text (one line a segment) and, for each word inside a label, the label's role."""
    roles: dict[int, str] = {}
    lines: list[str] = []
    count = 0
    for line in text.splitlines():
        if line.startswith("@"):
            continue
        words: list[str] = []
        role, glued = "", False
        for match in _PIECE.finditer(line):
            if match[0].isspace():
                glued = False
            elif match[1]:
                role = match[1]
            elif match[0] == "}":
                role, glued = "", True
            elif glued and words:
                words[-1] += match[0]
            else:
                words.append(match[0])
                if role:
                    roles[count + len(words) - 1] = role
        count += len(words)
        lines.append(" ".join(words))
    return "\n".join(lines), roles


@pytest.mark.parametrize(
    "name",
    ["names_cased", "names_more", "names_third", "names_fourth", "names_ids", "names_lower", "names_fourth_lower"],
)
def test_every_name_is_hidden_and_little_else(name: str, nlp: Any, full: Vocabulary) -> None:
    text, roles = labelled((DATA / f"{name}.txt").read_text(encoding="utf-8"))
    reading = reading_of(text)
    persons = extract(reading, full, nlp=nlp).persons
    hidden = {word for p in persons if p.hide for word in range(p.words.start, p.words.end)}
    words = reading.transcript.words
    assert [words[at].text for at in sorted(roles) if at not in hidden] == []
    assert [p.said for p in persons if p.hide and not set(range(p.words.start, p.words.end)) & roles.keys()] == []


def test_talk_without_names_hides_nothing(nlp: Any, full: Vocabulary) -> None:
    text = (
        "Sepia is chilly and sad. On Mondays and at Diwali she is worse. Hahnemann proved it and Kent wrote of it. "
        "The fever was 104 and the pulse 96. Give 6, 12, 30, 200, 1000 in order. The English call it ink of the "
        "cuttlefish. In Parkinson disease the hands tremble. Natrum muriaticum follows. Achha, chalo, we go on. "
        "My patient was better. The patient came back. A lady came. In the ward she was calm."
    )
    assert [p.said for p in extract(reading_of(text), full, nlp=nlp).persons if p.hide] == []


def test_a_remedy_set_against_another_is_no_student(nlp: Any, full: Vocabulary) -> None:
    text = (
        "Sepia is chilly. Now Sepia and her sister Natrum, one line this side and one line that side. "
        "Natrum shuts the gate, Sepia is worn out. Then we go on with the skin."
    )
    assert [p.said for p in extract(reading_of(text), full, nlp=nlp).persons if p.hide] == []


def test_words_of_the_dictionary_and_greetings_are_no_names(nlp: Any, full: Vocabulary) -> None:
    """Where nothing is written large, a rare word is no name because it is rare."""
    filling = "pulsatilla is mild she weeps easily and she is worse in a warm room " * 3
    text = "buonasera everybody the paediatrician gave rabeprazole and a pessary and she took the marmalade kwaheri"
    found = extract(reading_of(f"{filling}\n{text}\n{filling}"), full, nlp=nlp).persons
    assert [person.said for person in found if person.hide] == []


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("okay yes tendai what did you find in the chapter of the mind", {"tendai"}),
        ("there was a lady from makurdi she came with headache since two years", {"makurdi"}),
        ("the last one is papa kwesu he is the night guard he came with a cough", {"kwesu"}),
        ("mrs orlaith gilhooley came to me with her knee and she was cross", {"orlaith", "gilhooley"}),
        ("his people are in ras tanura and he came to me with a cough", {"ras", "tanura"}),
        ("thank you zawadi sit down now the modalities she is worse in the morning", {"zawadi"}),
    ],
)
def test_names_without_capitals_are_at_least_asked_about(
    text: str, names: set[str], vocabulary: Vocabulary, nlp: Any
) -> None:
    """Where neither capitals nor stops are written, and no list has the name, the words around it must do."""
    filling = "pulsatilla is mild she weeps easily and she is worse in a warm room " * 3
    result = extract(reading_of(filling + "\n" + text + "\n" + filling), vocabulary, nlp=nlp)
    assert names <= {word for person in result.persons for word in person.said.split()}
