"""Notes as Markdown, and keeping a person's edits."""

from __future__ import annotations

import re
from typing import Any

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st
from markdown_it import MarkdownIt

from notesmith.annotations import Corrections
from notesmith.extract import STANDING_LINE, extract, load_nlp
from notesmith.lecture import CourseSettings, Lecture, LectureContent
from notesmith.notes import Conflict, compose, escape, merge_edited, to_markdown
from notesmith.transcript import Segment, TimeSpan, Transcript, Word
from notesmith.vocabulary import Concept, Vocabulary

TEXT = """Good morning. Thank you, Anjali. Today we take Pulsatilla. Pulsatilla is mild and yielding. She is worse in a warm room.
Let me tell you one case. A lady of 42 years from Bhusawal came to my clinic with headache for two years. She cried easily.
I gave her Pulsatilla 200, single dose. After two weeks she was better. She is well now.
Any questions? Sir, can it be given in fever? Yes, Pulsatilla is given in fever when there is no thirst."""


@pytest.fixture(scope="module")
def content() -> tuple[LectureContent, Vocabulary]:
    words = TEXT.split()
    spans = [Word(TimeSpan(i * 400, i * 400 + 350), w) for i, w in enumerate(words)]
    transcript = Transcript("a" * 64, "en-IN", "test", (Segment(0, tuple(spans)),), len(words) * 400)
    concept = Concept("remedy/pulsatilla-nigricans", "remedy", "Pulsatilla nigricans", ("Pulsatilla",))
    vocabulary = Vocabulary({concept.id: concept}, (), "t")
    corrections = Corrections(transcript.digest)
    lecture = Lecture("2026-01-05-puls", "Pulsatilla, part 1", "a" * 64, date="2026-01-05", media="puls one.opus")
    draft = LectureContent(lecture, transcript, corrections, extract_empty(transcript))
    return (
        LectureContent(lecture, transcript, corrections, extract(draft.reading, vocabulary, nlp=load_nlp())),
        vocabulary,
    )


def extract_empty(transcript: Transcript) -> Any:
    from notesmith.annotations import Extraction

    return Extraction(transcript.digest)


def printed(content: tuple[LectureContent, Vocabulary]) -> str:
    return to_markdown(compose(content[0], content[1], CourseSettings("A course", lecturer="Dr X", rights="CC BY 4.0")))


def test_front_matter_is_yaml_with_dublin_core_terms(content: tuple[LectureContent, Vocabulary]) -> None:
    # DCMI Metadata Terms: title, creator, date, subject, type, format, language, identifier, isPartOf, extent, source, rights
    front = yaml.safe_load(printed(content).split("---\n")[1])
    assert front["dcterms:title"] == "Pulsatilla, part 1"
    assert front["dcterms:date"] == "2026-01-05"
    assert front["dcterms:language"] == "en-IN"
    assert "Pulsatilla nigricans" in front["dcterms:subject"]
    assert re.fullmatch(r"PT(\d+H)?(\d+M)?\d+S", front["dcterms:extent"])  # ISO 8601 duration


def test_names_are_nowhere_in_the_notes(content: tuple[LectureContent, Vocabulary]) -> None:
    text = printed(content)
    assert "Anjali" not in text
    assert "Bhusawal" not in text


def test_times_are_media_fragments(content: tuple[LectureContent, Vocabulary]) -> None:
    # W3C Media Fragments URI 1.0, 4.2.1: t=npttime in seconds, with or without a fraction
    links = re.findall(r"\]\((puls%20one\.opus[^)]*)\)", printed(content))
    assert links
    assert all(re.fullmatch(r"puls%20one\.opus#t=\d+(\.\d)?", link) for link in links)


def test_the_caution_stands_and_flags_lead_to_their_advice(content: tuple[LectureContent, Vocabulary]) -> None:
    text = printed(content)
    assert f"> {STANDING_LINE}" in text
    assert "[⚠ potency or dose](#cautions)" in text
    assert "2022" in text.split("{#cautions}")[1]


def test_what_was_not_said_is_not_stated(content: tuple[LectureContent, Vocabulary]) -> None:
    assert "| investigation | not stated | |" in printed(content)


def test_tables_are_tables_and_nothing_is_markup_by_accident(content: tuple[LectureContent, Vocabulary]) -> None:
    html = MarkdownIt("commonmark", {"html": True}).enable("table").render(printed(content).split("---\n", 2)[2])
    assert html.count("<table>") >= 2


def test_the_same_content_gives_the_same_bytes(content: tuple[LectureContent, Vocabulary]) -> None:
    assert printed(content) == printed(content)


@given(st.text(max_size=60))
def test_escaped_text_renders_as_itself(text: str) -> None:
    html = MarkdownIt("commonmark").renderInline(escape(text))
    shown = re.sub(r"&(amp|lt|gt|quot);", lambda m: {"amp": "&", "lt": "<", "gt": ">", "quot": '"'}[m[1]], html)
    assert "<" not in re.sub(r"&lt;", "", html)
    assert shown.split() == text.split() or any(
        ord(c) < 32 or 0x7F <= ord(c) < 0xA0 or c in "\u2028\u2029" for c in text
    )


BASE = "# N\n\n> " + STANDING_LINE + "\n\n## A\n\n- one\n- two\n- three\n\n## B\n\n- four\n"


def test_an_edit_stays_and_a_rebuild_comes_in() -> None:
    edited = BASE.replace("- one\n", "- one, as I said it\n")
    rebuilt = BASE.replace("- four\n", "- four\n- five\n")
    merged = merge_edited(BASE, edited, rebuilt)
    assert isinstance(merged, str)
    assert "- one, as I said it\n" in merged
    assert "- five\n" in merged


def test_both_changed_the_same_line_is_a_conflict_and_nothing_is_lost() -> None:
    result = merge_edited(BASE, BASE.replace("- two", "- zwei"), BASE.replace("- two", "- deux"))
    assert isinstance(result, Conflict)
    assert result.places[0].edited == ("- zwei",)
    assert result.places[0].rebuilt == ("- deux",)


def test_the_same_change_on_both_sides_is_no_conflict() -> None:
    both = BASE.replace("- two", "- due")
    assert merge_edited(BASE, both, both) == both


def test_an_edit_cannot_remove_the_cautions() -> None:
    caution = "## Cautions {#cautions}\n\n- ⚠ **urgent condition**: Mentions convulsion.\n"
    base = BASE + "\n" + caution
    edited = base.replace("> " + STANDING_LINE + "\n", "").replace(
        "- ⚠ **urgent condition**: Mentions convulsion.\n", ""
    )
    merged = merge_edited(base, edited, base)
    assert isinstance(merged, str)
    assert STANDING_LINE in merged
    assert "Mentions convulsion." in merged
    beside = base.replace("Mentions convulsion.\n", "Mentions convulsion. Call for help first.\n")
    assert merge_edited(base, beside, base) == beside


LINES = st.lists(st.sampled_from(["a", "b", "c", "d", ""]), max_size=12).map(lambda ls: "\n".join(ls) + "\n")


@given(LINES, LINES)
def test_an_untouched_file_takes_the_rebuild_and_an_unchanged_rebuild_keeps_the_edit(base: str, other: str) -> None:
    assert merge_edited(base, base, other) == other
    kept = merge_edited(base, other, base)
    assert isinstance(kept, str)
    assert kept.splitlines() == other.splitlines()
