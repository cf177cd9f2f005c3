"""`mountbook plan --seconds`: written and judged whatever the time; told on stdout, in JSON, on paper."""

from __future__ import annotations

import json
from pathlib import Path

import openpyxl
import pymupdf
import pytest
from typer.testing import CliRunner

from planner.cli.main import app
from planner.plan.plan_file import read_plan
from sample_fleet import generate


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Thirty pairs of the sample fleet with all its boots and wants."""
    folder = tmp_path_factory.mktemp("shop")
    tables = generate.tables()
    tables["Skis"] = tables["Skis"][:30]
    tags = {row["tag"] for row in tables["Skis"]}
    tables["Holes"] = [row for row in tables["Holes"] if row["pair_tag"] in tags]
    generate.write_workbook(folder / "fleet.xlsx", tables)
    file = folder / "shop.mountbook"
    done = CliRunner().invoke(
        app,
        ["--ledger", str(file), "import", str(folder / "fleet.xlsx"), "--apply", "--zone", "UTC"],
        env={"MOUNTBOOK_BY": "Ada", "MOUNTBOOK_NOW": "2026-11-02T08:00:00+01:00"},
    )
    assert done.exit_code in (0, 1), done.output
    return file


def plan(ledger: Path, out: Path, *more: str) -> str:
    done = CliRunner().invoke(
        app,
        ["--ledger", str(ledger), "plan", "--out", str(out), "--minutes", "300", *more],
        env={"MOUNTBOOK_BY": "Ada", "MOUNTBOOK_NOW": "2026-11-02T09:00:00+01:00"},
    )
    assert done.exit_code == 0, done.output
    return done.stdout


def test_a_plan_without_time_is_written_and_says_level_by_level_what_is_open(
    ledger: Path, tmp_path: Path
) -> None:
    said = plan(ledger, tmp_path, "--seconds", "0", "--html")
    made = read_plan(tmp_path)
    assert made.sets
    assert "best found, at most" in said
    assert "not proved" in said
    sheet = openpyxl.load_workbook(tmp_path / "plan.xlsx")["Plan"]
    rows = [[str(cell.value) for cell in row[:2]] for row in sheet.iter_rows()]
    assert any(name == "not proved" and "no more than" in text for name, text in rows)
    assert "not proved" in (tmp_path / "plan.html").read_text(encoding="utf-8")
    with pymupdf.open(tmp_path / "season_prep.pdf") as paper:
        assert f"at most {made.gap_percent:g} % from the best" in paper[0].get_text()


def test_without_time_no_line_of_the_last_sets_is_worked_out_and_that_is_said(
    ledger: Path, tmp_path: Path
) -> None:
    said = plan(ledger, tmp_path, "--seconds", "0", "--what-sets-cost")
    assert "the limit of time (--seconds) was over before more lines were worked out" in said
    assert not (tmp_path / "last_sets.pdf").exists()
    assert (
        json.loads(plan(ledger, tmp_path, "--seconds", "0", "--what-sets-cost", "--json"))["what_sets_cost"]
        == []
    )


def test_a_plan_cut_short_anywhere_is_written_judged_and_honest(ledger: Path, tmp_path: Path) -> None:
    """Where a tenth of a second ends depends on the machine; what is written does not lie on any."""
    said = plan(ledger, tmp_path, "--seconds", "0.1")
    made = read_plan(tmp_path)
    assert made.sets
    assert made.status in said
    assert made.certificate is not None
    for level in made.certificate.levels:
        assert level.bound is None or level.bound <= level.value


def test_time_enough_writes_the_same_file_as_no_limit(ledger: Path, tmp_path: Path) -> None:
    plan(ledger, tmp_path / "free")
    told = json.loads(plan(ledger, tmp_path / "timed", "--seconds", "3600", "--json"))
    assert (tmp_path / "timed" / "plan.json").read_bytes() == (tmp_path / "free" / "plan.json").read_bytes()
    assert told["status"] == "proved best"
    assert all(level["bound"] == level["value"] for level in told["certificate"]["levels"])


def test_a_limit_of_time_is_refused_where_it_is_not_kept(ledger: Path, tmp_path: Path) -> None:
    plan(ledger, tmp_path / "first", "--seconds", "0")
    after = ("--after", str(tmp_path / "first"))
    done = CliRunner().invoke(
        app,
        ["--ledger", str(ledger), "plan", "--out", str(tmp_path / "next"), "--seconds", "5", *after],
    )
    assert done.exit_code == 1
    assert not (tmp_path / "next").exists()
