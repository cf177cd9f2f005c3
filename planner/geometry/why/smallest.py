"""The smallest set of facts that together block every place: a smallest hitting set, by search."""

from collections.abc import Iterable

from planner.geometry.why.facts import Fact

_SEARCHED = 6
"""Beyond this many facts the search gives way to a greedy set: nobody reads a list that long for its size."""


def smallest_blocking(places: Iterable[frozenset[Fact]]) -> list[Fact] | None:
    """Return a smallest set that has an element in every place's set; among equals the first in sorted order.

    None if some place has nothing against it.
    """
    needed = _least(places)
    if not needed:
        return []
    if not needed[0]:
        return None
    for size in range(1, _SEARCHED + 1):
        found = _hit(needed, size)
        if found is not None:
            return sorted(found)
    return sorted(_greedy(needed))


def _least(places: Iterable[frozenset[Fact]]) -> list[frozenset[Fact]]:
    """Return only the sets that contain no other one: a set that meets these meets all."""
    kept: list[frozenset[Fact]] = []
    for place in sorted(set(places), key=lambda p: (len(p), sorted(p))):
        if not any(other <= place for other in kept):
            kept.append(place)
    return kept


def _hit(needed: list[frozenset[Fact]], size: int) -> set[Fact] | None:
    if not needed:
        return set()
    if size == 0 or _disjoint(needed) > size:
        return None
    for fact in sorted(needed[0]):
        rest = _hit([place for place in needed if fact not in place], size - 1)
        if rest is not None:
            return rest | {fact}
    return None


def _disjoint(needed: list[frozenset[Fact]]) -> int:
    """Return a lower bound on the facts needed: the number of places whose sets share no fact."""
    seen: set[Fact] = set()
    count = 0
    for place in needed:
        if seen.isdisjoint(place):
            seen |= place
            count += 1
    return count


def _greedy(needed: list[frozenset[Fact]]) -> set[Fact]:
    chosen: set[Fact] = set()
    while needed:
        facts = sorted({fact for place in needed for fact in place})
        best = max(facts, key=lambda fact: sum(fact in place for place in needed))
        chosen.add(best)
        needed = [place for place in needed if best not in place]
    return chosen
