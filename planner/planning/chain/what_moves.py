"""The things that may leave a shop, and where each may go."""

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import datetime

from fleet.facts.boots import Boot
from fleet.facts.pairs import Pair
from fleet.facts.patterns import Pattern
from fleet.rules.loads import binding_stays, boot_stays, pair_stays
from fleet.tables.snapshot import Fleet
from planner.plan.chain import VanThing, id_there
from planner.planning.assign.classes import BindingSort


def loose_kits(fleet: Fleet) -> dict[BindingSort, list[tuple[str, str]]]:
    """The bindings in stock that a van may take, two of a sort together, by sort."""
    loose: dict[BindingSort, list[str]] = defaultdict(list)
    for binding in fleet.bindings.values():
        if not binding_stays(fleet, binding):
            loose[BindingSort.of(binding)].append(binding.binding_id)
    return {
        sort: [(ids[at], ids[at + 1]) for at in range(0, len(ids) - 1, 2)]
        for sort, ids in sorted(loose.items())
        if len(ids) > 1
    }


def pattern_differs(sender: Fleet, receiver: Fleet, name: str) -> str:
    """Return why what carries this pattern cannot be planned there: both shops must mean the same by it."""
    ours, theirs = sender.patterns.get(name), receiver.patterns.get(name)
    if theirs is None or ours is None:
        return f"{receiver.shop} has no pattern {name}"
    if _bare(ours) != _bare(theirs):
        return f"the pattern {name} is another in {receiver.shop}"
    if not ours.model_kinds <= theirs.model_kinds:
        return f"{receiver.shop} has not stated what {ours.binding_model} is for"
    return ""


def _bare(pattern: Pattern) -> Pattern:
    return replace(pattern.leaving(0), model_kinds=frozenset())


def pair_not_there(sender: Fleet, receiver: Fleet, pair: Pair) -> str:
    """Return why a pair that may leave cannot go to that shop; "" where it can."""
    if pair.tag not in receiver.lent and (pair.tag in receiver.pairs or pair.tag in receiver.renamed):
        return f"{receiver.shop} has a pair {pair.tag} of its own"
    names = {mount.pattern for mount in pair.mounts}
    names |= {binding.pattern for binding in sender.bindings_on(pair.tag).values() if binding.pattern}
    return next((why for name in sorted(names) if (why := pattern_differs(sender, receiver, name))), "")


def boot_not_there(receiver: Fleet, boot: Boot) -> str:
    """Return why boots that may leave cannot go to that shop; "" where they can."""
    theirs = boot.tag in receiver.boots and boot.tag not in receiver.lent
    return f"{receiver.shop} has boots {boot.tag} of its own" if theirs else ""


def kit_not_there(sender: Fleet, receiver: Fleet, kit: Sequence[str]) -> str:
    """Return why two loose bindings that may leave cannot go to that shop; "" where they can."""
    for name in kit:
        there = receiver.bindings.get(id_there(name, sender.shop, receiver.shop))
        if there is not None and there.on_pair not in receiver.lent:
            return f"{receiver.shop} has a binding {there.binding_id} of its own"
    return pattern_differs(sender, receiver, sender.bindings[kit[0]].pattern)


def movable(sender: Fleet, receiver: Fleet, now: datetime) -> Iterator[tuple[VanThing, tuple[str, ...]]]:
    """The things that may move from one shop to the other, each thing by its names, in canonical order."""
    for tag, pair in sender.pairs.items():
        if not (pair_stays(sender, pair, now) or pair_not_there(sender, receiver, pair)):
            yield VanThing.PAIR, (tag,)
    for tag, boot in sender.boots.items():
        if not (boot_stays(boot) or boot_not_there(receiver, boot)):
            yield VanThing.BOOT, (tag,)
    for kits in loose_kits(sender).values():
        for kit in kits:
            if not kit_not_there(sender, receiver, kit):
                yield VanThing.BINDINGS, kit


def not_there(sender: Fleet, receiver: Fleet) -> Iterator[tuple[str, str]]:
    """Yield the pairs, boots and sorts of bindings that cannot go to that shop whatever their standing."""
    for tag, pair in sender.pairs.items():
        if why := pair_not_there(sender, receiver, pair):
            yield tag, why
    for tag, boot in sender.boots.items():
        if why := boot_not_there(receiver, boot):
            yield tag, why
    for sort in loose_kits(sender):
        if why := pattern_differs(sender, receiver, sort.pattern):
            yield f"bindings {sort.pattern}", why
