"""The words for what is proved of the plan of a chain."""

from __future__ import annotations

from collections.abc import Iterator

from fleet.base.units import counted
from planner.plan.certificate import gap_percent
from planner.plan.chain import ChainLevel, ChainPlan

_WORDS = {
    "mount_worth": ("worth of the mounts drilled", "point"),
    "drilled": ("drilling", "hole"),
    "minutes": ("bench time with the vans'", "minute"),
}


def result_of(plan: ChainPlan) -> str:
    """``proved best``, or how far from the best it is at most."""
    if plan.proved:
        return "proved best: no plan of the chain serves more, drills less or takes less time, in that order"
    return f"best found, at most {plan.gap_percent:g} % from the best"


def left_open(plan: ChainPlan) -> Iterator[str]:
    """A line for each level not proved; each is about plans that are no worse at the levels before."""
    for level in plan.levels:
        if level.bound != level.value:
            yield _line(level)


def _line(level: ChainLevel) -> str:
    served = level.name.startswith("priority")
    words, unit = _WORDS.get(level.name, ("things moved", "thing"))
    if served:
        words, unit = level.name.removesuffix(" not served"), "set"
    found = f"{words}: {counted(abs(level.value), unit)}, not proved"
    if level.bound is None:
        return f"{found}; no bound was found"
    than = "no more than" if served else "no less than"
    best = counted(-level.bound if served else max(level.bound, 0), unit)
    return f"{found}; the best is {than} {best} ({gap_percent(level.value, level.bound):g} %)"
