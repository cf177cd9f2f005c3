"""Bindings as a plan counts them: one kit serves one pair (two skis), and kits of one sort are alike."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from fleet.equipment import Binding, Pair
from fleet.holes import Side
from fleet.policy import Policy


@dataclass(frozen=True, slots=True, order=True)
class Kit:
    """A sort of binding for a pair: its pattern and brake. ``brake_key`` -1 means: no brake."""

    pattern: str
    brake_key: int

    @classmethod
    def of(cls, binding: Binding) -> Kit:
        """The sort this binding belongs to."""
        return cls(binding.pattern, -1 if binding.brake_um is None else binding.brake_um)

    @property
    def brake_um(self) -> int | None:
        """The brake's width, None without a brake."""
        return None if self.brake_key < 0 else self.brake_key


@dataclass(frozen=True, slots=True, kw_only=True)
class Kits:
    """Kits in stock by sort, and the kit on each pair that carries the same sort on both skis."""

    stock: Mapping[Kit, int]
    on_pair: Mapping[str, Kit]

    def supply(self, plannable: Iterable[str]) -> dict[Kit, int]:
        """All kits a plan may use, sort by sort: in stock, or on a pair that may be planned."""
        total = Counter(self.stock)
        total.update(self.on_pair[tag] for tag in plannable if tag in self.on_pair)
        return {kit: total[kit] for kit in sorted(total)}


def count_kits(bindings: Iterable[Binding]) -> Kits:
    """Two loose bindings of one sort make a kit; on a pair only two of the same sort do."""
    loose: Counter[Kit] = Counter()
    mounted: dict[str, dict[Side, Kit]] = {}
    for binding in bindings:
        if binding.on_pair is None:
            loose[Kit.of(binding)] += 1
        elif binding.on_ski is not None:
            mounted.setdefault(binding.on_pair, {})[binding.on_ski] = Kit.of(binding)
    return Kits(
        stock={kit: loose[kit] // 2 for kit in sorted(loose) if loose[kit] >= 2},
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
