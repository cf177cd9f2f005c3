"""Entries about work orders: issued, cancelled, done, stopped. The bench's work becomes holes and mounts."""

from __future__ import annotations

import sqlite3
from typing import Any

from fleet.events.equipment import (
    change_hole,
    insert_hole,
    insert_mount,
    keep_what_holes_show,
    mounts_off,
)
from fleet.events.handler import Handler, change, insert
from fleet.events.movement import facts_of, glued, not_known, set_for, store, work_done
from fleet.entries import Entry, canonical_json
from fleet.errors import Refused
from fleet.pair_state import pair_state

_ISSUED_COLUMNS = (
    *("number", "revision", "tag", "boot", "way", "minutes"),
    *("giver", "pair_state", "giver_state"),
)


def _issued(connection: sqlite3.Connection, entry: Entry) -> None:
    """{number, revision, tag, boot, way, minutes, giver, set, plan_hash, needed_by, pair_state, giver_state}

    The states are those of `fleet.pair_state` at issue: the sheet holds as long as they do.
    """
    body = entry.body
    facts_of(connection, body["tag"])
    if connection.execute(
        "SELECT 1 FROM work_order WHERE tag = ? AND state = 'open'", (body["tag"],)
    ).fetchone():
        raise Refused(f"{body['tag']} has an open work order already", cure="cancel it first")
    insert(
        connection,
        "work_order",
        {key: body[key] for key in _ISSUED_COLUMNS}
        | {
            "state": "open",
            "body": canonical_json(body),
            "issued_entry": entry.seq,
            "closed_entry": None,
        },
    )


def _close(connection: sqlite3.Connection, entry: Entry, state: str) -> None:
    body = entry.body
    changed = connection.execute(
        "UPDATE work_order SET state = ?, closed_entry = ?"
        " WHERE number = ? AND revision = ? AND state = 'open'",
        (state, entry.seq, body["number"], body["revision"]),
    ).rowcount
    if not changed:
        raise Refused(
            f"work order {body['number']} {body['revision']} is not open", cure="see `mountbook order list`"
        )


def _cancelled(connection: sqlite3.Connection, entry: Entry) -> None:
    """{number, revision, why: "issued again" | "not in the new plan"}"""
    _close(connection, entry, "cancelled")


def _done(connection: sqlite3.Connection, entry: Entry) -> None:
    """{number, revision, tag, new_holes, changed_holes, mount_removed_on, mount, bindings, giver, glued_with,
    hold, stop?}; ``hold`` names what was drilled outside the rule, or is empty, and so does ``stop`` what
    only the head technician ends (no such key in older entries).

    Both skis stand at the sole length of ``mount`` afterwards.
    """
    _close(connection, entry, "done")
    _bench_work(connection, entry, second_check=True)


def _stopped(connection: sqlite3.Connection, entry: Entry) -> None:
    """As ``order done``, with the holes made so far, and drilled?: {A, B: nothing | holes | not known}.

    At which sole length its bindings stand is not known: work was begun. Only a stop that says that nothing
    was done and that the skis are not the reason (``stop`` is there and empty) leaves the pair as it was.
    """
    _close(connection, entry, "stopped")
    _bench_work(connection, entry, second_check=False)


def _bench_work(connection: sqlite3.Connection, entry: Entry, *, second_check: bool) -> None:
    body = entry.body
    tag = body["tag"]
    tags = [tag] + ([body["giver"]["tag"]] if body["giver"] is not None else [])
    before = {each: pair_state(connection, each) for each in tags}
    for each in tags:
        keep_what_holes_show(connection, each)
    for row in body["new_holes"]:
        insert_hole(connection, tag=tag, row=row, entry=entry.seq)
    _reshape(connection, entry, tag, body)
    if body["mount"] is not None:
        insert_mount(connection, body=body["mount"], entry=entry.seq)
    for row in body["bindings"]:
        change(
            connection,
            "binding",
            key={"binding_id": row["binding_id"]},
            changes=row["changes"],
            allowed=("on_pair", "on_ski"),
        )
    if body["giver"] is not None:
        _reshape(connection, entry, body["giver"]["tag"], body["giver"])
        giver = facts_of(connection, body["giver"]["tag"])
        work_done(giver, entry, what=f"work order {body['number']}")
        store(connection, giver, entry)
    for each, state in before.items():
        _still_as_planned(connection, each, before=state)
    facts = facts_of(connection, tag)
    if second_check:
        work_done(facts, entry, what=f"work order {body['number']}", worker=entry.by)
        if body["mount"] is not None:
            set_for(facts, entry, bsl_um=body["mount"]["bsl_um"])
    elif (
        body["new_holes"]
        or body["changed_holes"]
        or body["bindings"]
        or "not known" in body.get("drilled", {}).values()
    ):
        work_done(facts, entry, what=f"work order {body['number']}")
    elif body.get("stop") != "":
        not_known(facts)
    glued(facts, entry.stated_at_utc, body["glued_with"])
    if body["hold"]:
        facts |= {"hold_entry": entry.seq, "hold_why": body["hold"]}
    if body.get("stop"):
        facts |= {"stop_entry": entry.seq, "stop_why": body["stop"]}
    store(connection, facts, entry)


def _still_as_planned(connection: sqlite3.Connection, tag: str, *, before: str) -> None:
    """Orders that counted on this very work (a binding given from pair to pair) still hold after it."""
    after = pair_state(connection, tag)
    for whose, state in (("tag", "pair_state"), ("giver", "giver_state")):
        connection.execute(
            f"UPDATE work_order SET {state} = ? WHERE {whose} = ? AND {state} = ? AND state = 'open'",
            (after, tag, before),
        )


def _reshape(connection: sqlite3.Connection, entry: Entry, tag: str, part: dict[str, Any]) -> None:
    """Old holes open, screwed or plugged now, and the old mount taken off."""
    for row in part["changed_holes"]:
        change_hole(connection, hole_id=row["hole_id"], changes=row["changes"], entry=entry.seq)
    if part["mount_removed_on"]:
        mounts_off(connection, tag, part["mount_removed_on"])


HANDLERS: dict[str, Handler] = {
    "order issued": _issued,
    "order cancelled": _cancelled,
    "order done": _done,
    "order stopped": _stopped,
}
