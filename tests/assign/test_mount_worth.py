"""The worth of the mounts drilled as a level before the holes: against trying every plan, and by hand."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from itertools import product
from zlib import crc32

import pytest

from fleet.base.errors import BadInput, PlanFault
from fleet.facts.holes import Mount
from fleet.tables.snapshot import Fleet
from planner.plan.objective import WORTH
from planner.plan.part_prices import mount_worths, worth_of_next
from planner.plan.plan_file import plan_from_json, plan_to_json
from planner.plan.values import Plan, Rung, Way
from planner.planning.assign.circulation import Circulation
from planner.planning.assign.geometry import RoomLeft
from planner.planning.assign.plan import judged_plan, plan_fleet
from planner.planning.judge import judge_plan
from planner.planning.judge.certificate import level_values
from planner.planning.replan.again import plan_again
from planner.planning.replan.earlier import earlier_sets
from tests.assign import brute_force
from tests.assign.builders import HandMadeWays, boot, fleet, kit, pair, way, wish
from tests.assign.shop import real_shop
from tests.assign.test_small_cases import random_case

NAMES = ("mount_worth_1", "mount_worth_2", "mount_worth_3")


def valued(shop: Fleet, *worths: str) -> Fleet:
    return replace(shop, policy=shop.policy.with_values(**dict(zip(NAMES, worths, strict=True))))


def room_of(tag: str) -> int:
    return crc32(tag.encode()) % 5


def worth_of(sets: Iterable[tuple[str, Way]]) -> int:
    """9 for the last mount, 4 for the one before, 1 for others."""
    return sum((9, 9, 4, 1, 1)[room_of(tag)] for tag, way in sets if way.drilled)


def roomy_case(seed: int):
    """Five pairs for three boots, each drilled for any of them, for more or fewer holes."""
    rng = random.Random(seed)
    shop = fleet(
        pairs=[pair(f"K-{n}") for n in range(5)],
        boots=[boot(f"B-{n}", bsl_mm=295 + 10 * n) for n in range(3)],
        wishes=[wish("W-1", quantity=3)],
        bindings=[b for n in range(5) for b in kit(n, "P", None, f"K-{n}")],
        fits=(("sole", "P"),),
    )
    ways = HandMadeWays()
    for n, bsl in product(range(5), (295, 305, 315)):
        rung, drilled = rng.choice([(Rung.ALL_NEW, 16), (Rung.PART_REUSED, 8), (Rung.ADJUST, 0)])
        made = way(pattern_name="P", bsl_mm=bsl, rung=rung, drilled=drilled, minutes=drilled + 5)
        ways.table[f"K-{n}", "P", bsl, True] = (made,)
    return shop, ways, rng.choice([None, 40])


class HandMadeRoom(RoomLeft):
    """Room for nought to four further mounts, by tag."""

    def now(self, pair) -> int:
        return room_of(pair.tag)


def best_values(shop: Fleet, ways: HandMadeWays, minutes: int | None) -> list[int]:
    """The levels of the best plan, by trying all."""
    found: list[list[int]] = []
    priorities = len({w.priority for w in shop.wishes})

    class Search(brute_force._Search):
        def _compare(self, chosen) -> None:
            self.best = None
            super()._compare(chosen)
            if self.best is not None:
                worth = worth_of((row[2], row[6]) for row in chosen)
                value = self.best[0]
                found.append([*value[:priorities], worth, *value[priorities:]])
                found[:] = [min(found)]

    Search(shop, list(brute_force._rows(shop, ways)), minutes, None).run(0, [])
    return found[0]


@pytest.mark.parametrize("block", range(3))
def test_of_the_plans_that_serve_most_the_one_that_drills_mounts_of_least_worth_is_made(block: int) -> None:
    mattered = proved = 0
    for seed in range(block * 16, block * 16 + 16, 2):  # even: no two pairs are alike
        shop, ways, minutes = roomy_case(seed) if seed % 4 else random_case(seed, most=5)
        common = {"made_at": "", "ready_by": None, "minutes_limit": minutes, "ways": ways, "judged": False}
        plain = plan_fleet(shop, **common)
        shop = valued(shop, "9", "4", "1")
        plan = plan_fleet(shop, **common, room=HandMadeRoom(shop, ways))
        t = plan.totals
        served = [-n for _, n in sorted(t.served_by_priority.items())]
        wanted = best_values(shop, ways, minutes)
        assert [*served, t.mount_worth, t.drilled, t.minutes, t.offset_um, -t.clearance_um] == wanted
        assert t.mount_worth == sum(s.way.mount_worth for s in plan.sets)
        proved += plan.status == "proved best"
        assert all(level.by_solver for level in plan.certificate.levels) or plan.status == "proved best"
        mattered += worth_of((s.pair, s.way) for s in plain.sets) > (t.mount_worth or 0)
    assert proved >= 7  # of 8; the solver proved the others
    assert mattered


def made(shop: Fleet) -> Plan:
    return plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)


def worn_shop() -> Fleet:
    """A shop some of whose pairs have one mount left by the rule, and others three."""
    shop = real_shop(0)
    mount = Mount(
        pattern=next(iter(shop.patterns)), bsl_um=305_000, offset_um=0, mounted_on=None, removed_on=None
    )
    pairs = {
        tag: replace(pair, mounts=(mount,) * (1 + 2 * (n % 2)), earlier_mounts=0)
        for n, (tag, pair) in enumerate(shop.pairs.items())
    }
    shop = replace(shop, pairs=pairs, policy=shop.policy.with_values(mounts_max="4"))
    return valued(shop, "100", "50", "20")


@cache
def worn_plan() -> Plan:
    return made(worn_shop())


def test_a_plan_of_real_ways_is_judged_and_proved_and_says_what_each_mount_is_worth() -> None:
    shop, plan = worn_shop(), worn_plan()
    assert plan.status == "proved best"
    assert judge_plan(shop, plan) == ()
    worths = {s.way.mount_worth for s in plan.sets}
    assert worths > {0}
    assert all(bool(s.way.mount_worth) == bool(s.way.drilled) for s in plan.sets)
    assert plan_from_json(plan_to_json(plan)) == plan
    untold = replace(plan, totals=replace(plan.totals, mount_worth=None))
    assert "mount_worth" not in plan_to_json(untold)["totals"]
    assert WORTH.name in [level.name for level in plan.certificate.levels]


def test_the_judge_counts_each_worth_and_their_sum_anew() -> None:
    shop, plan = worn_shop(), worn_plan()
    at = next(n for n, s in enumerate(plan.sets) if s.way.drilled)
    for worth in (0, plan.sets[at].way.mount_worth + 1):
        spoilt = replace(plan.sets[at], way=replace(plan.sets[at].way, mount_worth=worth))
        wrong = replace(plan, sets=(*plan.sets[:at], spoilt, *plan.sets[at + 1 :]))
        real = plan.sets[at].way.mount_worth
        who = f"{spoilt.wish} {spoilt.boot} on {spoilt.pair}"
        words = f"{who}: drills a mount worth {real}, the plan says {worth}"
        assert words in map(str, judge_plan(shop, wrong))
    wrong = replace(plan, totals=replace(plan.totals, mount_worth=(plan.totals.mount_worth or 0) + 1))
    assert any("mount_worth" in each.message for each in judge_plan(shop, wrong))
    unset = valued(shop, "", "", "")
    said = replace(plan, policy={s.name: s.value for s in unset.policy})
    told = "the plan: it counts a worth that the shop does not set"
    assert told in {str(each) for each in judge_plan(unset, said) if each.rule == "mount worth"}


def test_worth_that_the_judge_cannot_follow_is_left_out_with_the_proof(monkeypatch) -> None:
    shop, plan = worn_shop(), worn_plan()
    monkeypatch.setattr("planner.planning.judge.room._STEPS", 0)
    left = judged_plan(shop, plan)
    assert left.totals.mount_worth is None
    assert left.certificate is None
    assert not any(s.way.mount_worth for s in left.sets)


def test_worth_that_nobody_counts_is_no_level(monkeypatch) -> None:
    monkeypatch.setattr("planner.planning.assign.problem.MOST_COUNTED", 0)
    shop = worn_shop()
    plan = made(shop)
    assert plan.totals.mount_worth is None
    assert plan.status == "proved best"
    assert len(level_values(shop, plan)) == len(plan.certificate.levels)


def test_the_worths_are_all_set_or_none() -> None:
    shop = real_shop(0)
    assert mount_worths(shop.policy) is None
    assert mount_worths(valued(shop, "9", "4", "0").policy) == (9, 4, 0)
    with pytest.raises(BadInput, match="mount_worth_2 is not set"):
        mount_worths(valued(shop, "9", "", "0").policy)
    assert [worth_of_next((9, 4, 0), left) for left in (0, 1, 2, 3, 4)] == [9, 9, 4, 0, 0]


def test_a_sum_of_levels_that_the_flow_solver_cannot_count_costs_its_guess_alone(monkeypatch) -> None:
    """Of one level more the mild weights are larger: the solver once stopped, and a plan by one pass came."""
    solves, stopped = Circulation._solve, []

    def once(self, cost) -> None:
        if not stopped:
            stopped.append(self)
            raise PlanFault("the flow solver stopped without a proof: BAD_COST_RANGE")
        solves(self, cost)

    plan = worn_plan()
    monkeypatch.setattr(Circulation, "_solve", once)
    again = made(worn_shop())
    assert stopped
    assert (again.status, again.totals) == (plan.status, plan.totals)


def test_a_plan_after_it_keeps_every_set_and_the_same_worth() -> None:
    shop, plan = worn_shop(), worn_plan()
    again = plan_again(
        shop, earlier_sets(plan, ()), made_at="", ready_by=None, minutes_limit=None, judged=False
    )
    assert again.kept == len(plan.sets)
    assert again.plan.totals == plan.totals
    assert again.plan.status == "proved best"
