"""Actions sent by a page: an action that is sent twice is found again, because its entries carry its id.

The id stands in the body of each entry, under the entry's hash. So it is decided in the entry's own
transaction: after a kill either both are in the file or neither is, and a backup brings both.
"""

import re
import secrets
import sqlite3
from dataclasses import dataclass, field
from datetime import date
from hashlib import sha256
from typing import Final

from fleet.base.days import midnight
from fleet.base.entries import utc_text
from fleet.base.errors import BadInput, Refused
from fleet.events.movement import PairBack, PairOut, ScanUndone

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


@dataclass(slots=True)
class ScansOfDay:
    """Counts the pairs that went out and came back at one desk on a day of the shop. A scan undone, here or
    elsewhere, is not counted.
    """

    desk: str
    day: date
    zone: str
    counts: dict[str, int] = field(default_factory=lambda: {PairOut.WHAT: 0, PairBack.WHAT: 0})
    _read_until: int | None = None

    def read_on(self, connection: sqlite3.Connection) -> tuple[int, int]:
        """Return the outs and the backs; only entries that came since the last time are read."""
        begun = utc_text(midnight(self.day, self.zone))
        (head,) = connection.execute("SELECT max(seq) FROM entries").fetchone()
        if self._read_until is None:
            query = "SELECT coalesce(min(entry) - 1, ?) FROM day_begun WHERE day >= ?"
            (self._read_until,) = connection.execute(query, (head, begun[:10])).fetchone()
        for what, count in connection.execute(
            "SELECT scan.what, sum(CASE said.what WHEN ?1 THEN -1 ELSE 1 END) FROM entries AS said"
            " CROSS JOIN entries AS scan ON scan.seq ="
            " CASE said.what WHEN ?1 THEN json_extract(said.body, '$.entry') ELSE said.seq END"
            " CROSS JOIN tap ON tap.entry = scan.seq"
            " WHERE said.seq > ?2 AND said.what IN (?1, ?3, ?4) AND scan.recorded_at_utc >= ?5"
            " AND tap.desk = ?6 GROUP BY scan.what",
            (ScanUndone.WHAT, self._read_until, PairOut.WHAT, PairBack.WHAT, begun, self.desk),
        ):
            self.counts[what] += count
        self._read_until = head
        return self.counts[PairOut.WHAT], self.counts[PairBack.WHAT]
