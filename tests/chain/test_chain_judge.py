"""The judge of a chain's plan refuses a spoilt one: twice moved, too much for a van, stopped, in question."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import datetime
from functools import cache

import pytest

from fleet.base.errors import BadInput
from fleet.facts.pairs import Binding, Brake
from fleet.facts.recalls import Recall
from fleet.facts.standing import Place
from fleet.rules.loads import boot_stays, pair_stays
from fleet.tables.snapshot import Fleet
from planner.plan.chain import Chain, ChainLevel, ChainMove, ChainPlan, VanThing
from planner.planning.chain.plan import movable, not_there, plan_chain
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


def left_behind(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    return fleets, chain, replace(plan, moves=tuple(m for m in plan.moves if m != moved(VanThing.PAIR)))


def boasts(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    first = plan.levels[0]
    return fleets, chain, replace(plan, levels=(replace(first, value=first.value - 1), *plan.levels[1:]))


def proves_too_much(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    last = plan.levels[-1]
    said = ChainLevel(name=last.name, value=last.value, bound=last.value + 1)
    return fleets, chain, replace(plan, levels=(*plan.levels[:-1], said))


def of_boots(**facts: object) -> Spoil:
    """The boots that move first, otherwise."""

    def spoil(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
        move = moved(VanThing.BOOT)
        home = chain.run(move.run).leaves
        boots = dict(fleets[home].boots)
        boots[move.names[0]] = replace(boots[move.names[0]], **facts)
        return fleets | {home: replace(fleets[home], boots=boots)}, chain, plan

    return spoil


def known_there(**facts: object) -> Spoil:
    """The other shop, with this in its ledger."""
    return lambda fleets, chain, plan: (
        fleets | {"North": replace(fleets["North"], **facts)},
        chain,
        plan,
    )


def boots_of_that_tag(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    theirs = dict(fleets["North"].boots) | {"SB-000": fleets["South"].boots["SB-000"]}
    return fleets | {"North": replace(fleets["North"], boots=theirs)}, chain, plan


def loose(first: Mapping[str, object], second: Mapping[str, object], *recalls: Recall) -> Spoil:
    """A pair of bindings goes along by hand; its two halves are otherwise."""

    def spoil(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
        south = fleets["South"]
        names = "SN-500A", "SN-500B"
        bindings = dict(south.bindings)
        for name, facts in zip(names, (first, second), strict=True):
            bindings[name] = replace(bindings[name], **facts)
        changed = replace(south, bindings=bindings, recalls=recalls)
        return fleets | {"South": changed}, chain, replace(plan, moves=(*plan.moves, by_hand(*names)))

    return spoil


def by_hand(*names: str) -> ChainMove:
    return ChainMove(run="South to North", thing=VanThing.BINDINGS, names=names)


def also(*moves: ChainMove) -> Spoil:
    return lambda fleets, chain, plan: (fleets, chain, replace(plan, moves=(*plan.moves, *moves)))


def two_spoilt(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    """Two of four things to a run that takes one of each: the lines come in the order of runs and things."""
    back = [
        ChainMove(run="North to South", thing=VanThing.BOOT, names=(name,)) for name in ("NB-003", "NB-002")
    ]
    runs = tuple(replace(run, room=dict.fromkeys(VanThing, 1)) for run in chain.runs)
    return fleets, replace(chain, runs=runs), replace(plan, moves=(*plan.moves, *back))


def no_place_for_pairs(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    runs = tuple(replace(run, room={VanThing.BOOT: 2}) for run in chain.runs)
    return fleets, replace(chain, runs=runs), plan


def shop_without_plan(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    return fleets, chain, replace(plan, plans={"North": plan.plans["North"]})


def shop_without_ledger(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    return fleets, replace(chain, shops=chain.shops[:1]), plan


def other_minutes(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    north, south = chain.shops
    return fleets, replace(chain, shops=(north, replace(south, minutes_limit=1000))), plan


def of_budget(cents: int, *, price_cents: int = 0) -> Spoil:
    """Every shop with this budget, of which no plan knows, and vans at this price."""

    def spoil(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
        shops = tuple(replace(shop, budget_cents=cents) for shop in chain.shops)
        runs = tuple(replace(run, price_cents=price_cents) for run in chain.runs)
        return fleets, replace(chain, shops=shops, runs=runs), plan

    return spoil


def ready_by(day: str) -> Spoil:
    """The chain's van goes on 2026-11-25; North's sets must be ready by this day."""

    def spoil(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
        plans = dict(plan.plans) | {"North": replace(plan.plans["North"], ready_by=day)}
        return fleets, chain, replace(plan, plans=plans)

    return spoil


def on_day(day: str) -> Spoil:
    return lambda fleets, chain, plan: (
        fleets,
        replace(chain, runs=tuple(replace(run, day=day) for run in chain.runs)),
        plan,
    )


RECALL = Recall(recall="R-1", pattern="", piece="", serial_from="", serial_to="", season="", source="sheet 1")
"""Of every binding there is."""


def recalled(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    return fleets | {"South": replace(fleets["South"], recalls=(RECALL,))}, chain, plan


def bare(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan):
    south = fleets["South"]
    first = min(name for name, each in south.bindings.items() if each.on_pair == "SK-002")
    bindings = {name: each for name, each in south.bindings.items() if name != first}
    return fleets | {"South": replace(south, bindings=bindings)}, chain, plan


BY_KIND = "pair of bindings SN-500A and SN-500B"
SPOILT: dict[str, tuple[Spoil, list[str]]] = {
    "a shop without a plan": (
        shop_without_plan,
        ["the chain | shops | its plans are not those of its shops"],
    ),
    "a ledger of no shop": (
        shop_without_ledger,
        ["the chain | shops | its plans are not those of its shops"],
    ),
    "moved twice": (
        twice,
        [
            "run South to North | room | 3 of boot are more than the 2 that it has room for",
            "South | once | boot SB-000 moves 2 times",
            "North | once | boot SB-000 moves 2 times",
        ],
    ),
    "one more than the van has room for": (
        no_room,
        ["run South to North | room | 2 of boot are more than the 1 that it has room for"],
    ),
    "two vans, each with one too many": (
        two_spoilt,
        [
            "run North to South | room | 2 of boot are more than the 1 that it has room for",
            "run South to North | room | 2 of boot are more than the 1 that it has room for",
        ],
    ),
    "a van without any place for pairs": (
        no_place_for_pairs,
        ["run South to North | room | 1 of pair are more than the 0 that it has room for"],
    ),
    "on a day gone by": (
        on_day("2026-11-19"),
        [
            f"{thing} | day | run South to North of Thu 19 Nov 2026 is over, or after the sets must be ready"
            for thing in ("boot SB-000", "boot SB-002", "pair SK-002")
        ],
    ),
    "a day after the sets must be ready": (
        ready_by("2026-11-24"),
        [
            f"{thing} | day | run South to North of Wed 25 Nov 2026 is over, or after the sets must be ready"
            for thing in ("boot SB-000", "boot SB-002", "pair SK-002")
        ],
    ),
    "on no run of the chain": (no_such_run, ["boot SB-000 | run | there is no run by hand"]),
    "on hold": (of_pair(place=Place.HOLD), ["pair SK-002 | stopped | it is on hold"]),
    "in quarantine": (of_pair(place=Place.QUARANTINE), ["pair SK-002 | stopped | it is in quarantine"]),
    "out": (of_pair(place=Place.OUT), ["pair SK-002 | stopped | it is out"]),
    "stopped wherever it is": (of_pair(stops=("hold",)), ["pair SK-002 | stopped | it is stopped"]),
    "in question": (of_pair(asks="hold"), ["pair SK-002 | stopped | a note on it waits for an answer"]),
    "out, in question": (
        of_pair(place=Place.OUT, asks="hold"),
        ["pair SK-002 | stopped | it is out; a note on it waits for an answer"],
    ),
    "glued an hour ago, and nobody knows how long it cures": (
        of_pair(glued=(("wood_glue", "2026-11-20T08:00:00Z"),)),
        ["pair SK-002 | stopped | glue in it may not have cured"],
    ),
    "on an open work order": (ordered, ["pair SK-002 | stopped | it has an open work order"]),
    "with a binding that is recalled": (
        recalled,
        ["pair SK-002 | stopped | a recall may reach its binding"],
    ),
    "with one binding": (bare, ["pair SK-002 | stopped | it carries one binding"]),
    "boots that are out": (of_boots(place=Place.OUT), ["boot SB-000 | stopped | it is stopped"]),
    "boots on hold": (of_boots(hold_entry=7), ["boot SB-000 | stopped | it is stopped"]),
    "boots in question": (of_boots(asks="hold"), ["boot SB-000 | stopped | it is stopped"]),
    "a tag that the other shop has": (
        of_their_own,
        ["pair SK-002 | name | North has something of that name"],
    ),
    "a tag that the other shop had": (
        known_there(renamed={"SK-002": "NK-009"}),
        ["pair SK-002 | name | North has something of that name"],
    ),
    "boots of a tag that the other shop has": (
        boots_of_that_tag,
        ["boot SB-000 | name | North has something of that name"],
    ),
    "one binding as a pair of them": (
        also(by_hand("SN-500A")),
        ["pair of bindings SN-500A | names | it is named otherwise than such a thing is"],
    ),
    "two pairs as one": (
        also(ChainMove(run="South to North", thing=VanThing.PAIR, names=("SK-000", "SK-001"))),
        ["pair SK-000 and SK-001 | names | it is named otherwise than such a thing is"],
    ),
    "a binding that nobody knows": (
        also(by_hand("SN-500A", "SN-999B")),
        ["pair of bindings SN-500A and SN-999B | thing | it is not in the ledger of South"],
    ),
    "boots that nobody knows": (
        also(ChainMove(run="North to South", thing=VanThing.BOOT, names=("SB-000",))),
        [
            "boot SB-000 | thing | it is not in the ledger of North",
            "boot SB-000 | name | South has something of that name",
        ],
    ),
    "a binding that is on a pair": (
        loose({"on_pair": "SK-000"}, {}),
        [f"{BY_KIND} | stopped | they are not in the stock"],
    ),
    "a binding in question": (
        loose({}, {"asks": "hold"}),
        [f"{BY_KIND} | stopped | a note on them waits for an answer"],
    ),
    "bindings that are on a pair and in question": (
        loose({"on_pair": "SK-000"}, {"asks": "hold"}),
        [f"{BY_KIND} | stopped | they are not in the stock; a note on them waits for an answer"],
    ),
    "bindings of two patterns": (
        loose({}, {"pattern": "W4/H4"}),
        [f"{BY_KIND} | stopped | they are not alike"],
    ),
    "bindings of two brakes": (
        loose({}, {"brake_um": 100_000}),
        [f"{BY_KIND} | stopped | they are not alike"],
    ),
    "a binding whose brake nobody knows": (
        loose({"brake_um": Brake.UNKNOWN}, {"brake_um": Brake.UNKNOWN}),
        [f"{BY_KIND} | stopped | nobody knows their brake"],
    ),
    "a pair of bindings that is recalled": (
        loose({}, {"serial_toe": "TX-5"}, replace(RECALL, serial_from="TX-5", piece="toe", pattern="T4/H4")),
        [f"{BY_KIND} | stopped | a recall may reach them"],
    ),
    "a binding twice": (
        also(by_hand("SN-500A", "SN-500A")),
        [
            "pair of bindings SN-500A and SN-500A | stopped | they are not alike",
            "South | once | pair of bindings SN-500A moves 2 times",
        ],
    ),
    "used where it never came to": (
        left_behind,
        [
            "North, NW-0 NB-003 on SK-002 | ledger | the ledger knows no such wish, boot, pair or pattern",
            "North, the plan | binding | SK-002 does not carry W4/H4 bindings with 100 mm brake on both skis",
            "North, the plan | certificate | the certificate does not hold: it knows no SK-002 or no NB-003",
            "South, the plan | certificate | the certificate does not hold: "
            "its pairs are not those that could be planned",
            "the chain | totals | it has [-4, -4, 24, 178, 2], it says [-4, -4, 24, 183, 3]",
        ],
    ),
    "one set more than there is": (
        boasts,
        [
            "the chain | totals | it has [-4, -4, 24, 183, 3], it says [-5, -4, 24, 183, 3]",
            "the chain | bound | priority 1 not served: -4 would be proved, it has -5 itself",
        ],
    ),
    "a bound above the value": (
        proves_too_much,
        ["the chain | bound | moved: 4 would be proved, it has 3 itself"],
    ),
    "budgets that no plan kept": (
        of_budget(300, price_cents=101),
        [
            "North | money | its money for parts is not its budget less 303 hundredths for what comes",
            "South | money | its money for parts is not its budget less 0 hundredths for what comes",
        ],
    ),
    "a shop's minutes that are not the chain's": (
        other_minutes,
        ["South | minutes | its limit of minutes is not the chain's"],
    ),
}


def told(fleets: dict[str, Fleet], chain: Chain, plan: ChainPlan) -> list[str]:
    return [f"{each.about} | {each.rule} | {each.message}" for each in judge_chain(fleets, chain, plan, NOW)]


CURED = (("wood_glue", "2026-11-19T21:00:00Z"),)
"""Twelve hours before now."""
ALLOWED: dict[str, Spoil] = {
    "the van goes today": on_day("2026-11-20"),
    "sets must be ready on the van's own day": ready_by("2026-11-25"),
    "a level that nothing is proved of": lambda fleets, chain, plan: (
        fleets,
        chain,
        replace(plan, levels=tuple(replace(level, bound=None) for level in plan.levels)),
    ),
}


@pytest.mark.parametrize("name", ALLOWED)
def test_beside_each_limit_a_plan_is_allowed(name: str) -> None:
    assert told(*ALLOWED[name](*planned())) == []


@pytest.mark.parametrize(("hours", "stopped"), [("12", False), ("12.0003", True)])
def test_glue_has_cured_to_the_second(hours: str, stopped: bool) -> None:
    """Glued twelve hours ago: 12 hours are over, 12.0003 hours end one second from now."""
    fleets, chain, plan = of_pair(glued=CURED)(*planned())
    south = fleets["South"]
    policy = south.policy.with_values(cure_wood_glue_hours=hours)
    lines = told(fleets | {"South": replace(south, policy=policy)}, chain, plan)
    assert ("pair SK-002 | stopped | glue in it may not have cured" in lines) is stopped


def test_loose_bindings_that_go_along_are_only_counted() -> None:
    """Alike, in stock and under no recall: nothing stops them, and one thing more has moved."""
    other = replace(RECALL, serial_from="TX-6", piece="toe", pattern="T4/H4")
    lines = told(*loose({"serial_toe": "TX-5"}, {"serial_toe": "TX-5"}, other)(*planned()))
    assert not [line for line in lines if "stopped" in line or " name" in line or "once" in line]
    assert "the chain | totals | it has [-4, -4, 24, 188, 4], it says [-4, -4, 24, 183, 3]" in lines


@pytest.mark.long
def test_side_by_side_in_processes_it_is_the_same_plan() -> None:
    fleets, chain, plan = planned()
    assert plan_chain(fleets, chain, now=NOW, processes=2) == plan


def test_worths_of_mounts_that_one_shop_sets_are_a_level_of_the_chain() -> None:
    fleets = shops(5, 2, pairs=4, boots=4)
    worths = {"mount_worth_1": "9", "mount_worth_2": "4", "mount_worth_3": "1"}
    fleets["North"] = replace(fleets["North"], policy=fleets["North"].policy.with_values(**worths))
    chain = chain_of(fleets, room=2, minutes=5)
    plan = plan_chain(fleets, chain, now=NOW, processes=0)
    assert [level.name for level in plan.levels][2:] == ["mount_worth", "drilled", "minutes", "moved"]
    assert plan.levels[2].value == 18
    assert judge_chain(fleets, chain, plan, NOW) == ()
    assert plan.proved
    cheaper = replace(plan.levels[2], value=0)
    boasts = replace(plan, levels=(*plan.levels[:2], cheaper, *plan.levels[3:]))
    assert [each.rule for each in judge_chain(fleets, chain, boasts, NOW)] == ["totals", "bound"]


PRICES = {"price_new_hole": "1.00", "price_reused_hole": "0.50", "price_plug": "0.20"}


@pytest.mark.parametrize(("price_cents", "comes"), [(0, True), (280, True), (281, False)])
def test_a_shop_pays_for_what_comes_out_of_its_budget(price_cents: int, comes: bool) -> None:
    """South's parts for what it serves with the pair that comes are 27.20, so of 30.00 it may cost 2.80."""
    fleets = {n: replace(f, policy=f.policy.with_values(**PRICES)) for n, f in planned()[0].items()}
    _, chain, _ = of_budget(3000, price_cents=price_cents)(*planned())
    plan = plan_chain(fleets, chain, now=NOW, processes=0)
    assert judge_chain(fleets, chain, plan, NOW) == ()
    assert ("North to South" in {move.run for move in plan.moves}) is comes
    assert not comes or plan.plans["South"].totals.parts_cents == 2720
    paid = chain.paid_cents(plan.moves)
    for name, each in plan.plans.items():
        assert each.parts_limit_cents == 3000 - paid[name]
        assert (each.totals.parts_cents or 0) + paid[name] <= 3000


def test_a_budget_asks_for_the_prices_of_parts() -> None:
    fleets, chain, _ = of_budget(3000)(*planned())
    with pytest.raises(BadInput, match="price_new_hole"):
        plan_chain(fleets, chain, now=NOW, processes=0)


def test_the_plan_as_it_was_made_has_no_objection() -> None:
    assert judge_chain(*planned(), NOW) == ()
    assert {move.thing for move in planned()[2].moves} >= {VanThing.PAIR, VanThing.BOOT}


@pytest.mark.parametrize("name", SPOILT)
def test_a_spoilt_plan_is_refused(name: str) -> None:
    spoil, lines = SPOILT[name]
    assert told(*spoil(*planned())) == lines


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


ZONES = [
    # 20 November, 9:00 in UTC: 22:00 on the 19th in Midway
    ("Pacific/Midway", NOW, "2026-11-19", True),
    ("Pacific/Midway", NOW, "2026-11-18", False),
    # 20 November, 12:00 in UTC: 1:00 on the 21st in Auckland
    ("Pacific/Auckland", NOW.replace(hour=12), "2026-11-20", False),
    ("Pacific/Auckland", NOW.replace(hour=12), "2026-11-21", True),
]


@pytest.mark.parametrize(("zone", "now", "day", "goes"), ZONES)
def test_a_run_is_over_by_the_calendar_of_the_shop_that_it_leaves(
    zone: str, now: datetime, day: str, goes: bool
) -> None:
    """Both in the plan and for its judge; offsets of November by the tz database: -11 and +13 hours."""
    fleets, chain, plan = on_day(day)(*planned())
    there = {name: replace(fleet, zone=zone) for name, fleet in fleets.items()}
    said = {each.rule for each in judge_chain(there, chain, plan, now)}
    assert ("day" not in said) is goes
    assert bool(plan_chain(there, chain, now=now, processes=0).moves) is goes


def test_each_run_is_over_by_its_own_shop() -> None:
    """At 12:00 in UTC it is the 20th in the South, and the 21st in the North."""
    fleets, chain, plan = on_day("2026-11-20")(*planned())
    zones = {"North": "Pacific/Auckland", "South": "UTC"}
    there = {name: replace(fleet, zone=zones[name]) for name, fleet in fleets.items()}
    now = NOW.replace(hour=12)
    over = {each.message for each in judge_chain(there, chain, plan, now) if each.rule == "day"}
    leaves_north = {move.run for move in plan.moves if chain.run(move.run).leaves == "North"}
    assert {run for run in leaves_north if any(run in message for message in over)} == leaves_north
    assert not any("South to North" in message for message in over)
    assert {move.run for move in plan_chain(there, chain, now=now, processes=0).moves} == {"South to North"}
