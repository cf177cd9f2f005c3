"""The end of the recheck list: one signature under a whole printed list, and the evening that closes.

The signature passes the pairs that nobody excepts and nothing moved. A day at the counter closes only if
out - back - later - missing is 0.
"""

import sqlite3
from collections.abc import Collection
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fleet.base.days import midnight, stored_day
from fleet.base.entries import utc_text
from fleet.base.errors import Refused
from fleet.base.units import counted, first_of
from fleet.events.movement import EveningClosed
from fleet.facts.standing import Place, Standing, read_standings
from fleet.ledger.desk import Desk
from fleet.ledger.history import entries_about
from fleet.rules.looks import ListUsed, check_printed
from fleet.rules.recheck import recheck_list

_SHOWN: Final = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class UnderList:
    """``tags``: what the signature passes. ``excepted``: of those left out, the ones that still wait.

    ``not_on_it``: pairs that wait too, each with why this list does not speak of it. ``dealt_with``: pairs
    that may have stood on it, and of which what was found has been entered since.
    """

    tags: tuple[str, ...]
    excepted: tuple[str, ...]
    not_on_it: tuple[tuple[str, str], ...]
    dealt_with: tuple[str, ...]


def under_list(
    connection: sqlite3.Connection,
    used: ListUsed,
    but: Collection[str],
) -> UnderList:
    """Return what a signature under the list stands for. Only a pair is passed of which nothing was entered
    since the list was printed: it is then as it was on the paper.

    Raises Refused for an exception that does not stand on the list: who mistyped it meant another pair.
    """
    listed = recheck_list(connection, today=used.day, rack=used.rack)  # as of its paper: a pass aged since
    check_printed(used, listed.head)
    on_it: list[str] = []
    others: list[tuple[str, str]] = []
    for row in listed.rows:
        newest = max(each.entry.seq for each in entries_about(connection, row.tag))
        if row.entry > used.made_at_entry:
            others.append((row.tag, "came back after the list was printed"))
        elif newest > used.made_at_entry:
            others.append((row.tag, f"has an entry that is newer than the printed list (entry {newest})"))
        elif row.entry <= used.since_entry:
            others.append((row.tag, "stands on the list before, not on this supplement"))
        else:
            on_it.append(row.tag)
    later = read_standings(connection, where="max(look_entry, place_entry) > ?", args=(used.made_at_entry,))
    dealt_with = tuple(standing.tag for standing in later if _dealt_with(standing, used))
    for tag in but:
        if tag not in on_it and tag not in dealt_with:
            raise Refused(
                f"{tag} does not stand on list {used.list_id}",
                cure="nothing was entered: check the tag on the paper",
            )
    return UnderList(
        tags=tuple(tag for tag in on_it if tag not in but),
        excepted=tuple(tag for tag in on_it if tag in but),
        not_on_it=tuple(others),
        dealt_with=dealt_with,
    )


def _dealt_with(standing: Standing, used: ListUsed) -> bool:
    """Return whether it may have stood on the list, and what was found has been entered since."""
    came = max(standing.returned.entry, used.since_entry + 1)
    stopped = standing.place in (Place.HOLD, Place.IN_REPAIR, Place.QUARANTINE)
    return came <= used.made_at_entry < max(standing.look_entry, standing.since.entry if stopped else 0)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """The day's pairs, each in exactly one group. ``unanswered``: out, not due later, not missing."""

    day: date
    back: tuple[str, ...]
    later: tuple[str, ...]
    missing: tuple[str, ...]
    unanswered: tuple[str, ...]

    @property
    def out(self) -> int:
        """The pairs that were out at some time of the day."""
        return len(self.back) + len(self.later) + len(self.missing) + len(self.unanswered)

    @property
    def sum_words(self) -> str:
        """The sum in words: ``12 out - 10 back - 1 later - 1 missing = 0``, which closes the evening."""
        return (
            f"{self.out} out - {len(self.back)} back - {len(self.later)} later -"
            f" {len(self.missing)} missing = {len(self.unanswered)}"
        )


def read_evening(connection: sqlite3.Connection, *, day: date, zone: str) -> Evening:
    """Return every pair that was out on that day of the shop's calendar, by its present group."""
    start, end = (utc_text(midnight(each, zone)) for each in (day, day + timedelta(days=1)))
    found: dict[str, list[str]] = {"back": [], "later": [], "missing": [], "unanswered": []}
    for standing in read_standings(
        connection,
        where="out_entry > 0 AND (place = 'out' OR place = 'missing' OR (return_at >= ? AND return_at < ?))",
        args=(start, end),
    ):
        found[_answer(standing, day=day)].append(standing.tag)
    return Evening(day=day, **{name: tuple(tags) for name, tags in found.items()})


def _answer(standing: Standing, *, day: date) -> str:
    if standing.place is Place.OUT:
        due = stored_day(standing.out_due)
        return "later" if due is not None and due > day else "unanswered"
    return "missing" if standing.place is Place.MISSING else "back"


def close_evening(desk: Desk) -> Evening:
    """Close the day. Refused while a pair is unaccounted for, or one that may not wait was not looked at: all
    of it is told at once.
    """
    evening = read_evening(desk.connection, day=desk.day, zone=desk.zone)
    faults = []
    if evening.unanswered:
        faults.append(
            (
                f"the evening does not add up: {evening.sum_words}: {first_of(evening.unanswered, _SHOWN)}",
                "for each: scan it back, `mountbook later TAG --until DATE`,"
                " or `mountbook move TAG --to missing`",
            )
        )
    rows = recheck_list(desk.connection, today=desk.day).rows
    waiting = tuple(row.tag for row in rows if not row.group.may_wait)
    if waiting:
        pairs = counted(len(waiting), "pair that may not wait was", "pairs that may not wait were")
        it, named = ("it", waiting[0]) if len(waiting) == 1 else ("them", "them")
        faults.append(
            (
                f"{pairs} not looked at: {first_of(waiting, _SHOWN)}",
                f"look at {named} and record it, or hold {it}",
            )
        )
    if faults:
        raise Refused("; ".join(told for told, _ in faults), cure="; ".join(cure for _, cure in faults))
    desk.enter(
        EveningClosed(
            day=evening.day,
            out=evening.out,
            back=len(evening.back),
            later=len(evening.later),
            missing=len(evening.missing),
        )
    )
    return evening
