"""A way carried over to a twin: a pair whose skis are alike hole by hole. Names differ, places do not."""

from collections.abc import Sequence
from operator import attrgetter

from msgspec.structs import replace

from fleet.facts.holes import Hole, Side
from fleet.facts.pairs import Pair
from planner.geometry.placement.frames import frame_of
from planner.geometry.placement.placed import centre_from_tail
from planner.geometry.placement.stance import Stance
from planner.plan.values import PlannedHole, PlannedSki, Way

_SIDES = tuple(Side)
_NAME = attrgetter("hole_id")


class Twins:
    """A way of one pair for pairs that are alike.

    Alike means what `planner.planning.assign.classes` merges. Distances from the tail and depths of old
    holes, which it does not look at, are the twin's own.
    """

    def __init__(self, way: Way, stance: Stance, pair: Pair) -> None:
        self._way, self._stance = way, stance
        self._skis: list[tuple[Side, list[str], list[int], list[_Screw], list[int]]] = []
        for side in _SIDES:
            planned, old = way.skis[side], [hole.hole_id for hole in pair.skis[side].holes]
            drilled = [f"{h.piece} {h.number}" for h in planned.holes if h.do == "drill"]
            at: dict[str | None, int] = {name: number for number, name in enumerate(old)}
            screws = [(hole, at.get(hole.hole_id), at.get(hole.nearest_id)) for hole in planned.holes]
            names = old + drilled
            order = sorted(range(len(names)), key=names.__getitem__)
            self._skis.append((side, drilled, order, screws, [at[name] for name in planned.plug]))

    def way_of(self, twin: Pair) -> Way | None:
        """Return the way for a twin; None where its names sort otherwise: names break ties."""
        frame = frame_of(twin)
        skis: dict[Side, PlannedSki] = {}
        for side, drilled, order, screws, plug in self._skis:
            holes = twin.skis[side].holes
            names = [*map(_NAME, holes), *drilled]
            if len(names) != len(order) or [names[k] for k in order] != sorted(names):
                return None
            skis[side] = PlannedSki(
                from_tail_um=centre_from_tail(frame, self._stance, self._way.offset_um, side),
                pieces=self._way.skis[side].pieces,
                holes=tuple([_of_twin(*screw, holes) for screw in screws]),
                plug=tuple([names[k] for k in plug]),
            )
        return replace(self._way, skis=skis)


_Screw = tuple[PlannedHole, int | None, int | None]
"""A planned hole, and the numbers of the old hole that it is and of the old hole nearest to it."""


def _of_twin(hole: PlannedHole, own: int | None, near: int | None, holes: Sequence[Hole]) -> PlannedHole:
    nearest = hole.nearest_id if near is None else holes[near].hole_id
    if own is not None:
        return replace(hole, depth_um=holes[own].depth_um, hole_id=holes[own].hole_id, nearest_id=nearest)
    return hole if near is None else replace(hole, nearest_id=nearest)
