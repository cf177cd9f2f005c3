"""The parts and tools each order takes: screws by position, plugs, glue, insert screws, bindings, tools.

Compared with the stock on the shelf (the shop's own lists in csv, the ledger's loose bindings): what is
short, the first order hit, and the shopping list.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from enum import StrEnum
from math import ceil
from pathlib import Path

from fleet.base.errors import BadInput
from fleet.base.files import typed_rows
from fleet.base.units import mm_text
from fleet.facts.holes import HoleState, Side
from fleet.facts.pairs import BrakeWidth, Construction, planned_brake_text
from fleet.facts.policy import Policy
from fleet.tables.snapshot import Fleet
from planner.bench.weeks.jobs import Order
from planner.plan.values import PlannedHole, Rung

READ_THE_SKI = "read the ski"


class Sort(StrEnum):
    """The sort of a part, in the order of the lists."""

    SCREW = "screw"
    INSERT_SCREW = "insert screw"
    PLUG = "plug"
    GLUE = "glue"
    BINDING = "binding"
    BIT = "drill bit"
    STOP = "depth stop"
    TAP = "tap"


@dataclass(frozen=True, slots=True, kw_only=True, order=True)
class Part:
    """One thing to have at hand. ``unit``: what a quantity counts (``pieces``, ``holes``, ``pairs``)."""

    sort: Sort
    name: str
    unit: str = "pieces"


@dataclass(frozen=True, slots=True, kw_only=True)
class Need:
    """The quantity of a part that all orders take, and its orders in the order of work.

    ``tool``: it is used, not used up; ``quantity`` is then how many to have, ``uses`` the holes made.
    """

    part: Part
    quantity: int
    by_order: tuple[tuple[str, int], ...] = ()
    tool: bool = False
    uses: int = 0


@dataclass(frozen=True, slots=True)
class ScrewNames:
    """The shop's screw names: by (pattern, piece, number)."""

    names: Mapping[tuple[str, str, int], str] = field(default_factory=dict)

    def name(self, pattern: str, piece: str, number: int) -> str:
        """Return the screw of a position; where its length is not known, the position itself."""
        told = self.names.get((pattern, piece, number)) or self.names.get((pattern, piece, 0))
        return told or f"screw of {pattern}, {piece} (length not told)"


def needs(fleet: Fleet, orders: Sequence[Order], *, screws: ScrewNames | None = None) -> tuple[Need, ...]:
    """Return all needs of the orders, given in the order of work. Both skis are counted."""
    screws = screws or ScrewNames()
    used: dict[Part, Counter[str]] = defaultdict(Counter)
    tools: Counter[Part] = Counter()
    for order in orders:
        for part, count in _consumed(fleet, order, screws):
            used[part][order.number] += count
        _add_tools(fleet, order, tools)
    place = {order.number: index for index, order in enumerate(orders)}
    consumed = [
        Need(
            part=part,
            quantity=sum(by.values()),
            by_order=tuple(sorted(by.items(), key=lambda item: place[item[0]])),
        )
        for part, by in used.items()
    ]
    kept = [
        Need(part=part, quantity=_tool_count(part, uses, fleet.policy), tool=True, uses=uses)
        for part, uses in tools.items()
    ]
    return tuple(sorted(consumed + kept, key=lambda need: need.part))


def _consumed(fleet: Fleet, order: Order, screws: ScrewNames) -> Iterable[tuple[Part, int]]:
    planned, way = order.planned, order.planned.way
    if way.rung in (Rung.AS_IS, Rung.ADJUST):
        return
    states = {
        hole.hole_id: hole.state for ski in fleet.pair(planned.pair).skis.values() for hole in ski.holes
    }
    glued = 0
    for side in Side:
        for hole in way.skis[side].holes:
            if hole.hole_id is not None and states.get(hole.hole_id) is HoleState.INSERT:
                name = f"machine screw of the insert, {way.pattern} {hole.piece}"
                yield Part(sort=Sort.INSERT_SCREW, name=name), 1
                continue
            yield Part(sort=Sort.SCREW, name=screws.name(way.pattern, hole.piece, hole.number)), 1
            glued += 1
    if glued:
        glue = fleet.policy.word("mount_adhesive").replace("_", " ")
        yield Part(sort=Sort.GLUE, name=glue, unit="holes"), glued
    if way.plugged:
        yield Part(sort=Sort.PLUG, name="plug"), way.plugged
        filler = fleet.policy.word("plug_adhesive").replace("_", " ")
        yield Part(sort=Sort.GLUE, name=filler, unit="holes"), way.plugged
    if planned.binding_from == "stock":
        yield (
            Part(sort=Sort.BINDING, name=binding_name(fleet, way.pattern, planned.brake_um), unit="pairs"),
            1,
        )


def binding_name(fleet: Fleet, pattern: str, brake: BrakeWidth) -> str:
    """Return the name of a binding as the shelf is labelled: model and brake."""
    found = fleet.patterns.get(pattern)
    return f"{found.binding_model if found else pattern}, {planned_brake_text(brake)}"


def _add_tools(fleet: Fleet, order: Order, tools: Counter[Part]) -> None:
    construction = fleet.pair(order.planned.pair).construction
    drilled: list[PlannedHole] = [
        hole for side in Side for hole in order.planned.way.skis[side].holes if hole.do == "drill"
    ]
    for hole in drilled:
        core = construction.value if construction else "construction unknown"
        size = READ_THE_SKI if hole.diameter_um is None else f"{mm_text(hole.diameter_um)} mm"
        depth = READ_THE_SKI if hole.depth_um is None else f"{mm_text(hole.depth_um)} mm"
        tools[Part(sort=Sort.BIT, name=f"{size} ({core})")] += 1
        tools[Part(sort=Sort.STOP, name=f"{depth} ({core})")] += 1
        if construction is Construction.METAL:
            tools[Part(sort=Sort.TAP, name=f"tap for {size} ({core})")] += 1


def _tool_count(part: Part, uses: int, policy: Policy) -> int:
    """Return the number of a tool: bits wear out; a stop and a tap are one each."""
    if part.sort is not Sort.BIT or READ_THE_SKI in part.name:
        return 1
    return max(1, ceil(uses / policy.number("holes_per_drill_bit")))


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


def read_stock(path: Path) -> dict[str, int]:
    """Return pieces by name from ``part,quantity``; equal names add up. Raises BadInput with the row."""
    stock: Counter[str] = Counter()
    for number, row in _rows(path, ("part", "quantity")):
        stock[row["part"]] += _whole(path, number, "quantity", row["quantity"])
    return stock


def read_screws(path: Path) -> ScrewNames:
    """Return screw names from ``pattern,piece,number,part``; an empty number means every screw of the
    piece.
    """
    rows = _rows(path, ("pattern", "piece", "number", "part"))
    places = ((row, _whole(path, n, "number", row["number"] or "0")) for n, row in rows)
    return ScrewNames({(row["pattern"], row["piece"].lower(), at): row["part"] for row, at in places})


def bindings_in_stock(fleet: Fleet) -> dict[str, int]:
    """Return the pairs of bindings that the ledger has loose, by the names of the parts lists."""
    loose: Counter[tuple[str, BrakeWidth]] = Counter()
    for binding in fleet.bindings.values():
        loose[binding.pattern, binding.brake_to_plan] += binding.may_be_mounted
    stock: Counter[str] = Counter()
    for (pattern, brake_um), count in loose.items():
        part = Part(sort=Sort.BINDING, name=binding_name(fleet, pattern, brake_um), unit="pairs")
        stock[stock_name(part)] += count // 2
    return dict(stock)


def _rows(path: Path, columns: tuple[str, ...]) -> Iterator[tuple[int, dict[str, str]]]:
    rows = typed_rows(path, columns, cure=f"its first line should be {','.join(columns)}")
    for number, row in enumerate(rows, start=2):
        if not row["part"]:
            raise BadInput(f"{path} row {number} names no part", cure="fill every column")
        yield number, row


def _whole(path: Path, row: int, column: str, text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise BadInput(
            f"{path} row {row}: {column} is {text!r}, not a whole number from 0 up", cure="correct the row"
        )
    return int(text)
