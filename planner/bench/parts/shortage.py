"""Needs compared with stock: shortages, the first order hit, and the shopping list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from math import ceil

from planner.bench.parts.needs import Need, Part, Sort


@dataclass(frozen=True, slots=True, kw_only=True)
class StockLine:
    """One part: what is needed, there, to buy, and the first order that goes without.

    ``in_stock`` None: the stock list does not name the part, so nothing is known and nothing is bought
    by guess; ``buy`` then covers the whole need. ``reserve``: of screws, glue and plugs alone.
    """

    need: Need
    in_stock: int | None
    reserve: int
    buy: int
    first_hit: str | None

    @property
    def short(self) -> bool:
        """True if the work itself runs short, not only the reserve."""
        return self.need.quantity > (self.in_stock or 0)


def against_stock(
    needs: Sequence[Need], stock: Mapping[str, int], *, reserve_percent: Decimal
) -> tuple[StockLine, ...]:
    """Return one line a part, in the order of the needs. Stock names are compared without case and spaces."""
    known = {_plain(name): quantity for name, quantity in stock.items()}
    return tuple(_line(need, known.get(_plain(stock_name(need.part))), reserve_percent) for need in needs)


def stock_name(part: Part) -> str:
    """Return the part's name in the stock list: ``plug``, ``drill bit 3.6 mm (no metal)``."""
    return part.name if part.name.startswith(part.sort.value) else f"{part.sort.value} {part.name}"


def shopping_list(lines: Sequence[StockLine]) -> tuple[StockLine, ...]:
    """Return the lines to buy. Glue counts holes and is a reminder only."""
    return tuple(line for line in lines if line.buy)


def unknown_stock(needs: Sequence[Need], stock: Mapping[str, int]) -> tuple[str, ...]:
    """Return names of the stock list that no order asks for: perhaps a slip of the pen."""
    asked = {_plain(stock_name(need.part)) for need in needs}
    return tuple(sorted(name for name in stock if _plain(name) not in asked))


def _line(need: Need, there: int | None, reserve_percent: Decimal) -> StockLine:
    reserve = (
        0
        if need.tool or need.part.sort is Sort.BINDING
        else ceil(Decimal(need.quantity) * reserve_percent / 100)
    )
    have = there or 0
    return StockLine(
        need=need,
        in_stock=there,
        reserve=reserve,
        buy=max(0, need.quantity + reserve - have),
        first_hit=None if need.tool else _first_hit(need, have),
    )


def _first_hit(need: Need, have: int) -> str | None:
    for order, quantity in need.by_order:
        have -= quantity
        if have < 0:
            return order
    return None


def _plain(name: str) -> str:
    return "".join(name.casefold().split())
