"""Entries about makers' recalls."""

from __future__ import annotations

import sqlite3

from fleet.events.handler import Handler, insert
from fleet.entries import Entry
from fleet.errors import Refused


def _opened(connection: sqlite3.Connection, entry: Entry) -> None:
    """{recall, pattern, piece, serial_from, serial_to, season, source}; empty fields do not narrow it."""
    body = entry.body
    if body["piece"] not in ("", "toe", "heel"):
        raise Refused(f"a recall names toe, heel or neither, not {body['piece']!r}")
    if connection.execute("SELECT 1 FROM recall WHERE recall = ?", (body["recall"],)).fetchone():
        raise Refused(f"recall {body['recall']} stands in the ledger already", cure="give it another name")
    insert(connection, "recall", body | {"opened_entry": entry.seq, "closed_entry": None})


def _closed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{recall}, how it ended as the note."""
    changed = connection.execute(
        "UPDATE recall SET closed_entry = ? WHERE recall = ? AND closed_entry IS NULL",
        (entry.seq, entry.body["recall"]),
    ).rowcount
    if not changed:
        raise Refused(f"there is no open recall {entry.body['recall']}", cure="see `mountbook recall list`")


HANDLERS: dict[str, Handler] = {"recall opened": _opened, "recall closed": _closed}
