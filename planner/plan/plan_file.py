"""A plan as a file: plan.json written, named by its hash, and read back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from pathlib import Path

from fleet.base.errors import BadInput
from fleet.base.program import program
from planner.plan.codec import plan_from_json
from planner.plan.fault_isolation import Fault
from planner.plan.values import Plan

PLAN_FILE = "plan.json"


def plan_text(plan: Plan, not_drawn: Sequence[Fault] = ()) -> str:
    """The text of plan.json: one order, one form, so that the same plan gives the same bytes."""
    drawn = {"not_drawn": [fault.to_json() for fault in not_drawn]}
    said = {"program": program()} | plan.to_json() | drawn
    return json.dumps(said, ensure_ascii=False, indent=2) + "\n"


def plan_hash(plan: Plan) -> str:
    """SHA-256 of what the plan says, the time it was made left out; printed on its sheets."""
    said = plan.to_json()
    del said["made_at"]
    text = json.dumps(said, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def read_plan(folder: Path) -> Plan:
    """The plan of a folder, or of a plan.json. Raises BadInput if there is none, or it is damaged."""
    file = folder / PLAN_FILE if folder.is_dir() else folder
    try:
        data = json.loads(file.read_text(encoding="utf-8"))
    except FileNotFoundError as fault:
        raise BadInput(
            f"there is no {PLAN_FILE} in {folder}", cure="make one: mountbook plan --out FOLDER"
        ) from fault
    except (OSError, UnicodeDecodeError, json.JSONDecodeError, RecursionError) as fault:
        raise BadInput(f"{file} cannot be read as a plan: {fault}", cure="make it again") from fault
    return plan_from_json(data)
