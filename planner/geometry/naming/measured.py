"""Measured holes of one ski, and the three ways in which somebody may have entered a survey."""

import math
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


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyError:
    """Measurement error and slips of a survey.

    ``sigma_um``: standard error of one coordinate. ``missed``: chance that a hole is overlooked (filled,
    under a plate); ``missed_bare``: the same where the ski was seen bare. ``sideways_um``: standard error of
    the centre line that all of a survey is measured from. ``unknown``: chance that a mount is of a pattern
    that nobody entered. ``extra``: spurious or foreign holes, as a share of a mount's holes. ``area_um2``:
    the stretch of ski that is looked at. ``slip``: chance that a whole ski was entered mirrored or tip for
    tail. The defaults are ours, no source; the shop's steel ruler decides ``sigma_um``.
    """

    sigma_um: int = 500
    missed: float = 0.10
    missed_bare: float = 0.01
    sideways_um: int = 800
    unknown: float = 0.20
    extra: float = 0.10
    slip: float = 0.01
    area_um2: float = 600_000.0 * 60_000.0
    typical_holes: int = 8

    def __post_init__(self) -> None:
        if self.sigma_um <= 0:
            raise ValueError(f"the measuring error must be more than 0 um, not {self.sigma_um}")
        for name in ("missed", "missed_bare", "unknown", "extra", "slip"):
            if not 0.0 < getattr(self, name) < 1.0:
                raise ValueError(f"{name} is a share between 0 and 1, not {getattr(self, name)}")

    @property
    def log_extra_density(self) -> float:
        """Return the log density of a spurious hole per square micrometre."""
        return math.log(self.extra * self.typical_holes / self.area_um2)

    def log_missed(self, bare: int, other: int) -> float:
        """Return the log chance to overlook so many holes where the ski was seen bare, and elsewhere."""
        return bare * math.log(self.missed_bare) + other * math.log(self.missed)

    def log_normal(self, squared_um2: float, dimensions: int) -> float:
        """Return the log density of ``dimensions`` independent errors whose squares sum to
        ``squared_um2``.
        """
        variance = float(self.sigma_um) ** 2
        return -0.5 * squared_um2 / variance - 0.5 * dimensions * math.log(2 * math.pi * variance)
