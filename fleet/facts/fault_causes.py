"""The causes of a hold: one table from the cause to the road that ends it, and to who may go that road.

The causes and the words that give them away stand in ``fault_causes.csv``; a shop's words are proposals only.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Final

from fleet.base.errors import typed_word
from fleet.base.files import csv_rows
from fleet.facts.standing import Standing

_FILE: Final = Path(__file__).with_name("fault_causes.csv")


class Road(StrEnum):
    """The way in which a stop ends. An entry keeps its road, so a later table changes no older hold."""

    LISTED = "listed person"
    SECOND = "second person"
    HEAD = "head technician"
    MANAGER = "manager"


@dataclass(frozen=True, slots=True, kw_only=True)
class RoadRule:
    """One row of `ROADS`: the end of a stop besides a repair. ``never``: who may not, as long as it lasts.

    ``what`` the signature is for; ``reason``: what is asked for in words, "" where nothing is; ``words`` and
    ``command``: the road as it is told; ``on_tag``: on the tag that hangs on the ski, with its ``boxes``.
    """

    never: tuple[str, ...]
    what: str
    reason: str
    words: str
    command: str
    on_tag: str = "Does not go out. Repaired is not passed: a second person looks."
    boxes: tuple[str, str] = ("repaired by, date", "second person, date")


_CLEAR: Final = "mountbook clear {tag} --why TEXT --by NAME"
ROADS: Final[Mapping[Road, RoadRule]] = {
    Road.LISTED: RoadRule(
        never=("worker",),
        what="clear a hold",
        reason="",
        words="a listed person lifts the hold",
        command="mountbook clear {tag} --by NAME",
    ),
    Road.SECOND: RoadRule(
        never=("worker", "finder"),
        what="clear a hold",
        reason="why the hold of a moved screw is lifted",
        words="repair it, then enter it (mountbook repair done {tag} --did TEXT --by NAME); if no screw"
        " moved, somebody else than {finders} ends the stop",
        command=_CLEAR,
    ),
    Road.HEAD: RoadRule(
        never=("causer", "worker", "finder"),
        what="end a stop ({stop})",
        reason="why the stop is ended",
        words="a head technician ends the stop, never who caused it",
        command=_CLEAR,
        on_tag="Does not go out. Only the head technician ends it, never who caused it.",
        boxes=("head technician, date", "reason"),
    ),
    Road.MANAGER: RoadRule(
        never=(),
        what="clear a quarantine",
        reason="the reason",
        words="only a manager ends a quarantine",
        command=_CLEAR,
        on_tag="Touch nothing on it. Only the manager lets it go.",
        boxes=("manager, date", "reason"),
    ),
}
"""The one table of what ends a stop. No pass comes of any of them. A repair that says what was done ends the
first two too, and then another person looks."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultCause:
    """One cause: its road, the beginnings of words that propose it, the findings of a look that are it."""

    cause: str
    road: Road
    signs: tuple[str, ...]
    look: tuple[str, ...]

    def said_in(self, text: str) -> bool:
        """Return whether the text has one of its signs at the beginning of a word."""
        return any(re.search(rf"\b{re.escape(sign)}", text) for sign in self.signs)


def road_of(standing: Standing) -> Road:
    """Return the road by which the pair's stop ends: of several the one that asks for most."""
    if standing.quarantine_entry:
        return Road.MANAGER
    if standing.stop_entry:
        return Road.HEAD
    return Road.SECOND if standing.finders else Road.LISTED


def road_words(standing: Standing) -> str:
    """Return what ends the pair's stop, and what is typed."""
    rule = ROADS[road_of(standing)]
    told = f"{rule.words}: {rule.command}"
    return told.format(tag=standing.tag, finders=" and ".join(standing.finders))


@cache
def fault_causes() -> Mapping[str, FaultCause]:
    """Every cause by its name, in the order in which words are read; the last is *other*."""

    def parts(text: str) -> tuple[str, ...]:
        return tuple(part.strip() for part in text.split(";") if part.strip())

    return {
        row["cause"]: FaultCause(
            cause=row["cause"],
            road=Road(row["road"]),
            signs=parts(row["signs"]),
            look=parts(row["look"]),
        )
        for row in csv_rows(_FILE)
    }


OTHER: Final = "other"


def proposed_cause(text: str) -> FaultCause:
    """Return the cause that the words give away, of several that whose road asks for most; else *other*."""
    said = " ".join(text.casefold().split())
    roads = list(Road)
    found = [cause for cause in fault_causes().values() if cause.said_in(said)]
    return max(found, key=lambda cause: roads.index(cause.road), default=fault_causes()[OTHER])


def cause_of(typed: str) -> FaultCause:
    """Return the cause of that name, as typed with blanks or hyphens. Raises BadInput with the choices."""
    known = ", ".join(name.replace(" ", "-") for name in fault_causes())
    otherwise = f"{typed!r} is no cause of a hold"
    return fault_causes()[typed_word(typed, fault_causes(), otherwise, cure=f"one of: {known}")]
