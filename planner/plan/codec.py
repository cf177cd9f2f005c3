"""A plan read back from ``plan.json``: the inverse of ``Plan.to_json``."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from fleet.base.errors import BadInput
from fleet.base.units import mm_to_um
from fleet.facts.equipment import Kind, Wish
from fleet.facts.holes import Side
from fleet.facts.policy import hundredths
from planner.plan.certificate import certificate_from_json
from planner.plan.objective import COST_LEVELS, Totals, Unit
from planner.plan.values import (
    How,
    Jig,
    Plan,
    PlannedHole,
    PlannedPiece,
    PlannedSet,
    PlannedSki,
    Rung,
    SetAside,
    Strip,
    UnplannedPair,
    Unserved,
    Way,
)

_Json = Mapping[str, Any]


def plan_from_json(data: Mapping[str, Any]) -> Plan:
    """The plan. Raises BadInput if a field is missing or is not what FORMATS says."""
    try:
        return _plan(data)
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        what = f"{fault} is missing" if isinstance(fault, KeyError) else str(fault)
        raise BadInput(f"this is not a plan: {what}", cure="make it again with `mountbook plan`") from fault


def planned_set_from_json(data: Mapping[str, Any]) -> PlannedSet:
    """One set of a plan. Raises BadInput like `plan_from_json`."""
    try:
        return _set(data)
    except (KeyError, TypeError, ValueError, AttributeError) as fault:
        what = f"{fault} is missing" if isinstance(fault, KeyError) else str(fault)
        raise BadInput(f"this is not a planned set: {what}", cure="make the plan again") from fault


def _plan(data: _Json) -> Plan:
    t = data["totals"]
    return Plan(
        made_at=_text(data["made_at"]),
        ledger_entry=_count(data["ledger_entry"]),
        ledger_head=_text(data["ledger_head"]),
        ready_by=_optional_text(data["ready_by"]),
        minutes_limit=None if data["minutes_limit"] is None else _count(data["minutes_limit"]),
        policy={_text(k): _text(v) for k, v in data["policy"].items()},
        status=_text(data["status"]),
        gap_percent=float(data["gap_percent"]),
        totals=Totals(
            wanted=_count(t["wanted"]),
            served=_count(t["served"]),
            served_by_priority={int(p): _count(n) for p, n in t["served_by_priority"].items()},
            **{
                level.total: mm_to_um(t[level.key]) if level.unit is Unit.LENGTH else _count(t[level.key])
                for level in COST_LEVELS
            },
            parts_cents=_cents(t.get("parts")),
        ),
        sets=tuple(_set(row) for row in data["sets"]),
        strip=tuple(
            Strip(pair=_text(row["pair"]), pattern=_text(row["pattern"]), brake_um=_um(row["brake_mm"]))
            for row in data["strip"]
        ),
        unserved=tuple(
            Unserved(
                wish=_text(row["wish"]),
                missing=_count(row["missing"]),
                reason=_text(row["reason"]),
                remedy=_text(row["remedy"]),
            )
            for row in data["unserved"]
        ),
        unplanned_pairs=tuple(
            UnplannedPair(pair=_text(row["pair"]), reason=_text(row["reason"]))
            for row in data["unplanned_pairs"]
        ),
        parts_limit_cents=_cents(data.get("parts_budget")),
        certificate=(None if (kept := data.get("certificate")) is None else certificate_from_json(kept)),
        set_aside=tuple(
            SetAside(what=_text(row["what"]), name=_text(row["name"]), reason=_text(row["reason"]))
            for row in data.get("set_aside", ())
        ),
        wants=None if (own := data.get("wants")) is None else tuple(_want(row) for row in own),
    )


def _want(row: _Json) -> Wish:
    return Wish(
        wish=_text(row["wish"]),
        kind=Kind(row["kind"]),
        length_min_mm=_count(row["length_min_mm"]),
        length_max_mm=_count(row["length_max_mm"]),
        mondopoint_min_mm=_count(row["mondopoint_min_mm"]),
        mondopoint_max_mm=_count(row["mondopoint_max_mm"]),
        quantity=_count(row["quantity"]),
        priority=_count(row["priority"]),
    )


def _cents(money: object) -> int | None:
    if money is None:
        return None
    if isinstance(money, bool) or not isinstance(money, int | float):
        raise ValueError(f"{money!r} is no amount of money")
    return hundredths(Decimal(str(money)))


def _set(row: _Json) -> PlannedSet:
    strip_minutes = _count(row["strip_minutes"])
    return PlannedSet(
        wish=_text(row["wish"]),
        boot=_text(row["boot"]),
        pair=_text(row["pair"]),
        brake_um=_um(row["brake_mm"]),
        binding_from=_text(row["binding_from"]),
        strip_minutes=strip_minutes,
        way=Way(
            rung=Rung(row["way"]),
            pattern=_text(row["pattern"]),
            bsl_um=mm_to_um(row["bsl_mm"]),
            offset_um=mm_to_um(row["offset_mm"]),
            skis={side: _ski(side, row["skis"][side.value]) for side in Side},
            drilled=_count(row["drilled"]),
            plugged=_count(row["plugged"]),
            minutes=_count(row["minutes"]) - strip_minutes,
            clearance_um=_um(row["clearance_mm"]),
            jig=None if (jig := row.get("jig")) is None else _jig(jig),
        ),
    )


def _jig(row: _Json) -> Jig:
    return Jig(sole_um=mm_to_um(row["sole_mm"]), centre_um=mm_to_um(row["centre_mm"]))


def _ski(side: Side, row: _Json) -> PlannedSki:
    return PlannedSki(
        side=side,
        from_tail_um=_um(row["from_tail_mm"]),
        pieces=tuple(
            PlannedPiece(
                piece=_text(p["piece"]),
                reference_um=mm_to_um(p["reference_mm"]),
                slide_um=mm_to_um(p["slide_mm"]),
                stands_um=_um(p.get("stands_mm")),
                how=How(p.get("how", How.BY_HAND)),
            )
            for p in row["pieces"]
        ),
        holes=tuple(_hole(h) for h in row["holes"]),
        plug=tuple(_text(h) for h in row["plug"]),
    )


def _hole(row: _Json) -> PlannedHole:
    do = _text(row["do"])
    if do not in ("reuse", "drill"):
        raise ValueError(f"a hole is to reuse or to drill, not to {do}")
    return PlannedHole(
        piece=_text(row["piece"]),
        number=_count(row["number"]),
        x_um=mm_to_um(row["x_mm"]),
        y_um=mm_to_um(row["y_mm"]),
        diameter_um=_um(row["diameter_mm"]),
        depth_um=_um(row["depth_mm"]),
        do=do,
        hole_id=_optional_text(row["hole_id"]),
        nearest_um=_um(row["nearest_mm"]),
        nearest_id=_optional_text(row["nearest_id"]),
    )


def _um(value: Any) -> int | None:
    return None if value is None else mm_to_um(value)


def _text(value: Any) -> str:
    if not isinstance(value, str):
        raise ValueError(f"{value!r} is not text")
    return value


def _optional_text(value: Any) -> str | None:
    return None if value is None else _text(value)


def _count(value: Any) -> int:
    if isinstance(value, bool) or not isinstance(value, int):
        raise ValueError(f"{value!r} is not a whole number")
    return value
