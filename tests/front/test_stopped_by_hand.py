"""Ctrl-C at any moment is one sentence and exit code 130, and the ledger stands as before or as after."""

import contextlib
import json
import signal
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from planner.cli import main

INVENTORY = Path(__file__).parents[2] / "sample_fleet" / "fleet.xlsx"
STOPPED = (130, -signal.SIGINT)
"""Python itself ends by the signal where it stood in generated code; a shell shows 130 for both."""


def interrupted(folder: Path, seconds: float, *typed: str) -> subprocess.CompletedProcess[str]:
    """The command, with a real SIGINT so many seconds after it could first be caught."""
    starter = (
        "import sys; import planner.cli.interrupt; print('up', file=sys.stderr, flush=True);"
        "from planner.cli.main import main; main()"
    )
    command = [sys.executable, "-c", starter, *typed]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE}
    with subprocess.Popen(command, cwd=folder, text=True, **pipes) as running:
        assert running.stderr is not None
        assert running.stderr.readline() == "up\n"
        time.sleep(seconds)
        running.send_signal(signal.SIGINT)
        out, err = running.communicate(timeout=60)
    return subprocess.CompletedProcess(command, running.returncode, out, err)


PLAN = {"plan.json", "plan.xlsx", "season_prep.pdf", "work_orders.pdf"}
LEDGER_AND_ITS_OWN = {"mountbook.db", "mountbook.db.audited", "backups"}


def whole_ledger(folder: Path) -> bool:
    """Whether there is a ledger; where there is one it is whole."""
    found = {path.name for path in folder.iterdir()}
    assert found <= LEDGER_AND_ITS_OWN
    if not found:
        return False
    with contextlib.closing(sqlite3.connect(folder / "mountbook.db")) as ledger:
        assert ledger.execute("SELECT count(*) FROM pair").fetchone()[0] > 0
    return True


def first_import(folder: Path, seconds: float, *more: str) -> subprocess.CompletedProcess[str]:
    return interrupted(folder, seconds, "import", str(INVENTORY), "--apply", "--zone", "Europe/Vienna", *more)


@pytest.mark.parametrize(
    "seconds",
    [0.06, 1.0, *(pytest.param(late, marks=pytest.mark.long) for late in (0.2, 0.5, 2, 3, 4, 5, 6, 7, 8))],
)
def test_a_first_import_that_is_stopped_leaves_the_whole_ledger_or_none(
    tmp_path: Path, seconds: float
) -> None:
    done = first_import(tmp_path, seconds)
    assert "Traceback" not in done.stderr
    if not whole_ledger(tmp_path):
        assert done.returncode in STOPPED
        assert done.stderr.count("stopped before the end") == 1


def test_a_command_stopped_under_json_answers_with_one_object(tmp_path: Path) -> None:
    done = first_import(tmp_path, 0.6, "--json")
    assert done.returncode in STOPPED
    assert json.loads(done.stdout)["refused"].startswith("stopped before the end")
    whole_ledger(tmp_path)


@pytest.mark.parametrize("seconds", [0.06, *(pytest.param(t, marks=pytest.mark.long) for t in (1, 3, 6))])
def test_a_plan_that_is_stopped_leaves_the_ledger_alone_and_no_part_of_a_plan(
    tmp_path: Path, seconds: float
) -> None:
    made = [sys.executable, "-m", "planner.cli.main", "import", str(INVENTORY), "--apply"]
    if seconds > 0.5:
        subprocess.run(made, cwd=tmp_path, check=False, capture_output=True)
    else:
        (tmp_path / "mountbook.db").write_bytes(b"not looked at yet")
    before = (tmp_path / "mountbook.db").read_bytes()
    there = {path.name for path in tmp_path.iterdir()}
    done = interrupted(tmp_path, seconds, "plan", "--out", "plan_1")
    assert "Traceback" not in done.stderr
    assert (tmp_path / "mountbook.db").read_bytes() == before
    found = {path.name for path in tmp_path.iterdir()}
    if found != there:  # a quick machine had it ready before
        assert found == there | {"plan_1"}
        assert {path.name for path in (tmp_path / "plan_1").iterdir()} == PLAN
        return
    assert done.returncode in STOPPED
    assert there <= LEDGER_AND_ITS_OWN


def test_ctrl_c_while_a_class_is_made_is_no_fault_of_the_program(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Python 3.11 tells it as a RuntimeError: Error calling __set_name__. Enums have such names."""

    class Named:
        def __set_name__(self, owner: type, name: str) -> None:
            raise KeyboardInterrupt

    def run() -> None:
        type("Made", (), {"name": Named()})

    monkeypatch.setattr(main, "_run", run)
    with pytest.raises(SystemExit) as ended:
        main.main()
    assert ended.value.code == STOPPED[0]
    assert capsys.readouterr().err.count("stopped before the end") == 1
