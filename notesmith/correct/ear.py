"""What the sound itself says of each place: the phones heard there, before the decoder made words of them.

The words of a transcript are the decoder's guess, and a term it does not know can come out as words that are not even
near it in sound. The phones (sounds/ear.py) are heard without words, so they bring up terms that no search under the
transcript's words can find, and show for every hypothesis how well its phones fit the sound beside those of the words
that were written. That is evidence for the judge, which weighs it with the rest.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from typing import NamedTuple, Protocol

import msgspec
import numpy as np
from numpy.typing import NDArray

from notesmith.correct.candidates import Candidate, HeardWord, likeliest, nearest_of_all, only_edges
from notesmith.correct.evidence import Session
from notesmith.correct.forms import FormTable
from notesmith.correct.gather import TOO_SHORT_LABEL, runs_of_words, subject_candidates
from notesmith.correct.judge import COLUMNS, Floats
from notesmith.sounds import load_costs, pronounce_text
from notesmith.sounds.distance import MAX_PHONES, encode, encode_all
from notesmith.sounds.ear import FRAME_MS, UNHEARD, Spelt, spell, spot, windows
from notesmith.sounds.hearing import Passage, PhoneHearing, Sheet, pack
from notesmith.transcript import TAUGHT, TimeSpan, Transcript, WordRange

LONGEST_MS = 12_000  # of what is heard at once; a quarter less work than half a minute at once (measured)
MARGIN_MS = 160  # by which a word's times may be wrong
LATE_MS = 150.0  # further off than that, each costs a nat
LEFT_OVER_NATS = 1.5  # what a phone heard and not accounted for costs where wordings are compared
FORMS_TRIED = 4  # of a concept at one place
FARTHEST = 40.0  # nats; what fits worse tells no more
NEAR, NEAR_SMALL = 1.05, 0.9  # distance a phone up to which what was heard may be a term
NEAR_FIRST = 1.4  # the same for the likeliest
NEAR_SUBJECT = 1.4  # the same for what the session speaks of: a word's edges are not heard to the phone
SPOKEN_OF = 0.8  # probability summed over a session from which a concept is one of its subjects
MOST_SUBJECTS = 60
BATCH = 4000
EAR = (
    "ear asked", "ear score", "ear a phone", "ear left over", "heard score", "heard a phone", "heard left over",
    "ear lead", "ear distance", "heard distance", "ear over rivals", "ear phones", "taught",
)  # fmt: skip
EAR_COLUMNS = (*COLUMNS, "text", *EAR)


class Listener(Protocol):
    """The sound, heard as phones."""

    def phones(self, time: TimeSpan) -> tuple[Sheet, int] | None:
        """Log-probabilities (frames, PHONES + 1) of a stretch of sound, and the millisecond at which they begin.

        None where the sound cannot be had.
        """


def listen_for_phones(
    transcript: Transcript,
    listener: Listener,
    begun: PhoneHearing | None = None,
    keep: Callable[[PhoneHearing], None] = lambda hearing: None,
) -> PhoneHearing:
    """Hear the rest of the session as phones. ``keep`` gets what was heard so far after each passage."""
    hearing = begun or PhoneHearing()
    done = {i for one in hearing.passages for i in range(one.words.start, one.words.end)}
    for r in _passages(transcript):
        if not done.issuperset(range(r.start, r.end)):
            heard = listener.phones(transcript.time(r))
            made = Passage(r) if heard is None else Passage(r, heard[1], pack(heard[0]))
            hearing = PhoneHearing((*hearing.passages, made))
            keep(hearing)
    return hearing


def _passages(transcript: Transcript) -> Iterator[WordRange]:
    """Whole segments in a row, as much as the model hears at once."""
    start: int | None = None
    end = 0
    for segment in transcript.segments:
        r = transcript.segment_range(segment.id)
        if r.end == r.start:
            continue
        if start is not None and transcript.time(WordRange(start, r.end)).duration_ms > LONGEST_MS:
            yield WordRange(start, end)
            start = None
        start, end = r.start if start is None else start, r.end
    if start is not None:
        yield WordRange(start, end)


class Heard(NamedTuple):
    """A passage's phones at hand: log-probabilities, when they begin, and the likeliest phones with their times."""

    sheet: Sheet
    start_ms: int
    spelt: Spelt

    @property
    def times_ms(self) -> NDArray[np.int64]:
        return self.start_ms + (self.spelt.frames * FRAME_MS).astype(np.int64) + FRAME_MS // 2


class PhonesHeard:
    """What was heard of a transcript, at hand by word."""

    def __init__(self, transcript: Transcript, hearing: PhoneHearing) -> None:
        self._at: dict[int, Heard] = {}
        self._phones: dict[int, str] = {}
        for passage in hearing.passages:
            if passage.packed:
                sheet = passage.sheet()
                heard = Heard(sheet, passage.start_ms, spell(sheet))
                inside = range(passage.words.start, passage.words.end)
                self._at.update(dict.fromkeys(inside, heard))
                self._phones.update(zip(inside, _shared_out(transcript, passage.words, heard), strict=True))

    def at(self, word: int) -> Heard | None:
        """The passage a word lies in; None where nothing could be heard."""
        return self._at.get(word)

    def phones(self, r: WordRange) -> str:
        """The likeliest phones while these words were said; "" where nothing could be heard."""
        return "".join(self._phones.get(i, "") for i in range(r.start, r.end))

    def under(self, words: Sequence[HeardWord]) -> tuple[HeardWord, ...]:
        """The transcript's words with the phones heard while each was said."""
        return tuple(
            msgspec.structs.replace(word, phones=self._phones[i]) if i in self._at else word
            for i, word in enumerate(words)
        )


def _shared_out(transcript: Transcript, r: WordRange, heard: Heard) -> list[str]:
    """The phones of a passage by the word they were said in; one held is often heard twice and counts once.

    The decoder's times of words are off by a phone or two, so the phones heard are laid beside those of the words that
    were written; what was not written goes to the word in whose time, or nearest to it, it is heard.
    """
    words = transcript.words[r.start : r.end]
    middles = np.array([(word.time.start_ms + word.time.end_ms) / 2 for word in words])
    halves = np.array([max(FRAME_MS, word.time.duration_ms) / 2 for word in words])
    written = [pronounce_text(word.text) for word in words]
    owner = np.repeat(np.arange(len(words)), [len(phones) for phones in written])
    times = [
        middles[n] + halves[n] * ((2 * k + 1) / len(phones) - 1)
        for n, phones in enumerate(written)
        for k in range(len(phones))
    ]
    apart = np.abs(heard.times_ms[:, None] - np.array(times)[None, :])
    late = np.maximum(0.0, apart - MARGIN_MS) / LATE_MS
    pairs = load_costs().pairing(encode(heard.spelt.phones), encode("".join(written)), late.astype(np.float32))
    own = [""] * len(words)
    said = np.where(pairs >= 0, owner[pairs], -1) if len(owner) else pairs
    least = np.maximum.accumulate(said)
    most = np.minimum.accumulate(np.where(said >= 0, said, len(words) - 1)[::-1])[::-1]
    for phone, ms, low, high in zip(
        heard.spelt.phones, heard.times_ms.tolist(), least.tolist(), most.tolist(), strict=True
    ):
        between = slice(max(0, low), high + 1)
        word = between.start + int(np.argmin(np.abs(middles[between] - ms) - halves[between]))
        own[word] += "" if own[word].endswith(phone) else phone
    return own


def ear_candidates(
    session: Session, ear: PhonesHeard, table: FormTable, subjects: Sequence[str], frozen: frozenset[int],
    allowed: Callable[[WordRange, str], bool] = lambda r, concept_id: True,
) -> list[Candidate]:  # fmt: skip
    """Candidates for the phones heard, which are not among the session's candidates yet."""
    reheard = msgspec.structs.replace(session, words=ear.under(session.words), candidates=())
    reheard = msgspec.structs.replace(reheard, candidates=tuple(_near(session, reheard.words, ear, table, frozen)))
    found = [*reheard.candidates, *subject_candidates(reheard, table, subjects, frozen, NEAR_SUBJECT)]
    known = {(one.words, table.forms[one.form].concept_id) for one in session.candidates}
    kept: list[Candidate] = []
    for one in found:
        key = one.words, table.forms[one.form].concept_id
        written = "".join(word.phones for word in session.words[one.words.start : one.words.end])
        heard = ear.at(one.words.start) is not None
        if key in known or not heard or not allowed(*key) or not 1 < len(written) <= MAX_PHONES:
            continue
        known.add(key)
        kept.append(msgspec.structs.replace(one, phones=written, rank=0))
    if not kept:
        return []
    forms = np.array([one.form for one in kept])
    index = table.index
    distances = index.costs.many(encode_all([one.phones for one in kept]), index.codes[forms]) + index.penalties[forms]
    return [msgspec.structs.replace(one, distance=float(d)) for one, d in zip(kept, distances, strict=True)]


def _near(
    session: Session, reheard: Sequence[HeardWord], ear: PhonesHeard, table: FormTable, frozen: frozenset[int]
) -> Iterator[Candidate]:
    """Every run of words whose phones are near a term's, whatever the words are; the smallest words must be very near."""
    runs = [
        (segment_id, r, phones)
        for segment_id, r, phones in runs_of_words(reheard, session, frozen)
        if ear.at(r.start) is not None
    ]
    near = nearest_of_all(table.index, [phones for _, _, phones in runs])
    for segment_id, r, phones in runs:
        small = only_edges(session.words[r.start : r.end])
        best: dict[str, tuple[int, float]] = {}
        for form, distance in zip(*(values.tolist() for values in near[phones]), strict=True):  # nearest first
            one = table.forms[form]
            if distance <= (NEAR_SMALL if small else NEAR_FIRST) * max(len(phones), len(one.phones)):
                best.setdefault(one.concept_id, (form, distance))
        everyday = not any(word.odd for word in session.words[r.start : r.end])
        for rank, (form, distance) in enumerate(likeliest(best.values(), table)):
            if rank == 0 or distance <= NEAR * max(len(phones), len(table.forms[form].phones)):
                yield Candidate(segment_id, r, everyday, phones, form, distance, 0)


def subjects(session: Session, table: FormTable, chosen: Sequence[int], probabilities: Sequence[float]) -> list[str]:
    """What the session speaks of, most spoken of first, as judged so far."""
    weight: dict[str, float] = defaultdict(float)
    for number, probability in zip(chosen, probabilities, strict=True):
        weight[table.forms[session.candidates[number].form].concept_id] += probability
    for _, concept_id in session.right.values():
        weight[concept_id] += 1.0
    for concept_id in session.hints:
        weight[concept_id] += SPOKEN_OF
    order = sorted((i for i in weight if weight[i] >= SPOKEN_OF), key=lambda i: (-weight[i], i))
    return [i for i in order if not i.startswith(("potency/", "medical/"))][:MOST_SUBJECTS]


class _Trial(NamedTuple):
    """One string of phones to be looked for in the sound of a hypothesis's words."""

    row: int
    phones: str
    written: bool  # the transcript's own words


def ear_rows(session: Session, ear: PhonesHeard, table: FormTable, chosen: Sequence[int]) -> Floats:
    """(chosen, EAR): what the phones heard say of each hypothesis."""
    rows = np.zeros((len(chosen), len(EAR)))
    column = {name: n for n, name in enumerate(EAR)}
    rows[:, column["taught"]] = TAUGHT in session.transcript.asr_model
    asked = [
        n for n, number in enumerate(chosen)
        if ear.at(session.candidates[number].words.start) is not None
        and ear.at(session.candidates[number].words.start) is ear.at(session.candidates[number].words.end - 1)
    ]  # fmt: skip
    if not asked:
        return rows
    spans = [session.candidates[chosen[n]].words for n in asked]
    likeliest = [ear.phones(r)[:MAX_PHONES] for r in spans]
    trials: list[_Trial] = []
    for at, (n, relative, forms) in enumerate(_nearest_forms(session, table, chosen, asked, likeliest)):
        rows[n, column["ear asked"]], rows[n, column["ear distance"]] = 1.0, relative
        rows[n, column["ear phones"]] = len(likeliest[at])
        trials += [_Trial(n, table.forms[form].phones[:MAX_PHONES], False) for form in forms]
        trials.append(_Trial(n, session.candidates[chosen[n]].phones[:MAX_PHONES], True))
    written = [session.candidates[chosen[n]].phones[:MAX_PHONES] for n in asked]
    far = table.index.costs.many(encode_all(likeliest), encode_all(written))
    sizes = [max(1, len(a), len(b)) for a, b in zip(likeliest, written, strict=True)]
    rows[asked, column["heard distance"]] = np.minimum(2.0, far / np.array(sizes))
    best: dict[tuple[int, bool], tuple[float, float, float, int]] = {}
    for trial, score, left in _tried(session, ear, chosen, trials):
        key = trial.row, trial.written
        made = (score - LEFT_OVER_NATS * left, score, left, len(trial.phones))
        best[key] = max(best.get(key, made), made)
    for n in asked:
        for name, is_written in (("ear", False), ("heard", True)):
            if (n, is_written) in best:
                _, score, left, size = best[n, is_written]
                rows[n, column[f"{name} score"]] = score
                rows[n, column[f"{name} a phone"]] = score / max(1, size)
                rows[n, column[f"{name} left over"]] = left
    combined = {n: best[n, False][0] if (n, False) in best else -FARTHEST for n in asked}
    for n in asked:
        rows[n, column["ear lead"]] = combined[n] - (best[n, True][0] if (n, True) in best else -FARTHEST)
    _over_rivals(rows, column["ear over rivals"], session, table, chosen, asked, combined)
    return rows


def _nearest_forms(
    session: Session, table: FormTable, chosen: Sequence[int], asked: Sequence[int], likeliest: Sequence[str]
) -> Iterator[tuple[int, float, list[int]]]:
    """For each hypothesis its concept's forms nearest to the phones heard, and the distance a phone of the nearest."""
    pairs: list[tuple[int, int]] = []
    for at, n in enumerate(asked):
        one = session.candidates[chosen[n]]
        numbers = table.forms_of(table.forms[one.form].concept_id)
        pairs += [(at, form) for form in {one.form, *(f for f in numbers if table.forms[f].penalty < TOO_SHORT_LABEL)}]
    places, forms = np.array([at for at, _ in pairs]), np.array([form for _, form in pairs])
    index = table.index
    codes = encode_all(list(likeliest))
    distances = np.concatenate(
        [index.costs.many(codes[places[i : i + BATCH]], index.codes[forms[i : i + BATCH]]) for i in range(0, len(places), BATCH)]
    )  # fmt: skip
    sizes = np.maximum(np.array([len(one) for one in likeliest])[places], index.lengths[forms])
    near: dict[int, list[tuple[float, int]]] = defaultdict(list)
    for at, form, relative in zip(
        places.tolist(), forms.tolist(), (distances / np.maximum(1, sizes)).tolist(), strict=True
    ):
        near[at].append((relative, form))
    for at, n in enumerate(asked):
        order = sorted(near[at])[:FORMS_TRIED]
        yield n, min(2.0, order[0][0]), [form for _, form in order]


def _tried(
    session: Session, ear: PhonesHeard, chosen: Sequence[int], trials: Sequence[_Trial]
) -> Iterator[tuple[_Trial, float, float]]:
    """Each trial with its nats behind the likeliest phones, and how many of those it leaves over inside the words."""
    times = session.transcript.words
    by_passage: dict[int, list[_Trial]] = defaultdict(list)
    passages: dict[int, Heard] = {}
    for trial in trials:
        heard = ear.at(session.candidates[chosen[trial.row]].words.start)
        if heard is not None and trial.phones:
            by_passage[id(heard)].append(trial)
            passages[id(heard)] = heard
    for key, group in by_passage.items():
        heard = passages[key]
        group.sort(key=lambda trial: len(trial.phones))
        phone_ms = heard.times_ms
        for first in range(0, len(group), BATCH):
            batch = group[first : first + BATCH]
            spans = []
            for trial in batch:
                r = session.candidates[chosen[trial.row]].words
                spans.append(
                    (times[r.start].time.start_ms - heard.start_ms, times[r.end - 1].time.end_ms - heard.start_ms)
                )
            a, b = windows([(x - MARGIN_MS, y + MARGIN_MS) for x, y in spans], len(heard.sheet))
            codes = encode_all([trial.phones for trial in batch])
            found = spot(heard.sheet, codes[:, : max(len(trial.phones) for trial in batch)], a, b)
            for trial, (x, y), score, start, end in zip(
                batch, spans, found.scores.tolist(), found.starts.tolist(), found.ends.tolist(), strict=True
            ):
                inside = (phone_ms >= heard.start_ms + x) & (phone_ms < heard.start_ms + y)
                used = (heard.spelt.frames >= start) & (heard.spelt.frames < end)
                left = float((inside & ~used).sum()) if score > UNHEARD / 2 else float(inside.sum())
                yield trial, max(-FARTHEST, score), left


def _over_rivals(
    rows: Floats, column: int, session: Session, table: FormTable, chosen: Sequence[int], asked: Sequence[int],
    combined: dict[int, float],
) -> None:  # fmt: skip
    """How much better each fits than the best other term over the same words; FARTHEST where there is none."""
    at_word: dict[int, list[int]] = defaultdict(list)
    for n in asked:
        r = session.candidates[chosen[n]].words
        for i in range(r.start, r.end):
            at_word[i].append(n)
    concepts = {n: table.forms[session.candidates[chosen[n]].form].concept_id for n in asked}
    for n in asked:
        r = session.candidates[chosen[n]].words
        rivals = [combined[m] for i in range(r.start, r.end) for m in at_word[i] if concepts[m] != concepts[n]]
        rows[n, column] = combined[n] - max(rivals) if rivals else FARTHEST
