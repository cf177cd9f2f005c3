"""Bounds that one infeasible request gives for the other columns.

An infeasible linear program has a dual ray: multipliers of the rows that make one row of all rows. Its
columns can reach at most so much within their bounds, and the rows ask for at least so much. The difference
is the slack. A column that would lose more than the slack by one step cannot take that step, and is fixed.
The sums are made here, in plain numbers, whatever the solver says, with a margin for rounding.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from planner.planning.assign.linear_program import Floats, LinearProgram

_ZERO = 1e-9
_MARGIN = 1e-6


def fixed_by_ray(
    rows: LinearProgram, lower: Floats, upper: Floats, row_bounds: tuple[Floats, Floats], ray: Floats
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """(columns that cannot leave ``lower``, columns that cannot leave ``upper``), in whole steps."""
    scale = float(np.max(np.abs(ray), initial=0.0))
    none = np.zeros(rows.size, dtype=bool)
    for sign in (1.0, -1.0) if scale > 0 else ():
        y = ray * (sign / scale)
        y[np.abs(y) < _ZERO] = 0.0
        r: Floats = np.bincount(rows.column, weights=rows.value * y[rows.row], minlength=rows.size).astype(
            np.float64
        )
        r[np.abs(r) < _ZERO] = 0.0
        asked, reached = _at_most(-y, *row_bounds), _at_most(r, lower, upper)
        left = reached + asked
        if np.isfinite(left):
            margin = _MARGIN * (1 + abs(reached))
            return r < -max(left, 0.0) - margin, (r > max(left, 0.0) + margin) & (upper < np.inf)
    return none, none


def _at_most(weights: Floats, lower: Floats, upper: Floats) -> float:
    """The most that the weighted sum can be within the bounds."""
    used = weights != 0
    w, low, high = weights[used], lower[used], upper[used]
    return float(np.sum(np.where(w > 0, w * high, w * low)))
