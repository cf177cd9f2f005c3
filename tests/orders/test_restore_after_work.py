"""A restore does not fill a hole: a pair that hands have worked on since the copy is held and unseen."""

from __future__ import annotations

from contextlib import nullcontext
from datetime import date, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import MountbookError
from fleet.facts.holes import Side
from fleet.facts.order_numbers import used_numbers
from fleet.facts.standing import Place
from fleet.ledger.ledger import Ledger
from fleet.rules.holds import clear
from fleet.rules.renaming import rename
from fleet.tables.snapshot import read_pairs
from planner.bench.orders.bench_record import Drilled, Screw
from planner.bench.orders.book import next_number as number_after, read_orders
from planner.bench.orders.close import done as order_done, plugged, stop
from planner.exchange.export.both import write_export
from planner.exchange.intake import apply, look_at
from tests.counter.shop import IDA, JORY, SANNE, WIM, ZONE
from tests.counter.way_back import Counter
from tests.orders.bench_shop import BenchShop

ORDER = "WO-2612-0001 A"
LOOKED_FOR = {
    "done": "worked on after the copy",
    "stopped": f"work order {ORDER} was stopped: drill broke; worked on after the copy",
    "stopped for the skis, nothing touched": f"at the bench: work order {ORDER} was stopped: core is wet",
    "stopped for no fault of the skis": None,
    "still open": f"work order {ORDER} was issued after the copy: collect its sheet",
}


def _areas(shop: BenchShop, tag: str) -> int:
    return sum(len(read_pairs(shop.ledger.connection)[tag].skis[side].inspected) for side in Side)


def _first_drilled(shop: BenchShop) -> Screw:
    (order,) = read_orders(shop.ledger.connection)
    hole = next(hole for hole in order.planned.way.skis[Side.A].holes if hole.do == "drill")
    return (Side.A, hole.piece, hole.number)


@pytest.mark.parametrize("how", LOOKED_FOR)
def test_a_pair_that_the_bench_had_since_the_copy(shop: BenchShop, tmp_path: Path, how: str) -> None:
    counter = Counter(shop, tmp_path)
    shop.issue()
    assert [order.name for order in read_orders(shop.ledger.connection)] == [ORDER]
    with shop.desk(JORY) as desk:
        if how == "done":
            plugged(desk, ORDER)
    if how == "done":
        shop.tick(minutes=30)
    with shop.desk(JORY) as desk:
        if how == "done":
            order_done(desk, ORDER, measured={}, glue="wood_glue")
        elif how == "stopped":
            drilled = {Side.A: Drilled.HOLES, Side.B: Drilled.NOTHING}
            first = [_first_drilled(shop)]
            stop(desk, ORDER, why="drill broke", drilled=drilled, made=first, binding_off=True)
        elif how == "stopped for the skis, nothing touched":
            stop(desk, ORDER, why="core is wet", drilled=dict.fromkeys(Side, Drilled.NOTHING))
        elif how != "still open":
            stop(
                desk, ORDER, why="called away", drilled=dict.fromkeys(Side, Drilled.NOTHING), about_skis=False
            )
    result = counter.back()
    words = LOOKED_FOR[how]
    assert [line.tag for line in result.carried] == ([] if words is None else ["K-1"])
    assert shop.place("K-1") is (Place.BACK if words is None else Place.HOLD)
    assert (words or "") in (shop.standing("K-1").stop_why or shop.standing("K-1").hold_why)
    assert _areas(shop, "K-1") == (0 if "worked on" in (words or "") else 2)
    assert [order.name for order in read_orders(shop.ledger.connection)] == []
    if how.startswith("stopped") and words:  # what the bench stopped is ended by a head technician, as before
        for by, may in ((SANNE, False), (IDA, True)):
            refused = nullcontext() if may else pytest.raises(MountbookError, match="only a head technician")
            with refused, shop.desk(by) as desk:
                clear(desk, "K-1", why="dried for a week, core sound to the pick")


def test_a_held_pair_is_no_part_of_a_plan_and_an_unseen_one_gets_no_new_hole(
    shop: BenchShop, tmp_path: Path
) -> None:
    counter = Counter(shop, tmp_path)
    shop.issue()
    shop.first_visit()
    with shop.desk(JORY) as desk:
        order_done(desk, ORDER, measured={}, glue="wood_glue")
    counter.back()
    assert shop.plan().sets == ()
    with shop.desk(IDA) as desk:
        clear(desk, "K-1", why="seen, nobody wrote it down")
    assert all(
        hole.do == "reuse"
        for planned in shop.plan().sets
        for ski in planned.way.skis.values()
        for hole in ski.holes
    )


def test_holes_found_by_a_survey_close_the_ski_and_those_of_a_file_do_not(
    shop: BenchShop, tmp_path: Path
) -> None:
    """A file taken in by mistake is what a restore is for; what a rule found in the ski is not."""
    shop.drilled_pair("K-2")
    shop.drilled_pair("K-3")
    counter = Counter(shop, tmp_path)
    row = {"side": "A", "x_um": 60_000, "y_um": 0, "diameter_um": 3600, "depth_um": None}
    row |= {"state": "open", "knowledge": "measured bare"}
    shop.enter("holes recorded", {"tag": "K-1", "holes": [row | {"hole_id": "K-1/A99"}]}, by=IDA)
    body = {"file": "x.csv", "sha256": "0" * 64, "left_out": [], "counts": {}, "entries": 1}
    shop.enter("import applied", body)
    for tag in ("K-2", "K-3"):  # the file has one entry
        shop.enter("holes recorded", {"tag": tag, "holes": [row | {"hole_id": f"{tag}/A99"}]})
    result = counter.back()
    assert (shop.place("K-1"), _areas(shop, "K-1")) == (Place.HOLD, 0)
    assert (shop.place("K-2"), _areas(shop, "K-2")) == (Place.BACK, 2)
    assert (shop.place("K-3"), _areas(shop, "K-3")) == (Place.HOLD, 0)
    assert [line.tag for line in result.carried] == ["K-1", "K-2", "K-3"]
    assert result.gone == {"holes recorded": 3, "import applied": 1}


@pytest.mark.parametrize("renamed", ["before", "after"])
def test_holes_found_under_another_tag_hold_the_pair_too(
    shop: BenchShop, tmp_path: Path, renamed: str
) -> None:
    """The copy knows the ski by its old tag only: what was found in it since then is of the same ski."""
    counter = Counter(shop, tmp_path)
    if renamed == "before":
        _rename(shop)
    tag = "N-1" if renamed == "before" else "K-1"
    hole = {"hole_id": f"{tag}/A99", "side": "A", "x_um": 60_000, "y_um": 0, "diameter_um": 3600}
    hole |= {"depth_um": None, "state": "open", "knowledge": "measured bare"}
    shop.enter("holes recorded", {"tag": tag, "holes": [hole]}, by=IDA)
    if renamed == "after":
        _rename(shop)
    counter.back()
    assert (shop.place("N-1"), _areas(shop, "N-1")) == (Place.HOLD, 0)
    assert "worked on after the copy" in shop.standing("N-1").hold_why


def test_what_the_copy_knows_is_not_news_under_a_new_tag(shop: BenchShop, tmp_path: Path) -> None:
    """A ski closed and then surveyed, and an open recall, all before the copy: a label changes nothing."""
    recall = {"recall": "R-7", "pattern": "Lark 4", "piece": "", "season": "", "source": "a notice"}
    shop.enter("recall opened", recall | {"serial_from": "", "serial_to": ""})
    shop.enter("ski closed", {"tag": "K-1", "side": "A", "why": "a hole that nobody measured"})
    area = {"from_um": -200_000, "to_um": 200_000, "how": "bare", "on": "2026-12-27"}
    shop.enter("area inspected", {"tag": "K-1", "side": "A"} | area, by=IDA)
    counter = Counter(shop, tmp_path)
    _rename(shop)
    result = counter.back()
    assert (shop.place("N-1"), _areas(shop, "N-1")) == (Place.BACK, 2)
    assert not any("closed" in line.words for line in result.carried)


def _rename(shop: BenchShop) -> None:
    with shop.desk(IDA) as desk:
        rename(desk, "K-1", "N-1", why="the label was lost")


def test_another_stretch_seen_is_said_as_a_cause(shop: BenchShop, tmp_path: Path) -> None:
    """The bench stopped before the first hole, a survey saw another stretch: no hole or binding differs."""
    counter = Counter(shop, tmp_path)
    area = {"from_um": 210_000, "to_um": 260_000, "how": "bare", "on": "2026-12-20"}
    shop.enter("area inspected", {"tag": "K-1", "side": "A"} | area, by=IDA)
    shop.issue()
    with shop.desk(JORY) as desk:
        drilled = dict.fromkeys(Side, Drilled.NOTHING)
        stop(desk, ORDER, why="called away", drilled=drilled, about_skis=False)
    counter.back()
    assert shop.place("K-1") is Place.HOLD
    assert "bindings or inspected stretches are not those of this ledger" in shop.standing("K-1").hold_why


def test_a_stop_ended_since_the_copy_stands_again(shop: BenchShop, tmp_path: Path) -> None:
    shop.issue()
    with shop.desk(JORY) as desk:
        stop(desk, ORDER, why="core is wet", drilled=dict.fromkeys(Side, Drilled.NOTHING))
    counter = Counter(shop, tmp_path)
    with shop.desk(IDA) as desk:
        clear(desk, "K-1", why="dried for a week, core sound to the pick")
    counter.back()
    assert shop.standing("K-1").stop_why == f"work order {ORDER} was stopped: core is wet"
    with shop.desk(WIM) as desk, pytest.raises(MountbookError, match="only a head technician"):
        clear(desk, "K-1", why="dried for a week, core sound to the pick")


def test_a_pair_worked_on_that_the_copy_does_not_know_is_closed_when_it_is_entered_again(
    shop: BenchShop, tmp_path: Path
) -> None:
    """Its new holes stand in no ledger any more."""
    counter = Counter(shop, tmp_path)
    shop.boot("B-305", 305, "alpine A")
    shop.enter("pair changed", {"tag": "K-1", "changes": {"length_mm": [1700, 2000]}})
    shop.drilled_pair("K-2", on=False)
    shop.stock("ST-1")
    [order] = shop.issue().orders
    assert order.tag == "K-2"
    shop.first_visit()
    with shop.desk(JORY) as desk:
        order_done(desk, ORDER, measured={}, glue="wood_glue")
    counter.back()
    shop.pair("K-2", mounted=False)
    skis = read_pairs(shop.ledger.connection)["K-2"].skis
    assert [skis[side].is_closed for side in Side] == [True, True]
    assert shop.place("K-2") is Place.HOLD


CLOSED = "hole row Holes 12 of x.csv was set aside"


@pytest.mark.parametrize("by_a_file", [True, False])
def test_a_ski_closed_since_the_copy_is_closed_after_it_and_its_partner_is_not(
    shop: BenchShop, tmp_path: Path, by_a_file: bool
) -> None:
    counter = Counter(shop, tmp_path)
    if by_a_file:
        shop.enter(
            "import applied",
            {"file": "x.csv", "sha256": "0" * 64, "left_out": [], "counts": {}, "entries": 1},
        )
    shop.enter("ski closed", {"tag": "K-1", "side": "B", "why": CLOSED})
    result = counter.back()
    skis = read_pairs(shop.ledger.connection)["K-1"].skis
    assert (skis[Side.B].closed_why, skis[Side.B].inspected) == (CLOSED, ())
    assert (skis[Side.A].is_closed, len(skis[Side.A].inspected)) == (False, 1)
    assert [line.words for line in result.carried] == ["ski B is closed"]
    counter.back()  # and it is not told a second time by the file that the first restore made
    assert read_pairs(shop.ledger.connection)["K-1"].skis[Side.B].is_closed


@pytest.mark.parametrize("name", ["folder", "people.xlsx"])
def test_a_closed_ski_is_closed_in_a_new_ledger_too(shop: BenchShop, tmp_path: Path, name: str) -> None:
    """Else an older sheet with its inspection would open it."""
    shop.enter("ski closed", {"tag": "K-1", "side": "B", "why": CLOSED})
    write_export(shop.ledger, tmp_path / "folder", tmp_path / "people.xlsx", at_entry=None)
    now, path = shop.tick(), tmp_path / "fresh.db"
    proposal = look_at(None, [tmp_path / name], today=now.date())
    assert apply(path, proposal, ledger=None, by=WIM, now=now, shop="Another", zone=ZONE).applied
    fresh = BenchShop(Ledger.open(path), now=now)
    skis = read_pairs(fresh.ledger.connection)["K-1"].skis
    assert (skis[Side.A].is_closed, len(skis[Side.A].inspected)) == (False, 1)
    assert skis[Side.B].closed_why.endswith("has it: ski B closed")
    seen_before = {"from_um": -300_000, "to_um": 300_000, "how": "bare", "on": "2026-10-01"}
    with pytest.raises(MountbookError, match="ski B of K-1 was closed"):
        fresh.enter("area inspected", {"tag": "K-1", "side": "B"} | seen_before)


def _stop(shop: BenchShop, number: str) -> None:
    with shop.desk(JORY) as desk:
        stop(desk, number, why="called away", drilled=dict.fromkeys(Side, Drilled.NOTHING), about_skis=False)


def _next_number(shop: BenchShop, day: date) -> str:
    return number_after(used_numbers(shop.ledger.connection), day)


def test_a_number_that_was_used_after_the_copy_is_given_to_no_other_order(
    shop: BenchShop, tmp_path: Path
) -> None:
    """Its sheet may still lie on the bench. The numbers that one restore skipped stay skipped in the next."""
    counter = Counter(shop, tmp_path)
    shop.issue()
    _stop(shop, ORDER)
    told = list(counter.back().lines())
    assert "work orders go on after WO-2612-0001: the numbers up to it were used in that file" in told
    assert "used in that file" in " ".join(counter.back().lines())  # back once more, nothing issued between
    shop.issue()
    assert [order.name for order in read_orders(shop.ledger.connection)] == ["WO-2612-0002 A"]
    assert audit_file(shop.ledger.path, now=shop.now).clean


def test_where_the_replaced_file_cannot_be_read_the_numbers_jump(shop: BenchShop, tmp_path: Path) -> None:
    counter = Counter(shop, tmp_path)
    shop.issue()
    _stop(shop, ORDER)
    shop.ledger.connection.close()
    counter.path.write_bytes(b"a disk's remains" * 100)
    told = " ".join(counter.back().lines())
    floor = f"{shop.now.astimezone(ZoneInfo(ZONE)):%d%H%M}000"
    assert f"work orders of this month go on after WO-2612-{floor}" in told
    shop.look("K-1", by=SANNE)
    shop.issue()
    (order,) = read_orders(shop.ledger.connection)
    assert order.name == f"WO-2612-{int(floor) + 1:04d} A"
    _stop(shop, order.name)
    assert _next_number(shop, shop.today) == f"WO-2612-{int(floor) + 2:04d}"
    assert _next_number(shop, shop.today - timedelta(days=40)).startswith("WO-2611-")
    assert _next_number(shop, shop.today - timedelta(days=40)) != "WO-2611-0001"
    assert _next_number(shop, shop.today + timedelta(days=10)) == "WO-2701-0001"


def test_where_a_printed_head_shows_that_nothing_is_lost_the_numbers_go_on(
    shop: BenchShop, tmp_path: Path
) -> None:
    shop.issue()
    _stop(shop, ORDER)
    counter = Counter(shop, tmp_path)
    shop.ledger.connection.close()
    counter.path.write_bytes(b"a disk's remains" * 100)
    counter.back(printed=counter.copy.head)
    assert _next_number(shop, shop.today) == "WO-2612-0002"


def test_an_order_from_before_a_restore_gets_no_revision_that_another_sheet_has(
    shop: BenchShop, tmp_path: Path
) -> None:
    """B was issued after the copy: its sheet may lie on the bench, and says another day."""
    shop.issue()
    counter = Counter(shop, tmp_path)
    assert [order.name for order in shop.issue_for("2027-01-05").orders] == ["WO-2612-0001 B"]
    counter.back()
    with shop.desk(IDA) as desk:
        clear(desk, "K-1", why="its sheet was collected, nothing drilled")
    assert [order.name for order in read_orders(shop.ledger.connection)] == [ORDER]
    shop.look("K-1", by=SANNE)
    assert [order.name for order in shop.issue_for("2027-01-06").orders] == ["WO-2612-0002 A"]
    assert [order.name for order in shop.issue_for("2027-01-07").orders] == ["WO-2612-0002 B"]
