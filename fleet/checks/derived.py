"""The state as a projection of the entries: derived again in memory, compared with the file's tables."""

import re
import sqlite3
from collections import Counter
from collections.abc import Collection, Iterator
from itertools import zip_longest
from typing import Any, Final

from fleet.checks.findings import AuditFinding, bad
from fleet.tables.held_state import HeldState
from fleet.tables.layout import STATE, Thing, state_tables, statements

SHOWN: Final = 20
"""So many differing rows a table are shown; the rest are counted."""

_CURE: Final = "`mountbook rebuild` derives the state anew from the entries, and keeps this file as it is"

_Row = tuple[Any, ...]


def empty_state() -> sqlite3.Connection:
    """The derived tables of this layout in memory, without rows and without guards."""
    memory = sqlite3.connect(":memory:", isolation_level=None, cached_statements=256, factory=HeldState)
    for statement in statements(STATE):
        memory.execute(statement)
    memory.execute("BEGIN")  # one transaction: twice as fast, and nothing of it is ever kept
    return memory


_GROWING: Final = frozenset(
    {"look", "naming", "boot_entry", "entry_about", "tap", "day_begun", "sample_result"}
)
"""Tables that grow with every entry and whose rows never change."""


def compare_state(
    file: sqlite3.Connection, rebuilt: sqlite3.Connection, *, older: Collection[Thing] = (), after: int = 0
) -> Iterator[AuditFinding]:
    """One finding for each row that differs, table by table; at most `SHOWN` a table.

    ``older``: what the file's schema must hold where it is of an older layout; tables and columns that
    this layout did not have yet are left out. ``after``: of the tables that only grow, the rows of later
    entries are compared, because an audit before this one compared the others.
    """
    old = {thing.table: thing.text for thing in older if thing.kind == "table"}
    for table in state_tables():
        if not old or table in old:
            since = after if table in _GROWING else 0
            yield from _compare_table(file, rebuilt, table, old.get(table), since)


def _compare_table(
    file: sqlite3.Connection, rebuilt: sqlite3.Connection, table: str, old: str | None, since: int
) -> Iterator[AuditFinding]:
    info = rebuilt.execute(f"PRAGMA table_info({table})").fetchall()
    columns = [row[1] for row in info if old is None or re.search(rf"\b{row[1]} (TEXT|INTEGER)", old)]
    key = [row[1] for row in sorted(info, key=lambda row: row[5]) if row[5]]
    later = f" WHERE entry > {since}" if since else ""
    query = f"SELECT {', '.join(columns)} FROM {table}{later} ORDER BY {', '.join(columns)}"
    # Both sides come in the same order, so equal tables are seen in one pass without being held.
    left, right = file.execute(query), rebuilt.execute(query)
    for has, wants in zip_longest(left, right):
        if has != wants:
            break
    else:
        return
    has_more = Counter([has, *left] if has is not None else list(left))
    wants_more = Counter([wants, *right] if wants is not None else list(right))
    yield from _differences(
        table,
        columns,
        key or columns,
        list((has_more - wants_more).elements()),
        list((wants_more - has_more).elements()),
    )


def _differences(
    table: str, columns: list[str], key: list[str], extra: list[_Row], missing: list[_Row]
) -> Iterator[AuditFinding]:
    places = [columns.index(name) for name in key]
    wanted = {tuple(row[place] for place in places): row for row in missing}
    has = [(tuple(row[place] for place in places), row) for row in extra]
    found: list[tuple[_Row, _Row | None, _Row | None]] = [
        (name, row, wanted.pop(name, None)) for name, row in has
    ]
    found += [(name, None, row) for name, row in wanted.items()]
    yield from (_said(table, columns, *each) for each in found[:SHOWN])
    if len(found) > SHOWN:
        yield bad("state differs", f"table {table}: {len(found) - SHOWN} more rows differ from the entries")


def _said(table: str, columns: list[str], name: _Row, has: _Row | None, wants: _Row | None) -> AuditFinding:
    row = wants if wants is not None else has
    entry = next(
        (value for column, value in zip(columns, row or (), strict=True) if _is_entry(column, value)), None
    )
    title = f"{table} {' '.join(str(part) for part in name)[:80]}"
    after = f" (entry {entry})" if entry is not None else ""
    if has is None:
        words = f"{title} is missing, the entries say it is there{after}"
    elif wants is None:
        words = f"{title} is there, the entries say nothing of it"
    else:
        parts = [
            f"{column} is {h!r} and should be {w!r}"
            for column, h, w in zip(columns, has, wants, strict=True)
            if h != w
        ]
        words = f"{title}: {'; '.join(parts)[:400]}{after}"
    return bad("state differs", words, entry=entry, cure=_CURE)


def _is_entry(column: str, value: object) -> bool:
    return column in ("entry", "place_entry", "issued_entry", "opened_entry") and isinstance(value, int)
