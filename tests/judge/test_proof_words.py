"""A certificate held against the fleet and the plan's own sets: what is let through, what is said of a lie.

Shop, classes and limits are those of `tests.judge.test_proof_sums`; two sets: B-1 on K-1 with a binding from
stock, B-2 on K-3 with its own. With multipliers of nought the sums prove no more than "at most four sets".
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest

from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.plan.objective import Certificate
from planner.plan.values import Plan, PlannedHole, PlannedSet, PlannedSki, Rung, Totals
from planner.planning.judge.certificate import judge_certificate
from planner.planning.judge.set_check import Facts
from tests.assign import builders
from tests.judge.test_proof_sums import BARE, LIMITS, NARROW, WIDE, certificate, shop

VALUES = (-2, 0, 8, 50, 7, 3)
Lie = Callable[[Fleet, Plan], tuple[Fleet, Plan]]


def plan(**changes: Any) -> Plan:
    way = builders.way(drilled=8, minutes=40, offset_um=-2, clearance_um=9997)
    hole = PlannedHole(
        piece="toe",
        number=1,
        x_um=0,
        y_um=0,
        diameter_um=3600,
        depth_um=9000,
        do="drill",
        hole_id=None,
        nearest_um=None,
        nearest_id=None,
    )
    skis = {s: PlannedSki(from_tail_um=None, pieces=(), holes=(hole,), plug=()) for s in Side}
    own = builders.way(rung=Rung.ADJUST, minutes=10, offset_um=5)
    sets = (
        PlannedSet(
            wish="W-1",
            boot="B-1",
            pair="K-1",
            brake_um=None,
            way=replace(way, skis=skis),
            binding_from="stock",
        ),
        PlannedSet(wish="W-1", boot="B-2", pair="K-3", brake_um=90_000, way=own),
    )
    made = Plan(
        made_at="",
        ledger_entry=7,
        ledger_head="f" * 64,
        ready_by=None,
        minutes_limit=None,
        policy={},
        status="best found",
        gap_percent=100.0,
        totals=Totals(
            wanted=4,
            served=2,
            served_by_priority={2: 0, 1: 2},
            drilled=8,
            minutes=50,
            offset_um=7,
            clearance_um=19_997,
        ),
        sets=sets,
        strip=(),
        unserved=(),
        unplanned_pairs=(),
        certificate=told(),
    )
    return replace(made, **changes)


def told(
    *,
    ys: dict[str, int] | None = None,
    bench: bool = False,
    money: bool = False,
    sorts: int = 3,
    **changes: Any,
) -> Certificate:
    """The true certificate; ``ys``: multipliers of whole groups at the first level."""
    names = [(g, n) for g, n, _, _ in LIMITS if g not in ("supply", "stock", "bench", "parts")]
    names += [("supply", str(k)) for k in range(sorts)] + [("stock", str(k)) for k in range(sorts)]
    names += [("bench", "")] * bench + [("parts", "")] * money
    first = tuple((ys or {}).get(group, 0) for group, _ in names)
    return replace(certificate(names, {0: first}, values=VALUES), **changes)


def said(lie: Lie) -> list[str]:
    fleet, told_so = lie(shop(), plan())
    return [str(o) for o in judge_certificate(Facts(fleet), told_so)]


def cert(**changes: Any) -> Lie:
    return lambda f, p: (f, replace(p, certificate=told(**changes)))


def level(number: int, **changes: Any) -> Lie:
    def lie(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        assert p.certificate is not None
        levels = list(p.certificate.levels)
        levels[number] = replace(levels[number], **changes)
        return f, replace(p, certificate=replace(p.certificate, levels=tuple(levels)))

    return lie


def multipliers(number: int, group: str, ys: tuple[int, ...]) -> Lie:
    proof = told().levels[number]
    return level(number, multipliers={**proof.multipliers, group: ys})


def in_plan(**changes: Any) -> Lie:
    return lambda f, p: (f, replace(p, **changes))


def in_set(index: int, **changes: Any) -> Lie:
    def lie(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        sets = list(p.sets)
        sets[index] = replace(sets[index], **changes)
        return f, replace(p, sets=tuple(sets))

    return lie


def ledger_pair(tag: str, **changes: Any) -> Lie:
    return lambda f, p: (replace(f, pairs={**f.pairs, tag: replace(f.pairs[tag], **changes)}), p)


def ledger_boot(tag: str, **changes: Any) -> Lie:
    return lambda f, p: (replace(f, boots={**f.boots, tag: replace(f.boots[tag], **changes)}), p)


def binding(name: str, **changes: Any) -> Lie:
    return lambda f, p: (
        replace(f, bindings={**f.bindings, name: replace(f.bindings["N-001A"], binding_id=name, **changes)}),
        p,
    )


def prices(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
    known = f.policy.with_values(price_new_hole="1.20", price_reused_hole="0.30", price_plug="0.15")
    return replace(f, policy=known), p


def also(*lies: Lie) -> Lie:
    def lie(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        for each in lies:
            f, p = each(f, p)
        return f, p

    return lie


TRUE: Lie = also()
ANY = ((BARE, NARROW, WIDE),)


def with_sets(sets: tuple[Any, ...]) -> Lie:
    """Only these sets of bindings: the multipliers of the row that falls away with it."""

    def lie(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        made = told(brake_sets=sets)
        levels = tuple(
            replace(proof, multipliers={**proof.multipliers, "brakes": (0,) * len(sets)})
            for proof in made.levels
        )
        return f, replace(p, certificate=replace(made, levels=levels))

    return lie


def with_links(*links: tuple[int, int]) -> Lie:
    def lie(f: Fleet, p: Plan) -> tuple[Fleet, Plan]:
        made = told(links=links)
        zeros = {"links": (0,) * len(links), "link_caps": (0,) * len(links)}
        levels = tuple(replace(proof, multipliers={**proof.multipliers, **zeros}) for proof in made.levels)
        return f, replace(p, certificate=replace(made, levels=levels))

    return lie


def charged(*, minutes: int | None = None, cents: int | None = None) -> Lie:
    """A point for each set, and one less for each minute, or hundredth, that a set takes."""
    group = "bench" if cents is None else "parts"
    return also(
        cert(ys={"links": 1, group: -1}, bench=minutes is not None, money=cents is not None),
        in_plan(minutes_limit=minutes, parts_limit_cents=cents),
    )


ROWS: dict[str, tuple[Lie, Lie, str]] = {
    "levels of another objective": (
        TRUE,
        level(2, name="minutes"),
        "its levels are not those of the objective",
    ),
    "a level left out": (TRUE, cert(levels=told().levels[:-1]), "its levels are not those of the objective"),
    "a value of its own": (TRUE, level(2, value=7), "its values are not those of the plan"),
    "a value that a set changed: its clearance": (
        TRUE,
        in_set(0, way=replace(plan().sets[0].way, clearance_um=9996)),
        "its values are not those of the plan",
    ),
    "a value that a set changed: its want": (
        TRUE,
        in_set(0, wish="W-2"),
        "its values are not those of the plan",
    ),
    "a value that a set changed: stripping": (
        TRUE,
        in_set(0, strip_minutes=8),
        "its values are not those of the plan",
    ),
    "no certificate is none": (
        in_plan(certificate=None),
        level(0, value=-1),
        "its values are not those of the plan",
    ),
    "a bound above the value": (
        also(level(2, bound=0), in_plan()),
        level(2, bound=9),
        "its bounds [None, None, 9, None, None, None] are above its values [-2, 0, 8, 50, 7, 3]",
    ),
    "proved best without a proof": (
        in_plan(status="best found"),
        in_plan(status="proved best"),
        "it proves [None, None, None, None, None, None], the plan says [-2, 0, 8, 50, 7, 3]",
    ),
    "a gap of its own": (TRUE, in_plan(gap_percent=99.0), "its gap is 100 %, the plan says 99 %"),
    "no gap where all is proved": (
        TRUE,
        also(*(level(n, bound=v) for n, v in enumerate(VALUES)), in_plan(gap_percent=0.1)),
        "its gap is 0 %, the plan says 0.1 %",
    ),
    "the gap of the first level that is missed": (
        also(level(0, bound=-4), in_plan(gap_percent=50.0)),
        also(level(0, bound=-4), in_plan(gap_percent=100.0)),
        "its gap is 50 %, the plan says 100 %",
    ),
    "said to prove more than it does": (
        also(level(0, bound=-4), in_plan(gap_percent=50.0)),
        also(level(0, bound=-3), in_plan(gap_percent=33.4)),
        "priority 1 not served: it proves -4, the plan says -3",
    ),
    "all said to be proved": (
        TRUE,
        also(*(level(n, bound=v) for n, v in enumerate(VALUES)), in_plan(gap_percent=0.0)),
        "priority 1 not served: it proves -4, the plan says -2",
    ),
    "minutes that the sets do not have": (
        charged(minutes=2),
        charged(minutes=1),
        "priority 1 not served: it proves -1, the plan itself has -2",
    ),
    "money that the sets do not have": (
        also(prices, charged(cents=1)),
        also(prices, charged(cents=0)),
        "priority 1 not served: it proves -1, the plan itself has -2",
    ),
    "money where nothing has a price": (
        charged(cents=0),
        also(prices, charged(cents=0)),
        "priority 1 not served: it proves -1, the plan itself has -2",
    ),
    "a set on a pair of no class": (TRUE, in_set(1, pair="K-4"), "it knows no K-4 or no B-2"),
    "a pair that the shop has not": (
        TRUE,
        also(cert(pairs=(("K-1", "K-2"), ("K-9",))), in_set(1, pair="K-9", binding_from="stock")),
        "it knows no K-9 or no B-2",
    ),
    "a set for a boot of no class": (TRUE, in_set(0, boot="B-9"), "it knows no K-1 or no B-9"),
    "bindings for K-1": (with_sets(ANY), with_sets((ANY[0][:2],)), "it knows no bindings for K-1"),
    "bindings for K-3, other than its own": (
        in_set(1, binding_from="stock"),
        also(with_sets(ANY), in_set(1, binding_from="stock")),
        "it knows no bindings for K-3",
    ),
    "a brake at the widest": (
        also(with_sets(ANY), ledger_pair("K-1", waist_um=80_000)),
        also(with_sets(ANY), ledger_pair("K-1", waist_um=79_999)),
        "it knows no bindings for K-1",
    ),
    "a brake at the narrowest": (
        also(with_sets(ANY), ledger_pair("K-1", waist_um=90_000)),
        also(with_sets(ANY), ledger_pair("K-1", waist_um=90_001)),
        "it knows no bindings for K-1",
    ),
    "no brake but for a known waist": (
        also(with_sets(((BARE,),)), ledger_pair("K-1", waist_um=None)),
        also(with_sets(ANY), ledger_pair("K-1", waist_um=None)),
        "it knows no bindings for K-1",
    ),
    "another pattern's binding does not fit": (
        also(binding("Q-A", pattern="Q"), binding("Q-B", pattern="Q"), cert(sorts=4)),
        also(with_sets(ANY), in_set(0, way=replace(plan().sets[0].way, pattern="Q"))),
        "it knows no bindings for K-1",
    ),
    "a binding nobody has": (
        TRUE,
        with_sets((*ANY, (("P", 100_000),))),
        "the shop has no P binding of that brake",
    ),
    "a pair left out": (
        TRUE,
        cert(pairs=(("K-1",), ("K-3",))),
        "its pairs are not those that could be planned",
    ),
    "a pair twice": (
        TRUE,
        cert(pairs=(("K-1", "K-2"), ("K-3", "K-1"))),
        "its pairs are not those that could be planned",
    ),
    "a pair that nobody wants": (
        TRUE,
        cert(pairs=(("K-1", "K-2"), ("K-3", "K-4"))),
        "its pairs are not those that could be planned",
    ),
    "a pair on hold": (
        TRUE,
        ledger_pair("K-2", place=Place.HOLD),
        "its pairs are not those that could be planned",
    ),
    "pairs that serve other wants": (
        TRUE,
        cert(pairs=(("K-1", "K-3"), ("K-2",))),
        "the pairs with K-1 are not alike",
    ),
    "pairs of which one carries a binding": (
        TRUE,
        also(binding("X-A", on_pair="K-2", on_ski=Side.A), binding("X-B", on_pair="K-2", on_ski=Side.B)),
        "the pairs with K-1 are not alike",
    ),
    "a boot left out": (TRUE, cert(boots=(("B-1", "B-2"),)), "its boots are not those that could be planned"),
    "a boot of unknown sole length": (
        TRUE,
        ledger_boot("B-3", bsl_um=None),
        "its boots are not those that could be planned",
    ),
    "a boot of unknown size": (
        TRUE,
        ledger_boot("B-2", mondopoint_mm=None),
        "its boots are not those that could be planned",
    ),
    "boots of other sizes": (
        TRUE,
        cert(boots=(("B-1", "B-3"), ("B-2",))),
        "the boots with B-1 are not alike",
    ),
    "boots of other sole lengths": (
        TRUE,
        ledger_boot("B-2", bsl_um=306_000),
        "the boots with B-1 are not alike",
    ),
    "boots of other soles": (TRUE, ledger_boot("B-2", sole_type="other"), "the boots with B-1 are not alike"),
    "the smallest boot of a want": (
        ledger_boot("B-3", mondopoint_mm=271),
        ledger_boot("B-3", mondopoint_mm=281),
        "its boots are not those that could be planned",
    ),
    "a link to no pairs": (TRUE, with_links((0, 0), (1, 0), (2, 1)), "its link 2/1 is of no class"),
    "a link to pairs counted backwards": (
        TRUE,
        with_links((0, 0), (1, 0), (-1, 1)),
        "its link -1/1 is of no class",
    ),
    "a link to no boots": (TRUE, with_links((0, 0), (1, 0), (1, 2)), "its link 1/2 is of no class"),
    "a link to boots counted backwards": (
        TRUE,
        with_links((0, 0), (1, 0), (1, -1)),
        "its link 1/-1 is of no class",
    ),
    "a link twice": (TRUE, with_links((0, 0), (1, 0), (1, 1), (1, 0)), "a link stands there twice"),
    "a set without a link": (with_links((0, 0), (1, 0)), with_links((1, 0), (1, 1)), "a way has no link"),
    "K-1 keeps a binding that it has not": (
        TRUE,
        in_set(0, binding_from="own"),
        "a pair without a binding keeps its own",
    ),
    "a multiplier too few": (
        TRUE,
        multipliers(3, "wishes", (0,)),
        "the multipliers of minutes do not match the limits",
    ),
    "a multiplier too many": (
        TRUE,
        multipliers(3, "stock", (0, 0, 0, 0)),
        "the multipliers of minutes do not match the limits",
    ),
    "one of a limit that is not there": (
        TRUE,
        multipliers(3, "bench", (0,)),
        "the multipliers of minutes do not match the limits",
    ),
    "a scale of nought": (TRUE, level(4, scale=0), "the multipliers of offset_um do not match the limits"),
    "a level that leans on itself": (
        TRUE,
        multipliers(3, "earlier", (0, 0, 0, 0)),
        "minutes does not stand on the levels before it",
    ),
    "a level that leans on too few": (
        TRUE,
        multipliers(3, "earlier", (0, 0)),
        "minutes does not stand on the levels before it",
    ),
}


@pytest.mark.parametrize("name", ROWS)
def test_a_true_certificate_is_let_through_and_a_lie_is_named(name: str) -> None:
    true, lie, words = ROWS[name]
    assert said(true) == []
    assert said(lie) == [f"the plan: the certificate does not hold: {words}"]
