"""Rows of `standing` that are held in memory: whoever looks at the table finds them as if they were not."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing

import pytest

from fleet.checks.derived import empty_state
from fleet.tables import held_state
from fleet.tables.held_state import HeldState, add_found_row, read_standing_row, store_standing_row

PAIRS = ("K-1", "K-2", "K-3")


@pytest.fixture
def state() -> Iterator[HeldState]:
    """Three pairs on the ready rack."""
    with closing(empty_state()) as found:
        assert isinstance(found, HeldState)
        for tag in PAIRS:
            found.execute(
                "INSERT INTO standing (tag, place, place_entry, place_at) VALUES (?, 'ready', 1, '')", (tag,)
            )
        yield found


def changed(state: sqlite3.Connection, tag: str, place: str) -> None:
    facts = read_standing_row(state, tag)
    assert facts is not None
    store_standing_row(state, facts | {"place": place})


def by_copy(state: sqlite3.Connection) -> list[tuple[str, str]]:
    with closing(sqlite3.connect(":memory:")) as copy:
        state.execute("COMMIT")
        state.backup(copy)
        return copy.execute("SELECT tag, place FROM standing ORDER BY tag").fetchall()


READERS: dict[str, Callable[[sqlite3.Connection], list[tuple[str, str]]]] = {
    "a query": lambda state: state.execute("SELECT tag, place FROM standing ORDER BY tag").fetchall(),
    "a query with a name for it": lambda state: state.execute(
        "WITH s AS (SELECT tag, place FROM standing) SELECT * FROM s ORDER BY tag"
    ).fetchall(),
    "a cursor": lambda state: (
        state.cursor().execute("SELECT tag, place FROM standing ORDER BY tag").fetchall()
    ),
    "a copy": by_copy,
}


@pytest.mark.parametrize("name", READERS)
def test_every_reader_finds_what_is_held(state: HeldState, name: str) -> None:
    """A held row is written before anything else looks; the others are as they were."""
    changed(state, "K-1", "out")
    changed(state, "K-3", "hold")
    assert READERS[name](state) == [("K-1", "out"), ("K-2", "ready"), ("K-3", "hold")]


@pytest.mark.parametrize(
    ("statement", "values", "place"),
    [
        ("UPDATE standing SET place = 'flat' WHERE tag = ?", ("K-1",), "flat"),
        ("UPDATE standing SET place_entry = 7 WHERE tag = ?", ("K-1",), "out"),
        ("DELETE FROM standing WHERE tag = ?", ("K-1",), None),
        ("UPDATE standing SET tag = 'K-9' WHERE tag = ?", ("K-1",), None),
        ("DELETE FROM glue WHERE tag = ?", ("K-1",), "out"),
    ],
)
def test_a_statement_changes_what_is_held(
    state: HeldState, statement: str, values: tuple[str], place: str | None
) -> None:
    """What another statement does to the table counts, and nothing that was held comes back over it."""
    changed(state, "K-1", "out")
    changed(state, "K-2", "hold")
    state.execute(statement, values)
    row = read_standing_row(state, "K-1")
    assert (row and row["place"]) == place
    assert ("K-2", "hold") in READERS["a query"](state)
    assert [one for tag, one in READERS["a query"](state) if tag == "K-1"] == ([place] if place else [])


def test_a_row_is_a_value_of_its_own(state: HeldState) -> None:
    """Whoever changes a row and then refuses has changed nothing."""
    facts = read_standing_row(state, "K-1")
    assert facts is not None
    facts["place"] = "out"
    again = read_standing_row(state, "K-1")
    assert again is not None
    assert again["place"] == "ready"
    assert READERS["a query"](state) == [(tag, "ready") for tag in PAIRS]


def test_more_rows_than_are_held_lose_nothing(state: HeldState, monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for two, the third row sends all of them back to the table."""
    monkeypatch.setattr(held_state, "_MOST", 2)
    for tag, place in zip(PAIRS, ("out", "hold", "back"), strict=True):
        changed(state, tag, place)
    changed(state, "K-1", "flat")
    assert READERS["a query"](state) == [("K-1", "flat"), ("K-2", "hold"), ("K-3", "back")]


NEW = {"tag": "K-4", "place": "flat", "place_entry": 4, "place_at": ""}


@pytest.mark.parametrize("holds", [True, False])
@pytest.mark.parametrize("name", READERS)
def test_a_new_row_says_what_the_table_says_of_every_new_row(
    state: HeldState, name: str, *, holds: bool
) -> None:
    """Whether it is held or written at once, and changed before it is written or not."""
    state.holds = holds
    store_standing_row(state, NEW, new=True)
    plain = empty_state()
    plain.execute("INSERT INTO standing (tag, place, place_entry, place_at) VALUES ('K-4', 'flat', 4, '')")
    assert read_standing_row(state, "K-4") == read_standing_row(plain, "K-4")
    changed(state, "K-4", "hold")
    assert READERS[name](state) == [*((tag, "ready") for tag in PAIRS), ("K-4", "hold")]
    if name != "a copy":
        assert state.execute("SELECT count(*) FROM standing").fetchone() == (4,)


def test_new_rows_stand_in_the_order_in_which_they_came(state: HeldState) -> None:
    for tag in ("K-9", "K-5", "K-7"):
        store_standing_row(state, NEW | {"tag": tag}, new=True)
    changed(state, "K-5", "hold")
    found = state.execute("SELECT tag FROM standing ORDER BY rowid").fetchall()
    assert [tag for (tag,) in found] == [*PAIRS, "K-9", "K-5", "K-7"]


def test_more_new_rows_than_are_held_lose_nothing(state: HeldState, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(held_state, "_MOST", 2)
    for tag in ("K-4", "K-5", "K-6", "K-7"):
        store_standing_row(state, NEW | {"tag": tag}, new=True)
        assert len(state._rows) <= 2
    assert len(READERS["a query"](state)) == 7


def test_what_is_undone_is_gone(state: HeldState) -> None:
    """A transaction that is taken back takes the held rows along."""
    state.execute("COMMIT")
    state.execute("BEGIN")
    changed(state, "K-1", "out")
    store_standing_row(state, NEW, new=True)
    state.execute("ROLLBACK")
    assert READERS["a query"](state) == [(tag, "ready") for tag in PAIRS]


FOUND = {"naming": "name", "boot_entry": "tag"}


@pytest.mark.parametrize("table", FOUND)
def test_an_added_row_is_found_at_once(state: HeldState, table: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Held or written because there are many, each added row is there once, whoever asks."""
    monkeypatch.setattr(held_state, "_MOST", 2)
    asked = f"SELECT {FOUND[table]}, entry FROM {table} ORDER BY entry"
    for entry in (1, 2, 3):
        add_found_row(state, table, ("K-1", entry))
        assert state.execute(asked).fetchall() == [("K-1", each) for each in range(1, entry + 1)]
    for entry in (4, 5, 6):
        add_found_row(state, table, ("K-1", entry))
    state.execute(f"DELETE FROM {table} WHERE entry = ?", (6,))
    assert state.execute(asked).fetchall() == [("K-1", each) for each in range(1, 6)]


def test_an_added_row_is_undone_with_its_transaction(state: HeldState) -> None:
    """What a transaction added goes with it; a state that holds nothing takes rows at once."""
    state.execute("COMMIT")
    state.execute("BEGIN")
    add_found_row(state, "naming", ("K-1", 1))
    state.execute("ROLLBACK")
    state.forget_held()
    state.holds = False
    add_found_row(state, "naming", ("K-2", 2))
    state.forget_held()
    assert state.execute("SELECT * FROM naming").fetchall() == [("K-2", 2)]
