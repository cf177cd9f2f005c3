"""The largest number of further mounts by a general solver: another road than the program's own search."""

from collections.abc import Sequence

from planner.geometry.life.compatibility import Combination, CompatibilityGraph, bits


def exact_order(
    graph: CompatibilityGraph, known: Sequence[Combination], bound: int, *, seconds: float
) -> tuple[list[Combination], int]:
    """Return the longest order and its proven bound; ``known`` is the best order found so far.

    Every position is used by one mount at most, and positions that disagree exclude each other.
    """
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    used = {v: model.new_bool_var(f"p{v}") for v in bits(graph.useful)}
    chosen = [(mount, model.new_bool_var(f"m{k}")) for k, mount in enumerate(graph.mounts)]
    of_position: dict[int, list[cp_model.IntVar]] = {v: [] for v in used}
    for mount, variable in chosen:
        for v in mount:
            of_position[v].append(variable)
    for v, variables in of_position.items():
        model.add(sum(variables) == used[v])
    for clique in disagreeing(graph):
        model.add_at_most_one(used[v] for v in clique)
    total = sum(variable for _, variable in chosen)
    model.add(total <= bound)
    model.add(total >= len(known))
    model.maximize(total)
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.max_deterministic_time = seconds
    status = solver.solve(model)
    best = list(known)
    if status in (cp_model.OPTIMAL, cp_model.FEASIBLE):
        found = [mount for mount, variable in chosen if solver.value(variable)]
        best = max(best, found, key=len)
        bound = min(bound, int(solver.best_objective_bound + 0.5))
    return best, max(bound, len(best))


def disagreeing(graph: CompatibilityGraph) -> list[list[int]]:
    """Return cliques that cover every pair of positions that disagree: one strong row replaces many weak
    ones.
    """
    everything = graph.useful
    disagree = {v: everything & ~graph.agrees[v] & ~(1 << v) for v in bits(everything)}
    left = dict(disagree)
    cliques: list[list[int]] = []
    for v in disagree:
        while left[v]:
            members = [v]
            common = disagree[v]
            while common:
                # Prefer a member whose pair with v is not covered yet.
                pool = common & left[v] or common
                # the lowest set bit, so that every run makes the same cliques
                w = (pool & -pool).bit_length() - 1
                members.append(w)
                common &= disagree[w]
            mask = sum(1 << m for m in members)
            for m in members:
                left[m] &= ~mask
            cliques.append(members)
    return cliques
