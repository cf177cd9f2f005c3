"""Mounts that today's policy would not allow: flagged for a person to decide, never failed silently."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import isqrt

from fleet.equipment import Binding, Mount, Pair
from fleet.holes import Hole, HoleState, Side
from fleet.policy import Policy
from fleet.snapshot import Fleet
from fleet.units import half_mm_text, mm_text, to_half_mm, toward


@dataclass(frozen=True, slots=True, kw_only=True)
class BelowRule:
    """One thing about one pair: what is, and which policy asks for something else."""

    tag: str
    policy: str
    message: str


def mounts_below_rule(fleet: Fleet) -> tuple[BelowRule, ...]:
    """Every current mount that the policy in force would not allow, by tag and policy."""
    found = [
        flag
        for pair in fleet.pairs.values()
        if (mount := pair.current_mount) is not None
        for flag in _flags(pair, mount, fleet.bindings_on(pair.tag), fleet.policy)
    ]
    return tuple(sorted(found, key=lambda flag: (flag.tag, flag.policy, flag.message)))


def _flags(pair: Pair, mount: Mount, bindings: dict[Side, Binding], policy: Policy) -> Iterator[BelowRule]:
    def flag(name: str, message: str) -> BelowRule:
        return BelowRule(tag=pair.tag, policy=name, message=message)

    limit = policy.um("offset_limit_mm")
    if abs(mount.offset_um) > limit:
        yield flag(
            "offset_limit_mm",
            f"boot centre {toward(mount.offset_um)}, the limit is {half_mm_text(limit)} mm",
        )
    if pair.drilled_mounts > policy.count("mounts_max"):
        yield flag(
            "mounts_max",
            f"{pair.mounts_told}, the rule is {policy.count('mounts_max')}",
        )
    widest = policy.um("brake_over_waist_max_mm")
    for side, binding in bindings.items():
        if pair.waist_um is None or binding.brake_um is None:
            continue
        over = binding.brake_um - pair.waist_um
        if not 0 <= over <= widest:
            yield flag(
                "brake_over_waist_max_mm",
                f"ski {side.value}: brake {mm_text(binding.brake_um)} mm on a waist of"
                f" {mm_text(pair.waist_um)} mm",
            )
    spacing = policy.um("spacing_mm")
    for side in Side:
        yield from (
            flag("spacing_mm", f"ski {side.value}: {message}")
            for message in _near(pair.skis[side].holes, spacing)
        )


def _near(holes: tuple[Hole, ...], spacing: int) -> Iterator[str]:
    """Screwed holes that stand nearer to an old hole than the spacing; squares compared, never roots."""
    for screw in (hole for hole in holes if hole.state is HoleState.SCREWED):
        for old in (hole for hole in holes if hole.state is not HoleState.SCREWED):
            square = (screw.x_um - old.x_um) ** 2 + (screw.y_um - old.y_um) ** 2
            if square < spacing**2:
                yield (
                    f"{screw.hole_id} is {under_text(isqrt(square), spacing)} from {old.hole_id}, the rule"
                    f" asks for {half_mm_text(spacing)} mm"
                )


def under_text(distance_um: int, asked_um: int) -> str:
    """A distance that falls short, in words that rounding does not make sound enough."""
    if to_half_mm(distance_um) >= asked_um:
        return f"just under {half_mm_text(asked_um)} mm"
    return f"{half_mm_text(distance_um)} mm"


def over_text(distance_um: int, allowed_um: int) -> str:
    """A distance beyond what is allowed, in words that rounding does not make small enough."""
    if to_half_mm(distance_um) <= allowed_um:
        return f"just over {half_mm_text(allowed_um)} mm"
    return f"{half_mm_text(distance_um)} mm"
