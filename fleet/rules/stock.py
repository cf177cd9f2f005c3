"""The stock of bindings by quantity: in and out as signed entries, and what is there by sort."""

import re
import sqlite3
from collections import defaultdict
from collections.abc import Mapping
from typing import Final

from fleet.base.errors import BadInput, Refused, did_you_mean, in_words
from fleet.events.bindings import StockIn, StockOut
from fleet.facts.holes import Side
from fleet.facts.pairs import Binding, Brake, BrakeWidth, brake_text, brake_to_plan
from fleet.ledger.desk import Desk
from fleet.ledger.signing import signer
from fleet.tables.snapshot import read_bindings, read_patterns

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
    found: dict[str, list[Binding]] = defaultdict(list)
    for binding in read_bindings(connection).values():
        if binding.on_pair is None:
            found[sort_of(binding)].append(binding)
    return dict(sorted(found.items()))


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
