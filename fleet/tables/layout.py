"""The schema of a ledger file: what it must be, word for word, and what it is."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterable, Iterator
from functools import cache
from typing import NamedTuple

from fleet.tables.schema import ENTRIES, LATCH, STATE


def statements(script: str) -> Iterator[str]:
    """The single statements of a script; trigger bodies hold semicolons, so splitting is not enough."""
    pending = ""
    for line in script.splitlines(keepends=True):
        pending += line
        if sqlite3.complete_statement(pending):
            if pending.strip():
                yield pending.strip().removesuffix(";")
            pending = ""


def state_tables() -> tuple[str, ...]:
    """The names of the derived tables, in the order they are made."""
    return tuple(re.findall(r"^CREATE TABLE (\w+)", STATE, flags=re.MULTILINE))


def state_guards() -> Iterator[str]:
    """Three triggers a derived table: state is written by the entry it follows from, or not at all.

    Without them a careless hand in a database browser could turn *hold* into *ready*.
    """
    for table in state_tables():
        for deed in ("INSERT", "UPDATE", "DELETE"):
            yield (
                f"CREATE TRIGGER {table}_no_bare_{deed.lower()} BEFORE {deed} ON {table}\n"
                f"WHEN NOT {LATCH}()\n"
                "BEGIN SELECT RAISE(ABORT, 'state follows from the entries, it is not written by hand'); END"
            )


@cache
def layout_statements() -> tuple[str, ...]:
    """Everything that makes an empty ledger of this layout, one statement each."""
    return (*statements(ENTRIES), *statements(STATE), *state_guards())


class Thing(NamedTuple):
    """One row of `sqlite_schema`: a table, index or trigger with the table it is on and its text."""

    kind: str
    name: str
    table: str
    text: str

    def __str__(self) -> str:
        return f"{self.kind} {self.name}"


def things(statements: Iterable[str]) -> frozenset[Thing]:
    """Return what these statements put into `sqlite_schema`, word for word."""
    return frozenset(_thing(statement) for statement in statements)


@cache
def layout_things() -> frozenset[Thing]:
    """Return what `sqlite_schema` must hold in this layout."""
    return things(layout_statements())


def found_things(connection: sqlite3.Connection) -> frozenset[Thing]:
    """Return what `sqlite_schema` of this file holds, without the indexes SQLite makes for itself."""
    rows = connection.execute(
        "SELECT type, name, tbl_name, sql FROM sqlite_schema"
        " WHERE NOT (type = 'index' AND sql IS NULL AND name = 'sqlite_autoindex_' || tbl_name || '_1')"
    )
    return frozenset(map(Thing._make, rows))


def _thing(statement: str) -> Thing:
    match = re.match(r"CREATE (TABLE|INDEX|TRIGGER) (\w+)", statement)
    on = re.search(r"\bON (\w+)", statement)
    if match is None or (match[1] != "TABLE" and on is None):
        raise ValueError(f"not a statement of a layout: {statement[:60]}")
    table = match[2] if match[1] == "TABLE" or on is None else on[1]
    return Thing(match[1].lower(), match[2], table, statement)
