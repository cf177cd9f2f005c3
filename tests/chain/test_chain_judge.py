"""The judge of a chain's plan refuses a spoilt one: twice moved, too much for a van, stopped, in question."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache

import pytest

from fleet.facts.bindings import Binding
from fleet.facts.places import Place
from fleet.rules.loads import boot_stays, pair_stays
from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainLevel, ChainMove, ChainPlan, VanThing
from planner.planning.chain.plan import plan_chain
from planner.planning.chain.what_moves import movable, not_there
from planner.planning.judge.moves import judge_chain
from tests.chain.shops import NOW, chain_of, shops

Spoil = Callable[[dict[str, Fleet], Chain, ChainPlan], tuple[dict[str, Fleet], Chain, ChainPlan]]


@cache
def planned() -> tuple[dict[str, Fleet], Chain, ChainPlan]:
    """Two shops whose plan moves a pair and boots."""
    fleets = shops(3, 2, pairs=4, boots=4)
    chain = chain_of(fleets, room=2, minutes=5)
    return fleets, chain, plan_chain(fleets, chain, now=NOW, processes=0)


def moved(thing: VanThing) -> ChainMove:
    return next(move for move in planned()[2].moves if move.thing is thing)


def with_pair(fleets: dict[str, Fleet], **facts: object) -> dict[str, Fleet]:
    """The fleets, with the pair that moves otherwise."""
    move = moved(VanThing.PAIR)
    home = planned()[1].run(move.run).leaves
    tag = move.names[0]
    pairs = dict(fleets[home].pairs) | {tag: replace(fleets[home].pairs[tag], **facts)}
    return fleets | {home: replace(fleets[home], pairs=pairs)}


def of_pair(**facts: object) -> Spoil:
    return lambda fleets, chain, plan: (with_pair(fleets, **facts), chain, plan)


def twice(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    return fleets, chain, replace(plan, moves=(*plan.moves, plan.moves[0]))


def no_room(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    name, thing = plan.moves[0].run, plan.moves[0].thing
    count = sum(m.run == name and m.thing is thing for m in plan.moves)
    runs = (replace(r, room={**r.room, thing: count - 1}) if r.name == name else r for r in chain.runs)
    return fleets, replace(chain, runs=tuple(runs)), plan


def too_late(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    return fleets, replace(chain, runs=tuple(replace(r, day="2026-11-19") for r in chain.runs)), plan


def no_such_run(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    return fleets, chain, replace(plan, moves=(replace(plan.moves[0], run="by hand"), *plan.moves[1:]))


def ordered(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    move = moved(VanThing.PAIR)
    home = chain.run(move.run).leaves
    orders = {move.names[0]: ("work order WO-2611-0001 A",)}
    return fleets | {home: replace(fleets[home], ordered=orders)}, chain, plan


def of_their_own(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    move = moved(VanThing.PAIR)
    run, tag = chain.run(move.run), move.names[0]
    theirs = dict(fleets[run.reaches].pairs) | {tag: fleets[run.leaves].pairs[tag]}
    return fleets | {run.reaches: replace(fleets[run.reaches], pairs=theirs)}, chain, plan


def boots_out(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    move = moved(VanThing.BOOT)
    home = chain.run(move.run).leaves
    boots = dict(fleets[home].boots)
    boots[move.names[0]] = replace(boots[move.names[0]], place=Place.OUT)
    return fleets | {home: replace(fleets[home], boots=boots)}, chain, plan


def left_behind(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    return fleets, chain, replace(plan, moves=tuple(m for m in plan.moves if m != moved(VanThing.PAIR)))


def boasts(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    first = plan.levels[0]
    return fleets, chain, replace(plan, levels=(replace(first, value=first.value - 1), *plan.levels[1:]))


def proves_too_much(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    last = plan.levels[-1]
    said = ChainLevel(name=last.name, value=last.value, bound=last.value + 1)
    return fleets, chain, replace(plan, levels=(*plan.levels[:-1], said))


SPOILT: dict[str, tuple[Spoil, str]] = {
    "moved twice": (twice, "once"),
    "one more than the van has room for": (no_room, "room"),
    "on a day gone by": (too_late, "day"),
    "on no run of the chain": (no_such_run, "run"),
    "on hold": (of_pair(place=Place.HOLD), "stopped"),
    "in quarantine": (of_pair(place=Place.QUARANTINE), "stopped"),
    "out": (of_pair(place=Place.OUT), "stopped"),
    "stopped wherever it is": (of_pair(stops=("hold",)), "stopped"),
    "in question": (of_pair(asks="hold"), "stopped"),
    "glued an hour ago": (of_pair(glued=(("wood_glue", "2026-11-20T08:00:00Z"),)), "stopped"),
    "on an open work order": (ordered, "stopped"),
    "boots that are out": (boots_out, "stopped"),
    "a tag that the other shop has": (of_their_own, "name"),
    "used where it never came to": (left_behind, "totals"),
    "one set more than there is": (boasts, "totals"),
    "a bound above the value": (proves_too_much, "bound"),
}


@pytest.mark.long
def test_side_by_side_in_processes_it_is_the_same_plan() -> None:
    fleets, chain, plan = planned()
    assert plan_chain(fleets, chain, now=NOW, processes=2) == plan


@pytest.mark.long
def test_worths_of_mounts_that_one_shop_sets_are_a_level_of_the_chain() -> None:
    fleets = dict(planned()[0])
    worths = {"mount_worth_1": "9", "mount_worth_2": "4", "mount_worth_3": "1"}
    fleets["North"] = replace(fleets["North"], policy=fleets["North"].policy.with_values(**worths))
    chain = planned()[1]
    plan = plan_chain(fleets, chain, now=NOW, processes=0)
    assert [level.name for level in plan.levels][2:] == ["mount_worth", "drilled", "minutes", "moved"]
    assert judge_chain(fleets, chain, plan, NOW) == ()
    assert plan.proved


def test_the_plan_as_it_was_made_has_no_objection() -> None:
    assert judge_chain(*planned(), NOW) == ()
    assert {move.thing for move in planned()[2].moves} >= {VanThing.PAIR, VanThing.BOOT}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_plan_is_refused(name: str) -> None:
    spoil, rule = SPOILT[name]
    found = judge_chain(*spoil(*planned()), NOW)
    if name == "used where it never came to":
        assert found
    else:
        assert rule in {objection.rule for objection in found}


@pytest.mark.parametrize(
    "facts",
    [
        {"place": Place.HOLD},
        {"place": Place.QUARANTINE},
        {"place": Place.SECOND_CHECK},
        {"place": Place.OUT},
        {"stops": ("hold",)},
        {"asks": "hold"},
        {"glued": (("wood_glue", "2026-11-20T08:00:00Z"),)},
    ],
    ids=str,
)
def test_a_pair_that_is_stopped_is_offered_to_no_van(facts: dict[str, object]) -> None:
    """And so it is in no plan's moves, whatever the other shop would give for it."""
    move, (fleets, chain, _) = moved(VanThing.PAIR), planned()
    run, tag = chain.run(move.run), move.names[0]
    there = fleets[run.reaches]
    assert (VanThing.PAIR, (tag,)) in set(movable(fleets[run.leaves], there, NOW))
    stopped = with_pair(dict(fleets), **facts)[run.leaves]
    assert pair_stays(stopped, stopped.pairs[tag], NOW)
    assert (VanThing.PAIR, (tag,)) not in set(movable(stopped, there, NOW))


def test_boots_that_are_held_or_asked_about_stay() -> None:
    boots = next(iter(shops(3, 2)["North"].boots.values()))
    assert boot_stays(boots) == ""
    assert boot_stays(replace(boots, hold_entry=3, hold_why="shell cracked"))
    assert boot_stays(replace(boots, asks="retire"))


def test_what_the_other_shop_knows_otherwise_does_not_go_there_and_is_said() -> None:
    """A pattern of that name with another hole, or of a model whose kind only one shop states."""
    fleets = shops(3, 2)
    north, south = fleets["North"], fleets["South"]
    assert not list(not_there(north, south))
    name = "T4/H4"
    pattern = south.patterns[name]
    toe, *rest = pattern.pieces
    first, *others = toe.holes
    moved = replace(toe, holes=(replace(first, x_um=first.x_um + 1), *others))
    other = replace(south, patterns=dict(south.patterns) | {name: replace(pattern, pieces=(moved, *rest))})
    assert {why for _, why in not_there(north, other)} == {"the pattern T4/H4 is another in South"}
    lacks = replace(south, patterns={n: p for n, p in south.patterns.items() if n != name})
    assert {why for _, why in not_there(north, lacks)} == {"South has no pattern T4/H4"}
    stated = replace(pattern, model_kinds=frozenset({"telemark"}))
    says = replace(north, patterns=dict(north.patterns) | {name: stated})
    assert "South has not stated what Model T4/H4 is for" in {why for _, why in not_there(says, south)}


def test_a_lone_binding_is_no_pair_of_bindings() -> None:
    fleets = shops(3, 2)
    loose = [b for b in fleets["North"].bindings.values() if b.on_pair is None]
    one = {loose[0].binding_id: loose[0]}
    assert loose[1].binding_id not in one
    alone: dict[str, Binding] = {
        n: b for n, b in fleets["North"].bindings.items() if b.on_pair is not None
    } | one
    offered = movable(replace(fleets["North"], bindings=alone), fleets["South"], NOW)
    assert VanThing.BINDINGS not in {thing for thing, _ in offered}
