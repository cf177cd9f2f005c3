"""Small invented fleets and hand-made ways for the planning tests."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fleet.base.entries import Head
from fleet.facts.boots import Boot
from fleet.facts.holes import Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Binding, Construction, Pair, Ski
from fleet.facts.patterns import Fit, Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.policy import Policy, default_policy
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.values import PlannedSki, Rung, Way
from planner.planning.assign.geometry import Costs, SweptWays, costs_one_by_one


def pattern(name: str) -> Pattern:
    """A pattern with one hole: geometry is hand-made here."""
    piece = Piece(name=PieceName.TOE, follows=Follows.TOE, holes=(PatternHole(x_um=-10_000, y_um=18_000),))
    return Pattern(name=name, binding_model=name, pieces=(piece,))


def pair(
    tag: str,
    *,
    length_mm: int = 1700,
    kind: Kind = Kind.TELEMARK,
    waist_mm: int | None = 90,
    batch: int | None = None,
) -> Pair:
    """A pair without holes; hand-made ways differ by tag, so no two are alike unless of one ``batch``."""
    zone_um = 1000 + (int(tag.split("-")[1]) if batch is None else batch)
    return Pair(
        tag=tag,
        model="Larch",
        kind=kind,
        length_mm=length_mm,
        waist_um=None if waist_mm is None else waist_mm * 1000,
        construction=Construction.NO_METAL,
        rack="",
        place=Place.FLAT,
        skis={side: Ski(side=side, zone_back_um=zone_um) for side in Side},
    )


def boot(tag: str, *, bsl_mm: int = 305, size_mm: int = 270, sole: str = "sole") -> Boot:
    return Boot(
        tag=tag,
        model="Fern",
        mondopoint_mm=size_mm,
        bsl_um=bsl_mm * 1000,
        bsl_measured="ruler",
        sole_type=sole,
    )


def kit(
    number: int, pattern_name: str, brake_mm: int | None, on_pair: str | None = None
) -> tuple[Binding, Binding]:
    """Two bindings of one sort, loose or on a pair."""
    a, b = (
        Binding(
            binding_id=f"N-{number:03}{side}",
            model=pattern_name,
            pattern=pattern_name,
            brake_um=None if brake_mm is None else brake_mm * 1000,
            on_pair=on_pair,
            on_ski=side if on_pair else None,
        )
        for side in Side
    )
    return a, b


def wish(
    name: str,
    *,
    quantity: int = 1,
    priority: int = 1,
    length: tuple[int, int] = (1000, 2000),
    size: tuple[int, int] = (200, 320),
    kind: Kind = Kind.TELEMARK,
) -> Wish:
    return Wish(
        wish=name,
        kind=kind,
        length_min_mm=length[0],
        length_max_mm=length[1],
        mondopoint_min_mm=size[0],
        mondopoint_max_mm=size[1],
        quantity=quantity,
        priority=priority,
    )


def fleet(
    *,
    pairs: list[Pair],
    boots: list[Boot],
    wishes: list[Wish],
    bindings: list[Binding],
    patterns: tuple[str, ...] = ("P",),
    fits: tuple[tuple[str, str], ...] = (("sole", "P"),),
    policy: Policy | None = None,
) -> Fleet:
    return Fleet(
        shop="Test",
        zone="UTC",
        head=Head(7, "f" * 64),
        policy=policy or default_policy(),
        staff={},
        pairs={p.tag: p for p in pairs},
        boots={b.tag: b for b in boots},
        bindings={b.binding_id: b for b in bindings},
        patterns={name: pattern(name) for name in patterns},
        fits=tuple(Fit(sole_type=s, pattern=p, binding_sheet="x", boot_sheet="y") for s, p in fits),
        wishes=tuple(wishes),
    )


def way(
    *,
    pattern_name: str = "P",
    bsl_mm: int = 305,
    rung: Rung = Rung.ALL_NEW,
    drilled: int = 0,
    minutes: int = 0,
    offset_um: int = 0,
    clearance_um: int | None = None,
) -> Way:
    return Way(
        rung=rung,
        pattern=pattern_name,
        bsl_um=bsl_mm * 1000,
        offset_um=offset_um,
        skis={side: PlannedSki(from_tail_um=None, pieces=(), holes=(), plug=()) for side in Side},
        drilled=drilled,
        plugged=0,
        minutes=minutes,
        clearance_um=clearance_um,
    )


class HandMadeWays(SweptWays):
    """Ways by (pair, pattern, sole length in mm, mounted); nothing where nothing is listed."""

    def __init__(self, table: dict[tuple[str, str, int, bool], tuple[Way, ...]] | None = None) -> None:
        super().__init__()
        self.table = table or {}

    def costs(self, *, plugs: bool = False, **question: Any) -> Costs:
        return costs_one_by_one(self, **question)

    def way(self, rung: Rung, **question: Any) -> Way | None:
        return next((way for way in self(**question) if way.rung is rung), None)

    def alike(self, rung: Rung, **question: Any) -> Iterator[Way]:
        return (way for way in self(**question) if way.rung is rung)

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
        return self.table.get((pair.tag, pattern.name, bsl_um // 1000, mounted), ())
