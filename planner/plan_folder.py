"""A plan on disk: plan.json, plan.xlsx and the paper, all or nothing. Never the ledger."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Callable, Iterator
from datetime import datetime
from pathlib import Path
from tempfile import NamedTemporaryFile

from fleet.errors import BadInput
from fleet.snapshot import Fleet
from planner.plan_json import plan_from_json
from planner.plan_values import Plan

PLAN_FILE = "plan.json"
PAGE_FILE = "plan.html"


def plan_text(plan: Plan) -> str:
    """The text of plan.json: one order, one form, so that the same plan gives the same bytes."""
    return json.dumps(plan.to_json(), ensure_ascii=False, indent=2) + "\n"


def plan_hash(plan: Plan) -> str:
    """SHA-256 of what the plan says, the time it was made left out; printed on its sheets."""
    said = plan.to_json()
    del said["made_at"]
    text = json.dumps(said, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def write_plan(
    folder: Path,
    *,
    fleet: Fleet,
    plan: Plan,
    printed_at: datetime,
    paper: str = "A4",
    html: bool = False,
    progress: Callable[[str], None] | None = None,
) -> tuple[Path, ...]:
    """Write the folder and return its files. Everything is made before the first file is replaced.

    ``html`` adds the page for the tablet; one that lies there already is made anew, never left stale.

    Raises BadInput where the folder cannot be written.
    """
    say = progress or (lambda _: None)
    made = dict(_contents(fleet, plan, printed_at, paper, say))
    if html or (folder / PAGE_FILE).exists():
        made[PAGE_FILE] = _page(fleet, plan, printed_at, say)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        return tuple(_replace(folder / name, content) for name, content in made.items())
    except OSError as fault:
        raise BadInput(
            f"{folder} cannot be written: {fault.strerror or fault}", cure="choose another folder with --out"
        ) from fault


def read_plan(folder: Path) -> Plan:
    """The plan of a folder, or of a plan.json. Raises BadInput if there is none, or it is damaged."""
    file = folder / PLAN_FILE if folder.is_dir() else folder
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError as fault:
        raise BadInput(
            f"there is no {PLAN_FILE} in {folder}", cure="make one: mountbook plan --out FOLDER"
        ) from fault
    except (OSError, UnicodeDecodeError, json.JSONDecodeError) as fault:
        raise BadInput(f"{file} cannot be read as a plan: {fault}", cure="make it again") from fault
    return plan_from_json(data)


def _contents(
    fleet: Fleet, plan: Plan, printed_at: datetime, paper: str, say: Callable[[str], None]
) -> Iterator[tuple[str, bytes]]:
    yield PLAN_FILE, plan_text(plan).encode()
    say("writing plan.xlsx")
    yield "plan.xlsx", _workbook(fleet, plan, printed_at, paper)
    yield from _paper(fleet, plan, printed_at, paper, say)


def _workbook(fleet: Fleet, plan: Plan, printed_at: datetime, paper: str) -> bytes:
    from planner.bench_weeks.jobs import proposed_orders
    from planner.parts.needs import needs
    from planner.parts.shortage import against_stock
    from planner.parts.stock import bindings_in_stock
    from planner.parts.tables import every_part
    from planner.workbook_out import plan_workbook

    reserve = fleet.policy.number("parts_reserve_percent")
    wanted = needs(fleet, proposed_orders(fleet, plan))
    lines = against_stock(wanted, bindings_in_stock(fleet), reserve_percent=reserve)
    return plan_workbook(fleet, plan, printed_at=printed_at, paper=paper, more=(every_part(lines),))


def _paper(
    fleet: Fleet, plan: Plan, printed_at: datetime, paper: str, say: Callable[[str], None]
) -> Iterator[tuple[str, bytes]]:
    from planner.paper.plan_paper import plan_paper

    return plan_paper(fleet, plan, printed_at=printed_at, paper=paper, progress=say)


def _page(fleet: Fleet, plan: Plan, printed_at: datetime, say: Callable[[str], None]) -> bytes:
    from planner.tablet_page.page import plan_page_html

    return plan_page_html(fleet, plan, printed_at=printed_at, progress=say).encode()


def _replace(path: Path, content: bytes) -> Path:
    """Write beside, flush to the disk, then rename: a reader sees the old file or the new one."""
    with NamedTemporaryFile(dir=path.parent, prefix=f".{path.name}.", delete=False) as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    Path(file.name).chmod(0o644)
    return Path(file.name).replace(path)
