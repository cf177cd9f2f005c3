"""A ledger of an older layout: opened, audited, read where it may not be written, never mended in passing."""

from __future__ import annotations

import json
import sqlite3
import sys
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
from typer.testing import CliRunner

import fleet.ledger.ledger as ledger_module
from fleet.audit.backup import backup, rebuild, restore
from fleet.audit.full import audit_file
from fleet.base.entries import Entry
from fleet.base.errors import LedgerFault
from fleet.events import derive
from fleet.ledger.history import pair_history
from fleet.ledger.ledger import Ledger
from fleet.ledger.migrations import bring_up
from fleet.tables.connection import BUSY_SECONDS, LedgerConnection, connect, trust
from fleet.tables.layout import LAYOUT, found_things, layout_things
from planner.cli.main import app

OLDER = sorted(Path(__file__).parent.glob("layouts/layout_*.db"))[:-1]
NOW = datetime(2026, 12, 28, 17, 30, tzinfo=UTC)


@pytest.fixture(params=OLDER, ids=lambda path: path.stem)
def old(request: pytest.FixtureRequest, tmp_path: Path) -> Path:
    copy = tmp_path / "shop.db"
    copy.write_bytes(request.param.read_bytes())
    copy.chmod(0o600)
    return copy


def _entries(path: Path) -> list[tuple[object, ...]]:
    with closing(sqlite3.connect(path)) as plain:
        return [
            *plain.execute("SELECT * FROM entries ORDER BY seq"),
            *plain.execute("SELECT * FROM notes ORDER BY seq"),
        ]


def _layout(path: Path) -> int:
    with closing(sqlite3.connect(path)) as plain:
        return int(plain.execute("PRAGMA user_version").fetchone()[0])


def _no_writing(path: Path) -> LedgerConnection:
    """As `connect` on a stick that may only be read; the superuser who runs tests may write anywhere."""
    return sqlite3.connect(
        f"{path.as_uri()}?mode=ro",
        uri=True,
        timeout=BUSY_SECONDS,
        isolation_level=None,
        factory=LedgerConnection,
    )


def test_opening_says_so_keeps_every_entry_and_gives_this_layout(old: Path) -> None:
    before = _entries(old)
    said: list[str] = []
    with Ledger.open(old, say=said.append) as ledger:
        assert found_things(ledger.connection) == layout_things()
        assert [words for words in said if "older layout" in words]
    assert _entries(old) == before
    assert _layout(old) == LAYOUT
    assert audit_file(old, now=NOW).sound


def test_a_pairs_history_is_the_same_before_and_after_an_entry_more(old: Path) -> None:
    with Ledger.open(old) as ledger:
        told = pair_history(ledger, "P-1").entries
        with ledger.transaction(by="Ida Fennweg", now=NOW) as tx:
            tx.enter("entry remarked", {"entry": told[0].entry.seq}, note="seen")
        assert [one.entry.seq for one in pair_history(ledger, "P-1").entries[:-1]] == [
            one.entry.seq for one in told
        ]


@pytest.mark.parametrize("number", [1, 2, 17, 40])
def test_bringing_up_broken_off_at_an_entry_changes_no_byte(
    old: Path, number: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    def breaks(connection: sqlite3.Connection, entry: Entry) -> None:
        if entry.seq == number:
            raise sqlite3.OperationalError("the disk went away")
        derive(connection, entry)

    before = old.read_bytes()
    monkeypatch.setattr(sys.modules[bring_up.__module__], "derive", breaks)
    with pytest.raises(LedgerFault, match="the disk went away"):
        Ledger.open(old)
    assert old.read_bytes() == before
    monkeypatch.undo()
    with Ledger.open(old):
        pass
    assert audit_file(old, now=NOW).sound


def test_an_audit_holds_it_against_its_own_layout_and_changes_no_byte(old: Path) -> None:
    before = old.read_bytes()
    report = audit_file(old, now=NOW)
    assert report.sound
    assert "older layout" in [finding.code for finding in report.findings]
    assert old.read_bytes() == before


def test_one_that_may_not_be_written_is_read_and_refuses_every_entry(
    old: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    before = old.read_bytes()
    monkeypatch.setattr(ledger_module, "connect", _no_writing)
    said: list[str] = []
    with Ledger.open(old, say=said.append) as ledger:
        assert pair_history(ledger, "P-1").pair.tag == "P-1"
        assert "can only be read" in said[-1]
        with (
            pytest.raises(LedgerFault, match="may not be written"),
            ledger.transaction(by="Ida Fennweg", now=NOW) as tx,
        ):
            tx.enter("entry remarked", {"entry": 1}, note="x")
    answer = CliRunner().invoke(app, ["--ledger", str(old), "ski", "P-1", "--json"])
    assert json.loads(answer.stdout)["tag"] == "P-1"
    assert old.read_bytes() == before


def _held_pair_made_ready(path: Path) -> None:
    with closing(connect(path)) as hand:
        trust(hand)
        with hand.unlatched():
            hand.execute("UPDATE standing SET place = 'ready' WHERE tag = 'P-3'")


def test_a_state_changed_by_hand_is_not_mended_in_passing(old: Path) -> None:
    _held_pair_made_ready(old)
    before = old.read_bytes()
    with pytest.raises(LedgerFault, match=r"table standing.*changed by hand") as fault:
        Ledger.open(old)
    assert "mountbook rebuild" in fault.value.cure
    assert old.read_bytes() == before
    (finding,) = [each for each in audit_file(old, now=NOW).findings if each.code == "state differs"]
    assert "standing P-3: place is 'ready' and should be 'hold'" in finding.sentence
    done = rebuild(old, by="Wim Tarrow", now=NOW)
    assert (done.rows, _layout(old)) == (1, LAYOUT)
    with closing(sqlite3.connect(done.kept)) as kept, closing(sqlite3.connect(":memory:")) as found:
        found.deserialize(before)
        assert list(kept.iterdump()) == list(found.iterdump())
    assert audit_file(old, now=NOW).sound
    with Ledger.open(old) as ledger:
        (newest,) = ledger.entries(after=ledger.head.seq - 1)
        assert newest.what == "state rebuilt"


def test_a_backup_of_an_older_layout_is_made_and_put_back(old: Path, tmp_path: Path) -> None:
    made = backup(old, tmp_path / "copies", now=NOW, keep=3)
    assert _layout(made.path) < LAYOUT
    done = restore(made.path, tmp_path / "again.db", by="Wim Tarrow", now=NOW)
    assert done.backup_head == made.head
    assert _layout(done.path) == LAYOUT
    assert audit_file(done.path, now=NOW).sound


def test_a_backup_whose_state_was_changed_by_hand_is_not_put_back(old: Path, tmp_path: Path) -> None:
    _held_pair_made_ready(old)
    with pytest.raises(LedgerFault, match=r"shop\.db is not sound: standing P-3"):
        restore(old, tmp_path / "again.db", by="Wim Tarrow", now=NOW)
    assert not (tmp_path / "again.db").exists()
