"""All paper of a plan: the work orders as proposals, and the season prep checklist of its sets."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import datetime

from fleet.tables.snapshot import Fleet
from planner.plan.fault_isolation import Fault, all_but_faulty
from planner.plan.proof_words import result_of
from planner.plan.values import Plan, PlannedSet, Rung


def plan_paper(
    fleet: Fleet,
    plan: Plan,
    *,
    printed_at: datetime,
    paper: str = "A4",
    progress: Callable[[str], None] | None = None,
) -> tuple[dict[str, bytes], tuple[Fault, ...]]:
    """Return PDF bytes by file name, and the sheets and rows that could not be drawn.

    A plan of which nothing is touched has no work orders.
    """
    from planner.paper.prep_checklist import prep_pdf
    from planner.paper.work_order import work_order_pdf
    from planner.paper.work_order_facts import work_order_sheet
    from planner.plan.plan_file import plan_hash

    say = progress or (lambda _: None)
    said = plan_hash(plan)

    def orders(sets: Sequence[PlannedSet]) -> bytes:
        sheets = [
            work_order_sheet(
                fleet, planned, number=None, revision=None, proposal=True, plan_hash=said,
                printed_at=printed_at, needed_by=plan.ready_by,
            )
            for planned in sets
        ]  # fmt: skip
        return work_order_pdf(sheets, paper)

    def checklist(sets: Sequence[PlannedSet]) -> bytes:
        return prep_pdf(
            fleet, sets, printed_at=printed_at, plan_hash=said, proposal=True, paper=paper,
            standing="" if plan.status == "proved best" else result_of(plan),
        )  # fmt: skip

    touched = [planned for planned in plan.sets if planned.way.rung is not Rung.AS_IS]
    files: dict[str, bytes] = {}
    faults: list[Fault] = []
    for file, what, sets, make in (
        ("work_orders.pdf", "work order", touched, orders),
        ("season_prep.pdf", "season prep row", plan.sets, checklist),
    ):
        if not sets:
            continue
        say(f"drawing {file}: {len(sets)} pairs")
        made, failed = all_but_faulty(sets, make, what=what, name=lambda planned: planned.pair)
        faults += failed
        if made is not None:
            files[file] = made
    return files, tuple(faults)
