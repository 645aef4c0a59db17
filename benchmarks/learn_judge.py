"""Learn the judge: writes notesmith/correct/data/judge.json.gz.

    NOTESMITH_LAB=FOLDER python benchmarks/learn_judge.py [--no-sound]

Lectures as the real model heard them (benchmarks/data/train; neither dev nor sealed), with and without the recogniser's
word probabilities, beside ordinary English. The field's weights are fitted afresh without each fold of scripts, so that
its shares are those of lectures it has not seen, and as what labels are heard is told without the fold's mishearings
(learn_garbles.py, which this runs first); the trees are LightGBM's, with monotone constraints where more of an
evidence can only speak for (or against) a term, and their log-odds are calibrated on folds as well.

With their recordings at hand (benchmarks/lab/make_audio.py train) the phones heard in them, by an ear that was never
taught their voices (benchmarks/learn_ear.py), are weighed by a second set of trees, and the sound is asked which wording
fits better where that leaves doubt, which a third set weighs. Both learn from the lectures as Whisper base heard them and as
the packaged model did, whose decoder is taught the terms: it mishears half as many, so the odds are others. Printed: recall and precision by threshold on the folds
left out; lectures of other hands (``HANDS``) are a fold each. The language model that reads along (``reader-a.npz`` and ``reader-b.npz`` of learn_terms.py in NOTESMITH_LAB) is the half
that was not taught the lecture. What ships was learnt with ``--no-wordings`` (some 30 min of a core): asking the sound about the
doubtful places of 125 transcripts takes an hour more, and the third set of trees is of the time before.
"""

from __future__ import annotations

import argparse
import gzip
import os
import sys
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from unittest.mock import patch

import lightgbm
import msgspec
import numpy as np
import platformdirs
from numpy.typing import NDArray
from scipy.optimize import minimize

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE / "lab")]

import learn_garbles  # noqa: E402
import learn_weights as weights_lab  # noqa: E402
from learn_weights import Labelled, decoded_lectures, tuning_texts  # noqa: E402
from voices import HALVES  # noqa: E402

import notesmith.correct.judge as judge  # noqa: E402
import notesmith.correct.reader as reading  # noqa: E402
from notesmith.correct import restored_text, rows_heard  # noqa: E402
from notesmith.correct.decide import RELATIVE, Weighed, chosen_of, decisions_of, field_of, reads_of  # noqa: E402
from notesmith.correct.ear import EAR_COLUMNS, PhonesHeard, listen_for_phones  # noqa: E402
from notesmith.correct.evidence import Session, Support  # noqa: E402
from notesmith.correct.forms import FormTable, form_table  # noqa: E402
from notesmith.correct.garble import Garbles  # noqa: E402
from notesmith.correct.gather import gather  # noqa: E402
from notesmith.correct.judge import COLUMNS, TEXT_COLUMNS, Trees, Verdicts, load_judge, rows_of  # noqa: E402
from notesmith.correct.listening import DOUBTFUL, SOUND_COLUMNS, Heard, listen, sound_rows  # noqa: E402
from notesmith.correct.weigh import Weights, load_weights  # noqa: E402
from notesmith.sounds import load_costs  # noqa: E402
from notesmith.sounds.ear import Ear  # noqa: E402
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange  # noqa: E402
from notesmith.vocabulary import load_vocabulary  # noqa: E402

TARGET = Path(judge.__file__).parent / "data" / "judge.json.gz"
FOLDS = 9
#: Lectures of other hands, which are a fold each: what is said of them is said of strangers.
HANDS = {"u": 4, "w": 5, "k": 6, "x": 7, "p": 8}
Floats = NDArray[np.float64]
FALLS = ("distance", "relative distance", "everyday distance", "everyday relative", "rival share", "odd word left over",
         "ear left over", "ear distance", "heard score", "heard a phone")  # fmt: skip
RISES = ("ear score", "ear a phone", "ear lead", "heard left over", "heard distance", "ear over rivals", "share", "text", "sound margin", "sound over rivals", "margin", "margin over rivals", "same term share", "prior", "session", "company before", "company after", "spelling",
         "support of term", "same garble share", "cues", "read inside", "read concept", "read concept lead", "read concept below", "read scheme")  # fmt: skip
SETTINGS = {
    "objective": "binary", "learning_rate": 0.02, "num_leaves": 31, "min_data_in_leaf": 18, "feature_fraction": 0.3,
    "bagging_fraction": 0.8, "bagging_freq": 1, "lambda_l2": 6.0, "verbose": -1, "seed": 7, "num_threads": 1,
    "deterministic": True, "monotone_constraints_method": "intermediate",
}  # fmt: skip
TREES, EAR_TREES, SOUND_TREES = 600, 320, 180
LAB = Path(os.environ.get("NOTESMITH_LAB") or platformdirs.user_cache_path("notesmith") / "lab")


def without_probabilities(lecture: Labelled) -> Labelled:
    """The same lecture as an imported transcript has it: no word probabilities."""
    segments = tuple(Segment(s.id, tuple(Word(w.time, w.text) for w in s.words)) for s in lecture.transcript.segments)
    transcript = msgspec.structs.replace(lecture.transcript, segments=segments)
    return lecture._replace(name=f"{lecture.name}/plain", transcript=transcript)


def as_taught(lecture: Labelled) -> Labelled:
    """A lecture as the packaged model heard it, told apart by its name."""
    return lecture._replace(name=f"{lecture.name}/taught")


def recording_of(lecture: Labelled) -> str:
    return lecture.name.split("/")[0]


def fold_of(name: str) -> int:
    """By script, so that no script is on both sides; those of another hand together."""
    script = name.split(".")[0].split("/")[0]
    return hand_of(script) or sum(map(ord, script)) % (FOLDS - len(HANDS))


def hand_of(name: str) -> int | None:
    """The fold of another hand's lecture."""
    return HANDS.get(name[0]) if name[1:3].isdigit() else None


class Asked(msgspec.Struct):
    """A doubtful place of a recording: the judge's row with the sound's answer, and whether the term is right."""

    key: str
    heard: Heard
    right: bool


class Judged(msgspec.Struct):
    lecture: Labelled
    session: Session
    shares: list[float]
    chosen: list[int]
    rows: Floats
    right: NDArray[np.bool_]
    support: Support
    reads: Floats


@contextmanager
def read_by_stranger(name: str) -> Iterator[None]:
    """Within it the half of the language model reads that was not taught this lecture (learn_terms.py)."""
    half = "b" if hand_of(name) is None else "a"
    with patch.object(reading, "load_reader", return_value=reading.load_reader(LAB / f"reader-{half}.npz")):
        reading.reading_of.cache_clear()
        yield
    reading.reading_of.cache_clear()


def _in_doubt(lecture: Labelled, session: Session, table: FormTable, number: int) -> bool:
    """The right term, but over a part of its words only, or over more than may be its own: neither right nor wrong."""
    one = session.candidates[number]
    concept_id = table.forms[one.form].concept_id
    if any(one.words.overlaps(r) for r, _ in lecture.unsure):
        said = [i for r, i in lecture.unsure if one.words.overlaps(_widened(r))]
        return concept_id in said and not _where_unsure(lecture, one.words, concept_id)
    return any(
        one.words.overlaps(WordRange(*r)) and not weights_lab.counts_as(session, table, number, WordRange(*r), i)
        for r, i in lecture.terms.items()
        if i == concept_id
    )


def _widened(r: WordRange) -> WordRange:
    return WordRange(max(0, r.start - 1), r.end + 1)


def _where_unsure(lecture: Labelled, words: WordRange, concept_id: str) -> bool:
    """Whether a term whose bounds are unsure was said there, to a word: lists of terms are mostly so."""
    return any(
        i == concept_id and words.overlaps(r) and (wide := _widened(r)).start <= words.start and words.end <= wide.end
        for r, i in lecture.unsure
    )


def judged(lecture: Labelled, table: FormTable, weights: Weights, garbles: Garbles) -> Judged:
    with read_by_stranger(lecture.name), patch.object(judge, "load_garbles", return_value=garbles):
        session = gather(lecture.transcript, table)
        shares, support, features = field_of(session, table, weights)
        chosen = [n for n in chosen_of(session, shares) if not _in_doubt(lecture, session, table, n)]
        rows = rows_of(session, table, shares, features, chosen)
        reads = reads_of(session, table, chosen)
    return Judged(lecture, session, shares, chosen, rows, truth_of(lecture, session, table, chosen), support, reads)


def truth_of(lecture: Labelled, session: Session, table: FormTable, chosen: Sequence[int]) -> NDArray[np.bool_]:
    """Whether each hypothesis is what was said."""
    return np.array(
        [
            any(weights_lab.counts_as(session, table, n, WordRange(*r), i) for r, i in lecture.terms.items())
            or _where_unsure(lecture, session.candidates[n].words, table.forms[session.candidates[n].form].concept_id)
            or weights_lab.put_back(lecture, session, table, n)
            for n in chosen
        ],
        np.bool_,
    )


def grown(rows: Floats, right: NDArray[np.bool_], columns: Sequence[str], trees: int = TREES) -> Any:
    constraints = [1 if c in RISES else -1 if c in FALLS else 0 for c in columns]
    data = lightgbm.Dataset(rows, right.astype(int))
    return lightgbm.train({**SETTINGS, "monotone_constraints": constraints}, data, num_boost_round=trees)


def packed(model: Any, columns: Sequence[str], scale: float = 1.0, offset: float = 0.0) -> Trees:
    features, thresholds, lefts, rights, leaves = [], [], [], [], []
    for tree in model.dump_model()["tree_info"]:
        f: list[int] = []
        t: list[float] = []
        left: list[int] = []
        right: list[int] = []
        values: list[float] = []

        def walk(node: dict[str, Any]) -> int:
            if "leaf_value" in node:
                values.append(round(float(node["leaf_value"]), 6))  # noqa: B023
                return -len(values)  # noqa: B023
            at = len(f)  # noqa: B023
            f.append(int(node["split_feature"]))  # noqa: B023
            t.append(float(node["threshold"]))  # noqa: B023
            left.append(0)  # noqa: B023
            right.append(0)  # noqa: B023
            left[at] = walk(node["left_child"])  # noqa: B023
            right[at] = walk(node["right_child"])  # noqa: B023
            return at

        walk(tree["tree_structure"])
        features.append(tuple(f))
        thresholds.append(tuple(t))
        lefts.append(tuple(left))
        rights.append(tuple(right))
        leaves.append(tuple(values))
    return Trees(tuple(columns), tuple(features), tuple(thresholds), tuple(lefts), tuple(rights), tuple(leaves),
                 round(scale, 4), round(offset, 4))  # fmt: skip


def calibration(log_odds: Floats, right: NDArray[np.bool_]) -> tuple[float, float]:
    """Platt's scale and offset."""

    def loss(v: Floats) -> float:
        z = v[0] * log_odds + v[1]
        return float(np.logaddexp(0, np.where(right, -z, z)).sum()) + 0.5 * (v[0] - 1) ** 2

    found = minimize(loss, np.array([1.0, 0.0]), method="Nelder-Mead").x
    return float(found[0]), float(found[1])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--same-weights", action="store_true", help="one set of field weights for all folds (quick look)"
    )
    parser.add_argument("--show", action="store_true", help="print what the folds were sure of and had wrong")
    parser.add_argument(
        "--keep-text", action="store_true", help="keep the field and the trees that weigh the text as they are"
    )
    parser.add_argument("--no-sound", action="store_true", help="keep the trees that weigh the sound as they are")
    parser.add_argument("--no-wordings", action="store_true", help="keep the trees that weigh the wordings")
    given = parser.parse_args()
    vocabulary = load_vocabulary()
    table = form_table(vocabulary, load_costs())
    heard = list(decoded_lectures("train", vocabulary))
    lectures = [*heard, *(without_probabilities(one) for one in heard), *tuning_texts()]
    print(f"{len(heard)} recordings, {sum(len(o.terms) for o in heard)} misheard terms")
    as_shipped = given.same_weights or given.keep_text
    texts = [] if as_shipped else weights_lab.training_lectures(vocabulary, table)
    prepared = [weights_lab.prepare(one, table) for one in texts]
    if texts:  # those that ship are fitted to all of them
        learnt, true = weights_lab.learn(prepared, table)
        note = f"{true} misheard terms in {len(texts)} lectures; benchmarks/learn_judge.py"
        weights_lab.save(weights_lab.as_weights(learnt, note))
        print(note, flush=True)
    packaged = [] if given.no_sound else [as_taught(one) for one in decoded_lectures("train", vocabulary, "adapted")]
    parts = learn_garbles.learn(fold_of)
    learn_garbles.save(parts)
    garbles = {fold: learn_garbles.without(parts, fold) for fold in range(FOLDS)}
    folds: list[list[Judged]] = []
    taught_folds: list[list[Judged]] = []
    for fold in range(FOLDS):
        inside = [i for i, one in enumerate(lectures) if fold_of(one.name) == fold]
        if as_shipped:
            weights = load_weights()
        else:
            kept = [one for one in prepared if fold_of(one.lecture.name) != fold]
            weights = weights_lab.as_weights(weights_lab.learn(kept, table)[0], "a fold")
            print(f"fold {fold}: field fitted on {len(kept)} lectures", flush=True)
        folds.append([judged(lectures[i], table, weights, garbles[fold]) for i in inside])
        taught_folds.append(
            [judged(one, table, weights, garbles[fold]) for one in packaged if fold_of(one.name) == fold]
        )
    log_odds, right, owner = [], [], []
    taught_odds: list[tuple[Judged, Floats]] = []
    for fold in range(FOLDS):
        rest = [j for other in range(FOLDS) if other != fold for j in folds[other]]
        model = grown(
            np.concatenate([_of_text(j) for j in rest]), np.concatenate([j.right for j in rest]), TEXT_COLUMNS
        )
        for j in folds[fold]:
            if len(j.rows):
                log_odds.append(model.predict(_of_text(j), raw_score=True))
                right.append(j.right)
                owner.append(j)
        taught_odds += [(j, model.predict(_of_text(j), raw_score=True)) for j in taught_folds[fold] if len(j.rows)]
    whole, truth = np.concatenate(log_odds), np.concatenate(right)
    scale, offset = calibration(whole, truth)
    report(owner, [scale * z + offset for z in log_odds])
    if given.show:
        show_wrong(owner, [scale * z + offset for z in log_odds], table)
    every = [j for own in folds for j in own]
    rows, labels = np.concatenate([_of_text(j) for j in every]), np.concatenate([j.right for j in every])
    final = grown(rows, labels, TEXT_COLUMNS)
    gain = sorted(zip(TEXT_COLUMNS, final.feature_importance("gain"), strict=True), key=lambda x: -x[1])
    print("most telling: " + ", ".join(f"{name} {value:.0f}" for name, value in gain[:14]))
    note = (
        f"{int(labels.sum())} right of {len(labels)} hypotheses in {len(lectures)} lectures; benchmarks/learn_judge.py"
    )
    by_text = packed(final, TEXT_COLUMNS, scale, offset)
    assert np.allclose(
        by_text.log_odds(rows[:500]), scale * final.predict(rows[:500], raw_score=True) + offset, atol=1e-3
    )
    shipped = load_judge()
    by_ear, by_sound = shipped.by_ear, shipped.by_sound
    if given.keep_text:
        by_text = shipped.by_text
    if not given.no_sound:
        with_sound = [
            (one, scale * z + offset)
            for one, z in (*zip(owner, log_odds, strict=True), *taught_odds)
            if not one.lecture.name.endswith("/plain") and (LAB / "train" / f"{recording_of(one.lecture)}.ogg").exists()
        ]
        shipped = msgspec.structs.replace(shipped, by_text=by_text)
        save(msgspec.structs.replace(shipped, learnt_from=note))  # of the text; what comes takes longer
        by_ear, wider, ear_odds = learn_ear(with_sound, table, shipped, garbles)
        save(Verdicts(by_text, by_sound, by_ear, note))  # what comes takes longest
        by_sound = by_sound if given.no_wordings else learn_sound(wider, ear_odds, table)
    save(Verdicts(by_text, by_sound, by_ear, note))
    print(f"{note}; {TARGET.stat().st_size} bytes")


def _of_text(one: Judged) -> Floats:
    """The rows by which the text is judged (TEXT_COLUMNS)."""
    return np.hstack([one.rows, one.reads])


def save(verdicts: Verdicts) -> None:
    TARGET.write_bytes(gzip.compress(msgspec.json.encode(verdicts), mtime=0))


class Recorded:
    """Hears the phones of a train recording by the ear that was never taught its voice; encodings are kept."""

    def __init__(self, name: str, model: Any) -> None:
        from notesmith.transcribe import audio_witness

        taught = "a" if name.rsplit(".", 1)[1] in HALVES["b"] else "b"
        self.ear = Ear(dict(np.load(LAB / f"ear-{taught}.npz")))
        self.witness = audio_witness(LAB / "train" / f"{name}.ogg", model)
        self.place = LAB / "passages" / f"{name}.npz"
        self.encoded = dict(np.load(self.place)) if self.place.exists() else {}

    def phones(self, time: TimeSpan) -> tuple[NDArray[np.float32], int] | None:
        known = next((k for k in self.encoded if k.startswith(f"{time.start_ms}-{time.end_ms}-")), None)
        if known is None:
            assert self.witness is not None
            if (made := self.witness.encoded(time)) is None:
                return None
            known = f"{time.start_ms}-{time.end_ms}-{made[1]}"
            self.encoded[known] = made[0].astype(np.float16)
        return self.ear.hear(self.encoded[known].astype(np.float32)), int(known.rsplit("-", 1)[1])

    def keep(self) -> None:
        self.place.parent.mkdir(parents=True, exist_ok=True)
        np.savez(self.place, **self.encoded)


def heard_phones(name: str, transcript: Transcript, model: Any) -> PhonesHeard:
    recorded = Recorded(name, model)
    hearing = listen_for_phones(transcript, recorded)
    recorded.keep()
    return PhonesHeard(transcript, hearing)


def learn_ear(
    with_sound: Sequence[tuple[Judged, Floats]], table: FormTable, shipped: Verdicts, garbles: dict[int, Garbles]
) -> tuple[Trees, list[Judged], list[Floats]]:
    """The trees that weigh the phones heard; each lecture with its wider rows, and its odds with its fold left out."""
    from notesmith.transcribe import load_model

    model = load_model()
    wider = []
    for one, z in with_sound:
        phones = heard_phones(recording_of(one.lecture), one.lecture.transcript, model)
        with patch.object(judge, "load_garbles", return_value=garbles[fold_of(one.lecture.name)]):
            wider.append(_wider(one, z, table, shipped, phones))
    fold = [fold_of(one.lecture.name) for one in wider]
    models = {
        f: grown(
            np.concatenate([j.rows for j, g in zip(wider, fold, strict=True) if g != f]),
            np.concatenate([j.right for j, g in zip(wider, fold, strict=True) if g != f]),
            EAR_COLUMNS, EAR_TREES,
        )
        for f in sorted(set(fold))
    }  # fmt: skip
    out = [models[f].predict(one.rows, raw_score=True) for one, f in zip(wider, fold, strict=True)]
    scale, offset = calibration(np.concatenate(out), np.concatenate([j.right for j in wider]))
    out = [scale * z + offset for z in out]
    print(
        f"\nwith the phones heard: {sum(len(j.rows) for j in wider)} hypotheses, {sum(int(j.right.sum()) for j in wider)} right"
    )
    report(wider, out)
    whole = grown(
        np.concatenate([j.rows for j in wider]), np.concatenate([j.right for j in wider]), EAR_COLUMNS, EAR_TREES
    )
    gain = sorted(zip(EAR_COLUMNS, whole.feature_importance("gain"), strict=True), key=lambda x: -x[1])
    print("most telling: " + ", ".join(f"{name} {value:.0f}" for name, value in gain[:14]))
    return packed(whole, EAR_COLUMNS, scale, offset), wider, out


def _wider(one: Judged, log_odds: Floats, table: FormTable, shipped: Verdicts, heard: PhonesHeard) -> Judged:
    """The lecture with the candidates the phones bring up; those known before keep the rows and odds of the fold they were left out of."""
    before = Weighed(one.session, tuple(one.chosen), one.rows, log_odds, one.support, one.rows[:, RELATIVE], one.reads)
    with read_by_stranger(one.lecture.name):
        weighed, rows = rows_heard(before, table, load_weights(), shipped, heard)
    left_out = dict(zip(one.chosen, np.hstack([one.rows, log_odds[:, None]]), strict=True))
    kept = [k for k, n in enumerate(weighed.chosen) if not _in_doubt(one.lecture, weighed.session, table, n)]
    rows = rows[kept]
    chosen = [weighed.chosen[k] for k in kept]
    for k, number in enumerate(chosen):
        if number in left_out:
            rows[k, : len(COLUMNS) + 1] = left_out[number]
    right = truth_of(one.lecture, weighed.session, table, chosen)
    return Judged(one.lecture, weighed.session, one.shares, chosen, rows, right, weighed.support, weighed.reads[kept])


def learn_sound(owners: Sequence[Judged], log_odds: Sequence[Floats], table: FormTable) -> Trees:
    """The trees that weigh how well each wording fits, asked about what the second hearing left in doubt."""
    from notesmith.transcribe import WhisperSpeech, find_model

    remembered = LAB / "answers.json"
    answers = msgspec.json.decode(remembered.read_bytes()) if remembered.exists() else {}
    model = WhisperSpeech(find_model())
    asked: list[tuple[int, Asked]] = []
    for one, z in zip(owners, log_odds, strict=True):
        found = asked_of(one, z, table, answers, model)
        asked += [(fold_of(one.lecture.name), a) for a in found]
        remembered.write_bytes(msgspec.json.encode(answers))
    rows = sound_rows([a.heard for _, a in asked])
    right = np.array([a.right for _, a in asked])
    fold = np.array([f for f, _ in asked])
    out = np.zeros(len(asked))
    for f in range(FOLDS):
        if (fold == f).any():
            model_of_rest = grown(rows[fold != f], right[fold != f], SOUND_COLUMNS, SOUND_TREES)
            out[fold == f] = model_of_rest.predict(rows[fold == f], raw_score=True)
    sound_scale, sound_offset = calibration(out, right)
    text, sound = rows[:, 0], sound_scale * out + sound_offset
    print(f"\nthe sound, asked about {len(asked)} doubtful places of which {right.mean():.2f} right, folds left out:")
    for name, score in (("text alone", text), ("with sound", sound)):
        order = np.argsort(-score)
        hits = np.cumsum(right[order])
        reach = [int(hits[np.flatnonzero(hits / np.arange(1, len(hits) + 1) >= p)[-1]]) if
                 (hits / np.arange(1, len(hits) + 1) >= p).any() else 0 for p in (0.98, 0.95, 0.9)]  # fmt: skip
        print(f"  {name}: right at precision 0.98 / 0.95 / 0.90: {reach} of {int(right.sum())}")
    return packed(grown(rows, right, SOUND_COLUMNS, SOUND_TREES), SOUND_COLUMNS, sound_scale, sound_offset)


def asked_of(
    one: Judged, log_odds: Floats, table: FormTable, answers: dict[str, list[float]], model: Any
) -> list[Asked]:
    """Ask the sound about every doubtful decision of a recording; answers are remembered between runs."""
    from notesmith.transcribe import audio_witness

    transcript = one.lecture.transcript
    witness = audio_witness(LAB / "train" / f"{recording_of(one.lecture)}.ogg", model)
    assert witness is not None
    found = []
    fits = one.rows[:, EAR_COLUMNS.index("ear distance")]
    decided = decisions_of(one.session, table, one.chosen, log_odds, one.rows, one.support, fits)
    for number, decision in decided.items():
        if not DOUBTFUL[0] <= decision.probability <= DOUBTFUL[1]:
            continue
        restored = restored_text(transcript, decision.candidate, table, table.vocabulary)
        rivals = [table.forms[c.form].label for c, _ in decision.rivals]
        key = "/".join(
            (one.lecture.name, f"{decision.candidate.words.start}-{decision.candidate.words.end}", restored, *rivals)
        )
        if key not in answers:
            heard = listen(transcript, decision, restored, rivals, witness)
            answers[key] = [x or 0.0 for x in msgspec.structs.astuple(heard)[1:]]
        right = bool(one.right[one.chosen.index(number)])
        found.append(Asked(key, Heard(decision, *answers[key]), right))
    return found


def show_wrong(owners: Sequence[Judged], log_odds: Sequence[Floats], table: FormTable) -> None:
    for one, z in zip(owners, log_odds, strict=True):
        for n in np.flatnonzero((z > 0.8) & ~one.right):
            candidate = one.session.candidates[one.chosen[n]]
            text, words = one.lecture.transcript, candidate.words
            around = text.text(WordRange(max(0, words.start - 4), min(len(text.words), words.end + 4)))
            said = [i for r, i in one.lecture.terms.items() if WordRange(*r).overlaps(words)]
            print(f"  {1 / (1 + np.exp(-z[n])):.2f} {text.text(words)!r} > {table.forms[candidate.form].label}"
                  f" in {around!r}; said {said}")  # fmt: skip


def report(owners: Sequence[Judged], log_odds: Sequence[Floats]) -> None:
    every = [(j, z) for j, z in zip(owners, log_odds, strict=True) if not j.lecture.name.startswith("tuning")]
    for whose, ours in (("", every), (", other hands alone", [(j, z) for j, z in every if hand_of(j.lecture.name)])):
        _report(f"Whisper base{whose}", [(j, z) for j, z in ours if "/" not in j.lecture.name])
        _report(f"without probabilities{whose}", [(j, z) for j, z in ours if j.lecture.name.endswith("/plain")])
        _report(f"the packaged model{whose}", [(j, z) for j, z in ours if j.lecture.name.endswith("/taught")])


def _report(model: str, judged_lectures: Sequence[tuple[Judged, Floats]]) -> None:
    if not judged_lectures:
        return
    print(f"\nfolds left out, heard by {model}: threshold, recall of what it misheard, precision of what is applied")
    for threshold in (0.3, 0.5, 0.6, 0.7, 0.8, 0.85, 0.9, 0.95):
        terms = applied = good = 0
        for j, z in judged_lectures:
            terms += len(j.lecture.terms) + len(j.lecture.unsure)
            taken: set[int] = set()
            p = 1 / (1 + np.exp(-z))
            for n in np.argsort(-p):
                words = j.session.candidates[j.chosen[n]].words
                if p[n] < threshold:
                    break
                if not taken & set(range(words.start, words.end)):
                    taken |= set(range(words.start, words.end))
                    applied += 1
                    good += bool(j.right[n])
        print(f"  {threshold:.2f}  {good / max(1, terms):.3f}  {good / max(1, applied):.3f}  ({applied} of {terms})")


if __name__ == "__main__":
    main()
