"""The boundary cases by name, one hole against one hole where possible."""

from __future__ import annotations

import pytest

from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.pairs import Construction
from fleet.facts.patterns import Follows, PieceName
from planner.geometry.placement.legal import legal_offsets, offsets_only
from planner.geometry.placement.ways import ways_for
from planner.plan.values import Rung


def one_hole(make, *, travel=(0, 0), diameter_mm=None, follows=Follows.CENTRE, places=((0, 0),)):
    """A pattern of one piece about the boot centre."""
    return make.Pattern(
        name="one",
        binding_model="one",
        pieces=(make.piece(PieceName.TOE, follows, places, travel=travel, diameter_mm=diameter_mm),),
    )


def legal_mm(make, old, *, pattern=None, policy=None, construction=Construction.NO_METAL, **ski):
    """Legal offsets in mm for a pair whose two skis carry these holes."""
    found = legal_offsets(
        pair=make.pair(make.ski(Side.A, old, **ski), make.ski(Side.B, old, **ski), construction=construction),
        pattern=pattern or one_hole(make),
        bsl_um=300_000,
        policy=policy or make.p10(),
    )
    return [(low / 1000, high / 1000) for low, high in offsets_only(found)]


def test_exactly_10_000_mm_is_legal_and_9_999_is_not(make):
    plugged = HoleState.PLUGGED
    assert legal_mm(make, make.holes([(-10, 0), (10, 0)], state=plugged)) == [(0, 0)]
    assert legal_mm(make, make.holes([(-10, 0), (9.999, 0)], state=plugged)) == []


def test_a_6_8_10_triangle_is_exactly_far_enough(make):
    """Floats say 9.999999999999998 or 10.000000000000002 as they please; squares do not."""
    old = make.holes([(-6, 8), (6, 8), (-6, -8), (6, -8)], state=HoleState.PLUGGED)
    assert (0.0, 0.0) in legal_mm(make, old)


def test_reuse_at_exactly_half_a_millimetre(make):
    policy = make.p10(offset_limit_mm="2")
    assert legal_mm(make, make.holes([(0, 0.3)]), policy=policy) == [(-0.4, 0.4)]
    assert legal_mm(make, make.holes([(0, 0.5)]), policy=policy) == [(0, 0)]
    assert legal_mm(make, make.holes([(0, 0.501)]), policy=policy) == []


def test_a_reuse_window_half_eaten_by_another_hole(make):
    old = make.holes([(0, 0)]) + make.holes([(10.2, 0)], state=HoleState.PLUGGED, name="p")
    assert legal_mm(make, old, policy=make.p10(offset_limit_mm="2")) == [(-0.5, 0.2)]


def test_bench_error_and_allowance_belong_to_the_drill_not_to_a_screw_in_an_old_hole(make):
    """Two old holes 10.2 mm apart stay as good as they are; a new one would keep 11.5 from the second."""
    old = make.holes([(0, 0)]) + make.holes(
        [(10.2, 0)], state=HoleState.PLUGGED, knowledge=Knowledge.BINDING_DROPS_IN, name="p"
    )
    policy = make.p10(offset_limit_mm="2", bench_error_mm="0.5", allowance_binding_drops_in_mm="1")
    assert legal_mm(make, old, policy=policy) == [(-0.5, 0.2)]


@pytest.mark.parametrize(
    ("between_old", "legal"),
    [("", [(-0.5, 0.2)]), ("10", [(-0.5, 0.2)]), ("9.7", [(-0.5, 0.5)]), ("9.701", [(-0.5, 0.499)])],
)
def test_the_shop_may_set_what_a_screw_in_an_old_hole_keeps_from_the_others(make, between_old, legal):
    """Nothing set: what a new hole keeps. The other hole is 10.2 mm away; the screw may sit 0.5 mm off."""
    old = make.holes([(0, 0)]) + make.holes([(10.2, 0)], state=HoleState.PLUGGED, name="p")
    policy = make.p10(offset_limit_mm="2", reuse_spacing_mm=between_old)
    assert legal_mm(make, old, policy=policy) == legal


def test_an_isolated_legal_point(make):
    pattern = make.t4h4()
    found = legal_offsets(
        pair=make.twin_pair(make.mount_holes_mm(pattern, 305)),
        pattern=pattern,
        bsl_um=325_000,
        policy=make.p10(offset_limit_mm="5"),
    )
    assert offsets_only(found) == [(0, 0)]


def test_an_insert_takes_its_own_screw_only(make):
    policy = make.p10(offset_limit_mm="2")
    insert = make.holes([(0, 0)], state=HoleState.INSERT, diameter_mm=6)
    assert legal_mm(make, insert, policy=policy) == []
    assert legal_mm(make, insert, pattern=one_hole(make, diameter_mm=6), policy=policy) == [(-0.5, 0.5)]
    like_a_drill = make.holes([(0, 0)], state=HoleState.INSERT, diameter_mm=3.6)
    assert legal_mm(make, like_a_drill, pattern=one_hole(make, diameter_mm=3.6), policy=policy) == []


@pytest.mark.parametrize("state", [HoleState.STRIPPED, HoleState.PLUGGED])
def test_a_stripped_or_plugged_hole_is_never_reused_and_still_keeps_its_distance(make, state):
    assert legal_mm(make, make.holes([(0, 0)], state=state)) == [(-10, -10), (10, 10)]


@pytest.mark.parametrize("state", [HoleState.OPEN, HoleState.SCREWED])
@pytest.mark.parametrize("knowledge", list(Knowledge))
def test_only_a_hole_known_well_enough_is_reused(make, state, knowledge):
    old = make.holes([(0, 0)], state=state, knowledge=knowledge)
    reusable = knowledge.value in ("measured here", "drilled here", "measured bare", "binding drops in")
    assert ((-0.5, 0.5) in legal_mm(make, old)) == reusable


@pytest.mark.parametrize(
    ("construction", "old_mm", "listed_mm", "reused"),
    [
        (Construction.NO_METAL, 3.6, None, True),
        (Construction.NO_METAL, 4.1, 4.1, False),
        (Construction.METAL, 4.1, None, True),
        (Construction.METAL, None, None, False),
        (None, 4.1, 4.1, True),
        (None, 4.1, None, False),
    ],
)
def test_a_reused_hole_has_the_drill_s_own_diameter(make, construction, old_mm, listed_mm, reused):
    old = make.holes([(0, 0)], diameter_mm=old_mm)
    pattern = one_hole(make, diameter_mm=listed_mm)
    found = legal_mm(
        make, old, pattern=pattern, construction=construction, policy=make.p10(offset_limit_mm="2")
    )
    assert found == ([(-0.5, 0.5)] if reused else [])


def test_an_area_not_inspected_opens_nothing_and_reuse_needs_none(make):
    assert legal_mm(make, (), inspected_mm=[]) == []
    assert legal_mm(make, (), inspected_mm=[(-3, 4), (4, 6)]) == [(-3, 6)]
    assert legal_mm(make, make.holes([(0, 0)]), inspected_mm=[]) == [(-0.5, 0.5)]


def test_nothing_new_where_the_mounting_zone_is_unknown(make):
    assert legal_mm(make, (), zone_mm=None) == []
    assert legal_mm(make, make.holes([(0, 0)]), zone_mm=None) == [(-0.5, 0.5)]


def test_new_holes_keep_off_the_edges_of_the_zone(make):
    policy = make.p10(edge_mm="8")
    assert legal_mm(make, (), zone_mm=(10, 11, 45), policy=policy) == [(-2, 3)]
    assert legal_mm(make, (), zone_mm=(100, 100, 8), policy=policy) == [(-10, 10)]
    assert legal_mm(make, (), zone_mm=(100, 100, 7.999), policy=policy) == []


@pytest.mark.parametrize(
    ("knowledge", "asked_mm"),
    [(k, a) for k, a in zip(Knowledge, (10.5, 11, 11, 11.5, 12, 12.5, 13.5), strict=True)],
)
def test_the_allowance_grows_with_ignorance(make, knowledge, asked_mm):
    """Our defaults, no source: 10 spacing, 0.5 bench error, and 0 / 0.5 / 0.5 / 1 / 1.5 / 2 / 3 mm."""
    from fleet.facts.policy import default_policy

    old = make.holes([(0, 0)], state=HoleState.PLUGGED, knowledge=knowledge)
    policy = default_policy().with_values(offset_limit_mm="20")
    assert legal_mm(make, old, policy=policy) == [(-20, -asked_mm), (asked_mm, 20)]


def test_the_state_of_an_old_hole_may_ask_for_more(make):
    policy = make.p10(offset_limit_mm="20", extra_stripped_mm="2")
    for state, asked_mm in ((HoleState.STRIPPED, 12), (HoleState.PLUGGED, 10)):
        old = make.holes([(0, 0)], state=state)
        assert legal_mm(make, old, policy=policy) == [(-20, -asked_mm), (asked_mm, 20)]


@pytest.mark.parametrize(
    ("diameter_mm", "asked_mm"),
    [(3.6, 10), (9, 11.3), (None, 10)],
)
def test_a_minimum_wall_counts_from_edge_to_edge(make, diameter_mm, asked_mm):
    """Wall 5 mm: a 3.6 mm drill beside a 9 mm insert hole keeps 5 + 1.8 + 4.5 = 11.3 mm, by hand."""
    old = make.holes([(0, 0)], state=HoleState.INSERT, diameter_mm=diameter_mm)
    policy = make.p10(offset_limit_mm="20", wall_min_mm="5")
    assert legal_mm(make, old, policy=policy) == [(-20, -asked_mm), (asked_mm, 20)]


def test_two_screws_never_claim_one_old_hole(make):
    """Two wanted holes 0.6 mm apart both fall within 0.5 mm of the only old one between them."""
    pattern = one_hole(make, places=((-0.3, 0), (0.3, 0)))
    policy = make.p10(offset_limit_mm="2")
    assert legal_mm(make, make.holes([(0, 0)]), pattern=pattern, policy=policy) == []
    two = make.holes([(-0.2, 0), (0.2, 0)])
    assert legal_mm(make, two, pattern=pattern, policy=policy) == [(0, 0)]


def test_two_pieces_never_claim_one_old_hole(make):
    """A plate hole and a toe hole at one place would both go into the one old hole there."""
    pattern = make.Pattern(
        name="two",
        binding_model="two",
        pieces=(
            make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)]),
            make.piece(PieceName.PLATE, Follows.CENTRE, [(0.4, 0)]),
        ),
    )
    assert legal_mm(make, make.holes([(0, 0)]), pattern=pattern) == []


def test_a_hole_entered_twice_spoils_nothing(make):
    old = make.holes([(0, 0), (0.2, 0)])
    found = legal_mm(make, old, policy=make.p10(offset_limit_mm="2"))
    assert found == [(-0.3, 0.5)]  # where the screw is within 0.5 mm of both entries


def test_new_holes_of_two_pieces_keep_the_spacing_from_each_other(make):
    """The plate travels 5 mm forward only: its hole finds 10 mm from the toe's at the end of the travel."""
    pattern = make.Pattern(
        name="two",
        binding_model="two",
        pieces=(
            make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)]),
            make.piece(PieceName.PLATE, Follows.CENTRE, [(-5, 0)], travel=(0, 5)),
        ),
    )
    assert legal_mm(make, (), pattern=pattern) == [(-10, 10)]
    short = make.Pattern(
        name="two",
        binding_model="two",
        pieces=(
            make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)]),
            make.piece(PieceName.PLATE, Follows.CENTRE, [(-5, 0)], travel=(0, 4.999)),
        ),
    )
    assert legal_mm(make, (), pattern=short) == []


def test_a_pair_that_has_had_its_mounts_is_only_reused(make):
    old = make.mount_holes_mm(make.t4h4(), 305)
    for earlier, rungs in ((1, {Rung.SAME_HOLES, Rung.ALL_NEW}), (2, {Rung.SAME_HOLES})):
        pair = make.twin_pair(old, earlier_mounts=earlier)
        ways = ways_for(pair=pair, pattern=make.t4h4(), bsl_um=305_000, policy=make.p10(), mounted=False)
        assert {way.rung for way in ways} == rungs
    fresh = {"pattern": make.t4h4(), "bsl_um": 335_000, "policy": make.p10(), "mounted": False}
    assert [w.rung for w in ways_for(pair=make.twin_pair(old, earlier_mounts=1), **fresh)] == [Rung.ALL_NEW]
    assert ways_for(pair=make.twin_pair(old, earlier_mounts=2), **fresh) == ()


def test_a_sole_outside_the_pattern_s_range_has_no_offset(make):
    from dataclasses import replace

    pattern = replace(make.t4h4(), bsl_min_um=290_000, bsl_max_um=320_000)
    pair = make.twin_pair([])
    legal = {
        bsl: bool(legal_offsets(pair=pair, pattern=pattern, bsl_um=make.um(bsl), policy=make.p10()))
        for bsl in (289, 290, 320, 321)
    }
    assert legal == {289: False, 290: True, 320: True, 321: False}


def test_a_pin_line_pattern_stays_at_the_mark_and_counts_offsets_from_the_pin_line(make):
    """Telemark by pin line (common practice, no source): the toe end lies 60 mm before the mark."""
    pattern = make.Pattern(
        name="pins",
        binding_model="pins",
        pieces=(
            make.piece(PieceName.TOE, Follows.MARK, [(20, 15), (20, -15), (-20, 0)]),
            make.piece(PieceName.HEEL, Follows.HEEL, [(0, 12), (0, -12)]),
        ),
    )
    (way,) = ways_for(
        pair=make.twin_pair([]),
        pattern=pattern,
        bsl_um=310_000,
        policy=make.p10(),
        mounted=False,
        pin_um=60_000,
    )
    ski = way.skis[Side.A]
    assert way.offset_um == 0
    assert [h.x_um for h in ski.holes] == [20_000, 20_000, -20_000, -250_000, -250_000]
    assert ski.from_tail_um == make.um(800 + 60 - 155)


def test_marks_that_differ_or_are_unknown_are_to_be_measured_first(make):
    from planner.geometry.placement.frames import doubt_about_marks

    def doubt(a_mm, b_mm):
        pair = make.pair(make.ski(Side.A, mark_mm=a_mm), make.ski(Side.B, mark_mm=b_mm))
        return doubt_about_marks(pair, difference_um=1_000)

    assert doubt(800, 801) is None
    assert doubt(800, 803) == "the printed marks differ: ski B's sits 3.0 mm closer to the tip than ski A's"
    assert doubt(None, 803) == "mark to tail is not known on ski A"
