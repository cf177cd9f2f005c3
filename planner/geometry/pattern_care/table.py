"""A pattern read from a csv with the columns of the inventory's pattern sheet."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from fleet.base.errors import BadInput
from fleet.base.files import typed_rows
from fleet.facts.column_text import value_of_text
from fleet.facts.columns import LedgerFacts, columns_of
from fleet.facts.patterns import Pattern, PatternFacts, PatternHoleFacts, PieceFacts, pattern_from_body
from fleet.facts.policy import Policy

_NEEDED: Final = tuple(
    column.key
    for thing in (PatternFacts, PieceFacts, PatternHoleFacts)
    for column in columns_of(thing)
    if column.required
)
_CURE: Final = "piece is toe, heel or plate; follows is toe, heel, centre or mark; lengths in mm"


def patterns_of_csv(path: Path, policy: Policy) -> list[Pattern]:
    """Return all patterns of the file, in its order. Raises BadInput with the line and the cure."""
    cure = f"use the columns {', '.join(_NEEDED)}, and where known diameter_mm, travel_*_mm, bsl_*_mm"
    rows = typed_rows(path, _NEEDED, cure=cure)
    if not rows:
        raise BadInput(f"{path} has no rows", cure=cure)
    grouped: dict[str, dict[str, list[_Line]]] = {}
    for number, row in enumerate(rows, start=2):
        line = _Line(f"{path}, line {number}, pattern {row['pattern']!r}", row, policy)
        grouped.setdefault(row["pattern"], {}).setdefault(row["piece"], []).append(line)
    return [_pattern(list(pieces.values())) for pieces in grouped.values()]


class _Line:
    """One line of the file: where it stands, in words, and its cells."""

    def __init__(self, place: str, cells: Mapping[str, str], policy: Policy) -> None:
        self.place = place
        self._cells = cells
        self._policy = policy

    def facts(self, thing: type[LedgerFacts]) -> dict[str, Any]:
        """Return the facts of a thing that it states, by name. Raises BadInput with the place."""
        found = {}
        for column in columns_of(thing):
            text = self._cells.get(column.key, "")
            if column.required and not text:
                raise BadInput(f"{self.place}: {column.key} is blank", cure=_CURE)
            if text:
                try:
                    found[column.name] = value_of_text(column, text, self._policy)
                except BadInput as fault:
                    raise BadInput(f"{self.place}: {fault.sentence}", cure=fault.cure) from fault
        return found


def _pattern(pieces: list[list[_Line]]) -> Pattern:
    """The pattern of these lines, which are grouped by piece; the first of a group speaks for the whole."""
    first = pieces[0][0]
    body = first.facts(PatternFacts) | {
        "pieces": [
            lines[0].facts(PieceFacts) | {"holes": [line.facts(PatternHoleFacts) for line in lines]}
            for lines in pieces
        ]
    }
    try:
        return pattern_from_body(body)
    except ValueError as fault:
        raise BadInput(f"{first.place}: {fault}", cure=_CURE) from fault
