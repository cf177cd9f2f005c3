"""A small invented shop with real holes: the teaching pattern T4/H4, drilled before for other boots."""

from __future__ import annotations

import random
from dataclasses import replace

from fleet.facts.boots import Boot
from fleet.facts.holes import Hole, HoleState, Knowledge, Mount, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Binding, InspectedArea, Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from tests.assign.builders import boot, fleet, kit, pair, wish

TOE = ((-10, 18), (-10, -18), (-45, 20), (-45, -20))
HEEL = ((15, 18), (15, -18), (55, 18), (55, -18))


def teaching_pattern(name: str = "T4/H4", *, heel_travel_mm: int = 0, lift_mm: int = 0) -> Pattern:
    """T4/H4; ``lift_mm`` moves the toe holes apart sideways to make another pattern."""
    return Pattern(
        name=name,
        binding_model=f"Model {name}",
        pieces=(
            Piece(name=PieceName.TOE, follows=Follows.TOE, holes=_holes(TOE, lift_mm)),
            Piece(
                name=PieceName.HEEL,
                follows=Follows.HEEL,
                holes=_holes(HEEL, 0),
                travel_back_um=heel_travel_mm * 1000,
                travel_forward_um=heel_travel_mm * 1000,
            ),
        ),
    )


def _holes(listed: tuple[tuple[int, int], ...], lift_mm: int) -> tuple[PatternHole, ...]:
    return tuple(
        PatternHole(x_um=x * 1000, y_um=(y + (lift_mm if y > 0 else -lift_mm)) * 1000) for x, y in listed
    )


def old_holes(tag: str, side: Side, pattern: Pattern, bsl_mm: int, state: HoleState) -> tuple[Hole, ...]:
    """The holes that a mount with the boot centre on the mark left behind."""
    holes = []
    for piece in pattern.pieces:
        end = piece.follows.reference_um(0, bsl_mm * 1000)
        for number, at in enumerate(piece.holes, start=1):
            holes.append(
                Hole(
                    hole_id=f"{tag}-{side}-{bsl_mm}-{piece.name}{number}",
                    x_um=end + at.x_um,
                    y_um=at.y_um,
                    diameter_um=3600,
                    depth_um=9000,
                    state=state,
                    knowledge=Knowledge.MEASURED_HERE,
                )
            )
    return tuple(holes)


def real_pair(
    tag: str,
    *,
    pattern: Pattern,
    mounted_mm: int | None = None,
    binding_on: bool = False,
    length_mm: int = 1700,
    waist_mm: int = 90,
    inspected: bool = True,
) -> Pair:
    """A pair with a known zone; ``mounted_mm``: the sole length it was drilled for."""
    base = pair(tag, length_mm=length_mm, waist_mm=waist_mm)
    area = InspectedArea(from_um=-350_000, to_um=350_000, how="bare", on="2026-10-01")
    state = HoleState.SCREWED if binding_on else HoleState.OPEN
    skis = {
        side: Ski(
            side=side,
            mark_from_tail_um=780_000,
            zone_back_um=300_000,
            zone_front_um=300_000,
            zone_half_width_um=45_000,
            inspected=(area,) if inspected else (),
            holes=old_holes(tag, side, pattern, mounted_mm, state) if mounted_mm else (),
        )
        for side in Side
    }
    mounts = ()
    if mounted_mm:
        mounts = (
            Mount(
                pattern=pattern.name,
                bsl_um=mounted_mm * 1000,
                offset_um=0,
                mounted_on="2025-10-01",
                removed_on=None if binding_on else "2026-09-01",
            ),
        )
    place = Place.BACK if binding_on else Place.FLAT
    return replace(base, skis=skis, mounts=mounts, place=place)


def real_shop(seed: int, *, pairs: int = 12, boots: int = 12, heel_travel_mm: int = 5) -> Fleet:
    """A seeded fleet: some pairs flat, some mounted, two patterns, few loose bindings."""
    rng = random.Random(seed)
    t4 = teaching_pattern(heel_travel_mm=heel_travel_mm)
    wide = teaching_pattern("W4/H4", heel_travel_mm=heel_travel_mm, lift_mm=4)
    made: list[Pair] = []
    bindings: list[Binding] = []
    for i in range(pairs):
        tag = f"K-{i:03}"
        pattern = rng.choice([t4, wide])
        on = rng.random() < 0.5
        mounted = rng.choice([None, 295, 305, 315, 325]) if not on else rng.choice([295, 305, 315])
        made.append(
            real_pair(
                tag,
                pattern=pattern,
                mounted_mm=mounted,
                binding_on=on and mounted is not None,
                length_mm=rng.choice([1650, 1700, 1750]),
                waist_mm=rng.choice([85, 90]),
                inspected=rng.random() < 0.8,
            )
        )
        if on and mounted is not None:
            bindings += kit(i, pattern.name, rng.choice([90, 95, 100]), tag)
    for i in range(rng.randint(1, pairs // 2)):
        bindings += kit(500 + i, rng.choice([t4.name, wide.name]), rng.choice([90, 95, None]))
    owned: list[Boot] = [
        boot(
            f"B-{i:03}",
            bsl_mm=rng.choice([285, 295, 300, 305, 315, 320, 325]),
            size_mm=rng.choice([255, 265, 275, 285]),
            sole=rng.choice(["sole", "other"]),
        )
        for i in range(boots)
    ]
    wants: list[Wish] = [
        wish(
            f"W-{i}",
            quantity=rng.randint(1, 5),
            priority=rng.randint(1, 2),
            length=rng.choice([(1600, 1700), (1650, 1750), (1700, 1800)]),
            size=rng.choice([(250, 270), (260, 290)]),
            kind=Kind.TELEMARK,
        )
        for i in range(4)
    ]
    shop = fleet(
        pairs=made,
        boots=owned,
        wishes=wants,
        bindings=bindings,
        fits=(("sole", t4.name), ("sole", wide.name), ("other", t4.name)),
        patterns=(),
    )
    return replace(shop, patterns={p.name: p for p in (t4, wide)})
