"""Every command is documented: in the README, and in its own help with an example."""

from collections.abc import Iterator
from pathlib import Path

import pytest
import typer
from typer.main import get_command

from notesmith.cli import app

README = (Path(__file__).resolve().parents[2] / "README.md").read_text(encoding="utf-8")


def commands() -> Iterator[tuple[str, typer.core.TyperCommand]]:
    root = get_command(app)
    for name, command in root.commands.items():  # type: ignore[attr-defined]
        if hasattr(command, "commands"):
            for inner, leaf in command.commands.items():
                yield f"{name} {inner}", leaf
        else:
            yield name, command


@pytest.mark.parametrize(("name", "command"), list(commands()))
def test_a_command_is_documented(name: str, command: typer.core.TyperCommand) -> None:
    assert f"`{name}" in README, f"README.md does not name `{name}`"
    assert f"notesmith {name}" in (command.help or ""), f"the help of {name} has no example"
    for parameter in command.params:
        if parameter.name != "help":
            assert getattr(parameter, "help", None), f"{name}: {parameter.name} is not explained"
