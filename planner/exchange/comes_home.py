"""The word of another shop's ledger on a thing that came home, as entries of the ledger that knows it.

The other ledger's word counts for what happened there: holes drilled and plugged, mounts, bindings changed,
skis closed. Nothing of this ledger's history is taken away, and its rack stays its own.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import Final

from fleet.events.boots import BootChanged, BootRecorded
from fleet.events.event import Change, Event
from fleet.events.mounts import (
    BindingChanged,
    BindingRecorded,
    MountRecorded,
    MountRemoved,
    MountStated,
    StockBack,
    StockOut,
)
from fleet.events.pairs import (
    AreaInspected,
    HoleChanged,
    HolesRecorded,
    NewHole,
    PairChanged,
    PairRecorded,
    SkiClosed,
)
from fleet.facts.boots import BootFacts
from fleet.facts.columns import LedgerFacts, plain_facts
from fleet.facts.holes import HoleFacts, Side, StatedMountFacts
from fleet.facts.pairs import AreaFacts, BindingFacts, Pair, PairFacts, SkiFacts
from fleet.tables.snapshot import Fleet
from imports.propose_pairs import is_that_mount

_OF_THIS_SHOP: Final = frozenset({"rack", "earlier_mounts"})
"""Facts of a pair that the other ledger knows nothing better about."""


def as_of_home(fleet: Fleet, entries: Sequence[Event], *, other: str) -> Iterator[Event]:
    """Yield the entries that a thing new to this ledger would have, as those of one that it knows.

    ``other``: the shop whose ledger says so, as that ledger calls itself.
    """
    for event in entries:
        if isinstance(event, BootRecorded):
            if changes := _differing(BootFacts, fleet.boots[event.tag], event):
                yield BootChanged(tag=event.tag, changes=changes)
        elif isinstance(event, PairRecorded):
            pair = fleet.pairs[event.tag]
            yield from _pair(pair, event)
            yield from _off_since(pair, entries)
            yield from _shut_since(pair, entries, other)
            yield from _bindings_left(fleet, event.tag, entries)
        elif isinstance(event, HolesRecorded):
            yield from _holes(fleet.pairs[event.tag], event)
        elif isinstance(event, MountRecorded):
            if not any(is_that_mount(m, event) for m in fleet.pairs[event.tag].mounts):
                yield event
        elif isinstance(event, MountStated):
            if not any(_same_stated(m, event) for m in fleet.pairs[event.tag].stated):
                yield event
        elif isinstance(event, AreaInspected):
            pair, said = fleet.pairs[event.tag], plain_facts(AreaFacts, event)
            seen = [plain_facts(AreaFacts, area) for area in pair.skis[event.side].inspected]
            if said not in seen or _areas_gone(pair, event.side, entries):
                yield event
        else:
            yield event


def _differing(thing: type[LedgerFacts], known: object, said: object) -> dict[str, Change]:
    """Return the facts that are said otherwise; what is not said there stays as it is."""
    now, new = plain_facts(thing, known), plain_facts(thing, said)
    return {
        name: (now[name], value)
        for name, value in new.items()
        if value not in (None, "", now[name]) and name not in _OF_THIS_SHOP
    }


def _pair(pair: Pair, said: PairRecorded) -> Iterator[Event]:
    changes = _differing(PairFacts, pair, said)
    for side, ski in said.skis.items():
        found = _differing(SkiFacts, pair.skis[side], ski)
        changes |= {f"{side.value}.{name}": change for name, change in found.items()}
    if changes:
        yield PairChanged(tag=pair.tag, changes=changes)


def _holes(pair: Pair, said: HolesRecorded) -> Iterator[Event]:
    known = {hole.hole_id: hole for ski in pair.skis.values() for hole in ski.holes}
    new: list[NewHole] = []
    for hole in said.holes:
        if hole.hole_id not in known:
            new.append(hole)
        elif changes := _differing(HoleFacts, known[hole.hole_id], hole):
            yield HoleChanged(hole_id=hole.hole_id, changes=changes)
    if new:
        yield HolesRecorded(tag=pair.tag, holes=tuple(new))


def _off_since(pair: Pair, entries: Sequence[Event]) -> Iterator[Event]:
    """Yield that the mount that was on when it left is off since."""
    said = [each for each in entries if isinstance(each, MountRecorded)]
    days = [
        match.removed_on
        for mount in pair.mounts
        if mount.removed_on is None
        for match in said
        if is_that_mount(mount, match) and match.removed_on is not None
    ]
    days += [
        match.removed_on
        for stated in pair.stated
        if stated.removed_on is None
        for match in entries
        if isinstance(match, MountStated) and _same_stated(stated, match) and match.removed_on is not None
    ]
    if days:
        yield MountRemoved(tag=pair.tag, removed_on=max(days))


def _same_stated(known: object, said: MountStated) -> bool:
    now, new = plain_facts(StatedMountFacts, known), plain_facts(StatedMountFacts, said)
    return {**now, "removed_on": ""} == {**new, "removed_on": ""}


def _areas_gone(pair: Pair, side: Side, entries: Sequence[Event]) -> bool:
    """Return whether this ledger counts an area as seen that the other one does not."""
    said = [
        plain_facts(AreaFacts, each)
        for each in entries
        if isinstance(each, AreaInspected) and each.side is side
    ]
    return any(plain_facts(AreaFacts, area) not in said for area in pair.skis[side].inspected)


def _shut_since(pair: Pair, entries: Sequence[Event], other: str) -> Iterator[Event]:
    for side in Side:
        if _areas_gone(pair, side, entries):
            yield SkiClosed(tag=pair.tag, side=side, why=f"seen otherwise, as {other} has it")


def _bindings_left(fleet: Fleet, tag: str, entries: Sequence[Event]) -> Iterator[Event]:
    """Yield that a binding that was on it when it left stayed elsewhere."""
    came = {each.binding_id for each in entries if isinstance(each, BindingRecorded)}
    left = [b for b in fleet.bindings_on(tag).values() if b.binding_id not in came]
    for binding in left:
        off: dict[str, Change] = {"on_pair": (tag, None), "on_ski": (binding.on_ski, None)}
        yield BindingChanged(binding_id=binding.binding_id, changes=off)
    if left:
        yield StockOut(binding_ids=tuple(binding.binding_id for binding in left))


def bindings_as_known(fleet: Fleet, entries: Iterable[Event]) -> tuple[Event, ...]:
    """The entries, with those of bindings that the ledger has, or had, as changes of what it knows."""
    return tuple(
        found
        for event in entries
        for found in (_binding(fleet, event) if isinstance(event, BindingRecorded) else (event,))
    )


def _binding(fleet: Fleet, said: BindingRecorded) -> Iterator[Event]:
    known = fleet.bindings.get(said.binding_id) or fleet.gone.get(said.binding_id)
    if known is None:
        yield said
        return
    if said.binding_id in fleet.gone:
        yield StockBack(binding_ids=(said.binding_id,))
    changes = _differing(BindingFacts, known, said)
    if (known.on_pair, known.on_ski) != (said.on_pair, said.on_ski):
        changes |= {"on_pair": (known.on_pair, said.on_pair), "on_ski": (known.on_ski, said.on_ski)}
    if changes:
        yield BindingChanged(binding_id=said.binding_id, changes=changes)
