"""The end of an order: what is in the ski afterwards, and who must look."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import HoleState, Knowledge, Side
from fleet.facts.standing import Place
from fleet.ledger.corrections import correct
from fleet.ledger.people import set_policy
from fleet.rules.holds import clear, hold
from planner.bench.orders.bench_record import Drilled, Measured, Screw
from planner.bench.orders.close import Closed, done, stop
from planner.bench.orders.typed import parse_measured, read_measured
from planner.plan.values import Rung
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM
from tests.orders.bench_shop import BenchShop


def finish(
    shop: BenchShop,
    *,
    order: str = "WO-2612-0001",
    by: str = JORY,
    measured: dict[Screw, Measured] | None = None,
    glue: str | None = "wood_glue",
) -> Closed:
    with suppress(MountbookError):  # where the order is refused, so is its first visit
        shop.first_visit(order)
    with shop.desk(by) as desk:
        return done(desk, order, measured=measured or {}, glue=glue)


def test_what_was_drilled_as_planned_is_in_the_ski_afterwards(shop: BenchShop) -> None:
    """New holes screwed and known as drilled here, reused ones screwed, the old toe's holes plugged."""
    plan = shop.plan()
    shop.issue(plan)
    closed = finish(shop)
    planned = plan.sets[0].way
    pair = shop.fleet().pairs["K-1"]
    for side in Side:
        by_id = {hole.hole_id: hole for hole in pair.skis[side].holes}
        for wanted in planned.skis[side].holes:
            if wanted.do == "reuse":
                assert by_id[str(wanted.hole_id)].state is HoleState.SCREWED
                continue
            [new] = [h for h in by_id.values() if (h.x_um, h.y_um) == (wanted.x_um, wanted.y_um)]
            assert (new.state, new.knowledge) == (HoleState.SCREWED, Knowledge.DRILLED_HERE)
            assert (new.diameter_um, new.depth_um) == (wanted.diameter_um, wanted.depth_um)
            assert new.hole_id in closed.drilled
        for hole_id in planned.skis[side].plug:
            assert by_id[hole_id].state is HoleState.PLUGGED
        assert sum(hole.state is HoleState.SCREWED for hole in by_id.values()) == 8
    old, new_mount = pair.mounts
    assert (old.removed_on, new_mount.removed_on) == ("2026-12-27", None)
    assert (new_mount.bsl_um, new_mount.offset_um, new_mount.drilled) == (317_000, planned.offset_um, True)
    assert {s.piece: s.slide_um for s in new_mount.slides} == {
        p.piece: p.slide_um for p in planned.skis[Side.A].pieces
    }


def test_measured_positions_rank_higher_than_the_plan(shop: BenchShop) -> None:
    shop.issue()
    planned = shop.plan().sets[0].way.skis[Side.A].holes[0]
    screw = (Side.A, planned.piece, planned.number)
    finish(shop, measured={screw: Measured(x_um=planned.x_um + 300, y_um=planned.y_um - 200, depth_um=8500)})
    holes = shop.fleet().pairs["K-1"].skis[Side.A].holes
    [hole] = [h for h in holes if h.x_um == planned.x_um + 300]
    assert (hole.y_um, hole.depth_um) == (planned.y_um - 200, 8500)
    assert hole.knowledge is Knowledge.MEASURED_HERE
    assert {h.knowledge for h in holes if h.state is HoleState.SCREWED and h is not hole} == {
        Knowledge.DRILLED_HERE,
        Knowledge.MEASURED_HERE,
    }


def test_a_piece_that_went_too_near_an_old_hole_holds_the_pair(shop: BenchShop) -> None:
    shop.issue()
    toe = [h for h in shop.plan().sets[0].way.skis[Side.A].holes if h.piece == "toe"]
    seen = {(Side.A, h.piece, h.number): Measured(x_um=h.x_um - 2000, y_um=h.y_um) for h in toe}
    closed = finish(shop, measured=seen)
    assert closed.place is Place.HOLD
    assert "is 8.5 mm from K-1/A1, the rule asks for 10.0 mm" in closed.hold


def test_a_measured_hole_far_from_the_planned_one_is_a_slip_of_the_pen(shop: BenchShop) -> None:
    shop.issue()
    planned = shop.plan().sets[0].way.skis[Side.A].holes[0]
    screw = (Side.A, planned.piece, planned.number)
    with pytest.raises(MountbookError, match="was planned at"):
        finish(shop, measured={screw: Measured(x_um=planned.x_um + 30_000, y_um=planned.y_um)})


@pytest.mark.parametrize("by", [NELL, "A Stranger"])
def test_an_order_is_signed_as_done_by_a_listed_technician(shop: BenchShop, by: str) -> None:
    shop.issue()
    with pytest.raises(MountbookError, match="cannot sign a work order as done"):
        finish(shop, by=by)


def test_the_pair_waits_for_a_second_person(shop: BenchShop) -> None:
    shop.issue()
    assert finish(shop, by=JORY).place is Place.SECOND_CHECK
    for name, words in ((JORY, "did the work on K-1"), (NELL, "counter staff")):
        with pytest.raises(MountbookError, match=words):
            shop.look("K-1", by=name)
    assert shop.look("K-1", by=SANNE).place is Place.READY


def test_the_glue_of_the_order_must_cure(shop: BenchShop) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_wood_glue_hours", "12", origin="invented sheet")
    shop.issue()
    finish(shop)
    shop.look("K-1", by=SANNE)
    with pytest.raises(MountbookError, match=r"^K-1 cannot go out: its wood glue cures until [^;]*$"):
        shop.out("K-1")
    shop.tick(minutes=12 * 60)
    shop.out("K-1", boot="B-317")


def test_the_new_mount_takes_the_boot_it_was_planned_for_and_no_longer_the_old_one(shop: BenchShop) -> None:
    for name in ("cure_wood_glue_hours", "cure_epoxy_hours"):
        with shop.desk(WIM) as desk:
            set_policy(desk, name, "0.5", origin="invented sheet")
    shop.issue()
    finish(shop)
    shop.tick(minutes=30)
    shop.boot("B-290", 290, "alpine A")
    shop.look("K-1", by=SANNE)
    with pytest.raises(MountbookError, match="B-290 has a sole of 290 mm"):
        shop.out("K-1", boot="B-290")
    assert shop.out("K-1", boot="B-317")[0].words == "boot B-317 fits"


def test_the_bench_sets_both_skis_for_the_sole_of_the_order(shop: BenchShop) -> None:
    """The order's own boot goes; another within the travel waits until the binding is set for it."""
    for name in ("cure_wood_glue_hours", "cure_epoxy_hours"):
        with shop.desk(WIM) as desk:
            set_policy(desk, name, "0.5", origin="invented sheet")
    shop.issue()
    closed = finish(shop)
    shop.tick(minutes=30)
    setting = shop.standing("K-1").setting
    assert (setting.bsl_um, setting.when.entry, setting.by) == (317_000, closed.entry, JORY)
    shop.look("K-1", by=SANNE)
    shop.boot("B-320", 320, "alpine A")
    with pytest.raises(MountbookError, match="its binding is set for sole 317 mm, boot B-320 has 320 mm"):
        shop.out("K-1", boot="B-320")
    shop.out("K-1", boot="B-317")


def test_an_adjustment_sets_it_and_one_broken_off_leaves_it_unknown(shop: BenchShop) -> None:
    """Nothing is drilled and no binding moves; still somebody may have turned the screw of one heel."""
    shop.boot("B-312", 312, "alpine A")
    for end in ("stopped", "done"):
        shop.set_binding("K-1", 305)
        plan = shop.plan()
        assert (plan.sets[0].boot, plan.sets[0].way.rung) == ("B-312", Rung.ADJUST)
        [order] = shop.issue(plan).orders
        if end == "stopped":
            with shop.desk(JORY) as desk:
                nothing = dict.fromkeys(Side, Drilled.NOTHING)
                stop(desk, order.name, why="the heel of ski B does not turn", drilled=nothing)
        else:
            finish(shop, order=order.name, glue=None)
        assert shop.standing("K-1").setting.bsl_um == (312_000 if end == "done" else None)
        if end == "stopped":
            with shop.desk(IDA) as desk:
                clear(desk, "K-1", why="the screw of the heel was dirty")


def test_a_stop_for_another_reason_than_the_skis_leaves_the_setting(shop: BenchShop) -> None:
    """Nothing was done, and it is said so: what the binding was set for is known as before."""
    shop.boot("B-312", 312, "alpine A")
    shop.set_binding("K-1", 305)
    [order] = shop.issue().orders
    with shop.desk(JORY) as desk:
        nothing = dict.fromkeys(Side, Drilled.NOTHING)
        stop(desk, order.name, why="other work came first", drilled=nothing, about_skis=False)
    assert shop.standing("K-1").setting.bsl_um == 305_000


@pytest.mark.parametrize(("set_to_mm", "heel_um"), [(312, -7_000), (310, -5_000), (None, None)])
def test_a_sheet_says_where_a_piece_stands_only_as_long_as_nobody_set_it_since(
    shop: BenchShop, set_to_mm: int | None, heel_um: int | None
) -> None:
    """The bench slid the heel for 312 mm; the counter set it for another boot; or nobody knows for whose."""
    shop.boot("B-312", 312, "alpine A")
    shop.issue()
    finish(shop, glue=None)
    recorded = {slide.piece: slide.slide_um for slide in shop.fleet().pairs["K-1"].mounts[-1].slides}
    assert recorded["heel"] != 0
    if set_to_mm is not None:
        shop.set_binding("K-1", set_to_mm)
    else:
        shop.back("K-1")
    with shop.desk(IDA) as desk:
        correct(desk.tx, "B-312", {"bsl_mm": "313"}, by=IDA, why="measured again", today=shop.today)
    shop.look("K-1", by=SANNE)
    plan = shop.plan()
    assert (plan.sets[0].boot, plan.sets[0].way.rung) == ("B-312", Rung.ADJUST)
    for ski in plan.sets[0].way.skis.values():
        assert {p.piece: p.stands_um for p in ski.pieces} == {
            "toe": 0,
            "heel": heel_um,
        }
    shop.issue(plan)  # the judge reads the ledger alike


def test_a_pair_that_changed_since_the_order_was_issued_is_refused(shop: BenchShop) -> None:
    shop.issue()
    hole = {
        "hole_id": "K-1/A90",
        "side": "A",
        "x_um": 200_000,
        "y_um": 0,
        "diameter_um": 3600,
        "depth_um": 9000,
        "state": "plugged",
        "knowledge": "measured bare",
    }
    shop.enter("holes recorded", {"tag": "K-1", "holes": [hole]})
    before = shop.dump()
    with pytest.raises(MountbookError, match="K-1 changed since WO-2612-0001 A was issued"):
        finish(shop)
    assert shop.dump() == before


def test_an_order_is_done_once(shop: BenchShop) -> None:
    shop.issue()
    finish(shop)
    with pytest.raises(MountbookError, match="WO-2612-0001 A is done, not open"):
        finish(shop)


def test_a_cancelled_revision_is_refused(shop: BenchShop) -> None:
    shop.issue()
    shop.issue_for("2026-12-31")
    with pytest.raises(MountbookError, match="not the newest revision"):
        finish(shop, order="WO-2612-0001 A")
    assert finish(shop, order="WO-2612-0001 B").place is Place.SECOND_CHECK


def test_a_held_pair_cannot_have_its_order_done(shop: BenchShop) -> None:
    from fleet.rules.holds import hold

    shop.issue()
    with shop.desk() as desk:
        hold(desk, "K-1", why="core looks wet")
    with pytest.raises(
        MountbookError, match=r"on hold \(wet core: core looks wet\): it cannot have its work order done"
    ):
        finish(shop)


def test_a_binding_comes_from_the_stock(shop: BenchShop) -> None:
    """A flat pair takes two bindings that lay loose; they stand on its skis afterwards."""
    shop.enter("wish recorded", _wish(quantity=2))
    shop.boot("B-305", 305, "alpine A")
    shop.drilled_pair("K-2", on=False)
    shop.stock("ST-1")
    plan = shop.plan()
    taken = {s.pair: s.binding_from for s in plan.sets}
    assert taken == {"K-1": "own", "K-2": "stock"}
    orders = {order.tag: order.name for order in shop.issue(plan).orders}
    closed = finish(shop, order=orders["K-2"])
    assert sorted(closed.bindings_on) == ["ST-1/1", "ST-1/2"]
    on = shop.fleet().bindings_on("K-2")
    assert {side: binding.binding_id for side, binding in on.items()} == {Side.A: "ST-1/1", Side.B: "ST-1/2"}


def test_a_binding_comes_off_another_pair_which_then_is_flat(shop: BenchShop) -> None:
    """K-2 is bare and nothing lies in stock: a binding is given, and the giver cannot go out meanwhile."""
    shop.boot("B-305", 305, "alpine A")
    shop.enter("pair changed", {"tag": "K-1", "changes": {"length_mm": [1700, 2000]}})
    shop.drilled_pair("K-2", on=False)
    plan = shop.plan()
    [planned] = plan.sets
    assert (planned.pair, planned.binding_from) == ("K-2", "K-1")
    [order] = shop.issue(plan).orders
    assert order.giver == "K-1"
    shop.look("K-1")
    with pytest.raises(MountbookError, match=r"work order WO-2612-0001 A is open"):
        shop.out("K-1")
    shop.set_binding("K-1", 305)
    closed = finish(shop)
    assert [shop.standing(tag).setting.bsl_um for tag in ("K-1", "K-2")] == [None, planned.way.bsl_um]
    assert sorted(closed.bindings_on) == ["K-1/A", "K-1/B"]
    assert shop.place("K-1") is Place.FLAT
    fleet = shop.fleet()
    giver = fleet.pairs["K-1"]
    assert giver.current_mount is None
    assert {hole.state for hole in giver.skis[Side.A].holes} == {HoleState.OPEN}
    assert set(fleet.bindings_on("K-2")) == {Side.A, Side.B}
    assert fleet.bindings_on("K-1") == {}


def _wish(*, quantity: int) -> dict[str, object]:
    return {
        "wish": "W-1",
        "kind": "alpine",
        "length_min_mm": 1600,
        "length_max_mm": 1800,
        "mondopoint_min_mm": 260,
        "mondopoint_max_mm": 270,
        "quantity": quantity,
        "priority": 1,
    }


def test_an_adjustment_drills_nothing_and_moves_only_the_slide(shop: BenchShop) -> None:
    """317 is beyond the travel; a 310 sole is not: the heel is set, no hole is touched."""
    shop.boot("B-310", 310, "alpine A")
    plan = shop.plan()
    assert [s.way.rung for s in plan.sets] == [Rung.ADJUST]
    before = shop.fleet().pairs["K-1"].skis
    shop.issue(plan)
    closed = finish(shop, glue=None)
    after = shop.fleet().pairs["K-1"]
    assert (closed.drilled, closed.plugged, closed.bindings_on) == ((), (), ())
    assert after.skis == before
    mount = after.current_mount
    assert mount is not None
    assert (mount.bsl_um, mount.drilled) == (310_000, False)
    assert after.drilled_mounts == 1
    assert closed.place is Place.SECOND_CHECK


def test_a_stopped_order_records_the_holes_already_made(shop: BenchShop) -> None:
    """One hole drilled, then a wet core: the hole is in the ledger, the binding off, the pair on hold."""
    shop.issue()
    planned = shop.plan().sets[0].way.skis[Side.A].holes[0]
    with shop.desk(JORY) as desk:
        made = [(Side.A, planned.piece, planned.number)]
        nothing = {Side.B: Drilled.NOTHING}
        closed = stop(desk, "WO-2612-0001", why="core is wet", made=made, drilled=nothing)
    assert closed.place is Place.HOLD
    pair = shop.fleet().pairs["K-1"]
    [new] = [h for h in pair.skis[Side.A].holes if h.hole_id in closed.drilled]
    assert (new.x_um, new.y_um, new.state) == (planned.x_um, planned.y_um, HoleState.OPEN)
    assert len(pair.skis[Side.B].holes) == 8
    assert {hole.state for side in Side for hole in pair.skis[side].holes} == {HoleState.OPEN}
    assert pair.drilled_mounts == 2
    assert pair.current_mount is None
    assert shop.fleet().bindings_on("K-1") == {}


def test_an_order_stopped_before_anything_was_touched_leaves_the_pair_as_it_was(shop: BenchShop) -> None:
    shop.ready("K-1")
    shop.issue()  # the numbers that its sheet gives to holes are used up all the same
    before = shop.fleet().pairs["K-1"]
    with shop.desk(IDA) as desk:
        nothing = dict.fromkeys(Side, Drilled.NOTHING)
        stop(desk, "WO-2612-0001", why="other work came first", drilled=nothing, about_skis=False)
    assert shop.fleet().pairs["K-1"] == before
    assert shop.place("K-1") is Place.READY


def test_a_screw_the_order_does_not_drill_cannot_have_been_drilled(shop: BenchShop) -> None:
    shop.issue()
    with pytest.raises(MountbookError, match="the order does not drill A toe 9"), shop.desk(JORY) as desk:
        stop(
            desk,
            "WO-2612-0001",
            why="core is wet",
            made=[(Side.A, "toe", 9)],
            drilled={Side.B: Drilled.NOTHING},
        )


def test_a_measured_hole_is_typed_by_its_name_on_the_sheet(shop: BenchShop, tmp_path: Path) -> None:
    """K-1 has holes 1 to 8 on each ski, so the first new one is hole 9 of ski A, and of ski B."""
    [order] = shop.issue().orders
    planned = order.labels
    screw, measured = parse_measured("A9=153.3,17.8", planned)
    assert parse_measured("a 9=153.3,17.8", planned)[0] == screw
    assert (screw[:2], measured.x_um, measured.y_um) == ((Side.A, "toe"), 153_300, 17_800)
    file = tmp_path / "measured.csv"
    file.write_text("ski,number,x_mm,y_mm,depth_mm\nA,9,153.3,17.8,8.5\n", encoding="utf-8")
    assert read_measured(file, (), planned)[screw].depth_um == 8500
    for bad in ("A 99=1,2", "C 9=1,2", "A 9=left", "A toe 1=1,2", "9=1,2"):
        with pytest.raises(MountbookError):
            parse_measured(bad, planned)


def giving(shop: BenchShop) -> None:
    """An order for K-2, which is bare, that takes its binding off K-1."""
    shop.boot("B-305", 305, "alpine A")
    shop.enter("pair changed", {"tag": "K-1", "changes": {"length_mm": [1700, 2000]}})
    shop.drilled_pair("K-2", on=False)
    [order] = shop.issue().orders
    assert (order.tag, order.giver) == ("K-2", "K-1")


def test_no_binding_comes_off_a_pair_that_is_held(shop: BenchShop) -> None:
    giving(shop)
    with shop.desk(NELL) as desk:
        hold(desk, "K-1", why="heel loose")
    before = shop.dump()
    with pytest.raises(MountbookError, match="the binding for K-2 is on K-1, which is on hold"):
        finish(shop)
    assert shop.dump() == before


def test_no_binding_comes_off_a_pair_that_changed_since_the_order_was_issued(shop: BenchShop) -> None:
    giving(shop)
    changes = {"state": ["screwed", "stripped"]}
    shop.enter("hole changed", {"hole_id": "K-1/A1", "changes": changes})
    with pytest.raises(MountbookError, match="K-1 changed since WO-2612-0001 A was issued"):
        finish(shop)


def test_the_order_of_a_pair_that_changed_can_still_be_stopped(shop: BenchShop) -> None:
    """It is what the refusal of the end says to do."""
    shop.issue()
    shop.enter("hole changed", {"hole_id": "K-1/A1", "changes": {"state": ["screwed", "stripped"]}})
    with shop.desk(JORY) as desk:
        stop(desk, "WO-2612-0001", why="hole 1 spins", drilled=dict.fromkeys(Side, Drilled.NOTHING))
    assert shop.place("K-1") is Place.HOLD


def test_a_binding_keeps_the_side_that_it_had_on_the_giver(shop: BenchShop) -> None:
    """A serial that is recalled is looked for on the ski that carries it."""
    giving(shop)
    finish(shop)
    on = shop.fleet().bindings_on("K-2")
    assert {side: binding.binding_id for side, binding in on.items()} == {Side.A: "K-1/A", Side.B: "K-1/B"}


@pytest.mark.parametrize(
    ("named", "words"),
    [
        (("K-1/A", "ST-1/1"), "K-1/A is not in stock as this order's binding"),
        (("ST-1/1", "K-1/B"), "K-1/B is not in stock as this order's binding"),
        (("ST-1/1", "ST-9/9"), "ST-9/9 is not in stock as this order's binding"),
        (("ST-1/1", "ST-1/1"), "a pair of skis carries two bindings"),
        (("ST-1/1",), "a pair of skis carries two bindings"),
        (("ST-1/1", "ST-1/2"), "a note on ST-1/2 asks: "),
    ],
)
def test_a_binding_that_is_on_a_ski_or_asked_about_is_not_taken_by_name(
    shop: BenchShop, named: tuple[str, ...], words: str
) -> None:
    shop.enter("wish recorded", _wish(quantity=2))
    shop.boot("B-305", 305, "alpine A")
    shop.drilled_pair("K-2", on=False)
    shop.stock("ST-1")
    plan = shop.plan()
    orders = {order.tag: order.name for order in shop.issue(plan).orders}
    shop.first_visit(orders["K-2"])
    with shop.desk(NELL) as desk:
        desk.enter("note made", {"binding_id": "ST-1/2", "proposes": "hold"}, note="heel loose")
    before = shop.dump()
    with shop.desk(JORY) as desk, pytest.raises(MountbookError, match=words):
        done(desk, orders["K-2"], measured={}, bindings=named, glue="wood_glue")
    assert shop.dump() == before


def test_no_work_is_entered_before_the_pair_came_back_unseen(shop: BenchShop) -> None:
    """What it did meanwhile nobody knows: its binding would count as set by the order."""
    shop.issue()
    earlier = shop.tick()
    shop.tick(minutes=60)
    shop.back("K-1")
    shop.first_visit()
    before = shop.dump()
    with shop.desk(JORY, at=earlier) as desk, pytest.raises(MountbookError, match="K-1 came back"):
        done(desk, "WO-2612-0001", measured={}, glue="wood_glue")
    assert shop.dump() == before
