"""`release-test`, `calibration` and `sole`: enter a person's measurement."""

from __future__ import annotations

from typing import Annotated

import typer

from planner.cli import session
from planner.cli.at_desk import at_desk
from planner.cli.counter import Tag
from planner.cli.session import At, By, Json


def release_test(
    tag: Tag,
    ski: Annotated[str, typer.Option("--ski", metavar="SKI", help="A or B.")],
    piece: Annotated[str, typer.Option("--piece", metavar="PIECE", help="toe, heel or plate.")],
    device: Annotated[str, typer.Option("--device", metavar="TEXT", help="The device and its number.")],
    result: Annotated[str, typer.Option("--result", metavar="TEXT", help="In the tester's own words.")],
    outcome: Annotated[
        str, typer.Option("--outcome", metavar="WORD", help="passed or failed, as the tester says.")
    ] = "",
    remark: Annotated[str, typer.Option("--remark", metavar="TEXT", help="Kept as free text.")] = "",
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """Record a release test as a qualified person made it. The program sets, reads and judges no value.

    Example: mountbook release-test K-031 --ski A --piece toe --device "bench 1" --result "as sheet 4"
    """
    from fleet.rules.gate_desk import record_release_test
    from fleet.rules.holds import parse_side

    side = parse_side(ski)
    with at_desk(by, at) as desk:
        entry = record_release_test(
            desk,
            tag,
            side=side,
            piece=piece.lower(),
            device=device,
            result=result,
            outcome=outcome,
            remark=remark,
        )
    session.answer(
        {"pair": tag, "entry": entry}, f"{tag} {side} {piece.lower()}: recorded as entry {entry}", json=json
    )


def calibration(
    device: Annotated[str, typer.Argument(metavar="DEVICE", help="As release tests name it.")],
    on: Annotated[str, typer.Option("--on", metavar="DATE", help="The day of its calibration.")],
    until: Annotated[str, typer.Option("--until", metavar="DATE", help="The last day it counts.")],
    certificate: Annotated[str, typer.Option("--certificate", metavar="TEXT", help="Its certificate.")] = "",
    by: By = None,
    json: Json = False,
) -> None:
    """Enter the calibration of a release tester. A test made on other days counts at no gate of the door.

    Example: mountbook calibration "bench 1" --on 2026-09-01 --until 2027-08-31 --by "Vera Lind"
    """
    from fleet.base.days import day_text, typed_day
    from fleet.rules.gate_desk import calibrated

    began, ends = typed_day(on, "--on"), typed_day(until, "--until")
    with at_desk(by, None) as desk:
        entry = calibrated(desk, device, on=began, until=ends, certificate=certificate)
    session.answer(
        {"device": device, "until": ends.isoformat(), "entry": entry},
        f"{device}: calibrated {day_text(began)}, counts until {day_text(ends)}",
        json=json,
    )


def sole(
    boot: Annotated[str, typer.Argument(metavar="BOOT", help="The boot's tag.")],
    bsl: Annotated[str, typer.Option("--bsl", metavar="MM", help="The sole length measured, mm.")],
    how: Annotated[str, typer.Option("--how", metavar="TEXT", help="How it was measured.")],
    wear: Annotated[
        str, typer.Option("--wear", metavar="WORDS", help="How worn it is: used, worn, worn out.")
    ] = "",
    by: By = None,
    at: At = None,
    json: Json = False,
) -> None:
    """Replace a worn boot's sole length by a measured one; list boots alike, to be looked at too.

    Example: mountbook sole B-210 --bsl 303.5 --how "caliper, both boots" --by "Vera Lind"
    """
    from fleet.base.units import um_to_mm
    from fleet.rules.soles import measure_again, sole_typed

    bsl_um = sole_typed(bsl)
    with at_desk(by, at) as desk:
        done = measure_again(desk, boot, bsl_um=bsl_um, how=how, wear=" ".join(wear.split()))
    session.answer(
        {"boot": boot, "bsl_mm": um_to_mm(bsl_um), "look_at": list(done.cell)},
        (f"{boot}: {line}" for line in done.said()),
        json=json,
    )
