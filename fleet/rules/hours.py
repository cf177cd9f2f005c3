"""Hours that were entered later, days after a long silence, and the people who confirm them."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from fleet.base.days import time_text
from fleet.base.entries import name_key, parse_utc, utc_text
from fleet.base.errors import Refused
from fleet.events.corrections import DayConfirmed
from fleet.events.stops import GlueHour, HourConfirmed
from fleet.facts.staff import listed
from fleet.ledger.corrections import read_entry
from fleet.ledger.desk import Desk
from fleet.ledger.signing import signer
from fleet.ledger.transaction import Transaction
from fleet.tables.snapshot import read_policy, read_staff


@dataclass(frozen=True, slots=True, kw_only=True)
class ConfirmedHour:
    """Glue in a pair, whose cure counts from the stated hour now (UTC text)."""

    tag: str
    entry: int
    stated: str


def hour_words(desk: Desk, entry: int) -> str:
    """Return what is to be said after an entry whose glue cures from the entry; "" where nothing is."""
    waits = "SELECT 1 FROM glue WHERE entry = ? AND stated > '' AND at > stated"
    if desk.connection.execute(waits, (entry,)).fetchone() is None:
        return ""
    return (
        "; its cure counts from now, until a second person confirms the hour:"
        f" mountbook confirm-hour {entry} --by NAME"
    )


def confirm_hours(desk: Desk, entries: Sequence[int]) -> tuple[ConfirmedHour, ...]:
    """Enter that a second listed person confirms the stated hours of these entries, all or none.

    Raises Refused for an entry that waits for no such word, and for who entered one of them.
    """
    signer(desk.connection, desk.by, days=desk.signing_days, what="confirm an hour")
    desk.second_signature()
    found: list[ConfirmedHour] = []
    for seq in dict.fromkeys(entries):
        entry = read_entry(desk.connection, seq)
        rows = desk.connection.execute(
            "SELECT tag, at, stated FROM glue WHERE entry = ? AND stated > ''", (seq,)
        ).fetchall()
        if not rows:
            raise Refused(
                f"entry {seq} uses no glue", cure="see the entries' numbers in `mountbook ski PAIR`"
            )
        if all(at <= stated for _, at, stated in rows):
            raise Refused(f"entry {seq} was entered as it happened, or is confirmed", cure="leave it out")
        if name_key(entry.by) == name_key(desk.by):
            raise Refused(
                f"{desk.by} entered it: a second person confirms the hour of entry {seq}",
                cure="who saw the glue being used signs with --by NAME",
            )
        found += [ConfirmedHour(tag=tag, entry=seq, stated=stated) for tag, _, stated in rows]
    desk.enter(HourConfirmed(hours=tuple(GlueHour(tag=one.tag, entry=one.entry) for one in found)))
    return tuple(found)


def silence(connection: sqlite3.Connection, *, now: datetime) -> tuple[str, int] | None:
    """Return when the newest entry was made (UTC text) and the days since, where that is longer than the
    shop's rule lets pass: next autumn's first scan, or a clock that is wrong.
    """
    (newest,) = connection.execute("SELECT recorded_at_utc FROM entries ORDER BY seq DESC LIMIT 1").fetchone()
    days = (now - parse_utc(newest)).days
    if days < 1:  # the usual case: nothing is read at the counter for it
        return None
    return (newest, days) if days > read_policy(connection).count("quiet_days") else None


def silence_words(newest: str, days: int, *, now: datetime, zone: str) -> str:
    """Return the words ``the newest entry is of ..., 61 days ago; the clock says ...``."""
    return (
        f"the newest entry is of {time_text(newest, zone)}, {days} days ago;"
        f" the clock says {time_text(utc_text(now), zone)}"
    )


def check_silence(connection: sqlite3.Connection, *, now: datetime) -> None:
    """Raise Refused after a long silence of the ledger, until somebody says that the clock is right."""
    silent = silence(connection, now=now)
    if silent is not None:
        zone = str(connection.execute("SELECT zone FROM shop").fetchone()[0])
        raise Refused(silence_words(*silent, now=now, zone=zone), cure=SAY_TODAY)


SAY_TODAY: Final = "set the clock; where it is right: mountbook --yes-today, then the command"


def confirm_day(tx: Transaction, newest: str, *, by: str) -> int:
    """Enter that a listed person says what day it is. A right that ran out meanwhile is no matter here."""
    staff = read_staff(tx.connection)
    if staff and listed(staff, by) is None:
        raise Refused(
            f"{by!r} is not on the staff list and cannot say that the clock is right",
            cure=f"--by NAME, one of: {', '.join(staff)}",
        )
    return tx.enter(DayConfirmed(newest=newest), by=by)
