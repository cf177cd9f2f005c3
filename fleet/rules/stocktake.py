"""A count by scan against the ledger. "I counted 41" is an entry of its own, whatever it says."""

import re
import sqlite3
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from fleet.base.errors import BadInput
from fleet.events.event import LEFT_OUT
from fleet.events.movement import StockCounted
from fleet.facts.standing import Place
from fleet.facts.tags import tag_order
from fleet.ledger.desk import Desk
from fleet.rules.stock import pairs_in, stock_by_sort
from fleet.tables.snapshot import read_boots

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


_COUNTED_STOCK: Final = re.compile(r"^(\d{1,4})\s*[x×]\s+(\S.*)$")
"""A line of bindings counted: ``12 x Lark 4 95 2026``, the sort as `mountbook stock list` writes it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stocktake:
    """The result of a count. ``unexpected``: scanned here though the ledger has it elsewhere (tag, place).

    Boots are compared where any was scanned, bindings by the sorts that were counted: words, how many, and
    how many the ledger has.
    """

    counted: int
    expected: int
    not_seen: tuple[str, ...]
    unexpected: tuple[tuple[str, str], ...]
    unknown: tuple[str, ...]
    twice: tuple[str, ...]
    boots_not_seen: tuple[str, ...] | None = None
    stock: tuple[tuple[str, int, int], ...] = ()

    @property
    def agrees(self) -> bool:
        """True if shelf and ledger agree."""
        odd = self.not_seen or self.unexpected or self.unknown or self.boots_not_seen
        return not odd and all(counted == has for _, counted, has in self.stock)


def compare(connection: sqlite3.Connection, scanned: Iterable[str]) -> Stocktake:
    """Compare scanned tags with the ledger: each pair that should be here, and each tag that was."""
    lines = [line for line in (line.strip() for line in scanned) if line]
    sorts = [found for line in lines if (found := _COUNTED_STOCK.match(line))]
    stock = pairs_in(stock_by_sort(connection)) if sorts else {}
    tags = [tag for tag in lines if not _COUNTED_STOCK.match(tag)]
    times = Counter(tags)
    places = {
        row[0]: Place(row[1]) for row in connection.execute("SELECT tag, place FROM standing ORDER BY tag")
    }
    seen = set(times)
    boots = {tag: boot.place for tag, boot in read_boots(connection).items() if tag not in places}
    boots = boots if seen & set(boots) else {}
    known = places | boots
    here = {tag for tag, place in known.items() if place in _HERE}
    return Stocktake(
        counted=len(seen & set(known)),
        expected=len(here),
        not_seen=tuple(sorted(here - seen - set(boots), key=tag_order)),
        boots_not_seen=tuple(sorted(here & set(boots) - seen, key=tag_order)) if boots else None,
        unexpected=tuple(
            (tag, known[tag].value)
            for tag in sorted(seen & set(known), key=tag_order)
            if known[tag] not in _HERE
        ),
        unknown=tuple(sorted(seen - set(known), key=tag_order)),
        twice=tuple(sorted((tag for tag, count in times.items() if count > 1), key=tag_order)),
        stock=tuple(
            (sort, sum(int(f[1]) for f in sorts if " ".join(f[2].split()) == sort), stock.get(sort, 0))
            for sort in sorted({" ".join(f[2].split()) for f in sorts})
        ),
    )


def enter_count(desk: Desk, scanned: Iterable[str]) -> Stocktake:
    """Compare, and enter the count with its differences; nothing is moved by it."""
    found = compare(desk.connection, scanned)
    if not found.counted and not found.unknown and not found.stock:
        raise BadInput("nothing was scanned", cure="one tag a line")
    known = tuple(row for row in found.stock if row[2])
    desk.enter(
        StockCounted(
            counted=found.counted,
            expected=found.expected,
            not_seen=found.not_seen,
            unexpected=found.unexpected,
            unknown=(),
            boots_not_seen=LEFT_OUT if found.boots_not_seen is None else found.boots_not_seen,
            stock=known or LEFT_OUT,
            lines=(*found.unknown, *(f"{n} x {sort}" for sort, n, has in found.stock if not has)) or LEFT_OUT,
        )
    )
    return found
