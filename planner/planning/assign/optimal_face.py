"""The optimal face of a linear program, narrowed level by level (HiGHS).

Each level is a linear program on the face of the levels before it. By complementary slackness a column with
a reduced cost other than zero stands at one bound in every optimum, and a row with a dual other than zero is
tight: they are fixed there (reduced cost fixing), so that the level holds by construction and no row with
large coefficients is needed. Where the linear program is fractional the level is solved as an integer
program, and its value is held by a row of its own.

Column generation: the solver sees few of the columns; the rest are priced by the row duals, and join where
they would help.
"""

from collections.abc import Callable, Sequence
from contextlib import suppress
from functools import partial
from itertools import takewhile
from math import ceil, inf
from typing import Any

import numpy as np
import numpy.typing as npt

from fleet.base.errors import PlanFault
from planner.plan.objective import WAY_FIGURES
from planner.planning.assign.cases import SplitCase, WayCounts, proof_by_cases
from planner.planning.assign.linear_program import (
    NEVER,
    Deadline,
    Floats,
    Ints,
    LinearProgram,
    OutOfTime,
    int32,
    quiet_highs,
)

_TOLERANCE = 1e-6
"""The solver's numbers differ from whole ones by less than this; costs and columns are whole numbers."""
_JOIN_AT_ONCE = 4_000
"""Columns that join in one round, the most promising first."""
_FEASIBLE = 2
"""HiGHS, SolutionStatus: kSolutionStatusFeasible."""
_SHARE = 0.5
"""Of the time left, what one integer program may use: the levels after it want some too."""
_DUAL, PRIMAL = 1, 4
"""HiGHS, simplex_strategy."""
_NUDGES = (1, 32, 32, 32)
"""Relief is asked for as it is, then so many 64ths of a unit beside it: another corner may be whole."""


class OptimalFace:
    """The plans that reach every level settled so far: a linear program with fixed columns and tight rows."""

    def __init__(
        self, rows: LinearProgram, *, seen: npt.NDArray[np.bool_] | None = None, deadline: Deadline = NEVER
    ) -> None:
        """``seen``: the columns that the solver starts with (all, if not given)."""
        import highspy

        self.deadline = deadline

        self._highspy: Any = highspy
        self._solver = quiet_highs(_OPTIONS)
        self.rows = rows
        self.size = rows.size
        self.lower: Floats = np.zeros(self.size)
        self.upper: Floats = rows.column_upper.astype(np.float64)
        self.row_lower, self.row_upper = rows.lower.copy(), rows.upper.copy()
        self._starts = np.searchsorted(rows.column, np.arange(self.size + 1))
        self._held: list[tuple[Ints, float, int]] = []
        self._held_level: list[int] = []
        self._at_most: list[int] = []
        self._at = np.full(self.size, -1, dtype=np.int64)
        self._seen: Ints = np.zeros(0, dtype=np.int64)
        self.values: Ints = np.zeros(self.size, dtype=np.int64)
        """The best plan so far; before the first level an empty one, or a plan to start with."""
        self.simplex = _DUAL
        """Primal is quicker from level to level, where only costs and columns are new. The dual's multipliers
        settle the prices of a chain in a fifth fewer rounds."""
        self.relief: Ints | None = None
        """Costs by which a whole solution is looked for: what spares a scarce thing is mostly whole."""
        self.duals: list[Floats] = []
        """Of each level settled so far: multipliers of the rows, then of the levels before it."""
        self.settled: list[tuple[int, bool]] = []
        """Of each level settled so far: its value, and whether the solver proved it best."""
        self.cases: list[SplitCase | None] = []
        """Of each level settled so far: the cases that prove what those multipliers leave open."""
        self.figures: Ints = np.zeros((0, len(WAY_FIGURES)), dtype=np.int64)
        """One row a way, which are the first columns: `WAY_FIGURES`."""
        self._solver.addRows(len(rows.lower), rows.lower, rows.upper, 0, int32([]), int32([]), np.zeros(0))
        self._join(np.arange(self.size) if seen is None else np.flatnonzero(seen), None)

    def _join(self, columns: npt.NDArray[np.intp] | Ints, costs: Ints | Floats | None) -> None:
        """Let the solver see more columns, with their place in the rows that hold earlier levels."""
        if not len(columns):
            return
        counts = self._starts[columns + 1] - self._starts[columns]
        entries = np.repeat(self._starts[columns] - np.cumsum(counts) + counts, counts) + np.arange(
            counts.sum()
        )
        own = np.repeat(np.arange(len(columns)), counts)
        row, value = self.rows.row[entries], self.rows.value[entries]
        for extra, (held, _, _) in enumerate(self._held):
            used = np.flatnonzero(held[columns])
            own = np.concatenate([own, used])
            row = np.concatenate([row, np.full(len(used), len(self.rows.lower) + extra)])
            value = np.concatenate([value, held[columns[used]].astype(np.float64)])
        order = np.argsort(own, kind="stable")
        self._solver.addCols(
            len(columns),
            np.zeros(len(columns)) if costs is None else costs[columns].astype(np.float64),
            self.lower[columns],
            self.upper[columns],
            len(order),
            int32(np.searchsorted(own[order], np.arange(len(columns)))),
            int32(row[order]),
            value[order],
        )
        self._at[columns] = len(self._seen) + np.arange(len(columns))
        self._seen = np.concatenate([self._seen, columns])

    def minimise(self, costs: Ints, *, certify: bool = True) -> int:
        """Settle one level: its best value, and the face narrowed to where it is reached.

        ``certify``: look for cases that prove it where the multipliers do not.

        Where the deadline comes first it is the value of the best plan found, and ``all_proved`` no more.
        Raises OutOfTime, with nothing changed, where there is no bound either; PlanFault if the solver gives
        no proof.
        """
        if self.size == 0:
            return 0
        self._set_costs(costs)
        bound, values, reduced, row_dual = self._priced(costs)
        number = len(self.duals)
        self.duals.append(self._multipliers(number, row_dual))
        self.cases.append(None)
        whole = np.rint(values)
        fractional = float(np.max(np.abs(values - whole))) > _TOLERANCE
        gap, held, proved = 0.0, False, True
        if fractional:
            # The bound is rounded up, because plans are whole. Values are rounded only where whole already.
            least, _ = self._next_value(costs, bound)

            def is_best(value: int) -> bool:
                """Leave out what no plan of that value uses, and look for cases that prove it best."""
                self._narrow(value - bound, reduced, row_dual, values)
                return certify and self._proved_by_cases(number, costs, value)

            relieved = self._relieved(costs, least)
            held = relieved is not None
            whole, proved = (
                self._best_whole(costs, bound, reduced, is_best) if relieved is None else (relieved, True)
            )
            gap = max(0.0, int(costs @ whole) - bound)
            # Where the rounded bound meets the value the multipliers prove the level, else cases may.
            if int(costs @ whole) > least and self.cases[number] is None:
                self._at_most.append(number)
        self.values = whole.astype(np.int64)
        best = int(costs @ self.values)
        self._narrow(gap, reduced, row_dual, values)
        if gap > _TOLERANCE and not held:
            self._hold(costs, best, exact=proved)
        self.settled.append((best, proved))
        return best

    def ask_no_worse(self, costs: Ints, value: int) -> None:
        """Settle one level at a value that is asked for: plans that are better there stay on the face."""
        self.duals.append(np.zeros(len(self.rows.lower) + len(self.duals)))
        self.cases.append(None)
        self._at_most.append(len(self.settled))
        self._hold(costs, value, exact=False)
        self.settled.append((value, True))

    def relaxed(self, costs: Floats) -> tuple[float, Floats, Floats]:
        """The linear program alone at these costs, nothing settled: value, columns, multipliers of rows."""
        self._set_costs(costs)
        value, values, _, row_dual = self._priced(costs)
        return value, values, row_dual

    def proved_as_far_as(self, values: Sequence[int]) -> int:
        """Return at how many levels, from the first on, the solver proved these values best."""
        proved = ((value, True) == settled for value, settled in zip(values, self.settled, strict=False))
        return sum(1 for _ in takewhile(bool, proved))

    @property
    def all_proved(self) -> bool:
        """True if the solver proved every level settled so far."""
        return all(proved for _, proved in self.settled)

    def _next_value(self, costs: Ints, bound: float) -> tuple[int, int]:
        """Return the least value of a whole plan that is not below ``bound``, and the step between values.

        The columns still free share a step: holes come in twos and fours. The judge rounds alike.
        """
        free = self.lower < self.upper
        fixed = int(costs[~free] @ self.lower[~free].astype(np.int64))
        step = int(np.gcd.reduce(costs[free], initial=0)) or 1
        return fixed + step * ceil((bound - fixed - _TOLERANCE) / step), step

    def _multipliers(self, number: int, row_dual: Floats) -> Floats:
        """The multipliers of the rows, then of the levels before this one.

        One that leans on a limit that is not there is the solver's rounding. Of a level whose value no
        multipliers prove, later proofs may use that it is no worse, not that it is no better.
        """
        count = len(self.rows.lower)
        y = row_dual[:count].copy()
        y[((y > 0) & np.isinf(self.row_lower)) | ((y < 0) & np.isinf(self.row_upper))] = 0.0
        earlier = np.zeros(number)
        earlier[self._held_level] = row_dual[count:]
        earlier[[k for k in self._at_most if earlier[k] > 0]] = 0.0
        return np.concatenate([y, earlier])

    def _proved_by_cases(self, number: int, costs: Ints, best: int) -> bool:
        """Keep a proof of this level by cases, and return whether one was found."""
        program, free = self.free_part()
        for row, level in enumerate(self._held_level, start=len(self.rows.lower)):
            if level in self._at_most:
                program.lower[row] = -np.inf
        settled = int(costs @ np.where(self.lower < self.upper, 0, self.lower).astype(np.int64))
        found = proof_by_cases(
            program,
            costs=costs[free],
            lower=self.lower[free],
            counts=WayCounts(self.figures, self.lower, free),
            goal=best - settled,
            deadline=self.deadline,
        )
        if found is not None:
            self.cases[number] = found.with_multipliers(partial(self._multipliers, number))
        return found is not None

    def _set_costs(self, costs: Ints | Floats) -> None:
        self._solver.changeColsCost(
            len(self._seen), int32(np.arange(len(self._seen))), costs[self._seen].astype(np.float64)
        )

    def _priced(self, costs: Ints | Floats) -> tuple[float, Floats, Floats, Floats]:
        """The linear program over all columns: bound, values, reduced costs, row duals."""
        while True:
            self._run(by=self.simplex)
            solution = self._solver.getSolution()
            row_dual = np.asarray(solution.row_dual)
            reduced = self._reduced_costs(costs, row_dual)
            unseen = (self._at < 0) & (self.upper > self.lower) & (reduced < -_TOLERANCE)
            better: Ints = np.flatnonzero(unseen)
            if not len(better):
                values = self.lower.copy()
                values[self._seen] = np.asarray(solution.col_value)
                return float(self._solver.getInfo().objective_function_value), values, reduced, row_dual
            # The most promising first, equals in canonical order, so that every run sees the same columns.
            if len(better) > _JOIN_AT_ONCE:
                better = better[np.argsort(reduced[better], kind="stable")[:_JOIN_AT_ONCE]]
            self._join(np.sort(better), costs)

    def _reduced_costs(self, costs: Ints | Floats, row_dual: Floats) -> Floats:
        priced = np.bincount(
            self.rows.column, weights=self.rows.value * row_dual[self.rows.row], minlength=self.size
        )
        found: Floats = costs.astype(np.float64) - priced
        for extra, (held, _, _) in enumerate(self._held):
            found -= row_dual[len(self.rows.lower) + extra] * held
        return found

    def _relieved(self, costs: Ints, hoped: int) -> Floats | None:
        """A whole solution that reaches ``hoped`` (none betters it) with the least ``relief``; or None.

        What makes a level fractional is mostly one scarce thing. Asked to use as little of it as it can,
        the linear program is a network again, and whole. The row that holds the level then stays.
        """
        if self.relief is None:
            return None
        self._hold(costs, hoped)
        chance = np.random.default_rng(1)
        with suppress(_NoSolution, OutOfTime):
            for below in _NUDGES:
                self._set_costs(64 * self.relief + chance.integers(below, size=self.size))
                self._run()
                values = np.asarray(self._solver.getSolution().col_value)
                if float(np.max(np.abs(values - np.rint(values)))) <= _TOLERANCE:
                    whole = self.lower.copy()
                    whole[self._seen] = np.rint(values)
                    return whole
        # Step back: the row of the level leaves, and the face is as it was before the attempt.
        self._held.pop()
        self._held_level.pop()
        self._solver.deleteRows(1, int32([self._solver.getNumRow() - 1]))
        self._set_costs(costs)
        return None

    def _best_whole(
        self, costs: Ints, bound: float, reduced: Floats, is_best: Callable[[int], bool]
    ) -> tuple[Floats, bool]:
        """The best whole-number solution, and True; columns join until none could better it.

        ``is_best``: may prove a value sooner than an integer program over more columns would.
        Where the deadline comes first: the best that is known, and whether it happens to meet the bound.
        """
        known: Floats | None = self.values.astype(np.float64) if self.deadline.set else None
        least, step = self._next_value(costs, bound)
        asked = inf
        while True:
            try:
                found, proved = self._whole_numbers()
            except OutOfTime:
                assert known is not None
                return known, False
            whole = self.lower.copy()
            whole[self._seen] = found
            if known is not None and not proved and costs @ known <= costs @ whole:
                whole = known
            value = float(costs @ np.rint(whole))
            if value <= least or (proved and value < asked and is_best(round(value))):
                return whole, True
            asked = value
            better = bound + reduced <= value - step + _TOLERANCE
            unseen = (self._at < 0) & (self.upper > self.lower) & better
            if not proved or not unseen.any():
                return whole, proved
            known = whole if self.deadline.set else None
            self._join(np.flatnonzero(unseen), costs)

    def _whole_numbers(self) -> tuple[Floats, bool]:
        """A whole solution over the columns seen, and whether it is proved best. Raises OutOfTime."""
        self._integrality(self._highspy.HighsVarType.kInteger)
        proved = True
        try:
            self._run(_SHARE, whole=True)
        except OutOfTime:
            if self._solver.getInfo().primal_solution_status != _FEASIBLE:
                raise
            proved = False
        finally:
            found: Floats = np.rint(np.asarray(self._solver.getSolution().col_value))
            self._integrality(self._highspy.HighsVarType.kContinuous)
        return found, proved

    def _integrality(self, kind: Any) -> None:
        count = len(self._seen)
        self._solver.changeColsIntegrality(
            count, int32(np.arange(count)), np.full(count, int(kind), np.uint8)
        )

    def _run(self, share: float = 1.0, *, whole: bool = False, by: int = _DUAL) -> None:
        """Solve what is set, in a share of the time left. Raises OutOfTime, _NoSolution, or PlanFault.

        The solver's clock of linear programs runs on from run to run; that of integer programs begins anew.
        """
        if self.deadline.set:
            if self.deadline.over():
                raise OutOfTime
            before = 0.0 if whole else self._solver.getRunTime()
            self._solver.setOptionValue("time_limit", before + self.deadline.left() * share)
        self._solver.setOptionValue("simplex_strategy", by)
        self._solver.run()
        status = self._solver.getModelStatus()
        if status == self._highspy.HighsModelStatus.kTimeLimit:
            raise OutOfTime
        if status == self._highspy.HighsModelStatus.kUnknown:
            self._solver.clearSolver()  # a basis carried along can lead into a corner of rounding
            self._solver.run()
            status = self._solver.getModelStatus()
        if status == self._highspy.HighsModelStatus.kInfeasible:
            raise _NoSolution
        if status != self._highspy.HighsModelStatus.kOptimal:
            word = self._solver.modelStatusToString(status)
            raise PlanFault(
                f"the solver stopped without a proof: {word}", cure="report this, with the ledger"
            )

    def _narrow(self, gap: float, reduced: Floats, row_dual: Floats, values: Floats) -> None:
        """Fix what cannot move without making this level worse than it is proved to be."""
        # Reduced cost fixing: one step off its bound costs more than the gap between value and bound.
        up = (reduced > gap + _TOLERANCE) & (values <= self.lower + _TOLERANCE)
        down = (reduced < -gap - _TOLERANCE) & (values >= self.upper - _TOLERANCE)
        self._fix(up, down)
        # A gap leaves room for slack in a row, so rows are tightened only without one.
        if gap <= _TOLERANCE:
            self._tighten_rows(row_dual)

    def _tighten_rows(self, row_dual: Floats) -> None:
        count = len(self.rows.lower)
        tight = np.flatnonzero((np.abs(row_dual[:count]) > _TOLERANCE) & (self.row_lower < self.row_upper))
        # HiGHS: a row's dual is positive where it rests on its lower bound, negative on its upper
        stands = np.where(row_dual[tight] > 0, self.row_lower[tight], self.row_upper[tight])
        self.row_lower[tight] = self.row_upper[tight] = stands
        for row, bound in zip(tight.tolist(), stands.tolist(), strict=True):
            self._solver.changeRowBounds(row, bound, bound)
        for extra, (held, low, best) in enumerate(self._held):
            if low < best and row_dual[count + extra] < -_TOLERANCE:
                self._held[extra] = held, float(best), best
                self._at_most = [k for k in self._at_most if k != self._held_level[extra]]
                self._solver.changeRowBounds(count + extra, float(best), float(best))

    def _hold(self, costs: Ints, best: int, *, exact: bool = True) -> None:
        """A row of its own for a level without linear proof; ``exact``: nothing better is possible."""
        low = float(best) if exact else -np.inf
        self._held.append((costs.copy(), low, best))
        self._held_level.append(len(self.duals) - 1)
        used = np.flatnonzero(costs[self._seen])
        self._solver.addRow(
            low, float(best), len(used), int32(used), costs[self._seen[used]].astype(np.float64)
        )

    def _bounds(self, columns: npt.NDArray[np.intp]) -> None:
        columns = columns[self._at[columns] >= 0]
        if len(columns):
            self._solver.changeColsBounds(
                len(columns), int32(self._at[columns]), self.lower[columns], self.upper[columns]
            )

    def free_part(self) -> tuple[LinearProgram, npt.NDArray[np.intp]]:
        """The program of the free columns, earlier levels as rows behind the others, and their numbers."""
        free = np.flatnonzero(self.lower < self.upper)
        place = np.full(self.size, -1, dtype=np.int64)
        place[free] = np.arange(len(free))
        settled = np.where(place < 0, self.lower, 0.0)
        count = len(self.rows.lower)
        row, column, value = self.rows.row, self.rows.column, self.rows.value
        for extra, (held, _, _) in enumerate(self._held):
            used = np.flatnonzero(held)
            row = np.concatenate([row, np.full(len(used), count + extra)])
            column = np.concatenate([column, used])
            value = np.concatenate([value, held[used].astype(np.float64)])
        held_low = np.array([low for _, low, _ in self._held], dtype=np.float64)
        held_high = np.array([best for _, _, best in self._held], dtype=np.float64)
        taken = np.bincount(row, weights=value * settled[column], minlength=count + len(self._held))
        kept = place[column] >= 0
        order = np.argsort(place[column[kept]], kind="stable")
        program = LinearProgram(
            size=len(free),
            column_upper=self.upper[free],
            lower=np.concatenate([self.row_lower, held_low]) - taken,
            upper=np.concatenate([self.row_upper, held_high]) - taken,
            row=row[kept][order],
            column=place[column[kept]][order],
            value=value[kept][order],
        )
        return program, free

    def _fix(self, at_lower: npt.NDArray[np.bool_], at_upper: npt.NDArray[np.bool_]) -> None:
        changed = np.flatnonzero((at_lower | at_upper) & (self.lower < self.upper))
        self.upper[at_lower] = self.lower[at_lower]
        self.lower[at_upper] = self.upper[at_upper]
        self._bounds(changed)


class _NoSolution(Exception):
    """The solver proved that there is none."""


# HiGHS takes the number of threads at the first solve of a process; a change later makes runs return zeros
# without an error. Every solver of the program asks for one thread, and every status is looked at (`_run`).
# One thread and one seed also give the same answer on every run; without gaps "optimal" means optimal.
_OPTIONS: dict[str, Any] = {
    "threads": 1,
    "parallel": "off",
    "random_seed": 1,
    "solver": "simplex",
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 0.0,
    "primal_feasibility_tolerance": 1e-9,
    "dual_feasibility_tolerance": 1e-9,
}
