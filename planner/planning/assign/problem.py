"""The planning problem as values: classes, arcs with their costs, and the limits.

An *arc* is one way for one pair class and one boot class, with the pair's own binding or one of a set
of sorts that fit its waist. Geometry enters only here; everything after is counting.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import ceil
from typing import Any, Final, NamedTuple

import numpy as np
import numpy.typing as npt

from fleet.facts.kinds import Kind, KindRule
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.geometry.placement.hole_table import ByRow
from planner.plan.objective import (
    COST_LEVELS,
    ROOM,
    WORTH,
    Level,
    a_field_for_every,
    levels_of,
    of_every_level,
)
from planner.plan.part_prices import PartPrices, mount_worths, prices_in, worth_of_next
from planner.plan.values import Rung
from planner.planning.assign.classes import (
    BindingSort,
    BindingStock,
    BootClass,
    PairClass,
    Wishes,
    boot_classes,
    brake_fits,
    count_bindings,
    pair_classes,
)
from planner.planning.assign.geometry import (
    MOST_COUNTED,
    RUNGS,
    Costs,
    RoomLeft,
    Sole,
    SweptWays,
    counted_clearance,
)
from planner.planning.assign.linear_program import NEVER, Deadline

Ints = npt.NDArray[np.int64]
Counts = npt.NDArray[np.integer[Any]]


class LevelCost(NamedTuple):
    """The cost that the solver adds up at a level and keeps small.

    ``way``: of one way, or of a whole table of ways at once, with the cap on clearance. ``strip``: of a pair
    stripped for its binding, from the minutes that taking it off takes.
    """

    way: Callable[[Any, int], Any]
    strip: Callable[[int], int] = lambda minutes: 0


COST_OF: Final = of_every_level(
    {
        "mount_worth": LevelCost(lambda way, cap: _mount_worth(way)),
        "drilled": LevelCost(lambda way, cap: way.drilled),
        "minutes": LevelCost(lambda way, cap: way.minutes, strip=lambda minutes: minutes),
        "offset_um": LevelCost(lambda way, cap: abs(way.offset_um)),
        "clearance_lost_um": LevelCost(lambda way, cap: cap - counted_clearance(way, cap)),
        "room_lost": LevelCost(lambda way, cap: _room_lost(way)),
    }
)


def _mount_worth(way: Any) -> Any:
    """Of a table of ways none yet: a pair's mount has one worth, so no way of it is better for that."""
    return np.zeros_like(way.drilled) if isinstance(way, Costs) else way.mount_worth


def _room_lost(way: Any) -> Any:
    """Of a table of ways none yet: it is counted where the levels before leave a choice."""
    if isinstance(way, Costs):
        return np.zeros_like(way.drilled)
    return 0 if way.room is None else way.room.lost


@dataclass(frozen=True, slots=True, kw_only=True)
class Arcs(ByRow):
    """Parallel arrays, one row an arc, sorted by pair class, boot class, rung, pattern, own first.

    ``brakes`` indexes `Problem.brake_sets`, -1 for the pair's own binding. ``parts_cents`` is 0 where no
    parts budget is asked for, ``room_lost`` until it is counted (`Problem.with_room`), ``mount_worth`` where
    the shop sets none.
    """

    pair: Ints
    boot: Ints
    rung: Ints
    pattern: Ints
    brakes: Ints
    mount_worth: Ints
    drilled: Ints
    minutes: Ints
    offset_um: Ints
    clearance_lost_um: Ints
    room_lost: Ints
    parts_cents: Ints

    def __len__(self) -> int:
        return len(self.pair)

    def cost(self, level: Level) -> Ints:
        """The cost of each arc at one of `COST_LEVELS`."""
        found: Ints = getattr(self, level.name)
        return found

    def canonical(self) -> Ints:
        """The order that arcs stand in: it makes the same fleet give the same program, row for row, whatever
        the order of the rows of a spreadsheet. Solvers break ties by it.
        """
        return np.lexsort((self.brakes, self.pattern, self.rung, self.boot, self.pair))

    def best_first(self, *before: Ints) -> Ints:
        """The arcs in the objective's order, after the keys that come ``before`` it."""
        keys = (*before, *(self.cost(level) for level in COST_LEVELS))
        return np.lexsort(keys[::-1]) if len(self) else np.zeros(0, dtype=np.int64)


a_field_for_every((level.name for level in COST_LEVELS), Arcs)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Everything the levels are solved over; indices run over the tuples held here."""

    wishes: tuple[Wish, ...]
    pairs: tuple[PairClass, ...]
    boots: tuple[BootClass, ...]
    patterns: tuple[Pattern, ...]
    brake_sets: tuple[tuple[BindingSort, ...], ...]
    arcs: Arcs
    bindings: BindingStock
    supply: Mapping[BindingSort, int]
    minutes_limit: int | None
    parts_limit_cents: int | None
    strip_minutes: int
    clearance_cap_um: int
    plannable: tuple[str, ...]
    room: RoomLeft | None = None
    room_counted: bool = False
    worth_counted: bool = False

    @property
    def levels(self) -> tuple[Level, ...]:
        """The objective: one level after the other."""
        told = ((WORTH, self.worth_counted), (ROOM, self.room_counted))
        return levels_of((w.priority for w in self.wishes), [level for level, counted in told if counted])

    def with_worth(self, policy: Policy, room: RoomLeft, deadline: Deadline = NEVER) -> Problem:
        """The problem with the level of the worth of mounts, where the shop sets worths.

        Without it where the pairs that a way drills are too many to be counted, or the deadline is first.
        """
        worths = mount_worths(policy)
        drills = self.arcs.drilled > 0
        drilled = np.unique(self.arcs.pair[drills]).tolist()
        if worths is None or len(drilled) > MOST_COUNTED:
            return self
        of_pair = np.zeros(len(self.pairs), dtype=np.int64)
        for p in drilled:
            if deadline.over():
                return self
            of_pair[p] = worth_of_next(worths, room.now(self.pairs[p].pair))
        worth = np.where(drills, of_pair[self.arcs.pair], 0)
        return replace(self, arcs=replace(self.arcs, mount_worth=worth), worth_counted=True)

    def with_room(self, ways: Sequence[int], deadline: Deadline = NEVER) -> Problem:
        """The problem with the level of room, counted for these ways: the others can be in no best plan.

        Without that level where nobody is to count, where the ways are too many, or the deadline is first.
        """
        if self.room is None:
            return self
        asked = [(way, self.question(way)) for way in ways if self.arcs.rung[way] > Rung.ADJUST.rank]
        if not self.room.can_count(question for _, question in asked):
            return self
        lost = np.zeros(len(self.arcs), dtype=np.int64)
        for way, question in asked:
            if deadline.over():
                return self
            found = self.room.way(**question)
            lost[way] = 0 if found is None else _room_lost(found)
        return replace(self, arcs=replace(self.arcs, room_lost=lost), room_counted=True)

    def question(self, way: int) -> dict[str, Any]:
        """The question to the geometry that a way answers, on the first pair of its class."""
        boot = self.boots[self.arcs.boot[way]]
        return {
            "rung": RUNGS[self.arcs.rung[way]],
            "pair": self.pairs[self.arcs.pair[way]].pair,
            "pattern": self.patterns[self.arcs.pattern[way]],
            "bsl_um": boot.bsl_um,
            "pin_um": boot.pin_um,
            "mounted": bool(self.arcs.brakes[way] < 0),
        }

    def served_costs(self, level: Level) -> Ints:
        """The cost of a set of each wish at a level: -1 where the level counts its sets."""
        return np.array([-(w.priority == level.priority) for w in self.wishes], dtype=np.int64)

    def strip_cost(self, level: Level) -> int:
        """The cost of a pair stripped for its binding at a level."""
        return 0 if level.priority is not None else COST_OF[level.name].strip(self.strip_minutes)

    def own_sorts(self) -> Ints:
        """The number in ``supply`` of the binding that each pair class carries, -1 for none."""
        number_of = {sort: k for k, sort in enumerate(self.supply)}
        return np.array([-1 if p.own is None else number_of[p.own] for p in self.pairs], dtype=np.int64)

    def sorts_of_sets(self) -> list[list[int]]:
        """The numbers in ``supply`` of each of the `brake_sets`."""
        number_of = {sort: k for k, sort in enumerate(self.supply)}
        return [[number_of[sort] for sort in found] for found in self.brake_sets]

    def links(self) -> tuple[tuple[Wishes, ...], Ints, list[tuple[int, int]], Ints]:
        """Links of wishes and arcs: (wish sets of pairs, set of each pair class, links, link of each arc).

        A link is a (wish set, boot class): the sets of its arcs may serve the wishes common to both.
        """
        sets = tuple(sorted({p.wishes for p in self.pairs}))
        number = {who: i for i, who in enumerate(sets)}
        of_pair = np.array([number[p.wishes] for p in self.pairs], dtype=np.int64)
        key = of_pair[self.arcs.pair] * max(1, len(self.boots)) + self.arcs.boot
        keys, of_arc = np.unique(key, return_inverse=True)
        found = [divmod(int(k), max(1, len(self.boots))) for k in keys]
        return sets, of_pair, found, of_arc.astype(np.int64)

    def link_wishes(self, sets: Sequence[Wishes], link: tuple[int, int]) -> list[int]:
        """The wishes that a link's sets may serve."""
        boots = set(self.boots[link[1]].wishes)
        return [w for w in sets[link[0]] if w in boots]


def build_problem(
    fleet: Fleet,
    *,
    ways: SweptWays,
    minutes_limit: int | None,
    parts_limit_cents: int | None = None,
    room: RoomLeft | None = None,
    deadline: Deadline = NEVER,
) -> Problem:
    """The problem of a fleet, in canonical order whatever the order of the rows.

    ``room``: counts the room for further mounts, which then is the last level; without it there is none.
    """
    wishes = tuple(sorted(fleet.wishes, key=lambda w: w.wish))
    bindings = count_bindings(fleet.bindings.values())
    plannable = [pair for pair in fleet.pairs.values() if pair.plannable]
    supply = bindings.supply(pair.tag for pair in plannable)
    rule = KindRule(fleet.policy)
    pairs = pair_classes(plannable, wishes, bindings, rule)
    boots = boot_classes(fleet.boots.values(), wishes, rule)
    prices = None if parts_limit_cents is None else prices_in(fleet.policy)
    ways.read([pair.pair for pair in pairs], fleet.policy)
    builder = _ArcBuilder(
        fleet, pairs, boots, supply, ways, exact_minutes=minutes_limit is not None, prices=prices
    )
    problem = Problem(
        wishes=wishes,
        pairs=pairs,
        boots=boots,
        patterns=builder.patterns,
        arcs=builder.arcs(),
        brake_sets=tuple(builder.brake_sets),
        bindings=bindings,
        supply=supply,
        minutes_limit=minutes_limit,
        parts_limit_cents=parts_limit_cents,
        strip_minutes=ceil(fleet.policy.number("minutes_take_off")),
        clearance_cap_um=fleet.policy.um("clearance_counted_max_mm"),
        plannable=tuple(sorted(pair.tag for pair in plannable)),
        room=room,
    )
    return problem.with_worth(fleet.policy, room or RoomLeft(fleet, ways), deadline)


class _ArcBuilder:
    """Asks for the costs pattern by pattern, and keeps the arcs that can be part of a best plan."""

    def __init__(
        self,
        fleet: Fleet,
        pairs: tuple[PairClass, ...],
        boots: tuple[BootClass, ...],
        supply: Mapping[BindingSort, int],
        ways: SweptWays,
        *,
        exact_minutes: bool,
        prices: PartPrices | None,
    ) -> None:
        self.fleet, self.pairs, self.boots, self.supply, self.ways = fleet, pairs, boots, supply, ways
        self.exact_minutes, self.prices = exact_minutes, prices
        self.rule = KindRule(fleet.policy)
        self.patterns = tuple(fleet.patterns[name] for name in sorted(fleet.patterns))
        self.brake_sets: list[tuple[BindingSort, ...]] = []
        self._brake_number: dict[tuple[BindingSort, ...], int] = {}
        self._columns: dict[str, list[Ints]] = defaultdict(list)

    def arcs(self) -> Arcs:
        """All arcs, sorted."""
        fitted = {(fit.sole_type, fit.pattern) for fit in self.fleet.fits}
        wanted = {wish for pair in self.pairs for wish in pair.wishes}
        for number, pattern in enumerate(self.patterns):
            boots = [
                b
                for b, boot in enumerate(self.boots)
                if (boot.sole_type, pattern.name) in fitted
                and pattern.takes_bsl(boot.bsl_um)
                and not wanted.isdisjoint(boot.wishes)
                and self.rule.meet(pattern.kinds, boot.kinds)
            ]
            if boots:
                self._of_pattern(number, pattern, boots)
        columns = {
            n: np.concatenate(self._columns[n]) if self._columns[n] else np.zeros(0, dtype=np.int64)
            for n in Arcs.__slots__
        }
        found = Arcs(**columns)
        return found.only(found.canonical())

    def _of_pattern(self, number: int, pattern: Pattern, boots: list[int]) -> None:
        """Pairs that carry this pattern's binding or could get one; a pair may do either."""
        rows: list[tuple[int, int]] = []
        policy = self.fleet.policy
        wanted = {wish for b in boots for wish in self.boots[b].wishes}
        asked: dict[tuple[Wishes, Kind], bool] = {}
        sorts: dict[tuple[int | None, BindingSort | None], tuple[bool, int | None]] = {}
        for p, pair in enumerate(self.pairs):
            who = (pair.wishes, pair.pair.kind)
            if who not in asked:
                meet = self.rule.meet(pattern.kinds, (pair.pair.kind,))
                asked[who] = meet and not wanted.isdisjoint(pair.wishes)
            if not asked[who]:
                continue
            own = pair.own if pair.own is not None and pair.own.pattern == pattern.name else None
            known = (pair.pair.waist_um, own)
            if known not in sorts:
                others = tuple(
                    sort
                    for sort in self.supply
                    if sort.pattern == pattern.name
                    and sort != own
                    and brake_fits(pair.pair, sort.brake_um, own=False, policy=policy)
                )
                keeps = own is not None and brake_fits(pair.pair, own.brake_um, own=True, policy=policy)
                sorts[known] = keeps, self._brake_set(others) if others else None
            keeps, brakes = sorts[known]
            if keeps:
                rows.append((p, -1))
            if brakes is not None:
                rows.append((p, brakes))
        if rows:
            self._add(number, pattern, boots, rows)

    def _brake_set(self, sorts: tuple[BindingSort, ...]) -> int:
        if sorts not in self._brake_number:
            self._brake_number[sorts] = len(self.brake_sets)
            self.brake_sets.append(sorts)
        return self._brake_number[sorts]

    def _add(self, number: int, pattern: Pattern, boots: list[int], rows: list[tuple[int, int]]) -> None:
        soles: dict[Sole, int] = {}
        of_boot = np.array(
            [soles.setdefault((self.boots[b].bsl_um, self.boots[b].pin_um), len(soles)) for b in boots]
        )
        asked = self._asked([p for p, _ in rows], boots)
        of_sole = np.zeros((len(rows), len(soles)), dtype=np.bool_)
        for b, sole_of_b in enumerate(of_boot.tolist()):
            of_sole[:, sole_of_b] |= asked[:, b]
        pairs = [self.pairs[p].pair for p, _ in rows]
        costs = self.ways.costs(
            pairs=pairs,
            pattern=pattern,
            soles=list(soles),
            policy=self.fleet.policy,
            mounted=[brakes < 0 for _, brakes in rows],
            asked=of_sole,
            plugs=self.prices is not None,
        )
        parts = self._parts(pattern, costs)
        limited: list[Counts] = [costs.minutes] if self.exact_minutes else []
        cap = self.fleet.policy.um("clearance_counted_max_mm")
        by_level = [COST_OF[level.name].way(costs, cap) for level in COST_LEVELS]
        if self.prices is not None:
            limited.append(parts)
        keep = worthwhile(costs.drilled >= 0, by_level, limited=limited)
        row, at, rung = np.nonzero(keep[:, of_boot, :] & asked[:, :, None])
        sole = of_boot[at]
        made = {
            "pair": np.array([p for p, _ in rows])[row],
            "boot": np.array(boots)[at],
            "rung": rung,
            "pattern": np.full(len(row), number),
            "brakes": np.array([brakes for _, brakes in rows])[row],
            "parts_cents": parts[row, sole, rung],
        }
        for level, each in zip(COST_LEVELS, by_level, strict=True):
            made[level.name] = each[row, sole, rung]
        for name, values in made.items():
            self._columns[name].append(values.astype(np.int64))

    def _parts(self, pattern: Pattern, costs: Costs) -> npt.NDArray[np.int64]:
        """The cost of the parts of each way, hundredths, (pairs, soles, rungs)."""
        found = np.zeros(costs.drilled.shape, dtype=np.int64)
        if self.prices is not None and costs.plugged is not None:
            first = Rung.ADJUST.rank + 1  # before it no screw is touched
            found[..., first:] = self.prices.of_counts(
                pattern, costs.drilled[..., first:], costs.plugged[..., first:]
            )
        return found

    def _asked(self, pairs: list[int], boots: list[int]) -> npt.NDArray[np.bool_]:
        """Return whether some wish asks for both and their kinds meet, (pairs, boots)."""
        sets = sorted({(self.pairs[p].wishes, self.pairs[p].pair.kind) for p in pairs})
        number = {who: i for i, who in enumerate(sets)}
        table = np.array(
            [
                [
                    not set(who).isdisjoint(self.boots[b].wishes)
                    and self.rule.meet((kind,), self.boots[b].kinds)
                    for b in boots
                ]
                for who, kind in sets
            ],
            dtype=bool,
        )
        rows: npt.NDArray[np.bool_] = table[
            np.array([number[self.pairs[p].wishes, self.pairs[p].pair.kind] for p in pairs])
        ]
        return rows


def worthwhile(
    there: npt.NDArray[np.bool_], by_level: Sequence[Counts], *, limited: Sequence[Counts]
) -> npt.NDArray[np.bool_]:
    """Dominated ways left out: the rungs that are ``there`` and can be part of a best plan.

    Best first, a rung is kept if it is the best; where something is ``limited`` (minutes, the parts' cost)
    also if no better one takes as little of all of it.
    """
    rungs = np.broadcast_to(np.arange(len(RUNGS)), there.shape)
    order = np.lexsort((rungs, *reversed(by_level), ~there), axis=-1)
    kept = np.take_along_axis(there, order, axis=-1)
    takes = [np.take_along_axis(each, order, axis=-1) for each in limited]
    for number in range(1, len(RUNGS)):
        for better in range(number):
            at_most = np.ones(there.shape[:-1], dtype=np.bool_)
            for each in takes:
                at_most &= each[..., better] <= each[..., number]
            kept[..., number] &= ~(kept[..., better] & at_most)
    result = np.zeros_like(there)
    np.put_along_axis(result, order, kept, axis=-1)
    return result
