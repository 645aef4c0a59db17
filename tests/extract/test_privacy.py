"""Names and other identifiers: the 18 classes of HIPAA Safe Harbor, 45 CFR 164.514(b)(2), as they occur in speech."""

from __future__ import annotations

from collections.abc import Callable, Collection

import pytest

from notesmith.annotations import Extraction
from notesmith.extract.privacy import hidden_words, mute_spans, person_rulings, redact, unresolved
from notesmith.reading import Reading
from notesmith.verdicts import PersonVerdict, VerdictEntry

Found = Callable[..., tuple[Reading, Extraction]]
FRAME = ("Pulsatilla is mild. The remedy is warm. ", " It is worse at night and better in the open air.")

# The class of the rule beside each; classes without a spoken form (face images, device numbers) are left out.
SPOKEN = [
    ("A names", "Thank you, {Anjali}. That is right."),
    ("A names", "{Suresh}, what do you think about it?"),
    ("A names", "Our {Dr. Venkatesan} sends many such cases."),
    ("A names", "Her husband {Prakash Rao} is a driver."),
    ("A names", "This was told by {Sister Agnes} of the ward."),
    ("A names, relatives", "My friend {Yusuf} told me this."),
    ("B places", "She was from {Bhusawal}, a small town."),
    ("B places", "He lives at {14 Gandhi Road}."),
    ("B places", "She came from a village called {Kinwat}."),
    ("C dates", "He was born on the {3rd of May 1962} in Kerala."),
    ("C dates", "I saw him on {12th March}."),
    ("C ages over 89", "She is {ninety two} years old."),
    ("C ages over 89", "A sister of the convent, of {ninety four}, she came with a fever."),
    ("C dates", "In {1998} she came to me with the same cough."),
    ("C dates, years in words", "He had dengue in {two thousand twenty three} and was weak since."),
    ("C dates, years by two figures", "She has it since the floods of {sixty seven} in her village."),
    ("C dates, a month by its order", "She came back. The following {February} no more cough."),
    ("B address with its stair", "Write to {rue Carnot forty one, second floor} for the book."),
    ("B places of two letters", "She keeps a stall in {Bo} with her aunt."),
    ("D phone", "Her number is {94223 10087}."),
    ("D phone", "Ring {nine eight two two zero one seven four four five} in the evening."),
    ("F email", "Write to me on {someone.else@example.org}."),
    ("H record number", "The OPD number was {4471}."),
    ("A names, a remedy's word called on", "Go, {Silica}. We are waiting for you."),
    ("A names, a remedy's word as a name", "A new one came, her name is {Sepia} and she is five."),
    ("A names, an author's word called on", "{Dunham}, your question please."),
    ("A names, with respect", "Give the forms to {Mohan-bhai} at the desk."),
    ("A names, letters of other tongues", "It was noted by our {Błażej} and by me."),
    ("B street before number", "He sits in {Potter Lane, number nine} with his dogs."),
    ("B street joined", "Send it to {Erlenweg eleven, eight oh three three one} by post."),
    ("B street, kind first", "She lives at {rue Pasteur, number twelve} now."),
    ("B places", "He was a baker in {Bad Dürrwald} for long."),
    ("C dates, feasts", "He came back after the {Saraswati Puja} and was well."),
    ("C dates, feasts", "By {Passover} she had lost her cough."),
    ("C dates, a saint's day", "She came in the week of {St. Finnan's} and coughed."),
    ("C dates, feasts", "He came back on {Holy Thursday} and was well."),
    ("B address with its house", "She lives on {14 Gandhi Road, a blue house behind a temple} with him."),
    ("I vehicles", "I took him in my car, the {MKX 40 17}, with the lights on."),
    ("I vehicles", "Whoever parked the green van, {RBA something something two nine}, must move it."),
    ("D phone, parted", "Ring {plus four four, oh seven, one nine two, dash, double six, three} for it."),
    ("H record number, parted", "Her roll number is {one nine two oh, slash, four four seven} in the list."),
    ("C dates, a year between stops", "She was at the wedding, {1974}, and wept."),
    ("C dates, a year by its apostrophe", "It was, would it be {'98}, and he was five."),
    ("C dates, a decade", "We had a house there, {late seventies}, and a woman came in."),
    ("C dates, by what happened", "He came to me {the winter of the big snow} with a cough."),
    ("C dates, with what is part of them", "She fell in {November of the year before} and limped."),
    ("C dates, with what is part of them", "From {the month of November} I cannot tie my shoe."),
    ("C dates, a feast in a present tense", "The food comes up, two hours after, since {Christmas}."),
    ("A names, told as what one is called", "A man of thirty, they call him {Turbo}, he sells bread."),
    ("A names, a title shortened", "It was paid by Lic. {Barranco} of the office."),
    ("A names, of whom one is", "A boy of nineteen, {Parthiv}'s roommate, had a cough."),
    ("A names, spelled", "His name is {Kurt}, spelled {K, u, r, t}, and he coughs."),
    ("B places, a hospital's by-name", "They had done the tracing at the {Royal} and it was normal."),
    ("B places, a part of the country", "A lady of the {Borders} had a cough."),
    ("C dates, months of other calendars", "He came in {Shawwal} with the same cough."),
    ("C dates, months of other calendars", "Her mother died in {Bhadra month} and she was alone."),
    ("B address, a street of somebody", "He lived on {Lane of Weavers, house nine} with his mother."),
    ("B address, a numbered street", "Write to the shop in {Riverside, street number four} for it."),
    ("B address with its landmark", "She sat in {gali number nine near Moti Darwaza} all day."),
    (
        "B address, a house told by what is near",
        "He lived off {Tabor Avenue, the green house behind the mill} for long.",
    ),
    ("B address with its block", "She lives in {Block six, Lot two, Narra Street} with her sons."),
    ("F email read with pauses", "My mail is {tante point soupe, at, blaue kanne dot de} for this."),
    ("I vehicles, syllables", "He came on the scooter, number {Ko Seven Cha, twenty one sixty four}, and fell."),
    ("H record number, letters and strokes", "His roll number is {KT slash three nine slash four oh} in the list."),
    ("N address on the net", "It is on {www.example.org} for you."),
]


def marked(text: str) -> tuple[str, list[str]]:
    inside = [piece.partition("}")[0] for piece in text.split("{")[1:]]
    return text.replace("{", "").replace("}", ""), inside


def shown_of(reading: Reading, hidden: Collection[int], before: str, plain: str) -> list[str]:
    """The words of a text that are still shown, without what stands before and after it."""
    first = len(before.split())
    return [reading.transcript.words[i].text for i in range(first, first + len(plain.split())) if i not in hidden]


@pytest.mark.parametrize(("kind", "text"), SPOKEN)
def test_identifiers_are_hidden(found: Found, kind: str, text: str) -> None:
    plain, wanted = marked(text)
    reading, result = found(FRAME[0] + plain + FRAME[1])
    printed = hidden_words(result.persons)
    shown = shown_of(reading, printed, FRAME[0], plain)
    for name in wanted:
        for word in name.split():
            assert word.strip(".,") not in {s.strip(".,'s") for s in shown}, f"{kind}: {word} is still shown"


@pytest.mark.parametrize(
    "text",
    [
        "Kent says it is a cold remedy.", "In Sabina there is pain from the sacrum.", "China comes after loss of fluids.",
        "The steps are six, twelve, thirty, two hundred, one thousand.", "Sorry, Pulsatilla, not Sepia, is the one.",
        "Sepia, read it in Kent, is a cold remedy.", "It is in Diwali week that the sweets are sold.",
        "In India and in Germany we use the thirtieth.", "Hahnemann was born in Meissen.", "The child was 14 years old.",
        "Parkinson's disease and Bell's palsy differ.", "It is the bean of St. Ignatius, or the Saint Ignatius bean.", "After Easter we will begin with Sepia.", "A woman in her late seventies.", "On Monday we repeat it. Otherwise, we wait.", "It was page 112.",
    ],
)  # fmt: skip
def test_authors_remedies_and_regions_stay(found: Found, text: str) -> None:
    _, result = found(FRAME[0] + text + FRAME[1])
    assert [p.said for p in result.persons if p.hide] == []


SMALL = "pulsatilla is mild and the remedy is warm and she weeps in the open air\n"


@pytest.mark.parametrize(
    ("kind", "text"),
    [
        ("a name told after one left out", "his full name we do not say so he is {branislav} he lived in the north\nhe had a cough at night"),
        ("a name of two words after the word name", "a singer of forty his name {noor rakhshan} he came with a cough\nwhere was he now {noor rakhshan} he was well"),
        ("a street before its house", "he lived on {street of carpenters house twelve} and it was cold there"),
        ("a lane and its landmark", "second one twenty nine housewife from {gali number four near data darwaza} she was burnt"),
        ("a house by two numbers", "he lived in {nineteen by two kali mandir lane} next to the sweet shop"),
        ("a town of two words", "he moved his shop to {beer sheva} when she died"),
        ("a hospital and its town", "he was cold and he reached {teaching hospital jaffna} at noon"),
        ("a nurse by her name", "she was told it by nurse {ursuline} of the ward"),
        ("a place one is of", "there was a man in {bursa} who had a cough and he died"),
        ("a feast after a word of time", "the piles were small again the next {lent} and she walked"),
        ("a name where only I is large", "you have brought the paper {shahnaj} and I know the handwriting of {mizan} I said so"),
        ("an address of the net with a slip", "write to me at {anand class at gmail no at lahore circle dot p k} before friday"),
        ("a number with a slip", "my number is {nine four four seven ah double one no double one six three oh nine two} do not ring at night"),
        ("a plate with a letter inside", "i put him in the car of my neighbour {wb zero two k five one seven eight} and we went"),
    ],
)  # fmt: skip
def test_identifiers_are_hidden_where_nothing_has_a_capital(found: Found, kind: str, text: str) -> None:
    plain, wanted = marked(text)
    reading, result = found(SMALL + plain + "\n" + SMALL)
    printed = hidden_words(result.persons)
    shown = shown_of(reading, printed, SMALL, plain)
    for word in " ".join(wanted).split():
        assert word not in shown, f"{kind}: {word} is still shown"
    assert "housewife" in shown or "housewife" not in plain


def test_a_known_name_is_hidden_again_without_its_capital(found: Found) -> None:
    reading, result = found("Thank you, Priya. Pulsatilla is mild. As priya told us it is thirstless.")
    hidden = hidden_words(result.persons)
    assert all(i in hidden for i, w in enumerate(reading.transcript.words) if w.text.lower().startswith("priya"))


def test_the_lecturer_is_no_student(found: Found) -> None:
    _, result = found("Good morning, Meenakshi madam. Pulsatilla is mild.", lecturer_names=("Dr Meenakshi Rao",))
    assert [p.role for p in result.persons] == ["lecturer"]


def test_verdicts_rule(found: Found) -> None:
    _, result = found("Thank you, Anjali. Pulsatilla is mild.")
    entry = VerdictEntry(1, PersonVerdict("show", "anjali"), "editor", "2026-01-01T00:00:00Z")
    undone = VerdictEntry(2, PersonVerdict("hide", "anjali"), "editor", "2026-01-01T00:00:00Z", undone=True)
    assert person_rulings((entry, undone)) == (entry.verdict,)
    assert not hidden_words(result.persons, person_rulings((entry,)))
    assert list(
        hidden_words(result.persons, (PersonVerdict("replace", "Anjali", replacement="a doctor"),)).values()
    ) == ["a doctor"]


def test_doubtful_ones_wait_for_a_verdict(found: Found) -> None:
    _, result = found("Pulsatilla is mild. We saw this with Qwerzal last year. It is warm.")
    waiting = unresolved(result.persons)
    assert [p.said for p in waiting] == ["Qwerzal"]
    assert unresolved(result.persons, (PersonVerdict("show", "Qwerzal"),)) == ()


def test_the_muted_sound_covers_the_word_with_a_margin(found: Found) -> None:
    reading, result = found("Thank you, Anjali. Pulsatilla is mild.")
    words = reading.transcript.words
    assert [(s.start_ms, s.end_ms) for s in mute_spans(result.persons, words, margin_ms=100)] == [(700, 1300)]


def test_redact_replaces_in_derived_text(found: Found) -> None:
    _, result = found("Thank you, Anjali. Pulsatilla is mild.")
    assert redact("Anjali said it is mild.", result.persons) == "A student said it is mild."
    assert redact("Pulsatilla is mild.", result.persons) == "Pulsatilla is mild."


def test_an_author_called_on_once_stays_an_author(found: Found) -> None:
    """A student may bear an author's surname; the author's other mentions are no reason for a person to look."""
    _, result = found("Kent, your question. Sir, what is the dose? Kent says that she is mild. In Kent we read it.")
    assert [person.said for person in result.persons if person.said == "Kent"] == ["Kent"]


@pytest.mark.parametrize(
    ("said", "printed"),
    [
        ("Good question, Anjali. Do not repeat.", "Good question. Do not repeat."),
        ("Anjali, do not repeat.", "Do not repeat."),
        ("Then, Anjali, you do not sit.", "Then, you do not sit."),
        ("Anjali, a quiet girl, asked.", "A student, a quiet girl, asked."),
    ],
)
def test_somebody_spoken_to_leaves_no_role(found: Found, said: str, printed: str) -> None:
    _, result = found("Pulsatilla is mild. Yes, Anjali. What is it? Anjali asked.")
    assert redact(said, result.persons) == printed
