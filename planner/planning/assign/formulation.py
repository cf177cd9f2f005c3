"""The relaxation as a network, and the formulation as a linear program with every constraint.

The network: wishes, then links (wish set, boot class), then pair classes, and back. A boot class that reaches
pairs of several wish sets has a link for each; that its boots are not used twice is then a side constraint,
and so are bindings, minutes and money: see `side_constraints`. The linear program:

Columns: ways, then wishes at links, then sorts of binding by set of sorts, then pairs stripped by sort. Rows:
pairs, links, boots, wishes, sets of sorts, supply and stock of bindings, minutes, parts budget.
"""

from dataclasses import dataclass
from math import inf

import numpy as np

from planner.plan.objective import MINUTES, WAY_FIGURES, Level
from planner.planning.assign.circulation import Circulation
from planner.planning.assign.linear_program import NEVER, Deadline, Floats, Ints, LinearProgram, with_row
from planner.planning.assign.optimal_face import PRIMAL, OptimalFace
from planner.planning.assign.problem import Problem


@dataclass(frozen=True, slots=True, kw_only=True)
class Network:
    """The circulation, and the arc numbers of everything in it.

    ``serve[k]``: wish of the k-th serving arc and its link; the arrays ``*_arc`` give arc numbers.
    """

    circulation: Circulation
    wish_arc: Ints
    serve_wish: Ints
    serve_link: Ints
    serve_arc: Ints
    link_boot: Ints
    way_arc: Ints
    way_link: Ints


def network_of(problem: Problem) -> Network:
    """The network with nothing settled."""
    sets, _, links, way_link = problem.links()
    wishes, pairs = len(problem.wishes), len(problem.pairs)
    pair_node = 1 + wishes
    in_node = pair_node + pairs
    out_node = in_node + len(links)
    boots = np.array([len(b.tags) for b in problem.boots], dtype=np.int64)
    link_boot = np.array([boot for _, boot in links], dtype=np.int64)
    sizes = np.array([len(p.tags) for p in problem.pairs], dtype=np.int64)
    served = [(w, k) for k, link in enumerate(links) for w in problem.link_wishes(sets, link)]
    serve_wish = np.array([w for w, _ in served], dtype=np.int64)
    serve_link = np.array([k for _, k in served], dtype=np.int64)
    quantity = np.array([w.quantity for w in problem.wishes], dtype=np.int64)
    arcs, link_cap = problem.arcs, boots[link_boot] if len(links) else np.zeros(0, dtype=np.int64)
    blocks = [
        (np.zeros(wishes), 1 + np.arange(wishes), quantity),
        (1 + serve_wish, in_node + serve_link, link_cap[serve_link]),
        (in_node + np.arange(len(links)), out_node + np.arange(len(links)), link_cap),
        (out_node + way_link, pair_node + arcs.pair, np.minimum(link_cap[way_link], sizes[arcs.pair])),
        (pair_node + np.arange(pairs), np.zeros(pairs), sizes),
    ]
    tail, head, upper = (np.concatenate([b[i] for b in blocks]).astype(np.int64) for i in range(3))
    first = np.cumsum([0, *(len(b[0]) for b in blocks)])
    return Network(
        circulation=Circulation(
            nodes=out_node + len(links), tail=tail, head=head, lower=np.zeros_like(upper), upper=upper
        ),
        wish_arc=np.arange(first[0], first[1]),
        serve_wish=serve_wish,
        serve_link=serve_link,
        serve_arc=np.arange(first[1], first[2]),
        link_boot=link_boot,
        way_arc=np.arange(first[3], first[4]),
        way_link=way_link,
    )


def flow_costs(problem: Problem, network: Network, level: Level) -> Ints:
    """The costs of one level, by arc of the network."""
    nothing = np.zeros(len(network.way_arc), dtype=np.int64)
    cost = way_costs(network, nothing if level.priority is not None else problem.arcs.cost(level))
    cost[network.wish_arc] = problem.served_costs(level)
    return cost


def way_costs(network: Network, costs: Ints) -> Ints:
    """The costs of the ways, by arc of the network."""
    found = np.zeros(len(network.circulation.tail), dtype=np.int64)
    found[network.way_arc] = costs
    return found


@dataclass(frozen=True, slots=True, kw_only=True)
class Columns:
    """The start of each block of columns; ``sort_brakes``, ``sort_number``: those of the third."""

    ways: int
    serves: int
    sort_brakes: Ints
    sort_number: Ints
    supplied: int

    @property
    def sorts_at(self) -> int:
        """First column of sorts by set of sorts."""
        return self.ways + self.serves

    @property
    def strips_at(self) -> int:
        """First column of pairs stripped."""
        return self.sorts_at + len(self.sort_number)

    @property
    def size(self) -> int:
        """All columns."""
        return self.strips_at + self.supplied

    def used(self, values: Ints) -> tuple[Ints, Ints]:
        """The number of sets on each way and on each serving arc."""
        return values[: self.ways], values[self.ways : self.sorts_at]


class _Sheet:
    """Rows gathered block by block as (row, column, coefficient)."""

    def __init__(self) -> None:
        self.cells: list[tuple[Ints, Ints, Ints]] = []
        self.limits: list[tuple[Floats, Floats]] = []
        self.count = 0

    def block(self, lower: Floats, upper: Floats) -> int:
        """Open rows; returns the number of the first."""
        self.limits.append((lower, upper))
        self.count += len(lower)
        return self.count - len(lower)

    def put(self, rows: Ints, columns: Ints, value: int | Ints) -> None:
        """Set coefficients."""
        self.cells.append((rows, columns, np.broadcast_to(np.asarray(value, dtype=np.int64), rows.shape)))

    def done(self, size: int) -> LinearProgram:
        """All rows, by column, equal places added up."""
        row, column, value = (np.concatenate(part) for part in zip(*self.cells, strict=True))
        lower, upper = (np.concatenate(part) for part in zip(*self.limits, strict=True))
        key, place = np.unique(column * self.count + row, return_inverse=True)
        total = np.bincount(place, weights=value, minlength=len(key))
        key, total = key[total != 0], total[total != 0]
        return LinearProgram(
            size=size,
            column_upper=np.full(size, inf),
            lower=lower,
            upper=upper,
            row=key % self.count,
            column=key // self.count,
            value=total,
        )


def columns_of(problem: Problem, network: Network) -> Columns:
    """The layout of the columns."""
    sorts = [(b, k) for b, found in enumerate(problem.sorts_of_sets()) for k in found]
    return Columns(
        ways=len(problem.arcs),
        serves=len(network.serve_arc),
        sort_brakes=np.array([b for b, _ in sorts], dtype=np.int64),
        sort_number=np.array([k for _, k in sorts], dtype=np.int64),
        supplied=len(problem.supply),
    )


def program_of(problem: Problem, network: Network, columns: Columns) -> LinearProgram:
    """Every limit of a shop as a linear program; its whole points are the plans."""
    sheet, arcs = _Sheet(), problem.arcs
    ways, serves = np.arange(columns.ways), columns.ways + np.arange(columns.serves)
    sorts = columns.sorts_at + np.arange(len(columns.sort_number))
    strips = columns.strips_at + np.arange(columns.supplied)
    at = sheet.block(*_up_to([len(p.tags) for p in problem.pairs]))
    sheet.put(at + arcs.pair, ways, 1)
    links = len(network.link_boot)
    at = sheet.block(np.zeros(links), np.zeros(links))
    sheet.put(at + network.way_link, ways, 1)
    sheet.put(at + network.serve_link, serves, -1)
    at = sheet.block(*_up_to([len(b.tags) for b in problem.boots]))
    sheet.put(at + network.link_boot[network.serve_link], serves, 1)
    at = sheet.block(*_up_to([w.quantity for w in problem.wishes]))
    sheet.put(at + network.serve_wish, serves, 1)
    _bindings(problem, columns, sheet, sorts, strips)
    if problem.minutes_limit is not None:
        at = sheet.block(*_up_to([problem.minutes_limit]))
        sheet.put(np.full(len(ways), at), ways, arcs.minutes)
        sheet.put(np.full(len(strips), at), strips, problem.strip_minutes)
    if problem.parts_limit_cents is not None:
        step = parts_step(problem)
        at = sheet.block(*_up_to([problem.parts_limit_cents // step]))
        sheet.put(np.full(len(ways), at), ways, arcs.parts_cents // step)
    return sheet.done(columns.size)


def face_of(
    problem: Problem,
    network: Network,
    columns: Columns,
    likely: Ints,
    deadline: Deadline = NEVER,
    keep: tuple[Ints, int] | None = None,
) -> OptimalFace:
    """The face of all plans that keep every limit; the solver starts with the ``likely`` ways.

    ``keep``: ways of which each of these plans holds so many.
    """
    arcs = problem.arcs
    seen = np.ones(columns.size, dtype=bool)
    seen[: columns.ways] = False
    seen[likely] = True
    rows = program_of(problem, network, columns)
    if keep is not None:
        rows = with_row(rows, *keep, inf)
        seen[keep[0]] = True
    face = OptimalFace(rows, seen=seen, deadline=deadline)
    # under a budget integer programs follow, which are quicker from the dual's corners (`hard_families`)
    face.simplex = face.simplex if problem.parts_limit_cents is not None else PRIMAL
    face.figures = np.stack([getattr(arcs, name) for name in WAY_FIGURES], axis=1)
    # Something scarce is what makes a level fractional: among the optima, one that spares it is mostly whole.
    face.relief = np.zeros(columns.size, dtype=np.int64)
    face.relief[columns.sorts_at :] = 1  # bindings that change their pair
    if problem.parts_limit_cents is not None:
        face.relief = np.zeros(columns.size, dtype=np.int64)
        face.relief[: columns.ways] = arcs.parts_cents
    if problem.minutes_limit is not None:
        face.relief = level_costs(problem, network, columns, MINUTES)
    return face


def parts_step(problem: Problem) -> int:
    """The largest common divisor of the prices, hundredths: small whole numbers stay exact in the solver."""
    return max(1, int(np.gcd.reduce(problem.arcs.parts_cents, initial=0)))


def _bindings(problem: Problem, columns: Columns, sheet: _Sheet, sorts: Ints, strips: Ints) -> None:
    arcs = problem.arcs
    own = problem.own_sorts()[arcs.pair] if len(arcs) else np.zeros(0, dtype=np.int64)
    keeps, gets = np.flatnonzero(arcs.brakes < 0), np.flatnonzero(arcs.brakes >= 0)
    swaps = gets[own[gets] >= 0]
    count = len(problem.brake_sets)
    at = sheet.block(np.zeros(count), np.zeros(count))
    sheet.put(at + arcs.brakes[gets], gets, 1)
    sheet.put(at + columns.sort_brakes, sorts, -1)
    at = sheet.block(*_up_to(list(problem.supply.values())))
    sheet.put(at + own[keeps], keeps, 1)
    sheet.put(at + columns.sort_number, sorts, 1)
    at = sheet.block(*_up_to([problem.bindings.stock.get(sort, 0) for sort in problem.supply]))
    sheet.put(at + columns.sort_number, sorts, 1)
    sheet.put(at + own[swaps], swaps, -1)
    sheet.put(at + np.arange(len(strips)), strips, -1)


def _up_to(limits: list[int]) -> tuple[Floats, Floats]:
    return np.full(len(limits), -inf), np.array(limits, dtype=np.float64)


def level_costs(problem: Problem, network: Network, columns: Columns, level: Level) -> Ints:
    """The costs of one level, to be kept small, by column."""
    costs = np.zeros(columns.size, dtype=np.int64)
    costs[columns.ways : columns.sorts_at] = problem.served_costs(level)[network.serve_wish]
    if level.priority is None:
        costs[: columns.ways] = problem.arcs.cost(level)
        costs[columns.strips_at :] = problem.strip_cost(level)
    return costs
