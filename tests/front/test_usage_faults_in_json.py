"""Wrong usage with --json is one JSON object on stdout and exit code 2, as for every refusal."""

import json
import subprocess
import sys

import pytest

WRONG = ("plan --json", "nosuch --json", "why K-001 --json", "plan --out x --minutes -5 --json")


@pytest.mark.parametrize("typed", WRONG)
def test_wrong_usage_with_json_is_one_object_and_exit_code_two(typed: str, tmp_path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "planner.cli.main", "--ledger", str(tmp_path / "none.db"), *typed.split()],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 2
    assert json.loads(done.stdout)["refused"]
    assert "Traceback" not in done.stderr
    assert not list(tmp_path.iterdir())
