"""From layout to layout: in one transaction, by the first of many, or not at all."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from multiprocessing import get_context
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import LedgerFault
from fleet.ledger.ledger import Ledger
from fleet.ledger.migrations import STEPS, LayoutStep, bring_up
from fleet.ledger.migrations.bring_up import layout_file
from fleet.tables.connection import connect
from fleet.tables.layout import LAYOUT, found_things, layout_statements, layout_things
from tests.ledger.busy import SAID

RELEASED = sorted(Path(__file__).parent.glob("layouts/layout_*.db"))
NOW = datetime(2026, 12, 28, 17, 30, tzinfo=UTC)

# A layout 2 that never was: one table more, one column more in the entries' table.
NEXT = (
    *(
        statement.replace("hash TEXT NOT NULL\n)", "hash TEXT NOT NULL, device TEXT\n)")
        for statement in layout_statements()
    ),
    "CREATE TABLE jig (name TEXT PRIMARY KEY) STRICT",
)


def _add_device(connection: sqlite3.Connection) -> None:
    connection.execute("ALTER TABLE entries ADD COLUMN device TEXT")


STEP = {LAYOUT: LayoutStep(start=LAYOUT, old=layout_things(), change_entries=_add_device)}


def _bring_up(path: Path, *, steps: dict[int, LayoutStep] = STEP) -> None:
    with closing(connect(path)) as connection:
        bring_up(connection, path, steps=steps, target=LAYOUT + 1, new=NEXT)


def _tables(path: Path) -> dict[str, list[tuple[object, ...]]]:
    with closing(sqlite3.connect(path)) as connection:
        names = [row[0] for row in connection.execute("SELECT name FROM sqlite_schema WHERE type = 'table'")]
        return {name: sorted(map(repr, connection.execute(f"SELECT * FROM {name}"))) for name in names}


def test_a_step_keeps_every_entry_and_note_and_derives_the_state_again(path: Path) -> None:
    before = _tables(path)
    _bring_up(path)
    after = _tables(path)
    assert after.pop("jig") == []
    assert [row.replace(", None)", ")") for row in after["entries"]] == [
        row.replace(", None)", ")") for row in before["entries"]
    ]
    assert {name: rows for name, rows in after.items() if name != "entries"} == {
        name: rows for name, rows in before.items() if name != "entries"
    }
    assert any(SAID in row for row in after["notes"])
    with closing(connect(path)) as connection:
        assert connection.execute("PRAGMA user_version").fetchone()[0] == LAYOUT + 1
        guards = {thing.text for thing in found_things(connection) if thing.kind == "trigger"}
        assert guards == {text for text in NEXT if text.startswith("CREATE TRIGGER")}


def test_a_step_twice_is_a_step_once(path: Path) -> None:
    _bring_up(path)
    before = path.read_bytes()
    _bring_up(path)
    assert path.read_bytes() == before


def _one_of_four(path: Path) -> None:
    _bring_up(path)


def test_four_processes_at_once_make_one_step(path: Path) -> None:
    context = get_context("spawn")
    processes = [context.Process(target=_one_of_four, args=(path,)) for _ in range(4)]
    for process in processes:
        process.start()
    for process in processes:
        process.join(60)
    assert [process.exitcode for process in processes] == [0, 0, 0, 0]
    assert "jig" in _tables(path)


def _fails(connection: sqlite3.Connection) -> None:
    connection.execute("ALTER TABLE entries ADD COLUMN device TEXT")
    connection.execute("INSERT INTO no_such_table VALUES (1)")


BROKEN = {
    "the step fails half way": (
        {LAYOUT: LayoutStep(start=LAYOUT, old=layout_things(), change_entries=_fails)},
        "",
        "no such table",
    ),
    "no step from there": ({}, "", "this program cannot read"),
    "the tables are not what the layout says": (
        STEP,
        "DROP TRIGGER entries_no_update",
        "its tables are not those of layout",
    ),
    "an entry is damaged": (
        STEP,
        "DROP TRIGGER entries_no_update; UPDATE entries SET by = 'x' WHERE seq = 7;"
        "CREATE TRIGGER entries_no_update BEFORE UPDATE ON entries\n"
        "BEGIN SELECT RAISE(ABORT, 'the ledger is append-only'); END;",
        "entry 7 was changed",
    ),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_step_that_cannot_be_made_changes_no_byte(path: Path, name: str) -> None:
    steps, sql, words = BROKEN[name]
    with closing(sqlite3.connect(path)) as hand:
        hand.executescript(sql)
    before = path.read_bytes()
    with pytest.raises(LedgerFault, match=words):
        _bring_up(path, steps=steps)
    assert path.read_bytes() == before


def test_a_flipped_layout_number_is_no_invitation_to_migrate(path: Path) -> None:
    raw = bytearray(path.read_bytes())
    raw[60:64] = (0).to_bytes(4, "big")
    path.write_bytes(raw)
    with pytest.raises(LedgerFault, match="no ledger layout 0"):
        Ledger.open(path)


def test_there_is_a_step_from_every_layout_before_this_one() -> None:
    assert sorted(STEPS) == list(range(1, LAYOUT))
    for start, step in STEPS.items():
        assert step.start == start
        assert step.old == layout_file(start)


def test_there_is_a_tiny_ledger_of_every_released_layout() -> None:
    assert [path.name for path in RELEASED] == [f"layout_{number}.db" for number in range(1, LAYOUT + 1)]


@pytest.mark.parametrize("released", RELEASED, ids=lambda path: path.name)
def test_a_ledger_of_every_released_layout_opens_and_is_sound(released: Path, tmp_path: Path) -> None:
    copy = tmp_path / released.name
    copy.write_bytes(released.read_bytes())
    with Ledger.open(copy) as ledger:
        assert ledger.head.seq > 10
        with ledger.transaction(by="Ida Fennweg", now=NOW) as tx:
            tx.enter("entry remarked", {"entry": 1}, note="brought up")
    assert audit_file(copy, now=NOW).sound
