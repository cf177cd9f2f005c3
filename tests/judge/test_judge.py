"""A good plan passes; every single way of spoiling it is named by the rule that it breaks."""

from __future__ import annotations

import ast
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

import planner.planning.judge
from fleet.facts.holes import HoleState, Side
from fleet.tables.snapshot import Fleet
from planner.plan.values import How, Jig, Plan, PlannedHole, PlannedPiece, PlannedSet, Rung, Strip
from planner.planning.assign.plan import plan_fleet
from planner.planning.judge import judge_plan
from tests.assign.shop import real_shop

SEED = 0


@cache
def good() -> tuple[Fleet, Plan]:
    shop = real_shop(SEED)
    return shop, plan_fleet(shop, made_at="", ready_by=None, minutes_limit=None)


def rules(fleet: Fleet, plan: Plan) -> set[str]:
    return {o.rule for o in judge_plan(fleet, plan)}


def with_set(plan: Plan, index: int, **changes: object) -> Plan:
    sets = list(plan.sets)
    sets[index] = replace(sets[index], **changes)
    return replace(plan, sets=tuple(sets))


def drilling(plan: Plan) -> int:
    return next(i for i, s in enumerate(plan.sets) if s.way.drilled)


def reusing(plan: Plan) -> int:
    return next(i for i, s in enumerate(plan.sets) if s.way.rung in (Rung.SAME_HOLES, Rung.PART_REUSED))


def with_hole(plan: Plan, index: int, do: str, change: Callable[[PlannedHole], PlannedHole]) -> Plan:
    """The first hole of ski A with this ``do``, changed."""
    way = plan.sets[index].way
    ski = way.skis[Side.A]
    at = next(i for i, h in enumerate(ski.holes) if h.do == do)
    holes = (*ski.holes[:at], change(ski.holes[at]), *ski.holes[at + 1 :])
    skis = {Side.A: replace(ski, holes=holes), Side.B: way.skis[Side.B]}
    return with_set(plan, index, way=replace(way, skis=skis))


def with_ski(plan: Plan, index: int, **changes: object) -> Plan:
    way = plan.sets[index].way
    skis = {Side.A: replace(way.skis[Side.A], **changes), Side.B: way.skis[Side.B]}
    return with_set(plan, index, way=replace(way, skis=skis))


def with_piece(plan: Plan, index: int, **changes: object) -> Plan:
    """The toe piece of ski A told otherwise."""
    toe, *others = plan.sets[index].way.skis[Side.A].pieces
    return with_ski(plan, index, pieces=(replace(toe, **changes), *others))


def with_jig(plan: Plan, *, sole_um: int = 0, centre_um: int = 0) -> Plan:
    """The jig of a drilled set, set so much further apart or beside."""
    way = plan.sets[drilling(plan)].way
    assert way.jig is not None
    jig = Jig(sole_um=way.jig.sole_um + 2 * sole_um, centre_um=way.jig.centre_um + centre_um)
    return with_set(plan, drilling(plan), way=replace(way, jig=jig))


def untouched(plan: Plan) -> int:
    return next(i for i, s in enumerate(plan.sets) if not s.way.drilled)


def spread(plan: Plan, index: int) -> tuple[PlannedPiece, ...]:
    """Toe and heel of ski A half a millimetre farther from each other at each end."""
    toe, heel = plan.sets[index].way.skis[Side.A].pieces
    return (
        replace(toe, reference_um=toe.reference_um + 500),
        replace(heel, reference_um=heel.reference_um - 500),
    )


def reused_ids(plan: Plan) -> list[str | None]:
    return [h.hole_id for h in plan.sets[reusing(plan)].way.skis[Side.A].holes if h.do == "reuse"]


def moved(hole: PlannedHole) -> PlannedHole:
    return replace(hole, x_um=hole.x_um + 500)


def test_the_plan_to_be_spoilt_has_drilled_reused_stripped_and_unserved_things_in_it() -> None:
    fleet, plan = good()
    assert judge_plan(fleet, plan) == ()
    assert drilling(plan) >= 0
    assert reusing(plan) >= 0
    assert plan.strip
    assert plan.unserved
    assert plan.unplanned_pairs


SPOILT: dict[str, tuple[str, Callable[[Plan], Plan]]] = {
    "made from an older ledger": ("ledger", lambda p: replace(p, ledger_entry=p.ledger_entry - 1)),
    "made under another policy": ("policy", lambda p: replace(p, policy={**p.policy, "spacing_mm": "1"})),
    "a pair nobody knows": ("ledger", lambda p: with_set(p, 0, pair="K-999")),
    "a boot in two sets": ("once", lambda p: with_set(p, 1, boot=p.sets[0].boot)),
    "a pair in two sets": ("once", lambda p: with_set(p, 1, pair=p.sets[0].pair)),
    "a wish served too often": (
        "quantity",
        lambda p: replace(p, sets=tuple(replace(s, wish=p.sets[0].wish) for s in p.sets)),
    ),
    "sets out of order": ("order", lambda p: replace(p, sets=p.sets[::-1])),
    "another sole length": (
        "sole length",
        lambda p: with_set(p, 0, way=replace(p.sets[0].way, bsl_um=p.sets[0].way.bsl_um + 1000)),
    ),
    "a brake too wide": ("brake", lambda p: with_set(p, 0, brake_um=140_000)),
    "a binding it does not carry": ("binding", lambda p: with_set(p, drilling(p), binding_from="own")),
    "a binding of a pair that has none": ("binding", lambda p: with_set(p, 0, binding_from="K-999")),
    "stripping left out of the list": ("strip", lambda p: replace(p, strip=())),
    "stripping invented": (
        "strip",
        lambda p: replace(p, strip=(*p.strip, Strip(pair="K-000", pattern="T4/H4", brake_um=None))),
    ),
    "stripping that costs nothing": (
        "minutes",
        lambda p: replace(p, sets=tuple(replace(s, strip_minutes=0) for s in p.sets)),
    ),
    "boot centre beyond policy": (
        "offset",
        lambda p: with_set(p, 0, way=replace(p.sets[0].way, offset_um=10_500)),
    ),
    "a hole drilled beside its place": ("holes", lambda p: with_hole(p, drilling(p), "drill", moved)),
    "a hole drilled twice, another never": (
        "holes",
        lambda p: with_hole(p, drilling(p), "drill", lambda h: replace(h, number=h.number % 4 + 1)),
    ),
    "a wrong drill": (
        "drill size",
        lambda p: with_hole(p, drilling(p), "drill", lambda h: replace(h, diameter_um=4100)),
    ),
    "an old hole taken to be elsewhere": ("reuse", lambda p: with_hole(p, reusing(p), "reuse", moved)),
    "an old hole that is not there": (
        "reuse",
        lambda p: with_hole(p, reusing(p), "reuse", lambda h: replace(h, hole_id="none")),
    ),
    "one old hole claimed by two screws": (
        "claimed twice",
        lambda p: with_hole(
            p,
            reusing(p),
            "reuse",
            lambda h: replace(h, hole_id=reused_ids(p)[1]),
        ),
    ),
    "a nearest distance made up": (
        "nearest",
        lambda p: with_hole(p, drilling(p), "drill", lambda h: replace(h, nearest_um=99_000)),
    ),
    "a piece forgotten": ("pieces", lambda p: with_ski(p, 0, pieces=())),
    "pieces half a millimetre out each, both apart": ("sole", lambda p: with_ski(p, 0, pieces=spread(p, 0))),
    "a new piece said to need no hole": ("how", lambda p: with_piece(p, drilling(p), how=How.SLIDE)),
    "a place where a piece stands now made up": ("stands now", lambda p: with_piece(p, 0, stands_um=-10_000)),
    "a jig set to another sole": ("jig", lambda p: with_jig(p, sole_um=1000)),
    "a jig half a millimetre and a micrometre beside": ("jig", lambda p: with_jig(p, centre_um=501)),
    "a jig for a pair that nothing is drilled in": (
        "jig",
        lambda p: with_set(
            p, untouched(p), way=replace(p.sets[untouched(p)].way, jig=Jig(sole_um=305_000, centre_um=0))
        ),
    ),
    "boot centre from tail made up": ("from tail", lambda p: with_ski(p, 0, from_tail_um=1)),
    "holes left unplugged": ("plug", lambda p: with_ski(p, reusing(p), plug=("x",))),
    "fewer holes claimed": (
        "figures",
        lambda p: with_set(p, drilling(p), way=replace(p.sets[drilling(p)].way, drilled=0)),
    ),
    "fewer minutes claimed": (
        "figures",
        lambda p: with_set(p, drilling(p), way=replace(p.sets[drilling(p)].way, minutes=1)),
    ),
    "a rung flattered": (
        "figures",
        lambda p: with_set(p, drilling(p), way=replace(p.sets[drilling(p)].way, rung=Rung.SAME_HOLES)),
    ),
    "totals flattered": ("totals", lambda p: replace(p, totals=replace(p.totals, drilled=0))),
    "more minutes than there are": ("minutes", lambda p: replace(p, minutes_limit=1)),
    "more money than there is": ("parts", lambda p: replace(p, parts_limit_cents=0)),
    "parts that cost what nobody knows": (
        "totals",
        lambda p: replace(p, totals=replace(p.totals, parts_cents=1)),
    ),
    "a status of its own": ("status", lambda p: replace(p, status="certainly best")),
    "an unserved want kept quiet": ("unserved", lambda p: replace(p, unserved=())),
    "an unplanned pair kept quiet": ("unplanned", lambda p: replace(p, unplanned_pairs=())),
    "no reason": (
        "reason",
        lambda p: replace(p, unserved=tuple(replace(u, reason="") for u in p.unserved)),
    ),
}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_plan_is_refused_by_the_rule_it_breaks(name: str) -> None:
    fleet, plan = good()
    rule, spoil = SPOILT[name]
    assert rule in rules(fleet, spoil(plan))


def other_fleet(change: Callable[[Fleet, PlannedSet], Fleet], index: int) -> set[str]:
    fleet, plan = good()
    return rules(change(fleet, plan.sets[index]), plan)


def with_pair(fleet: Fleet, tag: str, **changes: object) -> Fleet:
    return replace(fleet, pairs={**fleet.pairs, tag: replace(fleet.pairs[tag], **changes)})


def with_ledger_ski(fleet: Fleet, tag: str, **changes: object) -> Fleet:
    skis = {side: replace(ski, **changes) for side, ski in fleet.pairs[tag].skis.items()}
    return with_pair(fleet, tag, skis=skis)


def other_holes(fleet: Fleet, tag: str, **changes: object) -> Fleet:
    skis = {
        side: replace(ski, holes=tuple(replace(h, **changes) for h in ski.holes))
        for side, ski in fleet.pairs[tag].skis.items()
    }
    return with_pair(fleet, tag, skis=skis)


def test_the_same_plan_is_refused_for_a_ledger_that_says_otherwise() -> None:
    """kind, length, size, fit, place, mounts, zone, inspected area, hole state, hole diameter, spacing"""
    from fleet.facts.kinds import Kind
    from fleet.facts.standing import Place

    _, plan = good()
    drill, reuse = drilling(plan), reusing(plan)
    assert "kind" in other_fleet(lambda f, s: with_pair(f, s.pair, kind=Kind.ALPINE), 0)
    assert "length" in other_fleet(lambda f, s: with_pair(f, s.pair, length_mm=1000), 0)
    assert "place" in other_fleet(lambda f, s: with_pair(f, s.pair, place=Place.HOLD), 0)
    assert "mounts" not in other_fleet(lambda f, s: with_pair(f, s.pair, earlier_mounts=0), drill)
    assert "mounts" in other_fleet(lambda f, s: with_pair(f, s.pair, earlier_mounts=2), drill)
    assert "fit" in other_fleet(lambda f, s: replace(f, fits=()), 0)
    assert "size" in other_fleet(
        lambda f, s: replace(f, boots={**f.boots, s.boot: replace(f.boots[s.boot], mondopoint_mm=None)}), 0
    )
    assert "zone" in other_fleet(lambda f, s: with_ledger_ski(f, s.pair, zone_front_um=None), drill)
    assert "zone" in other_fleet(lambda f, s: with_ledger_ski(f, s.pair, zone_front_um=100_000), drill)
    assert "inspected" in other_fleet(lambda f, s: with_ledger_ski(f, s.pair, inspected=()), drill)
    assert "reuse" in other_fleet(lambda f, s: other_holes(f, s.pair, state=HoleState.PLUGGED), reuse)
    assert "reuse" in other_fleet(lambda f, s: other_holes(f, s.pair, diameter_um=4100), reuse)
    assert "reuse" in other_fleet(lambda f, s: other_holes(f, s.pair, diameter_um=None), reuse)


def test_a_hole_one_micrometre_too_near_is_refused_and_one_at_the_limit_is_not() -> None:
    fleet, plan = good()
    index = drilling(plan)
    planned = plan.sets[index]
    new = next(h for h in planned.way.skis[Side.A].holes if h.do == "drill")
    base = fleet.pairs[planned.pair].skis[Side.A]
    template = next(h for p in fleet.pairs.values() for h in p.skis[Side.A].holes)
    for away_um, refused in ((10_500, False), (10_499, True)):
        old = replace(
            template, hole_id="near", x_um=new.x_um, y_um=new.y_um - away_um, state=HoleState.PLUGGED
        )
        skis = {**fleet.pairs[planned.pair].skis, Side.A: replace(base, holes=(*base.holes, old))}
        assert ("spacing" in rules(with_pair(fleet, planned.pair, skis=skis), plan)) is refused


def test_the_judge_imports_neither_solver_nor_placement() -> None:
    folder = Path(planner.planning.judge.__file__).parent
    for file in folder.glob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            for name in names:
                assert not name.startswith(
                    ("planner.planning.assign", "planner.geometry.placement", "ortools", "highspy", "numpy")
                ), f"{file.name} imports {name}"
