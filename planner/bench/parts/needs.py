"""The parts and tools each order takes: screws by position, plugs, glue, insert screws, bindings, tools."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from math import ceil

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
