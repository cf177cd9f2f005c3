"""Backups that were audited before they count, and the way back that loses nothing."""

from __future__ import annotations

import os
import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from fleet.audit.backup import backup, backups_in, copy_of_today, restore
from fleet.audit.full import audit_file
from fleet.base.errors import BadInput, LedgerFault
from fleet.ledger.ledger import Ledger
from tests.counter.shop import WIM, Shop

NOW = datetime(2026, 12, 28, 17, 30, tzinfo=UTC)


def test_a_backup_is_the_same_ledger_under_a_name_that_says_when_and_which(
    shop: Shop, tmp_path: Path
) -> None:
    done = backup(shop.ledger.path, tmp_path / "copies", now=NOW, keep=3)
    seq, digest = shop.ledger.head.seq, shop.ledger.head.hash[:8]
    assert done.new
    assert done.path.name == f"shop-20261228T173000Z-{seq}-{digest}.db"
    assert audit_file(done.path, now=NOW).clean
    with Ledger.open(done.path) as copy:
        assert list(copy.connection.iterdump()) == shop.dump()
    assert [file.name for file in (tmp_path / "copies").iterdir()] == [done.path.name]


def test_nothing_new_makes_no_second_copy(shop: Shop, tmp_path: Path) -> None:
    first = backup(shop.ledger.path, tmp_path / "copies", now=NOW, keep=3)
    again = backup(shop.ledger.path, tmp_path / "copies", now=NOW + timedelta(days=1), keep=3)
    assert (again.new, again.path) == (False, first.path)


def test_a_copy_that_has_rotted_does_not_stand_for_the_head_it_names(shop: Shop, tmp_path: Path) -> None:
    first = backup(shop.ledger.path, tmp_path / "copies", now=NOW, keep=3)
    _damage(first.path)
    again = backup(shop.ledger.path, tmp_path / "copies", now=NOW + timedelta(days=1), keep=3)
    assert again.new
    assert audit_file(again.path, now=NOW).clean


def test_the_newest_n_are_kept_and_nothing_else_is_touched(shop: Shop, tmp_path: Path) -> None:
    folder = tmp_path / "copies"
    folder.mkdir()
    (folder / "holiday photo.db").write_text("not ours")
    (folder / "other-20200101T000000Z-1-00000000.db").write_text("of another ledger")
    made = []
    for day in range(4):
        shop.boot(f"B-{day}", 305, "alpine A")
        made.append(backup(shop.ledger.path, folder, now=NOW + timedelta(days=day), keep=2))
    assert backups_in(folder, "shop") == [made[3].path, made[2].path]
    assert made[3].dropped == (made[1].path,)
    assert {"holiday photo.db", "other-20200101T000000Z-1-00000000.db"} < {f.name for f in folder.iterdir()}


def test_a_damaged_ledger_makes_no_backup_and_drops_no_good_one(shop: Shop, tmp_path: Path) -> None:
    good = backup(shop.ledger.path, tmp_path / "copies", now=NOW, keep=1)
    shop.boot("B-1", 305, "alpine A")
    shop.ledger.connection.close()
    _damage(shop.ledger.path)
    with pytest.raises(LedgerFault, match="the copy is not sound") as refused:
        backup(shop.ledger.path, tmp_path / "copies", now=NOW + timedelta(days=1), keep=1)
    assert "older backups were kept" in refused.value.cure
    assert list((tmp_path / "copies").iterdir()) == [good.path]


def test_a_clock_set_back_does_not_drop_the_copy_just_made(shop: Shop, tmp_path: Path) -> None:
    backup(shop.ledger.path, tmp_path / "copies", now=NOW, keep=1)
    shop.boot("B-1", 305, "alpine A")
    early = backup(shop.ledger.path, tmp_path / "copies", now=NOW - timedelta(days=30), keep=1)
    assert early.path.exists()


def test_keeping_none_is_refused(path: Path, tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="at least one"):
        backup(path, tmp_path / "copies", now=NOW, keep=0)


def test_a_restore_brings_the_backup_back_and_keeps_the_old_file(shop: Shop, tmp_path: Path) -> None:
    copy = backup(shop.ledger.path, tmp_path / "copies", now=NOW, keep=3)
    shop.boot("B-LATER", 305, "alpine A")
    late = shop.ledger.head
    old_bytes = shop.ledger.path.read_bytes()
    shop.ledger.connection.close()
    done = restore(copy.path, shop.ledger.path, by=WIM, now=NOW)
    assert (done.backup_head, done.replaced_head) == (copy.head, late)
    assert done.kept is not None
    assert done.kept.read_bytes() == old_bytes
    report = audit_file(done.path, now=NOW)
    assert report.clean
    with Ledger.open(done.path) as ledger:
        (entry,) = ledger.entries(after=copy.head.seq)
        assert entry.what == "ledger restored"
        assert entry.body == {"head": str(copy.head), "replaced": str(late), "passes": "stand"}
        assert not ledger.connection.execute("SELECT 1 FROM boot WHERE tag = 'B-LATER'").fetchone()


def test_a_damaged_backup_is_not_restored_and_the_ledger_stays(shop: Shop, tmp_path: Path) -> None:
    copy = backup(shop.ledger.path, tmp_path / "copies", now=NOW, keep=3)
    _damage(copy.path)
    before = shop.ledger.path.read_bytes()
    with pytest.raises(LedgerFault):
        restore(copy.path, shop.ledger.path, by=WIM, now=NOW)
    assert shop.ledger.path.read_bytes() == before
    assert {file.name for file in tmp_path.iterdir()} == {"shop.db", "shop.db.audited", "copies"}


def test_a_full_disk_of_the_copies_is_named_and_not_that_of_the_ledger(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened = sqlite3.connect

    def small(*where: Any, **more: Any) -> sqlite3.Connection:
        file = opened(*where, **more)
        if "unfinished" in str(where[0]):
            file.execute("PRAGMA max_page_count = 3")
        return file

    monkeypatch.setattr("fleet.audit.backup.sqlite3.connect", small)
    with pytest.raises(LedgerFault, match=f"the disk that holds {tmp_path / 'stick'} is full"):
        backup(shop.ledger.path, tmp_path / "stick", now=NOW, keep=3)
    assert list((tmp_path / "stick").iterdir()) == []


@pytest.mark.parametrize("state", ["missing", "damaged in the middle", "text now", "empty", "cut off"])
def test_a_ledger_that_is_gone_or_ruined_is_replaced(path: Path, tmp_path: Path, state: str) -> None:
    copy = backup(path, tmp_path / "copies", now=NOW, keep=3)
    ruin = {
        "missing": lambda: path.unlink(),
        "damaged in the middle": lambda: _damage(path),
        "text now": lambda: path.write_text("oh no" * 500),
        "empty": lambda: path.write_bytes(b""),
        "cut off": lambda: path.write_bytes(path.read_bytes()[:5000]),
    }
    ruin[state]()
    done = restore(copy.path, path, by=WIM, now=NOW)
    assert (done.kept is None) == (state == "missing")
    assert audit_file(path, now=NOW).clean


def test_a_journal_left_by_a_crash_of_the_old_file_never_meets_the_new_one(
    path: Path, tmp_path: Path
) -> None:
    copy = backup(path, tmp_path / "copies", now=NOW, keep=3)
    path.write_text("ruined" * 500)
    (tmp_path / "shop.db-journal").write_bytes(b"\xd9\xd5\x05\xf9\x20\xa1\x63\xd7" + b"\0" * 1000)
    done = restore(copy.path, path, by=WIM, now=NOW)
    assert done.kept is not None
    assert not (tmp_path / "shop.db-journal").exists()
    assert audit_file(path, now=NOW).clean


def test_a_ledger_in_use_is_not_replaced_under_the_counter_s_hands(path: Path, tmp_path: Path) -> None:
    copy = backup(path, tmp_path / "copies", now=NOW, keep=3)
    before = path.read_bytes()
    with closing(sqlite3.connect(path, isolation_level=None)) as counter:
        counter.execute("BEGIN IMMEDIATE")
        counter_waits = pytest.MonkeyPatch()
        counter_waits.setattr("fleet.tables.connection.BUSY_SECONDS", 0.05)
        with pytest.raises(LedgerFault, match="another program is using"):
            restore(copy.path, path, by=WIM, now=NOW)
        counter_waits.undo()
    assert path.read_bytes() == before


def test_a_counter_that_still_holds_the_replaced_file_is_told_and_loses_nothing(
    shop: Shop, tmp_path: Path
) -> None:
    """SQLite notices that the file under an open connection got another name."""
    copy = backup(shop.ledger.path, tmp_path / "copies", now=NOW, keep=3)
    restore(copy.path, shop.ledger.path, by=WIM, now=NOW)
    with pytest.raises(LedgerFault, match="was moved or replaced while it was open"):
        shop.boot("B-LATER", 305, "alpine A")


def test_a_link_to_the_ledger_stays_a_link(path: Path, tmp_path: Path) -> None:
    copy = backup(path, tmp_path / "copies", now=NOW, keep=3)
    link = tmp_path / "on the desktop.db"
    link.symlink_to(path)
    restore(copy.path, link, by=WIM, now=NOW)
    assert link.is_symlink()
    assert audit_file(link, now=NOW).clean


def test_restoring_the_ledger_onto_itself_is_refused(path: Path) -> None:
    with pytest.raises(BadInput, match="is the ledger in use"):
        restore(path, path, by=WIM, now=NOW)


def test_backups_are_for_this_user_only_and_a_restore_keeps_the_ledgers_mode(
    path: Path, tmp_path: Path
) -> None:
    path.chmod(0o660)
    copy = backup(path, tmp_path / "copies", now=NOW, keep=3)
    assert copy.path.stat().st_mode & 0o777 == 0o600
    restore(copy.path, path, by=WIM, now=NOW)
    assert path.stat().st_mode & 0o777 == 0o660


def test_the_first_opening_of_a_day_makes_the_automatic_copy_if_a_folder_is_set(
    shop: Shop, tmp_path: Path
) -> None:
    assert copy_of_today(shop.ledger, now=NOW) is None
    shop.enter(
        "policy set",
        {
            "name": "backup_folder",
            "value": str(tmp_path / "each day"),
            "unit": "text",
            "origin": "the shop",
            "since": "2026-12-28",
        },
    )
    first = copy_of_today(shop.ledger, now=NOW)
    assert first is not None
    shop.boot("B-1", 305, "alpine A")
    assert copy_of_today(shop.ledger, now=NOW + timedelta(hours=2)) is None
    # 23:30 in Vienna is 22:30 UTC: the day turns by the shop's calendar.
    assert copy_of_today(shop.ledger, now=datetime(2026, 12, 28, 22, 59, tzinfo=UTC)) is None
    second = copy_of_today(shop.ledger, now=datetime(2026, 12, 28, 23, 1, tzinfo=UTC))
    assert second is not None
    assert second.new


def test_a_careless_copy_of_a_file_under_change_is_what_a_backup_avoids(shop: Shop, tmp_path: Path) -> None:
    """In the middle of an action that has spilled, the file on the disk is no ledger; the backup is one.

    The half is refused or named as soon as somebody looks at it.
    """
    ledger = shop.ledger
    ledger.connection.execute("PRAGMA cache_size = 10")
    with ledger.transaction(by=WIM, now=shop.tick()) as tx:
        for number in range(600):
            body = {"file": "x" * 400, "sha256": str(number), "left_out": [], "counts": {}}
            tx.enter("import applied", body)
        shutil.copyfile(ledger.path, tmp_path / "careless.db")
    try:
        sound = audit_file(tmp_path / "careless.db", now=NOW).sound
    except LedgerFault:
        sound = False
    assert not sound
    assert audit_file(backup(ledger.path, tmp_path / "copies", now=NOW, keep=1).path, now=NOW).sound


def _damage(path: Path) -> None:
    """A hundred bytes in the middle of an entry's text overwritten, sizes unchanged."""
    raw = bytearray(path.read_bytes())
    place = raw.index(b'"model":"Invented boot"')
    raw[place : place + 20] = os.urandom(20)
    path.write_bytes(raw)
