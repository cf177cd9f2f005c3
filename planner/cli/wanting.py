"""`wanted`: sets wanted, proposed from past rentals."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planner.cli import session
from planner.cli.at_desk import at_desk
from planner.cli.session import By, Json


def register(app: typer.Typer) -> None:
    """Add wanted."""
    app.command("wanted")(wanted)


def wanted(
    source: Annotated[
        Path,
        typer.Option(
            "--from", metavar="FILE.csv", help="Columns: out, back, kind, length_cm, mondopoint, refused."
        ),
    ],
    seasons: Annotated[
        int, typer.Option("--seasons", metavar="N", min=0, help="Sample so many seasons about the past ones.")
    ] = 0,
    priority: Annotated[int, typer.Option("--priority", min=1, help="Priority of the proposed wants.")] = 1,
    enter: Annotated[bool, typer.Option("--enter", help="Record the proposed wants in the ledger.")] = False,
    by: By = None,
    json: Json = False,
) -> None:
    """Propose sets wanted from past rentals: the peak of sets out at once, refusals counted in.

    Nothing is recorded without --enter, and nothing at all while a row of the file is at fault.

    Example: mountbook wanted --from rentals.csv --seasons 200
    """
    from fleet.snapshot import read_policy
    from planner.demand.proposal import lines_of, propose
    from planner.demand.rentals import read_rentals
    from planner.demand.told import entries, proposal_json, read_wishes

    rentals, faults = read_rentals(session.read_text(source))
    for fault in faults:
        session.note(f"{source}, row {fault.row}, {fault.column}: {fault.raw!r}: {fault.fix}")
    with session.open_ledger() as ledger:
        policy = read_policy(ledger.connection)
    found = propose(rentals, policy, sampled=seasons, priority=priority)
    if enter and not faults:
        with at_desk(by, None) as desk:
            for what, body in entries(found, read_wishes(desk.connection)):
                desk.enter(what, body)
    if json:
        session.emit_json(proposal_json(found, faults, entered=enter and not faults))
    else:
        for text in lines_of(found):
            session.say(text)
        session.note("recorded" if enter and not faults else "a proposal: nothing is recorded")
    if faults:
        raise typer.Exit(1)
