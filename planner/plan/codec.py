"""A plan and its sets as plain values and back: whole micrometres, cents, one form.

An order's entry carries a set in this form, and plan.json is this form in millimetres
(`planner.plan.plan_file`). What an older body does not say (a jig, how a piece comes to its place) has the
default of its field in `planner.plan.values`; a field added later needs one that says what its absence meant.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

import msgspec

from fleet.base.values import read_as
from fleet.facts.holes import Side
from planner.plan.objective import IF_COUNTED, certificate_from_body, counted_in
from planner.plan.values import Plan, PlannedSet

_SET_KEYS = (
    "wish", "boot", "pair", "way", "pattern", "brake_um", "bsl_um", "offset_um", "minutes", "strip_minutes",
    "binding_from", "drilled", "plugged", "clearance_um", "jig", "room", "mount_worth", "skis",
)  # fmt: skip
"""The keys of a set: its own and those of its way side by side, ``way`` the rung, ``minutes`` all of them."""
_LEFT_OUT: Mapping[str, Any] = {"room": None, "mount_worth": 0}
"""Keys that are left out where they say this, as plans were written before."""


def planned_set_to_body(planned: PlannedSet) -> dict[str, Any]:
    """A set as an order's entry carries it."""
    own = _plain(planned)
    way = own.pop("way")
    skis = {side.value: way["skis"][side] for side in Side}
    said = own | way | {"way": way["rung"], "minutes": planned.minutes, "skis": skis}
    return {key: said[key] for key in _SET_KEYS if key not in _LEFT_OUT or said[key] != _LEFT_OUT[key]}


def planned_set_from_body(body: Mapping[str, Any]) -> PlannedSet:
    """The inverse of `planned_set_to_body`. Raises KeyError, TypeError or ValueError on nonsense."""
    return read_as(PlannedSet, _nested(body))


def plan_to_body(plan: Plan) -> dict[str, Any]:
    """A plan as plain values; the same plan gives the same ones in the same order."""
    said = _plain(replace(plan, sets=(), certificate=None))
    said["sets"] = [planned_set_to_body(planned) for planned in plan.sets]
    said["certificate"] = None if plan.certificate is None else plan.certificate.to_body()
    served = plan.totals.served_by_priority
    said["totals"]["served_by_priority"] = {str(p): n for p, n in sorted(served.items())}
    if not plan.totals.fit_not_known:  # as plans were written before
        del said["totals"]["fit_not_known"]
    for level in set(IF_COUNTED) - set(counted_in(plan.totals)):
        del said["totals"][level.total]
    left_out = {"wants": plan.wants is None, "set_aside": not plan.set_aside}
    return {key: value for key, value in said.items() if not left_out.get(key)}


def plan_from_body(body: Mapping[str, Any]) -> Plan:
    """The inverse of `plan_to_body`. Raises KeyError, TypeError or ValueError on nonsense."""
    proof = body.get("certificate")
    said = {**body, "certificate": None, "sets": [_nested(row) for row in body["sets"]]}
    plan = read_as(Plan, said)
    return plan if proof is None else replace(plan, certificate=certificate_from_body(proof))


def _plain(value: Plan | PlannedSet) -> dict[str, Any]:
    said: dict[str, Any] = msgspec.json.decode(msgspec.json.encode(value))
    return said


def _nested(row: Mapping[str, Any]) -> dict[str, Any]:
    said = {"jig": None, **_LEFT_OUT, **row}
    said = {key: said[key] for key in _SET_KEYS}
    return said | {"way": said | {"rung": said["way"], "minutes": said["minutes"] - said["strip_minutes"]}}
