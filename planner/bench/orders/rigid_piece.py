"""The check of measured holes against their rigid piece: no piece of a binding bends.

Each hole is held against the median of the others of its piece, each by how far it lies from where the sheet
put it. So a piece that stands elsewhere as a whole is in order, and one hole off the others stands out by all
of what it is off. A hole not measured counts where the sheet put it: that is where it is entered.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from math import isqrt
from statistics import median

from fleet.base.units import length_text
from fleet.facts.holes import Side
from fleet.rules.below_rule import over_text
from planner.bench.orders.bench_record import SLIP_UM, Measured, Screw
from planner.plan.values import PlannedHole, PlannedSet


@dataclass(frozen=True, slots=True, kw_only=True)
class Astray:
    """A hole that cannot be where it is said to be, and the reason, in words that begin with *is*.

    ``place`` is side, x and y as they would be entered; ``number`` the one on the sheet.
    """

    place: tuple[Side, int, int]
    piece: str
    number: str
    words: str

    @property
    def on_sheet(self) -> str:
        """The hole as the sheet calls it."""
        return f"hole {self.number} of ski {self.place[0]} ({self.piece})"


def holes_astray(
    planned: PlannedSet,
    measured: Mapping[Screw, Measured],
    *,
    allowed_um: int,
    labels: Mapping[Screw, str],
    drilled: Collection[Screw] | None = None,
) -> list[Astray]:
    """Every hole farther than ``allowed_um`` from where the others of its piece put it, and every one
    farther from its planned place than a slip of the pen is.

    ``drilled`` None: the whole order was drilled; else only these.
    """
    found = []
    for side in Side:
        holes = [
            hole
            for screw, hole in planned.way.screws.items()
            if screw[0] is side and (drilled is None or screw in drilled)
        ]
        for piece in dict.fromkeys(hole.piece for hole in holes):
            mine = [hole for hole in holes if hole.piece == piece]
            off = [_off(hole, measured.get((side, piece, hole.number))) for hole in mine]
            for at, (hole, by) in enumerate(zip(mine, off, strict=True)):
                words = _words(by, off[:at] + off[at + 1 :], allowed_um)
                if words:
                    place = (side, hole.x_um + by[0], hole.y_um + by[1])
                    number = labels[side, piece, hole.number]
                    found.append(Astray(place=place, piece=piece, number=number, words=words))
    return found


def _off(hole: PlannedHole, seen: Measured | None) -> tuple[int, int]:
    return (0, 0) if seen is None else (seen.x_um - hole.x_um, seen.y_um - hole.y_um)


def _words(by: tuple[int, int], others: list[tuple[int, int]], allowed_um: int) -> str:
    if others:
        square = sum((mine - median(other[at] for other in others)) ** 2 for at, mine in enumerate(by))
        if square > allowed_um**2:
            return (
                f"is {over_text(isqrt(int(square)), allowed_um)} from where the other holes of its piece put"
                f" it; a piece is rigid, and bench and reading allow {length_text(allowed_um)} mm"
            )
    if max(map(abs, by)) > SLIP_UM:
        return f"is {length_text(isqrt(by[0] ** 2 + by[1] ** 2))} mm from where the order put it"
    return ""
