"""The geometry as the planning problem asks for it: the costs of ways, and a way itself once chosen.

And the room for further mounts that ways leave, and of places that are as good the one that leaves most.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from types import MappingProxyType
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from fleet.facts.holes import Hole, HoleState, Knowledge
from fleet.facts.pairs import Construction, Pair
from fleet.facts.patterns import Pattern
from fleet.facts.policy import Policy
from fleet.tables.snapshot import Fleet
from planner.geometry.life.fleet_life import FleetLife
from planner.geometry.placement.batch_costs import BatchCosts, add_untouched
from planner.geometry.placement.hole_table import PairTables
from planner.geometry.placement.rule import Rule, rule_for
from planner.geometry.placement.ways import WayCost, WayFinder
from planner.plan.values import Room, Rung, Way

Sole = tuple[int, int | None]
"""Boot sole length and pin line, micrometres."""

RUNGS = tuple(Rung)

_SWEEPS_KEPT = 1_000
"""Sweeps (a pair with a pattern) kept at once: a shop's fleet whole, a large one a part at a time."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Costs:
    """The costs of ways; every array has the shape (pairs, soles, rungs).

    ``drilled`` is -1 where there is no such way; ``offset_um`` is |u|; ``clearance_um`` is capped by policy;
    ``plugged`` is None where nobody asked for it.
    """

    drilled: npt.NDArray[np.int32]
    minutes: npt.NDArray[np.int32]
    offset_um: npt.NDArray[np.int32]
    clearance_um: npt.NDArray[np.int32]
    plugged: npt.NDArray[np.int32] | None = None


def counted_clearance(way: Way | WayCost | Costs, cap_um: int) -> Any:
    """Clearance as plans are compared by: capped; a way without a drill counts the cap."""
    if isinstance(way, Costs):
        return np.minimum(way.clearance_um, cap_um)
    return cap_um if way.clearance_um is None else min(way.clearance_um, cap_um)


Priced = Callable[..., Sequence[WayCost | Way]]
"""The costs of the ways of one pair, pattern and sole, in rung order."""


def costs_one_by_one(
    priced: Priced,
    *,
    pairs: Sequence[Pair],
    pattern: Pattern,
    soles: Sequence[Sole],
    policy: Policy,
    mounted: Sequence[bool],
    asked: npt.NDArray[np.bool_],
) -> Costs:
    """The costs, asked way by way; ``mounted``: of each pair."""
    cap = policy.um("clearance_counted_max_mm")
    shape = (len(pairs), len(soles), len(RUNGS))
    drilled = np.full(shape, -1, dtype=np.int32)
    plugged, minutes, offset, clearance = (np.zeros(shape, dtype=np.int32) for _ in range(4))
    for p, s in zip(*np.nonzero(asked), strict=True):
        bsl, pin = soles[s]
        for way in priced(
            pair=pairs[p], pattern=pattern, bsl_um=bsl, policy=policy, mounted=mounted[p], pin_um=pin
        ):
            at = (p, s, way.rung.rank)
            drilled[at], plugged[at], minutes[at] = way.drilled, way.plugged, way.minutes
            offset[at], clearance[at] = abs(way.offset_um), counted_clearance(way, cap)
    return Costs(drilled=drilled, minutes=minutes, offset_um=offset, clearance_um=clearance, plugged=plugged)


class SweptWays:
    """Ways by pair and pattern, swept once for all soles; keeps the newest sweeps, for the chosen ways.

    Costs come from `batch_costs`, and one by one where that is unsure.
    """

    def __init__(self) -> None:
        self._finders: dict[tuple[int, int, int], tuple[tuple[Pair, Pattern, Policy], WayFinder]] = {}
        self._rules: tuple[Policy, dict[Construction | None, Rule]] | None = None
        self._tables: tuple[Policy, PairTables, dict[int, int]] | None = None
        self.one_by_one = 0
        """Pairs with a pattern and a sole that the batch was unsure of."""

    def __call__(
        self,
        *,
        pair: Pair,
        pattern: Pattern,
        bsl_um: int,
        policy: Policy,
        mounted: bool,
        pin_um: int | None = None,
    ) -> tuple[Way, ...]:
        """As `ways_for` of the geometry; a mounted pair only adds the ways that touch no screw."""
        found = self._finder(pair, pattern, policy).ways(bsl_um, pin_um=pin_um)
        return found if mounted else tuple(w for w in found if w.rung.rank > Rung.ADJUST.rank)

    def way(
        self,
        rung: Rung,
        *,
        pair: Pair,
        pattern: Pattern,
        bsl_um: int,
        policy: Policy,
        mounted: bool,
        pin_um: int | None = None,
    ) -> Way | None:
        """The way at one rung, None if there is none."""
        if not mounted and rung.rank <= Rung.ADJUST.rank:
            return None
        return self._finder(pair, pattern, policy).way(rung, bsl_um, pin_um=pin_um)

    def alike(
        self,
        rung: Rung,
        *,
        pair: Pair,
        pattern: Pattern,
        bsl_um: int,
        policy: Policy,
        mounted: bool,
        pin_um: int | None = None,
    ) -> Iterator[Way]:
        """The way at a rung that moves a screw, then the other places that are as good at every level."""
        del mounted  # only ways that move none depend on it
        cap_um = policy.um("clearance_counted_max_mm")
        return self._finder(pair, pattern, policy).alike(rung, bsl_um, pin_um=pin_um, cap_um=cap_um)

    def costs(
        self,
        *,
        pairs: Sequence[Pair],
        pattern: Pattern,
        soles: Sequence[Sole],
        policy: Policy,
        mounted: Sequence[bool],
        asked: npt.NDArray[np.bool_],
        plugs: bool = False,
    ) -> Costs:
        """The costs of many at once; a pair seen for the first time is read once for all patterns.

        A pair may stand there twice, carrying this pattern's binding and without it.
        """
        tables, row_of = self.read(pairs, policy)
        rows = np.array([row_of[id(pair)] for pair in pairs], np.intp)
        asked = asked & np.array([pattern.takes_bsl(bsl) for bsl, _ in soles], np.bool_)
        batch = BatchCosts(tables, policy)
        once, of = np.unique(rows, return_inverse=True)
        asked_once = np.zeros((len(once), len(soles)), np.bool_)
        np.logical_or.at(asked_once, of, asked)
        keys, unsure = batch.screwed(pattern, once, soles, asked_once)
        keys.least, unsure = keys.least[of], unsure[of]
        add_untouched(
            keys,
            pairs=pairs,
            pattern=pattern,
            soles=soles,
            policy=policy,
            asked=asked & np.array(mounted)[:, None],
        )
        there, drilled, minutes, offset, clearance = keys.parts()
        plugged = np.zeros_like(drilled)
        if plugs and batch.minutes_give_plugged:
            plugged = batch.plugged(rows, there, drilled, minutes)
        elif plugs:
            unsure = np.ones_like(unsure)
        known = there & (asked & ~unsure)[:, :, None]
        found = Costs(
            drilled=np.where(known, drilled, -1).astype(np.int32),
            minutes=np.where(known, minutes, 0).astype(np.int32),
            offset_um=np.where(known, offset, 0).astype(np.int32),
            clearance_um=np.where(known, clearance, 0).astype(np.int32),
            plugged=np.where(known, plugged, 0).astype(np.int32) if plugs else None,
        )
        unsure &= asked
        some = np.flatnonzero(unsure.any(axis=1))
        if not len(some):
            return found
        self.one_by_one += int(unsure.sum())
        slow = costs_one_by_one(
            self.priced,
            pairs=[pairs[int(p)] for p in some],
            pattern=pattern,
            soles=soles,
            policy=policy,
            mounted=[mounted[int(p)] for p in some],
            asked=unsure[some],
        )
        for name in Costs.__slots__:
            ours, theirs = getattr(found, name), getattr(slow, name)
            if ours is not None:
                ours[some] = np.where(unsure[some][:, :, None], theirs, ours[some])
        return found

    def read(self, pairs: Sequence[Pair], policy: Policy) -> tuple[PairTables, dict[int, int]]:
        """The tables with all these pairs in them, and where each stands."""
        if self._tables is None or self._tables[0] is not policy:
            self._tables = (policy, PairTables((), policy), {})
        _, tables, row_of = self._tables
        fresh = {id(pair): pair for pair in pairs if id(pair) not in row_of}
        if fresh:
            tables = PairTables((*tables.pairs, *fresh.values()), policy)
            row_of = {id(pair): row for row, pair in enumerate(tables.pairs)}
            self._tables = (policy, tables, row_of)
        return tables, row_of

    def priced(
        self,
        *,
        pair: Pair,
        pattern: Pattern,
        bsl_um: int,
        policy: Policy,
        mounted: bool,
        pin_um: int | None = None,
    ) -> tuple[WayCost | Way, ...]:
        """The costs of the ways of one pair, asked of `WayFinder`."""
        found = self._finder(pair, pattern, policy).costs(bsl_um, pin_um=pin_um)
        return found if mounted else tuple(w for w in found if w.rung.rank > Rung.ADJUST.rank)

    def _rule(self, policy: Policy, construction: Construction | None) -> Rule:
        """Read once for all skis of a construction."""
        if self._rules is None or self._rules[0] is not policy:
            self._rules = (policy, {})
        known = self._rules[1]
        if construction not in known:
            known[construction] = rule_for(policy, construction)
        return known[construction]

    def _finder(self, pair: Pair, pattern: Pattern, policy: Policy) -> WayFinder:
        """Known by what was asked itself, which is kept, so that no other can come to its address."""
        key = (id(pair), id(pattern), id(policy))
        if key not in self._finders:
            if len(self._finders) >= _SWEEPS_KEPT:
                del self._finders[next(iter(self._finders))]
            finder = WayFinder(
                pair=pair,
                pattern=pattern,
                policy=policy,
                mounted=True,
                rule=self._rule(policy, pair.construction),
            )
            self._finders[key] = ((pair, pattern, policy), finder)
        return self._finders[key][1]


MOST_COUNTED: Final = 1_500
"""Ways, or pairs, whose room is counted for one plan, about a hundredth of a second each; with more there is
no such level."""
_PLACES: Final = 40
"""Places looked at for one way."""

Question = tuple[str, str, int, int | None, Rung, bool]


class RoomLeft:
    """The room that is left by the spacing and by the shop's rule, counted once for each way."""

    def __init__(
        self, fleet: Fleet, ways: SweptWays, *, before: Mapping[str, Way] = MappingProxyType({})
    ) -> None:
        """``before``: by pair, the way of an earlier plan, whose place stays where it is as good."""
        self._fleet, self._ways, self._before = fleet, ways, before
        self._lives = FleetLife(fleet)
        self._known: dict[Question, Way | None] = {}
        self._now: dict[str, int] = {}

    def can_count(self, questions: Iterable[Mapping[str, Any]]) -> bool:
        """Return whether they are few enough for a plan to wait for."""
        return len({_key(**each) for each in questions} | self._known.keys()) <= MOST_COUNTED

    def way(self, **question: Any) -> Way | None:
        """The way at a rung that moves a screw, at the place that leaves most room; None if there is none."""
        key = _key(**question)
        if key not in self._known:
            self._known[key] = self._roomiest(**question)
        return self._known[key]

    def _roomiest(self, *, pair: Pair, **question: Any) -> Way | None:
        alike = self._ways.alike(pair=pair, policy=self._fleet.policy, **question)
        places: Iterable[Way] = islice(alike, _PLACES)
        if stays := self._before.get(pair.tag):
            places = list(places)
            places = [each for each in places if each.skis == stays.skis] or places
        now = self.now(pair)
        best: Way | None = None
        for way in places:
            found = replace(way, room=self._left(pair, way, now))
            if best is None or _kept(found) > _kept(best):
                best = found
            if _kept(best) >= min(now, self._rule_after(pair, way)):
                break
        return best

    def now(self, pair: Pair) -> int:
        """The further mounts that the pair may take as it stands."""
        if pair.tag not in self._now:
            rule = self._by_rule(pair)
            self._now[pair.tag] = self._lives.places(pair, most=rule) if rule else 0
        return self._now[pair.tag]

    def _left(self, pair: Pair, way: Way, now: int) -> Room:
        rule = self._rule_after(pair, way)
        return Room(before=now, kept=self._lives.places(as_left(pair, way), most=rule), rule=rule)

    def _rule_after(self, pair: Pair, way: Way) -> int:
        return max(0, self._by_rule(pair) - bool(way.drilled))

    def _by_rule(self, pair: Pair) -> int:
        return max(0, self._fleet.policy.count("mounts_max") - pair.drilled_mounts)


def as_left(pair: Pair, way: Way) -> Pair:
    """The pair as the order leaves it: its new holes as planned, not measured."""
    skis = {}
    for side, ski in pair.skis.items():
        work = way.skis[side]
        old = tuple(replace(h, state=HoleState.PLUGGED) if h.hole_id in work.plug else h for h in ski.holes)
        new = tuple(
            Hole(
                hole_id=f"planned {hole.piece} {hole.number}",
                x_um=hole.x_um,
                y_um=hole.y_um,
                diameter_um=hole.diameter_um,
                depth_um=hole.depth_um,
                state=HoleState.SCREWED,
                knowledge=Knowledge.DRILLED_HERE,
            )
            for hole in work.holes
            if hole.do == "drill"
        )
        skis[side] = replace(ski, holes=old + new)
    return replace(pair, skis=skis)


def _key(
    *, rung: Rung, pair: Pair, pattern: Pattern, bsl_um: int, pin_um: int | None, mounted: bool
) -> Question:
    return pair.tag, pattern.name, bsl_um, pin_um, rung, mounted


def _kept(way: Way) -> int:
    return 0 if way.room is None else way.room.kept
