"""Mounts that today's policy would not allow, flagged for a person to decide."""

from collections.abc import Iterator
from dataclasses import dataclass
from math import isqrt

from fleet.base.units import length_text, mm_text, toward
from fleet.facts.holes import Hole, HoleState, Mount, Side
from fleet.facts.pairs import Binding, Pair
from fleet.facts.policy import Policy
from fleet.facts.spacing import too_near
from fleet.tables.snapshot import Fleet


@dataclass(frozen=True, slots=True, kw_only=True)
class BelowRule:
    """One finding about one pair: the fact, and the policy that asks for something else."""

    tag: str
    policy: str
    message: str


def mounts_below_rule(fleet: Fleet) -> tuple[BelowRule, ...]:
    """Return every current mount that the policy in force would not allow, by tag and policy."""
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
            f"boot centre {toward(mount.offset_um)}, the limit is {length_text(limit)} mm",
        )
    if pair.drilled_mounts > policy.count("mounts_max"):
        yield flag(
            "mounts_max",
            f"{pair.mounts_text}, the rule is {policy.count('mounts_max')}",
        )
    widest = policy.um("brake_over_waist_max_mm")
    for side, binding in bindings.items():
        if pair.waist_um is None or not isinstance(binding.brake_um, int):
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
    """Yield screwed holes that are nearer to an old hole than the spacing."""
    for screw in (hole for hole in holes if hole.state is HoleState.SCREWED):
        for old in (hole for hole in holes if hole.state is not HoleState.SCREWED):
            said = nearer_text(screw.x_um - old.x_um, screw.y_um - old.y_um, spacing, old.hole_id)
            if said is not None:
                yield f"{screw.hole_id} {said}"


def nearer_text(along_um: int, across_um: int, asked_um: int, other: str) -> str | None:
    """Return the words for a hole that is too near to another; None where it is not."""
    if not too_near(along_um, across_um, asked_um):
        return None
    distance, asked = isqrt(along_um**2 + across_um**2), length_text(asked_um)
    short = length_text(distance)
    if short == asked:  # rounding must not make it sound enough
        short = f"just under {asked}"
    return f"is {short} mm from {other}, the rule asks for {asked} mm"


def over_text(distance_um: int, allowed_um: int) -> str:
    """Return a distance beyond the allowed one in words that rounding does not make small enough."""
    over, allowed = length_text(distance_um), length_text(allowed_um)
    return f"{f'just over {allowed}' if over == allowed else over} mm"
