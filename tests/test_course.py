import os

import msgspec
import pytest

from notesmith.course import create_course, open_course, save_settings
from notesmith.errors import CourseError
from notesmith.lecture import CourseSettings


def test_a_course_opens_as_it_was_made(tmp_path):
    made = create_course(tmp_path / "c", CourseSettings(title="Évening “class”", aliases=("Dr O",)))
    assert open_course(tmp_path / "c") == made
    with pytest.raises(CourseError, match="there is a course here already"):
        create_course(tmp_path / "c", CourseSettings(title="x"))


def test_changed_settings_keep_a_persons_comments(tmp_path):
    course = create_course(tmp_path, CourseSettings(title="One"))
    course.settings_path.write_text("# mine\n" + course.settings_path.read_text())
    changed = msgspec.structs.replace(course.settings, title="Two")
    save_settings(course, changed)
    assert course.settings_path.read_text().startswith("# mine\n")
    assert open_course(tmp_path).settings == changed


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("title = ", "not valid TOML"),
        ("title = 3", "Expected `str`"),
        ("title = 'x'\ncolour = 'red'", "unknown field `colour`"),
        ("titel = 'x'", "unknown field `titel`"),
        ("title = 'x'\nprofile = 'best'", "profile"),
        ("a = " + "[" * 5000, "TOML"),
    ],
)
def test_a_wrong_settings_file_is_one_clear_line(tmp_path, text, says):
    (tmp_path / "course.toml").write_text(text)
    with pytest.raises(CourseError, match=says) as caught:
        open_course(tmp_path)
    assert "\n" not in str(caught.value).strip() or "TOML" in str(caught.value)
    assert str(tmp_path / "course.toml") in str(caught.value)


def test_a_folder_without_a_course_says_how_to_begin_one(tmp_path):
    with pytest.raises(CourseError, match="notesmith begin"):
        open_course(tmp_path)


def test_settings_cannot_lead_out_of_the_folder(tmp_path):
    course = create_course(tmp_path / "c", CourseSettings(title="x"))
    (tmp_path / "secret.txt").write_text("secret")
    with pytest.raises(CourseError, match="leads out"):
        course.inside("../secret.txt")
    os.symlink(tmp_path / "secret.txt", course.folder / "link.txt")
    with pytest.raises(CourseError, match="leads out"):
        course.inside("link.txt")
    with pytest.raises(CourseError, match="leads out"):
        course.media_path("../../secret.txt")
