"""What the README promises of every command: an example in its help, and an answer for programs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import typer
from typer.main import get_command

from planner.cli.main import app

_TALKS = {"counter", "serve"}
"""A conversation line by line, or with browsers: it has no one answer."""


def _commands(command: Any, context: typer.Context, path: str = "") -> Iterator[tuple[str, Any]]:
    if not hasattr(command, "list_commands"):
        yield path, command
        return
    for name in command.list_commands(context):
        inner = command.get_command(context, name)
        yield from _commands(
            inner, typer.Context(inner, parent=context, info_name=name), f"{path} {name}".strip()
        )


ROOT = get_command(app)
COMMANDS = dict(_commands(ROOT, typer.Context(ROOT)))


def test_there_are_as_many_commands_as_a_shop_would_count() -> None:
    assert len(COMMANDS) > 50, "else the tests below look at nothing"


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_shows_an_example_and_answers_programs(name: str) -> None:
    command = COMMANDS[name]
    assert f"Example: mountbook {name}" in (command.help or "")
    options = {option for parameter in command.params for option in parameter.opts}
    assert ("--json" in options) != (name in _TALKS)
    silent = [p.name for p in command.params if p.param_type_name == "option" and not p.help]
    assert silent == [], "an option without a word of help"
