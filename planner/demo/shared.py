"""Shared by the chapters of the story: where the sample lies, who acts, and the story under way."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import Final

from fleet.ledger.desk import Desk
from fleet.ledger.ledger import Ledger
from planner.plan.values import Plan

SAMPLE: Final = Path(__file__).parents[2] / "sample_fleet"
HEAD_TECHNICIAN: Final = "Ida Fennweg"
TECHNICIAN: Final = "Jory Malkin-Tor"
SECOND: Final = "Sanne Oderbrook"
MANAGER: Final = "Wim Tarrowby"
COUNTER: Final = "Nell Abresthal"

Say = Callable[[str], None]


@dataclass(frozen=True, slots=True, kw_only=True)
class Chapter:
    """One part of the story: a title, its files (relative names) and a few plain facts."""

    title: str
    facts: tuple[str, ...]
    files: tuple[tuple[str, str], ...] = ()


@dataclass(slots=True)
class Story:
    """The story under way: its folder, its ledger, and the plan that its later chapters follow."""

    sample: Path
    folder: Path
    ledger: Ledger
    say: Say
    plan: Plan
    chapters: list[Chapter] = field(default_factory=list)

    def desk(self, by: str, now: datetime) -> AbstractContextManager[Desk]:
        """One human action at that moment of the story."""
        return self.ledger.desk(by=by, now=now)
