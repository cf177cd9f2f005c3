"""`where`: the legal places of a pattern on a pair."""

from __future__ import annotations

from typing import Annotated

import typer

from planner.cli import session
from planner.cli.session import Json

PairTag = Annotated[str, typer.Argument(metavar="PAIR", help="The pair's tag.")]


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
    from planner.geometry.why.listing import listing

    found = listing(session.fleet(), pair_tag=pair, pattern_name=pattern, bsl_mm=bsl_mm, pin_mm=pin_mm)
    session.answer(found.to_json(), found.lines(), json=json)
    if not found.legal and not found.ways:
        raise typer.Exit(1)
