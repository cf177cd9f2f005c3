"""What a certificate proves, it proves over ways listed pair by pair; a spoilt one proves nothing."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from itertools import permutations

import pytest

from fleet.facts.pairs import Brake
from fleet.tables.snapshot import Fleet
from planner.plan.objective import (
    GROUPS,
    CaseProof,
    CaseSplit,
    Certificate,
    LevelProof,
    certificate_from_body,
)
from planner.plan.plan_words import PROVED, result_of, what_is_proved
from planner.plan.values import Plan
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.dual_certificate import possible_ways
from planner.planning.assign.geometry import RoomLeft, SweptWays
from planner.planning.assign.lexicographic import solve
from planner.planning.assign.plan import plan_fleet, unproved
from planner.planning.assign.problem import build_problem
from planner.planning.judge import judge_plan
from planner.planning.judge.bound import BoundRow, proved_bounds
from planner.planning.judge.certificate import (
    BadCertificate,
    Budget,
    PossibleWays,
    _Limits,
    _own_ways,
    _sort_key,
    level_values,
    proved_levels,
)
from planner.planning.judge.set_check import Facts
from tests.assign import brute_force, builders
from tests.assign.shop import real_pair, real_shop
from tests.assign.test_small_cases import made, random_case
from tests.judge.choices import Choice, PossibleWay, choices, claim, possible

FULL = Budget(minutes=None, parts_cents=None)


def listed_ways(shop: Fleet, ways: Callable, certificate: Certificate) -> PossibleWays:
    """Every way of every pair with every boot, as the exhaustive search lists them, each kind once."""
    pairs = {tag: p for p, tags in enumerate(certificate.pairs) for tag in tags}
    boots = {tag: b for b, tags in enumerate(certificate.boots) for tag in tags}
    cap = shop.policy.um("clearance_counted_max_mm")
    number = {frozenset(sorts): i for i, sorts in enumerate(certificate.brake_sets)}
    sorts = defaultdict(set)
    for _, boot, pair, pattern, brake, own, way in brute_force._rows(shop, ways):
        lost = cap - min(cap, cap if way.clearance_um is None else way.clearance_um)
        room = 0 if way.room is None else way.room.lost
        costs = (way.mount_worth, way.drilled, way.minutes, abs(way.offset_um), lost, room)
        sorts[pair, boot, own, pattern, costs].add((pattern, None if brake < 0 else brake))
    listed = {
        PossibleWay(
            pair=pairs[pair],
            boot=boots[boot],
            brakes=-1 if own else number[frozenset(kits)],
            costs=costs,
        )
        for (pair, boot, own, _, costs), kits in sorts.items()
    }
    return possible(sorted(listed, key=repr))


@pytest.mark.parametrize("block", range(5))
def test_a_plan_said_to_be_best_is_proved_so_over_every_way_listed_pair_by_pair(block: int) -> None:
    """Ways and classes come from the exhaustive search here, not from what was handed to the solver."""
    proved = 0
    for seed in range(block * 20, block * 20 + 20):
        shop, ways, minutes = random_case(seed)
        plan = made(shop, ways, minutes)
        assert plan.certificate is not None
        if plan.status == "proved best":
            budget = Budget(minutes=minutes, parts_cents=None)
            bounds = proved_levels(shop, plan.certificate, budget, listed_ways(shop, ways, plan.certificate))
            assert tuple(bounds) == level_values(shop, plan)
            proved += 1
    assert proved == 20


def test_the_judge_has_the_sorts_of_bindings_in_the_order_of_the_solver() -> None:
    """Each has its own key, and a multiplier belongs to the sort at its place."""
    lark = [("Lark 4", brake_um) for brake_um in (95_000, 90_000, None, Brake.UNKNOWN)]
    sorts = [*lark, ("Ash 4", None)]
    of_solver = [(s.pattern, s.brake_um) for s in sorted(BindingSort.named(*sort) for sort in sorts)]
    assert of_solver[1:3] == [("Lark 4", Brake.UNKNOWN), ("Lark 4", None)]
    for order in permutations(sorts):
        assert sorted(order, key=_sort_key) == of_solver


def test_a_value_that_whole_sets_move_by_twos_needs_no_cases() -> None:
    """The sums of this small case stop short of 4 holes by less than the two that are between two plans."""
    shop, ways, minutes = random_case(6)
    plan = made(shop, ways, minutes)
    value, _ = brute_force.best(shop, ways, minutes)
    assert plan.totals.drilled == value[2]
    assert plan.status == "proved best"
    assert all(level.cases is None for level in plan.certificate.levels)


def proved_over_all(certificate: Certificate) -> tuple[int | None, ...]:
    """What a certificate proves of the case below, over every way listed."""
    shop, ways, minutes = random_case(147)
    budget = Budget(minutes=minutes, parts_cents=None)
    return tuple(proved_levels(shop, certificate, budget, listed_ways(shop, ways, certificate)))


@cache
def by_cases() -> tuple[Certificate, tuple[int, ...], int]:
    """A certificate with cases, the values of its plan, and the level that has them."""
    shop, ways, minutes = random_case(147)
    plan = made(shop, ways, minutes)
    assert plan.status == "proved best"
    (number,) = (n for n, level in enumerate(plan.certificate.levels) if level.cases is not None)
    return plan.certificate, level_values(shop, plan), number


def test_what_linear_sums_leave_open_is_proved_by_cases() -> None:
    """One level of this small case has a fractional program whose sums stop short."""
    certificate, values, number = by_cases()
    assert proved_over_all(certificate) == values
    short = proved_over_all(spoil(certificate, number, cases=None))
    assert short[:number] == values[:number]
    assert short[number] is not None
    assert short[number] < values[number]


def first_closed(split: CaseSplit) -> CaseProof:
    return split.fewer if split.fewer.split is None else first_closed(split.fewer.split)


def with_first_closed(split: CaseSplit, changed: CaseProof) -> CaseSplit:
    below = split.fewer.split
    return replace(
        split, fewer=changed if below is None else CaseProof(split=with_first_closed(below, changed))
    )


SPOILT_CASES: dict[str, Callable[[CaseSplit], CaseSplit]] = {
    "one case for both": lambda c: replace(c, more=c.fewer),
    "the cases exchanged": lambda c: replace(c, fewer=c.more, more=c.fewer),
    "a case that the question does not lead to": lambda c: replace(c, at_most=c.at_most + 1),
    "another question": lambda c: replace(c, figures=(99, *c.figures[1:])),
    "a case without the multiplier of its count": lambda c: with_first_closed(
        c, replace(first_closed(c), counts=())
    ),
    "a multiplier of nought for its count": lambda c: with_first_closed(
        c, replace(first_closed(c), counts=(0,) * len(first_closed(c).counts))
    ),
}


@pytest.mark.parametrize("how", SPOILT_CASES)
def test_spoilt_cases_prove_no_more_than_none(how: str) -> None:
    certificate, values, number = by_cases()
    cases = SPOILT_CASES[how](certificate.levels[number].cases)
    found = proved_over_all(spoil(certificate, number, cases=cases))
    assert found[number] is not None
    assert found[number] < values[number]


def split_again(split: CaseSplit) -> CaseSplit:
    """The first closed case split once more by the same question, whose count has a multiplier of nought."""
    closed = first_closed(split)
    below = replace(closed, counts=(*closed.counts, 0))
    return with_first_closed(split, CaseProof(split=replace(split, fewer=below, more=below)))


def test_a_case_that_is_split_again_for_nothing_proves_the_same() -> None:
    certificate, values, number = by_cases()
    cases = split_again(certificate.levels[number].cases)
    assert proved_over_all(spoil(certificate, number, cases=cases)) == values


@pytest.mark.parametrize("split", [lambda cases: cases, split_again], ids=["as it is", "split again"])
@pytest.mark.parametrize(
    "changes", [{"scale": 0}, {"multipliers": dict.fromkeys(GROUPS, ())}], ids=["scale", "groups"]
)
def test_a_case_that_does_not_match_the_limits_is_refused_by_the_name_of_its_level(
    changes: dict[str, object], split: Callable[[CaseSplit], CaseSplit]
) -> None:
    certificate, _, number = by_cases()
    cases = split(certificate.levels[number].cases)
    spoilt = with_first_closed(cases, replace(first_closed(cases), **changes))
    words = f"the multipliers of {certificate.levels[number].name} do not match the limits"
    with pytest.raises(BadCertificate, match=words):
        proved_over_all(spoil(certificate, number, cases=spoilt))


@cache
def good() -> tuple[Fleet, Plan]:
    """A plan with a limit on minutes that binds, so that multipliers of the rows prove it."""
    shop = real_shop(0)
    return shop, plan_fleet(shop, made_at="", ready_by=None, minutes_limit=60)


def test_the_plan_to_be_spoilt_is_proved_with_a_price_on_bench_minutes() -> None:
    shop, plan = good()
    assert judge_plan(shop, plan) == ()
    assert plan.status == "proved best"
    assert any(level.multipliers["bench"] != (0,) for level in plan.certificate.levels)


def spoil(certificate: Certificate, level: int, **changes: object) -> Certificate:
    levels = list(certificate.levels)
    levels[level] = replace(levels[level], **changes)
    return replace(certificate, levels=tuple(levels))


def with_multiplier(certificate: Certificate, level: int, group: str, change: int) -> Certificate:
    """One multiplier moved by so much: the last that is not nought, or the first."""
    proof: LevelProof = certificate.levels[level]
    values = list(proof.multipliers[group])
    at = next((i for i in reversed(range(len(values))) if values[i]), 0)
    values[at] += change
    return spoil(certificate, level, multipliers={**proof.multipliers, group: tuple(values)})


def group_in_use(certificate: Certificate) -> tuple[int, str]:
    return next(
        (number, group)
        for number, level in enumerate(certificate.levels)
        for group in ("bench", "boots", "pairs", "wishes")
        if any(level.multipliers[group])
    )


SPOILT: dict[str, Callable[[Certificate], Certificate]] = {
    "a value better than the plan's": lambda c: spoil(c, 0, value=c.levels[0].value - 1),
    "a value worse than the plan's": lambda c: spoil(c, 1, value=c.levels[1].value + 1),
    "a multiplier halved in size": lambda c: with_multiplier(c, *group_in_use(c), 1 * c.levels[0].scale),
    "a multiplier too large": lambda c: with_multiplier(c, *group_in_use(c), -3 * c.levels[0].scale),
    "no multipliers at all": lambda c: spoil(
        c, 0, multipliers={g: (0,) * len(v) for g, v in c.levels[0].multipliers.items()}
    ),
    "a scale of nought": lambda c: spoil(c, 0, scale=0),
    "a level left out": lambda c: replace(c, levels=c.levels[:-1]),
    "two levels exchanged": lambda c: replace(c, levels=(c.levels[1], c.levels[0], *c.levels[2:])),
    "a pair left out": lambda c: replace(c, pairs=c.pairs[:-1]),
    "a pair twice": lambda c: replace(c, pairs=(*c.pairs[:-1], c.pairs[0])),
    "a boot nobody has": lambda c: replace(c, boots=(*c.boots[:-1], ("B-999",))),
    "all boots alike": lambda c: replace(c, boots=(tuple(t for tags in c.boots for t in tags),)),
    "a binding nobody has": lambda c: replace(c, brake_sets=((("T4/H4", 1),), *c.brake_sets[1:])),
    "a link of no class": lambda c: replace(c, links=((99, 0), *c.links[1:])),
    "a limit without multiplier": lambda c: spoil(
        c, 0, multipliers={**c.levels[0].multipliers, "wishes": c.levels[0].multipliers["wishes"][1:]}
    ),
}


@pytest.mark.parametrize("how", SPOILT)
def test_a_spoilt_certificate_is_refused(how: str) -> None:
    shop, plan = good()
    objections = judge_plan(shop, replace(plan, certificate=SPOILT[how](plan.certificate)))
    assert {o.rule for o in objections} == {"certificate"}


def test_a_cheaper_way_that_the_certificate_does_not_charge_for_breaks_the_proof() -> None:
    """The full check sees a way that was kept from the solver: the same served, with fewer holes."""
    shop = real_shop(0)
    plan = plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)
    problem = build_problem(shop, ways=SweptWays(), minutes_limit=None, room=RoomLeft(shop, SweptWays()))
    ways = possible_ways(solve(problem, lambda _: None).problem)
    values = level_values(shop, plan)
    assert tuple(proved_levels(shop, plan.certificate, FULL, ways)) == values
    drilled = next(s for s in plan.sets if s.way.drilled)
    pair = next(p for p, tags in enumerate(plan.certificate.pairs) if drilled.pair in tags)
    boot = next(b for b, tags in enumerate(plan.certificate.boots) if drilled.boot in tags)
    sort = (drilled.way.pattern, drilled.brake_um)
    like = next(
        way
        for way, each in enumerate(zip(ways.pair, ways.boot, ways.brakes, strict=True))
        if each[:2] == (pair, boot) and each[2] >= 0 and sort in plan.certificate.brake_sets[each[2]]
    )
    for told in (ways.pair, ways.boot, ways.brakes, ways.parts_cents):
        told.append(told[like])
    for costs in ways.costs:
        costs.append(0)
    assert tuple(proved_levels(shop, plan.certificate, FULL, ways)) != values


def test_a_certificate_survives_its_file_to_the_last_number() -> None:
    _, plan = good()
    text = json.dumps(plan.certificate.to_body())
    assert certificate_from_body(json.loads(text)) == plan.certificate
    cases, _, _ = by_cases()
    assert certificate_from_body(json.loads(json.dumps(cases.to_body()))) == cases
    spaced = replace(plan.certificate, pairs=(("K 1 %", "K-2"),))
    assert certificate_from_body(json.loads(json.dumps(spaced.to_body()))) == spaced


def test_the_sums_prove_a_worked_example() -> None:
    """3x + 5y with x <= 4, 2y <= 12, 3x + 2y <= 18 is 36 at most, by multipliers 0, 3/2 and 1.

    The example of F. S. Hillier and G. J. Lieberman, Introduction to Operations Research, chapter 3
    (Wyndor Glass); multipliers from the dual solution in chapter 6, from memory.
    """
    rows = [BoundRow(None, 4), BoundRow(None, 12), BoundRow(None, 18)]
    columns = choices(Choice((-3,), 100, ((0, 1), (2, 3))), Choice((-5,), 100, ((1, 2), (2, 2))))
    level = claim(-36, (0, -3, -2), scale=2)
    assert proved_bounds(rows, columns, [level]) == [-36]
    assert columns.upper == [100, 100]
    assert (rows[1].lower, rows[2].lower, rows[0].lower) == (12, 18, None)
    weak = claim(-36, (0, 0, -2))
    assert proved_bounds([BoundRow(None, 4), BoundRow(None, 12), BoundRow(None, 18)], columns, [weak]) == [
        -136
    ]


@pytest.mark.parametrize(("skis", "boots"), [(2, 2), (2, 1), (1, 2), (3, 2)])
def test_sets_of_one_class_are_one_column_of_the_proof(skis: int, boots: int) -> None:
    """Pairs alike for boots alike: what the proof says of such a set is said, and counted, once.

    It can be made as often as there are pairs of the class, and boots.
    """
    shop = real_shop(0, pairs=2, boots=2)
    pattern = shop.patterns["T4/H4"]
    tags = [f"K-00{n + 1}" for n in range(skis)]
    pairs = [real_pair(t, pattern=pattern, mounted_mm=305, binding_on=True) for t in tags]
    same = {side: replace(ski, holes=()) for side, ski in pairs[0].skis.items()}
    pairs = [replace(p, skis=same, mounts=()) for p in pairs]
    bindings = [b for i in range(skis) for b in builders.kit(i, pattern.name, 95)]
    shop = replace(
        shop,
        pairs={p.tag: p for p in pairs},
        boots={f"B-00{n + 1}": builders.boot(f"B-00{n + 1}") for n in range(boots)},
        bindings={b.binding_id: b for b in bindings},
        wishes=(builders.wish("W-1", quantity=2),),
    )
    plan = plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)
    assert plan.totals.served == min(skis, boots)
    assert plan.certificate is not None
    assert [len(tags) for tags in plan.certificate.pairs] == [skis]
    ways = _own_ways(Facts(shop), plan, plan.certificate)
    assert len(ways.pair) == 1
    assert _Limits(Facts(shop), plan.certificate, FULL).columns(ways).upper[0] == min(skis, boots)
    assert judge_plan(shop, plan) == ()


def test_best_by_the_solver_and_proved_best_are_two_things(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no cases are found the solver still knows its plan to be best; the plan says which is shown."""
    monkeypatch.setattr("planner.planning.assign.optimal_face.proof_by_cases", lambda *_, **__: None)
    shop, ways, minutes = random_case(147)
    plan = made(shop, ways, minutes)
    assert plan.status == "best found"
    assert all(level.by_solver for level in plan.certificate.levels)
    assert result_of(plan).endswith("% from the best (the solver found none better; its proof is short)")
    assert list(what_is_proved(plan)) == []


def test_a_plan_whose_proof_was_taken_out_is_not_proved() -> None:
    shop, plan = good()
    assert list(what_is_proved(plan)) == [f"{PROVED.format('')}, then leaves more further mounts"]
    without = judge_plan(shop, replace(plan, certificate=None))
    said = "it says proved best and carries no certificate: nothing is proved of it"
    assert [(o.about, o.rule, o.message) for o in without] == [("the plan", "certificate", said)]
    assert judge_plan(shop, unproved(plan)) == ()
