"""A pattern described in lines of text, and for other programs."""

from collections.abc import Iterator
from typing import Any, Final

from fleet.base.units import across_text, in_mm, length_text, mm_text, toward
from fleet.facts.columns import plain_facts
from fleet.facts.patterns import Follows, Pattern, PatternFacts, PatternHoleFacts, Piece, PieceFacts
from planner.geometry.pattern_care.checks import symmetric

FROM: Final = {
    Follows.TOE: "toe end of the sole",
    Follows.HEEL: "heel end of the sole",
    Follows.CENTRE: "boot centre",
    Follows.MARK: "ski's mark",
}
"""The line from which a piece's holes are counted."""


def pattern_lines(pattern: Pattern, origin: str) -> Iterator[str]:
    """Yield name, range and origin, then each piece with its holes."""
    low = "any" if pattern.bsl_min_um is None else f"{length_text(pattern.bsl_min_um)}"
    high = "any" if pattern.bsl_max_um is None else f"{length_text(pattern.bsl_max_um)}"
    yield f"{pattern.name}  {pattern.binding_model}  soles {low} to {high} mm"
    yield f"origin: {origin or 'not recorded'}"
    for piece in pattern.pieces:
        shape = "symmetric" if symmetric(piece) else "not symmetric"
        yield f"{piece.name.value}: holes from the {FROM[piece.follows]}; {slides_text(piece)}; {shape}"
        yield f"  {'along':<22}{'across':<15}drill"
        for hole in piece.holes:
            size = "not stated" if hole.diameter_um is None else f"{mm_text(hole.diameter_um)} mm"
            along, across = toward(hole.x_um, zero="0.0 mm"), across_text(hole.y_um, unit=" mm")
            yield f"  {along:<22}{across:<15}{size}"


def slides_text(piece: Piece) -> str:
    """Return how far the piece slides: ``slides 10.0 mm toward TAIL, 10.0 mm toward TIP``."""
    if not (piece.travel_back_um or piece.travel_forward_um):
        return "does not slide"
    back, forward = length_text(piece.travel_back_um), length_text(piece.travel_forward_um)
    return f"slides {back} mm toward TAIL, {forward} mm toward TIP"


def pattern_json(pattern: Pattern, origin: str) -> dict[str, Any]:
    """Return the pattern as `pattern show --json` prints it: every fact by its name, millimetres."""
    pieces = [
        plain_facts(PieceFacts, piece)
        | {"holes": [plain_facts(PatternHoleFacts, hole) for hole in piece.holes]}
        for piece in pattern.pieces
    ]
    said: dict[str, Any] = in_mm(plain_facts(PatternFacts, pattern) | {"origin": origin, "pieces": pieces})
    return said
