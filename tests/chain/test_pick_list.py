"""A pick list stands in the order in which people walk: rack 2 before rack 10, K-2 before K-10."""

from __future__ import annotations

from dataclasses import replace

from planner.paper.plan_folder import pick_rows
from planner.plan.chain import ChainMove, VanThing
from planner.planning.chain.plan import plan_chain
from tests.assign.builders import boot, kit, pair
from tests.chain.shops import NOW, chain_of, shops

RACKS = {"K-2": "R10", "K-10": "R2", "K-9": "R2", "K-1": ""}
BOOTS = ("B-10", "B-2", "B-1")


def test_pairs_stand_by_rack_and_tag_and_boots_by_tag_as_numbers_count() -> None:
    fleets = shops(3, 2)
    chain = chain_of(fleets)
    plan = plan_chain(fleets, chain, now=NOW, processes=0)
    run = next(run for run in chain.runs if run.leaves == "South")
    south = replace(
        fleets["South"],
        pairs={tag: replace(pair(tag), rack=rack) for tag, rack in RACKS.items()},
        boots={tag: boot(tag) for tag in BOOTS},
        bindings={},
    )
    moves = [ChainMove(run=run.name, thing=VanThing.PAIR, names=(tag,)) for tag in RACKS]
    moves += [ChainMove(run=run.name, thing=VanThing.BOOT, names=(tag,)) for tag in BOOTS]
    rows = pick_rows({**fleets, "South": south}, moves, plan.plans, run)
    assert [row.name for row in rows] == ["K-1", "K-9", "K-10", "K-2", "B-1", "B-2", "B-10"]


def test_each_pair_of_bindings_is_named_with_its_serials_and_what_goes_home_says_so() -> None:
    """Which two of a sort are loaded counts: a recall asks for them by number, and the ledger names them."""
    fleets = shops(3, 2)
    run = next(run for run in chain_of(fleets).runs if run.leaves == "South")
    kits = {
        b.binding_id: replace(b, serial_toe=f"TX-{number}", serial_heel="")
        for number in range(4)
        for b in kit(number // 2, "T4/H4", 95)[number % 2 : number % 2 + 1]
    }
    first, second, third, fourth = kits
    south = replace(fleets["South"], bindings=kits, boots={"B-1": boot("B-1")})
    moves = [
        ChainMove(run=run.name, thing=VanThing.BINDINGS, names=(third, fourth)),
        ChainMove(run=run.name, thing=VanThing.BINDINGS, names=(first, second)),
        ChainMove(run=run.name, thing=VanThing.BOOT, names=("B-1",)),
    ]
    rows = pick_rows({**fleets, "South": south}, moves, {}, run)
    assert [(row.name, row.serves) for row in rows] == [
        ("B-1", "home to North"),
        (first, f"with {second}; TX-0; TX-1; there called {first} (from South) and {second} (from South)"),
        (third, f"with {fourth}; TX-2; TX-3; there called {third} (from South) and {fourth} (from South)"),
    ]
