"""`recall open|list|close`: bindings that a maker calls back."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from planner.cli import session, terminal
from planner.cli.at_desk import at_desk
from planner.cli.session import By, Json
from planner.cli.terminal import TerminalColumn

Name = Annotated[str, typer.Argument(metavar="NAME", help="The shop's name for the recall.")]


def recall_open(
    name: Name,
    source: Annotated[str, typer.Option("--source", metavar="TEXT", help="The notice, with its date.")],
    pattern: Annotated[str, typer.Option("--pattern", metavar="NAME", help="Only this pattern.")] = "",
    piece: Annotated[str, typer.Option("--piece", metavar="PIECE", help="Only toe, or only heel.")] = "",
    serial_from: Annotated[
        str, typer.Option("--from", metavar="SERIAL", help="First serial or date code, inclusive.")
    ] = "",
    serial_to: Annotated[str, typer.Option("--to", metavar="SERIAL", help="Last one, inclusive.")] = "",
    season: Annotated[str, typer.Option("--season", metavar="SEASON", help="Only this season.")] = "",
    by: By = None,
    json: Json = False,
) -> None:
    """Open a recall and list what it reaches, out first. An unknown serial is reached: take off and read.

    Example: mountbook recall open R-7 --pattern "Lark 4" --piece heel --from 1100 --to 1999 --source "notice"
    """
    from fleet.facts.recalls import Recall
    from fleet.rules.recall_desk import open_recall

    wanted = Recall(
        recall=name,
        pattern=pattern,
        piece=piece,
        serial_from=serial_from,
        serial_to=serial_to,
        season=season,
        source=source,
    )
    with at_desk(by, None) as desk:
        rows = open_recall(desk, wanted)
    _show(rows, json=json)


def recall_list(json: Json = False) -> None:
    """List what the open recalls reach, those out first with their due day.

    Example: mountbook recall list
    """
    from fleet.rules.recall_desk import reached

    with session.open_ledger() as ledger:
        rows = reached(ledger.connection)
    _show(rows, json=json)


def recall_close(
    name: Name,
    how: Annotated[str, typer.Option("--how", metavar="TEXT", help="How it ended; kept as free text.")],
    by: By = None,
    json: Json = False,
) -> None:
    """Close a recall.

    Example: mountbook recall close R-7 --how "all heels replaced" --by "Vera Lind"
    """
    from fleet.rules.recall_desk import close_recall

    with at_desk(by, None) as desk:
        close_recall(desk, name, how=how)
    session.answer({"closed": name}, f"recall {name} is closed", json=json)


def _show(rows: list[Any], *, json: bool) -> None:
    from fleet.facts.recalls import Reach

    if json:
        session.emit_json(
            {
                "reached": [
                    {
                        "recall": r.recall,
                        "reach": r.reach.value,
                        "binding": r.binding_id,
                        "pair": r.pair,
                        "ski": r.ski.value if r.ski else None,
                        "place": r.place,
                        "due": r.due,
                        "serial_toe": r.serial_toe,
                        "serial_heel": r.serial_heel,
                    }
                    for r in rows
                ]
            }
        )
        return
    titles = ("recall", "where", "binding", "place", "its serial number")
    terminal.table([TerminalColumn(title, words=True) for title in titles], [_cells(r) for r in rows])
    if not rows:
        session.say("no open recall reaches anything here")
        return
    if any(r.place == "out" for r in rows):
        session.say("out: ring who has it; the pair is not skied any more, and comes back")
    if any(r.reach is Reach.UNKNOWN for r in rows):
        session.say("read: where it is not in range, enter the serial, and the recall lets it go:")
        session.say(f'  mountbook correct "{rows[0].binding_id}" serial_heel=... --why "read" --by NAME')
    session.say("in range: off the ski, as the maker's notice says; nothing it reaches goes out meanwhile")


def _cells(r: Any) -> tuple[str, ...]:
    from fleet.base.days import stored_day_text
    from fleet.facts.recalls import Reach

    where = f"{r.pair} {r.ski.value}" if r.pair and r.ski else "in stock"
    due = f", due {stored_day_text(r.due)}" if r.due else ", due day unknown" if r.place == "out" else ""
    number = "not known: take off and read" if r.reach is Reach.UNKNOWN else "in range"
    return r.recall, where, r.binding_id, f"{r.place}{due}", number
