"""Which jig drills the new holes of a way, if any does."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.facts.holes import Mount, PieceSlide, Side
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Follows, Pattern, PieceName
from fleet.facts.standing import Place
from planner.geometry.placement.jig import jig_for
from planner.geometry.placement.ways import WayFinder
from planner.plan.values import How, Jig, PlannedHole, PlannedSki, Rung, Way
from tests.placement.conftest import HEEL_HOLES, TOE_HOLES, mount_holes_mm, p10, piece, t4h4, twin_pair, um

ERROR = um(0.5)


def skis_with(
    pattern: Pattern, at_mm: dict[str, float], *, b_mm: float = 0.0, y_mm: float = 0.0
) -> dict[Side, PlannedSki]:
    """Both skis with the named pieces drilled for a listed end there; ski B's so much further to the tip."""
    return {
        side: PlannedSki(
            from_tail_um=None,
            pieces=(),
            holes=tuple(
                PlannedHole(
                    piece=each.name.value,
                    number=number,
                    x_um=um(at_mm[each.name.value] + (b_mm if side is Side.B else 0.0)) + hole.x_um,
                    y_um=hole.y_um + um(y_mm),
                    diameter_um=um(3.6),
                    depth_um=um(9),
                    do="drill",
                    hole_id=None,
                    nearest_um=None,
                    nearest_id=None,
                )
                for each in pattern.pieces
                if each.name.value in at_mm
                for number, hole in enumerate(each.holes, start=1)
            ),
            plug=(),
        )
        for side in Side
    }


def jig(at_mm: dict[str, float], *, pattern: Pattern | None = None, bsl_mm: float = 300, **more: float):
    own = pattern or t4h4()
    found = jig_for(skis_with(own, at_mm, **more), own, bsl_um=um(bsl_mm), bench_error_um=ERROR)
    return None if found is None else (found.sole_um / 1000, found.centre_um / 1000)


@pytest.mark.parametrize(
    ("at_mm", "setting"),
    [
        ({"toe": 150, "heel": -150}, (300, 0)),
        ({"toe": 153.5, "heel": -146.5}, (300, 3.5)),
        ({"toe": 138, "heel": -146}, (284, -4)),
        ({"toe": 150.5, "heel": -150}, (300.5, 0)),  # a quarter of a millimetre off at both ends
        ({"heel": -118}, (300, 32)),
        ({"toe": 146}, (300, -4)),
    ],
)
def test_one_sole_and_one_place_of_the_centre_drill_all_pieces(
    at_mm: dict[str, float], setting: tuple[float, float]
) -> None:
    assert jig(at_mm) == setting


def test_a_hole_half_a_millimetre_off_is_within_the_bench_error_and_a_micrometre_more_is_not() -> None:
    """Ski B lies apart from ski A: halfway between them the jig is half of that off for both."""
    assert jig({"toe": 150, "heel": -150}, b_mm=1.0) == (300, 0.5)
    assert jig({"toe": 150, "heel": -150}, b_mm=1.001) is None
    assert jig({"toe": 150, "heel": -150}, y_mm=0.5) == (300, 0)
    assert jig({"toe": 150, "heel": -150}, y_mm=0.501) is None


def test_along_and_across_count_together() -> None:
    # 0.3 and 0.4 mm are 0.5 mm apart (3-4-5)
    assert jig({"toe": 150, "heel": -150}, b_mm=0.6, y_mm=0.4) is None, "no half millimetre lies between"
    assert jig({"toe": 150.3, "heel": -149.7}, y_mm=0.4) == (300, 0.5)
    assert jig({"toe": 150.25, "heel": -149.75}, y_mm=0.434) is None


def test_marks_that_lie_by_more_than_the_bench_error_leave_no_one_setting_for_both_skis() -> None:
    assert jig({"toe": 147, "heel": -153}, b_mm=3.0) is None


def test_a_jig_is_not_set_to_a_sole_that_its_pattern_does_not_take() -> None:
    short = replace(t4h4(), bsl_max_um=um(300))
    assert jig({"toe": 155, "heel": -155}, pattern=short) is None
    assert jig({"toe": 155, "heel": -155}) == (310, 0)


@pytest.mark.parametrize(
    ("bsl_mm", "sole_mm"),
    [(301.1, 301.1), (301.05, 301), (301.249, 301), (301.251, 301.5), (300.751, 301), (300.749, 300.5)],
)
def test_a_sole_that_no_bench_reads_is_set_to_the_nearest_half_millimetre(bsl_mm, sole_mm) -> None:
    """Only the toe is drilled, so the jig's centre goes where the toe wants it."""
    found = jig({"toe": 150.5}, bsl_mm=bsl_mm)
    assert found is not None
    assert found[0] == sole_mm


def test_a_third_piece_goes_with_the_jigs_centre() -> None:
    plate = piece(PieceName.PLATE, Follows.CENTRE, [(20, 15), (20, -15), (-40, 0)])
    three = Pattern(
        name="three",
        binding_model="three",
        pieces=(
            piece(PieceName.TOE, Follows.TOE, TOE_HOLES),
            plate,
            piece(PieceName.HEEL, Follows.HEEL, HEEL_HOLES),
        ),
    )
    assert jig({"toe": 152, "plate": 2, "heel": -148}, pattern=three) == (300, 2)
    assert jig({"toe": 152, "plate": 0, "heel": -148}, pattern=three) is None


def test_nothing_drilled_needs_no_jig() -> None:
    assert jig({}) is None


def mounted(pair: Pair, *, slides: tuple[PieceSlide, ...] = ()) -> Pair:
    mount = Mount(pattern="T4/H4", bsl_um=um(305), offset_um=0, mounted_on="2024-11-02", slides=slides)
    return replace(pair, mounts=(mount,), place=Place.BACK)


def ways(pair: Pair, pattern: Pattern, bsl_mm: float, *, on: bool) -> dict[Rung, Way]:
    finder = WayFinder(pair=pair, pattern=pattern, policy=p10(bench_error_mm="0.5"), mounted=on)
    return {way.rung: way for way in finder.ways(um(bsl_mm))}


def test_a_way_says_of_each_piece_what_brings_it_there() -> None:
    """317 over an old 305: the toe goes into its old holes, the heel is drilled by a jig for 317 at -6 mm."""
    found = ways(twin_pair(mount_holes_mm(t4h4(), 305)), t4h4(), 317, on=False)[Rung.PART_REUSED]
    assert found.jig == Jig(sole_um=um(317), centre_um=found.offset_um)
    for side in Side:
        assert {p.piece: (p.how, p.stands_um) for p in found.skis[side].pieces} == {
            "toe": (How.BY_HAND if found.offset_um < 0 else How.JIG, None),
            "heel": (How.JIG if found.offset_um < 0 else How.BY_HAND, None),
        }


def test_where_no_jig_serves_the_new_holes_are_drilled_by_a_template() -> None:
    """One old hole bars the heel of a 317 sole, and the jig of this pattern is set to nothing but 317 mm."""
    pattern = replace(t4h4(heel_travel=(15, 15)), bsl_min_um=um(317), bsl_max_um=um(317))
    barred = twin_pair([(-103.5, 0), (-143.5, 18), (-103.5, 18)])
    found = ways(barred, pattern, 317, on=False)[Rung.ALL_NEW]
    assert found.jig is None
    assert {p.how for ski in found.skis.values() for p in ski.pieces} == {How.TEMPLATE}


@pytest.mark.parametrize(
    ("slides", "stands"),
    [((), (0, None)), ((("toe", 152_500, 0), ("heel", -152_500, 2_000)), (0, 2_000))],
)
def test_how_a_mounted_piece_is_slid_now_is_what_the_ledger_says_and_else_not_known(
    slides: tuple[tuple[str, int, int], ...], stands: tuple[int | None, ...]
) -> None:
    """A toe piece without travel stands where it is screwed, whatever anybody wrote."""
    pattern = t4h4(heel_travel=(15, 15))
    kept = tuple(PieceSlide(piece=p, reference_um=r, slide_um=s) for p, r, s in slides)
    pair = mounted(twin_pair(mount_holes_mm(pattern, 305)), slides=kept)
    way = ways(pair, pattern, 315, on=True)[Rung.ADJUST]
    for side in Side:
        assert tuple(p.stands_um for p in way.skis[side].pieces) == stands
        assert {p.how for p in way.skis[side].pieces} == {How.SLIDE}
    heel = way.skis[Side.B].pieces[1]
    assert heel.move_um == (None if stands[1] is None else heel.slide_um - 2_000)
