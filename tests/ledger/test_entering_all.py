"""Many entries entered at once are the entries, and the state, that they are one after another."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from fleet.audit.full import audit_file
from fleet.base.errors import Refused
from fleet.events.boots import BootRecorded
from fleet.events.event import Event
from fleet.ledger.ledger import Ledger, Transaction
from fleet.tables.layout import state_tables
from imports.headers import Table
from planner.exchange import intake
from tests.imports.books import BOOT, HOLE, MOUNTED, T4H4, table_rows, write_book

NOW = datetime(2026, 12, 27, 12, 0, tzinfo=UTC)


def of_a_file(folder: Path) -> tuple[Event, ...]:
    """Two pairs with bindings and holes, of which one differs, and boots."""
    pairs = [MOUNTED | {"tag": "K-1"}, MOUNTED | {"tag": "K-2", "notes": "scratched"}]
    holes = [HOLE | {"pair_tag": "K-2", "ski": side, "x_mm": 20, "y_mm": 3} for side in "AB"]
    path = write_book(
        folder / "own.xlsx",
        {
            "Skis": table_rows(Table.SKI, *pairs),
            "Boots": table_rows(Table.BOOT, BOOT),
            "Patterns": table_rows(Table.PATTERN, *T4H4),
            "Holes": table_rows(Table.HOLE, *holes),
        },
    )
    return intake.look_at(None, [path], today=date(2026, 12, 27)).entries


def new(path: Path) -> Ledger:
    return Ledger.create(path, shop="S", zone="Europe/Vienna", by="Ida", now=NOW)


def tables(ledger: Ledger) -> dict[str, list[tuple[object, ...]]]:
    return {t: sorted(ledger.connection.execute(f"SELECT * FROM {t}"), key=repr) for t in state_tables()}


def test_the_same_entries_and_the_same_state(tmp_path: Path) -> None:
    events = of_a_file(tmp_path)
    assert {"pair recorded", "binding recorded", "mount recorded", "holes recorded"} <= {
        e.WHAT for e in events
    }
    later = NOW + timedelta(days=2)
    with new(tmp_path / "one.db") as one, new(tmp_path / "all.db") as many:
        with one.transaction(by="Wim", now=later) as transaction:
            for event in events:
                transaction.enter(event)
        with many.transaction(by="Wim", now=later) as transaction:
            transaction.enter_all((event, "") for event in events)
        assert [(e.what, e.body, e.by) for e in many.entries(after=1)] == [
            (e.what, e.body, e.by) for e in one.entries(after=1)
        ]
        assert tables(many) == tables(one)
        assert many.connection.execute("SELECT entry, day FROM day_begun").fetchall()[1] == (2, "2026-12-29")
    assert audit_file(tmp_path / "all.db", now=NOW + timedelta(days=3)).clean


def test_of_many_with_one_that_is_refused_nothing_stays(tmp_path: Path) -> None:
    events = of_a_file(tmp_path)
    with new(tmp_path / "all.db") as ledger:
        before = tables(ledger)
        with pytest.raises(Refused, match="K-9"), ledger.transaction(by="Wim", now=NOW) as transaction:
            transaction.enter_all([*((event, "") for event in events), (_on_no_pair(events), "")])
        assert (ledger.head.seq, tables(ledger)) == (1, before)
        with ledger.transaction(by="Wim", now=NOW) as transaction:
            _boot_then_a_second_of_its_tag(transaction, events)
        assert ledger.head.seq == 2
        with ledger.transaction(by="Wim", now=NOW) as transaction:
            transaction.enter_all((event, "") for event in events if not isinstance(event, BootRecorded))
    assert audit_file(tmp_path / "all.db", now=NOW + timedelta(days=3)).clean


def _on_no_pair(events: tuple[Event, ...]) -> Event:
    hole = next(event for event in events if event.WHAT == "holes recorded")
    return type(hole).read(hole.body() | {"tag": "K-9"})


def _boot_then_a_second_of_its_tag(transaction: Transaction, events: tuple[Event, ...]) -> None:
    boot = next(event for event in events if isinstance(event, BootRecorded))
    transaction.enter(boot)
    with pytest.raises(Refused):
        transaction.enter(boot)


def test_what_is_held_is_asked_of_no_table(tmp_path: Path) -> None:
    """Whether a pair is there is looked up for its own tag alone; nothing is deleted where nothing waits."""
    events, sent = of_a_file(tmp_path), list[str]()
    with new(tmp_path / "all.db") as ledger, ledger.transaction(by="Wim", now=NOW) as transaction:
        ledger.connection.set_trace_callback(sent.append)
        transaction.enter_all((event, "") for event in events)
        ledger.connection.set_trace_callback(None)
    assert sum("FROM pair WHERE tag" in sql for sql in sent) == 2
    assert not [sql for sql in sent if sql.startswith("DELETE FROM waiting_stop")]
