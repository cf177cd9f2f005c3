"""Hours entered later, days after a long silence, who confirms them, and clocks that were wrong."""

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta
from typing import Final

from fleet.base.days import time_text
from fleet.base.entries import Entry, name_key, parse_utc, utc_text
from fleet.base.errors import BadInput, Refused, in_words
from fleet.checks.derived import empty_state
from fleet.events import derive
from fleet.events.corrections import NOT_COLUMNS, ClockMended, DayConfirmed, MendedTimes
from fleet.events.stops import GlueHour, HourConfirmed
from fleet.facts.staff import listed
from fleet.ledger.corrections import read_entry
from fleet.ledger.desk import Desk, head, signer
from fleet.ledger.history import entries_concerning
from fleet.ledger.transaction import CLOCK_SLACK, Transaction
from fleet.tables.connection import read_shop
from fleet.tables.snapshot import read_policy, read_staff


def hour_words(desk: Desk, entry: int) -> str:
    """Return what is to be said after an entry whose glue cures from the entry; "" where nothing is."""
    waits = "SELECT 1 FROM glue WHERE entry = ? AND stated > '' AND at > stated"
    if desk.connection.execute(waits, (entry,)).fetchone() is None:
        return ""
    return (
        "; its cure counts from now, until a second person confirms the hour:"
        f" mountbook confirm-hour {entry} --by NAME"
    )


def confirm_hours(desk: Desk, entries: Sequence[int]) -> dict[GlueHour, str]:
    """Enter that a second listed person confirms the stated hours of these entries, all or none.

    Return the hours (UTC text) from which the cure counts now.

    Raises Refused for an entry that waits for no such word, and for who entered one of them.
    """
    signer(desk.connection, desk.by, days=desk.signing_days, what="confirm an hour")
    desk.second_signature()
    found: dict[GlueHour, str] = {}
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
        found |= {GlueHour(tag=tag, entry=seq): stated for tag, _, stated in rows}
    desk.enter(HourConfirmed(hours=tuple(found)))
    return found


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
        zone = read_shop(connection).zone
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


Run = tuple[int, int, timedelta]
"""First entry, last entry, and how much later it was than they say."""


def mend_clock(desk: Desk, first: int, last: int, *, shift: timedelta, why: str) -> tuple[str, ...]:
    """Enter that the clock was wrong for that run of entries; return the pairs whose times it sets right.

    Raises Refused unless a head technician or a manager signs, and unless the right times lie between the
    entry before the run and the one after it, or now, each after the one before.
    """
    connection = desk.connection
    head(connection, desk.by, days=desk.signing_days, what="mend a clock")
    why = in_words(why, "what was wrong with the clock")
    if not 1 < first <= last <= desk.tx.head.seq:
        raise Refused(
            f"{first} to {last} is no run of entries", cure="see the entries' numbers in `mountbook ski PAIR`"
        )
    if not shift:
        raise BadInput("that moves nothing", cure="check the two times")
    runs = [*_runs(connection), (first, last, shift)]
    _check_between(desk, first, last, runs)
    tags = [
        tag
        for (tag,) in connection.execute(
            "SELECT DISTINCT tag FROM naming LEFT JOIN renamed ON old = name"
            " JOIN standing ON tag = coalesce(new, name) WHERE naming.entry BETWEEN ? AND ? ORDER BY tag",
            (first, last),
        )
    ]
    pairs = tuple(_times(connection, tag, desk.tx.head.seq, runs) for tag in tags)
    seconds = round(shift.total_seconds())
    desk.enter(ClockMended(first=first, last=last, seconds=seconds, pairs=pairs), note=why)
    return tuple(tags)


def _runs(connection: sqlite3.Connection) -> list[Run]:
    rows = connection.execute(
        "SELECT body ->> 'first', body ->> 'last', body ->> 'seconds' FROM entries WHERE what = ?",
        (ClockMended.WHAT,),
    )
    return [(first, last, timedelta(seconds=seconds)) for first, last, seconds in rows]


def _check_between(desk: Desk, first: int, last: int, runs: Sequence[Run]) -> None:
    def written(seq: int) -> datetime:
        return parse_utc(_mended(read_entry(desk.connection, seq), runs).recorded_at_utc)

    def text(moment: datetime) -> str:
        return time_text(utc_text(moment), desk.zone)

    for seq in range(first, last + 1):
        if written(seq) < written(seq - 1) - CLOCK_SLACK:
            end = "begins with the first" if seq == first else "ends with the last"
            raise Refused(
                f"entry {seq} would be of {text(written(seq))}, before entry {seq - 1} of"
                f" {text(written(seq - 1))}",
                cure=f"check the two times; a run {end} entry of the wrong clock",
            )
    newest = last == desk.tx.head.seq
    until = desk.now if newest else written(last + 1)
    if written(last) > until + CLOCK_SLACK:
        after = "now" if newest else f"entry {last + 1}"
        raise Refused(
            f"entry {last} would be of {text(written(last))}, after {after} of {text(until)}",
            cure="check the two times; a run ends with the last entry of the wrong clock",
        )


def _mended(entry: Entry, runs: Sequence[Run]) -> Entry:
    """Return the entry with its times set right; a time that somebody typed stays as it is."""
    shift = sum((by for first, last, by in runs if first <= entry.seq <= last), timedelta())
    if not shift:
        return entry
    written = utc_text(parse_utc(entry.recorded_at_utc) + shift)
    stated = entry.stated_at_utc if entry.entered_later else written
    return replace(entry, recorded_at_utc=written, stated_at_utc=stated)


def _times(connection: sqlite3.Connection, tag: str, until: int, runs: Sequence[Run]) -> MendedTimes:
    """Return the pair's times as its entries give them, followed anew from the first one on."""
    columns = [name for name in MendedTimes.__struct_fields__ if name not in NOT_COLUMNS]
    with closing(empty_state()) as state:
        for entry in entries_concerning(connection, tag, until=until):
            if entry.what != ClockMended.WHAT:
                derive(state, _mended(entry, runs))
        row = state.execute(f"SELECT {', '.join(columns)} FROM standing WHERE tag = ?", (tag,)).fetchone()
        glue = state.execute("SELECT entry, at, stated FROM glue WHERE tag = ? ORDER BY entry", (tag,))
        tests = state.execute("SELECT entry, at FROM release_test WHERE tag = ? ORDER BY entry", (tag,))
        return MendedTimes(
            **dict(zip(columns, row, strict=True)), glue=tuple(glue.fetchall()), tests=tuple(tests.fetchall())
        )
