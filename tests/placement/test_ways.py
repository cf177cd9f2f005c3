"""The best way of each rung: what a technician would put on the order, and why not the others."""

from __future__ import annotations

import pytest

from fleet.facts.holes import HoleState, Mount, Side
from planner.geometry.placement.ways import WayFinder, ways_for
from planner.plan.values import Rung


def old_mount_ways(make, bsl_mm, policy=None, **travel):
    pattern = make.t4h4(**travel)
    return {
        way.rung: way
        for way in ways_for(
            pair=make.twin_pair(make.mount_holes_mm(make.t4h4(), 305)),
            pattern=pattern,
            bsl_um=make.um(bsl_mm),
            policy=policy or make.p10(bench_error_mm="0.5"),
            mounted=False,
        )
    }


@pytest.mark.parametrize(
    ("bsl_mm", "offset_mm", "clear_mm"),
    [(317, 6.0, 12.0), (320, 7.5, 15.0), (290, 7.5, 15.0)],
)
def test_a_reused_toe_stands_where_its_holes_are(make, bsl_mm, offset_mm, clear_mm):
    """Worked by hand: the tolerance only admits a reuse, the offset is half the difference."""
    way = old_mount_ways(make, bsl_mm)[Rung.PART_REUSED]
    assert way.offset_um == -make.um(offset_mm)  # of two alike the one toward the tail
    assert way.drilled == 8
    assert way.clearance_um == make.um(clear_mm - 10.5)
    assert {hole.do for hole in way.skis[Side.A].holes} == {"reuse", "drill"}


@pytest.mark.parametrize(("bsl_mm", "offset_mm"), [(317, 6.0), (320, 7.5)])
def test_of_two_places_as_good_both_are_named_and_the_one_toward_the_tail_first(make, bsl_mm, offset_mm):
    """Toe in its old holes, or heel in them: as many new holes, as far from the mark, the other way."""
    pattern = make.t4h4()
    finder = WayFinder(
        pair=make.twin_pair(make.mount_holes_mm(pattern, 305)),
        pattern=pattern,
        policy=make.p10(bench_error_mm="0.5"),
        mounted=False,
    )
    places = list(finder.alike(Rung.PART_REUSED, make.um(bsl_mm), cap_um=5_000))
    assert [way.offset_um for way in places] == [-make.um(offset_mm), make.um(offset_mm)]
    assert len({(way.rung, way.drilled, way.plugged, way.minutes) for way in places}) == 1
    assert places[0] == finder.way(Rung.PART_REUSED, make.um(bsl_mm))
    assert list(finder.alike(Rung.SAME_HOLES, make.um(bsl_mm), cap_um=5_000)) == []


@pytest.mark.parametrize(("limit_mm", "there"), [("7.5", True), ("7.4", False)])
def test_asked_by_rung_alone_a_stand_at_the_limit_is_found(make, limit_mm, there):
    """320 mm into holes for 305: 7.5 mm off the mark, with ski B's mark 3 mm elsewhere."""
    pattern = make.t4h4()
    policy = make.p10(bench_error_mm="0.5", offset_limit_mm=limit_mm)
    pair = make.twin_pair(make.mount_holes_mm(pattern, 305))
    asked = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=False)
    assert (asked.way(Rung.PART_REUSED, make.um(320)) is not None) is there


@pytest.mark.parametrize("bsl_mm", [295, 315])
def test_a_heel_exactly_on_the_limit_is_not_planned_with_half_a_millimetre_of_bench_error(make, bsl_mm):
    assert old_mount_ways(make, bsl_mm) == {}
    assert old_mount_ways(make, bsl_mm, make.p10())[Rung.PART_REUSED].clearance_um == 0


def test_half_a_millimetre_of_heel_travel_makes_315_plannable(make):
    way = old_mount_ways(make, 315, heel_travel=(0.5, 0.5))[Rung.PART_REUSED]
    assert abs(way.offset_um) == 5_000
    heel = next(p for p in way.skis[Side.A].pieces if p.piece == "heel")
    assert abs(heel.slide_um) == 500
    assert way.clearance_um == 0


def test_the_same_sole_goes_into_the_same_holes(make):
    ways = old_mount_ways(make, 305)
    assert set(ways) == {Rung.SAME_HOLES}
    same = ways[Rung.SAME_HOLES]
    assert (same.offset_um, same.drilled, same.plugged, same.clearance_um) == (0, 0, 0, None)
    assert same.minutes == 14 + 4


@pytest.mark.parametrize(
    ("bsl_mm", "without_a_drill"),
    [(289, False), (289.4, False), (289.5, True), (290, True), (320, True), (320.5, True), (320.6, False)],
)
def test_a_track_that_is_too_short_does_not_grow_by_going_back_into_its_holes(make, bsl_mm, without_a_drill):
    """A mount for 305 whose heel travels 15 mm each way: taken off and put back into the same holes it serves
    what it served before, and half a millimetre of measuring besides; not half a millimetre a piece.
    """
    pattern = make.t4h4(heel_travel=(15, 15))
    pair = make.twin_pair(make.mount_holes_mm(pattern, 305))
    ways = ways_for(pair=pair, pattern=pattern, bsl_um=make.um(bsl_mm), policy=make.p10(), mounted=False)
    assert any(way.drilled == 0 for way in ways) == without_a_drill


def test_only_the_heel_travels_so_a_315_sole_stands_5_mm_behind_the_mark(make):
    """Derived: if only the heel piece travels for a sole change d, the boot centre moves by d/2."""
    pattern = make.t4h4(heel_travel=(15, 15))
    pair = make.twin_pair(
        make.mount_holes_mm(pattern, 305),
        mounts=[Mount(pattern="T4/H4", bsl_um=305_000, offset_um=0, mounted_on="2024-11-02")],
    )

    def standing(bsl_um: int):
        ways = ways_for(pair=pair, pattern=pattern, bsl_um=bsl_um, policy=make.p10(), mounted=True)
        return {way.rung: way for way in ways if way.rung in (Rung.AS_IS, Rung.ADJUST)}

    assert {bsl for bsl in range(285, 326) if standing(make.um(bsl))} == set(range(290, 321))
    way = standing(315_000)[Rung.ADJUST]
    assert way.offset_um == -5_000
    assert [piece.slide_um for piece in way.skis[Side.B].pieces] == [0, -10_000]
    assert (way.minutes, way.drilled, way.plugged) == (6 + 4, 0, 0)
    assert standing(305_000)[Rung.AS_IS].minutes == 0


def test_what_the_way_leaves_open_is_plugged_and_what_is_plugged_stays(make):
    old = make.mount_holes_mm(make.t4h4(), 305)
    more = make.holes([(120, 0)], state=HoleState.PLUGGED, name="p")
    pair = make.pair(
        make.ski(Side.A, make.holes(old, name="a") + more),
        make.ski(Side.B, make.holes(old, name="b")),
        mounts=[Mount(pattern="other", bsl_um=305_000, offset_um=0, mounted_on="2024-11-02")],
    )
    (way,) = ways_for(
        pair=pair, pattern=make.t4h4(), bsl_um=335_000, policy=make.p10(bench_error_mm="0.5"), mounted=False
    )
    assert way.rung is Rung.ALL_NEW
    assert way.offset_um == 0
    assert way.skis[Side.A].plug == tuple(f"a{n}" for n in range(1, 9))
    assert way.plugged == 16
    assert way.minutes == 8 + 24 + 16 + 14 + 4  # take off, 16 x 1.5, 16 x 1, mount, check


def test_new_holes_carry_drill_depth_and_nearest_neighbour(make):
    way = old_mount_ways(make, 317)[Rung.PART_REUSED]
    drilled = [hole for hole in way.skis[Side.A].holes if hole.do == "drill"]
    assert {(hole.diameter_um, hole.depth_um) for hole in drilled} == {(3_600, 9_000)}
    assert {(hole.nearest_um, hole.nearest_id) for hole in drilled} == {
        (12_000, f"a{number}") for number in (5, 6, 7, 8)
    }


def test_measured_holes_that_scatter_are_reused_at_their_best_fit(make):
    """Toe holes 0.2 mm off one way, heel holes 0.2 mm off the other: the boot stands between."""
    pattern = make.t4h4()
    places = [(x + (0.2 if x > 0 else -0.2), y) for x, y in make.mount_holes_mm(pattern, 305)]
    ways = ways_for(
        pair=make.twin_pair(places), pattern=pattern, bsl_um=305_000, policy=make.p10(), mounted=False
    )
    same = next(way for way in ways if way.rung is Rung.SAME_HOLES)
    assert same.offset_um == 0
    assert [hole.x_um for hole in same.skis[Side.A].holes] == [make.um(x) for x, _ in places]


def test_a_marks_difference_keeps_new_holes_alike_by_the_tail(make):
    pair = make.pair(make.ski(Side.A), make.ski(Side.B, mark_mm=803))
    (way,) = ways_for(pair=pair, pattern=make.t4h4(), bsl_um=305_000, policy=make.p10(), mounted=False)
    a, b = way.skis[Side.A], way.skis[Side.B]
    assert [h.x_um for h in a.holes] == [h.x_um + 3_000 for h in b.holes]
    assert a.from_tail_um == b.from_tail_um == 800_000
