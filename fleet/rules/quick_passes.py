"""Passes that were given quickly or many at one moment: taken, and shown to the head technician."""

import sqlite3
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import groupby
from typing import Final

from fleet.base.days import day_text, midnight, shop_day
from fleet.base.entries import name_key, parse_utc, utc_text
from fleet.base.units import counted
from fleet.tables.connection import read_shop
from fleet.tables.snapshot import read_policy

_LOOKS: Final = """
WITH RECURSIVE person (by) AS (
    SELECT min(by) FROM look
    UNION ALL
    SELECT (SELECT min(by) FROM look WHERE by > person.by) FROM person WHERE by IS NOT NULL)
SELECT entry, looked_at, look.by, outcome FROM person JOIN look USING (by) WHERE looked_at >= ?1
UNION ALL
SELECT entry, looked_at, look.by, outcome FROM person JOIN look ON entry = (
    SELECT entry FROM look WHERE by = person.by AND looked_at < ?1 ORDER BY looked_at DESC LIMIT 1)
ORDER BY entry"""
"""The looks since a moment, and each person's newest before it, with no walk through all the others."""


@dataclass(frozen=True, slots=True, kw_only=True)
class QuickPasses:
    """One person's passes of one day. ``quick``: in under half the time of the rule; ``bulk``: at a moment
    when many were given. ``entry``: the newest of these looks.
    """

    by: str
    day: date
    passes: int
    quick: int
    bulk: int
    seconds: int
    entry: int

    @property
    def words(self) -> str:
        """The day, the person and the counts as a line."""
        return f"{day_text(self.day)}, {self.by}: {self.counts}"

    @property
    def counts(self) -> str:
        """The counts in words."""
        said = [counted(self.passes, "pass", "passes")]
        if self.quick:
            said.append(f"{self.quick} of them in less than half of the {self.seconds} seconds of a look")
        if self.bulk:
            said.append(f"{self.bulk} of them at one moment")
        return ", ".join(said)


def quick_passes(connection: sqlite3.Connection, *, since: date | None = None) -> tuple[QuickPasses, ...]:
    """Return the days since then on which a person passed pairs quickly or in bulk, by today's rules.

    Looks of one person at one moment share the time since that person's look before; before the first look on
    record nothing is known of it.
    """
    policy = read_policy(connection)
    seconds, many = policy.count("recheck_seconds"), policy.count("bulk_passes")
    zone = read_shop(connection).zone
    start = utc_text(midnight(since, zone)) if since else ""
    looks = connection.execute(_LOOKS, (start,)).fetchall()
    found: dict[tuple[str, date], QuickPasses] = {}
    before: dict[str, str] = {}
    for (who, at), group in groupby(sorted(looks, key=_person_and_moment), key=_person_and_moment):
        at_once = list(group)
        passes = sum(outcome == "pass" for *_, outcome in at_once)
        share = timedelta(seconds=seconds * len(at_once))
        quick = who in before and 2 * (parse_utc(at) - parse_utc(before[who])) < share
        before[who] = at
        day = shop_day(at, zone)
        old = found.get((who, day))
        found[who, day] = QuickPasses(
            by=at_once[-1][2],
            day=day,
            passes=(old.passes if old else 0) + passes,
            quick=(old.quick if old else 0) + passes * quick,
            bulk=(old.bulk if old else 0) + passes * (passes >= many),
            seconds=seconds,
            entry=max(entry for entry, *_ in at_once),
        )
    shown = [each for each in found.values() if each.quick or each.bulk]
    return tuple(
        sorted(
            (each for each in shown if since is None or each.day >= since),
            key=lambda each: (each.day, each.by),
        )
    )


def _person_and_moment(look: tuple[int, str, str, str]) -> tuple[str, str]:
    return name_key(look[2]), look[1]
