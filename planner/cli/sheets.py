"""`template`, `labels`, `printer`: paper on demand, beside the plan and the work orders."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from fleet.base.errors import Refused
from planner.cli import session
from planner.cli.when_used import when_used
from planner.plan.fault_isolation import Fault, all_or_raise, one_by_one

with when_used():
    from fleet.tables import snapshot
    from planner.bench.orders import book
    from planner.exchange.export import whole_file
    from planner.paper import (
        cautions,
        labels as label_paper,
        printer_sheet as test_sheet,
        sheet_frame,
        template as template_paper,
    )
    from planner.plan import plan_file, values


Out = Annotated[Path, typer.Option("--out", metavar="FILE", help="The PDF to write.")]
Size = Annotated[str, typer.Option("--paper", metavar="SIZE", help="A4 or Letter.")]


def template(
    orders: Annotated[list[str], typer.Argument(metavar="ORDER", help='Open work orders: "WO-2611-0417 A".')],
    out: Out = Path("template.pdf"),
    plan: Annotated[
        Path | None,
        typer.Option("--plan", metavar="FOLDER", help="Instead: tags of a plan's pairs, as PROPOSAL."),
    ] = None,
    paper: Size = "A4",
    json: session.Json = False,
) -> None:
    """Draw true-scale templates to lay on the skis: old holes as dashed rings, new ones as crosses.

    Example: mountbook template "WO-2611-0417 A" --out template.pdf
    """
    jobs, refused = _issued_jobs(orders) if plan is None else _proposed_jobs(plan, orders)
    session.written_each(
        out,
        list(jobs),
        lambda some: template_paper.template_pdf([jobs[tag]() for tag in some], paper),
        what="template",
        key="pairs",
        words=lambda drawn: f"{', '.join(drawn)}; measure both bars before you use it",
        json=json,
        refused=refused,
    )


def _issued_jobs(
    orders: list[str],
) -> tuple[dict[str, Callable[[], template_paper.TemplateJob]], tuple[Fault, ...]]:
    with session.open_ledger() as ledger, ledger.reading() as connection:
        fleet = snapshot.read_fleet(connection)
        found, refused = one_by_one(orders, partial(book.find_order, connection), what="template", name=str)
    return {
        order.tag: partial(
            template_paper.template_job, fleet, order.planned,
            number=order.number, revision=order.revision, proposal=False, holes=order.holes,
            plan_hash=str(order.body["plan_hash"]), printed_at=session.now(),
        )
        for order in found
    }, refused  # fmt: skip


def _proposed_jobs(
    folder: Path, tags: list[str]
) -> tuple[dict[str, Callable[[], template_paper.TemplateJob]], tuple[Fault, ...]]:
    plan = plan_file.read_plan(folder)
    by_pair = {planned.pair: planned for planned in plan.sets}

    def planned(tag: str) -> values.PlannedSet:
        if tag not in by_pair:
            raise Refused(f"the plan has no set for {tag}", cure="name pairs of that plan")
        return by_pair[tag]

    sets, refused = one_by_one(tags, planned, what="template", name=str)
    fleet = session.fleet()
    return {
        each.pair: partial(
            template_paper.template_job, fleet, each, number=None, revision=None, proposal=True,
            plan_hash=plan_file.plan_hash(plan), printed_at=session.now(),
        )
        for each in sets
    }, refused  # fmt: skip


def labels(
    tags: Annotated[
        list[str] | None, typer.Argument(metavar="TAG", help="Pairs or boots; else every pair.")
    ] = None,
    out: Out = Path("labels.pdf"),
    paper: Size = "A4",
    width: Annotated[float, typer.Option("--width", metavar="MM", help="Of one label.")] = 70.0,
    height: Annotated[float, typer.Option("--height", metavar="MM", help="Of one label.")] = 37.0,
    columns: Annotated[int, typer.Option("--columns", metavar="N", help="Labels side by side.")] = 3,
    rows: Annotated[int, typer.Option("--rows", metavar="N", help="Labels below each other.")] = 7,
    left: Annotated[
        float, typer.Option("--left", metavar="MM", help="Sheet's edge to the first label.")
    ] = 0.0,
    top: Annotated[
        float, typer.Option("--top", metavar="MM", help="Sheet's edge to the first label.")
    ] = 15.0,
    pitch_x: Annotated[
        float | None, typer.Option("--pitch-x", metavar="MM", help="Left edge to next left edge.")
    ] = None,
    pitch_y: Annotated[
        float | None, typer.Option("--pitch-y", metavar="MM", help="Top edge to next top edge.")
    ] = None,
    shift_x: Annotated[float, typer.Option("--shift-x", metavar="MM", help="Move right (- left).")] = 0.0,
    shift_y: Annotated[float, typer.Option("--shift-y", metavar="MM", help="Move down (- up).")] = 0.0,
    roll: Annotated[bool, typer.Option("--roll", help="One label a page, for a label printer.")] = False,
    one_a_pair: Annotated[
        bool, typer.Option("--one-a-pair", help="Not one for ski A and one for B.")
    ] = False,
    skip: Annotated[int, typer.Option("--skip", metavar="N", help="Labels used up on the first sheet.")] = 0,
    outlines: Annotated[
        bool, typer.Option("--outlines", help="Draw the edges, to try on plain paper.")
    ] = False,
    json: session.Json = False,
) -> None:
    """Print labels: large tag, check character, QR code. The sheet is described by what a ruler measures.

    The ledger's whole head stands below the last row, where the sheet keeps 15.1 mm there: no label of
    70 x 37 mm has room for it beside its tag. `mountbook audit --heads FOLDER` reads it from every such file.
    The caution stands below the last row, or above the first, where 7.4 mm are clear.

    Example: mountbook labels K-031 B-210 --width 63.5 --height 38.1 --pitch-x 66 --left 7.2 --top 15.1
    """
    fleet = session.fleet()
    layout = (
        label_paper.roll_layout(w=width, h=height, shift_x=shift_x, shift_y=shift_y)
        if roll
        else label_paper.sheet_layout(
            paper, columns=columns, rows=rows, w=width, h=height, left=left, top=top,
            pitch_x=pitch_x, pitch_y=pitch_y, shift_x=shift_x, shift_y=shift_y,
        )
    )  # fmt: skip
    each_ski = not one_a_pair
    some, refused = one_by_one(
        tags or (),
        lambda tag: label_paper.fleet_labels(fleet, [tag], each_ski=each_ski),
        what="label",
        name=str,
    )
    made = (
        [label for those in some for label in those]
        if tags
        else label_paper.fleet_labels(fleet, (), each_ski=each_ski)
    )
    data, failed = all_or_raise(
        made,
        lambda some: label_paper.labels_pdf(some, layout, head=fleet.head.full, skip=skip, outlines=outlines),
        what="label",
        name=lambda label: f"{label.tag} {label.side}" if label.side else label.tag,
    )
    count = len(made) - len(failed)
    said = f"{count} labels. {cautions.LABEL}"
    session.written(out, data, {"labels": count}, said, (*refused, *failed), json=json)


def printer_sheet(
    out: Out = Path("printer_test.pdf"), paper: Size = "A4", json: session.Json = False
) -> None:
    """Write the test sheet with the two bars.

    Example: mountbook printer sheet --out printer_test.pdf
    """
    with session.open_ledger() as ledger:
        shop = ledger.shop
        printed, head = sheet_frame.moment_text(session.now(), ledger.zone), ledger.head.full
    whole_file.write_whole(
        out, test_sheet.printer_sheet_pdf(shop=shop, printed_at=printed, head=head, paper=paper)
    )
    then = "print it at 100 %, measure both bars, then `mountbook printer measured ALONG ACROSS`"
    session.answer({"file": str(out)}, f"{out}: {then}", json=json)


def printer_measured(
    along: Annotated[str, typer.Argument(metavar="ALONG", help="What the bar of 250 mm measured, mm.")],
    across: Annotated[str, typer.Argument(metavar="ACROSS", help="What the bar of 100 mm measured, mm.")],
    by: session.By = None,
    json: session.Json = False,
) -> None:
    """Enter what the test sheet's bars measured; true-scale sheets are corrected from now on.

    Example: mountbook printer measured 249.5 100 --by "Vera Lind"
    """
    with session.at_desk(by, None) as desk:
        scale = test_sheet.enter_printer(desk, along=along, across=across)
    session.answer(
        {"along": round(scale.along, 6), "across": round(scale.across, 6)},
        f"true-scale sheets from now on: {scale.words}",
        json=json,
    )
