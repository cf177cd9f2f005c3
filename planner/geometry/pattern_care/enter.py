"""Patterns entered into the ledger and read from it, with their origin."""

import json
import sqlite3
from pathlib import Path

from fleet.base.errors import BadInput, Refused
from fleet.base.typed_text import said
from fleet.events.settings import KindStepRecorded, PatternRecorded
from fleet.facts.binding_kinds import KindStep, kind_steps_of_csv
from fleet.facts.patterns import Pattern, pattern_from_body, pattern_to_body
from fleet.ledger.desk import Desk
from fleet.ledger.signing import head
from fleet.tables.snapshot import read_patterns, read_policy
from planner.geometry.pattern_care.checks import PatternRemark, check_pattern
from planner.geometry.pattern_care.table import patterns_of_csv


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
