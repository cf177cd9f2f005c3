"""A look rack by rack: every pair of a rack without a pass on one list, entered by one signature under it."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

from fleet.base.errors import BadInput, Refused
from fleet.facts.standing import Place
from fleet.rules.day_end import under_list
from fleet.rules.holds import end_repair, hold
from fleet.rules.looks import ListUsed
from fleet.rules.recheck import RecheckList, racks_words, recheck_list, supplement
from planner.paper.recheck_list import recheck_pdf
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, WIM, Shop


def other_rack(shop: Shop, *tags: str) -> None:
    for tag in tags:
        shop.enter("pair changed", {"tag": tag, "changes": {"rack": ["R-1", "R-2"]}})


def rack(shop: Shop, name: str = "R-1") -> RecheckList:
    return recheck_list(shop.ledger.connection, today=shop.now.date(), rack=name)


def tags(listed: RecheckList) -> list[str]:
    return sorted(row.tag for row in listed.rows)


def voided(shop: Shop) -> None:
    shop.enter("ledger restored", {"head": "1:00", "replaced": None, "passes": "void"})


def test_after_a_restore_that_made_passes_void_each_rack_has_its_list(shop: Shop) -> None:
    other_rack(shop, "P-3", "P-4")
    voided(shop)
    assert recheck_list(shop.ledger.connection, today=shop.now.date()).rows == (), "nobody skied them"
    listed = rack(shop)
    assert tags(listed) == ["P-1", "P-2", "T-1"]
    assert {row.reasons for row in listed.rows} == {("no pass since a restore of the ledger",)}
    assert listed.list_id == f"RC-20261227-{shop.ledger.head.seq}/R-1"
    assert tags(rack(shop, "r-2")) == ["P-3", "P-4"]


def test_a_signature_under_a_racks_list_passes_that_rack_and_no_other(shop: Shop) -> None:
    other_rack(shop, "P-3", "P-4")
    voided(shop)
    used = ListUsed.parse(rack(shop).list_id)
    assert under_list(shop.ledger.connection, used, ("P-2",)).tags == ("P-1", "T-1")
    with pytest.raises(Refused, match="P-3 does not stand on list") as refused:
        under_list(shop.ledger.connection, used, ("P-3",))
    assert refused.value.cure == "nothing was entered: check the tag on the paper"


@pytest.mark.parametrize("stopped", [False, True])
@pytest.mark.parametrize(("tag", "other"), [("P-1", "P-2"), ("P-2", "P-1")])
def test_a_pair_dealt_with_by_itself_since_the_print_may_be_named_as_left_out(
    shop: Shop, tag: str, other: str, stopped: bool
) -> None:
    """Whether it was looked at or held: it stood on the paper, and the signature does not speak of it.

    The return of P-2 is the last entry before the print.
    """
    shop.out("P-1", "P-2")
    shop.back("P-1", "P-2")
    used = ListUsed.parse(recheck_list(shop.ledger.connection, today=shop.today).list_id)
    if stopped:
        with shop.desk(JORY) as desk:
            hold(desk, tag, why="heel loose")
    else:
        shop.look(tag)
    found = under_list(shop.ledger.connection, used, (tag,))
    assert (found.tags, found.excepted, found.dealt_with) == ((other,), (), (tag,))


def test_what_has_a_pass_or_a_stop_or_is_out_is_not_on_it(shop: Shop) -> None:
    assert tags(rack(shop)) == []
    voided(shop)
    shop.look("P-1")
    shop.out("P-1")
    shop.look("P-2")
    shop.enter("pair quarantined", {"tag": "P-3"})
    assert tags(rack(shop)) == ["P-4", "T-1"]


def test_what_came_back_or_was_entered_after_the_list_was_printed_is_not_passed_by_it(shop: Shop) -> None:
    voided(shop)
    shop.look("P-1")
    shop.out("P-1")
    printed = ListUsed.parse(rack(shop).list_id)
    shop.back("P-1")
    shop.enter("pair changed", {"tag": "P-2", "changes": {"length_mm": [1720, 1721]}})
    found = under_list(shop.ledger.connection, printed, ())
    assert found.tags == ("P-3", "P-4", "T-1")
    why = dict(found.not_on_it)
    assert why["P-1"] == "came back after the list was printed"
    assert why["P-2"].startswith("has an entry that is newer than the printed list (entry ")
    assert len(why) == 2


def test_a_rack_that_is_none_is_asked_about_and_has_no_supplement(shop: Shop) -> None:
    with pytest.raises(Refused, match="no pair stands in rack 'R-9'") as refused:
        rack(shop, "R-9")
    assert "R-1" in refused.value.cure
    listed = rack(shop)
    shop.enter("pair changed", {"tag": "P-1", "changes": {"rack": ["R-1", "-1 low"]}})
    assert ListUsed.parse(rack(shop, "-1 LOW").list_id).rack == "-1 low"
    with pytest.raises(BadInput) as none:
        supplement(listed, ListUsed.parse(listed.list_id))
    assert none.value.sentence == "a rack's list has no supplement"
    assert none.value.cure == "print the rack's list again, with --rack"


def test_a_rack_is_all_its_places_and_no_other_that_begins_alike(shop: Shop) -> None:
    for number, tag in enumerate(("P-1", "P-2", "P-3"), start=1):
        shop.enter("pair changed", {"tag": tag, "changes": {"rack": ["R-1", f"R-1-0{number}"]}})
    shop.enter("pair changed", {"tag": "P-4", "changes": {"rack": ["R-1", "R-1x-2"]}})
    voided(shop)
    assert tags(rack(shop, "r-1")) == ["P-1", "P-2", "P-3", "T-1"]
    assert rack(shop, "r-1").rack == "R-1"
    assert tags(rack(shop, "R-1-02")) == ["P-2"]
    assert racks_words({f"{row}-{n:02}": 2 for row in "AB" for n in range(1, 9)}) == "A: 16, B: 16"


@pytest.mark.parametrize("between", ["-", ".", "/", " ", ""])
def test_many_racks_are_told_by_what_stands_before_their_number(between: str) -> None:
    each = {f"A{between}{n:02}": 1 for n in range(1, 13)}
    assert racks_words(each) == ", ".join(f"{rack}: 1" for rack in each), "twelve are told one by one"
    assert racks_words(each | {f"A{between}13": 2}) == "A: 14"
    assert racks_words({f"AX{between}{n}": 1 for n in range(20)}) == "AX: 20"
    assert racks_words({}) == "none on record"


def test_the_rest_of_the_shop_stands_on_no_rack_s_list(shop: Shop) -> None:
    shop.out("P-3")
    with shop.desk(JORY) as desk:
        hold(desk, "P-4", why="heel loose")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-4", did="new screw")
    whole = recheck_list(shop.ledger.connection, today=shop.now.date())
    assert (whole.second_check, [pair.tag for pair in whole.out]) == (("P-4",), ["P-3"])
    listed = rack(shop)
    assert (listed.second_check, listed.out) == ((), ())


def test_a_rack_on_which_nothing_waits_has_nothing_to_enter(shop: Shop) -> None:
    listed = replace(rack(shop), rows=())
    pdf = recheck_pdf(listed, head=listed.head, shop="Invented", printed_at=shop.now)
    [page] = PdfReader(BytesIO(pdf)).pages
    text = page.extract_text()
    assert "No pair of rack R-1 waits for a look." in text
    assert "recheck enter" not in text


@pytest.mark.parametrize("text", ["RC-20261227-5/", "RC-20261227/R-1", "R-1", "RC-20261227-3-4-5"])
def test_a_number_that_is_cut_off_is_none(text: str) -> None:
    with pytest.raises(BadInput, match="is not the number of a recheck list"):
        ListUsed.parse(text)


def test_a_lost_ledger_is_opened_again_rack_by_rack_as_typed(command: Command, tmp_path: Path) -> None:
    made = command("backup", str(tmp_path / "copies"), "--json").json["backup"]
    command.ledger.unlink()
    told = command("restore", made, "--by", WIM).stdout
    assert "look rack by rack: mountbook recheck print --rack RACK (R-1: 5)" in told
    assert command("out", "P-1").returncode == 1
    number = command("recheck", "list", "--rack", "R-1", "--json").json["list"]
    shown = command("recheck", "list", "--rack", "R-1").stdout
    assert "no pass since a restore of the ledger" in shown
    assert "still out" not in shown
    assert command("recheck", "print", "--rack", "R-1", "--out", str(tmp_path / "rack.pdf")).returncode == 0
    done = command("recheck", "enter", number, "--but", "P-2", "--by", JORY, "--json").json
    assert {row["tag"]: row["place"] for row in done["done"]} == dict.fromkeys(
        ("P-1", "P-3", "P-4", "T-1"), Place.READY
    )
    assert done["excepted"] == ["P-2"]
    assert command("out", "P-1", "--boot", "B-305", "--set", "--by", IDA).returncode == 0
    assert command("out", "P-2", "--boot", "B-310", "--set", "--by", IDA).returncode == 1
    assert command("audit").returncode == 0
