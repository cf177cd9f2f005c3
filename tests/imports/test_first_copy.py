"""A ledger that an import begins has a place for copies, a first copy, and an audit to go on from."""

from __future__ import annotations

from pathlib import Path

import pytest

from fleet.audit.checkpoint import open_checkpoint
from fleet.ledger.ledger import Ledger
from fleet.tables.snapshot import read_policy
from planner.cli import session
from tests.counter.command import Command

PAIRS = "tag,model,kind,length_cm,construction\nK-1,Invented ski,alpine,170,metal\n"


@pytest.fixture
def begin(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Command:
    (tmp_path / "skis.csv").write_text(PAIRS)
    monkeypatch.chdir(tmp_path)
    (tmp_path / "shop").mkdir()
    return Command(tmp_path / "shop" / "own.db", monkeypatch, capsys)


def _setting(path: Path) -> tuple[str, str]:
    with Ledger.open(path) as ledger:
        found = read_policy(ledger.connection).setting("backup_folder")
    return found.value, found.origin


def test_a_script_gets_copies_beside_the_ledger_and_the_first_one_at_once(
    begin: Command, tmp_path: Path
) -> None:
    assert begin("import", "skis.csv", "--apply", "--zone", "Europe/Vienna").returncode == 0
    path = tmp_path / "shop" / "own.db"
    assert _setting(path) == (
        "backups",
        "our default: beside the ledger, as long as no other disk is named",
    )
    assert len(list((tmp_path / "shop" / "backups").glob("own-*.db"))) == 1
    with Ledger.open(path) as ledger, open_checkpoint(path.with_name("own.db.audited")) as found:
        assert found is not None
        assert found[1].head == ledger.head
    assert begin("audit").returncode == 0


def test_copies_go_there_wherever_the_command_is_typed(
    begin: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begin("import", "skis.csv", "--apply", "--zone", "Europe/Vienna")
    (tmp_path / "elsewhere").mkdir()
    monkeypatch.chdir(tmp_path / "elsewhere")
    begin("stock", "list")  # the same day: nothing more
    assert len(list((tmp_path / "shop" / "backups").glob("own-*.db"))) == 1
    begin.wait(minutes=24 * 60)
    begin("staff", "add", "Wim Tarrow", "--role", "manager", "--until", "2028-05-31")
    begin.wait(minutes=24 * 60)
    begin("stock", "list")
    assert len(list((tmp_path / "shop" / "backups").glob("own-*.db"))) == 2
    assert not list((tmp_path / "elsewhere").iterdir())


@pytest.mark.parametrize(("typed", "folder"), [("", "shop/backups"), ("stick", "stick")])
def test_on_a_terminal_another_disk_is_asked_for(
    begin: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, typed: str, folder: str
) -> None:
    asked: list[str] = []

    def answer(question: str) -> str:
        asked.append(question)
        return typed

    monkeypatch.setattr(session, "may_ask", lambda: True)
    monkeypatch.setattr(session, "asked", answer)
    begin("import", "skis.csv", "--apply", "--zone", "Europe/Vienna")
    begin("import", "skis.csv", "--apply")
    assert len(asked) == 1, "a ledger is begun once"
    assert "another disk" in asked[0]
    assert len(list((tmp_path / folder).glob("own-*.db"))) == 1


def test_a_folder_that_cannot_be_made_costs_the_copy_and_not_the_import(
    begin: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session, "may_ask", lambda: True)
    monkeypatch.setattr(session, "asked", lambda _: str(tmp_path / "skis.csv" / "folder"))
    assert begin("import", "skis.csv", "--apply", "--zone", "Europe/Vienna").returncode == 0
    with Ledger.open(tmp_path / "shop" / "own.db") as ledger:
        assert ledger.head.seq >= 3


def test_a_dry_run_asks_nothing_and_leaves_nothing(
    begin: Command, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(session, "may_ask", lambda: True)
    monkeypatch.setattr(session, "asked", lambda _: pytest.fail("a dry run asks nothing"))
    begin("import", "skis.csv")
    assert not list((tmp_path / "shop").iterdir())
