"""The bench weeks in words: the answer of `mountbook bench`, line by line."""

from collections.abc import Iterator, Sequence
from dataclasses import fields
from datetime import datetime
from typing import Any

from fleet.base.days import day_text, short_time_text, typed_day
from fleet.base.units import first_of
from planner.bench.weeks.progress import Progress
from planner.bench.weeks.values import BenchPlan

_SHOWN = 12


def plan_lines(plan: BenchPlan, orders: int, overdue: Sequence[str] = ()) -> Iterator[str]:
    """Yield the outcome: what is proved, and what is not. ``overdue``: due on a day that is gone by."""
    f, proof = plan.figures, plan.proof
    yield f"{orders - len(plan.left_over)} of {orders} orders planned, {plan.status}"
    yield f"late: {_few(plan.late)}"
    if overdue:
        yield f"  due on a day gone by, so late whatever is done: {_few(tuple(overdue))}"
    yield _bound("late orders, weighted by priority", f.late_weight, proof.late_weight, plan.late_gap_percent)
    if plan.left_over:
        yield f"left over, no room in these weeks: {_few(plan.left_over)}"
    yield _bound("jig set-ups", f.setups, proof.setups, plan.setups_gap_percent)
    if plan.moved:
        yield f"moved to another day since the plan before: {_few(plan.moved)}"


def _bound(what: str, found: int, bound: int | None, gap: float) -> str:
    if bound is None:
        return f"{what}: {found}, nothing proved"
    if found == bound:
        return f"{what}: {found}, proved: no plan has fewer"
    return f"{what}: {found}, no plan has fewer than {bound}; at most {gap:g} % from the best"


def _few(names: tuple[str, ...]) -> str:
    if not names:
        return "none"
    return f"{len(names)}: {first_of(names, _SHOWN)}"


def only_day(data: dict[str, Any], day: str | None) -> dict[str, Any]:
    """Return the content with the visits of one day only. Raises BadInput for a text that is no day."""
    if day is None:
        return data
    wanted = typed_day(day)
    visits = [v for v in data["visits"] if datetime.fromisoformat(v["start"]).date() == wanted]
    return data | {"visits": visits}


def day_lines(data: dict[str, Any]) -> Iterator[str]:
    """Yield each day's visits in order of time."""
    current = None
    for v in data["visits"]:
        start, end = datetime.fromisoformat(v["start"]), datetime.fromisoformat(v["end"])
        if start.date() != current:
            if current is not None:
                yield ""
            current = start.date()
            yield day_text(start)
            yield f"  {'time':<11}  {'who':<14} {'order':<14} {'pair':<5}  what is done"
        steps = ", ".join(step["step"] for step in v["steps"])
        jig = f" · {'SET UP ' if v['sets_up'] else ''}jig {v['jig']}" if v["jig"] else ""
        cure = ""
        if v["cures_until"]:
            cured = datetime.fromisoformat(v["cures_until"])
            cure = f" · {v['cure_of']} cures until {short_time_text(cured)}"
        late = " · LATE" if v["order"] in data["late"] else ""
        who = f"{v['person']:<14} {v['order']:<14} {v['pair']}"
        yield f"  {start:%H:%M}-{end:%H:%M}  {who}  {steps}{jig}{cure}{late}"
    if current is None:
        yield "nothing at the bench"


def progress_lines(progress: Progress) -> Iterator[str]:
    """Yield one line a group; groups that need attention come with their numbers."""
    for field in fields(progress):
        yield f"{field.name.replace('_', ' ')}: {_few(getattr(progress, field.name))}"
