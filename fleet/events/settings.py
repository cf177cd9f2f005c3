"""Entries about the shop itself: its opening, policy, staff, patterns, fits and sets wanted."""

from __future__ import annotations

import sqlite3

from fleet.events.handler import Handler, insert
from fleet.entries import Entry, canonical_json
from fleet.equipment import Kind, Wish
from fleet.errors import Refused
from fleet.patterns_body import pattern_from_body
from fleet.policy import checked_value
from fleet.staff import person_of


def _opened(connection: sqlite3.Connection, entry: Entry) -> None:
    """{shop, zone, layout}"""
    if connection.execute("SELECT 1 FROM shop").fetchone():
        raise Refused("this ledger is open already")
    insert(
        connection,
        "shop",
        {"name": entry.body["shop"], "zone": entry.body["zone"], "entry": entry.seq},
    )


def _policy(connection: sqlite3.Connection, entry: Entry) -> None:
    """{name, value, unit, origin, since}; the newest entry of a name is in force."""
    body = entry.body
    if not body["origin"]:
        raise Refused(f"policy {body['name']} needs an origin", cure='add --origin "where it comes from"')
    checked_value(body["unit"], body["value"])
    connection.execute("DELETE FROM policy WHERE name = ?", (body["name"],))
    insert(
        connection,
        "policy",
        {k: body[k] for k in ("name", "value", "unit", "origin", "since")} | {"entry": entry.seq},
    )


def _staff(connection: sqlite3.Connection, entry: Entry) -> None:
    """{name, role, valid_until}; listing a name again changes role or date from then on."""
    person = person_of(entry.body)
    connection.execute("DELETE FROM staff WHERE name = ?", (person.name,))
    insert(
        connection,
        "staff",
        {
            "name": person.name,
            "role": person.role.value,
            "valid_until": person.valid_until.isoformat(),
            "entry": entry.seq,
        },
    )


def _pattern(connection: sqlite3.Connection, entry: Entry) -> None:
    """The body of `fleet.patterns_body`; recording a name again replaces it, the old stays in entries."""
    pattern = pattern_from_body(entry.body)
    connection.execute("DELETE FROM pattern WHERE name = ?", (pattern.name,))
    insert(
        connection,
        "pattern",
        {
            "name": pattern.name,
            "binding_model": pattern.binding_model,
            "body": canonical_json(entry.body),
            "entry": entry.seq,
        },
    )


def _fit(connection: sqlite3.Connection, entry: Entry) -> None:
    """{sole_type, pattern, binding_sheet, boot_sheet}: declared by both makers, sheets named."""
    body = entry.body
    if not body["binding_sheet"] or not body["boot_sheet"]:
        raise Refused(
            f"the fit of {body['sole_type']} in {body['pattern']} needs both makers' sheets",
            cure="name the binding maker's and the boot maker's sheet",
        )
    connection.execute(
        "DELETE FROM fit WHERE sole_type = ? AND pattern = ?", (body["sole_type"], body["pattern"])
    )
    insert(
        connection,
        "fit",
        {k: body[k] for k in ("sole_type", "pattern", "binding_sheet", "boot_sheet")} | {"entry": entry.seq},
    )


def _wish(connection: sqlite3.Connection, entry: Entry) -> None:
    """{wish, kind, length_*_mm, mondopoint_*_mm, quantity, priority}; the newest of a name counts."""
    body = entry.body
    wish = Wish(**(body | {"kind": Kind(body["kind"])}))
    connection.execute("DELETE FROM wanted WHERE wish = ?", (wish.wish,))
    insert(connection, "wanted", body | {"entry": entry.seq})


def _wish_withdrawn(connection: sqlite3.Connection, entry: Entry) -> None:
    """{wish}"""
    gone = connection.execute("DELETE FROM wanted WHERE wish = ?", (entry.body["wish"],)).rowcount
    if not gone:
        raise Refused(f"there is no wish {entry.body['wish']}")


def _import_applied(connection: sqlite3.Connection, entry: Entry) -> None:
    """{file, sha256, left_out, counts}: says where the entries that follow came from; no state."""


HANDLERS: dict[str, Handler] = {
    "ledger opened": _opened,
    "policy set": _policy,
    "staff listed": _staff,
    "pattern recorded": _pattern,
    "fit declared": _fit,
    "wish recorded": _wish,
    "wish withdrawn": _wish_withdrawn,
    "import applied": _import_applied,
}
