"""A stopped order: what was drilled on each ski is said, never guessed, and its reason keeps the pair out."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.ledger.people import set_policy
from fleet.rules.holds import clear, hold
from planner.bench.orders.bench_record import Drilled
from planner.bench.orders.close import stop
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM
from tests.orders.bench_shop import BenchShop

ORDER = "WO-2612-0001 A"
NOTHING = dict.fromkeys(Side, Drilled.NOTHING)


def stopped(shop: BenchShop, **more: Any) -> None:
    """The order of K-1 stopped by Jory for a wet core, nothing drilled but what ``more`` says."""
    with shop.desk(JORY) as desk:
        stop(desk, ORDER, **{"why": "core is wet", "drilled": NOTHING} | more)


def why_unplanned(shop: BenchShop, tag: str = "K-1") -> str:
    return next((u.reason for u in shop.plan().unplanned_pairs if u.pair == tag), "planned")


def test_silence_is_not_taken_for_nothing_drilled(shop: BenchShop, command: Command) -> None:
    """Neither of both skis, nor of the one that is not spoken of; the refusal says how to say it."""
    shop.issue()
    before = shop.dump()
    for said, ski in (([], "A"), (["--ski-a", "nothing"], "B"), (["--drilled", "A9"], "B")):
        answer = command("order", "stop", ORDER, "--why", "core is wet", *said, "--by", JORY, "--json")
        assert answer.returncode == 1
        assert f"what was drilled on ski {ski} is not said" in answer.json["refused"]
        assert f"--ski-{ski.lower()} nothing, as-planned or not-known" in answer.json["cure"]
    assert shop.dump() == before


def test_a_plug_of_a_stopped_order_is_not_entered_where_nobody_has_said_what_it_is_filled_with(
    shop: BenchShop,
) -> None:
    """Else no cure would run, and the next order could drill beside wet filler."""
    shop.issue()
    with shop.desk(WIM) as desk:
        set_policy(desk, "plug_adhesive", "", origin="left open")
    before = shop.dump()
    with pytest.raises(MountbookError, match="nobody has said what holes are plugged with"):
        stopped(shop, plugged=["K-1/A1"])
    assert shop.dump() == before
    stopped(shop)
    assert shop.place("K-1") is Place.HOLD


def test_a_stop_without_a_reason_is_refused(shop: BenchShop, command: Command) -> None:
    shop.issue()
    both = ("--ski-a", "nothing", "--ski-b", "nothing")
    refused = command("order", "stop", ORDER, *both, "--by", JORY, "--json").json["refused"]
    assert refused == "why the work is stopped needs to be said in words"


def test_a_word_that_says_nothing_and_a_contradiction_are_refused(shop: BenchShop, command: Command) -> None:
    shop.issue()
    for said in (
        ("--ski-a", "perhaps", "--ski-b", "nothing"),
        ("--ski-a", "holes", "--ski-b", "nothing"),
        ("--ski-a", "nothing", "--drilled", "A9", "--ski-b", "nothing"),
    ):
        answer = command("order", "stop", ORDER, "--why", "core is wet", *said, "--by", JORY, "--json")
        assert (answer.returncode, "ski A" in answer.json["refused"]) == (1, True)


def test_each_ski_is_asked_about_on_a_terminal(
    shop: BenchShop, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A by its numbers on the sheet, B by a word; an empty answer is silence and refused."""
    shop.issue()
    typed = iter(["9 10\n", "nothing\n", "core is wet\n", "\n", "\n", "\n"])
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True, raising=False)
    monkeypatch.setattr(sys.stdin, "readline", lambda: next(typed), raising=False)
    answer = command("order", "stop", ORDER, "--by", JORY, "--json").json
    assert answer["drilled"] == ["K-1/A9", "K-1/A10"]
    silent = command("order", "stop", ORDER, "--by", JORY, "--json")
    assert silent.returncode == 1


def test_a_wet_core_stays_out_of_plans_until_the_head_technician_ends_it(shop: BenchShop) -> None:
    """Nothing drilled at all: on hold; a technician's clear, a new hold and a repair do not end it."""
    shop.ready("K-1")
    shop.issue()
    stopped(shop)
    reason = f"it is on hold: work order {ORDER} was stopped: core is wet"
    assert (shop.place("K-1"), why_unplanned(shop)) == (Place.HOLD, reason)
    for by in (NELL, JORY, SANNE, WIM):
        with pytest.raises(MountbookError, match=r"cannot|head technician"), shop.desk(by) as desk:
            clear(desk, "K-1", why="looks dry")
    with shop.desk(NELL) as desk:
        hold(desk, "K-1", why="tag lost")
    with (
        pytest.raises(MountbookError, match="only a head technician can end a stop"),
        shop.desk(SANNE) as desk,
    ):
        clear(desk, "K-1", why="tag found")
    assert why_unplanned(shop).startswith(reason)
    with (
        pytest.raises(MountbookError, match="why the stop is ended needs to be said in words"),
        shop.desk(IDA) as desk,
    ):
        clear(desk, "K-1")
    with shop.desk(IDA) as desk:
        cleared = clear(desk, "K-1", why="dried for a week, core sound to the pick")
    assert (cleared.place, why_unplanned(shop)) == (Place.READY, "planned")


def test_a_repair_does_not_end_a_stop(shop: BenchShop) -> None:
    from fleet.rules.holds import begin_repair, end_repair

    shop.issue()
    stopped(shop)
    with shop.desk(JORY) as desk:
        begin_repair(desk, "K-1")
    with shop.desk(JORY) as desk:
        repaired = end_repair(desk, "K-1", did="edge pressed")
    assert repaired.place is Place.HOLD
    assert "core is wet" in repaired.words
    assert "core is wet" in why_unplanned(shop)


def test_a_reason_that_is_not_the_skis_leaves_the_pair_as_it_was(shop: BenchShop) -> None:
    """Only where nothing was done: with a hole made, or one that may have been, it is refused."""
    shop.ready("K-1")
    shop.issue()
    screw = shop.plan().sets[0].way.skis[Side.A].holes[0]
    made = [(Side.A, screw.piece, screw.number)]
    for drilled, holes in (({Side.B: Drilled.NOTHING}, made), ({**NOTHING, Side.B: Drilled.NOT_KNOWN}, [])):
        with pytest.raises(MountbookError, match="worked on, or may have been"):
            stopped(shop, about_skis=False, drilled=drilled, made=holes)
    before = shop.fleet().pairs["K-1"]
    stopped(shop, about_skis=False, why="other work came first")
    assert shop.fleet().pairs["K-1"] == before
    assert (shop.place("K-1"), why_unplanned(shop)) == (Place.READY, "planned")


def test_what_was_drilled_as_planned_is_in_that_ski_and_not_in_the_other(shop: BenchShop) -> None:
    plan = shop.plan()
    shop.issue(plan)
    stopped(shop, drilled={Side.A: Drilled.AS_PLANNED, Side.B: Drilled.NOTHING})
    pair = shop.fleet().pairs["K-1"]
    drilled = [h for h in plan.sets[0].way.skis[Side.A].holes if h.do == "drill"]
    places = {(h.x_um, h.y_um) for h in pair.skis[Side.A].holes}
    assert {(h.x_um, h.y_um) for h in drilled} <= places
    assert (len(pair.skis[Side.A].holes), len(pair.skis[Side.B].holes)) == (8 + len(drilled), 8)


def test_a_ski_of_which_nobody_knows_is_closed_until_a_survey_bare(shop: BenchShop) -> None:
    """B closes and A does not; the old pass is void, the mount counts; only a later survey bare opens."""
    with shop.desk(WIM) as desk:
        set_policy(desk, "mounts_max", "3", origin="looked into twelve cores")
    shop.ready("K-1")
    shop.issue()
    stopped(shop, drilled={Side.A: Drilled.NOTHING, Side.B: Drilled.NOT_KNOWN})
    pair = shop.fleet().pairs["K-1"]
    assert (len(pair.skis[Side.A].inspected), pair.skis[Side.B].inspected) == (1, ())
    assert pair.skis[Side.B].closed_why == f"what was drilled for work order {ORDER} is not known"
    assert pair.drilled_mounts == 2
    with shop.desk(IDA) as desk:
        assert clear(desk, "K-1", why="looked at").place is Place.BACK
    assert "planned" not in (reason := why_unplanned(shop)), reason
    area = {"tag": "K-1", "side": "B", "from_um": -300_000, "to_um": 300_000}
    day = shop.now.date().isoformat()
    for seen in ({"how": "bare", "on": "2026-10-01"}, {"how": "new", "on": day}, {"how": "bare", "on": ""}):
        with pytest.raises(MountbookError, match="ski B of K-1 was closed"):
            shop.enter("area inspected", area | seen)
    shop.enter("area inspected", area | {"how": "bare", "on": day})
    assert why_unplanned(shop) == "planned"


def test_a_survey_of_that_day_but_before_the_stop_does_not_open(shop: BenchShop) -> None:
    morning = shop.now
    shop.tick(minutes=60)
    shop.issue()
    stopped(shop, drilled=dict.fromkeys(Side, Drilled.NOT_KNOWN))
    area = {
        "tag": "K-1",
        "side": "B",
        "from_um": 0,
        "to_um": 9,
        "how": "bare",
        "on": morning.date().isoformat(),
    }
    with pytest.raises(MountbookError, match="was closed"), shop.desk(IDA, at=morning) as desk:
        desk.enter("area inspected", area)


@pytest.mark.parametrize("by", [NELL, "A Stranger"])
def test_a_stop_is_signed_by_a_listed_technician(shop: BenchShop, by: str) -> None:
    shop.issue()
    with pytest.raises(MountbookError, match="cannot stop a work order"), shop.desk(by) as desk:
        stop(desk, ORDER, why="core is wet", drilled=NOTHING)


def test_the_stop_is_read_where_people_look(shop: BenchShop, command: Command) -> None:
    """`order list`, `ski`, `why` and a refusal at the door all say the reason."""
    shop.issue()
    stopped(shop, drilled={Side.A: Drilled.NOTHING, Side.B: Drilled.NOT_KNOWN})
    reason = f"work order {ORDER} was stopped: core is wet"
    listed = command("order", "list").stdout
    assert f"K-1  {reason}" in listed
    assert "mountbook clear K-1 --why" in listed
    [row] = command("order", "list", "--json").json["stopped"]
    assert (row["pair"], row["why"]) == ("K-1", reason)
    shown = command("ski", "K-1").stdout
    assert f"on hold: {reason}" in shown
    assert "closed Sun 27 Dec 2026" in shown
    assert f"what was drilled for work order {ORDER} is not known" in shown
    assert reason in command("why", "K-1", "B-317").stdout
    assert reason in command("out", "K-1", "--json").json["refused"]


def test_a_blanked_reason_still_stops(shop: BenchShop) -> None:
    shop.issue()
    stopped(shop)
    entry = shop.standing("K-1").stop_entry
    with shop.ledger.transaction(by=IDA, now=shop.tick()) as tx:
        tx.blank_note(entry, why="a name")
    assert why_unplanned(shop) == f"it is on hold: work order {ORDER} was stopped: (text removed)"


def test_a_ski_of_a_stopped_pair_takes_the_stop_into_a_new_pair(shop: BenchShop) -> None:
    """Its partner lost, the stop goes along, with its reason; only the head technician ends it there too."""
    from planner.bench.season import join, lose_partner

    shop.drilled_pair("K-2")
    [order] = shop.issue().orders
    with shop.desk(JORY) as desk:
        stop(desk, order.name, why="core is wet", drilled=dict.fromkeys(Side, Drilled.NOT_KNOWN))
    (other,) = {"K-1", "K-2"} - {order.tag}
    for tag, lost in ((order.tag, Side.B), (other, Side.A)):
        with shop.desk(IDA) as desk:
            lose_partner(desk, tag, lost=lost, why="broken")
    with shop.desk(IDA) as desk:
        made = join(desk, "K-9", f"{order.tag}/A", f"{other}/B")
    assert (made.place, made.skis[Side.A].inspected, len(made.skis[Side.B].inspected)) == (Place.HOLD, (), 1)
    assert made.skis[Side.A].closed_why == f"what was drilled for work order {order.name} is not known"
    reason = why_unplanned(shop, "K-9")
    assert reason.startswith("it is on hold: stopped at the bench: ")
    assert "core is wet" in reason
    with pytest.raises(MountbookError, match="only a head technician"), shop.desk(SANNE) as desk:
        clear(desk, "K-9", why="looks dry")
    with shop.desk(IDA) as desk:
        assert clear(desk, "K-9", why="dried for a week").place is Place.FLAT


def test_a_stop_goes_along_with_an_export_into_a_new_ledger(shop: BenchShop, tmp_path: Path) -> None:
    from planner.exchange.export.both import write_export
    from planner.exchange.intake import apply, look_at

    shop.issue()
    stopped(shop)
    write_export(shop.ledger, tmp_path / "out", None, at_entry=None)
    proposal = look_at(None, [tmp_path / "out"], today=shop.today)
    new = tmp_path / "new.db"
    assert apply(new, proposal, ledger=None, by=WIM, now=shop.tick(), shop="New", zone="UTC").applied
    with Ledger.open(new) as ledger:
        again = BenchShop(ledger, now=shop.now)
        assert (again.place("K-1"), "stopped at the bench" in why_unplanned(again)) == (Place.HOLD, True)
        with pytest.raises(MountbookError, match="only a head technician"), again.desk(SANNE) as desk:
            clear(desk, "K-1", why="looks dry")


def test_a_stop_and_a_closed_ski_outlast_a_restore(shop: BenchShop, tmp_path: Path) -> None:
    """A copy made before does not know of them; the file that it replaces tells."""
    from fleet.audit.backup import backup, restore

    shop.issue()
    path = shop.ledger.path
    copy = backup(path, tmp_path / "copies", now=shop.tick(), keep=3).path
    stopped(shop, drilled={Side.A: Drilled.NOTHING, Side.B: Drilled.NOT_KNOWN})
    shop.ledger.connection.close()
    restore(copy, path, by=WIM, now=shop.tick())
    with Ledger.open(path) as ledger:
        again = BenchShop(ledger, now=shop.now)
        assert again.place("K-1") is Place.HOLD
        assert "core is wet" in why_unplanned(again)
        assert again.fleet().pairs["K-1"].skis[Side.B].inspected == ()
        area = {"tag": "K-1", "side": "B", "from_um": 0, "to_um": 9, "how": "bare", "on": "2026-10-01"}
        with pytest.raises(MountbookError, match="ski B of K-1 was closed"):
            again.enter("area inspected", area)
        with pytest.raises(MountbookError, match="only a head technician"), again.desk(SANNE) as desk:
            clear(desk, "K-1", why="looks dry")
