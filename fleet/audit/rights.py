"""The rights of the staff list: to whom each was given, by whom and when."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator

from fleet.base.days import shop_day
from fleet.base.entries import name_key


def rights_given(connection: sqlite3.Connection) -> Iterator[str]:
    """Yield each entry that lists a person anew, in another role, or for longer."""
    before: dict[str, tuple[str, str]] = {}
    for seq, at, zone, by, text in connection.execute(
        "SELECT seq, recorded_at_utc, zone, by, body FROM entries WHERE what = 'staff listed' ORDER BY seq"
    ):
        try:
            body = json.loads(text)
            name, role, until, second = body["name"], body["role"], body["valid_until"], body.get("second")
            key, day = name_key(name), shop_day(at, zone).isoformat()
        except (ValueError, KeyError, TypeError, AttributeError):  # damage has a finding of its own
            continue
        old = before.get(key)
        before[key] = (role, until)
        if old is None or old[0] != role or until > old[1]:
            signers = f"{by} and {second}" if second else by
            yield f"{name}: {role} until {until}, by {signers}, {day} (entry {seq})"
