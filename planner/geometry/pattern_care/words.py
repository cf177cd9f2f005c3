"""A pattern described in lines of text, and for other programs."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from fleet.base.units import in_mm, length_text, mm_text
from fleet.facts.columns import plain_facts
from fleet.facts.patterns import Pattern, PatternFacts, PatternHoleFacts, PieceFacts
from planner.geometry.pattern_care.checks import symmetric


def pattern_lines(pattern: Pattern, origin: str) -> Iterator[str]:
    """Yield name, range and origin, then each piece with its holes."""
    low = "any" if pattern.bsl_min_um is None else f"{length_text(pattern.bsl_min_um)}"
    high = "any" if pattern.bsl_max_um is None else f"{length_text(pattern.bsl_max_um)}"
    yield f"{pattern.name}  {pattern.binding_model}  soles {low} to {high} mm"
    yield f"origin: {origin or 'not recorded'}"
    for piece in pattern.pieces:
        back, forward = length_text(piece.travel_back_um), length_text(piece.travel_forward_um)
        shape = "symmetric" if symmetric(piece) else "not symmetric"
        travel = f"travel {back} back, {forward} forward mm"
        yield f"{piece.name.value} follows {piece.follows.value}, {travel}, {shape}"
        for hole in piece.holes:
            size = "" if hole.diameter_um is None else f"  d {mm_text(hole.diameter_um)}"
            yield f"  x {length_text(hole.x_um):>7}  y {length_text(hole.y_um):>6}{size}"


def pattern_json(pattern: Pattern, origin: str) -> dict[str, Any]:
    """Return the pattern as `pattern show --json` prints it: every fact by its name, millimetres."""
    pieces = [
        plain_facts(PieceFacts, piece)
        | {"holes": [plain_facts(PatternHoleFacts, hole) for hole in piece.holes]}
        for piece in pattern.pieces
    ]
    said: dict[str, Any] = in_mm(plain_facts(PatternFacts, pattern) | {"origin": origin, "pieces": pieces})
    return said
