"""What a plan that is not proved best leaves open, level by level, in words."""

from __future__ import annotations

from collections.abc import Iterator

from fleet.units import counted, mm_text, to_half_mm
from planner.certificate_values import LevelProof, gap_percent
from planner.plan_values import Plan

NOT_IN_ORDER = "every figure is proved best; which of the equal plans comes first was not settled in time"


def result_of(plan: Plan) -> str:
    """The standing in a few words: ``best found, at most 3.4 % from the best``."""
    if plan.status == "proved best" or not plan.gap_percent:
        return plan.status
    return f"{plan.status}, at most {plan.gap_percent:g} % from the best"


def left_open(plan: Plan) -> Iterator[str]:
    """A line for each level not proved: what was found, and the bound that no plan can better.

    Each bound is about plans that are no worse at the levels before it. Nothing for a plan proved best.
    """
    if plan.status == "proved best" or plan.certificate is None:
        return
    missed = [level for level in plan.certificate.levels if level.bound != level.value]
    if not missed:
        yield NOT_IN_ORDER
    for level in missed:
        yield _line(level, plan)


def _line(level: LevelProof, plan: Plan) -> str:
    found, most = _figures(level, level.value, plan), None
    if level.bound is not None:
        most = _figures(level, level.bound, plan)
    gap = gap_percent(level.value, level.bound)
    name = level.name.removesuffix(" not served")
    if most is None:
        return f"{_NAMES.get(name, name)}: {found}, not proved; no bound was found in time"
    more = name not in _NAMES or name == "lost_um"
    than = "no more than" if more else "no less than"
    return f"{_NAMES.get(name, name)}: {found}, not proved; the best is {than} {most} ({gap:g} %)"


_NAMES = {
    "drilled": "drilling",
    "minutes": "bench time",
    "offset_um": "boot centres off the mark",
    "lost_um": "room around new holes",
}


def _summed(total_um: int) -> str:
    return f"{mm_text(to_half_mm(total_um))} mm summed"


def _figures(level: LevelProof, value: int, plan: Plan) -> str:
    match level.name:
        case "drilled":
            return counted(value, "hole")
        case "minutes":
            return counted(value, "minute")
        case "offset_um":
            return _summed(value)
        case "lost_um":
            return _summed(plan.totals.clearance_um + level.value - value)
        case _:
            return f"{counted(-value, 'set')} served"
