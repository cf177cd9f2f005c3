"""The book of work orders: numbers, revisions, open orders, and the names of their holes.

An old hole keeps its own name, a new one has its name before it is drilled. The name of a hole is the end of
its id, ``A7`` of ``K-031/A7``. Where both skis of a pair are drilled alike the two holes get one number,
above every number that either ski has ever used; none is given twice.

The screws of an order are tightened in turn. Common practice, no source: all in first, then diagonally. The
two holes of a pattern that lie farthest apart come first (a diagonal), then the farthest two of the rest, and
so on; in each two the one nearer the tip leads, and at equal x the left one.
"""

import json
import re
import sqlite3
from collections.abc import Mapping, Sequence
from datetime import date
from itertools import combinations
from typing import Any, Final

from fleet.base.errors import BadInput, Refused
from fleet.facts.holes import Side, hole_label, hole_number
from fleet.facts.order_numbers import OrderFacts, order_number
from fleet.facts.pairs import Pair
from planner.bench.orders.bench_record import Screw
from planner.plan.codec import planned_set_from_body
from planner.plan.values import PlannedSet, Way


def highest_number(pair: Pair) -> int:
    """Return the highest number that a hole of either ski has ever had."""
    kept = max(ski.holes_numbered_to for ski in pair.skis.values())
    now = (hole_number(pair.tag, side, h.hole_id) for side in Side for h in pair.skis[side].holes)
    return max(kept, *now, 0)


def hole_names(pair: Pair, way: Way) -> dict[Screw, str]:
    """Return the id of each screw's hole: the old hole's, or the one that the new hole will have."""
    names: dict[Screw, str] = {}
    number = highest_number(pair)
    for piece, in_pattern in turns_of(way):
        screws = {screw: hole for screw, hole in way.screws.items() if screw[1:] == (piece, in_pattern)}
        if any(hole.hole_id is None for hole in screws.values()):
            number += 1
        for screw, hole in screws.items():
            names[screw] = hole.hole_id or f"{pair.tag}/{screw[0].value}{number}"
    return names


def labels_of(way: Way, holes: Mapping[Screw, str] | None) -> dict[Screw, str]:
    """Return each screw by the name on its sheet: ``17`` on ski A is hole A17.

    ``holes`` None: an older sheet, on which the screws carry the turn in which they are tightened.
    """
    if holes is not None:
        return {screw: hole_label(name) for screw, name in holes.items()}
    turns = turns_of(way)
    return {(side, piece, number): str(turns[piece, number]) for side, piece, number in way.screws}


def as_kept(names: Mapping[Screw, str]) -> dict[str, str]:
    """Return hole names as an entry keeps them: ``A toe 1`` and the id."""
    return {f"{side} {piece} {number}": name for (side, piece, number), name in names.items()}


def from_kept(kept: Mapping[str, str]) -> dict[Screw, str]:
    """Return the hole names from which `as_kept` made these."""
    parts = {text: text.split(" ") for text in kept}
    return {(Side(side), piece, int(number)): kept[text] for text, (side, piece, number) in parts.items()}


_PIECES: Final = ("toe", "plate", "heel")


def tightening_order(holes: Sequence[tuple[int, int]]) -> tuple[int, ...]:
    """Return indices of the holes (x toward the tip, y to the right, any one unit) in tightening order.

    Distances are compared as whole squares, so the order is the same on every machine.
    """
    left = list(range(len(holes)))
    order: list[int] = []

    def lead(index: int) -> tuple[int, int, int]:
        return (-holes[index][0], holes[index][1], index)

    def rank(two: tuple[int, int]) -> tuple[int, tuple[int, int, int]]:
        (x1, y1), (x2, y2) = holes[two[0]], holes[two[1]]
        return (-((x1 - x2) ** 2 + (y1 - y2) ** 2), min(lead(two[0]), lead(two[1])))

    while len(left) > 1:
        two = min(combinations(left, 2), key=rank)
        order.extend(sorted(two, key=lead))
        left = [index for index in left if index not in two]
    return (*order, *left)


def turns_of(way: Way) -> dict[tuple[str, int], int]:
    """Return the turn of each screw, from 1: toe before heel, then diagonally.

    Ski A's holes decide for both skis: recorded holes lie some tenths apart, and the same screw has its turn
    on A and B alike. A screw that only ski B is known to have is counted in where it stands there.
    Keys are (piece, number in the pattern), as in plan.json, in the order of their turns.
    """
    numbers: dict[tuple[str, int], int] = {}
    known = {(hole.piece, hole.number): hole for side in (Side.B, Side.A) for hole in way.skis[side].holes}
    holes = known.values()
    pieces = sorted({hole.piece for hole in holes}, key=lambda piece: (_PIECES.index(piece), piece))
    for piece in pieces:
        own = sorted((hole for hole in holes if hole.piece == piece), key=lambda hole: hole.number)
        front = max(hole.x_um for hole in own)
        places = [(_coarse(hole.x_um - front), _coarse(hole.y_um)) for hole in own]
        for index in tightening_order(places):
            numbers[piece, own[index].number] = len(numbers) + 1
    return numbers


def _coarse(length_um: int) -> int:
    """Return a place rounded to 2 mm, so that a drill's wander does not decide which screw comes first."""
    return round(length_um / 2000)


_ORDER = re.compile(r"(WO-\d{4}-\d{4,})(?:[ /-]*(?:REV[. ]*)?([A-Z]{1,2}))?(?:/(.+)/(A|B|AB))?")
"""Number and letter, as typed; or with pair and ski, as the code on the sheet says it."""


class WorkOrder(OrderFacts, frozen=True, kw_only=True):
    """One issued revision. ``state``: open, done, stopped or cancelled."""

    state: str
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
