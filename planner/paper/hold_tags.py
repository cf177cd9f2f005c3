"""The hold tags to hang, one for each stopped pair, and the words on them."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

from fleet.base.days import time_text
from fleet.base.entries import Head
from fleet.base.errors import Refused
from fleet.facts.equipment import Place
from fleet.facts.standing import Standing, read_standing, read_standings
from planner.paper.hold_tag import HoldTag


def held_tags(connection: sqlite3.Connection, tags: Sequence[str]) -> tuple[HoldTag, ...]:
    """Return the tags of these pairs, or of all held ones. Raises Refused for a pair that is not held."""
    if tags:
        found = tuple(read_standing(connection, tag) for tag in tags)
        free = [standing.tag for standing in found if not (standing.hold_why or standing.quarantine_why)]
        if free:
            raise Refused(
                f"{', '.join(free)} is not held", cure='hold it first: mountbook hold TAG --why "..."'
            )
    else:
        held = (Place.HOLD.value, Place.QUARANTINE.value)
        found = read_standings(connection, where="place IN (?, ?)", args=held)
        if not found:
            raise Refused("nothing is held", cure="there is no tag to hang")
    head = Head(*connection.execute("SELECT seq, hash FROM entries ORDER BY seq DESC LIMIT 1").fetchone())
    return tuple(_tag(connection, standing, head) for standing in found)


def _tag(connection: sqlite3.Connection, standing: Standing, head: Head) -> HoldTag:
    locked = bool(standing.quarantine_why)
    entry = standing.quarantine_entry if locked else standing.hold_entry
    by, at, zone = connection.execute(
        "SELECT by, stated_at_utc, zone FROM entries WHERE seq = ?", (entry,)
    ).fetchone()
    model = connection.execute("SELECT model FROM pair WHERE tag = ?", (standing.tag,)).fetchone()[0]
    return HoldTag(
        tag=standing.tag,
        model=model,
        locked=locked,
        cause=standing.quarantine_why if locked else standing.hold_why,
        since=time_text(at, zone),
        by=by,
        head=str(head),
    )
