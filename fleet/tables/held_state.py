"""Derived tables whose rows are held in memory while one entry after another changes them.

Nearly every entry of a shop's year reads a pair's whole row of `standing` and writes it again, and adds a row
to the tables by which entries are found. An audit that derives a million entries keeps these rows as values,
and writes many of them at once, before anything else looks at their table.
"""

import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cache
from typing import Any, Final

from fleet.facts.tags import compared
from fleet.tables.layout import STATE

Facts = dict[str, Any]
"""A row of `standing` by column name."""

_TABLE: Final = "standing"
_ADDED: Final = {"naming": 2, "boot_entry": 2}
"""Tables to which rows are only ever added, and how many columns each has."""
_HELD: Final = (_TABLE, *_ADDED)
_MOST: Final = 10_000
"""So many rows are held at once, some 50 MB; then all are written back."""


@cache
def _new_row() -> Facts:
    """Return a row of `standing` of which only what every row must say is said, and that is nothing."""
    start = STATE.index(f"CREATE TABLE {_TABLE} (")
    memory = sqlite3.connect(":memory:")
    memory.row_factory = sqlite3.Row
    try:
        memory.execute(STATE[start : STATE.index(";", start)])
        memory.execute(f"INSERT INTO {_TABLE} (tag, place, place_entry, place_at) VALUES ('', '', 0, '')")
        return dict(memory.execute(f"SELECT * FROM {_TABLE}").fetchone())
    finally:
        memory.close()


def standing_columns() -> tuple[str, ...]:
    """The columns of `standing`, in the table's order."""
    return tuple(_new_row())


class HeldState(sqlite3.Connection):
    """A connection to derived tables that only one deriver writes.

    `standing`, `hold_standing` and `hold_added` are for that deriver; every statement that may meet one of
    their tables otherwise finds it as if no row had been held. ``holds`` False: each row is read and written
    at once.
    """

    holds = True

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.create_collation("BY_NUMBER", compared)
        self._rows: dict[str, Facts] = {}
        self._changed: dict[str, None] = {}
        self._new: dict[str, None] = {}
        self._added: dict[str, list[tuple[Any, ...]]] = {table: [] for table in _ADDED}
        self._elsewhere: set[str] = set()

    def standing(self, tag: str) -> Facts | None:
        """Return the pair's row as a value of its own; None where there is no such pair."""
        row = self._rows.get(tag)
        if row is None:
            if len(self._rows) >= _MOST:
                self._let_go()
            row = _read(self, tag)
            if row is None:
                return None
            self._rows[tag] = row
        return row.copy()

    def hold_standing(self, facts: Facts, *, new: bool = False) -> None:
        """Put a changed row in the place of the one that `standing` gave, or one that is ``new``."""
        if new and len(self._rows) >= _MOST:
            self._let_go()
        tag = facts["tag"]
        self._rows[tag] = facts.copy()
        (self._new if new or tag in self._new else self._changed)[tag] = None

    def hold_added(self, table: str, row: tuple[Any, ...]) -> None:
        """Add a row to one of the tables that only grow."""
        self._added[table].append(row)
        if len(self._added[table]) >= _MOST:
            self._write_added()

    def execute(self, sql: str, parameters: Any = (), /) -> sqlite3.Cursor:
        """Run a statement; what was held is written before one that may meet the table."""
        if self.holds and sql not in self._elsewhere:
            self._before(sql)
        return super().execute(sql, parameters)

    def executemany(self, sql: str, parameters: Any, /) -> sqlite3.Cursor:
        """Run a statement for each of many values, as `execute`."""
        if self.holds and sql not in self._elsewhere:
            self._before(sql)
        return super().executemany(sql, parameters)

    def cursor(self, *args: Any, **kwargs: Any) -> Any:
        """Return a cursor; what is held until now is written first."""
        self._let_go()
        return super().cursor(*args, **kwargs)

    def backup(self, target: sqlite3.Connection, **kwargs: Any) -> None:
        """Copy everything, what was held too."""
        self._let_go()
        super().backup(target, **kwargs)

    def _before(self, sql: str) -> None:
        verb = sql.split(maxsplit=1)[0].upper()
        if verb in ("SELECT", "INSERT", "UPDATE", "DELETE") and not any(table in sql for table in _HELD):
            self._elsewhere.add(sql)
        elif verb == "SELECT":
            self._write_back()
        else:
            self._let_go()

    def _write_back(self) -> None:
        for tags, new in ((self._new, True), (self._changed, False)):
            write_standing(self, [self._rows[tag] for tag in tags], new=new)
            tags.clear()
        self._write_added()

    def _write_added(self) -> None:
        for table, rows in self._added.items():
            if rows:
                sqlite3.Connection.executemany(self, _insert(table), rows)
                rows.clear()

    def _let_go(self) -> None:
        self._write_back()
        self.forget_held()

    def forget_held(self) -> None:
        """Drop what is held: what was changed in it and not written back is undone."""
        self._rows.clear()
        self._changed.clear()
        self._new.clear()
        for rows in self._added.values():
            rows.clear()

    @contextmanager
    def holding(self) -> Iterator[None]:
        """Hold rows while many entries are derived in turn; an exception undoes what they changed."""
        self.holds = True
        try:
            yield
            self._let_go()
        finally:
            self.forget_held()
            self.holds = False


def read_standing_row(connection: sqlite3.Connection, tag: str) -> Facts | None:
    """Return the pair's row of `standing`, a value of its own; None where there is no such pair."""
    if isinstance(connection, HeldState) and connection.holds:
        return connection.standing(tag)
    return _read(connection, tag)


def store_standing_row(connection: sqlite3.Connection, facts: Facts, *, new: bool = False) -> None:
    """Write a row of `standing` that `read_standing_row` gave and that was changed since.

    ``new``: the row of a pair that has none; what it does not say is as the table says it of every new row.
    """
    row = _new_row() | facts if new else facts
    if isinstance(connection, HeldState) and connection.holds:
        connection.hold_standing(row, new=new)
    else:
        write_standing(connection, [row], new=new)


def add_found_row(connection: sqlite3.Connection, table: str, row: tuple[Any, ...]) -> None:
    """Add a row to one of the tables by which entries are found."""
    if isinstance(connection, HeldState) and connection.holds:
        connection.hold_added(table, row)
    else:
        connection.execute(_insert(table), row)


def _read(connection: sqlite3.Connection, tag: str) -> Facts | None:
    row = sqlite3.Connection.execute(connection, _select(), (tag,)).fetchone()
    return None if row is None else dict(zip(standing_columns(), row, strict=True))


def write_standing(connection: sqlite3.Connection, rows: Sequence[Facts], *, new: bool) -> None:
    """Write rows of `standing` into the table."""
    if rows:
        query = _insert(_TABLE) if new else _update(tuple(rows[0]))
        sqlite3.Connection.executemany(connection, query, [tuple(row.values()) for row in rows])


@cache
def _select() -> str:
    return f"SELECT {', '.join(standing_columns())} FROM {_TABLE} WHERE tag = ?"


@cache
def _update(columns: tuple[str, ...]) -> str:
    """By number, so that the tag is not set anew: that would take the row out of every index."""
    marks = {name: f"?{number}" for number, name in enumerate(columns, start=1)}
    where = marks.pop("tag")
    return f"UPDATE {_TABLE} SET {', '.join(f'{n} = {m}' for n, m in marks.items())} WHERE tag = {where}"


@cache
def _insert(table: str) -> str:
    columns = _ADDED.get(table) or len(standing_columns())
    return f"INSERT INTO {table} VALUES ({', '.join('?' * columns)})"
