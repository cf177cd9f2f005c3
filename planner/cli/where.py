"""where, why: where a boot may stand on a pair, and if nowhere, why not."""

from __future__ import annotations

from typing import Annotated

import typer

from planner.cli import session
from planner.cli.session import Json

PairTag = Annotated[str, typer.Argument(metavar="PAIR", help="The pair's tag.")]


def register(app: typer.Typer) -> None:
    """Add where and why."""
    app.command("where")(where)
    app.command("why")(why)


def where(
    pair: PairTag,
    pattern: Annotated[str, typer.Argument(metavar="PATTERN", help="The hole pattern's name.")],
    bsl_mm: Annotated[str, typer.Argument(metavar="BSL", help="Boot sole length in mm, as printed on it.")],
    pin_mm: Annotated[
        str | None, typer.Option("--pin", metavar="MM", help="Toe end to pin line, for a pin-line mount.")
    ] = None,
    json: Json = False,
) -> None:
    """List the legal offsets of a pattern on a pair for a sole length, exact, with what is reused.

    Example: mountbook where K-031 "Larch 4+4" 315
    """
    from fleet.snapshot import read_fleet
    from planner.why.listing import listing

    with session.open_ledger() as ledger:
        found = listing(
            read_fleet(ledger.connection), pair_tag=pair, pattern_name=pattern, bsl_mm=bsl_mm, pin_mm=pin_mm
        )
    if json:
        session.emit_json(found.to_json())
    else:
        for line in found.lines():
            session.say(line)
    if not found.legal and not found.ways:
        raise typer.Exit(1)


def why(
    pair: PairTag,
    boot: Annotated[str, typer.Argument(metavar="BOOT", help="The boot's tag.")],
    pattern: Annotated[
        str | None, typer.Option("--pattern", metavar="P", help="This pattern; else every declared one.")
    ] = None,
    json: Json = False,
) -> None:
    """Say whether a boot may go on a pair; if not, what blocks it and the nearest change that would help.

    Example: mountbook why K-031 B-210
    """
    from fleet.snapshot import read_fleet
    from planner.why.answer import why as answer_why
    from planner.why.text import why_lines

    with session.open_ledger() as ledger:
        answer = answer_why(read_fleet(ledger.connection), pair_tag=pair, boot_tag=boot, pattern_name=pattern)
    if json:
        session.emit_json(answer.to_json())
    else:
        for line in why_lines(answer):
            session.say(line)
    if not answer.possible:
        raise typer.Exit(1)
