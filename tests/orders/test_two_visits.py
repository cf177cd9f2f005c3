"""Plugging and drilling are two visits: between them the filler cures, on paper, in ledger and calendar.

Common practice, no source: no hole is drilled beside a filler that has not cured.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from fleet.base.errors import MountbookError
from fleet.facts.holes import HoleState, Side
from fleet.facts.standing import Place
from fleet.ledger.people import set_policy
from planner.bench.orders.bench_record import Drilled
from planner.bench.orders.close import done, plugged, stop
from planner.bench.weeks.jobs import DRILL, PLUG, jobs_for, open_orders
from planner.paper.work_order_facts import work_order_sheet
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, SANNE, WIM
from tests.orders.bench_shop import BenchShop

ORDER = "WO-2612-0001"
MINUTE = timedelta(minutes=1)


def cures(shop: BenchShop, hours: str) -> None:
    for name in ("cure_wood_glue_hours", "cure_epoxy_hours"):
        with shop.desk(WIM) as desk:
            set_policy(desk, name, hours, origin="invented sheet")


def test_an_order_that_plugs_is_not_done_before_its_holes_are_entered_as_plugged(shop: BenchShop) -> None:
    shop.issue()
    before = shop.dump()
    words = "8 holes of K-1 still to be entered as plugged"
    with pytest.raises(MountbookError, match=words) as fault, shop.desk(JORY) as desk:
        done(desk, ORDER, measured={}, glue="wood_glue")
    assert fault.value.cure == f'enter when they were filled: mountbook order plugged "{ORDER} A" --at TIME'
    assert shop.dump() == before


@pytest.mark.parametrize(("early", "may"), [(MINUTE, False), (timedelta(0), True)])
def test_the_second_visit_begins_when_the_filler_has_cured_and_not_a_minute_before(
    shop: BenchShop, early: timedelta, may: bool
) -> None:
    cures(shop, "24")
    shop.issue()
    with shop.desk(JORY) as desk:
        first = plugged(desk, ORDER)
    assert first.cured is not None
    shop.tick(minutes=24 * 60 + 5)
    before = shop.dump()
    if not may:
        words = "K-1 cannot be finished yet: its epoxy cures until"
        at = first.cured - early
        with pytest.raises(MountbookError, match=words), shop.desk(JORY, at=at) as desk:
            done(desk, ORDER, measured={}, glue="wood_glue")
        assert shop.dump() == before
        return
    with shop.desk(JORY, at=first.cured) as desk:
        closed = done(desk, ORDER, measured={}, glue="wood_glue")
    assert (closed.place, closed.plugged, closed.glued_with) == (Place.SECOND_CHECK, (), ("wood_glue",))
    assert shop.standing("K-1").glued_with == ("wood_glue",), "the filler has cured; the glue has not"


def test_the_first_visit_takes_the_old_mount_off_and_plugs_what_the_sheet_names(shop: BenchShop) -> None:
    planned = shop.plan().sets[0]
    shop.issue()
    shop.first_visit()
    pair = shop.fleet().pairs["K-1"]
    assert [mount.removed_on for mount in pair.mounts] == ["2026-12-27"]
    for side in Side:
        named = set(planned.way.skis[side].plug)
        states = {hole.hole_id: hole.state for hole in pair.skis[side].holes}
        assert {name for name, state in states.items() if state is HoleState.PLUGGED} == named != set()
        assert {state for name, state in states.items() if name not in named} == {HoleState.OPEN}


@pytest.mark.parametrize("worker", [JORY, SANNE])
def test_who_did_either_visit_does_not_pass_the_pair(shop: BenchShop, worker: str) -> None:
    shop.issue()
    shop.first_visit(by=JORY)
    with shop.desk(SANNE) as desk:
        done(desk, ORDER, measured={}, glue="none")
    with pytest.raises(MountbookError, match="did the work on K-1"):
        shop.look("K-1", by=worker)
    assert shop.look("K-1", by=IDA).place is Place.READY


def test_a_first_visit_is_entered_once_and_only_where_the_order_plugs(shop: BenchShop) -> None:
    shop.issue()
    shop.first_visit()
    with pytest.raises(MountbookError, match=f"{ORDER} A has no hole left to plug"), shop.desk(JORY) as desk:
        plugged(desk, ORDER)


def test_a_pair_between_its_two_visits_stays_in_the_shop(shop: BenchShop) -> None:
    shop.issue()
    shop.first_visit()
    with pytest.raises(MountbookError, match=f"work order {ORDER} A is open"):
        shop.out("K-1", boot="B-317")


def test_nothing_is_planned_into_a_hole_that_was_plugged_before_the_order_was_stopped(
    shop: BenchShop,
) -> None:
    shop.issue()
    shop.first_visit()
    with shop.desk(JORY) as desk:
        stop(desk, ORDER, why="called away", drilled=dict.fromkeys(Side, Drilled.NOTHING), about_skis=False)
    holes = [hole for ski in shop.fleet().pairs["K-1"].skis.values() for hole in ski.holes]
    plugs = {hole.hole_id for hole in holes if hole.state is HoleState.PLUGGED}
    assert len(plugs) == 8
    [again] = shop.plan().sets
    used = {hole.hole_id for ski in again.way.skis.values() for hole in ski.holes if hole.do == "reuse"}
    assert not used & plugs


def test_the_command_says_when_the_next_step_may_be_done(shop: BenchShop, command: Command) -> None:
    cures(shop, "24")
    shop.issue()
    said = command("order", "plugged", ORDER, "--by", JORY).stdout
    assert said == (
        "WO-2612-0001 A: 8 holes of K-1 plugged, epoxy\n  drill and screw NOT BEFORE Mon 28 Dec 2026 18:01\n"
    )
    refused = command("order", "done", ORDER, "--glue", "wood_glue", "--by", JORY)
    assert refused.returncode == 1


def test_a_filler_set_anew_since_the_sheet_was_printed_is_asked_for(
    shop: BenchShop, command: Command
) -> None:
    """The sheet says epoxy. By the rule of today it was wood glue, cured after 2 hours of 24."""
    cures(shop, "24")
    shop.issue()
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_wood_glue_hours", "2", origin="invented sheet")
        set_policy(desk, "plug_adhesive", "wood_glue", origin="the head technician")
    before = shop.dump()
    asked = command("order", "plugged", ORDER, "--by", JORY, "--json").json["refused"]
    assert "set anew since WO-2612-0001 A was issued: which was used?" in str(asked)
    assert command("order", "plugged", ORDER, "--filler", "resin", "--by", JORY).returncode == 1
    old = next(iter(shop.fleet().pairs["K-1"].skis[Side.A].holes)).hole_id
    broken_off = ("order", "stop", ORDER, "--ski-a", "nothing", "--ski-b", "nothing", "--plugged", old)
    assert command(*broken_off, "--why", "called away", "--by", JORY).returncode == 1
    assert shop.dump() == before
    said = command("order", "plugged", ORDER, "--filler", "Epoxy", "--by", JORY).stdout
    assert "8 holes of K-1 plugged, epoxy\n  drill and screw NOT BEFORE Mon 28 Dec" in said
    assert shop.standing("K-1").glued_with == ("epoxy",)


def test_a_cure_that_nobody_has_set_is_not_guessed(shop: BenchShop, command: Command) -> None:
    shop.issue()
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_pitch_hours", "", origin="its sheet is not here yet")
        set_policy(desk, "plug_adhesive", "pitch", origin="invented sheet")
    answer = command("order", "plugged", ORDER, "--filler", "pitch", "--by", JORY)
    assert "NOT to be drilled: nobody has said how long it cures" in answer.stdout
    assert command("order", "done", ORDER, "--glue", "none", "--by", JORY).returncode == 1


def test_the_calendar_has_two_visits_and_after_the_first_only_what_is_left(shop: BenchShop) -> None:
    cures(shop, "24")
    shop.issue()

    def job():  # type: ignore[no-untyped-def]
        fleet = shop.fleet()
        [job] = jobs_for(open_orders(shop.ledger.connection, fleet), fleet.policy)
        return job

    before = job()
    assert [PLUG in visit.name for visit in before.visits] == [True, False, False]
    assert [DRILL in visit.name for visit in before.visits] == [False, True, False]
    assert (before.visits[0].cure_minutes, before.ready) == (24 * 60, 0)
    with shop.desk(JORY) as desk:
        first = plugged(desk, ORDER)
    after = job()
    assert first.cured is not None
    assert after.visits[0].name == before.visits[1].name
    assert (len(after.visits), after.ready) == (2, -(-int(first.cured.timestamp()) // 60))


def test_the_sheet_ends_the_first_visit_with_a_time_and_says_when_the_next_step_may_be_done(
    shop: BenchShop,
) -> None:
    cures(shop, "24")
    plan, fleet = shop.plan(), shop.fleet()
    sheet = work_order_sheet(
        fleet, plan.sets[0], number=ORDER, revision="A", proposal=False, plan_hash="", printed_at=shop.now
    )
    [step] = [step for step in sheet.steps if "Plug" in step.lead]
    assert step.lead == "Plug and fill flush. FIRST VISIT ENDS; write the time"
    assert step.detail == "Epoxy, cure 24 hours. Next step NOT BEFORE time filled + 24 h. Wet core: STOP."
    unset = replace(fleet, policy=fleet.policy.with_values(cure_epoxy_hours=""))
    sheet = work_order_sheet(
        unset, plan.sets[0], number=ORDER, revision="A", proposal=False, plan_hash="", printed_at=shop.now
    )
    [step] = [step for step in sheet.steps if "Plug" in step.lead]
    assert "see its data sheet (not set in the policy). Next step NOT BEFORE it has cured." in step.detail
