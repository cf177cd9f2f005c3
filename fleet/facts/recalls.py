"""Makers' recalls: which bindings are in range, which nobody can say, and which are not.

A serial or date code is compared piece by piece. Unknown under an open recall is treated as in range:
take the binding off and read it.
"""

import re
import sqlite3
from enum import StrEnum

from fleet.base.typed_text import said
from fleet.base.values import Value
from fleet.facts.columns import TypedText
from fleet.facts.pairs import Binding


class Reach(StrEnum):
    """The reach of a recall: whether it reaches a binding."""

    IN_RANGE = "in range"
    UNKNOWN = "serial unknown"
    NOT = "not in range"


class RecallFacts(Value, frozen=True, kw_only=True):
    """The bindings that a maker recalls. An empty field narrows nothing; ``piece``: toe, heel, "" both."""

    recall: str
    pattern: str
    piece: str
    serial_from: str
    serial_to: str
    season: str
    source: TypedText


class Recall(RecallFacts, frozen=True, kw_only=True):
    """One recall, with the entries that opened and closed it."""

    opened_entry: int = 0
    closed_entry: int | None = None

    def reaches(self, binding: Binding) -> Reach:
        """In range if any named piece is; unknown if none is and any of them cannot be told."""
        if self.pattern and binding.pattern and binding.pattern != self.pattern:
            return Reach.NOT
        if self.season and binding.season and binding.season != self.season:
            return Reach.NOT
        in_doubt = bool((self.season and not binding.season) or (self.pattern and not binding.pattern))
        if not (self.serial_from or self.serial_to):
            return Reach.UNKNOWN if in_doubt else Reach.IN_RANGE
        serials = {"toe": binding.serial_toe, "heel": binding.serial_heel}
        answers = {
            self._reaches_serial(serial) for piece, serial in serials.items() if self.piece in ("", piece)
        }
        if Reach.IN_RANGE in answers:
            return Reach.UNKNOWN if in_doubt else Reach.IN_RANGE
        return Reach.UNKNOWN if Reach.UNKNOWN in answers else Reach.NOT

    def _reaches_serial(self, serial: str) -> Reach:
        if not serial.strip():
            return Reach.UNKNOWN
        key = serial_key(serial)
        low, high = serial_key(self.serial_from), serial_key(self.serial_to or self.serial_from)
        if serial_form(key) != serial_form(low) or serial_form(key) != serial_form(high):
            return Reach.UNKNOWN
        return Reach.IN_RANGE if low <= key <= high else Reach.NOT


def serial_key(serial: str) -> tuple[str | int, ...]:
    """A serial in parts, digits as numbers: ``TX-0450`` comes before ``TX-1200`` and after ``TX-99``."""
    parts = re.findall(r"\d{1,400}|[^\W\d_]+", serial.casefold())  # Python reads no longer number at once
    return tuple(int(part) if part.isdecimal() else part for part in parts)  # ² is a digit, and no number


def serial_form(key: tuple[str | int, ...]) -> tuple[type, ...]:
    """Return what kinds of parts a serial has, in order: only serials of one form can be compared."""
    return tuple(type(part) for part in key)


def read_recalls(connection: sqlite3.Connection, *, closed: bool = False) -> tuple[Recall, ...]:
    """Open recalls by name; with ``closed`` those too."""
    where = "" if closed else " WHERE closed_entry IS NULL"
    return tuple(
        Recall(
            recall=row[0],
            pattern=row[1],
            piece=row[2],
            serial_from=row[3],
            serial_to=row[4],
            season=row[5],
            source=said(connection, row[6]),
            opened_entry=row[8],
            closed_entry=row[7],
        )
        for row in connection.execute(
            "SELECT recall, pattern, piece, serial_from, serial_to, season, source, closed_entry,"
            f" opened_entry FROM recall{where} ORDER BY recall"
        )
    )
