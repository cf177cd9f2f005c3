"""The ways that touch no screw, at the last micrometre of each rule; ski B's mark 3 mm nearer to the tail."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import pytest

from fleet.facts.holes import HoleState, Mount, PieceSlide, Side
from fleet.facts.pairs import Construction, Pair
from fleet.facts.patterns import Follows, Pattern, PieceName
from planner.geometry.placement.frames import Stance, doubt_about_marks, frame_of, stance_for
from planner.geometry.placement.rule import rule_for
from planner.geometry.placement.untouched import untouched_mount, untouched_way
from planner.geometry.placement.ways import WayFinder
from planner.plan.values import How, Rung
from tests.placement import conftest as make

A, B = Side.A, Side.B
PATTERN = make.t4h4(heel_travel=(6, 9))
POLICY = make.p10(offset_limit_mm="10", reuse_tolerance_mm="0.5")
RULE = rule_for(POLICY, Construction.NO_METAL)


def carrying(
    *slides: tuple[str, float, float],
    bsl_mm: float = 305,
    offset_mm: float = 0,
    pattern: Pattern = PATTERN,
    name: str | None = None,
    reference_mm: float | None = None,
    holes_a: Sequence = (),
    holes_b: Sequence = (),
) -> Pair:
    """A pair with a mount; ``slides``: piece, where it stands from ski A's mark, how it is slid, in mm."""
    mount = Mount(
        pattern=pattern.name if name is None else name,
        bsl_um=make.um(bsl_mm),
        offset_um=make.um(offset_mm),
        mounted_on="2026-01-01",
        drilled=True,
        slides=tuple(
            PieceSlide(piece=piece, reference_um=make.um(at), slide_um=make.um(slide))
            for piece, at, slide in slides
        ),
    )
    made = make.pair(make.ski(A, holes_a), make.ski(B, holes_b, mark_mm=797), mounts=[mount])
    return replace(made, reference_from_tail_um=None if reference_mm is None else make.um(reference_mm))


def stands(pair: Pair, bsl_mm: float, *, pattern: Pattern = PATTERN, pin_mm: float | None = None, rule=RULE):
    """(rung, offset, minutes, slides) in mm, None where the pair does not serve the sole as it is."""
    stance = stance_for(pattern, make.um(bsl_mm), None if pin_mm is None else make.um(pin_mm))
    found = untouched_mount(rule=rule, pair=pair, frame=frame_of(pair), pattern=pattern, stance=stance)
    if found is None:
        return None
    return (
        found.rung,
        found.offset_um / 1000,
        found.minutes,
        tuple(slide / 1000 for slide in found.slides),
    )


@pytest.mark.parametrize(
    ("toe", "heel", "stands_at"),
    [
        # toe end and heel end of a 305 sole lie 152.5 mm from its centre
        ((152.5, 0), (-152.5, 0), 0),
        ((154.5, 0), (-150.5, 0), 2),
        ((162.5, 0), (-142.5, 0), 10),
        ((162.501, 0), (-142.499, 0), None),
        ((142.5, 0), (-162.5, 0), -10),
        ((142.499, 0), (-162.501, 0), None),
        # the heel beside the boot, by the reuse tolerance at most
        ((152.5, 0), (-152, 0), 0),
        ((152.5, 0), (-151.999, 0), None),
        ((152.5, 0), (-153, 0), 0),
        ((152.5, 0), (-153.001, 0), None),
        # slid within its travel, 6 back and 9 forward
        ((152.5, 0), (-161.5, 9), 0),
        ((152.5, 0), (-161.501, 9.001), None),
        ((152.5, 0), (-146.5, -6), 0),
        ((152.5, 0), (-146.499, -6.001), None),
        # the toe does not travel
        ((152.501, -0.001), (-152.5, 0), None),
        ((152.499, 0.001), (-152.5, 0), None),
    ],
)
def test_as_it_is_where_both_pieces_meet_the_boot(toe, heel, stands_at) -> None:
    found = stands(carrying(("toe", *toe), ("heel", *heel)), 305)
    expected = None if stands_at is None else (Rung.AS_IS, stands_at, 0, (toe[1], heel[1]))
    assert found == expected


def test_the_boot_stands_where_the_slid_toe_meets_it() -> None:
    both = make.t4h4(toe_travel=(3, 3), heel_travel=(6, 9))
    pair = carrying(("toe", 153.5, 1), ("heel", -151.5, 1), pattern=both)
    assert stands(pair, 305, pattern=both) == (Rung.AS_IS, 2, 0, (1, 1))


@pytest.mark.parametrize(
    ("bsl_mm", "offset_mm"),
    [
        (311, 0),  # toe end 3 further; the heel 6 back
        (311.002, None),
        (296, 7.5),
        (295.998, None),
        (300, 5.5),
    ],
)
def test_adjusted_as_far_as_the_heel_travels(bsl_mm, offset_mm) -> None:
    """Against the sum by hand: the toe stays, so the centre moves by half the difference."""
    found = stands(carrying(("toe", 155.5, 0), ("heel", -149.5, 0), offset_mm=3), bsl_mm)
    if offset_mm is None:
        assert found is None
        return
    assert found is not None
    assert found[0] is Rung.ADJUST
    assert found[2] == RULE.minutes_to_adjust
    assert found[1] == offset_mm == 155.5 - bsl_mm / 2
    assert found[3] == (0, 305 - bsl_mm)


@pytest.mark.parametrize(("limit", "served"), [("3", True), ("2.5", True), ("2.499", False)])
def test_adjusted_no_farther_from_the_mark_than_the_limit(limit: str, served: bool) -> None:
    """A 300 sole on a 305 mount stands 2.5 mm ahead: the toe end stays."""
    rule = rule_for(make.p10(offset_limit_mm=limit), Construction.NO_METAL)
    found = stands(carrying(("toe", 152.5, 0), ("heel", -152.5, 0)), 300, rule=rule)
    assert found == ((Rung.ADJUST, 2.5, rule.minutes_to_adjust, (0, 5)) if served else None)


def test_of_several_offsets_the_half_millimetre_nearest_the_mark_is_set() -> None:
    whole = make.t4h4(toe_travel=(4, 4), heel_travel=(4, 4))
    pair = carrying(("toe", 155, 0), ("heel", -152.5, 0), pattern=whole)
    # the toe may be slid to 151 to 159, the heel to -156.5 to -148.5
    assert stands(pair, 300, pattern=whole) == (Rung.ADJUST, 1, RULE.minutes_to_adjust, (-4, 3.5))
    assert stands(pair, 303, pattern=whole) == (Rung.ADJUST, 0, RULE.minutes_to_adjust, (-3.5, 1))
    assert stands(pair, 315.5, pattern=whole) == (Rung.ADJUST, 1.25, RULE.minutes_to_adjust, (4, -4))
    assert stands(pair, 315.502, pattern=whole) is None


def test_another_pattern_no_mount_or_a_sole_out_of_range_stands_not() -> None:
    toe_and_heel = (("toe", 152.5, 0), ("heel", -152.5, 0))
    assert stands(carrying(*toe_and_heel), 305) is not None
    assert stands(carrying(*toe_and_heel, name="another"), 305) is None
    assert stands(replace(carrying(*toe_and_heel), mounts=()), 305) is None
    least = replace(PATTERN, bsl_min_um=305_000, bsl_max_um=306_000)
    for bsl_mm, served in ((304.999, False), (305, True), (306, True), (306.001, False)):
        assert (stands(carrying(*toe_and_heel), bsl_mm, pattern=least) is not None) is served


def test_where_the_ledger_has_no_slides_the_mount_s_own_words_count() -> None:
    """2 mm ahead of ski A's mark for a 305 sole; the reference lies 1 mm ahead of that mark."""
    assert stands(carrying(offset_mm=2), 305) == (Rung.AS_IS, 2, 0, (0, 0))
    assert stands(carrying(offset_mm=2, reference_mm=801), 305) == (Rung.AS_IS, 1, 0, (0, 0))
    assert stands(carrying(("heel", -150.5, 0), offset_mm=2, reference_mm=801), 305) == (
        Rung.AS_IS,
        1,
        0,
        (0, 0),
    )
    assert stands(carrying(("heel", -160, 9.5)), 305) is None, "slid beyond its travel"
    assert stands(carrying(("heel", -160, 8)), 305) == (Rung.AS_IS, 0, 0, (0, 8)), "half a mm beside"
    assert stands(carrying(("toe", 152.5, 0)), 309) == (Rung.ADJUST, -2, RULE.minutes_to_adjust, (0, -4))


def pins(*, travel=(2, 3)) -> Pattern:
    return Pattern(
        name="pins",
        binding_model="pins",
        pieces=(
            make.piece(PieceName.TOE, Follows.MARK, [(20, 15), (20, -15)], travel=travel),
            make.piece(PieceName.HEEL, Follows.HEEL, [(0, 12), (0, -12)], travel=(6, 9)),
        ),
    )


def test_on_a_pin_line_mount_the_piece_at_the_mark_slides_with_the_boot() -> None:
    """Pin line on the mark, 60 mm behind the toe end: the heel end of a 310 sole lies at -250."""
    whole = pins()
    as_it_is = carrying(("toe", 0, 0), ("heel", -250, 0), bsl_mm=310, pattern=whole)
    assert stands(as_it_is, 310, pattern=whole, pin_mm=60) == (Rung.AS_IS, 0, 0, (0, 0))
    ahead = carrying(("toe", 0, 3), ("heel", -247, 0), bsl_mm=310, pattern=whole)
    assert stands(ahead, 310, pattern=whole, pin_mm=60) == (Rung.AS_IS, 3, 0, (3, 0))
    too_far = carrying(("toe", 0, 3), ("heel", -246.999, 0), bsl_mm=310, pattern=whole)
    assert stands(too_far, 310, pattern=whole, pin_mm=60) is None
    behind = carrying(("toe", 0, -2), ("heel", -252, 0), bsl_mm=310, pattern=whole)
    assert stands(behind, 310, pattern=whole, pin_mm=60) == (Rung.AS_IS, -2, 0, (-2, 0))
    # for another sole the heel may be slid by 6 back and 9 forward, the pins by 2 and 3
    for bsl_mm, offset in (
        (316, 0),
        (318, 2),
        (319, 3),
        (319.002, None),
        (301, 0),
        (299, -2),
        (298.998, None),
    ):
        found = stands(as_it_is, bsl_mm, pattern=whole, pin_mm=60)
        assert (None if found is None else found[1]) == offset, bsl_mm
        assert found is None or found[3] == (offset, offset - (bsl_mm - 310))
    # by its centre the boot leaves that piece alone
    centred = carrying(("toe", 0, 0), ("heel", -154, 0), bsl_mm=310, pattern=whole)
    assert stands(centred, 310, pattern=whole) == (Rung.AS_IS, 1, 0, (0, 0))
    assert stands(centred, 312, pattern=whole) == (Rung.ADJUST, 0, RULE.minutes_to_adjust, (0, -2))


def test_a_mount_of_pieces_at_the_mark_alone_stands_where_it_was_said() -> None:
    whole = Pattern(name="m", binding_model="m", pieces=pins().pieces[:1])
    pair = carrying(bsl_mm=310, offset_mm=2, pattern=whole, reference_mm=801)
    assert stands(pair, 310, pattern=whole) == (Rung.AS_IS, 1, 0, (0,))


def screwed(places, *, name, state=HoleState.SCREWED):
    return make.holes(places, state=state, name=name)


def test_the_screws_under_a_mounted_piece_are_listed_by_each_ski_s_own_holes() -> None:
    """Half a millimetre beside at most, a screw or an insert in it, none twice; B's lie 3 mm further."""
    whole = Pattern(
        name="t",
        binding_model="t",
        pieces=(make.piece(PieceName.TOE, Follows.TOE, [(-10, 18), (-10, -18), (-45, 20), (-45, -20)]),),
    )
    on_a = (
        *screwed([(142.5, 18.5)], name="edge"),
        *screwed([(142.5, -18.501)], name="beyond"),
        *screwed([(107.5, 20)], name="open", state=HoleState.OPEN),
        *make.holes([(107.9, -20.3)], name="insert", state=HoleState.INSERT, diameter_mm=9),
    )
    on_b = screwed([(145.5, 18.2), (145.5, 18), (145.5, -18), (110.5, 20), (110.5, -20)], name="b")
    pair = carrying(("toe", 152.5, 0), pattern=whole, holes_a=on_a, holes_b=on_b)
    stance = stance_for(whole, 305_000, None)
    way = untouched_way(rule=RULE, pair=pair, frame=frame_of(pair), pattern=whole, stance=stance)
    assert way is not None
    assert (way.rung, way.drilled, way.plugged, way.minutes) == (Rung.AS_IS, 0, 0, 0)
    assert (way.offset_um, way.bsl_um, way.pattern, way.clearance_um) == (0, 305_000, "t", None)
    listed = {side: [(h.number, h.hole_id, h.do) for h in way.skis[side].holes] for side in Side}
    assert listed[A] == [(1, "edge1", "reuse"), (4, "insert1", "reuse")]
    assert [h.diameter_um for h in way.skis[A].holes] == [3_600, 9_000]  # as recorded
    assert listed[B] == [(1, "b2", "reuse"), (2, "b3", "reuse"), (3, "b4", "reuse"), (4, "b5", "reuse")]
    assert [way.skis[side].from_tail_um for side in Side] == [800_000, 800_000]
    assert [way.skis[side].plug for side in Side] == [(), ()]
    [at_a], [at_b] = way.skis[A].pieces, way.skis[B].pieces
    assert (at_a.reference_um, at_b.reference_um) == (152_500, 155_500)
    assert (at_a.slide_um, at_a.stands_um, at_a.how, at_a.piece) == (0, 0, How.SLIDE, "toe")
    near = carrying(
        ("toe", 152.5, 0),
        pattern=replace(whole, pieces=(make.piece(PieceName.TOE, Follows.TOE, [(0, 0), (0.4, 0)]),)),
        holes_a=screwed([(152.7, 0)], name="one"),
    )
    two = replace(whole, pieces=(make.piece(PieceName.TOE, Follows.TOE, [(0, 0), (0.4, 0)]),))
    way = untouched_way(rule=RULE, pair=near, frame=frame_of(near), pattern=two, stance=stance)
    assert way is not None
    assert [(h.number, h.hole_id) for h in way.skis[A].holes] == [(1, "one1")]


@pytest.mark.parametrize(
    ("along_mm", "aside_mm", "listed"),
    [
        (0.5, 0, True),
        (-0.5, 0, True),
        (0.501, 0, False),
        (-0.501, 0, False),
        (0, -0.5, True),
        (0, 0.501, False),
        (-0.3, 0.4, True),
        (-0.3, 0.401, False),
        (0.301, -0.4, False),
    ],
)
def test_a_screw_is_listed_half_a_millimetre_beside_its_place_at_most(along_mm, aside_mm, listed) -> None:
    whole = replace(PATTERN, pieces=(make.piece(PieceName.TOE, Follows.TOE, [(-10, 18)]),))
    old = screwed([(142.5 + along_mm, 18 + aside_mm)], name="a")
    pair = carrying(("toe", 152.5, 0), pattern=whole, holes_a=old)
    stance = stance_for(whole, 305_000, None)
    way = untouched_way(rule=RULE, pair=pair, frame=frame_of(pair), pattern=whole, stance=stance)
    assert way is not None
    assert [hole.hole_id for hole in way.skis[A].holes] == (["a1"] if listed else [])


def test_how_a_piece_is_slid_now_is_said_only_where_it_is_known() -> None:
    stance = Stance(bsl_um=311_000)
    slid = carrying(("toe", 152.5, 0), ("heel", -152.5, 0), offset_mm=0)
    way = untouched_way(rule=RULE, pair=slid, frame=frame_of(slid), pattern=PATTERN, stance=stance)
    assert way is not None
    assert [(p.slide_um, p.stands_um) for p in way.skis[B].pieces] == [(0, 0), (-6_000, 0)]
    unsaid = carrying()
    way = untouched_way(rule=RULE, pair=unsaid, frame=frame_of(unsaid), pattern=PATTERN, stance=stance)
    assert way is not None
    assert [p.stands_um for p in way.skis[A].pieces] == [0, None], "a heel that travels may stand anywhere"
    assert (
        untouched_way(
            rule=RULE, pair=unsaid, frame=frame_of(unsaid), pattern=PATTERN, stance=Stance(bsl_um=312_000)
        )
        is None
    )


def test_a_mounted_pair_is_asked_by_rung_alone_too() -> None:
    """`way` says the same as `ways` for each rung, and `costs` the same figures, as it is and adjusted."""
    pair = carrying(("toe", 152.5, 0), ("heel", -152.5, 0))
    for bsl_mm, rung in ((305, Rung.AS_IS), (308, Rung.ADJUST), (330, None)):
        for mounted in (True, False):
            finder = WayFinder(pair=pair, pattern=PATTERN, policy=POLICY, mounted=mounted)
            ways = {way.rung: way for way in finder.ways(make.um(bsl_mm))}
            assert list(ways) == [r for r in Rung if r in ways], "in rung order"
            assert {Rung.AS_IS, Rung.ADJUST} & set(ways) == ({rung} - {None} if mounted else set())
            afresh = WayFinder(pair=pair, pattern=PATTERN, policy=POLICY, mounted=mounted)
            for each in Rung:
                assert afresh.way(each, make.um(bsl_mm)) == ways.get(each)
                assert finder.way(each, make.um(bsl_mm)) == ways.get(each)
            costs = [
                (c.rung, c.drilled, c.plugged, c.minutes, c.offset_um, c.clearance_um)
                for c in afresh.costs(make.um(bsl_mm))
            ]
            assert costs == [
                (w.rung, w.drilled, w.plugged, w.minutes, w.offset_um, w.clearance_um) for w in ways.values()
            ]


@pytest.mark.parametrize(
    ("a_mm", "b_mm", "said"),
    [
        (800, 801, None),
        (800, 801.001, "the printed marks differ: ski B's sits 1.0 mm closer to the tip than ski A's"),
        (800, 799, None),
        (800, 798.999, "the printed marks differ: ski B's sits 1.0 mm closer to the tail than ski A's"),
        (803.5, 800, "the printed marks differ: ski B's sits 3.5 mm closer to the tail than ski A's"),
        (None, None, "mark to tail is not known on ski A and ski B"),
        (800, None, "mark to tail is not known on ski B"),
    ],
)
def test_why_marks_are_to_be_measured_first(a_mm, b_mm, said) -> None:
    pair = make.pair(make.ski(A, mark_mm=a_mm), make.ski(B, mark_mm=b_mm))
    assert doubt_about_marks(pair, difference_um=1_000) == said


# What the counter set since

SLIDES = (("toe", 152.5, 0), ("heel", -152.5, 0))


def set_since(bsl_mm: float | None, *slides: tuple[str, float, float], pattern: Pattern = PATTERN) -> Pair:
    """A pair mounted for 305 mm, its binding set for another sole since; None: nobody knows for which."""
    pair = carrying(*slides, pattern=pattern)
    (mount,) = pair.mounts
    um = None if bsl_mm is None else make.um(bsl_mm)
    return replace(pair, mounts=(replace(mount, set_for_um=um, still_set=bsl_mm == 305, set_again=True),))


@pytest.mark.parametrize("recorded", [(), SLIDES], ids=["as the mount says", "recorded piece by piece"])
def test_as_it_is_follows_what_stands_and_not_what_was_mounted(recorded) -> None:
    """The toe does not travel: for a sole 5 mm longer the heel goes back 5 mm, the centre by half of it."""
    pair = set_since(310, *recorded)
    assert stands(pair, 310) == (Rung.AS_IS, -2.5, 0, (0, -5))
    rung, _, minutes, _ = stands(pair, 305)
    assert (rung, minutes) == (Rung.ADJUST, RULE.minutes_to_adjust)
    assert stands(set_since(310.001, *recorded), 310)[0] is Rung.ADJUST
    assert stands(set_since(305, *recorded), 305) == (Rung.AS_IS, 0, 0, (0, 0))
    # where nobody knows it is planned from the mount as before, and the door asks
    assert stands(set_since(None, *recorded), 305) == (Rung.AS_IS, 0, 0, (0, 0))


def test_where_two_pieces_travel_nobody_knows_which_was_slid() -> None:
    toe, heel = PATTERN.pieces
    both = replace(PATTERN, pieces=(replace(toe, travel_back_um=5_000, travel_forward_um=5_000), heel))
    pair = set_since(310, *SLIDES, pattern=both)
    for bsl_mm in (310, 305):
        assert stands(pair, bsl_mm, pattern=both)[0] is Rung.ADJUST


@pytest.mark.parametrize("travel", [(0, 0), (4, 4)])
def test_a_plate_by_the_mark_is_slid_by_nobody_though_the_boot_s_centre_moves(travel) -> None:
    """For a sole 8 mm shorter the heel slides 8 mm toward the tip, and the centre 4 mm; the plate stays."""
    plate = make.piece(PieceName.PLATE, Follows.MARK, [(0, 25), (0, -25)], travel=travel)
    whole = make.t4h4(heel_travel=(10, 10))
    pattern = replace(whole, pieces=(*whole.pieces, plate))
    slides = tuple(
        PieceSlide(piece=piece.name.value, reference_um=piece.follows.reference_um(0, 305_000), slide_um=0)
        for piece in pattern.pieces
    )
    on = Mount(pattern=pattern.name, bsl_um=305_000, offset_um=0, mounted_on="2026-01-01", slides=slides)
    screws = make.holes(make.mount_holes_mm(pattern, 305), state=HoleState.SCREWED)
    pair = replace(make.pair(*(make.ski(side, screws) for side in Side)), mounts=(on,))
    finder = WayFinder(pair=pair, pattern=pattern, policy=make.p10(), mounted=True)
    adjusted, *_ = finder.ways(297_000)
    assert (adjusted.rung, adjusted.offset_um) == (Rung.ADJUST, 4_000)
    for side in Side:
        told = {piece.piece: piece.slide_um for piece in adjusted.skis[side].pieces}
        assert told == {"toe": 0, "heel": 8_000, "plate": 0}
