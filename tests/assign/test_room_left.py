"""The room for further mounts as the last level: against trying every plan, and by hand."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from itertools import islice, product

import pytest

from fleet.facts.holes import Mount
from fleet.facts.policy import Policy
from fleet.tables.snapshot import Fleet
from planner.geometry.life.fleet_life import FleetLife
from planner.plan.objective import ROOM
from planner.plan.plan_file import plan_from_json, plan_to_json
from planner.plan.values import Plan, Room, Rung, Way
from planner.planning.assign.geometry import RoomLeft, SweptWays, as_left
from planner.planning.assign.plan import plan_fleet
from planner.planning.judge import judge_plan
from planner.planning.judge.certificate import level_values
from tests.assign import brute_force
from tests.assign.builders import HandMadeWays, boot, fleet, kit
from tests.assign.shop import real_shop
from tests.assign.test_small_cases import random_case
from tests.few import first
from tests.life.test_life import pair as drilled_pair, teaching


class HandMadeRoom(RoomLeft):
    """The room that a hand-made way carries."""

    def _left(self, pair, way: Way, now: int) -> Room:
        assert way.room is not None
        return way.room

    def now(self, pair) -> int:
        return 9


def with_rooms(ways: HandMadeWays, seed: int) -> HandMadeWays:
    """Of two rungs that cost the same only the lower one is offered to a plan; so here, too."""
    rng = random.Random(seed)

    def costs(way: Way) -> tuple[int, ...]:
        clear = 10_000 if way.clearance_um is None else min(way.clearance_um, 10_000)
        return way.drilled, way.minutes, abs(way.offset_um), clear

    return HandMadeWays(
        {
            key: tuple(
                way
                if way.rung.rank <= Rung.ADJUST.rank
                else replace(way, room=Room(before=3, kept=rng.randint(0, 3), rule=3))
                for n, way in enumerate(table)
                if costs(way) not in map(costs, table[:n])
            )
            for key, table in ways.table.items()
        }
    )


def best_room(shop: Fleet, ways: HandMadeWays, minutes: int | None) -> int:
    """The least room lost of the plans that are best at every other level, by trying all."""
    least: list[tuple[list[int], int]] = []

    class Search(brute_force._Search):
        def _compare(self, chosen) -> None:
            self.best = None
            super()._compare(chosen)
            if self.best is not None:
                lost = sum(row[6].room.lost for row in chosen if row[6].room is not None)
                least.append((self.best[0], lost))
                least[:] = [min(least)]

    Search(shop, list(brute_force._rows(shop, ways)), minutes, None).run(0, [])
    return least[0][1]


@pytest.mark.parametrize("block", first(2, range(4)))
def test_of_the_plans_best_at_all_else_the_one_that_takes_least_room_is_made(block: int) -> None:
    mattered = proved = 0
    for seed in range(block * 16, block * 16 + 16, 2):  # even: no two pairs are alike
        shop, plain, minutes = random_case(seed, most=5)
        ways = with_rooms(plain, seed)
        common = {"made_at": "", "ready_by": None, "minutes_limit": minutes, "ways": ways, "judged": False}
        plan = plan_fleet(shop, **common, room=HandMadeRoom(shop, ways))
        assert plan.totals.room_lost == best_room(shop, ways, minutes)
        proved += plan.status == "proved best"
        assert all(level.by_solver for level in plan.certificate.levels) or plan.status == "proved best"
        worst = plan_fleet(shop, **common, room=HandMadeRoom(shop, _turned(ways)))
        mattered += worst.sets != plan.sets
        assert level_values(shop, plan)[:-1] == level_values(shop, worst)[:-1]
    assert mattered
    assert proved >= 7  # of 8; the solver proved the others


def _turned(ways: HandMadeWays) -> HandMadeWays:
    """The same ways, where those that keep most keep least."""
    return HandMadeWays(
        {
            key: tuple(
                way if way.room is None else replace(way, room=replace(way.room, kept=3 - way.room.kept))
                for way in table
            )
            for key, table in ways.table.items()
        }
    )


def made(shop: Fleet) -> Plan:
    return plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)


@pytest.mark.parametrize("seed", first(1, range(3)))
def test_each_way_takes_the_place_that_keeps_most_by_the_exact_count_of_life(seed: int) -> None:
    shop = real_shop(seed)
    ways, lives, seen = SweptWays(), FleetLife(shop), Counter[bool]()
    plan = made(shop)
    for planned in plan.sets:
        room, pair = planned.way.room, shop.pair(planned.pair)
        assert (room is None) == (planned.way.rung.rank <= Rung.ADJUST.rank)
        if room is None:
            continue
        rule = shop.policy.count("mounts_max") - pair.drilled_mounts
        question = {
            "pair": pair,
            "pattern": shop.pattern(planned.way.pattern),
            "bsl_um": planned.way.bsl_um,
            "policy": shop.policy,
            "mounted": planned.binding_from == "own",
            "pin_um": shop.boot(planned.boot).pin_um,
        }
        kept = []
        for place in islice(ways.alike(planned.way.rung, **question), 12):
            spacing = lives.of(as_left(pair, place)).best
            kept.append(min(spacing.at_least if spacing else 0, rule - bool(place.drilled)))
        now = lives.of(pair).best
        assert room.before == min(now.at_least if now else 0, rule)
        assert room.rule == rule - bool(planned.way.drilled)
        assert room.kept == max(kept)
        seen[room.lost > 0] += 1
    assert plan.totals.room_lost == sum(s.way.room.lost for s in plan.sets if s.way.room)
    assert seed == 1 or seen[True]


def travelling_shop() -> Fleet:
    """One pair whose heel travels, mounted once, and a rule that does not bind."""
    pattern = teaching(10)
    mount = Mount(pattern=pattern.name, bsl_um=305_000, offset_um=0, mounted_on="2024-10-01", removed_on=None)
    shop = fleet(
        pairs=[replace(drilled_pair(((305, 0),)), mounts=(mount,), earlier_mounts=0)],
        boots=[boot(f"B-{bsl}", bsl_mm=bsl) for bsl in (285, 300, 305, 315, 325)],
        wishes=[],
        bindings=list(kit(1, pattern.name, None, "K-1")),
        fits=(("sole", pattern.name),),
    )
    rule = replace(shop.policy.settings["mounts_max"], value="9")
    policy = Policy({**shop.policy.settings, "mounts_max": rule})
    return replace(shop, patterns={pattern.name: pattern}, policy=policy)


def test_of_places_equal_in_all_else_the_one_is_taken_that_keeps_most() -> None:
    shop, ways, bettered = travelling_shop(), SweptWays(), 0
    (pair,), (pattern,), lives = shop.pairs.values(), shop.patterns.values(), FleetLife(shop)
    room = RoomLeft(shop, ways)
    for bsl, rung in product((285, 300, 315, 325), (Rung.PART_REUSED, Rung.ALL_NEW)):
        question = {"pair": pair, "pattern": pattern, "bsl_um": 1000 * bsl, "pin_um": None, "mounted": True}
        places = list(islice(ways.alike(rung, policy=shop.policy, **question), 40))
        if not places:
            continue
        kept = [lives.of(as_left(pair, place)).best.at_least for place in places]
        taken = room.way(rung=rung, **question)
        assert taken.room.kept == max(kept)
        assert replace(taken, room=None) == places[kept.index(max(kept))]
        bettered += max(kept) > kept[0]
    assert bettered


SPOILT = {
    "more kept": lambda room: replace(room, kept=room.kept + 1),
    "less kept": lambda room: replace(room, kept=room.kept - 1),
    "more by the rule": lambda room: replace(room, rule=room.rule + 1),
    "less before": lambda room: replace(room, before=room.before - 1),
    "nothing said": lambda room: None,
}


@pytest.mark.parametrize("how", SPOILT)
def test_a_plan_that_says_another_room_than_it_leaves_is_refused(how: str) -> None:
    shop = real_shop(0)
    plan = made(shop)
    assert judge_plan(shop, plan) == ()
    at = next(n for n, s in enumerate(plan.sets) if s.way.room is not None and s.way.room.kept)
    way = plan.sets[at].way
    spoilt = replace(plan.sets[at], way=replace(way, room=SPOILT[how](way.room)))
    plan = replace(plan, sets=(*plan.sets[:at], spoilt, *plan.sets[at + 1 :]))
    assert "room" in {each.rule for each in judge_plan(shop, plan)}


def test_the_total_is_the_sum_and_the_file_carries_it() -> None:
    shop = real_shop(0)
    plan = made(shop)
    wrong = replace(plan, totals=replace(plan.totals, room_lost=(plan.totals.room_lost or 0) + 1))
    assert any("room_lost" in each.message for each in judge_plan(shop, wrong))
    assert plan_from_json(plan_to_json(plan)) == plan
    untold = replace(plan, totals=replace(plan.totals, room_lost=None))
    assert "room_lost" not in plan_to_json(untold)["totals"]


def test_room_that_nobody_counts_is_no_level(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("planner.planning.assign.geometry.MOST_COUNTED", 0)
    shop = real_shop(0)
    plan = made(shop)
    assert plan.totals.room_lost is None
    assert all(s.way.room is None for s in plan.sets)
    assert plan.status == "proved best"
    assert ROOM.name not in [level.name for level in plan.certificate.levels]
    assert judge_plan(shop, plan) == ()
