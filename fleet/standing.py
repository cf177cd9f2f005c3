"""How a pair stands: the facts a rule about going out may depend on, as one frozen value."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable
from dataclasses import dataclass
from typing import NamedTuple

from fleet.equipment import Place
from fleet.errors import Refused

REMOVED = "(text removed)"
"""What stands in place of a note that was blanked."""


class Moment(NamedTuple):
    """An event by entry number and by stated time (UTC text). Number 0: it never happened."""

    entry: int
    at: str

    def is_later_than(self, other: Moment) -> bool:
        """Later both by number and by stated time. Nothing that never happened is later."""
        return self.entry > other.entry and self.at > other.at


def pass_counts(passed: Moment, events: Iterable[Moment]) -> bool:
    """Whether a pass counts: there is one, and it is later than each of the events.

    A return entered late with an earlier time has the later number; a pass entered late has the earlier
    time; neither slips under the other.
    """
    return passed.entry > 0 and all(passed.is_later_than(event) for event in events)


@dataclass(frozen=True, slots=True, kw_only=True)
class Standing:
    """One row of the table ``standing``. Times are UTC text, empty where the thing never happened.

    ``hold_why`` is what the look found, or the free text of the hold; what was stopped at the bench stands
    before it (``stop_why``), until the head technician ends that.
    """

    tag: str
    place: Place
    since: Moment
    out: Moment
    out_boot: str | None
    out_due: str | None
    returned: Moment
    said_entry: int
    days_out: int
    work: Moment
    work_what: str
    workers: tuple[str, ...]
    second_check: bool
    returns_since_work: int
    glued_at: str
    glued_with: tuple[str, ...]
    look_entry: int
    fault: Moment
    loose: tuple[tuple[str, str], ...]
    returns_since_fault: int
    passed: Moment
    pass_by: str
    hold_entry: int
    hold_why: str
    stop_entry: int
    stop_why: str
    quarantine_entry: int
    quarantine_why: str
    undo_entry: int

    @property
    def passes(self) -> bool:
        """Whether the newest pass counts."""
        return pass_counts(self.passed, (self.returned, self.work, self.fault))


def standing_from_row(row: dict[str, object]) -> Standing:
    """A Standing from a row of the table by column name."""

    def moment(what: str) -> Moment:
        return Moment(int(str(row[f"{what}_entry"])), str(row[f"{what}_at"]))

    def text(name: str) -> str | None:
        value = row[name]
        return None if value is None else str(value)

    stop_why = _stop_words(row) if row["stop_entry"] else ""
    hold_why = str(row["hold_why"] or row["hold_note"] or REMOVED) if row["hold_entry"] else ""
    return Standing(
        tag=str(row["tag"]),
        place=Place(str(row["place"])),
        since=moment("place"),
        out=moment("out"),
        out_boot=text("out_boot"),
        out_due=text("out_due"),
        returned=moment("return"),
        said_entry=int(str(row["said_entry"])),
        days_out=int(str(row["days_out"])),
        work=moment("work"),
        work_what=str(row["work_what"]),
        workers=tuple(json.loads(str(row["workers"]))),
        second_check=bool(row["second_check"]),
        returns_since_work=int(str(row["returns_since_work"])),
        glued_at=str(row["glued_at"]),
        glued_with=tuple(json.loads(str(row["glued_with"]))),
        look_entry=int(str(row["look_entry"])),
        fault=moment("fault"),
        loose=tuple((side, piece) for side, piece in json.loads(str(row["loose"]))),
        returns_since_fault=int(str(row["returns_since_fault"])),
        passed=moment("pass"),
        pass_by=str(row["pass_by"]),
        hold_entry=int(str(row["hold_entry"] or row["stop_entry"])),
        hold_why="; ".join(why for why in dict.fromkeys((stop_why, hold_why)) if why),
        stop_entry=int(str(row["stop_entry"])),
        stop_why=stop_why,
        quarantine_entry=int(str(row["quarantine_entry"])),
        quarantine_why=str(row["quarantine_note"] or REMOVED) if row["quarantine_entry"] else "",
        undo_entry=int(str(row["undo_entry"])),
    )


def _stop_words(row: dict[str, object]) -> str:
    """What was stopped, with the reason given in free text where there is one."""
    if row["stop_noted"] is None:
        return str(row["stop_why"])
    return f"{row['stop_why']}: {row['stop_note'] or REMOVED}"


def read_standings(
    connection: sqlite3.Connection, *, where: str = "", args: tuple[object, ...] = ()
) -> tuple[Standing, ...]:
    """Standings in order of tag. ``where`` is a condition written in code, never taken from data."""
    clause = f" WHERE {where}" if where else ""
    cursor = connection.execute(
        "SELECT standing.*, held.text AS hold_note, locked.text AS quarantine_note,"
        " stopped.seq AS stop_noted, stopped.text AS stop_note FROM standing"
        " LEFT JOIN notes AS held ON held.seq = hold_entry"
        " LEFT JOIN notes AS stopped ON stopped.seq = stop_entry"
        f" LEFT JOIN notes AS locked ON locked.seq = quarantine_entry{clause} ORDER BY tag",
        args,
    )
    names = [column[0] for column in cursor.description]
    return tuple(standing_from_row(dict(zip(names, row, strict=True))) for row in cursor)


def read_standing(connection: sqlite3.Connection, tag: str) -> Standing:
    """The pair's standing, or Refused with the nearest tag."""
    found = read_standings(connection, where="tag = ?", args=(tag,))
    if not found:
        from difflib import get_close_matches

        tags = [row[0] for row in connection.execute("SELECT tag FROM pair ORDER BY tag")]
        near = get_close_matches(tag, tags, n=1)
        raise Refused(
            f"there is no pair {tag} in the ledger",
            cure=f"did you mean {near[0]}?" if near else "check the tag",
        )
    return found[0]
