"""The supply of bindings by sort: two bindings of one sort serve one pair of skis."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fleet.base.units import mm_text
from fleet.facts.equipment import Binding, Pair
from fleet.facts.holes import Side
from fleet.facts.policy import Policy


@dataclass(frozen=True, slots=True, order=True)
class BindingSort:
    """A pattern and a brake. ``brake_key`` -1 means: no brake."""

    pattern: str
    brake_key: int

    @classmethod
    def of(cls, binding: Binding) -> BindingSort:
        """The sort this binding belongs to."""
        return cls.named(binding.pattern, binding.brake_um)

    @classmethod
    def named(cls, pattern: str, brake_um: int | None) -> BindingSort:
        """The sort of a pattern and a brake, None without a brake."""
        return cls(pattern, -1 if brake_um is None else brake_um)

    @property
    def brake_um(self) -> int | None:
        """The brake's width, None without a brake."""
        return None if self.brake_key < 0 else self.brake_key

    @property
    def brake_text(self) -> str:
        """``with 95 mm brake``."""
        return "without brake" if self.brake_key < 0 else f"with {mm_text(self.brake_key)} mm brake"


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
    mounted: dict[str, dict[Side, BindingSort]] = {}
    for binding in bindings:
        if binding.may_be_mounted:
            loose[BindingSort.of(binding)] += 1
        elif binding.on_pair is not None and binding.on_ski is not None:
            mounted.setdefault(binding.on_pair, {})[binding.on_ski] = BindingSort.of(binding)
    return BindingStock(
        stock={sort: loose[sort] // 2 for sort in sorted(loose) if loose[sort] >= 2},
        on_pair={
            tag: skis[Side.A]
            for tag, skis in sorted(mounted.items())
            if len(skis) == 2 and skis[Side.A] == skis[Side.B]
        },
    )


def brake_fits(pair: Pair, brake_um: int | None, *, own: bool, policy: Policy) -> bool:
    """Waist <= brake <= waist + policy. No brake always; unknown waist: only the binding already on."""
    if brake_um is None:
        return True
    if pair.waist_um is None:
        return own
    return pair.waist_um <= brake_um <= pair.waist_um + policy.um("brake_over_waist_max_mm")
