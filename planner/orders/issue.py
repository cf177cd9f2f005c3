"""From a plan to work orders: judged again against today's ledger, then numbered and entered."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from fleet.desk import Desk
from fleet.errors import PlanFault, Refused
from fleet.pair_state import pair_state
from fleet.snapshot import Fleet, read_fleet
from planner.orders.book import WorkOrder, next_number, next_revision, read_orders, to_body
from planner.plan_values import Plan, PlannedSet, Rung

_OBJECTIONS_SHOWN = 5


@dataclass(frozen=True, slots=True, kw_only=True)
class Issued:
    """What was issued, and which sheets on the bench are void now."""

    orders: tuple[WorkOrder, ...]
    collect: tuple[WorkOrder, ...]
    as_they_are: int


def issue(desk: Desk, plan: Plan, *, plan_hash: str) -> Issued:
    """Open a work order for every set of the plan that needs the bench.

    Open orders are cancelled; a pair that is planned again keeps its number and gets the next revision.
    Issuing is no sign-off: the sheet gets its two signatures at the bench. Raises PlanFault where the
    judge objects today.
    """
    connection = desk.connection
    before = read_fleet(connection)
    today = replace(plan, ledger_entry=before.head.seq, ledger_head=before.head.hash)
    check_today(before, today)
    old = {order.tag: order for order in read_orders(connection)}
    planned = [planned for planned in plan.sets if planned.way.rung is not Rung.AS_IS]
    tags = {each.pair for each in planned}
    for order in old.values():
        desk.enter(
            "order cancelled",
            {
                "number": order.number,
                "revision": order.revision,
                "why": "issued again" if order.tag in tags else "not in the new plan",
            },
        )
    for each in planned:
        _enter(desk, each, old.get(each.pair), plan_hash=plan_hash, needed_by=plan.ready_by)
    return Issued(
        orders=read_orders(connection),
        collect=tuple(old[tag] for tag in sorted(old)),
        as_they_are=len(plan.sets) - len(planned),
    )


def check_today(fleet: Fleet, plan: Plan) -> None:
    """PlanFault unless the judge has nothing against the plan for this fleet."""
    from planner.judge.plan_check import judge_plan

    objections: Sequence[object] = judge_plan(fleet, plan)
    if objections:
        shown = "; ".join(str(objection) for objection in objections[:_OBJECTIONS_SHOWN])
        more = len(objections) - _OBJECTIONS_SHOWN
        raise PlanFault(
            f"the plan no longer holds for today's ledger: {shown}"
            + (f"; and {more} more" if more > 0 else ""),
            cure="plan again: mountbook plan --out FOLDER",
        )


def _enter(
    desk: Desk, planned: PlannedSet, old: WorkOrder | None, *, plan_hash: str, needed_by: str | None
) -> None:
    connection = desk.connection
    giver = planned.binding_from if planned.binding_from not in ("own", "stock") else None
    if giver == planned.pair:
        raise Refused(f"{planned.pair} cannot give itself a binding")
    desk.enter(
        "order issued",
        {
            "number": old.number if old else next_number(connection, desk.day),
            "revision": next_revision(old.revision) if old else "A",
            "tag": planned.pair,
            "boot": planned.boot,
            "way": planned.way.rung.value,
            "minutes": planned.minutes,
            "giver": giver,
            "set": to_body(planned.to_json()),
            "plan_hash": plan_hash,
            "needed_by": needed_by,
            "pair_state": pair_state(connection, planned.pair),
            "giver_state": pair_state(connection, giver) if giver else None,
        },
    )
