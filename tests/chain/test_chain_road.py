"""The road of a chain's owner, from the file of shops to what a van brought, by commands on three ledgers."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import NamedTuple

import pytest
from typer.testing import CliRunner

from fleet.base.errors import MountbookError
from fleet.events.mounts import StockOut
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import Fleet, read_fleet
from planner.bench.today import today_at
from planner.cli.main import app
from planner.plan.chain import Chain, ChainMove, VanThing, after_moves, read_chain, read_moves
from planner.plan.plan_file import read_plan
from planner.planning.assign.classes import _state
from planner.planning.judge.plan_check import judge_plan
from tests.chain.ledgers import MANAGER, on_disk
from tests.chain.shops import NOW, chain_of, shops

SEED = 3
ACTS = ("send", "receive")


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three shops, their ledgers, and the plan of all three in one process."""
    folder = tmp_path_factory.mktemp("chain")
    fleets = shops(SEED, 3, pairs=6, boots=6)
    on_disk(fleets, chain_of(fleets, room=3, minutes=5), folder)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("planner.planning.chain.side_by_side.cpu_count", lambda: 1)
        patch.setenv("MOUNTBOOK_NOW", NOW.isoformat())
        for shop in fleets:
            said = run(
                "--ledger",
                str(folder / f"{shop}.db"),
                "staff",
                "add",
                MANAGER,
                "--role",
                "manager",
                "--until",
                "2028-05-31",
            )
            assert said.exit_code == 0, said.output
        said = run("chain", "plan", str(folder / "chain.toml"), "--out", str(folder / "plan"))
    assert said.exit_code == 0, said.output
    assert "proved best" in said.output
    return folder


@pytest.fixture
def shop(planned: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it all; chain.json names the ledgers of the copy."""
    monkeypatch.setenv("MOUNTBOOK_NOW", NOW.isoformat())
    place = tmp_path / "chain"
    shutil.copytree(planned, place)
    file = place / "plan" / "chain.json"
    file.write_text(file.read_text("utf-8").replace(str(planned.resolve()), str(place.resolve())), "utf-8")
    return place


def run(*words: str) -> Said:
    """A command, as it is typed."""
    found = CliRunner().invoke(app, list(words))
    refusal = isinstance(found.exception, MountbookError)
    return Said(found.exit_code, f"{found.output}{found.exception if refusal else ''}")


class Said(NamedTuple):
    """How a command ended, and all that it said."""

    exit_code: int
    output: str


def fleet_of(place: Path, name: str) -> Fleet:
    with Ledger.open(place / f"{name}.db") as ledger:
        return read_fleet(ledger.connection)


def waits(place: Path, name: str) -> dict[str, set[str]]:
    """What the day's list of a shop says of vans: title -> names."""
    with Ledger.open(place / f"{name}.db") as ledger, ledger.reading() as connection:
        found = today_at(connection, now=NOW, zone="UTC")
    return {t.title: {line.name for line in t.lines} for t in found.topics if "van" in t.title}


def a_run(place: Path) -> tuple[Chain, tuple[ChainMove, ...], str]:
    """The chain, its moves, and the run that takes most kinds of things."""
    chain, moves = read_moves(place / "plan")
    best = max(chain.runs, key=lambda r: len({m.thing for m in moves if m.run == r.name}))
    return chain, tuple(m for m in moves if m.run == best.name), best.name


def test_the_plan_stands_on_disk_with_a_judged_plan_a_shop(shop: Path) -> None:
    chain, moves, _ = a_run(shop)
    assert [each.name for each in read_chain(shop / "chain.toml").shops] == ["North", "South", "East"]
    said = json.loads((shop / "plan" / "chain.json").read_text("utf-8"))
    assert said["status"] == "proved best"
    assert (shop / "plan" / "pick_lists.pdf").read_bytes().startswith(b"%PDF")
    assert (shop / "plan" / "chain.xlsx").exists()
    fleets = {each.name: fleet_of(shop, each.name) for each in chain.shops}
    every = read_moves(shop / "plan")[1]
    for name, after in after_moves(fleets, chain, every).items():
        assert judge_plan(after, read_plan(shop / "plan" / name)) == ()
    assert moves


def test_sent_taken_in_and_issued(shop: Path) -> None:
    """On its way it stands on both lists; taken in, it is as the plan took it, and the orders are issued."""
    chain, moves, name = a_run(shop)
    ends = chain.run(name)
    before = fleet_of(shop, ends.leaves)
    sent = run("chain", "send", str(shop / "plan"), "--run", name, "--by", MANAGER)
    assert sent.exit_code == 0, sent.output
    home = fleet_of(shop, ends.leaves)
    pairs = [m.names[0] for m in moves if m.thing is VanThing.PAIR]
    boots = [m.names[0] for m in moves if m.thing is VanThing.BOOT]
    assert pairs
    assert boots
    assert {home.pairs[tag].place for tag in pairs} == {Place.IN_TRANSIT}
    assert not any(home.pairs[tag].plannable for tag in pairs)
    assert {home.boots[tag].place for tag in boots} == {Place.IN_TRANSIT}
    refused = run("--ledger", str(shop / f"{ends.leaves}.db"), "out", pairs[0], "--by", MANAGER)
    assert refused.exit_code == 1
    assert "in transit" in refused.output
    [away] = waits(shop, ends.leaves).values()
    [coming] = waits(shop, ends.reaches).values()
    assert {*pairs, *boots} <= away
    assert {*pairs, *boots} <= coming

    assert run("chain", "send", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 1
    came = run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER)
    assert came.exit_code == 0, came.output
    assert waits(shop, ends.leaves) == waits(shop, ends.reaches) == {}
    there = fleet_of(shop, ends.reaches)
    empty = replace(there, pairs={}, boots={}, bindings={})
    as_planned = after_moves({ends.leaves: before, ends.reaches: empty}, chain, moves)[ends.reaches]
    for tag in pairs:
        assert _state(there.pairs[tag]) == _state(as_planned.pairs[tag])
        assert there.pairs[tag].place is as_planned.pairs[tag].place
        assert fleet_of(shop, ends.leaves).pairs[tag].place is Place.RETIRED
        for name_of in (ends.leaves, ends.reaches):
            assert run("--ledger", str(shop / f"{name_of}.db"), "ski", tag).exit_code == 0
    for tag in boots:
        history = run("--ledger", str(shop / f"{ends.reaches}.db"), "boot", tag).output
        assert "load taken in" in history
        assert there.boots[tag].place is Place.READY
        assert there.boots[tag].bsl_um == before.boots[tag].bsl_um


@pytest.mark.long
def test_once_everything_is_there_each_shop_issues_its_orders(shop: Path) -> None:
    chain, moves = read_moves(shop / "plan")
    for name in sorted({move.run for move in moves}):
        for act in ("send", "receive"):
            said = run("chain", act, str(shop / "plan"), "--run", name, "--by", MANAGER)
            assert said.exit_code == 0, said.output
    for each in chain.shops:
        ledger = str(shop / f"{each.name}.db")
        said = run("--ledger", ledger, "order", "issue", str(shop / "plan" / each.name), "--by", MANAGER)
        assert said.exit_code == 0, said.output
        assert run("--ledger", ledger, "audit").exit_code in (0, 1)


def test_what_was_not_in_the_van_stays_on_both_lists(shop: Path) -> None:
    chain, moves, name = a_run(shop)
    ends, tag = chain.run(name), moves[0].names[0]
    assert run("chain", "send", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 0
    came = run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER, "--missing", tag)
    assert came.exit_code == 1
    assert f"STILL ON THE WAY: {tag}" in came.output
    for shop_name in (ends.leaves, ends.reaches):
        assert [*waits(shop, shop_name).values()] == [{tag}]
    assert run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 0
    assert waits(shop, ends.leaves) == waits(shop, ends.reaches) == {}


def test_what_broke_off_at_the_last_entry_goes_on_and_takes_nothing_in_twice(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    chain, moves, name = a_run(shop)
    ends = chain.run(name)
    assert run("chain", "send", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 0
    with monkeypatch.context() as patch:
        patch.setattr("planner.bench.vans.taken_in_there", lambda *_: 1 / 0)
        assert run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 1
    assert waits(shop, ends.reaches) == {}
    assert len(waits(shop, ends.leaves)) == 1
    before = fleet_of(shop, ends.reaches).head
    assert run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 0
    assert waits(shop, ends.leaves) == {}
    assert fleet_of(shop, ends.reaches).head == before
    again = run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER)
    assert "nothing is on the way" in again.output
    assert moves


def test_what_was_stopped_since_stays_and_is_said(shop: Path) -> None:
    chain, moves, name = a_run(shop)
    ends = chain.run(name)
    tag = next(m.names[0] for m in moves if m.thing is VanThing.PAIR)
    ledger = str(shop / f"{ends.leaves}.db")
    assert run("--ledger", ledger, "hold", tag, "--why", "edge cracked", "--by", MANAGER).exit_code == 0
    sent = run("chain", "send", str(shop / "plan"), "--run", name, "--by", MANAGER)
    assert sent.exit_code == 1
    assert f"STAYS: {tag}: " in sent.output
    assert fleet_of(shop, ends.leaves).pairs[tag].place is Place.HOLD
    assert tag not in next(iter(waits(shop, ends.leaves).values()))


def test_a_load_that_was_changed_on_the_way_is_refused(shop: Path) -> None:
    _, moves, name = a_run(shop)
    assert run("chain", "send", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 0
    file = shop / "plan" / "vans" / name / moves[0].names[0] / "boots.csv"
    file.write_bytes(file.read_bytes() + b" ")
    came = run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER)
    assert came.exit_code == 1
    assert "was changed" in came.output


def test_nobody_unlisted_sends(shop: Path) -> None:
    _, _, name = a_run(shop)
    said = run("chain", "send", str(shop / "plan"), "--run", name, "--by", "Nobody Here")
    assert said.exit_code == 1
    assert "staff list" in said.output


@pytest.mark.parametrize("breaks_at", ["bring_in", "take_in", "taken_in_there"])
def test_a_receipt_that_broke_off_goes_on_where_it_was(
    shop: Path, monkeypatch: pytest.MonkeyPatch, breaks_at: str
) -> None:
    """The machine went off between two entries: the same command typed again ends it."""
    chain, moves, name = a_run(shop)
    ends, typed = chain.run(name), ("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER)
    before = fleet_of(shop, ends.leaves)
    assert run("chain", "send", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 0
    with monkeypatch.context() as patch:
        patch.setattr(f"planner.bench.vans.{breaks_at}", went_off)
        assert run(*typed).exit_code == 1
    for tag in (m.names[0] for m in moves if m.thing is VanThing.PAIR):
        for at in (ends.leaves, ends.reaches):
            assert run("--ledger", str(shop / f"{at}.db"), "out", tag, "--by", MANAGER).exit_code == 1
    again = run(*typed)
    assert again.exit_code == 0, again.output
    assert waits(shop, ends.leaves) == waits(shop, ends.reaches) == {}
    there = fleet_of(shop, ends.reaches)
    empty = replace(there, pairs={}, boots={}, bindings={})
    as_planned = after_moves({ends.leaves: before, ends.reaches: empty}, chain, moves)[ends.reaches]
    for tag in (m.names[0] for m in moves if m.thing is VanThing.PAIR):
        assert _state(there.pairs[tag]) == _state(as_planned.pairs[tag])
    assert run("--ledger", str(shop / f"{ends.reaches}.db"), "audit").exit_code in (0, 1)
    assert {m.names[0] for m in moves if m.thing is VanThing.BOOT} <= {*there.boots}


def went_off(*_: object, **__: object) -> None:
    raise RuntimeError("the machine went off")


def test_a_sending_that_broke_off_is_received_all_the_same(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    chain, _, name = a_run(shop)
    ends, real, calls = chain.run(name), Ledger.transaction, []

    def once(ledger: Ledger, **words: object) -> object:
        calls.append(ledger)
        return went_off() if len(calls) == 2 else real(ledger, **words)

    with monkeypatch.context() as patch:
        patch.setattr(Ledger, "transaction", once)
        assert run("chain", "send", str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 1
    assert waits(shop, ends.leaves)
    came = run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER)
    assert came.exit_code == 0, came.output
    assert waits(shop, ends.leaves) == waits(shop, ends.reaches) == {}


@pytest.mark.parametrize("readable", [True, False])
@pytest.mark.parametrize("came", [False, True])
@pytest.mark.parametrize("restored", ["leaves", "reaches"])
def test_a_ledger_restored_from_before_a_load_has_its_side_again_once_it_is_received_again(
    shop: Path, restored: str, came: bool, readable: bool
) -> None:
    """Neither ledger counts a thing that the other has, nothing is in neither, and nothing is sent twice."""
    chain, moves, name = a_run(shop)
    ends = chain.run(name)
    ledger = shop / f"{getattr(ends, restored)}.db"
    typed = {act: ("chain", act, str(shop / "plan"), "--run", name, "--by", MANAGER) for act in ACTS}
    assert run("--ledger", str(ledger), "backup", str(shop / "copies")).exit_code == 0
    [copy] = (shop / "copies").glob("*.db")
    for act in ACTS[: 2 if came else 1]:
        assert run(*typed[act]).exit_code == 0
    if not readable:
        ledger.write_bytes(b"a disk that broke" * 999)
    back = run("--ledger", str(ledger), "restore", str(copy), "--by", MANAGER)
    assert back.exit_code == 0, back.output
    assert "mountbook chain receive FOLDER --run RUN" in back.output
    if restored == "leaves":
        assert run(*typed["send"]).exit_code == 1
        assert "left by this run before" in run(*typed["send"]).output

    again = run(*typed["receive"])
    assert again.exit_code == 0, again.output
    home, there = (fleet_of(shop, at) for at in (ends.leaves, ends.reaches))
    assert {m.thing for m in moves} == {*VanThing}
    for move in moves:
        if move.thing is VanThing.BINDINGS:
            assert not {*move.names} & {*home.bindings}
            assert {f"{n} (from {ends.leaves})" for n in move.names} <= {*there.bindings}
        else:
            of_home, of_there = (
                fleet.pairs if move.thing is VanThing.PAIR else fleet.boots for fleet in (home, there)
            )
            assert of_home[move.names[0]].place is Place.RETIRED
            assert of_there[move.names[0]].place in (Place.FLAT, Place.BACK, Place.READY)
    assert waits(shop, ends.leaves) == waits(shop, ends.reaches) == {}
    drilled_since = came and restored == "reaches"
    for tag in (m.names[0] for m in moves if m.thing is VanThing.PAIR):
        assert {ski.is_closed for ski in there.pairs[tag].skis.values()} == {drilled_since}
    assert "nothing is on the way" in run(*typed["receive"]).output
    assert run(*typed["send"]).exit_code == 1
    for at in (ends.leaves, ends.reaches):
        assert run("--ledger", str(shop / f"{at}.db"), "audit").exit_code in (0, 1)


def test_what_a_restored_ledger_says_could_not_leave_is_named_and_stays_as_it_says(shop: Path) -> None:
    chain, moves, name = a_run(shop)
    ends = chain.run(name)
    ledger = str(shop / f"{ends.leaves}.db")
    tag = next(m.names[0] for m in moves if m.thing is VanThing.PAIR)
    assert run("--ledger", ledger, "hold", tag, "--why", "wanted by a guest", "--by", MANAGER).exit_code == 0
    assert run("--ledger", ledger, "backup", str(shop / "copies")).exit_code == 0
    [copy] = (shop / "copies").glob("*.db")
    cleared = run("--ledger", ledger, "clear", tag, "--why", "a scratch", "--by", MANAGER)
    assert cleared.exit_code == 0, cleared.output
    for act in ACTS:
        assert run("chain", act, str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 0
    Path(ledger).write_bytes(b"a disk that broke" * 999)
    assert run("--ledger", ledger, "restore", str(copy), "--by", MANAGER).exit_code == 0
    again = run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER)
    assert again.exit_code == 1
    assert f"STILL IN THE OTHER LEDGER: {tag}: " in again.output
    assert fleet_of(shop, ends.leaves).pairs[tag].place is Place.HOLD


def test_bindings_that_came_and_left_the_stock_since_do_not_come_again(shop: Path) -> None:
    chain, moves, name = a_run(shop)
    ends = chain.run(name)
    for act in ACTS:
        assert run("chain", act, str(shop / "plan"), "--run", name, "--by", MANAGER).exit_code == 0
    kit = next(m for m in moves if m.thing is VanThing.BINDINGS)
    ids = tuple(f"{n} (from {ends.leaves})" for n in kit.names)
    with (
        Ledger.open(shop / f"{ends.reaches}.db") as ledger,
        ledger.transaction(by=MANAGER, now=NOW) as tx,
    ):
        tx.enter(StockOut(binding_ids=ids))
    again = run("chain", "receive", str(shop / "plan"), "--run", name, "--by", MANAGER)
    assert "nothing is on the way" in again.output
