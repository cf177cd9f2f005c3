"""The source of each binding, kept as the earlier sheets say wherever bindings are alike."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace

from fleet.facts.pairs import BrakeWidth
from planner.plan.values import PlannedSet, Strip

_Sort = tuple[str, BrakeWidth]


def same_sources(
    sets: Sequence[PlannedSet], strips: Sequence[Strip], earlier: Mapping[str, PlannedSet]
) -> tuple[PlannedSet, ...]:
    """The sets with the sources of alike bindings exchanged so that earlier sets keep theirs.

    Nothing is taken that was not taken before, so stripped pairs, and minutes in all, stay as they are.
    """
    stripping = {s.pair for s in strips}
    cost = next((s.strip_minutes for s in sets if s.strip_minutes), 0)
    takers: dict[_Sort, list[int]] = defaultdict(list)
    for i, planned in enumerate(sets):
        if planned.binding_from != "own":
            takers[planned.way.pattern, planned.brake_um].append(i)
    found = list(sets)
    for mine in takers.values():
        pool = [sets[i].binding_from for i in mine]
        wanted: dict[int, str] = {}
        for i in mine:
            before = earlier.get(sets[i].pair)
            source = before.binding_from if before is not None and before.boot == sets[i].boot else None
            if source in pool and source != sets[i].pair:
                pool.remove(source)
                wanted[i] = source
        for i in mine:
            source = wanted[i] if i in wanted else pool.pop(0)
            found[i] = replace(sets[i], binding_from=source, strip_minutes=cost if source in stripping else 0)
    return tuple(found)
