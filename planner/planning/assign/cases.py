"""A proof by cases of a level that one set of multipliers leaves open: a small tree over counts of ways.

What makes a linear program fractional is mostly a limit on minutes or money: it uses half a set of one kind
and half of another. So the tree asks how many ways with the same holes, minutes and money are used: at most
n, or more. Each whole plan lies in one of the two cases; a case whose linear program costs more than any
better plan could is closed by its multipliers. The judge adds them up again, case by case
(`planner.planning.judge.bound`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import floor
from typing import Any

import numpy as np
import numpy.typing as npt

from planner.plan.objective import WAY_FIGURES
from planner.planning.assign.linear_program import (
    ONE_ANSWER,
    Deadline,
    Floats,
    Ints,
    LinearProgram,
    int32,
    quiet_highs,
)

_WHOLE = 1e-5
"""A count this near a whole number is whole."""
_CLEAR = 1e-3
"""A case is closed where its cost is so far above a better plan's; costs are whole."""
_MOST_CASES = 400
"""Linear programs asked for one proof; a tree with more would be longer than it is of use."""
_MOST_COLUMNS = 4_000_000
"""Columns in all linear programs of one proof: what bounds its time without a clock."""
_PRICE = 1_024.0
"""Of breaking a count, in the dearest values: so dear that no case is cheaper for it."""
_ASKED_BY = (
    ("drilled", "minutes", "parts_cents"),
    ("drilled", "minutes", "parts_cents", "brakes"),
    ("pair",),
    ("boot",),
    WAY_FIGURES,
)
"""Figures that counts are asked by: the next only where every count by those before is whole."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedCase:
    """A case closed: multipliers of the rows, and of the counts that lead to it from the root."""

    rows: Floats
    counts: Floats

    def with_multipliers(self, change: Callable[[Floats], Floats]) -> ClosedCase:
        """The same case with its row multipliers changed."""
        return replace(self, rows=change(self.rows))


@dataclass(frozen=True, slots=True, kw_only=True)
class SplitCase:
    """Of the ways with these figures (`WAY_FIGURES`, None: any) at most so many are used, or more."""

    figures: tuple[int | None, ...]
    at_most: int
    fewer: Case
    more: Case

    def with_multipliers(self, change: Callable[[Floats], Floats]) -> SplitCase:
        """The same cases with the row multipliers changed."""
        return replace(
            self, fewer=self.fewer.with_multipliers(change), more=self.more.with_multipliers(change)
        )


Case = ClosedCase | SplitCase


class WayCounts:
    """The counts of ways by figures: how often those of a class are used, settled ones included."""

    def __init__(self, figures: Ints, lower: Floats, free: npt.NDArray[np.intp]) -> None:
        """``figures``: one row a way, which are the first columns; ``lower``: of every column."""
        ways = len(figures)
        self._free = free[free < ways]
        """Ways among the free columns, which they come first in."""
        self._figures = figures
        self._settled = lower[:ways].copy()
        self._settled[self._free] = 0.0
        self._known: dict[tuple[str, ...], tuple[Ints, Ints, Ints]] = {}

    def fractional(self, values: Floats) -> tuple[tuple[int | None, ...], Ints, int, int] | None:
        """The count farthest from whole: figures, its free columns, what is used of them, what is settled.

        None where every count is whole.
        """
        for asked in _ASKED_BY:
            mine, rows, settled = self._classes(asked)
            used = np.bincount(mine, weights=values[: len(mine)], minlength=len(rows))
            part = np.abs(used - np.rint(used))
            if np.max(part, initial=0.0) > _WHOLE:
                worst = int(np.argmax(np.round(part, 6)))
                named = dict(zip(asked, rows[worst].tolist(), strict=True))
                figures = tuple(named.get(name) for name in WAY_FIGURES)
                return figures, np.flatnonzero(mine == worst), floor(used[worst]), int(settled[worst])
        return None

    def _classes(self, asked: tuple[str, ...]) -> tuple[Ints, Ints, Ints]:
        """Return the class of each free way, the figures of each class, and how often settled ones are used.

        Kept, and made where they are asked for: most proofs ask by the first figures only.
        """
        if asked not in self._known:
            rows, of = np.unique(
                self._figures[:, [WAY_FIGURES.index(name) for name in asked]], axis=0, return_inverse=True
            )
            settled = np.bincount(of.ravel(), weights=self._settled, minlength=len(rows))
            self._known[asked] = of.ravel()[self._free], rows, np.rint(settled).astype(np.int64)
        return self._known[asked]


def proof_by_cases(
    program: LinearProgram, *, costs: Ints, lower: Floats, counts: WayCounts, goal: int, deadline: Deadline
) -> SplitCase | None:
    """The cases that prove that no whole solution costs less than ``goal``; None where none were found.

    ``lower``: of the columns of ``program``. Found or not does not depend on a clock, but for the deadline.
    """
    step = int(np.gcd.reduce(costs, initial=0)) or 1
    return _Tree(program, costs, lower, counts, goal - step + _CLEAR, deadline).proof()


class _Tree:
    def __init__(
        self,
        program: LinearProgram,
        costs: Ints,
        lower: Floats,
        counts: WayCounts,
        over: float,
        deadline: Deadline,
    ) -> None:
        self.counts, self.over, self.deadline = counts, over, deadline
        self.rows, self.size = len(program.lower), program.size
        self.left = min(_MOST_CASES, _MOST_COLUMNS // max(1, program.size))
        self.solver: Any = quiet_highs({**ONE_ANSWER, "solver": "simplex"})
        none = np.zeros(0)
        self.solver.addRows(self.rows, program.lower, program.upper, 0, int32(none), int32(none), none)
        starts = np.searchsorted(program.column, np.arange(program.size))
        self.solver.addCols(
            program.size,
            costs.astype(np.float64),
            lower,
            program.column_upper,
            len(program.row),
            int32(starts),
            int32(program.row),
            program.value.astype(np.float64),
        )
        # One column more may break every count, at a price above any value: so each case has a cheapest
        # solution, and the multipliers of an impossible one prove a cost as high as is wanted.
        price = _PRICE * (1.0 + abs(over) + float(np.max(np.abs(costs), initial=0)))
        self.solver.addCol(price, 0.0, float("inf"), 0, int32(none), none)

    def proof(self) -> SplitCase | None:
        """The tree, or None, also where there is nothing to split."""
        found = self._case(0)
        return found if isinstance(found, SplitCase) else None

    def _case(self, depth: int) -> Case | None:
        """The proof of the case whose counts stand as the last ``depth`` rows of the solver."""
        if not self.left or self.deadline.over():
            return None
        self.left -= 1
        if self.deadline.set:
            self.solver.setOptionValue("time_limit", self.solver.getRunTime() + self.deadline.left())
        self.solver.run()
        if self.solver.modelStatusToString(self.solver.getModelStatus()) != "Optimal":
            return None
        solution = self.solver.getSolution()
        if self.solver.getInfo().objective_function_value > self.over:
            dual = np.asarray(solution.row_dual)
            return ClosedCase(rows=dual[: self.rows].copy(), counts=dual[self.rows :].copy())
        asked = self.counts.fractional(np.asarray(solution.col_value))
        if asked is None:
            return None
        figures, columns, used, settled = asked
        fewer = self._with_row(depth, columns, (-np.inf, float(used)), -1.0)
        more = None if fewer is None else self._with_row(depth, columns, (used + 1.0, np.inf), 1.0)
        if fewer is None or more is None:
            return None
        return SplitCase(figures=figures, at_most=used + settled, fewer=fewer, more=more)

    def _with_row(self, depth: int, columns: Ints, limits: tuple[float, float], broken: float) -> Case | None:
        """The proof of one case more; ``broken``: what the column that breaks counts does to this one."""
        at = np.append(columns, self.size)
        self.solver.addRow(*limits, len(at), int32(at), np.append(np.ones(len(columns)), broken))
        found = self._case(depth + 1)
        self.solver.deleteRows(1, int32([self.rows + depth]))
        return found
