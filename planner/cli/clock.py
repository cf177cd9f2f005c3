"""`confirm-hour`: times that were entered later, seen by a second person."""

from __future__ import annotations

from typing import Annotated

import typer

from planner.cli import session
from planner.cli.at_desk import at_desk
from planner.cli.session import By, Json


def confirm_hour(
    entries: Annotated[list[int], typer.Argument(metavar="ENTRY…", help="The entries' numbers.", min=1)],
    by: By = None,
    json: Json = False,
) -> None:
    """Confirm as a second person the hours of work that was entered later: its glue cures from then on.

    Until then it cures from the entry. Many entries of one evening are confirmed at once.

    Example: mountbook confirm-hour 812 815 --by "Vera Lind"
    """
    from fleet.base.days import time_text
    from fleet.rules.hours import confirm_hours

    with at_desk(by, None) as desk:
        confirmed = confirm_hours(desk, entries)
        zone = desk.zone
    session.answer(
        {"confirmed": [{"tag": one.tag, "entry": one.entry, "at": one.stated} for one in confirmed]},
        [f"{one.tag}: its cure counts from {time_text(one.stated, zone)}" for one in confirmed],
        json=json,
    )
