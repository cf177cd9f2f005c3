"""The rights of the staff list: to whom each was given, by whom and when."""

from __future__ import annotations

import sqlite3
from typing import Final

import msgspec

from fleet.base.days import day_text, shop_day, stored_day_text
from fleet.base.entries import name_key
from fleet.base.kept_names import NamesSaid

_BEFORE_ALL: Final = -(2**63)
"""A damaged file has numbers below 1."""


class Rights(msgspec.Struct):
    """The rights that the entries up to ``seq`` give, so that an audit can go on from there another day.

    given: a line for each entry that lists a person anew, in another role, or for longer
    held: role and last day of each person so far
    """

    seq: int = _BEFORE_ALL
    given: list[str] = []
    held: dict[str, tuple[str, str]] = {}

    def read(self, connection: sqlite3.Connection) -> None:
        """Take in the entries since then."""
        (newest,) = connection.execute("SELECT coalesce(max(seq), 0) FROM entries").fetchone()
        names = NamesSaid(connection)
        for seq, at, zone, by, text in connection.execute(
            "SELECT seq, recorded_at_utc, zone, by, body FROM entries"
            " WHERE what = 'staff listed' AND seq > ? AND seq <= ? ORDER BY seq",
            (self.seq, newest),
        ):
            try:
                body = names.body(text)
                name, role, until, second = (
                    body["name"], body["role"], body["valid_until"], body.get("second")
                )  # fmt: skip
                key, day = name_key(name), day_text(shop_day(at, zone))
            except (ValueError, KeyError, TypeError, AttributeError):  # damage has a finding of its own
                continue
            old = self.held.get(key)
            self.held[key] = (role, until)
            if old is None or old[0] != role or until > old[1]:
                by = names.of(by)
                signers = f"{by} and {second}" if second else by
                self.given.append(
                    f"{name}: {role} until {stored_day_text(until)}, by {signers}, {day} (entry {seq})"
                )
        self.seq = newest
