"""The prices at which as many things leave as come, level after level, and the bound that they prove.

A master program holds the few columns of all shops that any of them wanted so far, and gives prices: the
multipliers of "what comes has left" and of the levels before. At these prices each shop settles its own
problem by itself. The sum of what they answer is a bound for every plan of the chain; what they used joins
the master. Once the bound, rounded up to a whole plan's value, meets the master, the level is done.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from math import ceil
from typing import Any, Final

import numpy as np

from planner.planning.assign.deadline import Deadline, OutOfTime
from planner.planning.assign.linear_program import Floats, Ints, LinearProgram, int32, quiet_highs
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.chain.shop_program import SCALE, Ask, ChainColumn, ShopAnswer, ShopFrame

_CLOSE: Final = 1e-6
_ROUNDS: Final = 80
"""Of questions to the shops at one level; with most chains a tenth of it does."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainProof:
    """The proof of a level from the shops' answers: ``summed`` of their bounds, and what a unit of each level
    before is worth, both in parts of `SCALE`; whole plans' values lie ``step`` apart.
    """

    summed: int
    weights: tuple[int, ...]
    step: int

    def exact(self, before: Sequence[int]) -> int:
        """The bound in parts of `SCALE`, for plans that are no worse than ``before`` at the levels before."""
        return self.summed - sum(w * v for w, v in zip(self.weights, before, strict=True))

    def bound(self, before: Sequence[int]) -> int:
        """The least value of a whole plan that is no less than that."""
        return -(-self.exact(before) // (SCALE * self.step)) * self.step


@dataclass(frozen=True, slots=True, kw_only=True)
class Settled:
    """The prices found: ``proofs`` of each level, the least value that its prices allow, and the master."""

    proofs: tuple[ChainProof, ...]
    least: tuple[int, ...]
    master: Master


@dataclass(slots=True)
class Master:
    """The columns of all shops that any of them wanted, and the one thing that they share: what moves."""

    frames: Sequence[ShopFrame]
    links: int
    levels: int
    joined: list[tuple[int, ChainColumn]] = field(default_factory=list)
    least: list[int] = field(default_factory=list)
    """Of the levels settled so far."""
    _known: set[tuple[int, int]] = field(default_factory=set)
    _solver: Any = None
    _optimal: Any = None

    def __post_init__(self) -> None:
        import highspy

        self._solver = quiet_highs({"threads": 1, "parallel": "off", "random_seed": 1, "solver": "simplex"})
        self._optimal = highspy.HighsModelStatus.kOptimal
        lower, upper = self.limits()
        self._solver.addRows(len(lower), lower, upper, 0, int32([]), int32([]), np.zeros(0))
        self.join([frame.moves for frame in self.frames])

    @property
    def starts(self) -> list[int]:
        """The first limit of each shop, then that of the links."""
        starts: list[int] = np.cumsum([0, *(len(frame.lower) for frame in self.frames)]).tolist()
        return starts

    def limits(self) -> tuple[Floats, Floats]:
        """Of the shops in turn, of the links, and of the levels settled so far."""
        lower = [low for frame in self.frames for low in frame.lower]
        upper = [high for frame in self.frames for high in frame.upper]
        free = self.links + len(self.least)
        return (
            np.array(lower + [-np.inf] * free, dtype=np.float64),
            np.array(upper + [0.0] * self.links + [float(v) for v in self.least], dtype=np.float64),
        )

    def join(self, found: Sequence[Sequence[ChainColumn]]) -> int:
        """Take in the columns of each shop that are not in yet; how many those were."""
        fresh = [
            (shop, column)
            for shop, columns in enumerate(found)
            for column in columns
            if (shop, column.number) not in self._known
        ]
        self._known.update((shop, column.number) for shop, column in fresh)
        self.joined += fresh
        if fresh:
            entries = [self._entries(shop, column) for shop, column in fresh]
            counts = [len(each) for each in entries]
            flat = [pair for each in entries for pair in each]
            self._solver.addCols(
                len(fresh),
                np.zeros(len(fresh)),
                np.zeros(len(fresh)),
                np.array([column.upper for _, column in fresh], dtype=np.float64),
                len(flat),
                int32(np.cumsum([0, *counts])[:-1]),
                int32([row for row, _ in flat]),
                np.array([value for _, value in flat], dtype=np.float64),
            )
        return len(fresh)

    def _entries(self, shop: int, column: ChainColumn) -> list[tuple[int, int]]:
        starts = self.starts
        entries = [(starts[shop] + row, value) for row, value in column.rows]
        if column.sign:
            entries.append((starts[-1] + column.link, column.sign))
        first = starts[-1] + self.links
        entries += [(first + n, cost) for n, cost in enumerate(column.costs[: len(self.least)]) if cost]
        return entries

    def costs(self, level: int) -> Ints:
        """Of the joined columns at a level."""
        return np.array([column.costs[level] for _, column in self.joined], dtype=np.int64)

    def solve(self, level: int) -> tuple[float, tuple[int, ...], tuple[int, ...]]:
        """The value of the level, the weights of those before it, and the prices."""
        count = len(self.joined)
        self._solver.changeColsCost(count, int32(np.arange(count)), self.costs(level).astype(np.float64))
        self._solver.run()
        if self._solver.getModelStatus() != self._optimal:
            self._solver.clearSolver()  # a basis carried along can lead into a corner of rounding
            self._solver.run()
        dual = np.asarray(self._solver.getSolution().row_dual)[self.starts[-1] :]
        paid = [max(0, round(-float(y) * SCALE)) for y in dual.tolist()]
        value = float(self._solver.getInfo().objective_function_value)
        return value, tuple(paid[self.links :]), tuple(paid[: self.links])

    def settle(self, level: int, least: int) -> None:
        """Hold a level at no more than its least value from now on."""
        costs = self.costs(level)
        used = np.flatnonzero(costs)
        self._solver.addRow(-np.inf, float(least), len(used), int32(used), costs[used].astype(np.float64))
        self.least.append(least)

    def whole(self, deadline: Deadline) -> Ints:
        """The best whole plan of the joined columns, level by level; the best found once out of time."""
        lower, upper = self.limits()
        keep = len(lower) - len(self.least)
        entries = [
            (row, at, value)
            for at, (shop, column) in enumerate(self.joined)
            for row, value in self._entries(shop, column)
            if row < keep
        ]
        table = np.array(entries, dtype=np.int64).reshape(-1, 3)
        rows = LinearProgram(
            size=len(self.joined),
            column_upper=np.array([column.upper for _, column in self.joined], dtype=np.float64),
            lower=lower[:keep],
            upper=upper[:keep],
            row=table[:, 0],
            column=table[:, 1],
            value=table[:, 2].astype(np.float64),
        )
        return _whole(rows, [self.costs(level) for level in range(self.levels)], deadline)


def _whole(rows: LinearProgram, costs: Sequence[Ints], deadline: Deadline) -> Ints:
    face = OptimalFace(rows, deadline=deadline)
    with suppress(OutOfTime):
        for cost in costs:
            face.minimise(cost, certify=False)
    return face.values


def settle_prices(
    frames: Sequence[ShopFrame],
    links: int,
    ask: Callable[[Ask], Sequence[ShopAnswer]],
    say: Callable[[str], None],
    names: Sequence[str],
) -> Settled:
    """Prices and proofs of every level. ``ask``: the answers of all shops to a question."""
    master = Master(frames, links, len(names))
    proofs: list[ChainProof] = []
    for level, name in enumerate(names):
        step = int(np.gcd.reduce([frame.steps[level] for frame in frames])) or 1
        best: ChainProof | None = None
        for _ in range(_ROUNDS):
            value, weights, prices = master.solve(level)
            answers = ask(Ask(level=level, weights=weights, prices=prices))
            proof = ChainProof(summed=sum(answer.bound for answer in answers), weights=weights, step=step)
            if best is None or proof.exact(master.least) > best.exact(master.least):
                best = proof
            say(f"{name}: {value:g}, no plan below {best.bound(master.least)}")
            if best.bound(master.least) >= value - _CLOSE:
                break
            if not master.join([answer.used for answer in answers]):
                break
        assert best is not None
        proofs.append(best)
        reached = step * ceil((value - _CLOSE) / step)
        master.settle(level, max(reached, best.bound(master.least)))
    return Settled(proofs=tuple(proofs), least=tuple(master.least), master=master)
