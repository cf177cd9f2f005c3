"""What finds entries without reading all of them: the names in each, what it is about, the day it begins.

A row of `naming` says that an entry names a pair or a binding; a row of `entry_about`, that an entry is
about another one (withdraws, remarks, blanks); a row of `day_begun`, that an entry was written on another
day than the one before it. All follow from the entries like every other table, so an audit compares them
and a rebuild makes them again. tests/ledger/test_finding.py holds them against a reading of everything.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from typing import Any, Final

from fleet.entries import Entry

_NAMES: Final = frozenset(
    {"tag", "on_pair", "giver", "into", "binding_id", "not_seen", "unexpected", "unknown"}
)
"""Keys of bodies whose texts are tags or ids, alone or in lists."""
_UNITS: Final = frozenset({"from_returns", "from_rack"})
"""Keys whose texts are pairs, or one ski of a pair written ``K-031 A``."""
_PARTS: Final = frozenset({"bindings", "body", "changed_holes", "changes", "giver", "holes", "new_holes"})
"""Keys below which the keys above are found again."""


def names_in(what: str, body: Mapping[str, Any]) -> set[str]:
    """Tags of pairs and ids of bindings that an entry names. A boot's tag is none of these."""
    if what.startswith("boot ") or (what == "entry withdrawn" and str(body.get("what")).startswith("boot ")):
        return set()
    return set(_names(body))


def _names(value: Any) -> Iterator[str]:
    if isinstance(value, list):
        for inner in value:
            yield from _names(inner)
    elif isinstance(value, dict):
        for key, inner in value.items():
            if key in _NAMES and not isinstance(inner, dict):
                yield from _texts(inner)
            elif key in _UNITS:
                for text in _texts(inner):
                    yield text[:-2] if text[-2:] in (" A", " B") else text
            elif key == "hole_id" and isinstance(inner, str):
                yield inner.rsplit("/", 1)[0]
            elif key in _PARTS:
                yield from _names(inner)


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def note_names(connection: sqlite3.Connection, entry: Entry) -> None:
    """Write what an entry names and is about, once its own handler has run."""
    names = names_in(entry.what, entry.body)
    if entry.what in _NAMED_BY_ANOTHER:
        names.update(_through_the_state(connection, entry))
    for name in names:
        connection.execute("INSERT INTO naming VALUES (?, ?)", (name, entry.seq))
    if entry.what in _ABOUT:
        about = entry.body["entry"]
        if not isinstance(about, int):
            raise ValueError(f"{about!r} is no entry's number")
        connection.execute("INSERT INTO entry_about VALUES (?, ?)", (about, entry.seq))


_ABOUT: Final = ("entry withdrawn", "entry remarked", "note blanked")
"""Kinds of entries whose ``entry`` is the number of another one."""
_NAMED_BY_ANOTHER: Final = ("hole changed", "order cancelled", "entry withdrawn")


def _through_the_state(connection: sqlite3.Connection, entry: Entry) -> Iterator[str]:
    """The pair behind a hole's id (an imported one may say nothing of it) or an order's number."""
    body = entry.body["body"] if entry.what == "entry withdrawn" else entry.body
    if "hole_id" in body:
        yield from _first(connection, "SELECT tag FROM hole WHERE hole_id = ?", body["hole_id"])
    if entry.what == "order cancelled":
        query = "SELECT tag FROM work_order WHERE number = ? AND revision = ?"
        yield from _first(connection, query, body["number"], body["revision"])


def _first(connection: sqlite3.Connection, query: str, *args: object) -> Iterator[str]:
    row = connection.execute(query, args).fetchone()
    if row is not None:
        yield row[0]


def note_day(connection: sqlite3.Connection, entry: Entry) -> None:
    """Write the day (UTC) of an entry that begins one; a clock set back begins that day once more."""
    day = entry.recorded_at_utc[:10]
    row = connection.execute("SELECT day FROM day_begun ORDER BY entry DESC LIMIT 1").fetchone()
    if row is None or row[0] != day:
        connection.execute("INSERT INTO day_begun VALUES (?, ?)", (entry.seq, day))
