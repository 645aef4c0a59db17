"""Opening the desk: the loopback address alone, one desk a course, a real server that answers nobody else."""

from __future__ import annotations

import http.client
import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from notesmith.course import Course
from notesmith.desk.app import make_app
from notesmith.errors import BusyError, CourseError, InputError

from .conftest import KEYS, ORIGIN, PORT

cli = pytest.importorskip("notesmith.cli.desk")


def test_only_the_loopback_address_is_listened_on() -> None:
    with cli._listen(0) as listener:
        assert listener.getsockname()[0] == "127.0.0.1"


def test_a_taken_port_is_told() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        with pytest.raises(InputError, match="cannot be used"):
            cli._listen(other.getsockname()[1])


def test_one_desk_a_course(course: Course) -> None:
    with cli._alone(course) as first, cli._alone(course) as second:
        assert first is not None
        assert second is None
    with cli._alone(course) as free_again:
        assert free_again is not None


def test_a_second_start_opens_the_desk_that_runs(
    course: Course, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    application = make_app(course, port=PORT, keys=KEYS, who="Asha", work=False)
    monkeypatch.chdir(course.folder)
    with cli._alone(course) as lock:
        with pytest.raises(BusyError, match="open already"):
            cli.desk(course=course.folder, browser=False)  # it has not said its port yet
        lock.write(str(PORT))
        lock.flush()
        cli.desk(course=course.folder, browser=False)
    key = re.search(rf"http://127\.0\.0\.1:{PORT}/open\?key=(\S+)", capsys.readouterr().out)[1]
    kept = course.folder / ".desk.opening"
    assert kept.stat().st_mode & 0o077 == 0
    client = TestClient(application, base_url=ORIGIN, follow_redirects=False)
    assert client.get(f"/open?key={key[:-1]}").status_code == 403
    assert client.get(f"/open?key={key}").status_code == 303
    assert not kept.exists()
    assert TestClient(application, base_url=ORIGIN).get(f"/open?key={key}").status_code == 403


def test_one_command_begins_a_course_and_opens_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[Course] = []

    def serve(course: Course, listener: socket.socket, who: str, *, browser: bool) -> None:
        listener.close()
        opened.append(course)

    monkeypatch.setattr(cli, "_serve", serve)
    folder = tmp_path / "monday-course"
    with pytest.raises(CourseError, match="begin a course"):
        cli.desk(course=folder)  # a folder's name mistyped makes no course
    assert not folder.exists()
    for _ in range(2):  # the second time it is there
        cli.desk(course=folder, new=True)
    assert [one.settings.title for one in opened] == ["Monday course"] * 2


@pytest.mark.parametrize("left", ["", "\n", "short", "x" * 39])
def test_a_torn_key_file_opens_nothing(course: Course, left: str) -> None:
    (course.folder / ".desk.opening").write_text(left)
    client = TestClient(make_app(course, port=PORT, keys=KEYS, work=False), base_url=ORIGIN, follow_redirects=False)
    for key in ("", left, left.strip()):
        assert client.get("/open", params={"key": key}).status_code == 403


@pytest.mark.slow
def test_the_real_server_keeps_its_guard(course: Course) -> None:
    """Over a socket, as another program on the machine would try it."""
    process = subprocess.Popen(
        [sys.executable, "-m", "notesmith", "desk", "-c", str(course.folder), "--no-browser"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        found = next(m for line in process.stdout if (m := re.search(r"127\.0\.0\.1:(\d+)(/open\?key=\S+)", line)))
        port, opening = int(found[1]), found[2]
        client = http.client.HTTPConnection("127.0.0.1", port, timeout=20)

        def ask(method: str, path: str, headers: dict[str, str], body: bytes | None = None) -> http.client.HTTPResponse:
            client.request(method, path, body, headers)
            answer = client.getresponse()
            answer.read()
            return answer

        assert ask("GET", "/", {}).status == 403
        assert ask("GET", opening, {"Host": f"evil.example:{port}"}).status == 421
        opened = ask("GET", opening, {})
        assert opened.status == 303
        assert opened.getheader("server") is None
        cookie = (opened.getheader("set-cookie") or "").partition(";")[0]
        assert ask("GET", "/", {"Cookie": cookie}).status == 200
        form = {"Cookie": cookie, "Content-Type": "application/x-www-form-urlencoded"}
        assert ask("POST", "/publish", form, b"").status == 403
        assert ask("POST", "/publish", form | {"Origin": f"http://127.0.0.1:{port}"}, b"token=x").status == 403
        with socket.create_connection(("127.0.0.1", port), timeout=20) as raw:
            raw.sendall(b"GET / HTTP/1.1\r\nHost: a\r\nHost: 127.0.0.1:%d\r\n\r\n" % port)
            assert raw.recv(64).startswith((b"HTTP/1.1 421", b"HTTP/1.1 400"))
    finally:
        process.terminate()
        process.wait(timeout=20)
