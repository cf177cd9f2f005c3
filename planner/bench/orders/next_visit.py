"""The next step of an open order: plug, wait for the cure, drill, or only set.

Read from the order's body as it stands, by the names that FORMATS promises: the values of a plan take longer
to load than the whole of `today`.
"""

import json
import sqlite3
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from typing import Final

from fleet.base.days import clock_text
from fleet.base.entries import utc_text
from fleet.base.errors import RECORD_FAULTS
from fleet.base.units import counted
from fleet.facts.holes import HoleState
from fleet.facts.policy import Policy
from fleet.facts.standing import Standing, read_standings
from fleet.rules.clearance import cure_end
from fleet.tables.connection import AMONG, among

_BINDING_STAYS: Final = ("as it is", "adjust")


class Step(StrEnum):
    """The next step, in the words of a heading."""

    PLUG = "orders whose old holes are plugged first"
    CURE = "orders whose filler still cures"
    WORK = "orders to drill or to mount"
    SET = "orders that only set the binding"
    WAIT = "orders that wait for their pair"
    UNREAD = "orders whose record cannot be read"


@dataclass(frozen=True, slots=True, kw_only=True)
class NextVisit:
    """An open order, its pair, the next step, and what is to be known of it."""

    order: str
    pair: str
    step: Step
    words: str = ""


def next_visits(
    connection: sqlite3.Connection,
    *,
    policy: Policy,
    now: datetime,
    zone: str,
    number: str = "",
) -> Iterator[NextVisit]:
    """Yield what the bench does next with each open order's pair, and not before when.

    ``number``: of the only order that is asked for.
    """
    only, args = (" AND number = ?", (number,)) if number else ("", ())
    orders = connection.execute(
        f"SELECT number, revision, tag, way, body FROM work_order WHERE state = 'open'{only} ORDER BY number",
        args,
    ).fetchall()
    pairs = read_standings(connection, where=f"tag {AMONG}", args=among(tag for _, _, tag, _, _ in orders))
    standings = {standing.tag: standing for standing in pairs}
    for number, revision, tag, way, body in orders:
        try:
            plug = [hole for ski in json.loads(body)["set"]["skis"].values() for hole in ski["plug"]]
            query = "SELECT hole_id, state FROM hole WHERE tag = ?"
            states = dict(connection.execute(query, (tag,)) if plug else ())
            open_yet = sum(states[hole] != HoleState.PLUGGED for hole in plug)
            step, words = _next(way, standings[tag], open_yet, policy=policy, now=now, zone=zone)
        except RECORD_FAULTS as fault:  # one order must not hide the others
            step, words = Step.UNREAD, f"{type(fault).__name__}: {fault}"
        yield NextVisit(order=f"{number} {revision}", pair=tag, step=step, words=words)


def _next(
    way: str, standing: Standing, open_yet: int, *, policy: Policy, now: datetime, zone: str
) -> tuple[Step, str]:
    if not standing.place.plannable:
        return Step.WAIT, standing.place.words
    if way in _BINDING_STAYS:
        return Step.SET, ""
    if open_yet:
        return Step.PLUG, f"{counted(open_yet, 'hole')} to plug"
    unset = [each for each in standing.glued_with if policy.cure_hours(each) is None]
    if unset:
        words = " and ".join(each.replace("_", " ") for each in unset)
        return Step.CURE, f"nobody has said how long its {words} cures"
    cured = cure_end(standing, policy)
    if cured is None and standing.glued_with:
        return Step.CURE, "it is not known since when"
    if cured is not None and cured > now:
        return Step.CURE, f"not before {clock_text(utc_text(cured), zone, today=now)}"
    return Step.WORK, ""
