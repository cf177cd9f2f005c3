"""The shop's policy as the numbers that the geometry needs, read once."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import ceil

from fleet.facts.holes import HoleState, Knowledge
from fleet.facts.pairs import Construction, Pair, Ski
from fleet.facts.policy import Policy
from fleet.facts.spacing import Spacing, reuse_spacing_um
from planner.geometry.placement.intervals import Interval, holds, intersection, union


@dataclass(frozen=True, slots=True, kw_only=True)
class Rule(Spacing):
    """The rule of one construction: lengths in micrometres, beside those of `fleet.facts.spacing`."""

    bench_error_um: int
    reuse_um: int
    edge_um: int
    limit_um: int
    preferred_um: int
    pair_difference_um: int
    mounts_max: int
    depth_um: int | None
    minutes: Mapping[str, Decimal]

    def minutes_for(self, *, take_off: bool, drilled: int, plugged: int) -> int:
        """Return the bench minutes of a remount, rounded up once. Counts are of both skis."""
        each = self.minutes
        total = (
            (each["take_off"] if take_off else Decimal(0))
            + each["drill_hole"] * drilled
            + each["plug_hole"] * plugged
            + each["mount"]
            + each["check"]
        )
        return ceil(total)

    @property
    def minutes_to_adjust(self) -> int:
        """Return the bench minutes of setting the slides only, with the second person's look."""
        return ceil(self.minutes["adjust"] + self.minutes["check"])


_STEPS = ("take_off", "adjust", "drill_hole", "plug_hole", "mount", "check")


def rule_for(policy: Policy, construction: Construction | None) -> Rule:
    """Return the rule for skis of this construction. Raises BadInput where a needed policy is not set."""
    spacing, bench_error = policy.um("spacing_mm"), policy.um("bench_error_mm")
    asked = spacing + bench_error
    word = None if construction is None else construction.value.replace(" ", "_")
    return Rule(
        spacing_um=spacing,
        reuse_spacing_um=reuse_spacing_um(policy),
        bench_error_um=bench_error,
        asked_by_knowledge_um={k: asked + policy.allowance_um(k) for k in Knowledge},
        extra_by_state_um={state: policy.um(f"extra_{state.value}_mm") for state in HoleState},
        wall_um=policy.optional_um("wall_min_mm"),
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


def may_drill(pair: Pair, rule: Rule) -> bool:
    """Return True if the pair may take another mount that drills."""
    return pair.drilled_mounts < rule.mounts_max


Ground = tuple[list[Interval], int]
"""The ranges of x, by the ski's own mark, where holes may be drilled, and how far off the centre line."""


def ground_of(rule: Rule, ski: Ski) -> Ground:
    """Return what lies in the zone, off its edges and in an inspected area; nothing if the zone is
    unknown.
    """
    back, front, half_width = ski.zone_back_um, ski.zone_front_um, ski.zone_half_width_um
    if back is None or front is None or half_width is None:
        return [], -1
    low, high = rule.edge_um - back, front - rule.edge_um
    seen = union((area.from_um, area.to_um) for area in ski.inspected)
    return intersection([(low, high)], seen) if low <= high else [], half_width - rule.edge_um


def drillable(ground: Ground, x_um: int, y_um: int) -> bool:
    """Return True if a hole here (own mark) lies on this ground."""
    ranges, half_width = ground
    return abs(y_um) <= half_width and holds(ranges, x_um)
