"""Paths as shops have them, rights, links, network drives; and what is printed on a terminal."""

from __future__ import annotations

import ast
import json
import os
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from fleet.audit.backup import backup, restore
from fleet.audit.full import audit_file
from fleet.audit.surroundings import mounted_as, network_warning, opening_notes
from fleet.base.errors import LedgerFault
from fleet.ledger.ledger import Ledger
from fleet.tables.sqlite_faults import ledger_fault
from tests.counter.shop import IDA, NELL, WIM, Shop

ROOT = Path(__file__).parents[2]
NOW = datetime(2026, 12, 28, 17, 30, tzinfo=UTC)

NAMES = {
    "spaces": "our shop  2026.db",
    "umlauts": "Skiverleih Grüße.db",
    "cyrillic and greek": "лыжи Σκι.db",
    "chinese": "滑雪.db",
    "question mark, hash and per cent": "what? 100% #1 & more.db",
    "an apostrophe and quotes": 'Ida\'s "best".db',
    "a leading dash": "--ledger.db",
    "looks like memory": ":memory:",
    "looks like a uri": "file:x.db",
    "a line break": "two\nlines.db",
    "no utf-8 at all": os.fsdecode(b"caf\xe9.db"),
}


@pytest.mark.parametrize("name", NAMES)
def test_a_ledger_may_have_any_name_the_disk_takes(path: Path, tmp_path: Path, name: str) -> None:
    folder = tmp_path / "Läden und Filialen"
    folder.mkdir()
    placed = folder / NAMES[name]
    shutil.move(path, placed)
    with Ledger.open(placed) as ledger, ledger.transaction(by=WIM, now=NOW) as tx:
        tx.enter("entry remarked", {"entry": 1})
    copy = backup(placed, folder / "cop ies", now=NOW, keep=2)
    restore(copy.path, placed, by=WIM, now=NOW)
    assert audit_file(placed, now=NOW).sound


@pytest.mark.parametrize("name", ["question mark, hash and per cent", "a leading dash", "no utf-8 at all"])
def test_the_command_line_takes_it_too_and_prints_it_harmless(path: Path, tmp_path: Path, name: str) -> None:
    placed = tmp_path / NAMES[name]
    shutil.move(path, placed)
    result = _mountbook("--ledger", str(placed), "audit", "--json")
    assert result.returncode == 0, result.stderr
    assert json.loads(result.stdout)["outcome"] == "clean"


def _mountbook(*args: str, **environment: str) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "planner.cli.main", *args],
        capture_output=True,
        cwd=ROOT,
        env=os.environ | {"MOUNTBOOK_NOW": "2026-12-28T18:30:00+01:00"} | environment,
        check=False,
        timeout=120,
    )


def test_a_relative_name_means_the_folder_one_stands_in(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(path.parent)
    with Ledger.open(Path(path.name)) as ledger:
        assert ledger.head.seq > 1


def test_a_new_ledger_is_for_its_owner_only_whatever_the_umask_says(tmp_path: Path) -> None:
    old = os.umask(0)
    try:
        with Ledger.create(tmp_path / "a.db", shop="S", zone="UTC", by="x", now=NOW):
            assert (tmp_path / "a.db").stat().st_mode & 0o777 == 0o600
    finally:
        os.umask(old)


def test_a_ledger_others_may_read_is_noted_and_stays_as_it_is(path: Path) -> None:
    path.chmod(0o644)
    (finding,) = audit_file(path, now=NOW).findings
    assert (finding.code, finding.cure) == ("file mode", f"chmod 600 {path}")
    assert path.stat().st_mode & 0o777 == 0o644


def test_a_second_name_of_the_file_is_noted(path: Path, tmp_path: Path) -> None:
    os.link(path, tmp_path / "second.db")
    assert [f.code for f in audit_file(path, now=NOW).findings] == ["two names"]


def test_a_link_opens_the_ledger_and_its_journal_lies_beside_the_real_one(path: Path, tmp_path: Path) -> None:
    """A journal beside the link would not be found by whoever opens the real name after a crash."""
    folder = tmp_path / "desktop"
    folder.mkdir()
    link = folder / "ledger.db"
    link.symlink_to(path)
    with Ledger.open(link) as ledger, ledger.transaction(by=WIM, now=NOW) as tx:
        tx.enter("entry remarked", {"entry": 1})
        assert (tmp_path / "shop.db-journal").exists()
    assert [file.name for file in folder.iterdir()] == ["ledger.db"]


@pytest.mark.skipif(os.geteuid() != 0, reason="needs to give up being root, so to be root first")
def test_a_ledger_in_a_folder_that_may_only_be_read_is_read_and_not_written(path: Path) -> None:
    """The test's user may write anywhere, so a child gives that up once it has imported all it needs."""
    folder = Path(tempfile.mkdtemp(dir="/var/tmp"))  # pytest's own folders let no other user in
    folder.chmod(0o755)
    placed = folder / "shop.db"
    shutil.move(path, placed)
    placed.chmod(0o644)
    before = placed.read_bytes()
    result = subprocess.run(
        [sys.executable, "-c", _READER, str(placed)],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
        timeout=60,
    )
    assert result.stdout.splitlines() == [
        "True True",
        f"{placed} or its folder may not be written by you",
        f"cannot write {folder / 'new.db'}: Permission denied",
    ], result.stderr
    assert placed.read_bytes() == before
    shutil.rmtree(folder)


_READER = """
import os, sys, urllib.parse
from datetime import UTC, datetime
from pathlib import Path
from fleet.audit.full import audit_file
from fleet.base.errors import LedgerFault
from fleet.ledger.ledger import Ledger
os.setgid(65534); os.setuid(65534)
now, path = datetime(2026, 12, 28, tzinfo=UTC), Path(sys.argv[1])
with Ledger.open(path) as ledger:
    print(ledger.head.seq > 1, audit_file(path, now=now).sound)
    try:
        with ledger.transaction(by="x", now=now) as tx:
            tx.enter("entry remarked", {"entry": 1})
    except LedgerFault as fault:
        print(fault.sentence)
try:
    Ledger.create(path.parent / "new.db", shop="S", zone="UTC", by="x", now=now)
except LedgerFault as fault:
    print(fault.sentence)
"""


MOUNTS = r"""
24 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw
31 24 0:27 / /mnt/shop\040share rw,relatime shared:5 - cifs //server/shop rw,vers=3.0
32 24 0:28 / /home rw - nfs4 server:/home rw
33 32 0:29 / /home/ida/local rw - btrfs /dev/sdb rw
""".strip()


@pytest.mark.parametrize(
    ("place", "kind"),
    [
        ("/srv/mountbook.db", "ext4"),
        ("/mnt/shop share/mountbook.db", "cifs"),
        ("/mnt/shop sharex/mountbook.db", "ext4"),
        ("/home/ida/mountbook.db", "nfs4"),
        ("/home/ida/local/mountbook.db", "btrfs"),
    ],
)
def test_the_kernels_table_of_mounts_says_what_disk_it_is(place: str, kind: str) -> None:
    """The table's form is that of proc(5), with octal escapes for spaces."""
    assert mounted_as(Path(place), MOUNTS) == kind


def test_a_network_drive_is_warned_of_at_every_open(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    table = tmp_path / "mountinfo"
    table.write_text(
        f"24 1 8:1 / / rw - ext4 /dev/sda1 rw\n40 24 0:9 / {path.parent.resolve()} rw - nfs4 s:/x rw\n"
    )
    assert network_warning(path) is None
    monkeypatch.setattr("fleet.audit.surroundings._MOUNTS", table)
    warning = "the ledger lies on a network drive (nfs4), whose locks and caches may fail"
    assert network_warning(path) == warning
    assert [f.sentence for f in audit_file(path, now=NOW).findings] == [warning]
    with Ledger.open(path) as ledger:
        assert opening_notes(ledger.connection, path, now=NOW) == [warning]


@pytest.mark.parametrize("kind", ["virtiofs", "vboxsf", "9p", "lustre", "gfs2", "ocfs2"])
def test_a_folder_of_another_machine_that_a_virtual_one_shows_is_named(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str
) -> None:
    """Names of file systems of the kernel that two machines may write at once."""
    table = tmp_path / "mountinfo"
    table.write_text(f"40 24 0:9 / {path.parent.resolve()} rw - {kind} x rw\n")
    monkeypatch.setattr("fleet.audit.surroundings._MOUNTS", table)
    said = f"the ledger lies on a network drive ({kind}), whose locks and caches may fail"
    assert network_warning(path) == said


@pytest.mark.parametrize(
    ("kind", "named"), [("fuse.gvfsd-fuse", True), ("fuse.anything", True), ("fuseblk", False)]
)
def test_a_drive_that_a_program_imitates_is_named_and_a_disk_is_not(
    path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, kind: str, named: bool
) -> None:
    table = tmp_path / "mountinfo"
    table.write_text(f"40 24 0:9 / {path.parent.resolve()} rw - {kind} x rw\n")
    monkeypatch.setattr("fleet.audit.surroundings._MOUNTS", table)
    warning = f"the ledger lies on a drive that a program imitates ({kind}), whose locks may fail"
    assert network_warning(path) == (warning if named else None)


@pytest.mark.parametrize(
    ("name", "warned"), [(".stfolder", True), (".sync", True), (".ssh", False), (".stuff", False)]
)
def test_a_folder_that_is_kept_alike_on_several_machines_is_named(
    path: Path, tmp_path: Path, name: str, warned: bool
) -> None:
    inner = tmp_path / "shop" / "winter"
    inner.mkdir(parents=True)
    (tmp_path / "shop" / name).mkdir()
    placed = inner / "shop.db"
    shutil.move(path, placed)
    said = network_warning(placed)
    assert (said is not None and str(tmp_path / "shop") in said) is warned


def test_a_clock_that_is_behind_the_newest_entry_is_told_at_every_open(shop: Shop) -> None:
    connection, path = shop.ledger.connection, shop.ledger.path
    assert opening_notes(connection, path, now=shop.now) == []
    (words,) = opening_notes(connection, path, now=shop.now - timedelta(hours=1))
    assert words.startswith("the newest entry was written at Sun 27 Dec 2026 0")


# What is in the data cannot act on a terminal.

NASTY = {
    "clear the screen": "\x1b[2J\x1b[H",
    "set the title": "\x1b]0;owned\x07",
    "an eight-bit control": "\x9b31m",
    "right to left": "\u202edlog\u202c",
    "markup of a text library": "[bold red]all clear[/]",
    "backspaces": "held\b\b\b\bfree",
    "a carriage return": "held\rfree",
    "a byte order mark": "\ufeffx",
}
_RAW = {"\x1b", "\x07", "\x9b", "\u202e", "\u202c", "\b", "\r", "\ufeff"}


def test_nothing_in_the_data_acts_on_a_terminal(shop: Shop) -> None:
    """All of them in one tag, model, rack, note and argument: five commands print what they must."""
    text = " ".join(NASTY.values())
    tag = f"N{text}"
    shop.enter("pair recorded", _pair_body(tag), by=WIM)
    with shop.ledger.transaction(by=IDA, now=shop.tick()) as tx:
        tx.enter("entry remarked", {"entry": shop.ledger.head.seq}, note=text)
    shop.ledger.connection.close()
    for args in (
        ["ski", tag],
        ["ski", tag, "--json"],
        ["audit"],
        ["ski", f"{tag}?"],
        ["--ledger", text, "audit"],
    ):
        result = _mountbook("--ledger", str(shop.ledger.path), *args)
        printed = (result.stdout + result.stderr).decode()
        assert not _RAW & set(printed), (args, printed)
        assert "Traceback" not in printed
        if args[-1] == "--json":
            assert json.loads(result.stdout)["tag"] == tag
        if args == ["ski", tag]:
            assert "[bold red]all clear[/]" in printed, "shown as it is, not taken as a colour"


def _pair_body(tag: str) -> dict[str, object]:
    ski = {
        "mark_from_tail_um": None,
        "zone_back_um": None,
        "zone_front_um": None,
        "zone_half_width_um": None,
    }
    return {
        "tag": tag,
        "model": f"model {tag}",
        "kind": "alpine",
        "length_mm": 1700,
        "waist_um": None,
        "construction": None,
        "rack": tag,
        "earlier_mounts": 0,
        "skis": {"A": ski, "B": ski},
    }


def test_a_terminal_without_utf8_gets_escapes_not_a_traceback(path: Path) -> None:
    result = _mountbook("--ledger", str(path), "ski", "P-2", PYTHONIOENCODING="ascii")
    assert result.returncode == 0, result.stderr
    assert b"\\u201c" in result.stdout


@pytest.mark.parametrize(
    "code",
    [
        "SQLITE_BUSY",
        "SQLITE_FULL",
        "SQLITE_IOERR_WRITE",
        "SQLITE_READONLY",
        "SQLITE_CORRUPT",
        "SQLITE_CANTOPEN",
        "",
    ],
)
def test_whatever_sqlite_says_is_one_sentence_with_a_cure(code: str) -> None:
    fault = sqlite3.OperationalError("something internal")
    fault.sqlite_errorname = code
    told = ledger_fault(fault, Path("shop.db"))
    assert told.sentence.startswith(("shop.db", "another program", "the disk"))
    assert "nothing was changed" in told.cure
    assert isinstance(told, LedgerFault)


# No network, no shell.

_FORBIDDEN = {
    "socket", "ssl", "http", "urllib", "ftplib", "smtplib", "telnetlib", "xmlrpc", "socketserver", "asyncio",
    "requests", "httpx", "aiohttp", "pty", "webbrowser",
}  # fmt: skip


@pytest.mark.parametrize("package", ["fleet"])
def test_the_ledger_imports_nothing_that_could_reach_a_network_or_a_shell(package: str) -> None:
    for file in (ROOT / package).rglob("*.py"):
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
            names = (
                [alias.name for alias in node.names]
                if isinstance(node, ast.Import)
                else [node.module or ""]
                if isinstance(node, ast.ImportFrom)
                else []
            )
            for name in names:
                assert name.split(".")[0] not in _FORBIDDEN | {"subprocess"}, f"{file} imports {name}"
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "os":
                assert not node.attr.startswith(("system", "popen", "exec", "spawn", "fork")), file


def test_no_command_that_looks_after_the_ledger_opens_a_socket_or_a_process(
    path: Path, tmp_path: Path
) -> None:
    """Python's own audit hook sees every attempt, whoever makes it."""
    code = _WATCHED.format(path=str(path), copies=str(tmp_path / "copies"), by=NELL)
    result = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        cwd=ROOT,
        check=False,
        timeout=120,
        env=os.environ | {"MOUNTBOOK_NOW": "2026-12-28T18:30:00+01:00"},
    )
    assert result.stdout == "[]\n", result.stderr


_WATCHED = """
import sys
seen = []
WATCHED = ("socket.", "subprocess.", "os.system", "os.exec", "os.posix_spawn", "os.fork", "urllib.")
def hook(event, args):
    if event.startswith(WATCHED):
        seen.append(event)
sys.addaudithook(hook)
from typer.testing import CliRunner
from planner.cli.main import app
for args in (
    ["audit"],
    ["backup", {copies!r}],
    ["ski", "P-1"],
    ["remark", "5", "--why", "x", "--by", {by!r}],
):
    assert CliRunner().invoke(app, ["--ledger", {path!r}, *args]).exit_code == 0, args
print(seen)
"""
