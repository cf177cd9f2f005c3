"""What is no ledger of ours gets one sentence and a cure, and is not touched."""

from __future__ import annotations

import os
import sqlite3
import zipfile
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from fleet.audit.backup import backup, restore
from fleet.audit.full import audit_file
from fleet.base.errors import LedgerFault
from fleet.ledger.ledger import Ledger
from fleet.tables.layout import LAYOUT

NOON = datetime(2026, 12, 28, 12, 0, tzinfo=UTC)


def _text(path: Path, ledger: Path) -> None:
    path.write_text("pair;length\nK-031;178\n" * 20, encoding="utf-8")


def _short_text(path: Path, ledger: Path) -> None:
    path.write_text("hi", encoding="utf-8")


def _workbook(path: Path, ledger: Path) -> None:
    with zipfile.ZipFile(path, "w") as book:
        book.writestr("xl/workbook.xml", "<workbook/>")


def _empty(path: Path, ledger: Path) -> None:
    path.touch()


def _foreign(path: Path, ledger: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE entries (seq INTEGER PRIMARY KEY, hash TEXT)")
    connection.commit()
    connection.close()


def _foreign_wal(path: Path, ledger: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA journal_mode = WAL")
    connection.execute("CREATE TABLE a (b)")
    connection.commit()
    connection.close()


def _newer(path: Path, ledger: Path) -> None:
    raw = bytearray(ledger.read_bytes())
    raw[60:64] = (7).to_bytes(4, "big")
    path.write_bytes(raw)


def _only_the_head(path: Path, ledger: Path) -> None:
    path.write_bytes(ledger.read_bytes()[:100])


def _fewer_than_the_head(path: Path, ledger: Path) -> None:
    path.write_bytes(ledger.read_bytes()[:60])


def _folder(path: Path, ledger: Path) -> None:
    path.mkdir()


def _missing(path: Path, ledger: Path) -> None:
    pass


def _dangling(path: Path, ledger: Path) -> None:
    path.symlink_to("nowhere.db")


FILES: dict[str, tuple[Callable[[Path, Path], None], str, str]] = {
    "a text file": (_text, "{} is not a mountbook ledger", "--ledger"),
    "a very short text file": (_short_text, "{} is not a mountbook ledger", "--ledger"),
    "a workbook": (_workbook, "{} is a workbook or a zip file, not a mountbook ledger", "mountbook import"),
    "an empty file": (_empty, "{} is an empty file, not a mountbook ledger", "--ledger"),
    "a foreign database": (_foreign, "{} is a database of another program", "--ledger"),
    "a foreign database in use elsewhere": (_foreign_wal, "{} is a database of another program", "--ledger"),
    "a ledger of a newer layout": (
        _newer,
        f"{{}} was written by a newer mountbook (layout 7, this program knows {LAYOUT})",
        "update mountbook",
    ),
    "the first bytes of a ledger": (
        _only_the_head,
        "{} is damaged: database disk image is malformed",
        "restore",
    ),
    "not even those": (_fewer_than_the_head, "{} is damaged: it ends after 60 bytes", "restore"),
    "a folder": (_folder, "{} is a folder, not a ledger", "--ledger"),
    "nothing": (_missing, "there is no ledger at {}", "mountbook import"),
    "a link to nothing": (_dangling, "{} is a link to a file that is not there", "mend the link"),
}


@pytest.mark.parametrize("name", FILES)
def test_it_gets_one_sentence_and_is_not_touched(path: Path, tmp_path: Path, name: str) -> None:
    make, sentence, cure = FILES[name]
    folder = tmp_path / "there"
    folder.mkdir()
    file = folder / "what.db"
    make(file, path)
    before = [(each.name, each.read_bytes() if each.is_file() else b"") for each in sorted(folder.iterdir())]
    for attempt in (
        lambda: Ledger.open(file),
        lambda: audit_file(file, now=NOON),
        lambda: backup(file, tmp_path / "copies", now=NOON, keep=1),
        lambda: restore(file, path, by="x", now=NOON),
    ):
        with pytest.raises(LedgerFault) as refused:
            attempt()
        assert refused.value.sentence == sentence.format(file)
        assert cure in refused.value.cure
    after = [(each.name, each.read_bytes() if each.is_file() else b"") for each in sorted(folder.iterdir())]
    assert after == before


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_one_may_not_read_gets_its_sentence(path: Path) -> None:
    path.chmod(0)
    with pytest.raises(LedgerFault, match="cannot read"):
        Ledger.open(path)
