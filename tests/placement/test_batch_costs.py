"""The batch says of every rung what `WayFinder` says: holes, minutes, offset, clearance, plugs, all exact."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from random import Random

import numpy as np
import pytest
from hypothesis import given, settings, strategies as st

from fleet.facts.holes import HoleState, Knowledge, Mount, PieceSlide, Side
from fleet.facts.pairs import Construction, Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PieceName
from fleet.facts.policy import Policy
from planner.geometry.placement.frames import stance_for
from planner.geometry.placement.untouched import Twins
from planner.geometry.placement.ways import WayFinder
from planner.plan.values import Rung
from planner.planning.assign.geometry import Costs, Sole, SweptWays, counted_clearance
from tests.bench.plan_fleets import sample_fleet
from tests.few import first
from tests.placement import conftest as make

COSTED = tuple(Costs.__slots__)
SOLES_MM = (275, 285, 290, 295, 300, 305, 310, 315, 317, 320, 325, 335)


def asked_at_once(pairs: Sequence[Pair], pattern: Pattern, soles: Sequence[Sole], policy: Policy):
    """(the costs of the batch, how many of them were asked one by one)."""
    ways = SweptWays()
    everything = np.ones((len(pairs), len(soles)), np.bool_)
    found = ways.costs(
        pairs=pairs,
        pattern=pattern,
        soles=soles,
        policy=policy,
        mounted=[True] * len(pairs),
        asked=everything,
        plugs=True,
    )
    return found, ways.one_by_one


def told(costs: Costs, p: int, s: int) -> dict[Rung, tuple[int, ...]]:
    return {
        rung: tuple(int(getattr(costs, name)[p, s, rung.rank]) for name in COSTED)
        for rung in Rung
        if costs.drilled[p, s, rung.rank] >= 0
    }


def one_by_one(finder: WayFinder, sole: Sole, cap_um: int) -> dict[Rung, tuple[int, ...]]:
    return {
        way.rung: (
            way.drilled,
            way.minutes,
            abs(way.offset_um),
            counted_clearance(way, cap_um),
            way.plugged,
        )
        for way in finder.ways(sole[0], pin_um=sole[1])
    }


def same_everywhere(
    pairs: Sequence[Pair], pattern: Pattern, soles: Sequence[Sole], policy: Policy
) -> tuple[int, int]:
    """Asserts every rung of every pair and sole; (ways there are, questions asked one by one)."""
    costs, slow = asked_at_once(pairs, pattern, soles, policy)
    cap, ways = policy.um("clearance_counted_max_mm"), 0
    for p, pair in enumerate(pairs):
        finder = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True)
        for s, sole in enumerate(soles):
            truth = one_by_one(finder, sole, cap)
            ways += len(truth)
            assert told(costs, p, s) == truth, (pair.tag, sole)
    return ways, slow


def jittered(chance: Random, x_um: int, y_um: int) -> tuple[float, float]:
    """A hole as drilled to half millimetres, as measured, or on the very edge of a rule."""
    along = chance.choice([0, 0, 0, chance.randint(-300, 300), chance.choice([250, -250, 500, 501, 749])])
    across = chance.choice([0, 0, 0, chance.randint(-200, 200), chance.choice([250, 400, -500])])
    return (x_um + along) / 1000, (y_um + across) / 1000


def old_holes(chance: Random, pattern: Pattern, name: str):
    """Up to three old mounts of this pattern or of its neighbour, and some holes beside them."""
    places: list[tuple[float, float]] = []
    for sole in chance.sample(SOLES_MM, chance.choice([0, 1, 1, 1, 1, 2, 2, 3])):
        of = chance.choice([pattern] * 3 + [make.t4h4()])
        places += make.mount_holes_mm(of, sole, chance.choice([0] * 6 + [2.5, -4, 0.3]))
    if places and chance.random() < 0.1:
        x, y = chance.choice(places)
        places.append((x + chance.choice([0.2, 0.9, 8.5, 9.7, 10, 10.2]), y + chance.choice([0, 0.1, 3])))
    found = []
    usual = chance.choice([HoleState.OPEN, HoleState.SCREWED])
    known = chance.choice([Knowledge.MEASURED_HERE, Knowledge.DRILLED_HERE, Knowledge.MEASURED_BARE])
    still = chance.random() < 0.5
    for number, (x, y) in enumerate(places):
        at = (x, y) if still else jittered(chance, round(x * 1000), round(y * 1000))
        found += make.holes(
            [at],
            state=chance.choice([usual] * 40 + list(HoleState)),
            knowledge=chance.choice([known] * 40 + list(Knowledge)),
            diameter_mm=chance.choice([3.6] * 40 + [4.1, 6, None]),
            name=f"{name}{number}-",
        )
    return found


def any_pair(chance: Random, pattern: Pattern) -> Pair:
    both = old_holes(chance, pattern, "b")
    twins = chance.random() < 0.4
    shift = chance.choice([0] * 12 + [1.5, -3] * 2 + [0.3])

    def ski(side: Side):
        held = both if twins else old_holes(chance, pattern, side.value)
        if not twins and both and chance.random() < 0.8:
            held = [replace(h, x_um=h.x_um + chance.randint(-200, 200)) for h in both]
        elif shift and side is Side.B:
            held = [replace(h, x_um=h.x_um - round(shift * 1000)) for h in held]
        return make.ski(
            side,
            held,
            mark_mm=chance.choice([800] * 9 + [None]) if side is Side.A else 800 + shift,
            zone_mm=chance.choice([(400, 400, 45)] * 5 + [(185.2, 170.7, 45), (400, 400, 27), None]),
            inspected_mm=chance.choice(
                [[(-500, 500)]] * 5 + [[(-500, 120.3), (140, 500)], [(-500, 130), (130.4, 500)], []]
            ),
        )

    found = make.pair(
        ski(Side.A),
        ski(Side.B),
        construction=chance.choice([Construction.NO_METAL] * 6 + [Construction.METAL, None]),
        earlier_mounts=chance.choice([0] * 6 + [3]),
    )
    return replace(found, mounts=(mounted(chance, pattern),)) if chance.random() < 0.5 else found


def mounted(chance: Random, pattern: Pattern) -> Mount:
    bsl = chance.choice(SOLES_MM) * 1000
    slides = tuple(
        PieceSlide(
            piece=piece.name.value,
            reference_um=piece.follows.reference_um(0, bsl) - slide,
            slide_um=slide,
        )
        for piece in pattern.pieces
        for slide in [chance.choice([0, 0, 1000, -2500])]
    )
    since = Random(f"{bsl} {slides}")  # what the counter set it for
    set_for = since.choice([None, bsl, since.choice(SOLES_MM) * 1000])
    return Mount(
        set_for_um=set_for,
        still_set=set_for == bsl,
        set_again=since.random() < 0.5,
        pattern=chance.choice([pattern.name] * 4 + ["another"]),
        bsl_um=bsl,
        offset_um=chance.choice([0, 2500]),
        mounted_on="2026-01-01",
        drilled=chance.random() < 0.5,
        slides=slides if chance.random() < 0.5 else (),
    )


def any_pattern(chance: Random) -> Pattern:
    travel = chance.choice([(0, 0)] * 6 + [(3, 5), (15, 15)] * 4 + [(0.3, 0.4)])
    whole = make.t4h4(heel_travel=travel, toe_travel=chance.choice([(0, 0), (0, 0), (1, 0), (6, 6)]))
    toe, heel = whole.pieces
    centre = make.piece(PieceName.PLATE, Follows.CENTRE, [(-30, 18), (30, 18), (0, -18)], travel=travel)
    mark = make.piece(PieceName.PLATE, Follows.MARK, [(0, 18), (0, -18), (40, 0)], travel=(4, 4))
    beside = make.piece(PieceName.TOE, Follows.TOE, [(-10.2, 18.3), (-10.2, -18.3), (-45.2, 0)])
    near = make.piece(PieceName.PLATE, Follows.TOE, [(-60, 18), (-60, -18)], travel=(2, 2))
    chosen = chance.choice(
        [(toe, heel)] * 20
        + [(centre,), (toe,), (heel,)] * 3
        + [(mark,), (mark, heel), (beside, heel), (toe, near, heel)]
    )
    made = replace(whole, pieces=chosen, bsl_min_um=chance.choice([None, 290_000]))
    return made.leaving(chance.choice([0] * 6 + [500, 1_500, 2_000, 250]))


def any_policy(chance: Random) -> Policy:
    changed = chance.choice(
        [{}, {"bench_error_mm": "0.5", "allowance_drilled_here_mm": "0.5", "edge_mm": "8"}] * 10
        + [{"clearance_counted_max_mm": "3"}, {"spacing_mm": "8", "pair_difference_mm": "0"}] * 2
        + [
            {"clearance_counted_max_mm": "12"},
            {"offset_limit_mm": "10.2"},
            {"offset_limit_mm": "4", "reuse_tolerance_mm": "1"},
            {"wall_min_mm": "7"},
            {"minutes_plug_hole": "0.5"},
        ]
    )
    return make.p10(**changed)


def one_shop(seed: int, pairs: int = 4) -> tuple[int, int]:
    chance = Random(seed)
    pattern = any_pattern(chance)
    soles: list[Sole] = [(mm * 1000, None) for mm in chance.sample(SOLES_MM, 4)]
    soles.append(chance.choice([(301_000, None), (307_000, None), (300_001, None), (305_000, 10_000)]))
    made = [any_pair(chance, pattern) for _ in range(pairs)]
    return same_everywhere(made, pattern, soles, any_policy(chance))


@given(st.integers(0, 2**32))
@settings(max_examples=20, deadline=None)
def test_seeded_skis_cost_at_once_what_they_cost_one_by_one(seed):
    """Marks that differ, unknown states and zones, edges, areas with gaps, travel, pins, mounts, and soles,
    patterns and marks beside the half-millimetre grid."""
    one_shop(seed)


@given(st.integers(0, 2**32))
@settings(max_examples=15, deadline=None)
def test_one_way_asked_for_alone_is_that_of_all_ways(seed):
    """Asked for one rung, a finder looks only where this boot may reach; it finds the same way, or none."""
    chance = Random(seed)
    pattern, policy = any_pattern(chance), any_policy(chance)
    pair = any_pair(chance, pattern)

    def finder() -> WayFinder:
        return WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True)

    for mm in chance.sample(SOLES_MM, 3):
        found = {way.rung: way for way in finder().ways(mm * 1000)}
        assert {rung: way for rung in Rung if (way := finder().way(rung, mm * 1000))} == found


def lone_screws(chance: Random) -> Pattern:
    """Pieces of one or two screws: each old hole alone decides."""
    pieces = [
        make.piece(
            name,
            follows,
            chance.choice([[(0, 0)], [(0, 0)], [(0, 9), (0, -9)], [(-1, 0), (1.5, 0)]]),
            travel=chance.choice([(0, 0), (0, 0), (0.5, 0), (0, 1), (3, 2), (0.3, 0)]),
        )
        for name, follows in (
            (PieceName.TOE, chance.choice([Follows.TOE, Follows.TOE, Follows.CENTRE])),
            (PieceName.HEEL, Follows.HEEL),
        )
    ]
    chosen = chance.choice([pieces, pieces, pieces[:1], pieces[1:]])
    made = Pattern(name="T4/H4", binding_model="teaching", pieces=tuple(chosen))
    return made.leaving(chance.choice([0] * 4 + [500]))


BESIDE_MM = (
    0,
    0.1,
    0.249,
    0.25,
    0.251,
    0.499,
    0.5,
    0.501,
    0.75,
    9.5,
    9.75,
    9.751,
    10,
    10.001,
    10.25,
    10.5,
    12,
)


def beside_the_screws(chance: Random, pattern: Pattern, name: str, sole_mm: int):
    """Old holes as far from where the screws of a sole would go as some rule asks, or about so."""
    found = []
    for piece in pattern.pieces:
        for hole in piece.holes:
            for _ in range(chance.choice([0, 1, 1, 2])):
                x = (piece.follows.reference_um(0, sole_mm * 1000) + hole.x_um) / 1000
                x += chance.choice([-1, 1]) * chance.choice(BESIDE_MM) + chance.choice([0, 0, 0, 3, -5.5])
                found += make.holes(
                    [(x, hole.y_um / 1000 + chance.choice([0, 0, 0, 0.3, -0.4, 8, 9.99]))],
                    state=chance.choice([HoleState.OPEN] * 5 + [HoleState.PLUGGED] * 2 + list(HoleState)),
                    diameter_mm=chance.choice([3.6] * 9 + [4.1]),
                    name=f"{name}{len(found)}-",
                )
    return found


def lone_pairs(chance: Random, pattern: Pattern, count: int) -> list[Pair]:
    """Skis A and B differ, or only their marks do; some zones and areas end beside a screw."""
    pairs = []
    for _ in range(count):
        sole = chance.choice([300, 305])
        a = beside_the_screws(chance, pattern, "a", sole)
        same = chance.random() < 0.4
        b = a if same else beside_the_screws(chance, pattern, "b", sole)
        zones = [(400, 400, 45)] * 4 + [(152.5, 152.5, 45), (150.3, 155.2, 9), (400, 400, 8.999), None]
        areas = [[(-500, 500)]] * 4 + [[(-500, 0), (152.3, 500)], [(-160, -150.2), (-150, 155)]]
        pair = make.pair(
            make.ski(Side.A, a, zone_mm=chance.choice(zones), inspected_mm=chance.choice(areas)),
            make.ski(
                Side.B,
                b,
                zone_mm=chance.choice(zones),
                inspected_mm=chance.choice(areas),
                mark_mm=800 + (0 if same else chance.choice([0, 0, 0.5, -3])),
            ),
        )
        pairs.append(replace(pair, mounts=(mounted(chance, pattern),)) if chance.random() < 0.4 else pair)
    return pairs


@pytest.mark.parametrize("seed", first(30, range(60)))
def test_lone_screws_beside_old_holes_cost_at_once_what_they_cost_one_by_one(seed: int) -> None:
    chance = Random(seed)
    pattern = lone_screws(chance)
    pairs, policy = lone_pairs(chance, pattern, 8), any_policy(chance)
    same_everywhere(pairs, pattern, [(mm * 1000, None) for mm in (300, 303, 305, 310)], policy)


@pytest.mark.parametrize("seed", first(15, range(30)))
def test_one_way_of_lone_screws_asked_for_alone_is_that_of_all_ways(seed: int) -> None:
    """And `costs` tells the figures of all ways without making them."""
    chance = Random(seed)
    pattern = lone_screws(chance)
    policy = any_policy(chance)
    for pair in lone_pairs(chance, pattern, 3):
        for bsl_um in (300_000, 303_000, 305_000):
            finder = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True)
            ways = {way.rung: way for way in finder.ways(bsl_um)}
            afresh = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True)
            for rung in Rung:
                assert afresh.way(rung, bsl_um) == ways.get(rung)
            costs = {cost.rung: cost for cost in finder.costs(bsl_um)}
            assert list(costs) == list(ways)
            for rung, way in ways.items():
                for name in ("drilled", "plugged", "minutes", "offset_um", "clearance_um"):
                    assert getattr(costs[rung], name) == getattr(way, name)


@given(st.integers(0, 2**32))
@settings(max_examples=15, deadline=None)
def test_a_twin_gets_the_way_it_would_have_found_itself(seed):
    """Pairs alike hole by hole: names, depths and tails are the twin's own, or it is asked itself."""
    chance = Random(seed)
    pattern, policy = any_pattern(chance), any_policy(chance)
    pair = any_pair(chance, pattern)
    longer = chance.choice([0, 1500])
    mixed = chance.random() < 0.3
    twin = replace(
        pair,
        tag="T-2",
        skis={
            side: replace(
                ski,
                mark_from_tail_um=None if ski.mark_from_tail_um is None else ski.mark_from_tail_um + longer,
                holes=tuple(
                    replace(
                        hole,
                        hole_id=(chance.choice(["b", "z"]) if mixed else "b") + hole.hole_id,
                        depth_um=7000,
                    )
                    for hole in ski.holes
                ),
            )
            for side, ski in pair.skis.items()
        },
    )
    for mm in chance.sample(SOLES_MM, 3):
        stance = stance_for(pattern, mm * 1000, None)
        for way in WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True).ways(mm * 1000):
            given_to = Twins(way, stance, pair).way_of(twin)
            own = WayFinder(pair=twin, pattern=pattern, policy=policy, mounted=True).way(way.rung, mm * 1000)
            assert given_to is None or given_to == own


def test_the_sample_fleet_costs_at_once_what_it_costs_one_by_one():
    """Every thirty-second pair, every pattern, every fifth sole; and nearly all of it is answered at once."""
    fleet = sample_fleet()
    pairs = list(fleet.pairs.values())[::32]
    soles: list[Sole] = sorted({(b.bsl_um, b.pin_um) for b in fleet.boots.values() if b.bsl_um})[::5]
    counts = [same_everywhere(pairs, p, soles, fleet.policy) for p in fleet.patterns.values()]
    ways, slow = (sum(column) for column in zip(*counts, strict=True))
    assert ways > 350
    assert slow < 0.02 * len(pairs) * len(soles) * len(counts)


@pytest.mark.long
@pytest.mark.parametrize("hundred", range(10))
def test_many_seeded_skis_cost_at_once_what_they_cost_one_by_one(hundred):
    """The same as with a few, a thousand times."""
    for seed in range(100 * hundred, 100 * hundred + 100):
        one_shop(seed)


def beside_a_spoilt_window(chance: Random, side: Side) -> Ski:
    """The toe's old hole off the grid, another that spoils the window up to near it, and some at the heel."""
    at = chance.choice([0.1, 0.2, 0.249, 0.25, 0.251, 0.3, 0.45, -0.1, -0.3, 0.05])
    spoilt = chance.choice([-1, 1]) * (10 + chance.choice([0.001, 0.01, 0.05, 0.1]))
    old = make.holes([(150 + at, 0)], name="t")
    old += make.holes([(150 + at + spoilt, 0)], state=HoleState.PLUGGED, name="p")
    for number in range(chance.choice([0, 1, 2])):
        beside = 10 + chance.choice([0, 0.05, 0.1, 0.2, 0.25, 0.3, 0.5, -0.1])
        place = (-150 + chance.choice([-1, 1]) * beside, 0)
        old += make.holes([place], state=HoleState.PLUGGED, name=f"h{number}-")
    return make.ski(side, old)


@pytest.mark.parametrize("seed", first(15, range(30)))
@pytest.mark.parametrize("travel", [(0, 0), (0.5, 0), (0, 1)])
def test_a_reused_toe_off_the_grid_takes_the_heel_along(seed: int, travel: tuple[float, float]) -> None:
    """No half millimetre lies where the toe may be: the heel is drilled at the exact place."""
    chance = Random(seed)
    pieces = (
        make.piece(PieceName.TOE, Follows.TOE, [(0, 0)]),
        make.piece(PieceName.HEEL, Follows.HEEL, [(0, 0)], travel=travel),
    )
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    pairs = [
        make.pair(beside_a_spoilt_window(chance, Side.A), beside_a_spoilt_window(chance, Side.B))
        for _ in range(10)
    ]
    policy = make.p10(bench_error_mm=chance.choice(["0", "0", "0.1"]))
    same_everywhere(pairs, pattern, [(300_000, None), (301_000, None)], policy)


@pytest.mark.parametrize(
    ("follows", "back_mm", "front_mm"),
    [(Follows.CENTRE, -20, 20), (Follows.TOE, -170, -130), (Follows.HEEL, 130, 170)],
)
@pytest.mark.parametrize("narrow", [list(Side), [Side.A], [Side.B]])
@pytest.mark.parametrize(("more_mm", "ways"), [(0, 1), (0.001, 0)])
def test_a_piece_on_both_sides_of_the_mark_may_fit_midway_only(
    follows, back_mm, front_mm, narrow, more_mm, ways
) -> None:
    """A quarter of a millimetre ahead: 40 mm apart, but printed -20.0 and +20.5. Asked one by one.

    One plugged hole keeps the front screw from lying further back, another the rear one from lying ahead.
    """
    pieces = (make.piece(PieceName.TOE, follows, [(back_mm, 0), (front_mm, 0)]),)
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    plugged = make.holes([(10.25 + more_mm, 0), (-9.75, 0)], state=HoleState.PLUGGED)
    policy = make.p10(offset_limit_mm="2")
    pair = make.pair(*(make.ski(side, plugged if side in narrow else ()) for side in Side))
    found = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True).ways(300_000)
    assert [way.offset_um for way in found] == [250] * ways
    there, slow = same_everywhere([pair], pattern, [(300_000, None)], policy)
    assert there == ways
    assert slow >= ways


@pytest.mark.parametrize(("front_mm", "rear_mm", "ways"), [(10.15, -9.75, 0), (10.25, -9.65, 1)])
@pytest.mark.parametrize("narrow", [list(Side), [Side.A], [Side.B]])
def test_the_place_midway_may_be_the_end_of_what_one_hole_alone_leaves(
    front_mm, rear_mm, ways, narrow
) -> None:
    """From 0.15 to 0.25 mm, or from 0.25 to 0.35 mm: neither end is on the grid, so it is asked one by one.

    The nearest place is tried: 0.15 mm would be printed as 0.0, which is forbidden; 0.25 mm as 0.5 is not.
    """
    pieces = (make.piece(PieceName.TOE, Follows.CENTRE, [(-20, 0), (20, 0)]),)
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    plugged = make.holes([(front_mm, 0), (rear_mm, 0)], state=HoleState.PLUGGED)
    pair = make.pair(*(make.ski(side, plugged if side in narrow else ()) for side in Side))
    assert same_everywhere([pair], pattern, [(300_000, None)], make.p10(offset_limit_mm="2")) == (ways, 1)


@pytest.mark.parametrize("middle_mm", [-1.75, -0.25, 1.75])
@pytest.mark.parametrize("narrow", [list(Side), [Side.A], [Side.B]])
def test_a_place_midway_is_found_up_to_the_last_half_millimetre_of_the_limit(middle_mm, narrow) -> None:
    """Within 2 mm of the mark: from -2 to -1.5 mm and from 1.5 to 2 mm are the first and the last."""
    pieces = (make.piece(PieceName.TOE, Follows.CENTRE, [(-20, 0), (20, 0)]),)
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    plugged = make.holes([(10 + middle_mm, 0), (-10 + middle_mm, 0)], state=HoleState.PLUGGED)
    pair = make.pair(*(make.ski(side, plugged if side in narrow else ()) for side in Side))
    assert same_everywhere([pair], pattern, [(300_000, None)], make.p10(offset_limit_mm="2")) == (1, 1)


@pytest.mark.parametrize("ahead_mm", [0, 25, -25])
def test_a_place_midway_is_found_on_a_pair_whose_marks_lie_apart(ahead_mm) -> None:
    """From the reference the piece lies on one side of ski B's mark, and on both sides of ski A's."""
    pieces = (make.piece(PieceName.TOE, Follows.CENTRE, [(-20, 0), (20, 0)]),)
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    plugged = make.holes([(10.25, 0), (-9.75, 0)], state=HoleState.PLUGGED)
    pair = make.pair(make.ski(Side.A, plugged), make.ski(Side.B, mark_mm=800 + ahead_mm))
    assert same_everywhere([pair], pattern, [(300_000, None)], make.p10(offset_limit_mm="2")) == (1, 1)


@pytest.mark.parametrize(("limit_mm", "ways"), [("0", 1), ("0.5", 1)])
def test_with_no_room_for_an_offset_nothing_is_asked_one_by_one(limit_mm, ways) -> None:
    pair = make.pair(make.ski(Side.A, make.holes([(30, 0)], state=HoleState.PLUGGED)), make.ski(Side.B))
    policy = make.p10(offset_limit_mm=limit_mm)
    assert same_everywhere([pair], make.t4h4(), [(300_000, None)], policy) == (ways, 0)


NEAR_MM = 10 + 10 + 5 + 2 * 1 + 2 * 0.5
"""Spacing, counted clearance, a margin, and twice what a pair may differ and a reused hole may lie off."""


@pytest.mark.parametrize("beyond_mm", [0, 0.5])
@pytest.mark.parametrize(
    ("toe", "toe_travel", "heel", "heel_travel"),
    [
        ([(0, 0)], (0, 0), [(0, 0)], (0, 0)),
        ([(-60, 0), (5, 9)], (0, 0), [(0, 0)], (0, 0)),
        ([(0, 0)], (0, 60), [(0, 0)], (0, 0)),
        ([(0, 0)], (3, 0), [(0, 0)], (0, 4)),
        ([(0, 0)], (0, 0), [(60, 0), (-5, 9)], (0, 0)),
        ([(0, 0)], (0, 0), [(0, 0)], (60, 0)),
        ([(-10, 0)], (1, 20), [(15, 0)], (25, 1)),
    ],
)
def test_pieces_that_may_come_near_each_other_are_asked_one_by_one(
    toe, toe_travel, heel, heel_travel, beyond_mm
) -> None:
    """Their holes and their travel are counted toward each other; half a millimetre decides."""
    reach = toe_travel[1] - min(x for x, _ in toe) + heel_travel[0] + max(x for x, _ in heel)
    sole_mm = round(NEAR_MM + reach)
    heel = [(x + sole_mm - NEAR_MM - reach + beyond_mm, y) for x, y in heel]
    pieces = (
        make.piece(PieceName.TOE, Follows.TOE, toe, travel=toe_travel),
        make.piece(PieceName.HEEL, Follows.HEEL, heel, travel=heel_travel),
    )
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    pair = make.pair(make.ski(Side.A), make.ski(Side.B))
    there, slow = same_everywhere([pair], pattern, [(sole_mm * 1000, None)], make.p10())
    assert (there, slow) == (1, 1 if beyond_mm else 0)


@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("missing", [1, 4, 8])
def test_a_mount_whose_holes_lack_on_one_ski_is_reused_in_part(side: Side, missing: int) -> None:
    """One hole drilled on one ski alone is drilled, and no mount in the same holes."""
    pattern = make.t4h4()
    places = make.mount_holes_mm(pattern, 305)
    old = {each: make.holes(places[: 8 - missing] if each is side else places) for each in Side}
    pair = make.pair(*(make.ski(each, old[each]) for each in Side))
    same_everywhere([pair], pattern, [(305_000, None)], make.p10())
    costs, _ = asked_at_once([pair], pattern, [(305_000, None)], make.p10())
    drilled = {rung: way[0] for rung, way in told(costs, 0, 0).items()}
    assert Rung.SAME_HOLES not in drilled
    assert drilled[Rung.PART_REUSED] == missing


@pytest.mark.parametrize(("further_mm", "ways"), [(-0.001, 1), (0, 1), (0.001, 0)])
@pytest.mark.parametrize("way", [1, -1])
@pytest.mark.parametrize("pieces", [slice(0, 2), slice(0, 1), slice(1, 2)])
def test_old_holes_that_a_mount_just_reaches_at_the_limit_of_the_boot_centre(
    further_mm: float, ways: int, way: int, pieces: slice
) -> None:
    """The centre may lie 10 mm from the mark, and is said in half millimetres: 10.25 mm are 10."""
    pattern = replace(make.t4h4(), pieces=make.t4h4().pieces[pieces])
    old = make.holes(make.mount_holes_mm(pattern, 305, way * (10.25 + further_mm)))
    pair = make.pair(make.ski(Side.A, old), make.ski(Side.B, old))
    same_everywhere([pair], pattern, [(305_000, None)], make.p10())
    costs, _ = asked_at_once([pair], pattern, [(305_000, None)], make.p10())
    assert list(told(costs, 0, 0)).count(Rung.CENTRE_MOVED) == ways


@pytest.mark.parametrize("reused", [PieceName.TOE, PieceName.HEEL, None])
@pytest.mark.parametrize("beside_mm", [-12, 12])
@pytest.mark.parametrize("travel", [(0, 0), (0.5, 0.5)])
def test_of_two_places_as_near_the_mark_the_one_with_more_room_counts(reused, beside_mm, travel) -> None:
    """Half a millimetre to either side of a strip that nobody saw; an old hole lies beside one of them."""
    places = {PieceName.TOE: 150, PieceName.HEEL: -150}
    free = PieceName.TOE if reused is PieceName.HEEL else PieceName.HEEL
    pieces = tuple(
        make.piece(name, Follows(name.value), [(0, 0)], travel=travel if name is free else (1, 1))
        for name in places
    )
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    gap = 0.5 + max(travel)
    seen = [(-500, places[free] - gap), (places[free] + gap, 500)]
    old = make.holes([(places[reused], 0)], name="r") if reused else ()
    old += make.holes([(places[free] + beside_mm, 0)], state=HoleState.PLUGGED, name="p")
    pair = make.pair(*(make.ski(side, old, inspected_mm=seen) for side in Side))
    there, slow = same_everywhere([pair], pattern, [(300_000, None)], make.p10())
    assert there == (2 if reused else 1)
    assert slow == 0


@pytest.mark.parametrize("along_mm", [-1, -0.5, 0, 0.5, 1])
@pytest.mark.parametrize("toe_mm", [-0.3, -0.2, 0.2, 0.3])
@pytest.mark.parametrize("travel", [(0, 0), (1, 1), (2, 0), (0, 2)])
def test_a_stretch_in_which_one_place_has_no_room_to_spare_is_one(along_mm, toe_mm, travel) -> None:
    """The toe is reused between two half millimetres; the heel slides past a hole as far off as is asked."""
    pieces = (
        make.piece(PieceName.TOE, Follows.TOE, [(0, 0)]),
        make.piece(PieceName.HEEL, Follows.HEEL, [(0, 0)], travel=travel),
    )
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    old = make.holes([(150 + toe_mm, 0)], name="r")
    old += make.holes([(-150 + along_mm, 10)], state=HoleState.PLUGGED)
    pair = make.pair(*(make.ski(side, old) for side in Side))
    same_everywhere([pair], pattern, [(300_000, None)], make.p10())


@pytest.mark.parametrize("middle_mm", [0, 0.25, 2.5, -7])
@pytest.mark.parametrize(("apart_mm", "reused"), [(0.998, True), (1, True), (1.002, False)])
@pytest.mark.parametrize("pieces", [slice(0, 2), slice(0, 1), slice(1, 2)])
def test_skis_whose_holes_lie_a_millimetre_apart_have_one_place_for_the_mount(
    middle_mm: float, apart_mm: float, reused: bool, pieces: slice
) -> None:
    """A hole counts as reused within half a millimetre: that is the middle between the two skis."""
    pattern = replace(make.t4h4(), pieces=make.t4h4().pieces[pieces])
    old = (make.holes(make.mount_holes_mm(pattern, 305, middle_mm + way * apart_mm / 2)) for way in (1, -1))
    pair = make.pair(*(make.ski(side, holes) for side, holes in zip(Side, old, strict=True)))
    same_everywhere([pair], pattern, [(305_000, None)], make.p10())
    found = told(asked_at_once([pair], pattern, [(305_000, None)], make.p10())[0], 0, 0)
    assert (found.keys() & {Rung.SAME_HOLES, Rung.CENTRE_MOVED} != set()) is reused


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(("beside_mm", "ways"), [(0, 1), (-0.001, 0)])
@pytest.mark.parametrize("travel", [(0, 0), (2, 2)])
def test_a_toe_and_a_heel_may_both_fit_midway_only(side, beside_mm, ways, travel) -> None:
    """Old holes keep the toe from lying further back, and the heel from lying further ahead.

    Printed, each moves a quarter of a millimetre away from the mark, where it is legal.
    """
    pieces = (
        make.piece(PieceName.TOE, Follows.TOE, [(0, 0)], travel=travel),
        make.piece(PieceName.HEEL, Follows.HEEL, [(0, 0)]),
    )
    pattern = Pattern(name="T4/H4", binding_model="teaching", pieces=pieces)
    middle = 1.75 * side
    old = [(150 + middle + travel[0] - 10, 0), (-150 + middle + 10 + beside_mm, 0)]
    plugged = make.holes(old, state=HoleState.PLUGGED)
    pair = make.pair(*(make.ski(each, plugged) for each in Side))
    policy = make.p10(offset_limit_mm="2")
    found = WayFinder(pair=pair, pattern=pattern, policy=policy, mounted=True).ways(300_000)
    assert [way.offset_um for way in found] == [round(middle * 1000)] * ways
    assert same_everywhere([pair], pattern, [(300_000, None)], policy)[0] == ways


@pytest.mark.parametrize(("name", "taken"), [("b", True), ("z", False)])
def test_a_twin_whose_holes_sort_otherwise_beside_the_drilled_ones_is_asked_itself(name, taken) -> None:
    """Names break ties: those drilled are called by their piece, ``heel 1``; ``z`` comes after them."""
    pattern = make.t4h4()

    def holed(letter: str) -> Pair:
        return make.pair(*(make.ski(side, make.holes([(0, 30)], name=letter)) for side in Side))

    stance = stance_for(pattern, 305_000, None)
    [way] = WayFinder(pair=holed("a"), pattern=pattern, policy=make.p10(), mounted=True).ways(305_000)
    assert way.rung is Rung.ALL_NEW
    given_to = Twins(way, stance, holed("a")).way_of(holed(name))
    assert (given_to is not None) is taken
