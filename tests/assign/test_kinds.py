"""Kinds that are stated and differ never meet: in the plan, before the judge, at `why`.

Our own rule (no source); that a type C sole is a child's: ISO 5355, scope, excerpt.
"""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.facts.kinds import Kind, KindRule
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.geometry.why.answer import on_paper
from planner.plan.values import Plan
from planner.planning.assign.plan import plan_fleet
from planner.planning.judge import judge_plan
from tests.assign.builders import boot, fleet, kit, wish
from tests.assign.shop import real_pair, teaching_pattern


def shop(**changes: object) -> Fleet:
    """A new alpine pair, an adult boot, and in the stock one pair of bindings that fit it by both sheets."""
    made = fleet(
        pairs=[replace(real_pair("K-1", pattern=teaching_pattern()), kind=Kind.ALPINE)],
        boots=[boot("B-1", sole="ISO 5355 A")],
        wishes=[wish("W-1", kind=Kind.ALPINE)],
        bindings=list(kit(1, "T4/H4", None)),
        patterns=(),
        fits=(("ISO 5355 A", "T4/H4"), ("ISO 5355 C", "T4/H4")),
    )
    return replace(made, **{"patterns": {"T4/H4": teaching_pattern()}, **changes})


def with_boot(**facts: object) -> Fleet:
    return shop(boots={"B-1": replace(shop().boots["B-1"], **facts)})


def with_pattern(**facts: object) -> Fleet:
    return shop(patterns={"T4/H4": replace(teaching_pattern(), **facts)})


def planned(made: Fleet) -> Plan:
    return plan_fleet(made, made_at="", ready_by=None, minutes_limit=None)


def test_a_childs_binding_is_not_planned_on_a_new_adult_ski() -> None:
    """Its kind of binding says junior, and both makers' sheets declare the sole: still no."""
    childs = with_pattern(binding_kind="junior")
    assert planned(shop()).totals.served == 1
    assert planned(childs).totals.served == 0


REFUSED = [
    ("a touring boot", with_boot(kind=Kind.TOURING)),
    ("a boot whose model is stated", with_boot(model_kind="telemark")),
    ("a child's sole", with_boot(sole_type="ISO 5355 C")),
    ("a child's model", with_boot(model="Pup Junior")),
    ("a touring binding", with_pattern(kind=Kind.TOURING)),
    ("a binding of which the stock says so", with_pattern(model_kinds=frozenset({"telemark"}))),
    ("a child's binding by its name", with_pattern(binding_model="Pip Kids")),
    ("a child's sole in a child's binding", with_boot(sole_type="ISO 5355 C", kind=Kind.JUNIOR)),
]


@pytest.mark.parametrize("made", [m for _, m in REFUSED], ids=[n for n, _ in REFUSED])
def test_stated_kinds_that_differ_never_meet(made: Fleet) -> None:
    """On the alpine pair: in no plan; a plan that has it all the same is refused; `why` says the kinds."""
    served = planned(shop())
    assert planned(made).totals.served == 0
    assert {o.rule for o in judge_plan(made, served)} >= {"kind"}
    facts = on_paper(made, made.pairs["K-1"], made.boots["B-1"], made.patterns["T4/H4"])
    assert any("kinds_may_meet" in fact.what for fact in facts)


@pytest.mark.parametrize(
    "made",
    [
        shop(),
        with_boot(kind=Kind.ALPINE),
        with_pattern(kind=Kind.ALPINE, model_kinds=frozenset({"alpine"})),
        with_pattern(binding_kind="alpine track"),
        with_boot(model="Kidnap 90", sole_type="ISO 5355 A"),
    ],
)
def test_the_same_kind_and_one_not_stated_meet(made: Fleet) -> None:
    """The fits table decides where nothing is stated."""
    assert planned(made).totals.served == 1


@pytest.mark.parametrize(
    ("rule", "served"),
    [("", 0), ("alpine+touring", 1), (" Touring + Alpine , telemark+touring", 1), ("alpine", 0)],
)
def test_the_shops_rule_lets_two_kinds_meet(rule: str, served: int) -> None:
    """A touring boot on the alpine pair, by the policy kinds_may_meet; the judge reads the same rule."""
    made = replace(with_boot(kind=Kind.TOURING), policy=default_policy().with_values(kinds_may_meet=rule))
    plan = planned(made)
    assert plan.totals.served == served
    assert judge_plan(made, plan) == ()


def test_the_rule_is_for_the_two_it_names_alone() -> None:
    """alpine+touring and touring+telemark: alpine and telemark still do not meet."""
    policy = default_policy().with_values(kinds_may_meet="alpine+touring, touring+telemark")
    rule = KindRule(policy)
    assert rule.meet({"alpine"}, {"touring"})
    assert rule.meet({"touring"}, {"telemark"})
    assert not rule.meet({"alpine"}, {"telemark"})
    assert not rule.meet({"alpine", "touring"}, {"telemark"})


@pytest.mark.parametrize("place", [Place.HOLD, Place.MISSING, Place.IN_TRANSIT, Place.RETIRED, Place.SOLD])
def test_a_boot_that_is_barred_is_never_planned(place: Place) -> None:
    """And the reason of the want says why; the judge refuses a plan that has it."""
    made = with_boot(place=place)
    plan = planned(made)
    assert plan.totals.served == 0
    assert place.value in plan.unserved[0].reason
    assert "boot" in {o.rule for o in judge_plan(made, planned(shop()))}


def test_a_boot_that_is_out_comes_back_and_is_planned_unless_it_is_to_be_held() -> None:
    """Out is no reason by itself."""
    assert planned(with_boot(place=Place.OUT)).totals.served == 1
    assert planned(with_boot(place=Place.OUT, hold_entry=7, hold_why="buckle")).totals.served == 0


def test_what_a_note_asks_waits_for_its_answer() -> None:
    """A pair or boot with an open proposal is in no plan, and the plan says what is asked."""
    asked = shop(pairs={"K-1": replace(shop().pairs["K-1"], asks="hold")})
    plan = planned(asked)
    assert plan.totals.served == 0
    assert plan.unplanned_pairs[0].reason.endswith("a note on it asks: hold? (mountbook note K-1)")
    assert planned(with_boot(asks="hold")).totals.served == 0
    assert judge_plan(asked, planned(shop())) != ()
