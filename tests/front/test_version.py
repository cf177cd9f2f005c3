"""Which program made it: on the command line, in a ledger's first entry, in plan.json, on paper."""

from __future__ import annotations

import json
import subprocess
import sys
import tomllib
from datetime import UTC, datetime
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from typer.testing import CliRunner

from fleet.base.program import program
from fleet.ledger.ledger import Ledger
from planner.cli.main import app
from planner.paper.shapes import Words, width_mm
from planner.paper.sheet_frame import Anchors, FramedSheet, Paper
from planner.paper.tablet_page.page import plan_page
from planner.plan.plan_file import plan_from_json, plan_hash, plan_text
from tests.paper.invented_shop import whole_plan

ROOT = Path(__file__).parent.parent.parent
NOW = datetime(2026, 11, 26, 8, tzinfo=UTC)


def test_the_version_is_said_without_a_ledger_and_nothing_else_is() -> None:
    said = CliRunner().invoke(app, ["--version"])
    assert (said.exit_code, said.output) == (0, f"{program()}\n")
    assert program().startswith("mountbook 0.")


def test_the_changelog_tells_of_the_version_that_pyproject_names() -> None:
    version = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]
    assert f"\n## [{version}] - 2" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")


def test_time_zones_come_with_the_program_where_the_system_has_none() -> None:
    """PEP 615: zoneinfo asks the package tzdata if the system has no tables; PYTHONTZPATH hides them."""
    asked = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"]
    (zones,) = (each for each in map(Requirement, asked) if each.name == "tzdata")
    assert zones.marker is None, "asked for on each system"
    code = "from fleet.ledger.ledger import checked_zone; print(checked_zone('Europe/Vienna'))"
    said = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True, text=True, check=True, cwd=ROOT, env={"PYTHONTZPATH": ""},
    )  # fmt: skip
    assert said.stdout == "Europe/Vienna\n"


def test_the_first_entry_of_a_ledger_names_the_program_that_began_it(tmp_path: Path) -> None:
    with Ledger.create(tmp_path / "a.db", shop="S", zone="Europe/Vienna", by="Ida", now=NOW) as ledger:
        (entry,) = ledger.entries()
    assert entry.body["program"] == program()


def test_plan_json_names_the_program_and_its_hash_does_not(monkeypatch: pytest.MonkeyPatch) -> None:
    _, plan = whole_plan()
    before = plan_hash(plan)
    assert json.loads(plan_text(plan))["program"] == program()
    assert plan_from_json(json.loads(plan_text(plan))) == plan
    monkeypatch.setattr("planner.plan.plan_file.program", lambda: "mountbook 99.0.0")
    assert json.loads(plan_text(plan))["program"] == "mountbook 99.0.0"
    assert plan_hash(plan) == before


def test_the_foot_of_a_sheet_names_the_program_beside_the_ledger_head() -> None:
    sheet = FramedSheet(Paper.A4, proposal=False)
    anchors = Anchors(
        shop="S",
        name="WO-2611-0417 A",
        head="131:2a186235",
        plan_hash="0123abcd",
        printed_at="26 Nov 2026 08:00",
        stale_after="27 Nov 2026",
    )
    sheet.finish(anchors, [], 1, 1)
    (foot,) = (s for s in sheet.shapes if isinstance(s, Words) and "131:2a186235" in s.text)
    assert foot.text.endswith(program())
    assert width_mm(foot.text, foot.face, foot.size) <= sheet.room - 24


def test_the_tablet_page_names_the_program() -> None:
    fleet, plan = whole_plan()
    assert program() in plan_page(fleet, plan, printed_at=NOW)[0]
