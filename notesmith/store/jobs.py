"""Background jobs of the desk: what was handed in, how far it is, and what went wrong. Survives a restart."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Literal

import msgspec

from notesmith.errors import ConflictError, StoreError
from notesmith.store.store import Store, _bytes, _pack, _unpack, now_utc

JobKind = Literal["add", "refresh", "preview", "publish"]
JobState = Literal["receiving", "waiting", "working", "finished", "failed", "cancelled"]
OPEN_STATES: tuple[JobState, ...] = ("receiving", "waiting", "working")


class JobBody(msgspec.Struct, frozen=True):
    """What a job is about. Sizes in bytes; ``done`` of ``total`` in the unit of its stage; times in epoch seconds.

    ``stamp`` tells one chosen file from another (name, size, time of change), so that an upload can go on later.
    """

    kind: JobKind
    name: str
    size: int = 0
    received: int = 0
    stamp: str = ""
    lecture_id: str | None = None
    stage: str = ""
    done: int = 0
    total: int = 0
    stage_began: float = 0.0
    message: str = ""


class Job(msgspec.Struct, frozen=True):
    id: int
    state: JobState
    made_at: str
    body: JobBody

    @property
    def fraction(self) -> float:
        """How far the present stage is, 0 to 1."""
        done, total = (
            (self.body.received, self.body.size) if self.state == "receiving" else (self.body.done, self.body.total)
        )
        return min(1.0, done / total) if total else 0.0

    def seconds_left(self, now: float | None = None) -> float | None:
        """The time left of the present stage at the pace so far, in seconds; None before that can be told."""
        share = self.fraction
        if self.state != "working" or share < 0.02 or not self.body.stage_began:
            return None
        return (1 - share) / share * max(0.0, (time.time() if now is None else now) - self.body.stage_began)


def add_job(store: Store, body: JobBody, state: JobState = "waiting") -> Job:
    """Enter a job."""
    at = now_utc()
    with store.transaction() as connection:
        cursor = connection.execute("INSERT INTO job (state, made_at, body) VALUES (?, ?, ?)", (state, at, _pack(body)))
    return Job(int(cursor.lastrowid or 0), state, at, body)


def jobs(store: Store, *states: JobState) -> tuple[Job, ...]:
    """All jobs, or those in some states, in the order they were made."""
    rows = store.query("SELECT id, state, made_at, body FROM job ORDER BY id")
    found = tuple(
        Job(int(str(number)), msgspec.convert(state, JobState), str(at), _unpack(_bytes(body), JobBody))
        for number, state, at, body in rows
    )
    return tuple(one for one in found if not states or one.state in states)


def job(store: Store, job_id: int) -> Job:
    """Raises StoreError where there is none."""
    for one in jobs(store):
        if one.id == job_id:
            return one
    raise StoreError(f"there is no job {job_id}; look at the list of recordings again")


def change_job(store: Store, job_id: int, state: JobState, body: JobBody, *, only_from: tuple[JobState, ...]) -> None:
    """Write a job's new state if it is still in one of the given states.

    Raises ConflictError where it is not; nothing is changed then.
    """
    marks = ", ".join("?" for _ in only_from)
    with store.transaction() as connection:
        changed = connection.execute(
            f"UPDATE job SET state = ?, body = ? WHERE id = ? AND state IN ({marks})",
            (state, _pack(body), job_id, *only_from),
        ).rowcount
    if not changed:
        raise ConflictError("this was changed meanwhile; look at the list again")


def claim(store: Store, *kinds: JobKind) -> Job | None:
    """Take the oldest waiting job of some kinds; no two workers get the same one."""
    with store.transaction() as connection:
        for one in jobs(store, "waiting"):
            if one.body.kind in kinds:
                connection.execute("UPDATE job SET state = 'working' WHERE id = ?", (one.id,))
                return msgspec.structs.replace(one, state="working")
    return None


def enqueue_once(store: Store, kind: JobKind, name: str) -> None:
    """Enter a job unless one of its kind waits already."""
    with store.transaction():
        if not any(one.body.kind == kind for one in jobs(store, "waiting")):
            add_job(store, JobBody(kind, name))


def recover(store: Store) -> int:
    """After a restart: what was being worked on waits again. Returns how many jobs that is."""
    with store.transaction() as connection:
        return connection.execute("UPDATE job SET state = 'waiting' WHERE state = 'working'").rowcount


def remove_job(store: Store, job_id: int) -> None:
    """Forget a job that is over. Raises ConflictError where it is not."""
    with store.transaction() as connection:
        gone = connection.execute(
            "DELETE FROM job WHERE id = ? AND state IN ('finished', 'failed', 'cancelled')", (job_id,)
        ).rowcount
    if not gone:
        raise ConflictError("this is still being worked on; cancel it first")


def received_bytes(path: Path) -> int:
    """How much of an upload is on the disk, in bytes."""
    try:
        return os.stat(path).st_size
    except FileNotFoundError:
        return 0
