"""Find the vocabulary's concepts in a session: labels as written, and lay wording of rubrics.

Labels match on ``label_key``. A label that is also an ordinary word counts only with support from its context.
Lay wording matches by stems, so that ``cries when anybody comforts her`` can meet ``cries more when comforted``.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from dataclasses import dataclass
from functools import lru_cache

from wordfreq import zipf_frequency

from notesmith.extract.lexicon import BODY_CHAPTERS, MIND_WORDS, MODALITY_WORDS, SENSATIONS, STOP_STEMS, stem
from notesmith.extract.session import Sentence, Session, keys_of
from notesmith.vocabulary import Vocabulary, label_key

MAX_LABEL_WORDS = 8
# Zipf frequency (occurrences per 10^9 words, log10) from which a word is ordinary English.
ORDINARY_ZIPF = 3.3
# From here on it is an everyday word, which by itself names no symptom of a part that is not spoken of.
EVERYDAY_ZIPF = 4.0
_LAY_WINDOW = 9


@dataclass(frozen=True, slots=True)
class Hit:
    """A concept found over units ``start`` to ``end``; ``exact`` when a label was said word for word."""

    concept_id: str
    start: int
    end: int
    exact: bool = True


@dataclass(frozen=True, slots=True)
class LabelIndex:
    labels: dict[str, tuple[str, ...]]
    remedy_first_word: dict[str, str]
    lay: dict[str, tuple[tuple[frozenset[str], str], ...]]
    single_words: frozenset[str]


@lru_cache(maxsize=2)
def label_index(vocabulary: Vocabulary) -> LabelIndex:
    labels = dict(vocabulary.by_label)
    for concept in vocabulary.in_scheme("remedy"):
        words = label_key(concept.pref_label).split()
        # English names, and the short ones a lecturer says: "arsenic" for Arsenicum, "aconite", "ferrum".
        shortened = [words[0].removesuffix("um")] if words[0].endswith("icum") and words[1:] == ["album"] else []
        for label in (*concept.fact("common"), *shortened):
            key = label_key(label)
            if len(key) > 4 and key not in labels:
                labels[key] = (concept.id,)
    first_words: dict[str, set[str]] = defaultdict(set)
    lay: dict[frozenset[str], str] = {}
    for concept in vocabulary.concepts.values():
        if concept.scheme == "remedy":
            words = label_key(concept.pref_label).split()
            if len(words) > 1 and len(words[0]) >= 5:
                first_words[words[0]].add(concept.id)
        elif concept.scheme == "rubric":
            for label in (concept.pref_label, *concept.alt_labels):
                stems = frozenset(s for w in label_key(label).split() if (s := stem(w)) not in STOP_STEMS)
                if 2 <= len(stems) <= 5:
                    lay.setdefault(stems, concept.id)
    counts = Counter(s for stems in lay for s in stems)
    by_rarest: dict[str, list[tuple[frozenset[str], str]]] = defaultdict(list)
    for stems, concept_id in lay.items():
        by_rarest[min(stems, key=lambda s: (counts[s], s))].append((stems, concept_id))
    single = {w for c in vocabulary.in_scheme("remedy") for w in label_key(c.pref_label).split()}
    return LabelIndex(
        labels,
        {word: next(iter(ids)) for word, ids in first_words.items() if len(ids) == 1 and word not in labels},
        {word: tuple(items) for word, items in by_rarest.items()},
        frozenset(single),
    )


def find_hits(session: Session) -> tuple[Hit, ...]:
    """All hits in reading order; those of one scheme group do not overlap."""
    index = label_index(session.vocabulary)
    flat = [(key, position) for position, unit in enumerate(session.units) for key in keys_of(unit)]
    hits: list[Hit] = []
    recent: list[str] = []  # remedies in order of last mention
    at = 0
    while at < len(flat):
        found = _longest(session, index, flat, at, recent)
        if found is None:
            at += 1
            continue
        length, picked = found
        start, end = flat[at][1], flat[at + length - 1][1] + 1
        for concept_id in picked:
            hits.append(Hit(concept_id, start, end))
            if concept_id.startswith("remedy/"):
                if concept_id in recent:
                    recent.remove(concept_id)
                recent.append(concept_id)
        at += length
    hits.extend(_lay_hits(session, index, hits))
    return tuple(sorted(set(hits), key=lambda hit: (hit.start, hit.end, hit.concept_id)))


def _longest(
    session: Session, index: LabelIndex, flat: list[tuple[str, int]], at: int, recent: list[str]
) -> tuple[int, tuple[str, ...]] | None:
    unit = session.units[flat[at][1]]
    if unit.concept_id is not None and unit.concept_id in session.vocabulary:
        length = 1
        while at + length < len(flat) and session.units[flat[at + length][1]].words == unit.words:
            length += 1
        return length, (unit.concept_id,)
    for length in range(min(MAX_LABEL_WORDS, len(flat) - at), 0, -1):
        key = " ".join(word for word, _ in flat[at : at + length])
        ids = index.labels.get(key, ())
        if not ids and length == 1 and key in index.remedy_first_word:
            ids = (index.remedy_first_word[key],)
        if not ids:
            continue
        if length > 1 and _crosses_sentence(session, flat[at][1], flat[at + length - 1][1]):
            continue
        picked = _pick(session, key, ids, flat[at][1], flat[at + length - 1][1] + 1, recent)
        if picked:
            return length, picked
    return None


def _crosses_sentence(session: Session, first: int, last: int) -> bool:
    return any(unit.text.endswith((".", "?", "!", ",", ";")) for unit in session.units[first:last])


def _pick(session: Session, key: str, ids: tuple[str, ...], start: int, end: int, recent: list[str]) -> tuple[str, ...]:
    """Choose among the concepts of one label, or none where an ordinary word is meant."""
    remedies = tuple(i for i in ids if i.startswith("remedy/"))
    others = tuple(i for i in ids if not i.startswith(("remedy/", "potency/", "rx/")))
    picked: list[str] = []
    if remedies and _remedy_meant(session, key, remedies, start, end, recent):
        if len(remedies) == 1:
            picked.append(remedies[0])
        elif known := [i for i in reversed(recent) if i in remedies]:
            picked.append(known[0])
    if picked:
        return tuple(picked)
    rubrics = [i for i in others if i.startswith(("rubric/", "chapter/"))]
    rest = [i for i in others if not i.startswith(("rubric/", "chapter/"))]
    if (
        rubrics
        and _rubric_meant(key)
        and not _describes_another(session, key, start)
        and (
            best := _best_rubric(
                session, rubrics, start, ordinary=" " not in key and zipf_frequency(key, "en") >= EVERYDAY_ZIPF
            )
        )
        is not None
    ):
        picked.append(best)
    for concept_id in rest[:1]:
        if " " in key or _capitalised(session, start) or zipf_frequency(key, "en") < 4.6:
            picked.append(concept_id)
    return tuple(picked)


def _capitalised(session: Session, unit: int) -> bool:
    return session.units[unit].bare[:1].isupper()


_SYMPTOM_WORDS = frozenset(BODY_CHAPTERS) | SENSATIONS | MIND_WORDS | MODALITY_WORDS


def _only_common(session: Session, concept_id: str, key: str) -> bool:
    """Whether a word is no more than the English name of what a remedy is made from."""
    concept = session.vocabulary[concept_id]
    latin = {word for label in (concept.pref_label, *concept.alt_labels) for word in label_key(label).split()}
    return key not in latin and any(label_key(label) == key for label in concept.fact("common"))


def _remedy_meant(session: Session, key: str, ids: tuple[str, ...], start: int, end: int, recent: list[str]) -> bool:
    if " " in key and len(key) > 6:
        return True
    frequency = max((zipf_frequency(word, "en") for word in key.split()), default=0.0)
    if " " in key:
        frequency = min(zipf_frequency(word, "en") for word in key.split())
    if len(key) <= 2:
        return False
    inside = _capitalised(session, start) and start != session.sentence_at(start).start
    if " " not in key and key in _SYMPTOM_WORDS and not inside:
        return False  # the rectum is a part of the body before it is a nosode
    if (
        " " not in key
        and not inside
        and not any(i in recent for i in ids)
        and all(_only_common(session, i, key) for i in ids)
    ):
        return False  # curds, salt: the English name of a source counts once its remedy has been named
    if frequency < ORDINARY_ZIPF and (len(key) > 4 or _capitalised(session, start)):
        return True
    sentence = session.sentence_at(start)
    first = start == sentence.start
    after = session.units[end].low if end < len(session.units) else ""
    before = session.units[start - 1].low if start > sentence.start else ""
    latin = any(key == label_key(session.vocabulary[i].pref_label).split()[0] for i in ids)
    cue = (
        before in {"remedy", "give", "gave", "given", "prescribed", "repeat", "repeated", "of", "like", "drug"}
        or after
        in {"patient", "patients", "picture", "case", "child", "baby", "type", "30", "200", "1m", "6", "12", "lm"}
        or after[:1].isdigit()
        or _potency_said(session, end)
    )
    capital_inside = _capitalised(session, start) and not first
    known = any(i in recent for i in ids)
    if frequency < 4.3:
        return capital_inside or (latin and (known or cue or first)) or known
    if latin and known and _capitalised(session, start):
        return True
    if not session.cased:
        return latin and (cue or known)  # no capital tells China from a country
    return capital_inside and (cue or known or latin)


def _potency_said(session: Session, end: int) -> bool:
    """Whether a potency in words comes next: thirty, two hundred, one M."""
    after, then = (session.units[at].low if at < len(session.units) else "" for at in (end, end + 1))
    return after == "thirty" or (after in _STEPS and then in _SCALES)


_STEPS = frozenset("one two three six ten twelve thirty fifty".split())
_SCALES = frozenset("hundred thousand m c ch x k lm".split())


def _rubric_meant(key: str) -> bool:
    return len(key) > 2 and (" " in key or zipf_frequency(key, "en") < 5.6)


def _describes_another(session: Session, key: str, start: int) -> bool:
    """Whether an ordinary describing word belongs to the thing named after it: the ``open`` of open air is no mood."""
    if " " in key:
        return False
    token = session.parse.head_token(start)
    return token.dep_ in ("amod", "compound") and token.head.tag_.startswith("NN") and token.head.lower_ not in _HOLDERS


#: Nouns whose describing word says how the person is.
_HOLDERS = frozenset(
    "person patient patients people child children man woman lady boy girl baby infant constitution type remedy temperament nature mood".split()
)


def _best_rubric(session: Session, ids: list[str], start: int, *, ordinary: bool = False) -> str | None:
    """A word such as ``burning`` stands in many chapters: take the one the sentence speaks of.

    An ``ordinary`` word by itself names a rubric of one part only where that part is spoken of: ``bad`` is no sleep.
    """
    everywhere = ("mind", "generalities", "generals")
    if len(ids) == 1 and (not ordinary or ids[0].startswith("chapter/") or ids[0].split("/")[1] in everywhere):
        return ids[0]
    sentence = session.sentence_at(start)
    spoken = {BODY_CHAPTERS.get(session.units[i].low) for i in range(sentence.start, sentence.end)}
    for concept_id in ids:
        if concept_id.startswith("chapter/") or concept_id.split("/")[1] in spoken:
            return concept_id
    for chapter in everywhere:
        for concept_id in ids:
            if concept_id.split("/")[1] == chapter:
                return concept_id
    return None  # heat of the back, of the face …: without the part it says nothing


def _lay_hits(session: Session, index: LabelIndex, hits: list[Hit]) -> list[Hit]:
    taken = {(hit.concept_id, session.sentence_at(hit.start).index) for hit in hits}
    found: list[Hit] = []
    for sentence in session.sentences:
        for concept_id, start, end in _lay_in(session, index, sentence):
            if (concept_id, sentence.index) not in taken:
                taken.add((concept_id, sentence.index))
                found.append(Hit(concept_id, start, end, exact=False))
    return found


_WORSE = frozenset(stem(word) for word in ("worse", "worsens", "aggravates", "aggravated", "aggravation", "agg"))
_BETTER = frozenset(
    stem(word) for word in ("better", "ameliorates", "ameliorated", "amelioration", "amel", "relieved", "relieves")
)


def _other_way(session: Session, start: int, end: int, wanted: frozenset[str]) -> bool:
    """Whether between the words of a modality the speaker turns to the other one, or to another phrase: in ``worse
    from cold, better from heat`` nobody says that heat makes worse."""
    worse, better = bool(wanted & _WORSE), bool(wanted & _BETTER)
    if not worse and not better:
        return False
    inside = {stem(key) for unit in range(start, end) for key in keys_of(session.units[unit])}
    return (
        (worse and not better and bool(inside & _BETTER))
        or (better and not worse and bool(inside & _WORSE))
        or any(unit.text.endswith((",", ";", ":")) for unit in session.units[start : end - 1])
    )


def _lay_in(session: Session, index: LabelIndex, sentence: Sentence) -> list[tuple[str, int, int]]:
    stems = [(stem(key), position) for position in range(sentence.start, sentence.end)
             for key in keys_of(session.units[position])]  # fmt: skip
    places: dict[str, list[int]] = defaultdict(list)
    for word, position in stems:
        places[word].append(position)
    # Rubrics of a part of the body count only where the part, or its function, is spoken of.
    spoken = {"mind", "generalities", "generals", "sleep", "skin"} | {
        BODY_CHAPTERS[low]
        for unit in session.units[sentence.start : sentence.end]
        if (low := unit.low) in BODY_CHAPTERS
    }
    found: list[tuple[int, str, int, int]] = []
    for word, positions in places.items():
        for wanted, concept_id in index.lay.get(word, ()):
            if not wanted <= places.keys() or concept_id.split("/")[1] not in spoken:
                continue
            for position in positions:
                near = [min(places[w], key=lambda p: abs(p - position)) for w in wanted]
                start, end = min(near), max(near) + 1
                if end - start <= _LAY_WINDOW and not _other_way(session, start, end, wanted):
                    found.append((-len(wanted), concept_id, start, end))
                    break
    # A longer wording inside which a shorter one lies says more; keep the longer.
    found.sort()
    kept: list[tuple[str, int, int]] = []
    for _, concept_id, start, end in found:
        if not any(s <= start and end <= e for _, s, e in kept):
            kept.append((concept_id, start, end))
    return kept
