"""Proposed wants as entries of the ledger and as JSON."""

import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from fleet.events.event import Event
from fleet.events.settings import WishRecorded, WishWithdrawn
from fleet.facts.columns import facts_in
from fleet.facts.wishes import Wish, WishFacts
from planner.planning.seasons.per_boot import PerBoot
from planner.planning.seasons.rentals import RentalFault
from planner.planning.seasons.seasons import Proposed


def read_wishes(connection: sqlite3.Connection) -> tuple[str, ...]:
    """Names of the wants on record."""
    return tuple(row[0] for row in connection.execute("SELECT wish FROM wanted ORDER BY wish"))


def entries_of(wishes: Sequence[Wish], known: Iterable[str], *, name: str) -> Iterator[Event]:
    """The wants, and the end of those on record whose names begin alike and that are not among them."""
    proposed = {wish.wish for wish in wishes}
    for earlier in known:
        if earlier.startswith(f"{name}-") and earlier not in proposed:
            yield WishWithdrawn(wish=earlier)
    for wish in wishes:
        yield WishRecorded(**facts_in(WishFacts, wish))


def proposal_json(found: Proposed, faults: Sequence[RentalFault], *, entered: bool) -> dict[str, Any]:
    """The answer to ``mountbook wanted --json``; centimetres and shells as in the sheet of sets wanted."""
    return {
        "seasons": found.seasons,
        "sampled": found.sampled,
        "ready_for": round(found.ready, 4),
        "entered": entered,
        "wanted": [
            sheet_row(line.wish)
            | {
                "one_more": round(line.next_worth, 4),
                "peaks": list(line.wanted.peaks),
                "days_out": line.wanted.days_out,
                "refused": line.wanted.refusals,
            }
            for line in found.lines
        ],
        "faults": [{"row": f.row, "column": f.column, "raw": f.raw, "fix": f.fix} for f in faults],
    }


def sheet_row(wish: Wish) -> dict[str, Any]:
    """A want as the sheet of sets wanted writes it."""
    return {
        "wish": wish.wish,
        "kind": wish.kind.value,
        "length_min_cm": wish.length_min_mm / 10,
        "length_max_cm": wish.length_max_mm / 10,
        "mondopoint_min": wish.mondopoint_min_mm / 10,
        "mondopoint_max": wish.mondopoint_max_mm / 10,
        "quantity": wish.quantity,
        "priority": wish.priority,
    }


def per_boot_json(found: PerBoot, *, entered: bool) -> dict[str, Any]:
    """The answer to ``mountbook wanted --per-boot --json``."""
    return {
        "per_boot": True,
        "entered": entered,
        "wanted": [sheet_row(wish) | {"origin": origin} for wish, origin in found.wants],
        "without": [{"boot": tag, "reason": reason} for tag, reason in found.without],
    }
