"""What a plan promises: known optima, reasons, determinism, and no exception where nothing can be done."""

from __future__ import annotations

import json
import random
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment

from fleet.base.errors import BadInput
from fleet.tables.snapshot import Fleet
from planner.plan.plan_file import plan_from_json, plan_hash, plan_text, plan_to_json
from planner.plan.values import Plan, Rung
from planner.planning.assign.plan import plan_fleet
from tests.assign.builders import HandMadeWays, boot, fleet, kit, pair, way, wish
from tests.assign.shop import real_shop


def planned(shop: Fleet, *, minutes: int | None = None, ways: HandMadeWays | None = None) -> Plan:
    return plan_fleet(shop, made_at="", ready_by=None, minutes_limit=minutes, ways=ways, judged=ways is None)


@pytest.mark.parametrize("seed", range(15))
def test_without_drilling_and_limits_the_plan_is_the_assignment_of_least_minutes(seed: int) -> None:
    """Against scipy.optimize.linear_sum_assignment on the same table of minutes."""
    rng = random.Random(seed)
    size = rng.randint(2, 25)
    bsls = [260 + 5 * i for i in range(size)]
    ways = HandMadeWays()
    table = np.zeros((size, size), dtype=int)
    for p in range(size):
        for b in range(size):
            table[p, b] = rng.randint(0, 60)
            ways.table[f"K-{p:02}", "P", bsls[b], False] = (
                way(bsl_mm=bsls[b], rung=Rung.SAME_HOLES, minutes=int(table[p, b])),
            )
    bindings = [b for i in range(size) for b in kit(i, "P", None)]
    shop = fleet(
        pairs=[pair(f"K-{i:02}") for i in range(size)],
        boots=[boot(f"B-{i:02}", bsl_mm=bsls[i]) for i in range(size)],
        wishes=[wish("W-1", quantity=size)],
        bindings=bindings,
    )
    rows, columns = linear_sum_assignment(table)
    plan = planned(shop, ways=ways)
    assert plan.totals.served == size
    assert plan.totals.minutes == table[rows, columns].sum()


@pytest.mark.parametrize("seed", range(6))
def test_a_shop_built_around_a_perfect_plan_is_solved_to_it(seed: int) -> None:
    """Every boot stands on its own pair as it is; bindings of the rest would strip or drill."""
    rng = random.Random(seed)
    size = 30
    soles = [280 + i for i in range(size)]
    rng.shuffle(soles)
    ways = HandMadeWays()
    for p in range(size):
        for b, bsl in enumerate(soles):
            if b == p:
                ways.table[f"K-{p:02}", "P", bsl, True] = (way(bsl_mm=bsl, rung=Rung.AS_IS),)
            elif rng.random() < 0.4:
                ways.table[f"K-{p:02}", "P", bsl, rng.random() < 0.5] = (
                    way(bsl_mm=bsl, rung=Rung.ALL_NEW, drilled=16, minutes=50),
                )
    shop = fleet(
        pairs=[pair(f"K-{i:02}") for i in range(size)],
        boots=[boot(f"B-{i:02}", bsl_mm=bsl) for i, bsl in enumerate(soles)],
        wishes=[wish("W-1", quantity=size)],
        bindings=[b for i in range(size) for b in kit(i, "P", 95, f"K-{i:02}")],
    )
    plan = planned(shop, ways=ways)
    assert (plan.totals.served, plan.totals.drilled, plan.totals.minutes) == (size, 0, 0)
    assert [(s.boot, s.pair) for s in plan.sets] == [(f"B-{i:02}", f"K-{i:02}") for i in range(size)]


def test_a_higher_priority_is_served_first_even_if_that_serves_fewer_holes_or_minutes() -> None:
    ways = HandMadeWays()
    ways.table["K-1", "P", 300, False] = (way(bsl_mm=300, drilled=16, minutes=90),)
    ways.table["K-1", "P", 310, False] = (way(bsl_mm=310, rung=Rung.SAME_HOLES),)
    shop = fleet(
        pairs=[pair("K-1")],
        boots=[boot("B-1", bsl_mm=300, size_mm=260), boot("B-2", bsl_mm=310, size_mm=280)],
        wishes=[wish("W-2", priority=2, size=(280, 280)), wish("W-1", priority=1, size=(260, 260))],
        bindings=[*kit(1, "P", None)],
    )
    assert [s.wish for s in planned(shop, ways=ways).sets] == ["W-1"]


def shuffled(shop: Fleet, seed: int) -> Fleet:
    """The same facts with every row in another order."""
    rng = random.Random(seed)

    def mixed(things: dict) -> dict:
        items = list(things.items())
        rng.shuffle(items)
        return dict(items)

    return replace(
        shop,
        pairs=mixed(dict(shop.pairs)),
        boots=mixed(dict(shop.boots)),
        bindings=mixed(dict(shop.bindings)),
        patterns=mixed(dict(shop.patterns)),
        fits=tuple(rng.sample(shop.fits, len(shop.fits))),
        wishes=tuple(rng.sample(shop.wishes, len(shop.wishes))),
    )


@pytest.mark.parametrize("seed", range(3))
def test_rows_in_another_order_give_the_same_bytes(seed: int) -> None:
    shop = real_shop(seed)
    text = plan_text(planned(shop, minutes=200))
    for other in range(2):
        assert plan_text(planned(shuffled(shop, other), minutes=200)) == text


@pytest.mark.parametrize(
    "minutes", [None, pytest.param(200, marks=pytest.mark.long)], ids=["flow", "linear programs"]
)
def test_another_process_gives_the_same_bytes_whatever_hash_seed_threads_or_cores(
    minutes: int | None,
) -> None:
    """Rows shuffled, on one core with one thread, and on all cores with two threads for libraries."""
    code = (
        "import os, sys\n"
        "if sys.argv[1] == 'one' and hasattr(os, 'sched_setaffinity'):\n"
        "    os.sched_setaffinity(0, {min(os.sched_getaffinity(0))})\n"
        "from tests.assign.shop import real_shop\nfrom tests.assign.test_plan import planned, shuffled\n"
        "from planner.plan.plan_file import plan_hash\n"
        f"print(plan_hash(planned(shuffled(real_shop(2), int(sys.argv[2])), minutes={minutes})))"
    )
    threads = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")
    cases = (("one", "1", dict.fromkeys(threads, "1")), ("all", "2", dict.fromkeys(threads, "2")))
    hashes = {
        subprocess.run(
            [sys.executable, "-c", code, cores, seed],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": "."} | more,
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for cores, seed, more in cases
    }
    assert hashes == {plan_hash(planned(real_shop(2), minutes=minutes)) + "\n"}


@pytest.mark.parametrize("seed", range(4))
def test_plan_json_reads_back_to_the_same_plan(seed: int) -> None:
    plan = planned(real_shop(seed))
    assert plan_from_json(json.loads(plan_text(plan))) == plan


@pytest.mark.parametrize("spoil", ["sets", "totals", "status", "strip", "policy"])
def test_a_plan_file_without_a_field_is_bad_input_with_its_name(spoil: str) -> None:
    data = plan_to_json(planned(real_shop(1)))
    del data[spoil]
    with pytest.raises(BadInput, match=spoil):
        plan_from_json(data)


@pytest.mark.parametrize("seed", range(4))
def test_a_shop_built_around_a_perfect_plan_that_uses_up_every_limit_is_solved_to_it(seed: int) -> None:
    """Half the boots stand as they are; the rest need the loose bindings and the minutes to the last one.

    Decoys for either kind drill more, take longer, or take a binding that another set needs.
    """
    rng = random.Random(seed)
    size = 24
    soles = [280 + i for i in range(size)]
    rng.shuffle(soles)
    mounted = set(range(0, size, 2))
    ways = HandMadeWays()
    for p in range(size):
        for b, bsl in enumerate(soles):
            own = p in mounted
            if b == p:
                rung, work = (Rung.AS_IS, 0) if own else (Rung.ALL_NEW, 40)
                ways.table[f"K-{p:02}", "P", bsl, own] = (
                    way(bsl_mm=bsl, rung=rung, drilled=0 if own else 8, minutes=work),
                )
            elif rng.random() < 0.4:
                ways.table[f"K-{p:02}", "P", bsl, rng.random() < 0.5] = (
                    way(bsl_mm=bsl, rung=Rung.ALL_NEW, drilled=16, minutes=rng.choice([20, 41, 60])),
                )
    flat = size - len(mounted)
    shop = fleet(
        pairs=[pair(f"K-{i:02}") for i in range(size)],
        boots=[boot(f"B-{i:02}", bsl_mm=bsl) for i, bsl in enumerate(soles)],
        wishes=[wish("W-1", quantity=size)],
        bindings=[b for i in range(size) for b in kit(i, "P", 95, f"K-{i:02}" if i in mounted else None)],
    )
    plan = planned(shop, ways=ways, minutes=40 * flat)
    assert (plan.totals.served, plan.totals.drilled, plan.totals.minutes) == (size, 8 * flat, 40 * flat)
    assert [(s.boot, s.pair) for s in plan.sets] == [(f"B-{i:02}", f"K-{i:02}") for i in range(size)]


def test_zero_minutes_leave_only_what_needs_no_work() -> None:
    plan = planned(real_shop(0), minutes=0)
    assert plan.totals.minutes == 0
    assert all(s.way.rung is Rung.AS_IS for s in plan.sets)
    assert all(u.reason and u.remedy for u in plan.unserved)


def test_without_bindings_nothing_is_served_and_the_reason_says_so() -> None:
    shop = replace(real_shop(0), bindings={})
    plan = planned(shop)
    assert plan.sets == ()
    assert all("no binding" in u.reason for u in plan.unserved)


def test_an_empty_shop_gives_an_empty_plan() -> None:
    plan = planned(fleet(pairs=[], boots=[], wishes=[], bindings=[]))
    assert (plan.sets, plan.unserved, plan.unplanned_pairs) == ((), (), ())
    assert plan.status == "proved best"


def test_wants_without_boots_or_pairs_or_fits_say_what_is_missing() -> None:
    size, other = (260, 280), (300, 310)
    shop = fleet(
        pairs=[pair("K-1")],
        boots=[boot("B-1"), boot("B-2", size_mm=305, sole="rubber")],
        wishes=[
            wish("W-1", size=(310, 320)),
            wish("W-2", size=size, length=(1900, 2000)),
            wish("W-3", size=other),
        ],
        bindings=[*kit(1, "P", None)],
    )
    reasons = {u.wish: u.reason for u in planned(shop).unserved}
    assert reasons == {
        "W-1": "no boot of Mondopoint 31 to 32 is in the ledger",
        "W-2": "no plannable pair: telemark of 190 to 200 cm",
        "W-3": "no binding is declared by both makers for sole type rubber",
    }
