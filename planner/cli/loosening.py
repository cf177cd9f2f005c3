"""`loosens`: rates of screws found moved, and the days out before it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from planner.cli import session, terminal
from planner.cli.session import Json
from planner.cli.terminal import TerminalColumn
from planner.paper import cautions


def loosens(
    by_group: Annotated[
        str,
        typer.Option("--group", metavar="GROUP", help="pattern, model, construction, glue, season or jig."),
    ] = "pattern",
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="The curve as a drawing.")] = None,
    xlsx: Annotated[Path | None, typer.Option("--xlsx", metavar="FILE", help="Rates and curve.")] = None,
    json: Json = False,
) -> None:
    """Show how often screws moved, by group (few looks count less), and after how many days out.

    It orders the recheck list; it never shortens the shop's minimum.

    Example: mountbook loosens --group pattern
    """
    from fleet.base.errors import BadInput
    from fleet.rules.loosening.record import By, loosening_rates, spans
    from fleet.rules.loosening.survival import as_svg, as_text, curve
    from planner.exchange.export.whole_file import not_over_a_workbook, write_whole

    if by_group not in list(By):
        raise BadInput(f"{by_group!r} is not a group", cure=f"one of: {', '.join(By)}")
    with session.open_ledger() as ledger:
        rates = loosening_rates(ledger.connection, By(by_group))
        mounts = spans(ledger.connection)
    if xlsx is not None:
        not_over_a_workbook(xlsx)
    steps = curve(mounts)
    last = max((span.days for span in mounts), default=0)
    if svg is not None:
        write_whole(svg, as_svg(steps, last_day=last, title="Days out to the first movement").encode())
    if xlsx is not None:
        from planner.exchange.loosening_xlsx import loosening_xlsx

        write_whole(xlsx, loosening_xlsx(rates, steps, group=by_group))
    if json:
        session.emit_json(
            {
                "group": by_group,
                "rates": [
                    {
                        "group": r.group,
                        "moved": r.moved,
                        "looks": r.looks,
                        "rate_percent": round(r.shrunk * 100, 2),
                        "low_percent": round(r.low * 100, 2),
                        "high_percent": round(r.high * 100, 2),
                        "worse_than_rest": round(r.worse, 3),
                        "verdict": r.verdict.value,
                    }
                    for r in rates
                ],
                "curve": [
                    {"day": s.day, "at_risk": s.at_risk, "moved": s.moved, "still": round(s.still, 4)}
                    for s in steps
                ],
            }
        )
        return
    numbers = ("moved", "looks", "rate %", "from %", "to %")
    terminal.table(
        (
            TerminalColumn(by_group, words=True),
            *(TerminalColumn(title, right=True) for title in numbers),
            TerminalColumn("beside the others", words=True),
        ),
        [
            (
                r.group,
                r.moved,
                r.looks,
                *(f"{x * 100:.2f}" for x in (r.shrunk, r.low, r.high)),
                r.verdict.value,
            )
            for r in rates
        ],
    )
    if not rates:
        session.say("no look is on record yet")
    session.say()
    for line in as_text(steps, last_day=last, ascii_only=not session.speaks_unicode()).splitlines():
        session.say(line)
    session.note(cautions.COUNTS)
