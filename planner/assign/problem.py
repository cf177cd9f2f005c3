"""The planning problem as values: who could be served by what, and what that costs.

A *boot class* is a set of boots that no rule tells apart; an *option* is one way with one sort of
binding that makes a pair serve a class. Geometry enters only here, through ``ways``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from math import ceil
from typing import Protocol

from fleet.equipment import Boot, Pair, Wish
from fleet.patterns import Pattern
from fleet.policy import Policy
from fleet.snapshot import Fleet
from planner.assign.kits import Kit, Kits, brake_fits, count_kits
from planner.plan_values import Way


class WaysFor(Protocol):
    """The geometry, as the problem sees it: the best way of each rung, in rung order."""

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
        """As `planner.placement.ways.ways_for`."""
        ...


@dataclass(frozen=True, slots=True, kw_only=True)
class BootClass:
    """Boots with one sole, one length and the same wishes; ``tags`` in order."""

    sole_type: str
    bsl_um: int
    pin_um: int | None
    wishes: tuple[int, ...]
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Option:
    """A pair made to serve a boot class: by this way, with this sort of binding."""

    pair: int
    boot_class: int
    kit: Kit
    own: bool
    way: Way
    clearance_um: int

    @property
    def costs(self) -> tuple[int, int, int, int]:
        """(holes drilled, minutes, |u|, lost clearance): all to be kept small, in this order."""
        return (self.way.drilled, self.way.minutes, abs(self.way.offset_um), -self.clearance_um)

    @property
    def tie_key(self) -> tuple[int, str, int, bool]:
        """The way's place in the last tie-break: rung, then pattern, brake, own binding first."""
        return (self.way.rung.rank, self.kit.pattern, self.kit.brake_key, not self.own)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """Everything the levels are solved over; indices run over the sorted tuples held here."""

    wishes: tuple[Wish, ...]
    pairs: tuple[Pair, ...]
    classes: tuple[BootClass, ...]
    options: tuple[Option, ...]
    kits: Kits
    supply: Mapping[Kit, int]
    minutes_limit: int | None
    strip_minutes: int

    def columns(self) -> Iterator[tuple[int, int]]:
        """(wish, option) for every set that breaks no rule on its own, in canonical order."""
        for index, option in enumerate(self.options):
            pair = self.pairs[option.pair]
            for wish in self.classes[option.boot_class].wishes:
                if wants_pair(self.wishes[wish], pair):
                    yield wish, index


def wants_pair(wish: Wish, pair: Pair) -> bool:
    """Kind and length are what was asked for."""
    return wish.kind == pair.kind and wish.length_min_mm <= pair.length_mm <= wish.length_max_mm


def wants_boot(wish: Wish, boot: Boot) -> bool:
    """The shell size is in the window; an unknown size serves nobody."""
    size = boot.mondopoint_mm
    return size is not None and wish.mondopoint_min_mm <= size <= wish.mondopoint_max_mm


def build_problem(fleet: Fleet, *, ways: WaysFor, minutes_limit: int | None) -> Problem:
    """The problem of a fleet, in canonical order whatever the order of the rows."""
    wishes = tuple(sorted(fleet.wishes, key=lambda w: w.wish))
    pairs = tuple(fleet.pairs[tag] for tag in sorted(fleet.pairs) if fleet.pairs[tag].place.plannable)
    classes = boot_classes(fleet.boots.values(), wishes)
    kits = count_kits(fleet.bindings.values())
    supply = kits.supply(pair.tag for pair in pairs)
    options = _Options(fleet, wishes, pairs, classes, kits, supply, ways, minutes_limit).all()
    return Problem(
        wishes=wishes,
        pairs=pairs,
        classes=classes,
        options=options,
        kits=kits,
        supply=supply,
        minutes_limit=minutes_limit,
        strip_minutes=ceil(fleet.policy.number("minutes_take_off")),
    )


def boot_classes(boots: Iterable[Boot], wishes: tuple[Wish, ...]) -> tuple[BootClass, ...]:
    """Boots with a known sole length that some wish asks for, merged where no rule tells them apart."""
    merged: dict[tuple[str, int, int, tuple[int, ...]], list[str]] = defaultdict(list)
    for boot in boots:
        asked = tuple(i for i, wish in enumerate(wishes) if wants_boot(wish, boot))
        if boot.bsl_um is not None and asked:
            pin = -1 if boot.pin_um is None else boot.pin_um
            merged[boot.sole_type, boot.bsl_um, pin, asked].append(boot.tag)
    return tuple(
        BootClass(
            sole_type=sole,
            bsl_um=bsl,
            pin_um=None if pin < 0 else pin,
            wishes=asked,
            tags=tuple(sorted(tags)),
        )
        for (sole, bsl, pin, asked), tags in sorted(merged.items())
    )


@dataclass(frozen=True, slots=True)
class _Options:
    fleet: Fleet
    wishes: tuple[Wish, ...]
    pairs: tuple[Pair, ...]
    classes: tuple[BootClass, ...]
    kits: Kits
    supply: Mapping[Kit, int]
    ways: WaysFor
    minutes_limit: int | None

    def all(self) -> tuple[Option, ...]:
        by_sole = patterns_by_sole(self.fleet)
        found: list[Option] = []
        for p, pair in enumerate(self.pairs):
            asked = {i for i, wish in enumerate(self.wishes) if wants_pair(wish, pair)}
            if not asked:
                continue
            for c, boot_class in enumerate(self.classes):
                if asked.isdisjoint(boot_class.wishes):
                    continue
                for pattern in by_sole.get(boot_class.sole_type, ()):
                    if pattern.takes_bsl(boot_class.bsl_um):
                        found.extend(self._of_pattern(p, pair, c, boot_class, pattern))
        return tuple(found)

    def _of_pattern(
        self, p: int, pair: Pair, c: int, boot_class: BootClass, pattern: Pattern
    ) -> Iterator[Option]:
        policy = self.fleet.policy
        own = self.kits.on_pair.get(pair.tag)
        usable = [
            kit
            for kit in self.supply
            if kit.pattern == pattern.name and brake_fits(pair, kit.brake_um, own=kit == own, policy=policy)
        ]
        made: dict[bool, tuple[Way, ...]] = {}
        for kit in usable:
            on = kit == own
            if on not in made:
                made[on] = self.worthwhile(
                    self.ways(
                        pair=pair,
                        pattern=pattern,
                        bsl_um=boot_class.bsl_um,
                        policy=policy,
                        mounted=on,
                        pin_um=boot_class.pin_um,
                    )
                )
            for way in made[on]:
                yield Option(
                    pair=p,
                    boot_class=c,
                    kit=kit,
                    own=on,
                    way=way,
                    clearance_um=counted_clearance(way, policy),
                )

    def worthwhile(self, ways: tuple[Way, ...]) -> tuple[Way, ...]:
        """Without ways that another beats in the objective without costing more minutes."""
        policy = self.fleet.policy

        def key(way: Way) -> tuple[int, ...]:
            clearance = counted_clearance(way, policy)
            return (way.drilled, way.minutes, abs(way.offset_um), -clearance, way.rung.rank)

        kept: list[Way] = []
        for way in sorted(ways, key=key):
            if not kept or (self.minutes_limit is not None and way.minutes < kept[-1].minutes):
                kept.append(way)
        return tuple(kept)


def patterns_by_sole(fleet: Fleet) -> dict[str, tuple[Pattern, ...]]:
    """The patterns that both makers declared for a sole type, by name."""
    names: dict[str, set[str]] = defaultdict(set)
    for fit in fleet.fits:
        if fit.pattern in fleet.patterns:
            names[fit.sole_type].add(fit.pattern)
    return {sole: tuple(fleet.patterns[n] for n in sorted(found)) for sole, found in sorted(names.items())}


def counted_clearance(way: Way, policy: Policy) -> int:
    """Clearance as plans are compared by: capped by policy; a way without a drill counts the cap."""
    cap = policy.um("clearance_counted_max_mm")
    return cap if way.clearance_um is None else min(way.clearance_um, cap)
