"""A pass ages by the shop's dated rules: from the season's first day on, or after its days in the rack."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from fleet.base.days import shop_day
from fleet.base.entries import utc_text
from fleet.base.errors import MountbookError
from fleet.facts.policy import default_policy
from fleet.facts.standing import Place
from fleet.rules.day_end import under_list
from fleet.rules.find import Now, find_pairs
from fleet.rules.gate_desk import may_go_now
from fleet.rules.looks import ListUsed
from fleet.rules.recheck import Group, recheck_list
from planner.bench.today import today_at
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, ZONE, Shop


def passed_on(shop: Shop, tag: str = "P-1") -> date:
    return shop_day(shop.standing(tag).passed.at, ZONE)


def days_on(shop: Shop, days: int) -> None:
    shop.now += timedelta(days=days)


def listed(shop: Shop) -> dict[str, str]:
    rows = recheck_list(shop.ledger.connection, today=shop_day(utc_text(shop.now), ZONE)).rows
    return {row.tag: "; ".join(row.reasons) for row in rows}


def test_both_rules_are_off_until_the_shop_sets_them(shop: Shop) -> None:
    policy = default_policy()
    assert (policy.optional_day("pass_from_day"), policy.optional_number("pass_days")) == (None, None)
    days_on(shop, 150)
    assert listed(shop) == {}
    shop.out("P-1")


def test_a_pass_counts_on_its_last_day_and_not_on_the_day_after(shop: Shop) -> None:
    """Ten days in the rack: passed on Sun 27 Dec, it counts on Wed 6 Jan, not on Thu 7 Jan."""
    shop.policy("pass_days", "10")
    day = passed_on(shop)
    days_on(shop, 10)
    assert shop_day(utc_text(shop.now), ZONE) == day + timedelta(days=10)
    assert listed(shop) == {}
    shop.out("P-1")
    days_on(shop, 1)
    with pytest.raises(MountbookError) as refused:
        shop.out("P-2")
    assert (
        "its pass does not count any more: passed on Sun 27 Dec 2026,"
        " and a pass counts for 10 days in the rack"
    ) in refused.value.sentence
    assert "mountbook recheck record P-2 --all not-moved --by NAME" in refused.value.cure
    assert listed(shop) == dict.fromkeys(
        ("P-2", "P-3", "P-4", "T-1"),
        "passed on Sun 27 Dec 2026, and a pass counts for 10 days in the rack",
    )
    shop.look("P-2")
    shop.out("P-2")
    assert "P-2" not in listed(shop)


def test_a_pass_of_the_seasons_first_day_counts_and_one_of_the_day_before_does_not(shop: Shop) -> None:
    start = passed_on(shop) + timedelta(days=1)
    shop.policy("pass_from_day", start.isoformat())
    assert listed(shop) == {}, "the day has not come"
    shop.out("P-1")
    days_on(shop, 1)
    with pytest.raises(MountbookError, match="the season began on Mon 28 Dec 2026"):
        shop.out("P-2")
    shop.look("P-2")  # on the day itself
    days_on(shop, 100)
    shop.out("P-2")
    assert set(listed(shop)) == {"P-3", "P-4", "T-1"}


def test_of_both_rules_the_stricter_counts(shop: Shop) -> None:
    shop.policy("pass_from_day", passed_on(shop).isoformat())
    shop.policy("pass_days", "3")
    days_on(shop, 3)
    assert listed(shop) == {}
    days_on(shop, 1)
    assert len(listed(shop)) == 5


def test_today_and_find_see_it_and_it_may_wait(shop: Shop) -> None:
    shop.policy("pass_days", "1")
    shop.out("P-1")
    shop.back("P-1")
    days_on(shop, 2)
    connection = shop.ledger.connection
    topics = {t.title: t for t in today_at(connection, now=shop.now, zone=ZONE).topics}
    assert [line.name for line in topics["back, to be looked at"].lines] == ["P-1"]
    old = topics["in the rack, its pass too old"]
    assert [line.name for line in old.lines] == ["P-2", "P-3", "P-4", "T-1"]
    found = {one.tag: one for one in find_pairs(connection, at=shop.now, zone=ZONE, boot="B-305").pairs}
    assert found["P-2"].now is Now.NOT_NOW
    assert any("does not count any more" in reason for reason in found["P-2"].reasons)
    rows = recheck_list(connection, today=shop.now.date()).rows
    assert rows[-1].group is Group.ROUTINE
    assert rows[0].tag == "P-1", "what came back is looked at first"
    assert shop.place("P-2") is Place.READY, "the pass stands in the ledger; it only does not count"


def test_a_signature_under_an_older_list_passes_nothing_that_aged_since(shop: Shop) -> None:
    shop.policy("pass_days", "1")
    day = shop.now.date() + timedelta(days=1)
    connection = shop.ledger.connection
    printed = recheck_list(connection, today=day)
    assert printed.rows == ()
    used = ListUsed.parse(printed.list_id)
    days_on(shop, 2)
    assert len(listed(shop)) == 5
    assert under_list(connection, used, ()).tags == ()
    fresh = ListUsed.parse(recheck_list(connection, today=shop.now.date()).list_id)
    assert len(under_list(connection, fresh, ()).tags) == 5


def test_a_rule_set_after_the_list_was_printed_puts_no_pair_on_it(shop: Shop) -> None:
    days_on(shop, 5)
    printed = recheck_list(shop.ledger.connection, today=shop.now.date())
    shop.policy("pass_days", "1")
    assert under_list(shop.ledger.connection, ListUsed.parse(printed.list_id), ()).tags == ()


def test_an_unfinished_look_at_the_very_moment_of_the_pass_makes_it_void(shop: Shop) -> None:
    """The pass and the look that could not reach a screw: whichever is later by number counts against it."""
    shop.look("P-1")
    at = shop.now
    shop.look("P-1", by=JORY, at=at, found={"B heel": "could not reach"})
    with pytest.raises(MountbookError, match="a look could not reach ski B heel"):
        shop.out("P-1")
    with pytest.raises(MountbookError, match="was left unfinished"):
        shop.look("P-1", by=IDA, at=at)
    shop.look("P-1", by=IDA, at=at + timedelta(seconds=1))
    shop.out("P-1")


def test_the_rule_says_first_how_many_pairs_it_stops(shop: Shop) -> None:
    days_on(shop, 30)
    with shop.desk(IDA) as desk:
        assert len(may_go_now(desk)) == 5
    shop.policy("pass_days", "29")
    with shop.desk(IDA) as desk:
        assert may_go_now(desk) == frozenset()


def test_a_day_that_is_none_is_refused(command: Command) -> None:
    set_it = ("policy", "set", "pass_from_day")
    assert command(*set_it, "1.12.", "--origin", "x", "--yes").returncode == 1
    done = command(*set_it, "2026-12-01", "--origin", "season opens", "--yes", "--json")
    assert (done.returncode, done.json["stops_now"]) == (0, [])
    assert command(*set_it, "", "--origin", "no season yet", "--yes").returncode == 0
