"""Extending a choice of sets to a best plan: the flow is turned along cycles of the residual graph.

A partial choice can be extended if some plan on the last optimal face holds all of it and one set more. A
cycle that puts a unit on the wished arc answers that, if the flow then keeps the side constraints and every
level's value; where it does not, the linear program is asked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from planner.plan.objective import COST_LEVELS
from planner.planning.assign.circulation import Ints
from planner.planning.assign.deadline import NEVER, Deadline, OutOfTime
from planner.planning.assign.formulation import Columns
from planner.planning.assign.network import Network
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.problem import Problem
from planner.planning.assign.residual_graph import ResidualGraph
from planner.planning.assign.side_constraints import BindingUse, uses_of

Cycle = list[tuple[int, int]]


class SideConstraintBinds(Exception):
    """A cycle of the residual graph would break a constraint that the network does not know."""


class NetworkExtension:
    """Extends by cycles. ``exact`` answers where a cycle breaks a side constraint; without it that is raised.

    Once the deadline is over the flow as it stands is taken apart, and ``cut`` says so.
    """

    def __init__(
        self,
        problem: Problem,
        network: Network,
        stripped: int,
        exact: ExactExtension | None = None,
        *,
        deadline: Deadline = NEVER,
    ) -> None:
        self._problem, self._network, self._stripped = problem, network, stripped
        self._moves = ResidualGraph(network.circulation)
        self._exact, self._deadline, self.cut = exact, deadline, False
        self._serve0, self._way0 = int(network.serve_arc[0]), int(network.way_arc[0])
        self._link0 = self._way0 - len(network.link_boot)
        self._back0 = self._way0 + len(network.way_arc)
        self._pair0 = self._moves.tail[self._back0]
        self._wish_arcs, self._ways = len(network.wish_arc), len(network.way_arc)
        arcs = problem.arcs
        self._costs = np.stack([arcs.cost(level) for level in COST_LEVELS], axis=1)
        self._strip = [problem.strip_cost(level) for level in COST_LEVELS]
        self._priority = [w.priority for w in problem.wishes]
        self._boot = network.link_boot.tolist()
        links = Counter(self._boot)
        self._shared = [links[boot] > 1 for boot in self._boot]
        self._boots = [len(b.tags) for b in problem.boots]
        flow = network.circulation.flow
        for boot, used in zip(self._boot, flow[self._link0 : self._way0].tolist(), strict=True):
            self._boots[boot] -= used
        self._counts = BindingUse(problem, uses_of(flow[network.way_arc]))
        self._parts = arcs.parts_cents
        self._budget = problem.parts_limit_cents
        self._spent = int(self._parts @ flow[network.way_arc])

    def may_serve(self, serve: int) -> bool:
        """Return whether the serving arc may still carry another set, as far as is known."""
        return bool(self._moves.upper[self._serve0 + serve] > 0)

    def may_use(self, way: int) -> bool:
        """Return whether the way may still carry another set, as far as is known."""
        return bool(self._moves.upper[self._way0 + way] > 0)

    def extend(self, serve: int, way: int) -> bool:
        """Promise one set more to both, if some best plan has it; whether that could be done."""
        moves, z, x = self._moves, self._serve0 + serve, self._way0 + way
        try:
            possible = self._spare_or_moved(serve, way)
        except OutOfTime:
            self.cut = True
            possible = moves.spare(z) > 0 and moves.spare(x) > 0
        if possible:
            moves.keep((z, x, *self._along(serve, way)))
        return possible

    def _along(self, serve: int, way: int) -> tuple[int, int, int]:
        """The other arcs of the network that a set on both needs: of its wish, its link, its pair."""
        link = int(self._network.serve_link[serve])
        pair = self._moves.head[self._way0 + way] - self._pair0
        return int(self._network.serve_wish[serve]), self._link0 + link, self._back0 + pair

    def _spare_or_moved(self, serve: int, way: int) -> bool:
        """Return whether the flow can be turned to have a unit to spare on both; then it is. Raises
        OutOfTime.
        """
        if self.cut or self._deadline.over():
            raise OutOfTime
        moves, z, x = self._moves, self._serve0 + serve, self._way0 + way
        possible = self._ensure(z, settle=True)
        if possible:
            before = moves.reserve(z)
            possible = self._ensure(x, settle=False)
            moves.release(z, before)
        if possible is None:
            return self._ask_exactly(serve, way)
        if possible and self._exact is not None:
            self._exact.reserve(serve, way)
        return possible

    def _ensure(self, arc: int, *, settle: bool) -> bool | None:
        """A unit to spare on the arc: True, False if that is proved to be impossible, None if unsure."""
        moves = self._moves
        if moves.spare(arc) > 0:
            return True
        cycle = moves.cycle_for(arc, settle=settle)
        if cycle is None:
            return False
        if not self._allowed(cycle):
            return None
        moves.apply(cycle)
        return True

    def _allowed(self, cycle: Cycle) -> bool:
        """Return whether the flow, once turned, keeps the side limits and each level's value.

        If it does, it is counted.
        """
        ways = [(arc - self._way0, c) for arc, c in cycle if 0 <= arc - self._way0 < self._ways]
        wishes: dict[int, int] = {}
        for arc, change in cycle:
            if arc < self._wish_arcs:
                rank = self._priority[arc]
                wishes[rank] = wishes.get(rank, 0) + change
        if any(wishes.values()):
            return False
        used, times = [w for w, _ in ways], np.array([c for _, c in ways], dtype=np.int64)
        costs: list[int] = (times @ self._costs[used]).tolist()
        spent = self._spent if self._budget is None else self._spent + int(times @ self._parts[used])
        if (self._budget is not None and spent > self._budget) or any(
            cost and not strip for cost, strip in zip(costs, self._strip, strict=True)
        ):
            return False
        boots = self._boots_after(cycle)
        if boots is None:
            return False
        stripped = self._stripped
        if (matters := self._counts.matters(ways)) or any(costs):
            self._counts.change(ways)
            found = self._counts.stripped() if matters else stripped
            if found is None or any(
                cost + strip * (found - stripped) for cost, strip in zip(costs, self._strip, strict=True)
            ):
                self._counts.change([(way, -change) for way, change in ways])
                return False
            self._stripped = found
        else:
            self._counts.change(ways)
        for boot, more in boots.items():
            self._boots[boot] -= more
        self._spent = spent
        return True

    def _boots_after(self, cycle: Cycle) -> dict[int, int] | None:
        """Boots used more by class, None where a class with several links would run out."""
        used: dict[int, int] = {}
        shared = False
        for arc, change in cycle:
            if self._link0 <= arc < self._way0:
                boot = self._boot[arc - self._link0]
                used[boot] = used.get(boot, 0) + change
                shared = shared or self._shared[arc - self._link0]
        if shared and any(more > self._boots[boot] for boot, more in used.items()):
            return None
        return used

    def _ask_exactly(self, serve: int, way: int) -> bool:
        if self._exact is None:
            raise SideConstraintBinds
        found = self._exact.extend(serve, way)
        if found is None:
            return False
        self._adopt(*found)
        return True

    def _adopt(self, columns: Sequence[int], values: Sequence[int]) -> None:
        """Make the flow that of a plan that differs in some columns of the linear program."""
        flow, network, ways = self._moves.flow, self._network, self._ways
        changed: list[tuple[int, int]] = []
        head, pair0, back = self._moves.head, self._pair0, self._back0
        for column, value in zip(columns, values, strict=True):
            if column < ways:
                arc = self._way0 + column
            elif column - ways < len(network.serve_arc):
                arc = self._serve0 + column - ways
            else:
                continue
            if change := value - flow[arc]:
                flow[arc] = value
                if column < ways:
                    changed.append((column, change))
                    link = int(network.way_link[column])
                    flow[self._link0 + link] += change
                    flow[back + head[arc] - pair0] += change
                    self._boots[self._boot[link]] -= change
                else:
                    flow[int(network.serve_wish[column - ways])] += change
        self._counts.change(changed)
        self._spent += sum(change * int(self._parts[way]) for way, change in changed)
        self._stripped = self._counts.stripped() or 0


class ExactExtension:
    """The same question for the linear program, for the few cases that cycles leave open."""

    def __init__(self, face: OptimalFace, columns: Columns) -> None:
        self._columns = columns
        self._settled = np.rint(face.settled_or_value()).astype(np.int64)
        self._face, self._place = face.reduced()
        self._free = list(self._place)
        self._reserved = Counter[int]()
        self._late: set[int] = set()

    def reserve(self, serve: int, way: int) -> None:
        """Keep one set more on both."""
        for column in (way, self._columns.ways + serve):
            self._reserved[column] += 1
            if column in self._place:
                self._late.add(column)

    def extend(self, serve: int, way: int) -> tuple[list[int], list[int]] | None:
        """Columns and values, others unchanged, of a best plan that also has one set more on both; or None.

        The set is then reserved. Raises OutOfTime.
        """
        wanted = {c: self._reserved[c] + 1 for c in (way, self._columns.ways + serve)}
        if any(c not in self._place and self._settled[c] < n for c, n in wanted.items()):
            return None
        self._face.all_at_least({self._place[c]: self._reserved[c] for c in sorted(self._late)})
        self._late.clear()
        if not self._face.try_at_least({self._place[c]: n for c, n in wanted.items() if c in self._place}):
            return None
        self._reserved.update(wanted.keys())
        return self._free, self._face.values.tolist()


def network_flow(network: Network, values: Ints) -> Ints:
    """The circulation that columns of the linear program (ways, then serving arcs) stand for."""
    ways, serves = len(network.way_arc), len(network.serve_arc)
    circulation = network.circulation
    flow = np.zeros(len(circulation.tail), dtype=np.int64)
    flow[network.way_arc] = values[:ways]
    flow[network.serve_arc] = values[ways : ways + serves]
    first, last = int(network.serve_arc[0]) + serves, int(network.way_arc[0])
    np.add.at(flow, first + network.way_link, values[:ways])
    assert last - first == len(network.link_boot)
    np.add.at(flow, network.serve_wish, values[ways : ways + serves])
    back = int(network.way_arc[0]) + ways
    pair_node = circulation.tail[back] if len(flow) > back else 0
    np.add.at(flow, back + circulation.head[network.way_arc] - pair_node, values[:ways])
    return flow
