"""Entries about things: pairs, skis, inspected areas, holes, mounts, bindings, boots."""

from __future__ import annotations

import sqlite3
from dataclasses import asdict
from typing import Any

from fleet.days import shop_day, time_text
from fleet.events.handler import Handler, change, insert
from fleet.events.movement import close_ski, take_waiting_stops, touched
from fleet.entries import Entry, canonical_json
from fleet.equipment import (
    Binding,
    Boot,
    Construction,
    InspectedArea,
    Kind,
    Mount,
    Pair,
    Place,
    Ski,
    StatedMount,
)
from fleet.errors import Refused
from fleet.hole_ids import hole_number
from fleet.holes import Hole, HoleState, Knowledge, Side
from fleet.snapshot import read_pairs

_PAIR_COLUMNS = [
    "model",
    "kind",
    "length_mm",
    "waist_um",
    "construction",
    "rack",
    "earlier_mounts",
    "reference_from_tail_um",
]
_SKI_COLUMNS = ["mark_from_tail_um", "zone_back_um", "zone_front_um", "zone_half_width_um"]
_BOOT_COLUMNS = ["model", "mondopoint_mm", "bsl_um", "bsl_measured", "sole_type", "season", "pin_um"]
_BINDING_COLUMNS = [
    "model",
    "pattern",
    "brake_um",
    "season",
    "serial_toe",
    "serial_heel",
    "on_pair",
    "on_ski",
]
_HOLE_COLUMNS = ["x_um", "y_um", "diameter_um", "depth_um", "state", "knowledge"]


def _pair(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, model, kind, length_mm, waist_um, construction, rack, earlier_mounts, earlier_at_least?,
    skis: {A: {...}, B}}; earlier mounts that nobody stated are null."""
    body = entry.body
    skis = {side: Ski(side=side, **body["skis"][side.value]) for side in Side}
    pair = Pair(
        tag=body["tag"],
        model=body["model"],
        kind=Kind(body["kind"]),
        length_mm=body["length_mm"],
        waist_um=body["waist_um"],
        construction=Construction(body["construction"]) if body["construction"] else None,
        rack=body["rack"],
        place=Place.FLAT,
        skis=skis,
        earlier_mounts=body["earlier_mounts"],
        earlier_at_least=body.get("earlier_at_least", 0),
    )
    if connection.execute("SELECT 1 FROM pair WHERE tag = ?", (pair.tag,)).fetchone():
        raise Refused(f"pair {pair.tag} stands in the ledger already")
    insert(
        connection,
        "pair",
        {
            "tag": pair.tag,
            "model": pair.model,
            "kind": pair.kind.value,
            "length_mm": pair.length_mm,
            "waist_um": pair.waist_um,
            "construction": pair.construction.value if pair.construction else None,
            "rack": pair.rack,
            "earlier_mounts": pair.earlier_mounts,
            "earlier_at_least": pair.earlier_at_least,
            "reference_from_tail_um": None,
            "entry": entry.seq,
        },
    )
    for side, ski in skis.items():
        insert(
            connection,
            "ski",
            {"tag": pair.tag, "side": side.value} | {c: getattr(ski, c) for c in _SKI_COLUMNS},
        )
    insert(
        connection,
        "standing",
        {
            "tag": pair.tag,
            "place": Place.FLAT.value,
            "place_entry": entry.seq,
            "place_at": entry.stated_at_utc,
        },
    )
    take_waiting_stops(connection, pair.tag, entry)


def _pair_changed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, changes: {column: [old, new]}}; a ski's column is written ``A.mark_from_tail_um``."""
    tag = entry.body["tag"]
    for name, (old, new) in entry.body["changes"].items():
        if "." in name:
            side, column = name.split(".", 1)
            change(
                connection,
                "ski",
                key={"tag": tag, "side": side},
                changes={column: (old, new)},
                allowed=_SKI_COLUMNS,
            )
        else:
            change(
                connection,
                "pair",
                key={"tag": tag},
                changes={name: (old, new)},
                allowed=_PAIR_COLUMNS,
            )
    read_pairs(connection, tag)  # the changed pair checks itself as a new one does


def _area(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, side, from_um, to_um, how: bare|new, on}: the only way an area opens.

    A closed ski opens by a survey bare since then; what was seen before it was closed says nothing.
    """
    body = entry.body
    area = InspectedArea(
        from_um=body["from_um"], to_um=body["to_um"], how=body["how"], on=body["on"], by=entry.by
    )
    _known_pair(connection, body["tag"])
    _not_closed_since(connection, entry, area)
    insert(
        connection,
        "area",
        {
            "entry": entry.seq,
            "tag": body["tag"],
            "side": Side(body["side"]).value,
            "from_um": area.from_um,
            "to_um": area.to_um,
            "how": area.how,
            "on_day": area.on,
            "by": area.by,
        },
    )
    if (
        area.how == "bare"
    ):  # its binding was off; nothing else of the row changes, the undoing of a scan neither
        connection.execute(
            "UPDATE standing SET set_for_um = NULL, set_for_entry = 0, set_for_at = '', set_for_by = ''"
            " WHERE tag = ?",
            (body["tag"],),
        )


def _not_closed_since(connection: sqlite3.Connection, entry: Entry, area: InspectedArea) -> None:
    tag, side = entry.body["tag"], entry.body["side"]
    closed, at, why = connection.execute(
        "SELECT closed_entry, closed_at, closed_why FROM ski WHERE tag = ? AND side = ?", (tag, side)
    ).fetchone()
    if not closed:
        return
    day = shop_day(at, entry.zone).isoformat()
    earlier = area.on < day or (area.on == day and entry.stated_at_utc <= at)
    if earlier or area.how != "bare":
        raise Refused(
            f"ski {side} of {tag} was closed {time_text(at, entry.zone)} ({why}):"
            f" seen {area.how} on {area.on or 'an unknown day'}, it does not open",
            cure="take the binding off, survey it bare, and enter the survey with its day",
        )


def _ski_closed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, side, why}: the ski may hold a hole that nobody knows; nothing inspected counts any more."""
    tag, side = entry.body["tag"], Side(entry.body["side"])
    _known_pair(connection, tag)
    close_ski(connection, tag, side, seq=entry.seq, at=entry.stated_at_utc, why=entry.body["why"])


def _holes(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, holes: [{hole_id, side, x_um, y_um, diameter_um, depth_um, state, knowledge}]}"""
    tag = entry.body["tag"]
    _known_pair(connection, tag)
    for row in entry.body["holes"]:
        insert_hole(connection, tag=tag, row=row, entry=entry.seq)
    touched(connection, tag, entry)


def insert_hole(connection: sqlite3.Connection, *, tag: str, row: dict[str, Any], entry: int) -> None:
    """One new hole of a pair; refuses an id that is taken."""
    side = Side(row["side"])
    hole = Hole(
        hole_id=row["hole_id"],
        x_um=row["x_um"],
        y_um=row["y_um"],
        diameter_um=row["diameter_um"],
        depth_um=row["depth_um"],
        state=HoleState(row["state"]),
        knowledge=Knowledge(row["knowledge"]),
    )
    if connection.execute("SELECT 1 FROM hole WHERE hole_id = ?", (hole.hole_id,)).fetchone():
        raise Refused(f"hole {hole.hole_id} stands in the ledger already")
    insert(
        connection,
        "hole",
        {
            "hole_id": hole.hole_id,
            "tag": tag,
            "side": side.value,
            "x_um": hole.x_um,
            "y_um": hole.y_um,
            "diameter_um": hole.diameter_um,
            "depth_um": hole.depth_um,
            "state": hole.state.value,
            "knowledge": hole.knowledge.value,
            "entry": entry,
        },
    )
    number = hole_number(tag, side, hole.hole_id)
    connection.execute(
        "UPDATE ski SET holes_numbered_to = ?1 WHERE tag = ?2 AND side = ?3 AND holes_numbered_to < ?1",
        (number, tag, side.value),
    )


def _hole_changed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{hole_id, changes: {column: [old, new]}}; the hole points to the entry that changed it."""
    hole_id = entry.body["hole_id"]
    change_hole(connection, hole_id=hole_id, changes=entry.body["changes"], entry=entry.seq)
    touched(
        connection,
        connection.execute("SELECT tag FROM hole WHERE hole_id = ?", (hole_id,)).fetchone()[0],
        entry,
    )


def change_hole(connection: sqlite3.Connection, *, hole_id: str, changes: dict[str, Any], entry: int) -> None:
    """Change columns of one hole, checking the new state and knowledge words."""
    for column, (_, new) in changes.items():
        if column == "state":
            HoleState(new)
        elif column == "knowledge":
            Knowledge(new)
    change(connection, "hole", key={"hole_id": hole_id}, changes=changes, allowed=_HOLE_COLUMNS)
    connection.execute("UPDATE hole SET entry = ? WHERE hole_id = ?", (entry, hole_id))
    tag = connection.execute("SELECT tag FROM hole WHERE hole_id = ?", (hole_id,)).fetchone()[0]
    read_pairs(connection, tag)  # the changed hole checks itself as a new one does


def _mount(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, pattern, bsl_um, offset_um, mounted_on, removed_on, drilled, slides, completes?}

    ``completes``: it is the very mount that was on as stated, now that its pattern is known.
    """
    _known_pair(connection, entry.body["tag"])
    if entry.body.get("completes"):
        _forget_present_stated(connection, entry.body["tag"])
    insert_mount(connection, body=entry.body, entry=entry.seq)
    touched(connection, entry.body["tag"], entry)


def _mount_stated(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, binding_model, bsl_um, offset_um, mounted_on, removed_on}: as a sheet states it, null where it
    says nothing. One that is on takes the place of what was stated of it before."""
    body = entry.body
    _known_pair(connection, body["tag"])
    if body["removed_on"] is None:
        _forget_present_stated(connection, body["tag"])
    mount = StatedMount(**{key: value for key, value in body.items() if key != "tag"})
    insert(connection, "stated_mount", asdict(mount) | {"tag": body["tag"], "entry": entry.seq})


def _forget_present_stated(connection: sqlite3.Connection, tag: str) -> None:
    connection.execute("DELETE FROM stated_mount WHERE tag = ? AND removed_on IS NULL", (tag,))


def mounts_off(connection: sqlite3.Connection, tag: str, removed_on: str) -> None:
    """Every mount of the pair that was on, or stated to be, is off."""
    for table in ("mount", "stated_mount"):
        connection.execute(
            f"UPDATE {table} SET removed_on = ? WHERE tag = ? AND removed_on IS NULL", (removed_on, tag)
        )


def keep_what_holes_show(connection: sqlite3.Connection, tag: str) -> None:
    """Before work changes holes and mounts: how many mounts they show that nobody stated."""
    row = connection.execute("SELECT earlier_mounts FROM pair WHERE tag = ?", (tag,)).fetchone()
    if row is not None and row[0] is None:
        shown = read_pairs(connection, tag)[tag].earlier_shown
        connection.execute("UPDATE pair SET earlier_at_least = ? WHERE tag = ?", (shown, tag))


def insert_mount(connection: sqlite3.Connection, *, body: dict[str, Any], entry: int) -> None:
    """One mount of a pair, from a body like that of ``mount recorded``."""
    mount = Mount(
        pattern=body["pattern"],
        bsl_um=body["bsl_um"],
        offset_um=body["offset_um"],
        mounted_on=body["mounted_on"],
        removed_on=body["removed_on"],
        drilled=bool(body["drilled"]),
    )
    insert(
        connection,
        "mount",
        {
            "tag": body["tag"],
            "pattern": mount.pattern,
            "bsl_um": mount.bsl_um,
            "offset_um": mount.offset_um,
            "mounted_on": mount.mounted_on,
            "removed_on": mount.removed_on,
            "drilled": int(mount.drilled),
            "slides": canonical_json({"slides": body.get("slides", [])}),
            "entry": entry,
        },
    )


def _mount_removed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, removed_on}: every mount of the pair that was on is off."""
    keep_what_holes_show(connection, entry.body["tag"])
    mounts_off(connection, entry.body["tag"], entry.body["removed_on"])
    touched(connection, entry.body["tag"], entry)


def _binding(connection: sqlite3.Connection, entry: Entry) -> None:
    """{binding_id, model, pattern, brake_um, season, serial_toe, serial_heel, on_pair, on_ski}"""
    body = entry.body
    binding = Binding(**(body | {"on_ski": Side(body["on_ski"]) if body["on_ski"] else None}))
    if binding.on_pair is not None:
        _known_pair(connection, binding.on_pair)
    insert(connection, "binding", body | {"entry": entry.seq})
    if binding.on_pair is not None:
        touched(connection, binding.on_pair, entry)


def _binding_changed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{binding_id, changes: {column: [old, new]}}; a pair it was on, or is on now, loses its pass."""
    key = {"binding_id": entry.body["binding_id"]}
    before = _pair_of_binding(connection, key["binding_id"])
    change(connection, "binding", key=key, changes=entry.body["changes"], allowed=_BINDING_COLUMNS)
    now_on = _pair_of_binding(connection, key["binding_id"])
    if now_on is not None:
        _known_pair(connection, now_on)
    for tag in sorted({before, _pair_of_binding(connection, key["binding_id"])} - {None}, key=str):
        touched(connection, str(tag), entry)


def _pair_of_binding(connection: sqlite3.Connection, binding_id: str) -> str | None:
    row = connection.execute("SELECT on_pair FROM binding WHERE binding_id = ?", (binding_id,)).fetchone()
    return row[0] if row else None


def _boot(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, model, mondopoint_mm, bsl_um, bsl_measured, sole_type, season, pin_um}"""
    boot = Boot(**entry.body)
    if connection.execute("SELECT 1 FROM boot WHERE tag = ?", (boot.tag,)).fetchone():
        raise Refused(f"boot {boot.tag} stands in the ledger already")
    insert(connection, "boot", entry.body | {"entry": entry.seq})


def _boot_changed(connection: sqlite3.Connection, entry: Entry) -> None:
    """{tag, changes: {column: [old, new]}}"""
    change(
        connection,
        "boot",
        key={"tag": entry.body["tag"]},
        changes=entry.body["changes"],
        allowed=_BOOT_COLUMNS,
    )
    row = connection.execute(
        f"SELECT tag, {', '.join(_BOOT_COLUMNS)} FROM boot WHERE tag = ?", (entry.body["tag"],)
    ).fetchone()
    Boot(**dict(zip(["tag", *_BOOT_COLUMNS], row, strict=True)))  # checks itself as a new one does


def _known_pair(connection: sqlite3.Connection, tag: str) -> None:
    if not connection.execute("SELECT 1 FROM pair WHERE tag = ?", (tag,)).fetchone():
        raise Refused(f"there is no pair {tag} in the ledger", cure="check the tag")


HANDLERS: dict[str, Handler] = {
    "pair recorded": _pair,
    "pair changed": _pair_changed,
    "area inspected": _area,
    "ski closed": _ski_closed,
    "holes recorded": _holes,
    "hole changed": _hole_changed,
    "mount recorded": _mount,
    "mount stated": _mount_stated,
    "mount removed": _mount_removed,
    "binding recorded": _binding,
    "binding changed": _binding_changed,
    "boot recorded": _boot,
    "boot changed": _boot_changed,
}
