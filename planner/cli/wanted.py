"""`wanted`: sets wanted, proposed from past rentals or from the boots."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fleet.base.errors import BadInput
from planner.cli import session
from planner.cli.at_desk import at_desk
from planner.cli.session import By, Json


def wanted(
    source: Annotated[
        Path | None,
        typer.Option(
            "--from", metavar="FILE.csv", help="Columns: out, back, kind, length_cm, mondopoint, refused."
        ),
    ] = None,
    per_boot: Annotated[
        bool, typer.Option("--per-boot", help="Without rentals or a sheet: one set for every boot.")
    ] = False,
    table: Annotated[
        Path | None,
        typer.Option(
            "--table", metavar="FILE.csv", help="Lengths that go with soles and shells; else our defaults."
        ),
    ] = None,
    seasons: Annotated[
        int, typer.Option("--seasons", metavar="N", min=0, help="Sample so many seasons about the past ones.")
    ] = 0,
    priority: Annotated[
        int, typer.Option("--priority", metavar="N", min=1, help="Priority of the proposed wants.")
    ] = 1,
    enter: Annotated[bool, typer.Option("--enter", help="Record the proposed wants in the ledger.")] = False,
    by: By = None,
    json: Json = False,
) -> None:
    """Propose sets wanted from past rentals: the peak of sets out at once, refusals counted in.

    A shop without rentals and without a sheet of sets wanted takes --per-boot: one set for every boot, its
    lengths by a table of sole type, kind and shell (its columns: planner/planning/seasons/per_boot.csv).

    Nothing is recorded without --enter, and nothing at all while a row of the file is at fault.

    Example: mountbook wanted --from rentals.csv --seasons 200

    Example: mountbook wanted --per-boot --table our_lengths.csv --enter
    """
    if per_boot == (source is not None) or (table is not None and not per_boot) or (per_boot and seasons):
        raise BadInput(
            "sets wanted come from rentals or from the boots",
            cure="give --from FILE.csv (with --seasons), or --per-boot (with --table)",
        )
    if source is None:
        _per_boot(table, priority=priority, enter=enter, by=by, json=json)
    else:
        _from_rentals(source, seasons=seasons, priority=priority, enter=enter, by=by, json=json)


def _per_boot(table: Path | None, *, priority: int, enter: bool, by: str | None, json: bool) -> None:
    from fleet.facts.kinds import shop_kinds
    from planner.planning.seasons.per_boot import (
        NAME,
        default_windows,
        lines_of,
        read_windows,
        refuse_beside_others,
        wants_per_boot,
    )
    from planner.planning.seasons.want_entries import entries_of, per_boot_json, read_wishes

    fleet = session.fleet()
    kinds, boots = tuple(shop_kinds(fleet.policy)), fleet.boots
    windows = default_windows()
    if table is not None:
        windows = read_windows(session.read_text(table), name=table.name, kinds=kinds)
    found = wants_per_boot(boots.values(), windows, priority=priority)
    if enter:
        with at_desk(by, None) as desk:
            known = read_wishes(desk.connection)
            refuse_beside_others(known)
            for event in entries_of([wish for wish, _ in found.wants], known, name=NAME):
                desk.enter(event)
    session.answer(per_boot_json(found, entered=enter), lines_of(found), json=json, after=_recorded(enter))


def _recorded(entered: bool) -> str:
    return "recorded" if entered else "a proposal: nothing is recorded"


def _from_rentals(
    source: Path, *, seasons: int, priority: int, enter: bool, by: str | None, json: bool
) -> None:
    from fleet.facts.kinds import shop_kinds
    from fleet.tables.snapshot import read_policy
    from planner.planning.seasons.proposal import NAME, lines_of, propose
    from planner.planning.seasons.rentals import read_rentals
    from planner.planning.seasons.want_entries import entries_of, proposal_json, read_wishes

    with session.open_ledger() as ledger:
        policy = read_policy(ledger.connection)
    rentals, faults = read_rentals(session.read_text(source), tuple(shop_kinds(policy)))
    for fault in faults:
        session.note(f"{source}, row {fault.row}, {fault.column}: {fault.raw!r}: {fault.fix}")
    found = propose(rentals, policy, sampled=seasons, priority=priority)
    entered = enter and not faults
    if entered:
        with at_desk(by, None) as desk:
            wishes = [line.wish for line in found.lines]
            for event in entries_of(wishes, read_wishes(desk.connection), name=NAME):
                desk.enter(event)
    said = proposal_json(found, faults, entered=entered)
    session.answer(said, lines_of(found), json=json, after=_recorded(entered))
    if faults:
        raise typer.Exit(1)
