"""The two-stage program of many seasons: its columns, rows and HiGHS model.

Columns: sets made by each choice, bindings dealt to brake sets, then sets used in each season. Rows: pairs,
boots, bindings and bench minutes there are; sets of a type used no oftener than they are ready; wants of a
season served no oftener than they are asked for.

And the stock of sets by type that serves many seasons best on average. First, once: each pair is set up for
one boot, or left. A set is of a *type*: the wants that ask for both its length and its shell. Then, in every
season, each want takes sets of the types that may serve it, up to what that season asks for at once. A set
pays if one more would be used in more than ``1 - ready`` of the seasons: with one want alone that is the
newsvendor's fractile. The program counts by groups (`first_stage`); what that leaves out can only flatter, so
no plan passes its bound.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any, Final

import numpy as np

from fleet.base.errors import PlanFault
from planner.planning.assign.classes import BindingSort, Wishes
from planner.planning.assign.linear_program import ONE_ANSWER, Floats, Ints, quiet_highs
from planner.planning.assign.problem import Problem

BootGroup = tuple[str, tuple[str, ...], Wishes]
"""Sole type, and the wants that the shells fit."""

OWN = -1
"""In place of a brake set: the pair keeps its own binding."""


@dataclass(frozen=True, slots=True, kw_only=True)
class RemountChoice:
    """One pair of ``pairs`` for one boot of ``boots``; ``brakes`` as in `Arcs`; the fewest minutes it takes.

    ``serves``: the wants that such a set may serve.
    """

    pairs: int
    boots: int
    brakes: int
    minutes: int
    serves: Wishes


@dataclass(frozen=True, slots=True, kw_only=True)
class FirstStage:
    """Groups with how many there are of each, and every choice. ``pair_tags`` and ``boot_tags`` name one.

    ``own[g]``: the sort of binding that every pair of group g carries, None for none. ``minutes_limit`` as
    in the problem; without one, minutes are 0.
    """

    pair_sizes: tuple[int, ...]
    pair_tags: tuple[str, ...]
    own: tuple[BindingSort | None, ...]
    boot_sizes: tuple[int, ...]
    boot_tags: tuple[str, ...]
    brake_sets: tuple[tuple[BindingSort, ...], ...]
    supply: Mapping[BindingSort, int]
    minutes_limit: int | None
    choices: tuple[RemountChoice, ...]


def first_stage(problem: Problem) -> FirstStage:
    """The groups of a problem, in canonical order."""
    boot_number, boot_sizes, boot_tags, boot_of = _boot_groups(problem)
    limited = problem.minutes_limit is not None
    reach = _reach(problem, boot_of, timed=limited)
    members: dict[tuple[Wishes, BindingSort | None, tuple[tuple[int, int, int], ...]], list[int]] = (
        defaultdict(list)
    )
    for pair, found in sorted(reach.items()):
        pair_class = problem.pairs[pair]
        members[pair_class.wishes, pair_class.own, tuple(sorted(found))].append(pair)
    groups = sorted(members.items(), key=lambda item: item[1])
    boot_wishes = [set(who) for *_, who in boot_number]
    return FirstStage(
        pair_sizes=tuple(sum(len(problem.pairs[p].tags) for p in mine) for _, mine in groups),
        pair_tags=tuple(problem.pairs[mine[0]].tags[0] for _, mine in groups),
        own=tuple(own for (_, own, _), _ in groups),
        boot_sizes=boot_sizes,
        boot_tags=boot_tags,
        brake_sets=problem.brake_sets,
        supply=dict(problem.supply),
        minutes_limit=problem.minutes_limit,
        choices=tuple(
            RemountChoice(
                pairs=g,
                boots=boots,
                brakes=brakes,
                minutes=minutes,
                serves=tuple(w for w in who if w in boot_wishes[boots]),
            )
            for g, ((who, _, options), _) in enumerate(groups)
            for boots, brakes, minutes in options
        ),
    )


def _boot_groups(
    problem: Problem,
) -> tuple[list[BootGroup], tuple[int, ...], tuple[str, ...], list[int]]:
    """Groups in order, how many boots each, one tag of each, and the group of every boot class."""
    counted: Counter[BootGroup] = Counter()
    first: dict[BootGroup, str] = {}
    for boots in problem.boots:
        key = (boots.sole_type, boots.kinds, boots.wishes)
        counted[key] += len(boots.tags)
        first[key] = min(first.get(key, boots.tags[0]), boots.tags[0])
    order = sorted(counted)
    number = {key: i for i, key in enumerate(order)}
    return (
        order,
        tuple(counted[key] for key in order),
        tuple(first[key] for key in order),
        [number[boots.sole_type, boots.kinds, boots.wishes] for boots in problem.boots],
    )


def _reach(problem: Problem, boot_of: list[int], *, timed: bool) -> dict[int, set[tuple[int, int, int]]]:
    """(boot group, brake set, fewest minutes) that each pair class has a way for."""
    arcs = problem.arcs
    if not len(arcs):
        return {}
    minutes = arcs.minutes if timed else np.zeros(len(arcs), dtype=np.int64)
    rows = np.stack([arcs.pair, np.array(boot_of, dtype=np.int64)[arcs.boot], arcs.brakes, minutes])
    rows = rows[:, np.lexsort(rows[::-1])]
    new = np.ones(rows.shape[1], dtype=np.bool_)
    new[1:] = (rows[:3, 1:] != rows[:3, :-1]).any(axis=0)
    found: dict[int, set[tuple[int, int, int]]] = defaultdict(set)
    for pair, boots, brakes, least in rows[:, new].T.tolist():
        found[pair].add((boots, brakes, least))
    return found


RELATIVE_GAP: Final = 1e-4
"""A stock so near the linear bound is taken without looking further."""

SMALL: Final = 600
"""Up to so many choices the integer program is solved to proof."""

FOCUS: Final = (0.0, 0.03, 0.1)
"""Choices that miss paying by no more than this, in sets a season, are let into a large program."""

NODES: Final = 50
"""The most branches of such a program: a count, not a clock, so that it ends alike on every machine."""

_WHOLE: Final = 1e-6
_FEASIBLE: Final = 2
"""`highspy.SolutionStatus.kSolutionStatusFeasible`, without importing highspy for it."""


class Resource(StrEnum):
    """Resources that there could be one more of."""

    PAIR = "pair"
    BOOT = "boot"
    BINDING = "binding"
    MINUTES = "minutes"


@dataclass(slots=True)
class SeasonProgram:
    """``peaks[s][w]``: sets of want w that season s asks for at once; ``price`` of a set that is ready.

    ``row_of[thing, number]``: the row that says how many there are. ``floors``: mean sets served of the
    priorities settled so far, as weights and the least that must stay.
    """

    stage: FirstStage
    peaks: Sequence[Sequence[int]]
    priorities: Sequence[int]
    price: float
    upper: list[float] = field(default_factory=list)
    row_of: dict[tuple[Resource, int], int] = field(default_factory=dict)
    floors: list[tuple[Floats, float]] = field(default_factory=list)
    columns: int = 0
    _cells: list[tuple[int, int, float]] = field(default_factory=list)
    _use: list[tuple[int, int]] = field(default_factory=list)
    _table: Floats | None = None

    def __post_init__(self) -> None:
        self.columns = len(self.stage.choices)
        self._limit_things()
        self._limit_bindings()
        self._add_seasons()

    @property
    def sorts(self) -> list[BindingSort]:
        """Sorts of bindings in the order of their rows."""
        return sorted(self.stage.supply)

    def _row(self, upper: float) -> int:
        self.upper.append(upper)
        return len(self.upper) - 1

    def _there_are(self, thing: Resource, number: int, upper: float) -> int:
        self.row_of[thing, number] = self._row(upper)
        return self.row_of[thing, number]

    def _column(self) -> int:
        self.columns += 1
        return self.columns - 1

    def _limit_things(self) -> None:
        stage = self.stage
        pairs = [self._there_are(Resource.PAIR, g, n) for g, n in enumerate(stage.pair_sizes)]
        boots = [self._there_are(Resource.BOOT, b, n) for b, n in enumerate(stage.boot_sizes)]
        for column, choice in enumerate(stage.choices):
            self._cells += [(pairs[choice.pairs], column, 1.0), (boots[choice.boots], column, 1.0)]
        if stage.minutes_limit is not None:
            bench = self._there_are(Resource.MINUTES, 0, stage.minutes_limit)
            self._cells += [(bench, c, float(x.minutes)) for c, x in enumerate(stage.choices)]

    def _limit_bindings(self) -> None:
        """A binding is used where it is, or goes to one brake set that knows its sort."""
        stage = self.stage
        supply = {
            sort: self._there_are(Resource.BINDING, k, stage.supply[sort])
            for k, sort in enumerate(self.sorts)
        }
        dealt = [self._row(0.0) for _ in stage.brake_sets]
        for row, sorts in zip(dealt, stage.brake_sets, strict=True):
            for sort in sorts:
                column = self._column()
                self._cells += [(row, column, -1.0), (supply[sort], column, 1.0)]
        for column, choice in enumerate(stage.choices):
            if choice.brakes != OWN:
                self._cells.append((dealt[choice.brakes], column, 1.0))
            elif (own := stage.own[choice.pairs]) is not None:
                self._cells.append((supply[own], column, 1.0))

    def _add_seasons(self) -> None:
        ready: dict[Wishes, list[int]] = defaultdict(list)
        for column, choice in enumerate(self.stage.choices):
            if choice.serves:
                ready[choice.serves].append(column)
        for peaks in self.peaks:
            wants = [self._row(n) for n in peaks]
            for who, made in sorted(ready.items()):
                stock = self._row(0.0)
                self._cells += [(stock, column, -1.0) for column in made]
                for w in who:
                    column = self._column()
                    self._cells += [(stock, column, 1.0), (wants[w], column, 1.0)]
                    self._use.append((column, self.priorities[w]))

    def served(self, rank: int) -> Floats:
        """Weights of mean sets served a season, of this priority and those before it."""
        weights = np.zeros(self.columns)
        weights[[column for column, priority in self._use if priority <= rank]] = 1.0 / len(self.peaks)
        return weights

    def _triples(self) -> tuple[Ints, Ints, Floats]:
        """Rows, columns and values of all cells, floors included, column by column."""
        if self._table is None:
            self._table = np.array(self._cells)
        parts = [self._table]
        for at, (weights, _) in enumerate(self.floors, start=len(self.upper)):
            held = np.flatnonzero(weights)
            parts.append(np.stack([np.full(len(held), at), held, weights[held]], axis=1))
        cells = np.concatenate(parts)
        cells = cells[np.lexsort((cells[:, 0], cells[:, 1]))]
        return cells[:, 0].astype(np.int64), cells[:, 1].astype(np.int64), cells[:, 2]

    def solver(self, rank: int, *, whole: bool) -> Any:
        """HiGHS, loaded with the program of a priority: mean sets served up to it, less the price of sets.

        ``whole``: sets in whole numbers; else the linear program.
        """
        import highspy

        gain = self.served(rank)
        gain[: len(self.stage.choices)] -= self.price
        row, column, value = self._triples()
        inf = highspy.kHighsInf
        model: Any = highspy.HighsLp()
        model.num_col_, model.num_row_ = self.columns, len(self.upper) + len(self.floors)
        model.col_cost_, model.sense_ = gain, highspy.ObjSense.kMaximize
        model.col_lower_, model.col_upper_ = np.zeros(self.columns), np.full(self.columns, inf)
        model.row_lower_ = np.array([-inf] * len(self.upper) + [least for _, least in self.floors])
        model.row_upper_ = np.array([*self.upper, *([inf] * len(self.floors))], dtype=np.float64)
        model.a_matrix_.format_ = highspy.MatrixFormat.kColwise
        model.a_matrix_.start_ = np.searchsorted(column, np.arange(self.columns + 1))
        model.a_matrix_.index_, model.a_matrix_.value_ = row, value
        if whole:
            kinds, choices = highspy.HighsVarType, len(self.stage.choices)
            model.integrality_ = [kinds.kInteger] * choices + [kinds.kContinuous] * (self.columns - choices)
        solver = quiet_highs(ONE_ANSWER)
        solver.passModel(model)
        return solver


def best_in_whole_sets(program: SeasonProgram, rank: int, known: Floats) -> tuple[Floats, float]:
    """Values with whole sets, and the bound that no values pass. ``known``: whole, and in every limit.

    The linear program is a flow in all but minutes and the priorities held, so most of its sets are whole
    already. If some are not, a small program is solved to proof; in a large one they are settled among
    their neighbours, then among the choices that pay or nearly do. The bound stays that of the linear one.
    """
    loose = program.solver(rank, whole=False)
    values = run(loose)
    bound = float(loose.getInfo().objective_function_value)
    count = len(program.stage.choices)
    sets = values[:count]
    if np.abs(sets - np.rint(sets)).max() <= _WHOLE:
        return values, bound
    near = program.solver(rank, whole=True)
    if count <= SMALL:
        return run(near), float(near.getInfo().mip_dual_bound)
    low, high = np.floor(sets + _WHOLE), np.ceil(sets - _WHOLE)
    near.changeColsBounds(count, np.arange(count, dtype=np.int32), low, high)
    near.run()
    gain = np.array(near.getLp().col_cost_)
    found = [known]
    if _found(near):
        found.append(np.array(near.getSolution().col_value))
    if bound - float(gain @ found[-1]) > RELATIVE_GAP * abs(bound):
        off = np.abs(np.array(loose.getSolution().col_dual)[:count])
        found += _in_focus(program, rank, sets, off)
    return max(found, key=lambda each: float(gain @ each)), bound


def _in_focus(program: SeasonProgram, rank: int, sets: Floats, off: Floats) -> list[Floats]:
    """Whole values with every set at most one away, among choices in use or little ``off`` from paying."""
    count = len(sets)
    low, high = np.maximum(0, np.floor(sets + _WHOLE) - 1), np.ceil(sets - _WHOLE) + 1
    for reach in FOCUS:
        solver = program.solver(rank, whole=True)
        solver.setOptionValue("mip_rel_gap", RELATIVE_GAP)
        solver.setOptionValue("mip_max_nodes", NODES)
        open_ = (sets > _WHOLE) | (off <= reach)
        solver.changeColsBounds(count, np.arange(count, dtype=np.int32), low, np.where(open_, high, 0.0))
        solver.run()
        if _found(solver):
            return [np.array(solver.getSolution().col_value)]
    return []


def run(solver: Any) -> Floats:
    """Solve, and the values of the columns. Raises PlanFault if there are none; no set at all would do."""
    solver.run()
    if not _found(solver):
        raise PlanFault(
            f"the seasons' program found no stock: {solver.getModelStatus()}",
            cure="report this, with the ledger",
        )
    return np.array(solver.getSolution().col_value)


def _found(solver: Any) -> bool:
    return bool(solver.getInfo().primal_solution_status == _FEASIBLE)


_SLACK: Final = 1e-6
"""Of a floor, and what a set must be used more often than its price to pay."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BestStock:
    """Sets to have ready by type, and the program that said so (None where no set can be made).

    ``bound``: the most that mean sets served less the price of the sets can be, with the priorities before
    the last served as found.
    """

    counts: Mapping[Wishes, int]
    bound: float
    program: SeasonProgram | None


def best_stock(
    stage: FirstStage, peaks: Sequence[Sequence[int]], priorities: Sequence[int], *, ready: float
) -> BestStock:
    """The stock that serves the seasons best on average, priority by priority.

    ``peaks[s][w]``: sets of want w that season s asks for at once. ``ready``: the share of seasons that one
    want alone is made ready for, 0 to 1.
    """
    if not peaks or not any(choice.serves for choice in stage.choices):
        return BestStock(counts={}, bound=0.0, program=None)
    program = SeasonProgram(stage, peaks, priorities, 1.0 - ready + _SLACK)
    ranks = sorted(set(priorities))
    values = np.zeros(program.columns)
    for rank in ranks:
        values, bound = best_in_whole_sets(program, rank, values)
        if rank != ranks[-1]:
            weights = program.served(rank)
            program.floors.append((weights, float(weights @ values) - _SLACK))
    counts: Counter[Wishes] = Counter()
    for choice, value in zip(stage.choices, values.tolist(), strict=False):
        counts[choice.serves] += round(value)
    return BestStock(
        counts={who: n for who, n in sorted(counts.items()) if n and who},
        bound=bound,
        program=program,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class OneMore:
    """The gain in mean sets served of one more of a thing (``number``: the group or sort of `FirstStage`)."""

    thing: Resource
    number: int
    sets: float


def values_of_one_more(
    found: BestStock, *, each: int, alike: Callable[[Resource, int], object] | None = None
) -> tuple[OneMore, ...]:
    """The most valuable things to have one more of, up to ``each`` of a kind of thing, best first.

    ``alike``: of things that it gives the same value for only the best is asked about.

    The linear program of the last priority is solved again with one more of each thing that its prices put
    first; priorities before it stay served. One more pair comes as the others of its group are, binding
    included. What adds nothing is left out.
    """
    program = found.program
    if program is None:
        return ()
    rank = max(program.priorities)
    weights = program.served(rank)
    solver = program.solver(rank, whole=False)
    base = float(weights @ run(solver))
    prices = solver.getSolution().row_dual
    rows = []
    for thing in Resource:
        candidates = [
            (-sum(prices[row] for row in _rows(program, thing, number)), number)
            for what, number in program.row_of
            if what is thing
        ]
        best: dict[object, int] = {}
        for _, number in sorted(candidates):
            best.setdefault(number if alike is None else alike(thing, number), number)
        for number in list(best.values())[:each]:
            more = _again(solver, program, weights, thing, number) - base
            if more > 5e-4:
                rows.append(OneMore(thing=thing, number=number, sets=more))
    return tuple(sorted(rows, key=lambda r: (-round(r.sets, 6), list(Resource).index(r.thing), r.number)))


def _rows(program: SeasonProgram, thing: Resource, number: int) -> Iterator[int]:
    yield program.row_of[thing, number]
    own = program.stage.own[number] if thing is Resource.PAIR else None
    if own is not None:
        yield program.row_of[Resource.BINDING, program.sorts.index(own)]


MINUTES_MORE: Final = 60
"""Bench time is worth asking for by the hour."""


def _again(solver: Any, program: SeasonProgram, weights: Floats, thing: Resource, number: int) -> float:
    """Mean sets served with one more of a thing; the program is put back as it was."""
    import highspy

    more = MINUTES_MORE if thing is Resource.MINUTES else 1
    rows = list(_rows(program, thing, number))
    for row in rows:
        solver.changeRowBounds(row, -highspy.kHighsInf, program.upper[row] + more)
    served = float(weights @ run(solver))
    for row in rows:
        solver.changeRowBounds(row, -highspy.kHighsInf, program.upper[row])
    return served
