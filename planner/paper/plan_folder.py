"""A plan on disk: plan.json, plan.xlsx and the paper, moved in at once. Never the ledger.

What cannot be drawn of one pair is left out and named in plan.json; it costs no other pair its sheet.
"""

import os
from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from shutil import rmtree
from typing import TypeVar

from fleet.base.errors import BadInput
from fleet.base.files import unfinished_beside
from fleet.tables.snapshot import Fleet
from planner.plan.fault_isolation import Fault, all_but_faulty
from planner.plan.plan_file import PLAN_FILE, plan_hash, plan_text
from planner.plan.plan_words import FrontierPoint, result_of
from planner.plan.values import Plan, PlannedSet

BOOK_FILE = "plan.xlsx"
PAGE_FILE = "plan.html"
_FILES = (
    PLAN_FILE, BOOK_FILE, PAGE_FILE, "work_orders.pdf", "season_prep.pdf", "last_sets.pdf", "last_sets.svg",
)  # fmt: skip
_T = TypeVar("_T")
_ELSEWHERE = "choose another folder with --out"


def write_plan(
    folder: Path,
    *,
    fleet: Fleet,
    plan: Plan,
    printed_at: datetime,
    paper: str = "A4",
    html: bool = False,
    progress: Callable[[str], None] | None = None,
    points: Sequence[FrontierPoint] = (),
) -> tuple[tuple[Path, ...], tuple[Fault, ...]]:
    """Write the folder; return its files, and what could not be drawn, which plan.json names as well.

    Everything is made before the first file is replaced. ``html`` adds the page for the tablet; one that
    lies there already is made anew, never left stale. ``points``: what the last sets cost, for the workbook
    and a sheet of its own.

    Raises BadInput where the folder cannot be written.
    """
    say = progress or (lambda _: None)
    made, faults = _paper(fleet, plan, printed_at=printed_at, paper=paper, say=say)
    if html or (folder / PAGE_FILE).exists():
        page, failed = _file(PAGE_FILE, lambda: _page(fleet, plan, printed_at, say))
        faults += failed
        if page is not None:
            made[PAGE_FILE], failed = page
            faults += failed
    if points:
        drawn, failed = _file("last_sets.pdf", lambda: _last_sets(fleet, plan, printed_at, paper, points))
        faults += failed
        made |= drawn or {}
    say("writing plan.xlsx")
    book, failed = _file(BOOK_FILE, lambda: _workbook(fleet, plan, printed_at, paper, points))
    faults += failed
    files = {PLAN_FILE: plan_text(plan, faults).encode()} | made | (book or {})
    return put_folder(folder, files, others=_FILES, last=PLAN_FILE), faults


def _workbook(
    fleet: Fleet, plan: Plan, printed_at: datetime, paper: str, points: Sequence[FrontierPoint]
) -> dict[str, bytes]:
    from planner.bench.parts import against_stock, bindings_in_stock, needs
    from planner.bench.weeks.jobs import proposed_orders
    from planner.paper.workbook_out import every_part, plan_workbook
    from planner.paper.workbook_tables import last_sets

    reserve = fleet.policy.number("parts_reserve_percent")
    wanted = needs(fleet, proposed_orders(fleet, plan))
    lines = against_stock(wanted, bindings_in_stock(fleet), reserve_percent=reserve)
    more = (*((last_sets(points),) if points else ()), every_part(lines))
    return {BOOK_FILE: plan_workbook(fleet, plan, printed_at=printed_at, paper=paper, more=more)}


def _last_sets(
    fleet: Fleet, plan: Plan, printed_at: datetime, paper: str, points: Sequence[FrontierPoint]
) -> dict[str, bytes]:
    from planner.paper.chart import FILE, PICTURE, last_sets_pdf, last_sets_svg

    pdf = last_sets_pdf(fleet, points, printed_at=printed_at, plan_hash=plan_hash(plan), paper=paper)
    return {FILE: pdf, PICTURE: last_sets_svg(points).encode()}


def _file(name: str, make: Callable[[], _T]) -> tuple[_T | None, tuple[Fault, ...]]:
    """Return the file's content, or the fault that keeps this one file from being written."""
    return all_but_faulty([name], lambda _: make(), what="file", name=str)


def _page(
    fleet: Fleet, plan: Plan, printed_at: datetime, say: Callable[[str], None]
) -> tuple[bytes, tuple[Fault, ...]]:
    from planner.paper.tablet_page.page import plan_page

    html, faults = plan_page(fleet, plan, printed_at=printed_at, progress=say)
    return html.encode(), faults


def refuse_no_folder(folder: Path) -> None:
    """Raise BadInput where the place is no folder, before an hour is spent on a plan."""
    try:
        taken = folder.exists() and not folder.is_dir()
    except OSError as fault:
        raise BadInput(f"{folder} cannot be used: {fault.strerror}", cure=_ELSEWHERE) from fault
    if taken:
        raise BadInput(f"{folder} is there already, and is no folder", cure=_ELSEWHERE)


def put_folder(
    folder: Path, contents: Mapping[str, bytes], *, others: Sequence[str], last: str
) -> tuple[Path, ...]:
    """Write all files beside, flushed to the disk; then rename a new folder, or move the files in.

    What an earlier plan left under the ``others`` of these names is taken away: half of its paper beside
    half of this one would be read as one plan. ``last``: the file that comes last. Raises BadInput where the
    folder cannot be written.
    """
    beside: Path | None = None
    try:
        place = folder.resolve()
        there = place.is_dir()
        if not there:
            place.parent.mkdir(parents=True, exist_ok=True)
        beside = unfinished_beside(place / last if there else place)
        beside.mkdir(mode=0o700)
        for name, content in contents.items():
            _flushed(beside / name, content)
        if there:
            for name in sorted(contents, key=lambda name: name == last):
                (beside / name).replace(place / name)
            for name in set(others) - set(contents):
                (place / name).unlink(missing_ok=True)
        else:
            beside.chmod(0o755)
            beside.rename(place)
    except OSError as fault:
        raise BadInput(f"{folder} cannot be written: {fault.strerror or fault}", cure=_ELSEWHERE) from fault
    finally:
        if beside is not None:
            rmtree(beside, ignore_errors=True)
    return tuple(folder / name for name in contents)


def _flushed(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _paper(
    fleet: Fleet,
    plan: Plan,
    *,
    printed_at: datetime,
    paper: str,
    say: Callable[[str], None],
) -> tuple[dict[str, bytes], tuple[Fault, ...]]:
    """Return PDF bytes by file name, and the sheets and rows that could not be drawn.

    A plan of which nothing is touched has no work orders.
    """
    from planner.paper.prep_checklist import prep_pdf
    from planner.paper.work_order import work_order_pdf
    from planner.paper.work_order_facts import work_order_sheet

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

    files: dict[str, bytes] = {}
    faults: list[Fault] = []
    for file, what, sets, make in (
        ("work_orders.pdf", "work order", plan.touched, orders),
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
