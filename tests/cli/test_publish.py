"""Publishing from the terminal waits for undecided names as the desk does, and says what to do."""

from pathlib import Path

from tests.cli.test_bad_input import notesmith, refused

TALK = """WEBVTT

00:00.000 --> 00:06.000
Pulsatilla is mild and weeps easily. Pulsatilla is worse in a warm room.

00:06.000 --> 00:12.000
Yes, Zubinder, sit down. Pulsatilla is thirstless and it wants the open air.
"""


def test_an_undecided_name_keeps_the_course_back_until_told_otherwise(tmp_path: Path) -> None:
    talk, course = tmp_path / "2026-03-02 Pulsatilla.vtt", tmp_path / "c"
    talk.write_text(TALK)
    assert notesmith("begin", course).returncode == 0
    assert notesmith("add", "-c", course, talk).returncode == 0
    assert notesmith("work", "-c", course).returncode == 0
    back = notesmith("publish", "-c", course)
    for said in ("1 name is undecided", "notesmith desk", "--hide-doubtful"):
        refused(back, said)
    assert not (course / "site" / "index.html").exists()
    done = notesmith("publish", "-c", course, "--hide-doubtful")
    assert done.returncode == 0, done.stderr
    pages = [page.read_text(encoding="utf-8") for page in (course / "site").rglob("*.html")]
    assert pages
    assert not any("Zubinder" in page for page in pages)
