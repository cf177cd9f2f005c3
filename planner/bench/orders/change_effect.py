"""The effect of a change on pairs, ways and open work orders, told before the change is taken.

A change is a rule set otherwise, a fit taken back, what a model is for or declares.
"""

import sqlite3
from dataclasses import dataclass
from datetime import datetime

from fleet.base.errors import MountbookError
from fleet.base.units import counted, first_of
from fleet.facts.recalls import read_recalls
from fleet.facts.tags import tag_order
from fleet.rules.below_rule import BelowRule, mounts_below_rule
from fleet.rules.clearance import read_case, reasons_against
from fleet.tables.snapshot import Fleet
from planner.bench.orders.book import read_orders
from planner.plan.fault_isolation import reason_of

_SHOWN = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeEffect:
    """``pairs``: whose reasons at the door, or whose mount's standing with the rule, would change; ``ways``:
    how many a plan gains, loses, and has at other figures; ``orders``: open ones the judge would object to.

    ``flags``: mounts that would be below the rule; ``unknown``: why ways or orders could not be counted.
    """

    pairs: tuple[str, ...]
    ways: tuple[int, int, int]
    orders: tuple[str, ...]
    flags: tuple[BelowRule, ...]
    unknown: str = ""

    def below(self) -> list[str]:
        """Each mount that would be below the rule, a line each, for a person before the question."""
        return [f"  {flag.tag}  {flag.policy}: {flag.message}" for flag in self.flags]

    def summary(self) -> list[str]:
        """The changes, a line each."""
        below = len({flag.tag for flag in self.flags})
        found = (
            self.pairs and f"changes {counted(len(self.pairs), 'pair')}: {first_of(self.pairs, _SHOWN)}",
            any(self.ways)
            and "changes ways of planning: {} more, {} fewer, {} at other figures".format(*self.ways),
            self.orders and f"open work orders that would not keep the rule: {first_of(self.orders, _SHOWN)}",
            self.unknown and f"what it does to plans is not known: {self.unknown}",
            below and f"mounted pairs that would be below the rule: {below}; a person decides",
        )
        return [line for line in found if line] or ["changes no pair, no way and no open work order"]


def change_effect(
    connection: sqlite3.Connection, before: Fleet, after: Fleet, *, at: datetime, zone: str
) -> ChangeEffect:
    """Return what differs between the fleet before and after, at that moment. Nothing is entered."""
    flags = [set(mounts_below_rule(one)) for one in (before, after)]
    doors = [_doors(connection, one, at=at, zone=zone) for one in (before, after)]
    pairs = {tag for tag in before.pairs if doors[0][tag] != doors[1][tag]}
    pairs |= {flag.tag for flag in flags[0] ^ flags[1]}
    ways, unknown = (0, 0, 0), ""
    orders: tuple[str, ...] = ()
    try:
        ways = _ways(before, after)
        orders = _orders(connection, before, after)
    except (MountbookError, ValueError, LookupError, TypeError, ArithmeticError) as fault:
        unknown = reason_of(fault)  # one odd row must not keep the shop from setting a rule
    return ChangeEffect(
        pairs=tuple(sorted(pairs, key=tag_order)),
        ways=ways,
        orders=orders,
        flags=tuple(sorted(flags[1] - flags[0], key=lambda flag: (flag.tag, flag.policy, flag.message))),
        unknown=unknown,
    )


def _doors(
    connection: sqlite3.Connection, fleet: Fleet, *, at: datetime, zone: str
) -> dict[str, tuple[str, ...]]:
    recalls = read_recalls(connection)
    return {
        tag: reasons_against(
            read_case(connection, tag), at=at, zone=zone, policy=fleet.policy, recalls=recalls
        )
        for tag in fleet.pairs
    }


def _ways(before: Fleet, after: Fleet) -> tuple[int, int, int]:
    """Return how many ways of the sets wanted are new, gone, and there at other figures; each boot and pair
    counts.
    """
    from planner.planning.assign.geometry import SweptWays
    from planner.planning.assign.problem import build_problem

    found = []
    for fleet in (before, after):
        problem = build_problem(fleet, ways=SweptWays(), minutes_limit=None)
        arcs = problem.arcs
        keys = zip(arcs.pair, arcs.boot, arcs.rung, arcs.pattern, arcs.brakes, strict=True)
        costs = zip(arcs.drilled, arcs.minutes, arcs.offset_um, arcs.clearance_lost_um, strict=True)
        found.append({tuple(map(int, k)): tuple(map(int, c)) for k, c in zip(keys, costs, strict=True)})
    old, new = found

    def number(ways: set[tuple[int, ...]]) -> int:
        return sum(len(problem.pairs[pair].tags) * len(problem.boots[boot].tags) for pair, boot, *_ in ways)

    other = {way for way in old.keys() & new.keys() if old[way] != new[way]}
    return number(new.keys() - old.keys()), number(old.keys() - new.keys()), number(other)


def _orders(connection: sqlite3.Connection, before: Fleet, after: Fleet) -> tuple[str, ...]:
    from planner.planning.judge.set_check import Facts, judge_set

    facts = [Facts(fleet) for fleet in (before, after)]
    found = []
    for order in read_orders(connection):
        old, new = ({str(no) for no in judge_set(each, order.planned)} for each in facts)
        if new - old:
            found.append(order.name)
    return tuple(found)
