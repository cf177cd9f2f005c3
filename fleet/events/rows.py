"""The small writers and readers that kinds of entries share."""

from __future__ import annotations

import sqlite3
from collections.abc import Collection, Mapping
from functools import cache
from typing import Any

from fleet.base.errors import Refused


def insert(connection: sqlite3.Connection, table: str, row: Mapping[str, Any]) -> None:
    """Insert one row by column name; the names come from code, never from data."""
    connection.execute(_insert(table, tuple(row)), tuple(row.values()))


@cache
def _insert(table: str, columns: tuple[str, ...]) -> str:
    marks = ", ".join("?" * len(columns))
    return f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"


def change(
    connection: sqlite3.Connection,
    table: str,
    *,
    key: Mapping[str, Any],
    changes: Mapping[str, tuple[Any, Any]],
    allowed: Collection[str],
) -> None:
    """Set columns from old to new. Refuses an unknown column, and an old value that no longer holds.

    Showing the old value is what makes a correction a correction: an entry that misstates it is stale.
    """
    where = " AND ".join(f"{column} = ?" for column in key)
    name = " ".join(str(part) for part in key.values())
    for column, (old, new) in changes.items():
        if column not in allowed:
            raise Refused(f"{column} of {table} {name} cannot be changed")
        row = connection.execute(
            f"SELECT {column} FROM {table} WHERE {where}", tuple(key.values())
        ).fetchone()
        if row is None:
            raise Refused(f"there is no {table} {name}", cure="check the tag")
        if row[0] != old:
            raise Refused(
                f"{column} of {table} {name} is {row[0]!r} today, not {old!r}",
                cure="look at the newest state and enter the change again",
            )
        connection.execute(f"UPDATE {table} SET {column} = ? WHERE {where}", (new, *key.values()))


def delete_made(state: sqlite3.Connection, table: str, seq: int, name: str) -> None:
    """Take out the row that entry ``seq`` made, or Refused where it is not in force any more."""
    if state.execute(f"DELETE FROM {table} WHERE entry = ?", (seq,)).rowcount == 0:
        raise Refused(f"{name} is not in force any more", cure="look at the newest state")
