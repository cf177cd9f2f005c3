"""The audit of a day: the answers of the full one, from where the last ended; and what kept heads see."""

from __future__ import annotations

import json
import random
import re
import shutil
import sqlite3
from collections.abc import Callable
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fleet.audit.backup import backup, restore
from fleet.audit.checkpoint import Mark, checkpoint_of, newest_audit, open_checkpoint
from fleet.audit.daily import first_hash, kept_heads, sign_head
from fleet.audit.full import audit_file, audit_since
from fleet.audit.heads import HEADS_FILE, KeptHead, head_line, heads_in, keep_head, machine_key
from fleet.base.errors import BadInput
from fleet.checks.findings import AuditReport
from fleet.ledger.corrections import remark
from fleet.ledger.ledger import Ledger
from fleet.rules.holds import quarantine
from planner.cli.main import main
from planner.cli.session import key_path
from planner.pages.desks import desks_file, open_desks
from tests.counter.command import Command
from tests.counter.shop import IDA, NELL, WIM, Shop
from tests.few import first
from tests.ledger.random_history import ACTIONS, RandomHistory

LATER = datetime(2026, 12, 28, 8, 0, tzinfo=UTC)


def _full(path: Path, *, kept: list[KeptHead] | None = None) -> AuditReport:
    return audit_file(path, now=LATER, checkpoint=checkpoint_of(path), kept=kept or [])


def _since(path: Path, **more: object) -> AuditReport:
    report = audit_since(path, now=LATER, checkpoint=checkpoint_of(path), **more)  # type: ignore[arg-type]
    assert report is not None
    return report


def _same(one: AuditReport, other: AuditReport) -> None:
    assert one.head == other.head
    assert [str(f) for f in one.findings] == [str(f) for f in other.findings]


@pytest.mark.parametrize("seed", first(4, range(12)))
def test_day_by_day_says_what_the_full_audit_says_after_any_history(shop: Shop, seed: int) -> None:
    rng, path = random.Random(seed), shop.ledger.path
    _full(path)
    found = 0
    for _ in range(6):
        with shop.ledger.transaction(by=IDA, now=shop.now) as tx:
            hand = RandomHistory(tx, start=shop.now)
            for _ in range(rng.randint(0, 25)):
                hand.enter(rng.choice(sorted(ACTIONS)), rng.randrange(2**32))
            shop.now = max(shop.now, hand.now)
        since = _since(path)
        full = audit_file(path, now=LATER)
        _same(since, full)
        found += len(full.findings)
    assert found


def test_an_audit_with_little_time_goes_on_where_it_ended(
    shop: Shop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fleet.audit.full._BATCH", 7)
    path = shop.ledger.path
    _full(path)
    for number in range(20):
        shop.boot(f"N-{number}", 305, "alpine A")
    shop.enter("pair back", {"tag": "P-2", "said": False}, by=NELL)
    looks = iter([False, True])
    partly = _since(path, enough=lambda: next(looks))
    assert partly.left == 14
    assert "  14 entries not read yet: the next audit goes on there" in partly.lines()
    assert partly.clean
    _same(_since(path), audit_file(path, now=LATER))
    assert [f.code for f in _since(path).findings] == ["back without out"]
    shop.enter("entry remarked", {"entry": shop.ledger.head.seq}, by=IDA)
    assert _since(path).clean


def test_what_came_as_time_ran_out_is_left_for_the_next_audit(shop: Shop) -> None:
    path, over = shop.ledger.path, []
    _full(path)
    shop.boot("N-0", 305, "alpine A")

    def say(words: str) -> None:
        if words.startswith("comparing"):
            shop.boot("N-1", 305, "alpine A")
            over.append(words)

    partly = _since(path, progress=say, enough=lambda: bool(over))
    assert partly.left == 1
    assert partly.clean
    _same(_since(path), audit_file(path, now=LATER))


def test_without_a_checkpoint_or_with_one_of_another_layout_there_is_nothing_to_go_on_from(
    path: Path,
) -> None:
    assert audit_since(path, now=LATER, checkpoint=checkpoint_of(path)) is None
    _full(path)
    with closing(sqlite3.connect(checkpoint_of(path))) as file:
        file.execute("UPDATE audited SET state = 'of an older program'")
        file.commit()
    assert audit_since(path, now=LATER, checkpoint=checkpoint_of(path)) is None
    checkpoint_of(path).write_bytes(b"no database at all")
    assert audit_since(path, now=LATER, checkpoint=checkpoint_of(path)) is None
    assert _full(path).clean
    assert mark_of(checkpoint_of(path)) is not None


def test_when_it_was_made_is_read_without_waiting_for_an_audit_that_goes_on(path: Path) -> None:
    """Every command of the day asks it; a checkpoint of another layout, or none, has no such day."""
    assert newest_audit(checkpoint_of(path)) is None
    _full(path)
    with open_checkpoint(checkpoint_of(path)) as held:
        assert held is not None
        assert newest_audit(checkpoint_of(path)) == (held[1].at, held[1].full_at)
    with closing(sqlite3.connect(checkpoint_of(path))) as file:
        file.execute("UPDATE audited SET state = 'of an older program'")
        file.commit()
    assert newest_audit(checkpoint_of(path)) is None
    checkpoint_of(path).write_bytes(b"no database at all")
    assert newest_audit(checkpoint_of(path)) is None


def mark_of(path: Path) -> Mark | None:
    with open_checkpoint(path) as found:
        return found[1] if found is not None else None


def _by_hand(path: Path, *statements: str) -> None:
    """Change the file as somebody with a database browser and time would: guards off, guards on again."""
    with closing(sqlite3.connect(path)) as file:
        guards = file.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            file.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            file.execute(statement)
        for _, text in guards:
            file.execute(text)
        file.commit()


def _cut_tail(path: Path) -> None:
    """Cut the newest entry, which named nothing, and its traces in the state."""
    _by_hand(
        path,
        "DELETE FROM notes WHERE seq = (SELECT max(seq) FROM entries)",
        "DELETE FROM entry_about WHERE entry = (SELECT max(seq) FROM entries)",
        "DELETE FROM naming WHERE entry = (SELECT max(seq) FROM entries)",
        "DELETE FROM day_begun WHERE entry = (SELECT max(seq) FROM entries)",
        "DELETE FROM entries WHERE seq = (SELECT max(seq) FROM entries)",
    )


def _forged(path: Path) -> None:
    """Cut the newest entry and enter another in its place, through the door: the chain is perfect."""
    _cut_tail(path)
    with Ledger.open(path) as ledger, ledger.transaction(by=WIM, now=LATER) as tx:
        remark(tx, 1, why="as if it had always been there")


def _older_copy(path: Path) -> None:
    shutil.copyfile(path.with_name("older.db"), path)


HANDS: dict[str, tuple[Callable[[Path], None], str]] = {
    "the tail cut off": (_cut_tail, "is not in this file, which ends at entry"),
    "a forged entry in the newest one's place": (_forged, "is not the one that was printed"),
    "an older copy in the file's place": (_older_copy, "is not in this file, which ends at entry"),
}


@pytest.mark.parametrize("name", HANDS)
def test_what_the_file_alone_cannot_show_is_named_by_a_kept_head(
    shop: Shop, tmp_path: Path, name: str
) -> None:
    hand, words = HANDS[name]
    path, witness = shop.ledger.path, tmp_path / "witness"
    _policy(shop, "witness_folder", str(witness))
    shutil.copyfile(path, path.with_name("older.db"))
    with shop.desk(IDA) as desk:
        remark(desk.tx, 1, why="the newest entry")
    report = _full(path)
    assert report.head is not None
    assert sign_head(shop.ledger, report.head, now=LATER, key=tmp_path / "settings" / "head.key") == []
    assert (tmp_path / "settings" / "head.key").stat().st_mode & 0o777 == 0o600
    shop.ledger.connection.close()
    hand(path)
    assert audit_file(path, now=LATER).sound  # the file in itself tells nothing
    with Ledger.open(path) as ledger:
        kept = list(kept_heads(ledger))
    said = [f.sentence for f in audit_file(path, now=LATER, kept=kept).findings if f.code.startswith("head")]
    assert len(said) == 1
    assert words in said[0]
    assert str(witness) in said[0]
    gone = [f.code for f in _since(path).findings if f.severity == "bad"]
    assert gone == ["audited entry gone"]


def _policy(shop: Shop, name: str, value: str) -> None:
    body = {"name": name, "value": value, "unit": "text", "origin": "the shop's", "since": "2026-12-01"}
    shop.enter("policy set", body, by=WIM)


LINES: dict[str, tuple[Callable[[str], str], str]] = {
    "another entry number": (lambda line: line.replace('"entry":', '"entry":1'), "does not fit"),
    "another hash": (lambda line: line.replace('"hash":"', '"hash":"0'), "does not fit"),
    "cut off": (lambda line: line[: len(line) // 2], "is no line of a head"),
    "another day": (lambda line: line.replace("2026-12-28", "2026-12-29"), "does not fit"),
    "another root": (lambda line: line.replace('"root":"', '"root":"00'), "does not fit"),
    "another machine's key": (lambda line: line.replace('"key":"', '"key":"00'), "does not fit"),
}


def test_a_line_from_before_the_tree_is_still_read(shop: Shop, tmp_path: Path) -> None:
    ledger, head = first_hash(shop.ledger), shop.ledger.head
    line = head_line(head, shop="s", ledger=ledger, now=LATER, key=machine_key(tmp_path / "head.key"))
    keep_head(tmp_path, line)
    assert "root" not in (tmp_path / HEADS_FILE).read_text(encoding="utf-8")
    assert [(kept.head, kept.fault) for kept in heads_in(tmp_path, ledger=ledger)] == [(head, "")]


@pytest.mark.parametrize("name", LINES)
def test_a_line_that_was_changed_is_named_and_another_ledgers_is_none_of_ours(
    shop: Shop, tmp_path: Path, name: str
) -> None:
    change, words = LINES[name]
    _policy(shop, "witness_folder", str(tmp_path))
    sign_head(shop.ledger, shop.ledger.head, now=LATER, key=tmp_path / "head.key")
    file = tmp_path / HEADS_FILE
    (kept,) = kept_heads(shop.ledger)
    assert (kept.head, kept.fault) == (shop.ledger.head, "")
    assert list(heads_in(tmp_path, ledger="0" * 64)) == []
    file.write_text(change(file.read_text(encoding="utf-8").strip()) + "\n", encoding="utf-8")
    (kept,) = kept_heads(shop.ledger)
    assert kept.fault
    assert words in kept.fault
    report = audit_file(shop.ledger.path, now=LATER, kept=[kept])
    assert (report.outcome, report.exit_code) == ("bad", 3)


def test_a_head_is_kept_once_however_often_the_day_is_closed(shop: Shop, tmp_path: Path) -> None:
    _policy(shop, "witness_folder", str(tmp_path))
    for _ in range(3):
        sign_head(shop.ledger, shop.ledger.head, now=LATER, key=tmp_path / "head.key")
    shop.boot("N-1", 305, "alpine A")
    sign_head(shop.ledger, shop.ledger.head, now=LATER, key=tmp_path / "head.key")
    assert len((tmp_path / HEADS_FILE).read_text(encoding="utf-8").splitlines()) == 2
    report = audit_file(shop.ledger.path, now=LATER, kept=list(kept_heads(shop.ledger)))
    assert report.anchors == (
        f"kept heads in this file: 2 of 2, the newest of them entry {shop.ledger.head.seq}",
    )


def test_a_folder_that_is_not_there_is_said_and_stops_nobody(shop: Shop, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("")
    _policy(shop, "witness_folder", str(tmp_path / "a file" / "folder"))
    (said,) = sign_head(shop.ledger, shop.ledger.head, now=LATER, key=tmp_path / "head.key")
    assert said.startswith("no head was kept in ")
    assert list(kept_heads(shop.ledger)) == []


def test_heads_that_a_restore_left_behind_are_explained_by_its_entry(shop: Shop, tmp_path: Path) -> None:
    path = shop.ledger.path
    _policy(shop, "witness_folder", str(tmp_path))
    done = backup(path, tmp_path / "copies", now=LATER, keep=3)
    with shop.desk(NELL) as desk:
        quarantine(desk, "P-2", why="fall on the home run")
    sign_head(shop.ledger, shop.ledger.head, now=LATER, key=tmp_path / "head.key")
    shop.ledger.connection.close()
    assert checkpoint_of(path).exists()
    restore(done.path, path, by=WIM, now=LATER)
    assert not checkpoint_of(path).exists()
    with Ledger.open(path) as ledger:
        kept = list(kept_heads(ledger))
    report = audit_file(path, now=LATER, kept=kept)
    assert report.sound
    (behind,) = [f for f in report.findings if f.code == "head left behind"]
    assert "was left behind by the restore of entry" in behind.sentence


def test_a_backup_of_a_day_is_audited_from_the_checkpoint_and_damage_in_its_pages_is_seen(
    shop: Shop, tmp_path: Path
) -> None:
    path, heard = shop.ledger.path, list[str]()
    backup(path, tmp_path, now=LATER, keep=3)
    shop.boot("N-1", 305, "alpine A")
    head = shop.ledger.head.seq
    backup(path, tmp_path, now=LATER, keep=3, progress=heard.append)
    assert [words for words in heard if words.startswith("entry")] == [f"entry {head} of {head} (100 %)"]
    assert "checking pages and indexes" in heard


def test_the_commands_of_a_day(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    command = Command(path, monkeypatch, capsys)
    assert command("audit").returncode == 0
    full = mark_of(checkpoint_of(path))
    assert full is not None
    command._now += timedelta(days=1)
    command("out", "T-1", "--by", NELL)  # at the counter nobody waits for an audit
    assert mark_of(checkpoint_of(path)) == full
    command("hold-tag", "--help")
    assert command("staff", "list").returncode == 0
    mark = mark_of(checkpoint_of(path))
    assert mark is not None
    assert (mark.full_at, mark.at.date()) == (full.full_at, command._now.astimezone(UTC).date())
    with Ledger.open(path) as ledger, ledger.transaction(by=NELL, now=command._now) as tx:
        tx.enter("pair back", {"tag": "P-2", "said": False})
    asked = command("audit", "--since-last", "--json")
    assert (asked.returncode, asked.json["outcome"]) == (1, "questions")
    seq = str(asked.json["entries"])
    assert command("remark", seq, "--why", "nobody scanned it out", "--by", IDA).returncode == 0
    assert command("audit").returncode == 0


NO_SETTINGS = {
    "~/.config": "no home folder is known for this user",
    "shop.db": "cannot be used: Not a directory",
}
"""What Python's expanduser leaves for a user without a home; and a place below a file."""


@pytest.mark.parametrize("place", NO_SETTINGS)
def test_a_user_who_can_have_no_settings_is_told_where_they_may_lie_and_nothing_is_made_elsewhere(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], place: str
) -> None:
    monkeypatch.chdir(path.parent)
    monkeypatch.setenv("XDG_CONFIG_HOME", place if place.startswith("~") else str(path))
    monkeypatch.setenv("MOUNTBOOK_NOW", LATER.isoformat())
    monkeypatch.setattr("sys.argv", ["mountbook", "--ledger", str(path), "backup", "copies"])
    with pytest.raises(SystemExit) as ended:
        main()
    said, cure = capsys.readouterr().err, "set XDG_CONFIG_HOME to a folder of your own that may be written"
    assert not ended.value.code
    assert re.search(f"note: no head was signed today: .*{NO_SETTINGS[place]}; {cure}", said), said
    with pytest.raises(BadInput, match=NO_SETTINGS[place]) as refused:
        open_desks(desks_file(key_path().parent, path))
    assert refused.value.cure == cure
    assert [each.name for each in path.parent.iterdir() if each.is_dir()] == ["copies"]


def test_a_file_of_the_tree_that_another_user_made_is_used(
    shop: Shop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """EPERM of chmod(2): only the owner may."""

    def not_ours(*_: object, **__: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(Path, "chmod", not_ours)
    key = tmp_path / "head.key"
    assert sign_head(shop.ledger, shop.ledger.head, now=LATER, key=key, beside=tmp_path) == []


@pytest.mark.parametrize("named", [True, False])
def test_a_backup_leaves_a_signed_head_beside_it_without_any_setting(
    path: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    named: bool,
) -> None:
    """In the folder that was named, and in that beside the ledger, whose heads every audit reads."""
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "settings"))
    command = Command(path, monkeypatch, capsys)
    assert command("remark", "1", "--why", "the newest entry", "--by", IDA).returncode == 0
    folder = tmp_path / "stick" if named else command.ledger.parent / "backups"
    assert command("backup", *([str(folder)] if named else [])).returncode == 0
    with Ledger.open(command.ledger) as ledger:
        (kept,) = heads_in(folder, ledger=first_hash(ledger))
        assert (kept.head, kept.fault) == (ledger.head, "")
    assert command("backup", *([str(folder)] if named else [])).returncode == 0, "nothing new: no line more"
    assert len((folder / HEADS_FILE).read_text().splitlines()) == 1
    _cut_tail(command.ledger)
    found = command("audit", *(["--heads", str(folder)] if named else []))
    assert found.returncode == 3
    assert f"the printed head {kept.head} is not in this file" in found.stdout


def test_sheets_as_pdf_are_read_in_bulk_and_a_foreign_file_among_them_is_named(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    from planner.paper.sheet_frame import heads_of_sheets

    command = Command(path, monkeypatch, capsys)
    sheets = tmp_path / "sheets" / "november"
    sheets.mkdir(parents=True)
    assert command("hole-map", "P-1", "--out", str(sheets / "map.pdf")).returncode == 0
    (kept,) = heads_of_sheets(sheets.parent)
    with Ledger.open(path) as ledger:
        head = ledger.head
        assert kept.head == head, "in full, not the eight digits that people see"
        assert first_hash(ledger) != head.hash
    assert command("audit", "--heads", str(tmp_path / "sheets")).returncode == 0
    (sheets / "no sheet.pdf").write_text("a letter")
    answer = command("audit", "--heads", str(tmp_path / "sheets"))
    assert answer.returncode == 3
    assert "no sheet.pdf cannot be read as a PDF" in answer.stdout
    assert json.loads(command("audit", "--heads", str(sheets), "--json").stdout)["outcome"] == "bad"
