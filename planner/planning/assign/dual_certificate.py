"""The dual certificate of a plan: potentials of the flow, or multipliers of the rows, in whole numbers.

The solvers count in floating point. The multipliers are rounded to whole numbers over one scale; the judge
adds them up again in whole numbers, so that rounding can weaken the bound and never falsify it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from types import MappingProxyType

import numpy as np

from planner.plan.objective import COST_LEVELS, GROUPS, CaseProof, CaseSplit, Certificate, LevelProof
from planner.planning.assign.cases import Case, SplitCase
from planner.planning.assign.formulation import Network, flow_costs, parts_step
from planner.planning.assign.linear_program import Floats, Ints
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.problem import Problem
from planner.planning.judge.certificate import PossibleWays

_SCALES = tuple(range(1, 721))
_FINE_SCALE = 2**40
_CLOSE = 1e-7

Groups = dict[str, Ints | Floats]


def certificate_of(
    problem: Problem, relaxed: Network, values: Sequence[int], face: OptimalFace | None = None
) -> Certificate:
    """The certificate of a plan with these values of the levels, or of the first of them.

    Each level rests on the multipliers of the linear programs as far as those came, then on the potentials
    of the network without side limits, as long as the plan reaches what the network reaches; then on none.
    """
    levels = problem.levels[: len(values)]
    flow = relaxed.circulation.flow
    duals, links = ([], 0) if face is None else (face.duals[: len(levels)], len(relaxed.link_boot))
    found = [_groups(problem, links, number, each) for number, each in enumerate(duals)]
    for number in range(len(found), len(levels)):
        reached = [int(flow_costs(problem, relaxed, level) @ flow) for level in levels[:number]]
        if number < len(relaxed.circulation.potentials) and reached == list(values[:number]):
            found.append(_potentials(problem, relaxed, number))
        else:
            served: Groups = {"wishes": problem.served_costs(levels[number])}
            found.append(_nothing(problem, len(relaxed.link_boot), number) | served)
    cases = [] if face is None else [(n, case) for n, case in enumerate(face.cases) if case is not None]
    made = _certificate(problem, values, found, {n: _split(problem, links, n, case) for n, case in cases})
    solved = 0 if face is None else face.proved_as_far_as(values)
    proofs = (replace(proof, by_solver=n < solved) for n, proof in enumerate(made.levels))
    return replace(made, levels=tuple(proofs))


def _potentials(problem: Problem, network: Network, number: int) -> Groups:
    """The limits that the network does not know have multipliers of nought.

    A node's potential is the multiplier of the limit that the arc to or from the source stands for.
    """
    wishes, pairs, links = len(problem.wishes), len(problem.pairs), len(network.link_boot)
    ends = np.cumsum([1, wishes, pairs, links, links])
    potential = network.circulation.potentials[number]
    of_wish, of_pair, of_in, of_out = ((potential - potential[0])[low:high] for low, high in pairwise(ends))
    served = problem.served_costs(problem.levels[number])
    return _nothing(problem, links, number) | {
        "pairs": of_pair,
        "links": -of_out,
        "link_caps": of_in - of_out,
        "wishes": served - of_wish,
    }


def _groups(problem: Problem, links: int, number: int, duals: Floats) -> Groups:
    """The multipliers of the rows and of earlier levels, by group."""
    groups = _nothing(problem, links, number)
    order = ["pairs", *(group for group in GROUPS[1:-1] if group != "link_caps")]
    starts = np.cumsum([0, *(len(groups[name]) for name in order)])
    for name, (low, high) in zip(order, pairwise(starts), strict=True):
        groups[name] = duals[low:high]
    groups["parts"] = groups["parts"] / parts_step(problem)
    groups["earlier"] = duals[starts[-1] :]
    return groups


def _split(problem: Problem, links: int, number: int, found: SplitCase) -> CaseSplit:
    fewer, more = (_case(problem, links, number, each) for each in (found.fewer, found.more))
    return CaseSplit(figures=found.figures, at_most=found.at_most, fewer=fewer, more=more)


def _case(problem: Problem, links: int, number: int, found: Case) -> CaseProof:
    if isinstance(found, SplitCase):
        return CaseProof(split=_split(problem, links, number, found))
    groups = _groups(problem, links, number, found.rows)
    scale = _scale(np.concatenate([found.counts, *(groups[group] for group in GROUPS)]))
    return CaseProof(scale=scale, multipliers=_whole(groups, scale), counts=_times(found.counts, scale))


def empty_certificate(problem: Problem) -> Certificate:
    """The certificate of a problem without ways: nothing can be served, and no limit need prove it."""
    nothing = [_nothing(problem, 0, number) for number in range(len(problem.levels))]
    return _certificate(problem, [0] * len(nothing), nothing)


def possible_ways(problem: Problem) -> PossibleWays:
    """Every way the solver could choose, as values of the judge."""
    arcs = problem.arcs
    return PossibleWays(
        pair=arcs.pair.tolist(),
        boot=arcs.boot.tolist(),
        brakes=arcs.brakes.tolist(),
        costs=[arcs.cost(level).tolist() for level in COST_LEVELS],
        parts_cents=arcs.parts_cents.tolist(),
    )


def _nothing(problem: Problem, links: int, earlier: int) -> Groups:
    sizes = {
        "pairs": len(problem.pairs),
        "links": links,
        "link_caps": links,
        "boots": len(problem.boots),
        "wishes": len(problem.wishes),
        "brakes": len(problem.brake_sets),
        "supply": len(problem.supply),
        "stock": len(problem.supply),
        "bench": 0 if problem.minutes_limit is None else 1,
        "parts": 0 if problem.parts_limit_cents is None else 1,
        "earlier": earlier,
    }
    return {name: np.zeros(size, dtype=np.int64) for name, size in sizes.items()}


def _certificate(
    problem: Problem,
    values: Sequence[int],
    multipliers: Sequence[Groups],
    cases: Mapping[int, CaseSplit] = MappingProxyType({}),
) -> Certificate:
    _, of_pair, links, _ = problem.links()
    first = {int(number): p for p, number in reversed(list(enumerate(of_pair)))}
    return Certificate(
        parts_step=1 if problem.parts_limit_cents is None else parts_step(problem),
        pairs=tuple(p.tags for p in problem.pairs),
        boots=tuple(b.tags for b in problem.boots),
        links=tuple((first[number], boot) for number, boot in links),
        brake_sets=tuple(
            tuple((sort.pattern, sort.brake_um) for sort in sorts) for sorts in problem.brake_sets
        ),
        levels=tuple(
            _proof(level.name, value, groups, cases.get(number))
            for number, (level, value, groups) in enumerate(
                zip(problem.levels[: len(values)], values, multipliers, strict=True)
            )
        ),
    )


def _proof(name: str, value: int, groups: Groups, cases: CaseSplit | None) -> LevelProof:
    scale = _scale(np.concatenate([groups[group] for group in GROUPS]))
    return LevelProof(name=name, value=value, scale=scale, multipliers=_whole(groups, scale), cases=cases)


def _whole(groups: Groups, scale: int) -> dict[str, tuple[int, ...]]:
    return {group: _times(groups[group], scale) for group in GROUPS}


def _times(values: Ints | Floats, scale: int) -> tuple[int, ...]:
    return tuple(round(y * scale) for y in values.tolist())


def _scale(values: Ints | Floats) -> int:
    """The smallest denominator that all share, or a fine one where the solver's numbers have none."""
    used = np.unique(np.asarray(values, dtype=np.float64))
    for scale in _SCALES:
        if float(np.max(np.abs(used * scale - np.rint(used * scale)), initial=0.0)) <= _CLOSE:
            return scale
    return _FINE_SCALE
