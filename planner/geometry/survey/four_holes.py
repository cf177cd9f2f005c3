"""Four holes placed by their six distances, with the distance that does not fit the others.

A mounted piece is symmetric about the centre line, so front width, rear width and the length between the
rows give all six distances; six measured ones overdetermine three unknowns.
"""

import math
from dataclasses import dataclass
from itertools import combinations

from planner.geometry.survey.readings import FourReading

NAMES = (
    "front width",
    "right length",
    "rear width",
    "left length",
    "front right to rear left",
    "front left to rear right",
)


@dataclass(frozen=True, slots=True, kw_only=True)
class FourHoles:
    """Front right, front left, rear right, rear left as (x, y) in micrometres; the worst residual.

    ``suspect`` names the one distance without which the others agree within ``agree_um``; None where all
    agree, and ``unclear`` is True where they disagree and no single distance explains it.
    """

    places_um: tuple[tuple[int, int], ...]
    worst_um: int
    suspect: str | None
    unclear: bool


def place_four(reading: FourReading, *, agree_um: int) -> FourHoles:
    """Fit the symmetric group of four by least squares; name the distance that does not fit, if one explains
    it.
    """
    measured = (
        reading.front_um,
        reading.right_um,
        reading.rear_um,
        reading.left_um,
        reading.right_to_left_um,
        reading.left_to_right_um,
    )
    everything = tuple(range(6))
    fitted, worst = _fit(measured, everything)
    suspect: str | None = None
    unclear = False
    if worst > agree_um:
        tries = []
        for kept in combinations(everything, 5):
            (dropped,) = set(everything) - set(kept)
            shape, residual = _fit(measured, kept)
            tries.append((residual, dropped, shape))
        tries.sort(key=lambda t: (t[0], t[1]))
        residual, dropped, shape = tries[0]
        # Another distance that explains it as well leaves the question open.
        if residual <= agree_um and tries[1][0] > agree_um:
            suspect, fitted = NAMES[dropped], shape
        else:
            unclear = True
    front, rear, length = fitted
    x0 = reading.front_x_um
    return FourHoles(
        places_um=tuple(
            (round(x), round(y))
            for x, y in (
                (x0, front / 2),
                (x0, -front / 2),
                (x0 - length, rear / 2),
                (x0 - length, -rear / 2),
            )
        ),
        worst_um=round(worst),
        suspect=suspect,
        unclear=unclear,
    )


def _model(front: float, rear: float, length: float) -> tuple[float, ...]:
    side = math.hypot(length, (front - rear) / 2)
    across = math.hypot(length, (front + rear) / 2)
    return (front, side, rear, side, across, across)


def _fit(measured: tuple[int, ...], kept: tuple[int, ...]) -> tuple[tuple[float, float, float], float]:
    """Fit (front, rear, length) by Gauss-Newton; return the shape and the worst residual of the kept
    distances.
    """
    import numpy as np

    values = np.array(measured, float)
    shape = np.array([values[0], values[2], (values[1] + values[3]) / 2])
    rows = list(kept)
    for _ in range(12):
        predicted = np.array(_model(*shape))
        # the model is close to linear at this size, so differences over one micrometre serve as derivatives
        jacobian = np.array([(np.array(_model(*(shape + step))) - predicted) / 1.0 for step in np.eye(3)]).T
        move, *_ = np.linalg.lstsq(jacobian[rows], (values - predicted)[rows], rcond=None)
        shape = shape + move
        # a thousandth of a micrometre: far below what a rule can read
        if float(np.abs(move).max()) < 1e-3:
            break
    residuals = np.abs(values - np.array(_model(*shape)))[rows]
    return (float(shape[0]), float(shape[1]), float(shape[2])), float(residuals.max())
