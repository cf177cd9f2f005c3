"""The facts of a pair without which nobody knows whether its brake fits: to be measured first."""

from __future__ import annotations

from collections.abc import Collection

from fleet.base.units import mm_text
from fleet.facts.pairs import Binding, Brake, Pair, no_brake
from fleet.facts.policy import Policy


def fit_is_known(pair: Pair, on: Collection[Binding]) -> bool:
    """Return whether the fit of the brakes on a pair is known; what has no brake has nothing to fit."""
    if any(binding.brake_um is Brake.UNKNOWN for binding in on):
        return False
    return pair.waist_um is not None or all(no_brake(binding.brake_um) for binding in on)


def not_known(pair: Pair, on: Collection[Binding]) -> str:
    """Return what to measure, by name; "" where the fit is known."""
    if fit_is_known(pair, on):
        return ""
    unknown = sorted(binding.binding_id for binding in on if binding.brake_um is Brake.UNKNOWN)
    brakes = f"brake of {' and '.join(unknown)}" if unknown else ""
    waist = f"waist of {pair.tag}" if pair.waist_um is None else ""
    return f"{' and '.join(filter(None, (brakes, waist)))} not known: measure first"


def to_measure(pair: Pair, on: Collection[Binding], policy: Policy) -> str:
    """The same with what the shop's rule asks for."""
    if not (said := not_known(pair, on)):
        return ""
    over = policy.um("brake_over_waist_max_mm")
    if pair.waist_um is None:
        return f"{said}; the rule asks for a brake of 0 to {mm_text(over)} mm over the waist"
    return f"{said}; the rule asks for {mm_text(pair.waist_um)} to {mm_text(pair.waist_um + over)} mm"
