"""`pattern add|show|check|list|kinds|model`: hole patterns as the shop measured them."""

from __future__ import annotations

import csv
import sys
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from fleet.base.days import day_text
from fleet.base.units import counted
from planner.cli import session, terminal
from planner.cli.when_used import when_used

with when_used():
    from fleet.facts import binding_kinds
    from fleet.rules import gate_desk
    from fleet.tables import snapshot
    from imports import propose_bindings
    from planner.geometry.pattern_care import checks, enter, words
    from planner.paper import pattern_picture, svg_writer


CsvFile = Annotated[Path, typer.Argument(metavar="FILE", help="A csv in the columns of the pattern sheet.")]


def pattern_add(
    file: CsvFile,
    origin: Annotated[
        str, typer.Option("--origin", metavar="TEXT", help="Who measured it, on what, and who checked it.")
    ],
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Take measured patterns into the ledger, signed; what cannot be is refused, with every fault.

    Bindings and mounts that the ledger kept by name until their pattern comes are completed with it.

    Example: mountbook pattern add ours.csv --origin "off a bare binding, seen by Ida" --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        before = snapshot.read_fleet(desk.connection)
        remarks = enter.enter_patterns(desk, file, origin=origin)
        entries, follows = propose_bindings.completed_by(before, snapshot.read_patterns(desk.connection))
        for event in entries:
            desk.enter(event)
    _show_remarks(remarks, follows, entered=True, json=json)


def pattern_check(file: CsvFile, json: session.Json = False) -> None:
    """Look at patterns in a csv without taking them.

    Example: mountbook pattern check ours.csv
    """
    policy = session.policy()
    head_um = policy.um("screw_head_mm")
    remarks = {
        p.name: checks.check_pattern(p, screw_head_um=head_um) for p in enter.patterns_of_csv(file, policy)
    }
    _show_remarks(remarks, (), entered=False, json=json)


def pattern_show(
    name: Annotated[str, typer.Argument(metavar="PATTERN", help="The pattern's name.")],
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE", help="Draw it: .svg or .pdf.")
    ] = None,
    json: session.Json = False,
) -> None:
    """Show a pattern's pieces and holes, and with --picture draw it.

    Example: mountbook pattern show "Hirefold 4+4" --picture pattern.svg
    """
    pattern, origin = session.read(lambda connection: enter.recorded_pattern(connection, name))
    if picture is not None:
        svg_writer.write_picture(
            picture, pattern_picture.pattern_picture(pattern, origin=origin), label=f"pattern {name}"
        )
    drawn = [] if picture is None else [f"drawn in {picture}"]
    session.answer(
        words.pattern_json(pattern, origin), [*words.pattern_lines(pattern, origin), *drawn], json=json
    )


def pattern_list(json: session.Json = False) -> None:
    """List the patterns in the ledger.

    Example: mountbook pattern list
    """
    patterns = session.read(snapshot.read_patterns)
    terminal.answer(
        {"patterns": [{"pattern": p.name, "binding_model": p.binding_model} for p in patterns.values()]},
        (
            terminal.column("pattern", words=True),
            terminal.column("binding model", words=True),
            terminal.column("screws of each piece", words=True),
        ),
        [
            (p.name, p.binding_model, ", ".join(f"{piece.name} {len(piece.holes)}" for piece in p.pieces))
            for p in patterns.values()
        ],
        empty="no patterns are recorded yet",
        json=json,
    )


def pattern_kinds(
    file: Annotated[
        Path | None, typer.Argument(metavar="FILE", help="A csv of the shop's own rows, to be entered.")
    ] = None,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """List the kinds of binding and what is done on each, as csv; with FILE enter the shop's own rows.

    A row of the shop goes before the program's row of that kind and step. A head technician signs.

    Example: mountbook pattern kinds > kinds.csv
    """
    if file is not None:
        with session.at_desk(by, None) as desk:
            entered = enter.enter_kinds(desk, file)
        session.answer(
            {"entered": len(entered)},
            f"{counted(len(entered), 'row')} entered; the sheets printed from now on say it so",
            json=json,
        )
        return
    rows = session.read(snapshot.read_kinds).rows.values()
    table = [{name: getattr(row, name) for name in binding_kinds.COLUMNS} for row in rows]
    if json:
        session.emit_json({"kinds": table})
        return
    writer = csv.DictWriter(sys.stdout, binding_kinds.COLUMNS, lineterminator="\n")
    writer.writeheader()
    writer.writerows(table)


def _show_remarks(
    remarks: dict[str, list[checks.PatternRemark]], follows: Sequence[str], *, entered: bool, json: bool
) -> None:
    lines = []
    for name, rows in remarks.items():
        lines.append(f"{name}: {'entered' if entered else 'looked at'}, {len(rows)} remarks")
        lines += [f"  {'REFUSED ' if r.refuse else ''}{r.message}; {r.fix}" for r in rows]
    session.answer(
        {
            "entered": entered,
            "patterns": {name: [asdict(r) for r in rows] for name, rows in remarks.items()},
            "follows": list(follows),
        },
        [*lines, *(f"What follows: {line}" for line in follows)],
        json=json,
        good=entered or not any(r.refuse for rows in remarks.values() for r in rows),
    )


def pattern_model(
    model: Annotated[
        str, typer.Argument(metavar="MODEL", help="The binding model, as its pattern names it.")
    ],
    origin: Annotated[str, typer.Option("--origin", metavar="TEXT", help="Whose sheet or list says so.")],
    standard: Annotated[
        str,
        typer.Option("--standard", metavar="TEXT", help="The standard that it declares, such as ISO 9462."),
    ] = "",
    unsupported: Annotated[
        str | None,
        typer.Option(
            "--unsupported-since", metavar="DATE", help="Its maker supports it no longer since then."
        ),
    ] = None,
    yes: session.Yes = False,
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """State what a binding model declares, for the gates of the door. A head technician signs.

    What that would change is shown and asked first.

    Example: mountbook pattern model "Larch Two" --standard "ISO 9462" --origin "maker's list of 2026" --yes
    """
    since = session.parse_day(unsupported, "--unsupported-since")
    entry, effect = session.shown_first(
        f"what {model} declares",
        lambda desk: gate_desk.state_model(
            desk, model, standard=standard, unsupported_since=since, origin=origin
        ),
        by=by,
        yes=yes,
        json=json,
    )
    ended = f"not supported since {day_text(since)}" if since else ""
    said = ", ".join(filter(None, (standard, ended)))
    session.answer({"model": model, "entry": entry, **effect}, f"{model}: {said}", json=json)
