"""The residual graph of an optimal flow: cycles that put one unit more on an arc.

A unit more on an arc closes a cycle with a residual path back. The path is searched from both ends. The end
that runs dry first proves that there is none: its nodes are a cut without residual arcs, and every arc
across that cut is fixed for good.
"""

from __future__ import annotations

from planner.planning.assign.circulation import Circulation


class ResidualGraph:
    """The free part of a circulation as lists, with flows that change by unit cycles.

    ``reserved`` units stay on their arc; no flow falls below ``lower``, which is never less than that.
    """

    def __init__(self, circulation: Circulation) -> None:
        self.tail = circulation.tail.tolist()
        self.head = circulation.head.tolist()
        self.lower = circulation.lower.tolist()
        self.upper = circulation.upper.tolist()
        self.flow = circulation.flow.tolist()
        self.reserved = [0] * len(self.flow)
        self._out: list[list[int]] = [[] for _ in range(circulation.nodes)]
        self._in: list[list[int]] = [[] for _ in range(circulation.nodes)]
        for arc, (low, high) in enumerate(zip(self.lower, self.upper, strict=True)):
            if low < high:
                self._out[self.tail[arc]].append(arc)
                self._in[self.head[arc]].append(arc)
        self._fixed = [0] * circulation.nodes
        self._degree = [len(out) + len(into) for out, into in zip(self._out, self._in, strict=True)]

    def spare(self, arc: int) -> int:
        """Units on the arc that are not reserved yet."""
        found: int = self.flow[arc] - self.reserved[arc]
        return found

    def reserve(self, arc: int) -> int:
        """Keep one unit more on the arc; returns its old lower bound, for `release`."""
        before: int = self.lower[arc]
        self.reserved[arc] += 1
        self.lower[arc] = max(before, self.reserved[arc])
        return before

    def keep(self, arcs: tuple[int, ...]) -> None:
        """Promise a unit more on each for good; arcs that cannot move any more leave the search."""
        for arc in arcs:
            self.reserve(arc)
            if self.lower[arc] >= self.upper[arc]:
                self._drop(self.tail[arc])
                self._drop(self.head[arc])

    def _drop(self, node: int) -> None:
        """One more arc at the node is fixed; now and then they are thrown out together."""
        self._fixed[node] += 1
        if 2 * self._fixed[node] > self._degree[node]:
            self._fixed[node] = 0
            for arcs in (self._out, self._in):
                arcs[node] = [arc for arc in arcs[node] if self.lower[arc] < self.upper[arc]]
            self._degree[node] = len(self._out[node]) + len(self._in[node])

    def release(self, arc: int, before: int) -> None:
        """Take the newest reservation back."""
        self.reserved[arc] -= 1
        self.lower[arc] = before

    def cycle_for(self, arc: int, *, settle: bool) -> list[tuple[int, int]] | None:
        """The changes (arc, +1 or -1) that put one unit more on the arc, or None if nothing can.

        ``settle``: on None, fix what the search has proved to be fixed (never while a reservation
        is tentative).
        """
        if self.flow[arc] >= self.upper[arc]:
            return None
        start, goal = self.head[arc], self.tail[arc]
        if start == goal:
            return [(arc, 1)]
        ahead: dict[int, tuple[int, int]] = {start: (-1, 0)}
        behind: dict[int, tuple[int, int]] = {goal: (-1, 0)}
        front, back = [start], [goal]
        while front and back:
            if self._arcs_at(front) <= self._arcs_at(back):
                front, meeting = self._step(front, ahead, behind, forward=True)
            else:
                back, meeting = self._step(back, behind, ahead, forward=False)
            if meeting is not None:
                return [(arc, 1), *self._walk(meeting, ahead, behind)]
        if settle:
            self._settle(ahead if not front else behind)
        return None

    def _arcs_at(self, border: list[int]) -> int:
        """The number of arcs to look at: few nodes may have many."""
        return sum(map(self._degree.__getitem__, border))

    def _step(
        self,
        border: list[int],
        seen: dict[int, tuple[int, int]],
        other: dict[int, tuple[int, int]],
        *,
        forward: bool,
    ) -> tuple[list[int], int | None]:
        """One layer of the search; ``seen`` maps a node to the (arc, change) that reached it."""
        flow, lower, upper, tail, head = self.flow, self.lower, self.upper, self.tail, self.head
        with_flow, against = (self._out, self._in) if forward else (self._in, self._out)
        ends, starts = (head, tail) if forward else (tail, head)
        found: list[int] = []
        for node in border:
            for arc in with_flow[node]:
                if flow[arc] < upper[arc] and ends[arc] not in seen:
                    seen[ends[arc]] = (arc, 1)
                    if ends[arc] in other:
                        return found, ends[arc]
                    found.append(ends[arc])
            for arc in against[node]:
                if flow[arc] > lower[arc] and starts[arc] not in seen:
                    seen[starts[arc]] = (arc, -1)
                    if starts[arc] in other:
                        return found, starts[arc]
                    found.append(starts[arc])
        return found, None

    def _walk(
        self, meeting: int, ahead: dict[int, tuple[int, int]], behind: dict[int, tuple[int, int]]
    ) -> list[tuple[int, int]]:
        path: list[tuple[int, int]] = []
        for seen, towards_start in ((ahead, True), (behind, False)):
            node = meeting
            while seen[node][1]:
                arc, change = seen[node]
                path.append((arc, change))
                came_along = (change > 0) == towards_start
                node = self.tail[arc] if came_along else self.head[arc]
        return path

    def _settle(self, inside: dict[int, tuple[int, int]]) -> None:
        for node in inside:
            for arcs, ends in ((self._out, self.head), (self._in, self.tail)):
                kept = []
                for arc in arcs[node]:
                    if ends[arc] in inside:
                        kept.append(arc)
                    else:
                        self.lower[arc] = self.upper[arc] = self.flow[arc]
                arcs[node] = kept
            self._degree[node] = len(self._out[node]) + len(self._in[node])

    def apply(self, cycle: list[tuple[int, int]]) -> None:
        """Change the flow."""
        for arc, change in cycle:
            self.flow[arc] += change
