"""The next step at each open order, as `today` says it: not before the filler has cured."""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

import pytest

from fleet.ledger.people import set_policy
from fleet.rules.holds import hold
from planner.bench.orders.close import plugged
from planner.bench.today import Step, today_at
from tests.counter.command import Command
from tests.counter.shop import JORY, NELL, WIM, ZONE
from tests.orders.bench_shop import BenchShop

ORDER = "WO-2612-0001 A"


def next_visit(shop: BenchShop, *, after: timedelta = timedelta()) -> tuple[str, str]:
    """The heading and the words under which the one order stands."""
    found = today_at(shop.ledger.connection, now=shop.now + after, zone=ZONE)
    [(title, line)] = [
        (topic.title, line) for topic in found.topics for line in topic.lines if line.name == ORDER
    ]
    return title, line.words


def test_first_the_old_holes_then_the_cure_then_the_drill(shop: BenchShop) -> None:
    shop.issue()
    assert next_visit(shop) == (Step.PLUG, "(K-1) 8 holes to plug")
    with shop.desk(JORY) as desk:
        first = plugged(desk, ORDER)
    assert first.cured is not None
    until = first.cured - shop.now
    local = first.cured.astimezone(ZoneInfo(ZONE))
    assert next_visit(shop, after=until - timedelta(seconds=1)) == (
        Step.CURE,
        f"(K-1) not before {local:%H:%M}",
    )
    assert next_visit(shop, after=until) == (Step.WORK, "(K-1)")


def test_a_cure_of_another_day_says_the_day_and_one_not_set_says_so(shop: BenchShop) -> None:
    shop.issue()
    with shop.desk(JORY) as desk:
        first = plugged(desk, ORDER)
    assert first.cured is not None
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_epoxy_hours", "48", origin="invented sheet")
    later = (first.cured + timedelta(hours=47.5)).astimezone(ZoneInfo(ZONE))
    assert next_visit(shop) == (Step.CURE, f"(K-1) not before {later:%a %-d %b %H:%M}")
    with shop.desk(WIM) as desk:
        set_policy(desk, "cure_epoxy_hours", "", origin="the sheet is lost")
    assert next_visit(shop) == (Step.CURE, "(K-1) nobody has said how long its epoxy cures")


def test_an_order_whose_pair_is_stopped_waits(shop: BenchShop) -> None:
    shop.issue()
    with shop.desk(NELL) as desk:
        hold(desk, "K-1", why="edge cracked")
    assert next_visit(shop) == (Step.WAIT, "(K-1) on hold")


def test_one_order_that_cannot_be_read_costs_itself(
    shop: BenchShop, command: Command, monkeypatch: pytest.MonkeyPatch
) -> None:
    shop.issue()

    def nothing(*_: object, **__: object) -> int:
        raise KeyError("A3")

    monkeypatch.setattr("planner.bench.today._next", nothing)
    assert next_visit(shop) == (Step.UNREAD, "(K-1) KeyError: 'A3'")
    said = command("today")
    assert (said.returncode, f"{Step.UNREAD} (1): {ORDER} (K-1)" in said.stdout) == (1, True)
