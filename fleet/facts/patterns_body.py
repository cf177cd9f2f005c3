"""A pattern as the body of an entry, and back."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any, Final

from fleet.base.entries import Body
from fleet.facts.columns import LedgerFacts, facts_in_body, plain_facts
from fleet.facts.patterns import Pattern, PatternFacts, PatternHole, PatternHoleFacts, Piece, PieceFacts

_BY_PLACE: Final = ("x_um", "y_um", "diameter_um")
"""The facts of a hole in bodies that hold it as a list: before it had names, and never more than these."""


def pattern_to_body(pattern: Pattern, *, origin: str = "") -> Body:
    """The canonical body of a pattern; ``origin`` says who measured it and from what.

    What is not stated of a piece or a hole is left out, as in the entry (`fleet.events.settings`).
    """
    return plain_facts(PatternFacts, pattern) | {
        "origin": origin,
        "pieces": [
            _stated(PieceFacts, piece) | {"holes": [_stated(PatternHoleFacts, hole) for hole in piece.holes]}
            for piece in pattern.pieces
        ],
    }


def _stated(thing: type[LedgerFacts], value: object) -> Body:
    return {name: fact for name, fact in plain_facts(thing, value).items() if fact not in (None, "")}


def pattern_from_body(body: Body) -> Pattern:
    """Back from `pattern_to_body`. Raises ValueError for nonsense."""
    return Pattern(
        **facts_in_body(PatternFacts, body),
        pieces=tuple(
            Piece(**facts_in_body(PieceFacts, piece), holes=tuple(map(_hole, piece["holes"])))
            for piece in body["pieces"]
        ),
    )


def _hole(said: Mapping[str, Any] | Sequence[int | None]) -> PatternHole:
    named = said if isinstance(said, Mapping) else dict(zip(_BY_PLACE, said, strict=True))
    return PatternHole(**facts_in_body(PatternHoleFacts, named))
