"""What goes otherwise at the bench, carried through to the next plan: nothing said is planned over."""

from __future__ import annotations

from pathlib import Path

import pymupdf
import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import HoleState, Knowledge, Side, SkiFault, hole_label
from fleet.facts.standing import Place
from fleet.ledger.corrections import correct
from fleet.rules.holds import clear, ski_fault
from planner.bench.orders.bench_record import Drilled, Measured
from planner.bench.orders.book import WorkOrder
from planner.bench.orders.close import done, plugged, stop
from planner.paper.work_order import work_order_pdf
from planner.paper.work_order_facts import work_order_sheet
from planner.plan.values import PlannedHole, PlannedSet
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE
from tests.counter.way_back import Counter
from tests.orders.bench_shop import BenchShop

ORDER = "WO-2612-0001 A"
NOTHING = dict.fromkeys(Side, Drilled.NOTHING)


def ended(shop: BenchShop) -> None:
    with shop.desk(IDA) as desk:
        clear(desk, "K-1", why="looked at it: it can be worked on")


def holes(planned: PlannedSet, side: Side, do: str) -> list[PlannedHole]:
    return [hole for hole in planned.way.skis[side].holes if hole.do == do]


def the_set(shop: BenchShop) -> PlannedSet:
    [planned] = shop.plan().sets
    return planned


@pytest.mark.parametrize("side", list(Side))
def test_a_reused_hole_that_spins_takes_no_screw_again(shop: BenchShop, side: Side) -> None:
    planned = the_set(shop)
    spun = holes(planned, side, "reuse")[0]
    shop.issue()
    with shop.desk(JORY) as desk:
        stop(desk, ORDER, why="it spins", drilled=NOTHING, spins=[(side, spun.piece, spun.number)])
    assert shop.place("K-1") is Place.HOLD
    ended(shop)
    found = {h.hole_id: h.state for ski in shop.fleet().pairs["K-1"].skis.values() for h in ski.holes}
    assert found[str(spun.hole_id)] is HoleState.STRIPPED
    assert [h for h, state in found.items() if state is HoleState.STRIPPED] == [spun.hole_id]
    again = shop.plan().sets
    used = {hole.hole_id for s in again for ski in s.way.skis.values() for hole in ski.holes}
    assert spun.hole_id not in used


def test_the_next_order_plugs_the_hole_that_was_stripped(shop: BenchShop) -> None:
    """Ski A has one stripped hole, ski B none: its name is on A's plug list alone, with filler and cure."""
    spun = holes(the_set(shop), Side.A, "reuse")[0]
    shop.issue()
    with shop.desk(JORY) as desk:
        stop(desk, ORDER, why="it spins", drilled=NOTHING, spins=[(Side.A, spun.piece, spun.number)])
    ended(shop)
    [order] = shop.issue().orders
    assert spun.hole_id in order.planned.way.skis[Side.A].plug
    on_a, on_b = said_on_paper(shop, order)
    to_plug = " ".join(
        hole_label(hole.hole_id)
        for hole in sorted(
            shop.fleet().pairs["K-1"].skis[Side.A].holes, key=lambda h: (-h.x_um, h.y_um, h.hole_id)
        )
        if hole.hole_id in order.planned.way.skis[Side.A].plug
    )
    assert to_plug in on_a
    assert hole_label(str(spun.hole_id)) in to_plug.split()
    assert "Epoxy, cure 0.5 hours." in on_a
    assert ("stripped" in on_a, "stripped" in on_b) == (True, False)
    with shop.desk(JORY) as desk:
        first = plugged(desk, order.name)
    assert (spun.hole_id in first.holes, first.filler) == (True, "epoxy")
    found = {h.hole_id: h.state for ski in shop.fleet().pairs["K-1"].skis.values() for h in ski.holes}
    assert found[str(spun.hole_id)] is HoleState.PLUGGED


def said_on_paper(shop: BenchShop, order: WorkOrder) -> list[str]:
    """Return the words of each ski's pages."""
    sheet = work_order_sheet(
        shop.fleet(), order.planned, number=order.number, revision=order.revision, proposal=False,
        plan_hash="", printed_at=shop.now, holes=order.holes,
    )  # fmt: skip
    pages = [page.get_text() for page in pymupdf.open(stream=work_order_pdf([sheet]))]
    return ["".join(page for page in pages if f"WORK ORDER, SKI {side}" in page) for side in Side]


def test_an_insert_put_where_a_screw_spun_takes_no_wood_screw(shop: BenchShop) -> None:
    """An insert is for a pattern that lists its thread; a wood screw is planned elsewhere, spacing kept."""
    spun = holes(the_set(shop), Side.A, "reuse")[0]
    shop.issue()
    with shop.desk(JORY) as desk:
        stop(desk, ORDER, why="it spins", drilled=NOTHING, spins=[(Side.A, spun.piece, spun.number)])
    ended(shop)
    with shop.desk(IDA) as desk:
        why = "insert set, glued with epoxy"
        correct(desk.tx, str(spun.hole_id), {"state": "insert"}, by=IDA, why=why, today=shop.today)
    again = the_set(shop)
    assert spun.hole_id not in {hole.hole_id for hole in holes(again, Side.A, "reuse")}
    spacing = shop.fleet().policy.um("spacing_mm")
    for hole in holes(again, Side.A, "drill"):
        assert (hole.x_um - spun.x_um) ** 2 + (hole.y_um - spun.y_um) ** 2 >= spacing**2


def test_a_screw_of_a_new_hole_cannot_be_said_to_spin_in_an_old_one(shop: BenchShop) -> None:
    new = holes(the_set(shop), Side.B, "drill")[0]
    shop.issue()
    with pytest.raises(MountbookError, match="goes into a new hole"), shop.desk(JORY) as desk:
        stop(desk, ORDER, why="it spins", drilled=NOTHING, spins=[(Side.B, new.piece, new.number)])


@pytest.mark.parametrize("how", ["done", "stopped"])
def test_a_hole_that_nobody_planned_is_in_the_ski_and_stops_the_pair(shop: BenchShop, how: str) -> None:
    """A drill that slipped, 40 mm ahead of the mark of ski B: entered where it is, and kept away from."""
    shop.issue()
    shop.first_visit()
    slip = {Side.B: [Measured(x_um=40_000, y_um=5_000)]}
    with shop.desk(JORY) as desk:
        if how == "done":
            done(desk, ORDER, measured={}, glue="none", extra=slip)
        else:
            stop(desk, ORDER, why="the drill slipped", drilled=NOTHING, extra=slip)
    assert shop.place("K-1") is Place.HOLD
    assert "was not planned" in shop.standing("K-1").stop_why
    skis = shop.fleet().pairs["K-1"].skis
    [slipped] = [hole for hole in skis[Side.B].holes if (hole.x_um, hole.y_um) == (40_000, 5_000)]
    assert (slipped.state, slipped.knowledge) == (HoleState.OPEN, Knowledge.MEASURED_HERE)
    ids = [hole.hole_id for ski in skis.values() for hole in ski.holes]
    assert len(set(ids)) == len(ids)
    for by in (JORY, SANNE):
        with pytest.raises(MountbookError, match="head technician"), shop.desk(by) as desk:
            clear(desk, "K-1", why="it is only small")
    ended(shop)
    spacing = shop.fleet().policy.um("spacing_mm")
    for planned in shop.plan().sets:
        for hole in holes(planned, Side.B, "drill"):
            assert (hole.x_um - 40_000) ** 2 + (hole.y_um - 5_000) ** 2 >= spacing**2


@pytest.mark.parametrize("fault", list(SkiFault))
@pytest.mark.parametrize("side", list(Side))
@pytest.mark.parametrize("at_bench", [True, False])
def test_a_faulty_ski_is_in_no_plan_until_a_head_technician_ends_it(
    shop: BenchShop, side: Side, fault: SkiFault, at_bench: bool
) -> None:
    if at_bench:
        shop.issue()
        with shop.desk(JORY) as desk:
            stop(desk, ORDER, why="seen at the first hole", drilled=NOTHING, faults={side: fault})
    else:
        with shop.desk(NELL) as desk:
            ski_fault(desk, "K-1", side, fault, why="seen when it came back")
    assert shop.place("K-1") is Place.HOLD
    assert f"ski {side}: {fault}" in shop.standing("K-1").stop_why
    assert shop.plan().sets == ()
    for by in (NELL, JORY, SANNE):
        with pytest.raises(MountbookError), shop.desk(by) as desk:
            clear(desk, "K-1", why="it looks dry to me")
    ended(shop)
    assert [planned.pair for planned in shop.plan().sets] == ["K-1"]


def test_a_fault_found_after_the_copy_is_not_lost_by_a_restore(shop: BenchShop, tmp_path: Path) -> None:
    counter = Counter(shop, tmp_path)
    with shop.desk(JORY) as desk:
        ski_fault(desk, "K-1", Side.B, SkiFault.CRACK)
    counter.back()
    assert shop.place("K-1") is Place.HOLD
    with pytest.raises(MountbookError, match="only a head technician"), shop.desk(SANNE) as desk:
        clear(desk, "K-1", why="no crack to be seen")


def test_the_bench_types_it_in_one_line(shop: BenchShop, command: Command) -> None:
    shop.issue()
    answer = command(
        *("order", "stop", ORDER, "--ski-a", "nothing", "--ski-b", "nothing", "--why", "drill slipped"),
        *("--extra", "B=40.0,5.0", "--fault", "A wet-core", "--by", JORY, "--json"),
    ).json
    assert (answer["place"], len(answer["drilled"])) == ("hold", 1)
    assert answer["hold"].endswith("ski A: wet core")


@pytest.mark.parametrize(
    ("said", "words"),
    [
        (("--fault", "C crack"), "'C' is no ski of a pair"),
        (("--fault", "A rust"), "'rust' is no fault of a ski"),
        (("--extra", "A=40"), "'A=40' is not a hole of a ski"),
        (("--spins", "A 99"), "has no hole 99"),
    ],
)
def test_what_is_typed_wrongly_is_refused_and_nothing_is_entered(
    shop: BenchShop, command: Command, said: tuple[str, str], words: str
) -> None:
    shop.issue()
    before = shop.dump()
    both = ("--ski-a", "nothing", "--ski-b", "nothing", "--why", "it went wrong")
    answer = command("order", "stop", ORDER, *both, *said, "--by", JORY, "--json")
    assert words in answer.json["refused"]
    assert shop.dump() == before
