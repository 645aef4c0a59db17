"""How much of a person's time the desk takes from a dropped recording to the published session.

A scripted editor works in Chromium by keys alone and takes every decision the desk asks for, knowing what was really
said from the true text beside each sample recording. What is counted is counted (keys, clicks, places listened to);
the seconds follow a stated model, because a script neither thinks nor types as a person does:

- keystroke-level model (Card, Moran and Newell, "The keystroke-level model for user performance time with interactive
  systems", Communications of the ACM 23(7), 1980; its figures from memory): 0.28 s a key (an average typist who is no
  secretary), 1.1 s to point, 0.1 s to press or release a button, 0.4 s to move a hand to the mouse, 1.35 s of mental
  preparation before each decision;
- each place is heard once, at the speed it was spoken, for as long as the desk plays it;
- what has to be read is read at 238 words a minute (Brysbaert, "How many words do we read per minute?", Journal of
  Memory and Language 109, 2019; from memory) while the place is heard: the longer of the two counts;
- the time the page takes to answer is measured and counted (on a busy machine it tells of the machine, so the sum
  without it is printed too); the machine's own work (listening, building) is not.

What is done once a session (drop it, read the checklist, publish) is kept apart from what grows with its length; a
session of 30 minutes is estimated as the first and the second times its length.

Beside it stands the plain way on the same decisions: one page a name, the whole sentence heard on a key, a page
between one kind of decision and the next.
"""

from __future__ import annotations

import argparse
import os
import re
import shutil
import socket
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path
from typing import Any

import msgspec
from rapidfuzz.distance import Levenshtein

from notesmith.course import Course, create_course, open_course
from notesmith.desk.names import NAMES_A_PAGE, names, rows
from notesmith.desk.opening import address_of
from notesmith.desk.potencies import open_potencies
from notesmith.desk.queue import word_queue
from notesmith.desk.suggest import suggest
from notesmith.lecture import CourseSettings
from notesmith.recording import probe
from notesmith.samples import samples_dir
from notesmith.transcript import Transcript, WordRange, sounding
from notesmith.vocabulary import Vocabulary

DESCRIPTION = "keys, clicks and seconds of human work at the desk, from a dropped recording to the published session"

KEY_S, POINT_S, BUTTON_S, HAND_S, DECIDE_S = 0.28, 1.1, 0.1, 0.4, 1.35
READ_WORDS_A_MINUTE = 238
# Take hold of the file, drag it over, let go.
DROP_S = DECIDE_S + HAND_S + 2 * POINT_S + 2 * BUTTON_S
CONTEXT_WORDS = 8  # of the sentence around a doubtful word
PERSONS = frozenset({"tobias", "nandini", "jonas", "meera", "farid"})  # the students of the samples, invented with them
SOUNDS = (".opus", ".mp3", ".m4a", ".ogg", ".wav")
SPOKEN_POTENCIES = {"six": "6C", "thirty": "30C", "two hundred": "200C", "one m": "1M", "lm one": "LM1", "lm": "LM"}
CHROMIUM = "/usr/bin/chromium"
ARGUMENTS = ("--no-sandbox --disable-gpu --disable-quic --no-first-run --disable-background-networking"
             " --disable-component-update --disable-sync --autoplay-policy=no-user-gesture-required").split()  # fmt: skip
PATIENCE_MS = 3_600_000
MOST_ROUNDS = 4


class Work(msgspec.Struct):
    """What one session cost. Times in seconds; ``plain_s`` is the same decisions taken the plain way."""

    session: str
    minutes: float
    keys: int = 0
    clicks: int = 0
    words: int = 0
    names: int = 0
    potencies: int = 0
    corrected: int = 0
    wrong_before: int = 0
    listened_s: float = 0.0
    waited_s: float = 0.0
    machine_s: float = 0.0
    once_s: float = DROP_S
    plain_once_s: float = DROP_S
    human_s: float = 0.0
    plain_s: float = 0.0

    @property
    def for_30_minutes(self) -> float:
        return self.once_s + self.human_s * 30 / self.minutes

    @property
    def plain_for_30_minutes(self) -> float:
        return self.plain_once_s + self.plain_s * 30 / self.minutes

    def once(self, *, read_words: int = 0, plain_keys: int = 0) -> None:
        """A step that is taken once a session, with one key after one decision."""
        self.keys += 1
        cost = DECIDE_S + KEY_S + read_words * 60 / READ_WORDS_A_MINUTE
        self.once_s += cost
        self.plain_once_s += cost + plain_keys * (DECIDE_S + KEY_S)

    def decide(self, *, keys: int, heard_s: float, read_words: int, plain_heard_s: float, plain_keys: int) -> None:
        reading = read_words * 60 / READ_WORDS_A_MINUTE
        self.keys += keys
        self.listened_s += heard_s
        self.human_s += max(heard_s, reading) + DECIDE_S + keys * KEY_S
        self.plain_s += max(plain_heard_s, reading) + DECIDE_S + (1 + plain_keys) * KEY_S


class Truth:
    """What was really said at each heard word, by aligning the transcript with the true text."""

    def __init__(self, transcript: Transcript, text: str, persons: frozenset[str]) -> None:
        self.persons = persons
        said = " ".join(re.sub(r"^\[\d+:\d\d\] \w: ", "", line) for line in text.splitlines())
        self.said = sounding(said).split()
        heard: list[str] = []
        self.word_of: list[int] = []
        for number, word in enumerate(transcript.words):
            for part in sounding(word.text).split():
                heard.append(part)
                self.word_of.append(number)
        self.blocks = Levenshtein.opcodes(heard, self.said)

    def at(self, words: WordRange) -> str:
        """The true words behind some heard ones; of a longer misheard stretch the whole stretch."""
        parts = [i for i, number in enumerate(self.word_of) if words.start <= number < words.end]
        found: list[str] = []
        if not parts:
            return ""
        for block in self.blocks:
            low, high = max(block.src_start, parts[0]), min(block.src_end, parts[-1] + 1)
            if low < high or (block.src_start == block.src_end and parts[0] < block.src_start <= parts[-1]):
                if block.tag == "equal":
                    shift = block.dest_start - block.src_start
                    found += self.said[low + shift : high + shift]
                else:
                    found += self.said[block.dest_start : block.dest_end]
        return " ".join(found)


def holds(said: str, label: str) -> bool:
    return f" {sounding(label)} " in f" {said} "


class Editor:
    """The scripted person. ``page`` is Chromium's; ``work`` the bill."""

    def __init__(self, page: Any, base: str, course: Course, vocabulary: Vocabulary, truth: Truth, work: Work) -> None:
        self.page, self.base, self.course, self.vocabulary = page, base, course, vocabulary
        self.truth, self.work = truth, work
        with course.open_store() as store:
            (self.lecture,) = store.lectures()
            self.transcript = store.transcripts(self.lecture.recording_sha256)[0].transcript

    def press(self, *keys: str) -> None:
        """Keys of which the last one leads to another page."""
        began = time.monotonic()
        for key in keys[:-1]:
            self.page.keyboard.press(key)
        with self.page.expect_navigation(wait_until="domcontentloaded"):
            self.page.keyboard.press(keys[-1])
        waited = time.monotonic() - began
        self.work.waited_s += waited
        self.work.human_s += waited
        self.work.plain_s += waited

    def means(self, said: str, concept_id: str, label: str = "") -> bool:
        """Whether a concept was really said, under this label or another of its own."""
        if label and holds(said, label):
            return True
        words = said.split()
        runs = (" ".join(words[a:b]) for a in range(len(words)) for b in range(a + 1, min(len(words), a + 4) + 1))
        return any(concept_id in {one.id for one in self.vocabulary.find(run)} for run in runs if len(run) > 3)

    def choose_term(self, said: str) -> str | None:
        """The term of the vocabulary that was really said, the longest one; None where none was."""
        words = said.split()
        for size in range(min(5, len(words)), 0, -1):
            for start in range(len(words) - size + 1):
                label = " ".join(words[start : start + size])
                if len(label) > 3 and any(
                    one.scheme not in ("rubric", "medical") for one in self.vocabulary.find(label)
                ):
                    return label
        return None

    def typed(self, label: str, heard: str) -> str | None:
        """The fewest letters after which the wanted term is first in the list; "" where the sound alone finds it."""
        wanted = {one.id for one in self.vocabulary.find(label)}
        for text in ("", *(label[:size] for size in range(2, len(label) + 1))):
            found = suggest(self.vocabulary, text or heard)
            if found and found[0].concept_id in wanted:
                return text
        return None

    def take(self, text: str, scope: str) -> int:
        """Write into the opened field and take the first suggestion; returns the keys."""
        if text:
            self.page.keyboard.type(text)
        self.page.wait_for_function(f"() => document.querySelector('{scope} [data-choices] button') !== null")
        return len(text) + 1

    def settle_words(self) -> None:
        at = int(self.page.locator(".place").inner_text().split(" of ")[0]) - 1
        with self.course.open_store() as store:
            item = word_queue(self.vocabulary, store, store.verdicts())[at]
        one = item.corrections[0]
        first = self.transcript.segment_starts[one.segment_id]
        said = self.truth.at(WordRange(first + one.word_start, first + one.word_end))
        times = self.page.locator("[data-key=t]").count()
        read = self.words_to_read()
        heard_s, whole_s = self.clip_seconds()
        text, keys = "", 1
        offered = self.page.locator("[data-rival]").evaluate_all("all => all.map((one) => one.dataset.rival)")
        self.work.words += 1
        if self.means(said, item.proposed.concept_id, item.proposed.restored):
            self.press("t" if times else "a")
        elif number := next((n for n, one in enumerate(offered, 1) if self.means(said, one)), 0):
            self.press(str(number))
            self.work.wrong_before += 1
        elif (label := self.choose_term(said)) and (text := self.typed(label, item.proposed.heard)) is not None:
            self.page.keyboard.press("o")
            keys = 1 + self.take(text, "#other-form")
            self.press("Enter")
            self.work.corrected += 1
        else:
            self.press("r")
        self.work.decide(keys=keys, heard_s=heard_s, read_words=read, plain_heard_s=whole_s, plain_keys=keys)

    def settle_names(self) -> None:
        with self.course.open_store() as store:
            shown = rows(
                store, self.vocabulary, [one for one in names(store, store.verdicts()) if one.open][:NAMES_A_PAGE]
            )
        for at, row in enumerate(shown):
            said = self.truth.at(row.item.words[0])
            keys = 0
            if at:
                self.page.keyboard.press("j")
                keys = 1
            label = None if self.truth.persons & set(said.split()) else self.choose_term(said)
            text = self.typed(label, row.meant) if label else None
            if self.truth.persons & set(said.split()):
                plain = 1
            elif number := next((n for n, (one, _) in enumerate(row.terms, 1) if self.means(said, one)), 0):
                self.page.keyboard.press(str(number))
                keys, plain = keys + 1, 2 + len(text or "")
            elif text is not None:
                self.page.keyboard.press("t")
                keys += 1 + self.take(text, f"[data-row]:nth-child({at + 1})")
                self.page.keyboard.press("Enter")
                plain = 2 + len(text)
                self.work.corrected += 1
            else:
                self.page.keyboard.press("n")
                keys, plain = keys + 1, 1
            near = 0.0 if row.follows else (row.place.near.end_ms - row.place.near.start_ms) / 1000
            whole = (row.place.clip.end_ms - row.place.clip.start_ms) / 1000
            read = len(f"{row.before} {row.place.heard} {row.after}".split()) + 3
            self.work.decide(keys=keys, heard_s=near, read_words=read, plain_heard_s=whole, plain_keys=plain)
            self.work.names += 1
        self.press("c")
        self.work.keys += 1
        self.work.human_s += DECIDE_S + KEY_S

    def settle_potencies(self) -> None:
        with self.course.open_store() as store:
            item = open_potencies(store, store.verdicts())[0]
        read = self.words_to_read()
        heard_s, whole_s = self.clip_seconds()
        words = [n for n, w in enumerate(self.transcript.words) if w.time.start_ms <= item.at_ms <= w.time.end_ms]
        said = self.truth.at(WordRange(words[0], words[-1] + 1)) if words else ""
        true = next((p for spoken, p in SPOKEN_POTENCIES.items() if holds(said, spoken)), item.potency)
        keys = 1
        if true == item.potency:
            self.press("a")
        else:
            self.page.keyboard.press("o")
            self.page.keyboard.type(true)
            self.press("Enter")
            keys = 2 + len(true)
            self.work.corrected += 1
        self.work.potencies += 1
        self.work.decide(keys=keys, heard_s=heard_s, read_words=read, plain_heard_s=whole_s, plain_keys=keys)

    def words_to_read(self) -> int:
        """What is proposed for what was heard, and a few words of the sentence around it."""
        shown = self.page.locator("[data-read]").evaluate(
            "one => [...one.querySelectorAll('strong, .quiet')].map((part) => part.textContent).join(' ')"
        )
        return len(shown.split()) + CONTEXT_WORDS

    def clip_seconds(self) -> tuple[float, float]:
        """How long the desk plays by itself, and how long the whole sentence is."""
        near, whole = self.page.evaluate(
            "(c => [Number(c.dataset.to) - Number(c.dataset.from), (u => (u.get('end') - u.get('start')) / 1000)"
            "(new URL(c.src).searchParams)])(document.getElementById('clip'))"
        )
        return float(near), float(whole)

    def go(self, *, applies: bool = True) -> None:
        """From the first page to the published session. Without ``applies`` what decisions bring up anew is left out."""
        self.press("g")
        self.work.once()
        for _ in range(MOST_ROUNDS):
            while (place := self.page.url.removeprefix(self.base).partition("?")[0]) != "/publish":
                steps = {"/words": self.settle_words, "/names": self.settle_names, "/potencies": self.settle_potencies}
                assert place in steps, self.page.locator("main").inner_text()
                steps[place]()
            if not applies:
                break
            # What was decided is applied, which may bring up something new.
            began = time.monotonic()
            self.page.wait_for_function("() => !document.querySelector('[hx-get=\"/applying\"]')")
            self.work.machine_s += time.monotonic() - began
            self.page.goto(self.base + "/next")
            if self.page.url.removeprefix(self.base).startswith("/publish"):
                break
        assert not self.page.locator("li.blocks").count(), self.page.locator("main").inner_text()
        lines = self.page.locator(".check-list li.blocks, .check-list li.good").all_inner_texts()
        self.press("p")
        self.work.once(read_words=len(" ".join(lines).split()), plain_keys=2)  # from one kind of decision to the next


class Served:
    """The desk in this process without its worker: decisions are written and not applied, nothing is listened to."""

    def __init__(self, course: Course, port: int) -> None:
        import uvicorn

        from notesmith.desk.app import make_app
        from notesmith.desk.guard import new_keys

        keys = new_keys()
        app = make_app(course, port=port, keys=keys, work=False)
        self.server = uvicorn.Server(uvicorn.Config(app, port=port, log_level="error", ws="none"))
        self.thread = threading.Thread(target=self.server.run, daemon=True)
        self.thread.start()
        while not self.server.started:
            time.sleep(0.05)
        self.address = address_of(port, keys.opening)

    def stop(self) -> None:
        self.server.should_exit = True
        self.thread.join(timeout=30)


def measure_decisions(recording: Path, folder: Path, browser: Any, vocabulary: Vocabulary) -> Work:
    """The decisions of a session worked on before, up to the checklist and the key that publishes."""
    target = folder / recording.stem
    shutil.rmtree(target, ignore_errors=True)
    shutil.copytree(folder / f"{recording.stem}.worked", target)
    course = open_course(target)
    work = Work(recording.stem, probe(recording).duration_ms / 60_000, clicks=1)
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    served = Served(course, port)
    try:
        page = browser.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(served.address)
        base = f"http://127.0.0.1:{port}"
        page.goto(f"{base}/words/suggest?q=thuja")
        page.goto(base)
        Editor(page, base, course, vocabulary, truth_of(recording, course), work).go(applies=False)
        page.close()
    finally:
        served.stop()
    return work


def truth_of(recording: Path, course: Course) -> Truth:
    with course.open_store() as store:
        (lecture,) = store.lectures()
        heard = store.transcripts(lecture.recording_sha256)[0].transcript
    text = recording.with_name(f"{recording.stem}.true.txt").read_text(encoding="utf-8")
    named = recording.with_name(f"{recording.stem}.persons.txt")
    return Truth(
        heard, text, frozenset(named.read_text(encoding="utf-8").casefold().split()) if named.is_file() else PERSONS
    )


def measure(recording: Path, folder: Path, browser: Any, vocabulary: Vocabulary) -> Work:
    """One session in a course of its own. A course worked on before (without decisions) is taken as it is."""
    info = probe(recording)
    worked = folder / f"{recording.stem}.worked"
    target = folder / recording.stem
    shutil.rmtree(target, ignore_errors=True)
    work = Work(recording.stem, info.duration_ms / 60_000)
    if worked.is_dir():
        shutil.copytree(worked, target)
        course = open_course(target)
    else:
        settings = CourseSettings(title="Evening materia medica", lecturer="Dr Mirela Oduya", aliases=("Mirela",))
        course = create_course(target, settings)
    with socket.socket() as one:
        one.bind(("127.0.0.1", 0))
        port = one.getsockname()[1]
    command = [sys.executable, "-m", "notesmith", "desk", "-c", str(target), "--no-browser", "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        address = next(m[0] for line in process.stdout if (m := re.search(r"http://\S+/open\?key=\S+", line)))
        page = browser.new_page()
        page.set_default_timeout(PATIENCE_MS)
        page.goto(address)
        base = f"http://127.0.0.1:{port}"
        began = time.monotonic()
        if not worked.is_dir():
            page.set_input_files("#files", str(recording))
            page.wait_for_selector("li[data-state=finished]")
            work.machine_s = time.monotonic() - began
            page.reload()
            with course.open_store() as store:  # kept before any decision, so that the desk can be measured again
                worked.mkdir(parents=True)
                store.copy_to(worked / "course.db")
            for name in ("course.toml", "recordings"):
                source = target / name
                (shutil.copytree if source.is_dir() else shutil.copy)(source, worked / name)
            (worked / "vocabulary").mkdir(exist_ok=True)
        page.goto(f"{base}/words/suggest?q=thuja")  # the table of sounds is made while a recording is listened to
        page.goto(base)
        truth = truth_of(recording, course)
        work.clicks = 1  # the drop
        Editor(page, base, course, vocabulary, truth, work).go()
        began = time.monotonic()
        page.wait_for_function("() => document.querySelector('#state')?.dataset.busy === 'no'")
        page.wait_for_timeout(200)
        work.machine_s += time.monotonic() - began
        assert (course.site / "index.html").is_file(), page.locator("main").inner_text()
        page.close()
    finally:
        process.terminate()
        process.wait(timeout=30)
    return work


def run(arguments: list[str]) -> dict[str, object]:
    parser = argparse.ArgumentParser(prog="run.py desk")
    parser.add_argument("--folder", type=Path, help="keep the courses here; a second run listens to nothing again")
    parser.add_argument("--only", help="sessions whose name holds this")
    parser.add_argument(
        "--of",
        type=Path,
        help="other recordings: a folder with NAME.ogg, NAME.true.txt (the words said) and NAME.persons.txt (its names)",
    )
    parser.add_argument(
        "--decisions-only",
        action="store_true",
        help="of sessions kept in --folder: nothing is listened to, applied or built; what decisions bring up is not met",
    )
    given = parser.parse_args(arguments)
    from playwright.sync_api import sync_playwright

    vocabulary = Course(Path("/nonexistent"), CourseSettings(title="x")).load_vocabulary()
    recordings = sorted(p for p in (given.of or samples_dir()).iterdir() if p.suffix in SOUNDS)
    results: list[Work] = []
    with tempfile.TemporaryDirectory() as temporary, sync_playwright() as driver:
        folder = given.folder or Path(temporary)
        folder.mkdir(parents=True, exist_ok=True)
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        for recording in recordings:
            if not given.only or given.only in recording.stem:
                one_session = measure_decisions if given.decisions_only else measure
                results.append(one_session(recording, folder, browser, vocabulary))
        browser.close()
    print(f"{'session':42} {'min':>4} {'words':>5} {'names':>5} {'pot.':>4} {'typed':>5} {'keys':>5} {'click':>5} "
          f"{'heard':>6} {'wait':>5} {'in all':>6} {'of 30 min':>10} {'plain way':>10}")  # fmt: skip
    for one in results:
        print(
            f"{one.session:42} {one.minutes:4.1f} {one.words:5} {one.names:5} {one.potencies:4} {one.corrected:5} "
            f"{one.keys:5} {one.clicks:5} {one.listened_s:5.0f}s {one.waited_s:4.1f}s {one.once_s + one.human_s:5.0f}s "
            f"{one.for_30_minutes / 60:6.1f} min {one.plain_for_30_minutes / 60:6.1f} min"
        )
    total = sum(one.for_30_minutes for one in results) / len(results) / 60
    plain = sum(one.plain_for_30_minutes for one in results) / len(results) / 60
    waits = sum(one.waited_s * 30 / one.minutes for one in results) / len(results) / 60
    print(f"mean: {total:.1f} min of human work for a session of 30 min (the plain way {plain:.1f}); target under 5")
    print(f"of it {waits:.1f} min waiting for pages, at a load of {os.getloadavg()[0]:.0f} on {os.cpu_count()} cores")
    return {
        "sessions": [msgspec.to_builtins(one) for one in results],
        "human_minutes_per_30": total,
        "plain_way_minutes_per_30": plain,
        "waiting_for_pages_minutes_per_30": waits,
        "target_minutes_per_30": 5,
        "model": {"key_s": KEY_S, "decide_s": DECIDE_S, "read_words_a_minute": READ_WORDS_A_MINUTE},
    }
