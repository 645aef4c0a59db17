"""Hostile input by the thousand: samples cut, spliced and repeated, pieces of each grammar, and bytes of no grammar."""

from __future__ import annotations

import contextlib
import os
import resource
import signal
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st

from notesmith.errors import NotesmithError

CASES = int(os.environ.get("NOTESMITH_FUZZ_CASES", "25"))  # for each parser
SECONDS_A_CASE = 20  # one case that needs longer counts as a hang
GROWTH_MB = 700  # what one parser's cases may add to the process in all

ODD = ("\0", "\x07", "\x1b[31m", "\u202e", "\ufeff", "\u2028", "\x85", "\x0c", "\r", "\r\n", "\n\n", "\t", "﷽", "é", "e\u0301",
       "İ", "ß", "🩺", "A" * 5000, "-->", "<", ">", "<v ", "&#1;", "&#x110000;", "&amp", "{", "}", "[" * 3000, "'", '"',
       "9" * 400, "-1", "1e999", "NaN", "Infinity", "null", "../../../etc/passwd", "٣", "²", "١٢:٣٤")  # fmt: skip


def cases(test: Callable[..., None]) -> Callable[..., None]:
    """Hypothesis settings for a parser's cases."""
    checks = [
        HealthCheck.too_slow,
        HealthCheck.data_too_large,
        HealthCheck.large_base_example,
        HealthCheck.function_scoped_fixture,
    ]
    return settings(max_examples=CASES, deadline=None, suppress_health_check=checks, database=None)(test)


def damaged(*samples: bytes, pieces: tuple[str, ...] = ()) -> st.SearchStrategy[bytes]:
    """Samples with up to eight edits, texts put together from the grammar's pieces, and plain random bytes."""
    fragments = st.one_of(
        st.sampled_from([*(piece.encode("utf-8", "surrogatepass") for piece in (*pieces, *ODD))]),
        st.binary(max_size=12),
    )
    edits = st.lists(
        st.tuples(st.sampled_from("idrc"), st.floats(0, 1), st.integers(0, 200), fragments), min_size=1, max_size=8
    )
    composed = st.lists(fragments, max_size=30).map(b"".join)
    return st.one_of(st.builds(_edited, st.sampled_from(samples), edits), composed, st.binary(max_size=300))


def _edited(sample: bytes, edits: list[tuple[str, float, int, bytes]]) -> bytes:
    body = sample
    for kind, place, length, piece in edits:
        at = int(place * len(body))
        if kind == "i":
            body = body[:at] + piece + body[at:]
        elif kind == "d":
            body = body[:at] + body[at + length :]
        elif kind == "r":
            body = body[:at] + piece + body[at + len(piece) :]
        elif len(body) < 100_000:
            body = body[:at] + body[at : at + length] * 3 + body[at:]
    return body


@contextlib.contextmanager
def only_our_errors() -> Iterator[None]:
    """The block may succeed or raise a NotesmithError of one line; it may not raise anything else, nor hang."""

    def hang(_signal: int, _frame: object) -> None:
        raise AssertionError(f"no end after {SECONDS_A_CASE} s")

    signal.signal(signal.SIGALRM, hang)
    signal.alarm(SECONDS_A_CASE)
    try:
        yield
    except NotesmithError as error:
        assert str(error).strip()  # noqa: PT017
        assert len(str(error)) < 4000  # noqa: PT017
    finally:
        signal.alarm(0)


@contextlib.contextmanager
def bounded_growth() -> Iterator[None]:
    """The peak memory may rise by GROWTH_MB at most; ru_maxrss is in kilobytes on Linux (getrusage(2))."""
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    yield
    assert resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before < GROWTH_MB * 1024


@contextlib.contextmanager
def as_file(data: bytes, name: str) -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        path.write_bytes(data)
        yield path
