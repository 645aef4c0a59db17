"""For the editor: the vocabulary, the words it lacks, how one term was heard, and what a change would touch."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from itertools import islice
from urllib.parse import quote

import msgspec
from starlette.requests import Request
from starlette.responses import Response
from wordfreq import zipf_frequency

from notesmith.annotations import Corrections, Extraction
from notesmith.correct.rulings import MAX_RULED_WORDS
from notesmith.desk.context import (
    Choice,
    Desk,
    NotThereError,
    desk_of,
    field,
    last_verdict_id,
    latest_own,
    see_other,
    told_all,
)
from notesmith.desk.names import finished, transcript_of
from notesmith.desk.queue import RARE_ZIPF, Place, form_ranges, place_at, word_rulings
from notesmith.desk.suggest import suggest
from notesmith.desk.words import NEW_TERM_SCHEMES
from notesmith.errors import ConflictError, InputError
from notesmith.lecture import Lecture
from notesmith.library import digest
from notesmith.store import Store
from notesmith.store.jobs import enqueue_once
from notesmith.transcript import Transcript, WordRange, sounding
from notesmith.verdicts import VerdictEntry
from notesmith.vocabulary import Vocabulary
from notesmith.vocabulary.concept import Concept, Scheme
from notesmith.vocabulary.importing import MAX_TERM_CHARACTERS, write_concepts
from notesmith.vocabulary.vocabulary import label_key

BROWSE_LIMIT = 40
UNKNOWN_LIMIT = 200
PLACES_SHOWN = 12
MAX_LABELS = 100
FACTS = {
    "common": "Common names",
    "gloss": "Meaning",
    "latin": "Latin",
    "spoken": "Said as",
    "dilution_log10": "Diluted to 1 in 10 to the power of",
    "collides": "Not to be confused",
    "heard": "Found misheard by experiment",
}
# Terms that are printed as they were said; a rubric or an organ is told in the lecturer's own words.
SPELT: tuple[Scheme, ...] = ("remedy", "family", "canon", "idea", "prescription")


class Occurrence(msgspec.Struct, frozen=True):
    """A heard form at one place of one lecture."""

    lecture: Lecture
    transcript: Transcript
    words: WordRange


class UnknownWord(msgspec.Struct, frozen=True):
    form: str
    text: str
    times: int
    lectures: int


def unknown_words(store: Store, vocabulary: Vocabulary, verdicts: Sequence[VerdictEntry]) -> tuple[UnknownWord, ...]:
    """Heard words that are neither common English nor in the vocabulary, nor corrected, names or ruled on; by count."""
    ruled = {sounding(one.heard) for one in word_rulings(verdicts)}
    known = {word for key in (*vocabulary.by_label, *vocabulary.by_hidden_label) for word in key.split()}
    times: Counter[str] = Counter()
    lectures: dict[str, set[str]] = {}
    text: dict[str, str] = {}
    for lecture, extraction in finished(store):
        transcript = transcript_of(store, lecture, extraction)
        corrections = store.result(lecture.id, "corrections", Corrections)
        covered: set[int] = set()
        for item in corrections.items if corrections is not None else ():
            start = transcript.segment_starts[item.segment_id]
            covered.update(range(start + item.word_start, start + item.word_end))
        for person in extraction.persons:
            covered.update(range(person.words.start, person.words.end))
        for index, word in enumerate(transcript.words):
            form = sounding(word.text)
            if index in covered or len(form) < 4 or not form.isalpha() or form in ruled:
                continue
            if form in known or label_key(form) in known or zipf_frequency(form, "en") >= RARE_ZIPF:
                continue
            times[form] += 1
            lectures.setdefault(form, set()).add(lecture.id)
            text.setdefault(form, word.text.strip(".,;:?!\"'()"))
    ranked = sorted(times, key=lambda form: (-times[form], form))[:UNKNOWN_LIMIT]
    return tuple(UnknownWord(form, text[form], times[form], len(lectures[form])) for form in ranked)


class Variant(msgspec.Struct, frozen=True):
    """One way in which a term is printed, and where."""

    text: str
    times: int
    lectures: int


class SpeltTerm(msgspec.Struct, frozen=True):
    """A term that is printed in more than one way over the sessions, the commonest first."""

    concept_id: str
    label: str
    variants: tuple[Variant, ...]


def spelt_differently(vocabulary: Vocabulary, extractions: Mapping[str, Extraction]) -> tuple[SpeltTerm, ...]:
    """The terms printed in more than one way, by how often they are said; ``extractions`` by lecture id.

    Only letters count: capitals and stops differ with the sentence.
    """
    places: dict[str, dict[str, list[tuple[str, str]]]] = {}
    for lecture_id, extraction in extractions.items():
        for one in extraction.mentions:
            if one.concept_id in vocabulary and vocabulary[one.concept_id].scheme in SPELT:
                forms = places.setdefault(one.concept_id, {})
                forms.setdefault(sounding(one.said), []).append((lecture_id, one.said))
    found = []
    for concept_id, forms in places.items():
        if len(forms) > 1:
            variants = (
                Variant(Counter(said for _, said in at).most_common(1)[0][0], len(at), len({one for one, _ in at}))
                for at in forms.values()
            )
            ordered = tuple(sorted(variants, key=lambda one: (-one.times, one.text)))
            found.append(SpeltTerm(concept_id, vocabulary.label(concept_id), ordered))
    return tuple(sorted(found, key=lambda one: (-sum(v.times for v in one.variants), one.label)))


def spoken_texts(store: Store) -> dict[str, str]:
    """What was heard in each finished lecture, by its id, laid out so that a form can be counted fast.

    A line a segment, since a ruling applies inside one; two spaces between words, so that neighbours share none.
    """
    texts = {}
    for lecture, extraction in finished(store):
        transcript = transcript_of(store, lecture, extraction)
        lines = ("  ".join(filter(None, (sounding(w.text) for w in one.words))) for one in transcript.segments)
        texts[lecture.id] = "".join(f" {line.replace(' ', '  ').replace('    ', '  ')} \n" for line in lines)
    return texts


def times_heard(texts: Mapping[str, str], form: str) -> dict[str, int]:
    """How often a form (as ``sounding`` gives it) was heard in each lecture; lectures without it are left out."""
    wanted = f" {form.replace(' ', '  ')} "
    return {lecture_id: times for lecture_id, text in texts.items() if (times := text.count(wanted))}


def occurrences(store: Store, form: str, lecture_ids: Collection[str] | None = None) -> Iterator[Occurrence]:
    """The places where a form was heard, in the order of the course; in some lectures, or in all."""
    for lecture, extraction in finished(store):
        if lecture_ids is None or lecture.id in lecture_ids:
            transcript = transcript_of(store, lecture, extraction)
            yield from (Occurrence(lecture, transcript, words) for words in form_ranges(transcript, form))


def _results(store: Store) -> list[tuple[str, str | None]]:
    """What the finished lectures' present results were made from: it changes when any of them does."""
    return [(one.id, store.result_key(one.id, "extraction")) for one in store.lectures()]


def browse(request: Request) -> Response:
    """GET /terms?q=: search the vocabulary; without a question the words it lacks."""
    desk = desk_of(request)
    asked = request.query_params.get("q", "").strip()[:80]
    choices: tuple[Choice, ...] = suggest(desk.vocabulary, asked, BROWSE_LIMIT) if asked else ()
    unknown: tuple[UnknownWord, ...] = ()
    latest: list[VerdictEntry] = []
    if not asked:
        with desk.store() as store:
            vocabulary, verdicts = desk.vocabulary, store.verdicts()
            latest = latest_own(request, verdicts, desk.who) if "did" in request.query_params else []
            key = (vocabulary.digest, [entry.id for entry in verdicts], _results(store))
            unknown = desk.kept("unknown words", key, lambda: unknown_words(store, vocabulary, verdicts))
    return desk.page(
        "terms.html",
        here="terms",
        asked=asked,
        choices=choices,
        unknown=unknown,
        size=len(desk.vocabulary),
        latest=latest,
        latest_told=told_all(latest),
        latest_back="/terms",
    )


def spellings(request: Request) -> Response:
    """GET /terms/spellings: the terms that are printed in more than one way."""
    desk = desk_of(request)
    with desk.store() as store:
        found = spelt_differently(desk.vocabulary, {one.id: extraction for one, extraction in finished(store)})
    return desk.page("spellings.html", here="terms", terms=found)


def term(request: Request) -> Response:
    """GET /terms/one?id=: a concept with its labels, and how it was heard in each session."""
    desk = desk_of(request)
    concept = _concept(desk.vocabulary, request.query_params.get("id", ""))
    heard: Counter[tuple[str, str, str]] = Counter()
    restored: Counter[str] = Counter()
    with desk.store() as store:
        for lecture in store.lectures():
            corrections = store.result(lecture.id, "corrections", Corrections)
            for item in corrections.items if corrections is not None else ():
                if item.concept_id == concept.id:
                    heard[(lecture.title, item.heard, item.state)] += 1
                    restored[lecture.id] += item.state == "applied"
    related = [(one, desk.vocabulary.label(one)) for one in (*concept.broader, *concept.related)]
    return desk.page(
        "term.html",
        here="terms",
        concept=concept,
        names=_names(concept),
        facts=[
            (
                FACTS.get(name, name.capitalize()),
                [desk.vocabulary.label(one) if name == "by" else one for one in values],
            )
            for name, values in concept.facts.items()
        ],
        state=digest(concept),
        heard=sorted(heard.items()),
        times=restored.total(),
        sessions=sum(1 for count in restored.values() if count),
        related=related,
        vocabulary_folder=desk.course.settings.vocabulary,
    )


def _names(concept: Concept) -> tuple[str, ...]:
    return (*concept.alt_labels, *concept.ambiguous_labels)


def _concept(vocabulary: Vocabulary, concept_id: str) -> Concept:
    concept = vocabulary.get(concept_id)
    if concept is None:
        raise NotThereError("there is no such term in the vocabulary")
    return concept


def effect(request: Request) -> Response:
    """GET /terms/effect?label=: how often words were heard, before they are made a mishearing of something."""
    desk = desk_of(request)
    form = sounding(request.query_params.get("label", "")[:200])
    with desk.store() as store:
        times = (
            times_heard(desk.kept("spoken texts", _results(store), lambda: spoken_texts(store)), form) if form else {}
        )
    return desk.page("effect.html", form=form, times=sum(times.values()), sessions=len(times))


def add_label(request: Request) -> Response:
    """POST /terms/label: another name or a known mishearing for a term, in the course's own layer."""
    desk = desk_of(request)
    concept = _concept(desk.vocabulary, field(request, "id"))
    label = _checked(desk.vocabulary, concept, field(request, "label"))
    if concept in desk.vocabulary.find(label):
        raise InputError(f"“{label}” is a label of {concept.pref_label} already")
    match field(request, "kind"):
        case "alt":
            changed = msgspec.structs.replace(concept, alt_labels=(*concept.alt_labels, label))
        case "hidden":
            changed = msgspec.structs.replace(concept, hidden_labels=(*concept.hidden_labels, label))
        case _:
            raise InputError("say whether it is a name or a mishearing")
    return _keep(desk, changed)


def edit(request: Request) -> Response:
    """POST /terms/edit: all labels of a term as they shall be in this course, one a line.

    Raises ConflictError where the term is not as the page showed it.
    """
    desk = desk_of(request)
    concept = _concept(desk.vocabulary, field(request, "id"))
    if field(request, "state") != digest(concept):
        raise ConflictError("this term was changed while your page was open; look at it again")
    preferred = _checked(desk.vocabulary, concept, field(request, "preferred"))
    names = {label_key(one): one for one in _lines(desk.vocabulary, concept, field(request, "names", ""))}
    names.pop(label_key(preferred), None)
    misheard = {label_key(one): one for one in _lines(desk.vocabulary, concept, field(request, "misheard", ""))}
    if both := misheard.keys() & {label_key(preferred), *names}:
        raise InputError(f"“{misheard[min(both)]}” is given as a name and as a mishearing; it can be only one of them")
    if lost := set(concept.fact("heard")) - set(misheard.values()):
        raise InputError(
            f"“{min(lost)}” was found by experiment and comes with the program; it cannot be taken out here"
        )
    shared = tuple(one for one in names.values() if one in concept.ambiguous_labels)
    changed = msgspec.structs.replace(
        concept,
        pref_label=preferred,
        alt_labels=tuple(one for one in names.values() if one not in shared),
        ambiguous_labels=shared,
        hidden_labels=tuple(misheard.values()),
    )
    return _keep(desk, changed)


def _lines(vocabulary: Vocabulary, concept: Concept, text: str) -> tuple[str, ...]:
    lines = [line for line in text.splitlines() if line.strip()]
    if len(lines) > MAX_LABELS:
        raise InputError(f"a term has at most {MAX_LABELS} names and as many mishearings")
    return tuple(_checked(vocabulary, concept, line) for line in lines)


def _checked(vocabulary: Vocabulary, concept: Concept, text: str) -> str:
    """A label with single blanks. Raises InputError where it is none, or names another term alone."""
    label = " ".join(text.split())
    if not label_key(label) or len(label) > MAX_TERM_CHARACTERS or "|" in label or label.endswith("(ambiguous)"):
        raise InputError(f"a label has 1 to {MAX_TERM_CHARACTERS} characters with a letter among them, and no |")
    owners = vocabulary.find(label)
    if owners and concept.id not in {one.id for one in owners}:
        raise InputError(f"“{label}” is a label of {owners[0].pref_label} ({owners[0].id}); one label cannot name both")
    return label


def _keep(desk: Desk, changed: Concept) -> Response:
    write_concepts(desk.course.vocabulary_dir, [changed])
    with desk.store() as store:
        enqueue_once(store, "refresh", "the vocabulary changed")
    return see_other(f"/terms/one?id={quote(changed.id)}")


def heard_form(request: Request) -> Response:
    """GET /terms/heard?form=: where a form was heard, and what a ruling on it would change before it is made."""
    desk = desk_of(request)
    form = sounding(request.query_params.get("form", "")[:200])
    if not form or len(form.split()) > MAX_RULED_WORDS:
        raise InputError(f"name one to {MAX_RULED_WORDS} heard words")
    with desk.store() as store:
        texts = desk.kept("spoken texts", _results(store), lambda: spoken_texts(store))
        times = times_heard(texts, form)
        found = list(islice(occurrences(store, form, times), PLACES_SHOWN))
        seen = last_verdict_id(store)
    places: list[tuple[Lecture, Place]] = [(one.lecture, place_at(one.transcript, one.words)) for one in found]
    return desk.page(
        "heard.html",
        here="terms",
        form=form,
        places=places,
        times=sum(times.values()),
        sessions=len(times),
        terms=desk.vocabulary.find(form),
        seen=seen,
        schemes=NEW_TERM_SCHEMES,
    )
