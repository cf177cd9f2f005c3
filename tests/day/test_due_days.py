"""The day a pair is due: one line of the scanner for many pairs, and one command for many tags."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from fleet.rules.scanning import Counter, Mode
from tests.counter.command import Command
from tests.counter.shop import NELL, Shop


@pytest.fixture
def counter(shop: Shop) -> Counter:
    return Counter(shop.ledger, by=NELL, mode=Mode.OUT)


def due_of(shop: Shop, tag: str) -> str | None:
    return shop.standing(tag).out_due


def test_one_line_holds_for_the_scans_after_it_until_it_is_ended(shop: Shop, counter: Counter) -> None:
    assert counter.handle("due 31.12.", now=shop.tick()).text == (
        "what goes out now is due Thu 31 Dec 2026, until: due off"
    )
    assert counter.prompt == "OUT · due Thu 31 Dec > "
    said = counter.handle("P-1", now=shop.tick()).text
    assert said == "P-1  OUT  fit not checked; due Thu 31 Dec 2026"
    counter.handle("B-305", now=shop.tick())
    assert counter.handle("P-2", now=shop.tick()).text == "P-2  OUT  boot B-305 fits; due Thu 31 Dec 2026"
    assert counter.handle("due off", now=shop.tick()).text == "what goes out now has no due day"
    assert counter.handle("P-3", now=shop.tick()).text == "P-3  OUT  fit not checked"
    assert [due_of(shop, tag) for tag in ("P-1", "P-2", "P-3")] == ["2026-12-31", "2026-12-31", None]


def test_the_due_day_stays_over_a_refusal_and_over_the_way_back(shop: Shop, counter: Counter) -> None:
    counter.handle("due tuesday", now=shop.tick())
    shop.back("P-1")
    assert counter.handle("P-1", now=shop.tick()).refused
    counter.handle("back", now=shop.tick())
    assert counter.prompt == "BACK > "
    counter.handle("out", now=shop.tick())
    counter.handle("P-2", now=shop.tick())
    assert due_of(shop, "P-2") == "2026-12-29"


def test_a_day_that_could_be_two_is_asked_and_the_one_before_no_longer_holds(
    shop: Shop, counter: Counter
) -> None:
    """Whoever meant another day must not hand the next pairs out for the old one."""
    counter.handle("due +3", now=shop.tick())
    reply = counter.handle("due 12/31", now=shop.tick())
    assert reply.refused
    assert reply.text == "REFUSED  '12/31': is the day or the month first?  (write 2026-12-31)"
    counter.handle("P-1", now=shop.tick())
    assert due_of(shop, "P-1") is None


@pytest.mark.parametrize(
    ("now", "due"),
    [
        (datetime(2026, 12, 27, 22, 59, tzinfo=UTC), "2026-12-28"),  # 23:59 of the 27th in the shop
        (datetime(2026, 12, 27, 23, 0, tzinfo=UTC), "2026-12-29"),  # midnight: it is the 28th there
        (datetime(2027, 3, 27, 22, 59, tzinfo=UTC), "2027-03-28"),  # the clock change is on the 28th
        (datetime(2027, 3, 28, 21, 59, tzinfo=UTC), "2027-03-29"),  # 23:59 of a day of 23 hours
        (datetime(2027, 3, 28, 22, 0, tzinfo=UTC), "2027-03-30"),
    ],
)
def test_tomorrow_is_the_shops_tomorrow(shop: Shop, counter: Counter, now: datetime, due: str) -> None:
    counter.handle("due tomorrow", now=now)
    assert counter.due is not None
    assert counter.due.isoformat() == due


def test_a_renter_keeps_three_pairs_longer_and_one_of_them_is_not_out(command: Command) -> None:
    assert command("out", "P-1", "P-2", "--due", "tomorrow").returncode == 0
    said = command("later", "P-1", "P-3", "p-2", "--until", "31.12.")
    assert said.returncode == 1
    assert said.stdout.splitlines() == [
        "P-1  out           due Thu 31 Dec 2026",
        "P-2  out           due Thu 31 Dec 2026",
        "REFUSED  P-3 is ready, not out; check the tag",
        "1 of 3 refused, the others are entered",
    ]
    answer = command("later", "P-1", "P-3", "--until", "2026-12-30", "--json")
    assert [row["tag"] for row in answer.json["done"]] == ["P-1"]
    assert answer.json["refused"] == "P-3 is ready, not out"
    assert answer.json["not_done"] == [
        {"name": "P-3", "refused": "P-3 is ready, not out", "cure": "check the tag", "instead": []}
    ]


def test_a_single_pair_that_is_not_out_is_refused_as_ever(command: Command) -> None:
    refused = command("later", "P-3", "--until", "2026-12-30", "--json")
    assert (refused.returncode, refused.json["refused"]) == (1, "P-3 is ready, not out")
    assert command("later", "P-3", "--until", "5/6").returncode == 1
