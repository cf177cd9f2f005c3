"""A clock that was wrong: by how much, for which entries, and what follows for each pair they name."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import replace
from datetime import datetime, timedelta

from fleet.base.days import time_text
from fleet.base.entries import Entry, parse_utc, utc_text
from fleet.base.errors import BadInput, Refused
from fleet.base.words import in_words
from fleet.checks.derived import empty_state
from fleet.events import derive
from fleet.events.clocks import NOT_COLUMNS, ClockMended, MendedTimes
from fleet.ledger.corrections import read_entry
from fleet.ledger.desk import Desk
from fleet.ledger.replay import entries_concerning
from fleet.ledger.signing import head
from fleet.ledger.transaction import CLOCK_SLACK

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

    if written(first) < written(first - 1) - CLOCK_SLACK:
        raise Refused(
            f"entry {first} would be of {text(written(first))}, before entry {first - 1} of"
            f" {text(written(first - 1))}",
            cure="check the two times; a run begins with the first entry of the wrong clock",
        )
    for seq in range(first + 1, last + 1):
        if written(seq) < written(seq - 1) - CLOCK_SLACK:
            raise Refused(
                f"entry {seq} would be of {text(written(seq))}, before entry {seq - 1} of"
                f" {text(written(seq - 1))}",
                cure="check the two times; a run ends with the last entry of the wrong clock",
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
