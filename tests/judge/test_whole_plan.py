"""The plan as a whole, rule by rule: what is still allowed, and what the judge says one step beyond it."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fleet.facts.kinds import Kind
from fleet.facts.pairs import Brake
from fleet.facts.standing import Place
from fleet.facts.wishes import Wish
from fleet.tables.snapshot import Fleet
from planner.plan.values import Plan, SetAside, Strip, UnplannedPair
from planner.planning.judge import judge_plan
from tests.judge.two_skis import (
    Spoil,
    also,
    in_plan,
    in_set,
    in_way,
    ledger_pair,
    plan,
    policy,
    said,
    shop,
)

NOTHING: Spoil = also()
Row = tuple[str, Spoil, Spoil, list[str]]


def aside(*things: tuple[str, str], reason: str = "its holes cannot be read") -> Spoil:
    return in_plan(set_aside=tuple(SetAside(what=what, name=name, reason=reason) for what, name in things))


def totals(**changes: object) -> Spoil:
    return lambda f, p: (f, replace(p, totals=replace(p.totals, **changes)))


def wants(*changed: Wish) -> Spoil:
    return in_plan(wants=(*shop().wishes, *changed))


def named(name: str, **changes: object) -> Wish:
    """A want named after W-1."""
    return replace(shop().wishes[0], wish=name, quantity=9, **changes)


def binding(name: str, **changes: object) -> Spoil:
    return lambda f, p: (
        replace(f, bindings={**f.bindings, name: replace(f.bindings[name], **changes)}),
        p,
    )


def unknown(name: str) -> Spoil:
    """Nobody knows the brake of those two bindings."""
    return also(*(binding(f"{name}{side}", brake_um=Brake.UNKNOWN) for side in "AB"))


def loose(*names: str) -> Spoil:
    """So many more single bindings in stock, with 95 mm brakes."""
    return lambda f, p: (
        replace(
            f, bindings={**f.bindings, **{n: replace(f.bindings["N-001A"], binding_id=n) for n in names}}
        ),
        p,
    )


def quantity(wish: int, times: int) -> Spoil:
    def spoil(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        wishes = list(f.wishes)
        wishes[wish] = replace(wishes[wish], quantity=times)
        return replace(f, wishes=tuple(wishes)), p

    return spoil


def given_to(index: int, **more: object) -> Spoil:
    """This set takes the binding of K-4 too."""
    return in_set(index, binding_from="K-4", brake_um=100_000, **more)


def strips(*tags: str) -> Spoil:
    return in_plan(strip=tuple(Strip(pair=t, pattern="T4/H4", brake_um=100_000) for t in tags))


def parts(cents: int | None, **values: str) -> Spoil:
    return also(policy(**values), totals(parts_cents=cents))


ROWS: dict[str, Row] = {
    "made from another entry": (
        "ledger",
        NOTHING,
        in_plan(ledger_entry=6),
        ["the plan: it was made at 6:ffffffff, the ledger is at 7:ffffffff"],
    ),
    "made from another ledger": (
        "ledger",
        NOTHING,
        in_plan(ledger_head="0" * 64),
        ["the plan: it was made at 7:00000000, the ledger is at 7:ffffffff"],
    ),
    "a wish nobody has": (
        "ledger",
        NOTHING,
        in_set(0, wish="W-9"),
        ["W-9 B-1 on K-1: the ledger knows no such wish, boot, pair or pattern"],
    ),
    "a boot nobody has": (
        "ledger",
        NOTHING,
        in_set(1, boot="B-9"),
        ["W-1 B-9 on K-2: the ledger knows no such wish, boot, pair or pattern"],
    ),
    "a pair nobody has": (
        "ledger",
        NOTHING,
        in_set(2, pair="K-9"),
        ["W-2 B-3 on K-9: the ledger knows no such wish, boot, pair or pattern"],
    ),
    "a pattern nobody has": (
        "ledger",
        NOTHING,
        in_way(3, pattern="T5"),
        ["W-2 B-4 on K-5: the ledger knows no such wish, boot, pair or pattern"],
    ),
    "made under another policy": (
        "policy",
        NOTHING,
        policy(spacing_mm="9"),
        ["the plan: it was made under another policy"],
    ),
    "a want of its own, but for how many": (
        "wants",
        wants(),
        in_plan(wants=(replace(shop().wishes[0], quantity=9, priority=3),)),
        ["the plan: W-1 is another want in the ledger than in the plan"],
    ),
    "how many it wants of its own": (
        "wants",
        in_plan(wants=(replace(shop().wishes[0], quantity=9),)),
        in_plan(wants=(replace(shop().wishes[0], kind=Kind.ALPINE),)),
        ["the plan: W-1 is another want in the ledger than in the plan"],
    ),
    "a want twice": (
        "wants",
        wants(named("W-1+01"), named("W-1+02")),
        wants(named("W-1+01"), named("W-1+01"), named("W-1+01")),
        ["the plan: W-1+01 stands 3 times among the plan's own wants"],
    ),
    "a want of another kind under W-1's name": (
        "wants",
        wants(named("W-1+02")),
        wants(named("W-1+02", kind=Kind.ALPINE)),
        ["the plan: W-1+02 asks for sets that W-1 in the ledger does not take"],
    ),
    "a want for shorter skis under W-1's name": (
        "wants",
        wants(named("W-1+02", length_min_mm=1600)),
        wants(named("W-1+02", length_min_mm=1599)),
        ["the plan: W-1+02 asks for sets that W-1 in the ledger does not take"],
    ),
    "a want for longer skis under W-1's name": (
        "wants",
        wants(named("W-1+02", length_max_mm=1700)),
        wants(named("W-1+02", length_max_mm=1701)),
        ["the plan: W-1+02 asks for sets that W-1 in the ledger does not take"],
    ),
    "a want for smaller boots under W-1's name": (
        "wants",
        wants(named("W-1+02", mondopoint_min_mm=265)),
        wants(named("W-1+02", mondopoint_min_mm=264)),
        ["the plan: W-1+02 asks for sets that W-1 in the ledger does not take"],
    ),
    "a want for larger boots under W-1's name": (
        "wants",
        wants(named("W-1+02", mondopoint_max_mm=270)),
        wants(named("W-1+02", mondopoint_max_mm=271)),
        ["the plan: W-1+02 asks for sets that W-1 in the ledger does not take"],
    ),
    "a want of another name": (
        "wants",
        wants(named("W-9+02", kind=Kind.ALPINE)),
        wants(named("W-2+02")),
        ["the plan: W-2+02 asks for sets that W-2 in the ledger does not take"],
    ),
    "a pair set aside": (
        "set aside",
        aside(("pair", "K-6"), ("boot", "B-4"), ("pattern", "T4/H4")),
        aside(("pair", "K-9"), ("boot", "K-6"), ("pattern", "T5"), ("hole", "K-6")),
        [
            "the plan: boot K-6 is set aside 1 times, or is not in the ledger",
            "the plan: hole K-6 is set aside 1 times, or is not in the ledger",
            "the plan: pair K-9 is set aside 1 times, or is not in the ledger",
            "the plan: pattern T5 is set aside 1 times, or is not in the ledger",
        ],
    ),
    "a pair set aside twice": (
        "set aside",
        aside(("pair", "K-4"), ("pair", "K-6")),
        aside(("pair", "K-6"), ("pair", "K-6")),
        ["the plan: pair K-6 is set aside 2 times, or is not in the ledger"],
    ),
    "a pair set aside without a reason": (
        "set aside",
        aside(("pair", "K-6")),
        aside(("pair", "K-6"), reason=""),
        ["the plan: no reason is given for pair K-6"],
    ),
    "a pair that is set aside and planned": (
        "place",
        aside(("pair", "K-6")),
        aside(("pair", "K-2")),
        ["W-1 B-2 on K-2: the pair is on hold"],
    ),
    "a boot in two sets": ("once", NOTHING, in_set(1, boot="B-1"), ["the plan: boot B-1 is planned 2 times"]),
    "a pair in two sets": ("once", NOTHING, in_set(3, pair="K-3"), ["the plan: pair K-3 is planned 2 times"]),
    "as many sets as are wanted": (
        "quantity",
        quantity(0, 2),
        quantity(0, 1),
        ["the plan: W-1 gets 2 of 1 sets"],
    ),
    "a set for another want": (
        "quantity",
        also(quantity(1, 3), in_set(0, wish="W-2")),
        also(quantity(1, 2), in_set(0, wish="W-2")),
        ["the plan: W-2 gets 3 of 2 sets"],
    ),
    "sets out of order": (
        "order",
        NOTHING,
        in_plan(sets=plan().sets[::-1]),
        ["the plan: the sets are not in order of wish, boot, pair"],
    ),
    "a binding said to be its own": (
        "binding",
        NOTHING,
        in_set(0, binding_from="own"),
        ["the plan: K-1 does not carry T4/H4 bindings with 95 mm brake on both skis"],
    ),
    "its own, of another brake": (
        "binding",
        NOTHING,
        in_set(1, brake_um=100_000),
        ["the plan: K-2 does not carry T4/H4 bindings with 100 mm brake on both skis"],
    ),
    "its own, of a brake that nobody knows": (
        "binding",
        also(unknown("N-002"), in_set(1, brake_um=Brake.UNKNOWN)),
        unknown("N-002"),
        ["the plan: K-2 does not carry T4/H4 bindings with 95 mm brake on both skis"],
    ),
    "a loose one of a brake that nobody knows": (
        "binding",
        NOTHING,
        also(unknown("N-001"), in_set(0, brake_um=Brake.UNKNOWN)),
        ["the plan: 1 more T4/H4 bindings whose brake is not known are used than are in stock"],
    ),
    "its own, said to have a brake": (
        "binding",
        NOTHING,
        in_set(3, brake_um=95_000),
        ["the plan: K-5 does not carry T4/H4 bindings with 95 mm brake on both skis"],
    ),
    "its own, on ski B another": (
        "binding",
        NOTHING,
        binding("N-002B", brake_um=100_000),
        ["the plan: K-2 does not carry T4/H4 bindings with 95 mm brake on both skis"],
    ),
    "its own, on ski B none": (
        "binding",
        NOTHING,
        binding("N-002B", on_pair=None, on_ski=None),
        ["the plan: K-2 does not carry T4/H4 bindings with 95 mm brake on both skis"],
    ),
    "its own, said to be on no ski": (
        "binding",
        NOTHING,
        binding("N-002A", on_ski=None),
        ["the plan: K-2 does not carry T4/H4 bindings with 95 mm brake on both skis"],
    ),
    "one of two taken from stock": (
        "binding",
        NOTHING,
        binding("N-001B", brake_um=90_000),
        ["the plan: 1 more T4/H4 bindings with 95 mm brake are used than are in stock"],
    ),
    "two taken from a stock of one": (
        "binding",
        also(loose("N-011", "N-012"), in_set(1, binding_from="stock")),
        in_set(1, binding_from="stock"),
        ["the plan: 1 more T4/H4 bindings with 95 mm brake are used than are in stock"],
    ),
    "a stock without brakes": (
        "binding",
        NOTHING,
        in_set(0, brake_um=None),
        ["the plan: 1 more T4/H4 bindings without brake are used than are in stock"],
    ),
    "three loose bindings are one pair of them": (
        "binding",
        loose("N-011"),
        also(loose("N-011"), in_set(1, binding_from="stock")),
        ["the plan: 1 more T4/H4 bindings with 95 mm brake are used than are in stock"],
    ),
    "a binding on no ski of its pair is not loose": (
        "binding",
        also(loose("N-011"), in_set(0, binding_from="stock")),
        also(loose("N-011"), binding("N-002A", on_ski=None), in_set(1, binding_from="stock")),
        ["the plan: 1 more T4/H4 bindings with 95 mm brake are used than are in stock"],
    ),
    "given by a pair nobody has": (
        "binding",
        NOTHING,
        in_set(2, binding_from="K-9"),
        ["the plan: K-9 has no T4/H4 bindings with 100 mm brake to give to K-3"],
    ),
    "given by a pair on hold": (
        "binding",
        ledger_pair("K-4", place=Place.READY),
        ledger_pair("K-4", place=Place.HOLD),
        ["the plan: K-4 has no T4/H4 bindings with 100 mm brake to give to K-3"],
    ),
    "given of another brake": (
        "binding",
        NOTHING,
        in_set(2, brake_um=95_000),
        ["the plan: K-4 has no T4/H4 bindings with 95 mm brake to give to K-3"],
    ),
    "given by a pair that has none": (
        "binding",
        NOTHING,
        in_set(2, binding_from="K-6"),
        ["the plan: K-6 has no T4/H4 bindings with 100 mm brake to give to K-3"],
    ),
    "given and kept": (
        "binding",
        NOTHING,
        in_set(2, binding_from="K-2", brake_um=95_000),
        ["the plan: K-2 both keeps its binding and gives it to K-3"],
    ),
    "given twice": ("binding", NOTHING, given_to(0), ["the plan: the binding of K-4 is given away 2 times"]),
    "given by a pair that gets another": (
        "binding",
        also(in_set(1, binding_from="K-4", brake_um=100_000), in_set(2, binding_from="K-2", brake_um=95_000)),
        also(in_set(1, binding_from="K-4", brake_um=95_000), in_set(2, binding_from="K-2", brake_um=95_000)),
        ["the plan: K-4 has no T4/H4 bindings with 95 mm brake to give to K-2"],
    ),
    "minutes of stripping": (
        "minutes",
        NOTHING,
        in_set(2, strip_minutes=7),
        ["the plan: K-3: stripping takes 8 min, not 7"],
    ),
    "minutes of stripping what nobody strips": (
        "minutes",
        NOTHING,
        in_set(0, strip_minutes=8),
        ["the plan: K-1: stripping takes 0 min, not 8"],
    ),
    "no stripping of a pair that gets another": (
        "minutes",
        also(given_to(1, strip_minutes=8), in_set(2, binding_from="K-2", brake_um=95_000, strip_minutes=0)),
        also(given_to(1, strip_minutes=8), in_set(2, binding_from="K-2", brake_um=95_000)),
        ["the plan: K-3: stripping takes 0 min, not 8"],
    ),
    "minutes of stripping rounded up": (
        "minutes",
        also(policy(minutes_take_off="8.2"), in_set(2, strip_minutes=9)),
        policy(minutes_take_off="8.2"),
        ["the plan: K-3: stripping takes 9 min, not 8"],
    ),
    "stripping kept quiet": (
        "strip",
        NOTHING,
        in_plan(strip=()),
        ["the plan: the list of stripped pairs is not what the sets take"],
    ),
    "a stripped pair told twice": (
        "strip",
        NOTHING,
        strips("K-4", "K-4"),
        ["the plan: the list of stripped pairs is not what the sets take"],
    ),
    "another pair told as stripped": (
        "strip",
        NOTHING,
        strips("K-5"),
        ["the plan: the list of stripped pairs is not what the sets take"],
    ),
    "another binding told as stripped": (
        "strip",
        NOTHING,
        in_plan(strip=(Strip(pair="K-4", pattern="T4/H4", brake_um=None),)),
        ["the plan: the list of stripped pairs is not what the sets take"],
    ),
    "wanted": ("totals", NOTHING, totals(wanted=6), ["the plan: wanted is 5, the plan says 6"]),
    "served": ("totals", NOTHING, totals(served=5), ["the plan: served is 4, the plan says 5"]),
    "a kept binding whose brake nobody knows": (
        "totals",
        also(unknown("N-002"), in_set(1, brake_um=Brake.UNKNOWN), totals(fit_not_known=1)),
        also(unknown("N-002"), in_set(1, brake_um=Brake.UNKNOWN)),
        ["the plan: fit not known is 1, the plan says 0"],
    ),
    "a kept binding on a waist that nobody knows": (
        "totals",
        also(ledger_pair("K-2", waist_um=None), totals(fit_not_known=1)),
        ledger_pair("K-2", waist_um=None),
        ["the plan: fit not known is 1, the plan says 0"],
    ),
    "a fit that is known, said not to be": (
        "totals",
        NOTHING,
        totals(fit_not_known=1),
        ["the plan: fit not known is 0, the plan says 1"],
    ),
    "served by priority": (
        "totals",
        NOTHING,
        totals(served_by_priority={1: 3, 2: 1}),
        ["the plan: served by priority is {1: 2, 2: 2}, the plan says {1: 3, 2: 1}"],
    ),
    "drilled": ("totals", NOTHING, totals(drilled=23), ["the plan: drilled is 24, the plan says 23"]),
    "minutes in all": ("totals", NOTHING, totals(minutes=97), ["the plan: minutes is 98, the plan says 97"]),
    "offset in all": (
        "totals",
        NOTHING,
        totals(offset_um=11_501),
        ["the plan: offset_um is 11500, the plan says 11501"],
    ),
    "clearance in all, each counted up to 10 mm": (
        "totals",
        NOTHING,
        totals(clearance_um=30_001),
        ["the plan: clearance_um is 30000, the plan says 30001"],
    ),
    "clearance counted up to another policy": (
        "totals",
        also(policy(clearance_counted_max_mm="20"), totals(clearance_um=60_000)),
        policy(clearance_counted_max_mm="20"),
        ["the plan: clearance_um is 60000, the plan says 30000"],
    ),
    "parts: 24 new holes, 8 old ones, 8 plugs": (
        "totals",
        parts(2880 + 240 + 120),
        parts(3239),
        ["the plan: parts in hundredths is 3240, the plan says 3239"],
    ),
    "parts where a new hole has no price": (
        "totals",
        parts(None, price_new_hole=""),
        policy(price_new_hole=""),
        ["the plan: parts in hundredths is None, the plan says 3240"],
    ),
    "parts where an old hole has no price": (
        "totals",
        parts(None, price_reused_hole=""),
        policy(price_reused_hole=""),
        ["the plan: parts in hundredths is None, the plan says 3240"],
    ),
    "parts where a plug has no price": (
        "totals",
        parts(None, price_plug=""),
        policy(price_plug=""),
        ["the plan: parts in hundredths is None, the plan says 3240"],
    ),
    "the bench minutes there are": (
        "minutes",
        in_plan(minutes_limit=98),
        in_plan(minutes_limit=97),
        ["the plan: 98 bench minutes are more than the 97 there are"],
    ),
    "the money there is": (
        "parts",
        in_plan(parts_limit_cents=3240),
        in_plan(parts_limit_cents=3239),
        ["the plan: the parts cost more than the budget, or have no price"],
    ),
    "money for parts without a price": (
        "parts",
        policy(price_plug=""),
        also(policy(price_plug=""), in_plan(parts_limit_cents=9999)),
        ["the plan: the parts cost more than the budget, or have no price"],
    ),
    "a status of its own": (
        "status",
        in_plan(status="proved best"),
        in_plan(status="best"),
        ["the plan: status 'best' with a gap of 0.0 %"],
    ),
    "a gap below nothing": (
        "status",
        in_plan(gap_percent=0.0),
        in_plan(gap_percent=-0.1),
        ["the plan: status 'best found' with a gap of -0.1 %"],
    ),
    "an unserved want kept quiet": (
        "unserved",
        NOTHING,
        in_plan(unserved=()),
        ["the plan: the unserved wants are not those that the sets leave open"],
    ),
    "one set too many unserved": (
        "unserved",
        NOTHING,
        in_plan(unserved=(replace(plan().unserved[0], missing=2),)),
        ["the plan: the unserved wants are not those that the sets leave open"],
    ),
    "a served want told as unserved": (
        "unserved",
        NOTHING,
        in_plan(unserved=(*plan().unserved, replace(plan().unserved[0], wish="W-1", missing=0))),
        ["the plan: the unserved wants are not those that the sets leave open"],
    ),
    "an unplanned pair kept quiet": (
        "unplanned",
        NOTHING,
        in_plan(unplanned_pairs=plan().unplanned_pairs[:1]),
        ["the plan: the unplanned pairs are not those that the sets leave over"],
    ),
    "a planned pair told as unplanned": (
        "unplanned",
        NOTHING,
        in_plan(unplanned_pairs=(UnplannedPair(pair="K-1", reason="x"), *plan().unplanned_pairs)),
        ["the plan: the unplanned pairs are not those that the sets leave over"],
    ),
    "an unserved want without a reason": (
        "reason",
        NOTHING,
        in_plan(unserved=(replace(plan().unserved[0], reason=""),)),
        ["the plan: no reason is given for W-2"],
    ),
    "an unserved want without a remedy": (
        "reason",
        NOTHING,
        in_plan(unserved=(replace(plan().unserved[0], remedy=""),)),
        ["the plan: no reason is given for W-2"],
    ),
    "unplanned pairs without a reason": (
        "reason",
        NOTHING,
        in_plan(unplanned_pairs=tuple(replace(u, reason="") for u in plan().unplanned_pairs)),
        ["the plan: no reason is given for K-4, K-6"],
    ),
}


@pytest.mark.parametrize("name", ROWS)
def test_the_rule_holds_at_its_limit_and_says_why_one_step_beyond(name: str) -> None:
    rule, allowed, refused, words = ROWS[name]
    assert said(rule, allowed) == []
    assert said(rule, refused) == words


def test_the_plan_to_be_spoilt_is_good() -> None:
    assert judge_plan(shop(), plan()) == ()


def test_one_objection_of_every_set_and_of_the_whole_is_said_at_once() -> None:
    """Nothing hides behind the first fault: two sets, and the plan, which is about no pair."""
    fleet, spoilt = also(in_set(0, brake_um=1), in_way(1, minutes=1), in_plan(status="sure"))(shop(), plan())
    assert {(o.about, o.rule, o.pair) for o in judge_plan(fleet, spoilt)} >= {
        ("W-1 B-1 on K-1", "brake", "K-1"),
        ("W-1 B-2 on K-2", "figures", "K-2"),
        ("the plan", "status", ""),
        ("the plan", "totals", ""),
    }


@pytest.mark.parametrize(
    ("spoil", "rule", "pair"),
    [
        (in_set(0, binding_from="own"), "binding", "K-1"),
        (in_set(2, binding_from="K-9"), "binding", "K-3"),
    ],
    ids=["its own", "of another pair"],
)
def test_a_wrong_binding_costs_its_own_set_alone(spoil: Spoil, rule: str, pair: str) -> None:
    """An issue leaves out the pair that an objection names, and issues the rest."""
    assert {o.pair for o in judge_plan(*spoil(shop(), plan())) if o.rule == rule} >= {pair}


def test_a_plan_with_wants_of_its_own_is_held_against_them() -> None:
    """The ledger asks for two and three sets, the plan for two and two: nothing is unserved."""
    own = tuple(replace(w, quantity=2) for w in shop().wishes)
    good = replace(plan(), wants=own, unserved=(), totals=replace(plan().totals, wanted=4))
    assert judge_plan(shop(), good) == ()
    assert [str(o) for o in judge_plan(shop(), replace(good, wants=None))] == [
        "the plan: wanted is 5, the plan says 4",
        "the plan: the unserved wants are not those that the sets leave open",
    ]
