"""Sets that are alike: what the judge finds of one it finds of the other, so that it need look only once.

Alike is all that the ledger and the plan say of two sets, but for tags, racks, entries and the names of
holes: a name stands as its place in the list of its ski.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Iterator, Sequence
from itertools import count
from operator import attrgetter
from typing import Any

from fleet.facts.boots import Boot
from fleet.facts.holes import Hole, Side
from fleet.facts.mounts import Mount
from fleet.facts.pairs import InspectedArea, Pair, Ski
from fleet.tables.snapshot import Fleet
from planner.plan.values import PlannedHole, PlannedSet, Way
from planner.planning.judge.limits import Objection


def _all_but(names: Iterable[str], *apart: str) -> Callable[[Any], tuple[Hashable, ...]]:
    return attrgetter(*(name for name in names if name not in apart))


_OF_PAIR = _all_but(Pair.__struct_fields__, "tag", "rack", "entry", "mounts", "skis")
_OF_MOUNT = _all_but(Mount.__struct_fields__, "entry")
_OF_SKI = _all_but(Ski.__struct_fields__, "inspected", "holes", "holes_numbered_to")
_OF_AREA = _all_but(InspectedArea.__struct_fields__, "by", "entry")
_OF_HOLE = _all_but(Hole.__struct_fields__, "hole_id", "entry")
_OF_BOOT = _all_but(Boot.__struct_fields__, "tag", "entry")
_OF_WAY = _all_but(Way.__struct_fields__, "skis")
_NAME = attrgetter("hole_id")
_NAMES = attrgetter("hole_id", "nearest_id")
_OF_SCREW = _all_but(PlannedHole.__struct_fields__, "hole_id", "nearest_id")


_Numbers = defaultdict[Hashable, int]
"""A number for each thing asked for."""


def of_each(
    sets: Sequence[PlannedSet], alike: Sequence[int], judged: Callable[[PlannedSet], Iterator[Objection]]
) -> Iterator[Objection]:
    """The objections to each set; one like a set that nothing is held against is not looked at again."""
    passed: set[int] = set()
    for planned, number in zip(sets, alike, strict=True):
        if number not in passed:
            objections = tuple(judged(planned))
            if not objections:
                passed.add(number)
            yield from objections


def alike_sets(fleet: Fleet, sets: Sequence[PlannedSet]) -> list[int]:
    """A number for each set, the same for those that are alike."""
    numbers: dict[Hashable, int] = {}
    of_pair, of_boot, shapes = (_Numbers(count().__next__) for _ in range(3))
    screws: list[frozenset[str]] = []
    pairs = {s.pair: of_pair[_pair(fleet.pairs[s.pair])] for s in sets if s.pair in fleet.pairs}
    boots = {s.boot: of_boot[_OF_BOOT(fleet.boots[s.boot])] for s in sets if s.boot in fleet.boots}
    shared = Counter(pairs.values())
    found = []
    for at, planned in enumerate(sets):
        key: Hashable = at
        if shared[pairs.get(planned.pair, -1)] > 1 and planned.boot in boots:
            ways = _skis(planned, fleet.pairs[planned.pair], shapes, screws)
            same = (pairs[planned.pair], boots[planned.boot], planned.wish, planned.brake_um)
            key = at if ways is None else (*same, planned.binding_from == "own", _OF_WAY(planned.way), ways)
        found.append(numbers.setdefault(key, at))
    return found


def _pair(pair: Pair) -> Hashable:
    skis = [
        (_OF_SKI(ski), tuple(map(_OF_AREA, ski.inspected)), tuple(map(_OF_HOLE, ski.holes)))
        for ski in map(pair.skis.__getitem__, Side)
    ]
    return _OF_PAIR(pair), tuple(map(_OF_MOUNT, pair.mounts)), *skis


def _skis(planned: PlannedSet, pair: Pair, shapes: _Numbers, screws: list[frozenset[str]]) -> Hashable:
    """Return all that is planned on both skis; None where a name may mean two things.

    ``screws``: the names of planned screws, by the number of their shape.
    """
    found: list[Hashable] = []
    for side in Side:
        ski, holes = planned.way.skis[side], pair.skis[side].holes
        shape = shapes[tuple(map(_OF_SCREW, ski.holes))]
        if shape == len(screws):
            screws.append(frozenset(f"{hole.piece} {hole.number}" for hole in ski.holes))
        at = dict(zip(map(_NAME, holes), count()))
        if len(at) < len(holes) or not at.keys().isdisjoint(screws[shape]):
            return None
        named = [name for names in map(_NAMES, ski.holes) for name in names]
        found += [shape, ski.from_tail_um, ski.pieces]
        found += [tuple([at.get(name, name) for name in named]), tuple([at.get(n, n) for n in ski.plug])]
    return tuple(found)
