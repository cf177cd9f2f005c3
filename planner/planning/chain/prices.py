"""A shop's own problem with what may leave it and what may come, priced; and the prices between shops.

Beside the columns of a plan (`planner.planning.assign.formulation`) there is one for each group of things
that may leave to a shop, and one for each that may come by a van's run. What leaves is taken from the limits
of the shop, what comes is added to them; the room of a run is a limit of the shop that it reaches. That as
many leave as come is the one thing that the shop does not know: it is in the prices.

The prices at which as many things leave as come, level after level, and the bound that they prove.

A master program holds the few columns of all shops that any of them wanted so far, and gives prices: the
multipliers of "what comes has left" and of the levels before. At these prices each shop settles its own
problem by itself. The sum of what they answer is a bound for every plan of the chain; what they used joins
the master. Once the bound, rounded up to a whole plan's value, meets the master, the level is done.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from math import ceil, gcd
from typing import Any, Final

import numpy as np

from fleet.tables.snapshot import Fleet
from planner.plan.chain import VanThing
from planner.plan.objective import DRILLED, MINUTES, WORTH, levels_of
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.formulation import columns_of, level_costs, network_of, parts_step, program_of
from planner.planning.assign.geometry import SweptWays
from planner.planning.assign.linear_program import (
    Deadline,
    Floats,
    Ints,
    LinearProgram,
    OutOfTime,
    int32,
    quiet_highs,
)
from planner.planning.assign.optimal_face import OptimalFace
from planner.planning.assign.problem import Problem, build_problem

SCALE: Final = 2**20
"""Prices are whole numbers of this part of a level's unit."""
_USED: Final = 1e-6

Names = tuple[str, ...]
"""The names of one thing, as in a `ChainMove`."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaving:
    """Things that no shop tells apart, which may leave. ``links``: one for each shop that they may go to."""

    thing: VanThing
    members: tuple[Names, ...]
    links: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Coming:
    """The same things at a shop they may go to, by one run. ``room``: which of the shop's rooms they use.

    ``minutes``, ``price_cents``: what each costs the shop that it comes to.
    """

    thing: VanThing
    members: tuple[Names, ...]
    link: int
    room: int
    minutes: int
    price_cents: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopJob:
    """All that a shop's problem depends on. ``fleet``: with everything in it that may come.

    ``rooms``: how many things each room of a run takes. ``priorities``: those of all shops.
    ``worth``: whether any of them sets worths of mounts. ``budget_cents``: for parts and what comes.
    """

    fleet: Fleet
    minutes_limit: int | None
    priorities: tuple[int, ...]
    worth: bool
    leaving: tuple[Leaving, ...]
    coming: tuple[Coming, ...]
    rooms: tuple[int, ...]
    budget_cents: int | None = None
    ways: SweptWays = field(default_factory=SweptWays)


@dataclass(frozen=True, slots=True, kw_only=True)
class ChainColumn:
    """A column by its limits (row, coefficient) and its cost at each level of the chain.

    ``link``: what leaves or comes by it, -1: nothing does. ``sign``: 1 for what comes, -1 for what leaves.
    """

    number: int
    rows: tuple[tuple[int, int], ...]
    costs: tuple[int, ...]
    upper: int
    link: int = -1
    sign: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopFrame:
    """A shop's problem as the chain knows it: its limits, its moves, and the step that its costs share."""

    lower: tuple[float, ...]
    upper: tuple[float, ...]
    moves: tuple[ChainColumn, ...]
    steps: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """A level, and what is paid, in parts of `SCALE`: ``weights`` for a unit of each level before it, and
    ``prices`` for what comes by each link; who lets it leave earns as much.
    """

    level: int
    weights: tuple[int, ...]
    prices: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopAnswer:
    """``bound``: nothing that the shop can do costs less, in parts of `SCALE`. ``used``: how it does that."""

    bound: int
    used: tuple[ChainColumn, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ShopProgram:
    """The problem as whole numbers. ``costs``: a row for each level of the chain, a column a choice."""

    rows: LinearProgram
    upper: Ints
    costs: Ints
    link: Ints
    sign: Ints
    moves_at: int

    def frame(self) -> ShopFrame:
        """Return what the chain must know of it."""
        steps = np.gcd.reduce(self.costs, axis=1) if self.rows.size else np.zeros(len(self.costs))
        return ShopFrame(
            lower=tuple(self.rows.lower.tolist()),
            upper=tuple(self.rows.upper.tolist()),
            moves=self.columns(range(self.moves_at, self.rows.size)),
            steps=tuple(int(step) for step in steps),
        )

    def columns(self, numbers: Sequence[int] | range) -> tuple[ChainColumn, ...]:
        """Some of its columns as values."""
        starts = np.searchsorted(self.rows.column, np.arange(self.rows.size + 1)).tolist()
        row, value = self.rows.row, self.rows.value
        return tuple(
            ChainColumn(
                number=n,
                rows=tuple((int(row[at]), int(value[at])) for at in range(starts[n], starts[n + 1])),
                costs=tuple(self.costs[:, n].tolist()),
                upper=int(self.upper[n]),
                link=int(self.link[n]),
                sign=int(self.sign[n]),
            )
            for n in numbers
        )

    def priced(self, ask: Ask) -> Ints:
        """The cost of each column at these prices, in parts of `SCALE`."""
        cost = SCALE * self.costs[ask.level]
        for weight, level in zip(ask.weights, self.costs, strict=False):
            cost = cost + weight * level
        prices = np.array((*ask.prices, 0), dtype=np.int64)  # the last one: of no link
        priced: Ints = cost + self.sign * prices[self.link]
        return priced

    def bound(self, cost: Ints, multipliers: Ints) -> int:
        """Nothing costs less, whatever the multipliers: the sum of weak duality in whole numbers."""
        reduced = cost.copy()
        np.subtract.at(
            reduced,
            self.rows.column,
            multipliers[self.rows.row] * np.rint(self.rows.value).astype(np.int64),
        )
        total: int = sum(
            y * int(low if y > 0 else high)
            for y, low, high in zip(
                multipliers.tolist(), self.rows.lower.tolist(), self.rows.upper.tolist(), strict=True
            )
            if y
        )
        saved = np.flatnonzero(reduced < 0)
        total += sum(r * n for r, n in zip(reduced[saved].tolist(), self.upper[saved].tolist(), strict=True))
        return total


class ShopDesk:
    """A shop's problem and a solver that is warm from the last question."""

    def __init__(self, job: ShopJob) -> None:
        self.program = program_with_moves(job)
        self._face: OptimalFace | None = None

    def answer(self, ask: Ask) -> ShopAnswer:
        """The choice of the shop at these prices, and what nobody can better."""
        program = self.program
        if not program.rows.size:
            return ShopAnswer(bound=0, used=())
        cost = program.priced(ask)
        if self._face is None:
            self._face = OptimalFace(program.rows)
        _, values, dual = self._face.relaxed(cost / SCALE)
        dual = dual.copy()
        dual[((dual > 0) & np.isinf(program.rows.lower)) | ((dual < 0) & np.isinf(program.rows.upper))] = 0.0
        multipliers = np.rint(dual * SCALE).astype(np.int64)
        return ShopAnswer(
            bound=program.bound(cost, multipliers),
            used=program.columns(np.flatnonzero(values > _USED).tolist()),
        )


def program_with_moves(job: ShopJob) -> ShopProgram:
    """The problem of a shop, with what may leave and what may come."""
    problem = build_problem(
        job.fleet, ways=job.ways, minutes_limit=job.minutes_limit, parts_limit_cents=job.budget_cents
    )
    network = network_of(problem)
    columns = columns_of(problem, network)
    base = program_of(problem, network, columns)
    sheet = _Moves(problem, job, base)
    sheet.leave()
    sheet.come()
    ranks = {level.priority: level for level in problem.levels}
    mine = [ranks.get(priority) for priority in job.priorities]
    nothing = np.zeros(columns.size, dtype=np.int64)
    costs = [nothing if level is None else level_costs(problem, network, columns, level) for level in mine]
    counted = (WORTH, DRILLED, MINUTES) if job.worth else (DRILLED, MINUTES)
    costs += [level_costs(problem, network, columns, level) for level in counted]
    costs.append(nothing)
    arcs = problem.arcs
    pairs = np.array([len(p.tags) for p in problem.pairs], dtype=np.int64)
    boots = np.array([len(b.tags) for b in problem.boots], dtype=np.int64)
    wishes = np.array([w.quantity for w in problem.wishes], dtype=np.int64)
    supply = np.array(list(problem.supply.values()), dtype=np.int64)
    own = np.concatenate(
        [
            np.minimum(pairs[arcs.pair], boots[arcs.boot]),
            np.minimum(boots[network.link_boot[network.serve_link]], wishes[network.serve_wish]),
            supply[columns.sort_number],
            supply,
        ]
    )
    return sheet.done(np.stack(costs), own)


class _Moves:
    """The columns of what leaves and comes, and the limits as they are without what comes."""

    def __init__(self, problem: Problem, job: ShopJob, base: LinearProgram) -> None:
        self.job, self.base = job, base
        self.lower, self.upper, self.value = base.lower.copy(), base.upper.copy(), base.value
        self.more_rows: list[int] = []
        self.entries: list[tuple[int, int, int]] = []
        self.made: list[tuple[int, int, int, int, int]] = []
        """Of each column: limit, link, sign, minutes, whether it counts as moved."""
        self.problem = problem
        counts = (
            len(problem.pairs),
            len(problem.links()[2]),
            len(problem.boots),
            len(problem.wishes),
            len(problem.brake_sets),
            len(problem.supply),
        )
        starts = np.cumsum([0, *counts]).tolist()
        self.pairs_at, _, self.boots_at, _, _, self.supply_at, self.stock_at = starts
        self.pair_row = {tag: n for n, p in enumerate(problem.pairs) for tag in p.tags}
        self.boot_row = {tag: starts[2] + n for n, b in enumerate(problem.boots) for tag in b.tags}
        self.sort_number = {sort: n for n, sort in enumerate(problem.supply)}
        # what may come is in no limit: it is there once it has come
        for thing, names in {(c.thing, names) for c in job.coming for names in c.members}:
            for row, coefficient in self._limits(thing, names):
                self.upper[row] -= coefficient

    def _limits(self, thing: VanThing, names: Names) -> list[tuple[int, int]]:
        """The limits to which a thing adds."""
        if thing is VanThing.BOOT:
            return [(self.boot_row[names[0]], 1)] if names[0] in self.boot_row else []
        if thing is VanThing.BINDINGS:
            number = self.sort_number[BindingSort.of(self.job.fleet.bindings[names[0]])]
            return [(self.supply_at + number, 1), (self.stock_at + number, 1)]
        found = [(self.pair_row[names[0]], 1)] if names[0] in self.pair_row else []
        own = self.problem.bindings.on_pair.get(names[0])
        return found if own is None else [*found, (self.supply_at + self.sort_number[own], 1)]

    def _column(
        self, limits: list[tuple[int, int]], *, upper: int, link: int, sign: int, minutes: int
    ) -> None:
        column = self.base.size + len(self.made)
        self.entries += [(row, column, -sign * coefficient) for row, coefficient in limits]
        self.made.append((upper, link, sign, minutes, int(sign > 0)))

    def _row(self, upper: int) -> int:
        self.more_rows.append(upper)
        return len(self.lower) + len(self.more_rows) - 1

    def leave(self) -> None:
        """Of each group no more leave than there are, to whatever shop."""
        for group in self.job.leaving:
            count, limits = len(group.members), self._limits(group.thing, group.members[0])
            row = self._row(count)
            for link in group.links:
                self.entries.append((row, self.base.size + len(self.made), 1))
                self._column(limits, upper=count, link=link, sign=-1, minutes=0)

    def come(self) -> None:
        """Add what comes by a run, and the room that it takes."""
        rooms = [self._row(room) for room in self.job.rooms]
        unit = self._pay_in()
        for group in self.job.coming:
            limits = self._limits(group.thing, group.members[0])
            self.entries.append((rooms[group.room], self.base.size + len(self.made), 1))
            if self.job.budget_cents is not None and group.price_cents:
                self.entries.append(
                    (len(self.lower) - 1, self.base.size + len(self.made), group.price_cents // unit)
                )
            self._column(limits, upper=len(group.members), link=group.link, sign=1, minutes=group.minutes)

    def _pay_in(self) -> int:
        """Return the largest unit that measures parts and vans; the budget, the last limit, counts in it."""
        if self.job.budget_cents is None:
            return 1
        step = parts_step(self.problem)
        unit = gcd(step, *(group.price_cents for group in self.job.coming))
        self.upper[-1] = self.job.budget_cents // unit
        self.value = np.where(self.base.row == len(self.lower) - 1, step // unit, 1) * self.base.value
        return unit

    def done(self, costs: Ints, upper: Ints) -> ShopProgram:
        """The whole program; of the last levels, minutes and moved things, with what moves."""
        made = np.array(self.made, dtype=np.int64).reshape(-1, 5)
        moved = np.zeros((len(costs), len(made)), dtype=np.int64)
        moved[-2], moved[-1] = made[:, 3], made[:, 4]
        more = np.array(self.entries, dtype=np.int64).reshape(-1, 3)
        more = more[np.argsort(more[:, 1], kind="stable")]
        size, none = self.base.size + len(made), np.zeros(self.base.size, dtype=np.int64)
        rows = LinearProgram(
            size=size,
            column_upper=np.concatenate([upper, made[:, 0]]).astype(np.float64),
            lower=np.concatenate([self.lower, np.full(len(self.more_rows), -np.inf)]),
            upper=np.concatenate([self.upper, np.array(self.more_rows, dtype=np.float64)]),
            row=np.concatenate([self.base.row, more[:, 0]]),
            column=np.concatenate([self.base.column, more[:, 1]]),
            value=np.concatenate([self.value, more[:, 2]]).astype(np.float64),
        )
        return ShopProgram(
            rows=rows,
            upper=np.concatenate([upper, made[:, 0]]),
            costs=np.concatenate([costs, moved], axis=1),
            link=np.concatenate([none - 1, made[:, 1]]),
            sign=np.concatenate([none, made[:, 2]]),
            moves_at=self.base.size,
        )


def chain_levels(priorities: Sequence[int], *, worth: bool = False) -> tuple[str, ...]:
    """The levels of the chain by name, in order: sets served by priority, the worth of mounts where a shop
    sets one, holes, minutes, things moved.
    """
    served = tuple(level.name for level in levels_of(priorities) if level.priority is not None)
    return (*served, *((WORTH.name,) if worth else ()), DRILLED.name, MINUTES.name, "moved")


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
        face = OptimalFace(rows, deadline=deadline)
        with suppress(OutOfTime):
            for level in range(self.levels):
                face.minimise(self.costs(level), certify=False)
        return face.values


def settle_prices(
    frames: Sequence[ShopFrame],
    links: int,
    ask: Callable[[Ask], Sequence[ShopAnswer]],
    say: Callable[[str], None],
    names: Sequence[str],
) -> tuple[tuple[ChainProof, ...], Master]:
    """The proof of every level, and the master at its prices. ``ask``: the answers of all shops."""
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
    return tuple(proofs), master
