"""What the counter says where it refuses, and what it enters where it does not."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest

from fleet.base.errors import BadInput, MountbookError
from fleet.facts.places import Place
from fleet.ledger.corrections import read_entry
from fleet.ledger.desk import Desk
from fleet.rules.counter import keep_longer, move, newest_scan, set_binding, take_out
from tests.counter.shop import NELL, WIM, Shop

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
