"""Entries about entries: withdrawn, remarked, blanked, and the trace of a restore."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Mapping
from typing import Any, Final

from fleet.events.equipment import change_hole
from fleet.events.handler import Handler
from fleet.events.movement import facts_of, store, touched, work_done
from fleet.entries import Entry
from fleet.errors import Refused

_Undo = Callable[[sqlite3.Connection, int, Mapping[str, Any], Entry], None]


def _withdrawn(connection: sqlite3.Connection, entry: Entry) -> None:
    """{entry, what, body}: entry N, quoted in full, was a slip; what it made is taken out again.

    The old entry stays where it is. Refused where something came after it that builds on it.
    """
    body = entry.body
    undo = _UNDO.get(body["what"])
    if undo is None:
        raise Refused(
            f"an entry {body['what']!r} cannot be withdrawn",
            cure="enter what is true now; a scan is undone at the counter",
        )
    undo(connection, body["entry"], body["body"], entry)


def _area(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    _delete(connection, "area", seq, f"the area of entry {seq}")
    touched(connection, body["tag"], entry)


_HOLE_FACTS: Final = ("side", "x_um", "y_um", "diameter_um", "depth_um", "state", "knowledge")


def _holes(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    for hole in body["holes"]:
        row = connection.execute(
            "SELECT entry, side, x_um, y_um, diameter_um, depth_um, state, knowledge FROM hole"
            " WHERE hole_id = ?",
            (hole["hole_id"],),
        ).fetchone()
        if row is None or row[1:] != tuple(hole[column] for column in _HOLE_FACTS):
            raise Refused(
                f"hole {hole['hole_id']} of entry {seq} was "
                + (f"changed by entry {row[0]}" if row else "withdrawn already"),
                cure="withdraw that entry first" if row else "look at the newest state",
            )
        connection.execute("DELETE FROM hole WHERE hole_id = ?", (hole["hole_id"],))
    touched(connection, body["tag"], entry)


def _mount(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    row = connection.execute("SELECT removed_on FROM mount WHERE entry = ?", (seq,)).fetchone()
    if row is None or row[0] != body["removed_on"]:
        raise Refused(f"the mount of entry {seq} was removed since", cure="enter what is true now")
    _delete(connection, "mount", seq, f"the mount of entry {seq}")
    touched(connection, body["tag"], entry)


def _mount_stated(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    _delete(connection, "stated_mount", seq, f"the stated mount of entry {seq}")


def _binding(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    row = connection.execute("SELECT on_pair FROM binding WHERE entry = ?", (seq,)).fetchone()
    if row is None or row[0] != body["on_pair"]:
        raise Refused(f"binding {body['binding_id']} was moved since", cure="enter what is true now")
    _delete(connection, "binding", seq, f"the binding of entry {seq}")
    if row[0] is not None:
        touched(connection, row[0], entry)


def _boot(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    row = connection.execute("SELECT tag FROM standing WHERE out_boot = ?", (body["tag"],)).fetchone()
    order = connection.execute("SELECT number FROM work_order WHERE boot = ?", (body["tag"],)).fetchone()
    if row or order:
        raise Refused(f"boot {body['tag']} is in use: {row[0] if row else order[0]} names it")
    _delete(connection, "boot", seq, f"boot {body['tag']}")


def _pair(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    tag = body["tag"]
    for table, column in _HANGS_ON_A_PAIR:
        if connection.execute(f"SELECT 1 FROM {table} WHERE {column} = ? LIMIT 1", (tag,)).fetchone():
            raise Refused(
                f"pair {tag} has a history in the ledger ({table})",
                cure="withdraw that first, or `mountbook move` it to retired if it existed and is gone",
            )
    row = connection.execute(
        "SELECT side, closed_why FROM ski WHERE tag = ? AND closed_entry > 0", (tag,)
    ).fetchone()
    if row:
        raise Refused(f"ski {row[0]} of {tag} is closed ({row[1]}): that stays with the ski")
    _delete(connection, "pair", seq, f"pair {tag}")
    for table in ("ski", "standing"):
        connection.execute(f"DELETE FROM {table} WHERE tag = ?", (tag,))


def _fit(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    _delete(connection, "fit", seq, f"the fit of entry {seq}")


def _hole_changed(connection: sqlite3.Connection, seq: int, body: Mapping[str, Any], entry: Entry) -> None:
    change_hole(connection, hole_id=body["hole_id"], changes=_back(body), entry=entry.seq)
    tag = connection.execute("SELECT tag FROM hole WHERE hole_id = ?", (body["hole_id"],)).fetchone()[0]
    touched(connection, tag, entry)


def _delete(connection: sqlite3.Connection, table: str, seq: int, name: str) -> None:
    if connection.execute(f"DELETE FROM {table} WHERE entry = ?", (seq,)).rowcount == 0:
        raise Refused(f"{name} is not in force any more", cure="look at the newest state")


def _back(body: Mapping[str, Any]) -> dict[str, tuple[Any, Any]]:
    return {column: (new, old) for column, (old, new) in body["changes"].items()}


_HANGS_ON_A_PAIR: Final = (
    ("hole", "tag"),
    ("area", "tag"),
    ("mount", "tag"),
    ("stated_mount", "tag"),
    ("binding", "on_pair"),
    ("look", "tag"),
    ("work_order", "tag"),
)

_UNDO: Final[dict[str, _Undo]] = {
    "pair recorded": _pair,
    "boot recorded": _boot,
    "binding recorded": _binding,
    "area inspected": _area,
    "holes recorded": _holes,
    "hole changed": _hole_changed,
    "mount recorded": _mount,
    "mount stated": _mount_stated,
    "fit declared": _fit,
}
"""What may be withdrawn, and how. Everything else is mended by entering what is true."""


def _remarked(connection: sqlite3.Connection, entry: Entry) -> None:
    """{entry}, the remark as its note: says what happened; no state follows."""


def _blanked(connection: sqlite3.Connection, entry: Entry) -> None:
    """{entry}: the note of that entry was blanked (`Transaction.blank_note`); no state follows."""


def _restored(connection: sqlite3.Connection, entry: Entry) -> None:
    """{head, replaced, passes}: this file was put back from a backup with that head.

    ``passes``: "void" where nobody can tell what came after the backup, so that no pass of it counts.
    """
    if entry.body.get("passes") != "void":
        return
    for (tag,) in connection.execute("SELECT tag FROM standing WHERE pass_entry > 0").fetchall():
        facts = facts_of(connection, tag)
        work_done(facts, entry, what="a restore of the ledger")
        store(connection, facts, entry)


def _rebuilt(connection: sqlite3.Connection, entry: Entry) -> None:
    """{rows}: so many rows of the state differed from the entries and were made anew; no state follows."""


HANDLERS: dict[str, Handler] = {
    "entry withdrawn": _withdrawn,
    "entry remarked": _remarked,
    "note blanked": _blanked,
    "ledger restored": _restored,
    "state rebuilt": _rebuilt,
}
