"""An option whose value was forgotten takes the next one for it: refused, whatever the command."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from planner.cli.main import app
from planner.cli.rooms import ROOM_OF, WorkingDay


@pytest.mark.parametrize(
    "words",
    [
        ["hold", "K-031", "--why", "--json"],
        ["hold", "K-031", "--why", "--by", "Ida"],
        ["hold", "K-031", "--why=--json"],
        ["plan", "--out", "--json"],
        ["repair", "done", "K-031", "--did", "--by", "Ida"],
    ],
    ids=" ".join,
)
def test_a_value_that_looks_like_an_option_is_wrong_usage(words: list[str], tmp_path: Path) -> None:
    answer = CliRunner().invoke(app, ["--ledger", str(tmp_path / "none.db"), *words])
    assert answer.exit_code == 2
    assert "looks like the next option" in answer.stderr


def test_a_single_dash_and_dashes_inside_are_text(tmp_path: Path) -> None:
    words = ["hold", "K-031", "--why", "-5 mm -- bent"]
    answer = CliRunner().invoke(app, ["--ledger", str(tmp_path / "none.db"), *words])
    assert "there is no ledger" in str(answer.exception)


def test_no_option_of_any_command_escapes() -> None:
    group = WorkingDay(name="mountbook")
    for name in ROOM_OF:
        for param in _options(group.get_command(None, name)):
            assert "callback" in repr(param.callback), (name, param.name)


def _options(command: Any) -> list[Any]:
    inner = [param for each in getattr(command, "commands", {}).values() for param in _options(each)]
    own = [param for param in command.params if param.param_type_name == "option" and not param.is_flag]
    return [*own, *inner]
