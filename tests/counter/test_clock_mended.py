"""A clock that was wrong: a signed entry says by how much, and nothing is locked for a year."""

from __future__ import annotations

from contextlib import closing, nullcontext
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from fleet.audit.backup import rebuild
from fleet.audit.full import audit_file
from fleet.base.entries import parse_utc, utc_text
from fleet.base.errors import MountbookError, Refused
from fleet.facts.standing import Place
from fleet.ledger.history import pair_state_at
from fleet.ledger.ledger import Ledger
from fleet.ledger.transaction import CLOCK_SLACK
from fleet.rules.clearance import cured_at
from fleet.rules.holds import end_repair, hold
from fleet.rules.hours import mend_clock
from fleet.rules.renaming import rename
from tests.counter.command import Command
from tests.counter.shop import IDA, JORY, NELL, SANNE, WIM, ZONE, Shop
from tests.counter.test_gates import ALPINE, make_tests

YEAR = timedelta(days=100)
"""What the clock was ahead: so that everybody's right to sign still ran."""


class Wrong:
    """Entries made while the clock was ahead; then it is set right."""

    def __init__(self, shop: Shop) -> None:
        self.shop, self.first = shop, shop.ledger.head.seq + 1
        shop.now += YEAR

    def right(self, minutes: int = 5) -> int:
        """Set the clock right; return the newest entry that the wrong one wrote."""
        self.shop.now -= YEAR - timedelta(minutes=minutes)
        return self.shop.ledger.head.seq

    def mend(self, last: int, *, by: str = IDA, ahead: timedelta = YEAR) -> tuple[str, ...]:
        with self.shop.desk(by) as desk:
            return mend_clock(desk, self.first, last, shift=-ahead, why="battery of the clock was empty")


def sound(shop: Shop) -> None:
    assert audit_file(shop.ledger.path, now=shop.now).sound


def test_a_return_in_the_future_locks_no_pair(shop: Shop) -> None:
    """Out before, back while the clock was ahead: no look would be later for a hundred days."""
    shop.out("P-1")
    wrong = Wrong(shop)
    shop.back("P-1")
    last = wrong.right()
    with pytest.raises(MountbookError, match="P-1 came back Tue 6 Apr 2027") as locked:
        shop.look("P-1")
    assert "mountbook mend-clock" in locked.value.cure
    assert wrong.mend(last) == ("P-1",)
    assert shop.place("P-1") is Place.BACK
    shop.look("P-1")
    shop.out("P-1")
    sound(shop)
    codes = {finding.code for finding in audit_file(shop.ledger.path, now=shop.now).findings}
    assert "out without a pass" not in codes


def test_a_pair_that_was_called_otherwise_then_is_set_right_too(shop: Shop) -> None:
    shop.out("P-1")
    wrong = Wrong(shop)
    shop.back("P-1")
    last = wrong.right()
    with shop.desk(IDA) as desk:
        rename(desk, "P-1", "N-1", why="the label was lost")
    assert wrong.mend(last) == ("N-1",)
    shop.look("N-1")
    shop.out("N-1")
    sound(shop)


def test_a_pass_of_the_future_counts_from_when_it_was_and_never_over_a_later_return(shop: Shop) -> None:
    wrong = Wrong(shop)
    shop.look("P-1")
    shop.look("P-2")
    last = wrong.right()
    with pytest.raises(MountbookError, match="after the time of going out"):
        shop.out("P-1")
    wrong.mend(last)
    shop.out("P-1")
    shop.back("P-1")
    with pytest.raises(MountbookError, match="nobody has passed it since"):
        shop.out("P-1")
    sound(shop)


def test_a_true_return_after_the_wrong_one_keeps_its_own_time(shop: Shop) -> None:
    """The newest time of a return was kept, so the true one stood in the shadow of the future one."""
    shop.out("P-1")
    wrong = Wrong(shop)
    shop.back("P-1")
    last = wrong.right()
    shop.enter("pair back", {"tag": "P-1", "said": False}, by=NELL)
    true = shop.now
    assert parse_utc(shop.standing("P-1").returned.at) > true
    wrong.mend(last)
    assert shop.standing("P-1").returned.at == utc_text(true)
    with pytest.raises(MountbookError, match="came back"):
        shop.look("P-1", at=true)
    shop.look("P-1", at=true + timedelta(seconds=1))


def test_glue_of_the_future_cures_from_when_it_was_used(shop: Shop) -> None:
    shop.policy("cure_epoxy_hours", "8")
    wrong = Wrong(shop)
    with shop.desk(NELL) as desk:
        hold(desk, "P-1", why="strap torn")
    with shop.desk(JORY) as desk:
        end_repair(desk, "P-1", did="filled", glued_with=("epoxy",))
    used = shop.now - YEAR
    last = wrong.right()
    wrong.mend(last)
    assert cured_at(shop.ledger.connection, "P-1") == used + timedelta(hours=8)
    sound(shop)


def test_a_release_test_of_the_future_hides_no_failed_one_after_it(shop: Shop) -> None:
    shop.policy(ALPINE, "work")
    wrong = Wrong(shop)
    make_tests(shop)
    last = wrong.right()
    make_tests(shop, outcome="failed", pieces=("B heel",))
    shop.look("P-1")
    with pytest.raises(Refused, match="the release test of ski B heel did not pass"):
        shop.out("P-1", boot="B-305")
    wrong.mend(last)
    with pytest.raises(Refused, match=r"cannot go out: the release test of ski B heel did not pass$"):
        shop.out("P-1", boot="B-305")
    sound(shop)


def test_a_time_that_was_typed_stays_as_it_was_typed(shop: Shop) -> None:
    shop.out("P-1")
    at = shop.now + timedelta(seconds=30)
    wrong = Wrong(shop)
    shop.back("P-1", at=at)
    last = wrong.right()
    wrong.mend(last)
    assert shop.standing("P-1").returned.at == utc_text(at)


def test_mended_by_the_wrong_way_it_is_mended_again(shop: Shop) -> None:
    wrong = Wrong(shop)
    shop.look("P-1")
    was = shop.now - YEAR
    last = wrong.right(minutes=120)
    wrong.mend(last, ahead=YEAR - timedelta(hours=1))
    assert parse_utc(shop.standing("P-1").passed.at) == was + timedelta(hours=1)
    wrong.mend(last, ahead=timedelta(hours=1))
    assert parse_utc(shop.standing("P-1").passed.at) == was
    sound(shop)


def test_a_rebuild_and_one_pair_replayed_give_the_same(shop: Shop) -> None:
    shop.out("P-1")
    wrong = Wrong(shop)
    shop.back("P-1")
    wrong.mend(wrong.right())
    shop.look("P-1")
    with closing(pair_state_at(shop.ledger, "P-1", shop.ledger.head)) as alone:
        row = alone.execute("SELECT place, return_at, pass_at FROM standing WHERE tag = 'P-1'").fetchone()
    standing = shop.standing("P-1")
    assert row == ("ready", standing.returned.at, standing.passed.at)
    path = shop.ledger.path
    shop.ledger.connection.close()
    with pytest.raises(MountbookError):
        rebuild(path, by=WIM, now=shop.tick())  # nothing differs
    shop.ledger = Ledger.open(path)


@pytest.mark.parametrize(
    ("by", "ahead", "words"),
    [
        (JORY, YEAR, "only a head technician or a manager"),
        (NELL, YEAR, "counter staff"),
        (IDA, YEAR + timedelta(days=1), "before entry"),
        (IDA, YEAR - timedelta(days=1), "after"),
        (IDA, timedelta(), "moves nothing"),
    ],
)
def test_a_mend_that_cannot_be_is_refused(shop: Shop, by: str, ahead: timedelta, words: str) -> None:
    """The mended times lie between the entry before the run and the one after it, or now."""
    wrong = Wrong(shop)
    shop.look("P-1")
    last = wrong.right()
    before = shop.dump()
    with pytest.raises(MountbookError, match=words):
        wrong.mend(last, by=by, ahead=ahead)
    assert shop.dump() == before


@pytest.mark.parametrize("side", ["before", "after the next", "after now"])
@pytest.mark.parametrize(("over", "refused"), [(timedelta(), False), (timedelta(seconds=1), True)])
def test_a_mended_time_may_pass_its_neighbour_by_what_two_clocks_differ_and_no_second_more(
    shop: Shop, side: str, over: timedelta, refused: bool
) -> None:
    """The entry before the run, the one after it, and now where none came after it, are each such a limit."""
    wrong = Wrong(shop)
    shop.look("P-1")
    last = wrong.right()
    if side == "after the next":
        shop.look("P-2")

    def written(seq: int) -> datetime:
        query = "SELECT recorded_at_utc FROM entries WHERE seq = ?"
        return parse_utc(shop.ledger.connection.execute(query, (seq,)).fetchone()[0])

    if side == "before":
        ahead = written(last) - written(last - 1) + CLOCK_SLACK + over
    else:
        next_at = written(last + 1) if side == "after the next" else shop.now + timedelta(minutes=1)
        ahead = written(last) - next_at - CLOCK_SLACK - over
    words = {"before": f"before entry {last - 1}", "after the next": f"after entry {last + 1}"}.get(
        side, side
    )
    before = shop.dump()
    with pytest.raises(Refused, match=words) if refused else nullcontext():
        assert wrong.mend(last, ahead=ahead) == ("P-1",)
    assert (shop.dump() == before) is refused


def test_a_run_that_takes_in_an_entry_of_the_right_clock_is_refused(shop: Shop) -> None:
    """That entry would be moved a year back, before the one that it followed."""
    wrong = Wrong(shop)
    shop.look("P-1")
    last = wrong.right()
    shop.look("P-2")
    before = shop.dump()
    with pytest.raises(Refused, match=f"entry {last + 1} would be of .*, before entry {last} of") as refused:
        wrong.mend(shop.ledger.head.seq)
    assert "a run ends with the last entry of the wrong clock" in refused.value.cure
    assert shop.dump() == before
    wrong.mend(last)


@pytest.mark.parametrize(("first", "last"), [(0, 3), (1, 3), (5, 4), (3, 9999)])
def test_a_run_that_is_none_is_refused(shop: Shop, first: int, last: int) -> None:
    with pytest.raises(Refused, match="no run of entries"), shop.desk(IDA) as desk:
        mend_clock(desk, first, last, shift=timedelta(hours=1), why="battery was empty")


def test_mend_clock_as_typed(command: Command) -> None:
    """In April the wrong clock showed summer time: by the wall it was a hundred days and an hour ahead."""
    command._now += YEAR
    look = ("recheck", "record", "P-1", "--all", "not-moved", "--by", SANNE)
    assert command("--yes-today", *look).returncode == 0
    entry = str(command("recheck", "list", "--json").json["ledger_entry"])
    first = str(int(entry) - 1)  # the word that the clock was right
    command._now -= YEAR
    assert command("out", "P-1").returncode == 1
    said, was = (
        moment.astimezone(ZoneInfo(ZONE)).replace(tzinfo=None).isoformat()
        for moment in (command._now + YEAR, command._now)
    )
    assert said[11:13] == "19"
    assert was[11:13] == "18"
    run = ("--from", first, "--to", entry, "--said", said, "--was", was)
    done = command("mend-clock", *run, "--why", "battery was empty", "--by", IDA, "--json").json
    assert (done["seconds"], done["pairs"]) == (-YEAR.total_seconds(), ["P-1"])
    assert command("out", "P-1").returncode == 0
