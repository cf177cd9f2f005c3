"""What must be impossible, with no switch to turn it off. Each rule is a test by name."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from fleet.base.errors import BadInput, MountbookError, Refused
from fleet.facts.holes import Side
from fleet.facts.standing import Place
from fleet.ledger.corrections import withdraw
from fleet.ledger.people import set_policy
from fleet.rules.counter import Done, move, undo
from fleet.rules.holds import begin_repair, clear, end_repair, hold, quarantine
from fleet.rules.looks import ListUsed
from fleet.rules.recheck import recheck_list
from tests.counter.shop import IDA, JORY, NELL, OLD, SANNE, WIM, Shop, binding_body


def refused(shop: Shop, action: Callable[[], object], match: str) -> Refused | MountbookError:
    """The action is refused with those words, and the ledger is as it was, row for row."""
    before = shop.dump()
    with pytest.raises(MountbookError, match=match) as caught:
        action()
    assert shop.dump() == before
    return caught.value


def test_a_passed_pair_goes_out(shop: Shop) -> None:
    """The door opens at all; without this the refusals below prove nothing."""
    [done] = shop.out("P-1")
    assert (done.place, done.words) == (Place.OUT, "fit not checked")


def test_going_out_without_a_pass_later_than_the_newest_return(shop: Shop) -> None:
    shop.out("P-1")
    shop.back("P-1")
    refused(shop, lambda: shop.out("P-1"), "P-1 cannot go out: it came back .* nobody has passed it since")


def test_going_out_with_no_pass_on_record(shop: Shop) -> None:
    shop.pair("P-9")
    refused(shop, lambda: shop.out("P-9"), "no pass is on record")


def test_a_return_entered_late_with_an_earlier_time_does_not_slip_under_a_pass(shop: Shop) -> None:
    shop.out("P-1")
    at_noon = shop.now
    shop.back("P-1")
    shop.look("P-1")
    shop.out("P-1")
    shop.back("P-1")
    shop.look("P-1")
    shop.back("P-1", at=at_noon + timedelta(seconds=30))  # found on yesterday's paper, entered now
    assert shop.standing("P-1").passed.at > shop.standing("P-1").returned.at
    refused(shop, lambda: shop.out("P-1"), "nobody has passed it since")


def test_a_pass_entered_with_a_time_before_the_return(shop: Shop) -> None:
    before = shop.now
    shop.out("P-1")
    shop.back("P-1")
    refused(shop, lambda: shop.look("P-1", at=before), "P-1 came back .* which is not before")


def test_going_out_at_a_past_time_before_the_pass(shop: Shop) -> None:
    shop.out("P-1")
    shop.back("P-1")
    before_the_look = shop.now
    shop.look("P-1", at=None)
    refused(shop, lambda: shop.out("P-1", at=before_the_look), "after the time of going out")


def test_a_time_that_has_not_come_yet(shop: Shop) -> None:
    tomorrow = shop.now + timedelta(days=1)
    refused(shop, lambda: shop.look("P-1", at=tomorrow), "has not come yet")


def test_signing_by_someone_not_on_the_staff_list(shop: Shop) -> None:
    shop.back("P-1")
    refused(shop, lambda: shop.look("P-1", by="A Stranger"), "'A Stranger' is not on the staff list")


def test_signing_by_someone_whose_certificate_has_run_out(shop: Shop) -> None:
    shop.back("P-1")
    refused(shop, lambda: shop.look("P-1", by=OLD), "signature ran out on Sat 26 Dec 2026")


def test_signing_by_counter_staff(shop: Shop) -> None:
    shop.back("P-1")
    refused(shop, lambda: shop.look("P-1", by=NELL), "is counter staff and cannot sign a look")


def test_out_with_a_boot_whose_sole_does_not_fit(shop: Shop) -> None:
    refused(shop, lambda: shop.out("P-1", boot="B-TOUR"), "touring, not declared by both makers")


def test_out_with_a_boot_whose_sole_length_does_not_fit(shop: Shop) -> None:
    refused(shop, lambda: shop.out("P-1", boot="B-335"), "its travel does not reach that")


def test_out_with_a_boot_whose_sole_length_nobody_knows(shop: Shop) -> None:
    refused(shop, lambda: shop.out("P-1", boot="B-NONE"), "sole length of boot B-NONE is not known")


def test_passing_a_pair_with_only_one_ski_seen(shop: Shop) -> None:
    shop.back("P-1")
    refused(shop, lambda: shop.look("P-1", seen=(Side.A,)), "not seen whole: B toe, B heel has no finding")


def test_passing_a_pair_with_one_piece_out_of_reach_leaves_it_unpassed(shop: Shop) -> None:
    shop.back("P-1")
    assert shop.look("P-1", found={"B heel": "cannot reach"}).place is Place.BACK
    refused(shop, lambda: shop.out("P-1"), "nobody has passed it since")


@pytest.mark.parametrize("piece", ["A toe", "B heel"])
def test_going_out_after_a_look_that_could_not_reach_a_screw(shop: Shop, piece: str) -> None:
    """The pass of before is void: somebody was not sure, and nobody has been since."""
    done = shop.look("P-1", found={piece: "cannot reach"})
    words = f"not passed: could not reach {piece}; it waits for a look"
    assert (done.place, done.words) == (Place.BACK, words)
    error = refused(
        shop, lambda: shop.out("P-1"), f"a look could not reach ski {piece} .* and nobody has passed it since"
    )
    assert "mountbook recheck record P-1" in error.cure
    shop.look("P-1")
    shop.out("P-1")


def test_a_pass_stated_before_the_look_that_was_left_unfinished(shop: Shop) -> None:
    early = shop.now
    shop.look("P-1", found={"A toe": "cannot reach"}, at=early + timedelta(seconds=30))
    refused(shop, lambda: shop.look("P-1", at=early), "was left unfinished .* which is not before")


def test_a_look_left_unfinished_entered_late_under_a_pass(shop: Shop) -> None:
    early = shop.now
    shop.look("P-1")
    shop.look("P-1", found={"A toe": "cannot reach"}, at=early + timedelta(seconds=20))
    refused(shop, lambda: shop.out("P-1"), "a look could not reach ski A toe")


def test_a_look_left_unfinished_by_an_earlier_program_keeps_what_it_meant(shop: Shop) -> None:
    """Its body said nothing of the pieces, and no pass was void by it: an old entry means what it meant."""
    old = {
        "tag": "P-1",
        "kind": "recheck",
        "found": {"A": {"toe": "cannot reach"}, "B": {}},
        "moved": [],
        "outcome": "unfinished",
        "cause": "",
        "pattern": "Lark 4",
        "mount_entry": 0,
        "list": None,
        "list_of_another_day": False,
    }
    shop.enter("pair looked at", old, by=IDA)
    assert shop.place("P-1") is Place.READY
    shop.out("P-1")


@pytest.mark.parametrize("word", ["turned under an eighth", "turned", "spins", "missing", "cracked"])
def test_any_movement_is_a_hold_even_when_the_screw_holds_afterwards(shop: Shop, word: str) -> None:
    shop.back("P-1")
    assert shop.look("P-1", found={"A toe": word}).place is Place.HOLD
    refused(shop, lambda: shop.out("P-1"), f"on hold: ski A toe: {word}")
    refused(shop, lambda: shop.look("P-1"), "it cannot be passed")


def test_a_fault_on_one_ski_is_a_hold_though_the_other_was_not_seen(shop: Shop) -> None:
    shop.back("P-1")
    assert shop.look("P-1", found={"A toe": "spins"}, seen=(Side.A,)).place is Place.HOLD


def test_the_repairer_releasing_the_own_safety_repair(shop: Shop) -> None:
    shop.back("P-1")
    shop.look("P-1", by=IDA, found={"A toe": "spins"})
    with shop.desk(JORY) as desk:
        begin_repair(desk, "P-1")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="insert set")
    assert shop.place("P-1") is Place.SECOND_CHECK
    refused(shop, lambda: shop.look("P-1", by=JORY), "Jory Malkin did the work on P-1 and cannot pass it too")
    refused(shop, lambda: shop.look("P-1", by="jory malkin"), "did the work on P-1 and cannot pass it too")
    assert shop.look("P-1", by=SANNE).place is Place.READY


def test_the_first_of_two_repairers_passing_after_the_second(shop: Shop) -> None:
    shop.back("P-1")
    shop.look("P-1", by=IDA, found={"A toe": "spins"})
    for person in (JORY, SANNE):
        with shop.desk(NELL) as desk:
            hold(desk, "P-1", why="again")
        with shop.desk(person) as desk:
            end_repair(desk, "P-1", did="screw reset")
    refused(shop, lambda: shop.look("P-1", by=JORY), "did the work on P-1")


def test_clearing_a_hold_does_not_give_a_pass(shop: Shop) -> None:
    shop.back("P-1")
    shop.look("P-1", found={"A toe": "more"})
    assert _clear(shop, JORY, "the driver slipped").place is Place.BACK
    refused(shop, lambda: shop.out("P-1"), "a fault was found .* nobody has passed it since")


def _clear(shop: Shop, by: str, why: str = "") -> Done:
    with shop.desk(by) as desk:
        return clear(desk, "P-1", why=why)


@pytest.mark.parametrize("word", ["turned under an eighth", "turned", "spins", "missing", "cracked"])
@pytest.mark.parametrize("piece", ["A toe", "B heel"])
def test_one_person_finding_a_moved_screw_clearing_it_and_passing_the_pair(
    shop: Shop, piece: str, word: str
) -> None:
    shop.back("P-1")
    shop.look("P-1", by=IDA, found={piece: word})
    error = refused(
        shop, lambda: _clear(shop, IDA, "it was nothing"), "Ida Fennweg found the moved screw of P-1"
    )
    assert "mountbook repair done P-1 --did TEXT" in error.cure
    assert _clear(shop, SANNE, "the driver slipped, the screw sits").place is Place.BACK
    refused(shop, lambda: shop.look("P-1", by=SANNE), "Sanne Oder cleared the hold of P-1 and cannot pass it")
    assert shop.look("P-1", by=IDA).place is Place.READY  # two people, and it says why
    shop.out("P-1")


@pytest.mark.parametrize("why", ["", "  ", ".", "...", "- -", "?!", "12", "x", "\u200b\u200b"])
def test_a_moved_screw_is_cleared_or_repaired_without_words(shop: Shop, why: str) -> None:
    shop.back("P-1")
    shop.look("P-1", by=IDA, found={"A toe": "spins"})
    refused(shop, lambda: _clear(shop, SANNE, why), "needs to be said in words")

    def repair() -> None:
        with shop.desk(JORY) as desk:
            end_repair(desk, "P-1", did=why)

    refused(shop, repair, "what was done needs to be said in words")


def test_the_finder_in_another_spelling(shop: Shop) -> None:
    for name in ("IDA FENNWEG", "SANNE oder"):
        body = {"name": name, "role": "technician", "valid_until": "2027-05-31"}
        shop.enter("staff listed", body)
    shop.back("P-1")
    shop.look("P-1", by=IDA, found={"A toe": "spins"})
    refused(shop, lambda: _clear(shop, "IDA FENNWEG", "it was nothing"), "IDA FENNWEG found the moved screw")
    _clear(shop, SANNE, "the driver slipped")
    refused(shop, lambda: shop.look("P-1", by="SANNE oder"), "SANNE oder cleared the hold")


def _held_again(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="tag fell off")


def _found_by_a_second(shop: Shop) -> None:
    shop.look("P-1", by=WIM, found={"B toe": "more"})


def _came_back_once_more(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        move(desk, "P-1", to="missing", reason="not in the rack")
    with shop.desk(NELL) as desk:
        move(desk, "P-1", to="shop", reason="behind the rack")


def _scanned_and_undone(shop: Shop) -> None:
    _came_back_once_more(shop)
    shop.back("P-1")
    with shop.desk(NELL) as desk:
        undo(desk, "P-1")


def _locked_away_and_let_go(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-1", why="a fall was reported")
    with shop.desk(WIM) as desk:
        clear(desk, "P-1", why="no fall, another pair")


def _begun_to_repair(shop: Shop) -> None:
    with shop.desk(JORY) as desk:
        begin_repair(desk, "P-1")


ROADS = [
    _held_again,
    _found_by_a_second,
    _came_back_once_more,
    _scanned_and_undone,
    _locked_away_and_let_go,
    _begun_to_repair,
]


@pytest.mark.parametrize("road", ROADS)
def test_no_road_leads_the_finder_around_the_second_person(shop: Shop, road: Callable[[Shop], None]) -> None:
    shop.back("P-1")
    shop.look("P-1", by=IDA, found={"A toe": "spins"})
    road(shop)
    words = "it cannot be cleared" if road is _begun_to_repair else "found the moved screw of P-1"
    refused(shop, lambda: _clear(shop, IDA, "it was nothing"), words)
    if road is _found_by_a_second:
        refused(shop, lambda: _clear(shop, WIM, "it was nothing"), "Wim Tarrow found the moved screw")
    refused(shop, lambda: shop.look("P-1", by=IDA), "it cannot be passed")
    with pytest.raises(Refused, match="'pair looked at' cannot be withdrawn"), shop.desk(WIM) as desk:
        withdraw(desk.tx, shop.standing("P-1").look_entry, by=WIM, why="a slip", today=shop.today)
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="insert set")
    assert shop.look("P-1", by=IDA).place is Place.READY


def test_who_cleared_passes_after_the_hold_of_another(shop: Shop) -> None:
    """Cleared by Sanne, found again by Ida, cleared by Jory: neither of the two gives the pass."""
    shop.back("P-1")
    for by in (SANNE, JORY):
        shop.look("P-1", by=IDA, found={"A toe": "more"})
        _clear(shop, by, "the driver slipped")
    for by in (SANNE, JORY):
        refused(shop, lambda by=by: shop.look("P-1", by=by), f"{by} cleared the hold")
    shop.look("P-1", by=WIM)
    shop.back("P-1")
    assert shop.look("P-1", by=SANNE).place is Place.READY


def test_a_hold_for_another_cause_is_lifted_by_one_person(shop: Shop) -> None:
    """The screw that moved last week was repaired and passed: it does not cling to the pair."""
    shop.back("P-1")
    shop.look("P-1", by=IDA, found={"A toe": "more"})
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="insert set")
    shop.look("P-1", by=SANNE)
    _held_again(shop)
    assert _clear(shop, IDA).place is Place.READY


def test_a_spreadsheet_clearing_a_hold(shop: Shop) -> None:
    """Whatever an import may enter about a held pair leaves it held."""
    with shop.desk() as desk:
        hold(desk, "P-1", why="toe wobbles")
    shop.enter("pair changed", {"tag": "P-1", "changes": {"rack": ["R-1", "READY RACK"]}})
    shop.enter("binding changed", {"binding_id": "P-1/A", "changes": {"season": ["2025", "2026"]}})
    shop.enter(
        "mount recorded",
        {
            "tag": "P-1",
            "pattern": "Lark 4",
            "bsl_um": 305_000,
            "offset_um": 0,
            "mounted_on": "2026-12-01",
            "removed_on": None,
            "drilled": False,
            "slides": [],
        },
    )
    assert shop.place("P-1") is Place.HOLD
    refused(shop, lambda: shop.out("P-1"), "on hold: toe wobbles")


@pytest.mark.parametrize("to", ["ready", "back", "hold", "flat", "second check", "out"])
def test_putting_a_pair_on_the_ready_rack_by_hand(shop: Shop, to: str) -> None:
    """No entry writes a place: what is not away stands where the facts put it."""
    shop.back("P-1")
    before = shop.dump()
    with pytest.raises(MountbookError):
        shop.enter("pair moved", {"tag": "P-1", "to": to})
    assert shop.dump() == before


def test_deleting_a_fail(shop: Shop) -> None:
    """The look that found it stays, and no later pass hides that it was found."""
    shop.back("P-1")
    shop.look("P-1", found={"A toe": "spins"})
    with pytest.raises(Exception, match="append-only"):
        shop.ledger.connection.execute("DELETE FROM entries WHERE what = 'pair looked at'")
    assert shop.place("P-1") is Place.HOLD


def test_back_dating_a_fail_under_a_pass(shop: Shop) -> None:
    shop.back("P-1")
    early = shop.now
    shop.look("P-1")
    shop.look("P-1", found={"A toe": "more"}, at=early + timedelta(seconds=20))
    assert shop.place("P-1") is Place.HOLD
    _clear(shop, JORY, "the driver slipped")
    refused(shop, lambda: shop.out("P-1"), "a fault was found")


def _change_binding(shop: Shop) -> None:
    shop.enter("binding changed", {"binding_id": "P-1/A", "changes": {"serial_toe": ["1000", "1001"]}})


def _swap_binding(shop: Shop) -> None:
    shop.enter(
        "binding changed",
        {"binding_id": "P-1/A", "changes": {"on_pair": ["P-1", None], "on_ski": ["A", None]}},
    )
    shop.enter("binding recorded", binding_body("X/A", on_pair="P-1", on_ski=Side.A))


def _add_hole(shop: Shop) -> None:
    hole = {
        "hole_id": "P-1/A1",
        "side": "A",
        "x_um": 50_000,
        "y_um": 0,
        "diameter_um": None,
        "depth_um": None,
        "state": "plugged",
        "knowledge": "measured bare",
    }
    shop.enter("holes recorded", {"tag": "P-1", "holes": [hole]})


def _remove_mount(shop: Shop) -> None:
    shop.enter("mount removed", {"tag": "P-1", "removed_on": "2026-12-27"})


@pytest.mark.parametrize("change", [_change_binding, _swap_binding, _add_hole, _remove_mount])
def test_a_pass_surviving_a_binding_or_hole_change(shop: Shop, change: Callable[[Shop], None]) -> None:
    change(shop)
    assert shop.place("P-1") is Place.BACK
    refused(shop, lambda: shop.out("P-1"), "was entered .* nobody has passed it since")


def test_out_with_an_open_recall_in_range(shop: Shop) -> None:
    shop.enter("recall opened", _recall(serial_from="0900", serial_to="1100"))
    refused(shop, lambda: shop.out("P-1"), "recall R-1 is open and reaches the binding of ski A, B")
    shop.enter("recall closed", {"recall": "R-1"})
    shop.out("P-1")


def test_out_with_an_unknown_serial_under_an_open_recall(shop: Shop) -> None:
    shop.enter("binding changed", {"binding_id": "P-1/B", "changes": {"serial_heel": ["1000", ""]}})
    shop.look("P-1")
    shop.enter("recall opened", _recall(serial_from="2000", serial_to="2100"))
    refused(shop, lambda: shop.out("P-1"), "may reach the binding of ski B: take off and read")
    shop.out("P-2")


def _recall(*, serial_from: str, serial_to: str) -> dict[str, str]:
    return {
        "recall": "R-1",
        "pattern": "Lark 4",
        "piece": "",
        "serial_from": serial_from,
        "serial_to": serial_to,
        "season": "",
        "source": "invented notice",
    }


def test_out_before_the_glue_has_cured(shop: Shop) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_wood_glue_hours", "12", origin="invented sheet")
    _repair(shop, "P-1", glue=("wood_glue",))
    shop.look("P-1", by=SANNE)
    assert shop.place("P-1") is Place.READY
    refused(shop, lambda: shop.out("P-1"), "its wood glue cures until")
    shop.tick(minutes=12 * 60)
    shop.out("P-1")


def test_out_with_a_cure_time_that_is_not_set(shop: Shop) -> None:
    _repair(shop, "P-1", glue=("epoxy",))
    shop.look("P-1", by=SANNE)
    shop.tick(minutes=60 * 24 * 30)
    refused(shop, lambda: shop.out("P-1"), "cure time of its epoxy is not set, so it counts as not cured")


def _repair(shop: Shop, tag: str, *, glue: tuple[str, ...] = ()) -> None:
    with shop.desk() as desk:
        hold(desk, tag, why="heel wobbles")
    with shop.desk(JORY) as desk:
        end_repair(desk, tag, did="heel reset", glued_with=glue)


def test_out_with_an_open_order(shop: Shop) -> None:
    shop.enter("order issued", order_body("P-1"))
    refused(shop, lambda: shop.out("P-1"), "work order WO-2612-0001 A is open")
    shop.look("P-1")  # a look is welcome at any time; it does not open the door
    refused(shop, lambda: shop.out("P-1"), "work order WO-2612-0001 A is open")


def test_out_of_a_pair_that_is_to_give_its_binding(shop: Shop) -> None:
    shop.enter("order issued", order_body("P-1", giver="P-2"))
    refused(shop, lambda: shop.out("P-2"), "work order WO-2612-0001 A is open")


def order_body(tag: str, *, giver: str | None = None) -> dict[str, object]:
    return {
        "number": "WO-2612-0001",
        "revision": "A",
        "tag": tag,
        "boot": "B-305",
        "way": "adjust",
        "minutes": 10,
        "giver": giver,
        "set": {},
        "plan_hash": "0" * 64,
        "needed_by": None,
        "pair_state": "x",
        "giver_state": None,
    }


def test_working_from_yesterdays_list_without_it_saying_so(shop: Shop) -> None:
    shop.back("P-1")
    old = recheck_list(shop.ledger.connection, today=shop.today - timedelta(days=1))
    done = shop.look("P-1", list_used=ListUsed.parse(old.list_id))
    assert f"NOTE: {old.list_id} is the list of Sat 26 Dec 2026, not of today" in done.words


def test_passing_a_pair_from_a_list_made_before_it_came_back(shop: Shop) -> None:
    shop.back("P-2")
    old = recheck_list(shop.ledger.connection, today=shop.today)
    shop.back("P-1")
    used = ListUsed.parse(old.list_id)
    refused(shop, lambda: shop.look("P-1", list_used=used), "came back after list RC-20261227")
    assert shop.look("P-2", list_used=used).place is Place.READY


def test_passing_a_pair_from_a_list_with_a_digit_too_many(shop: Shop) -> None:
    """Its number would be later than every return, that of this pair among them."""
    old = recheck_list(shop.ledger.connection, today=shop.today)
    shop.back("P-1")
    slip = ListUsed.parse(f"{old.list_id}0")
    refused(shop, lambda: shop.look("P-1", list_used=slip), "was not made from this ledger")
    newest = ListUsed.parse(recheck_list(shop.ledger.connection, today=shop.today).list_id)
    assert shop.look("P-1", list_used=newest).place is Place.READY


def test_quarantine_cleared_by_anyone_but_a_manager_with_a_reason(shop: Shop) -> None:
    shop.out("P-1")
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-1", why="fall reported")
    assert shop.place("P-1") is Place.OUT
    assert shop.back("P-1")[0].place is Place.QUARANTINE

    def lift(by: str, why: str) -> None:
        with shop.desk(by) as desk:
            clear(desk, "P-1", why=why)

    refused(shop, lambda: lift(IDA, "looked at"), "only a manager")
    refused(shop, lambda: lift(WIM, ""), "needs to be said in words")
    refused(shop, lambda: lift(WIM, "..."), "needs to be said in words")
    lift(WIM, "insurer has seen it")
    refused(shop, lambda: shop.out("P-1"), "nobody has passed it since")


def test_handing_out_what_is_already_out(shop: Shop) -> None:
    shop.out("P-1")
    refused(shop, lambda: shop.out("P-1"), "it is out")


def test_counting_a_return_twice(shop: Shop) -> None:
    shop.out("P-1")
    shop.back("P-1")
    refused(shop, lambda: shop.back("P-1"), "came back already")


def test_one_pair_of_several_that_may_not_go_keeps_all_in(shop: Shop) -> None:
    shop.back("P-2")
    refused(shop, lambda: shop.out("P-1", "P-2"), "P-2 cannot go out")
    assert shop.place("P-1") is Place.READY


def test_undoing_an_old_scan(shop: Shop) -> None:
    shop.out("P-1")
    shop.tick(minutes=30)

    def take_undo() -> None:
        with shop.desk() as desk:
            undo(desk, "P-1")

    refused(shop, take_undo, "older than 10 minutes")


def test_undoing_a_return_after_it_was_looked_at(shop: Shop) -> None:
    shop.out("P-1")
    shop.back("P-1")
    shop.look("P-1", found={"A toe": "spins"})

    def take_undo() -> None:
        with shop.desk() as desk:
            undo(desk, "P-1")

    refused(shop, take_undo, "nothing to undo")


def test_selling_what_is_held_or_locked_away(shop: Shop) -> None:
    with shop.desk() as desk:
        hold(desk, "P-1", why="toe wobbles")

    def sell() -> None:
        with shop.desk(WIM) as desk:
            move(desk, "P-1", to="sold", reason="season end")

    refused(shop, sell, "on hold: it cannot be sold")


def test_an_undone_out_leaves_the_pair_as_it_was(shop: Shop) -> None:
    before = shop.standing("P-1")
    shop.out("P-1")
    with shop.desk() as desk:
        undo(desk, "P-1")
    after = shop.standing("P-1")
    assert (after.place, after.passed, after.returned) == (before.place, before.passed, before.returned)
    shop.out("P-1")


def test_a_retired_pair_coming_back(shop: Shop) -> None:
    with shop.desk(IDA) as desk:
        move(desk, "P-1", to="retired", reason="edge gone")
    refused(shop, lambda: shop.back("P-1"), "it cannot come back")


def test_a_hold_without_a_cause(shop: Shop) -> None:
    def put() -> None:
        with shop.desk() as desk:
            hold(desk, "P-1", why="  ")

    with pytest.raises(BadInput, match="cause of a hold needs to be named") as refused:
        put()
    assert refused.value.cure == 'add --why "what was seen"'


def test_a_pass_between_two_returns_by_time(shop: Shop) -> None:
    """The newest return is the newest by time too, whichever of the two was entered last."""
    shop.back("P-1")
    evening = shop.now
    shop.look("P-1")
    shop.back("P-1", at=evening - timedelta(minutes=5))
    between = evening - timedelta(minutes=2)
    refused(shop, lambda: shop.look("P-1", at=between), "P-1 came back .* which is not before")
