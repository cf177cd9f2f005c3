"""Small random fleets: every level of the plan equals trying all plans."""

from __future__ import annotations

import random

import pytest

from fleet.equipment import Kind
from planner.assign.plan import plan_fleet
from planner.plan_values import Plan, Rung
from tests.assign import brute_force
from tests.assign.builders import HandMadeWays, boot, fleet, kit, pair, way, wish

RUNGS = list(Rung)


def random_case(seed: int, *, most: int = 7, limits: bool = True):
    """Up to ``most`` boots and pairs, two patterns, two brakes, few kits, some kits on pairs.

    In every other case pairs come in batches of up to three that are alike.
    """
    rng = random.Random(seed)
    batch = {i: (i * 2 // 5 if seed % 2 else i) for i in range(most)}
    pairs = [
        pair(
            f"K-{i}",
            length_mm=rng.choice([1600, 1700, 1800]),
            kind=rng.choice([Kind.TELEMARK, Kind.TELEMARK, Kind.TOURING]),
            waist_mm=rng.choice([80, 90, 90, None]) if seed % 2 == 0 else 90,
            batch=batch[i],
        )
        for i in range(rng.randint(1, most))
    ]
    boots = [
        boot(
            f"B-{i}",
            bsl_mm=rng.choice([295, 305, 315]),
            size_mm=rng.choice([255, 265, 275]),
            sole=rng.choice(["sole", "other"]),
        )
        for i in range(rng.randint(1, most))
    ]
    wishes = [
        wish(
            f"W-{i}",
            quantity=rng.randint(0, 3),
            priority=rng.randint(1, 3),
            length=rng.choice([(1500, 1700), (1600, 1800), (1700, 1900)]),
            size=rng.choice([(250, 260), (255, 275), (265, 280)]),
            kind=rng.choice([Kind.TELEMARK, Kind.TELEMARK, Kind.TOURING]),
        )
        for i in range(rng.randint(1, 3))
    ]
    bindings = []
    number = 0
    for p in pairs:
        if rng.random() < 0.4:
            number += 1
            bindings += kit(number, rng.choice("PQ"), rng.choice([85, 95, 100, None]), p.tag)
    for _ in range(rng.randint(0, 4 if limits else 30)):
        number += 1
        bindings += kit(number, rng.choice("PQ"), rng.choice([85, 95, None]))
    shop = fleet(
        pairs=pairs,
        boots=boots,
        wishes=wishes,
        bindings=bindings,
        patterns=("P", "Q"),
        fits=(("sole", "P"), ("sole", "Q"), ("other", "Q")),
    )
    ways = HandMadeWays()
    for p in pairs:
        for name in "PQ":
            for bsl in (295, 305, 315):
                for mounted in (True, False):
                    first = f"K-{min(i for i, b in batch.items() if b == batch[int(p.tag[2:])])}"
                    found = ways.table.get((first, name, bsl, mounted))
                    ways.table[p.tag, name, bsl, mounted] = (
                        _random_ways(rng, name, bsl, mounted) if found is None else found
                    )
    minutes = rng.choice([None, rng.randint(0, 200)]) if limits else None
    return shop, ways, minutes


def _random_ways(rng: random.Random, name: str, bsl: int, mounted: bool):
    rungs = [r for r in RUNGS if rng.random() < 0.35 and (mounted or r.rank > 1)]
    return tuple(
        way(
            pattern_name=name,
            bsl_mm=bsl,
            rung=rung,
            drilled=0 if rung.rank < 4 else rng.choice([8, 16]),
            minutes=rng.choice([0, 10, 20, 35, 50]),
            offset_um=rng.choice([-5000, -500, 0, 0, 500, 5000]),
            clearance_um=None if rung.rank < 4 else rng.choice([0, 500, 2000, 30_000]),
        )
        for rung in rungs
    )


def levels_of(plan: Plan) -> list[int]:
    t = plan.totals
    return [
        *(-n for _, n in sorted(t.served_by_priority.items())),
        t.drilled,
        t.minutes,
        t.offset_um,
        -t.clearance_um,
    ]


def list_of(plan: Plan) -> list[tuple]:
    """(wish, boot, pair, way ...) of every set, then the brakes of every set."""
    ways = [
        (s.wish, s.boot, s.pair, s.way.rung.rank, s.way.pattern, s.binding_from != "own") for s in plan.sets
    ]
    return ways + [(-1 if s.brake_um is None else s.brake_um,) for s in plan.sets]


def made(shop, ways, minutes) -> Plan:
    return plan_fleet(shop, made_at="", ready_by=None, minutes_limit=minutes, ways=ways, judged=False)


def same_as_brute_force(seed: int, most: int) -> None:
    shop, ways, minutes = random_case(seed, most=most)
    plan = made(shop, ways, minutes)
    value, tuples = brute_force.best(shop, ways, minutes)
    assert levels_of(plan) == value
    assert list_of(plan) == tuples


@pytest.mark.parametrize("block", range(10))
def test_two_hundred_small_cases_equal_trying_every_plan(block: int) -> None:
    for seed in range(block * 20, block * 20 + 20):
        same_as_brute_force(seed, most=7 if seed % 10 == 0 else 5)


@pytest.mark.long
@pytest.mark.parametrize("block", range(25))
def test_five_hundred_more_with_all_limits_equal_trying_every_plan(block: int) -> None:
    for seed in range(1000 + block * 20, 1000 + block * 20 + 20):
        same_as_brute_force(seed, most=6 if seed % 5 == 0 else 5)
