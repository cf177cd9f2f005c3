"""The optimal face of a whole-number linear problem, narrowed level by level (HiGHS).

Each level is solved as a linear program on the face the levels before left; a column or row with a
reduced cost other than zero is fixed where it stands, so that the level before holds by construction
and no row with large coefficients is needed. Only where the linear program is fractional is the level
solved as an integer program; its value is then held by a row of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from fleet.errors import PlanFault

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

_TOLERANCE = 1e-6


@dataclass(frozen=True, slots=True, kw_only=True)
class Rows:
    """``lower <= A x <= upper`` in compressed rows; columns are whole numbers from 0 to ``column_upper``."""

    column_upper: Floats
    lower: Floats
    upper: Floats
    starts: Ints
    columns: Ints
    coefficients: Floats


class Face:
    """A problem whose columns get fixed as one objective after another is settled."""

    def __init__(self, rows: Rows) -> None:
        import highspy

        self._highspy: Any = highspy
        self._solver = _quiet_solver()
        self._rows = rows
        self.size = len(rows.column_upper)
        self.lower: Floats = np.zeros(self.size)
        self.upper: Floats = rows.column_upper.astype(np.float64)
        self._all: Any = np.arange(self.size, dtype=np.int32)
        self._pass_model(rows)
        self.values: Ints = np.zeros(self.size, dtype=np.int64)

    def _pass_model(self, rows: Rows) -> None:
        model = self._highspy.HighsLp()
        model.num_col_ = self.size
        model.num_row_ = len(rows.lower)
        model.col_cost_ = np.zeros(self.size)
        model.col_lower_ = self.lower
        model.col_upper_ = self.upper
        model.row_lower_ = rows.lower
        model.row_upper_ = rows.upper
        model.a_matrix_.format_ = self._highspy.MatrixFormat.kRowwise
        model.a_matrix_.start_ = rows.starts.astype(np.int32)
        model.a_matrix_.index_ = rows.columns.astype(np.int32)
        model.a_matrix_.value_ = rows.coefficients
        self._solver.passModel(model)

    def minimise(self, costs: Ints) -> int:
        """Settle one level: its best value, and the face narrowed to where it is reached.

        Raises PlanFault if the solver gives no proof.
        """
        if self.size == 0:
            return 0
        self._solver.changeColsCost(self.size, self._all, costs.astype(np.float64))
        bound, values, column_dual, row_dual = self._relaxed()
        whole = np.rint(values)
        fractional = float(np.max(np.abs(values - whole))) > _TOLERANCE
        if fractional:
            whole = self._whole_numbers()
        self.values = whole.astype(np.int64)
        best = int(costs @ self.values)
        gap = max(0.0, best - bound) if fractional else 0.0
        self._narrow(gap, column_dual, row_dual, values)
        if gap > _TOLERANCE:
            used = np.flatnonzero(costs)
            self._solver.addRow(
                float(best), float(best), len(used), used.astype(np.int32), costs[used].astype(np.float64)
            )
        return best

    def _relaxed(self) -> tuple[float, Floats, Floats, Floats]:
        self._run()
        solution = self._solver.getSolution()
        bound = float(self._solver.getInfo().objective_function_value)
        return (
            bound,
            np.asarray(solution.col_value),
            np.asarray(solution.col_dual),
            np.asarray(solution.row_dual),
        )

    def _whole_numbers(self) -> Floats:
        kinds = self._highspy.HighsVarType
        self._solver.changeColsIntegrality(
            self.size, self._all, np.full(self.size, int(kinds.kInteger), np.uint8)
        )
        self._run()
        values: Floats = np.rint(np.asarray(self._solver.getSolution().col_value))
        self._make_continuous()
        return values

    def _make_continuous(self) -> None:
        kind = int(self._highspy.HighsVarType.kContinuous)
        self._solver.changeColsIntegrality(self.size, self._all, np.full(self.size, kind, np.uint8))

    def _run(self) -> None:
        self._solver.run()
        status = self._solver.getModelStatus()
        if status != self._highspy.HighsModelStatus.kOptimal:
            word = self._solver.modelStatusToString(status)
            raise PlanFault(
                f"the solver stopped without a proof: {word}", cure="report this, with the ledger"
            )

    def _narrow(self, gap: float, column_dual: Floats, row_dual: Floats, values: Floats) -> None:
        """Fix what cannot move without making this level worse than it is proved to be."""
        up = (column_dual > gap + _TOLERANCE) & (values <= self.lower + _TOLERANCE)
        down = (column_dual < -gap - _TOLERANCE) & (values >= self.upper - _TOLERANCE)
        changed = np.flatnonzero((up | down) & (self.lower < self.upper))
        self.upper[up] = self.lower[up]
        self.lower[down] = self.upper[down]
        self._bounds(changed)
        if gap <= _TOLERANCE:
            self._tighten_rows(row_dual)

    def _tighten_rows(self, row_dual: Floats) -> None:
        for row in np.flatnonzero(np.abs(row_dual[: len(self._rows.lower)]) > _TOLERANCE):
            # HiGHS: a row's dual is positive where it rests on its lower bound, negative on its upper
            bound = self._rows.lower[row] if row_dual[row] > 0 else self._rows.upper[row]
            self._solver.changeRowBounds(int(row), float(bound), float(bound))

    def _bounds(self, columns: npt.NDArray[np.intp]) -> None:
        if len(columns):
            self._solver.changeColsBounds(
                len(columns), columns.astype(np.int32), self.lower[columns], self.upper[columns]
            )

    def free(self) -> npt.NDArray[np.intp]:
        """Columns that may still move, ascending."""
        return np.flatnonzero(self.lower < self.upper)

    def reduced(self) -> tuple[Face, dict[int, int]]:
        """The same face without the columns that are settled, and where each free column stands in it.

        What a simplex step costs grows with all columns, and after the levels few of them are free.
        """
        free = self.free()
        place = {int(column): index for index, column in enumerate(free)}
        model = self._solver.getLp()
        matrix = model.a_matrix_
        starts = np.asarray(matrix.start_, dtype=np.int64)
        minor = np.asarray(matrix.index_, dtype=np.int64)
        coefficients = np.asarray(matrix.value_, dtype=np.float64)
        major = np.repeat(np.arange(len(starts) - 1), np.diff(starts))
        by_column = matrix.format_ == self._highspy.MatrixFormat.kColwise
        column_of, rows_of = (major, minor) if by_column else (minor, major)
        settled = np.where(self.lower < self.upper, 0.0, self.lower)
        taken = np.zeros(len(model.row_lower_))
        np.add.at(taken, rows_of, coefficients * settled[column_of])
        terms: list[dict[int, int]] = [{} for _ in taken]
        for entry in np.flatnonzero((self.lower < self.upper)[column_of]):
            terms[rows_of[entry]][place[int(column_of[entry])]] = round(coefficients[entry])
        lower, upper = np.asarray(model.row_lower_) - taken, np.asarray(model.row_upper_) - taken
        rows = [(float(lower[r]), float(upper[r]), row) for r, row in enumerate(terms) if row]
        small = Face(rows_from([float(self.upper[column]) for column in free], rows))
        small.values = self.values[free]
        return small, place

    def upper_or_value(self) -> Floats:
        """What each settled column stands at; the present value where it is free."""
        return np.where(self.lower < self.upper, self.values, self.lower)

    def at_least(self, column: int, value: int) -> None:
        """Raise a column's lower bound to what the present solution reaches."""
        self.lower[column] = max(self.lower[column], value)
        self._bounds(np.array([column], dtype=np.intp))

    def try_at_least(self, wanted: dict[int, int]) -> bool:
        """Raise lower bounds if some whole solution on the face keeps them; then it is the present one."""
        if any(self.upper[column] < value for column, value in wanted.items()):
            return False
        at = np.array(sorted(wanted), dtype=np.intp)
        before = self.lower[at].copy()
        for column, value in wanted.items():
            self.at_least(column, value)
        whole = self._any_whole() if self.size else self.values
        if whole is None:
            self.lower[at] = before
            self._bounds(at)
            return False
        self.values = whole.astype(np.int64)
        return True

    def _any_whole(self) -> Floats | None:
        self._solver.changeColsCost(self.size, self._all, np.zeros(self.size))
        try:
            _, values, _, _ = self._relaxed()
            whole: Floats = np.rint(values)
            if float(np.max(np.abs(values - whole))) > _TOLERANCE:
                whole = self._whole_numbers()
        except PlanFault:
            self._make_continuous()
            return None
        return whole


_OPTIONS: dict[str, Any] = {
    "output_flag": False,
    "threads": 1,
    "parallel": "off",
    "random_seed": 1,
    "solver": "simplex",
    "mip_rel_gap": 0.0,
    "mip_abs_gap": 0.0,
    "primal_feasibility_tolerance": 1e-9,
    "dual_feasibility_tolerance": 1e-9,
}


def _quiet_solver() -> Any:
    """HiGHS with our options and without its banner, which would stand on stdout before the answer."""
    import highspy

    class Quiet(highspy.Highs):
        def enableCallbacks(self) -> None:  # noqa: N802 - HiGHS names it; it is what prints the banner
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()  # type: ignore[no-untyped-call]

    solver: Any = Quiet
    made = solver()
    for option, value in _OPTIONS.items():
        made.setOptionValue(option, value)
    return made


def rows_from(column_upper: Sequence[float], rows: Sequence[tuple[float, float, dict[int, int]]]) -> Rows:
    """Rows written as (lower, upper, {column: coefficient})."""
    starts = [0]
    columns: list[int] = []
    coefficients: list[float] = []
    for _, _, terms in rows:
        columns.extend(terms)
        coefficients.extend(float(v) for v in terms.values())
        starts.append(len(columns))
    return Rows(
        column_upper=np.asarray(column_upper, dtype=np.float64),
        lower=np.asarray([r[0] for r in rows], dtype=np.float64),
        upper=np.asarray([r[1] for r in rows], dtype=np.float64),
        starts=np.asarray(starts, dtype=np.int64),
        columns=np.asarray(columns, dtype=np.int64),
        coefficients=np.asarray(coefficients, dtype=np.float64),
    )
