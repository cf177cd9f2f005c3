"""One season served by sets that are ready: a flow from sets to wants, priority by priority."""

from collections.abc import Mapping, Sequence

import numpy as np

from planner.planning.assign.circulation import Circulation
from planner.planning.assign.classes import Wishes
from planner.planning.assign.linear_program import Ints

Stock = Mapping[Wishes, int]
"""Sets that are ready, counted by the wants that each may serve."""


class SeasonFlow:
    """Serves any number of seasons from one stock. ``priorities``: of each want, 1 first."""

    def __init__(self, stock: Stock, priorities: Sequence[int]) -> None:
        types = [(who, n) for who, n in sorted(stock.items()) if n and who]
        first = 1 + len(types)
        rows = [(0, i, n) for i, (_, n) in enumerate(types, start=1)]
        rows += [(i, first + w, n) for i, (who, n) in enumerate(types, start=1) for w in who]
        self._last = len(rows)
        rows += [(first + w, 0, 0) for w in range(len(priorities))]
        self._table: Ints = np.array(rows, dtype=np.int64).reshape(-1, 3)
        self._nodes = first + len(priorities)
        self._priorities = np.array(priorities, dtype=np.int64)

    def serve(self, peaks: Sequence[int]) -> tuple[int, ...]:
        """Sets served of every want: the most that can be, priority by priority, so whole numbers."""
        upper = self._table[:, 2].copy()
        upper[self._last :] = peaks
        flow = Circulation(
            nodes=self._nodes,
            tail=self._table[:, 0],
            head=self._table[:, 1],
            lower=np.zeros(len(upper), dtype=np.int64),
            upper=upper,
        )
        for rank in sorted(set(self._priorities.tolist())):
            cost = np.zeros(len(upper), dtype=np.int64)
            cost[self._last :] = -(self._priorities == rank).astype(np.int64)
            flow.minimise(cost)
        return tuple(flow.flow[self._last :].tolist())
