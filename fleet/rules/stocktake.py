"""A count by scan against the ledger. "I counted 41" is an entry of its own, whatever it says."""

from __future__ import annotations

import sqlite3
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from fleet.base.errors import BadInput
from fleet.events.movement import StockCounted
from fleet.facts.equipment import Place
from fleet.ledger.desk import Desk

_HERE = frozenset(
    {
        Place.FLAT,
        Place.READY,
        Place.BACK,
        Place.HOLD,
        Place.IN_REPAIR,
        Place.SECOND_CHECK,
        Place.QUARANTINE,
    }
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Stocktake:
    """The result of a count. ``unexpected``: scanned here though the ledger has it elsewhere (tag, place)."""

    counted: int
    expected: int
    not_seen: tuple[str, ...]
    unexpected: tuple[tuple[str, str], ...]
    unknown: tuple[str, ...]
    twice: tuple[str, ...]

    @property
    def agrees(self) -> bool:
        """True if shelf and ledger agree."""
        return not (self.not_seen or self.unexpected or self.unknown)


def compare(connection: sqlite3.Connection, scanned: Iterable[str]) -> Stocktake:
    """Compare scanned tags with the ledger: each pair that should be here, and each tag that was."""
    tags = [tag for tag in (line.strip() for line in scanned) if tag]
    times = Counter(tags)
    places = {
        row[0]: Place(row[1]) for row in connection.execute("SELECT tag, place FROM standing ORDER BY tag")
    }
    here = {tag for tag, place in places.items() if place in _HERE}
    seen = set(times)
    return Stocktake(
        counted=len(seen & set(places)),
        expected=len(here),
        not_seen=tuple(sorted(here - seen)),
        unexpected=tuple(
            (tag, places[tag].value) for tag in sorted(seen & set(places)) if places[tag] not in _HERE
        ),
        unknown=tuple(sorted(seen - set(places))),
        twice=tuple(sorted(tag for tag, count in times.items() if count > 1)),
    )


def enter_count(desk: Desk, scanned: Iterable[str]) -> Stocktake:
    """Compare, and enter the count with its differences; no pair is moved by it."""
    found = compare(desk.connection, scanned)
    if not found.counted and not found.unknown:
        raise BadInput("nothing was scanned", cure="one tag a line")
    desk.enter(
        StockCounted(
            counted=found.counted,
            expected=found.expected,
            not_seen=found.not_seen,
            unexpected=found.unexpected,
            unknown=found.unknown,
        )
    )
    return found
