"""A plan as a file: plan.json written, named by its hash, and read back.

The one door between a plan in whole micrometres and cents, and plan.json as FORMATS.md promises it.
"""

import hashlib
import json
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import msgspec

from fleet.base.errors import BadInput
from fleet.base.program import program
from fleet.base.units import in_mm, in_um
from fleet.facts.policy import hundredths
from planner.plan.codec import plan_from_body, plan_to_body
from planner.plan.fault_isolation import Fault
from planner.plan.values import Plan

PLAN_FILE = "plan.json"
_MONEY = {
    "parts_limit_cents": "parts_budget",
    "parts_cents": "parts",
    "budget_cents": "budget",
    "price_cents": "price",
}
"""Money by its name in a plan or a chain, and its name in plan.json and chain.json."""


def plan_to_json(plan: Plan) -> dict[str, Any]:
    """The content of plan.json; the same plan gives the same bytes, apart from ``made_at``."""
    body = plan_to_body(plan)
    said: dict[str, Any] = in_mm(in_money(body | {"totals": in_money(body["totals"])}))
    return said


def plan_from_json(data: Mapping[str, Any]) -> Plan:
    """The plan. Raises BadInput if a field is missing or is not what FORMATS says."""
    try:
        as_kept = {key: data[key] for key in ("policy", "wants") if key in data}
        body = in_um({**data, **dict.fromkeys(as_kept)}) | as_kept
        return plan_from_body(in_cents(body | {"totals": in_cents(body["totals"])}))
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        what = f"{fault} is missing" if isinstance(fault, KeyError) else str(fault)
        what = what.replace("_um", "_mm")  # as the file has it
        raise BadInput(f"this is not a plan: {what}", cure="make it again with `mountbook plan`") from fault


def in_money(row: Mapping[str, Any]) -> dict[str, Any]:
    """The row with its hundredths as money, under their names in a file."""
    return {
        _MONEY.get(key, key): value if key not in _MONEY or value is None else value / 100
        for key, value in row.items()
    }


def in_cents(row: Mapping[str, Any]) -> dict[str, Any]:
    """The row with its money in hundredths. Raises ValueError."""
    kept = {key: value for key, value in row.items() if key not in _MONEY.values()}
    return kept | {cents: _cents(row[money]) for cents, money in _MONEY.items() if money in row}


def _cents(money: object) -> int | None:
    if money is None:
        return None
    if isinstance(money, bool) or not isinstance(money, int | float):
        raise ValueError(f"{money!r} is no amount of money")
    return hundredths(Decimal(str(money)))


def plan_text(plan: Plan, not_drawn: Sequence[Fault] = ()) -> str:
    """The text of plan.json: one order, one form, so that the same plan gives the same bytes."""
    drawn = {"not_drawn": [fault.to_json() for fault in not_drawn]}
    said = {"program": program()} | plan_to_json(plan) | drawn
    return msgspec.json.format(msgspec.json.encode(said), indent=2).decode() + "\n"


def plan_hash(plan: Plan) -> str:
    """SHA-256 of what the plan says, the time it was made left out; printed on its sheets."""
    said = plan_to_json(plan)
    del said["made_at"]
    return hashlib.sha256(msgspec.json.encode(said, order="sorted")).hexdigest()


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
