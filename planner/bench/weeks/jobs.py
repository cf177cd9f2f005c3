"""Work orders and proposals as jobs of the bench: steps, minutes, jig and cures, by shop policy."""

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from math import ceil
from typing import Final
from zoneinfo import ZoneInfo

from fleet.base.errors import BadInput, Refused
from fleet.base.units import mm_text
from fleet.facts.holes import HoleState
from fleet.facts.policy import Policy
from fleet.rules.clearance import cured_at
from fleet.tables.snapshot import Fleet
from planner.bench.orders.book import WorkOrder, read_orders
from planner.bench.weeks.values import JigUse, Job, Visit
from planner.plan.plan_words import jig_text, place_words
from planner.plan.set_aside import lead_of
from planner.plan.values import Plan, PlannedSet, Rung, Way, screws_in_wood

TAKE_OFF: Final = "take off, confirm old holes"
PLUG: Final = "plug and fill"
DRILL: Final = "drill, tap"
MOUNT: Final = "mount"
GLUE_AND_MOUNT: Final = "glue, mount"
CHECK: Final = "second check"
TEST: Final = "record the release test, if it has one"


@dataclass(frozen=True, slots=True, kw_only=True)
class Order:
    """The bench's view of a work order, issued or proposed. ``glued``: a screw goes into wood.

    ``plugged``: its first visit is over, and ``cured`` is when its filler has cured (None: not known).
    """

    number: str
    planned: PlannedSet
    due: date | None
    priority: int
    binding_on: bool
    glued: bool = True
    plugged: bool = False
    cured: datetime | None = None


def proposed_orders(fleet: Fleet, plan: Plan) -> tuple[Order, ...]:
    """Return the sets of a plan that nobody issued yet, numbered by pair; untouched sets need no bench."""
    return tuple(proposed_order(fleet, planned, plan) for planned in plan.touched)


def proposed_order(fleet: Fleet, planned: PlannedSet, plan: Plan) -> Order:
    """Return one set of a plan as an order that nobody issued yet."""
    return _order(fleet, planned, number=planned.pair, due=plan.ready_by)


def open_orders(connection: sqlite3.Connection, fleet: Fleet) -> tuple[Order, ...]:
    """Return the open work orders of the ledger, in order of their number."""
    return tuple(open_order(connection, fleet, order) for order in read_orders(connection))


def open_order(connection: sqlite3.Connection, fleet: Fleet, order: WorkOrder) -> Order:
    """Return one open work order as the bench sees it now."""
    due = _shop_day(order.body.get("needed_by"), fleet.zone)
    return _first_visit_over(connection, fleet, _order(fleet, order.planned, number=order.number, due=due))


def _first_visit_over(connection: sqlite3.Connection, fleet: Fleet, order: Order) -> Order:
    """Return the order with its first visit marked as over if every hole that it plugs is plugged."""
    to_plug = {hole_id for ski in order.planned.way.skis.values() for hole_id in ski.plug}
    if not to_plug:
        return order
    pair = fleet.pair(order.planned.pair)
    states = {hole.hole_id: hole.state for ski in pair.skis.values() for hole in ski.holes}
    if any(states.get(hole_id) is not HoleState.PLUGGED for hole_id in to_plug):
        return order
    return replace(order, plugged=True, cured=cured_at(connection, order.planned.pair))


def _shop_day(needed: str | None, zone: str) -> str | None:
    """Return the shop's day of a time or a day as text."""
    if needed is None or len(needed) <= len("2026-12-04"):
        return needed
    moment = datetime.fromisoformat(needed.replace("Z", "+00:00"))
    return (moment.astimezone(ZoneInfo(zone)) if moment.tzinfo else moment).date().isoformat()


def _order(fleet: Fleet, planned: PlannedSet, *, number: str, due: str | None) -> Order:
    priorities = {wish.wish: wish.priority for wish in fleet.wishes}
    pair = fleet.pairs.get(planned.pair)
    return Order(
        number=number,
        planned=planned,
        due=date.fromisoformat(due) if due else None,
        priority=priorities.get(planned.wish, priorities.get(lead_of(planned.wish), 4)),
        binding_on=pair is not None and pair.current_mount is not None,
        glued=pair is None or screws_in_wood(pair, planned) > 0,
    )


def jobs_for(
    orders: Sequence[Order],
    policy: Policy,
    *,
    due_else: date | None = None,
    testers: frozenset[int] | None = None,
) -> tuple[Job, ...]:
    """Return each order as a job. ``due_else``: for orders without a day of their own.

    ``testers``: people (by index) who may do the second visit with its release test; None is everybody.
    Raises Refused if a cure that an order needs is not set: nobody guesses an adhesive.
    """
    jobs = []
    for order in orders:
        planned = order.planned
        jobs.append(
            Job(
                number=order.number,
                pair=planned.pair,
                boot=planned.boot,
                wish=planned.wish,
                visits=_visits(order, policy, testers),
                due=order.due or due_else,
                weight=late_weight(policy, order.priority),
                ready=0 if order.cured is None else -(-int(order.cured.timestamp()) // 60),
            )
        )
    return tuple(jobs)


def late_weight(policy: Policy, priority: int) -> int:
    """Return the weight of a late order of this priority; 1 where no policy says more."""
    value = policy.optional_number(f"late_weight_{priority}")
    return max(1, int(value)) if value is not None else 1


def _visits(order: Order, policy: Policy, testers: frozenset[int] | None) -> tuple[Visit, ...]:
    way = order.planned.way
    look = _last_look(policy, testers)
    if way.rung is Rung.AS_IS:
        return (Visit(steps=look.steps, people=look.people),)
    if way.rung is Rung.ADJUST:
        return (Visit(steps=((_adjust_words(order.planned), _minutes(policy, "adjust")),)), look)
    off: tuple[tuple[str, int], ...] = ((TAKE_OFF, _minutes(policy, "take_off")),) if order.binding_on else ()
    if order.planned.binding_from not in ("own", "stock"):
        off += (
            (f"take off {order.planned.binding_from}, which gives the binding", _minutes(policy, "take_off")),
        )
    plug = (
        () if order.plugged else ((PLUG, _minutes(policy, "plug_hole", way.plugged)),) if way.plugged else ()
    )
    drill = ((_drill_words(way), _minutes(policy, "drill_hole", way.drilled)),) if way.drilled else ()
    fit = (*drill, (GLUE_AND_MOUNT if order.glued else MOUNT, _minutes(policy, "mount")))
    jig = None if way.jig is None else JigUse(kind=way.pattern, setting=f"{mm_text(way.jig.sole_um)} mm")
    glue = policy.word("mount_adhesive") if order.glued else ""
    mount_cure = cure_minutes(policy, glue) if glue else 0
    if not plug:
        return (Visit(steps=off + fit, jig=jig, cure_minutes=mount_cure, cure_of=_words(glue)), look)
    filler = policy.word("plug_adhesive")
    return (
        Visit(steps=off + plug, cure_minutes=cure_minutes(policy, filler), cure_of=_words(filler)),
        Visit(steps=fit, jig=jig, cure_minutes=mount_cure, cure_of=_words(glue)),
        look,
    )


def _adjust_words(planned: PlannedSet) -> str:
    """Return the pieces to set: those that move, and those whose place nobody knows."""
    sides = planned.way.skis.values()
    named = dict.fromkeys(at.piece for ski in sides for at in ski.pieces if at.move_um != 0)
    return f"set {' and '.join(named)} for the sole" if named else "set for the sole"


def _drill_words(way: Way) -> str:
    """Return the words for drilling: the place of the jig's centre, or that there is no jig."""
    if way.jig is None:
        return f"{DRILL} ({jig_text(way)})"
    return f"{DRILL} (jig centre {place_words(way.jig.centre_um, way.jig.centre_um)})"


def _last_look(policy: Policy, testers: frozenset[int] | None) -> Visit:
    test = _minutes(policy, "release_test")
    steps = ((CHECK, _minutes(policy, "check")),) + (((TEST, test),) if test else ())
    return Visit(steps=steps, other_person=True, people=testers if test else None)


def cure_minutes(policy: Policy, adhesive: str) -> int:
    """Return the real minutes until the adhesive has cured. Raises Refused where the shop has set none."""
    hours = policy.cure_hours(adhesive)
    if hours is None:
        name = f"cure_{adhesive}_hours"
        raise Refused(
            f"nobody has said how long the {_words(adhesive)} cures, so no bench week can be planned",
            cure=f'set it from the data sheet: mountbook policy set {name} HOURS --origin "data sheet"',
        )
    return ceil(hours * 60)


def _minutes(policy: Policy, step: str, times: int = 1) -> int:
    value = policy.number(f"minutes_{step}") * times
    if step in ("mount", "check") and value <= 0:
        raise BadInput(f"minutes_{step} is 0: a visit takes time", cure="set the policy from 1 minute up")
    return ceil(value)


def _words(adhesive: str) -> str:
    return adhesive.replace("_", " ")
