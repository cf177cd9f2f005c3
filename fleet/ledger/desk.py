"""A desk: one human action with its person, its time of entry, and its stated time."""

import sqlite3
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import overload
from zoneinfo import ZoneInfo

from fleet.base.days import time_text
from fleet.base.entries import Body, parse_utc, utc_text
from fleet.base.errors import AnotherSigns, BadInput
from fleet.events.event import LEFT_OUT, Event, Later
from fleet.facts.standing import Moment
from fleet.ledger.transaction import CLOCK_SLACK, Transaction
from fleet.tables.snapshot import read_policy


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """A transaction with its person and its times. ``stated`` is None for what happens now.

    ``typed``: whether the person was named for this action; else it is the name that the desk has.
    """

    tx: Transaction
    by: str
    now: datetime
    zone: str
    stated: datetime | None = None
    typed: bool = True

    def __post_init__(self) -> None:
        if self.stated is None:
            return
        if self.stated > self.now + CLOCK_SLACK:
            raise BadInput(
                f"{self._time_text(self.stated)} has not come yet:"
                f" this machine's clock says {self._time_text(self.now)}",
                cure="a time given with --at lies in the past; a clock that is wrong is set by the network",
            )
        if self.before_first_entry > timedelta(days=read_policy(self.connection).count("back_date_days")):
            raise BadInput(
                f"{self._time_text(self.stated)} lies {self.before_first_entry.days} days before the first"
                " entry of this ledger",
                cure="check the year given with --at; the policy back_date_days says how far back it may lie",
            )

    @property
    def before_first_entry(self) -> timedelta:
        """The time by which the stated moment lies before the ledger's first entry; zero if after it."""
        first = self.connection.execute("SELECT recorded_at_utc FROM entries WHERE seq = 1").fetchone()[0]
        return max(parse_utc(first) - self.at, timedelta())

    def _time_text(self, moment: datetime) -> str:
        return time_text(utc_text(moment), self.zone)

    @property
    def connection(self) -> sqlite3.Connection:
        """The state as this action sees it."""
        return self.tx.connection

    @property
    def at(self) -> datetime:
        """The moment when it happened."""
        return self.stated or self.now

    @property
    def moment(self) -> str:
        """The moment when it happened, as UTC text."""
        return utc_text(self.at)

    @property
    def day(self) -> date:
        """The shop's day on which it happened."""
        return self.at.astimezone(ZoneInfo(self.zone)).date()

    @property
    def signing_days(self) -> tuple[date, ...]:
        """The days on which a signature must count: when it happened and when it is entered."""
        return (self.day, self.now.astimezone(ZoneInfo(self.zone)).date())

    @property
    def cure_from_entry(self) -> bool | Later:
        """True for a time entered later: its glue cures from the entry, until a second person confirms it."""
        return LEFT_OUT if self.stated is None else True

    def second_signature(self) -> None:
        """Refuse the desk's own name for what a second person signs."""
        if not self.typed:
            raise AnotherSigns(
                f"a second person signs this: {self.by} is only the name of this desk",
                cure="type who it is with --by NAME",
                names=(),
            )

    @overload
    def enter(self, event: Event, /, *, note: str = "") -> int: ...

    @overload
    def enter(self, event: str, body: Body, /, *, note: str = "") -> int: ...

    def enter(self, event: Event | str, body: Body | None = None, /, *, note: str = "") -> int:
        """Append one entry in this person's name at this time."""
        if isinstance(event, Event):
            return self.tx.enter(event, stated_at=self.stated, note=note, by=self.by)
        return self.tx.enter(event, body or {}, stated_at=self.stated, note=note, by=self.by)

    def check_after(self, event: Moment, tag: str, words: str) -> None:
        """Refuse a stated time that is not later than something that must lie before it."""
        if event.entry and self.moment <= event.at:
            raise BadInput(
                f"{tag} {words} {time_text(event.at, self.zone)}, which is not before"
                f" {time_text(self.moment, self.zone)}",
                cure="check the time given with --at"
                if self.stated is not None
                else "a clock is wrong, here or where that was entered: set both by the network, then"
                " mountbook mend-clock",
            )
