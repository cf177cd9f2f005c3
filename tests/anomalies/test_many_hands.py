"""Six writers and a backup at once, clocks that disagree, two time zones."""

from __future__ import annotations

import os
import random
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fleet.audit.backup import backup
from fleet.audit.full import audit_file
from fleet.base.errors import BadInput
from fleet.checks.findings import AuditSeverity
from fleet.ledger.ledger import Ledger
from fleet.rules.clearance import Door
from fleet.tables.file_kind import check_kind
from fleet.tables.layout import LAYOUT
from tests.anomalies.actions import bench_work, check_whole, mark, mark_of, scan
from tests.counter.shop import IDA, MORNING, NELL, Shop

NOON = datetime(2026, 12, 28, 12, 0, tzinfo=UTC)
WRITERS, ACTIONS = 6, 12


def _child(work: object, *args: object) -> int:
    child = os.fork()
    if child == 0:
        code = 1
        try:
            work(*args)  # type: ignore[operator]
            code = 0
        except BaseException as fault:
            sys.stderr.write(f"a child was refused: {fault!r}, {getattr(fault, 'cure', '')}\n")
        finally:
            os._exit(code)
    return child


def _write(path: Path, writer: int, actions: int) -> None:
    rng = random.Random(writer)
    for number in range(actions):
        with Ledger.open(path) as ledger:  # each action as a command of its own
            now = NOON + timedelta(seconds=number, milliseconds=writer)
            with ledger.transaction(by=IDA, now=now) as tx:
                mark(tx, "begin", f"{writer}.{number}")
                if writer == 0:
                    scan(tx, f"{writer}.{number}", now)
                else:
                    bench_work(tx, f"{writer}.{number}", now)
                time.sleep(rng.uniform(0, 0.004))  # hold it, so that the others must wait
                mark(tx, "end", f"{writer}.{number}")


def test_a_file_in_the_middle_of_a_commit_elsewhere_is_known_for_a_ledger(path: Path) -> None:
    """The first page already speaks of a page more than the file has: seen once in a few hundred opens."""
    raw = bytearray(path.read_bytes())
    pages = int.from_bytes(raw[28:32], "big")
    raw[28:32] = (pages + 1).to_bytes(4, "big")
    path.write_bytes(raw)
    assert check_kind(path) == LAYOUT


def _back_up(path: Path, folder: Path, times: int) -> None:
    for number in range(times):
        copy = backup(path, folder, now=NOON + timedelta(minutes=number), keep=100)
        assert audit_file(copy.path, now=NOON + timedelta(days=1)).sound


def _crowd(path: Path, folder: Path, *, actions: int, copies: int) -> int:
    with Ledger.open(path) as ledger:
        since = ledger.head.seq
    children = [_child(_write, path, writer, actions) for writer in range(WRITERS)]
    children.append(_child(_back_up, path, folder, copies))
    codes = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    assert codes == [0] * len(children), "somebody was refused"
    newest = check_whole(path, [], now=NOON + timedelta(days=1), since=since)
    with Ledger.open(path) as ledger:
        marks = [mark_of(entry) for entry in ledger.entries(after=since)]
    ends = [name for edge, name in marks if edge == "end"]
    assert sorted(ends) == sorted(f"{w}.{n}" for w in range(WRITERS) for n in range(actions)), "one got lost"
    return newest - since


def test_six_writers_and_a_backup_lose_nothing(path: Path, tmp_path: Path) -> None:
    _crowd(path, tmp_path / "copies", actions=ACTIONS, copies=4)
    assert list((tmp_path / "copies").glob("*.db"))
    assert not list((tmp_path / "copies").glob(".*")), "no half copy stays behind"


@pytest.mark.long
def test_six_writers_for_a_long_while(path: Path, tmp_path: Path) -> None:
    assert _crowd(path, tmp_path / "copies", actions=150, copies=30) > 3 * WRITERS * 150


def test_a_clock_set_back_keeps_the_order_of_entries_and_opens_no_door(shop: Shop) -> None:
    """A machine two hours behind takes a pair back and looks at it: by number later, by the clock not."""
    shop.look("T-1")
    shop.now += timedelta(minutes=5)
    shop.out("T-1")
    shop.now -= timedelta(hours=2)
    with pytest.raises(BadInput, match="which is not before"):
        shop.back("T-1")
    assert shop.place("T-1") == "out"
    shop.enter("pair back", {"tag": "T-1", "said": False}, by=NELL)  # past the counter's own check
    with shop.desk(NELL) as desk:
        assert Door(desk.connection, at=desk.at, zone=desk.zone).ask("T-1").reasons
    numbers = [entry.seq for entry in shop.ledger.entries()]
    assert numbers == list(range(1, len(numbers) + 1))
    report = audit_file(shop.ledger.path, now=MORNING + timedelta(days=1))
    assert [finding.code for finding in report.findings] == ["clock set back"]


def test_a_pass_by_a_clock_that_runs_ahead_does_not_cover_a_later_return(shop: Shop) -> None:
    shop.look("T-1")
    shop.out("T-1")
    shop.back("T-1")
    shop.now += timedelta(days=2)  # Ida's machine is two days ahead
    shop.look("T-1")
    shop.now -= timedelta(days=2)
    with shop.desk(NELL) as desk:
        (reason,) = Door(desk.connection, at=desk.at, zone=desk.zone).ask("T-1").reasons
    assert "after the time of going out" in reason


def test_a_time_that_has_not_come_cannot_be_stated(shop: Shop) -> None:
    before = shop.dump()
    with pytest.raises(BadInput, match="has not come yet"), shop.ledger.transaction(by=NELL, now=NOON) as tx:
        tx.enter("pair held", {"tag": "P-2"}, stated_at=NOON + timedelta(minutes=3))
    assert shop.dump() == before
    with shop.ledger.transaction(by=NELL, now=NOON) as tx:  # two counters' clocks are never quite alike
        tx.enter("pair held", {"tag": "P-2"}, stated_at=NOON + timedelta(minutes=1))


def _in_zone(path: Path, zone: str, answer: Path) -> None:
    os.environ["TZ"] = zone
    time.tzset()
    with Ledger.open(path) as ledger, ledger.transaction(by=IDA, now=NOON.astimezone()) as tx:
        tx.enter("pair held", {"tag": "P-2"}, note=zone)
    answer.write_text(str(datetime.now().astimezone().utcoffset()))


def test_two_machines_in_two_zones_enter_one_and_the_same_instant(path: Path, tmp_path: Path) -> None:
    offsets = set()
    for zone in ("Pacific/Auckland", "America/Los_Angeles"):
        answer = tmp_path / zone.replace("/", " ")
        assert os.waitstatus_to_exitcode(os.waitpid(_child(_in_zone, path, zone, answer), 0)[1]) == 0
        offsets.add(answer.read_text())
    assert len(offsets) == 2, "the children must really stand in two zones"
    with Ledger.open(path) as ledger:
        written = {(e.recorded_at_utc, e.zone) for e in ledger.entries(after=ledger.head.seq - 2)}
    assert written == {("2026-12-28T12:00:00.000Z", "Europe/Vienna")}


@pytest.mark.parametrize(
    ("utc", "shown"),
    [
        (datetime(2026, 3, 29, 0, 59, tzinfo=UTC), "Sun 29 Mar 2026 01:59"),
        (datetime(2026, 3, 29, 1, 1, tzinfo=UTC), "Sun 29 Mar 2026 03:01"),
        (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), "Sun 25 Oct 2026 02:30"),
        (datetime(2026, 10, 25, 1, 30, tzinfo=UTC), "Sun 25 Oct 2026 02:30"),
    ],
)
def test_the_hour_of_a_clock_change_is_kept_in_utc_and_shown_by_the_wall(utc: datetime, shown: str) -> None:
    """Europe/Vienna 2026: forward on 29 March, back on 25 October, both at 01:00 UTC (IANA tz database)."""
    from fleet.base.days import time_text
    from fleet.base.entries import utc_text

    assert time_text(utc_text(utc), "Europe/Vienna") == shown


def test_an_entry_of_the_future_is_asked_about_once_for_all_that_follow_it(shop: Shop) -> None:
    shop.now += timedelta(days=30)
    for number in range(5):
        shop.boot(f"B-{number}", 305, "alpine A")
    report = audit_file(shop.ledger.path, now=MORNING + timedelta(days=1))
    (finding,) = [f for f in report.findings if f.severity is AuditSeverity.QUESTION]
    assert finding.code == "written in the future"
