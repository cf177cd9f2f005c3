"""The README from the first day to the season's end, typed line by line as it stands there."""

from __future__ import annotations

import csv
import os
import re
import shlex
import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from pypdf import PdfReader

from sample_fleet import generate
from tests.odd_data.front_door import FrontDoor

ROOT = Path(__file__).parent.parent
BLOCK = re.compile(r"^```sh\n(.*?)^```$", re.MULTILINE | re.DOTALL)
MORNING = datetime.fromisoformat("2026-10-05T08:00:00+02:00")


HEAD = re.compile(r"\b\d+:[0-9a-f]{8}\b")
READER = ". .venv/bin/activate"
NEWEST_COPY = "$(ls backups/*.db | tail -n 1)"


def lines_to_type() -> list[str]:
    """Every line of every shell block from the first day on, without its remark."""
    text = (ROOT / "README.md").read_text(encoding="utf-8").split("## The first day", 1)[1]
    lines = [line for block in BLOCK.findall(text) for line in block.splitlines()]
    return [re.split(r"\s# ", line)[0].strip() for line in lines]


def printed_head(sheet: Path) -> str:
    """The ledger's head as it stands on a printed sheet."""
    found = HEAD.search("".join(page.extract_text() for page in PdfReader(sheet).pages))
    assert found is not None
    return found.group()


def own_inventory(path: Path) -> None:
    """What the reader would have typed: K-031 with its binding on, the boots B-210, a wish, the staff."""
    made = generate.tables()
    made["Skis"] = [row for row in made["Skis"] if row["tag"] == "K-031"]
    made["Holes"] = [row for row in made["Holes"] if row["pair_tag"] == "K-031"]
    sole = str(int(made["Skis"][0]["bsl_mm"]) + 5)
    made["Boots"] = [made["Boots"][40] | {"tag": "B-210", "mondopoint": "26.5", "bsl_mm": sole}]
    made["Bindings"] = []
    made["Wanted"] = [made["Wanted"][2] | {"quantity": "1", "length_min_cm": "100", "length_max_cm": "200"}]
    made["Staff"] = []
    for name in ("Patterns", "Fits"):  # off the jigs and the makers' sheets, in files of their own
        rows, made[name] = made[name], []
        with (path.parent / f"{name.lower()}.csv").open("w", newline="", encoding="utf-8") as file:
            out = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
            out.writeheader()
            out.writerows(rows)
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
    return tmp_path, environment


def walked(folder: Path, typed: Callable[[str, datetime], tuple[int, str]]) -> None:
    """Each line, an hour after the one before; what comes of them lies there in the end."""
    lines = lines_to_type()
    assert lines[0] == READER
    (folder / "count.txt").write_text("K-031\n", encoding="utf-8")
    own_inventory(folder / "own.xlsx")
    for hour, line in enumerate(lines[1:]):
        if line.startswith("mountbook audit --head"):  # as read off the sheet that hangs at the rack
            line = f"mountbook audit --head {printed_head(folder / 'tonight.pdf')}"
        code, said = typed(line, MORNING + timedelta(hours=hour))
        assert code == 0, f"{line}\n{said}"
    for made in ("plan_1/plan.xlsx", "plan_1/work_orders_issued.pdf", "tonight.pdf", "case-K-031/case.pdf"):
        assert (folder / made).stat().st_size


def test_every_line_from_the_first_day_to_the_seasons_end_works_as_it_stands(tmp_path: Path) -> None:
    """All in this process: words as a shell splits them, and the one part that a shell works out first."""
    door = FrontDoor(tmp_path)

    def typed(line: str, now: datetime) -> tuple[int, str]:
        newest = max((tmp_path / "backups").glob("*.db"), default=None)
        program, *words = shlex.split(line.replace(NEWEST_COPY, str(newest)))
        assert program == "mountbook"
        assert "$" not in line.replace(NEWEST_COPY, "")
        door.now = now - timedelta(minutes=1)  # one passes with every command
        said = door(*words, given="quit\n", by="")
        return said.code, said.all

    walked(tmp_path, typed)


@pytest.mark.long
@pytest.mark.skipif(shutil.which("sh") is None, reason="the README's lines are for a POSIX shell")
def test_every_line_works_typed_into_a_shell(shell: tuple[Path, dict[str, str]]) -> None:
    folder, environment = shell

    def typed(line: str, now: datetime) -> tuple[int, str]:
        done = subprocess.run(
            ["sh", "-c", line],
            cwd=folder, env=environment | {"MOUNTBOOK_NOW": now.isoformat()},
            input="quit\n", capture_output=True, text=True, check=False,
        )  # fmt: skip
        return done.returncode, done.stdout + done.stderr

    walked(folder, typed)


def test_every_picture_and_link_of_the_readme_is_there_and_pictures_are_small() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    places = [place for place in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in place]
    assert len(places) > 8
    for place in places:
        assert (ROOT / place).exists(), place
    pictures = [ROOT / place for place in places if place.endswith(".png")]
    assert len(pictures) == 6
    assert all(picture.stat().st_size < 120_000 for picture in pictures)
