"""Choices and multipliers written one by one, for the sums of a proof, which take them as lists and by group."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

from planner.plan.objective import COST_LEVELS, CaseProof, CaseSplit, LevelProof
from planner.planning.judge.bound import NO_ROW, BoundColumns
from planner.planning.judge.certificate import PossibleWays


class Choice(NamedTuple):
    """A choice, made ``lower`` to ``upper`` times: its cost at each level, and (row, coefficient)."""

    costs: tuple[int, ...]
    upper: int
    rows: tuple[tuple[int, int], ...]
    lower: int = 0
    figures: tuple[int, ...] = ()


def choices(*told: Choice) -> BoundColumns:
    """All of them: up to three rows are taken once, one is given, the other coefficients are amounts."""
    takes: tuple[list[int], ...] = ([], [], [])
    gives: list[int] = []
    amounts: dict[int, list[int]] = {}
    for at, choice in enumerate(told):
        once = [row for row, by in choice.rows if by == 1][: len(takes)]
        given = [row for row, by in choice.rows if by == -1][:1]
        for rows, row in zip(takes, once + [NO_ROW] * (len(takes) - len(once)), strict=True):
            rows.append(row)
        gives += given or [NO_ROW]
        for row, by in choice.rows:
            if row not in once + given:
                amounts.setdefault(row, [0] * len(told))[at] = by
    return BoundColumns(
        costs=[list(costs) for costs in zip(*(choice.costs for choice in told), strict=True)],
        lower=[choice.lower for choice in told],
        upper=[choice.upper for choice in told],
        takes=(takes[0], takes[1], takes[2]),
        gives=gives,
        amounts=amounts,
        figures=[choice.figures for choice in told],
    )


def claim(
    value: int,
    rows: Sequence[int],
    earlier: Sequence[int] = (),
    *,
    scale: int = 1,
    cases: CaseSplit | None = None,
) -> LevelProof:
    """A level with the multipliers of its limits, all of one group, and of the levels before it."""
    multipliers = {"pairs": tuple(rows), "earlier": tuple(earlier)}
    return LevelProof(name="", value=value, scale=scale, multipliers=multipliers, cases=cases)


def closed(
    rows: Sequence[int], counts: Sequence[int], earlier: Sequence[int] = (), *, scale: int = 1
) -> CaseProof:
    """A case by its multipliers, those of the counts that lead to it apart."""
    multipliers = {"pairs": tuple(rows), "earlier": tuple(earlier)}
    return CaseProof(scale=scale, multipliers=multipliers, counts=tuple(counts))


class PossibleWay(NamedTuple):
    """A way by itself, as a table of them has it in lists."""

    pair: int
    boot: int
    brakes: int
    costs: tuple[int, ...]
    parts_cents: int = 0


def possible(listed: Sequence[PossibleWay]) -> PossibleWays:
    """These ways as lists."""
    costs = [list(each) for each in zip(*(way.costs for way in listed), strict=True)]
    told = {name: [getattr(way, name) for way in listed] for name in PossibleWay._fields}
    return PossibleWays(**told | {"costs": costs or [[] for _ in COST_LEVELS]})
