"""What the counter says where it refuses, and what it enters where it does not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from fleet.base.errors import BadInput, MountbookError
from fleet.facts.gates import QUALIFICATIONS, binding_standards
from fleet.facts.places import Place
from fleet.ledger.corrections import read_entry
from fleet.ledger.desk import Desk
from fleet.rules.counter import keep_longer, move, newest_scan, set_binding, take_out, undo
from fleet.rules.gate_desk import qualify, state_model
from fleet.rules.holds import end_repair, hold, parse_side
from fleet.rules.recall_desk import close_recall, open_recall
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, Shop
from tests.counter.test_recalls import recall

Act = Callable[[Desk], object]


def out_first(desk: Desk) -> object:
    take_out(desk, ["P-1"], boot="B-305")
    return set_binding(desk, "P-1", "B-310")


TOLD: dict[str, tuple[Act, str, str]] = {
    "one boot for two pairs": (
        lambda desk: take_out(desk, ["P-1", "P-2"], boot="B-305"),
        "one boot goes with one pair",
        "hand the pairs out one by one, each with its boot",
    ),
    "set for no boot": (
        lambda desk: take_out(desk, ["P-1"], set_now=True),
        "--set says that a binding was set for a boot",
        "name it: --boot TAG",
    ),
    "set while it is out": (out_first, "P-1 is out", "take it back first: mountbook back"),
    "set by nobody of the list": (
        lambda desk: take_out(replace(desk, by="Stranger"), ["P-1"], boot="B-310", set_now=True),
        "'Stranger' is not on the staff list and cannot say that a binding is set",
        f"sign with --by NAME, one of: {IDA}, {JORY}, {NELL}, {SANNE}, {WIM};"
        " list people with `mountbook staff add NAME --role technician --until DATE`",
    ),
    "a qualification that is none": (
        lambda desk: qualify(desk, IDA, what="cooking", until=date(2027, 5, 1)),
        "nobody is qualified for 'cooking' here",
        f"one of: {', '.join(QUALIFICATIONS)}",
    ),
    "a standard that is none": (
        lambda desk: state_model(desk, "Lark 4 binding", standard="ISO 1", origin="x"),
        "'ISO 1' is no standard of a binding that is known here",
        f"one of: {', '.join(binding_standards())}",
    ),
    "nobody's word for a standard": (
        lambda desk: state_model(desk, "Lark 4 binding", standard=binding_standards()[0], origin=" "),
        "whose sheet says so?",
        'add --origin "its maker\'s list of 2026"',
    ),
    "a ski that is none": (
        lambda _: parse_side("left"),
        "'left' is no ski of a pair",
        "A or B, as marked with the dot",
    ),
    "nothing of one's own to undo": (newest_scan, f"{NELL} has no scan to undo", "name the pair"),
}


@pytest.mark.parametrize("name", TOLD)
def test_what_is_told(shop: Shop, name: str) -> None:
    act, sentence, cure = TOLD[name]
    with shop.desk(NELL) as desk, pytest.raises(MountbookError) as refused:
        act(desk)
    assert (refused.value.sentence, refused.value.cure) == (sentence, cure)


def test_nobody_said_that_it_is_set_where_nobody_said_so(shop: Shop) -> None:
    with shop.desk(NELL) as desk, pytest.raises(MountbookError, match="its binding stands at 305 mm"):
        take_out(desk, ["P-1"], boot="B-310")


@pytest.mark.parametrize(("boot", "fit"), [("B-305", "fits"), (None, "fit not checked")])
def test_the_entry_says_whether_the_fit_was_checked(shop: Shop, boot: str | None, fit: str) -> None:
    shop.policy("out_without_boot", "yes")
    with shop.desk(NELL) as desk:
        (done,) = take_out(desk, ["P-1"], boot=boot)
    assert read_entry(shop.ledger.connection, done.entry).body["fit"] == fit


def test_a_pair_that_is_kept_longer_is_out_still(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    with shop.desk(NELL) as desk:
        done = keep_longer(desk, "P-1", until=shop.today + timedelta(days=2))
    assert (done.tag, done.place) == ("P-1", Place.OUT)
    assert done.words.startswith("due ")


def test_a_pair_is_retired_with_a_reason(shop: Shop) -> None:
    with shop.desk(WIM) as desk, pytest.raises(BadInput, match="why the pair is retired"):
        move(desk, "P-1", to="retired", reason=" ")
    assert shop.place("P-1") is Place.READY


def test_a_scan_of_long_ago_stands(shop: Shop) -> None:
    shop.out("P-1", boot="B-305")
    shop.tick(minutes=24 * 60)
    with shop.desk(NELL) as desk, pytest.raises(MountbookError, match="that scan is older than") as refused:
        undo(desk, "P-1")
    assert refused.value.cure == "enter what happened as it is"


def test_what_was_done_and_how_a_recall_ended_stand_in_their_entries(shop: Shop) -> None:
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="brake bent")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="brake put straight")
    with shop.desk(IDA) as desk:
        open_recall(desk, recall(pattern="Lark 4"))
        close_recall(desk, "R-7", how="all of them read")
    said = {text for (text,) in shop.ledger.connection.execute("SELECT text FROM notes")}
    assert {"brake put straight", "all of them read"} <= said
