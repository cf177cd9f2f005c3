"""`ski --picture` and `survey --sheet` on a real ledger: files whole or not at all, nothing entered."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from fleet.ledger.ledger import Ledger
from planner.cli.main import app


def invoke(path: Path, *args: str) -> tuple[int, str]:
    result = CliRunner().invoke(app, ["--ledger", str(path), *args])
    return result.exit_code, result.output


@pytest.mark.parametrize(("ending", "begins"), [("svg", b"<"), ("pdf", b"%PDF"), ("png", b"\x89PNG")])
def test_the_pair_is_drawn_and_nothing_is_entered(path: Path, ending: str, begins: bytes) -> None:
    with Ledger.open(path) as ledger:
        before = ledger.head
    file = path.with_name(f"p.{ending}")
    code, said = invoke(path, "ski", "P-1", "--picture", str(file))
    assert code == 0
    assert file.read_bytes().startswith(begins)
    assert "never measure from it" in said
    with Ledger.open(path) as ledger:
        assert ledger.head == before


@pytest.mark.parametrize(
    "args",
    [
        ("--picture", "p.gif"),
        ("--boot", "B-1"),
        ("--picture", "p.svg", "--boot", "NOBODY"),
        ("--picture", "p.svg", "--pattern", "None such", "--bsl", "305"),
        ("--picture", "p.svg", "--bsl", "305"),
        ("--picture", "p.svg", "--pattern", "x", "--bsl", "wide"),
        ("--picture", "p.svg", "--as-of", "2026-12-27", "--bsl", "305"),
    ],
)
def test_a_picture_that_makes_no_sense_is_refused_and_leaves_no_file(
    path: Path, args: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(path.parent)
    before = sorted(path.parent.iterdir())
    code, _ = invoke(path, "ski", "P-1", *args)
    assert code != 0
    assert sorted(path.parent.iterdir()) == before


def test_a_survey_sheet_is_written_for_a_pair_and_refused_for_none(path: Path) -> None:
    file = path.with_name("s.pdf")
    code, said = invoke(path, "survey", "P-1", "--sheet", str(file), "--paper", "Letter")
    assert code == 0
    assert "survey sheet of pair P-1" in said
    assert file.read_bytes().startswith(b"%PDF")
    file.unlink()
    for args in (("NONE", "--sheet", str(file)), ("P-1", "--sheet", str(file), "--paper", "A5")):
        assert invoke(path, "survey", *args)[0] != 0
        assert not file.exists()
    assert invoke(path, "survey", "P-1", "--sheet", str(file), "--line", "A mark 812")[0] != 0
    assert not file.exists()
