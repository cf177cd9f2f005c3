"""Words for a plan that is not proved best: what it leaves open, level by level."""

from __future__ import annotations

from collections.abc import Iterator

from planner.plan.certificate import LevelProof, gap_percent
from planner.plan.objective import ROOM, WORTH, Level, Totals, counted_in, levels_of
from planner.plan.values import Plan


def result_of(plan: Plan) -> str:
    """The standing in a few words: ``best found, at most 3.4 % from the best``.

    The solver's proof and the certificate's are two things: only the second can be checked.
    """
    if plan.status == "proved best" or not plan.gap_percent:
        return plan.status
    if plan.certificate is None:
        return f"{plan.status}, nothing is proved of it"
    said = f"{plan.status}, at most {plan.gap_percent:g} % from the best"
    if all(level.by_solver for level in plan.certificate.levels):
        return f"{said} (the solver found none better; its proof is short)"
    return said


PROVED = (
    "no plan within the shop's rules and limits serves more sets, priority 1 before 2; of those that serve "
    "as many none {}drills fewer holes; of those again none takes less bench time, then lies nearer the "
    "marks, then has more room around holes"
)


def what_is_proved(plan: Plan) -> Iterator[str]:
    """Yield what "proved best" says, in a sentence; nothing for another plan."""
    if plan.status == "proved best" and plan.totals.wanted:
        counted = counted_in(plan.totals)
        worth = "drills mounts of less worth; of those with as little none " if WORTH in counted else ""
        yield PROVED.format(worth) + (", then leaves more further mounts" if ROOM in counted else "")


def left_open(plan: Plan) -> Iterator[str]:
    """A line for each level not proved: what was found, and the bound that no plan can better.

    Each bound is about plans that are no worse at the levels before it. Nothing for a plan proved best.
    """
    if plan.status == "proved best" or plan.certificate is None:
        return
    levels = levels_of(plan.totals.served_by_priority, counted_in(plan.totals))
    for level, proof in zip(levels, plan.certificate.levels, strict=False):
        if proof.bound != proof.value:
            yield _line(level, proof, plan.totals)


def _line(level: Level, proof: LevelProof, totals: Totals) -> str:
    total = level.total_in(totals)
    found = f"{level.words}: {level.figure(total)}, not proved"
    if proof.bound is None or (level.priority is None and proof.bound < 0):  # nothing costs less than nothing
        return f"{found}; no bound was found"
    possible = proof.value - proof.bound
    most = level.figure(total + possible if level.more else total - possible)
    than = "no more than" if level.more else "no less than"
    return f"{found}; the best is {than} {most} ({gap_percent(proof.value, proof.bound):g} %)"
