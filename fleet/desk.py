"""One human action at a desk: who acts, when it is entered, and when it is said to have happened."""

from __future__ import annotations

import sqlite3
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from fleet.entries import Body, utc_text
from fleet.errors import BadInput
from fleet.standing import Moment
from fleet.transaction import CLOCK_SLACK, Transaction


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """A transaction with its person and its times. ``stated`` is None for what happens now."""

    tx: Transaction
    by: str
    now: datetime
    zone: str
    stated: datetime | None = None

    def __post_init__(self) -> None:
        if self.stated is not None and self.stated > self.now + CLOCK_SLACK:
            raise BadInput(
                f"{self.stated:%Y-%m-%d %H:%M} has not come yet",
                cure="a time given with --at lies in the past",
            )

    @property
    def connection(self) -> sqlite3.Connection:
        """The state as this action sees it."""
        return self.tx.connection

    @property
    def at(self) -> datetime:
        """When it happened."""
        return self.stated or self.now

    @property
    def moment(self) -> str:
        """When it happened, as UTC text."""
        return utc_text(self.at)

    @property
    def day(self) -> date:
        """The shop's day on which it happened."""
        return self.at.astimezone(ZoneInfo(self.zone)).date()

    @property
    def signing_days(self) -> tuple[date, ...]:
        """The days on which a signature must count: when it happened and when it is entered."""
        return (self.day, self.now.astimezone(ZoneInfo(self.zone)).date())

    def enter(self, what: str, body: Body, *, note: str = "") -> int:
        """Append one entry in this person's name at this time."""
        return self.tx.enter(what, body, stated_at=self.stated, note=note, by=self.by)

    def check_after(self, event: Moment, tag: str, words: str) -> None:
        """Refuse a stated time that is not later than something that must lie before it."""
        if event.entry and self.moment <= event.at:
            from fleet.days import time_text

            raise BadInput(
                f"{tag} {words} {time_text(event.at, self.zone)}, which is not before"
                f" {time_text(self.moment, self.zone)}",
                cure="check the time given with --at",
            )
