"""Work orders and their numbers: the highest used in each month, also in a file that a copy replaced."""

import json
import sqlite3
from collections.abc import Iterable, Mapping
from datetime import timedelta

from fleet.base.days import shop_time
from fleet.base.values import Value
from fleet.facts.columns import PairTag


class OrderFacts(Value, frozen=True, kw_only=True):
    """The facts of a work order, in its entry and in the table of orders; `OrderIssued` says each."""

    number: str
    revision: str
    tag: PairTag
    boot: str
    way: str
    minutes: int
    giver: PairTag | None
    pair_state: str
    giver_state: str | None


def order_number(month: str, number: int) -> str:
    """Return the number as its sheet says it: ``WO-2611-0001`` for month ``2611``."""
    return f"WO-{month}-{number:04d}"


def number_said(order: str) -> dict[str, int]:
    """Back from `order_number`: the number, by its month."""
    _, month, number = order.split("-")
    return {month: int(number)}


def used_numbers(connection: sqlite3.Connection) -> dict[str, int]:
    """Return the highest number used in each month (``2611``), with those that a restore skipped."""
    skipped = connection.execute("SELECT body FROM entries WHERE what = 'ledger restored'")
    given = connection.execute("SELECT DISTINCT number FROM work_order")
    return highest(
        [
            *(json.loads(body).get("orders", {}) for (body,) in skipped),
            *(number_said(order) for (order,) in given),
        ]
    )


def newest_restore(connection: sqlite3.Connection) -> int:
    """Return the entry by which this file was last put back from a copy; 0 where it never was."""
    newest = "SELECT coalesce(max(seq), 0) FROM entries WHERE what = 'ledger restored'"
    return int(connection.execute(newest).fetchone()[0])


def highest(several: Iterable[Mapping[str, int]]) -> dict[str, int]:
    """Return the highest number of each month among several such lists."""
    used: dict[str, int] = {}
    for each in several:
        for month, number in each.items():
            used[month] = max(number, used.get(month, 0))
    return used


def numbers_nobody_knows(copied_utc: str, now_utc: str, *, zone: str) -> dict[str, int]:
    """Return a number for each month above all that may have been used between a copy and its restore.

    Nobody can tell which were used: so the next ones begin with the day, hour and minute of the restore
    (``271135001`` on the 27th at 11:35), which no month's orders reach by counting; in an older month the
    days count on. The month before the copy is told too: work may be entered late.
    """
    now, one_day = shop_time(now_utc, zone), timedelta(days=1)
    oldest = shop_time(copied_utc, zone).date().replace(day=1) - one_day
    found, month = {}, now.date()
    while month >= oldest.replace(day=1):
        days = (now.date() - month.replace(day=1)).days + 1
        found[f"{month:%y%m}"] = int(f"{days}{now:%H%M}000")
        month = month.replace(day=1) - one_day
    return found
