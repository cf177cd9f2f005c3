"""The judge's numbers, read from policy in its own words."""

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import ceil

from fleet.facts.holes import Hole, HoleState, Knowledge
from fleet.facts.pairs import Pair
from fleet.facts.policy import Policy


@dataclass(frozen=True, slots=True, kw_only=True)
class Limits:
    """The limits of the shop's policy, micrometres; ``drill_um`` and ``depth_um`` None: read the ski."""

    spacing_um: int
    reuse_spacing_um: int
    bench_error_um: int
    allowance_um: Mapping[Knowledge, int]
    extra_um: Mapping[HoleState, int]
    wall_um: int | None
    tolerance_um: int
    edge_um: int
    offset_limit_um: int
    offset_preferred_um: int
    alike_um: int
    mounts_max: int
    drill_um: int | None
    depth_um: int | None
    all_drills_um: frozenset[int]
    travel_reserve_um: int

    def asked_um(self, old: Hole) -> int:
        """Least distance of a new hole from this old one: the spacing, or a wall between the two edges."""
        apart = self.spacing_um
        if self.wall_um is not None:
            unknown = max(self.all_drills_um)
            radii = ceil(((self.drill_um or unknown) + (old.diameter_um or unknown)) / 2)
            apart = max(apart, self.wall_um + radii)
        return apart + self.bench_error_um + self.allowance_um[old.knowledge] + self.extra_um[old.state]


def limits_for(policy: Policy, pair: Pair) -> Limits:
    """The limits that hold for a pair of this construction."""
    core = None if pair.construction is None else pair.construction.value.replace(" ", "_")
    own = policy.optional_um("reuse_spacing_mm")
    return Limits(
        spacing_um=policy.um("spacing_mm"),
        reuse_spacing_um=policy.um("spacing_mm") if own is None else own,
        bench_error_um=policy.um("bench_error_mm"),
        allowance_um={known: policy.allowance_um(known) for known in Knowledge},
        extra_um={state: policy.um(f"extra_{state.value}_mm") for state in HoleState},
        wall_um=policy.optional_um("wall_min_mm"),
        tolerance_um=policy.um("reuse_tolerance_mm"),
        edge_um=policy.um("edge_mm"),
        offset_limit_um=policy.um("offset_limit_mm"),
        offset_preferred_um=policy.um("offset_preferred_mm"),
        alike_um=policy.um("pair_difference_mm"),
        mounts_max=policy.count("mounts_max"),
        drill_um=None if core is None else policy.um(f"drill_{core}_mm"),
        depth_um=None if core is None else policy.um(f"depth_{core}_mm"),
        all_drills_um=frozenset(policy.um(f"drill_{word}_mm") for word in ("no_metal", "metal", "thin_core")),
        travel_reserve_um=policy.optional_um("travel_reserve_mm") or 0,
    )


def work_minutes(policy: Policy, *, take_off: bool, drilled: int, plugged: int) -> int:
    """Bench minutes of a remount from the steps it takes, rounded up once."""
    steps = policy.number("minutes_mount") + policy.number("minutes_check")
    steps += policy.number("minutes_drill_hole") * drilled + policy.number("minutes_plug_hole") * plugged
    steps += policy.number("minutes_take_off") if take_off else Decimal(0)
    return ceil(steps)
