"""The stock of bindings by quantity: in and out as signed entries, and what is there by sort.

A count by scan against the ledger: "I counted 41" is an entry of its own, whatever it says.
"""

import re
import sqlite3
from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Final

from fleet.base.errors import BadInput, Refused, did_you_mean, in_words
from fleet.base.grouping import grouped
from fleet.events.event import LEFT_OUT
from fleet.events.mounts import StockIn, StockOut
from fleet.events.movement import StockCounted
from fleet.facts.holes import Side
from fleet.facts.pairs import Binding, Brake, BrakeWidth, brake_text, brake_to_plan
from fleet.facts.standing import Place
from fleet.facts.tags import tag_order
from fleet.ledger.desk import Desk, signer
from fleet.tables.snapshot import read_bindings, read_boots, read_patterns

_NUMBER: Final = re.compile(r" no\. (\d+) [AB]$")
_MOST: Final = 9999


def stock_stem(name: str, brake: BrakeWidth, season: str | None, serial: str | None) -> str:
    """Return what stock of one sort is called: pattern or model, brake, season, serial."""
    width = brake_text(brake_to_plan(brake) or Brake.NONE, lead="", unit="")
    width = "brake not known" if brake is Brake.UNKNOWN else width
    parts = [name, width, season or "", serial or ""]
    return " ".join(part for part in parts if part)


def sort_of(binding: Binding) -> str:
    """The sort of a binding, as the stock is counted."""
    return stock_stem(binding.pattern or binding.model, binding.brake_um, binding.season, binding.serial_toe)


def number_in(binding_id: str) -> int:
    """Return the number that its id ends in; 0 for an id of another form."""
    found = _NUMBER.search(binding_id)
    return int(found[1]) if found else 0


def stock_by_sort(connection: sqlite3.Connection) -> dict[str, list[Binding]]:
    """The bindings in stock, those of one ski each, by sort."""
    loose = (binding for binding in read_bindings(connection).values() if binding.on_pair is None)
    return dict(sorted(grouped(loose, sort_of).items()))


def pairs_in(bindings: Mapping[str, list[Binding]]) -> dict[str, int]:
    """Pairs of bindings of each sort; a single one of them is half a pair and does not count."""
    return {sort: len(each) // 2 for sort, each in bindings.items()}


def take_in(
    desk: Desk, pattern: str, quantity: int, *, brake_um: BrakeWidth, season: str, why: str
) -> tuple[str, int]:
    """Enter pairs of bindings that came; returns their sort and how many there are now. Signed."""
    reason = _signed(desk, quantity, why)
    known = read_patterns(desk.connection)
    if pattern not in known:
        raise Refused(
            f"there is no pattern {pattern} in the ledger",
            cure=did_you_mean(pattern, known, "see `mountbook pattern list`"),
        )
    stem = stock_stem(pattern, brake_um, season, None)
    taken = [
        number_in(name)
        for (name,) in desk.connection.execute("SELECT binding_id FROM binding")
        if name.startswith(f"{stem} no. ")
    ]
    first = max(taken, default=0) + 1
    ids = tuple(
        f"{stem} no. {number} {side.value}" for number in range(first, first + quantity) for side in Side
    )
    desk.enter(
        StockIn(
            binding_ids=ids,
            model=known[pattern].binding_model,
            pattern=pattern,
            brake_um=brake_um,
            season=season,
        ),
        note=reason,
    )
    return stem, pairs_in(stock_by_sort(desk.connection))[stem]


def take_from(desk: Desk, sort: str, quantity: int, *, why: str) -> tuple[str, int]:
    """Enter pairs of bindings that left for good; returns their sort and how many are left. Signed."""
    reason = _signed(desk, quantity, why)
    stock = stock_by_sort(desk.connection)
    if sort not in stock:
        raise Refused(
            f"there is no {sort} in the stock", cure=did_you_mean(sort, stock, "see `mountbook stock list`")
        )
    have = pairs_in(stock)[sort]
    if quantity > have:
        raise Refused(f"{quantity} of {sort} are more than the {have} in the stock", cure="count them again")
    last = sorted(stock[sort], key=lambda b: (number_in(b.binding_id), b.binding_id))[-2 * quantity :]
    desk.enter(StockOut(binding_ids=tuple(b.binding_id for b in last)), note=reason)
    return sort, have - quantity


def _signed(desk: Desk, quantity: int, why: str) -> str:
    if not 1 <= quantity <= _MOST:
        raise BadInput(f"{quantity} is no number of pairs of bindings", cure=f"from 1 to {_MOST}")
    signer(desk.connection, desk.by, days=desk.signing_days, what="move stock")
    return in_words(why, "why the stock moves")


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
