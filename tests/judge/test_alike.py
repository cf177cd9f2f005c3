"""Sets that are alike are looked at once: what is wrong with one of them alone is found all the same."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest

from fleet.facts.holes import Side
from fleet.facts.kinds import Kind
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan, PlannedSet, PlannedSki
from planner.planning.assign.plan import plan_fleet
from planner.planning.judge.plan_check import judge_plan
from planner.planning.judge.set_check import Facts, alike_sets, judge_set
from tests.bench.plan_fleets import real_fleet


@pytest.fixture(scope="module")
def shop() -> tuple[Fleet, Plan, PlannedSet]:
    """A shop of three batches of forty pairs, its plan, and the last set of the largest lot that are alike."""
    fleet = real_fleet(120, seed=5, batch=40)
    plan = plan_fleet(fleet, made_at="", ready_by=None, minutes_limit=None)
    numbers = alike_sets(fleet, plan.sets)
    with_holes = [n for n, s in zip(numbers, plan.sets, strict=True) if s.way.drilled or s.way.plugged]
    most, times = Counter(with_holes).most_common(1)[0]
    assert times > 1
    return fleet, plan, [s for n, s in zip(numbers, plan.sets, strict=True) if n == most][-1]


def on_a(change: Callable[[PlannedSki], PlannedSki]) -> Callable[[PlannedSet], PlannedSet]:
    """The set with ski A changed."""

    def changed(s: PlannedSet) -> PlannedSet:
        return replace(s, way=replace(s.way, skis={**s.way.skis, Side.A: change(s.way.skis[Side.A])}))

    return changed


def first_hole(**values: object) -> Callable[[PlannedSet], PlannedSet]:
    """The set with the first hole of ski A changed."""
    return on_a(lambda ski: replace(ski, holes=(replace(ski.holes[0], **values), *ski.holes[1:])))


SPOILT = {
    "another pair's hole": first_hole(nearest_id="K-000000 A9"),
    "a hole beside its place": first_hole(x_um=123_456),
    "no plug": on_a(lambda ski: replace(ski, plug=ski.plug[1:])),
    "a plug too many": on_a(lambda ski: replace(ski, plug=(*ski.plug, "no such hole"))),
    "the tail": on_a(lambda ski: replace(ski, from_tail_um=1)),
    "minutes": lambda s: replace(s, way=replace(s.way, minutes=s.way.minutes + 1)),
    "room": lambda s: replace(s, way=replace(s.way, room=None)),
    "the brake": lambda s: replace(s, brake_um=1_000),
}


@pytest.mark.parametrize("spoil", SPOILT)
def test_one_spoilt_among_sets_that_are_alike_is_refused(
    spoil: str, shop: tuple[Fleet, Plan, PlannedSet]
) -> None:
    fleet, plan, last = shop
    assert not judge_plan(fleet, plan)
    bad = SPOILT[spoil](last)
    sets = tuple(bad if s is last else s for s in plan.sets)
    found = judge_plan(fleet, replace(plan, sets=sets))
    alone = tuple(judge_set(Facts(fleet), bad))
    assert found[: len(alone)] == alone
    assert found


@pytest.mark.parametrize(
    "change",
    [
        {"kind": Kind.TELEMARK},
        {"waist_um": 1_000},
        {"length_mm": 1},
        {"asks": "which?"},
        {"earlier_mounts": 90},
    ],
)
def test_one_pair_that_the_ledger_tells_otherwise_is_not_like_the_others(
    change: dict[str, object], shop: tuple[Fleet, Plan, PlannedSet]
) -> None:
    fleet, plan, last = shop
    pairs = {**fleet.pairs, last.pair: replace(fleet.pairs[last.pair], **change)}
    other = replace(fleet, pairs=pairs)
    alone = tuple(judge_set(Facts(other), last))
    assert judge_plan(other, plan)[: len(alone)] == alone
    at = plan.sets.index(last)
    assert alike_sets(other, plan.sets)[at] == at


def test_a_pair_that_keeps_its_binding_is_not_like_one_that_gets_another(
    shop: tuple[Fleet, Plan, PlannedSet],
) -> None:
    """Where nobody knows the waist only the binding already on may stay: one of the two is refused."""
    fleet, plan, last = shop
    numbers = alike_sets(fleet, plan.sets)
    like = numbers[plan.sets.index(last)]
    first = next(s for n, s in zip(numbers, plan.sets, strict=True) if n == like)
    keeps, kept, given = (
        replace(s, binding_from=source) for s, source in ((first, "own"), (last, "own"), (last, "stock"))
    )
    unknown = {tag: replace(pair, waist_um=None) for tag, pair in fleet.pairs.items()}
    other = replace(fleet, pairs=unknown)
    assert alike_sets(other, (keeps, kept)) == [0, 0]
    assert alike_sets(other, (keeps, given)) == [0, 1]
    refused = [
        any("the waist is unknown" in str(o) for o in judge_set(Facts(other), s)) for s in (kept, given)
    ]
    assert refused == [False, True]
