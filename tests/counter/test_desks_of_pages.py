"""An action on a page: its id, which desk did it, what that desk undoes, and its count of the day's scans.

A day is the shop's: midnight in Vienna is 23:00 UTC in winter.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from hashlib import sha256

import pytest

from fleet.base.errors import BadInput, Refused
from fleet.events.event import LEFT_OUT, Tap
from fleet.ledger.corrections import read_entry
from fleet.ledger.desk import (
    Desk,
    ScansOfDay,
    checked_tap,
    entries_of_tap,
    new_tap,
    newest_scan_at,
    part_of_tap,
)
from fleet.rules.counter import keep_longer, take_back, take_out, undo
from tests.counter.shop import NELL, WIM, ZONE, Shop

ONE, TWO = "Counter 1", "Counter 2"
DAY = date(2026, 12, 27)


@contextmanager
def page(shop: Shop, of: str, *, tap: str = "", by: str = NELL) -> Iterator[Desk]:
    """An action on a page of that desk."""
    now = shop.tick()
    said = Tap(id=tap or new_tap(), desk=of, signed=LEFT_OUT)
    with shop.ledger.transaction(by=by, now=now, tap=said) as tx:
        yield Desk(tx=tx, by=by, now=now, zone=ZONE)


def out(shop: Shop, of: str, *tags: str, tap: str = "") -> None:
    with page(shop, of, tap=tap) as desk:
        take_out(desk, tags)


def back(shop: Shop, of: str, *tags: str) -> None:
    with page(shop, of) as desk:
        take_back(desk, tags)


# the action's id


@pytest.mark.parametrize("tap", ["a" * 16, "Z" * 40, "0123456789-_abXY"])
def test_an_id_has_16_to_40_letters_digits_and_strokes(tap: str) -> None:
    assert checked_tap(tap) == tap
    first, second = checked_tap(new_tap()), checked_tap(new_tap())
    assert first != second
    assert (len(first), len(second)) == (16, 16)


@pytest.mark.parametrize("tap", ["", "a" * 15, "a" * 41, "a" * 15 + " ", "a" * 15 + "ä", "a" * 16 + "\n"])
def test_what_is_no_id_is_refused_and_nothing_is_entered(tap: str) -> None:
    for act in (checked_tap, lambda text: part_of_tap(text, "P-1")):
        with pytest.raises(BadInput) as refused:
            act(tap)
        assert refused.value.sentence == "this action has no id of its own"
        assert refused.value.cure == "open the page again; nothing was entered"


def test_each_part_of_an_action_on_many_has_an_id_that_stays() -> None:
    """SHA-256 of the action's id and the name, by Python's own library: sent again it is the same."""
    tap = "a" * 16
    assert part_of_tap(tap, "P-1") == sha256(b"aaaaaaaaaaaaaaaa P-1").hexdigest()[:32]
    parts = {part_of_tap(each, name) for each in (tap, "b" * 16) for name in ("P-1", "P-2")}
    assert len(parts) == 4
    assert {checked_tap(part) for part in parts} == parts


def test_an_action_is_found_again_by_its_id(shop: Shop) -> None:
    tap = new_tap()
    out(shop, ONE, "P-1", "P-2", tap=tap)
    out(shop, ONE, "P-3")
    newest = shop.standing("P-2").out.entry
    assert entries_of_tap(shop.ledger.connection, tap) == (shop.standing("P-1").out.entry, newest)
    assert entries_of_tap(shop.ledger.connection, new_tap()) == ()


# the newest scan of a desk


def test_a_desk_s_newest_scan_is_its_own_newest_that_can_be_undone(shop: Shop) -> None:
    connection = shop.ledger.connection
    out(shop, ONE, "P-1")
    out(shop, ONE, "P-2")
    out(shop, TWO, "P-3")
    shop.out("P-4")  # typed, on no page
    assert (newest_scan_at(connection, ONE), newest_scan_at(connection, TWO)) == ("P-2", "P-3")
    with page(shop, TWO) as desk:
        undo(desk, "P-2")
    assert newest_scan_at(connection, ONE) == "P-1"
    back(shop, TWO, "P-1")
    assert newest_scan_at(connection, TWO) == "P-1"
    for desk_name in (ONE, "Counter 3"):
        with pytest.raises(Refused) as refused:
            newest_scan_at(connection, desk_name)
        assert refused.value.sentence == f"{desk_name} has no scan to undo"
        assert refused.value.cure == "name the pair: undo, then its tag"


# the count of the day


def counted(shop: Shop, of: str = ONE, day: date = DAY) -> tuple[int, int]:
    return ScansOfDay(desk=of, day=day, zone=ZONE).read_on(shop.ledger.connection)


def test_a_desk_counts_the_pairs_that_it_handed_out_and_took_back(shop: Shop) -> None:
    assert counted(shop) == (0, 0)
    running = ScansOfDay(desk=ONE, day=DAY, zone=ZONE)
    steps: list[tuple[tuple[str, str, tuple[str, ...]], tuple[int, int]]] = [
        (("out", ONE, ("P-1", "P-2")), (2, 0)),
        (("out", TWO, ("P-3",)), (2, 0)),
        (("back", ONE, ("P-3",)), (2, 1)),
        (("back", TWO, ("P-1",)), (2, 1)),
        (("undo", TWO, ("P-2",)), (1, 1)),  # of desk 1, undone elsewhere
        (("undo", ONE, ("P-1",)), (1, 1)),  # of desk 2
        (("undo", ONE, ("P-3",)), (1, 0)),
        (("later", ONE, ("P-1",)), (1, 0)),
    ]
    for (what, of, tags), told in steps:
        if what in ("out", "back"):
            (out if what == "out" else back)(shop, of, *tags)
        else:
            with page(shop, of) as desk:
                if what == "undo":
                    undo(desk, *tags)
                else:
                    keep_longer(desk, *tags, until=DAY + timedelta(days=3))
        assert running.read_on(shop.ledger.connection) == told, (what, of, tags)
        assert running.read_on(shop.ledger.connection) == told, "read again nothing is counted twice"
        assert counted(shop) == told, "read for the first time the whole day is counted"


def test_the_day_begins_at_the_shop_s_midnight(shop: Shop) -> None:
    midnight = datetime(2026, 12, 27, 23, 0, tzinfo=UTC)
    for at, tag in ((-1, "P-1"), (0, "P-2"), (1, "P-3")):
        shop.now = midnight + timedelta(minutes=at - 1)  # an action is a minute after the last
        out(shop, ONE, tag)
    assert counted(shop, day=date(2026, 12, 28)) == (2, 0)
    shop.now += timedelta(days=1)
    out(shop, ONE, "P-4")
    assert counted(shop, day=date(2026, 12, 29)) == (1, 0)
    assert counted(shop, day=date(2026, 12, 30)) == (0, 0)


# the desk itself


def test_an_entry_is_in_the_name_of_its_desk_s_person(shop: Shop) -> None:
    with page(shop, ONE) as desk:
        entries = [replace(desk, by=name).enter("pair held", {"tag": "P-1"}) for name in (NELL, WIM)]
    by = [read_entry(shop.ledger.connection, entry).by for entry in entries]
    assert by == [NELL, WIM]


@pytest.mark.parametrize(("beyond", "taken"), [(timedelta(0), True), (timedelta(milliseconds=1), False)])
def test_a_time_may_lie_400_days_before_the_ledger_s_first_entry(
    shop: Shop, beyond: timedelta, taken: bool
) -> None:
    """Our choice (`back_date_days`). The ledger was begun on 27 December 2026 at 8 in Vienna."""
    at = datetime(2026, 12, 27, 7, 0, tzinfo=UTC) - timedelta(days=400) - beyond
    if taken:
        with shop.desk(WIM, at=at) as desk:
            assert desk.before_first_entry == timedelta(days=400)
        return
    with pytest.raises(BadInput) as refused, shop.desk(WIM, at=at):
        pass
    assert refused.value.sentence == (
        "Sat 22 Nov 2025 07:59 lies more than 400 days before the first entry of this ledger"
    )
    assert refused.value.cure == (
        "check the year given with --at; the policy back_date_days says how far back it may lie"
    )


@pytest.mark.parametrize(("beyond", "taken"), [(timedelta(0), True), (timedelta(milliseconds=1), False)])
def test_a_time_may_be_two_minutes_ahead_of_the_clock(shop: Shop, beyond: timedelta, taken: bool) -> None:
    at = shop.now + timedelta(minutes=3) + beyond  # the action is a minute after the last
    if taken:
        with shop.desk(WIM, at=at) as desk:
            assert desk.at == at
        return
    with pytest.raises(BadInput) as refused, shop.desk(WIM, at=at):
        pass
    assert refused.value.sentence.endswith(
        " has not come yet: this machine's clock says Sun 27 Dec 2026 08:21"
    )
    assert refused.value.cure == (
        "a time given with --at lies in the past; a clock that is wrong is set by the network"
    )
