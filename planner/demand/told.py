"""Proposed wants as entries of the ledger and as JSON."""

from __future__ import annotations

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from fleet.equipment import Wish
from planner.demand.proposal import NAME, Proposed
from planner.demand.rentals import Fault


def read_wishes(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Names of the wants on record."""
    return tuple(row[0] for row in connection.execute("SELECT wish FROM wanted ORDER BY wish"))


def entries(found: Proposed, known: Iterable[str]) -> Iterator[tuple[str, dict[str, Any]]]:
    """What to enter: every proposed want, and the end of earlier proposals that are not made again."""
    proposed = {line.wish.wish for line in found.lines}
    for name in known:
        if name.startswith(f"{NAME}-") and name not in proposed:
            yield "wish withdrawn", {"wish": name}
    for line in found.lines:
        yield "wish recorded", wish_body(line.wish)


def wish_body(wish: Wish) -> dict[str, Any]:
    """The body of `wish recorded`, lengths and shells in millimetres."""
    return {
        "wish": wish.wish,
        "kind": wish.kind.value,
        "length_min_mm": wish.length_min_mm,
        "length_max_mm": wish.length_max_mm,
        "mondopoint_min_mm": wish.mondopoint_min_mm,
        "mondopoint_max_mm": wish.mondopoint_max_mm,
        "quantity": wish.quantity,
        "priority": wish.priority,
    }


def proposal_json(found: Proposed, faults: Sequence[Fault], *, entered: bool) -> dict[str, Any]:
    """The answer to ``mountbook wanted --json``; centimetres and shells as in the sheet of sets wanted."""
    return {
        "seasons": found.seasons,
        "sampled": found.sampled,
        "ready_for": round(found.ready, 4),
        "entered": entered,
        "wanted": [
            {
                "wish": line.wish.wish,
                "kind": line.wish.kind.value,
                "length_min_cm": line.wish.length_min_mm / 10,
                "length_max_cm": line.wish.length_max_mm / 10,
                "mondopoint_min": line.wish.mondopoint_min_mm / 10,
                "mondopoint_max": line.wish.mondopoint_max_mm / 10,
                "quantity": line.wish.quantity,
                "priority": line.wish.priority,
                "one_more": round(line.next_worth, 4),
                "peaks": list(line.wanted.peaks),
                "days_out": line.wanted.days_out,
                "refused": line.wanted.refusals,
            }
            for line in found.lines
        ],
        "faults": [{"row": f.row, "column": f.column, "raw": f.raw, "fix": f.fix} for f in faults],
    }
