"""A small invented shop for the sheets: one plain remount, one pair whose marks differ, one unknown core."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime
from math import isqrt

from fleet.base.entries import Head
from fleet.facts.boots import Boot
from fleet.facts.holes import Hole, HoleState, Knowledge, Mount, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Binding, Construction, InspectedArea, Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.plan.objective import Totals
from planner.plan.values import (
    Plan,
    PlannedHole,
    PlannedPiece,
    PlannedSet,
    PlannedSki,
    Rung,
    Strip,
    UnplannedPair,
    Unserved,
    Way,
)

PRINTED_AT = datetime(2026, 11, 25, 16, 50, tzinfo=UTC)


def _piece(name: PieceName, follows: Follows, holes: list[tuple[float, float]], travel: int = 0) -> Piece:
    return Piece(
        name=name,
        follows=follows,
        holes=tuple(PatternHole(x_um=round(x * 1000), y_um=round(y * 1000)) for x, y in holes),
        travel_back_um=travel,
        travel_forward_um=travel,
    )


T4H4 = Pattern(
    name="T4/H4",
    binding_model="Teaching binding",
    binding_kind="alpine two-piece",
    pieces=(
        _piece(PieceName.TOE, Follows.TOE, [(-10, 18), (-10, -18), (-45, 20), (-45, -20)]),
        _piece(PieceName.HEEL, Follows.HEEL, [(15, 18), (15, -18), (55, 18), (55, -18)], 15_000),
    ),
)
FIVE = Pattern(
    name="T5/H4 wide",
    binding_model="Murgang Tour 5",
    binding_kind="touring frame",
    pieces=(
        _piece(PieceName.TOE, Follows.TOE, [(2, 0), (-18, 15.5), (-18, -15.5), (-52, 17), (-52, -17)]),
        _piece(PieceName.HEEL, Follows.HEEL, [(10, 16), (10, -16), (62, 16), (62, -16)], 20_000),
    ),
)


def old_mount(
    pattern: Pattern,
    prefix: str,
    bsl_mm: float,
    offset_mm: float,
    *,
    state: HoleState,
    shift_mm: float = 0.0,
    knowledge: Knowledge = Knowledge.DRILLED_HERE,
    first: int = 1,
) -> list[Hole]:
    """The holes a mount left, numbered from ``first``, x from a mark ``shift_mm`` too far forward."""
    holes = []
    for piece in pattern.pieces:
        start = piece.follows.reference_um(round(offset_mm * 1000), round(bsl_mm * 1000))
        for hole in piece.holes:
            holes.append(
                Hole(
                    hole_id=f"{prefix}{first + len(holes)}",
                    x_um=start + hole.x_um - round(shift_mm * 1000),
                    y_um=hole.y_um,
                    diameter_um=3600,
                    depth_um=9000,
                    state=state,
                    knowledge=knowledge,
                )
            )
    return holes


def make_pair(
    tag: str,
    holes: dict[Side, list[Hole]],
    *,
    construction: Construction | None = Construction.NO_METAL,
    tails: tuple[int | None, int | None] = (812_000, 812_000),
    inspected: bool = True,
    waist_mm: int = 93,
) -> Pair:
    """A pair with these holes; inspected along the zone unless said otherwise."""
    area = (InspectedArea(from_um=-250_000, to_um=200_000, how="bare", on="2026-10-12", by="Ilva"),)
    return Pair(
        tag=tag,
        model="Quern Ridge 93",
        kind=Kind.TOURING,
        length_mm=1780,
        waist_um=waist_mm * 1000,
        construction=construction,
        rack="C-12",
        place=Place.BACK,
        skis={
            side: Ski(
                side=side,
                mark_from_tail_um=tail,
                zone_back_um=260_000,
                zone_front_um=220_000,
                zone_half_width_um=waist_mm * 500 - 4000,
                inspected=area if inspected else (),
                holes=tuple(holes[side]),
            )
            for side, tail in zip(Side, tails, strict=True)
        },
        mounts=(Mount(pattern="T4/H4", bsl_um=305_000, offset_um=0, mounted_on="2024-11-02"),),
    )


def plan_ski(
    ski: Ski,
    pattern: Pattern,
    bsl_mm: float,
    offset_mm: float,
    *,
    tail_um: int | None,
    shift_mm: float = 0.0,
    plug: tuple[str, ...] = (),
    size: tuple[int | None, int | None] = (3600, 9000),
) -> PlannedSki:
    """What a planner would say: an old hole within 0.5 mm is reused, everything else is drilled."""
    wanted: list[tuple[str, int, int, int, Hole | None]] = []
    pieces = []
    for piece in pattern.pieces:
        start = piece.follows.reference_um(round(offset_mm * 1000), round(bsl_mm * 1000)) - round(
            shift_mm * 1000
        )
        pieces.append(PlannedPiece(piece=piece.name, reference_um=start, slide_um=0))
        for number, hole in enumerate(piece.holes, start=1):
            x, y = start + hole.x_um, hole.y_um
            old = next(
                (
                    h
                    for h in ski.holes
                    if (h.x_um - x) ** 2 + (h.y_um - y) ** 2 <= 500**2
                    and h.state.value in ("open", "screwed")
                ),
                None,
            )
            wanted.append((piece.name, number, x, y, old))
    used = {old.hole_id for *_, old in wanted if old is not None}
    there = [(h.x_um, h.y_um, h.hole_id) for h in ski.holes if h.hole_id not in used]
    there += [(x, y, old.hole_id if old else f"{piece} {number}") for piece, number, x, y, old in wanted]
    holes = []
    for piece, number, x, y, old in wanted:
        name = old.hole_id if old else f"{piece} {number}"
        distance, nearest = min((isqrt((x - ox) ** 2 + (y - oy) ** 2), n) for ox, oy, n in there if n != name)
        holes.append(
            PlannedHole(
                piece=piece,
                number=number,
                x_um=old.x_um if old else x,
                y_um=old.y_um if old else y,
                diameter_um=None if old else size[0],
                depth_um=None if old else size[1],
                do="reuse" if old else "drill",
                hole_id=old.hole_id if old else None,
                nearest_um=None if old else distance,
                nearest_id=None if old else nearest,
            )
        )
    return PlannedSki(
        from_tail_um=tail_um,
        pieces=tuple(pieces),
        holes=tuple(holes),
        plug=plug,
    )


def planned_set(
    pair: Pair, skis: dict[Side, PlannedSki], pattern: Pattern, bsl_mm: int, offset_mm: float, rung: Rung
) -> PlannedSet:
    drilled = sum(h.do == "drill" for ski in skis.values() for h in ski.holes)
    return PlannedSet(
        wish="W-03",
        boot="B-210",
        pair=pair.tag,
        brake_um=95_000,
        way=Way(
            rung=rung,
            pattern=pattern.name,
            bsl_um=bsl_mm * 1000,
            offset_um=round(offset_mm * 1000),
            skis=skis,
            drilled=drilled,
            plugged=sum(len(ski.plug) for ski in skis.values()),
            minutes=40,
            clearance_um=None,
        ),
    )


def fleet_of(pairs: list[Pair], bsl_mm: int = 317) -> Fleet:
    return Fleet(
        shop="Valserkopf Hire",
        zone="Europe/Vienna",
        head=Head(1284, "ab12cd34" * 8),
        policy=default_policy(),
        staff={},
        pairs={pair.tag: pair for pair in pairs},
        boots={
            "B-210": Boot(
                tag="B-210",
                model="Skarn Walk",
                mondopoint_mm=275,
                bsl_um=bsl_mm * 1000,
                bsl_measured="printed",
                sole_type="ISO 23223",
            )
        },
        bindings={
            f"{pair.tag}/{side}": Binding(
                binding_id=f"{pair.tag}/{side}",
                model="Teaching binding",
                pattern="T4/H4",
                brake_um=95_000,
                on_pair=pair.tag,
                on_ski=side,
            )
            for pair in pairs
            for side in Side
        },
        patterns={pattern.name: pattern for pattern in (T4H4, FIVE)},
        fits=(),
        wishes=(),
    )


Case = tuple[Fleet, PlannedSet]


def part_reused() -> Case:
    """WORKED example: an old 305 mount, a 317 sole at -6.0 mm: toe reused, heel drilled 12.0 mm clear."""
    holes = {side: old_mount(T4H4, f"K4-0417/{side}", 305, 0, state=HoleState.SCREWED) for side in Side}
    pair = make_pair("K4-0417", holes)
    skis = {s: plan_ski(pair.skis[s], T4H4, 317, -6, tail_um=806_000) for s in Side}
    skis = {
        s: plan_ski(
            pair.skis[s],
            T4H4,
            317,
            -6,
            tail_um=806_000,
            plug=tuple(
                h.hole_id for h in pair.skis[s].holes if h.hole_id not in {p.hole_id for p in skis[s].holes}
            ),
        )
        for s in Side
    }
    return fleet_of([pair]), planned_set(pair, skis, T4H4, 317, -6, Rung.PART_REUSED)


def crowded() -> Case:
    """Two old mounts, some plugged, one stripped, one insert; another binding goes on, all new."""
    holes: dict[Side, list[Hole]] = {}
    for side in Side:
        first = old_mount(
            T4H4, f"K5-0088/{side}", 345, -3.5, state=HoleState.PLUGGED, knowledge=Knowledge.TEMPLATE
        )
        second = old_mount(T4H4, f"K5-0088/{side}", 265, 2.5, state=HoleState.OPEN, first=9)
        second[0] = replace(second[0], state=HoleState.STRIPPED)
        second[6] = replace(second[6], state=HoleState.INSERT)
        holes[side] = first + second
    pair = make_pair("K5-0088", holes, inspected=False, waist_mm=108)
    skis = {
        s: plan_ski(
            pair.skis[s],
            FIVE,
            315,
            2.5,
            tail_um=814_500,
            plug=tuple(h.hole_id for h in pair.skis[s].holes if h.hole_id.startswith("c2")),
        )
        for s in Side
    }
    return fleet_of([pair], 315), planned_set(pair, skis, FIVE, 315, 2.5, Rung.ALL_NEW)


def lying_marks() -> Case:
    """WORKED example: ski B's mark sits 3 mm too far forward, its holes stand where A's do."""
    holes = {
        Side.A: old_mount(T4H4, "K4-0533/A", 305, 0, state=HoleState.OPEN),
        Side.B: old_mount(T4H4, "K4-0533/B", 305, 0, state=HoleState.OPEN, shift_mm=3),
    }
    pair = make_pair("K4-0533", holes, tails=(812_000, 815_000), construction=Construction.METAL)
    skis = {
        Side.A: plan_ski(pair.skis[Side.A], T4H4, 317, -6, tail_um=806_000, size=(4100, 9000)),
        Side.B: plan_ski(pair.skis[Side.B], T4H4, 317, -6, tail_um=806_000, shift_mm=3, size=(4100, 9000)),
    }
    return fleet_of([pair]), planned_set(pair, skis, T4H4, 317, -6, Rung.PART_REUSED)


def unknown_core() -> Case:
    """Nobody knows what is inside, nobody measured the marks: no size, and the marks come first."""
    pair = make_pair(
        "J-12",
        {side: [] for side in Side},
        construction=None,
        tails=(None, None),
        inspected=False,
        waist_mm=72,
    )
    skis = {s: plan_ski(pair.skis[s], T4H4, 285, 0, tail_um=None, size=(None, None)) for s in Side}
    return fleet_of([pair], 285), planned_set(pair, skis, T4H4, 285, 0, Rung.ALL_NEW)


CASES: dict[str, Callable[[], Case]] = {
    "part reused": part_reused,
    "crowded": crowded,
    "lying marks": lying_marks,
    "unknown core": unknown_core,
}


def whole_plan() -> tuple[Fleet, Plan]:
    """Twenty-three sets on copies of one pair, every third untouched, with names that try to be formulas."""
    fleet, planned = part_reused()
    pairs, sets = {}, []
    for n in range(23):
        pair = replace(fleet.pairs["K4-0417"], tag=f"K4-{400 + n:04d}", rack=f"C-{n // 6 + 1:02d}")
        if n == 5:
            pair = replace(pair, model="=1+1")
        pairs[pair.tag] = pair
        way = planned.way if n % 3 else replace(planned.way, rung=Rung.AS_IS, drilled=0, plugged=0, minutes=0)
        sets.append(replace(planned, pair=pair.tag, way=way, brake_um=None if n == 4 else 95_000))
    plan = Plan(
        made_at="2026-11-25T16:40:00Z",
        ledger_entry=1284,
        ledger_head="ab12cd34" * 8,
        ready_by="2026-12-04",
        minutes_limit=None,
        policy={},
        status="proved best",
        gap_percent=0.0,
        totals=Totals(
            wanted=25,
            served=23,
            served_by_priority={1: 10, 2: 13},
            drilled=sum(s.way.drilled for s in sets),
            minutes=sum(s.way.minutes for s in sets),
            offset_um=138_000,
            clearance_um=500,
        ),
        sets=tuple(sets),
        strip=(Strip(pair="K-090", pattern="T4/H4", brake_um=95_000),),
        unserved=(Unserved(wish="W-07", missing=2, reason="=cmd|' /C calc'!A0", remedy="@SUM(A1)"),),
        unplanned_pairs=(UnplannedPair(pair="-2+3", reason="not inspected"),),
    )
    return replace(fleet, pairs=pairs), plan
