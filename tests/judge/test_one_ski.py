"""One ski, rule by rule: what is still allowed at the limit, and what the judge says one step beyond it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.pairs import Construction, InspectedArea
from fleet.facts.patterns import Follows, Piece
from fleet.tables.snapshot import Fleet
from planner.plan.values import Jig, Plan
from planner.planning.judge.ski_check import meets_um
from tests.judge.two_skis import (
    PATTERN,
    A,
    B,
    Spoil,
    also,
    hole,
    in_hole,
    in_piece,
    in_plan,
    in_ski,
    in_way,
    ledger_boot,
    ledger_hole,
    ledger_pair,
    ledger_pattern,
    ledger_ski,
    plan,
    policy,
    said,
    shop,
    with_holes,
)

NOTHING: Spoil = also()
Row = tuple[str, Spoil, Spoil, list[str]]


def set_again(tag: str) -> Spoil:
    """The pair's mount was set for another sole and back again."""

    def spoil(fleet: Fleet, plan: Plan) -> tuple[Fleet, Plan]:
        mounts = tuple(replace(mount, set_again=True) for mount in fleet.pairs[tag].mounts)
        return ledger_pair(tag, mounts=mounts)(fleet, plan)

    return spoil


def zone(tag: str, side: Side, **changes: int | None) -> Spoil:
    return ledger_ski(tag, side, lambda s: replace(s, **changes))


def looked_at(tag: str, side: Side, from_um: int, to_um: int) -> Spoil:
    """Two stretches seen bare, the first far from every hole."""
    areas = (
        InspectedArea(from_um=-400_000, to_um=-400_000, how="bare", on="2026-10-01"),
        InspectedArea(from_um=from_um, to_um=to_um, how="bare", on="2026-10-02"),
    )
    return ledger_ski(tag, side, lambda s: replace(s, inspected=areas))


def spread(toe_um: int, heel_um: int) -> Spoil:
    """Ski A's toe piece so much farther ahead, its heel piece so much farther back."""
    return also(
        in_piece(0, A, "toe", reference_um=163_500 + toe_um),
        in_piece(0, A, "heel", reference_um=-152_500 - heel_um),
    )


def follows(what: Follows) -> Spoil:
    """The toe piece of the pattern follows something else; only the set on K-1 is looked at."""
    return also(
        in_plan(sets=plan().sets[:1]),
        ledger_pattern(pieces=(replace(PATTERN.pieces[0], follows=what), PATTERN.pieces[1])),
    )


def at_the_mark() -> Spoil:
    """A toe piece that stays at the mark, and stands there on both skis."""
    return also(
        follows(Follows.MARK),
        in_piece(0, A, "toe", reference_um=0),
        in_piece(0, B, "toe", reference_um=3000),
    )


def jig_for_305() -> Spoil:
    """The set on K-3 alone, ski B drilled as ski A is, by a jig on the mark."""
    alone = plan().sets[2]
    return also(
        in_plan(sets=(alone,)),
        in_way(0, jig=Jig(sole_um=305_000, centre_um=0)),
        in_ski(0, B, holes=alone.way.skis[A].holes),
    )


def in_jig_b(x_um: int, *, y_um: int | None = None) -> Spoil:
    """Ski B's first hole somewhere else; the jig drills it at 142.5 mm, and as far out as on ski A."""
    listed = PATTERN.pieces[0].holes[0].y_um
    return also(jig_for_305(), in_hole(0, B, "toe 1", x_um=x_um, y_um=listed + (y_um or 0)))


def toe_at_centre() -> Piece:
    return replace(PATTERN.pieces[0], follows=Follows.CENTRE)


def pins(toe_a_um: int, tail_a_um: int = 0, tail_b_um: int = 0) -> Spoil:
    """Pin line 60 mm behind the toe end, on +5.0 mm: the boot centre at 5 + 60 - 158.5 = -93.5 mm."""
    return also(
        follows(Follows.MARK),
        ledger_boot("B-1", pin_um=60_000),
        in_piece(0, A, "toe", reference_um=toe_a_um),
        in_piece(0, B, "toe", reference_um=8000),
        in_piece(0, A, "heel", reference_um=-251_000),
        in_piece(0, B, "heel", reference_um=-248_000),
        in_ski(0, A, from_tail_um=tail_a_um),
        in_ski(0, B, from_tail_um=tail_b_um),
    )


def core(construction: Construction | None) -> Spoil:
    return ledger_pair("K-1", construction=construction)


def sized(diameter_um: int | None, depth_um: int | None) -> Spoil:
    """What ski A's and ski B's first toe hole are drilled with; the others are not looked at here."""
    both = [in_ski(0, s, holes=plan().sets[0].way.skis[s].holes[:1]) for s in (A, B)]
    return also(*both, *(in_hole(0, s, "toe 1", diameter_um=diameter_um, depth_um=depth_um) for s in (A, B)))


def old_heel_1(side: Side, x_um: int, y_um: int) -> Spoil:
    """The old hole of the first heel screw lies here, and the plan says so."""
    return also(
        ledger_hole("K-1", side, f"{side}h1", x_um=x_um, y_um=y_um),
        in_hole(0, side, "heel 1", x_um=x_um, y_um=y_um),
    )


def listed(diameter_um: int | None) -> Spoil:
    """The pattern names a width for the first hole of its heel, and no other is reused."""
    heel = PATTERN.pieces[1]
    named = (replace(heel.holes[0], diameter_um=diameter_um), *heel.holes[1:])
    one = [in_ski(0, s, holes=plan().sets[0].way.skis[s].holes[4:5]) for s in (A, B)]
    return also(ledger_pattern(pieces=(PATTERN.pieces[0], replace(heel, holes=named))), *one)


def insert(diameter_um: int, *, listed_um: int | None) -> Spoil:
    return also(
        listed(listed_um),
        ledger_hole("K-1", B, "Bh1", state=HoleState.INSERT, diameter_um=diameter_um),
        in_ski(0, A, holes=()),
    )


def second_insert(beside_um: int) -> Hole:
    """An insert so far across from the old hole of ski B into which the first screw goes."""
    first = next(h for h in shop().pairs["K-1"].skis[B].holes if h.hole_id == "Bh1")
    at = first.x_um, first.y_um + beside_um
    return hole("p", *at, state=HoleState.INSERT, diameter_um=6000)


def off_grid(*, toe_1_at: int, old_at: int, toe_1_y: int = 18_000, old_y: int = 18_000) -> Spoil:
    """Ski A's first toe hole off the half millimetres, and one old hole of the ski near it."""
    only = hole("old", old_at, old_y, state=HoleState.PLUGGED)
    return also(
        ledger_ski("K-1", A, lambda s: replace(s, holes=(only,))),
        in_hole(0, A, "toe 1", x_um=toe_1_at, y_um=toe_1_y),
        in_hole(0, A, "toe 2", do="reuse"),
        in_hole(0, A, "toe 3", do="reuse"),
        in_hole(0, A, "toe 4", do="reuse"),
    )


def new_toe_1(x_um: int, y_um: int, *, side: Side = A) -> Spoil:
    return in_hole(2, side, "toe 1", x_um=x_um, y_um=y_um)


def new_heel_1(x_um: int, y_um: int) -> Spoil:
    return in_hole(2, A, "heel 1", x_um=x_um, y_um=y_um)


def one_new_hole(side: Side) -> Spoil:
    """Nothing but the first toe hole is drilled into this ski of K-3."""
    return in_ski(2, side, holes=plan().sets[2].way.skis[side].holes[:1])


def only_back() -> Spoil:
    """The heel travels 15 mm back and not forward; 2 mm are left at each end. The set on K-1 alone."""
    heel = replace(PATTERN.pieces[1], travel_forward_um=0)
    return also(
        in_plan(sets=plan().sets[:1]),
        ledger_pattern(pieces=(PATTERN.pieces[0], heel)),
        policy(travel_reserve_mm="2"),
    )


ROWS: dict[str, Row] = {
    "a piece left out": (
        "pieces",
        NOTHING,
        in_ski(0, B, pieces=plan().sets[0].way.skis[B].pieces[:1]),
        ["W-1 B-1 on K-1 ski B: pieces ['toe'] are not those of pattern T4/H4"],
    ),
    "slid back": (
        "travel",
        in_piece(0, A, "heel", slide_um=-15_000),
        in_piece(0, A, "heel", slide_um=-15_001),
        ["W-1 B-1 on K-1 ski A: the heel piece slides -15.001 mm; it travels 15 back and 12 forward"],
    ),
    "slid forward": (
        "travel",
        in_piece(0, B, "heel", slide_um=12_000),
        in_piece(0, B, "heel", slide_um=12_001),
        ["W-1 B-1 on K-1 ski B: the heel piece slides 12.001 mm; it travels 15 back and 12 forward"],
    ),
    "slid back into the reserve of travel": (
        "travel",
        also(policy(travel_reserve_mm="2"), in_piece(0, A, "heel", slide_um=-13_000)),
        also(policy(travel_reserve_mm="2"), in_piece(0, A, "heel", slide_um=-13_001)),
        [
            "W-1 B-1 on K-1 ski A: the heel piece slides -13.001 mm; it travels 15 back and 12 forward,"
            " and the shop's rule leaves 2 mm at each end"
        ],
    ),
    "slid forward into the reserve of travel": (
        "travel",
        also(policy(travel_reserve_mm="2"), in_piece(0, B, "heel", slide_um=10_000)),
        also(policy(travel_reserve_mm="2"), in_piece(0, B, "heel", slide_um=10_001)),
        [
            "W-1 B-1 on K-1 ski B: the heel piece slides 10.001 mm; it travels 15 back and 12 forward,"
            " and the shop's rule leaves 2 mm at each end"
        ],
    ),
    "a piece without travel has no reserve": (
        "travel",
        also(policy(travel_reserve_mm="2"), in_piece(0, A, "toe", slide_um=0)),
        also(policy(travel_reserve_mm="2"), in_piece(0, A, "toe", slide_um=1)),
        ["W-1 B-1 on K-1 ski A: the toe piece slides 0.001 mm; it travels 0 back and 0 forward"],
    ),
    "a piece that travels back alone keeps the reserve at both ends": (
        "travel",
        also(only_back(), in_piece(0, A, "heel", slide_um=-2_000), in_piece(0, B, "heel", slide_um=-13_000)),
        also(only_back(), in_piece(0, A, "heel", slide_um=-1_999), in_piece(0, B, "heel", slide_um=-13_001)),
        [
            f"W-1 B-1 on K-1 ski {side}: the heel piece slides {slid} mm; it travels 15 back and 0 forward,"
            " and the shop's rule leaves 2 mm at each end"
            for side, slid in ((A, "-1.999"), (B, "-13.001"))
        ],
    ),
    "off the boot, ahead": (
        "stands",
        in_piece(0, A, "toe", reference_um=164_000),
        in_piece(0, A, "toe", reference_um=164_001),
        ["W-1 B-1 on K-1 ski A: the toe piece misses the boot by 0.501 mm"],
    ),
    "off the boot, behind, on the ski with the other mark": (
        "stands",
        in_piece(0, B, "toe", reference_um=166_000),
        in_piece(0, B, "toe", reference_um=165_999),
        ["W-1 B-1 on K-1 ski B: the toe piece misses the boot by 0.501 mm"],
    ),
    "off the boot by its slide": (
        "stands",
        in_piece(0, B, "heel", slide_um=-1500),
        in_piece(0, B, "heel", slide_um=-1501),
        ["W-1 B-1 on K-1 ski B: the heel piece misses the boot by 0.501 mm"],
    ),
    "both pieces a little out": (
        "sole",
        spread(250, 250),
        spread(250, 251),
        ["W-1 B-1 on K-1 ski A: the pieces would hold a sole 0.501 mm longer or shorter than this one"],
    ),
    "both pieces a little out, the other way": (
        "sole",
        spread(-250, -250),
        spread(-251, -250),
        ["W-1 B-1 on K-1 ski A: the pieces would hold a sole 0.501 mm longer or shorter than this one"],
    ),
    "a piece at the mark holds no sole": (
        "sole",
        also(at_the_mark(), spread(500, 500)),
        spread(500, 500),
        ["W-1 B-1 on K-1 ski A: the pieces would hold a sole 1 mm longer or shorter than this one"],
    ),
    "off the mark": (
        "stands",
        also(at_the_mark(), in_piece(0, B, "toe", reference_um=3500)),
        also(at_the_mark(), in_piece(0, B, "toe", reference_um=3501)),
        ["W-1 B-1 on K-1 ski B: the toe piece misses the boot by 0.501 mm"],
    ),
    "a plate off the boot centre": (
        "stands",
        also(
            follows(Follows.CENTRE),
            in_piece(0, A, "toe", reference_um=5500),
            in_piece(0, B, "toe", reference_um=8500),
        ),
        also(
            follows(Follows.CENTRE),
            in_piece(0, A, "toe", reference_um=5501),
            in_piece(0, B, "toe", reference_um=8500),
        ),
        ["W-1 B-1 on K-1 ski A: the toe piece misses the boot by 0.501 mm"],
    ),
    "the pin line off its place": (
        "stands",
        pins(5000),
        pins(5501),
        ["W-1 B-1 on K-1 ski A: the toe piece misses the boot by 0.501 mm"],
    ),
    "pins drilled where the offset is not": (
        "from tail",
        pins(5000, tail_a_um=686_500, tail_b_um=686_500),
        pins(5000, tail_a_um=686_501, tail_b_um=686_500),
        ["W-1 B-1 on K-1 ski A: boot centre from tail is 686.5 mm, not 686.501 mm"],
    ),
    "boot centre from the tail": (
        "from tail",
        NOTHING,
        in_ski(0, B, from_tail_um=785_001),
        ["W-1 B-1 on K-1 ski B: boot centre from tail is 785 mm, not 785.001 mm"],
    ),
    "boot centre from a tail whose mark nobody measured": (
        "from tail",
        NOTHING,
        in_ski(3, B, from_tail_um=748_500),
        ["W-2 B-4 on K-5 ski B: boot centre from tail is unknown, not 748.5 mm"],
    ),
    "boot centre from the tail not said": (
        "from tail",
        NOTHING,
        in_ski(3, A, from_tail_um=None),
        ["W-2 B-4 on K-5 ski A: boot centre from tail is 748.5 mm, not unknown"],
    ),
    "the reference that the head technician entered": (
        "from tail",
        also(
            ledger_pair("K-1", reference_from_tail_um=781_000),
            in_ski(0, A, from_tail_um=786_000),
            in_ski(0, B, from_tail_um=786_000),
        ),
        ledger_pair("K-1", reference_from_tail_um=781_000),
        [
            "W-1 B-1 on K-1 ski A: boot centre from tail is 786 mm, not 785 mm",
            "W-1 B-1 on K-1 ski B: boot centre from tail is 786 mm, not 785 mm",
        ],
    ),
    "drilled though nothing is touched": (
        "untouched",
        NOTHING,
        in_hole(1, B, "heel 4", do="drill"),
        ["W-1 B-2 on K-2 ski B: a way that leaves the screws alone drills or plugs a hole"],
    ),
    "plugged though nothing is touched": (
        "untouched",
        NOTHING,
        in_ski(3, B, plug=("x",)),
        ["W-2 B-4 on K-5 ski B: a way that leaves the screws alone drills or plugs a hole"],
    ),
    "a screw without a hole": (
        "holes",
        NOTHING,
        in_ski(0, B, holes=plan().sets[0].way.skis[B].holes[1:]),
        ["W-1 B-1 on K-1 ski B: the holes are not those of pattern T4/H4, each once"],
    ),
    "a hole numbered 0": (
        "holes",
        NOTHING,
        in_hole(0, B, "toe 1", number=0),
        [
            "W-1 B-1 on K-1 ski B: the holes are not those of pattern T4/H4, each once",
            "W-1 B-1 on K-1 ski B: toe hole 0 at (156.5, 18) mm is neither reuse nor drill of a listed hole",
        ],
    ),
    "a hole numbered beyond the piece": (
        "holes",
        NOTHING,
        in_hole(0, B, "toe 4", number=5),
        [
            "W-1 B-1 on K-1 ski B: the holes are not those of pattern T4/H4, each once",
            "W-1 B-1 on K-1 ski B: toe hole 5 at (121.5, -20) mm is neither reuse nor drill of a listed hole",
        ],
    ),
    "a hole of a piece that the pattern has not": (
        "holes",
        NOTHING,
        in_hole(0, B, "toe 1", piece="plate"),
        [
            "W-1 B-1 on K-1 ski B: the holes are not those of pattern T4/H4, each once",
            "W-1 B-1 on K-1 ski B: plate hole 1 at (156.5, 18) mm is neither reuse nor drill of a listed hole",
        ],
    ),
    "a hole of a piece that is not placed": (
        "holes",
        NOTHING,
        in_ski(0, A, pieces=plan().sets[0].way.skis[A].pieces[1:]),
        [
            "W-1 B-1 on K-1 ski A: toe hole 1 at (153.5, 18) mm is neither reuse nor drill of a listed hole",
            "W-1 B-1 on K-1 ski A: toe hole 2 at (153.5, -18) mm is neither reuse nor drill of a listed hole",
            "W-1 B-1 on K-1 ski A: toe hole 3 at (118.5, 20) mm is neither reuse nor drill of a listed hole",
            "W-1 B-1 on K-1 ski A: toe hole 4 at (118.5, -20) mm is neither reuse nor drill of a listed hole",
        ],
    ),
    "neither drilled nor reused": (
        "holes",
        NOTHING,
        in_hole(0, A, "toe 1", do="glue"),
        ["W-1 B-1 on K-1 ski A: toe hole 1 at (153.5, 18) mm is neither reuse nor drill of a listed hole"],
    ),
    "drilled elsewhere, after a screw in an old hole": (
        "holes",
        in_hole(0, A, "toe 1", do="reuse"),
        also(in_hole(0, A, "toe 1", do="reuse"), in_hole(0, A, "toe 4", x_um=118_501)),
        ["W-1 B-1 on K-1 ski A: toe hole 4 at (118.501, -20) mm is not where the toe piece puts it"],
    ),
    "drilled a micrometre along": (
        "holes",
        NOTHING,
        in_hole(0, B, "toe 1", x_um=156_501),
        ["W-1 B-1 on K-1 ski B: toe hole 1 at (156.501, 18) mm is not where the toe piece puts it"],
    ),
    "drilled a micrometre across": (
        "holes",
        NOTHING,
        in_hole(0, A, "toe 4", y_um=-20_001),
        ["W-1 B-1 on K-1 ski A: toe hole 4 at (118.5, -20.001) mm is not where the toe piece puts it"],
    ),
    "drilled where ski A's mark would put it": (
        "holes",
        NOTHING,
        in_hole(0, B, "toe 2", x_um=153_500),
        ["W-1 B-1 on K-1 ski B: toe hole 2 at (153.5, -18) mm is not where the toe piece puts it"],
    ),
    "a drill too wide": (
        "drill size",
        NOTHING,
        in_hole(0, B, "toe 1", diameter_um=3601),
        [
            "W-1 B-1 on K-1 ski B: toe hole 1 at (156.5, 18) mm: drill 3.601 mm x 9 mm; this ski takes 3.6 mm x 9 mm"
        ],
    ),
    "a hole too deep": (
        "drill size",
        NOTHING,
        in_hole(0, A, "toe 2", depth_um=9001),
        [
            "W-1 B-1 on K-1 ski A: toe hole 2 at (153.5, -18) mm: drill 3.6 mm x 9.001 mm; this ski takes 3.6 mm x 9 mm"
        ],
    ),
    "no size where the core is known": (
        "drill size",
        NOTHING,
        in_hole(0, A, "toe 2", diameter_um=None, depth_um=None),
        [
            "W-1 B-1 on K-1 ski A: toe hole 2 at (153.5, -18) mm: drill unknown x unknown; this ski takes 3.6 mm x 9 mm"
        ],
    ),
    "a size where the core is not known": (
        "drill size",
        also(core(None), sized(None, None)),
        also(core(None), sized(None, 9000)),
        [
            "W-1 B-1 on K-1 ski A: toe hole 1 at (153.5, 18) mm: drill unknown x 9 mm; this ski takes unknown x unknown",
            "W-1 B-1 on K-1 ski B: toe hole 1 at (156.5, 18) mm: drill unknown x 9 mm; this ski takes unknown x unknown",
        ],
    ),
    "the drill of a core with metal": (
        "drill size",
        also(core(Construction.METAL), sized(4100, 9000)),
        also(core(Construction.METAL), sized(3600, 9000)),
        [
            "W-1 B-1 on K-1 ski A: toe hole 1 at (153.5, 18) mm: drill 3.6 mm x 9 mm; this ski takes 4.1 mm x 9 mm",
            "W-1 B-1 on K-1 ski B: toe hole 1 at (156.5, 18) mm: drill 3.6 mm x 9 mm; this ski takes 4.1 mm x 9 mm",
        ],
    ),
    "the depth of a thin core": (
        "drill size",
        also(core(Construction.THIN_CORE), sized(3600, 7000)),
        also(core(Construction.THIN_CORE), sized(3600, 9000)),
        [
            "W-1 B-1 on K-1 ski A: toe hole 1 at (153.5, 18) mm: drill 3.6 mm x 9 mm; this ski takes 3.6 mm x 7 mm",
            "W-1 B-1 on K-1 ski B: toe hole 1 at (156.5, 18) mm: drill 3.6 mm x 9 mm; this ski takes 3.6 mm x 7 mm",
        ],
    ),
    "ski A's hole claimed on ski B": (
        "reuse",
        NOTHING,
        in_hole(0, B, "heel 1", hole_id="Ah1"),
        ["W-1 B-1 on K-1 ski B: hole Ah1 is not on this ski"],
    ),
    "no hole claimed": (
        "reuse",
        NOTHING,
        in_hole(0, B, "heel 1", hole_id=None),
        ["W-1 B-1 on K-1 ski B: hole None is not on this ski"],
    ),
    "a screw that the pattern has not": (
        "reuse",
        NOTHING,
        in_hole(0, B, "heel 4", number=5),
        ["W-1 B-1 on K-1 ski B: heel hole 5 at (-94.5, -18) mm is no hole of the pattern"],
    ),
    "an old hole deeper than the ledger has it": (
        "old hole",
        NOTHING,
        in_hole(0, B, "heel 1", depth_um=9001),
        ["W-1 B-1 on K-1 ski B: hole Bh1 is recorded with 3.6 mm x 9 mm, the plan says 3.6 mm x 9.001 mm"],
    ),
    "an old hole wider than the ledger has it": (
        "old hole",
        NOTHING,
        in_hole(0, A, "heel 2", diameter_um=3601),
        ["W-1 B-1 on K-1 ski A: hole Ah2 is recorded with 3.6 mm x 9 mm, the plan says 3.601 mm x 9 mm"],
    ),
    "a depth said where the ledger does not know it": (
        "old hole",
        also(
            ledger_hole("K-1", A, "Ah1", depth_um=None),
            in_hole(0, A, "heel 1", depth_um=None),
        ),
        ledger_hole("K-1", A, "Ah1", depth_um=None),
        ["W-1 B-1 on K-1 ski A: hole Ah1 is recorded with 3.6 mm x unknown, the plan says 3.6 mm x 9 mm"],
    ),
    "an old hole of a binding that stays on": (
        "old hole",
        NOTHING,
        in_hole(1, B, "toe 1", depth_um=9001),
        ["W-1 B-2 on K-2 ski B: hole t1 is recorded with 3.6 mm x 9 mm, the plan says 3.6 mm x 9.001 mm"],
    ),
    "an old hole of a binding that stays on, elsewhere": (
        "reuse",
        NOTHING,
        in_hole(1, B, "toe 1", y_um=18_001),
        ["W-1 B-2 on K-2 ski B: hole t1 is recorded elsewhere than planned"],
    ),
    "a hole of a binding that stays on that is not there": (
        "reuse",
        NOTHING,
        in_hole(1, B, "toe 1", hole_id="t9"),
        ["W-1 B-2 on K-2 ski B: hole t9 is not on this ski"],
    ),
    "two old holes taken wrongly": (
        "reuse",
        NOTHING,
        also(in_hole(0, B, "heel 1", hole_id="x"), in_hole(0, B, "heel 2", y_um=-18_001)),
        [
            "W-1 B-1 on K-1 ski B: hole x is not on this ski",
            "W-1 B-1 on K-1 ski B: hole Bh2 is recorded elsewhere than planned",
        ],
    ),
    "an old hole taken along the ski": (
        "reuse",
        NOTHING,
        in_hole(0, B, "heel 1", x_um=-134_501),
        ["W-1 B-1 on K-1 ski B: hole Bh1 is recorded elsewhere than planned"],
    ),
    "an old hole taken across the ski": (
        "reuse",
        NOTHING,
        in_hole(0, A, "heel 1", y_um=18_001),
        ["W-1 B-1 on K-1 ski A: hole Ah1 is recorded elsewhere than planned"],
    ),
    "as far from the screw as the tolerance": (
        "reuse",
        old_heel_1(A, -137_500 - 500, 18_000),
        old_heel_1(A, -137_500 - 501, 18_000),
        [
            "W-1 B-1 on K-1 ski A: hole Ah1 is 0.501 mm from where the screw is meant; the shop's rule asks for 0.5 mm"
        ],
    ),
    "a hair beyond the tolerance is told as beyond it": (
        "reuse",
        old_heel_1(A, -137_500 - 500, 18_000),
        old_heel_1(A, -137_500 - 500, 18_001),
        [
            "W-1 B-1 on K-1 ski A: hole Ah1 is 0.501 mm from where the screw is meant; the shop's rule asks for 0.5 mm"
        ],
    ),
    "as far from the screw as the tolerance, aslant": (
        "reuse",
        old_heel_1(B, -134_500 + 300, 18_400),
        old_heel_1(B, -134_500 + 301, 18_400),
        [
            "W-1 B-1 on K-1 ski B: hole Bh1 is 0.501 mm from where the screw is meant; the shop's rule asks for 0.5 mm"
        ],
    ),
    "a hole known well enough": (
        "reuse",
        ledger_hole("K-1", B, "Bh1", knowledge=Knowledge.BINDING_DROPS_IN),
        ledger_hole("K-1", B, "Bh1", knowledge=Knowledge.BATCH_ASSUMED),
        [
            "W-1 B-1 on K-1 ski B: hole Bh1 is open, batch assumed, diameter 3.6 mm: no screw may be planned into it"
        ],
    ),
    "a hole of a template": (
        "reuse",
        ledger_hole("K-1", A, "Ah1", knowledge=Knowledge.DRILLED_HERE),
        ledger_hole("K-1", A, "Ah1", knowledge=Knowledge.TEMPLATE),
        [
            "W-1 B-1 on K-1 ski A: hole Ah1 is open, template, diameter 3.6 mm: no screw may be planned into it"
        ],
    ),
    "a plugged hole": (
        "reuse",
        ledger_hole("K-1", B, "Bh2", state=HoleState.SCREWED),
        ledger_hole("K-1", B, "Bh2", state=HoleState.PLUGGED),
        [
            "W-1 B-1 on K-1 ski B: hole Bh2 is plugged, measured bare, diameter 3.6 mm: no screw may be planned into it"
        ],
    ),
    "a stripped hole": (
        "reuse",
        ledger_hole("K-1", A, "Ah2", state=HoleState.SCREWED),
        ledger_hole("K-1", A, "Ah2", state=HoleState.STRIPPED),
        [
            "W-1 B-1 on K-1 ski A: hole Ah2 is stripped, measured here, diameter 3.6 mm: no screw may be planned into it"
        ],
    ),
    "a hole a micrometre wider": (
        "reuse",
        NOTHING,
        ledger_hole("K-1", B, "Bh3", diameter_um=3601),
        [
            "W-1 B-1 on K-1 ski B: hole Bh3 is open, measured bare, diameter 3.601 mm: no screw may be planned into it"
        ],
    ),
    "a hole whose width nobody measured": (
        "reuse",
        NOTHING,
        ledger_hole("K-1", B, "Bh3", diameter_um=None),
        [
            "W-1 B-1 on K-1 ski B: hole Bh3 is open, measured bare, diameter unknown: no screw may be planned into it"
        ],
    ),
    "an insert for this screw": (
        "reuse",
        insert(6000, listed_um=6000),
        insert(6000, listed_um=6001),
        [
            "W-1 B-1 on K-1 ski B: hole Bh1 is insert, measured bare, diameter 6 mm: no screw may be planned into it"
        ],
    ),
    "an insert as wide as a drill": (
        "reuse",
        insert(4200, listed_um=4200),
        insert(4100, listed_um=4100),
        [
            "W-1 B-1 on K-1 ski B: hole Bh1 is insert, measured bare, diameter 4.1 mm: no screw may be planned into it"
        ],
    ),
    "an insert where the pattern names no screw": (
        "reuse",
        NOTHING,
        insert(6000, listed_um=None),
        [
            "W-1 B-1 on K-1 ski B: hole Bh1 is insert, measured bare, diameter 6 mm: no screw may be planned into it"
        ],
    ),
    "a core not known: the width that the pattern names": (
        "reuse",
        also(core(None), listed(3600)),
        also(core(None), listed(3601)),
        [
            "W-1 B-1 on K-1 ski A: hole Ah1 is open, measured here, diameter 3.6 mm: no screw may be planned into it",
            "W-1 B-1 on K-1 ski B: hole Bh1 is open, measured bare, diameter 3.6 mm: no screw may be planned into it",
        ],
    ),
    "a core known: its drill": (
        "reuse",
        also(core(Construction.NO_METAL), listed(5000)),
        also(core(Construction.METAL), listed(3600)),
        [
            "W-1 B-1 on K-1 ski A: hole Ah1 is open, measured here, diameter 3.6 mm: no screw may be planned into it",
            "W-1 B-1 on K-1 ski B: hole Bh1 is open, measured bare, diameter 3.6 mm: no screw may be planned into it",
        ],
    ),
    "a screw in an old hole beside another old one": (
        "reuse spacing",
        with_holes("K-1", A, hole("p", -127_500, 18_000, state=HoleState.PLUGGED)),
        with_holes("K-1", A, hole("p", -127_501, 18_000, state=HoleState.PLUGGED)),
        [
            "W-1 B-1 on K-1 ski A: the screw in hole Ah1 is 9.999 mm from the plugged hole p; the shop's rule asks for 10 mm"
        ],
    ),
    "a rule of its own for it, on ski B": (
        "reuse spacing",
        also(
            policy(reuse_spacing_mm="6"),
            with_holes("K-1", B, hole("p", -134_500, 12_000, state=HoleState.STRIPPED)),
        ),
        also(
            policy(reuse_spacing_mm="6"),
            with_holes("K-1", B, hole("p", -134_500, 12_001, state=HoleState.STRIPPED)),
        ),
        [
            "W-1 B-1 on K-1 ski B: the screw in hole Bh1 is 5.999 mm from the stripped hole p; the shop's rule asks for 6 mm"
        ],
    ),
    "another old hole that takes the screw as well": (
        "reuse spacing",
        with_holes("K-1", A, hole("p", -137_500, 17_500)),
        with_holes("K-1", A, hole("p", -137_500, 17_499)),
        [
            "W-1 B-1 on K-1 ski A: the screw in hole Ah1 is 0.501 mm from the open hole p; the shop's rule asks for 10 mm"
        ],
    ),
    "another insert that takes the screw as well": (
        "reuse spacing",
        also(insert(6000, listed_um=6000), with_holes("K-1", B, second_insert(500))),
        also(insert(6000, listed_um=6000), with_holes("K-1", B, second_insert(501))),
        [
            "W-1 B-1 on K-1 ski B: the screw in hole Bh1 is 0.501 mm from the insert hole p; the shop's rule asks for 10 mm"
        ],
    ),
    "one hole for two screws": (
        "claimed twice",
        NOTHING,
        in_hole(0, B, "heel 1", hole_id="Bh2"),
        ["W-1 B-1 on K-1 ski B: two screws claim one old hole"],
    ),
    "a new hole drawn near an old one, printed nearer": (
        "spacing",
        off_grid(toe_1_at=153_749, old_at=143_000),
        off_grid(toe_1_at=153_749, old_at=143_001),
        [
            "W-1 B-1 on K-1 ski A: toe hole 1 at (153.749, 18) mm is 10.499 mm from the plugged hole old (measured here); the shop's rule asks for 10.5 mm"
        ],
    ),
    "near, and printed farther": (
        "spacing",
        off_grid(toe_1_at=153_250, old_at=142_750),
        off_grid(toe_1_at=153_250, old_at=142_751),
        [
            "W-1 B-1 on K-1 ski A: toe hole 1 at (153.25, 18) mm is 10.499 mm from the plugged hole old (measured here); the shop's rule asks for 10.5 mm"
        ],
    ),
    "near across the ski, and printed farther": (
        "spacing",
        off_grid(toe_1_at=153_500, old_at=153_500, toe_1_y=18_200, old_y=28_700),
        off_grid(toe_1_at=153_500, old_at=153_500, toe_1_y=18_200, old_y=28_699),
        [
            "W-1 B-1 on K-1 ski A: toe hole 1 at (153.5, 18.2) mm is 10.499 mm from the plugged hole old (measured here); the shop's rule asks for 10.5 mm"
        ],
    ),
    "new holes of two pieces": (
        "spacing",
        new_toe_1(-137_500 + 10_000, 18_000),
        new_toe_1(-137_500 + 9_999, 18_000),
        [
            "W-2 B-3 on K-3 ski A: toe hole 1 at (-127.501, 18) mm is 9.999 mm from the new heel hole 1 at (-137.5, 18) mm; the shop's rule asks for 10 mm"
        ],
    ),
    "new holes of two pieces, aslant": (
        "spacing",
        new_toe_1(-141_500 + 6_000, 26_000, side=B),
        new_toe_1(-141_500 + 5_999, 26_000, side=B),
        [
            "W-2 B-3 on K-3 ski B: toe hole 1 at (-135.501, 26) mm is 9.999 mm from the new heel hole 1 at (-141.5, 18) mm; the shop's rule asks for 10 mm"
        ],
    ),
    "new holes of two pieces, nearer as printed": (
        "spacing",
        also(new_heel_1(-137_250, 18_250), new_toe_1(-137_500 + 7_000, 26_000)),
        also(new_heel_1(-137_250, 18_250), new_toe_1(-137_250 + 6_499, 18_250 + 7_999)),
        [
            "W-2 B-3 on K-3 ski A: toe hole 1 at (-130.751, 26.249) mm is 9.924 mm from the new heel hole 1 at (-137.25, 18.25) mm; the shop's rule asks for 10 mm"
        ],
    ),
    "new holes of one piece are the maker's": (
        "spacing",
        in_hole(2, A, "toe 1", x_um=107_500, y_um=25_000),
        in_hole(2, A, "toe 1", x_um=-97_500, y_um=25_000),
        [
            "W-2 B-3 on K-3 ski A: toe hole 1 at (-97.5, 25) mm is 7 mm from the new heel hole 3 at (-97.5, 18) mm; the shop's rule asks for 10 mm"
        ],
    ),
    "the back end of the zone": (
        "zone",
        zone("K-3", B, zone_back_um=141_500 + 8_000),
        zone("K-3", B, zone_back_um=141_500 + 7_999),
        [
            "W-2 B-3 on K-3 ski B: heel hole 1 at (-141.5, 18) mm lies outside the mounting zone or on its edge",
            "W-2 B-3 on K-3 ski B: heel hole 2 at (-141.5, -18) mm lies outside the mounting zone or on its edge",
        ],
    ),
    "the front end of the zone": (
        "zone",
        zone("K-3", A, zone_front_um=142_500 + 8_000),
        zone("K-3", A, zone_front_um=142_500 + 7_999),
        [
            "W-2 B-3 on K-3 ski A: toe hole 1 at (142.5, 18) mm lies outside the mounting zone or on its edge",
            "W-2 B-3 on K-3 ski A: toe hole 2 at (142.5, -18) mm lies outside the mounting zone or on its edge",
        ],
    ),
    "a new hole listed after one that is reused": (
        "zone",
        also(in_hole(0, A, "toe 1", do="reuse"), zone("K-1", A, zone_front_um=153_500 + 8_000)),
        also(in_hole(0, A, "toe 1", do="reuse"), zone("K-1", A, zone_front_um=153_500 + 7_999)),
        ["W-1 B-1 on K-1 ski A: toe hole 2 at (153.5, -18) mm lies outside the mounting zone or on its edge"],
    ),
    "the side of the zone": (
        "zone",
        zone("K-3", B, zone_half_width_um=28_000),
        zone("K-3", B, zone_half_width_um=27_999),
        [
            "W-2 B-3 on K-3 ski B: toe hole 3 at (103.5, 20) mm lies outside the mounting zone or on its edge",
            "W-2 B-3 on K-3 ski B: toe hole 4 at (103.5, -20) mm lies outside the mounting zone or on its edge",
        ],
    ),
    "the zone's end, as printed": (
        "zone",
        also(one_new_hole(A), in_hole(2, A, "toe 1", x_um=142_249), zone("K-3", A, zone_front_um=150_500)),
        also(one_new_hole(A), in_hole(2, A, "toe 1", x_um=142_250), zone("K-3", A, zone_front_um=150_499)),
        ["W-2 B-3 on K-3 ski A: toe hole 1 at (142.25, 18) mm lies outside the mounting zone or on its edge"],
    ),
    "the edge policy": (
        "zone",
        also(policy(edge_mm="17"), zone("K-3", A, zone_half_width_um=37_000)),
        also(policy(edge_mm="17.001"), zone("K-3", A, zone_half_width_um=37_000)),
        [
            "W-2 B-3 on K-3 ski A: toe hole 3 at (107.5, 20) mm lies outside the mounting zone or on its edge",
            "W-2 B-3 on K-3 ski A: toe hole 4 at (107.5, -20) mm lies outside the mounting zone or on its edge",
        ],
    ),
    "the back end not known": (
        "zone",
        NOTHING,
        also(one_new_hole(B), zone("K-3", B, zone_back_um=None)),
        [
            "W-2 B-3 on K-3 ski B: toe hole 1 at (138.5, 18) mm: the mounting zone is unknown, nothing may be drilled"
        ],
    ),
    "the zone not known, two holes": (
        "zone",
        NOTHING,
        also(in_ski(2, B, holes=plan().sets[2].way.skis[B].holes[:2]), zone("K-3", B, zone_front_um=None)),
        [
            "W-2 B-3 on K-3 ski B: toe hole 1 at (138.5, 18) mm: the mounting zone is unknown, nothing may be drilled",
            "W-2 B-3 on K-3 ski B: toe hole 2 at (138.5, -18) mm: the mounting zone is unknown, nothing may be drilled",
        ],
    ),
    "the front end not known": (
        "zone",
        NOTHING,
        also(one_new_hole(B), zone("K-3", B, zone_front_um=None)),
        [
            "W-2 B-3 on K-3 ski B: toe hole 1 at (138.5, 18) mm: the mounting zone is unknown, nothing may be drilled"
        ],
    ),
    "the width not known": (
        "zone",
        NOTHING,
        also(one_new_hole(B), zone("K-3", B, zone_half_width_um=None)),
        [
            "W-2 B-3 on K-3 ski B: toe hole 1 at (138.5, 18) mm: the mounting zone is unknown, nothing may be drilled"
        ],
    ),
    "no zone is asked of old holes": (
        "zone",
        in_hole(0, A, "toe 1", do="reuse"),
        in_hole(0, A, "heel 1", do="drill", x_um=-292_001),
        [
            "W-1 B-1 on K-1 ski A: heel hole 1 at (-292.001, 18) mm lies outside the mounting zone or on its edge"
        ],
    ),
    "seen bare from here": (
        "inspected",
        looked_at("K-3", B, -141_500, 320_000),
        looked_at("K-3", B, -141_499, 320_000),
        [
            "W-2 B-3 on K-3 ski B: heel hole 1 at (-141.5, 18) mm lies where nobody has looked for old holes",
            "W-2 B-3 on K-3 ski B: heel hole 2 at (-141.5, -18) mm lies where nobody has looked for old holes",
        ],
    ),
    "seen bare to here": (
        "inspected",
        looked_at("K-3", A, -300_000, 142_500),
        looked_at("K-3", A, -300_000, 142_499),
        [
            "W-2 B-3 on K-3 ski A: toe hole 1 at (142.5, 18) mm lies where nobody has looked for old holes",
            "W-2 B-3 on K-3 ski A: toe hole 2 at (142.5, -18) mm lies where nobody has looked for old holes",
        ],
    ),
    "seen bare, as printed": (
        "inspected",
        also(one_new_hole(A), in_hole(2, A, "toe 1", x_um=142_249), looked_at("K-3", A, -300_000, 142_249)),
        also(one_new_hole(A), in_hole(2, A, "toe 1", x_um=142_250), looked_at("K-3", A, -300_000, 142_499)),
        ["W-2 B-3 on K-3 ski A: toe hole 1 at (142.25, 18) mm lies where nobody has looked for old holes"],
    ),
    "an old hole left unplugged": (
        "plug",
        ledger_hole("K-1", B, "Bt3", state=HoleState.SCREWED),
        in_ski(0, B, plug=("Bt1", "Bt2", "Bt4")),
        ["W-1 B-1 on K-1 ski B: to plug: Bt1, Bt2, Bt3, Bt4; the plan says ['Bt1', 'Bt2', 'Bt4']"],
    ),
    "a stripped hole left unplugged": (
        "plug",
        ledger_hole("K-1", A, "At3", state=HoleState.STRIPPED),
        ledger_hole("K-1", A, "Ap", state=HoleState.STRIPPED),
        ["W-1 B-1 on K-1 ski A: to plug: Ap, At1, At2, At3, At4; the plan says ['At1', 'At2', 'At3', 'At4']"],
    ),
    "a plugged hole plugged again": (
        "plug",
        in_ski(0, A, plug=("At4", "At2", "At1", "At3")),
        ledger_hole("K-1", A, "At2", state=HoleState.PLUGGED),
        ["W-1 B-1 on K-1 ski A: to plug: At1, At3, At4; the plan says ['At1', 'At2', 'At3', 'At4']"],
    ),
    "a hole plugged that takes a screw": (
        "plug",
        NOTHING,
        in_ski(0, A, plug=("At1", "At2", "At3", "At4", "Ah1")),
        [
            "W-1 B-1 on K-1 ski A: to plug: At1, At2, At3, At4; the plan says ['At1', 'At2', 'At3', 'At4', 'Ah1']"
        ],
    ),
    "nothing to plug": (
        "plug",
        NOTHING,
        in_ski(2, A, plug=("x",)),
        ["W-2 B-3 on K-3 ski A: to plug: none; the plan says ['x']"],
    ),
    "the nearest hole a micrometre farther": (
        "nearest",
        NOTHING,
        in_hole(0, B, "toe 1", nearest_um=11_001),
        [
            "W-1 B-1 on K-1 ski B: toe hole 1 at (156.5, 18) mm: nearest is Bt1 at 11 mm, the plan says Bt1 at 11.001 mm"
        ],
    ),
    "the nearest hole not said": (
        "nearest",
        NOTHING,
        in_hole(0, A, "heel 4", nearest_um=None),
        [
            "W-1 B-1 on K-1 ski A: heel hole 4 at (-97.5, -18) mm: nearest is Ah3 at 36 mm, the plan says Ah3 at unknown"
        ],
    ),
    "the nearest hole of a ski left alone": (
        "nearest",
        NOTHING,
        in_hole(1, B, "toe 1", nearest_um=35_058),
        [
            "W-1 B-2 on K-2 ski B: toe hole 1 at (140.5, 18) mm: nearest is t3 at 35.057 mm, the plan says t3 at 35.058 mm"
        ],
    ),
    "a nearer old hole on ski B only": (
        "nearest",
        with_holes("K-1", A, hole("x", 153_500, 29_001)),
        with_holes("K-1", B, hole("x", 156_500, 28_999)),
        [
            "W-1 B-1 on K-1 ski B: toe hole 1 at (156.5, 18) mm: nearest is x at 10.999 mm, the plan says Bt1 at 11 mm"
        ],
    ),
    "the nearest of a lone hole": (
        "nearest",
        NOTHING,
        in_ski(2, A, holes=plan().sets[2].way.skis[A].holes[:1]),
        [
            "W-2 B-3 on K-3 ski A: toe hole 1 at (142.5, 18) mm: nearest is no hole at unknown, the plan says toe 3 at 35.057 mm"
        ],
    ),
    "another hole named as the nearest": (
        "nearest",
        in_hole(2, A, "heel 2", nearest_id="heel 1"),
        in_hole(2, A, "heel 2", nearest_id="heel 4"),
        [
            "W-2 B-3 on K-3 ski A: heel hole 2 at (-137.5, -18) mm: nearest is heel 1 at 36 mm, the plan says heel 4 at 36 mm"
        ],
    ),
    "ski A's hole named as the nearest on ski B": (
        "nearest",
        NOTHING,
        in_hole(0, B, "toe 1", nearest_id="At1"),
        [
            "W-1 B-1 on K-1 ski B: toe hole 1 at (156.5, 18) mm: nearest is Bt1 at 11 mm, the plan says At1 at 11 mm"
        ],
    ),
    "two old holes as near": (
        "nearest",
        with_holes("K-1", A, hole("x", 153_500, 29_000)),
        also(with_holes("K-1", A, hole("x", 153_500, 29_000)), in_hole(0, A, "toe 1", nearest_um=11_001)),
        [
            "W-1 B-1 on K-1 ski A: toe hole 1 at (153.5, 18) mm: nearest is At1 or x at 11 mm, the plan says At1 at 11.001 mm"
        ],
    ),
    "a boot's pin line where no piece stays at the mark": (
        "stands",
        ledger_boot("B-1", pin_um=60_000),
        also(ledger_boot("B-1", pin_um=60_000), in_piece(0, A, "toe", reference_um=164_001)),
        ["W-1 B-1 on K-1 ski A: the toe piece misses the boot by 0.501 mm"],
    ),
    "the place where a piece stands now": (
        "stands now",
        NOTHING,
        in_piece(1, B, "heel", stands_um=-1999),
        ["W-1 B-2 on K-2 ski B: the heel piece is slid -2 mm now, the plan says -1.999 mm"],
    ),
    "the place of the only piece that travels, set again for the same sole since": (
        "stands now",
        set_again("K-2"),
        also(set_again("K-2"), in_piece(1, B, "heel", stands_um=None)),
        ["W-1 B-2 on K-2 ski B: the heel piece is slid -2 mm now, the plan says not known"],
    ),
    "the place of a piece that the pattern has not": (
        "stands now",
        in_piece(1, A, "toe", piece="plate", stands_um=None),
        in_piece(1, A, "toe", piece="plate", stands_um=0),
        ["W-1 B-2 on K-2 ski A: the plate piece is slid not known now, the plan says 0 mm"],
    ),
    "a jig although nothing is drilled": (
        "jig",
        NOTHING,
        in_way(1, jig=Jig(sole_um=305_000, centre_um=0)),
        ["W-1 B-2 on K-2: a jig is set up although nothing is drilled"],
    ),
    "a jig below the least sole of its pattern": (
        "jig",
        also(jig_for_305(), ledger_pattern(bsl_min_um=305_000)),
        also(jig_for_305(), ledger_pattern(bsl_min_um=305_001)),
        [f"W-2 B-3 on K-3 ski {side}: a jig of T4/H4 is not set to 305 mm" for side in Side],
    ),
    "a jig beyond the largest sole of its pattern": (
        "jig",
        also(jig_for_305(), ledger_pattern(bsl_max_um=305_000)),
        also(jig_for_305(), ledger_pattern(bsl_max_um=304_999)),
        [f"W-2 B-3 on K-3 ski {side}: a jig of T4/H4 is not set to 305 mm" for side in Side],
    ),
    "a jig on ski B beside its mark": (
        "jig",
        in_jig_b(x_um=143_000),
        in_jig_b(x_um=143_001),
        ["W-2 B-3 on K-3 ski B: the jig drills toe hole 1 0.501 mm beside where it is planned"],
    ),
    "a jig on ski B beside its mark and further out, 0.3 mm by 0.4 mm": (
        "jig",
        in_jig_b(x_um=142_800, y_um=400),
        in_jig_b(x_um=142_800, y_um=401),
        ["W-2 B-3 on K-3 ski B: the jig drills toe hole 1 0.5 mm beside where it is planned"],
    ),
    "a hole that no jig of the pattern has": (
        "jig",
        NOTHING,
        also(jig_for_305(), in_hole(0, B, "toe 1", number=9)),
        ["W-2 B-3 on K-3 ski B: the jig drills toe hole 9 nowhere near where it is planned"],
    ),
    "a jig holds a piece at the boot's centre": (
        "jig",
        NOTHING,
        also(jig_for_305(), ledger_pattern(pieces=(toe_at_centre(), PATTERN.pieces[1]))),
        [
            f"W-2 B-3 on K-3 ski {side}: the jig drills toe hole {n} 152.5 mm beside where it is planned"
            for side in Side
            for n in (1, 2, 3, 4)
        ],
    ),
}


@pytest.mark.parametrize("name", ROWS)
def test_the_rule_holds_at_its_limit_and_says_why_one_step_beyond(name: str) -> None:
    rule, allowed, refused, words = ROWS[name]
    assert said(rule, allowed) == []
    assert said(rule, refused) == words


@pytest.mark.parametrize(
    ("what", "um"),
    [(Follows.TOE, 2_500), (Follows.HEEL, -302_500), (Follows.CENTRE, -150_000), (Follows.MARK, 0)],
)
def test_a_piece_meets_the_boot_at_whole_micrometres(what: Follows, um: int) -> None:
    """By hand: half of 305.001 mm is 152.5 mm, from a boot centre 150 mm behind the mark."""
    found = meets_um(replace(PATTERN.pieces[0], follows=what), -150_000, 305_001, None)
    assert (found, type(found)) == (um, int)
