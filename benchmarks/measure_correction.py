"""Measure how well misheard terms are restored, and what harm is done, beside what simpler means do.

    python benchmarks/run.py correction [--part dev|sealed6|sealed ...] [--no-audio] [--no-ablation] [--show dev]

Lectures: benchmarks/data/{dev,sealed6,sealed}, spoken by synthetic voices and heard by the real model; the sealed scripts and
voices were never tuned on. ``sealed6`` is by a hand that saw no program; so were ``sealed2`` to ``sealed5``, which are now learnt from (``train``, u, w, x and p).
``sealed`` was measured in most sessions; what the packaged model heard of it is of a decoder before the present one (lab/make_audio.py makes it anew).
Definitions:

- A *misheard* occurrence is a term of the script for which something else was heard than one of its accepted labels.
- *Recall* is the share of misheard occurrences restored to their concept by an applied edit; *precision* the share of
  applied edits that are right; an edit is *false* when nothing was misheard there, *wrong* when another term was said.
  *Harm* is false and wrong edits together as a share of all.
- *B-WER* is the word error on the words of terms, *U-WER* on all other words (the split of the deep-biasing benchmark,
  Le et al., Interspeech 2021); a word put in falsely counts against the other words. Spelling variants that the
  vocabulary accepts and numbers in digits or words count as the same.
- Ours with audio is heard by the packaged model, whose decoder is taught the terms, all others by Whisper base. Its recall
  is counted over the same occurrences, those that Whisper base misheard: each must stand right in the end, whether it
  was heard so or restored. *Lost* are the terms that Whisper base heard rightly and that do not stand right in the end.
- The two fuzzy baselines are told which terms the lecture holds; ours is given the whole vocabulary.
"""

from __future__ import annotations

import argparse
import csv
import gzip
import os
import re
import statistics
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Sequence
from functools import cache
from pathlib import Path
from typing import Any, NamedTuple

import msgspec
import platformdirs
from rapidfuzz import fuzz, process
from rapidfuzz.distance import JaroWinkler, Levenshtein
from wordfreq import zipf_frequency

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE / "lab"))

from truth import Occurrence, occurrences, pieces_of, read_times  # noqa: E402

from notesmith.annotations import Correction, Corrections  # noqa: E402
from notesmith.correct import correct  # noqa: E402
from notesmith.correct.candidates import letter_phones  # noqa: E402
from notesmith.correct.forms import FormTable  # noqa: E402
from notesmith.correct.judge import Trees, load_judge  # noqa: E402
from notesmith.correct.reader import READ  # noqa: E402
from notesmith.correct.weigh import Weights, load_weights  # noqa: E402
from notesmith.reading import replace_inside  # noqa: E402
from notesmith.sounds import load_costs, pronounce_text  # noqa: E402
from notesmith.sounds.hearing import PhoneHearing  # noqa: E402
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange, sounding  # noqa: E402
from notesmith.vocabulary import Vocabulary, label_key, load_vocabulary  # noqa: E402
from notesmith.vocabulary.potency import ParsedPotency, number_of, parse_potency  # noqa: E402

NAME = "correction"
DESCRIPTION = (
    "restoring misheard terms: recall, precision, harm, B-WER and U-WER, beside baselines (dev and sealed apart)"
)
DATA = HERE / "data"
AUDIO = Path(os.environ.get("NOTESMITH_LAB") or platformdirs.user_cache_path("notesmith") / "lab")
EDGE = frozenset("the a an and or but is in of to on for with by at as it s".split())
LISTENED = ("remedy/", "family/", "author/", "book/", "journal/", "idea/", "medical/")
ABLATIONS = {
    "without the session": ("session", "everyday session", "session distance", "same sound session", "by subject support",
                            "support of term", "same garble share", "same garble", "times heard"),
    "without neighbouring words": ("cues", "everyday cues", "same sound cues", "author cues", "miasm near",
                                   "psychiatry near", "terms near", "everyday terms near", "company before",
                                   "company after", "everyday company"),
    "without English word pairs": ("pair before", "pair inside", "pair after"),
    "without how commonly taught": ("prior", "near sound prior"),
    "without word frequency": ("ordinary words", "everyday ordinary", "odd words", "rarest word", "commonest word"),
    "without spelling": ("spelling", "everyday spelling", "letters alike"),
    "without capitals and probability": ("capital", "everyday capital", "author capital", "doubt", "everyday doubt"),
    "without the language model": READ,
}  # fmt: skip


class Edit(NamedTuple):
    words: WordRange
    restored: str
    concept_id: str
    applied: bool


class Lecture(NamedTuple):
    name: str
    transcript: Transcript
    found: tuple[Occurrence, ...]
    reference: tuple[tuple[str, bool], ...]  # each word said and whether it is a term's
    lines: tuple[tuple[int, str], ...]  # start in milliseconds and text of each line


class Counts(NamedTuple):
    figures: dict[str, float]
    kinds: dict[str, list[int]]  # kind -> misheard, restored, restored or proposed


# ------------------------------------------------------------------ the lectures


def load_lectures(part: str, heard: str = "plain") -> list[Lecture]:
    lectures = []
    for path in sorted((DATA / part).glob(f"*.{heard}.json.gz")):
        name = path.name.removesuffix(f".{heard}.json.gz")
        transcript = msgspec.json.decode(gzip.decompress(path.read_bytes()), type=Transcript)
        spoken = read_times(path.with_name(f"{name.rsplit('.', 1)[0]}.txt"), path.with_name(f"{name}.times.tsv"))
        reference = tuple(
            (word, piece.is_term)
            for _, _, line in spoken
            for piece in pieces_of(line)
            for word in sounding(piece.text).split()
        )
        lines = tuple((start, sounding(line.text)) for start, _, line in spoken)
        lectures.append(Lecture(name, transcript, tuple(occurrences(spoken, transcript)), reference, lines))
    return lectures


@cache
def same_words(vocabulary: Vocabulary) -> dict[str, str]:
    """Single words that the vocabulary spells in two ways: the other spelling to the preferred one."""
    found: dict[str, str] = {}
    preferred = {part for c in vocabulary.concepts.values() for part in label_key(c.pref_label).split()}
    for concept in vocabulary.in_scheme("remedy", "canon", "idea", "medical"):
        first = label_key(concept.pref_label).split()
        for label in concept.alt_labels:
            other = label_key(label).split()
            if len(first) == len(other):
                for a, b in zip(first, other, strict=True):
                    if a != b and b not in preferred and fuzz.ratio(a, b) >= 75:
                        found.setdefault(b, a)
    return found


def normal(words: Iterable[str], vocabulary: Vocabulary) -> list[str]:
    """Words made comparable: one spelling a word, numbers in digits."""
    same = same_words(vocabulary)
    flat = [part for word in words for part in (sounding(word).split() or [""])]
    return [str(number_of(word)) if number_of(word) is not None else same.get(label_key(word), word) for word in flat]


def labels_of(vocabulary: Vocabulary, concept_id: str) -> set[str]:
    concept = vocabulary.get(concept_id)
    if concept is None:
        return set()
    labels = {concept.pref_label, *concept.alt_labels, *concept.ambiguous_labels}
    if concept_id.startswith("author/"):
        labels.add(concept.pref_label.split()[-1])
    keys = {label_key(label) for label in labels}
    return keys | {f"{key}s" for key in keys}


def potency_meant(identifier: str) -> ParsedPotency | None:
    """The potency an id names (potency/200c); None for scales (potency/fifty-millesimal)."""
    return parse_potency(identifier.removeprefix("potency/").replace("-", " "))


def heard_rightly(one: Occurrence, vocabulary: Vocabulary) -> bool:
    identifier = one.said.concept_id or ""
    if identifier.startswith("potency/"):
        meant = potency_meant(identifier)
        words = one.heard.split()  # the bounds may take in a neighbouring word
        runs = (" ".join(words[a:b]).strip(".,;:?!") for a in range(len(words)) for b in range(a + 1, len(words) + 1))
        return meant is not None and any(
            got is not None and got.senses[0] == meant.senses[0] for got in map(parse_potency, runs)
        )
    heard = sounding(one.heard)
    return heard == sounding(one.said.text) or label_key(heard) in labels_of(vocabulary, identifier)


# ------------------------------------------------------------------ the systems


def ours(vocabulary: Vocabulary, without: Sequence[str] = ()) -> Callable[[Lecture, str], list[Edit]]:
    """Text only, as an imported transcript gives it: no word probabilities."""
    shipped = load_judge()
    weights = Weights({k: 0.0 if k in without else v for k, v in load_weights().values.items()})
    blind = tuple(n for n, name in enumerate(shipped.by_text.columns) if name in without)
    judge = msgspec.structs.replace(shipped, by_text=Blind(**msgspec.structs.asdict(shipped.by_text), blind=blind))

    def run(lecture: Lecture, part: str) -> list[Edit]:
        segments = tuple(
            Segment(s.id, tuple(Word(w.time, w.text) for w in s.words)) for s in lecture.transcript.segments
        )
        imported = msgspec.structs.replace(lecture.transcript, segments=segments)
        return edits_of(lecture.transcript, correct(imported, vocabulary, weights=weights, judge=judge))

    return run


class Blind(Trees, frozen=True):
    """The judge with some of its evidence set to nothing."""

    blind: tuple[int, ...] = ()

    def log_odds(self, rows: Any) -> Any:
        kept = rows.copy()
        kept[:, list(self.blind)] = 0.0
        return super().log_odds(kept)


class Remembering:
    """The sound's answers, kept so that an ablation need not ask again; what is left out answers that it heard nothing."""

    def __init__(self, vocabulary: Vocabulary) -> None:
        from notesmith.transcribe import WhisperSpeech, find_model

        self.vocabulary, self.model = vocabulary, WhisperSpeech(find_model())
        self.answers: dict[tuple[Any, ...], Any] = {}

    def system(self, phones: bool = True, wordings: bool = True) -> Callable[[Lecture, str], list[Edit]]:
        def run(lecture: Lecture, part: str) -> list[Edit]:
            path = AUDIO / part / f"{lecture.name}.ogg"
            asked, heard = Asked(self, path, phones, wordings), None
            kept = path.with_suffix(f".{lecture.transcript.asr_model}.phones")
            if phones and kept.exists():  # heard while it was transcribed
                heard = msgspec.msgpack.decode(kept.read_bytes(), type=PhoneHearing)
            found = correct(lecture.transcript, self.vocabulary, witness=asked, phones=heard)
            return edits_of(lecture.transcript, found)

        return run


class Asked:
    """One recording's sound behind the memory."""

    def __init__(self, memory: Remembering, path: Path, phones: bool, wordings: bool) -> None:
        from notesmith.transcribe import audio_witness

        witness = audio_witness(path, memory.model)
        assert witness is not None
        self.witness, self.memory, self.name = witness, memory, path.name
        self.hears, self.compares = phones, wordings

    def phones(self, time: TimeSpan) -> Any:
        return self._once((self.name, time), lambda: self.witness.phones(time)) if self.hears else None

    def score(self, time: TimeSpan, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        if not self.compares:
            return [0.0] * len(wordings)
        key = self.name, time, before, tuple(wordings), after
        return self._once(key, lambda: self.witness.score(time, before, wordings, after))

    def expect(self, before: str, wordings: Sequence[str], after: str) -> Sequence[float]:
        key = "deaf", before, tuple(wordings), after
        return self._once(key, lambda: self.witness.expect(before, wordings, after))

    def _once(self, key: tuple[Any, ...], ask: Callable[[], Any]) -> Any:
        if key not in self.memory.answers:
            self.memory.answers[key] = ask()
        return self.memory.answers[key]


def edits_of(transcript: Transcript, corrections: Corrections) -> list[Edit]:
    def words(item: Correction) -> WordRange:
        first = transcript.segment_starts[item.segment_id]
        return WordRange(first + item.word_start, first + item.word_end)

    return [
        Edit(words(item), item.restored, item.concept_id, item.state == "applied")
        for item in corrections.items
        if item.state != "rejected"
    ]


def fuzzy(
    vocabulary: Vocabulary, likeness: Callable[[list[str], list[str]], Any], at_least: float
) -> Callable[[Lecture, str], list[Edit]]:
    """Replace runs of one to four words by the likest label of the lecture's own terms, likest first."""

    def run(lecture: Lecture, part: str) -> list[Edit]:
        ids = {one.said.concept_id for one in lecture.found if (one.said.concept_id or "").startswith(LISTENED)}
        labels = sorted(
            {(key, i) for i in ids if i for key in labels_of(vocabulary, i) if not key.endswith("ss") and len(key) > 3}
        )
        known = {key for key, _ in labels}
        words = lecture.transcript.words
        runs = []
        for segment in lecture.transcript.segments:
            whole = lecture.transcript.segment_range(segment.id)
            for start in range(whole.start, whole.end):
                runs += [WordRange(start, end) for end in range(start + 1, min(start + 4, whole.end) + 1)]
        texts = [label_key(" ".join(word.text for word in words[r.start : r.end])) for r in runs]
        scores = likeness(texts, [key for key, _ in labels])
        best = scores.argmax(axis=1)
        order = sorted(range(len(runs)), key=lambda i: (-scores[i, best[i]], runs[i].start))
        taken: set[int] = set()
        edits = []
        for i in order:
            if scores[i, best[i]] < at_least:
                break
            inside = set(range(runs[i].start, runs[i].end))
            if inside & taken:
                continue
            taken |= inside
            if texts[i] not in known:
                label, identifier = labels[best[i]]
                edits.append(Edit(runs[i], label, identifier, True))
        return edits

    return run


def by_ratio(texts: list[str], labels: list[str]) -> Any:
    return process.cdist(texts, labels, scorer=fuzz.ratio)


def by_metaphone(texts: list[str], labels: list[str]) -> Any:
    """Double Metaphone codes compared by Jaro-Winkler, and the spelling by ratio; the mean of both."""
    codes = process.cdist([metaphone(t) for t in texts], [metaphone(t) for t in labels], scorer=JaroWinkler.similarity)
    return (100 * codes + process.cdist(texts, labels, scorer=fuzz.ratio)) / 2


@cache
def metaphone(text: str) -> str:
    from metaphone import doublemetaphone

    return "".join(doublemetaphone(part)[0] for part in text.split())


# ------------------------------------------------------------------ judging


def kind_of(one: Occurrence) -> str:
    """The kind of a mishearing: what makes it hard."""
    identifier = one.said.concept_id or ""
    if identifier.startswith("potency"):
        return "potency"
    heard = sounding(one.heard).split()
    if heard and all(zipf_frequency(word, "en") >= 3.0 for word in heard):
        return "real words"
    if identifier.startswith("author/"):
        return "author"
    if len(heard) != len(sounding(one.said.text).split()):
        return "split or fused"
    if re.search(r"['’]s?$", one.said.text) or (sounding(one.said.text).endswith("s") and not heard[-1].endswith("s")):
        return "inflected"
    return "one for one"


def judge(
    lecture: Lecture, edits: Sequence[Edit], vocabulary: Vocabulary, show: bool = False
) -> tuple[Counter[str], dict[str, list[int]]]:
    counts: Counter[str] = Counter()
    kinds: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    accounted: set[Edit] = set()
    for one in lecture.found:
        touching = [e for e in edits if len(one.words) and e.words.overlaps(one.words)]
        if one.said.decoy:
            counts["decoys"] += 1
            said = {*labels_said(one.said.text)}
            counts["decoys changed"] += any(e.applied and _bare(e.restored) not in said for e in touching)
            continue
        identifier = one.said.concept_id or ""
        counts["terms"] += 1
        if not identifier.startswith((*LISTENED, "potency/")) or not len(one.words):
            counts["terms not heard at all"] += not len(one.words)
            continue
        if heard_rightly(one, vocabulary) or (identifier.startswith("potency/") and potency_meant(identifier) is None):
            continue
        good = [e for e in touching if _is_right(e, one, vocabulary)]
        applied = any(e.applied for e in good)
        row = kinds[kind_of(one)]
        row[0] += 1
        row[1] += applied
        row[2] += bool(good)
        if not identifier.startswith("potency/"):
            counts["misheard"] += 1
            counts["restored"] += applied
            counts["restored or proposed"] += bool(good)
        if show and not applied:
            print(
                f"  {'proposed' if good else 'missed'}: {one.said.text!r} heard as {one.heard!r}: {[(e.restored, e.applied) for e in touching]}"
            )
        for e in touching:
            accounted.add(e)
            counts["edits"] += e.applied
            counts["right"] += e.applied and e in good
            counts["wrong"] += e.applied and e not in good
    # A person settles a heard form once for all its places, as the desk shows it.
    counts["proposals"] += len({sounding(lecture.transcript.text(e.words)) for e in edits if not e.applied})
    for e in edits:
        if e in accounted or not e.applied:
            continue
        counts["edits"] += 1
        if _as_said(e, lecture, vocabulary):
            counts["right"] += 1
        else:
            counts["false"] += 1
            if show:
                print(f"  false: {lecture.transcript.text(e.words)!r} -> {e.restored!r}")
    return counts, dict(kinds)


def labels_said(text: str) -> set[str]:
    """A decoy's own words, alone and in runs: putting them back where they were misheard is no harm."""
    words = label_key(text).split()
    return {" ".join(words[a:b]) for a in range(len(words)) for b in range(a + 1, len(words) + 1)}


def _is_right(edit: Edit, one: Occurrence, vocabulary: Vocabulary) -> bool:
    identifier = one.said.concept_id or ""
    if identifier.startswith("potency/"):
        meant, put = potency_meant(identifier), parse_potency(edit.restored)
        return meant is not None and put is not None and put.senses[0] == meant.senses[0]
    return edit.concept_id == identifier or sounding(edit.restored) == sounding(one.said.text) or (
        _bare(edit.restored) in labels_of(vocabulary, identifier)
    )  # fmt: skip


def _bare(restored: str) -> str:
    """The key of a term without the possessive that was heard with it."""
    return label_key(re.sub(r"['’]s$", "", restored))


def _as_said(edit: Edit, lecture: Lecture, vocabulary: Vocabulary) -> bool:
    """Whether an edit outside the marked terms put back words of the script that were not heard."""
    time_ms = lecture.transcript.words[edit.words.start].time.start_ms
    near = " ".join(text for start, text in lecture.lines if start <= time_ms + 400 and time_ms - start < 60_000)
    heard = f" {sounding(lecture.transcript.text(edit.words))} "
    labels = labels_of(vocabulary, edit.concept_id) | {sounding(edit.restored)}
    said = any(f" {label} " in f" {near} " for label in labels)
    return said and heard not in f" {near} "


def stands_right(one: Occurrence, edits: Sequence[Edit], vocabulary: Vocabulary) -> bool:
    """Whether a term was heard rightly and left so, or restored by an applied edit."""
    touching = [e for e in edits if e.applied and len(one.words) and e.words.overlaps(one.words)]
    if touching:
        return any(_is_right(e, one, vocabulary) for e in touching)
    return bool(len(one.words)) and heard_rightly(one, vocabulary)


def against(
    base: Lecture, lecture: Lecture, edits: Sequence[Edit], vocabulary: Vocabulary
) -> tuple[Counter[str], dict[str, list[int]]]:
    """What becomes of the occurrences that ``base``, another hearing of the same recording, has wrong and right."""
    counts: Counter[str] = Counter()
    kinds: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    for before, one in zip(base.found, lecture.found, strict=True):
        identifier = before.said.concept_id or ""
        if before.said.decoy or not identifier.startswith(LISTENED) or not len(before.words):
            continue
        right = stands_right(one, edits, vocabulary)
        if heard_rightly(before, vocabulary):
            counts["lost"] += not right
            continue
        row = kinds[kind_of(before)]
        proposed = right or any(_is_right(e, one, vocabulary) for e in edits if e.words.overlaps(one.words))
        for at, value in enumerate((True, right, proposed)):
            row[at] += value
        counts["misheard"] += 1
        counts["restored"] += right
        counts["restored or proposed"] += proposed
    return counts, dict(kinds)


def word_errors(lecture: Lecture, edits: Sequence[Edit], vocabulary: Vocabulary) -> Counter[str]:
    """Errors on the words of terms and on the others, by the cheapest alignment of the whole lecture."""
    by_start = {e.words.start: e for e in edits if e.applied}
    words, heard, at = lecture.transcript.words, [], 0
    while at < len(words):
        if (edit := by_start.get(at)) is not None:
            heard.append(replace_inside(lecture.transcript.text(edit.words), edit.restored))
            at = edit.words.end
        else:
            heard.append(words[at].text)
            at += 1
    reference = [(word, term) for text, term in lecture.reference for word in normal([text], vocabulary)]
    counts: Counter[str] = Counter(b=0, u=0)
    for _, term in reference:
        counts["term words" if term else "other words"] += 1
    for op in Levenshtein.editops([word for word, _ in reference], normal(heard, vocabulary)):
        of_term = op.tag != "insert" and reference[op.src_pos][1]
        counts["b" if of_term else "u"] += 1
    return counts


def measure(name: str, system: Callable[[Lecture, str], list[Edit]], lectures: Sequence[Lecture], part: str,
            vocabulary: Vocabulary, show: bool = False, warm: bool = True,
            base: Sequence[Lecture] | None = None) -> Counts:  # fmt: skip
    """``base`` is how Whisper base heard the same lectures, where ``lectures`` were heard otherwise."""
    total: Counter[str] = Counter()
    kinds: dict[str, list[int]] = defaultdict(lambda: [0, 0, 0])
    seconds = 0.0
    if lectures and warm:
        system(lectures[0], part)  # warm: the index is made once a process
    for number, lecture in enumerate(lectures):
        start = time.perf_counter()
        edits = system(lecture, part)
        seconds += time.perf_counter() - start
        if show:
            print(f" {lecture.name}")
        counts, by_kind = judge(lecture, edits, vocabulary, show)
        if base is not None:
            before, by_kind = against(base[number], lecture, edits, vocabulary)
            for name in ("misheard", "restored", "restored or proposed", "lost"):
                counts[name] = before[name]
        total += counts
        total += word_errors(lecture, edits, vocabulary)
        for kind, row in by_kind.items():
            kinds[kind] = [a + b for a, b in zip(kinds[kind], row, strict=True)]
        total["ms"] += lecture.transcript.duration_ms
    misheard, edits_made, hours = max(1, total["misheard"]), max(1, total["edits"]), max(1e-9, total["ms"] / 3_600_000)
    figures = {
        "B-WER": total["b"] / max(1, total["term words"]),
        "U-WER": total["u"] / max(1, total["other words"]),
        "recall": total["restored"] / misheard,
        "recall with proposed": total["restored or proposed"] / misheard,
        "precision": total["right"] / edits_made if total["edits"] else float("nan"),
        "harm share": (total["false"] + total["wrong"]) / edits_made,
        "false per 10000 other words": 10_000 * total["false"] / max(1, total["other words"]),
        "review per 30 min": total["proposals"] / hours / 2,
        "seconds per audio hour": seconds / hours,
        "real words recall": (kinds["real words"][1] / kinds["real words"][0])
        if kinds["real words"][0]
        else float("nan"),
        "decoys changed": float(total["decoys changed"]),
        "decoys": float(total["decoys"]),
        "lost": float(total["lost"]),
        "misheard": float(total["misheard"]),
        "terms": float(total["terms"]),
        "edits": float(total["edits"]),
        "minutes": total["ms"] / 60_000,
    }
    return Counts({k: round(v, 4) for k, v in figures.items()}, {k: list(v) for k, v in sorted(kinds.items())})


COLUMNS = ("B-WER", "U-WER", "recall", "recall with proposed", "precision", "harm share", "false per 10000 other words",
           "review per 30 min", "real words recall", "decoys changed", "lost", "seconds per audio hour")  # fmt: skip
HEADS = (
    "B-WER",
    "U-WER",
    "recall",
    "+prop",
    "precis",
    "harm",
    "false/10k",
    "rev/30m",
    "realw",
    "decoys",
    "lost",
    "s/hour",
)


def table(rows: dict[str, dict[str, float]]) -> str:
    lines = [f"{'':34}" + "".join(f"{head:>10}" for head in HEADS)]
    lines += [f"{name:34}" + "".join(f"{row[c]:10.3f}" for c in COLUMNS) for name, row in rows.items()]
    return "\n".join(lines)


# ------------------------------------------------------------------ candidates by sound


def candidate_ranks(vocabulary: Vocabulary) -> dict[str, dict[str, list[float]]]:
    """Share of mishearings whose true term is among the first 1, 5 and 20 candidates, on held-out terms and voices."""
    rows: list[dict[str, str]] = []
    for path in sorted(DATA.glob("pairs*.tsv")):
        with path.open(encoding="utf-8") as file:
            rows += csv.DictReader(file, delimiter="\t", quoting=csv.QUOTE_NONE)
    rows = [row for row in rows if row["id"] in vocabulary and sounding(row["heard"]) != sounding(row["label"])]
    forms = FormTable(vocabulary, load_costs())  # its own, for its index remembers answers of another depth
    labels = sorted({(label_key(form.label), form.concept_id) for form in forms.forms})
    keys, ids = [key for key, _ in labels], [identifier for _, identifier in labels]
    coded = [metaphone(key) for key in keys]
    made: dict[str, dict[str, list[float]]] = {}
    parts = {"held-out terms": "term_held_out", "held-out voices": "voice_held_out"}
    for part, column in parts.items():
        chosen = [row for row in rows if row[column] == "1"][:1500]
        if not chosen:
            continue
        heard = [label_key(row["heard"]) for row in chosen]
        ranks = {
            "by sound (ours)": [_rank(row["id"], _by_sound(forms, h)) for row, h in zip(chosen, heard, strict=True)]
        }
        codes = process.cdist([metaphone(h) for h in heard], coded, scorer=JaroWinkler.similarity)
        spelt = process.cdist(heard, keys, scorer=Levenshtein.normalized_similarity)
        for name, scores in (("Double Metaphone + Jaro-Winkler", codes), ("Levenshtein", spelt)):
            order = (-scores).argsort(axis=1, kind="stable")[:, :80]
            ranks[name] = [_rank(row["id"], [ids[i] for i in near]) for row, near in zip(chosen, order, strict=True)]
        made[part] = {n: [round(statistics.fmean(r < k for r in rs), 4) for k in (1, 5, 20)] for n, rs in ranks.items()}
        print(f"\ncandidates on {len(chosen)} mishearings of {part}: share with the term among the first 1, 5, 20")
        for name, shares in made[part].items():
            print(f"  {name:34}" + "".join(f"{share:8.3f}" for share in shares))
    return made


def _by_sound(table: FormTable, heard: str) -> list[str]:
    """Concepts by the distance of their nearest form, the heard words read by dictionary and by letters."""
    phones = {pronounce_text(heard)[:40] or "ə", letter_phones(heard)[:40] or "ə"}
    near = table.index.nearest(sorted(phones), keep=80, groups=120, rough=80)
    scored = sorted(
        (d, f) for forms, distances in near.values() for f, d in zip(forms.tolist(), distances.tolist(), strict=True)
    )
    return [table.forms[f].concept_id for _, f in scored]


def _rank(wanted: str, near: Sequence[str]) -> int:
    concepts = list(dict.fromkeys(near))
    return concepts.index(wanted) if wanted in concepts else 99


# ------------------------------------------------------------------ the command


def run(arguments: Sequence[str]) -> dict[str, Any]:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--part", nargs="*", default=["dev", "sealed6"])
    parser.add_argument("--no-audio", action="store_true")
    parser.add_argument("--no-ablation", action="store_true")
    parser.add_argument("--no-candidates", action="store_true")
    parser.add_argument("--only-ours", action="store_true")
    parser.add_argument("--show", action="store_true", help="print what was missed or false; never with sealed")
    given = parser.parse_args(list(arguments))
    vocabulary = load_vocabulary()
    report: dict[str, Any] = {}
    for part in given.part:
        lectures = load_lectures(part)
        if not lectures:
            print(f"{part}: no transcripts yet; run benchmarks/lab/make_audio.py")
            continue
        rows: dict[str, Counts] = {}
        nothing: Callable[[Lecture, str], list[Edit]] = lambda lecture, part: []  # noqa: E731
        if not given.only_ours:
            rows["plain Whisper base"] = measure("plain", nothing, lectures, part, vocabulary)
            rows["Whisper with hotwords"] = measure("hot", nothing, load_lectures(part, "hotwords"), part, vocabulary)
            rows["naive fuzzy (ratio 80)"] = measure("r", fuzzy(vocabulary, by_ratio, 80), lectures, part, vocabulary)
            rows["Double Metaphone + ratio (80)"] = measure(
                "m", fuzzy(vocabulary, by_metaphone, 80), lectures, part, vocabulary
            )
        show = given.show and not part.startswith("sealed")
        rows["ours, text only"] = measure("t", ours(vocabulary), lectures, part, vocabulary, show)
        if not given.no_audio and all((AUDIO / part / f"{one.name}.ogg").exists() for one in lectures):
            sound, heard = Remembering(vocabulary), load_lectures(part, "adapted")
            rows["the taught decoder alone"] = measure("d", nothing, heard, part, vocabulary, base=lectures)
            rows["ours, with audio"] = measure(
                "a", sound.system(), heard, part, vocabulary, show, warm=False, base=lectures
            )
            if not given.no_ablation:
                rows["  the decoder not taught"] = measure("p", sound.system(), lectures, part, vocabulary, warm=False)
                rows["  text of the taught decoder"] = measure(
                    "x", ours(vocabulary), heard, part, vocabulary, base=lectures
                )
                for name, system in (
                    ("  phones only", sound.system(wordings=False)),
                    ("  wordings compared only", sound.system(phones=False)),
                ):
                    rows[name] = measure(name, system, heard, part, vocabulary, warm=False, base=lectures)
        if not given.no_ablation:
            for name, gone in ABLATIONS.items():
                rows[f"  {name}"] = measure(name, ours(vocabulary, gone), lectures, part, vocabulary)
        first = rows["ours, text only"].figures
        print(f"\n{part}: {len(lectures)} recordings, {first['minutes']:.1f} min, {first['terms']:.0f} terms, "
              f"{first['misheard']:.0f} misheard (potencies apart), {first['decoys']:.0f} decoys")  # fmt: skip
        print(table({name: one.figures for name, one in rows.items()}))
        if not given.no_ablation:
            print("(ablations set a source's evidence to nothing without learning the rest again)")
        for name in ("ours, text only", "ours, with audio"):
            if name in rows:
                print(f"{name}, by kind of mishearing: misheard, restored, restored or proposed")
                for kind, (misheard, restored, either) in rows[name].kinds.items():
                    print(f"  {kind:16}{misheard:6d}{restored / misheard:8.3f}{either / misheard:8.3f}")
        report[part] = {name: {"figures": one.figures, "kinds": one.kinds} for name, one in rows.items()}
    if not given.no_candidates:
        report["candidates"] = candidate_ranks(vocabulary)
    return report
