"""Two editors at one running desk, over real sockets and at the same time: the store is what the answers said.

The model is made of the answers alone: what was accepted must stand in the log once and in order, what was refused must
not, and each refusal must have a reason in the log.
"""

from __future__ import annotations

import random
import threading
from collections.abc import Iterator
from typing import Any

import httpx
import msgspec
import pytest
import uvicorn

from notesmith.annotations import Extraction, TeachingPoint
from notesmith.course import Course
from notesmith.desk.app import make_app
from notesmith.desk.context import target_of
from notesmith.desk.guard import Keys
from notesmith.transcript import WordRange
from notesmith.verdicts import NoteVerdict, PersonVerdict, Verdict, VerdictEntry, WordVerdict

from .driving import free_port

OPERATIONS = 500  # of each of the two
FORMS = ("sulfer", "colley by chromacum", "thirty see")
NAMES = ("Rohan", "Meera", "Jonas")
NOTES = ("k0", "k1")
KEYS = Keys("opening-key", "session-key", "form-key")


@pytest.fixture
def address(course: Course) -> Iterator[str]:
    with course.open_store() as store:
        extraction = store.result("one", "extraction", Extraction)
        heard = store.transcripts("a" * 64)[0].transcript
        assert extraction is not None
        points = tuple(
            TeachingPoint(key, "mind", f"Point {key}.", "spoken", WordRange(0, 3), heard.words[0].time) for key in NOTES
        )
        store.put_result("one", "extraction", "k", msgspec.structs.replace(extraction, points=points))
    port = free_port()
    server = uvicorn.Server(
        uvicorn.Config(
            make_app(course, port=port, keys=KEYS, who="both", work=False), port=port, log_level="error", ws="none"
        )
    )
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    while not server.started:
        pass
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(timeout=20)


class OneEditor(threading.Thread):
    """A person with a page of some age; keeps what was asked, with the page's state and the answer's status."""

    def __init__(self, address: str, name: str, course: Course) -> None:
        super().__init__()
        self.who, self.course, self.seen = name, course, 0
        self.random = random.Random(name)
        self.asked: list[tuple[int, int, tuple[Verdict, ...]]] = []
        self.undone: list[int] = []
        self.odd: list[Any] = []
        self.client = httpx.Client(
            base_url=address, headers={"origin": address, "x-desk-token": KEYS.form}, timeout=60, trust_env=False,
            cookies={f"notesmith_desk_{address.rpartition(':')[2]}": KEYS.session},
        )  # fmt: skip

    def load(self) -> None:
        page = self.client.get(self.random.choice(["/words", "/words?show=restored", "/notes/one"]))
        _, _, rest = page.text.partition('name="seen" value="')
        if rest:
            self.seen = int(rest.partition('"')[0])

    def run(self) -> None:
        for number in range(OPERATIONS):
            mark = f"{self.who} {number}"
            match self.random.choices(("load", "word", "name", "note", "undo"), (3, 3, 2, 2, 2))[0]:
                case "load":
                    self.load()
                case "word":
                    form = self.random.choice(FORMS)
                    data = {"lecture": "one", "form": form, "ruling": "accept", "restored": mark}
                    self.send("/words", data, (WordVerdict("accept", form, None, mark, "one", answers=True),))
                case "name":
                    said = self.random.sample(NAMES, 2)
                    verdicts = tuple(PersonVerdict("replace", one, None, f"{mark} {one}") for one in said)
                    data = {}
                    for n, one in enumerate(said):
                        data |= {f"said_{n}": one, f"ruling_{n}": "replace", f"value_{n}": f"{mark} {one}"}
                    self.send("/names", data, verdicts)
                case "note":
                    key = self.random.choice(NOTES)
                    data = {"key": key, "ruling": "reword", "text": mark}
                    self.send("/notes/one", data, (NoteVerdict("reword", "one", key, mark),))
                case "undo":
                    chosen = self.random.randint(1, max(2, self.seen))
                    status = self.client.post("/undo", data={"verdict": str(chosen)}).status_code
                    if status == 303:
                        self.undone.append(chosen)
                    elif status != 409:
                        self.odd.append(("undo", status))

    def send(self, path: str, data: dict[str, str], verdicts: tuple[Verdict, ...]) -> None:
        answer = self.client.post(path, data={**data, "seen": str(self.seen)})
        status = answer.status_code
        self.asked.append((status, self.seen, verdicts))
        if status not in (303, 409):
            self.odd.append((path, status, answer.text.partition('role="alert"')[2][:200]))


def test_a_thousand_operations_of_two_at_once(course: Course, address: str) -> None:
    editors = [OneEditor(address, name, course) for name in ("Asha", "Mirela")]
    for one in editors:
        one.start()
    for one in editors:
        one.join()
    assert [one.odd for one in editors] == [[], []]
    with course.open_store() as store:
        log = store.verdicts(with_undone=True)
        assert not store.check()
    place = {entry.verdict: entry for entry in log}
    assert len(place) == len(log)  # each carries a mark of its own: none was written twice
    expected: set[Verdict] = set()
    for one in editors:
        accepted = [verdict for status, _, verdicts in one.asked for verdict in verdicts if status == 303]
        ids = [place[verdict].id for verdict in accepted]  # a KeyError here is a lost decision
        assert ids == sorted(ids)
        for status, seen, verdicts in one.asked:
            for verdict in verdicts:
                newer = [entry for entry in log if entry.id > seen and target_of(entry.verdict) == target_of(verdict)]
                if verdict in place:
                    expected.add(verdict)
                    earlier = [entry for entry in newer if entry.id < place[verdict].id]
                    assert all(entry.undone for entry in earlier), "a newer decision was overruled unseen"
                else:
                    assert status == 409
                    assert newer, "refused without a reason"
            if status == 409:
                assert any(verdict not in place for verdict in verdicts)
    assert expected == set(place)
    undone = [number for one in editors for number in one.undone]
    assert len(undone) == len(set(undone))  # a decision is taken back once
    assert {entry.id for entry in log if entry.undone} == set(undone)
    assert both_took_part(log)


def both_took_part(log: tuple[VerdictEntry, ...]) -> bool:
    """The run would show nothing if one of them had been refused all along."""
    texts = [str(msgspec.to_builtins(entry.verdict)) for entry in log]
    return all(sum(name in text for text in texts) > 50 for name in ("Asha", "Mirela"))
