"""The shop's policy as the numbers that the geometry needs, read once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import ROUND_CEILING, Decimal

from fleet.equipment import Construction, Pair
from fleet.holes import Hole, HoleState, Knowledge
from fleet.patterns import PatternHole
from fleet.policy import Policy


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule:
    """Lengths in micrometres. ``drill_um`` None: construction unknown, the size is read off the ski."""

    spacing_um: int
    asked_by_knowledge_um: Mapping[Knowledge, int]
    extra_by_state_um: Mapping[HoleState, int]
    wall_um: int | None
    reuse_um: int
    edge_um: int
    limit_um: int
    preferred_um: int
    pair_difference_um: int
    mounts_max: int
    drill_um: int | None
    depth_um: int | None
    shop_drills_um: frozenset[int]
    minutes: Mapping[str, Decimal]

    def asked_um(self, hole: Hole) -> int:
        """What a new hole keeps from this old one, centre to centre.

        Spacing, bench error, allowance and what the state adds; with a minimum wall in force at least the
        wall, both radii, bench error and allowance. A diameter that nobody knows counts as the shop's
        largest drill.
        """
        asked = self.asked_by_knowledge_um[hole.knowledge]
        if self.wall_um is not None:
            largest = max(self.shop_drills_um)
            both = (self.drill_um or largest) + (hole.diameter_um or largest)
            asked = max(asked, asked - self.spacing_um + self.wall_um + (both + 1) // 2)
        return asked + self.extra_by_state_um[hole.state]

    def may_reuse(self, hole: Hole, wanted: PatternHole) -> bool:
        """Whether the wanted screw may go into this old hole, position apart.

        State open or screwed, well enough known, diameter known and equal to this ski's drill; where the
        construction is unknown, to the diameter that the pattern lists. An insert takes its own screw
        only: the pattern must list the insert's diameter, and it must not be a drill for wood screws.
        """
        if not hole.knowledge.may_be_reused or hole.diameter_um is None:
            return False
        if hole.state is HoleState.INSERT:
            return hole.diameter_um == wanted.diameter_um and hole.diameter_um not in self.shop_drills_um
        if hole.state not in (HoleState.OPEN, HoleState.SCREWED):
            return False
        size = self.drill_um if self.drill_um is not None else wanted.diameter_um
        return hole.diameter_um == size

    def minutes_for(self, *, take_off: bool, drilled: int, plugged: int) -> int:
        """Bench minutes of a remount, rounded up once. Counts are of both skis."""
        each = self.minutes
        total = (
            (each["take_off"] if take_off else Decimal(0))
            + each["drill_hole"] * drilled
            + each["plug_hole"] * plugged
            + each["mount"]
            + each["check"]
        )
        return _up(total)

    @property
    def minutes_to_adjust(self) -> int:
        """Bench minutes of setting the slides only, and the second person's look."""
        return _up(self.minutes["adjust"] + self.minutes["check"])


def _up(minutes: Decimal) -> int:
    return int(minutes.to_integral_value(ROUND_CEILING))


_STEPS = ("take_off", "adjust", "drill_hole", "plug_hole", "mount", "check")


def rule_for(policy: Policy, construction: Construction | None) -> Rule:
    """The rule for skis of this construction. Raises BadInput where a needed policy is not set."""
    spacing = policy.um("spacing_mm")
    asked = spacing + policy.um("bench_error_mm")
    word = None if construction is None else construction.value.replace(" ", "_")
    return Rule(
        spacing_um=spacing,
        asked_by_knowledge_um={k: asked + policy.allowance_um(k) for k in Knowledge},
        extra_by_state_um={state: policy.um(f"extra_{state.value}_mm") for state in HoleState},
        wall_um=_optional_um(policy, "wall_min_mm"),
        reuse_um=policy.um("reuse_tolerance_mm"),
        edge_um=policy.um("edge_mm"),
        limit_um=policy.um("offset_limit_mm"),
        preferred_um=policy.um("offset_preferred_mm"),
        pair_difference_um=policy.um("pair_difference_mm"),
        mounts_max=policy.count("mounts_max"),
        drill_um=None if word is None else policy.um(f"drill_{word}_mm"),
        depth_um=None if word is None else policy.um(f"depth_{word}_mm"),
        shop_drills_um=frozenset(policy.um(f"drill_{c.value.replace(' ', '_')}_mm") for c in Construction),
        minutes={step: policy.number(f"minutes_{step}") for step in _STEPS},
    )


def _optional_um(policy: Policy, name: str) -> int | None:
    return None if policy.optional_number(name) is None else policy.um(name)


def may_drill(pair: Pair, rule: Rule) -> bool:
    """Whether the pair may take another mount that drills at all."""
    return pair.drilled_mounts < rule.mounts_max
