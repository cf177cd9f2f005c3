"""What goes home: counted against every way to load, and walked by commands with work done meanwhile."""

from __future__ import annotations

import json
import random
import shutil
from collections.abc import Mapping
from dataclasses import replace
from itertools import product
from pathlib import Path

import msgspec
import pytest

from fleet.events.mounts import BindingChanged, BindingRecorded, MountRecorded, MountRemoved, StockBack
from fleet.events.pairs import HoleChanged, HolesRecorded, NewHole, SkiClosed
from fleet.facts.columns import plain_facts
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.pairs import Binding, Pair
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet
from planner.exchange.comes_home import bindings_as_known
from planner.plan.chain import Chain, ChainMove, VanRun, VanThing, id_there, read_moves
from planner.planning.assign.classes import _state
from planner.planning.chain.way_home import Away, way_home
from tests.chain.ledgers import MANAGER
from tests.chain.shops import NOW, chain_of, shops
from tests.chain.test_chain_road import ACTS, Said, fleet_of, planned, run, shop, waits

__all__ = ["planned", "shop"]  # fixtures


@pytest.mark.parametrize("seed", range(30))
def test_as_much_goes_home_as_any_way_to_load_takes(seed: int) -> None:
    """Things of three shops, up to two runs a leg with little room, some days apart, some legs without."""
    chance, names = random.Random(seed), ("North", "South", "East")
    legs = [(a, b) for a, b in product(names, names) if a != b and chance.random() < 0.7]
    runs = tuple(
        VanRun(
            name=f"{a} to {b} {n}",
            leaves=a,
            reaches=b,
            day=f"2026-11-2{chance.randint(1, 9)}",
            room={thing: chance.randint(0, 2) for thing in VanThing},
            minutes=0,
        )
        for a, b in legs
        for n in range(chance.randint(1, 2))
    )
    chain = replace(chain_of(shops(0, 3)), runs=runs)
    away = [
        Away(
            thing=chance.choice([*VanThing]),
            names=(f"K-{n}",),
            stands=stands,
            home=home,
            stays="on hold" if chance.random() < 0.2 else "",
        )
        for n in range(5)
        for stands, home in [chance.sample(names, 2)]
    ]
    moves, stays = way_home(chain, away)
    assert sorted(names for each in (*moves, *stays) for names in each.names) == [f"K-{n}" for n in range(5)]
    assert all(each.stays for each in stays)
    assert fits(chain, moves)
    of = {each.names: each for each in away}
    for move in moves:
        taken = chain.run(move.run)
        assert (taken.leaves, taken.reaches) == (of[move.names].stands, of[move.names].home)
        assert not of[move.names].stays
    most = 0
    for chosen in product(*([None, *ways(chain, each)] for each in away)):
        loaded = [move for move in chosen if move is not None]
        if len(loaded) > most and fits(chain, loaded):
            most = len(loaded)
    assert len(moves) == most


def ways(chain: Chain, each: Away) -> list[ChainMove]:
    """Every run that could take a thing home."""
    return [
        ChainMove(run=each_run.name, thing=each.thing, names=each.names)
        for each_run in chain.runs
        if (each_run.leaves, each_run.reaches) == (each.stands, each.home) and not each.stays
    ]


def fits(chain: Chain, moves: list[ChainMove] | tuple[ChainMove, ...]) -> bool:
    return all(
        sum((m.run, m.thing) == (each.name, thing) for m in moves) <= each.room[thing]
        for each in chain.runs
        for thing in VanThing
    )


def moved(place: Path, folder: str) -> None:
    """Everything that the folder's plan moves, sent and taken in."""
    for name in dict.fromkeys(move.run for move in read_moves(place / folder)[1]):
        for act in ACTS:
            said = run("chain", act, str(place / folder), "--run", name, "--by", MANAGER)
            assert said.exit_code == 0, said.output


def home(place: Path, *words: str) -> Said:
    return run("chain", "home", str(place / "chain.toml"), *words)


def places(place: Path) -> Mapping[str, Fleet]:
    return {name: fleet_of(place, name) for name in ("North", "South", "East")}


def test_what_was_only_lent_stands_at_home_as_it_left(shop: Path) -> None:
    before = places(shop)
    assert "in its own shop" in home(shop).output
    moved(shop, "plan")
    lent = read_moves(shop / "plan")[1]
    lent_tags = {move.names[0] for move in lent}
    told = home(shop, "--json", "--out", str(shop / "home")).output
    said = json.loads(told[told.index("{") :])
    assert sorted((e["stands"], e["thing"]) for e in said["away"]) == sorted(
        (chain_of(before).run(m.run.split(",")[0]).reaches, m.thing.value) for m in lent
    )
    assert len(said["moves"]) == len(lent)
    assert (shop / "home" / "pick_lists.pdf").read_bytes().startswith(b"%PDF")
    moved(shop, "home")
    assert "in its own shop" in home(shop).output
    after = places(shop)
    for name, fleet in before.items():
        assert waits(shop, name) == {}
        for tag, pair in fleet.pairs.items():
            again = after[name].pairs[tag]
            assert again.place in (pair.place, Place.BACK)
            assert _state(again) == _state(pair)
            assert tag not in lent_tags or not any(mount.still_set for mount in again.mounts)
            assert {b.binding_id for b in after[name].bindings_on(tag).values()} == {
                b.binding_id for b in fleet.bindings_on(tag).values()
            }
        for tag, boots in fleet.boots.items():
            assert after[name].boots[tag] == boots
        assert {t for t, p in after[name].pairs.items() if p.place is not Place.RETIRED} == {*fleet.pairs}
        there = after[name].bindings
        assert {n: replace(b, entry=0) for n, b in there.items() if b.on_pair in (None, *fleet.pairs)} == {
            n: replace(b, entry=0) for n, b in fleet.bindings.items()
        }
        assert run("--ledger", str(shop / f"{name}.db"), "audit").exit_code in (0, 1)


def test_with_nothing_away_the_folder_says_so_and_an_older_pick_list_goes(shop: Path) -> None:
    out = shop / "home"
    out.mkdir()
    (out / "pick_lists.pdf").write_bytes(b"%PDF of an earlier way home")
    said = home(shop, "--out", str(out))
    assert (said.exit_code, "in its own shop" in said.output) == (0, True), said.output
    assert [file.name for file in out.iterdir()] == ["chain.json"]
    assert read_moves(out)[1] == ()


def worked_on(place: Path, name: str, tag: str) -> Pair:
    """The pair after a winter there: a hole filled, one drilled, its mount off, another on and off."""
    with Ledger.open(place / f"{name}.db") as ledger:
        fleet = fleet_of(place, name)
        pair = fleet.pairs[tag]
        [old, *_] = pair.skis[Side.A].holes
        hole = NewHole(
            side=Side.B,
            hole_id=f"{tag}-B{pair.skis[Side.B].holes_numbered_to + 1}",
            x_um=200_000,
            y_um=5_000,
            diameter_um=3600,
            depth_um=9000,
            state=HoleState.OPEN,
            knowledge=Knowledge.DRILLED_HERE,
        )
        with ledger.transaction(by=MANAGER, now=NOW) as tx:
            changes = {"state": (old.state.value, HoleState.PLUGGED.value)}
            if old.state is not HoleState.PLUGGED:
                tx.enter(HoleChanged(hole_id=old.hole_id, changes=changes))
            tx.enter(HolesRecorded(tag=tag, holes=(hole,)))
            tx.enter(SkiClosed(tag=tag, side=Side.B, why="a screw broke off"))
            if any(mount.removed_on is None for mount in pair.mounts):
                tx.enter(MountRemoved(tag=tag, removed_on="2026-11-20"))
            for binding in fleet.bindings_on(tag).values():
                off = {"on_pair": (tag, None), "on_ski": (binding.on_ski, None)}
                tx.enter(BindingChanged(binding_id=binding.binding_id, changes=off))
            mount = MountRecorded(
                tag=tag,
                pattern="T4/H4",
                bsl_um=305_000,
                offset_um=0,
                mounted_on="2026-11-20",
                removed_on="2026-11-20",
                drilled=True,
                slides=(),
            )
            tx.enter(mount)
    return fleet_of(place, name).pairs[tag]


@pytest.mark.parametrize("number", [0, 1])
def test_what_was_done_there_is_known_at_home(shop: Path, number: int) -> None:
    moved(shop, "plan")
    chain, moves = read_moves(shop / "plan")
    move = [move for move in moves if move.thing is VanThing.PAIR][number]
    there, own, tag = chain.run(move.run).reaches, chain.run(move.run).leaves, move.names[0]
    on_before = {b.binding_id for b in fleet_of(shop, own).bindings_on(tag).values()}
    was = worked_on(shop, there, tag)
    assert home(shop, "--out", str(shop / "home")).exit_code == 0
    moved(shop, "home")
    fleet = fleet_of(shop, own)
    pair = fleet.pairs[tag]
    for side in Side:
        assert {h.hole_id: replace(h, entry=0) for h in pair.skis[side].holes} == {
            h.hole_id: replace(h, entry=0) for h in was.skis[side].holes
        }
        assert pair.skis[side].is_closed is was.skis[side].is_closed is (side is Side.B)
    assert [(m.pattern, m.bsl_um, m.removed_on) for m in pair.mounts] == [
        (m.pattern, m.bsl_um, m.removed_on) for m in was.mounts
    ]
    assert not fleet.bindings_on(tag)
    # taken off there, they came in the van too, under the names that they had, or lie in that shop's stock
    home_again = {n for m in read_moves(shop / "home")[1] if m.thing is VanThing.BINDINGS for n in m.names}
    assert on_before & {*fleet.bindings} == {n for n in on_before if f"{n} (from {own})" in home_again}
    assert pair.place is Place.FLAT
    assert run("--ledger", str(shop / f"{own}.db"), "audit").exit_code in (0, 1)


def test_a_binding_that_its_ledger_has_or_had_is_no_new_one(shop: Path) -> None:
    """It may come home on another pair, or loose; what is said otherwise there changes what was known."""
    fleet = fleet_of(shop, "North")
    known = next(b for b in fleet.bindings.values() if b.on_pair is not None)
    said = BindingRecorded(**plain_facts(Binding, known))
    loose = msgspec.structs.replace(said, on_pair=None, on_ski=None, season="2027")
    changes = {
        "season": (known.season, "2027"),
        "on_pair": (known.on_pair, None),
        "on_ski": (known.on_ski, None),
    }
    moved = BindingChanged(binding_id=known.binding_id, changes=changes)
    assert bindings_as_known(fleet, [said]) == ()
    assert bindings_as_known(fleet, [loose]) == (moved,)
    left = replace(known, on_pair=None, on_ski=None, season="2027")
    others = {name: b for name, b in fleet.bindings.items() if b is not known}
    without = replace(fleet, bindings=others, gone={left.binding_id: left})
    assert bindings_as_known(without, [loose]) == (StockBack(binding_ids=(known.binding_id,)),)
    assert bindings_as_known(replace(without, gone={}), [loose]) == (loose,)


@pytest.mark.parametrize(
    ("name", "shop_of_it", "there", "called"),
    [
        ("X", "North", "South", "X (from North)"),
        ("X (from North)", "South", "North", "X"),
        ("X (from North)", "South", "East", "X (from North) (from South)"),
        ("X (from North) (from South)", "East", "North", "X"),
        ("X (from North) (from South)", "East", "South", "X (from North)"),
        ("X (from North) (from South)", "North", "South", "X (from North)"),  # as ledgers of before called it
    ],
)
def test_a_binding_is_called_in_a_shop_as_it_was_there_before(
    name: str, shop_of_it: str, there: str, called: str
) -> None:
    assert id_there(name, shop_of_it, there) == called


def test_a_technician_takes_in_what_is_as_it_left_and_a_manager_what_is_not(shop: Path) -> None:
    moved(shop, "plan")
    chain, moves = read_moves(shop / "plan")
    move = next(move for move in moves if move.thing is VanThing.PAIR)
    there, own, tag = chain.run(move.run).reaches, chain.run(move.run).leaves, move.names[0]
    worked_on(shop, there, tag)
    listed = ("--role", "technician", "--until", "2028-05-31", "--by", MANAGER)
    ledger = str(shop / f"{own}.db")
    assert run("--ledger", ledger, "staff", "add", "Jory Malkin-Tor", *listed).exit_code == 0
    assert home(shop, "--out", str(shop / "home")).exit_code == 0
    going = read_moves(shop / "home")[1]
    way = next(m.run for m in going if tag in m.names)
    typed = (str(shop / "home"), "--run", way, "--by")
    assert run("chain", "send", *typed, MANAGER).exit_code == 0
    said = run("chain", "receive", *typed, "Jory Malkin-Tor")
    assert said.exit_code == 1
    assert "head technician" in said.output
    assert f"STILL ON THE WAY: {tag}" in said.output
    assert fleet_of(shop, own).pairs[tag].place is Place.IN_TRANSIT
    others = {m.names[0] for m in going if m.run == way and m.thing is VanThing.BOOT}
    assert {fleet_of(shop, own).boots[each].place for each in others} <= {Place.READY}
    said = run("chain", "receive", *typed, MANAGER)
    assert said.exit_code == 0, said.output
    assert fleet_of(shop, own).pairs[tag].place is Place.FLAT


@pytest.mark.parametrize("came", [False, True])
@pytest.mark.parametrize("restored", ["stands", "home"])
def test_a_ledger_restored_from_before_the_way_home_has_its_side_again(
    shop: Path, restored: str, came: bool
) -> None:
    """The disk of one shop broke: the same command brings the pair home, and to one shop only."""
    moved(shop, "plan")
    chain, moves = read_moves(shop / "plan")
    move = next(move for move in moves if move.thing is VanThing.PAIR)
    stands, own, tag = chain.run(move.run).reaches, chain.run(move.run).leaves, move.names[0]
    assert home(shop, "--out", str(shop / "home")).exit_code == 0
    broken = shop / f"{stands if restored == 'stands' else own}.db"
    assert run("--ledger", str(broken), "backup", str(shop / "copies")).exit_code == 0
    [copy] = (shop / "copies").glob("*.db")
    way = next(m.run for m in read_moves(shop / "home")[1] if tag in m.names)
    typed = [("chain", act, str(shop / "home"), "--run", way, "--by", MANAGER) for act in ACTS]
    for words in typed[: 2 if came else 1]:
        assert run(*words).exit_code == 0
    broken.write_bytes(b"a disk that broke" * 999)
    assert run("--ledger", str(broken), "restore", str(copy), "--by", MANAGER).exit_code == 0
    again = run(*typed[1])
    assert again.exit_code == 0, again.output
    assert fleet_of(shop, stands).pairs[tag].place is Place.RETIRED
    pair = fleet_of(shop, own).pairs[tag]
    assert pair.place in (Place.FLAT, Place.BACK)
    assert {ski.is_closed for ski in pair.skis.values()} == {came and restored == "home"}
    assert waits(shop, stands) == waits(shop, own) == {}


def test_lent_twice_and_home_twice(shop: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The second time each ledger knows the thing, and a new plan lends it again."""
    monkeypatch.setattr("planner.planning.chain.side_by_side.cpu_count", lambda: 1)
    before = places(shop)
    lent = []
    for again in ("plan", "plan_2"):
        if again != "plan":
            said = run("chain", "plan", str(shop / "chain.toml"), "--out", str(shop / again))
            assert said.exit_code == 0, said.output
        lent.append([m for m in read_moves(shop / again)[1] if m.thing is not VanThing.BINDINGS])
        moved(shop, again)
        assert home(shop, "--out", str(shop / "home")).exit_code == 0
        moved(shop, "home")
        shutil.rmtree(shop / "home")
    assert lent[0] == lent[1]
    after = places(shop)
    for name, fleet in before.items():
        here = {n for n, b in after[name].bindings.items() if b.on_pair in (None, *fleet.pairs)}
        assert here == {*fleet.bindings}
    for name, fleet in before.items():
        for tag, pair in fleet.pairs.items():
            assert _state(after[name].pairs[tag]) == _state(pair)


def test_what_is_retired_for_good_is_brought_back_by_no_van(shop: Path) -> None:
    """A pair of the same tag that no van took: the van's stays where it is."""
    moved(shop, "plan")
    chain, moves = read_moves(shop / "plan")
    move = next(move for move in moves if move.thing is VanThing.PAIR)
    there, own, tag = chain.run(move.run).reaches, chain.run(move.run).leaves, move.names[0]
    assert run("--ledger", str(shop / f"{there}.db"), "move", tag, "--to", "retired", "--why", "broken",
               "--by", MANAGER).exit_code == 0  # fmt: skip
    said = home(shop)
    assert tag not in said.output
    assert fleet_of(shop, own).pairs[tag].place is Place.RETIRED


def test_the_home_of_a_thing_held_there_is_told_and_it_stays(shop: Path) -> None:
    moved(shop, "plan")
    chain, moves = read_moves(shop / "plan")
    move = next(move for move in moves if move.thing is VanThing.PAIR)
    there, own, tag = chain.run(move.run).reaches, chain.run(move.run).leaves, move.names[0]
    ledger = str(shop / f"{there}.db")
    assert run("--ledger", ledger, "hold", tag, "--why", "edge cracked", "--by", MANAGER).exit_code == 0
    said = home(shop)
    assert f"{tag}: stands in {there}, its home is {own}" in said.output
    assert f"STAYS: {tag}: " in said.output


def test_a_pair_renamed_there_is_listed_and_goes_once_it_has_its_tag_again(shop: Path) -> None:
    moved(shop, "plan")
    chain, moves = read_moves(shop / "plan")
    move = next(move for move in moves if move.thing is VanThing.PAIR)
    there, own, tag = chain.run(move.run).reaches, chain.run(move.run).leaves, move.names[0]
    ledger = str(shop / f"{there}.db")
    why = ("--why", "the label was lost", "--by", MANAGER)
    assert run("--ledger", ledger, "rename", tag, "N-7", *why).exit_code == 0
    said = home(shop)
    assert f"N-7: stands in {there}, its home is {own}" in said.output
    assert f"its home knows it as {tag}: mountbook rename N-7 {tag}" in said.output
    assert run("--ledger", ledger, "rename", "N-7", tag, *why).exit_code == 0
    assert home(shop, "--out", str(shop / "home")).exit_code == 0
    assert (tag,) in {each.names for each in read_moves(shop / "home")[1]}
