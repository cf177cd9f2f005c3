"""The error model of a survey of old holes. Nothing else in naming holds figures of error."""

import math
from dataclasses import dataclass


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
