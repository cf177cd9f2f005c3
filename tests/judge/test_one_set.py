"""One set, rule by rule: what is still allowed at the limit, and what the judge says one step beyond it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.facts.holes import HoleState, Knowledge, PieceSlide, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import Brake
from fleet.facts.patterns import Follows
from fleet.facts.standing import Place
from planner.plan.values import Rung
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
    in_set,
    in_ski,
    in_way,
    ledger_boot,
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


def kinds(kind: Kind) -> Spoil:
    return ledger_pair("K-1", kind=kind)


def boot_kinds() -> Spoil:
    return ledger_boot("B-1", kind=Kind.ALPINE, model_kind=Kind.TOURING)


def first_set_only(*spoils: Spoil) -> Spoil:
    return also(in_plan(sets=plan().sets[:1]), *spoils)


def fits(*rows: tuple[str, str]) -> Spoil:
    made = tuple(replace(shop().fits[0], sole_type=sole, pattern=pattern) for sole, pattern in rows)
    return lambda f, p: (replace(f, fits=made), p)


def mount(tag: str, **changes: object) -> Spoil:
    return ledger_pair(tag, mounts=(replace(shop().pairs[tag].mounts[0], **changes),))


def slid(tag: str, toe: tuple[int, int], heel: tuple[int, int]) -> Spoil:
    """Where the ledger says the two pieces stand, from ski A's mark, and how they are slid."""
    return mount(
        tag,
        slides=(
            PieceSlide(piece="toe", reference_um=toe[0], slide_um=toe[1]),
            PieceSlide(piece="heel", reference_um=heel[0], slide_um=heel[1]),
        ),
    )


def nothing_drilled(**way: object) -> Spoil:
    """The set on K-1 with all screws in old holes: 8 plugged, mount and check: 26 minutes."""
    toes = [in_hole(0, side, f"toe {n}", do="reuse") for side in Side for n in (1, 2, 3, 4)]
    return also(*toes, in_way(0, **{"drilled": 0, "clearance_um": None, "minutes": 26, **way}))


def minutes(told: int, **values: str) -> Spoil:
    return first_set_only(policy(**values), in_way(0, minutes=told))


def as_it_is(pin_um: int | None, *, toe_slide_um: int = 0, heel_slide_um: int = 0) -> Spoil:
    """K-5 alone, mounted 1.5 mm behind the mark with a toe piece at the mark; no places were recorded.

    By pin line the heel end lies at -1.5 + 60 - 305 = -246.5 mm, by boot centre at -1.5 - 152.5 = -154 mm.
    """
    toe = replace(PATTERN.pieces[0], follows=Follows.MARK)
    heel_um = -154_000 if pin_um is None else -246_500
    return also(
        in_plan(sets=plan().sets[3:]),
        mount("K-5", slides=()),
        ledger_boot("B-4", pin_um=pin_um),
        ledger_pattern(pieces=(toe, PATTERN.pieces[1])),
        *(in_piece(0, side, "toe", reference_um=0, slide_um=toe_slide_um) for side in Side),
        *(in_piece(0, side, "heel", reference_um=heel_um, slide_um=heel_slide_um) for side in Side),
    )


def unrecorded_by_a_reference() -> Spoil:
    """K-2's reference 1 mm ahead of ski A's mark and 1 mm behind ski B's; its mount says 305 mm, no places."""
    return also(
        ledger_pair("K-2", reference_from_tail_um=761_000),
        mount("K-2", slides=()),
        in_piece(1, A, "heel", reference_um=-152_500),
    )


def tails(a_um: int | None, b_um: int | None) -> Spoil:
    return also(in_ski(0, A, from_tail_um=a_um), in_ski(0, B, from_tail_um=b_um))


def marks(a_um: int | None, b_um: int | None, reference_um: int | None = None) -> Spoil:
    return also(
        ledger_pair("K-1", reference_from_tail_um=reference_um),
        ledger_ski("K-1", A, lambda s: replace(s, mark_from_tail_um=a_um)),
        ledger_ski("K-1", B, lambda s: replace(s, mark_from_tail_um=b_um)),
    )


def toes(a_um: int, b_um: int) -> Spoil:
    return also(in_piece(0, A, "toe", reference_um=a_um), in_piece(0, B, "toe", reference_um=b_um))


ROWS: dict[str, Row] = {
    "a pair on hold": (
        "place",
        ledger_pair("K-1", place=Place.READY),
        ledger_pair("K-1", place=Place.HOLD),
        ["W-1 B-1 on K-1: the pair is on hold"],
    ),
    "a pair that is out": (
        "place",
        ledger_pair("K-2", place=Place.BACK),
        ledger_pair("K-2", place=Place.OUT),
        ["W-1 B-2 on K-2: the pair is out"],
    ),
    "a pair with a question that nobody has answered": (
        "place",
        ledger_pair("K-1", place=Place.READY, asks=""),
        ledger_pair("K-1", place=Place.READY, asks="sell it"),
        ["W-1 B-1 on K-1: the pair is ready; asked: sell it?"],
    ),
    "a boot that is gone": (
        "boot",
        ledger_boot("B-1", place=Place.OUT),
        ledger_boot("B-1", place=Place.SOLD),
        ["W-1 B-1 on K-1: the boot is barred: sold"],
    ),
    "a boot on hold": (
        "boot",
        NOTHING,
        ledger_boot("B-2", place=Place.HOLD, hold_entry=7, hold_why="buckle torn"),
        ["W-1 B-2 on K-2: the boot is barred: hold: buckle torn"],
    ),
    "a boot with a question that nobody has answered": (
        "boot",
        NOTHING,
        ledger_boot("B-1", asks="sell it"),
        ["W-1 B-1 on K-1: the boot is barred: asked: sell it?"],
    ),
    "another kind of ski": (
        "kind",
        NOTHING,
        kinds(Kind.ALPINE),
        ["W-1 B-1 on K-1: asked for telemark, the pair is alpine"],
    ),
    "another kind of boot": (
        "kind",
        ledger_boot("B-1", kind=Kind.TELEMARK),
        ledger_boot("B-1", kind=Kind.ALPINE),
        [
            "W-1 B-1 on K-1: asked for telemark, the boot is alpine",
            "W-1 B-1 on K-1: the pair is telemark and the boot alpine:"
            " kinds meet only by the shop's rule kinds_may_meet",
        ],
    ),
    "another kind of binding": (
        "kind",
        first_set_only(ledger_pattern(kind=Kind.TELEMARK)),
        first_set_only(ledger_pattern(kind=Kind.TOURING)),
        [
            "W-1 B-1 on K-1: the pair is telemark and the binding touring:"
            " kinds meet only by the shop's rule kinds_may_meet",
        ],
    ),
    "a boot of two kinds": (
        "kind",
        also(policy(kinds_may_meet="telemark+touring,telemark+alpine"), boot_kinds()),
        also(policy(kinds_may_meet="telemark+touring"), boot_kinds()),
        [
            "W-1 B-1 on K-1: asked for telemark, the boot is alpine and touring",
            "W-1 B-1 on K-1: the pair is telemark and the boot alpine and touring:"
            " kinds meet only by the shop's rule kinds_may_meet",
        ],
    ),
    "the longest ski asked for": (
        "length",
        ledger_pair("K-1", length_mm=1700),
        ledger_pair("K-1", length_mm=1701),
        ["W-1 B-1 on K-1: 170.1 cm is outside the window"],
    ),
    "the shortest ski asked for": (
        "length",
        ledger_pair("K-3", length_mm=1700),
        ledger_pair("K-3", length_mm=1699),
        ["W-2 B-3 on K-3: 169.9 cm is outside the window"],
    ),
    "the largest boot asked for": (
        "size",
        ledger_boot("B-1", mondopoint_mm=270),
        ledger_boot("B-1", mondopoint_mm=271),
        ["W-1 B-1 on K-1: the boot's size is outside the window or unknown"],
    ),
    "the smallest boot asked for": (
        "size",
        ledger_boot("B-2", mondopoint_mm=265),
        ledger_boot("B-2", mondopoint_mm=264),
        ["W-1 B-2 on K-2: the boot's size is outside the window or unknown"],
    ),
    "a boot of unknown size": (
        "size",
        NOTHING,
        ledger_boot("B-3", mondopoint_mm=None),
        ["W-2 B-3 on K-3: the boot's size is outside the window or unknown"],
    ),
    "a sole that the makers do not declare": (
        "fit",
        fits(("sole", "T4/H4"), ("x", "y")),
        first_set_only(fits(("sole", "y"), ("x", "T4/H4"))),
        ["W-1 B-1 on K-1: sole sole in T4/H4 is not declared by both makers"],
    ),
    "a boot of another sole length": (
        "sole length",
        NOTHING,
        ledger_boot("B-1", bsl_um=318_000),
        ["W-1 B-1 on K-1: the way is for another sole length than the boot's"],
    ),
    "a boot of unknown sole length": (
        "sole length",
        NOTHING,
        ledger_boot("B-1", bsl_um=None),
        ["W-1 B-1 on K-1: the way is for another sole length than the boot's"],
    ),
    "the shortest sole of the pattern": (
        "sole length",
        first_set_only(ledger_pattern(bsl_min_um=317_000)),
        first_set_only(ledger_pattern(bsl_min_um=317_001)),
        ["W-1 B-1 on K-1: pattern T4/H4 does not take 317 mm"],
    ),
    "the longest sole of the pattern": (
        "sole length",
        first_set_only(ledger_pattern(bsl_max_um=317_000)),
        first_set_only(ledger_pattern(bsl_max_um=316_999)),
        ["W-1 B-1 on K-1: pattern T4/H4 does not take 317 mm"],
    ),
    "the narrowest brake": (
        "brake",
        in_set(0, brake_um=90_000),
        in_set(0, brake_um=89_999),
        ["W-1 B-1 on K-1: a 89.999 mm brake on a 90 mm waist; the shop's rule asks for 90 to 105 mm"],
    ),
    "the widest brake": (
        "brake",
        in_set(0, brake_um=105_000),
        in_set(0, brake_um=105_001),
        ["W-1 B-1 on K-1: a 105.001 mm brake on a 90 mm waist; the shop's rule asks for 90 to 105 mm"],
    ),
    "a wider ski": (
        "brake",
        ledger_pair("K-3", waist_um=85_000),
        ledger_pair("K-3", waist_um=84_999),
        ["W-2 B-3 on K-3: a 100 mm brake on a 84.999 mm waist; the shop's rule asks for 84.999 to 99.999 mm"],
    ),
    "a waist not known, its own binding or another": (
        "brake",
        ledger_pair("K-2", waist_um=None),
        ledger_pair("K-1", waist_um=None),
        ["W-1 B-1 on K-1: the waist is unknown: only the binding already on, or no brake"],
    ),
    "no brake on a waist not known": (
        "brake",
        also(ledger_pair("K-1", waist_um=None), in_set(0, brake_um=None)),
        ledger_pair("K-3", waist_um=None),
        ["W-2 B-3 on K-3: the waist is unknown: only the binding already on, or no brake"],
    ),
    "a brake not known, on its own binding or on another": (
        "brake",
        in_set(1, brake_um=Brake.UNKNOWN),
        in_set(0, brake_um=Brake.UNKNOWN),
        ["W-1 B-1 on K-1: the brake is not known: only the binding already on"],
    ),
    "the boot centre at the shop's limit, ahead": (
        "offset",
        in_way(0, offset_um=10_000),
        in_way(0, offset_um=10_001),
        ["W-1 B-1 on K-1: 10.001 mm off the mark is beyond the shop's limit"],
    ),
    "the boot centre at the shop's limit, behind": (
        "offset",
        in_way(1, offset_um=-10_000),
        in_way(1, offset_um=-10_001),
        ["W-1 B-2 on K-2: 10.001 mm off the mark is beyond the shop's limit"],
    ),
    "nothing touched, but a binding from stock": (
        "untouched",
        NOTHING,
        in_set(1, binding_from="stock"),
        ["W-1 B-2 on K-2: 'adjust' needs this pattern's own binding on the pair"],
    ),
    "nothing touched, but nothing mounted": (
        "untouched",
        NOTHING,
        ledger_pair("K-2", mounts=()),
        ["W-1 B-2 on K-2: 'adjust' needs this pattern's own binding on the pair"],
    ),
    "nothing touched, but another pattern mounted": (
        "untouched",
        NOTHING,
        mount("K-2", pattern="T5"),
        ["W-1 B-2 on K-2: 'adjust' needs this pattern's own binding on the pair"],
    ),
    "nothing touched, but a piece elsewhere on ski A": (
        "untouched",
        NOTHING,
        in_piece(1, A, "toe", reference_um=152_501),
        [
            "W-1 B-2 on K-2 ski A: the toe piece stands at 152.5 mm, the plan says 152.501 mm without touching a screw"
        ],
    ),
    "nothing touched, but a piece elsewhere on ski B": (
        "untouched",
        NOTHING,
        in_piece(1, B, "heel", reference_um=-152_501),
        [
            "W-1 B-2 on K-2 ski B: the heel piece stands at -152.5 mm, the plan says -152.501 mm without touching a screw"
        ],
    ),
    "nothing touched, but ski A's place on ski B": (
        "untouched",
        NOTHING,
        in_piece(1, B, "toe", reference_um=152_500),
        [
            "W-1 B-2 on K-2 ski B: the toe piece stands at 150.5 mm, the plan says 152.5 mm without touching a screw"
        ],
    ),
    "nothing touched, but the ledger has the heel elsewhere": (
        "untouched",
        slid("K-2", (152_500, 0), (-150_500, -2000)),
        slid("K-2", (152_500, 0), (-150_499, -2000)),
        [
            "W-1 B-2 on K-2 ski A: the heel piece stands at -150.499 mm, the plan says -150.5 mm without touching a screw",
            "W-1 B-2 on K-2 ski B: the heel piece stands at -152.499 mm, the plan says -152.5 mm without touching a screw",
        ],
    ),
    "as it is, but slid": (
        "untouched",
        NOTHING,
        in_piece(3, B, "heel", slide_um=-1999),
        ["W-2 B-4 on K-5 ski B: the heel piece is slid -2 mm, 'as it is' says -1.999 mm"],
    ),
    "adjusted is slid": (
        "untouched",
        in_piece(1, B, "heel", slide_um=-11_999),
        in_way(1, rung=Rung.AS_IS),
        [
            "W-1 B-2 on K-2 ski A: the heel piece is slid -2 mm, 'as it is' says -12 mm",
            "W-1 B-2 on K-2 ski B: the heel piece is slid -2 mm, 'as it is' says -12 mm",
        ],
    ),
    "as it is, where nobody recorded its pieces": (
        "untouched",
        as_it_is(None),
        as_it_is(None, heel_slide_um=1),
        [
            "W-2 B-4 on K-5 ski A: the heel piece is slid 0 mm, 'as it is' says 0.001 mm",
            "W-2 B-4 on K-5 ski B: the heel piece is slid 0 mm, 'as it is' says 0.001 mm",
        ],
    ),
    "as it is, a piece at the mark slid": (
        "untouched",
        as_it_is(None),
        as_it_is(None, toe_slide_um=1),
        [
            "W-2 B-4 on K-5 ski A: the toe piece is slid 0 mm, 'as it is' says 0.001 mm",
            "W-2 B-4 on K-5 ski B: the toe piece is slid 0 mm, 'as it is' says 0.001 mm",
        ],
    ),
    "as it is, by pin line": (
        "untouched",
        as_it_is(60_000, toe_slide_um=-1500),
        as_it_is(60_000, heel_slide_um=1),
        [
            "W-2 B-4 on K-5 ski A: the heel piece is slid 0 mm, 'as it is' says 0.001 mm",
            "W-2 B-4 on K-5 ski B: the heel piece is slid 0 mm, 'as it is' says 0.001 mm",
        ],
    ),
    "nothing touched, by a reference that the head technician entered": (
        "untouched",
        ledger_pair("K-2", reference_from_tail_um=761_000),
        also(ledger_pair("K-2", reference_from_tail_um=761_000), in_piece(1, B, "toe", reference_um=151_500)),
        [
            "W-1 B-2 on K-2 ski B: the toe piece stands at 150.5 mm, the plan says 151.5 mm without touching a screw"
        ],
    ),
    "nothing touched, by such a reference, where nobody recorded its pieces": (
        "untouched",
        also(unrecorded_by_a_reference(), in_piece(1, B, "heel", reference_um=-154_500)),
        also(unrecorded_by_a_reference(), in_piece(1, B, "heel", reference_um=-154_501)),
        [
            "W-1 B-2 on K-2 ski B: the heel piece stands at -154.5 mm, the plan says -154.501 mm without touching a screw"
        ],
    ),
    "nothing touched, one piece left out and the other elsewhere": (
        "untouched",
        in_ski(1, B, pieces=plan().sets[1].way.skis[B].pieces[1:]),
        also(
            in_ski(1, B, pieces=plan().sets[1].way.skis[B].pieces[1:]),
            in_piece(1, B, "heel", reference_um=-152_501),
        ),
        [
            "W-1 B-2 on K-2 ski B: the heel piece stands at -152.5 mm, the plan says -152.501 mm without touching a screw"
        ],
    ),
    "the pieces of two skis ahead of each other": (
        "alike",
        in_piece(0, B, "toe", reference_um=167_500),
        in_piece(0, B, "toe", reference_um=167_501),
        ["W-1 B-1 on K-1: the toe pieces stand 1.001 mm apart on the two skis"],
    ),
    "the pieces of two skis behind each other": (
        "alike",
        in_piece(0, B, "heel", reference_um=-150_500),
        in_piece(0, B, "heel", reference_um=-150_501),
        ["W-1 B-1 on K-1: the heel pieces stand 1.001 mm apart on the two skis"],
    ),
    "alike by the marks is not alike": (
        "alike",
        NOTHING,
        in_piece(0, B, "heel", reference_um=-152_500),
        ["W-1 B-1 on K-1: the heel pieces stand 3 mm apart on the two skis"],
    ),
    "another rule for two skis alike": (
        "alike",
        also(policy(pair_difference_mm="2"), in_piece(0, B, "toe", reference_um=168_500)),
        also(policy(pair_difference_mm="2"), in_piece(0, B, "toe", reference_um=168_501)),
        ["W-1 B-1 on K-1: the toe pieces stand 2.001 mm apart on the two skis"],
    ),
    "a piece of one ski only": (
        "alike",
        in_ski(0, B, pieces=plan().sets[0].way.skis[B].pieces[1:]),
        also(
            in_ski(0, B, pieces=plan().sets[0].way.skis[B].pieces[1:]),
            in_piece(0, A, "heel", reference_um=-153_501),
        ),
        ["W-1 B-1 on K-1: the heel pieces stand 1.001 mm apart on the two skis"],
    ),
    "the most mounts": (
        "mounts",
        ledger_pair("K-1", earlier_mounts=1),
        ledger_pair("K-1", earlier_mounts=2),
        ["W-1 B-1 on K-1: the pair has had 2 mounts; that is the most"],
    ),
    "mounts do not count where nothing is drilled": (
        "mounts",
        ledger_pair("K-2", earlier_mounts=5),
        ledger_pair("K-3", earlier_mounts=5),
        ["W-2 B-3 on K-3: the pair has had 5 mounts; that is the most"],
    ),
    "a hole drilled too few": (
        "figures",
        NOTHING,
        in_way(0, drilled=7),
        ["W-1 B-1 on K-1: drilled is 8, the plan says 7"],
    ),
    "a hole plugged too many": (
        "figures",
        NOTHING,
        in_way(0, plugged=9),
        ["W-1 B-1 on K-1: plugged is 8, the plan says 9"],
    ),
    "a micrometre of clearance": (
        "figures",
        NOTHING,
        in_way(0, clearance_um=1),
        ["W-1 B-1 on K-1: clearance_um is 0, the plan says 1"],
    ),
    "clearance of a way that drills nothing": (
        "figures",
        NOTHING,
        in_way(1, clearance_um=0),
        ["W-1 B-2 on K-2: clearance_um is None, the plan says 0"],
    ),
    "clearance by the hole on ski B: 20 - 10.5": (
        "figures",
        also(
            with_holes("K-3", B, hole("x", 138_500, 38_000, state=HoleState.PLUGGED)),
            in_way(2, clearance_um=9500),
        ),
        also(
            with_holes("K-3", B, hole("x", 138_500, 38_000, state=HoleState.PLUGGED)),
            in_way(2, clearance_um=9501),
        ),
        ["W-2 B-3 on K-3: clearance_um is 9500, the plan says 9501"],
    ),
    "clearance by two new holes: 30 - 10": (
        "figures",
        also(in_hole(2, B, "toe 1", x_um=-101_500, y_um=48_000), in_way(2, clearance_um=20_000)),
        also(in_hole(2, B, "toe 1", x_um=-101_500, y_um=48_000), in_way(2, clearance_um=19_500)),
        ["W-2 B-3 on K-3: clearance_um is 20000, the plan says 19500"],
    ),
    "set since for the sole that is planned: nothing is left to adjust": (
        "figures",
        mount("K-2", set_for_um=313_000),
        mount("K-2", set_for_um=315_000),
        ["W-1 B-2 on K-2: way is as it is, the plan says adjust"],
    ),
    "minutes: 8 drilled, 8 plugged, mount, check": (
        "figures",
        in_way(0, minutes=12 + 8 + 14 + 4),
        in_way(0, minutes=37),
        ["W-1 B-1 on K-1: minutes is 38, the plan says 37"],
    ),
    "minutes of taking off what is on": (
        "figures",
        also(ledger_pair("K-1", mounts=shop().pairs["K-4"].mounts), in_way(0, minutes=46)),
        ledger_pair("K-1", mounts=shop().pairs["K-4"].mounts),
        ["W-1 B-1 on K-1: minutes is 46, the plan says 38"],
    ),
    "minutes rounded up once: 8 x 1.55 + 26": (
        "figures",
        minutes(39, minutes_drill_hole="1.55"),
        minutes(38, minutes_drill_hole="1.55"),
        ["W-1 B-1 on K-1: minutes is 39, the plan says 38"],
    ),
    "minutes of plugging: 12 + 8 x 2.125 + 18": (
        "figures",
        minutes(47, minutes_plug_hole="2.125"),
        minutes(46, minutes_plug_hole="2.125"),
        ["W-1 B-1 on K-1: minutes is 47, the plan says 46"],
    ),
    "minutes of mounting": (
        "figures",
        minutes(40, minutes_mount="16"),
        minutes(38, minutes_mount="16"),
        ["W-1 B-1 on K-1: minutes is 40, the plan says 38"],
    ),
    "minutes of the second look": (
        "figures",
        minutes(39, minutes_check="5"),
        minutes(38, minutes_check="5"),
        ["W-1 B-1 on K-1: minutes is 39, the plan says 38"],
    ),
    "minutes of adjusting, rounded up: 6.1 + 4": (
        "figures",
        also(policy(minutes_adjust="6.1"), in_way(1, minutes=11)),
        policy(minutes_adjust="6.1"),
        ["W-1 B-2 on K-2: minutes is 11, the plan says 10"],
    ),
    "minutes of adjusting and the second look": (
        "figures",
        also(in_plan(sets=plan().sets[1:2]), policy(minutes_check="5"), in_way(0, minutes=11)),
        also(in_plan(sets=plan().sets[1:2]), policy(minutes_check="5")),
        ["W-1 B-2 on K-2: minutes is 11, the plan says 10"],
    ),
    "minutes of a pair as it is": (
        "figures",
        NOTHING,
        in_way(3, minutes=1),
        ["W-2 B-4 on K-5: minutes is 0, the plan says 1"],
    ),
    "adjusted though it is for this sole": (
        "figures",
        NOTHING,
        in_way(3, rung=Rung.ADJUST, minutes=10),
        ["W-2 B-4 on K-5: way is as it is, the plan says adjust"],
    ),
    "as it is though for another sole": (
        "figures",
        NOTHING,
        in_way(1, rung=Rung.AS_IS, minutes=0),
        ["W-1 B-2 on K-2: way is adjust, the plan says as it is"],
    ),
    "all in old holes, near the mark": (
        "figures",
        nothing_drilled(rung=Rung.SAME_HOLES),
        nothing_drilled(rung=Rung.CENTRE_MOVED),
        ["W-1 B-1 on K-1: way is same holes, the plan says centre moved"],
    ),
    "all in old holes, far behind the mark": (
        "figures",
        also(policy(offset_preferred_mm="4.999"), nothing_drilled(rung=Rung.CENTRE_MOVED, offset_um=-5000)),
        also(policy(offset_preferred_mm="4.999"), nothing_drilled(rung=Rung.SAME_HOLES, offset_um=-5000)),
        ["W-1 B-1 on K-1: way is centre moved, the plan says same holes"],
    ),
    "part reused told as all new": (
        "figures",
        NOTHING,
        in_way(0, rung=Rung.ALL_NEW),
        ["W-1 B-1 on K-1: way is part reused, the plan says all new"],
    ),
    "all new told as part reused": (
        "figures",
        NOTHING,
        in_way(2, rung=Rung.PART_REUSED),
        ["W-2 B-3 on K-3: way is all new, the plan says part reused"],
    ),
    "ski A's mark not known": (
        "from tail",
        also(marks(None, 777_000), tails(None, 782_000)),
        also(marks(None, 777_000), tails(None, 785_000)),
        ["W-1 B-1 on K-1 ski B: boot centre from tail is 782 mm, not 785 mm"],
    ),
    "ski B's mark not known": (
        "from tail",
        also(marks(780_000, None), tails(785_000, None)),
        also(marks(780_000, None), tails(785_000, 785_000)),
        ["W-1 B-1 on K-1 ski B: boot centre from tail is unknown, not 785 mm"],
    ),
    "ski A's mark not known: marks count as alike": (
        "stands",
        also(marks(None, 777_000), toes(163_500, 164_000), in_piece(0, B, "heel", reference_um=-152_500)),
        also(marks(None, 777_000), toes(163_500, 164_001), in_piece(0, B, "heel", reference_um=-152_500)),
        ["W-1 B-1 on K-1 ski B: the toe piece misses the boot by 0.501 mm"],
    ),
    "a reference entered, ski A's mark not known": (
        "stands",
        also(
            marks(None, 777_000, 781_000),
            toes(167_500, 167_500),
            in_piece(0, A, "heel", reference_um=-148_500),
            in_piece(0, B, "heel", reference_um=-148_500),
        ),
        also(
            marks(None, 777_000, 781_000),
            toes(166_999, 167_500),
            in_piece(0, A, "heel", reference_um=-148_500),
            in_piece(0, B, "heel", reference_um=-148_500),
        ),
        ["W-1 B-1 on K-1 ski A: the toe piece misses the boot by 0.501 mm"],
    ),
    "a reference entered, ski B's mark not known": (
        "stands",
        also(
            marks(780_000, None, 781_000),
            toes(164_500, 164_500),
            in_piece(0, A, "heel", reference_um=-151_500),
            in_piece(0, B, "heel", reference_um=-151_500),
        ),
        also(
            marks(780_000, None, 781_000),
            toes(164_500, 163_999),
            in_piece(0, A, "heel", reference_um=-151_500),
            in_piece(0, B, "heel", reference_um=-151_500),
        ),
        ["W-1 B-1 on K-1 ski B: the toe piece misses the boot by 0.501 mm"],
    ),
    "a reference entered, both marks known": (
        "stands",
        also(
            marks(780_000, 777_000, 781_000),
            toes(164_500, 167_500),
            in_piece(0, A, "heel", reference_um=-151_500),
            in_piece(0, B, "heel", reference_um=-148_500),
        ),
        also(
            marks(780_000, 777_000, 781_000),
            toes(164_500, 166_999),
            in_piece(0, A, "heel", reference_um=-151_500),
            in_piece(0, B, "heel", reference_um=-148_500),
        ),
        ["W-1 B-1 on K-1 ski B: the toe piece misses the boot by 0.501 mm"],
    ),
    "a reference entered, neither mark known": (
        "stands",
        also(
            marks(None, None, 781_000), toes(163_500, 163_500), in_piece(0, B, "heel", reference_um=-152_500)
        ),
        also(
            marks(None, None, 781_000), toes(163_500, 164_001), in_piece(0, B, "heel", reference_um=-152_500)
        ),
        ["W-1 B-1 on K-1 ski B: the toe piece misses the boot by 0.501 mm"],
    ),
    "ski A's mark for ski B": (
        "stands",
        NOTHING,
        also(toes(163_500, 163_500), in_piece(0, B, "heel", reference_um=-152_500)),
        [
            "W-1 B-1 on K-1 ski B: the toe piece misses the boot by 3 mm",
            "W-1 B-1 on K-1 ski B: the heel piece misses the boot by 3 mm",
        ],
    ),
}


@pytest.mark.parametrize("name", ROWS)
def test_the_rule_holds_at_its_limit_and_says_why_one_step_beyond(name: str) -> None:
    rule, allowed, refused, words = ROWS[name]
    assert said(rule, allowed) == []
    assert said(rule, refused) == words


K_3_ALONE = in_plan(sets=plan().sets[2:3])
ASKED_MM = {
    # knowledge, state, policy -> least distance of a new hole: spacing 10, bench 0.5, and what these add
    "measured here": ({}, {}, 10.5),
    "drilled here": ({"knowledge": Knowledge.DRILLED_HERE}, {}, 11),
    "measured bare": ({"knowledge": Knowledge.MEASURED_BARE}, {}, 11),
    "binding drops in": ({"knowledge": Knowledge.BINDING_DROPS_IN}, {}, 11.5),
    "batch assumed": ({"knowledge": Knowledge.BATCH_ASSUMED}, {}, 12),
    "template": ({"knowledge": Knowledge.TEMPLATE}, {}, 12.5),
    "suspected": ({"knowledge": Knowledge.SUSPECTED}, {}, 13.5),
    "open": ({}, {"extra_open_mm": "0.1"}, 10.6),
    "screwed": ({"state": HoleState.SCREWED}, {"extra_screwed_mm": "0.2"}, 10.7),
    "plugged": ({"state": HoleState.PLUGGED}, {"extra_plugged_mm": "0.3"}, 10.8),
    "insert": ({"state": HoleState.INSERT}, {"extra_insert_mm": "0.4"}, 10.9),
    "stripped": ({"state": HoleState.STRIPPED}, {"extra_stripped_mm": "0.5"}, 11),
    "another spacing": ({}, {"spacing_mm": "12.001"}, 12.501),
    "another bench": ({}, {"bench_error_mm": "0.75"}, 10.75),
    "a wall wider than the spacing: 8 + 3.6/2 + 3.6/2": ({}, {"wall_min_mm": "8"}, 12.1),
    "a wall that asks for less": ({}, {"wall_min_mm": "6"}, 10.5),
    "a wall beside a wide hole: 8 + 3.6/2 + 6/2": ({"diameter_um": 6000}, {"wall_min_mm": "8"}, 13.3),
    "half a micrometre of wall is rounded up": ({"diameter_um": 3601}, {"wall_min_mm": "8"}, 12.101),
    "a wall beside a hole of unknown width: the widest drill": (
        {"diameter_um": None},
        {"wall_min_mm": "8"},
        8 + 1.8 + 2.05 + 0.5,
    ),
}


@pytest.mark.parametrize("side", Side)
@pytest.mark.parametrize("name", ASKED_MM)
def test_the_distance_asked_of_an_old_hole_grows_with_what_is_not_known(name: str, side: Side) -> None:
    facts, values, asked_mm = ASKED_MM[name]
    asked_um = round(asked_mm * 1000)
    at = {A: 142_500, B: 138_500}[side]

    def near(away_um: int) -> list[str]:
        old = hole("old", at, 18_000 + away_um, **facts)
        return said("spacing", also(K_3_ALONE, policy(**values), with_holes("K-3", side, old)))

    assert near(asked_um) == []
    state, known = facts.get("state", HoleState.OPEN), facts.get("knowledge", Knowledge.MEASURED_HERE)
    assert near(asked_um - 1) == [
        f"W-2 B-3 on K-3 ski {side}: toe hole 1 at ({at / 1000:g}, 18) mm is {(asked_um - 1) / 1000:g} mm from"
        f" the {state} hole old ({known}); the shop's rule asks for {asked_um / 1000:g} mm"
    ]


def test_a_core_nobody_knows_is_drilled_with_the_widest_drill_as_far_as_a_wall_goes() -> None:
    """8 + 4.1 / 2 + 3.6 / 2 + 0.5 of bench error."""
    for away_um, words in ((12_350, 0), (12_349, 1)):
        old = hole("old", 142_500, 18_000 + away_um)
        spoil = also(
            K_3_ALONE,
            policy(wall_min_mm="8"),
            ledger_pair("K-3", construction=None),
            with_holes("K-3", A, old),
        )
        assert len(said("spacing", spoil)) == words
