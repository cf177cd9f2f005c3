"""The README's first day and daily round, typed line by line as they stand there."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from sample_fleet import generate

ROOT = Path(__file__).parent.parent
BLOCK = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)
MORNING = datetime.fromisoformat("2026-10-05T08:00:00+02:00")


def lines_after(heading: str) -> list[str]:
    text = (ROOT / "README.md").read_text(encoding="utf-8").split(f"## {heading}", 1)[1]
    block = BLOCK.search(text)
    assert block is not None
    return [line.split("  #")[0].strip() for line in block.group(1).splitlines()]


def own_inventory(path: Path) -> None:
    """What the reader would have typed: K-031 with its binding on, the boots B-210, a wish, the staff."""
    made = generate.tables()
    made["Skis"] = [row for row in made["Skis"] if row["tag"] == "K-031"]
    made["Holes"] = [row for row in made["Holes"] if row["pair_tag"] == "K-031"]
    sole = str(int(made["Skis"][0]["bsl_mm"]) + 5)
    made["Boots"] = [made["Boots"][40] | {"tag": "B-210", "mondopoint": "26.5", "bsl_mm": sole}]
    made["Bindings"] = []
    made["Wanted"] = [made["Wanted"][2] | {"quantity": "1", "length_min_cm": "100", "length_max_cm": "200"}]
    made["Staff"] = [row for row in made["Staff"] if row["name"] != "Ida Fennweg"]
    generate.write_workbook(path, made)


@pytest.fixture
def shell(tmp_path: Path) -> tuple[Path, dict[str, str]]:
    """A folder and an environment in which `mountbook` is this one, on its own ledger."""
    program = tmp_path / "bin" / "mountbook"
    program.parent.mkdir()
    program.write_text(f'#!/bin/sh\nexec {sys.executable} -m planner.cli.main "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    environment = {k: v for k, v in os.environ.items() if not k.startswith("MOUNTBOOK_")}
    environment["PATH"] = f"{program.parent}{os.pathsep}{environment['PATH']}"
    environment["MOUNTBOOK_BY"] = "Wim Tarrowby"
    return tmp_path, environment


@pytest.mark.skipif(shutil.which("sh") is None, reason="the README's lines are for a POSIX shell")
def test_the_first_day_and_the_daily_round_work_as_they_stand(shell: tuple[Path, dict[str, str]]) -> None:
    folder, environment = shell
    first_day, round_ = lines_after("The first day"), lines_after("The bench, and the daily round")
    assert first_day[0] == ". .venv/bin/activate"
    for hour, line in enumerate([*first_day[1:], *round_]):
        environment["MOUNTBOOK_NOW"] = (MORNING + timedelta(hours=hour)).isoformat()
        done = subprocess.run(
            ["sh", "-c", line], cwd=folder, env=environment, capture_output=True, text=True, check=False
        )
        assert done.returncode == 0, f"{line}\n{done.stdout}{done.stderr}"
        if line.startswith("mountbook blank"):
            own_inventory(folder / "own.xlsx")
    for made in ("plan_1/plan.xlsx", "plan_1/work_orders_issued.pdf", "tonight.pdf"):
        assert (folder / made).stat().st_size
