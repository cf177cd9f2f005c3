"""Today's recheck list: what came back and was not passed, worst first, each with its reasons.

The values stand here; `recheck_list` reads them from the ledger. Nothing heavy is imported, so that the
list opens at once on the bench's old laptop.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

from fleet.entries import Head
from fleet.holes import Side


class Group(StrEnum):
    """The three parts of the list, in the order they are looked at."""

    CHECK_FIRST = "check first"
    DUE = "due"
    ROUTINE = "routine"

    @property
    def may_wait(self) -> bool:
        """Whether a short evening may leave the pair for tomorrow (it stays unpassed until then)."""
        return self is Group.ROUTINE


LOOK: Final = (
    "identify the pair by its tag",
    "ask what the renter said",
    "base and edges",
    "top sheet",
    "wobble each piece by hand",
    "each screw, by hand",
    "binding bodies and brakes",
    "reference boot in",
    "sign",
)
"""The order of the look at one pair (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScrewDot:
    """One screw of the small picture: micrometres from the mark; ``marked``: look here first."""

    piece: str
    x_um: int
    y_um: int
    marked: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class RecheckRow:
    """One pair to look at. ``reasons`` are whole phrases, the weightiest first.

    ``marked`` holds the (side, piece) to look at first; ``screws`` is empty for a ski whose binding is
    not recorded. ``returned_at`` is UTC text; ``seconds`` is the time the look takes by policy.
    """

    tag: str
    model: str
    kind: str
    length_mm: int
    rack: str
    group: Group
    reasons: tuple[str, ...]
    marked: frozenset[tuple[Side, str]]
    screws: Mapping[Side, tuple[ScrewDot, ...]]
    pattern: str
    returned_at: str
    seconds: int


@dataclass(frozen=True, slots=True, kw_only=True)
class RecheckList:
    """The list of one day, as of one head. ``list_id`` is printed and typed when results are entered.

    ``second_check`` are pairs fresh from the bench that wait for a second person (not on the list:
    nobody skied them yet); ``still_out`` counts pairs that are out at this head.
    """

    list_id: str
    day: date
    head: Head
    zone: str
    rows: tuple[RecheckRow, ...]
    second_check: tuple[str, ...] = ()
    still_out: int = 0

    @property
    def minutes(self) -> int:
        """What the whole list takes, minutes, rounded up."""
        return -(-sum(row.seconds for row in self.rows) // 60)

    @property
    def minutes_short(self) -> int:
        """What may not wait takes, minutes, rounded up."""
        return -(-sum(row.seconds for row in self.rows if not row.group.may_wait) // 60)

    def count(self, group: Group) -> int:
        """Pairs in that part of the list."""
        return sum(row.group is group for row in self.rows)
