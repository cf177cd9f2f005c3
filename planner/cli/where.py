"""`where`, `why`, `whatif`: legal places of a boot on a pair, reasons against, the effect of another rule."""

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
    from planner.geometry.why.answer import why as answer_why
    from planner.geometry.why.text import why_lines

    answer = answer_why(session.fleet(), pair_tag=pair, boot_tag=boot, pattern_name=pattern)
    session.answer(answer.to_json(), why_lines(answer), json=json)
    if not answer.possible:
        raise typer.Exit(1)


def whatif(
    spacing: Annotated[
        str | None, typer.Option("--spacing", metavar="MM", help="Another spacing, centre to centre.")
    ] = None,
    window: Annotated[
        str | None, typer.Option("--window", metavar="MM", help="Another limit of the boot centre's offset.")
    ] = None,
    convention: Annotated[
        str | None,
        typer.Option(
            "--convention", metavar="WHICH", help="mid-sole or pin-line on the mark, for every pattern."
        ),
    ] = None,
    kind: Annotated[
        str | None, typer.Option("--kind", metavar="KIND", help="These pairs only: telemark, alpine, ...")
    ] = None,
    pin: Annotated[
        str | None,
        typer.Option("--pin", metavar="MM", help="Toe end to pin line, for boots that have none on record."),
    ] = None,
    pair: Annotated[str | None, typer.Option("--pair", metavar="TAG", help="This pair only.")] = None,
    json: Json = False,
) -> None:
    """Compare another spacing, window or mount convention: which pairs gain or lose which positions.

    Example: mountbook whatif --spacing 12

    Example: mountbook whatif --convention pin-line --pin 145 --kind telemark
    """
    from fleet.rules.find import kind_named
    from planner.geometry.why.listing import length_typed
    from planner.geometry.why.text import what_if_lines
    from planner.geometry.why.what_if import convention_named, what_if

    values = {"spacing_mm": spacing, "offset_limit_mm": window}
    found = what_if(
        session.fleet(),
        values={name: value for name, value in values.items() if value is not None},
        convention=convention_named(convention),
        only_pair=pair,
        kind=kind_named(kind),
        pin_um=None if pin is None else length_typed(pin, "60"),
    )
    session.answer(found.to_json(), what_if_lines(found), json=json)
