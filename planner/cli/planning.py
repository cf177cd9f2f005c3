"""`mountbook plan`: the best plan for the whole fleet, as a proposal on disk."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from fleet.entries import utc_text
from fleet.errors import BadInput
from planner.cli import session

if TYPE_CHECKING:
    from planner.plan_values import Plan


def register(app: typer.Typer) -> None:
    """Add this room's commands."""
    app.command(name="plan")(plan)


def plan(
    out: Annotated[
        Path, typer.Option("--out", metavar="FOLDER", help="Where plan.json, plan.xlsx and the paper go.")
    ],
    ready_by: Annotated[
        str | None, typer.Option("--ready-by", metavar="DATE", help="The day the sets must be ready.")
    ] = None,
    minutes: Annotated[
        int | None,
        typer.Option("--minutes", metavar="N", min=0, help="Bench minutes until then; else no limit."),
    ] = None,
    html: Annotated[
        bool, typer.Option("--html", help="Also plan.html: one page for the tablet at the bench, no network.")
    ] = False,
    json: session.Json = False,
) -> None:
    """Plan which boot goes on which pair, and how. A proposal: the ledger stays as it is.

    Example: mountbook plan --out plans/autumn --ready-by 2026-12-04 --minutes 2400
    """
    from fleet.snapshot import read_fleet
    from planner.assign.plan import plan_fleet
    from planner.plan_folder import write_plan

    moment, say = session.now(), _progress()
    with session.open_ledger() as ledger, ledger.reading() as connection:
        fleet = read_fleet(connection)
    made = plan_fleet(
        fleet, made_at=utc_text(moment), ready_by=_day(ready_by), minutes_limit=minutes, progress=say
    )
    files = write_plan(out, fleet=fleet, plan=made, printed_at=moment, html=html, progress=say)
    session.emit_json(made.to_json()) if json else _tell(made, files)


def _day(text: str | None) -> str | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text).isoformat()
    except ValueError as fault:
        raise BadInput(f"{text!r} is not a day", cure="write it like 2026-12-04") from fault


def _progress() -> Callable[[str], None] | None:
    """Progress goes to a terminal only; a log file does not want it."""
    return session.note if sys.stderr.isatty() else None


def _tell(plan: Plan, files: tuple[Path, ...]) -> None:
    t = plan.totals
    session.say(f"{t.served} of {t.wanted} sets served, {plan.status}")
    session.say(f"{t.drilled} holes to drill, {t.minutes} bench minutes")
    for short in plan.unserved:
        session.say(f"{short.wish} is short of {short.missing}: {short.reason}; {short.remedy}")
    for file in files:
        session.say(f"  {file}")
