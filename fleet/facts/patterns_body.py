"""A pattern as the body of an entry, and back."""

from __future__ import annotations

from fleet.base.entries import Body
from fleet.facts.patterns import Follows, Pattern, PatternHole, Piece, PieceName


def pattern_to_body(pattern: Pattern, *, origin: str = "") -> Body:
    """The canonical body of a pattern; ``origin`` says who measured it and from what.

    What is not stated is left out where older bodies do not have it.
    """
    stated = {"binding_kind": pattern.binding_kind, "kind": pattern.kind}
    return {
        "name": pattern.name,
        "binding_model": pattern.binding_model,
        "bsl_min_um": pattern.bsl_min_um,
        "bsl_max_um": pattern.bsl_max_um,
        "origin": origin,
        "pieces": [
            {
                "name": piece.name.value,
                "follows": piece.follows.value,
                "travel_back_um": piece.travel_back_um,
                "travel_forward_um": piece.travel_forward_um,
                "holes": [[h.x_um, h.y_um, h.diameter_um] for h in piece.holes],
                **({"screw": piece.screw, "screw_origin": piece.screw_origin} if piece.screw else {}),
            }
            for piece in pattern.pieces
        ],
        **{key: said for key, said in stated.items() if said},
    }


def pattern_from_body(body: Body) -> Pattern:
    """Back from `pattern_to_body`. Raises ValueError for nonsense."""
    return Pattern(
        name=body["name"],
        binding_model=body["binding_model"],
        bsl_min_um=body["bsl_min_um"],
        bsl_max_um=body["bsl_max_um"],
        binding_kind=body.get("binding_kind", ""),
        kind=body.get("kind", ""),
        pieces=tuple(
            Piece(
                name=PieceName(piece["name"]),
                follows=Follows(piece["follows"]),
                travel_back_um=piece["travel_back_um"],
                travel_forward_um=piece["travel_forward_um"],
                screw=piece.get("screw", ""),
                screw_origin=piece.get("screw_origin", ""),
                holes=tuple(
                    PatternHole(x_um=x, y_um=y, diameter_um=diameter) for x, y, diameter in piece["holes"]
                ),
            )
            for piece in body["pieces"]
        ),
    )
