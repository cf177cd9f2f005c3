"""Measured holes of one ski, and the three ways in which somebody may have entered a survey."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from fleet.facts.holes import Hole
from fleet.facts.pairs import Ski

Stretches = tuple[tuple[int, int], ...]
"""Closed ranges along the ski, um from the mark."""


class Entered(StrEnum):
    """The way a ski was entered: as it is, with y's sign turned, or with tip and tail exchanged."""

    AS_IS = "as it is"
    MIRRORED = "mirrored"
    TIP_FOR_TAIL = "tip for tail"


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """A measured hole: its id and place in micrometres."""

    hole_id: str
    x_um: int
    y_um: int


def points_of(holes: Iterable[Hole]) -> tuple[Point, ...]:
    """Return the holes as points, sorted along the ski: the order of entry must not change the answer."""
    points = (Point(hole_id=h.hole_id, x_um=h.x_um, y_um=h.y_um) for h in holes)
    return tuple(sorted(points, key=lambda p: (p.x_um, p.y_um, p.hole_id)))


def seen_bare(ski: Ski) -> Stretches:
    """Return the stretches of a ski in which somebody looked for holes and would have found them."""
    return tuple((area.from_um, area.to_um) for area in ski.inspected)


def stretches_as(seen: Stretches, entered: Entered) -> Stretches:
    """Return where those stretches really lie, if the survey was entered in that way."""
    return tuple((-to, -since) for since, to in seen) if entered is Entered.TIP_FOR_TAIL else seen


def entered_as(points: tuple[Point, ...], entered: Entered) -> tuple[Point, ...]:
    """Return the places the points really have, if the survey was entered in that way.

    Tip for tail turns the ski by 180 degrees, so both signs change; mirrored changes y alone.
    """
    sign_x = -1 if entered is Entered.TIP_FOR_TAIL else 1
    sign_y = 1 if entered is Entered.AS_IS else -1
    return tuple(
        sorted(
            (Point(hole_id=p.hole_id, x_um=sign_x * p.x_um, y_um=sign_y * p.y_um) for p in points),
            key=lambda p: (p.x_um, p.y_um, p.hole_id),
        )
    )
