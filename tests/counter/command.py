"""The command line, in this process."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from tests.counter.shop import WIM

NOW = "2026-12-27T18:00:00+01:00"


@dataclass
class Answer:
    returncode: int
    stdout: str

    @property
    def json(self) -> Any:
        """The one JSON object; nothing else may stand on stdout."""
        return json.loads(self.stdout)


class Command:
    """The command line on that ledger, from six in the evening, a minute each."""

    def __init__(self, ledger: Path, patch: pytest.MonkeyPatch, capture: pytest.CaptureFixture[str]) -> None:
        self.ledger = ledger
        self._patch, self._capture = patch, capture
        self._now = datetime.fromisoformat(NOW)
        patch.setenv("MOUNTBOOK_BY", WIM)

    def wait(self, *, minutes: int) -> None:
        """Nobody types for so long."""
        self._now += timedelta(minutes=minutes)

    def __call__(self, *args: str) -> Answer:
        from planner.cli.main import main

        self._capture.readouterr()
        self._now += timedelta(minutes=1)
        self._patch.setenv("MOUNTBOOK_NOW", self._now.isoformat())
        self._patch.setattr(sys, "argv", ["mountbook", "--ledger", str(self.ledger), *args])
        with pytest.raises(SystemExit) as ended:
            main()
        return Answer(int(ended.value.code or 0), self._capture.readouterr().out)
