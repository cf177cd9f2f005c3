"""Issue: a plan is judged again on today's ledger, then its orders are numbered and entered.

And the sets of an earlier plan, with the state of their orders, for a plan that goes on from it.
"""

import sqlite3
from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from fleet.base.entries import Head
from fleet.base.errors import PlanFault, Refused
from fleet.events.orders import OrderCancelled, OrderIssued
from fleet.facts.order_numbers import highest, newest_restore, number_said, used_numbers
from fleet.facts.pairs import pair_state
from fleet.facts.tags import tag_order
from fleet.ledger.desk import Desk, head
from fleet.tables.snapshot import Fleet, read_fleet, read_pairs
from planner.bench.orders.book import WorkOrder, as_kept, hole_names, next_number, next_revision, read_orders
from planner.plan.codec import planned_set_to_body
from planner.plan.fault_isolation import Fault
from planner.plan.values import Plan, PlannedSet, Rung
from planner.planning.judge.limits import Objection
from planner.planning.replan.earlier import EarlierSet, OrderRevision, OrderStage, earlier_sets

_OBJECTIONS_SHOWN = 5
_OF_THE_SUMS = "totals"
"""The sums of all sets, which a pair that changed since changes too."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Issued:
    """The open orders now, those that stand unchanged, and the void sheets on the bench."""

    orders: tuple[WorkOrder, ...]
    stand: tuple[WorkOrder, ...]
    collect: tuple[WorkOrder, ...]
    as_they_are: int


def issue(
    desk: Desk, plan: Plan, *, plan_hash: str, held_back: Collection[str] = (), judged_at: Head | None = None
) -> Issued:
    """Open a work order for every set of the plan that needs the bench, but for the pairs ``held_back``.

    An open order that would be issued again word for word stands. The others are cancelled; a pair that is
    planned again keeps its number and gets the next revision; but no order of before a restore, whose next
    revision may be on a sheet of the file that was replaced: it gets a new number.
    A head technician or a manager issues; the sheet gets its two signatures at the bench. ``judged_at``: the
    head at which the judge had no objection; he is not asked again at it. Raises PlanFault where he objects
    to the plan, and NotThese with the sets that no longer hold where he objects to those only.
    """
    connection = desk.connection
    head(connection, desk.by, days=desk.signing_days, what="issue work orders")
    asked = desk.tx.head != judged_at
    if asked and (at_fault := sets_at_fault(read_fleet(connection), plan, held_back)):
        raise NotThese(at_fault)
    old = {order.tag: order for order in read_orders(connection)}
    planned = [each for each in plan.touched if each.pair not in held_back]
    tags = {each.pair for each in planned}
    stand = {
        each.pair: old[each.pair]
        for each in planned
        if each.pair in old and _stands(connection, old[each.pair], each, needed_by=plan.ready_by)
    }
    void = {tag: order for tag, order in old.items() if tag not in stand}
    for order in void.values():
        desk.enter(
            OrderCancelled(
                number=order.number,
                revision=order.revision,
                why="issued again" if order.tag in tags else "not in the new plan",
            )
        )
    used, restored = used_numbers(connection), newest_restore(connection)
    for each in planned:
        if each.pair not in stand:
            before = void.get(each.pair)
            if before and before.issued_entry < restored:
                before = None
            number = before.number if before else next_number(used, desk.day)
            used = highest([used, number_said(number)])
            _enter(desk, each, number, before, plan_hash=plan_hash, needed_by=plan.ready_by)
    return Issued(
        orders=read_orders(connection),
        stand=tuple(stand[tag] for tag in sorted(stand, key=tag_order)),
        collect=tuple(void[tag] for tag in sorted(void, key=tag_order)),
        as_they_are=sum(s.way.rung is Rung.AS_IS and s.pair not in held_back for s in plan.sets),
    )


def wait_for(plan: Plan, held_back: Collection[str]) -> dict[str, str]:
    """Return pairs that must wait for those, by the pair whose binding they get: it does not come off now."""
    waits: dict[str, str] = {}
    while more := {
        planned.pair: planned.binding_from
        for planned in plan.sets
        if planned.binding_from in {*held_back, *waits} and planned.pair not in {*held_back, *waits}
    }:
        waits |= more
    return waits


class NotThese(Exception):
    """Raised inside the transaction, so that nothing of this try is entered; faults: the sets at fault."""

    def __init__(self, faults: tuple[Fault, ...] = ()) -> None:
        super().__init__(faults)
        self.faults = faults


def sets_at_fault(fleet: Fleet, plan: Plan, held_back: Collection[str] = ()) -> tuple[Fault, ...]:
    """Return the sets to which the judge objects for this fleet, but for the pairs ``held_back``.

    A set that is not worked on takes nothing from the others, as long as those wait that get its binding
    (`wait_for`). Raises PlanFault where he objects to the plan as a whole, or to each of its sets.
    """
    from planner.planning.judge.plan_check import judge_plan

    moved = (plan.ledger_entry, plan.ledger_head) != (fleet.head.seq, fleet.head.hash)
    today = replace(plan, ledger_entry=fleet.head.seq, ledger_head=fleet.head.hash)
    # A pair that came back since touches no set of it, and yet the plan need not be the best any more.
    objections = judge_plan(fleet, today, best=not moved)
    of_a_set = {each.pair for each in objections} - {""}
    of_the_plan = [
        each for each in objections if not each.pair and not (of_a_set and each.rule == _OF_THE_SUMS)
    ]
    if of_the_plan or (of_a_set and of_a_set == {each.pair for each in plan.sets}):
        raise _no_longer(objections)
    found = dict.fromkeys(each.pair for each in objections if each.pair not in {"", *held_back})
    return tuple(
        Fault(
            what="work order",
            name=pair,
            error=_no_longer([each for each in objections if each.pair == pair], what="its set"),
        )
        for pair in found
    )


def _no_longer(objections: Sequence[Objection], *, what: str = "the plan") -> PlanFault:
    shown = "; ".join(str(objection) for objection in objections[:_OBJECTIONS_SHOWN])
    more = len(objections) - _OBJECTIONS_SHOWN
    return PlanFault(
        f"{what} no longer holds for today's ledger: {shown}" + (f"; and {more} more" if more > 0 else ""),
        cure="plan again: mountbook plan --out FOLDER",
    )


def _stands(
    connection: sqlite3.Connection, order: WorkOrder, planned: PlannedSet, *, needed_by: str | None
) -> bool:
    """Return True if the sheet on the bench would be the same today: set, day, pair, giver, policy,
    pattern.
    """
    changed = connection.execute(
        "SELECT 1 FROM entries WHERE seq > ? AND what IN ('policy set', 'pattern recorded') LIMIT 1",
        (order.issued_entry,),
    ).fetchone()
    return (
        changed is None
        and order.body["set"] == planned_set_to_body(planned)
        and order.body["needed_by"] == needed_by
        and still_holds(connection, order)
    )


def still_holds(connection: sqlite3.Connection, order: WorkOrder) -> bool:
    """Return True if the order's pair, and the one that gives its binding, are unchanged since it was
    issued.
    """
    return order.pair_state == pair_state(connection, order.tag) and order.giver_state == (
        pair_state(connection, order.giver) if order.giver else None
    )


def _enter(
    desk: Desk,
    planned: PlannedSet,
    number: str,
    old: WorkOrder | None,
    *,
    plan_hash: str,
    needed_by: str | None,
) -> None:
    connection = desk.connection
    giver = planned.binding_from if planned.binding_from not in ("own", "stock") else None
    if giver == planned.pair:
        raise Refused(f"{planned.pair} cannot give itself a binding")
    desk.enter(
        OrderIssued(
            number=number,
            revision=next_revision(old.revision) if old else "A",
            tag=planned.pair,
            boot=planned.boot,
            way=planned.way.rung.value,
            minutes=planned.minutes,
            giver=giver,
            set=planned_set_to_body(planned),
            plan_hash=plan_hash,
            needed_by=needed_by,
            pair_state=pair_state(connection, planned.pair),
            giver_state=pair_state(connection, giver) if giver else None,
            holes=as_kept(hole_names(read_pairs(connection, planned.pair)[planned.pair], planned.way)),
        )
    )


def earlier_from(connection: sqlite3.Connection, plan: Plan) -> tuple[EarlierSet, ...]:
    """Return the plan's sets with the state of their orders, and open orders that the plan does not know."""
    newest = {order.number: order for order in read_orders(connection, everything=True)}
    found = earlier_sets(
        plan,
        (OrderRevision(number=o.number, tag=o.tag, boot=o.boot, state=o.state) for o in newest.values()),
    )
    promised = {e.order for e in found}
    others = [o for o in newest.values() if o.state == "open" and o.number not in promised]
    replaced = {o.tag for o in others} | {o.boot for o in others}
    kept = [e for e in found if e.order or not {e.planned.pair, e.planned.boot} & replaced]
    kept += [EarlierSet(planned=o.planned, standing=OrderStage.ISSUED, order=o.number) for o in others]
    return tuple(kept)
