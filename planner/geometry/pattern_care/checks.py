"""Checks of a pattern: faults for which it is refused, and warnings that ask for a second look."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

from fleet.base.units import length_text
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName

LENGTHWISE_UM, OTHERWISE_UM = 25_000, 20_000
"""Distances between the screws of one binding, ISO 8364:2017, ski groups 1 and 2 (excerpt only)."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PatternRemark:
    """A remark about a pattern. ``refuse`` True: the pattern is not taken; False: a warning with its
    source.
    """

    refuse: bool
    code: str
    message: str
    fix: str


def check_pattern(pattern: Pattern, *, screw_head_um: int) -> list[PatternRemark]:
    """Return all remarks. ``screw_head_um``: two heads cannot overlap (ISO 10045:2017 excerpt: 10 mm)."""
    return list(_remarks(pattern, screw_head_um))


def _remarks(pattern: Pattern, screw_head_um: int) -> Iterator[PatternRemark]:
    yield from _missing_pieces(pattern)
    for piece in pattern.pieces:
        for one, other in combinations(piece.holes, 2):
            yield from _pair(piece, one, other, screw_head_um)
        yield from _sides_and_end(piece)
    low, high = pattern.bsl_min_um, pattern.bsl_max_um
    if low is not None and high is not None and low > high:
        yield PatternRemark(
            refuse=True,
            code="range runs backwards",
            message=f"sole lengths from {length_text(low)} to {length_text(high)} mm",
            fix="give the shorter sole first",
        )


def symmetric(piece: Piece) -> bool:
    """Return True if every hole has its mirror image about the centre line."""
    places = {(h.x_um, h.y_um) for h in piece.holes}
    return all((x, -y) in places for x, y in places)


def _missing_pieces(pattern: Pattern) -> Iterator[PatternRemark]:
    names = {piece.name for piece in pattern.pieces}
    if names == {PieceName.TOE}:
        yield PatternRemark(
            refuse=False,
            code="toe only",
            message="the pattern has a toe piece only (a pin or cable binding)",
            fix="add the heel piece if the binding has one",
        )
    elif PieceName.PLATE not in names and not names >= {PieceName.TOE, PieceName.HEEL}:
        missing = "toe" if PieceName.TOE not in names else "heel"
        yield PatternRemark(
            refuse=True,
            code="piece missing",
            message=f"there is no {missing} piece",
            fix=f"measure the {missing} piece",
        )


def _pair(piece: Piece, one: PatternHole, other: PatternHole, head_um: int) -> Iterator[PatternRemark]:
    dx, dy = abs(one.x_um - other.x_um), abs(one.y_um - other.y_um)
    squared = dx * dx + dy * dy
    where = (
        f"{piece.name}: holes at ({length_text(one.x_um)}, {length_text(one.y_um)}) and "
        f"({length_text(other.x_um)}, {length_text(other.y_um)}) mm lie "
        f"{length_text(round(squared**0.5))} mm apart"
    )
    least = LENGTHWISE_UM if dy <= 1_000 else OTHERWISE_UM
    if squared < head_um * head_um:
        yield PatternRemark(
            refuse=True,
            code="heads overlap",
            message=f"{where}; two screw heads need {length_text(head_um)} mm",
            fix="measure both holes again",
        )
    elif squared < least * least:
        yield PatternRemark(
            refuse=False,
            code="closer than the standard",
            message=f"{where}; ISO 8364:2017 (excerpt) asks {length_text(least)} mm "
            "on skis of 140 cm and more",
            fix="look at the binding again; a junior binding may be closer",
        )


def _sides_and_end(piece: Piece) -> Iterator[PatternRemark]:
    """A toe piece lies behind or around the sole's toe end, a heel piece before its heel end."""
    if not symmetric(piece):
        yield PatternRemark(
            refuse=False,
            code="not symmetric",
            message=f"{piece.name}: not every hole has its mirror image about the centre line",
            fix="check the signs of y (+ to the right, looking at the tip); some bindings are like this",
        )
    xs = [h.x_um for h in piece.holes]
    if (piece.follows is Follows.TOE and min(xs) > 30_000) or (
        piece.follows is Follows.HEEL and max(xs) < -60_000
    ):
        yield PatternRemark(
            refuse=False,
            code="far from its end",
            message=f"{piece.name}: all holes lie {length_text(min(abs(x) for x in xs))} mm "
            "from the sole's end",
            fix="check the sign of x (+ to the tip) and what the piece follows",
        )
