"""The supply of bindings by sort: two bindings of one sort serve one pair of skis."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cache

from fleet.base.values import Value
from fleet.facts.holes import Side
from fleet.facts.pairs import Binding, Brake, BrakeWidth, Pair, brake_to_plan, planned_brake_text
from fleet.facts.policy import Policy


class BindingSort(Value, frozen=True, order=True):
    """A pattern and a brake. ``brake_key`` -1: no brake, -2: not known."""

    pattern: str
    brake_key: int

    @classmethod
    def of(cls, binding: Binding) -> BindingSort:
        """The sort this binding belongs to."""
        return cls.named(binding.pattern, brake_to_plan(binding.brake_um))

    @classmethod
    @cache
    def named(cls, pattern: str, brake: BrakeWidth) -> BindingSort:
        """The sort of a pattern and a brake as plans count it, None without a brake."""
        return cls(pattern, brake if isinstance(brake, int) else _NO_WIDTH[brake])

    @property
    def brake_um(self) -> BrakeWidth:
        """The brake as plans count it: its width, None without a brake, or that it is not known."""
        return self.brake_key if self.brake_key >= 0 else _WITHOUT_WIDTH[self.brake_key]

    @property
    def brake_known(self) -> bool:
        """Return whether anybody knows the brake, or that there is none."""
        return self.brake_um is not Brake.UNKNOWN

    @property
    def brake_text(self) -> str:
        """``with 95 mm brake``."""
        if self.brake_um is None:
            return "without brake"
        if not self.brake_known:
            return "with a brake that nobody knows"
        return f"with {planned_brake_text(self.brake_um, lead='')} brake"


_NO_WIDTH: Mapping[BrakeWidth, int] = {None: -1, Brake.UNKNOWN: -2}
_WITHOUT_WIDTH = {key: word for word, key in _NO_WIDTH.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class BindingStock:
    """Pairs of bindings in stock by sort, and the sort on each pair of skis that carries it on both."""

    stock: Mapping[BindingSort, int]
    on_pair: Mapping[str, BindingSort]

    def supply(self, plannable: Iterable[str]) -> dict[BindingSort, int]:
        """All that a plan may use, sort by sort: in stock, or on a pair of skis that may be planned."""
        total = Counter(self.stock)
        total.update(self.on_pair[tag] for tag in plannable if tag in self.on_pair)
        return {sort: total[sort] for sort in sorted(total)}


def count_bindings(bindings: Iterable[Binding]) -> BindingStock:
    """Two loose bindings of one sort count as one, on a pair of skis only two of the same sort. One on which
    a note asks something does not count.
    """
    loose: Counter[BindingSort] = Counter()
    mounted: dict[Side, dict[str, BindingSort]] = {side: {} for side in Side}
    for binding in bindings:
        if binding.may_be_mounted:
            loose[BindingSort.of(binding)] += 1
        elif binding.on_pair is not None and binding.on_ski is not None:
            mounted[binding.on_ski][binding.on_pair] = BindingSort.of(binding)
    return BindingStock(
        stock={sort: loose[sort] // 2 for sort in sorted(loose) if loose[sort] >= 2},
        on_pair={
            tag: sort for tag, sort in sorted(mounted[Side.A].items()) if mounted[Side.B].get(tag) == sort
        },
    )


def brake_fits(pair: Pair, brake: BrakeWidth, *, own: bool, policy: Policy) -> bool:
    """Waist <= brake <= waist + policy. No brake always; brake or waist not known: only the binding already
    on, which the plan says and counts.
    """
    if brake is None:
        return True
    if pair.waist_um is None or not isinstance(brake, int):
        return own
    return pair.waist_um <= brake <= pair.waist_um + policy.um("brake_over_waist_max_mm")
