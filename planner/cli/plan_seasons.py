"""`plan --seasons` and `--rentals`: the plan for many seasons instead of the one for the sets wanted."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from planner.cli import session

if TYPE_CHECKING:
    from fleet.tables.snapshot import Fleet
    from planner.planning.seasons.season_plan import SeasonPlan

Seasons = Annotated[
    int | None,
    typer.Option(
        "--seasons", metavar="N", help="Plan for N seasons drawn about the sets wanted or --rentals."
    ),
]
Rentals = Annotated[
    Path | None,
    typer.Option(
        "--rentals",
        metavar="FILE.csv",
        help="Past rentals (columns as in wanted --from); without --seasons those seasons alone.",
    ),
]


def plan_many(fleet: Fleet, seasons: int | None, rentals: Path | None, **rest: Any) -> SeasonPlan:
    """Return the plan for the seasons; ``rest`` as `plan_for_seasons` takes it. Raises BadInput on faulty
    rows.
    """
    from fleet.facts.kinds import shop_kinds
    from planner.planning.seasons.rentals import read_rentals
    from planner.planning.seasons.season_plan import plan_for_seasons
    from planner.planning.seasons.seasons import from_rentals, from_wants, refuse_faulty

    if rentals is None:
        return plan_for_seasons(fleet, from_wants(fleet.wishes, fleet.policy, seasons or 0), **rest)
    found, faults = read_rentals(session.read_text(rentals), tuple(shop_kinds(fleet.policy)))
    refuse_faulty(faults, str(rentals))
    return plan_for_seasons(fleet, from_rentals(found, fleet.policy, seasons), **rest)
