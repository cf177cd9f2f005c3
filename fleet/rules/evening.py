"""The end of a day at the counter. It closes only if out - back - later - missing is 0."""

import sqlite3
from dataclasses import dataclass
from datetime import date, timedelta

from fleet.base.days import midnight, stored_day
from fleet.base.entries import utc_text
from fleet.base.errors import Refused
from fleet.base.units import counted, first_of
from fleet.events.movement import EveningClosed
from fleet.facts.standing import Place, Standing, read_standings
from fleet.ledger.desk import Desk
from fleet.rules.recheck import recheck_list

_SHOWN = 12


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
    def left(self) -> int:
        """The number out - back - later - missing; 0 closes the evening."""
        return self.out - len(self.back) - len(self.later) - len(self.missing)

    @property
    def sum_words(self) -> str:
        """The sum in words: ``12 out - 10 back - 1 later - 1 missing = 0``."""
        return (
            f"{self.out} out - {len(self.back)} back - {len(self.later)} later -"
            f" {len(self.missing)} missing = {self.left}"
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
    if evening.left:
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
        sentences, cures = zip(*faults, strict=True)
        raise Refused("; ".join(sentences), cure="; ".join(cures))
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
