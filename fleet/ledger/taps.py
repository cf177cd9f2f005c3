"""Actions sent by a page: an action that is sent twice is found again, because its entries carry its id.

The id stands in the body of each entry, under the entry's hash. So it is decided in the entry's own
transaction: after a kill either both are in the file or neither is, and a backup brings both.
"""

from __future__ import annotations

import re
import secrets
import sqlite3
from hashlib import sha256
from typing import Final

from fleet.base.errors import BadInput, Refused

_FORM: Final = re.compile(r"[A-Za-z0-9_-]{16,40}")


def new_tap() -> str:
    """Return an id that no other action has: 16 characters, drawn."""
    return secrets.token_urlsafe(12)


def checked_tap(text: str) -> str:
    """Return the id of an action as a page sent it. Raises BadInput for anything else."""
    if not _FORM.fullmatch(text):
        raise BadInput("this action has no id of its own", cure="open the page again; nothing was entered")
    return text


def part_of_tap(tap: str, name: str) -> str:
    """Return the id of one part of an action on many things, the same each time the action is sent."""
    return sha256(f"{checked_tap(tap)} {name}".encode()).hexdigest()[:32]


def entries_of_tap(connection: sqlite3.Connection, tap: str) -> tuple[int, ...]:
    """Return the entries that came about by that action, in their order; () where there are none."""
    rows = connection.execute("SELECT entry FROM tap WHERE id = ? ORDER BY entry", (tap,))
    return tuple(row[0] for row in rows)


class EnteredBefore(Exception):
    """The action was entered before: ``entries`` are those of then. No fault, and nothing was done now."""

    def __init__(self, entries: tuple[int, ...]) -> None:
        super().__init__(f"entered before: {entries}")
        self.entries = entries


def newest_scan_at(connection: sqlite3.Connection, desk: str) -> str:
    """Return the tag of that desk's newest out or back that can still be undone. Raises Refused."""
    row = connection.execute(
        "SELECT tag FROM standing JOIN tap ON tap.entry = standing.undo_entry"
        " WHERE undo_entry > 0 AND tap.desk = ? ORDER BY undo_entry DESC LIMIT 1",
        (desk,),
    ).fetchone()
    if row is None:
        raise Refused(f"{desk} has no scan to undo", cure="name the pair: undo, then its tag")
    return str(row[0])
