"""A time given with --at: last season may be entered, a slip in the year may not; and clocks that differ."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from typer.testing import CliRunner

from fleet.base.entries import parse_utc
from fleet.base.errors import BadInput
from fleet.ledger.desk import Desk
from fleet.rules.holds import hold
from planner.cli.main import app
from tests.counter.shop import IDA, NELL, ZONE, Shop


def _first(shop: Shop) -> datetime:
    (first,) = shop.ledger.connection.execute("SELECT recorded_at_utc FROM entries WHERE seq = 1").fetchone()
    return parse_utc(first)


def test_last_autumn_may_be_entered_into_a_ledger_opened_this_year(shop: Shop) -> None:
    at = _first(shop) - timedelta(days=400)
    with shop.desk(IDA, at=at) as desk:
        assert desk.before_first_entry == timedelta(days=400)
        hold(desk, "P-1", why="found bent last autumn")
    assert parse_utc(next(shop.ledger.entries(after=shop.ledger.head.seq - 1)).stated_at_utc) == at


def test_a_time_long_before_the_first_entry_is_refused_and_the_policy_says_how_long(shop: Shop) -> None:
    before = shop.ledger.head
    with pytest.raises(BadInput, match="lies more than 400 days before the first entry") as refused:
        _desk(shop, _first(shop) - timedelta(days=400, minutes=1))
    assert "back_date_days" in refused.value.cure
    assert shop.ledger.head == before
    row = {"name": "back_date_days", "value": "3000", "unit": "days", "origin": "paper records", "since": ""}
    shop.enter("policy set", row | {"since": "2026-12-27"})
    _desk(shop, _first(shop) - timedelta(days=2999))


def _desk(shop: Shop, at: datetime) -> None:
    with shop.desk(IDA, at=at):
        pass


def test_a_time_after_the_first_entry_needs_no_policy(shop: Shop) -> None:
    with shop.desk(IDA, at=_first(shop)) as desk:
        assert not desk.before_first_entry


def test_a_time_to_come_is_told_beside_what_the_clock_says(shop: Shop) -> None:
    with pytest.raises(BadInput) as refused:
        _desk(shop, datetime(2027, 3, 1, 9, tzinfo=UTC))
    assert refused.value.sentence.startswith(
        "Mon 1 Mar 2027 10:00 has not come yet: this machine's clock says"
    )


def test_without_at_a_look_before_its_return_is_a_matter_of_clocks(shop: Shop) -> None:
    """The other counter's clock is ahead: where nobody gave a time, there is none to be checked."""
    behind = parse_utc(shop.standing("T-1").returned.at) - timedelta(minutes=5)
    with shop.ledger.transaction(by=NELL, now=behind) as tx:
        assert "a clock is wrong" in _cure(Desk(tx=tx, by=NELL, now=behind, zone=ZONE), shop)
    with shop.ledger.transaction(by=NELL, now=shop.now) as tx:
        late = Desk(tx=tx, by=NELL, now=shop.now, zone=ZONE, stated=behind)
        assert _cure(late, shop) == "check the time given with --at"


def _cure(desk: Desk, shop: Shop) -> str:
    with pytest.raises(BadInput, match="T-1 came back") as refused:
        desk.check_after(shop.standing("T-1").returned, "T-1", "came back")
    return refused.value.cure


def test_the_command_notes_a_time_before_the_ledger(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("MOUNTBOOK_NOW", "2026-12-28T18:00:00+01:00")
    words = ["--ledger", str(path), "hold", "P-1", "--why", "bent", "--by", NELL, "--at", "2026-01-05T10:00"]
    done = CliRunner().invoke(app, words)
    assert done.exit_code == 0
    assert "before the ledger's first entry" in done.stderr
