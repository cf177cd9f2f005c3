"""Patterns entered into the ledger and read from it, with their origin."""

import json
import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any, Final

from fleet.base.errors import BadInput, Refused, or_bad_input
from fleet.base.files import typed_rows
from fleet.base.typed_text import said
from fleet.events.settings import KindStepRecorded, PatternRecorded
from fleet.facts.binding_kinds import KindStep, kind_steps_of_csv
from fleet.facts.column_text import value_of_text
from fleet.facts.columns import LedgerFacts, columns_of
from fleet.facts.patterns import (
    Pattern,
    PatternFacts,
    PatternHoleFacts,
    PieceFacts,
    pattern_from_body,
    pattern_to_body,
)
from fleet.facts.policy import Policy
from fleet.ledger.desk import Desk, head
from fleet.tables.snapshot import read_patterns, read_policy
from planner.geometry.pattern_care.checks import PatternRemark, check_pattern


def enter_patterns(desk: Desk, file: Path, *, origin: str) -> dict[str, list[PatternRemark]]:
    """Record every pattern of the file, or none. One refused pattern stops them all; all faults are
    reported.
    """
    if not origin.strip():
        raise BadInput("a pattern needs an origin", cure="say who measured it, on what, and who checked it")
    head(desk.connection, desk.by, days=desk.signing_days, what="enter a pattern")
    policy = read_policy(desk.connection)
    head_um = policy.um("screw_head_mm")
    patterns = patterns_of_csv(file, policy)
    remarks = {p.name: check_pattern(p, screw_head_um=head_um) for p in patterns}
    refused = [f"{name}: {r.message}" for name, rows in remarks.items() for r in rows if r.refuse]
    if refused:
        raise Refused(
            "; ".join(refused), cure="measure again; `mountbook pattern check FILE` lists all remarks"
        )
    for pattern in patterns:
        said_by = f"{origin.strip()} (entered by {desk.by})"
        desk.enter(PatternRecorded.read(pattern_to_body(pattern, origin=said_by)))
    return remarks


def enter_kinds(desk: Desk, file: Path) -> list[KindStep]:
    """Record every row of the shop's own kinds of binding, or none. A head technician signs."""
    head(desk.connection, desk.by, days=desk.signing_days, what="enter the steps of a kind of binding")
    rows = kind_steps_of_csv(file)
    for row in rows:
        desk.enter(
            KindStepRecorded(kind=row.kind, step=row.step, lead=row.lead, words=row.words, origin=row.origin)
        )
    return rows


def recorded_pattern(connection: sqlite3.Connection, name: str) -> tuple[Pattern, str]:
    """Return the pattern and its origin. Raises Refused with the known names."""
    row = connection.execute("SELECT body FROM pattern WHERE name = ?", (name,)).fetchone()
    if row is None:
        raise Refused(
            f"there is no pattern {name} in the ledger",
            cure=f"one of: {', '.join(read_patterns(connection)) or 'none is recorded'}",
        )
    body = said(connection, json.loads(row[0]))
    return pattern_from_body(body), str(body.get("origin", ""))


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
    with or_bad_input(f"{first.place}:", cure=_CURE):
        return pattern_from_body(body)
