"""Builders for placement tests: the teaching pattern T4/H4, the teaching policy, a pair from plain numbers.

T4/H4 is invented for teaching; it is not a real binding.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from types import SimpleNamespace

import pytest

from fleet.facts.holes import Hole, HoleState, Knowledge, Mount, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Construction, InspectedArea, Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.policy import Policy, default_policy
from fleet.facts.standing import Place

TOE_HOLES = ((-10, 18), (-10, -18), (-45, 20), (-45, -20))
HEEL_HOLES = ((15, 18), (15, -18), (55, 18), (55, -18))


def um(value_mm: float) -> int:
    return round(value_mm * 1000)


def t4h4(*, toe_travel: tuple[float, float] = (0, 0), heel_travel: tuple[float, float] = (0, 0)) -> Pattern:
    """Travel is (back, forward) in mm."""
    return Pattern(
        name="T4/H4",
        binding_model="teaching",
        pieces=(
            piece(PieceName.TOE, Follows.TOE, TOE_HOLES, travel=toe_travel),
            piece(PieceName.HEEL, Follows.HEEL, HEEL_HOLES, travel=heel_travel),
        ),
    )


def piece(
    name: PieceName,
    follows: Follows,
    holes_mm: Sequence[tuple[float, float]],
    *,
    travel: tuple[float, float] = (0, 0),
    diameter_mm: float | None = None,
) -> Piece:
    return Piece(
        name=name,
        follows=follows,
        holes=tuple(
            PatternHole(x_um=um(x), y_um=um(y), diameter_um=None if diameter_mm is None else um(diameter_mm))
            for x, y in holes_mm
        ),
        travel_back_um=um(travel[0]),
        travel_forward_um=um(travel[1]),
    )


def mount_holes_mm(pattern: Pattern, bsl_mm: float, offset_mm: float = 0) -> list[tuple[float, float]]:
    """Where a mount of the pattern put its holes, slide 0."""
    return [
        ((each.follows.reference_um(um(offset_mm), um(bsl_mm)) + hole.x_um) / 1000, hole.y_um / 1000)
        for each in pattern.pieces
        for hole in each.holes
    ]


def holes(
    places_mm: Sequence[tuple[float, float]],
    *,
    state: HoleState = HoleState.OPEN,
    knowledge: Knowledge = Knowledge.MEASURED_HERE,
    diameter_mm: float | None = 3.6,
    name: str = "h",
) -> tuple[Hole, ...]:
    return tuple(
        Hole(
            hole_id=f"{name}{number}",
            x_um=um(x),
            y_um=um(y),
            diameter_um=None if diameter_mm is None else um(diameter_mm),
            depth_um=um(9),
            state=state,
            knowledge=knowledge,
        )
        for number, (x, y) in enumerate(places_mm, start=1)
    )


def ski(
    side: Side,
    old: Sequence[Hole] = (),
    *,
    mark_mm: float | None = 800,
    zone_mm: tuple[float, float, float] | None = (400, 400, 45),
    inspected_mm: Sequence[tuple[float, float]] = ((-500, 500),),
) -> Ski:
    back, front, half = zone_mm if zone_mm is not None else (None, None, None)
    return Ski(
        side=side,
        mark_from_tail_um=None if mark_mm is None else um(mark_mm),
        zone_back_um=None if back is None else um(back),
        zone_front_um=None if front is None else um(front),
        zone_half_width_um=None if half is None else um(half),
        inspected=tuple(
            InspectedArea(from_um=um(a), to_um=um(b), how="bare", on="2026-11-02") for a, b in inspected_mm
        ),
        holes=tuple(old),
    )


def pair(
    a: Ski,
    b: Ski,
    *,
    construction: Construction | None = Construction.NO_METAL,
    mounts: Sequence[Mount] = (),
    earlier_mounts: int = 0,
) -> Pair:
    return Pair(
        tag="P-1",
        model="teaching ski",
        kind=Kind.ALPINE,
        length_mm=1700,
        waist_um=um(90),
        construction=construction,
        rack="",
        place=Place.FLAT,
        skis={Side.A: a, Side.B: b},
        mounts=tuple(mounts),
        earlier_mounts=earlier_mounts,
    )


def twin_pair(places_mm: Sequence[tuple[float, float]], **more: object) -> Pair:
    """Both skis alike."""
    return pair(
        ski(Side.A, holes(places_mm, name="a")),
        ski(Side.B, holes(places_mm, name="b")),
        **more,  # type: ignore[arg-type]
    )


def p10(**values: str) -> Policy:
    """The teaching policy: the raw rule, spacing 10 mm, no bench error, no allowance, no edge."""
    raw = {name: "0" for name in default_policy().settings if name.startswith("allowance_")}
    return default_policy().with_values(**{**raw, "bench_error_mm": "0", "edge_mm": "0", **values})


@pytest.fixture
def make() -> SimpleNamespace:
    """All the builders under one name."""
    builders: dict[str, Callable[..., object]] = {
        f.__name__: f for f in (Pattern, um, t4h4, piece, mount_holes_mm, holes, ski, pair, twin_pair, p10)
    }
    return SimpleNamespace(**builders)
