"""The judge's objections, and its numbers: policy, prices and the places of bindings in its own words."""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from math import ceil

from fleet.facts.holes import Hole, HoleState, Knowledge, Side
from fleet.facts.pairs import Binding, Brake, BrakeWidth, Pair, brake_to_plan
from fleet.facts.policy import Policy
from fleet.tables.snapshot import Fleet
from planner.plan.values import PlannedSet, Rung


@dataclass(frozen=True, slots=True, kw_only=True)
class Objection:
    """One broken limit or wrong figure: where, which rule, and the numbers.

    ``pair``: the pair whose set it is about, which the others do without; "" for the plan as a whole.
    """

    about: str
    rule: str
    message: str
    pair: str = ""

    def __str__(self) -> str:
        return f"{self.about}: {self.message}"


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


_PRICES = {"drill": "price_new_hole", "reuse": "price_reused_hole", "plug": "price_plug"}


def parts_cents(fleet: Fleet, planned: PlannedSet) -> int | None:
    """Hundredths of the shop's money; None while a price is not set."""
    if not prices_known(fleet):
        return None
    if planned.way.rung in (Rung.AS_IS, Rung.ADJUST):
        return 0
    done: list[str] = [hole.do for ski in planned.way.skis.values() for hole in ski.holes]
    done += ["plug" for ski in planned.way.skis.values() for _ in ski.plug]
    return sum(fleet.policy.hundredths(_PRICES[each]) for each in done if each in _PRICES)


def prices_known(fleet: Fleet) -> bool:
    """Return whether the shop has set every price of a part."""
    return all(fleet.policy.optional_number(name) is not None for name in _PRICES.values())


Sort = tuple[str, BrakeWidth]
"""A sort of binding: pattern and brake in micrometres, None without a brake, or that it is not known."""


def where_bindings_are(bindings: Iterable[Binding]) -> tuple[dict[str, Sort], Counter[Sort]]:
    """Sort on each pair with two alike, and how many pairs of bindings lie loose, sort by sort.

    A lone binding is no pair: its sort does not stand there. A loose one whose brake is not known fits
    nobody knows what: it does not count.
    """
    on: dict[Side, dict[str, Sort]] = {side: {} for side in Side}
    loose: Counter[Sort] = Counter()
    sorts = _Sorts()
    for row in bindings:
        if row.on_pair is not None and row.on_ski is not None:
            on[row.on_ski][row.on_pair] = sorts[row.pattern, row.brake_um]
        elif row.on_pair is None and not row.asks and row.brake_um is not Brake.UNKNOWN:
            loose[sorts[row.pattern, row.brake_um]] += 1
    alike = {tag: sort for tag, sort in on[Side.A].items() if on[Side.B].get(tag) == sort}
    return alike, Counter({sort: n // 2 for sort, n in loose.items() if n >= 2})


class _Sorts(dict[Sort, Sort]):
    """The sort as plans count it, by pattern and brake as they are recorded."""

    def __missing__(self, recorded: Sort) -> Sort:
        self[recorded] = (recorded[0], brake_to_plan(recorded[1]))
        return self[recorded]
