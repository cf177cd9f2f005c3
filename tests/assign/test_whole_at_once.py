"""Most levels that come out in fractions are whole in another corner, so that no integer program is asked.

The fleets are those of `tests/bench/hard_families.py`: scarce bindings, wants that overlap, the smallest want
last. Before it looked in several corners, the solver asked ten integer programs of these eight; now one. That
is HiGHS 1.16; another version may stand in other corners, so three are allowed. Each plan is proved all
the same.
"""

from __future__ import annotations

import pytest

from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import solve
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.problem import build_problem
from tests.bench.hard_families import inverted_priorities, scarce_bindings
from tests.bench.plan_fleets import real_fleet


def test_scarce_bindings_ask_for_few_integer_programs(monkeypatch: pytest.MonkeyPatch) -> None:
    asked, whole = [], OptimalFace._whole_numbers
    monkeypatch.setattr(OptimalFace, "_whole_numbers", lambda face: asked.append(1) or whole(face))
    for seed in range(8):
        fleet = inverted_priorities(scarce_bindings(real_fleet(60, seed=seed)))
        problem = build_problem(fleet, ways=SweptWays(), minutes_limit=None)
        solution = solve(problem, lambda _: None)
        assert solution.certificate is not None
        assert all(level.by_solver for level in solution.certificate.levels)
    assert len(asked) <= 3
