"""Equivalence classes: bindings of one sort, boots with one sole and size, pairs with one state.

No rule tells members of a class apart. Two bindings of one sort serve one pair of skis.
"""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache

from fleet.base.values import Value
from fleet.facts.boots import Boot
from fleet.facts.holes import Mount, Side
from fleet.facts.kinds import KindRule, Kinds
from fleet.facts.pairs import Binding, Brake, BrakeWidth, Pair, brake_to_plan, planned_brake_text
from fleet.facts.policy import Policy
from fleet.facts.wishes import Wish
from planner.geometry.placement.frames import frame_of, ski_state


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


Wishes = tuple[int, ...]
"""Indices of the wishes that a thing could serve, ascending."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BootClass:
    """Boots with one sole, one length, the same kinds and the same wishes; ``tags`` in order."""

    sole_type: str
    bsl_um: int
    pin_um: int | None
    kinds: tuple[str, ...]
    wishes: Wishes
    tags: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class PairClass:
    """Pairs whose kind, skis, bindings and wishes are alike, hole by hole; ``tags`` in order.

    ``pair`` is the first of them: what is true of its ways is true of every member's.
    """

    pair: Pair
    own: BindingSort | None
    wishes: Wishes
    tags: tuple[str, ...]


def wants_pair(wish: Wish, pair: Pair, rule: KindRule) -> bool:
    """Kind and length are what was asked for."""
    within = wish.length_min_mm <= pair.length_mm <= wish.length_max_mm
    return within and rule.meet((wish.kind,), (pair.kind,))


def wants_boot(wish: Wish, boot: Boot, rule: KindRule) -> bool:
    """No stated kind is against it, and the shell size is in the window; an unknown size serves nobody."""
    size = boot.mondopoint_mm
    within = size is not None and wish.mondopoint_min_mm <= size <= wish.mondopoint_max_mm
    return within and rule.meet((wish.kind,), boot.kinds)


def boot_classes(boots: Iterable[Boot], wishes: Sequence[Wish], rule: KindRule) -> tuple[BootClass, ...]:
    """Plannable boots with a known sole length that some wish asks for, merged, in canonical order."""
    asked: dict[tuple[int | None, Kinds], Wishes] = {}
    merged: dict[tuple[str, int, int, tuple[str, ...], Wishes], list[str]] = defaultdict(list)
    for boot in boots:
        if boot.bsl_um is None or not boot.plannable:
            continue
        kinds = boot.kinds
        size = (boot.mondopoint_mm, kinds)
        if size not in asked:
            asked[size] = tuple(i for i, w in enumerate(wishes) if wants_boot(w, boot, rule))
        if asked[size]:
            pin = -1 if boot.pin_um is None else boot.pin_um
            merged[boot.sole_type, boot.bsl_um, pin, tuple(sorted(kinds)), asked[size]].append(boot.tag)
    return tuple(
        BootClass(
            sole_type=sole,
            bsl_um=bsl,
            pin_um=None if pin < 0 else pin,
            kinds=kinds,
            wishes=who,
            tags=tuple(sorted(tags)),
        )
        for (sole, bsl, pin, kinds, who), tags in sorted(merged.items())
    )


def pair_classes(
    pairs: Iterable[Pair], wishes: Sequence[Wish], bindings: BindingStock, rule: KindRule
) -> tuple[PairClass, ...]:
    """Plannable pairs that some wish asks for, merged where they are alike, in order of first tag."""
    asked: dict[tuple[str, int], Wishes] = {}
    merged: dict[tuple[Wishes, str, BindingSort | None, tuple[object, ...]], list[Pair]] = defaultdict(list)
    for pair in pairs:
        size = (pair.kind.value, pair.length_mm)
        if size not in asked:
            asked[size] = tuple(i for i, w in enumerate(wishes) if wants_pair(w, pair, rule))
        if pair.plannable and asked[size]:
            merged[asked[size], pair.kind.value, bindings.on_pair.get(pair.tag), _state(pair)].append(pair)
    classes = []
    for (who, _, own, _), members in merged.items():
        members.sort(key=lambda p: p.tag)
        tags = tuple(p.tag for p in members)
        classes.append(PairClass(pair=members[0], own=own, wishes=who, tags=tags))
    return tuple(sorted(classes, key=lambda c: c.pair.tag))


def _state(pair: Pair) -> tuple[object, ...]:
    """All that ways can depend on; marks only by how they lie to the pair's reference."""
    mount = pair.current_mount
    frame = frame_of(pair)
    return (
        pair.waist_um,
        pair.construction,
        pair.drilled_mounts,
        None
        if mount is None
        else (mount.pattern, mount.bsl_um, mount.stands_for_um, mount.offset_um, *_slides(mount)),
        *((frame.shift_um[side], *ski_state(pair.skis[side])) for side in Side),
    )


def _slides(mount: Mount) -> tuple[object, ...]:
    """Return where each piece is screwed down and how it was slid, and whether that is how it is slid now."""
    return (*mount.slides, mount.still_set, mount.set_again) if mount.slides else ()
