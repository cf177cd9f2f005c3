"""All paper of a plan: the work orders as proposals, and the season prep checklist of its sets."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path

from fleet.snapshot import Fleet
from planner.orders.files import write_whole
from planner.plan_values import Plan, Rung
from planner.proof_told import result_of


def plan_paper(
    fleet: Fleet,
    plan: Plan,
    *,
    printed_at: datetime,
    paper: str = "A4",
    progress: Callable[[str], None] | None = None,
) -> Iterator[tuple[str, bytes]]:
    """File names and PDF bytes. A plan of which nothing is touched has no work orders."""
    from planner.paper.prep_checklist import prep_pdf
    from planner.paper.work_order import work_order_pdf
    from planner.paper.work_order_facts import work_order_sheet
    from planner.plan_folder import plan_hash

    say = progress or (lambda _: None)
    said = plan_hash(plan)
    touched = [planned for planned in plan.sets if planned.way.rung is not Rung.AS_IS]
    if touched:
        say(f"drawing {len(touched)} work orders")
        sheets = [
            work_order_sheet(
                fleet, planned, number=None, revision=None, proposal=True, plan_hash=said,
                printed_at=printed_at, needed_by=plan.ready_by,
            )
            for planned in touched
        ]  # fmt: skip
        yield "work_orders.pdf", work_order_pdf(sheets, paper)
    if plan.sets:
        say("drawing the season prep checklist")
        checklist = prep_pdf(
            fleet, plan.sets, printed_at=printed_at, plan_hash=said, proposal=True, paper=paper,
            standing="" if plan.status == "proved best" else result_of(plan),
        )  # fmt: skip
        yield "season_prep.pdf", checklist


def write_plan_paper(
    folder: Path, fleet: Fleet, plan: Plan, *, printed_at: datetime, paper: str = "A4"
) -> list[Path]:
    """Write all of it into the folder, made before the first file is written. Returns the paths."""
    made = list(plan_paper(fleet, plan, printed_at=printed_at, paper=paper))
    folder.mkdir(parents=True, exist_ok=True)
    for name, content in made:
        write_whole(folder / name, content)
    return [folder / name for name, _ in made]
