"""Simulated surveys: known mounts, measured with error, some holes missed, some holes from elsewhere."""

from __future__ import annotations

import csv
import random
from collections import defaultdict
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

from fleet.base.units import mm_to_um
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName
from planner.geometry.naming.measured import Point

SIGMA_UM = 500
MISSED = 0.10
EXTRA = 0.10
LEAST_GAP_UM = 8_000


def eight_patterns() -> tuple[Pattern, ...]:
    """The fixed file of eight invented patterns."""
    rows: dict[str, dict[tuple[str, str], list[PatternHole]]] = defaultdict(lambda: defaultdict(list))
    limits = {}
    with Path(__file__).with_name("eight_patterns.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            rows[row["pattern"]][row["piece"], row["follows"]].append(
                PatternHole(x_um=mm_to_um(row["x_mm"]), y_um=mm_to_um(row["y_mm"]))
            )
            limits[row["pattern"]] = (mm_to_um(row["bsl_min_mm"]), mm_to_um(row["bsl_max_mm"]))
    return tuple(
        Pattern(
            name=name,
            binding_model=f"{name} 1",
            bsl_min_um=limits[name][0],
            bsl_max_um=limits[name][1],
            pieces=tuple(
                Piece(name=PieceName(piece), follows=Follows(follows), holes=tuple(holes))
                for (piece, follows), holes in pieces.items()
            ),
        )
        for name, pieces in rows.items()
    )


@dataclass(frozen=True)
class Survey:
    """What was measured and what is true."""

    points: tuple[Point, ...]
    truth: tuple[str, ...]


def mount_holes(pattern: Pattern, bsl_um: int, offset_um: int) -> list[tuple[int, int]]:
    return [
        (piece.follows.reference_um(offset_um, bsl_um) + hole.x_um, hole.y_um)
        for piece in pattern.pieces
        for hole in piece.holes
    ]


def simulate(rng: random.Random, patterns: tuple[Pattern, ...], *, mounts: int | None = None) -> Survey:
    """One ski: one to three mounts at least 8 mm apart, measured with 0.5 mm error."""
    while True:
        count = mounts or rng.randint(1, 3)
        names, true_holes = [], []
        for _ in range(count):
            pattern = rng.choice(patterns)
            bsl = 1000 * rng.randrange(262, 340)
            offset = 500 * rng.randrange(-20, 21)
            holes = mount_holes(pattern, bsl, offset)
            if all((x - a) ** 2 + (y - b) ** 2 >= LEAST_GAP_UM**2 for x, y in holes for a, b in true_holes):
                true_holes += holes
                names.append(pattern.name)
        if len(names) == count:
            break
    measured = [
        (x + rng.gauss(0, SIGMA_UM), y + rng.gauss(0, SIGMA_UM))
        for x, y in true_holes
        if rng.random() >= MISSED
    ]
    extras = sum(rng.random() < EXTRA for _ in true_holes)
    measured += [(rng.uniform(-300e3, 300e3), rng.uniform(-30e3, 30e3)) for _ in range(extras)]
    points = tuple(
        sorted(
            (Point(hole_id=f"h{i:02d}", x_um=round(x), y_um=round(y)) for i, (x, y) in enumerate(measured)),
            key=lambda p: (p.x_um, p.y_um, p.hole_id),
        )
    )
    return Survey(points=points, truth=tuple(sorted(names)))


def foreign_pattern(rng: random.Random) -> Pattern:
    """A pattern of nobody's file: random spacings unlike the eight by at least 3 mm in one measure."""

    def group(sign: int) -> tuple[PatternHole, ...]:
        near, long = rng.randrange(8, 22), rng.randrange(34, 62)
        y1, y2 = rng.choice([9, 10.5, 23.5, 25]), rng.choice([8, 10, 24, 26])
        return tuple(
            PatternHole(x_um=sign * 1000 * x, y_um=round(1000 * y))
            for x, w in ((near, y1), (near + long, y2))
            for y in (w, -w)
        )

    return Pattern(
        name="nobody's",
        binding_model="nobody's",
        pieces=(
            Piece(name=PieceName.TOE, follows=Follows.TOE, holes=group(-1)),
            Piece(name=PieceName.HEEL, follows=Follows.HEEL, holes=group(1)),
        ),
    )


def stranger(rng: random.Random, patterns: tuple[Pattern, ...]) -> Pattern:
    """A pattern that nobody entered, of eight holes with the widths of known ones.

    In every piece of four holes the length differs by at least 3 mm from each known piece of those widths.
    """
    known = [_rows_of(piece) for pattern in patterns for piece in pattern.pieces]
    widths = sorted({y for rows in known for _, y in rows if y})

    def group(sign: int) -> tuple[PatternHole, ...]:
        while True:
            near, far = rng.randrange(5, 22), rng.randrange(30, 75)
            rows = ((1000 * near, rng.choice(widths)), (1000 * far, rng.choice(widths)))
            if all(
                abs((far - near) * 1000 - abs(a - b)) >= 3_000
                for each in known
                for (a, one), (b, other) in combinations(each, 2)
                if sorted((one, other)) == sorted(y for _, y in rows)
            ):
                return tuple(PatternHole(x_um=sign * x, y_um=s * y) for x, y in rows for s in (1, -1))

    return Pattern(
        name="a stranger",
        binding_model="a stranger",
        pieces=(
            Piece(name=PieceName.TOE, follows=Follows.TOE, holes=group(-1)),
            Piece(name=PieceName.HEEL, follows=Follows.HEEL, holes=group(1)),
        ),
    )


def _rows_of(piece: Piece) -> list[tuple[int, int]]:
    """(x, half the width) of each pair of holes across the ski."""
    return sorted({(h.x_um, abs(h.y_um)) for h in piece.holes})


def surveyed(rng: random.Random, pattern: Pattern, *, shift_um: int = 0) -> tuple[Point, ...]:
    """One mount, every hole measured with 0.5 mm error, the centre line off by ``shift_um``."""
    holes = mount_holes(pattern, 1000 * rng.randrange(270, 335), 500 * rng.randrange(-10, 11))
    measured = [(x + rng.gauss(0, SIGMA_UM), y + rng.gauss(0, SIGMA_UM) + shift_um) for x, y in holes]
    return tuple(
        Point(hole_id=f"h{i:02d}", x_um=round(x), y_um=round(y)) for i, (x, y) in enumerate(sorted(measured))
    )
