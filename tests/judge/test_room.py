"""The judge's count of further mounts against the exact one of life, which shares no code with it.

Small random pairs: two to three pieces that follow the toe, the heel, the centre or the mark; marks that
differ on the two skis; old holes of every state and sort of knowledge, some as a mount of the pattern left
them and some beside that; areas and zones that end in the middle of it.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable
from dataclasses import replace
from itertools import combinations

import pytest

from fleet.facts.holes import Hole, HoleState, Knowledge, Mount, Side
from fleet.facts.kinds import Kind
from fleet.facts.pairs import InspectedArea, Pair, Ski
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from fleet.facts.policy import Policy
from fleet.tables.snapshot import Fleet
from planner.geometry.life.fleet_life import FleetLife
from planner.plan.values import Plan, PlannedSet, Room, Rung
from planner.planning.assign.plan import plan_fleet
from planner.planning.judge import judge_plan
from planner.planning.judge.room import (
    Places,
    _middles,
    _Mounts,
    _numbers,
    _spoilt,
    _spots,
    _too_near,
    _worked,
)
from planner.planning.judge.set_check import Facts
from tests.assign.builders import boot, fleet, kit, pair, wish
from tests.assign.test_room_left import travelling_shop
from tests.judge import two_skis

NAMES = (PieceName.TOE, PieceName.HEEL, PieceName.PLATE)
FOLLOWS = ((Follows.TOE, Follows.MARK, Follows.CENTRE), (Follows.HEEL, Follows.TOE), tuple(Follows))


def random_pattern(rng: random.Random) -> Pattern:
    def piece(name: PieceName, follows: Follows) -> Piece:
        xs = rng.sample(range(-25_000, 26_000, 5_000), rng.choice((1, 1, 2)))
        ys = [rng.choice((15_000, 18_000, 18_200, 18_250)) for _ in xs]
        back, forward = (rng.choice((0, 0, 500, 2_000, 3_250)) for _ in "bf")
        holes = {(x, y * sign) for x, y in zip(xs, ys, strict=True) for sign in (1, -1)}
        return Piece(
            name=name, follows=follows, travel_back_um=back, travel_forward_um=forward,
            holes=tuple(PatternHole(x_um=x, y_um=y) for x, y in sorted(holes)),
        )  # fmt: skip

    count = rng.choice((1, 2, 2, 2, 3))
    pieces = tuple(piece(NAMES[k], rng.choice(FOLLOWS[k])) for k in range(count))
    return Pattern(name="P-1", binding_model="Larch", pieces=pieces)


def random_holes(
    rng: random.Random, side: Side, pattern: Pattern, soles: list[int], shift: int, *, worn: bool
) -> tuple[Hole, ...]:
    """Mounts of the pattern as they were screwed, each hole a little beside it or changed since.

    ``worn``: mounts that nearly all can be used again, some holes gone from them and others beside them.
    """
    holes = []
    for mount in range(rng.choice((0, 1, 1, 1, 2))):
        u, bsl = rng.randrange(-9_000, 9_001, 500), rng.choice(soles)
        for piece in pattern.pieces:
            slid = rng.choice((-piece.travel_back_um, 0, piece.travel_forward_um))
            at = piece.follows.reference_um(u, bsl) + slid + shift
            for n, listed in enumerate(piece.holes):
                if rng.random() < (0.3 if worn else 0.1):
                    continue
                far = (
                    (0,) * 12 + (300, -500, 4_000, 6_700, 7_000, 9_600)
                    if worn
                    else (0, 0, 0, 0, 100, -300, 500, 501)
                )
                beside = (rng.choice(far) for _ in "xy")
                holes.append(
                    Hole(
                        hole_id=f"{side.value}/{mount}/{piece.name.value}/{n}",
                        x_um=at + listed.x_um + next(beside),
                        y_um=listed.y_um + next(beside),
                        diameter_um=3_600 if worn else rng.choice((3_600,) * 12 + (4_100, None)),
                        depth_um=None,
                        state=rng.choice((HoleState.OPEN,) * 12 + tuple(HoleState)),
                        knowledge=rng.choice((Knowledge.MEASURED_HERE,) * 12 + tuple(Knowledge)),
                    )
                )
    return tuple(holes)


def random_shop(seed: int, *, worn: bool = False) -> tuple[Fleet, Pair]:
    rng = random.Random(seed)
    pattern = random_pattern(rng)
    soles = rng.sample((200_000, 201_000, 205_000, 211_000), rng.choice((1, 2, 3)))
    marks = {Side.A: 800_000, Side.B: 800_000 + rng.choice((0, 0, 300, -1_500))}
    ends = rng.choice(((-160_000, 160_000),) * 3 + ((-134_000, 300_000), (-160_000, 128_000)))
    alike = worn or rng.random() < 0.4
    skis: dict[Side, Ski] = {}
    for side in Side:
        shift = marks[Side.A] - marks[side]
        again = random.Random(seed) if alike else rng
        gap = rng.randrange(-120_000, 120_000, 250)
        areas = [ends] if rng.random() < 0.8 else [(ends[0], gap), (gap + 3_000, ends[1])]
        skis[side] = Ski(
            side=side,
            mark_from_tail_um=None if rng.random() < 0.1 else marks[side],
            zone_back_um=rng.choice((150_000, 150_000, 150_000, 141_000)),
            zone_front_um=rng.choice((150_000, 150_000, 150_000, 139_400)),
            zone_half_width_um=rng.choice((45_000,) * 16 + (26_200, 26_250, None)),
            inspected=tuple(InspectedArea(from_um=a, to_um=b, how="bare", on="2026-09-01") for a, b in areas),
            holes=random_holes(again, side, pattern, soles, shift, worn=worn),
        )
    mounts = (Mount(pattern="P-1", bsl_um=200_000, offset_um=0, mounted_on="2024-10-01", removed_on="2025"),)
    reference = rng.choice((None, None, 800_500))
    one = replace(pair("K-1"), skis=skis, mounts=mounts, reference_from_tail_um=reference)
    boots = [boot(f"B-{n}", bsl_mm=bsl // 1000) for n, bsl in enumerate(soles)]
    shop = fleet(pairs=[one], boots=boots, wishes=[], bindings=[], fits=(("sole", "P-1"),))
    set_to = {
        "offset_limit_mm": rng.choice(("5", "9", "14", "20")),
        "spacing_mm": rng.choice(("6", "8", "10")),
    }
    if rng.random() < 0.5:
        set_to["reuse_spacing_mm"] = rng.choice(("3", "7"))
    settings = {n: replace(shop.policy.settings[n], value=value) for n, value in set_to.items()}
    policy = Policy({**shop.policy.settings, **settings})
    return replace(shop, patterns={"P-1": pattern}, policy=policy), one


MOST = 4
ONCE_WRONG = (682, 1194, 2820, 2836, 3122, 3789, 4076, 4105, 5157)
"""Two pieces of one shape, or three of which two met the first at different places of the boot's centre."""


def counts(seeds: Iterable[int], *, worn: bool = False) -> set[int | None]:
    seen = set()
    for seed in seeds:
        shop, one = random_shop(seed, worn=worn)
        counted = Places(Facts(shop)).left(one, MOST)
        assert counted == FleetLife(shop).places(one, most=MOST), f"seed {seed}"
        seen.add(counted)
    return seen


@pytest.mark.parametrize("seeds", [ONCE_WRONG, range(100), range(100, 200)], ids=["once wrong", "0", "100"])
def test_so_many_further_mounts_as_the_exact_count_of_life_finds(seeds: Iterable[int]) -> None:
    assert counts(seeds) >= {0, 1, 2, 4}


@pytest.mark.parametrize("block", range(3))
def test_so_many_on_worn_skis_whose_holes_are_used_again(block: int) -> None:
    assert counts(range(block * 100, block * 100 + 100), worn=True) >= {0, 1, 2}


def test_the_most_spots_of_a_piece_that_go_together_as_by_trying_every_choice() -> None:
    rng, seen = random.Random(7), set()
    for seed in range(40):
        shop, one = random_shop(seed)
        limits, pattern = Facts(shop).limits(one), shop.patterns["P-1"]
        soles = sorted(b.bsl_um for b in shop.boots.values() if b.bsl_um is not None)
        spots = _spots(limits, one, pattern, soles)
        if not all(spots):
            continue
        mounts = _Mounts(limits, pattern, soles, spots)
        for piece in mounts._pieces:
            chosen = rng.sample(_numbers(piece), min(9, piece.bit_count()))
            most = max(
                len(some)
                for size in range(len(chosen) + 1)
                for some in combinations(chosen, size)
                if all(mounts._agreeing(v) >> w & 1 for v, w in combinations(some, 2))
            )
            free = sum(1 << v for v in chosen)
            holds = [mounts._holds(free, count) for count in range(len(chosen) + 2)]
            assert holds == [count <= most for count in range(len(chosen) + 2)]
            seen.add(most)
    assert seen >= {1, 2, 3}


@pytest.mark.long
@pytest.mark.parametrize("worn", [False, True])
def test_so_many_of_thousands_of_pairs(worn: bool) -> None:
    assert counts(range(6_000), worn=worn) == {0, 1, 2, 3, 4}


def bare_shop(*boots: str, **rules: str) -> Fleet:
    """The shop of one pair whose heel travels, its bindings in stock; a set is wanted."""
    shop = travelling_shop()
    set_to = {name: replace(shop.policy.settings[name], value=value) for name, value in rules.items()}
    return replace(
        shop,
        policy=Policy({**shop.policy.settings, **set_to}),
        pairs={"K-1": replace(shop.pairs["K-1"], kind=Kind.TELEMARK)},  # which needs no brake
        boots={tag: shop.boots[tag] for tag in boots},
        wishes=(wish("W-1", length=(1600, 1800), size=(260, 280)),),
        bindings={b.binding_id: replace(b, on_pair=None, on_ski=None) for b in shop.bindings.values()},
    )


def planned_set(shop: Fleet) -> tuple[Plan, PlannedSet, Room]:
    plan = plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)
    (planned,) = plan.sets
    assert planned.way.room is not None
    return plan, planned, planned.way.room


def test_a_pair_with_no_mount_left_by_the_rule_has_room_for_none() -> None:
    plan, planned, room = planned_set(shop := bare_shop("B-305", mounts_max="1"))
    assert planned.way.rung is Rung.SAME_HOLES
    assert room == Room(before=0, kept=0, rule=0)
    assert judge_plan(shop, plan) == ()


def test_the_first_mount_of_a_new_pair_takes_the_room_of_its_holes() -> None:
    shop = bare_shop("B-305")
    (one,) = shop.pairs.values()
    new = replace(one, skis={side: replace(ski, holes=()) for side, ski in one.skis.items()})
    plan, planned, room = planned_set(shop := replace(shop, pairs={"K-1": new}))
    assert planned.way.rung is Rung.ALL_NEW
    assert (room.before, room.kept) == (2, 1)
    assert judge_plan(shop, plan) == ()


def test_room_that_takes_too_long_to_count_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    plan, planned, _ = planned_set(shop := bare_shop("B-285"))
    monkeypatch.setattr("planner.planning.judge.room._STEPS", 0)
    said = f"W-1 {planned.boot} on K-1: leaves room that takes too long to count"
    assert said in map(str, judge_plan(shop, plan))


def test_a_worth_that_takes_too_long_to_count_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    shop = bare_shop("B-285", mount_worth_1="9", mount_worth_2="4", mount_worth_3="1")
    plan, planned, _ = planned_set(shop)
    assert planned.way.drilled
    monkeypatch.setattr("planner.planning.judge.room._STEPS", 0)
    said = f"W-1 {planned.boot} on K-1: drills a mount whose worth takes too long to count"
    assert said in map(str, judge_plan(shop, plan))


def test_pairs_that_differ_in_their_holes_keep_their_own_answers() -> None:
    shop, one = random_shop(2)
    new = replace(one, skis={side: replace(ski, holes=()) for side, ski in one.skis.items()})
    places = Places(Facts(shop))
    answers = [places.left(each, MOST) for each in (one, new, one)]
    assert answers == [Places(Facts(shop)).left(each, MOST) for each in (one, new, one)]
    assert answers[0] != answers[1]


def test_two_holes_are_too_near_by_the_last_micrometre_on_either_side() -> None:
    """4 µm beside each other and 9 asked: 8 along is too near (8.94), 9 is not (9.85)."""
    assert _too_near(((0, 0),), ((0, 4),), 9) == [(-8, 8)]
    assert _too_near(((0, 0),), ((0, 9),), 9) == []


def test_a_stretch_of_a_single_micrometre_parts_a_span() -> None:
    assert list(_middles((0, 10), [(5, 5)])) == [2, 8]
    assert list(_middles((0, 10), [(6, 5)])) == [5]
    assert list(_middles((0, 10), [(0, 10)])) == []


@pytest.mark.parametrize("wall_mm", ["", "8.9", "9"])
def test_the_holes_of_a_plan_take_room_from_its_pair(wall_mm: str) -> None:
    """A mount all new on a ski for nine: what is left is counted with its own holes, as wide as drilled."""
    plan, planned, room = planned_set(shop := bare_shop("B-285", "B-325", wall_min_mm=wall_mm))
    assert planned.way.drilled
    assert room.kept < room.before
    assert judge_plan(shop, plan) == ()
    for kept in (room.kept - 1, room.kept + 1):
        way = replace(planned.way, room=replace(room, kept=kept))
        spoilt = replace(plan, sets=(replace(planned, way=way),))
        words = (
            "W-1 " + planned.boot + " on K-1: further mounts before, after and by the shop's rule are"
            f" {(room.before, room.kept, room.rule)}, the plan says {(room.before, kept, room.rule)}"
        )
        assert words in map(str, judge_plan(shop, spoilt))
    untold = replace(plan, sets=(replace(planned, way=replace(planned.way, room=None)),))
    said = f"W-1 {planned.boot} on K-1: says of its room what the plan does not"
    assert said in map(str, judge_plan(shop, untold))


def spot(name: PieceName, follows: Follows, *places: tuple[int, int], travel_um: int = 0) -> Piece:
    """A piece with a hole at each place (x, y), micrometres."""
    holes = tuple(PatternHole(x_um=x, y_um=y) for x, y in places)
    return Piece(
        name=name, follows=follows, holes=holes, travel_back_um=travel_um, travel_forward_um=travel_um
    )


def old(number: int, x_um: int, y_um: int) -> Hole:
    return Hole(
        hole_id=str(number), x_um=x_um, y_um=y_um, diameter_um=3_600, depth_um=None,
        state=HoleState.OPEN, knowledge=Knowledge.MEASURED_HERE,
    )  # fmt: skip


TWO_ROWS = spot(
    PieceName.TOE,
    Follows.CENTRE,
    *((x_um, y_um) for x_um in (-20_000, 20_000) for y_um in (18_000, -18_000)),
)


def rows_at(*places_um: int) -> list[Hole]:
    """Two old holes across the ski at each place."""
    across = (18_000, -18_000)
    return [old(2 * n + k, x_um, y_um) for n, x_um in enumerate(places_um) for k, y_um in enumerate(across)]


def left_by(pieces: tuple[Piece, ...], area: tuple[int, int], *holes: Hole, **rules: str) -> int | None:
    """Further mounts of these pieces where that stretch of both skis was seen."""
    shop, one = random_shop(0)
    inspected = (InspectedArea(from_um=area[0], to_um=area[1], how="bare", on="2026-09-01"),)
    skis = {
        side: Ski(
            side=side,
            mark_from_tail_um=800_000,
            zone_back_um=150_000,
            zone_front_um=150_000,
            zone_half_width_um=45_000,
            inspected=inspected,
            holes=tuple(replace(hole, hole_id=f"{side.value}{hole.hole_id}") for hole in holes),
        )
        for side in Side
    }
    one = replace(one, skis=skis, reference_from_tail_um=None, mounts=())
    set_to = {"offset_limit_mm": "5", "spacing_mm": "8", "reuse_spacing_mm": "7"} | rules
    settings = {n: replace(shop.policy.settings[n], value=value) for n, value in set_to.items()}
    shop = replace(
        shop,
        pairs={"K-1": one},
        bindings={b.binding_id: b for b in kit(1, "P-1", None, "K-1")},
        patterns={"P-1": Pattern(name="P-1", binding_model="Larch", pieces=pieces)},
        policy=Policy({**shop.policy.settings, **settings}),
    )
    counted = Places(Facts(shop)).left(one, MOST)
    assert counted == FleetLife(shop).places(one, most=MOST)
    return counted


ONE_HOLE = (spot(PieceName.PLATE, Follows.CENTRE, (0, 18_000)),)
UPON_OLD = spot(PieceName.TOE, Follows.CENTRE, (0, 18_000))
BEYOND = spot(PieceName.PLATE, Follows.MARK, (60_000, 18_000), travel_um=10_000)
# New mounts keep the spacing, the bench's error and what a hole drilled here may be off: 8 + 0.5 + 0.5 mm.
AT_THE_LIMIT: dict[str, tuple[Callable[[], int | None], int]] = {
    "two places upon old holes that share none": (
        lambda: left_by(
            (TWO_ROWS, BEYOND), (55_000, 65_000), *rows_at(-110_000, -70_000, -40_000, 0), offset_limit_mm="100"
        ), 2,
    ),
    "two places upon old holes that share a row": (
        lambda: left_by(
            (TWO_ROWS, BEYOND), (55_000, 65_000), *rows_at(-110_000, -70_000, -30_000), offset_limit_mm="100"
        ), 1,
    ),
    "two mounts as far apart as asked": (lambda: left_by(ONE_HOLE, (-4_500, 4_500)), 2),
    "0.5 mm less": (lambda: left_by(ONE_HOLE, (-4_500, 4_000)), 1),
    "two pieces beside each other, as far apart as asked": (
        lambda: left_by((*ONE_HOLE, spot(PieceName.TOE, Follows.CENTRE, (0, 27_000))), (0, 0)), 1,
    ),
    "a micrometre less": (
        lambda: left_by((*ONE_HOLE, spot(PieceName.TOE, Follows.CENTRE, (0, 26_999))), (0, 0)), 0,
    ),
    "another old hole as far as asked from a screw half a millimetre from the middle of its own": (
        lambda: left_by((UPON_OLD, BEYOND), (60_000, 60_000), old(1, 0, 18_000), old(2, 6_500, 18_000)), 1,
    ),
    "that hole a micrometre nearer": (
        lambda: left_by((UPON_OLD, BEYOND), (60_000, 60_000), old(1, 0, 18_000), old(2, 6_499, 18_000)), 0,
    ),
    "an old hole is used once, though the other piece has room twice": (
        lambda: left_by((UPON_OLD, BEYOND), (55_000, 65_000), old(1, 0, 18_000)), 1,
    ),
    "a piece at the mark slides back from the mark, wherever the boot's centre is": (
        lambda: left_by((UPON_OLD, BEYOND), (50_000, 50_000), old(1, 3_000, 18_000)), 1,
    ),
    "and forward from it": (
        lambda: left_by((UPON_OLD, BEYOND), (70_000, 70_000), old(1, -3_000, 18_000)), 1,
    ),
    "nor where a hole beside it leaves its screw two stretches": (
        lambda: left_by((UPON_OLD, BEYOND), (55_000, 65_000), old(1, 0, 18_000), old(2, 0, 24_990)), 1,
    ),
    "two old holes within one screw's play: neither is too near to the other": (
        lambda: left_by((UPON_OLD, BEYOND), (60_000, 60_000), old(1, 0, 18_000), old(2, 300, 18_000)), 1,
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", AT_THE_LIMIT)
def test_each_distance_at_its_limit(name: str) -> None:
    counted, left = AT_THE_LIMIT[name]
    assert counted() == left


def test_after_the_work_those_holes_are_plugged_that_the_plan_plugs_and_no_other() -> None:
    ledger, kept = two_skis.shop(), 0
    for planned in two_skis.plan().sets:
        before = ledger.pairs[planned.pair]
        after = _worked(before, planned)
        for side in Side:
            plugs = planned.way.skis[side].plug
            were = {h.hole_id: h.state for h in before.skis[side].holes}
            are = {h.hole_id: h.state for h in after.skis[side].holes if h.hole_id in were}
            assert are == {n: HoleState.PLUGGED if n in plugs else state for n, state in were.items()}
            kept += sum(state is not HoleState.PLUGGED for state in are.values())
    assert kept


def test_what_another_hole_spoils_ends_where_the_screw_may_go_into_it() -> None:
    """8 mm along from the own hole: too near up to 9.999 mm away, but for where the screw falls into it."""
    shop, one = random_shop(0)
    limits = replace(Facts(shop).limits(one), reuse_spacing_um=10_000)
    ski = replace(one.skis[Side.A], holes=(old(1, 0, 0), old(2, 8_000, 0)))
    hole = PatternHole(x_um=0, y_um=0)
    into = {0: (-500, 500), 1: (7_500, 8_500)}
    assert list(_spoilt(limits, ski, hole, into, 0)) == [(-1_999, 7_499), (8_501, 17_999)]
    assert list(_spoilt(limits, ski, hole, into, 1)) == [(-9_999, -501), (501, 9_999)]
    none_of_it = [each for each in _spoilt(limits, ski, hole, {0: (-500, 500)}, 0) if each[0] <= each[1]]
    assert none_of_it == [(-1_999, 17_999)]
