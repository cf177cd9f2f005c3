"""The second person: whose hands at a pair bar them from passing or clearing it, told from its entries."""

import sqlite3
from collections.abc import Collection
from typing import Any, Final, NamedTuple

from fleet.base.kept_names import NamesSaid
from fleet.events.carried_over import PairCarriedOver
from fleet.events.event import Event
from fleet.events.orders import OrderDone, OrderPlugged, OrderStopped
from fleet.events.stops import HoldCleared, RepairDone, StopEnded
from fleet.facts.staff import CHECKERS
from fleet.facts.standing import Standing
from fleet.facts.tags import names_of
from fleet.ledger.desk import Desk
from fleet.ledger.signing import in_date, is_one_of
from fleet.tables.connection import AMONG, among
from fleet.tables.snapshot import read_policy, read_staff

ONE_PERSON: Final = "one_person_passes"
_HANDS: Final = (RepairDone, OrderPlugged, OrderDone, HoldCleared, StopEnded, PairCarriedOver)


class _Work(NamedTuple):
    """An entry of somebody's work: its words in the ledger, who entered it, its body."""

    what: str
    by: str
    body: dict[str, Any]


def barred(desk: Desk, standing: Standing, names: Collection[str], *, passes: bool) -> tuple[str, ...]:
    """Return those of the names (workers, or who lifted a hold) who may not pass or clear the pair now.

    All of them, while anybody else of the list may look. Where every listed person in date had a hand in
    it, only the one whose hand was the newest: two people check each other. A shop that lists one passes its
    own work by the dated policy of that, where no screw had moved.
    """
    hands = {*standing.workers, *standing.cleared_by}
    able = in_date(read_staff(desk.connection), CHECKERS, days=desk.signing_days)
    if any(not is_one_of(each, hands) for each in able):
        return tuple(names)
    if len(able) > 1:
        newest = _newest_hand(desk.connection, standing.tag)
        return tuple(name for name in names if not newest or is_one_of(name, (newest,)))
    return () if passes and _may_alone(desk, standing) else tuple(names)


def _newest_hand(connection: sqlite3.Connection, tag: str) -> str:
    """Return who worked on the pair or lifted its hold last; "" where another record knows that."""
    hands = _entries_of(connection, tag, _HANDS)
    return hands[-1].by if hands and hands[-1].what != PairCarriedOver.WHAT else ""


def _entries_of(connection: sqlite3.Connection, tag: str, kinds: Collection[type[Event]]) -> list[_Work]:
    """Return the pair's entries of these kinds, oldest first, under every tag that it had."""
    rows = connection.execute(
        "SELECT DISTINCT seq, what, by, body FROM naming JOIN entries ON seq = entry"
        f" WHERE name {AMONG} AND what {AMONG} ORDER BY seq",
        (*among(names_of(connection, tag)), *among(each.WHAT for each in kinds)),
    )
    names = NamesSaid(connection)
    return [_Work(what, names.of(by), names.body(body)) for _, what, by, body in rows]


def _may_alone(desk: Desk, standing: Standing) -> bool:
    setting = read_policy(desk.connection).setting(ONE_PERSON)
    a_screw_moved = bool(standing.fault.entry) and not standing.passed.is_later_than(standing.fault)
    return setting.value == "yes" and setting.since <= desk.day.isoformat() and not a_screw_moved


def causers(connection: sqlite3.Connection, standing: Standing) -> tuple[str, ...]:
    """Return whose work at the bench stopped the pair, since a stop of it was last ended."""
    found: list[str] = []
    for each in _entries_of(connection, standing.tag, (OrderDone, OrderStopped, StopEnded)):
        if each.what == StopEnded.WHAT:
            found = []
        elif each.body.get("stop"):
            found.append(each.by)
    return tuple(found)
