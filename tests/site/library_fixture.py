"""A small invented course built by hand, and a generator of large ones; no model, no extraction."""

from __future__ import annotations

import random
from collections.abc import Sequence
from pathlib import Path

import msgspec

from notesmith.annotations import (
    CarryOver,
    CaseVignette,
    Caution,
    ComparedFact,
    Comparison,
    Correction,
    Corrections,
    Extraction,
    Finding,
    Mention,
    PersonMention,
    Prescription,
    Question,
    SessionPart,
    TeachingPoint,
)
from notesmith.lecture import CourseSettings, Lecture, LectureContent
from notesmith.library import MemoryLibrary
from notesmith.transcript import Segment, TimeSpan, Transcript, Word, WordRange
from notesmith.vocabulary import Vocabulary

THUJA, KALI_BI, SULPHUR = "remedy/thuja-occidentalis", "remedy/kali-bichromicum", "remedy/sulphur"
LYC, PULS = "remedy/lycopodium-clavatum", "remedy/pulsatilla-nigricans"
WORD_MS = 400


class SessionBuilder:
    """Say sentences one after the other and say of each what it is."""

    def __init__(self, lecture_id: str, title: str, date: str, *, media: str | None = None, series: str | None = None,
                 part: int | None = None) -> None:  # fmt: skip
        self.lecture = Lecture(lecture_id, title, "0" * 40 + f"{abs(hash_of(lecture_id)):024x}", date=date,
                               media=media, series=series, part=part)  # fmt: skip
        self.segments: list[Segment] = []
        self.at = 0
        self.words = 0
        self.fields: dict[str, list[object]] = {}
        self.corrections: list[Correction] = []
        self.numbers = 0

    def say(self, text: str) -> tuple[WordRange, TimeSpan]:
        words = []
        for token in text.split():
            words.append(Word(TimeSpan(self.at, self.at + WORD_MS - 50), token, 0.9))
            self.at += WORD_MS
        self.segments.append(Segment(len(self.segments), tuple(words)))
        span = WordRange(self.words, self.words + len(words))
        self.words += len(words)
        return span, TimeSpan(words[0].time.start_ms, words[-1].time.end_ms)

    def add(self, kind: str, value: object) -> None:
        self.fields.setdefault(kind, []).append(value)

    def key(self) -> str:
        self.numbers += 1
        return f"k{self.numbers:04d}"

    def part(self, kind: str, words: WordRange, time: TimeSpan, remedy: str | None = None) -> None:
        self.add("parts", SessionPart(kind, words, time, remedy))  # type: ignore[arg-type]

    def point(self, kind: str, text: str, remedy: str | None, *, rubrics: Sequence[str] = (), weight: float = 1.0,
              spoken: str | None = None) -> tuple[WordRange, TimeSpan]:  # fmt: skip
        words, time = self.say(spoken or text)
        self.add("points", TeachingPoint(self.key(), kind, text, text, words, time, remedy, weight,  # type: ignore[arg-type]
                                         rubric_ids=tuple(rubrics)))  # fmt: skip
        if remedy:
            self.add("mentions", Mention(remedy, WordRange(words.start, words.start + 1), time, "it", taught=True))
        for rubric in rubrics:
            self.add("mentions", Mention(rubric, words, time, text, taught=True))
        return words, time

    def content(self) -> LectureContent:
        transcript = Transcript(self.lecture.recording_sha256, "en", "by hand", tuple(self.segments),
                                duration_ms=self.at)  # fmt: skip
        tuples = {name: tuple(values) for name, values in self.fields.items()}
        remedies = tuple(dict.fromkeys(p.remedy_id for p in tuples.get("points", ()) if p.remedy_id))  # type: ignore[attr-defined]
        extraction = Extraction(transcript.digest, remedy_ids=remedies, **tuples)  # type: ignore[arg-type]
        return LectureContent(
            self.lecture, transcript, Corrections(transcript.digest, tuple(self.corrections)), extraction
        )


def hash_of(text: str) -> int:
    import hashlib

    return int.from_bytes(hashlib.sha256(text.encode()).digest()[:8], "big")


def kali_session() -> LectureContent:
    s = SessionBuilder("2026-03-02-kali-bichromicum", "Kali bichromicum", "2026-03-02", media="kali.mp3",
                       series="Potash salts", part=1)  # fmt: skip
    w, t = s.say("Good evening and welcome everybody, please close the window.")
    s.part("housekeeping", w, t)
    first = s.point("essence", "Discharges are stringy and can be drawn out in long threads.", KALI_BI, weight=2.5)
    s.point("particulars", "Pains sit in small spots that a fingertip covers.", KALI_BI)
    s.point("modalities", "It is worse in the morning between two and three.", KALI_BI)
    last = s.point("particulars", "Round ulcers with a punched out edge form in the stomach.", KALI_BI,
                   rubrics=["rubric/stomach/ulcers"])  # fmt: skip
    s.part("commentary", WordRange(first[0].start, last[0].end), first[1].cover(last[1]), KALI_BI)
    w, t = s.say("Farrukh asks is thirst for beer a keynote of Kali bi ?")
    s.add("persons", PersonMention("n1", "student", "Farrukh", WordRange(w.start, w.start + 1), t, "a student"))
    aw, at = s.say("Yes the desire for beer stands in the old books.")
    s.add("questions", Question(s.key(), "Farrukh asks is thirst for beer a keynote of Kali bi?", w, t,
                                "Yes the desire for beer stands in the old books.", aw, (KALI_BI,)))  # fmt: skip
    s.part("questions", WordRange(w.start, aw.end), t.cover(at))
    w, t = s.say("Next week I will finish the sinuses and begin Thuja.")
    s.add("carry_overs", CarryOver(s.key(), "promised", "Next week I will finish the sinuses and begin Thuja.", w, t))
    s.add("mentions", Mention(THUJA, WordRange(w.end - 1, w.end), t, "Thuja."))
    s.part("close", w, t)
    return s.content()


def thuja_session() -> LectureContent:
    s = SessionBuilder("2026-03-09-thuja-1", "Thuja occidentalis, part 1", "2026-03-09", media="thuja.mp3",
                       series="Thuja occidentalis", part=1)  # fmt: skip
    w, t = s.say("Last week we did the potash salt and today we study a tree.")
    s.part("recap", w, t)
    first = s.point("mind", "Thuja has a fixed idea that the body is brittle as glass.", THUJA, weight=2.0)
    s.point("particulars", "Warts like figs ooze and bleed easily.", THUJA)
    s.point("modalities", "Worse at night from the heat of the bed and worse in cold damp air.", THUJA)
    last = s.point("generals", "Sweat comes only on uncovered parts and smells sweet like honey.", THUJA)
    s.part("commentary", WordRange(first[0].start, last[0].end), first[1].cover(last[1]), THUJA)
    w, t = s.say("A restored name comes here and it was heard as two yah by the machine.")
    s.corrections.append(Correction(len(s.segments) - 1, 10, 12, "two yah", THUJA, "Thuja", 0.97, (), "applied"))
    s.part("commentary", w, t, THUJA)
    start = s.say("A student of nineteen came with eleven warts on the left hand.")
    warts = WordRange(start[0].start + 7, start[0].start + 8)
    s.add("mentions", Mention("rubric/skin/warts", warts, start[1], "warts"))
    given = s.say("I gave Thuja 200 a single dose and waited four weeks.")
    after = s.say("By the third month nine of eleven warts were gone.")
    whole, when = WordRange(start[0].start, after[0].end), start[1].cover(after[1])
    key = s.key()
    s.add("vignettes", CaseVignette(
        key, "Nineteen-year-old student with warts", whole, when,
        (Finding("age", "nineteen", WordRange(start[0].start + 3, start[0].start + 4), start[1]),
         Finding("presenting complaint", "eleven warts on the left hand", start[0], start[1]),
         Finding("remedy", "Thuja", WordRange(given[0].start + 2, given[0].start + 3), given[1], THUJA),
         Finding("potency", "200", WordRange(given[0].start + 3, given[0].start + 4), given[1]),
         Finding("outcome", "nine of eleven warts were gone", after[0], after[1])),
        remedy_ids=(THUJA,), not_stated=("sex", "investigation")))  # fmt: skip
    s.add("prescriptions", Prescription(THUJA, "200C", "200", "single dose", None, "warts", given[0], given[1], key))
    s.add("mentions", Mention(THUJA, WordRange(given[0].start + 2, given[0].start + 3), given[1], "Thuja", taught=True))
    s.add("cautions", Caution("potency or dose", "A potency is named.", "Doses are for licensed practitioners.",
                              "invented source for tests, 2026", given[0], given[1]))  # fmt: skip
    s.part("case", whole, when, THUJA)
    left = s.say("Sulphur is hot and kicks off the covers.")
    right = s.say("Thuja stays chilly and wants to be wrapped.")
    s.add("comparisons", Comparison(
        s.key(), SULPHUR, THUJA,
        (ComparedFact(SULPHUR, "warmth", "hot and kicks off the covers", left[0], left[1]),
         ComparedFact(THUJA, "warmth", "stays chilly and wants to be wrapped", right[0], right[1])),
        WordRange(left[0].start, right[0].end), left[1].cover(right[1])))  # fmt: skip
    s.add("mentions", Mention(SULPHUR, WordRange(left[0].start, left[0].start + 1), left[1], "Sulphur", taught=True))
    s.part("comparison", WordRange(left[0].start, right[0].end), left[1].cover(right[1]))
    return s.content()


def lycopodium_session() -> LectureContent:
    s = SessionBuilder("2026-03-16-lycopodium", "Lycopodium clavatum", "2026-03-16")
    a = s.point("mind", "Bluster outside and cowardice inside is the core of Lycopodium.", LYC, weight=2.0)
    s.point("particulars", "A few mouthfuls fill him up and he bloats.", LYC)
    s.point("modalities", "The bad hours are four to eight in the evening.", LYC)
    b = s.point("case-taking", "Ask the wife how he behaves at home.", None)
    s.part("commentary", WordRange(a[0].start, b[0].end), a[1].cover(b[1]), LYC)
    w, t = s.say("Why does the right side come first ?")
    s.add("questions", Question(s.key(), "Why does the right side come first?", w, t))
    w2, t2 = s.say("We leave that for another day, Pulsatilla will answer it.")
    s.add("mentions", Mention(PULS, WordRange(w2.end - 4, w2.end - 3), t2, "Pulsatilla"))
    s.part("questions", WordRange(w.start, w2.end), t.cover(t2))
    return s.content()


def hostile_session() -> LectureContent:
    s = SessionBuilder("2026-03-23-hostile", "</title><script>window.hurt=1</script>\u202etxet \x07", "2026-03-23")
    a = s.point("mind", "<img src=x onerror=window.hurt=1> & \"quoted\" 'text' {{ 7*7 }} \u202eflip", SULPHUR)
    b = s.point("generals", '=HYPERLINK("http://x") ' + "w" * 100_000, SULPHUR)
    s.part("commentary", WordRange(a[0].start, b[0].end), a[1].cover(b[1]), SULPHUR)
    w, t = s.say("--> </script><script>window.hurt=1</script> \u2066end")
    s.part("close", w, t)
    return s.content()


SETTINGS = CourseSettings(title="Evening materia medica", lecturer="Dr Mirela Oduya", rights="Invented for tests.")


def small_library(
    vocabulary: Vocabulary, media: dict[str, Path] | None = None, *, hostile: bool = True
) -> MemoryLibrary:
    contents = [kali_session(), thuja_session(), lycopodium_session()]
    if hostile:
        contents.append(hostile_session())
    return MemoryLibrary(SETTINGS, vocabulary, contents, media=media)


# ---------------------------------------------------------------- large courses


class GeneratedLibrary:
    """A course of any size, made on demand from a seed; sentences are drawn from word lists of the vocabulary."""

    def __init__(self, vocabulary: Vocabulary, sessions: int, *, points: int = 30, spoken: int = 60) -> None:
        self.settings = CourseSettings(title="Generated course")
        self.vocabulary = vocabulary
        self.verdicts = ()
        self.points, self.spoken = points, spoken
        self.edited: set[int] = set()
        self.remedies = sorted(c.id for c in vocabulary.in_scheme("remedy"))[::7][:280]
        self.rubrics = sorted(c.id for c in vocabulary.in_scheme("rubric"))[::3]
        words = {w.lower() for c in vocabulary.in_scheme("rubric", "medical") for x in (c.pref_label, *c.alt_labels)
                 for w in x.replace(",", " ").split() if w.isalpha()}  # fmt: skip
        self.wordlist = sorted(words)
        self.weights = [1.0 / (rank + 8) for rank in range(len(self.wordlist))]
        random.Random(5).shuffle(self.wordlist)
        self.sessions = sessions

    def entries(self):  # type: ignore[no-untyped-def]
        from notesmith.library import LibraryEntry

        return [LibraryEntry(self._lecture(n), f"{n}-{n in self.edited}") for n in range(self.sessions)]

    def _lecture(self, number: int) -> Lecture:
        return Lecture(f"session-{number:05d}", f"Session {number}", f"{number:064x}", date="2020-01-01")

    def media_path(self, lecture: Lecture) -> None:
        return None

    def content(self, lecture_id: str) -> LectureContent:
        number = int(lecture_id.rpartition("-")[2])
        rng = random.Random(number)
        remedy = self.remedies[int(len(self.remedies) * rng.random() ** 2)]
        s = SessionBuilder(lecture_id, f"Session {number}", "2020-01-01")
        s.lecture = self._lecture(number)
        for n in range(self.points):
            rubric = rng.choice(self.rubrics)
            text = " ".join(rng.choices(self.wordlist, self.weights, k=8)) + f" {self.vocabulary.label(rubric)}."
            if n == 0 and number in self.edited:
                text = "A corrected sentence " + text
            s.point(rng.choice(["mind", "generals", "modalities", "particulars"]), text, remedy, rubrics=[rubric])
        for _ in range(self.spoken):
            s.say(" ".join(rng.choices(self.wordlist, self.weights, k=14)) + ".")
        s.part("commentary", WordRange(0, s.words), TimeSpan(0, s.at), remedy)
        return s.content()


__all__ = ["GeneratedLibrary", "SessionBuilder", "msgspec", "small_library"]
