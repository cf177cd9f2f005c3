"""Entries about samples and operating days."""

from __future__ import annotations

import sqlite3

from fleet.days import shop_day
from fleet.events.handler import Handler, insert
from fleet.entries import Entry, canonical_json
from fleet.errors import Refused


def operated(connection: sqlite3.Connection, entry: Entry) -> None:
    """Something went out or came back: that day of the shop's calendar was an operating day."""
    day = shop_day(entry.stated_at_utc, entry.zone).isoformat()
    connection.execute("INSERT INTO operating_day (day) VALUES (?) ON CONFLICT (day) DO NOTHING", (day,))


def _not_counted(connection: sqlite3.Connection, entry: Entry) -> None:
    """{day}, the reason as its note: a storm day."""
    connection.execute("DELETE FROM operating_day WHERE day = ?", (entry.body["day"],))


def _drawn(connection: sqlite3.Connection, entry: Entry) -> None:
    """{day, seed, reading, kinds, lot, size, allowed, derived, from_returns, from_rack}"""
    insert(connection, "sample", {"entry": entry.seq, "body": canonical_json(entry.body), "outcome": None})


def _result(connection: sqlite3.Connection, entry: Entry) -> None:
    """{sample, unit, tag, found, device}: what a person found; the remark is its note."""
    body = entry.body
    open_one = connection.execute(
        "SELECT 1 FROM sample WHERE entry = ? AND outcome IS NULL", (body["sample"],)
    ).fetchone()
    if open_one is None:
        raise Refused(f"sample {body['sample']} is not open")
    insert(
        connection,
        "sample_result",
        {"entry": entry.seq, "sample": body["sample"], "unit": body["unit"], "found": body["found"]},
    )


def _closed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{sample, outcome: PASS | FAIL}"""
    if entry.body["outcome"] not in ("PASS", "FAIL"):
        raise Refused("a sample ends with PASS or FAIL")
    changed = connection.execute(
        "UPDATE sample SET outcome = ? WHERE entry = ? AND outcome IS NULL",
        (entry.body["outcome"], entry.body["sample"]),
    ).rowcount
    if not changed:
        raise Refused(f"sample {entry.body['sample']} is not open")


HANDLERS: dict[str, Handler] = {
    "day not counted": _not_counted,
    "sample drawn": _drawn,
    "sample result": _result,
    "sample closed": _closed,
}
