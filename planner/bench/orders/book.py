"""The book of work orders: numbers, revisions, and open orders."""

import json
import re
import sqlite3
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from fleet.base.errors import BadInput, Refused
from fleet.facts.order_numbers import order_number
from planner.bench.orders.bench_record import Screw
from planner.bench.orders.hole_names import from_kept, labels_of
from planner.plan.codec import planned_set_from_body
from planner.plan.values import PlannedSet

_ORDER = re.compile(r"(WO-\d{4}-\d{4,})(?:[ /-]*(?:REV[. ]*)?([A-Z]{1,2}))?(?:/(.+)/(A|B|AB))?")
"""Number and letter, as typed; or with pair and ski, as the code on the sheet says it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class WorkOrder:
    """One issued revision. ``state``: open, done, stopped or cancelled."""

    number: str
    revision: str
    tag: str
    boot: str
    state: str
    way: str
    minutes: int
    giver: str | None
    pair_state: str
    giver_state: str | None
    body: dict[str, Any]
    issued_entry: int

    @property
    def name(self) -> str:
        """The name printed on the sheet: ``WO-2611-0417 A``."""
        return f"{self.number} {self.revision}"

    @property
    def planned(self) -> PlannedSet:
        """The planned set that the sheet shows."""
        return planned_set_from_body(self.body["set"])

    @property
    def labels(self) -> dict[Screw, str]:
        """The name of each screw on the sheet; it is typed in the same way."""
        return labels_of(self.planned.way, self.holes)

    @property
    def holes(self) -> dict[Screw, str] | None:
        """The id of each screw's hole as its sheet names it; None for a sheet that names turns instead."""
        kept = self.body.get("holes")
        return None if kept is None else from_kept(kept)


def next_number(used: Mapping[str, int], day: date) -> str:
    """Return the next free number of that month: ``WO-2611-0001``. ``used``: the highest by month."""
    month = f"{day:%y%m}"
    return order_number(month, used.get(month, 0) + 1)


def next_revision(revision: str) -> str:
    """Return the next of A, B ... Z, AA, AB: letters, so that a revision is never taken for a number."""
    head, last = revision[:-1], revision[-1]
    if last != "Z":
        return head + chr(ord(last) + 1)
    return (next_revision(head) if head else "A") + "A"


def read_orders(connection: sqlite3.Connection, *, everything: bool = False) -> tuple[WorkOrder, ...]:
    """Return open orders, or all of them, by number and revision."""
    where = "" if everything else " WHERE state = 'open'"
    return tuple(
        _order(row)
        for row in connection.execute(f"{_COLUMNS}{where} ORDER BY number, length(revision), revision")
    )


def find_order(connection: sqlite3.Connection, text: str) -> WorkOrder:
    """Return the order of this sheet. Raises Refused unless it is the newest revision and open.

    Where a number has several revisions the letter must be given: the number alone does not tell the
    sheet that counts from the one that should have been collected.
    """
    match = _ORDER.fullmatch(text.strip().upper())
    if match is None:
        raise BadInput(f"{text!r} is not the number of a work order", cure="it reads like WO-2611-0417 A")
    number, letter, tag, _ = match.groups()
    rows = [
        _order(row)
        for row in connection.execute(
            f"{_COLUMNS} WHERE number = ? ORDER BY length(revision), revision", (number,)
        )
    ]
    if not rows:
        raise Refused(f"there is no work order {number}", cure="see `mountbook order list`")
    newest = rows[-1]
    if letter is None and len(rows) > 1:
        raise Refused(
            f"{number} has revisions {', '.join(row.revision for row in rows)}: which sheet is it?",
            cure=f"give the letter on the sheet; only {newest.name} counts",
        )
    if tag is not None and tag != newest.tag.upper():
        raise Refused(
            f"{number} is for {newest.tag}, and the code says {tag}", cure="type the order's number"
        )
    chosen = next((row for row in rows if row.revision == (letter or newest.revision)), None)
    if chosen is None:
        raise Refused(f"{number} has no revision {letter}", cure=f"the newest is {newest.name}")
    if chosen is not newest:
        raise Refused(
            f"{chosen.name} is not the newest revision; {newest.name} is", cure="collect the old sheet"
        )
    if chosen.state != "open":
        raise Refused(f"{chosen.name} is {chosen.state}, not open", cure="see `mountbook order list --all`")
    return chosen


_COLUMNS = (
    "SELECT number, revision, tag, boot, state, way, minutes, giver, pair_state, giver_state, body,"
    " issued_entry FROM work_order"
)


def _order(row: tuple[Any, ...]) -> WorkOrder:
    return WorkOrder(
        number=row[0],
        revision=row[1],
        tag=row[2],
        boot=row[3],
        state=row[4],
        way=row[5],
        minutes=row[6],
        giver=row[7],
        pair_state=row[8],
        giver_state=row[9],
        body=json.loads(row[10]),
        issued_entry=row[11],
    )
