"""Small random fleets: every level of the plan equals trying all plans."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from decimal import Decimal

import pytest

from fleet.facts.kinds import Kind
from fleet.facts.patterns import PatternHole
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan, Rung, Way
from planner.planning.assign.plan import plan_fleet
from tests.assign import brute_force
from tests.assign.builders import HandMadeWays, boot, fleet, kit, pair, way, wish
from tests.few import first

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


def with_prices(seed: int, shop: Fleet, ways: HandMadeWays) -> tuple[Fleet, HandMadeWays, Decimal]:
    """The same shop with prices, eight screws a binding, plugs here and there, and a budget that may bind."""
    rng = random.Random(-seed - 1)
    prices = {
        "price_new_hole": rng.choice(["0.40", "1", "1.15"]),
        "price_reused_hole": rng.choice(["0", "0.25"]),
        "price_plug": rng.choice(["0.30", "2"]),
    }
    holes = tuple(PatternHole(x_um=20_000 * n, y_um=18_000) for n in range(8))
    patterns = {
        name: replace(p, pieces=(replace(p.pieces[0], holes=holes),)) for name, p in shop.patterns.items()
    }
    plugged: dict[int, tuple[Way, ...]] = {}
    priced = HandMadeWays()
    for key, found in ways.table.items():
        same = id(found)
        if same not in plugged:
            plugged[same] = tuple(
                replace(w, plugged=rng.choice([0, 0, 4, 8]) if w.rung.rank > Rung.ADJUST.rank else 0)
                for w in found
            )
        priced.table[key] = plugged[same]
    shop = replace(shop, patterns=patterns, policy=shop.policy.with_values(**prices))
    return shop, priced, Decimal(rng.randint(0, 30))


def levels_of(plan: Plan) -> list[int]:
    t = plan.totals
    return [
        *(-n for _, n in sorted(t.served_by_priority.items())),
        t.drilled,
        t.minutes,
        t.offset_um,
        -t.clearance_um,
    ]


def list_of(plan: Plan) -> tuple:
    """(wish, boot, pair, way ...) of every set, then the brakes of every set."""
    ways = [
        (s.wish, s.boot, s.pair, s.way.rung.rank, s.way.pattern, s.binding_from != "own") for s in plan.sets
    ]
    return tuple(ways + [(-1 if s.brake_um is None else s.brake_um,) for s in plan.sets])


def made(shop, ways, minutes, budget: Decimal | None = None) -> Plan:
    return plan_fleet(
        shop,
        made_at="",
        ready_by=None,
        minutes_limit=minutes,
        parts_limit_cents=None if budget is None else int(budget * 100),
        ways=ways,
        judged=False,
    )


def same_as_brute_force(seed: int, most: int, *, priced: bool = False) -> bool:
    """Also whether the budget kept a better plan away."""
    shop, ways, minutes = random_case(seed, most=most)
    budget = None
    if priced:
        shop, ways, budget = with_prices(seed, shop, ways)
    plan = made(shop, ways, minutes, budget)
    value, lists = brute_force.best(shop, ways, minutes, budget)
    assert levels_of(plan) == value
    assert list_of(plan) in lists
    return priced and levels_of(made(shop, ways, minutes)) != value


@pytest.mark.parametrize("block", first(4, range(10)))
def test_two_hundred_small_cases_equal_trying_every_plan(block: int) -> None:
    for seed in range(block * 20, block * 20 + 20):
        same_as_brute_force(seed, most=7 if seed % 10 == 0 else 5)


@pytest.mark.parametrize("block", first(2, range(5)))
def test_a_hundred_small_cases_with_a_parts_budget_equal_trying_every_plan(block: int) -> None:
    bound = sum(same_as_brute_force(seed, most=5, priced=True) for seed in range(block * 20, block * 20 + 20))
    assert bound >= 2, "else the budget was never looked at"


def tight_case(seed: int, most: int):
    """A priced shop that may spend a part of the minutes and of the money that its free plan takes."""
    rng = random.Random(-seed - 2)
    shop, ways, _ = random_case(seed, most=most)
    shop, ways, _ = with_prices(seed, shop, ways)
    free = made(shop, ways, None).totals
    minutes = int(free.minutes * rng.choice([0.3, 0.5, 0.7, 0.9]))
    return shop, ways, minutes, Decimal(int((free.parts_cents or 0) * rng.choice([0.5, 0.7, 0.9, 1.2]))) / 100


def tight_equals_brute_force(seed: int, most: int) -> None:
    shop, ways, minutes, budget = tight_case(seed, most)
    plan = made(shop, ways, minutes, budget)
    value, lists = brute_force.best(shop, ways, minutes, budget)
    assert levels_of(plan) == value
    assert list_of(plan) in lists


@pytest.mark.parametrize("block", first(1, range(3)))
def test_small_cases_with_every_limit_drawn_tight_equal_trying_every_plan(block: int) -> None:
    for seed in range(3000 + block * 20, 3000 + block * 20 + 20):
        tight_equals_brute_force(seed, most=5)


@pytest.mark.long
@pytest.mark.parametrize("block", range(25))
def test_five_hundred_with_every_limit_drawn_tight_equal_trying_every_plan(block: int) -> None:
    for seed in range(4000 + block * 20, 4000 + block * 20 + 20):
        tight_equals_brute_force(seed, most=6 if seed % 5 == 0 else 5)


@pytest.mark.long
def test_each_limit_keeps_a_better_plan_away_in_some_of_the_tight_cases() -> None:
    """Else trying every plan would show nothing about it: minutes, money, bindings, boots."""
    bound: Counter[str] = Counter()
    for seed in range(3000, 3060):
        shop, ways, minutes, budget = tight_case(seed, most=5)
        value = levels_of(made(shop, ways, minutes, budget))
        loose = [b for i in range(40) for b in kit(500 + i, "PQ"[i % 2], (85, 95, None)[i // 2 % 3])]
        twins = [replace(b, tag=f"{b.tag}{twin}") for b in shop.boots.values() for twin in "ab"]
        for name, other in {
            "minutes": made(shop, ways, None, budget),
            "money": made(shop, ways, minutes),
            "bindings": made(
                replace(shop, bindings=dict(shop.bindings) | {b.binding_id: b for b in loose}),
                ways,
                minutes,
                budget,
            ),
            "boots": made(replace(shop, boots={b.tag: b for b in twins}), ways, minutes, budget),
        }.items():
            bound[name] += levels_of(other) != value
    least = {"minutes": 10, "money": 10, "bindings": 3, "boots": 1}
    assert all(bound[name] >= times for name, times in least.items()), bound


@pytest.mark.long
@pytest.mark.parametrize("block", range(25))
def test_five_hundred_more_with_all_limits_equal_trying_every_plan(block: int) -> None:
    """Bindings, minutes and money all bind here and there."""
    for seed in range(1000 + block * 20, 1000 + block * 20 + 20):
        same_as_brute_force(seed, most=6 if seed % 5 == 0 else 5, priced=True)
