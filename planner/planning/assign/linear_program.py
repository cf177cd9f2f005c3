"""A linear program without an objective, the polyhedron whose whole points are the plans; and HiGHS for it.

And the deadline of a search: the clock is given, so that a test can turn it. HiGHS without its banner, which
would stand on stdout before the answer.
"""

import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from math import inf
from typing import Any, Final

import numpy as np
import numpy.typing as npt

ONE_ANSWER: Final[Mapping[str, Any]] = {"threads": 1, "parallel": "off", "random_seed": 0, "mip_rel_gap": 0.0}
"""One thread, one seed and no gap: the same program has the same answer, and it is the best."""


def quiet_highs(options: Mapping[str, Any]) -> Any:
    """A new solver with these options."""
    import highspy

    class Quiet(highspy.Highs):
        def enableCallbacks(self) -> None:  # noqa: N802 - HiGHS names it; it is what prints the banner
            self.setOptionValue("output_flag", False)
            super().enableCallbacks()  # type: ignore[no-untyped-call]

    made: Any = Quiet
    solver = made()
    solver.setOptionValue("output_flag", False)
    for name, setting in options.items():
        solver.setOptionValue(name, setting)
    return solver


Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


def int32(values: npt.ArrayLike) -> npt.NDArray[np.int32]:
    """Return numbers of rows and columns as HiGHS takes them."""
    return np.asarray(values, dtype=np.int32)


@dataclass(frozen=True, slots=True, kw_only=True)
class LinearProgram:
    """``lower <= A x <= upper``; A as triplets sorted by column. Columns are whole numbers from 0 up."""

    size: int
    column_upper: Floats
    lower: Floats
    upper: Floats
    row: Ints
    column: Ints
    value: Floats


def with_row(rows: LinearProgram, columns: Ints, low: float, high: float) -> LinearProgram:
    """The program with one row more: these columns add up to ``low`` at the least, ``high`` at the most."""
    column = np.concatenate([rows.column, columns])
    order = np.argsort(column, kind="stable")
    return LinearProgram(
        size=rows.size,
        column_upper=rows.column_upper,
        lower=np.append(rows.lower, float(low)),
        upper=np.append(rows.upper, float(high)),
        row=np.concatenate([rows.row, np.full(len(columns), len(rows.lower))])[order],
        column=column[order],
        value=np.concatenate([rows.value, np.ones(len(columns))])[order],
    )


class OutOfTime(Exception):
    """A step was cut short; what was found before it stands."""


class Deadline:
    """A moment by a clock that only runs forward: over once, over for good."""

    def __init__(self, seconds: float = inf, clock: Callable[[], float] = time.monotonic) -> None:
        """``seconds`` from now by the clock (which counts seconds); infinite: never over."""
        self._clock = clock
        self._end = clock() + seconds

    @property
    def set(self) -> bool:
        """Return whether there is a limit at all."""
        return self._end < inf

    def left(self) -> float:
        """Seconds left, never less than nought."""
        return max(0.0, self._end - self._clock())

    def over(self) -> bool:
        """Return whether it has passed."""
        return self._clock() >= self._end


NEVER = Deadline()
OVER = Deadline(-inf)
