"""Remedies and alternatives come from solving again, and agree with planning the changed shop afresh."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.base.errors import Refused
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan
from planner.planning.assign.classes import BindingSort
from planner.planning.assign.plan import plan_fleet
from planner.planning.explain.alternatives import argue
from planner.planning.explain.case import Supposed, boots_from, bought_from, build_case, supposed_fleet
from planner.planning.explain.compare import compare_plans, difference_json, difference_lines
from planner.planning.explain.remedies import Remedy, RemedyKind, remedies
from planner.planning.explain.report import argument_lines, remedy_text
from tests.assign.shop import real_shop
from tests.few import first


def planned(shop: Fleet, minutes: int | None = None) -> Plan:
    return plan_fleet(shop, made_at="", ready_by=None, minutes_limit=minutes)


@pytest.mark.parametrize("seed", first(1, range(3)))
def test_bindings_that_a_remedy_buys_serve_so_many_more_in_a_fresh_plan(seed: int) -> None:
    """Each binding remedy, really bought and planned afresh, serves exactly what it promised."""
    shop = real_shop(seed)
    plan = planned(shop)
    case = build_case(shop, plan)
    for short in plan.unserved:
        for remedy in remedies(case, short.wish):
            assert 1 <= remedy.served <= short.missing
            if remedy.thing is not RemedyKind.BINDINGS or remedy.sort is None:
                continue
            text = f"{remedy.count} x {remedy.sort.pattern}"
            if remedy.sort.brake_um is not None:
                text += f" {remedy.sort.brake_um / 1000:g}"
            richer = planned(supposed_fleet(shop, Supposed(bindings=[bought_from(text)])))
            assert richer.totals.served - plan.totals.served == remedy.in_all
            fewer = Supposed(bindings=[replace(bought_from(text), count=remedy.count - 1)])
            if remedy.count > 1:
                poorer = planned(supposed_fleet(shop, fewer))
                assert poorer.totals.served < richer.totals.served


@pytest.mark.parametrize("seed", first(1, range(2)))
def test_minutes_that_a_remedy_asks_for_serve_so_many_more_in_a_fresh_plan(seed: int) -> None:
    """With too few minutes the remedy is more minutes, and with that many the sets are served."""
    shop = real_shop(seed)
    free = planned(shop)
    tight = planned(shop, free.totals.minutes // 2)
    case = build_case(shop, tight)
    for short in tight.unserved:
        for remedy in remedies(case, short.wish):
            if remedy.thing is RemedyKind.MINUTES:
                more = planned(shop, free.totals.minutes // 2 + remedy.count)
                assert more.totals.served - tight.totals.served == remedy.in_all


@pytest.mark.parametrize("seed", first(1, range(3)))
def test_no_alternative_is_better_than_the_plan(seed: int) -> None:
    """The plan is the best: each alternative serves no more, and drills no less where it serves as many."""
    shop = real_shop(seed)
    plan = planned(shop)
    case = build_case(shop, plan)
    for chosen in plan.sets[:3]:
        argument = argue(case, chosen.pair)
        assert argument.planned == chosen
        ours = argument.figures
        keys = [_key(ours)] + [_key(a.figures) for a in argument.alternatives]
        assert keys == sorted(keys)
        for other in argument.alternatives:
            does = other.for_pair
            assert (does.boot, does.way) != (chosen.boot, chosen.way.rung)
        assert all("None" not in line for line in argument_lines(argument))


def _key(figures: object) -> tuple[object, ...]:
    f = figures
    return (
        [-n for _, n in sorted(f.served_by_priority.items())],  # type: ignore[attr-defined]
        f.drilled,  # type: ignore[attr-defined]
        f.minutes,  # type: ignore[attr-defined]
        f.offset_um,  # type: ignore[attr-defined]
        -f.clearance_um,  # type: ignore[attr-defined]
    )


@pytest.mark.parametrize(
    ("remedy", "words"),
    [
        (
            Remedy(thing=RemedyKind.BINDINGS, count=6, served=14, in_all=14, sort=BindingSort("T4", 100_000)),
            "buy 6 T4 bindings with 100 mm brake and 14 more sets are served",
        ),
        (
            Remedy(thing=RemedyKind.BINDINGS, count=1, served=1, in_all=2, sort=BindingSort("T4", -1)),
            "buy 1 T4 binding without brake and 1 more set is served (2 more of all wants)",
        ),
        (
            Remedy(thing=RemedyKind.BOOTS, count=1, served=1, in_all=1, sole=("duckbill", 305_000)),
            "buy 1 pair of boots, sole duckbill of 305 mm, and 1 more set is served",
        ),
        (
            Remedy(
                thing=RemedyKind.PAIRS_WITH_BINDINGS,
                count=2,
                served=2,
                in_all=2,
                sort=BindingSort("T4", 92_500),
            ),
            "buy 2 new pairs of skis and 2 T4 bindings with 92.5 mm brake, and 2 more sets are served",
        ),
        (
            Remedy(thing=RemedyKind.MINUTES, count=40, served=1, in_all=1),
            "give the bench 40 more min and 1 more set is served",
        ),
    ],
)
def test_a_remedy_reads_as_a_sentence(remedy: Remedy, words: str) -> None:
    """Singular and plural are right, whole millimetres have no decimals."""
    assert remedy_text(remedy) == words


def test_a_plan_of_another_ledger_is_not_argued_about() -> None:
    """The ledger has moved on: the figures would not be the plan's any more."""
    shop = real_shop(1)
    plan = planned(shop)
    with pytest.raises(Refused, match="the plan was made at entry"):
        build_case(shop, replace(plan, ledger_entry=plan.ledger_entry + 1))


def test_a_plan_beside_itself_differs_in_nothing() -> None:
    """Nothing moved, nothing costs."""
    plan = planned(real_shop(2))
    found = compare_plans(plan, plan)
    assert list(difference_lines(found)) == [
        "the second plan has the same figures",
        f"{len(plan.sets)} sets the same, 0 pairs otherwise",
    ]


def test_boots_of_one_sole_that_change_places_are_one_line_and_no_pair_otherwise() -> None:
    """The bench does the same work; a boot of another sole, or another way, is a pair otherwise."""
    plan = planned(real_shop(2))
    one, two, *others = sorted(plan.sets, key=lambda each: each.pair)
    sole = replace(two, way=replace(two.way, bsl_um=one.way.bsl_um))
    plan = replace(plan, sets=(one, sole, *others))
    other = replace(plan, sets=(replace(one, boot=two.boot), replace(sole, boot=one.boot), *others))
    found = compare_plans(plan, other)
    assert list(difference_lines(found))[1:] == [
        f"{len(plan.sets)} sets the same, 0 pairs otherwise",
        f"  another boot of the same sole length, the same work: {one.pair} ({one.boot}; then {two.boot}),"
        f" {two.pair} ({two.boot}; then {one.boot})",
    ]
    assert [each["pair"] for each in difference_json(found)["other_boot"]] == [one.pair, two.pair]
    longer = replace(two, way=replace(two.way, bsl_um=two.way.bsl_um + 1000))
    assert len(compare_plans(plan, replace(plan, sets=(one, longer, *others))).moved) == 1


def test_what_is_supposed_is_told_beside_the_plan() -> None:
    """A pair left out leaves its line; boots bought appear under the tag they are like."""
    shop = real_shop(2)
    plan = planned(shop)
    out = plan.sets[0].pair
    other = planned(supposed_fleet(shop, Supposed(left_out=[out], values={"spacing_mm": "12"})))
    lines = list(difference_lines(compare_plans(plan, other)))
    assert any(line.startswith(f"  {out}: ") and line.endswith("then no set") for line in lines)
    assert "  policy spacing_mm: 10, then 12" in lines
    tag, count = boots_from(f"2 x {plan.sets[0].boot}")
    assert {f"{tag} new 1", f"{tag} new 2"} <= set(
        supposed_fleet(shop, Supposed(boots_like={tag: count})).boots
    )
