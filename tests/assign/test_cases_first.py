"""Cases are asked for before columns join: worked by hand, two kinds of way and one row.

``2 x + 2 y >= 3`` at 4 for an x and ``dear`` for a y, and no y is seen at first. By fractions 1.5 x for 6, so
no whole plan is below 6. Over x alone the best whole plan is 2 x for 8.
"""

from __future__ import annotations

import numpy as np
import pytest

from planner.planning.assign.linear_program import LinearProgram
from planner.planning.assign.optimal_face import OptimalFace


@pytest.mark.parametrize(
    "dear",
    [
        5,  # at most one x: with one y it costs 9, with two 10; without a y it is too little
        4,  # values go in steps of 4: the bound is rounded up to 8, and nothing else is asked
        7,  # a y by itself is too dear to join
    ],
)
def test_a_value_that_cases_prove_asks_for_no_second_integer_program(
    dear: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    face, asked = _face(), []
    whole = OptimalFace._whole_numbers
    monkeypatch.setattr(OptimalFace, "_whole_numbers", lambda face: asked.append(1) or whole(face))
    assert face.minimise(np.array([4, dear])) == 8
    assert face.all_proved
    assert (len(asked), face.size - len(face._seen)) == (1, 1)


def test_where_cases_find_a_better_plan_its_columns_join() -> None:
    """``2 x + 3 y >= 3``: one y for 7 betters 2 x, and x stays 1.5 for 6 by fractions."""
    face = _face(of_y=3.0)
    assert face.minimise(np.array([4, 7])) == 7
    assert face.all_proved
    assert face.values.tolist() == [0, 1]


def _face(of_y: float = 2.0) -> OptimalFace:
    face = OptimalFace(
        LinearProgram(
            size=2,
            column_upper=np.full(2, 3.0),
            lower=np.array([3.0]),
            upper=np.array([np.inf]),
            row=np.zeros(2, dtype=np.int64),
            column=np.arange(2),
            value=np.array([2.0, of_y]),
        ),
        seen=np.array([True, False]),
    )
    face.figures = np.array([[0, 0, 0, 0, 10, 0], [1, 0, 0, 4, 20, 0]])
    return face
