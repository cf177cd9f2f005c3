"""How far a piece reaches in old holes and new ones, and how two pieces go together: the last micrometre."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.pairs import Construction
from fleet.facts.patterns import Follows, Piece, PieceName
from planner.geometry.placement.frames import Stance, frame_of, skis_alike
from planner.geometry.placement.intervals import EVERYWHERE
from planner.geometry.placement.legal import LegalFinder, legal_offsets, offsets_only
from planner.geometry.placement.rule import rule_for
from planner.geometry.placement.stands import Stand, StandReach, missed_um, planned_stands, reach
from planner.geometry.placement.sweep import RoleStretch, stretches
from planner.geometry.placement.untouched import Twins
from planner.geometry.placement.ways import ways_for
from planner.plan.values import Rung
from tests.placement import conftest as make

A, B = Side.A, Side.B
RULE = rule_for(make.p10(), Construction.NO_METAL)
SOLE = Stance(bsl_um=300_000)


def stand(
    *,
    a: int | None = None,
    b: int | None = None,
    low: int = 0,
    high: int = 0,
    together: tuple[int, int] = (-(10**7), 10**7),
) -> Stand:
    """Where it stands on each ski, None where that ski is drilled from ``low`` to ``high``."""
    return Stand(
        claims={A: (None,), B: (None,)},
        fixed={A: a, B: b},
        low=low,
        high=high,
        together=together,
        drilled=0,
        reused=0,
        opened=0,
    )


def heel(back: float = 6, forward: float = 9, follows: Follows = Follows.HEEL) -> Piece:
    return make.piece(PieceName.HEEL, follows, [(0, 0)], travel=(back, forward))


@pytest.mark.parametrize(
    ("of", "hard", "fit"),
    [
        # in old holes on both skis, 0.4 mm apart: 6 back and 9 forward, 0.5 beyond with force
        (stand(a=-150_000, b=-149_600), (-6_100, 9_500), (-5_600, 9_000)),
        (stand(a=-149_600, b=-150_000), (-6_100, 9_500), (-5_600, 9_000)),
        # the limit of 10 mm stands above that
        (stand(a=-145_000, b=-145_000), (-1_500, 10_000), (-1_000, 14_000)),
        (stand(a=-158_000, b=-158_000), (-10_000, 1_500), (-14_000, 1_000)),
        (stand(a=-134_500, b=-134_500), (9_000, 10_000), (9_500, 24_500)),
        (stand(a=-133_500, b=-133_500), (10_000, 10_000), (10_500, 25_500)),
        (stand(a=-133_499, b=-133_499), None, None),
        (stand(a=-169_500, b=-169_500), (-10_000, -10_000), (-25_500, -10_500)),
        (stand(a=-169_501, b=-169_501), None, None),
        # drilled on one ski only
        (stand(a=-150_000, low=-150_700, high=-149_100), (-6_500, 9_500), (-6_000, 9_000)),
        (stand(a=-150_000, low=-140_000, high=-139_000), (4_000, 9_500), (-6_000, 9_000)),
        (stand(b=-150_000, low=-164_000, high=-163_000), (-6_500, -4_000), (-6_000, 9_000)),
        # drilled on both
        (stand(low=-150_000, high=-149_000), (-6_000, 10_000), None),
        (stand(low=-161_000, high=-161_000), (-10_000, -2_000), None),
        (stand(low=-138_000, high=-137_000), (6_000, 10_000), None),
        # where the rule itself lets it stand
        (stand(low=-200_000, high=-100_000, together=(-140_000, -139_000)), (4_000, 10_000), None),
        (stand(low=-200_000, high=-100_000, together=(-165_000, -163_000)), (-10_000, -4_000), None),
        (stand(a=-150_000, b=-150_000, together=(-150_000, -149_900)), (-6_000, 9_100), (-6_000, 9_000)),
    ],
)
def test_the_offsets_that_the_travel_of_a_heel_reaches(of, hard, fit) -> None:
    """The heel end of a 300 sole lies at offset - 150."""
    found = reach(RULE, of, heel(), SOLE)
    if hard is None:
        assert found is None
        return
    assert found is not None
    assert found.hard == hard
    assert found.fit == (fit if fit is not None else EVERYWHERE)


@pytest.mark.parametrize(
    ("of", "reached"),
    [
        (stand(a=500, b=-500), True),
        (stand(a=501, b=0), False),
        (stand(a=0, b=-501), False),
        (stand(low=0, high=0), True),
        (stand(low=1, high=5), False),
        (stand(low=-5, high=-1), False),
        (stand(low=-5, high=5), True),
        (stand(a=400, low=1, high=9), False),
        (stand(low=-5, high=5, together=(0, 0)), True),
        (stand(low=-5, high=5, together=(1, 3)), False),
        (stand(low=-5, high=5, together=(-3, -1)), False),
    ],
)
def test_a_piece_that_stays_at_the_mark_stands_there_or_not_at_all(of, reached) -> None:
    found = reach(RULE, of, heel(follows=Follows.MARK), SOLE)
    assert (None if found is None else (found.hard, found.fit)) == (
        ((-10_000, 10_000), EVERYWHERE) if reached else None
    )
    pinned = reach(RULE, of, heel(follows=Follows.MARK), Stance(bsl_um=300_000, pin_um=60_000))
    assert (None if pinned is None else pinned.hard) == ((-6_000, 9_000) if reached else None)


def missed(toe: Stand, back: Stand, *, toe_travel=(0, 0), heel_travel=(0, 0)) -> int:
    pieces = (
        make.piece(PieceName.TOE, Follows.TOE, [(0, 0)], travel=toe_travel),
        heel(*heel_travel),
    )
    reached = [StandReach(each, (0, 0), (0, 0)) for each in (toe, back)]
    return missed_um(reached, pieces, SOLE)


def test_together_two_pieces_miss_the_sole_by_what_the_travel_does_not_make_up_for() -> None:
    """Toe end and heel end of the sole lie 300 apart; the worse ski counts."""
    toe, back = stand(a=150_000, b=150_000), stand(a=-150_000, b=-150_000)
    assert missed(toe, back) == 0
    assert missed(stand(a=150_300, b=150_000), back) == 300
    assert missed(stand(a=150_000, b=149_600), back) == 400
    assert missed(stand(a=150_300, b=149_600), stand(a=-150_200, b=-150_000)) == 500
    assert missed(stand(a=152_000, b=148_000), back, heel_travel=(1, 1.5)) == 1_000
    assert missed(stand(a=152_000, b=148_000), back, heel_travel=(1.5, 1)) == 1_000
    assert missed(stand(a=152_000, b=150_000), back, toe_travel=(1, 0)) == 1_000
    assert missed(stand(a=148_000, b=150_000), back, toe_travel=(0, 1.2)) == 800
    assert missed(stand(a=148_000, b=150_000), back, toe_travel=(1.2, 0)) == 2_000
    assert missed(stand(a=152_000, low=0, high=0), back) == 2_000
    assert missed(stand(low=0, high=0), back) == 0, "what is drilled goes anywhere"


def ski_with(*places, side=A, state=HoleState.OPEN, **more):
    return make.ski(side, make.holes(places, state=state, name=side.value.lower()), **more)


@pytest.mark.parametrize(
    ("b_mm", "together"),
    [(0.4, True), (1, True), (1.001, False), (-1, True), (-1.001, False)],
)
def test_a_piece_in_old_holes_on_both_skis_stands_alike_within_what_a_pair_may_differ(b_mm, together) -> None:
    """A tolerance of a millimetre, so that the rule lets both; ski B's mark lies 3 mm nearer to the tail."""
    rule = rule_for(make.p10(reuse_tolerance_mm="1", pair_difference_mm="1"), Construction.NO_METAL)
    one = make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)])
    pair = make.pair(ski_with((0, 0)), ski_with((3 + b_mm, 0), side=B, mark_mm=797))
    stands = planned_stands(rule, pair, frame_of(pair), one, drill=False)
    if not together:
        assert stands == []
        return
    [found] = stands
    assert (found.fixed, found.free) == ({A: 0, B: make.um(b_mm)}, False)
    assert (found.low, found.high) == (min(0, make.um(b_mm)), max(0, make.um(b_mm)))
    assert found.together == (max(-1000, make.um(b_mm) - 1000), min(1000, make.um(b_mm) + 1000))
    assert (found.drilled, found.reused, found.opened) == (0, 2, 2)


def test_a_piece_in_old_holes_on_one_ski_is_drilled_near_by_on_the_other() -> None:
    """At most a millimetre from where it stands on the other ski, at most where that ski allows it."""
    one = make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)])
    for side, other in ((A, B), (B, A)):
        skis = {
            side: ski_with((0, 0), side=side, zone_mm=None),
            other: make.ski(other, zone_mm=(0.3, 0.8, 45)),
        }
        pair = make.pair(skis[A], skis[B])
        [found] = planned_stands(RULE, pair, frame_of(pair), one, drill=True)
        assert found.fixed == {side: 0, other: None}
        assert (found.low, found.high, found.together) == (-300, 800, (-300, 500))
        assert (found.drilled, found.reused, found.opened, found.free) == (1, 1, 1, True)
        wide = {side: skis[side], other: make.ski(other)}
        pair = make.pair(wide[A], wide[B])
        [found] = planned_stands(RULE, pair, frame_of(pair), one, drill=True)
        assert (found.low, found.high, found.together) == (-1_000, 1_000, (-500, 500))
        assert planned_stands(RULE, pair, frame_of(pair), one, drill=False) == []
        far = {side: skis[side], other: make.ski(other, inspected_mm=[(0.501, 500)])}
        pair = make.pair(far[A], far[B])
        assert planned_stands(RULE, pair, frame_of(pair), one, drill=True) == []
        edge = {side: skis[side], other: make.ski(other, inspected_mm=[(0.5, 500)])}
        pair = make.pair(edge[A], edge[B])
        assert [s.together for s in planned_stands(RULE, pair, frame_of(pair), one, drill=True)] == [
            (500, 500)
        ]


def test_an_insert_that_takes_the_screw_needs_no_plug_otherwise() -> None:
    one = make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)], diameter_mm=6)
    insert = make.holes([(0, 0)], state=HoleState.INSERT, diameter_mm=6)
    pair = make.pair(make.ski(A, insert), make.ski(B, insert))
    [found] = planned_stands(RULE, pair, frame_of(pair), one, drill=False)
    assert (found.reused, found.opened) == (2, 0)


def test_of_a_hole_entered_twice_the_better_fit_stands() -> None:
    """0.2 and -0.1 mm across: the second fits better. 1.001 mm along they are two places, 1.000 one."""
    one = make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)])
    rule = replace(RULE, spacing_um=600, reuse_spacing_um=600)

    def places(*on_a: tuple[float, float]) -> list[int | None]:
        pair = make.pair(ski_with(*on_a), make.ski(B))
        found = planned_stands(rule, pair, frame_of(pair), one, drill=True)
        return [each.fixed[A] for each in found if each.fixed[A] is not None]

    assert places((0, 0.2), (0.1, -0.1)) == [100]
    assert places((0, 0.1), (0.1, -0.2)) == [0]
    assert places((0, 0.1), (1, 0.1)) == [0]
    assert places((0, 0.1), (1.001, 0.1)) == [0, 1_001]


def test_one_screw_reused_and_both_reused_are_two_stands_however_near() -> None:
    """Spacing 0.6: at 0 the second hole is drilled beside its old one, 0.3 further it goes into it."""
    two = make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0), (30, 0)])
    rule = replace(
        RULE, spacing_um=600, reuse_spacing_um=600, asked_by_knowledge_um=dict.fromkeys(Knowledge, 600)
    )
    pair = make.pair(ski_with((0, 0), (30.6, 0)), make.ski(B, zone_mm=(90, 90, 45)))
    found = planned_stands(rule, pair, frame_of(pair), two, drill=True)
    told = {(each.fixed[A], each.claims[A]) for each in found if each.fixed[A] is not None}
    assert told >= {(0, (0, None)), (300, (0, 1)), (600, (None, 1))}


@pytest.mark.parametrize("within", [(0, 0), (30_000, 30_000), (-9_000, 9_000), EVERYWHERE])
def test_far_holes_are_not_looked_at_and_change_nothing_within(within) -> None:
    """Holes at 0 and 400 mm: near either only that one shapes the stretches that hold an r asked for."""
    one = make.piece(PieceName.TOE, Follows.CENTRE, [(-5, 0), (12, 0)])
    ski = ski_with((0, 0), (400, 0), state=HoleState.PLUGGED, zone_mm=(500, 500, 45))
    near = stretches(RULE, ski, shift_um=0, piece=one, drill=True, within=within)
    whole = stretches(RULE, ski, shift_um=0, piece=one, drill=True)
    low, high = within

    def held(some: list[RoleStretch]) -> list[tuple[int, int]]:
        return [(max(s.low, low), min(s.high, high)) for s in some if s.low <= high and s.high >= low]

    assert held(near) == held(whole)


@pytest.mark.parametrize("r_um", [-500, 500])
def test_a_screw_that_reaches_its_old_hole_only_at_the_place_asked_for_is_found(r_um) -> None:
    """The rule admits 0.5 mm beside the old hole; asked for is that place alone."""
    one = make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)])
    found = stretches(RULE, ski_with((0, 0)), shift_um=0, piece=one, drill=False, within=(r_um, r_um))
    assert [(s.low, s.high, s.claims) for s in found] == [(-500, 500, (0,))]


@pytest.mark.parametrize("old_mm", [-17.5, -16.999, 16.999, 17, 29, 28.999, -5, 5])
def test_a_hole_just_within_reach_of_the_places_asked_for_is_looked_at(old_mm) -> None:
    """Asked for r from -2 to 3; the piece reaches 5 mm back and 12 forward, the rule 10 mm more."""
    one = make.piece(PieceName.TOE, Follows.CENTRE, [(-5, 0), (12, 0)])
    ski = ski_with((old_mm, 0), state=HoleState.PLUGGED)
    for shift in (0, 700):
        near = stretches(RULE, ski, shift_um=shift, piece=one, drill=True, within=(-2_000, 3_000))
        whole = stretches(RULE, ski, shift_um=shift, piece=one, drill=True)
        for r in range(-2_000, 3_001, 1):
            if r % 1000 in (0, 1, 299, 300, 301, 499, 500, 501, 999):
                assert any(s.low <= r <= s.high for s in near) == any(s.low <= r <= s.high for s in whole)


def test_a_legal_range_says_what_is_reused_and_drilled_on_each_ski() -> None:
    """Ski A has the toe's holes of a 305 mount, ski B none of them: four reused, twelve drilled."""
    pattern = make.t4h4()
    toe = make.mount_holes_mm(pattern, 305)[:4]
    pair = make.pair(make.ski(A, make.holes(toe)), make.ski(B))
    found = legal_offsets(pair=pair, pattern=pattern, bsl_um=305_000, policy=make.p10())
    at_mark = [each for each in found if each.low_um <= 0 <= each.high_um]
    assert [(e.low_um, e.high_um) for e in at_mark] == [(-500, 500)]
    [legal] = at_mark
    assert [(legal.reused(s), legal.drilled(s)) for s in Side] == [(4, 4), (0, 8)]
    assert legal.drilled_both == 12
    assert legal.claims[A] == ((0, 1, 2, 3), (None,) * 4)
    assert legal.claims[B] == ((None,) * 4, (None,) * 4)
    keys = [(e.low_um, e.high_um, e.drilled_both) for e in found]
    assert keys == sorted(keys)
    finder = LegalFinder(pair=pair, pattern=pattern, policy=make.p10(), drill=False)
    assert finder.offsets(305_000) == ()
    spent = make.pair(make.ski(A), make.ski(B), earlier_mounts=9)
    for drill, legal_range in ((None, []), (False, []), (True, [(-10_000, 10_000)])):
        finder = LegalFinder(pair=spent, pattern=pattern, policy=make.p10(), drill=drill)
        assert offsets_only(finder.offsets(305_000)) == legal_range
    finder = LegalFinder(pair=spent, pattern=pattern, policy=make.p10(), drill=True)
    assert offsets_only(finder.offsets(305_000, limit_um=3)) == [(-3, 3)]
    assert offsets_only(finder.offsets(305_000, limit_um=0)) == [(0, 0)]


@pytest.mark.parametrize(("apart_mm", "legal"), [(10, [(0, 0)]), (9.999, []), (-10, [(0, 0)]), (-9.999, [])])
@pytest.mark.parametrize("aside_mm", [0, 40])
@pytest.mark.parametrize("side", list(Side))
def test_two_pieces_whose_places_only_just_meet_keep_the_spacing(apart_mm, legal, aside_mm, side) -> None:
    """Two areas leave each piece one end; there both holes are 10 mm apart, or a micrometre less."""
    pattern = make.Pattern(
        name="two",
        binding_model="two",
        pieces=(
            make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)]),
            make.piece(PieceName.HEEL, Follows.CENTRE, [(apart_mm, aside_mm)]),
        ),
    )
    areas = [(-5, 0), (apart_mm, 15)] if apart_mm > 0 else [(-15, apart_mm), (0, 5)]
    bounded = {each: make.ski(each, inspected_mm=areas) if each is side else make.ski(each) for each in Side}
    found = legal_offsets(
        pair=make.pair(bounded[A], bounded[B]), pattern=pattern, bsl_um=300_000, policy=make.p10()
    )
    assert offsets_only(found) == (legal if aside_mm == 0 else [(0, 0)])


def test_another_stance_may_take_the_place_of_the_pattern_s_own() -> None:
    """The pin line 60 mm behind the toe on the mark, asked of a pattern that goes by the boot's centre."""
    toe = make.piece(PieceName.TOE, Follows.TOE, [(0, 0)])
    pattern = make.Pattern(name="t", binding_model="t", pieces=(toe,))
    pair = make.pair(make.ski(A, zone_mm=(0, 63, 45)), make.ski(B, zone_mm=(0, 400, 45)))
    finder = LegalFinder(pair=pair, pattern=pattern, policy=make.p10())
    assert offsets_only(finder.offsets(310_000)) == []
    by_pin = Stance(bsl_um=310_000, pin_um=60_000)
    assert offsets_only(finder.offsets(310_000, stance=by_pin)) == [(-10_000, 3_000)]


def test_legal_offsets_go_by_the_pin_line_where_the_boot_has_one() -> None:
    """The toe stays at the mark and travels 3 mm ahead: so far the boot may go, however far the heel may."""
    pieces = (
        make.piece(PieceName.TOE, Follows.MARK, [(0, 0)], travel=(2, 3)),
        make.piece(PieceName.HEEL, Follows.HEEL, [(0, 0)]),
    )
    pattern = make.Pattern(name="p", binding_model="p", pieces=pieces)
    pair = make.pair(make.ski(A), make.ski(B))
    asked = {"pair": pair, "pattern": pattern, "bsl_um": 310_000, "policy": make.p10()}
    assert offsets_only(legal_offsets(**asked, pin_um=60_000)) == [(-2_000, 3_000)]
    assert offsets_only(legal_offsets(**asked)) == [(-10_000, 10_000)]


def test_a_twin_whose_names_sort_otherwise_is_asked_itself() -> None:
    """Two old holes as near to a new one: the first by name is said. Depths and tails are the twin's own."""
    pattern = make.Pattern(
        name="o", binding_model="o", pieces=(make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0), (40, 0)]),)
    )
    around = make.holes([(0, 12), (0, -12), (40, 0)], name="h")

    def pair(names: tuple[str, str, str], depth_um: int = 9_000, mark_mm: float = 800):
        old = tuple(
            replace(hole, hole_id=name, depth_um=depth_um) for hole, name in zip(around, names, strict=True)
        )
        return make.pair(make.ski(A, old, mark_mm=mark_mm), make.ski(B, old, mark_mm=mark_mm))

    own = pair(("h1", "h2", "h3"))
    ways = {
        w.rung: w
        for w in ways_for(pair=own, pattern=pattern, bsl_um=300_000, policy=make.p10(), mounted=False)
    }
    way = ways[Rung.PART_REUSED]
    [drilled, reused] = way.skis[A].holes
    assert (drilled.do, drilled.nearest_id, drilled.nearest_um) == ("drill", "h1", 12_000)
    assert (reused.do, reused.hole_id, reused.depth_um, reused.nearest_id) == ("reuse", "h3", 9_000, "toe 1")
    stance = Stance(bsl_um=300_000)
    twin = pair(("k1", "k2", "k3"), depth_um=7_000, mark_mm=812)
    given = Twins(way, stance, own).way_of(twin)
    assert given is not None
    for side in Side:
        [drilled, reused] = given.skis[side].holes
        assert (drilled.nearest_id, drilled.hole_id, drilled.depth_um) == ("k1", None, 9_000)
        assert (reused.hole_id, reused.depth_um, reused.nearest_id) == ("k3", 7_000, "toe 1")
        assert given.skis[side].plug == ("k1", "k2")
        assert given.skis[side].from_tail_um == 812_000
    assert Twins(way, stance, own).way_of(pair(("k2", "k1", "k3"))) is None
    assert Twins(way, stance, own).way_of(pair(("u1", "u2", "u3"))) is None, "after toe 1 by name"
    fewer = make.pair(make.ski(A, around[:2]), make.ski(B, around))
    assert Twins(way, stance, own).way_of(fewer) is None
    fewer = make.pair(make.ski(A, around), make.ski(B, around[:2]))
    assert Twins(way, stance, own).way_of(fewer) is None


@pytest.mark.parametrize(("mark_mm", "alike"), [(800, True), (800.5, False), (803, False), (None, True)])
def test_skis_with_the_same_holes_by_their_own_marks_are_alike_where_the_marks_lie_alike(
    mark_mm: float | None, alike: bool
) -> None:
    """Else ski A's places would be taken for ski B's, off by what the marks differ."""
    old = make.holes([(100, 20), (-100, 20)])
    assert skis_alike(make.pair(make.ski(Side.A, old), make.ski(Side.B, old, mark_mm=mark_mm))) is alike
