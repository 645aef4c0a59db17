"""Names before publication: all that wait on one page, each with a safe choice, confirmed together."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Literal

import msgspec
from starlette.requests import Request
from starlette.responses import Response
from wordfreq import zipf_frequency

from notesmith.annotations import Extraction, PersonMention
from notesmith.correct.rulings import MAX_RULED_WORDS
from notesmith.desk.context import (
    Desk,
    desk_of,
    field,
    is_applying,
    is_empty,
    last_verdict_id,
    latest_own,
    number,
    rule,
    see_other,
    told_all,
    undo_back,
)
from notesmith.desk.queue import RARE_ZIPF, Place, form_ranges, place_at, word_rulings
from notesmith.desk.suggest import likely
from notesmith.errors import ConflictError, InputError
from notesmith.extract.privacy import hidden, person_rulings
from notesmith.lecture import Lecture
from notesmith.store import Store
from notesmith.transcript import TimeSpan, Transcript, WordRange, sounding
from notesmith.verdicts import PersonVerdict, Verdict, VerdictEntry, WordVerdict
from notesmith.vocabulary import Vocabulary

LONGEST_REPLACEMENT = 80
NAMES_A_PAGE = 10  # a form holds at most 80 fields
WORDS_BESIDE = 4  # on each side: about what is heard with the name
TERMS_OFFERED = 3
Choice = Literal["hide", "show", "replace", "term"]
CHOICES: dict[str, Choice] = {"hide": "hide", "show": "show", "replace": "replace", "term": "term"}


class NameItem(msgspec.Struct, frozen=True):
    """One name as said, over all lectures. ``printed`` is what stands in its place now, None where it is shown.

    ``words`` are its places in the lecture ``lecture_id``, the doubtful one first; ``lectures`` counts all.
    """

    said: str
    role: str
    replacement: str
    printed: str | None
    open: bool
    lecture_id: str
    title: str
    words: tuple[WordRange, ...]
    lectures: int
    has_sound: bool


class NameRow(msgspec.Struct, frozen=True):
    """An open name with a few words on both sides of one place, and terms that sound like it.

    ``meant`` are the heard words for which such a term would be put: the name, or more where the words beside it are
    none of a language. ``follows`` where the row before shows, and plays, this place too.
    """

    item: NameItem
    place: Place
    before: str
    after: str
    meant: str
    terms: tuple[tuple[str, str], ...] = ()
    follows: bool = False


def finished(store: Store) -> list[tuple[Lecture, Extraction]]:
    """The lectures that have been worked through. Transcripts are long; ``transcript_of`` reads one where needed."""
    return [
        (lecture, extraction)
        for lecture in store.lectures()
        if (extraction := store.result(lecture.id, "extraction", Extraction)) is not None
    ]


def transcript_of(store: Store, lecture: Lecture, extraction: Extraction) -> Transcript:
    """The transcript that the notes were made from. Raises ConflictError where it was replaced meanwhile."""
    for stored in store.transcripts(lecture.recording_sha256):
        if stored.transcript.digest == extraction.transcript_digest:
            return stored.transcript
    raise ConflictError(f"{lecture.title} was heard again and is being worked through; come back when it is done")


def subjects(lecture: Lecture, extraction: Extraction) -> frozenset[str]:
    """The concepts a lecture is about and those it speaks of, also where a name of them was not understood."""
    return frozenset((*lecture.remedy_ids, *(one.concept_id for one in extraction.mentions)))


def is_open(person: PersonMention, lecture_id: str, verdicts: Sequence[VerdictEntry]) -> bool:
    """Whether a person has to look at a name: doubtful, not ruled on, and not ruled to be a misheard term."""
    said = sounding(person.said)
    if not person.doubtful or said in {sounding(one.said) for one in person_rulings(verdicts, lecture_id)}:
        return False
    return not any(
        sounding(one.heard) == said and one.restored and one.lecture_id in (None, lecture_id)
        for one in word_rulings(verdicts)
        if one.ruling in ("accept", "always") and one.start_ms is None
    )


def open_persons(
    store: Store, lecture: Lecture, extraction: Extraction, verdicts: Sequence[VerdictEntry]
) -> tuple[PersonMention, ...]:
    """The mentions of a lecture that a person has to look at.

    A word that a person has ruled to be part of a misheard term needs no second ruling, at that place: "Oregonan" is
    no name inside "edition of the Oregonan".
    """
    waiting = tuple(one for one in extraction.persons if is_open(one, lecture.id, verdicts))
    longer = {
        form
        for one in word_rulings(verdicts)
        if one.ruling in ("accept", "always") and one.start_ms is None and one.lecture_id in (None, lecture.id)
        for form in (sounding(one.heard),)
        if any(f" {sounding(person.said)} " in f" {form} " for person in waiting)
    }
    if not longer:
        return waiting
    transcript = transcript_of(store, lecture, extraction)
    settled = [words for form in longer for words in form_ranges(transcript, form)]
    return tuple(
        one
        for one in waiting
        if not any(words.start <= one.words.start and one.words.end <= words.end for words in settled)
    )


def names(store: Store, verdicts: Sequence[VerdictEntry]) -> tuple[NameItem, ...]:
    """All names of the course, those still open first, then in order of the course."""
    grouped: dict[str, list[tuple[Lecture, PersonMention]]] = {}
    undecided: set[tuple[str, PersonMention]] = set()
    for lecture, extraction in finished(store):
        undecided.update((lecture.id, one) for one in open_persons(store, lecture, extraction, verdicts))
        for person in extraction.persons:
            grouped.setdefault(sounding(person.said), []).append((lecture, person))
    items = []
    for mentions in grouped.values():
        waiting = [one for one in mentions if (one[0].id, one[1]) in undecided]
        # The doubtful mention is the one to look at.
        lecture, person = (waiting or mentions)[0]
        here = sorted(
            (one for own, one in mentions if own.id == lecture.id), key=lambda one: (not one.doubtful, one.words)
        )
        items.append(
            NameItem(
                person.said,
                person.role,
                person.replacement,
                hidden(person, person_rulings(verdicts)),
                bool(waiting),
                lecture.id,
                lecture.title,
                tuple(one.words for one in here),
                len({own.id for own, _ in mentions}),
                lecture.media is not None,
            )
        )
    return tuple(sorted(items, key=lambda item: not item.open))


def rows(store: Store, vocabulary: Vocabulary, items: Sequence[NameItem]) -> tuple[NameRow, ...]:
    """The names with the words around them; each lecture's transcript is read once.

    Of names said within a few words of each other the first shows and plays the place of all.
    """
    wanted = {item.lecture_id for item in items}
    transcripts, spoken_of = {}, {}
    for lecture, extraction in finished(store):
        if lecture.id in wanted:
            transcripts[lecture.id] = transcript_of(store, lecture, extraction)
            spoken_of[lecture.id] = subjects(lecture, extraction)
    found: list[NameRow] = []
    for n, item in enumerate(items):
        transcript, words = transcripts[item.lecture_id], item.words[0]
        follows = n > 0 and _is_beside(items[n - 1], item)
        last = n
        while last + 1 < len(items) and _is_beside(items[last], items[last + 1]):
            last += 1
        until = words if follows else items[last].words[0]
        beside = 0 if follows else WORDS_BESIDE
        place = place_at(transcript, words)
        if until != words:
            near = TimeSpan(place.near.start_ms, place_at(transcript, until).near.end_ms)
            place = msgspec.structs.replace(place, near=near)
        meant, terms = _meant(vocabulary, transcript, words, spoken_of[item.lecture_id])
        found.append(
            NameRow(
                item,
                place,
                transcript.text(WordRange(max(0, words.start - beside), words.start)),
                transcript.text(WordRange(words.end, min(len(transcript.words), until.end + beside))),
                transcript.text(meant),
                tuple((one, vocabulary.label(one)) for one, _ in terms[:TERMS_OFFERED]),
                follows,
            )
        )
    return tuple(found)


def _is_beside(one: NameItem, other: NameItem) -> bool:
    """Whether another name comes a few words after one."""
    return one.lecture_id == other.lecture_id and 0 <= other.words[0].start - one.words[0].end <= WORDS_BESIDE


def _meant(
    vocabulary: Vocabulary, transcript: Transcript, words: WordRange, spoken_of: frozenset[str]
) -> tuple[WordRange, tuple[tuple[str, str], ...]]:
    """The terms a name may be misheard for, and the words that stand for them.

    A term of two words can be heard as a name beside a word that is none: then a term that sounds like both is meant.
    """
    wide = _odd_around(vocabulary, transcript, words)
    if wide != words and (terms := likely(vocabulary, transcript.text(wide), spoken_of)):
        return wide, terms
    return words, likely(vocabulary, transcript.text(words), spoken_of)


def _odd_around(vocabulary: Vocabulary, transcript: Transcript, words: WordRange) -> WordRange:
    """The name with the words on both sides that are neither English nor in the vocabulary, up to the next stop."""

    def is_odd(at: int) -> bool:
        form = sounding(transcript.words[at].text)
        return form.isalpha() and zipf_frequency(form, "en") < RARE_ZIPF and not vocabulary.find(form)

    def stops(at: int) -> bool:
        return transcript.words[at].text[-1:] in ",.;:?!"

    segment = transcript.segment_range(transcript.segment_of(words.start))
    start, end = words.start, words.end
    while start > segment.start and not stops(start - 1) and is_odd(start - 1):
        start -= 1
    while end < segment.end and not stops(end - 1) and is_odd(end):
        end += 1
    return WordRange(start, end) if end - start <= MAX_RULED_WORDS else words


def page(request: Request) -> Response:
    """GET /names?did=1,2: the open names, and the decisions just made so that they can be taken back together."""
    desk = desk_of(request)
    with desk.store() as store:
        current = store.verdicts()
        every = names(store, current)
        waiting = [item for item in every if item.open]
        shown = rows(store, desk.vocabulary, waiting[:NAMES_A_PAGE])
        seen = last_verdict_id(store)
        pending, empty = is_applying(store), is_empty(store)
    latest = latest_own(request, current, desk.who)
    return desk.page(
        "names.html",
        here="names",
        rows=shown,
        total=len(waiting),
        seen=seen,
        decided=[item for item in every if not item.open],
        latest=latest,
        latest_told=told_all(latest),
        latest_back=undo_back(latest),
        applying=pending,
        empty=empty,
        asked=False,
    )


def decide(request: Request) -> Response:
    """POST /names: a choice for each name on the page; each holds for the whole course.

    What somebody else decided meanwhile is left as it is and told; the rest is written.
    """
    desk = desk_of(request)
    form = request.scope.get("form", {})
    given = [n for n in range(NAMES_A_PAGE) if f"said_{n}" in form]
    if not given:
        raise InputError("no name was named; load the page again")
    seen = number(field(request, "seen"), "the page's state")
    verdicts = [_verdicts(desk, form, n) for n in given]  # all are checked before one is written
    written: list[int] = []
    refused: list[str] = []
    with desk.store() as store:
        for group in verdicts:
            try:
                with store.transaction():
                    written += [rule(store, one, who=desk.who, seen=seen).id for one in group]
            except ConflictError as error:
                refused.append(str(error))
        more = any(item.open for item in names(store, store.verdicts()))
    if refused:
        raise ConflictError(f"{len(written)} decisions were written, {len(refused)} not. {' '.join(refused)}")
    return see_other(f"{'/names' if more else '/next'}?did={','.join(str(one) for one in written)}")


def _verdicts(desk: Desk, form: Mapping[str, str], n: int) -> tuple[Verdict, ...]:
    """The rulings that one row of the form asks for. Raises InputError where it makes no sense."""
    said, value = form[f"said_{n}"].strip(), " ".join(form.get(f"value_{n}", "").split())
    choice = CHOICES.get(form.get(f"ruling_{n}", ""))
    if choice is None or not sounding(said):
        raise InputError("that is no decision the desk knows")
    if len(said) > 200 or len(value) > LONGEST_REPLACEMENT:
        raise InputError(f"what is printed in place of a name has at most {LONGEST_REPLACEMENT} characters")
    match choice:
        case "replace":
            if not value:
                raise InputError(f"say what is to be printed in place of “{said}”")
            return (PersonVerdict("replace", said, None, value),)
        case "term":
            concept = desk.vocabulary.get(form.get(f"concept_{n}", ""))
            if concept is None:
                raise InputError(f"choose from the list which term “{said}” is")
            lecture_id = form.get(f"lecture_{n}") or None
            heard = sounding(form.get(f"heard_{n}", said))
            if f" {sounding(said)} " not in f" {heard} " or len(heard.split()) > MAX_RULED_WORDS:
                raise InputError(f"the words of a misheard term must hold “{said}”, and be at most {MAX_RULED_WORDS}")
            return (
                PersonVerdict("show", said),
                WordVerdict("accept" if lecture_id else "always", heard, concept.id, concept.pref_label, lecture_id),
            )
        case _:
            return (PersonVerdict(choice, said),)
