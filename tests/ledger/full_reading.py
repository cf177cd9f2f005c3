"""What names a pair, found the slow way: by reading every text of every entry. The index's oracle."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator
from typing import Any

_ABOUT = ("entry withdrawn", "entry remarked", "note blanked")
_NOT_NAMES = ("model", "rack", "source", "file", "boot", "boots", "binding_sheet", "boot_sheet")
"""Keys of free words and of boots: a rack, a boot or a sheet may be called like a pair or a binding."""


def entries_about_by_reading(connection: sqlite3.Connection, tag: str) -> list[int]:
    """Entries that name the pair, its holes, its orders, a binding ever on it, or one of those entries."""
    rows = [
        (seq, what, json.loads(body))
        for seq, what, body in connection.execute("SELECT seq, what, body FROM entries ORDER BY seq")
    ]
    rows = [row for row in rows if not _of_a_boot(*row[1:])]
    texts = {seq: set(_texts(body)) for seq, _, body in rows}
    bodies = {seq: body for seq, _, body in rows}
    tags = _called(tag, [body for _, what, body in rows if what == "pair renamed"])
    own = {name for each in tags for name in (each, f"{each} A", f"{each} B")}
    found = {seq for seq in texts if texts[seq] & own}
    names = {name for seq in found for each in tags for name in _taught(bodies[seq], each)}
    found |= {seq for seq in texts if texts[seq] & names}
    about = {seq: body.get("entry") for seq, what, body in rows if what in _ABOUT}
    while more := {seq for seq, of in about.items() if of in found and seq not in found}:
        found |= more
    return sorted(found)


def _called(tag: str, renamed: list[Any]) -> set[str]:
    """The tags that the pair has and had."""
    tags = {tag}
    while (
        more := {name for body in renamed if tags & {body["tag"], body["to"]} for name in body.values()}
        - tags
    ):
        tags |= more
    return tags


def _of_a_boot(what: str, body: Any) -> bool:
    return what.startswith("boot ") or (what == "entry withdrawn" and body["what"].startswith("boot "))


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, dict):
        for key, inner in value.items():
            if key not in _NOT_NAMES:
                yield from _texts(inner)
    elif isinstance(value, list):
        for inner in value:
            yield from _texts(inner)


def _taught(body: Any, tag: str) -> Iterator[str]:
    """Other names of what belongs to the pair: its holes, bindings that were on it, its orders."""
    if body.get("on_pair") == tag or tag in (body.get("changes") or {}).get("on_pair", ()):
        yield body["binding_id"]
    for row in body.get("bindings") or ():
        yield row["binding_id"]
    if body.get("tag") == tag:
        yield from (hole["hole_id"] for hole in (*body.get("holes", ()), *body.get("new_holes", ())))
    if tag in (body.get("tag"), body.get("giver")) and isinstance(body.get("number"), str):
        yield body["number"]
    if isinstance(body.get("body"), dict):
        yield from _taught(body["body"], tag)
