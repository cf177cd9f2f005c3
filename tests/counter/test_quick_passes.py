"""A pass is said, and one that took hardly any time is taken but shown: the rule is 75 seconds a pair."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from fleet.audit.full import audit_file
from fleet.ledger.people import set_policy
from fleet.rules.quick_passes import quick_passes
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, SANNE, WIM, Shop


def passes(shop: Shop, by: str, *, seconds: int, tags: tuple[str, ...]) -> None:
    """One look after another, so many seconds apart; 0: all at one moment."""
    at = shop.now
    for tag in tags:
        at += timedelta(seconds=seconds)
        shop.look(tag, by=by, at=at)
    shop.now = max(shop.now, at)


def told(shop: Shop) -> list[str]:
    return [found.words for found in quick_passes(shop.ledger.connection)]


TAGS = ("P-1", "P-2", "P-3", "P-4")


@pytest.mark.parametrize(("seconds", "quick"), [(38, 0), (37, 3)])
def test_a_pass_in_under_half_the_time_of_the_rule_is_shown(shop: Shop, seconds: int, quick: int) -> None:
    """37.5 seconds is the half of 75; what came before the first of them is not known."""
    passes(shop, SANNE, seconds=seconds, tags=TAGS)
    words = (
        f"Sun 27 Dec 2026, {SANNE}: 4 passes, {quick} of them in less than half of the 75 seconds of a look"
    )
    assert told(shop) == ([words] if quick else [])


def test_what_another_person_does_at_the_same_time_is_no_haste(shop: Shop) -> None:
    for tag, by in zip(TAGS, (SANNE, JORY, IDA, WIM), strict=True):
        passes(shop, by, seconds=5, tags=(tag,))
    assert told(shop) == []


@pytest.mark.parametrize(("limit", "shown"), [(4, True), (5, False)])
def test_many_passes_at_one_moment_are_shown(shop: Shop, limit: int, shown: bool) -> None:
    with shop.desk(WIM) as desk:
        set_policy(desk, "bulk_passes", str(limit), origin="our evening")
    passes(shop, SANNE, seconds=0, tags=TAGS)
    words = f"Sun 27 Dec 2026, {SANNE}: 4 passes, 4 of them at one moment"
    assert told(shop) == ([words] if shown else [])


def test_a_whole_list_entered_at_once_is_quick_only_if_the_time_since_the_last_look_was_short(
    shop: Shop,
) -> None:
    passes(shop, SANNE, seconds=0, tags=("P-1",))
    shop.tick()  # two minutes since, and 150 seconds are the half for four
    passes(shop, SANNE, seconds=0, tags=TAGS)
    assert told(shop) == [
        f"Sun 27 Dec 2026, {SANNE}: 5 passes, 4 of them in less than half of the 75 seconds of a look"
    ]


def test_since_a_day_says_what_all_days_say_of_it_and_later_ones(shop: Shop) -> None:
    """Around midnight in Vienna: the look before counts, though its own day is not asked."""
    shop.now = datetime(2026, 12, 28, 22, 58, 30, tzinfo=UTC)
    passes(shop, SANNE, seconds=30, tags=TAGS)
    passes(shop, JORY, seconds=20, tags=TAGS)
    shop.now += timedelta(hours=20)
    passes(shop, SANNE, seconds=10, tags=TAGS)
    everything = quick_passes(shop.ledger.connection)
    assert len({found.day for found in everything}) == 2
    for day in (date(2026, 12, 28), date(2026, 12, 29), date(2026, 12, 30)):
        found = quick_passes(shop.ledger.connection, since=day)
        assert found == tuple(each for each in everything if each.day >= day)


def test_the_looks_of_a_day_are_found_without_a_walk_through_the_others(shop: Shop) -> None:
    connection, sent = shop.ledger.connection, list[str]()
    connection.set_trace_callback(sent.append)
    quick_passes(connection, since=shop.now.date())
    connection.set_trace_callback(None)
    [asked] = [query for query in sent if "looked_at" in query]
    plans = [row[3] for row in connection.execute(f"EXPLAIN QUERY PLAN {asked}")]
    assert "SEARCH look USING COVERING INDEX look_of_person (by=? AND looked_at>?)" in plans
    assert not any(plan.startswith("SCAN look") for plan in plans), plans


def test_the_audit_shows_them_and_stays_clean(shop: Shop) -> None:
    passes(shop, SANNE, seconds=5, tags=TAGS)
    report = audit_file(shop.ledger.path, now=shop.now)
    assert report.clean
    [found] = [each for each in report.findings if each.code == "quick passes"]
    assert "3 of them in less than half of the 75 seconds of a look" in found.sentence
    assert "head technician" in found.cure
    later = audit_file(shop.ledger.path, now=shop.now + timedelta(days=31))
    assert not [each for each in later.findings if each.code == "quick passes"]


def test_no_pass_without_a_word_for_it(command: Command) -> None:
    for words in (("prep", "sign"), ("recheck", "record")):
        assert command(*words, "P-1", "--by", SANNE).returncode == 1
        assert command(*words, "P-1", "--all", "not-moved", "--by", SANNE).returncode == 0
