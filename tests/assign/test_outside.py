"""Flows and levels against things outside this project: a textbook, a graph library, other solvers."""

from __future__ import annotations

import bz2
import pickle
from pathlib import Path
from typing import Any

import networkx
import numpy as np
import pytest

from planner.planning.assign.circulation import Circulation
from planner.planning.assign.formulation import columns_of, face_of, level_costs, network_of
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.lexicographic import solve
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.problem import Problem, build_problem
from tests.bench.assign_fleets import fleet_problem, limited
from tests.bench.hard_families import FAMILIES
from tests.bench.plan_fleets import real_fleet

SHIPPED = Path(networkx.__file__).parent / "algorithms" / "flow" / "tests"


def least_cost(graph: networkx.DiGraph) -> int:
    """Cost of the flow that meets all demands, by our circulation: demands become arcs to a common node."""
    number = {node: i + 1 for i, node in enumerate(graph)}
    rows = []
    total = sum(abs(d) for _, d in graph.nodes(data="demand", default=0))
    for tail, head, data in graph.edges(data=True):
        capacity = int(min(data.get("capacity", total), total))
        rows.append((number[tail], number[head], 0, capacity, data.get("weight", 0)))
    for node, demand in graph.nodes(data="demand", default=0):
        if demand:
            ends = (number[node], 0) if demand > 0 else (0, number[node])
            rows.append((*ends, abs(demand), abs(demand), 0))
    table = np.array(rows, dtype=np.int64)
    circulation = Circulation(
        nodes=len(number) + 1,
        tail=table[:, 0],
        head=table[:, 1],
        lower=table[:, 2].copy(),
        upper=table[:, 3].copy(),
    )
    return circulation.minimise(table[:, 4])


def test_the_textbook_network_costs_150() -> None:
    """Bradley, Hax and Magnanti, Applied Mathematical Programming (1977), figure 8.1.

    Supplies, capacities and costs as the OR-Tools guide to minimum cost flows reprints them, cost 150.
    """
    graph = networkx.DiGraph()
    for node, supply in enumerate((20, 0, 0, -5, -15)):
        graph.add_node(node, demand=-supply)
    tails, heads = (0, 0, 1, 1, 1, 2, 2, 3, 4), (1, 2, 2, 3, 4, 3, 4, 4, 2)
    capacities, costs = (15, 8, 20, 4, 10, 15, 4, 20, 5), (4, 4, 2, 2, 6, 1, 3, 2, 3)
    for tail, head, capacity, cost in zip(tails, heads, capacities, costs, strict=True):
        graph.add_edge(tail, head, capacity=capacity, weight=cost)
    assert least_cost(graph) == 150
    assert networkx.min_cost_flow_cost(graph) == 150


def test_the_large_instance_that_networkx_ships_costs_what_its_own_test_says() -> None:
    """networkx, algorithms/flow/tests/netgen-2.gpickle.bz2 (made with NETGEN); its test: 6749969302."""
    with bz2.open(SHIPPED / "netgen-2.gpickle.bz2", "rb") as file:
        graph = pickle.load(file)
    assert least_cost(graph) == 6749969302


@pytest.mark.parametrize("seed", range(30))
def test_random_flows_cost_what_networkx_finds(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(4, 12))
    graph = networkx.DiGraph()
    demand = rng.integers(-5, 6, count)
    demand[-1] -= demand.sum()
    for node in range(count):
        graph.add_node(node, demand=int(demand[node]))
        graph.add_edge(node, (node + 1) % count, capacity=1000, weight=int(rng.integers(0, 30)))
    for _ in range(3 * count):
        tail, head = (int(n) for n in rng.choice(count, 2, replace=False))
        graph.add_edge(tail, head, capacity=int(rng.integers(1, 9)), weight=int(rng.integers(0, 9)))
    for node in range(count):
        graph[node][(node + 1) % count]["capacity"] = 1000
    assert least_cost(graph) == networkx.min_cost_flow_cost(graph)


def short_of_minutes(count: int) -> Problem:
    """A seeded fleet, all pairs different, some bindings, too few minutes for every want."""
    free = fleet_problem(count, seed=count, bindings_share=0.6, minutes_limit=10**9)
    return limited(free, 4 * count)


def one_program_a_level(problem: Problem, solver_name: str) -> list[int]:
    """The whole model, all columns whole numbers, in MathOpt; each level before held by a row."""
    from ortools.math_opt.python import mathopt

    network = network_of(problem)
    columns = columns_of(problem, network)
    rows = face_of(problem, network, columns, np.arange(columns.ways)).rows
    model = mathopt.Model()
    most = float(max(len(problem.plannable), 1))
    x = [model.add_integer_variable(lb=0, ub=most) for _ in range(rows.size)]
    made = [
        model.add_linear_constraint(lb=low, ub=high)
        for low, high in zip(rows.lower.tolist(), rows.upper.tolist(), strict=True)
    ]
    for r, c, value in zip(rows.row.tolist(), rows.column.tolist(), rows.value.tolist(), strict=True):
        made[r].set_coefficient(x[c], value)
    solver = {"highs": mathopt.SolverType.HIGHS, "scip": mathopt.SolverType.GSCIP}[solver_name]
    exact = mathopt.SolveParameters(relative_gap_tolerance=0.0, absolute_gap_tolerance=0.0)
    return [
        _settled(mathopt, model, x, level_costs(problem, network, columns, level), solver, exact)
        for level in problem.levels
    ]


def _settled(mathopt: Any, model: Any, x: list[Any], costs: np.ndarray, solver: Any, exact: Any) -> int:
    goal = mathopt.LinearSum(int(costs[c]) * x[c] for c in np.flatnonzero(costs))
    model.minimize(goal)
    found = mathopt.solve(model, solver, params=exact)
    assert found.termination.reason is mathopt.TerminationReason.OPTIMAL
    best = round(found.objective_value())
    model.add_linear_constraint(goal == best)
    return best


@pytest.mark.parametrize("solver_name", ["highs", "scip"])
def test_small_fleets_reach_what_whole_models_prove_in_two_other_solvers(solver_name: str) -> None:
    for count in (20, 60):
        problem = short_of_minutes(count)
        found = solve(problem, lambda _: None)
        assert [value for _, value in found.levels] == one_program_a_level(problem, solver_name)


@pytest.mark.long
@pytest.mark.parametrize("solver_name", ["highs", "scip"])
@pytest.mark.parametrize("count", [300, 1500])
def test_fleets_reach_what_whole_models_prove_in_two_other_solvers(count: int, solver_name: str) -> None:
    problem = short_of_minutes(count)
    found = solve(problem, lambda _: None)
    assert [value for _, value in found.levels] == one_program_a_level(problem, solver_name)


def test_scarce_bindings_whose_priorities_run_against_them_take_no_integer_program(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Among the optima of a level one that moves few bindings is whole; 2,000 such pairs once did not end."""
    fleet = FAMILIES["inverted priorities, scarce bindings"][0](real_fleet(60, seed=60))
    problem = build_problem(fleet, ways=SweptWays(), minutes_limit=None)
    monkeypatch.setattr(OptimalFace, "_whole_numbers", lambda self: pytest.fail("an integer program"))
    solution = solve(problem, lambda _: None)
    assert solution.certificate is not None
    assert all(level.by_solver for level in solution.certificate.levels)
