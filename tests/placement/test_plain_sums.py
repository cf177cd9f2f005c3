"""The small sums that geometry stands on, each against counting out every value, or by hand."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, product
from random import Random

import pytest

from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.pairs import Construction
from fleet.facts.patterns import Follows, PieceName
from planner.geometry.placement.frames import frame_of, stance_for
from planner.geometry.placement.intervals import holds, intersection, union, without
from planner.geometry.placement.legal import PieceRange, gaps, offsets_apart, share_a_hole
from planner.geometry.placement.room import UNBOUNDED_UM, Rooms, holes_to_plug
from planner.geometry.placement.rule import drillable, ground_of, may_drill, rule_for
from planner.geometry.placement.settle import candidates, fitting_range, half_steps
from planner.geometry.placement.stands import best_fit

A, B = Side.A, Side.B


def as_set(parts) -> set[int]:
    return {value for low, high in parts for value in range(low, high + 1)}


def as_parts(values: set[int]) -> list[tuple[int, int]]:
    """The shortest sorted list of closed ranges."""
    parts: list[tuple[int, int]] = []
    for value in sorted(values):
        if parts and parts[-1][1] == value - 1:
            parts[-1] = (parts[-1][0], value)
        else:
            parts.append((value, value))
    return parts


def test_sets_of_ranges_are_sets_of_numbers() -> None:
    """Every pair of sets of up to three ranges between 0 and 6, drawn two thousand times."""
    chance = Random(1)
    for _ in range(2000):
        some = [
            tuple(sorted((chance.randint(0, 6), chance.randint(0, 6)))) for _ in range(chance.randint(0, 3))
        ]
        others = [
            tuple(sorted((chance.randint(0, 6), chance.randint(0, 6)))) for _ in range(chance.randint(0, 3))
        ]
        one, other = as_set(some), as_set(others)
        assert union(some) == as_parts(one)
        assert intersection(as_parts(one), as_parts(other)) == as_parts(one & other)
        assert without(as_parts(one), others) == as_parts(one - other)
        assert [holds(some, value) for value in range(-1, 8)] == [value in one for value in range(-1, 8)]


def test_what_both_sets_hold_keeps_ranges_apart_that_only_touch() -> None:
    assert intersection([(0, 4), (5, 9)], [(2, 7)]) == [(2, 4), (5, 7)]


@pytest.mark.parametrize(
    ("fits", "best"),
    [
        ([], (-9, 9)),
        ([(-3, 5)], (-3, 5)),
        ([(-3, 5), (1, 7)], (1, 5)),
        ([(-3, 5), (5, 7)], (5, 5)),
        ([(1, 1), (4, 4)], (2, 2)),
        ([(-1, -1), (-4, -4)], (-2, -2)),
        ([(-2, -2), (1, 1)], (0, 0)),
        ([(20, 30)], (20, 30)),
    ],
)
def test_reused_pieces_stand_where_they_agree_or_in_the_middle_toward_the_mark(fits, best) -> None:
    assert fitting_range((-9, 9), fits) == best


@pytest.mark.parametrize(
    ("hard", "best", "tried"),
    [
        ((-9_000, 9_000), (-600, 1_100), [0, -500, 500, 1000]),
        ((-9_000, 700), (-600, 1_100), [0, -500, 500]),
        # the best range holds no half millimetre: those within a quarter beside it, then itself
        ((-9_000, 9_000), (600, 900), [500, 1000, 600]),
        ((-9_000, 9_000), (749, 749), [500, 749]),
        ((-9_000, 9_000), (750, 750), [500, 1000, 750]),
        ((-9_000, 9_000), (-751, -751), [-1000, -751]),
        ((-9_000, 500), (600, 700), [500]),
        # half millimetres of the best range that the hard one forbids
        ((100, 300), (0, 400), [100]),
        ((-300, -100), (-400, 0), [-100]),
        ((2_000, 3_000), (0, 1_000), []),
        ((0, 0), (0, 0), [0]),
    ],
)
def test_offsets_are_tried_at_half_millimetres_first_nearest_the_mark(hard, best, tried) -> None:
    assert list(candidates(hard, best)) == tried


def test_half_steps_count_from_their_base() -> None:
    assert list(half_steps(-700, 700)) == [-500, 0, 500]
    assert list(half_steps(-500, 500)) == [-500, 0, 500]
    assert list(half_steps(0, 1_100, base_um=130)) == [130, 630]
    assert list(half_steps(131, 629, base_um=130)) == []


def test_a_reused_piece_stands_at_the_least_misfit_that_every_hole_admits(make) -> None:
    """Against trying every micrometre; half a micrometre goes away from the mark."""
    chance, rule = Random(2), replace(rule_for(make.p10(), Construction.NO_METAL), reuse_um=7)
    for _ in range(400):
        piece = make.piece(PieceName.TOE, Follows.TOE, [(0, 0), (30, 5), (60, -5)])
        shift = chance.choice([0, 40, -35])
        base = chance.choice([0, 3, -90])
        old = [
            replace(
                h, x_um=h.x_um + shift + base + chance.randint(-5, 5), y_um=h.y_um + chance.randint(-8, 8)
            )
            for h in make.holes([(0, 0), (30, 5), (60, -5)])
        ]
        claims = tuple(chance.choice([None, i]) for i in range(3))
        used = [(piece.holes[i], old[i]) for i in range(3) if claims[i] is not None]

        def miss(r: int, used=used, shift=shift) -> list[int]:
            return [(h.x_um - shift - r - w.x_um) ** 2 + (h.y_um - w.y_um) ** 2 for w, h in used]

        admitted = [r for r in range(-120, 60) if used and max(miss(r)) <= 49]
        found = best_fit(rule, make.ski(A, old), shift_um=shift, piece=piece, claims=claims)
        if not admitted:
            assert found is None
            continue
        least = min(sum(miss(r)) for r in admitted)
        best = [r for r in admitted if sum(miss(r)) == least]
        assert found == (max(best, key=abs), least)


def flat(make, name, places):
    return make.piece(name, Follows.CENTRE, [(x / 1000, y / 1000) for x, y in places])


def test_two_pieces_drilled_keep_the_spacing_on_each_ski_and_reused_ones_do_not(make) -> None:
    """Against trying every difference, in micrometres."""
    one = flat(make, PieceName.TOE, [(0, 0), (4, 6)])
    other = flat(make, PieceName.HEEL, [(1, 3), (-7, -2)])
    for roles in product([None, 0], repeat=8):
        claims = {A: roles[:2], B: roles[2:4]}, {A: roles[4:6], B: roles[6:]}
        near = {
            d
            for d in range(-40, 40)
            for side in Side
            for a, a_role in zip(one.holes, claims[0][side], strict=True)
            for b, b_role in zip(other.holes, claims[1][side], strict=True)
            if a_role is b_role is None and (a.x_um + d - b.x_um) ** 2 + (a.y_um - b.y_um) ** 2 < 100
        }
        assert gaps(one, claims[0], other, claims[1], spacing_um=10) == as_parts(near)
    claims = {A: (None,), B: (None,)}
    lone = flat(make, PieceName.TOE, [(5, 6)])
    same_place = gaps(lone, claims, flat(make, PieceName.HEEL, [(2, 6)]), claims, spacing_um=1)
    assert same_place == [(-3, -3)], "a micrometre of spacing forbids the one place"


def test_two_pieces_share_a_hole_only_on_the_same_ski() -> None:
    assert share_a_hole({A: (None, 3), B: (1,)}, {A: (3, None), B: (2,)})
    assert share_a_hole({A: (None,), B: (1,)}, {A: (None,), B: (2, 1)})
    assert not share_a_hole({A: (None, 3), B: (1,)}, {A: (1, None), B: (3,)})
    assert not share_a_hole({A: (None,), B: (None,)}, {A: (None,), B: (None,)})


def test_offsets_at_which_three_pieces_find_places_apart() -> None:
    """Against trying every offset with every place of every piece."""
    chance = Random(4)
    for _ in range(250):
        pieces = []
        for _ in range(3):
            low, reach = chance.randint(-3, 2), chance.randint(-2, 2)
            pieces.append(
                PieceRange((low, low + chance.randint(0, 3)), (reach, reach + chance.randint(0, 2)))
            )
        taken = {
            pair: union(
                (at, at + chance.randint(0, 2)) for at in (chance.randint(-4, 3), chance.randint(-4, 3))
            )
            for pair in combinations(range(3), 2)
            if chance.random() < 0.7
        }
        good = {
            u
            for u in range(-4, 5)
            for places in product(*(range(p.stretch[0], p.stretch[1] + 1) for p in pieces))
            if all(p.reach[0] <= r - u <= p.reach[1] for p, r in zip(pieces, places, strict=True))
            and not any(holds(gap, places[i] - places[j]) for (i, j), gap in taken.items())
        }
        assert offsets_apart((-4, 4), pieces, taken) == as_parts(good)


def test_the_reference_is_ski_a_s_mark_or_what_the_head_technician_entered(make) -> None:
    def frame(a, b, reference=None):
        made = make.pair(make.ski(A, mark_mm=a), make.ski(B, mark_mm=b))
        found = frame_of(replace(made, reference_from_tail_um=reference))
        return [found.shift_um[A], found.shift_um[B], found.from_tail_um[A], found.from_tail_um[B]]

    assert frame(800, 797) == [0, 3000, 800_000, 800_000]
    assert frame(800, None) == [0, 0, 800_000, None]
    assert frame(None, 797) == [0, 0, None, 797_000]
    assert frame(None, None) == [0, 0, None, None]
    assert frame(800, 797, 801_000) == [1000, 4000, 801_000, 801_000]
    assert frame(800, None, 801_000) == [1000, 1000, 801_000, None]
    assert frame(None, 797, 801_000) == [4000, 4000, None, 801_000]
    assert frame(None, None, 801_000) == [0, 0, None, None]


@pytest.mark.parametrize(
    ("follows", "pin", "end", "centre"),
    [
        (Follows.TOE, None, 150_500, 0),
        (Follows.HEEL, None, -150_500, 0),
        (Follows.CENTRE, None, 0, 0),
        (Follows.MARK, None, None, 0),
        (Follows.TOE, 60_000, 60_000, -90_500),
        (Follows.HEEL, 60_000, -241_000, -90_500),
        (Follows.CENTRE, 60_000, -90_500, -90_500),
        (Follows.MARK, 60_000, None, -90_500),
    ],
)
def test_where_each_piece_s_end_lies_for_a_301_mm_sole(make, follows, pin, end, centre) -> None:
    pieces = (
        make.piece(PieceName.TOE, Follows.MARK, [(0, 0)], travel=(3, 4)),
        make.piece(PieceName.HEEL, follows, [(0, 0)], travel=(3, 4)),
    )
    stance = stance_for(make.Pattern(name="p", binding_model="p", pieces=pieces), 301_000, pin)
    assert (stance.end_um(follows), stance.centre_um) == (end, centre)
    assert stance.offsets_um(pieces[0], 10_000) == ((-10_000, 10_000) if pin is None else (-3000, 4000))
    assert stance.offsets_um(pieces[0], 2_000) == (-2000, 2000)
    assert stance_for(make.t4h4(), 301_000, pin).pin_um is None


POLICY = {
    "spacing_mm": "11",
    "bench_error_mm": "0.25",
    "reuse_tolerance_mm": "0.4",
    "edge_mm": "7",
    "offset_limit_mm": "9",
    "offset_preferred_mm": "4",
    "pair_difference_mm": "0.9",
    "mounts_max": "3",
    "drill_no_metal_mm": "3.5",
    "drill_metal_mm": "4.2",
    "drill_thin_core_mm": "3.7",
    "depth_no_metal_mm": "8.5",
    "depth_metal_mm": "9.5",
    "depth_thin_core_mm": "7",
    "minutes_take_off": "8.1",
    "minutes_adjust": "6.2",
    "minutes_drill_hole": "1.5",
    "minutes_plug_hole": "1.25",
    "minutes_mount": "14",
    "minutes_check": "4.5",
}


def test_every_policy_of_geometry_is_read_in_its_own_words(make) -> None:
    policy = make.p10(**POLICY)
    rule = rule_for(policy, Construction.METAL)
    assert (rule.spacing_um, rule.reuse_um, rule.edge_um) == (11_000, 400, 7000)
    assert (rule.limit_um, rule.preferred_um, rule.pair_difference_um) == (9000, 4000, 900)
    assert (rule.mounts_max, rule.wall_um) == (3, None)
    assert (rule.drill_um, rule.depth_um) == (4200, 9500)
    assert rule.shop_drills_um == {3500, 4200, 3700}
    sizes = [rule_for(policy, c) for c in (Construction.NO_METAL, Construction.THIN_CORE, None)]
    assert [(r.drill_um, r.depth_um) for r in sizes] == [(3500, 8500), (3700, 7000), (None, None)]
    assert rule.minutes_for(take_off=False, drilled=0, plugged=0) == 19  # 18.5
    assert rule.minutes_for(take_off=True, drilled=0, plugged=0) == 27  # 26.6
    assert rule.minutes_for(take_off=False, drilled=3, plugged=0) == 23  # 18.5 + 4.5
    assert rule.minutes_for(take_off=False, drilled=0, plugged=3) == 23  # 18.5 + 3.75, rounded up once
    assert rule.minutes_to_adjust == 11  # 10.7


def test_a_pair_is_drilled_once_more_below_the_most_mounts(make) -> None:
    rule = rule_for(make.p10(**POLICY), Construction.METAL)
    for had, more in ((2, True), (3, False)):
        made = make.pair(make.ski(A), make.ski(B), earlier_mounts=had)
        assert may_drill(made, rule) is more


ASKED_MM = [
    # (state, knowledge, diameter, wall) -> 11 spacing + 0.25 bench + allowance + state, or the wall's
    (HoleState.OPEN, Knowledge.MEASURED_HERE, 3.6, "", 11.25),
    (HoleState.OPEN, Knowledge.TEMPLATE, 3.6, "", 13.25),
    (HoleState.STRIPPED, Knowledge.TEMPLATE, 3.6, "", 14.25),
    (HoleState.OPEN, Knowledge.MEASURED_HERE, 3.6, "7", 11.25),
    (HoleState.OPEN, Knowledge.MEASURED_HERE, 3.6, "8", 8 + 2.1 + 1.8 + 0.25),
    (HoleState.OPEN, Knowledge.MEASURED_HERE, None, "8", 8 + 2.1 + 2.1 + 0.25),
    (HoleState.STRIPPED, Knowledge.TEMPLATE, 6, "8", 8 + 2.1 + 3 + 0.25 + 2 + 1),
    (HoleState.OPEN, Knowledge.MEASURED_HERE, 3.601, "8", 8 + 2.1 + 1.801 + 0.25),
]


@pytest.mark.parametrize(("state", "knowledge", "diameter", "wall", "asked"), ASKED_MM)
def test_what_a_new_hole_keeps_from_an_old_one(make, state, knowledge, diameter, wall, asked) -> None:
    values = {**POLICY, "allowance_template_mm": "2", "extra_stripped_mm": "1", "wall_min_mm": wall}
    rule = rule_for(make.p10(**values), Construction.METAL)
    (old,) = make.holes([(0, 0)], state=state, knowledge=knowledge, diameter_mm=diameter)
    assert rule.asked_um(old) == round(asked * 1000)
    if wall:  # a core that nobody knows counts with the widest drill, the same 4.2 mm
        assert rule_for(make.p10(**values), None).asked_um(old) == round(asked * 1000)


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "good"),
    [
        (-93, 33, True),
        (-93.001, 33, False),
        (113, -33, True),
        (113.001, 0, False),
        (0, 33.001, False),
        (0, -33.001, False),
        (50, 0, True),
        (50.001, 0, False),
        (59.999, 0, False),
        (60, 0, True),
    ],
)
def test_a_new_hole_lies_in_the_zone_off_its_edges_and_where_somebody_looked(make, x_mm, y_mm, good) -> None:
    rule = rule_for(make.p10(**POLICY), Construction.METAL)
    ski = make.ski(A, zone_mm=(100, 120, 40), inspected_mm=((-200, 50), (60, 200)))
    place = round(x_mm * 1000), round(y_mm * 1000)
    assert drillable(ground_of(rule, ski), *place) is good
    for unknown in ("zone_back_um", "zone_front_um", "zone_half_width_um"):
        assert not drillable(ground_of(rule, replace(ski, **{unknown: None})), *place)


def room(make, old_a, old_b, *, r_um, side, claims=(None, None), shift_mm=0, policy=None):
    """The room of a piece with holes at 0 and (30, 10) mm, at r; ski B's mark so much nearer to the tail."""
    pattern = make.Pattern(
        name="p", binding_model="p", pieces=(make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0), (30, 10)]),)
    )
    made = make.pair(make.ski(A, old_a), make.ski(B, old_b, mark_mm=800 - shift_mm))
    rule = rule_for(policy or make.p10(), Construction.NO_METAL)
    return Rooms(rule=rule, pair=made, frame=frame_of(made), pattern=pattern).of(0, side, claims, r_um)


def test_room_is_the_least_distance_beyond_what_is_asked_by_each_ski_s_own_holes(make) -> None:
    on_a = make.holes([(0, 10)], state=HoleState.PLUGGED)
    on_b = make.holes([(0, 12), (33, 25.5)], state=HoleState.PLUGGED)
    assert room(make, on_a, on_b, r_um=0, side=A) == 0
    assert room(make, on_a, on_b, r_um=500, side=A) == 12
    assert room(make, on_a, on_b, r_um=0, side=B) == 2000
    assert room(make, on_a, on_b, r_um=0, side=B, shift_mm=3) == 2369
    assert room(make, on_a, on_b, r_um=0, side=A, claims=(0, None)) == 20_000
    assert room(make, on_a, on_b, r_um=0, side=A, claims=(0, 0)) == UNBOUNDED_UM
    assert room(make, (), (), r_um=0, side=A) == UNBOUNDED_UM
    near = make.holes([(0, 9.999)], state=HoleState.PLUGGED)
    assert room(make, near, (), r_um=0, side=A) is None
    assert room(make, (), near, r_um=0, side=A) == UNBOUNDED_UM


def test_room_as_printed_must_be_there_too(make) -> None:
    """At 0.249 mm the hole is printed at 0.0: 9.9 mm from the old one, though really 10.149."""
    behind = make.holes([(-9.9, 0)], state=HoleState.PLUGGED)
    assert room(make, behind, (), r_um=249, side=A) is None
    assert room(make, behind, (), r_um=250, side=A) == 150
    ahead = make.holes([(10.249, 0)], state=HoleState.PLUGGED)
    assert room(make, ahead, (), r_um=249, side=A) == 0
    assert room(make, ahead, (), r_um=250, side=A) is None
    edge = make.p10(edge_mm="35")
    assert room(make, (), (), r_um=0, side=A, policy=edge) == UNBOUNDED_UM
    assert room(make, (), (), r_um=0, side=A, policy=make.p10(edge_mm="35.001")) is None


def between(make, one_um, other_um, *, claims=((None,), (None,)), aside_mm=8):
    """Two pieces of one hole each, the second 8 mm to the side."""
    pieces = (
        make.piece(PieceName.TOE, Follows.CENTRE, [(0, 0)]),
        make.piece(PieceName.HEEL, Follows.CENTRE, [(0, aside_mm)]),
    )
    pattern = make.Pattern(name="p", binding_model="p", pieces=pieces)
    made = make.pair(make.ski(A), make.ski(B, mark_mm=797))
    rule = rule_for(make.p10(), Construction.NO_METAL)
    rooms = Rooms(rule=rule, pair=made, frame=frame_of(made), pattern=pattern)
    found = {rooms.between((0, claims[0], one_um), (1, claims[1], other_um), side) for side in Side}
    assert len(found) == 1
    return found.pop()


def test_room_between_two_new_holes_counts_exact_and_as_printed(make) -> None:
    assert between(make, 6000, 0) == 0
    assert between(make, 5999, 0) is None
    assert between(make, 0, 6500) == 307
    assert between(make, 250, 6740) == 301
    assert between(make, 250, 6740, aside_mm=7.75) == 108
    assert between(make, 250, 6740, aside_mm=7.74) is None  # printed 6.0 and 7.5 mm apart
    assert between(make, 6740, 250, aside_mm=7.74) is None
    assert between(make, 0, 0, claims=((0,), (None,))) == UNBOUNDED_UM
    assert between(make, 0, 0, claims=((None,), (0,))) == UNBOUNDED_UM


def test_what_a_remount_leaves_open_is_plugged(make) -> None:
    states = (HoleState.OPEN, HoleState.PLUGGED, HoleState.SCREWED, HoleState.INSERT, HoleState.STRIPPED)
    old = [replace(make.holes([(n * 20, 0)])[0], state=state) for n, state in enumerate(states)]
    assert holes_to_plug(make.pair(make.ski(A, old[1:]), make.ski(B, old))) == (
        (A, 1), (A, 3), (B, 0), (B, 2), (B, 4),
    )  # fmt: skip
