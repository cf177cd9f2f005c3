"""Equivalence classes: boots with one sole and size, pairs with one state. No rule tells members apart."""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from fleet.facts.boots import Boot
from fleet.facts.holes import Side
from fleet.facts.kinds import KindRule, Kinds
from fleet.facts.mounts import Mount
from fleet.facts.pairs import Pair
from fleet.facts.wishes import Wish
from planner.geometry.placement.frames import frame_of, ski_state
from planner.planning.assign.binding_stock import BindingSort, BindingStock

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
