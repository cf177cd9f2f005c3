"""A cure counts from the entry that says so, unless a second listed person confirms an earlier hour."""

from __future__ import annotations

from contextlib import closing
from datetime import datetime, timedelta

import pytest

from fleet.audit.full import audit_file
from fleet.base.entries import parse_utc
from fleet.base.errors import MountbookError, Refused
from fleet.events.stops import RepairDone
from fleet.ledger.history import pair_state_at
from fleet.rules.clearance import cured_at
from fleet.rules.holds import begin_repair, end_repair, hold
from fleet.rules.hours import confirm_hours
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, Shop

HOUR = timedelta(hours=1)


def repaired(shop: Shop, tag: str = "P-1", *, at: datetime | None = None, glue: str = "epoxy") -> int:
    if not shop.standing(tag).hold_entry:
        with shop.desk(NELL, at=at and at - HOUR) as desk:
            hold(desk, tag, why="strap torn")
    with shop.desk(JORY, at=at) as desk:
        end_repair(desk, tag, did="hole filled", glued_with=(glue,))
    return shop.ledger.head.seq


@pytest.fixture
def bench(shop: Shop) -> Shop:
    """Eight hours for epoxy; it is evening: everybody went home, and the day is entered."""
    shop.policy("cure_epoxy_hours", "8")
    shop.now += 12 * HOUR
    return shop


def recorded(shop: Shop, seq: int) -> datetime:
    (entry,) = shop.ledger.entries(after=seq - 1, until=seq)
    return parse_utc(entry.recorded_at_utc)


def test_a_cure_typed_later_counts_from_its_entry(bench: Shop) -> None:
    seq = repaired(bench, at=bench.now - 9 * HOUR)
    assert cured_at(bench.ledger.connection, "P-1") == recorded(bench, seq) + 8 * HOUR
    bench.look("P-1", by=SANNE)
    with pytest.raises(MountbookError, match="its epoxy cures until"):
        bench.out("P-1")


def test_a_second_person_confirms_the_hours_of_a_whole_batch_at_once(bench: Shop) -> None:
    nine, seven = bench.now - 9 * HOUR, bench.now - 7 * HOUR
    first, second = repaired(bench, "P-1", at=nine), repaired(bench, "P-2", at=seven)
    with bench.desk(SANNE) as desk:
        confirmed = confirm_hours(desk, [first, second])
    assert [one.tag for one in confirmed] == ["P-1", "P-2"]
    assert cured_at(bench.ledger.connection, "P-1") == nine + 8 * HOUR
    assert cured_at(bench.ledger.connection, "P-2") == seven + 8 * HOUR
    for tag in ("P-1", "P-2"):
        bench.look(tag, by=SANNE)
    bench.out("P-1")
    with pytest.raises(MountbookError, match="its epoxy cures until"):
        bench.out("P-2")
    assert audit_file(bench.ledger.path, now=bench.now).clean
    with closing(pair_state_at(bench.ledger, "P-2", bench.ledger.head)) as alone:
        (at,) = alone.execute("SELECT glued_at FROM standing WHERE tag = 'P-2'").fetchone()
    assert parse_utc(at) == seven


def test_one_hour_confirmed_leaves_the_later_glue_as_it_is(bench: Shop) -> None:
    """Glued twice: the earlier hour is confirmed, the later glue counts from its entry still."""
    first = repaired(bench, at=bench.now - 9 * HOUR)
    second = repaired_again(bench, at=bench.now - 5 * HOUR)
    with bench.desk(SANNE) as desk:
        confirm_hours(desk, [first])
    assert cured_at(bench.ledger.connection, "P-1") == recorded(bench, second) + 8 * HOUR
    with bench.desk(SANNE) as desk:
        confirm_hours(desk, [second])
    stated = next(bench.ledger.entries(after=second - 1, until=second)).stated_at_utc
    assert cured_at(bench.ledger.connection, "P-1") == parse_utc(stated) + 8 * HOUR


def repaired_again(shop: Shop, *, at: datetime) -> int:
    with shop.desk(NELL, at=at - HOUR) as desk:
        hold(desk, "P-1", why="strap torn")
    return repaired(shop, at=at)


def test_what_was_entered_as_it_happened_needs_nobody(bench: Shop) -> None:
    seq = repaired(bench)
    assert cured_at(bench.ledger.connection, "P-1") == recorded(bench, seq) + 8 * HOUR
    with pytest.raises(Refused, match="was entered as it happened"), bench.desk(SANNE) as desk:
        confirm_hours(desk, [seq])


@pytest.mark.parametrize(
    ("by", "words"), [(JORY, "entered it"), (NELL, "counter staff"), ("X", "not on the staff list")]
)
def test_who_entered_it_and_who_may_not_sign_confirm_no_hour(bench: Shop, by: str, words: str) -> None:
    seq = repaired(bench, at=bench.now - 9 * HOUR)
    before = bench.dump()
    with pytest.raises(Refused, match=words), bench.desk(by) as desk:
        confirm_hours(desk, [seq])
    assert bench.dump() == before


@pytest.mark.parametrize("seq", [1, 9999])
def test_an_entry_without_glue_has_no_hour_to_confirm(bench: Shop, seq: int) -> None:
    with pytest.raises(Refused, match=r"uses no glue|is no entry"), bench.desk(SANNE) as desk:
        confirm_hours(desk, [seq])


def test_an_entry_made_before_this_rule_keeps_its_hour(bench: Shop) -> None:
    """Bodies without the key mean what they meant: the cure counts from the stated hour."""
    at = bench.now - 9 * HOUR
    with bench.desk(NELL, at=at - HOUR) as desk:
        hold(desk, "P-1", why="strap torn")
    with bench.desk(JORY, at=at) as desk:
        desk.enter(RepairDone(tag="P-1", glued_with=("epoxy",)))
    assert cured_at(bench.ledger.connection, "P-1") == at + 8 * HOUR


@pytest.mark.parametrize("at", [-1, 0])
def test_a_repair_is_not_done_before_the_pair_was_held_or_went_to_the_bench(bench: Shop, at: int) -> None:
    with bench.desk(NELL) as desk:
        hold(desk, "P-1", why="strap torn")
    held = bench.now
    with pytest.raises(MountbookError, match="was held"), bench.desk(JORY, at=held + at * HOUR) as desk:
        begin_repair(desk, "P-1")
    with bench.desk(JORY, minutes=60) as desk:
        begin_repair(desk, "P-1")
    begun = bench.now
    with (
        pytest.raises(MountbookError, match="went to repair"),
        bench.desk(JORY, at=begun + at * HOUR) as desk,
    ):
        end_repair(desk, "P-1", did="screwed down")
    with bench.desk(JORY, at=begun + timedelta(seconds=1)) as desk:
        end_repair(desk, "P-1", did="screwed down")


def test_confirm_hour_as_typed(command: Command) -> None:
    assert (
        command("hold", "P-1", "--why", "strap torn", "--by", NELL, "--at", "2026-12-27T09:00").returncode
        == 0
    )
    done = command(
        "repair",
        "done",
        "P-1",
        "--did",
        "filled",
        "--glue",
        "epoxy",
        "--by",
        JORY,
        "--at",
        "2026-12-27T10:00",
    )
    assert "mountbook confirm-hour" in done.stdout
    entry = done.stdout.partition("confirm-hour ")[2].split()[0]
    assert command("confirm-hour", str(entry)).returncode == 1, "the desk's own name is no second signature"
    said = command("confirm-hour", str(entry), "--by", IDA)
    assert said.returncode == 0
    assert "P-1: its cure counts from Sun 27 Dec 2026 10:00" in said.stdout
    assert "hour confirmed" in command("ski", "P-1").stdout
