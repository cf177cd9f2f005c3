"""`confirm-hour`, `mend-clock`: hours that a second person saw, and a clock that was wrong."""

from __future__ import annotations

from datetime import timedelta
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


def mend_clock(
    first: Annotated[int, typer.Option("--from", metavar="ENTRY", help="The wrong clock's first entry.")],
    last: Annotated[int, typer.Option("--to", metavar="ENTRY", help="Its last entry.")],
    said: Annotated[str, typer.Option("--said", metavar="TIME", help="A time that it showed.")],
    was: Annotated[str, typer.Option("--was", metavar="TIME", help="The right time at that moment.")],
    why: Annotated[str, typer.Option("--why", metavar="TEXT", help="What was wrong; kept as free text.")],
    by: By = None,
    json: Json = False,
) -> None:
    """Set right the times of entries that were made while a clock was wrong. The entries stay as they are.

    A pass, a return or a glue of next year then counts from when it was. A head technician or manager signs.

    Example: mountbook mend-clock --from 12 --to 15 --said 2027-12-03T10:00 --was 2026-12-03T10:00 --why reset
    """
    from fleet.base.units import counted
    from fleet.rules.hours import mend_clock as mend

    with at_desk(by, None) as desk:
        times = [session.stated_time(text, desk.zone) for text in (said, was)]
        shift = timedelta()
        if times[0] is not None and times[1] is not None:
            shift = times[1] - times[0]
        tags = mend(desk, first, last, shift=shift, why=why)
    entries = counted(last - first + 1, "entry", "entries")
    session.answer(
        {"from": first, "to": last, "seconds": round(shift.total_seconds()), "pairs": list(tags)},
        f"{entries} set right; the times of {counted(len(tags), 'pair')} follow: {', '.join(tags) or 'none'}",
        json=json,
    )
