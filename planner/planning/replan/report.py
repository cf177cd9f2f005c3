"""The changes of planning again, in words and as JSON."""

from collections.abc import Iterator
from typing import Any

from fleet.base.units import counted
from planner.plan.values import PlannedSet
from planner.planning.assign.plan import PROVED_BEST
from planner.planning.explain.compare import differences, set_json
from planner.planning.replan.again import ChangedSet, PlannedAgain


def lines_of(again: PlannedAgain) -> Iterator[str]:
    """The changes for a person: the count first, then each set that moved, then what fewer would cost."""
    promised = len(again.promised)
    yield (
        f"after the earlier plan: {counted(again.kept + promised, 'set')} as before ({promised} on issued or"
        f" finished orders), {len(again.changed)} changed, {len(again.gone)} gone, {again.added} new"
    )
    yield f"  a change must save more than {counted(again.price_holes, 'drilled hole')}"
    if again.plan.status != PROVED_BEST:
        yield "  the best is meant of all plans, also of those that keep nothing of the earlier one"
    for change in again.changed:
        yield f"  changed: {_was(change)}"
    for gone in again.gone:
        yield f"  gone: {gone.earlier.about}: {gone.reason}"
    if again.fewest < len(again.changed):
        told = ", ".join(differences(again.plan.totals, again.fewest_totals)) or "the same figures"
        yield f"  {again.fewest} changes would do (--most-changes {again.fewest}); that plan has {told}"


def _was(change: ChangedSet) -> str:
    after = change.after
    now = "nothing" if after is None else f"{after.boot}, {_way(after)}"
    return f"{change.before.pair} was {change.before.boot}, {_way(change.before)}; is {now}"


def _way(planned: PlannedSet) -> str:
    return f"{planned.way.rung.value}" + (f" ({planned.way.drilled} holes)" if planned.way.drilled else "")


def json_of(again: PlannedAgain) -> dict[str, Any]:
    """The keys beside the plan in the answer of ``mountbook plan --after --json``."""
    theirs = again.fewest_totals
    return {
        "price_holes": again.price_holes,
        "promised": [e.order for e in again.promised],
        "kept": again.kept,
        "changes": len(again.changed),
        "changed": [
            {
                "pair": c.before.pair,
                "before": set_json(c.before),
                "after": None if c.after is None else set_json(c.after),
            }
            for c in again.changed
        ],
        "gone": [
            {"pair": g.earlier.planned.pair, "boot": g.earlier.planned.boot, "reason": g.reason}
            for g in again.gone
        ],
        "added": again.added,
        "fewest": {
            "changes": again.fewest,
            "served": theirs.served,
            "drilled": theirs.drilled,
            "minutes": theirs.minutes,
        },
    }
