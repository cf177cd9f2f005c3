"""The sums of a proof, over a small shop whose limits are written out by hand.

| pairs | wants | carry | | boots | size | | wants | how many |
|---|---|---|---|---|---|---|---|---|
| K-1, K-2 | W-1 | nothing | | B-1, B-2 | 270: W-1, W-2 | | W-1 | 3, priority 1 |
| K-3 | W-1, W-2 | 90 mm brakes | | B-3 | 280: W-2 | | W-2 | 1, priority 2 |
| K-4 (alpine) | none | 95 mm brakes | | | | | | |
| K-5 (on hold) | | 100 mm brakes | | | | | | |

In stock: two pairs of bindings without brake, and a single one.
"""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import product
from typing import Any

import pytest

from fleet.facts.kinds import Kind
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.tables.snapshot import Fleet
from planner.plan.objective import GROUPS, Certificate, LevelProof
from planner.planning.judge.bound import BoundRow, proved_bounds
from planner.planning.judge.certificate import (
    BadCertificate,
    Budget,
    proved_levels,
    prover,
)
from tests.assign import builders
from tests.judge.choices import Choice, PossibleWay, choices, claim, possible

BARE, NARROW, WIDE = ("P", None), ("P", 90_000), ("P", 95_000)
NAMES = (
    "priority 1 not served",
    "priority 2 not served",
    "drilled",
    "minutes",
    "offset_um",
    "clearance_lost_um",
)


def shop() -> Fleet:
    pairs = [builders.pair(f"K-{n}", length_mm=1700) for n in (1, 2)]
    pairs += [builders.pair("K-3", length_mm=1750), builders.pair("K-4", kind=Kind.ALPINE)]
    pairs += [replace(builders.pair("K-5"), place=Place.HOLD)]
    bindings = [*builders.kit(1, "P", None), *builders.kit(2, "P", None), builders.kit(3, "P", None)[0]]
    bindings += [*builders.kit(4, "P", 90, "K-3"), *builders.kit(5, "P", 95, "K-4")]
    bindings += builders.kit(6, "P", 100, "K-5")
    return builders.fleet(
        pairs=pairs,
        boots=[builders.boot(f"B-{n}", size_mm=size) for n, size in ((1, 270), (2, 270), (3, 280))],
        wishes=[
            builders.wish("W-2", priority=2, length=(1710, 1800), size=(270, 280)),
            builders.wish("W-1", quantity=3, length=(1600, 1750), size=(260, 270)),
        ],
        bindings=bindings,
        policy=default_policy().with_values(minutes_take_off="7.5"),
    )


# What may be done, by numbers of the classes below: K-1 or K-2 with B-1 or B-2; K-3 with its own binding;
# K-3 with another binding for B-3. Costs: worth of mounts, holes, minutes, offset, clearance short of the cap, room.
WAYS = possible(
    [
        PossibleWay(pair=0, boot=0, brakes=1, costs=(0, 8, 40, 2, 3, 0), parts_cents=120),
        PossibleWay(pair=1, boot=0, brakes=-1, costs=(0, 0, 10, 5, 0, 0)),
        PossibleWay(pair=1, boot=1, brakes=0, costs=(0, 4, 30, 0, 7, 0), parts_cents=60),
    ]
)
LIMITS: list[tuple[str, str, int | None, int]] = [
    ("pairs", "K-1, K-2", 0, 2),
    ("pairs", "K-3", 0, 1),
    ("links", "K-1 with B-1", 0, 0),
    ("links", "K-3 with B-1", 0, 0),
    ("links", "K-3 with B-3", 0, 0),
    ("link_caps", "K-1 with B-1", 0, 2),
    ("link_caps", "K-3 with B-1", 0, 2),
    ("link_caps", "K-3 with B-3", 0, 1),
    ("boots", "B-1, B-2", 0, 2),
    ("boots", "B-3", 0, 1),
    ("wishes", "W-1", 0, 3),
    ("wishes", "W-2", 0, 1),
    ("brakes", "bare or wide", 0, 0),
    ("brakes", "any", 0, 0),
    ("supply", "bare", 0, 2),
    ("supply", "narrow", 0, 1),
    ("supply", "wide", 0, 1),
    ("stock", "bare", None, 2),
    ("stock", "narrow", None, 0),
    ("stock", "wide", None, 0),
    ("bench", "", 0, 200),
    ("parts", "", 0, 500),
]
_N = (0, 0, 0, 0, 0, 0)
_STRIP = (0, 0, 0, 8, 0, 0)  # 7.5 minutes, rounded up
CHOICES: list[tuple[tuple[int, ...], int, dict[tuple[str, str], int]]] = [
    # (costs at each level, how often at most, what it takes of each limit)
    (
        (0, 0, 8, 40, 2, 3),
        2,
        {
            ("pairs", "K-1, K-2"): 1,
            ("links", "K-1 with B-1"): 1,
            ("brakes", "any"): 1,
            ("bench", ""): 40,
            ("parts", ""): 120,
        },
    ),
    (
        (0, 0, 0, 10, 5, 0),
        1,
        {
            ("pairs", "K-3"): 1,
            ("links", "K-3 with B-1"): 1,
            ("supply", "narrow"): 1,
            ("bench", ""): 10,
            ("parts", ""): 0,
        },
    ),
    (
        (0, 0, 4, 30, 0, 7),
        1,
        {
            ("pairs", "K-3"): 1,
            ("links", "K-3 with B-3"): 1,
            ("brakes", "bare or wide"): 1,
            ("stock", "narrow"): -1,
            ("bench", ""): 30,
            ("parts", ""): 60,
        },
    ),
    # a set for a want: the boot, the want, at most so often
    *(
        (
            (-1, 0, 0, 0, 0, 0) if wish == "W-1" else (0, -1, 0, 0, 0, 0),
            most,
            {("links", link): -1, ("link_caps", link): 1, ("boots", boots): 1, ("wishes", wish): 1},
        )
        for link, boots, wish, most in (
            ("K-1 with B-1", "B-1, B-2", "W-1", 2),
            ("K-3 with B-1", "B-1, B-2", "W-1", 2),
            ("K-3 with B-1", "B-1, B-2", "W-2", 1),
            ("K-3 with B-3", "B-3", "W-2", 1),
        )
    ),
    # a binding of a sort for a way that takes one of several
    *(
        (_N, {"bare": 2, "narrow": 1, "wide": 1}[sort], {("brakes", brakes): -1, ("supply", sort): 1, ("stock", sort): 1})
        for brakes, sort in (
            ("bare or wide", "bare"),
            ("bare or wide", "wide"),
            ("any", "bare"),
            ("any", "narrow"),
            ("any", "wide"),
        )
    ),
    # a pair stripped of its binding
    *(
        (_STRIP, most, {("stock", sort): -1, ("bench", ""): 8})
        for sort, most in (("bare", 2), ("narrow", 1), ("wide", 1))
    ),
]  # fmt: skip


def by_hand(budget: Budget) -> tuple[list[BoundRow], list[Choice], list[tuple[str, str]]]:
    left_out = {g for g, most in (("bench", budget.minutes), ("parts", budget.parts_cents)) if most is None}
    names = [(group, name) for group, name, _, _ in LIMITS if group not in left_out]
    rows = [BoundRow(lower, upper) for group, _, lower, upper in LIMITS if group not in left_out]
    columns = [
        Choice(costs, most, tuple((names.index(name), by) for name, by in takes.items() if name in names))
        for costs, most, takes in CHOICES
    ]
    return rows, columns, names


def certificate(
    names: list[tuple[str, str]], rows: dict[int, tuple[int, ...]] | None = None, **more: Any
) -> Certificate:
    """The classes of the shop; multipliers of the rows by level, and ``scale``, ``earlier``, ``value``."""
    levels = []
    for number, level in enumerate(NAMES):
        ys = (rows or {}).get(number, (0,) * len(names))
        multipliers = {
            g: tuple(y for (group, _), y in zip(names, ys, strict=True) if group == g) for g in GROUPS
        }
        multipliers["earlier"] = more.get("earlier", {}).get(number, (0,) * number)
        levels.append(
            LevelProof(
                name=level,
                value=more.get("values", _N)[number],
                scale=more.get("scale", 1),
                multipliers=multipliers,
                bound=None,
            )
        )
    return Certificate(
        pairs=(("K-1", "K-2"), ("K-3",)),
        boots=(("B-1", "B-2"), ("B-3",)),
        links=((0, 0), (1, 0), (1, 1)),
        brake_sets=((BARE, WIDE), (BARE, NARROW, WIDE)),
        levels=tuple(levels),
    )


BUDGETS = {
    "minutes and money": Budget(minutes=200, parts_cents=500),
    "minutes only": Budget(minutes=200, parts_cents=None),
    "money only": Budget(minutes=None, parts_cents=500),
    "neither": Budget(minutes=None, parts_cents=None),
}
HIGH = (90, 90, 900, 900, 900, 900)  # values so high that no level is narrowed by the one before


def both(
    budget: Budget, rows: dict[int, tuple[int, ...]], **more: Any
) -> tuple[list[int | None], list[int | None]]:
    hand_rows, hand_columns, names = by_hand(budget)
    told = certificate(names, rows, **more)
    levels = [
        claim(
            proof.value, rows.get(number, (0,) * len(names)), proof.multipliers["earlier"], scale=proof.scale
        )
        for number, proof in enumerate(told.levels)
    ]
    return proved_levels(shop(), told, budget, WAYS), proved_bounds(hand_rows, choices(*hand_columns), levels)


@pytest.mark.parametrize("budget", BUDGETS)
def test_each_limit_alone_charges_each_choice_what_is_written_here(budget: str) -> None:
    names = by_hand(BUDGETS[budget])[2]
    for at, y in product(range(len(names)), (-1, 1, -9)):
        one = tuple(y if i == at else 0 for i in range(len(names)))
        found, wanted = both(BUDGETS[budget], dict.fromkeys(range(6), one), values=HIGH)
        assert found == wanted, names[at]


@pytest.mark.parametrize("budget", BUDGETS)
def test_all_limits_together_prove_what_they_prove_of_the_limits_written_here(budget: str) -> None:
    chance = random.Random(1)
    count = len(by_hand(BUDGETS[budget])[2])
    for _ in range(60):
        rows = {n: tuple(chance.choice([0, 0, 0, -1, -2, 1]) for _ in range(count)) for n in range(6)}
        earlier = {n: tuple(chance.choice([0, -1, 1]) for _ in range(n)) for n in range(6)}
        values = tuple(chance.randint(-4, 60) for _ in range(6))
        found, wanted = both(
            BUDGETS[budget], rows, earlier=earlier, values=values, scale=chance.choice([1, 2, 3])
        )
        assert found == wanted


def test_a_pair_gives_up_a_binding_of_the_first_sort_too() -> None:
    """K-3 carries bindings without brake, the first of the sorts, and takes wide ones: others may have its own.

    A multiplier of -1 on the stock without brake, which holds two pairs: -2 for the stock, -3 for the three
    pairs of bindings that strips could add to it, and -1 for those that K-3 gives up.
    """
    bindings = [b for b in shop().bindings.values() if b.on_pair != "K-3"]
    bindings += builders.kit(7, "P", None, "K-3")
    bare = replace(shop(), bindings={b.binding_id: b for b in bindings})
    names = [name for name in by_hand(BUDGETS["neither"])[2] if name[1] != "narrow"]
    told = replace(
        certificate(names, {2: tuple(-(name == ("stock", "bare")) for name in names)}, values=HIGH),
        brake_sets=((WIDE,), (BARE, WIDE)),
    )
    ways = [
        PossibleWay(pair=0, boot=0, brakes=1, costs=(0, 1, 40, 2, 3, 0)),
        PossibleWay(pair=1, boot=1, brakes=0, costs=(0, 0, 30, 0, 7, 0)),
    ]
    assert proved_levels(bare, told, BUDGETS["neither"], possible(ways))[2] == -6


def test_proofs_of_one_shop_are_added_up_each_by_itself() -> None:
    """They may differ in multipliers and values, in no class: each proves what it proves alone."""
    names = by_hand(BUDGETS["neither"])[2]
    limits = (("stock", "bare"), ("pairs", "K-1, K-2"))
    rows = [{2: tuple(-(name == limit) for name in names)} for limit in limits]
    told = [certificate(names, each, values=HIGH) for each in rows]
    alone = [proved_levels(shop(), each, BUDGETS["neither"], WAYS) for each in told]
    assert alone[0] != alone[1]
    proved = prover(shop(), told[0], BUDGETS["neither"], WAYS)
    assert [proved(each) for each in told] == alone
    other = replace(told[1], links=told[1].links[::-1])
    with pytest.raises(BadCertificate, match="not of the same classes"):
        proved(other)
    fewer = replace(told[1], levels=told[1].levels[:-1])
    with pytest.raises(BadCertificate, match="not of the same classes"):
        proved(fewer)
