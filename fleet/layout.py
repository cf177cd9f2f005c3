"""What the schema of a ledger file must be, word for word, and what it is."""

from __future__ import annotations

import re
import sqlite3
from collections.abc import Iterator
from functools import cache

from fleet.connection import LATCH
from fleet.schema import ENTRIES, STATE


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


@cache
def layout_text() -> frozenset[str]:
    """What `sqlite_schema` must hold, word for word: the text of every statement of this layout."""
    return frozenset(layout_statements())


def found_text(connection: sqlite3.Connection) -> frozenset[str]:
    """What `sqlite_schema` of this file holds, without the indexes SQLite makes for itself."""
    return frozenset(row[0] for row in connection.execute("SELECT sql FROM sqlite_schema") if row[0])


def named(statement: str) -> str:
    """The thing a statement makes, for a person: ``trigger entries_no_update``."""
    match = re.match(
        r"\s*CREATE\s+(?:UNIQUE\s+|TEMP\s+)?(TABLE|INDEX|TRIGGER|VIEW)\s+[\"'\[`]?(\w+)",
        statement,
        re.IGNORECASE,
    )
    return f"{match[1].lower()} {match[2]}" if match else statement[:40]
