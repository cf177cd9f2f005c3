"""What one proof of impossibility settles: each settled column is tried by hand, in whole numbers."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest

from planner.planning.assign.linear_program import LinearProgram
from planner.planning.assign.optimal_face import OptimalFace


def rows_of(table: np.ndarray, upper: np.ndarray, most: int) -> LinearProgram:
    row, column = np.nonzero(table)
    order = np.lexsort((row, column))
    row, column = row[order], column[order]
    return LinearProgram(
        size=table.shape[1],
        column_upper=np.full(table.shape[1], float(most)),
        lower=np.full(len(upper), -np.inf),
        upper=upper.astype(float),
        row=row,
        column=column,
        value=table[row, column].astype(float),
    )


@pytest.mark.parametrize("seed", range(40))
def test_no_whole_solution_is_lost_when_a_refused_wish_settles_other_columns(seed: int) -> None:
    rng = np.random.default_rng(seed)
    size, most = 5, 2
    table = rng.integers(-1, 3, (4, size))
    upper = rng.integers(0, 4, 4)
    face = OptimalFace(rows_of(table, upper, most))
    allowed = [x for x in product(range(most + 1), repeat=size) if (table @ np.array(x) <= upper).all()]
    for column in range(size):
        possible = any(x[column] >= most for x in allowed)
        before = face.lower.copy()
        assert face.try_at_least({column: most}) is possible
        if possible:
            face.lower[:] = before
            face._bounds(np.arange(size))
        kept = [x for x in allowed if (x >= face.lower).all() and (x <= face.upper).all()]
        assert kept == allowed


def test_a_refused_wish_settles_the_column_that_shares_its_row() -> None:
    """2 a + 2 b + c <= 1: refusing a settles b, which is not asked again; c may still be 1."""
    face = OptimalFace(rows_of(np.array([[2, 2, 1]]), np.array([1]), 1))
    assert not face.try_at_least({0: 1})
    assert face.upper.tolist() == [0, 0, 1]
    assert face.try_at_least({2: 1})
